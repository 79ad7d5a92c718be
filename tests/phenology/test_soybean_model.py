"""The stage model: worked by hand at constant temperature, and properties in any weather."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stage_helpers import (
    CROP,
    EARLIEST,
    LATEST,
    REPRODUCTIVE,
    SOYBEAN,
    VEGETATIVE,
    YEAR_DAYS,
    Crop,
    at,
    constant,
    crops,
    invented_years,
    run,
    run_drawn,
    weather_years,
)

from stagecast.base.units import c_to_f, f_to_c
from stagecast.phenology.ensemble import MemberErrors
from stagecast.phenology.parameters import GroupParameters, group_parameters
from stagecast.phenology.soybean import STAGES

Years = tuple[np.ndarray, np.ndarray]
TINY = 1e-9
SHORT_DAY_H = 10.0  # below every group's critical length, so that temperature alone counts

# Days as wide as these tests' constant ones, which have no range at all, against usual days of
# 11.5 degC: at -2.0 and +2.4 percent per degC, by hand.
EVEN_BEFORE_R1, EVEN_AFTER_R5 = np.exp(0.230), np.exp(-0.276)

some_weather = settings(max_examples=30, deadline=None)


def assert_same(found: np.ndarray | float, wanted: np.ndarray | float) -> None:
    """The same times or nodes, but for the rounding of sums that begin on another day."""
    np.testing.assert_allclose(found, wanted, rtol=0, atol=TINY)


def alone(tmin_c: np.ndarray, tmax_c: np.ndarray, field: Crop) -> np.ndarray:
    """Stage times of one field, shape (members, stages)."""
    return run(tmin_c, tmax_c, [field]).times[0]


def parameters(number: float | Sequence[float], *, indeterminate: bool = False) -> GroupParameters:
    """Group parameters of some group numbers."""
    numbers = np.atleast_1d(np.array(number, dtype=float))
    return group_parameters(
        numbers, indeterminate=np.full(numbers.shape, indeterminate), soybean=SOYBEAN
    )


# --- by hand -----------------------------------------------------------------------------------


def test_short_days_at_the_optimum_take_the_bare_needs() -> None:
    """At 24.2 degC and short days every rate is 1, so each phase takes its need in days.

    Emergence takes 80 degree-days at 24.2 - 8 a day, counted from the day after planting; days
    without a range are quicker to R1 and slower from R5 on.
    """
    group = parameters(2.0)
    field = Crop(planted=130, number=2.0, day_length_h=SHORT_DAY_H)
    times = alone(*constant(24.2), field)[0]
    to_r1, to_r5, to_r7 = (
        float(need[0])
        for need in (
            group.need_ve_r1 / EVEN_BEFORE_R1,
            group.need_r1_r5,
            group.need_r5_r7 / EVEN_AFTER_R5,
        )
    )
    ve = 131.0 + CROP.emergence_need / (24.2 - CROP.emergence_base_c)
    r1, r5, r7 = ve + to_r1, ve + to_r1 + to_r5, ve + to_r1 + to_r5 + to_r7
    expected = {
        "VE": ve,
        "VC": ve + CROP.vc_at * CROP.phyllochron,
        "V1": ve + CROP.v1_at * CROP.phyllochron,
        "V2": ve + (CROP.v1_at + 1.0) * CROP.phyllochron,
        "V4": ve + (CROP.v1_at + 3.0) * CROP.phyllochron,
        "R1": r1,
        "R2": r1 + CROP.share_r2 * to_r5,
        "R3": r1 + CROP.share_r3 * to_r5,
        "R4": r1 + CROP.share_r4 * to_r5,
        "R5": r5,
        "R6": r5 + CROP.share_r6 * to_r7,
        "R7": r7,
        "R8": r7 + CROP.days_r7_r8,
    }
    assert {stage: float(at(times, stage)) for stage in expected} == pytest.approx(expected)


@pytest.mark.parametrize(
    ("temperature_c", "ve_r1", "r1_r5", "r5_r7"),
    [
        (15.6, 8.6 / 17.2, 35.2 / 43.6, 66.6 / 75.0),
        (30.0, 1.0, 1.0, 1.0),
        (38.0, 7.0 / 11.0, 10.0 / 16.0, 14.0 / 20.0),
    ],
)
def test_each_phase_follows_its_own_response(
    temperature_c: float, ve_r1: float, r1_r5: float, r5_r7: float
) -> None:
    """At a constant temperature a phase takes its need over its rate, counted by hand.

    Cardinal temperatures 7/24.2/34/45 to R1, -19.6/24/32/48 to R5, -51/24/32/52 to R7.
    """
    group = parameters(3.0)
    field = Crop(planted=60, number=3.0, day_length_h=SHORT_DAY_H)
    times = alone(*constant(temperature_c), field)[0]
    spans = [at(times, b) - at(times, a) for a, b in (("VE", "R1"), ("R1", "R5"), ("R5", "R7"))]
    needs = (
        group.need_ve_r1 / EVEN_BEFORE_R1,
        group.need_r1_r5,
        group.need_r5_r7 / EVEN_AFTER_R5,
    )
    expected = [float(n[0]) / rate for n, rate in zip(needs, (ve_r1, r1_r5, r5_r7), strict=True)]
    assert [float(s) for s in spans] == pytest.approx(expected)


def test_long_days_slow_the_crop_down_to_a_floor() -> None:
    """An hour over the critical length costs k before R1; 23-hour days leave the floor.

    After R1 the critical length is lower by 0.155 h and k 1.37 times as large.
    """
    group = parameters(4.0)
    k, critical = float(group.sensitivity[0]), float(group.critical_h[0])
    to_r1, to_r5 = float(group.need_ve_r1[0]) / EVEN_BEFORE_R1, float(group.need_r1_r5[0])
    hour_over = alone(*constant(24.2), Crop(20, 4.0, day_length_h=critical + 1.0))[0]
    assert at(hour_over, "R1") - at(hour_over, "VE") == pytest.approx(to_r1 / (1.0 - k))
    slower = 1.0 - 1.37 * k * (1.0 + 0.155)
    assert at(hour_over, "R5") - at(hour_over, "R1") == pytest.approx(to_r5 / slower)
    endless = alone(*constant(24.2, 800), Crop(20, 4.0, day_length_h=23.0))[0]
    assert at(endless, "R1") - at(endless, "VE") == pytest.approx(to_r1 / CROP.photoperiod_floor)


def test_warm_and_cold_within_a_day_count_apart() -> None:
    """A day from 2 to 14 degC warms seed although its mean is the base: eight spans by hand.

    Two each at 8 + 6 cos(22.5 deg) and 8 + 6 cos(67.5 deg) give (5.543 + 2.296)/4 above 8 degC.
    """
    low, high = np.full(YEAR_DAYS, 2.0), np.full(YEAR_DAYS, 14.0)
    times = alone(low, high, Crop(planted=10, number=2.0))[0]
    assert at(times, "VE") - 11.0 == pytest.approx(80.0 / ((5.5433 + 2.2961) / 4.0), rel=1e-4)


def test_a_wide_day_is_slower_than_its_mean() -> None:
    """Days from 12.0 to 36.4 degC, optimal in the mean, develop at 0.7349 of the full rate.

    By hand: the day's temperatures 35.471, 28.869, 19.531 and 12.929 have rates (45 - 35.471)/11,
    1, 12.531/17.2 and 5.929/17.2 on the way to R1; 12.9 degC wider than usual days, they lose
    another 12.9 times 2.0 percent.
    """
    need = float(parameters(3.0).need_ve_r1[0])
    low, high = np.full(YEAR_DAYS, 12.0), np.full(YEAR_DAYS, 36.4)
    times = alone(low, high, Crop(planted=60, number=3.0, day_length_h=SHORT_DAY_H))[0]
    rate = (9.529 / 11.0 + 1.0 + 12.531 / 17.2 + 5.929 / 17.2) / 4.0 * np.exp(-0.258)
    assert at(times, "R1") - at(times, "VE") == pytest.approx(need / rate, rel=1e-3)


def test_wide_days_delay_flowers_and_hasten_maturity() -> None:
    """Days 3 degC wider, all of them within the optimum: 6.2% more to R1, 6.9% less from R5 to R7.

    By hand: exp(3 x 0.020) = 1.0618 and exp(-3 x 0.024) = 0.9305; from R1 to R5 nothing changes.
    """
    field = Crop(planted=60, number=3.0, day_length_h=SHORT_DAY_H)
    narrow, wide = (
        alone(np.full(YEAR_DAYS, 28.0 - half), np.full(YEAR_DAYS, 28.0 + half), field)[0]
        for half in (1.5, 3.0)
    )
    ratios = {
        last: (at(wide, last) - at(wide, first)) / (at(narrow, last) - at(narrow, first))
        for first, last in (("VE", "R1"), ("R1", "R5"), ("R5", "R7"))
    }
    assert ratios == pytest.approx({"R1": 1.0618, "R5": 1.0, "R7": 0.9305}, rel=1e-3)


@pytest.mark.parametrize(
    ("year", "shorter_d"),
    [(1950, 4.5), (1989, 4.5), (2009, 1.5), (2019, 0.0), (2031, 0.0), (None, 0.0)],
)
def test_cultivars_fill_seed_longer_than_they_did(year: int | None, shorter_d: float) -> None:
    """R5 to R7 needs 0.15 days more with every year from 1989 to 2019, and nothing else changes."""
    number, habit = np.array([2.5, 4.5]), np.zeros(2, bool)
    then, now = (
        group_parameters(number, indeterminate=habit, soybean=SOYBEAN, year=y) for y in (year, None)
    )
    assert now.need_r5_r7 - then.need_r5_r7 == pytest.approx(shorter_d)
    for name in ("critical_h", "sensitivity", "need_ve_r1", "need_r1_r5"):
        assert getattr(then, name).tolist() == getattr(now, name).tolist()


def test_a_season_too_cold_never_ends() -> None:
    """At 7 degC seed never comes up, and every later stage is never, not unknown."""
    assert np.isposinf(alone(*constant(7.0), Crop(planted=100, number=2.0))).all()


# --- maturity groups -----------------------------------------------------------------------------


@given(number=st.floats(EARLIEST, LATEST))
def test_the_determinate_step_begins_at_late_group_iv(number: float) -> None:
    """Up to 4.7 the habit changes nothing; from 5.3 it is the whole step; in between a part."""
    step = float(SOYBEAN.groups.determinate_step)
    usual, said = parameters(number), parameters(number, indeterminate=True)
    extra = float(usual.need_ve_r1[0] - said.need_ve_r1[0])
    if number <= 4.7:
        assert extra == 0.0
    elif number >= 5.3:
        assert extra == pytest.approx(step)
    else:
        assert extra == pytest.approx(step * (number - 4.7) / 0.6, abs=1e-9)
    for name in ("critical_h", "sensitivity", "need_r1_r5", "need_r5_r7"):
        assert getattr(usual, name) == getattr(said, name)


def test_an_indeterminate_group_v_flowers_earlier_by_the_step() -> None:
    """At rate 1 a 5.5 said to be indeterminate flowers 8.4 days before one of usual habit."""
    fields = [
        Crop(100, 5.5, day_length_h=SHORT_DAY_H, said_indeterminate=said) for said in (False, True)
    ]
    usual, said = at(run(*constant(26.0), fields).times[:, 0], "R1")
    assert usual - said == pytest.approx(8.4 / EVEN_BEFORE_R1)


@pytest.mark.parametrize("number", [EARLIEST - 0.001, LATEST + 0.001, -99.0, float("inf")])
def test_groups_outside_the_table_are_refused(number: float) -> None:
    """A group number beyond the knots is an error that names the range: nothing is guessed."""
    with pytest.raises(ValueError, match=rf"must lie in {EARLIEST} to {LATEST}"):
        parameters([3.0, number])


def test_knots_give_the_table_itself() -> None:
    """On a knot the parameters are the table's; half way between two knots their mean."""
    table, knots = SOYBEAN.groups, SOYBEAN.groups.knots.values
    for name, series in (
        ("critical_h", table.critical_day_length),
        ("sensitivity", table.sensitivity),
        ("need_ve_r1", table.need_ve_r1),
        ("need_r1_r5", table.need_r1_r5),
        ("need_r5_r7", table.need_r5_r7),
    ):
        on = getattr(parameters(knots, indeterminate=True), name)
        assert on.tolist() == list(series.values)
        middles = [(a + b) / 2 for a, b in itertools.pairwise(knots)]
        between = getattr(parameters(middles, indeterminate=True), name)
        assert between == pytest.approx((on[1:] + on[:-1]) / 2)


