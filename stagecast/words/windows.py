"""Why a window is where it is, in words."""

from __future__ import annotations

from stagecast.base.dates import said_day
from stagecast.base.units import Units, heat_text, temperature_text
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
