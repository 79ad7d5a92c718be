"""When insects no longer cost yield in a field, by the texts of its state, and what remains."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent, stage_after, stage_place
from stagecast.knowledge.pest import Ends, Pest
from stagecast.season.log.entries import ScoutingLog

RIPE: CropEvent = "R7"
"""The end where no text of the state has an earlier one."""


@dataclass(frozen=True, slots=True)
class KillingFrost:
    """The first night after flowering began that was cold enough to kill the crop, before R7.

    Attributes
    ----------
    tmin_c: lowest temperature at the station, degC; low ground of a field is colder.
    """

    date: dt.date
    tmin_c: float
    station: str


@dataclass(frozen=True, slots=True)
class InsectsEnd:
    """From when on a state treats insects no longer, and how far that is in a field.

    Attributes
    ----------
    stage: with which it is over.
    rule: the state's own text; None where none is on file, and R7 ends it.
    still: pests for which the state has a later end.
    found: those of them that were found in the field: for them it is walked up to R7.
    frost: where it killed the crop, which ends it for all of them.
    """

    region: str
    stage: CropEvent
    dates: DateRange
    rule: Ends | None
    still: tuple[Pest, ...]
    found: tuple[Pest, ...]
    frost: KillingFrost | None = None


def insects_end(
    forecast: FieldForecast, log: ScoutingLog, *, region: str, knowledge: Knowledge
) -> InsectsEnd:
    """When insects are over in a field; ``log`` is its own, of these plants, up to the day."""
    frost = killing_frost(forecast, knowledge)
    if frost is not None:
        day = DateRange(frost.date, frost.date, frost.date)
        return InsectsEnd(region, RIPE, day, None, (), (), frost)
    rule = next((one for one in knowledge.stops if one.region == region), None)
    stage = RIPE if rule is None else _after(rule.last)
    still = tuple(
        pest
        for pest in knowledge.pests.values()
        if pest.presence.met_in((region,))
        and any(
            one.region == region and stage_place(_after(one.last)) > stage_place(stage)
            for one in pest.ends
        )
    )
    seen = log.found if still else frozenset()
    found = tuple(pest for pest in still if pest.id in seen)
    return InsectsEnd(region, stage, forecast.dates_of(stage), rule, still, found)


def killing_frost(forecast: FieldForecast, knowledge: Knowledge) -> KillingFrost | None:
    """The night that killed the crop by the station's measured days; None where none did.

    From R1 on and before R7, by the middle dates: younger plants may grow again. A stage that was
    seen in the field on a later day says that the crop lived on.
    """
    flowering, ripe = forecast.dates_of("R1").p50, forecast.dates_of(RIPE).p50
    season = forecast.weather.season
    if flowering is None or season.last_observed is None:
        return None
    name = season.station.station
    first = forecast.span.index(flowering)
    last = forecast.span.index(season.last_observed) + 1
    if ripe is not None:
        last = min(last, forecast.span.index(ripe))
    tmin_c = season.tmin_c[0, first:last]
    killed = np.flatnonzero(tmin_c <= float(knowledge.looks.frost.kills))
    alive = max((one.visit.date for one in forecast.lessons if one.own), default=dt.date.min)
    nights = (flowering + dt.timedelta(days=int(at)) for at in killed)
    night = next((night for night in nights if night >= alive), None)
    if night is None:
        return None
    return KillingFrost(night, float(tmin_c[forecast.span.index(night) - first]), name)


def _after(last: CropEvent) -> CropEvent:
    """The stage that begins when another one ends; R7 at the latest."""
    return min(stage_after(last), RIPE, key=stage_place)
