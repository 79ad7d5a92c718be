"""Runs of the stage model for tests: invented weather, fields from a few plain numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from stagecast.knowledge import load
from stagecast.phenology.daylength import day_length_hours
from stagecast.phenology.ensemble import Draws, MemberErrors, make_draws, member_errors
from stagecast.phenology.parameters import CropParameters, GroupParameters, group_parameters
from stagecast.phenology.soybean import (
    STAGES,
    FieldInputs,
    StageTimes,
    cell_rates,
    stage_times,
)

SOYBEAN = load().soybean
ENSEMBLE, LEARNING = SOYBEAN.ensemble, SOYBEAN.learning
CROP = CropParameters.from_knowledge(SOYBEAN)
EARLIEST, LATEST = SOYBEAN.groups.knots.values[0], SOYBEAN.groups.knots.values[-1]
YEAR_DAYS = 365
VEGETATIVE = ("VE", "VC", "V1", "V2", "V3", "V4")
REPRODUCTIVE = ("VE", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""Two orders that every field keeps; the fourth node and first flower may come either way."""


@dataclass(frozen=True)
class Crop:
    """A field said in plain numbers; times and days are indices from day 0."""

    planted: int
    number: float
    latitude: float = 40.0
    day_length_h: float | None = None
    emerged: float = float("nan")
    determinate: bool = False
    said_indeterminate: bool = False
    cell: int = 0
    year: float = np.inf  # the present


def run(
    tmin_c: np.ndarray,
    tmax_c: np.ndarray,
    fields: Sequence[Crop],
    *,
    nodes_at: float = 1e9,
    first_day_of_year: int = 1,
    errors: MemberErrors | None = None,
    cultivars: np.ndarray | None = None,
) -> StageTimes:
    """Stage times of fields; temperatures of shape (days,), (members, days) or with cells first.

    ``cultivars`` holds a level's distance from the group's number, in group numbers.
    """
    low, high = (np.reshape(t, (*(1,) * (3 - np.ndim(t)), *np.shape(t))) for t in (tmin_c, tmax_c))
    day_of_year = np.minimum(first_day_of_year + np.arange(low.shape[-1]), 366)
    latitude = np.array([[f.latitude] for f in fields])
    day_length = day_length_hours(latitude, day_of_year[None, :])
    for i, field in enumerate(fields):
        if field.day_length_h is not None:
            day_length[i] = field.day_length_h
    inputs = FieldInputs(
        cell=np.array([f.cell for f in fields], dtype=np.intp),
        planting_day=np.array([f.planted for f in fields], dtype=np.intp),
        emerged_time=np.array([f.emerged for f in fields]),
        determinate=np.array([f.determinate for f in fields]),
        groups=_groups(fields, cultivars),
        day_length_h=day_length,
    )
    return stage_times(
        cell_rates(low, high, crop=CROP), inputs, crop=CROP, nodes_at=nodes_at, errors=errors
    )


def _groups(fields: Sequence[Crop], cultivars: np.ndarray | None) -> GroupParameters:
    number = np.array([f.number for f in fields])
    said = np.array([f.said_indeterminate for f in fields])
    year = np.array([f.year for f in fields])
    if cultivars is not None:
        number = np.clip(number[:, None] + cultivars, EARLIEST, LATEST)
        said, year = said[:, None], year[:, None]
    return group_parameters(number, indeterminate=said, soybean=SOYBEAN, year=year)


def some_draws(*, seed: int = int(ENSEMBLE.seed), shared: float = float(ENSEMBLE.shared)) -> Draws:
    """Draws as many as the forecast takes."""
    levels, per_level = int(ENSEMBLE.levels), int(ENSEMBLE.per_level)
    return make_draws(levels=levels, per_level=per_level, shared=shared, seed=seed)


DRAWS = some_draws()


ERRORS = member_errors(DRAWS, ensemble=ENSEMBLE)
"""The errors of every forecast."""


def run_drawn(
    tmin_c: np.ndarray, tmax_c: np.ndarray, fields: Sequence[Crop], *, written: str = "decimal"
) -> np.ndarray:
    """Stage times with all that a forecast does not know, shape (fields, members, stages)."""
    sd = float(ENSEMBLE.group_sd[written])
    return run(tmin_c, tmax_c, fields, errors=ERRORS, cultivars=sd * DRAWS.group).times


def at(times: np.ndarray, stage: str) -> np.ndarray:
    """Times of one stage; the stages are the last axis."""
    return times[..., STAGES.index(stage)]


def constant(temperature_c: float, days: int = YEAR_DAYS) -> tuple[np.ndarray, np.ndarray]:
    """A year whose minimum and maximum are one temperature throughout."""
    return np.full(days, temperature_c), np.full(days, temperature_c)


def invented_years(
    *, mean_c: float, swing_c: float, range_c: float, seed: int, members: int
) -> tuple[np.ndarray, np.ndarray]:
    """Weather of a few years from 1 January: a cosine year with noise that lasts for days.

    The coldest day is 20 January; noise has a standard deviation of about 4 degC and half of it
    is left after one day.
    """
    rng = np.random.default_rng(seed)
    noise = rng.normal(0.0, 3.5, (members, YEAR_DAYS))
    for day in range(1, YEAR_DAYS):
        noise[:, day] += 0.5 * noise[:, day - 1]
    season = mean_c - swing_c * np.cos(2.0 * np.pi * (np.arange(YEAR_DAYS) - 19) / YEAR_DAYS)
    half = range_c / 2.0 * rng.uniform(0.3, 1.5, (members, YEAR_DAYS))
    return season + noise - half, season + noise + half


def weather_years(members: int = 2) -> st.SearchStrategy[tuple[np.ndarray, np.ndarray]]:
    """Years a soybean country can have, from a cool northern to a hot southern one."""
    return st.builds(
        invented_years,
        mean_c=st.floats(7.0, 20.0),
        swing_c=st.floats(9.0, 16.0),
        range_c=st.floats(6.0, 16.0),
        seed=st.integers(0, 2**32 - 1),
        members=st.just(members),
    )


def crops() -> st.SearchStrategy[Crop]:
    """Fields of any group and latitude of the model, planted mid March to late July."""
    return st.builds(
        Crop,
        planted=st.integers(73, 205),
        number=st.floats(EARLIEST, LATEST),
        latitude=st.floats(25.0, 50.0),
        determinate=st.booleans(),
        said_indeterminate=st.booleans(),
    )
