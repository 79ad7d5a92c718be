"""Holes: bridged along a line where they are short, refused everywhere else."""

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.weather.gaps import apply, holes
from stagecast.weather.records import DayKind, Station, StationRecord

START = dt.date(2026, 5, 1)
NAN = float("nan")
Pair = tuple[float, float]
HOLE = (NAN, NAN)


def day(number: int) -> dt.date:
    """The day of May 2026."""
    return dt.date(2026, 5, number)


def record(pairs: Sequence[Pair], kind: Sequence[int] | None = None) -> StationRecord:
    """A record from 1 May on; days without values are MISSING unless said otherwise."""
    values = np.array(pairs, dtype=float).reshape(-1, 2)
    kinds = np.isfinite(values).all(axis=1).astype(np.int8)  # MISSING is 0, OBSERVED is 1
    if kind is not None:
        kinds = np.array(kind, dtype=np.int8)
    station = Station("DEMO01", 40.0, -89.0)
    return StationRecord(station, START, values[:, 0].copy(), values[:, 1].copy(), kinds)


def test_a_bridge_by_hand() -> None:
    """Two missing days between 10/26 and 16/20 lie on the line: 12/24 and 14/22."""
    result = apply(record([(10, 26), HOLE, HOLE, (16, 20)]), 2, day(1), day(4))
    assert result.tmin_c.tolist() == pytest.approx([10, 12, 14, 16], abs=1e-12)
    assert result.tmax_c.tolist() == pytest.approx([26, 24, 22, 20], abs=1e-12)
    assert result.kind.tolist() == [1, DayKind.BRIDGED, DayKind.BRIDGED, 1]


def test_rounding_never_turns_a_bridged_day_over() -> None:
    """Between days whose tmin and tmax differ in the last digit only, tmin stays below tmax."""
    pairs = [(24.92433002538793, 24.924330025387935), (-11.945994392927682, -11.94599439292768)]
    nearly_equal = record([pairs[0], *[HOLE] * 6, pairs[1]])
    result = apply(nearly_equal, 6, day(1), day(8))
    assert (result.tmin_c <= result.tmax_c).all()


def test_a_longer_hole_stays_whole() -> None:
    """A hole one day longer than is bridged stays MISSING from end to end."""
    result = apply(record([(10, 20), HOLE, HOLE, (16, 22)]), 1, day(1), day(4))
    assert result.kind.tolist() == [1, 0, 0, 1]
    assert np.isnan(result.tmin_c[1:3]).all()


def test_refuse_bridges_nothing() -> None:
    """Under 'refuse' even one day stays MISSING."""
    result = apply(record([(10, 20), HOLE, (16, 22)]), 0, day(1), day(3))
    assert result.kind.tolist() == [1, 0, 1]


def test_ends_are_never_bridged() -> None:
    """Days before the first and after the last known day stay MISSING, however long the bridge."""
    ragged = record([HOLE, (10, 20), HOLE, (12, 22), HOLE])
    result = apply(ragged, 30, day(1), day(8))
    assert result.kind.tolist() == [0, 1, DayKind.BRIDGED, 1, 0, 0, 0, 0]


def test_nothing_after_the_last_day_is_looked_at() -> None:
    """Asked as of 3 May, a hole that a value of 4 May would close is still open."""
    known_later = record([(10, 20), HOLE, HOLE, (16, 26)])
    result = apply(known_later, 5, day(1), day(3))
    assert result.kind.tolist() == [1, 0, 0]


def test_a_known_day_before_the_span_may_carry_a_bridge() -> None:
    """A span that begins inside a hole gets the same values as one that begins before it."""
    whole = record([(10, 20), HOLE, HOLE, (16, 26)])
    wide = apply(whole, 2, day(1), day(4))
    narrow = apply(whole, 2, day(3), day(4))
    assert narrow.first_day == day(3)
    assert narrow.tmin_c.tolist() == wide.tmin_c.tolist()[2:]
    assert narrow.kind.tolist() == [DayKind.BRIDGED, 1]


