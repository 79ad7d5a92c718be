"""Sums of a daily rate and the moments they are reached: by hand, and as properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagecast.phenology.accumulate import boundary_sums, sum_at, time_after, time_reached

NAN, INF = float("nan"), float("inf")

rates = st.lists(st.one_of(st.just(0.0), st.floats(0.01, 40.0)), min_size=1, max_size=30).map(
    np.array
)
shares = st.floats(0.0, 1.0)


def reached(rate: list[float] | np.ndarray, target: float) -> float:
    """Time at which the sum of one row of rates reaches a target."""
    return float(time_reached(boundary_sums(np.array(rate, dtype=float)), np.array(target)))


def total(rate: np.ndarray, days: int | None = None) -> float:
    """Sum of the first days, added up in the order in which the code adds."""
    return float(boundary_sums(rate)[len(rate) if days is None else days])


def value(rate: list[float] | np.ndarray, time: float) -> float:
    """Sum of one row of rates at a time."""
    return float(sum_at(boundary_sums(np.array(rate, dtype=float)), np.array(time)))


def test_sums_stand_at_day_boundaries() -> None:
    """Days of 2, 0 and 5 give 0, 2, 2 and 7 at the four boundaries around them."""
    assert boundary_sums(np.array([2.0, 0.0, 5.0])).tolist() == [0.0, 2.0, 2.0, 7.0]


@pytest.mark.parametrize(
    ("target", "time"),
    [(0.0, 0.0), (1.0, 0.5), (2.0, 1.0), (3.0, 2.2), (6.0, 2.8), (7.0, 3.0), (7.1, INF)],
)
def test_times_counted_by_hand(target: float, time: float) -> None:
    """With days of 2, 0 and 5, a sum of 3 is a fifth of the way through the third day, and so on.

    A sum reached at the end of the first day is reached then, not after the idle second day.
    """
    assert reached([2.0, 0.0, 5.0], target) == pytest.approx(time)


@pytest.mark.parametrize(
    ("time", "expected"),
    [(0.0, 0.0), (0.25, 0.5), (1.0, 2.0), (1.7, 2.0), (2.5, 4.5), (3.0, 7.0), (9.0, 7.0)],
)
def test_sums_counted_by_hand(time: float, expected: float) -> None:
    """With days of 2, 0 and 5 the sum is linear within a day and stays after the last one."""
    assert value([2.0, 0.0, 5.0], time) == pytest.approx(expected)


def test_time_after_counted_by_hand() -> None:
    """From the middle of a day of 4, five more are 2 of that day and 3 of the next day's 6."""
    sums = boundary_sums(np.array([4.0, 6.0]))
    assert time_after(sums, np.array(0.5), np.array(5.0)) == pytest.approx(1.5)


@given(rate=rates, share=shares)
def test_time_reached_inverts_sum_at(rate: np.ndarray, share: float) -> None:
    """At the time a sum is reached the sum is there, and it is not there any earlier."""
    target = share * total(rate)
    time = reached(rate, target)
    assert np.isfinite(time)
    assert value(rate, time) == pytest.approx(target, abs=1e-9)
    if time > 0.0 and target > 1e-3:
        assert value(rate, time - 1e-4) < target


@given(rate=rates, share=shares, more=shares)
def test_a_larger_sum_is_never_reached_sooner(rate: np.ndarray, share: float, more: float) -> None:
    """Raising the target never brings the time forward."""
    low = share * total(rate)
    high = low + more * total(rate)
    assert reached(rate, high) >= reached(rate, low)


@given(rate=rates, above=st.floats(0.001, 100.0))
def test_what_is_not_reached_is_never(rate: np.ndarray, above: float) -> None:
    """A target above the whole sum of known days is reached never, which is not unknown."""
    assert reached(rate, total(rate) + above) == INF