@some_weather
@given(years=weather_years(), field=crops(), earlier=st.floats(0.05, 3.0))
def test_a_later_group_is_never_ripe_sooner(years: Years, field: Crop, earlier: float) -> None:
    """Of two fields alike but for the group, the later group does not flower or ripen first.

    Held to groups before IV: from there on, the table shortens R5 to R7.
    """
    late = dataclasses.replace(field, number=min(field.number, 3.0))
    early = dataclasses.replace(late, number=max(late.number - earlier, EARLIEST))
    times = run(*years, [early, late]).times
    for stage in ("R1", "R5", "R7", "R8"):
        assert (at(times[1], stage) >= at(times[0], stage) - TINY).all()


# --- any weather ---------------------------------------------------------------------------------


@some_weather
@given(years=weather_years(), field=crops())
def test_stages_come_in_order(years: Years, field: Crop) -> None:
    """In every possible season VE to V4, and VE and R1 to R8, come one after another."""
    times = alone(*years, field)
    assert not np.isnan(times).any()
    assert (at(times, "VE") > field.planted + 1.0).all()
    for order in (VEGETATIVE, REPRODUCTIVE):
        chain = np.stack([at(times, stage) for stage in order], axis=-1)
        before, after = chain[:, :-1], chain[:, 1:]
        assert ((after > before) | np.isposinf(after)).all()