def test_a_hole_is_measured_whole() -> None:
    """Beginning the span inside a hole that is too long does not make it short enough."""
    result = apply(record([(1, 9), HOLE, HOLE, (4, 9)]), 1, day(3), day(4))
    assert result.kind.tolist() == [0, 1]


def test_past_seasons_carry_no_bridge() -> None:
    """A hole between the last observed day and past-season days is the end of the record."""
    composite = record([(10, 20), HOLE, (12, 22)], [1, 0, DayKind.PAST_SEASON])
    assert apply(composite, 5, day(1), day(3)).kind.tolist() == [1, 0, 4]
    forecast = record([(10, 20), HOLE, (12, 22)], [1, 0, DayKind.MODEL])
    assert apply(forecast, 5, day(1), day(3)).kind.tolist() == [1, 3, 2]


def test_holes_by_hand() -> None:
    """Holes are listed with both ends, including days beyond the record and half days."""
    ragged = record([(1, 9), HOLE, HOLE, (4, 9), (5, NAN)], [1, 0, 0, 1, 1])
    assert holes(ragged, day(1), day(4)) == [(day(2), day(3))]
    assert holes(ragged, day(3), day(7)) == [(day(3), day(3)), (day(5), day(7))]
    assert holes(ragged, day(20), day(21)) == [(day(20), day(21))]
    assert holes(ragged, day(1), day(1)) == []


GAPPY = [HOLE, (10, 20), HOLE, HOLE, (16, 26), HOLE]


known_days = st.tuples(st.floats(-40, 45), st.floats(0, 30)).map(lambda p: (p[0], p[0] + p[1]))
gappy_days = st.lists(st.one_of(st.just(HOLE), known_days), min_size=1, max_size=30)


@given(gappy_days, st.integers(1, 6))
def test_a_bridge_stays_between_its_ends(pairs: list[Pair], max_days: int) -> None:
    """Known days never change; a bridged day lies within its neighbours; other holes stay NaN."""
    before = record(pairs)
    last = before.last_day
    after = apply(before, max_days, START, last)
    known = np.flatnonzero(before.kind == DayKind.OBSERVED)
    for name in ("tmin_c", "tmax_c", "kind"):
        np.testing.assert_array_equal(getattr(before, name)[known], getattr(after, name)[known])
    for i in np.flatnonzero(before.kind == DayKind.MISSING):
        left, right = known[known < i], known[known > i]
        bridged = bool(left.size and right.size and right[0] - left[-1] - 1 <= max_days)
        assert after.kind[i] == (DayKind.BRIDGED if bridged else DayKind.MISSING)
        for values in (after.tmin_c, after.tmax_c):
            if bridged:
                ends = values[left[-1]], values[right[0]]
                assert min(ends) <= values[i] <= max(ends)
            else:
                assert np.isnan(values[i])
    whole = after.kind != DayKind.MISSING
    assert (after.tmin_c[whole] <= after.tmax_c[whole]).all()


@given(gappy_days, st.integers(1, 6))
def test_a_bridge_is_built_once(pairs: list[Pair], max_days: int) -> None:
    """Bridging to its own result changes nothing, and leaves the given record alone."""
    before = record(pairs)
    copy = before.tmin_c.copy()
    once = apply(before, max_days, START, before.last_day)
    twice = apply(once, max_days, START, before.last_day)
    np.testing.assert_array_equal(once.kind, twice.kind)
    np.testing.assert_array_equal(once.tmin_c, twice.tmin_c)
    np.testing.assert_array_equal(before.tmin_c, copy)


@given(gappy_days, st.integers(0, 40), st.integers(0, 10))
def test_holes_and_known_days_make_up_the_span(pairs: list[Pair], start: int, length: int) -> None:
    """Days in holes and days with temperatures add up to the span, whatever part is asked for."""
    gappy = record(pairs)
    first = START + dt.timedelta(days=start - 5)
    last = first + dt.timedelta(days=length)
    listed = sum((end - begin).days + 1 for begin, end in holes(gappy, first, last))
    known = [START + dt.timedelta(days=int(i)) for i in np.flatnonzero(gappy.kind)]
    assert listed + sum(first <= d <= last for d in known) == length + 1