@given(rate=rates, hole=st.integers(0, 29), share=shares, beyond=shares)
def test_a_missing_day_hides_what_comes_after_it_only(
    rate: np.ndarray, hole: int, share: float, beyond: float
) -> None:
    """Sums and times up to a missing day are as without it; after it they are NaN, never zero."""
    hole %= len(rate)
    holed = rate.copy()
    holed[hole] = NAN
    known = total(rate, hole)
    assert reached(holed, share * known) == reached(rate, share * known)
    assert np.isnan(reached(holed, known + 0.001 + beyond * 100.0))
    assert value(holed, share * hole) == value(rate, share * hole)
    assert np.isnan(value(holed, hole + 0.001 + beyond * (len(rate) - hole)))


@given(rate=rates, day=st.integers(0, 29))
def test_a_boundary_does_not_need_the_following_day(rate: np.ndarray, day: int) -> None:
    """The sum at the very start of a missing day is known: it is that of the days before."""
    day %= len(rate)
    holed = rate.copy()
    holed[day:] = NAN
    assert value(holed, float(day)) == pytest.approx(rate[:day].sum())


def test_reached_at_the_boundary_before_a_missing_day() -> None:
    """A target met exactly when a missing day begins is met, one hair more is unknown."""
    assert reached([4.0, 6.0, NAN], 10.0) == 2.0
    assert np.isnan(reached([4.0, 6.0, NAN], np.nextafter(10.0, 11.0)))


@given(rate=rates)
def test_never_and_unknown_starts_stay_so(rate: np.ndarray) -> None:
    """What never starts never ends; what starts at an unknown time ends at an unknown time."""
    sums = boundary_sums(np.stack([rate, np.where(np.arange(len(rate)) == 0, NAN, rate)]))
    never = time_after(sums, np.full(2, INF), np.array(1.0))
    assert never.tolist() == [INF, INF]
    assert np.isnan(time_after(sums, np.full(2, NAN), np.array(1.0))).all()
    assert np.isnan(sum_at(sums, np.array([INF, NAN]))).all()
    assert np.isnan(time_reached(sums, np.full(2, NAN))).all()


@given(rate=rates, start=shares, need=st.floats(0.01, 50.0), more=st.floats(0.0, 50.0))
def test_time_after_comes_later_for_a_later_start_or_a_larger_need(
    rate: np.ndarray, start: float, need: float, more: float
) -> None:
    """The end comes after the start, and neither more need nor a later start brings it forward."""
    sums = boundary_sums(rate)
    begin = np.array(start * len(rate))
    end = float(time_after(sums, begin, np.array(need)))
    assert end >= begin
    assert time_after(sums, begin, np.array(need + more)) >= end - 1e-9
    later = np.array(min(float(begin) + 0.7, len(rate)))
    assert time_after(sums, later, np.array(need)) >= end - 1e-9


def test_many_rows_are_each_their_own() -> None:
    """Rows of a (2, 3, days) array give what each row gives alone, needs broadcast over them."""
    rate = np.random.default_rng(4).uniform(0.0, 9.0, (2, 3, 12))
    start = np.array([[0.0, 2.5, 4.0], [1.0, 7.2, INF]])
    need = np.array([[10.0], [30.0]])
    together = time_after(boundary_sums(rate), start, need)
    for i in range(2):
        for j in range(3):
            alone = time_after(boundary_sums(rate[i, j]), start[i, j][()], need[i, 0][()])
            assert together[i, j] == alone


# --- several times or targets to a row -----------------------------------------------------------

# Quarters add up without rounding, so that the answers can be held to be the very same.
quarters = st.one_of(st.just(0.0), st.integers(1, 80).map(lambda n: n / 4.0))


@st.composite
def holed_rows(draw: st.DrawFn) -> np.ndarray:
    """Sums of shape (2, 3, days + 1), some rows with a missing day."""
    days = draw(st.integers(1, 12))
    size = {"min_size": 6 * days, "max_size": 6 * days}
    rate = np.array(draw(st.lists(quarters, **size))).reshape(2, 3, days)
    for row in draw(st.lists(st.integers(0, 5), max_size=2)):
        rate.reshape(6, days)[row, draw(st.integers(0, days - 1))] = NAN
    return boundary_sums(rate)


