"""Why a window is where it is, and what the other looks of a season are for, in words."""

from __future__ import annotations

import datetime as dt

from stagecast.base.dates import said_day
from stagecast.base.units import MM_PER_INCH, Units, heat_text, temperature_text
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge import Knowledge
from stagecast.knowledge.looks import FrostLoss, Look, WaterLeft
from stagecast.knowledge.pest import HeatModel, HostStages
from stagecast.pests.traps.history import CatchForetold
from stagecast.pests.windows import (
    Caught,
    Declared,
    FollowsCrop,
    NoneCaught,
    SeenToArrive,
    TimedByHeat,
    WindowReason,
)
from stagecast.visits.other_looks import FieldLook
from stagecast.words.counts import chance_text
from stagecast.words.traps import foretold_text, near_text, not_timed_text, since_text


def window_text(why: WindowReason, units: Units) -> str:
    """What the dates of a window rest on."""
    if isinstance(why, Declared):
        return why.text
    if isinstance(why, FollowsCrop):
        return f"{why.pest.name}: follows the crop, not heat; beans at {_host(why.host)}"
    if isinstance(why, TimedByHeat):
        return f"{_heat(why, units)}, where beans are {_host(why.host)}"
    parts = [
        f"{why.pest.name}: not timed by heat here ({not_timed_text(why.cause, units)})",
        f"beans at {_host(why.host)}",
        *(_evidence(one, units) for one in why.evidence),
    ]
    return "; ".join(parts)


def method_text(model: HeatModel, units: Units) -> str:
    """How heat is summed: ``single sine above 55 F, intermediate cutoff at 92 F``."""
    limits = f"above {temperature_text(model.lower_c, units)}"
    if model.upper_c is not None:
        limits += f", {model.cutoff} cutoff at {temperature_text(model.upper_c, units)}"
    return f"{model.method} {limits}"


def _heat(why: TimedByHeat, units: Units) -> str:
    method = method_text(why.model, units)
    if why.unverified:
        method += "; unverified"
    elif why.model.method_tag == "OWN":
        method += "; method assumed"
    if not why.tested:
        method += "; untested here"
    return (
        f"{why.pest.name}: {why.event.title} at {heat_text(why.event.need_c, units)} "
        f"{since_text(why.start.since, units)}, {heat_text(why.so_far_c, units)} so far ({method})"
    )


def _evidence(found: Caught | NoneCaught | CatchForetold | SeenToArrive, units: Units) -> str:
    if isinstance(found, Caught):
        return f"caught since {said_day(found.day)} ({near_text(found.trap, units)})"
    if isinstance(found, NoneCaught):
        return f"nothing caught up to {said_day(found.last_check)} ({near_text(found.trap, units)})"
    if isinstance(found, CatchForetold):
        return foretold_text(found, units)
    unverified = ", unverified" if found.arrival.unverified else ""
    days = f"{said_day(found.first)} to {said_day(found.last)}"
    return f"seen to come to {found.arrival.region} {days}{unverified}"


def _host(host: HostStages) -> str:
    return f"{host.first} to {host.last}"


# --- other looks ----------------------------------------------------------------------------------


def look_text(one: FieldLook, *, as_of: dt.date, knowledge: Knowledge, units: Units) -> str:
    """A look with its days, why, what sources say of it, and the caution."""
    look = one.look
    said = [
        f"{look.title}, {_days_text(one, as_of)}: {look.reason} ({_from(look.source, knowledge)})",
        *(f"{fact.text} ({_from(fact.source, knowledge)})" for fact in look.facts),
    ]
    if one.chance is not None:
        said.append(_frost_text(one.chance, look, knowledge, units))
    if one.water is not None:
        said.append(water_text(one.water, knowledge, units))
    return "; ".join([*said, look.caution])


def later_text(one: FieldLook) -> str:
    """The same by its title and day alone: ``harvest 31 Aug``."""
    return f"{one.look.title} {said_day(one.first)}"


def water_text(row: WaterLeft, knowledge: Knowledge, units: Units) -> str:
    """``from R6 on about 18 days and 3.5 in of water to R7 (...)``."""
    amount = f"{row.inches:g} in"
    if units == "metric":
        amount = f"{row.inches * MM_PER_INCH:.0f} mm"
    what = f"from {row.stage} on about {row.days} days and {amount} of water to R7"
    return f"{what} ({_from(row.source, knowledge)})"


def _days_text(one: FieldLook, as_of: dt.date) -> str:
    """From when to when; of a look that its end dates, how far that is."""
    if one.look.dated == "closes" and one.closes.p50 is not None:
        days = (one.closes.p50 - as_of).days
        return f"{one.look.closes.stage} in {days} days, {_range_text(one.closes)}"
    return f"{_range_text(one.opens)} to {_day_text(one.closes.p50)}"


def _range_text(dates: DateRange) -> str:
    if dates.p10 == dates.p50 == dates.p90:
        return _day_text(dates.p50)
    return f"{_day_text(dates.p50)} ({_day_text(dates.p10)} to {_day_text(dates.p90)})"


def _day_text(day: dt.date | None) -> str:
    return "not this season" if day is None else said_day(day)


def _frost_text(chance: float, look: Look, knowledge: Knowledge, units: Units) -> str:
    """How likely it is, and what it takes by each source."""
    rule = knowledge.looks.frost
    limit = temperature_text(float(rule.kills), units)
    by_source: dict[str, list[FrostLoss]] = {}
    for loss in rule.losses:
        by_source.setdefault(loss.source, []).append(loss)
    takes = [
        f"{', '.join(map(_loss_text, losses))} ({_from(source, knowledge)})"
        for source, losses in by_source.items()
    ]
    until = f"between {look.opens.stage} and {look.closes.stage}"
    return f"{chance_text(chance)} chance of {limit} or less {until}; {'; '.join(takes)}"


def _loss_text(loss: FrostLoss) -> str:
    least, most = loss.least_percent, loss.most_percent
    return f"{loss.stage} {most}%" if least == most else f"{loss.stage} {least} to {most}%"


def _from(source: str, knowledge: Knowledge) -> str:
    """Who says so; the title where nobody publishes it."""
    found = knowledge.sources[source]
    who = found.title if found.publisher == "-" else found.publisher
    return f"{who}, {found.year}" if found.year.isdigit() else who
