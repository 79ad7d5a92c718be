"""The clock of a working day: lunch takes no time on it, and is put between two fields afterwards.

The working clock stops for lunch wherever the scout is; a drive or a field that lies across lunch
simply ends later by its length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WorkingClock:
    """From seconds after midnight to seconds of work, and back; lunch of length 0 is none."""

    lunch_s: int
    length_s: int

    def working(self, real_s: int) -> int:
        """A moment on the working clock; all of lunch is one moment."""
        if real_s <= self.lunch_s:
            return real_s
        return max(self.lunch_s, real_s - self.length_s)

    def begins(self, working_s: int) -> int:
        """When something that begins at a moment of the working clock begins: after lunch."""
        return working_s + self.length_s if working_s >= self.lunch_s else working_s

    def ends(self, working_s: int) -> int:
        """When something that ends then ends: before lunch."""
        return working_s + self.length_s if working_s > self.lunch_s else working_s


Times = tuple[int, int]
"""When something begins and ends, in seconds after midnight."""


@dataclass(frozen=True, slots=True)
class DayTimes:
    """The hours of a day: leaving, back at home (both 0 without a stop), the stops, and lunch.

    Lunch is None where the day is over before it, or begins after it.
    """

    leaves_s: int
    backs_s: int
    stops: tuple[Times, ...]
    lunch: Times | None


def day_times(
    stops: Sequence[Times], drives_s: Sequence[int], *, lunch_s: int, lunch_length_s: int
) -> DayTimes:
    """Tell a day in hours.

    Stops are in seconds of work since midnight; ``drives_s`` are those before each stop, and home;
    ``lunch_s`` is when lunch is wanted, in seconds after midnight.

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