@some_weather
@given(years=weather_years(), field=crops(), wait=st.integers(1, 40))
def test_planting_later_brings_nothing_forward(years: Years, field: Crop, wait: int) -> None:
    """Under one weather a field planted later reaches no stage before one planted earlier."""
    later = dataclasses.replace(field, planted=field.planted + wait)
    times = run(*years, [field, later]).times
    assert (times[1] >= times[0] - TINY).all()


@some_weather
@given(
    years=weather_years(),
    field=crops(),
    warmer_low=st.floats(0.0, 8.0),
    warmer_high=st.floats(0.0, 8.0),
    seed=st.integers(0, 1000),
)
def test_warmth_never_delays_emergence(
    years: Years, field: Crop, warmer_low: float, warmer_high: float, seed: int
) -> None:
    """Warmer nights or warmer days, on all days or some of them, never put VE back."""
    low, high = years
    which = np.random.default_rng(seed).integers(0, 2, YEAR_DAYS)
    warm_high = high + (warmer_low + warmer_high) * which
    warm = alone(low + warmer_low * which, warm_high, field)
    assert (at(warm, "VE") <= at(alone(low, high, field), "VE") + TINY).all()


@some_weather
@given(years=weather_years(), field=crops(), wait=st.integers(1, 120))
def test_a_missing_day_makes_later_stages_unknown(years: Years, field: Crop, wait: int) -> None:
    """After a hole a stage is NaN, never a date and never "not reached"; before it, unchanged."""
    hole = min(field.planted + wait, YEAR_DAYS - 1)
    whole = alone(*years, field)
    low, high = (np.where(np.arange(YEAR_DAYS) == hole, np.nan, t) for t in years)
    holed = alone(low, high, field)
    needs_hole = whole > hole
    # R8 is counted from R7 on the calendar and needs no temperatures of its own.
    needs_hole[:, STAGES.index("R8")] = at(whole, "R7") > hole
    assert np.isnan(holed[needs_hole]).all()
    assert_same(holed[~needs_hole], whole[~needs_hole])


