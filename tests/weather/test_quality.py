"""The quality screen: which days are rejected, and what is said about them."""

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.units import f_to_c
from stagecast.weather.quality import QualityFlag, doubtful_units, flags_as_problems, screen
from stagecast.weather.records import DayKind, Station, StationRecord

START = dt.date(2026, 5, 1)
NAN = float("nan")
# Invented limits: the tests are about what is done with them, not about their values.
LIMITS = {"tmin_floor_c": -40.0, "tmax_ceiling_c": 50.0, "stuck_days": 4, "max_range_c": 35.0}

Pair = tuple[float, float]


def record(pairs: Sequence[Pair], kind: Sequence[int] | None = None) -> StationRecord:
    """A record of consecutive days, OBSERVED unless said otherwise."""
    values = np.array(pairs, dtype=float).reshape(-1, 2)
    kinds = [DayKind.OBSERVED] * len(pairs) if kind is None else list(kind)
    return StationRecord(
        Station("DEMO01", 40.0, -89.0),
        START,
        values[:, 0].copy(),
        values[:, 1].copy(),
        np.array(kinds, dtype=np.int8),
    )


def rejected(result: StationRecord) -> list[int]:
    """Indices of MISSING days, whose temperatures must be NaN."""
    missing = np.flatnonzero(result.kind == DayKind.MISSING)
    assert np.isnan(result.tmin_c[missing]).all()
    assert np.isnan(result.tmax_c[missing]).all()
    return missing.tolist()


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        ((25.0, 10.0), "tmin is above tmax"),
        ((-40.1, -10.0), "colder than -40"),
        ((-9999.0, -9999.0), "colder than -40"),
        ((10.0, -9999.0), "colder than -40"),
        ((20.0, 50.1), "warmer than 50"),
        ((60.0, 55.0), "warmer than 50"),
        ((-5.0, 31.0), "more than 35"),
        ((NAN, 20.0), "only one of the two"),
        ((10.0, NAN), "only one of the two"),
        ((-1e308, 1e308), "colder than -40"),
    ],
)
def test_each_reason(pair: Pair, words: str) -> None:
    """An implausible day between two sound ones becomes MISSING with its own reason and values."""
    result, flags = screen(record([(10, 20), pair, (11, 21)]), **LIMITS)
    assert rejected(result) == [1]
    (flag,) = flags
    assert (flag.station, flag.date) == ("DEMO01", dt.date(2026, 5, 2))
    assert words in flag.reason
    np.testing.assert_equal((flag.tmin_c, flag.tmax_c), pair)


def test_the_limits_themselves_are_plausible() -> None:
    """A value on a limit, and a day with tmin equal to tmax, are kept."""
    pairs = [(-40.0, -20.0), (25.0, 50.0), (-5.0, 30.0), (12.0, 12.0)]
    result, flags = screen(record(pairs), **LIMITS)
    assert flags == ()
    assert rejected(result) == []


def test_a_stuck_sensor_keeps_its_first_day() -> None:
    """Of five equal days at a limit of four, days two to five are rejected."""
    pairs = [(9, 20), *[(12, 24)] * 5, (13, 25)]
    result, flags = screen(record(pairs), **LIMITS)
    assert rejected(result) == [2, 3, 4, 5]
    assert [flag.date.day for flag in flags] == [3, 4, 5, 6]


def test_a_run_below_the_limit_is_weather() -> None:
    """Three equal days at a limit of four are kept; so is a run with only tmin equal."""
    pairs = [(12, 24)] * 3 + [(11, 24)] + [(11, 25 + i) for i in range(6)]
    assert screen(record(pairs), **LIMITS)[1] == ()


def test_a_run_may_be_the_whole_record() -> None:
    """A run that begins on the first day and ends on the last is found."""
    assert rejected(screen(record([(12, 24)] * 4), **LIMITS)[0]) == [1, 2, 3]


