"""Model error round each possible season: fair draws, stages in order, honest quantiles."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_helpers import REPRODUCTIVE, SOYBEAN, VEGETATIVE, Crop, at, crops, run, weather_years

from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import (
    normal_draws,
    quantile_days,
    stage_sd_days,
    unrelated_order,
    with_model_error,
)

Years = tuple[np.ndarray, np.ndarray]
SPREAD = SOYBEAN.spread
counts = st.integers(1, 41)


def sd_days(day_of_year: int, *, emerged: bool = False) -> np.ndarray:
    """Standard deviations of one field, shape (stages,)."""
    return stage_sd_days(np.array([day_of_year]), np.array([emerged]), spread=SPREAD)[0]


def with_error(years: Years, field: Crop, draws: np.ndarray) -> np.ndarray:
    """Stage times of one field with model error, shape (members * draws, stages)."""
    times = run(*years, [field]).times
    emerged = not math.isnan(field.emerged)
    sd = sd_days(field.planted + 1, emerged=emerged)[None]
    not_before = np.array([field.emerged if emerged else field.planted + 1.0])
    return with_model_error(times, sd, draws=draws, not_before=not_before)[0]


# --- draws ---------------------------------------------------------------------------------------


@given(count=counts)
def test_draws_are_symmetrical(count: int) -> None:
    """For every draw there is its mirror image, so that the mean is zero."""
    draws = normal_draws(count)
    np.testing.assert_allclose(draws, -draws[::-1], atol=1e-12)
    assert (np.diff(draws) > 0.0).all()


@given(count=counts)
def test_draws_are_equally_likely(count: int) -> None:
    """Each draw halves its own one of ``count`` slices of equal probability under the normal."""
    below = [0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) for z in normal_draws(count)]
    assert below == pytest.approx([(i + 0.5) / count for i in range(count)], abs=1e-9)


@given(count=counts)
def test_an_unrelated_order_holds_every_draw_once(count: int) -> None:
    """The order is a permutation: no draw is lost or used twice."""
    assert sorted(unrelated_order(count).tolist()) == list(range(count))


@pytest.mark.parametrize("count", range(5, 26))
def test_an_unrelated_order_is_unrelated(count: int) -> None:
    """Its correlation with 0, 1, 2, ... stays below a quarter, in ranks and in the draws."""
    order, draws = unrelated_order(count), normal_draws(count)
    assert abs(np.corrcoef(order, np.arange(count))[0, 1]) < 0.25
    assert abs(np.corrcoef(draws[order], draws)[0, 1]) < 0.25


# --- standard deviations -------------------------------------------------------------------------


def test_emergence_is_less_sure_in_cold_soil() -> None:
    """VE is 5 days unsure until mid April, 3 from mid May, 4 half way; R stages do not change."""
    rows = [sd_days(day) for day in (90, 105, 120, 135, 180)]
    assert [float(at(row, "VE")) for row in rows] == [5.0, 5.0, 4.0, 3.0, 3.0]
    first_flower = STAGES.index("R1")
    for row in rows:
        np.testing.assert_array_equal(row[first_flower:], rows[-1][first_flower:])
        shift = (row - rows[-1])[:first_flower]
        assert shift == pytest.approx(shift[0])


@given(day_of_year=st.integers(60, 220))
def test_a_seen_emergence_makes_no_stage_less_sure(day_of_year: int) -> None:
    """After VE was seen it is exact, and no other stage has a larger error than before."""
    seen, unseen = sd_days(day_of_year, emerged=True), sd_days(day_of_year)
    assert at(seen, "VE") == 0.0
    assert (seen <= unseen).all()
    assert (seen[1:] > 0.0).all()


# --- times with error ----------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    years=weather_years(),
    field=crops(),
    wild=st.lists(st.floats(-15.0, 15.0), max_size=6),
    seen=st.booleans(),
)
def test_stages_stay_in_order(years: Years, field: Crop, wild: list[float], seen: bool) -> None:
    """Whatever the error, VE to V4 and VE and R1 to R8 keep their order in every member.

    At -12 standard deviations R8 would come before R7, were it not held back.
    """
    if seen:
        field = dataclasses.replace(field, emerged=field.planted + 9.5)
    draws = np.array([*normal_draws(9), -12.0, *wild])
    times = with_error(years, field, draws)
    assert times.shape == (2 * len(draws), len(STAGES))
    for order in (VEGETATIVE, REPRODUCTIVE):
        chain = np.stack([at(times, stage) for stage in order], axis=-1)
        assert (chain[:, 1:] >= chain[:, :-1]).all()


@settings(max_examples=40, deadline=None)
@given(years=weather_years(), field=crops())
def test_nothing_comes_before_planting(years: Years, field: Crop) -> None:
    """However large the error, no stage comes before the day after planting."""
    assert (with_error(years, field, np.array([-30.0, -3.0, 0.0])) >= field.planted + 1.0).all()


@settings(max_examples=40, deadline=None)
@given(years=weather_years(), field=crops(), wait=st.integers(3, 30))
def test_a_seen_emergence_is_one_time(years: Years, field: Crop, wait: int) -> None:
    """VE that was seen is that time in every member and draw; no stage comes before it."""
    field = dataclasses.replace(field, emerged=field.planted + wait + 0.5)
    times = with_error(years, field, normal_draws(9))
    assert (at(times, "VE") == field.emerged).all()
    assert (times >= field.emerged).all()


def test_one_draw_shifts_all_stages_its_own_way() -> None:
    """A draw of 1 puts each stage back by its own error, one of 0 by nothing, -1 forward."""
    times = (100.0 + 10.0 * np.arange(len(STAGES)))[None, None, :]
    sd = sd_days(150)[None]
    shifted = with_model_error(
        times, sd, draws=np.array([-1.0, 0.0, 1.0]), not_before=np.array([0.0])
    )[0]
    np.testing.assert_allclose(shifted - times[0], np.array([-sd[0], 0.0 * sd[0], sd[0]]))


def test_never_and_unknown_survive_the_error() -> None:
    """A stage not reached stays never, and an unknown one stays unknown, whatever the draw."""
    times = np.full((1, 2, len(STAGES)), 150.0)
    times[0, 0, STAGES.index("R6") :] = np.inf
    times[0, 1, STAGES.index("R6") :] = np.nan
    moved = with_model_error(
        times, sd_days(130)[None], draws=normal_draws(5), not_before=np.array([100.0])
    )[0]
    late = moved[:, STAGES.index("R6") :]
    assert np.isposinf(late[:5]).all()
    assert np.isnan(late[5:]).all()
    assert np.isfinite(moved[:, : STAGES.index("R6")]).all()


def test_members_and_draws_are_laid_out_season_by_season() -> None:
    """Row i of the result belongs to season i // draws and to draw i % draws."""
    times = np.full((1, 3, len(STAGES)), 0.0) + np.array([100.0, 200.0, 300.0])[None, :, None]
    draws = np.array([-1.0, 1.0])
    moved = with_model_error(times, sd_days(150)[None], draws=draws, not_before=np.array([0.0]))
    assert at(moved[0], "VE").tolist() == [97.0, 103.0, 197.0, 203.0, 297.0, 303.0]


