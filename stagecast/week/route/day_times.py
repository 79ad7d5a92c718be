"""From the working clock to the hours of a day, with lunch between two fields."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stagecast.week.route.clock import WorkingClock

Times = tuple[int, int]
"""When something begins and ends, in seconds after midnight."""


@dataclass(frozen=True, slots=True)
class DayTimes:
    """The hours of a day.

    Attributes
    ----------
    leaves_s, backs_s : int
        From where it starts, and at home; both 0 without a stop.
    stops : tuple of (int, int)
    lunch : (int, int) or None
        None where the day is over before, or begins after.
    """

    leaves_s: int
    backs_s: int
    stops: tuple[Times, ...]
    lunch: Times | None


def day_times(
    stops: Sequence[Times],
    drives_s: Sequence[int],
    *,
    lunch_s: int,
    lunch_length_s: int,
) -> DayTimes:
    """Tell a day in hours.

    Parameters
    ----------
    stops : sequence of (int, int)
        Beginning and end of each, in seconds of work since midnight.
    drives_s : sequence of int
        Before each stop, and home.
    lunch_s, lunch_length_s : int
        When lunch is wanted, seconds after midnight, and how long it takes.

    Notes
    -----
    The working clock stops for lunch wherever it is. Nobody eats in the middle of a field or a
    drive: lunch is taken before it or after it, whichever is nearer to the hour wanted. Nothing
    else moves, and work stays within the hours that it had with lunch in its middle.
    """
    if not stops:
        return DayTimes(0, 0, (), None)
    clock = WorkingClock(lunch_s, lunch_length_s)
    # The scout stays where the day starts until it is time to drive to the first field.
    start, end = stops[0][0] - drives_s[0], stops[-1][1] + drives_s[-1]
    leaves_s, backs_s = clock.begins(start), clock.ends(end)
    told = [(clock.begins(begins), clock.ends(ends)) for begins, ends in stops]
    if not lunch_length_s or not start < lunch_s < end:
        return DayTimes(leaves_s, backs_s, tuple(told), None)
    for index, (begins, ends) in enumerate(stops):
        if begins < lunch_s < ends:
            lunch = _nearer(told[index], lunch_s, lunch_length_s)
            first = lunch[0] == told[index][0]
            told[index] = (lunch[1], told[index][1]) if first else (told[index][0], lunch[0])
            return DayTimes(leaves_s, backs_s, tuple(told), lunch)
    left = max([leaves_s, *(ends for _, ends in told if ends <= lunch_s)])
    lunch = left, left + lunch_length_s
    if left == leaves_s:  # at home, before the day's first drive
        return DayTimes(lunch[1], backs_s, tuple(told), lunch)
    return DayTimes(leaves_s, backs_s, tuple(told), lunch)


def _nearer(around: Times, lunch_s: int, length_s: int) -> Times:
    """Lunch at the beginning or the end of what it lies in."""
    at_end = around[1] - length_s
    starts_s = around[0] if lunch_s - around[0] <= at_end - lunch_s else at_end
    return starts_s, starts_s + length_s