def test_a_hole_ends_a_run() -> None:
    """Two equal stretches of three days on both sides of a missing day are not one run."""
    pairs = [(12, 24)] * 3 + [(NAN, NAN)] + [(12, 24)] * 3
    result, flags = screen(record(pairs, [1, 1, 1, 0, 1, 1, 1]), **LIMITS)
    assert flags == ()
    assert rejected(result) == [3]


def test_only_sound_days_are_called_stuck() -> None:
    """A run of sentinels keeps its own reason; equal bridged or past-season days are kept."""
    _, flags = screen(record([(10, 20), *[(-9999, -9999)] * 6]), **LIMITS)
    assert {flag.reason for flag in flags} == {"colder than -40 degC"}
    assert len(flags) == 6
    for kind in (DayKind.BRIDGED, DayKind.PAST_SEASON):
        assert screen(record([(12, 24)] * 6, [kind] * 6), **LIMITS)[1] == ()


def test_other_kinds_pass_and_forecasts_do_not() -> None:
    """Bridged and past-season days are left as they are; a bad MODEL day loses its fetch date."""
    kinds = [DayKind.BRIDGED, DayKind.PAST_SEASON, DayKind.MODEL, DayKind.MODEL]
    given_record = record([(30, 10), (30, 10), (30, 10), (10, 20)], kinds)
    given_record.fetched_on.update({2: START, 3: START})
    result, flags = screen(given_record, **LIMITS)
    assert rejected(result) == [2]
    assert len(flags) == 1
    assert result.fetched_on == {3: START}


def test_a_day_marked_observed_without_values_is_missing() -> None:
    """A day with neither temperature is MISSING whatever it was marked, without a flag."""
    result, flags = screen(record([(10, 20), (NAN, NAN)]), **LIMITS)
    assert rejected(result) == [1]
    assert flags == ()


def test_an_empty_record() -> None:
    """A record without days is screened without complaint."""
    result, flags = screen(record([]), **LIMITS)
    assert (result.days, flags) == (0, ())


def test_a_run_needs_two_days() -> None:
    """A stuck limit of one day, under which every day would be stuck, is refused."""
    with pytest.raises(ValueError, match="stuck_days"):
        screen(record([(10, 20)]), **{**LIMITS, "stuck_days": 1})


temperature = st.one_of(st.sampled_from([10.0, 20.0, NAN]), st.floats(-60, 70))
pairs_of_days = st.lists(st.tuples(temperature, temperature), max_size=30)


@given(pairs_of_days)
def test_what_is_left_is_sound(pairs: list[Pair]) -> None:
    """After screening a day is whole, in range, in order and unchanged, or it is MISSING."""
    before = record(pairs)
    copies = before.tmin_c.copy(), before.tmax_c.copy(), before.kind.copy()
    after, flags = screen(before, **LIMITS)
    kept = after.kind == DayKind.OBSERVED
    assert (after.tmin_c[kept] >= -40).all()
    assert (after.tmax_c[kept] <= 50).all()
    assert (after.tmin_c[kept] <= after.tmax_c[kept]).all()
    assert (after.tmax_c[kept] - after.tmin_c[kept] <= 35).all()
    np.testing.assert_array_equal(after.tmin_c[kept], before.tmin_c[kept])
    np.testing.assert_array_equal(after.tmax_c[kept], before.tmax_c[kept])
    for untouched, now in zip(copies, (before.tmin_c, before.tmax_c, before.kind), strict=True):
        np.testing.assert_array_equal(untouched, now)

    empty = np.isnan(before.tmin_c) & np.isnan(before.tmax_c)
    flagged = {(flag.date - START).days for flag in flags}
    assert flagged | set(np.flatnonzero(empty).tolist()) == set(rejected(after))
    assert len(flagged) == len(flags)


@given(pairs_of_days)
def test_screening_twice_rejects_no_more(pairs: list[Pair]) -> None:
    """A screened record passes the same screen without a flag."""
    once, _ = screen(record(pairs), **LIMITS)
    twice, flags = screen(once, **LIMITS)
    assert flags == ()
    np.testing.assert_array_equal(once.kind, twice.kind)