# --- quantiles -----------------------------------------------------------------------------------


times_or_never = st.lists(
    st.one_of(st.floats(0.0, 365.0), st.just(math.inf)), min_size=1, max_size=60
)


@given(times=times_or_never, probability=st.sampled_from([0.1, 0.25, 0.5, 0.9]))
def test_a_quantile_is_the_time_of_some_member(times: list[float], probability: float) -> None:
    """A quantile is a member's own time, reached by its share of members and no earlier time is."""
    result = float(quantile_days(np.array(times), (probability,))[0])
    assert result in times
    assert np.mean(np.array(times) <= result) >= probability - 1e-9
    assert np.mean(np.array(times) < result) < probability + 1e-9


def test_quantiles_with_stages_never_reached() -> None:
    """When two of five seasons never get there, the middle is a time and the 90 per cent never."""
    times = np.array([250.0, math.inf, 240.0, 260.0, math.inf])
    assert quantile_days(times, (0.1, 0.5, 0.9)).tolist() == [240.0, 260.0, math.inf]


def test_quantiles_keep_the_other_axes() -> None:
    """Members are the first axis only: every stage has quantiles of its own."""
    times = np.array([[1.0, 30.0], [2.0, 10.0], [3.0, math.inf]])
    assert quantile_days(times, (0.5, 0.9)).tolist() == [[2.0, 30.0], [3.0, math.inf]]