@some_weather
@given(years=weather_years(), field=crops(), back=st.integers(0, 200))
def test_a_missing_day_before_planting_does_not_matter(
    years: Years, field: Crop, back: int
) -> None:
    """Holes up to the planting day itself leave every stage as it was."""
    first = max(field.planted - back, 0)
    low, high = (t.copy() for t in years)
    low[:, first : field.planted + 1] = np.nan
    high[:, first : field.planted + 1] = np.nan
    assert_same(alone(low, high, field), alone(*years, field))


@some_weather
@given(years=weather_years(), field=crops(), wait=st.integers(3, 40))
def test_an_emergence_that_was_seen_overrides(years: Years, field: Crop, wait: int) -> None:
    """VE is the time seen in every member, and the clock runs from there whatever came before.

    A hole between planting and that day does not matter, and neither does the planting date.
    """
    seen = field.planted + wait + 0.5
    told = dataclasses.replace(field, emerged=seen)
    times = alone(*years, told)
    assert (at(times, "VE") == seen).all()
    low, high = (t.copy() for t in years)
    low[:, : int(seen)] = np.nan
    high[:, : int(seen)] = np.nan
    assert_same(alone(low, high, told), times)
    planted_sooner = dataclasses.replace(told, planted=field.planted - 20)
    assert_same(alone(*years, planted_sooner), times)


