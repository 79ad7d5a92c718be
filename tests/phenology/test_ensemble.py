"""Errors of a forecast: fair draws, the same every time, and as large as they are said to be."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_helpers import (
    DRAWS,
    ENSEMBLE,
    ERRORS,
    YEAR_DAYS,
    Crop,
    at,
    constant,
    crops,
    invented_years,
    run,
    run_drawn,
    some_draws,
    weather_years,
)

from stagecast.phenology.ensemble import Draws, MemberErrors, make_draws
from stagecast.phenology.spread import quantile_days

PACED = ("before_r1", "r1_r5", "r5_r7")
UNPACED = ("emergence", "nodes", "r8")
SHARED = float(ENSEMBLE.shared)


def rows(draws: Draws) -> dict[str, np.ndarray]:
    """Every error as one row of draws; the cultivar's level is repeated."""
    per_level = draws.count // draws.levels
    phases = {name: values.ravel() for name, values in draws.phase.items()}
    return {"group": np.repeat(draws.group, per_level), **phases}


# --- draws ---------------------------------------------------------------------------------------


def test_the_same_seed_draws_the_same() -> None:
    """Two draws with one seed are the same to the last bit, and another seed gives others."""
    again, other = some_draws(), some_draws(seed=int(ENSEMBLE.seed) + 1)
    np.testing.assert_array_equal(again.group, DRAWS.group)
    for name, values in DRAWS.phase.items():
        np.testing.assert_array_equal(again.phase[name], values)
        assert (other.phase[name] != values).any()


def test_there_are_as_many_draws_as_asked_for() -> None:
    """Five cultivar levels of nine draws are 45, for every phase alike."""
    assert (DRAWS.levels, DRAWS.count) == (5, 45)
    assert {values.shape for values in DRAWS.phase.values()} == {(5, 9)}
    assert set(DRAWS.phase) == {*PACED, *UNPACED}


def in_slices(values: np.ndarray) -> list[int]:
    """The slice of equal probability in which each value lies, sorted."""
    below = [0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) for z in values]
    return sorted(int(share * len(values)) for share in below)


@settings(max_examples=10, deadline=None)
@given(levels=st.integers(2, 6), per_level=st.integers(4, 9), seed=st.integers(0, 2**32 - 1))
def test_each_error_takes_each_slice_once(levels: int, per_level: int, seed: int) -> None:
    """Before a pace is shared, a phase's draws lie one in each of as many equally likely slices."""
    draws = make_draws(levels=levels, per_level=per_level, shared=0.0, seed=seed)
    assert in_slices(draws.group) == list(range(levels))
    for values in draws.phase.values():
        assert in_slices(values.ravel()) == list(range(levels * per_level))


@pytest.mark.parametrize("name", UNPACED)
def test_phases_without_a_pace_keep_their_slices(name: str) -> None:
    """Emergence, nodes and R8 take every slice once in the forecast's own draws too."""
    assert in_slices(DRAWS.phase[name].ravel()) == list(range(DRAWS.count))


@pytest.mark.parametrize("shared", [0.0, SHARED, 1.0])
def test_draws_are_symmetrical(shared: float) -> None:
    """No error is late or early in the mean, and its spread is that of a standard normal.

    Middles of 45 slices have a standard deviation of 0.99; those of five are widened to 1.
    """
    draws = some_draws(shared=shared)
    for name, values in rows(draws).items():
        assert values.mean() == pytest.approx(0.0, abs=1e-12)
        assert values.std() == pytest.approx(1.0 if name == "group" else 0.99, abs=0.05)
    for name in ("group", *UNPACED):
        values = np.sort(rows(draws)[name])
        np.testing.assert_allclose(values, -values[::-1], atol=1e-12)


def test_errors_that_have_nothing_in_common_are_unrelated() -> None:
    """No two errors of the forecast's draws correlate by 0.2 or more, but for paced phases."""
    drawn = rows(DRAWS)
    related = np.abs(np.corrcoef(list(drawn.values()))) - np.eye(len(drawn))
    names = list(drawn)
    for i, one in enumerate(names):
        for j, other in enumerate(names):
            if not {one, other} <= set(PACED):
                assert related[i, j] < 0.2, (one, other)


@pytest.mark.parametrize("seed", [int(ENSEMBLE.seed), 1, 2, 3])
@pytest.mark.parametrize("shared", [0.0, 0.3, SHARED, 1.0])
def test_paced_phases_share_their_pace(seed: int, shared: float) -> None:
    """Errors from VE to R7 correlate by about the share asked for; wholly shared, they are one."""
    drawn = rows(some_draws(seed=seed, shared=shared))
    related = np.corrcoef([drawn[name] for name in PACED])
    apart = related[np.triu_indices(len(PACED), 1)]
    np.testing.assert_allclose(apart, shared, atol=0.2)
    assert apart.mean() == pytest.approx(shared, abs=0.1)
    if shared == 1.0:
        np.testing.assert_array_equal(drawn["before_r1"], drawn["r5_r7"])