def test_a_run_is_one_sentence() -> None:
    """Consecutive days with one reason make one doubtful problem; a break or a new reason, two."""
    pairs = [(10, 20), (30, 10), (31, 11), (-99, 10), (10, 20), (30, 10)]
    problems = flags_as_problems(screen(record(pairs), **LIMITS)[1])
    assert [p.message for p in problems] == [
        "2026-05-02 to 2026-05-03: tmin is above tmax; 2 days taken as missing",
        "2026-05-04: colder than -40 degC; 1 day taken as missing",
        "2026-05-06: tmin is above tmax; 1 day taken as missing",
    ]
    assert all(p.doubtful and p.file == "weather/DEMO01.csv" for p in problems)
    assert problems[0].found == "tmin 30.0, tmax 10.0 degC"
    assert problems[0].date == dt.date(2026, 5, 2)


def test_stations_are_not_run_together() -> None:
    """Flags of two stations on consecutive days stay two problems."""
    flags = [
        QualityFlag("A", START, "tmin is above tmax", 3, NAN),
        QualityFlag("B", START + dt.timedelta(days=1), "tmin is above tmax", 3, 2),
    ]
    problems = flags_as_problems(flags)
    assert [p.file for p in problems] == ["weather/A.csv", "weather/B.csv"]
    assert problems[0].found == "tmin 3.0, tmax missing degC"


# --- units ----------------------------------------------------------------------------------

UNITS = {
    "coldest_summer_c": 10.0,
    "warmest_summer_c": 45.0,
    "months": (5, 8),
    "at_least_days": 20,
}
maxima_of_may = st.lists(st.floats(14.0, 42.0), min_size=20, max_size=31)


@given(maxima_of_may)
def test_wrong_units_are_doubted_and_right_ones_are_not(maxima_c: list[float]) -> None:
    """Any May of soybean country: degC read as degF is too cold, degF read as degC too warm."""
    celsius = [(t - 9.0, t) for t in maxima_c]
    as_fahrenheit = [(f_to_c(low), f_to_c(high)) for low, high in celsius]
    as_celsius = [(low * 1.8 + 32.0, high * 1.8 + 32.0) for low, high in celsius]
    assert doubtful_units(record(celsius), **UNITS) is None

    cold = doubtful_units(record(as_fahrenheit), **UNITS)
    assert cold is not None
    assert cold.doubtful
    assert cold.file == "weather/DEMO01.csv"
    assert "too cold" in cold.message
    assert str(cold.next_step).endswith("but holds degC, name the columns tmin_c and tmax_c")

    warm = doubtful_units(record(as_celsius), **UNITS)
    assert warm is not None
    assert warm.doubtful
    assert "too warm" in warm.message
    assert str(warm.next_step).endswith("but holds degF, name the columns tmin_f and tmax_f")


def test_the_doubt_says_the_middle_maximum() -> None:
    """The sentence tells a number that a person can look up, and how many days it is from."""
    pairs = [(-20.0, float(t)) for t in range(-10, 15)]
    problem = doubtful_units(record(pairs), **UNITS)
    assert problem is not None
    assert "2.0 degC in the middle of 25 days" in problem.message


def test_error_codes_do_not_make_units_doubtful() -> None:
    """A sensor's -9999, and days without a maximum, say nothing about the unit."""
    pairs = [(12.0, 24.0)] * 20 + [(-9999.0, -9999.0)] * 8 + [(12.0, NAN)] * 3
    assert doubtful_units(record(pairs), **UNITS) is None


def test_units_are_told_by_enough_measured_warm_days_only() -> None:
    """Nineteen days are too few; winters, forecasts and bridged days do not count."""
    frost = [(-12.0, -3.0)] * 20
    assert doubtful_units(record(frost), **UNITS) is not None
    assert doubtful_units(record(frost[1:]), **UNITS) is None
    for kind in (DayKind.MODEL, DayKind.BRIDGED):
        assert doubtful_units(record(frost, [1] * 19 + [kind]), **UNITS) is None
    winter = {**UNITS, "months": (6, 8)}  # the record is of May
    assert doubtful_units(record(frost), **winter) is None
    assert doubtful_units(record([]), **UNITS) is None