def test_a_hole_after_the_emergence_seen_is_unknown() -> None:
    """A missing day right on the day of an observed emergence makes the stages after it NaN."""
    low, high = constant(22.0)
    low[125] = np.nan
    times = alone(low, high, Crop(planted=115, number=3.0, emerged=125.5))[0]
    assert at(times, "VE") == 125.5
    assert np.isnan(times[1:]).all()


@some_weather
@given(years=weather_years(), field=crops())
def test_seeing_the_forecast_emergence_changes_nothing(years: Years, field: Crop) -> None:
    """When VE is seen at the very time forecast for a member, its later stages stay the same."""
    forecast = alone(*years, field)[0]
    assume(np.isfinite(at(forecast, "VE")))
    told = dataclasses.replace(field, emerged=float(at(forecast, "VE")))
    np.testing.assert_allclose(alone(*years, told)[0], forecast, rtol=0, atol=1e-6)


# --- nodes ---------------------------------------------------------------------------------------


@some_weather
@given(years=weather_years(), field=crops(), now=st.floats(80.0, 364.0))
def test_the_unifoliolate_node_is_the_first(years: Years, field: Crop, now: float) -> None:
    """A field has n nodes or more exactly when it is in Vn, as long as it still grows nodes."""
    result = run(*years, [field], nodes_at=now)
    times, nodes = result.times[0], result.nodes[0]
    growing = (at(times, "R1") if field.determinate else at(times, "R5")) >= now
    for count, stage in enumerate(("V1", "V2", "V3", "V4"), start=1):
        reached = at(times, stage)
        clear = growing & (np.abs(reached - now) > 1e-6)
        assert ((nodes >= count) == (reached <= now))[clear].all()
    assert (nodes[at(times, "VE") > now] == 0.0).all()


@some_weather
@given(years=weather_years(), field=crops(), later=st.floats(0.0, 60.0))
def test_nodes_stop_at_r5(years: Years, field: Crop, later: float) -> None:
    """Nodes never grow less with time, and at any time after R5 are what they were at R5."""
    r5 = float(at(alone(*years, field), "R5")[0])
    assume(np.isfinite(r5))
    before, there, after = (
        float(run(*years, [field], nodes_at=time).nodes[0, 0])
        for time in (r5 - 9.0, r5, r5 + later)
    )
    assert before <= there
    assert after == pytest.approx(there, rel=0, abs=TINY)


def test_nodes_counted_by_hand() -> None:
    """At 26 degC a node takes 3.4 days; 34 days after V1 there are 11, and no more after R5.

    A determinate plant stops 2.5 nodes after R1.
    """
    fields = [
        Crop(60, 6.0, day_length_h=SHORT_DAY_H, determinate=determinate)
        for determinate in (False, True)
    ]
    times = run(*constant(26.0), fields).times[0, 0]
    v1, r1, r5 = (float(at(times, stage)) for stage in ("V1", "R1", "R5"))

    def nodes(time: float) -> list[float]:
        return run(*constant(26.0), fields, nodes_at=time).nodes[:, 0].tolist()

    assert nodes(v1 - 0.01) == [0.0, 0.0]
    at_r1 = 1.0 + (r1 - v1) / 3.4
    assert nodes(r1) == pytest.approx([at_r1, at_r1])
    assert r1 - v1 < 34.0 < r5 - v1
    assert nodes(v1 + 34.0) == pytest.approx([11.0, min(11.0, at_r1 + 2.5)])
    assert nodes(300.0) == pytest.approx([1.0 + (r5 - v1) / 3.4, at_r1 + 2.5])