# --- errors --------------------------------------------------------------------------------------


def test_none_is_one_draw_without_errors() -> None:
    """Every need is taken as it is and no day added, once."""
    none = MemberErrors.none()
    for factor in (none.emergence, none.nodes, none.before_r1, none.r1_r5, none.r5_r7):
        assert factor.tolist() == [[1.0]]
    assert none.r8_days.tolist() == [[0.0]]


def test_a_need_is_multiplied_by_e_to_the_error() -> None:
    """The logarithm of a factor is its share times the draw, so half is as likely as double."""
    for name in ("emergence", "nodes", *PACED):
        share = float(getattr(ENSEMBLE, name))
        np.testing.assert_allclose(np.log(getattr(ERRORS, name)), share * DRAWS.phase[name])
    np.testing.assert_allclose(ERRORS.r8_days, float(ENSEMBLE.r8_days) * DRAWS.phase["r8"])


# --- how large they are --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def typical() -> dict[str, np.ndarray]:
    """Standard deviations of stages in known weather, mean of ten invented Midwestern years.

    A decimal group planted on 5 May (``warm``) and on 10 April (``cold``).
    """
    fields = [Crop(124, 2.7, 42.0), Crop(99, 2.7, 42.0)]
    spreads = []
    for seed in range(10):
        years = invented_years(mean_c=9.5, swing_c=14.0, range_c=11.0, seed=seed, members=1)
        spreads.append(run_drawn(*years, fields).std(axis=1))
    warm, cold = np.mean(spreads, axis=0)
    return {"warm": warm, "cold": cold}


@pytest.mark.parametrize(("stage", "low", "high"), [("VE", 2, 4), ("R1", 2.5, 3.5), ("R8", 3, 5)])
def test_stages_are_as_unsure_as_said(
    typical: dict[str, np.ndarray], stage: str, low: float, high: float
) -> None:
    """With the weather known, VE is about 3 days unsure, R1 about 3 and R8 3 to 5."""
    assert low <= float(at(typical["warm"], stage)) <= high


def test_cold_soil_makes_emergence_and_flowering_less_sure(typical: dict[str, np.ndarray]) -> None:
    """Planted on 10 April, VE is 4 to 7 days unsure, and all later stages more than from May."""
    assert 4.0 <= float(at(typical["cold"], "VE")) <= 7.0
    assert (typical["cold"] > typical["warm"]).all()


def test_a_whole_group_is_less_sure_than_a_decimal_one() -> None:
    """A group written without its decimal widens R1 to R8, and a part of a group by less."""
    years = invented_years(mean_c=13.0, swing_c=13.0, range_c=11.0, seed=1, members=1)
    field = [Crop(124, 3.5, 38.0)]
    decimal, part, whole = (
        run_drawn(*years, field, written=written)[0].std(axis=0)[6:]
        for written in ("decimal", "part", "whole")
    )
    assert (decimal < part).all()
    assert (part < whole).all()


# --- planting later ------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(years=weather_years(), field=crops(), wait=st.integers(1, 40))
def test_a_later_planting_is_later_in_every_draw(
    years: tuple[np.ndarray, np.ndarray], field: Crop, wait: int
) -> None:
    """In any weather, a field planted later reaches no stage sooner, in no draw of the errors."""
    waited = replace(field, planted=field.planted + wait)
    early, late = run_drawn(*years, [field, waited])
    assert (late >= early - 1e-9).all()


@pytest.mark.parametrize("seed", range(4))
def test_a_later_planting_never_runs_back_in_cold_weeks(seed: int) -> None:
    """In a cold northern April the 10, 50 and 90 per cent dates of R1 and R8 never run back."""
    years = invented_years(mean_c=7.5, swing_c=15.0, range_c=11.0, seed=seed, members=1)
    times = run_drawn(*years, [Crop(day, 1.0, 45.0) for day in range(95, 140)])
    for stage in ("VE", "R1", "R8"):
        dates = np.array([quantile_days(at(field, stage), (0.1, 0.5, 0.9)) for field in times])
        assert (dates[1:] >= dates[:-1] - 1e-9).all()


def test_errors_do_not_depend_on_weather() -> None:
    """In warm constant weather every draw's emergence takes its factor of the plain time."""
    field = Crop(140, 2.0)
    plain = at(run(*constant(20.0), [field]).times, "VE")[0, 0] - 141.0
    drawn = at(run(*constant(20.0), [field], errors=ERRORS).times, "VE")[0] - 141.0
    np.testing.assert_allclose(drawn / plain, ERRORS.emergence.ravel())
    assert drawn.max() < YEAR_DAYS
