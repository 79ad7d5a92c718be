"""Traps in words: where heat is counted from, how well past years tell it, and why not."""

from __future__ import annotations

import datetime as dt

from stagecast.base.dates import said_day
from stagecast.base.units import Units, distance_text
from stagecast.pests.clock import AtStage, AtTrap, NoBiofix, NoModel, NotTimed, OnDay, Since
from stagecast.pests.traps.history import CatchForetold, Trial
from stagecast.pests.traps.near import NearTrap
from stagecast.pests.traps.skill import NoHeat, TooFewYears

_CAUGHT = {
    "first": "the first catch", "sustained": "a sustained catch began",
    "middle": "the middle of the catch", "peak": "the peak catch",
    "eggs": "first eggs were seen", "adults": "first adults were seen",
}  # fmt: skip
_NO_HEAT = {
    "no model": "this pest has no heat model",
    "no place": (
        "nobody said where the trap stands: give its latitude and longitude, or name it after a "
        "weather station"
    ),
    "no temperatures": "no weather station has temperatures",
    "no station": (
        "no weather station near the trap has enough whole years among those of the catches"
    ),
}
RULES = {None: None, "calendar": "date", "heat": "heat"}
"""The better rule as screens and documents call it."""

_NOTED = {"trap catch": "catches in traps.csv", "seen": "first eggs or adults in traps.csv"}


def near_text(near: NearTrap, units: Units) -> str:
    """``KEN01, 12 km``."""
    return f"{near.name}, {distance_text(near.distance_km, units)}"


def since_text(since: Since, units: Units) -> str:
    """``since 1 Jan``, ``since the first catch on 3 Jul (KEN01, 12 km)``."""
    match since:
        case OnDay(day):
            return f"since {said_day(day)}"
        case AtStage(stage):
            return f"since {stage}"
        case AtTrap(what, day, near):
            return f"since {_CAUGHT[what]} on {said_day(day)} ({near_text(near, units)})"
        case CatchForetold():
            return foretold_text(since, units)


def foretold_text(found: CatchForetold, units: Units) -> str:
    """When past years let a catch be expected, and how well they tell it."""
    comes = "not expected this season"
    if found.expected is not None:
        comes = f"expected about {said_day(found.expected)}"
    trap = near_text(found.near, units)
    event = found.tested.event
    return f"since the {event} catch, {comes} from past years ({trap}): {trial_text(found.tested)}"


def trial_text(tested: Trial | None) -> str:
    """Which rules are used for an event, and how far off they were here."""
    if tested is None:
        return "the timing is untested here: no past years of catches at a trap near"
    skill, history = tested.skill, tested.history
    date = f"the mean date missed the {tested.event} catch by {skill.calendar_rmse:.1f} days"
    years = f"in {len(skill.years)} past years at {history.trap}"
    if skill.no_heat is not None:
        return f"{date} {years}, and is used; heat was not tried: {no_heat_text(skill.no_heat)}"
    heat = f"heat since {said_day(dt.date(2001, *history.spring))} by {skill.heat_rmse:.1f}"
    both = f"both together by {skill.both_rmse:.1f}"
    return f"{date}, {heat}, {both}, {years}: both are used, heat for {skill.heat_share:.0%}"


def no_heat_text(why: NoHeat) -> str:
    """Why heat, or any rule at all, was not tried on past catches."""
    return _too_few(why) if isinstance(why, TooFewYears) else _NO_HEAT[why]


def _too_few(few: TooFewYears) -> str:
    """What too few past years have."""
    needed = f"{few.needed} are needed"
    if few.with_ == "event":
        known = "1 past year" if few.years == 1 else f"{few.years} past years"
        return f"{known} with this event, {needed}"
    if few.with_ == "whole weather":
        return f"weather is whole in {few.years} of these years, {needed}"
    where = "lies within the days over which heat is summed"
    return f"the event {where} in {few.years} of {few.among} years with whole weather, {needed}"


def not_timed_text(cause: NotTimed, units: Units) -> str:
    """Why heat does not time a pest in a field."""
    if isinstance(cause, NoModel):
        return cause.text
    if not isinstance(cause, NoBiofix):
        return f"station {cause.station} lacks days its heat sum needs"
    far = cause.far
    if far is None:
        noted = dict.fromkeys(_NOTED[b.kind] for b in cause.model.biofix if b.kind in _NOTED)
        return f"nothing to count from: no {' or '.join(noted)} yet"
    away, reach = (distance_text(km, units) for km in (far.distance_km, far.reach_km))
    beyond = f"is {away} away, beyond the reach of {reach}"
    return f"nothing to count from: the nearest trap, {far.trap}, {beyond}"