def test_unknown_nodes_are_not_none() -> None:
    """With a missing day before the day asked for, nodes are NaN: not zero, not the last count."""
    low, high = constant(24.0)
    low[150] = np.nan
    fields = [Crop(110, 3.0), Crop(148, 3.0), Crop(110, 3.0, emerged=118.5), Crop(200, 3.0)]
    before, after = (run(low, high, fields, nodes_at=t).nodes[:, 0] for t in (150.0, 170.0))
    assert np.isfinite(before[[0, 2]]).all()
    assert (before[[0, 2]] > 1.0).all()
    assert np.isnan(after).tolist() == [True, True, True, False]
    assert after[3] == 0.0


# --- arrays --------------------------------------------------------------------------------------


def test_all_fields_at_once_are_each_field_alone() -> None:
    """150 fields over 3 cells and 4 members, in chunks, give what each gives by itself."""
    rng = np.random.default_rng(11)
    cells = [
        invented_years(mean_c=m, swing_c=12.0, range_c=11.0, seed=i, members=4)
        for i, m in enumerate((9.0, 13.0, 18.0))
    ]
    low, high = (np.stack([cell[i] for cell in cells]) for i in (0, 1))
    fields = [
        Crop(
            planted=int(rng.integers(75, 205)),
            number=float(rng.uniform(EARLIEST, LATEST)),
            latitude=float(rng.uniform(25.0, 50.0)),
            emerged=float(rng.choice([np.nan, 190.5])),
            determinate=bool(rng.integers(2)),
            said_indeterminate=bool(rng.integers(2)),
            cell=int(rng.integers(3)),
        )
        for _ in range(150)
    ]
    together = run(low, high, fields, nodes_at=200.0)
    assert together.times.shape == (150, 4, len(STAGES))
    for i, field in enumerate(fields):
        single = run(low, high, [field], nodes_at=200.0)
        assert_same(together.times[i], single.times[0])
        assert_same(together.nodes[i], single.nodes[0])


def test_members_do_not_touch_each_other() -> None:
    """A member gives the same stages alone as among others, even beside one with a hole."""
    low, high = invented_years(mean_c=13.0, swing_c=12.0, range_c=11.0, seed=5, members=3)
    low[1, 150] = np.nan
    field = Crop(planted=(dt.date(2025, 5, 12) - dt.date(2025, 1, 1)).days, number=3.5)
    together = alone(low, high, field)
    for member in (0, 1, 2):
        assert_same(together[member], alone(low[member], high[member], field)[0])
    assert np.isnan(together).any(axis=1).tolist() == [False, True, False]


# --- errors of the draws -------------------------------------------------------------------------


def factors(low: float, high: float) -> st.SearchStrategy[np.ndarray]:
    """Factors of a need for two levels of three draws."""
    six = st.lists(st.floats(low, high), min_size=6, max_size=6)
    return six.map(lambda values: np.array(values).reshape(2, 3))


wild_errors = st.builds(
    MemberErrors,
    emergence=factors(0.2, 5.0),
    nodes=factors(0.5, 2.0),
    before_r1=factors(0.5, 2.0),
    r1_r5=factors(0.5, 2.0),
    r5_r7=factors(0.5, 2.0),
    r8_days=factors(-40.0, 40.0),
)
cultivars = st.lists(st.floats(-2.0, 2.0), min_size=2, max_size=2).map(np.array)


