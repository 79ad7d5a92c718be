"""Invented seasons whose truth has every error the forecast says it has, scouted every week.

A field's truth is drawn from the declared errors themselves, not from the forecast's own draws: a
cultivar within its group, a factor for every phase, drift along the way, and a year that is not
among the years of the forecast. A scout notes the stage every week, with an error that lasts all
season and one of each day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from stage_helpers import (
    DRAWS,
    ENSEMBLE,
    ERRORS,
    LEARNING,
    REPRODUCTIVE,
    Crop,
    at,
    invented_years,
    run,
)

from stagecast.forecast.members import FieldMembers
from stagecast.forecast.observations import learn
from stagecast.phenology.ensemble import MemberErrors
from stagecast.phenology.learning import drifting
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit
from stagecast.weather.seasons import SeasonSpan

SPAN = SeasonSpan(2026, dt.date(2026, 12, 31))
PAST_YEARS, TRUE_YEARS, TRUTHS = 12, 6, 100
WEEK = 7
RANGE = (0.1, 0.5, 0.9)
PHASES = ("before_r1", "r1_r5", "r5_r7")


@dataclass(frozen=True)
class Place:
    """A field said in plain numbers, and how its group was written."""

    mean_c: float
    latitude: float
    number: float
    planted: int
    written: str

    @property
    def crop(self) -> Crop:
        """As the stage model takes it."""
        return Crop(self.planted, self.number, self.latitude)


PLACES = tuple(
    Place(mean_c, latitude, number, planted, written)
    for mean_c, latitude, number in ((8.1, 45.0, 1.2), (10.5, 41.0, 3.2), (12.9, 37.0, 4.6))
    for planted, written in ((120, "decimal"), (135, "whole"))
)


@dataclass(frozen=True)
class Met:
    """A stage ahead, as forecast on a day, and when it truly came; days."""

    stage: str
    lead: float
    first: float
    middle: float
    last: float
    truth: float
    noted: int

    @property
    def held(self) -> bool:
        """Whether the range held the truth."""
        return self.first <= self.truth <= self.last


def truths(
    place: Place, low: np.ndarray, high: np.ndarray, random: np.random.Generator
) -> np.ndarray:
    """Stage times of many fields in one year, shape (fields, stages), with every error."""
    shared = float(ENSEMBLE.shared)
    pace = random.standard_normal((TRUTHS, 1))

    def normal(name: str) -> np.ndarray:
        own = random.standard_normal((TRUTHS, 1))
        return np.sqrt(shared) * pace + np.sqrt(1.0 - shared) * own if name in PHASES else own

    shares = {name: np.exp(float(getattr(ENSEMBLE, name)) * normal(name))
              for name in ("emergence", "nodes", *PHASES)}  # fmt: skip
    errors = MemberErrors(**shares, r8_days=float(ENSEMBLE.r8_days) * normal("r8"))
    cultivars = float(ENSEMBLE.group_sd[place.written]) * random.standard_normal(TRUTHS)
    times = run(low, high, [place.crop], errors=errors, cultivars=cultivars).times[0]
    return drifting(
        times,
        random.standard_normal(times.shape),
        draws=TRUTHS,
        sd_per_root_day=float(LEARNING.drift),
    )


def noted(truth: np.ndarray, random: np.random.Generator) -> list[Visit]:
    """A note every week from emergence on; nodes past the fourth are not noted."""
    lasting, staging = float(LEARNING.lasting_sd), float(LEARNING.staging_sd)
    off = lasting * random.standard_normal()
    first = truth[0] + WEEK * random.uniform()
    visits = []
    for noon in np.arange(np.floor(first), np.floor(at(truth, "R8")) + 1.0, WEEK) + 0.5:
        as_seen = noon - off - np.sqrt(staging**2 - lasting**2) * random.standard_normal()
        reached = [stage for stage in STAGES if at(truth, stage) <= as_seen]
        if not reached or (reached[-1] == "V4" and as_seen - at(truth, "V4") > WEEK / 2):
            continue
        day = cast(dt.date, SPAN.date(noon))
        visits.append(Visit("F1", day, None, 2, stage=reached[-1]))
    return visits


def members_on(
    place: Place,
    day: int,
    year: tuple[np.ndarray, np.ndarray],
    past: tuple[np.ndarray, np.ndarray],
) -> FieldMembers:
    """The forecast's members: the year's weather up to a day, and that of past years after it."""
    known = np.arange(past[0].shape[1]) <= day
    low, high = (np.where(known, now, then) for now, then in zip(year, past, strict=True))
    sd = float(ENSEMBLE.group_sd[place.written])
    result = run(low, high, [place.crop], errors=ERRORS, cultivars=sd * DRAWS.group)
    planted = cast(dt.date, SPAN.date(place.planted))
    return field_members(result.times[0], planted=planted, number=place.number)


def field_members(times: np.ndarray, *, planted: dt.date, number: float) -> FieldMembers:
    """Members of one field, F1, of which no more is said than learning asks for.

    ``times`` has shape (members, stages), days since 1 January.
    """
    field = SimpleNamespace(
        field_id="F1",
        planting_date=planted,
        maturity=SimpleNamespace(number=number),
        growth_habit="indeterminate",
    )
    nodes = np.zeros(len(times))
    return FieldMembers(cast(Field, cast(Any, field)), "station", times, nodes, DRAWS.count)


def seasons(*, seed: int, fields: int, every: int, visited: bool) -> Iterator[Met]:
    """Forecasts of every R stage ahead, on days ``every`` so many days from emergence on.

    ``fields`` true fields are walked for each place and true year.
    """
    random = np.random.default_rng(seed)
    for number, place in enumerate(PLACES):
        low, high = invented_years(
            mean_c=place.mean_c, swing_c=14.0, range_c=11.0,
            seed=seed + number, members=PAST_YEARS + TRUE_YEARS,
        )  # fmt: skip
        past = low[TRUE_YEARS:], high[TRUE_YEARS:]
        for true in range(TRUE_YEARS):
            found = truths(place, low[true], high[true], random)
            chosen = found[random.choice(TRUTHS, fields, replace=False)]
            notes = [noted(truth, random) for truth in chosen]
            first, last = int(chosen[:, 0].min()), int(at(chosen, "R8").max())
            for day in range(first, last, every):
                members = members_on(place, day, (low[true], high[true]), past)
                for truth, visits in zip(chosen, notes, strict=True):
                    yield from _met(members, day, truth, visits if visited else [])


def _met(members: FieldMembers, day: int, truth: np.ndarray, visits: list[Visit]) -> Iterator[Met]:
    known = [visit for visit in visits if SPAN.index(visit.date) <= day]
    learnt = learn(members, [members], known, span=SPAN, learning=LEARNING)
    for stage in REPRODUCTIVE[1:]:
        lead = at(truth, stage) - (day + 1.0)
        if lead <= 0.0 or not np.isfinite(lead):
            continue
        ends = quantile_days(at(learnt.members.times, stage), RANGE, learnt.weights)
        yield Met(stage, float(lead), *ends.tolist(), float(at(truth, stage)), len(known))
