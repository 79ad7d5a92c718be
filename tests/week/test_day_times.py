"""The hours of a day: lunch between two fields, and nothing else moved."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from stagecast.week.route.clock import DayTimes, Times, day_times

MINUTE = 60
NOON, HALF_HOUR = 12 * 3600, 30 * MINUTE


@st.composite
def days(draw: st.DrawFn) -> tuple[list[Times], list[int]]:
    """Stops on the working clock, with drives between them and here and there a wait."""
    minutes = st.integers(0, 90)
    now = draw(st.integers(5 * 60, 13 * 60)) * MINUTE
    drives = [draw(minutes) * MINUTE]
    now += drives[0]
    stops: list[Times] = []
    for _ in range(draw(st.integers(1, 8))):
        begins = now + draw(st.sampled_from([0, 0, 0, 20])) * MINUTE
        ends = begins + draw(st.integers(5, 90)) * MINUTE
        stops.append((begins, ends))
        drives.append(draw(minutes) * MINUTE)
        now = ends + drives[-1]
    return stops, drives


def told(day: tuple[list[Times], list[int]]) -> DayTimes:
    """The day with lunch at noon."""
    return day_times(*day, lunch_s=NOON, lunch_length_s=HALF_HOUR)


@given(days())
def test_every_field_keeps_its_minutes_and_every_drive_its_time(
    day: tuple[list[Times], list[int]],
) -> None:
    """No field is cut short by lunch, and between two fields there is time for the drive."""
    stops, drives = day
    found = told(day)
    lengths = [ends - begins for begins, ends in found.stops]
    assert lengths == [ends - begins for begins, ends in stops]
    lefts = [found.leaves_s, *(ends for _, ends in found.stops)]
    arrivals = [*(begins for begins, _ in found.stops), found.backs_s]
    for left, arrived, drive in zip(lefts, arrivals, drives, strict=True):
        eats = 0
        if found.lunch is not None and left <= found.lunch[0] and found.lunch[1] <= arrived:
            eats = HALF_HOUR
        assert arrived - left >= drive + eats


@given(days())
def test_lunch_lies_in_no_field(day: tuple[list[Times], list[int]]) -> None:
    """It is over before a field begins, or begins when one is done; and it has its length."""
    found = told(day)
    if found.lunch is None:
        return
    begins, ends = found.lunch
    assert ends - begins == HALF_HOUR
    assert all(ends <= first or last <= begins for first, last in found.stops)


@given(days())
def test_the_day_is_longer_by_lunch_exactly_where_it_lies_in_it(
    day: tuple[list[Times], list[int]],
) -> None:
    """A day that ends before noon, or begins after it, has none."""
    stops, drives = day
    start, end = stops[0][0] - drives[0], stops[-1][1] + drives[-1]
    found = told(day)
    assert (found.lunch is not None) == (start < NOON < end)
    eats = HALF_HOUR if found.lunch is not None else 0
    at_home = found.lunch is not None and found.lunch[1] == found.leaves_s
    later = HALF_HOUR if start >= NOON else 0  # the working clock runs half an hour behind then
    assert found.leaves_s == start + later + (HALF_HOUR if at_home else 0)
    assert found.backs_s == end + later + eats


def test_a_field_that_lies_across_noon_is_walked_after_lunch_or_before() -> None:
    """Worked by hand: 11:50 to 12:50 of work is walked from 12:20; 11:10 to 12:05 until 12:05."""
    early = day_times([(NOON - 600, NOON + 3000)], [0, 0], lunch_s=NOON, lunch_length_s=HALF_HOUR)
    assert early.lunch == (NOON - 600, NOON + 1200)
    assert early.stops == ((NOON + 1200, NOON + 3000 + HALF_HOUR),)
    late = day_times([(NOON - 3000, NOON + 300)], [0, 0], lunch_s=NOON, lunch_length_s=HALF_HOUR)
    assert late.lunch == (NOON + 300, NOON + 300 + HALF_HOUR)
    assert late.stops == ((NOON - 3000, NOON + 300),)


def test_a_day_without_stops_has_no_hours() -> None:
    """Nobody leaves home for nothing."""
    assert day_times([], [], lunch_s=NOON, lunch_length_s=HALF_HOUR) == DayTimes(0, 0, (), None)