def test_each_error_stretches_its_own_phase() -> None:
    """At rate 1 a factor makes its phase that much longer and no other; R8 days are added."""
    field = Crop(planted=100, number=2.0, day_length_h=SHORT_DAY_H)
    one = {name: np.ones((1, 1)) for name in ("emergence", "nodes", "before_r1", "r1_r5", "r5_r7")}
    ends = {"emergence": ("VE",), "before_r1": ("VE", "R1"), "r1_r5": ("R1", "R5")}
    ends |= {"r5_r7": ("R5", "R7"), "nodes": ("V1", "V4"), "r8_days": ("R7", "R8")}

    def spans(errors: MemberErrors) -> dict[str, float]:
        times = run(*constant(26.0), [field], errors=errors).times[0, 0]
        starts = {"emergence": field.planted + 1.0}
        return {
            name: float(at(times, stages[-1]) - starts.get(name, at(times, stages[0])))
            for name, stages in ends.items()
        }

    plain = spans(MemberErrors(**one, r8_days=np.zeros((1, 1))))
    for name in one:
        stretched = MemberErrors(**one | {name: np.full((1, 1), 1.25)}, r8_days=np.zeros((1, 1)))
        assert spans(stretched) == pytest.approx(plain | {name: 1.25 * plain[name]})
    longer = MemberErrors(**one, r8_days=np.full((1, 1), 2.5))
    assert spans(longer) == pytest.approx(plain | {"r8_days": plain["r8_days"] + 2.5})


@some_weather
@given(years=weather_years(), field=crops())
def test_no_errors_are_the_model_itself(years: Years, field: Crop) -> None:
    """One draw without errors gives the very times and nodes of the model without draws."""
    plain = run(*years, [field], nodes_at=200.0)
    none = run(*years, [field], nodes_at=200.0, errors=MemberErrors.none())
    ones = run(*years, [field], nodes_at=200.0, cultivars=np.zeros(1), errors=MemberErrors.none())
    for other in (none, ones):
        assert_same(other.times, plain.times)
        assert_same(other.nodes, plain.nodes)


@some_weather
@given(
    years=weather_years(),
    field=crops(),
    levels=cultivars,
    errors=wild_errors,
    known=st.integers(0, YEAR_DAYS),
    seen=st.booleans(),
)
def test_seasons_that_begin_alike_are_as_each_alone(
    years: Years, field: Crop, levels: np.ndarray, errors: MemberErrors, known: int, seen: bool
) -> None:
    """Days that all seasons have in common are worked out once; no stage or node tells."""
    low, high = (np.vstack([t, t]) for t in years)
    low[1:, :known], high[1:, :known] = low[0, :known], high[0, :known]
    if seen:
        field = dataclasses.replace(field, emerged=field.planted + 9.5)
    told = {"errors": errors, "cultivars": levels, "nodes_at": 190.0}
    together = run(low, high, [field], **told)
    each = [run(low[i : i + 1], high[i : i + 1], [field], **told) for i in range(len(low))]
    assert_same(together.times[0], np.concatenate([one.times[0] for one in each]))
    assert_same(together.nodes[0], np.concatenate([one.nodes[0] for one in each]))


@some_weather
@given(years=weather_years(), field=crops(), levels=cultivars)
def test_cultivar_levels_are_fields_of_their_own(
    years: Years, field: Crop, levels: np.ndarray
) -> None:
    """Without errors, each level gives what a field of that group gives, season by season."""
    together = run(*years, [field], nodes_at=200.0, cultivars=levels)
    assert together.times.shape == (1, 2 * len(levels), len(STAGES))
    for i, step in enumerate(levels):
        number = float(np.clip(field.number + step, EARLIEST, LATEST))
        single = run(*years, [dataclasses.replace(field, number=number)], nodes_at=200.0)
        assert_same(together.times[0, i :: len(levels)], single.times[0])
        assert_same(together.nodes[0, i :: len(levels)], single.nodes[0])


@some_weather
@given(years=weather_years(), field=crops(), levels=cultivars, errors=wild_errors)
def test_members_are_seasons_of_levels_of_draws(
    years: Years, field: Crop, levels: np.ndarray, errors: MemberErrors
) -> None:
    """Member i is season i // 6, level i // 3 % 2 and draw i % 3, as if it were alone."""
    together = run(*years, [field], errors=errors, cultivars=levels, nodes_at=190.0)
    assert together.times.shape == (1, 12, len(STAGES))
    for member in (0, 2, 4, 7, 9, 11):
        season, level, draw = member // 6, member // 3 % 2, member % 3
        own = MemberErrors(
            **{
                part.name: getattr(errors, part.name)[level, draw].reshape(1, 1)
                for part in dataclasses.fields(MemberErrors)
            }
        )
        single = run(
            *(t[season] for t in years),
            [field],
            errors=own,
            cultivars=levels[level : level + 1],
            nodes_at=190.0,
        )
        np.testing.assert_allclose(together.times[0, member], single.times[0, 0], rtol=1e-12)
        np.testing.assert_allclose(together.nodes[0, member], single.nodes[0, 0], rtol=1e-9)