@settings(max_examples=40)
@given(
    sums=holed_rows(),
    several=st.lists(
        st.one_of(st.integers(0, 600).map(lambda n: n / 4.0), st.just(NAN)),
        min_size=24,
        max_size=24,
    ),
)
def test_several_targets_are_each_alone(sums: np.ndarray, several: list[float]) -> None:
    """Four targets to each of 2 by 3 rows give what one target to one row gives, in its place."""
    targets = np.array(several).reshape(2, 3, 4)
    together = time_reached(sums, targets)
    assert together.shape == targets.shape
    alone = [time_reached(sums[at[:2]], targets[at][()]) for at in np.ndindex(targets.shape)]
    np.testing.assert_array_equal(together.ravel(), alone)


@settings(max_examples=40)
@given(
    sums=holed_rows(),
    several=st.lists(
        st.one_of(st.floats(0.0, 14.0), st.just(INF), st.just(NAN)), min_size=24, max_size=24
    ),
)
def test_several_times_are_each_alone(sums: np.ndarray, several: list[float]) -> None:
    """Four times to each of 2 by 3 rows give what one time to one row gives, in its place."""
    times = np.array(several).reshape(2, 3, 4)
    together = sum_at(sums, times)
    assert together.shape == times.shape
    alone = [sum_at(sums[at[:2]], times[at]) for at in np.ndindex(times.shape)]
    np.testing.assert_array_equal(together.ravel(), alone)


@settings(max_examples=40)
@given(
    sums=holed_rows(),
    starts=st.lists(
        st.one_of(st.integers(0, 24).map(lambda n: n / 2.0), st.just(INF)), min_size=24, max_size=24
    ),
    needs=st.lists(st.integers(1, 200).map(lambda n: n / 4.0), min_size=4, max_size=4),
)
def test_several_starts_are_each_alone(
    sums: np.ndarray, starts: list[float], needs: list[float]
) -> None:
    """Starts of four draws, with a need for each draw, end as each of them does alone."""
    start = np.array(starts).reshape(2, 3, 4)
    together = time_after(sums, start, np.array(needs))
    alone = [
        time_after(sums[at[:2]], start[at], np.array(needs[at[2]]))
        for at in np.ndindex(start.shape)
    ]
    np.testing.assert_array_equal(together.ravel(), alone)


def test_rows_that_leap_far_beyond_what_is_asked_are_searched_apart() -> None:
    """Days of thousands at the end of some rows never move what is found in another."""
    rates = [[500.0, 500.0, 5e3, 5e3], [5e3, 0.5, 0.0, 5.0], [1.0, 5e3, 500.0, 1.0],
             [50.0, 50.0, 5e3, 0.0], [5.0, 50.0, 5.0, 5e3]]  # fmt: skip
    targets = [5.5, 5.5, 20.0, 5.5, 0.5]
    together = time_reached(boundary_sums(np.array(rates)), np.array(targets))
    alone = [reached(rate, target) for rate, target in zip(rates, targets, strict=True)]
    assert together.tolist() == alone


def test_many_rows_are_searched_apart() -> None:
    """In 5000 rows no time runs past its row, however little a day brings.

    Each row is 1, next to nothing, nothing, 5: a sum a hair above 1 comes within those days.
    """
    sums = boundary_sums(np.tile([1.0, 1e-15, 0.0, 5.0], (5000, 1)))
    hair = time_reached(sums, np.full(5000, 1.0 + 1e-12))
    assert (hair >= 1.0).all()
    assert (hair <= 4.0).all()
    np.testing.assert_allclose(sum_at(sums, hair), 1.0, atol=1e-11)
    assert time_reached(sums, np.full(5000, 3.5)) == pytest.approx(3.5)
