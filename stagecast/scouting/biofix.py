"""From which day a pest's heat is counted: the first of its model's biofixes that has a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.dates import said_day
from stagecast.knowledge.models import TrapRules
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.pest_heat import Biofix
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.trap_rules import Event, catch_day
from stagecast.scouting.traps_near import NearTrap
from stagecast.weather.seasons import SeasonSpan

FloatArray = NDArray[np.float64]
RestsOn = Literal["calendar day", "crop stage", "trap catch", "seen", "past catches"]


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """The biofix of a pest in a field.

    Attributes
    ----------
    times : ndarray, shape (members,)
        Fractional days; inf where it does not come.
    since : str
        For a person: ``since 1 Jan``, ``since moths were caught on 3 Jul (KEN01, 12 km)``.
    rests_on : str
        Kind of the biofix; ``past catches`` for one forecast from the catches of other years.
    biofix : Biofix
    """

    times: FloatArray
    since: str
    rests_on: RestsOn
    biofix: Biofix


Foretold = Callable[[FieldForecast, Pest, Event], tuple[FloatArray, str] | None]
"""Times and words of a catch forecast from past years' catches, or None."""


def find_start(
    forecast: FieldForecast,
    pest: Pest,
    *,
    near: Sequence[NearTrap],
    foretold: Foretold | None,
    rules: TrapRules,
) -> Start | None:
    """The first biofix of a pest's heat model for which there is a day; None where there is none.

    Parameters
    ----------
    forecast : FieldForecast
    pest : Pest
        With a heat model.
    near : sequence of NearTrap
        Catches and sightings of the pest up to the day asked for, the nearest trap first.
    foretold : callable, optional
        Asked last, for what a trap has not caught yet this season.
    rules : TrapRules
    """
    if pest.heat is None:
        return None
    for biofix in pest.heat.biofix:
        start = _observed(forecast, biofix, near, rules)
        if start is not None:
            return start
    for biofix in pest.heat.biofix:
        found = foretold(forecast, pest, biofix.catch) if foretold and biofix.catch else None
        if found is not None:
            return Start(found[0], found[1], "past catches", biofix)
    return None


def _observed(
    forecast: FieldForecast, biofix: Biofix, near: Sequence[NearTrap], rules: TrapRules
) -> Start | None:
    span, members = forecast.span, len(forecast.times)
    if biofix.kind == "calendar day":
        day = dt.date(span.year, biofix.month or 1, biofix.day or 1)
        times = np.full(members, float(span.index(day)))
        return Start(times, f"since {said_day(day)}", "calendar day", biofix)
    if biofix.kind == "crop stage":
        stage = biofix.stage or "planting"
        return Start(forecast.stage_time(stage), f"since {stage}", "crop stage", biofix)
    for trap in near:
        day_seen = _day_of(trap, biofix, span, rules)
        if day_seen is not None:
            times = np.full(members, span.index(day_seen) + 0.5)
            words = _WORDS[biofix.catch or biofix.what or ""]
            since = f"since {words} on {said_day(day_seen)} ({trap.said})"
            kind: RestsOn = "trap catch" if biofix.kind == "trap catch" else "seen"
            return Start(times, since, kind, biofix)
    return None


_WORDS = {
    "first": "the first catch", "sustained": "a sustained catch began", "peak": "the peak catch",
    "eggs": "first eggs were seen", "adults": "first adults were seen",
}  # fmt: skip


def _day_of(trap: NearTrap, biofix: Biofix, span: SeasonSpan, rules: TrapRules) -> dt.date | None:
    """The day that one trap, or one person, gives for a biofix in the season."""
    ours = [catch for catch in trap.catches if catch.date.year == span.year]
    if biofix.kind == "seen":
        return min((c.date for c in ours if c.what == biofix.what), default=None)
    checks = [(c.date, c.count) for c in ours if c.what == "catch" and c.count is not None]
    return catch_day(checks, biofix.catch or "first", rules=rules)