@some_weather
@given(
    years=weather_years(), field=crops(), levels=cultivars, errors=wild_errors, seen=st.booleans()
)
def test_stages_come_in_order_whatever_the_errors(
    years: Years, field: Crop, levels: np.ndarray, errors: MemberErrors, seen: bool
) -> None:
    """In every member VE to V4, and VE and R1 to R8, come in order, and R8 a day after R7.

    A stage that is not reached is never, and so are those after it.
    """
    if seen:
        field = dataclasses.replace(field, emerged=field.planted + 9.5)
    times = run(*years, [field], errors=errors, cultivars=levels).times[0]
    assert not np.isnan(times).any()
    assert (times > field.planted + 1.0).all()
    for order in (VEGETATIVE, REPRODUCTIVE):
        chain = np.stack([at(times, stage) for stage in order], axis=-1)
        before, after = chain[:, :-1], chain[:, 1:]
        assert ((after > before) | (np.isposinf(after))).all()
    assert (at(times, "R8") >= at(times, "R7") + 1.0).all()


@some_weather
@given(
    years=weather_years(),
    field=crops(),
    levels=cultivars,
    errors=wild_errors,
    wait=st.integers(1, 40),
)
def test_planting_later_brings_no_member_forward(
    years: Years, field: Crop, levels: np.ndarray, errors: MemberErrors, wait: int
) -> None:
    """Under one weather and one draw, a field planted later reaches no stage sooner."""
    later = dataclasses.replace(field, planted=field.planted + wait)
    times = run(*years, [field, later], errors=errors, cultivars=levels).times
    assert (times[1] >= times[0] - TINY).all()


@some_weather
@given(years=weather_years(), field=crops(), errors=wild_errors, warmer=st.floats(0.0, 8.0))
def test_warmth_delays_emergence_in_no_member(
    years: Years, field: Crop, errors: MemberErrors, warmer: float
) -> None:
    """Warmer days and nights put VE back in no member, whatever its error."""
    low, high = years
    as_it_is, warm = (
        at(run(low + more, high + more, [field], errors=errors).times, "VE")
        for more in (0.0, warmer)
    )
    assert (warm <= as_it_is + TINY).all()


@some_weather
@given(years=weather_years(), field=crops(), errors=wild_errors, wait=st.integers(3, 40))
def test_an_emergence_that_was_seen_is_exact_in_every_member(
    years: Years, field: Crop, errors: MemberErrors, wait: int
) -> None:
    """VE that was seen is that time in every member, whatever the error of emergence."""
    told = dataclasses.replace(field, emerged=field.planted + wait + 0.5)
    times = run(*years, [told], errors=errors).times
    assert (at(times, "VE") == told.emerged).all()
    without = dataclasses.replace(errors, emergence=np.ones((2, 3)))
    assert_same(run(*years, [told], errors=without).times, times)


@some_weather
@given(years=weather_years(), field=crops(), errors=wild_errors)
def test_a_detour_by_fahrenheit_changes_nothing(
    years: Years, field: Crop, errors: MemberErrors
) -> None:
    """Temperatures written in degF and read back give the same times to a second."""
    there_and_back = (f_to_c(c_to_f(t)) for t in years)
    converted = run(*there_and_back, [field], errors=errors).times
    np.testing.assert_allclose(converted, run(*years, [field], errors=errors).times, atol=1e-5)


def test_many_fields_are_computed_as_each_alone() -> None:
    """70 fields, more than are computed at a time, have the times that each has by itself."""
    rng = np.random.default_rng(5)
    planted = rng.integers(85, 160, 70)
    fields = [Crop(planted=int(day), number=float(rng.uniform(0.0, 4.0))) for day in planted]
    years = invented_years(mean_c=11.0, swing_c=13.0, range_c=11.0, seed=2, members=1)
    together = run_drawn(*years, fields)
    for i in (0, 1, 63, 64, 69):
        assert_same(together[i], run_drawn(*years, [fields[i]])[0])
