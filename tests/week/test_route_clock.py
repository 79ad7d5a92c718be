"""The working clock, and the schedule of a shift."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from route_problems import random_problem

from stagecast.week.route.clock import WorkingClock
from stagecast.week.route.problem import Stop, schedule

CLOCKS = st.builds(WorkingClock, st.integers(6 * 3600, 18 * 3600), st.integers(0, 5400))
MOMENTS = st.integers(0, 86_400 * 2)


@given(CLOCKS, MOMENTS)
def test_back_and_forth_gives_the_same_moment(clock: WorkingClock, working_s: int) -> None:
    """From working time to real time and back is where one was, for beginnings and for ends."""
    assert clock.working(clock.begins(working_s)) == working_s
    assert clock.working(clock.ends(working_s)) == working_s


@given(CLOCKS, MOMENTS, MOMENTS)
def test_order_is_kept(clock: WorkingClock, one: int, other: int) -> None:
    """What is earlier on one clock is no later on the other."""
    one, other = sorted((one, other))
    assert clock.working(one) <= clock.working(other)
    assert clock.begins(one) <= clock.begins(other)
    assert clock.ends(one) <= clock.ends(other)
    assert clock.ends(one) <= clock.begins(one)


@given(CLOCKS, MOMENTS, st.integers(1, 4 * 3600))
def test_lunch_counts_once_and_only_inside(
    clock: WorkingClock, begins_s: int, service_s: int
) -> None:
    """Work takes its own time, and lunch's on top only if lunch is strictly inside it."""
    real_s = clock.ends(begins_s + service_s) - clock.begins(begins_s)
    inside = begins_s < clock.lunch_s < begins_s + service_s
    assert real_s == service_s + (clock.length_s if inside else 0)


@given(CLOCKS, st.integers(0, 5400))
def test_all_of_lunch_is_one_moment(clock: WorkingClock, into_s: int) -> None:
    """Somebody who arrives during lunch has the same working time as at its start."""
    assert clock.working(clock.lunch_s + min(into_s, clock.length_s)) == clock.lunch_s


@given(
    st.integers(0, 10_000),
    st.permutations(range(6)),
    st.integers(0, 6),
    st.integers(0, 1),
)
def test_schedule_is_the_earliest_that_the_rules_allow(
    seed: int, everything: list[int], count: int, shift: int
) -> None:
    """Stops follow one another by drive and service, inside spans, and none can begin sooner."""
    problem = random_problem(seed, sites=6, days=2, narrow=0.9)
    order, day = everything[:count], problem.shifts[shift]
    expected: list[Stop] | None = []
    free, place = day.starts_s, day.home
    for index in order:
        site = problem.sites[index]
        free += int(problem.drive_s[place, site.place])
        starts = [max(free, s.first_s) for s in site.spans]
        fits = [b for b, s in zip(starts, site.spans, strict=True) if b <= s.last_s]
        if not fits:
            expected = None
            break
        expected.append(Stop(index, min(fits), min(fits) + site.service_s))
        free, place = expected[-1].ends_s, site.place
    if expected is not None and free + problem.drive_s[place, day.home] > day.ends_s:
        expected = None
    found = schedule(problem, shift, order)
    assert (None if found is None else list(found)) == expected
