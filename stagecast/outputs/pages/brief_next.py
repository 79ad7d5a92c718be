"""The next visit on the grower's page: when, why then, and what is looked for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stagecast.knowledge import Knowledge
from stagecast.outputs.pages.plain_words import (
    LONGEST_TEXT,
    explained,
    listed,
    plain_day,
    sentence,
    threshold_said,
    typed,
)
from stagecast.scouting.counts_say import counts_say, latest_visit
from stagecast.scouting.forecast import NOT_PLANTED, PLANTED
from stagecast.scouting.plan import FieldPlan, SeasonPlan
from stagecast.scouting.thresholds import ShownThreshold, best, thresholds_at
from stagecast.scouting.visit_work import is_open, pressing
from stagecast.scouting.windows import ScoutingWindow
from stagecast.season.visits import last_visits

RIPE = ("R7", "R8")
LOOKED_FOR, NAMED = 3, 4
"""Pests told in full, and those of the others that are named; more would not be read."""


@dataclass(frozen=True, slots=True)
class LookFor:
    """A pest to look for at the next visit, its signs, and its threshold at the stage."""

    pest: str
    signs: str
    threshold: str


def walked_on(plan: FieldPlan, as_of: dt.date) -> dt.date:
    """The day of the next visit; the day itself when it is overdue, or none is due."""
    return as_of if plan.visit.due is None else max(plan.visit.due, as_of)


def open_then(plan: FieldPlan, as_of: dt.date) -> Sequence[ScoutingWindow]:
    """Windows open on the day of the visit, the most pressing first, one of each pest."""
    if plan.visit.due is None:
        return ()
    walked = walked_on(plan, as_of)
    kept: dict[str, ScoutingWindow] = {}
    for window in sorted((w for w in plan.windows if is_open(w, walked)), key=pressing):
        kept.setdefault(window.pest or f"crop {window.window}", window)
    return tuple(kept.values())


def next_said(plan: FieldPlan, season: SeasonPlan) -> Iterator[str]:
    """When we come back, and why then."""
    visit, forecast, as_of = plan.visit, plan.forecast, season.loaded.as_of
    if visit.due is None:
        yield _no_more(plan, as_of)
        return
    if forecast.stage_now in (NOT_PLANTED, PLANTED):
        yield f"We come when seedlings are up, about {plain_day(visit.due, weekday=True)}."
        return
    if visit.due < as_of:
        yield f"Our visit was due {plain_day(visit.due)}. We come as soon as we can."
        return
    if visit.not_before is not None:
        yield _check(visit.not_before, visit.due)
    elif visit.due == as_of:
        yield "Our visit is due today."
    else:
        back = "" if visit.last_visit is None else "back "
        yield f"We come {back}by {plain_day(visit.due, weekday=True)}."
    if _crossing(plan, season):
        yield "We come soon, since pests may pass the threshold."
    elif visit.pulled and visit.not_before is None:
        yield "That is sooner than usual, since a new risk starts then."
    elif visit.last_visit is None:
        yield "It will be our first visit."


def _check(soonest: dt.date, latest: dt.date) -> str:
    """When we see how well a treatment worked."""
    first, last = plain_day(soonest, weekday=True), plain_day(latest, weekday=True)
    days = f"on {last}" if soonest == latest else f"between {first} and {last}"
    return f"We come back {days} to see how well the treatment worked."


def _no_more(plan: FieldPlan, as_of: dt.date) -> str:
    forecast = plan.forecast
    if forecast.stage_now in RIPE:
        return "The beans are ripening. Insects no longer cost yield, so we plan no more visits."
    if as_of > forecast.span.last_day:
        return "The season is over, so we plan no more visits."
    ripe = forecast.stages["R7"].p50
    if ripe is None:
        return "No visit is planned."
    return (
        f"We expect ripe pods by {plain_day(ripe)}. Insects no longer cost yield then, so no more "
        "visits are planned."
    )


def _crossing(plan: FieldPlan, season: SeasonPlan) -> bool:
    """Whether the counts of the last visit pull the next one forward."""
    loaded, forecast = season.loaded, plan.forecast
    noted = last_visits(loaded.season.visits, loaded.as_of).get(forecast.field.field_id)
    log = plan.log.up_to(loaded.as_of)
    said = counts_say(forecast, latest_visit(noted, log), plan.log, loaded)
    crossing = None if said is None else said.crossing
    return crossing is not None and crossing.why in plan.visit.reasons


def look_for(
    plan: FieldPlan, windows: Sequence[ScoutingWindow], season: SeasonPlan
) -> Iterator[LookFor]:
    """The most pressing pests; where none is about, what the crop itself shows."""
    knowledge = season.loaded.knowledge
    region, stage = season.loaded.season.settings.region, plan.forecast.stage_now
    if stage in (NOT_PLANTED, PLANTED):
        stage = "VE"
    pests = [window for window in windows if window.pest is not None]
    for window in pests[:LOOKED_FOR]:
        pest = knowledge.pests[str(window.pest)]
        shown = best(thresholds_at(pest, region=region, stage=stage, knowledge=knowledge))
        signs = sentence(explained(" ".join(window.look_for)))
        told = threshold_said(_by_the_net(shown)) if shown else "none known"
        yield LookFor(
            typed(pest.name),
            typed(signs, most=2 * LONGEST_TEXT),
            typed(explained(told), most=LONGEST_TEXT),
        )
    if not pests:
        for item in plan.visit.look_for[:LOOKED_FOR]:
            yield LookFor("the stand", typed(sentence(explained(item)), most=LONGEST_TEXT), "")


def _by_the_net(shown: Sequence[ShownThreshold]) -> ShownThreshold:
    """The one that counts by sweeps, as most visits do; else the first."""
    return next((one for one in shown if one.threshold.of == "sweeps"), shown[0])


def others(windows: Sequence[ScoutingWindow], knowledge: Knowledge) -> str:
    """The pests that are not told in full, some by name: ``thrips, slugs and 3 more``."""
    rest = [window for window in windows if window.pest is not None][LOOKED_FOR:]
    names = [typed(knowledge.pests[str(window.pest)].name) for window in rest[:NAMED]]
    more = len(rest) - len(names)
    return listed([*names, f"{more} more"] if more else names)
