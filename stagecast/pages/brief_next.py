"""The next visit on the grower's page: when, why then, and what is looked for."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stagecast.forecast.forecast import NOT_PLANTED, PLANTED
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.units import JUDGED
from stagecast.pests.thresholds import FieldFacts, standing, thresholds_at
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.settings.work import WEEKDAYS
from stagecast.season.settings.workday import crew
from stagecast.visits.interval import Crossing, SourceSays
from stagecast.visits.look_for import first_of_each, is_open, pressing
from stagecast.visits.reentry import no_entry_on
from stagecast.visits.revisit import PulledForward
from stagecast.visits.season_day import FieldDay
from stagecast.words.plain import (
    LONGEST_TEXT,
    explained,
    leaf_rule_said,
    plain_day,
    sentence,
    short_day,
    threshold_said,
    typed,
)
from stagecast.words.visits import look_for_text

RIPE = ("R7", "R8")
LOOKED_FOR = 3
"""Pests told in full; more would not be read."""

FURTHEST = dt.timedelta(days=14)
"""After the due day, within which we come by all means."""

PERIODS = {
    "seedling": "the seedling time",
    "nearing-full-bloom": "the time before full bloom",
    "bloom-to-full-seed": "the time of flowers, pods and seeds",
    "full-seed-to-maturity": "the time of full seeds",
}
"""The windows of the crop, as risks that start."""

_SIZE = re.compile(r"\d+/\d+ inch")


@dataclass(frozen=True, slots=True)
class PestToFind:
    """A pest to look for at the next visit, its signs, and its threshold at the stage."""

    pest: str
    signs: str
    threshold: str
    unverified: bool = False


def walked_on(field: FieldDay) -> dt.date:
    """The day of the next visit; the day itself when it is overdue, or none is due."""
    return max(field.visit.due or field.season.as_of, field.season.as_of)


def open_then(field: FieldDay) -> Sequence[ScoutingWindow]:
    """Windows open on the day of the visit, the most pressing first, one of each pest."""
    if field.visit.due is None:
        return ()
    walked = walked_on(field)
    open_windows = sorted((w for w in field.windows if is_open(w, walked)), key=pressing)
    return tuple(first_of_each(open_windows))


def next_said(field: FieldDay) -> Iterator[str]:
    """When we come back, and why then."""
    visit, forecast, as_of = field.visit, field.forecast, field.season.as_of
    if visit.due is None:
        yield _no_more(field)
        return
    if forecast.stage_now in (NOT_PLANTED, PLANTED):
        yield f"We come when seedlings are up, about {plain_day(visit.due)}."
        return
    if visit.due < as_of:
        yield f"Our visit was due {plain_day(visit.due)}. We come as soon as we can."
        return
    day, back = promised(field), "" if visit.last_visit is None else "back "
    if visit.not_before is not None:
        soonest = min(days_we_may_come(field), default=day)
        yield _check(min(soonest, day), day)
    elif day > visit.due:
        due = f"Our visit is due {plain_day(visit.due, weekday=True)}, a day we cannot come."
        yield f"{due} We come {back}on {plain_day(day, weekday=True)}."
    elif day == as_of:
        yield "Our visit is due today."
    else:
        yield f"We come {back}by {plain_day(day, weekday=True)}."
    pull = next((one for one in visit.reasons if isinstance(one, PulledForward)), None)
    if any(isinstance(one, Crossing) for one in visit.reasons):
        yield "We come soon, since pests may pass the threshold."
    elif quick := [one.back for one in visit.reasons if isinstance(one, SourceSays)]:
        if quick[0].rule.when != "dry":
            yield f"We come soon, since {quick[0].pest.name} can grow fast."
    elif pull is not None and visit.not_before is None:
        risk = _pulled_by(pull, field.season.knowledge)
        yield f"That is sooner than usual, since {risk} starts then."
    elif visit.last_visit is None:
        yield "It will be our first visit."


def next_short(field: FieldDay) -> str:
    """The same for a list of fields: ``by Fri, Jul 10``."""
    due, as_of = field.visit.due, field.season.as_of
    if due is None:
        return "no more visits"
    if field.forecast.stage_now in (NOT_PLANTED, PLANTED):
        return f"about {short_day(due)}"
    if due < as_of:
        return f"overdue since {short_day(due)}"
    day = promised(field)
    if day == as_of:
        return "today"
    return f"{'by' if day <= due else 'on'} {day:%a}, {short_day(day)}"


def days_we_may_come(field: FieldDay) -> list[dt.date]:
    """Working days up to some weeks after the due day on which the field may be entered."""
    season, visit = field.season, field.visit
    first = max(season.as_of, visit.not_before or season.as_of)
    last = max(first, visit.due or first) + FURTHEST
    everyone = crew(season.settings, season.knowledge)
    working = {day for scout in everyone for day in scout.working_days}
    log, field_id = field.log.up_to(season.as_of), field.field_id
    days = (first + dt.timedelta(days=i) for i in range((last - first).days + 1))
    return [
        day
        for day in days
        if WEEKDAYS[day.weekday()] in working and no_entry_on(log, field_id, day) is None
    ]


def promised(field: FieldDay) -> dt.date:
    """The last day up to the due one on which we may come; without any, the first after it."""
    due = field.visit.due or field.season.as_of
    days = days_we_may_come(field)
    in_time = [day for day in days if day <= due]
    return max(in_time) if in_time else min(days, default=due)


def _check(soonest: dt.date, latest: dt.date) -> str:
    """When we see how well a treatment worked."""
    first, last = plain_day(soonest, weekday=True), plain_day(latest, weekday=True)
    days = f"on {last}" if soonest == latest else f"between {first} and {last}"
    return f"We come back {days} to see if the treatment worked."


def _pulled_by(pull: PulledForward, knowledge: Knowledge) -> str:
    """The risk that pulled the visit forward."""
    if pull.window.pest is None:
        return PERIODS.get(pull.window.window, "a new risk")
    return f"the time of {typed(knowledge.pests[pull.window.pest].name)}"


def _no_more(field: FieldDay) -> str:
    forecast = field.forecast
    if field.season.as_of > forecast.span.last_day:
        return "The season is over, so we plan no more visits."
    if forecast.stage_now == "R8":
        return "The beans are ripe; we are finished here. We plan no more visits."
    if forecast.stage_now in RIPE:
        return "The beans are ripening. Insects no longer cost yield, so we plan no more visits."
    ripe = forecast.stages["R7"].p50
    if ripe is None:
        return "No visit is planned."
    return (
        f"We expect ripe pods by {plain_day(ripe)}. Insects no longer cost yield then, so no more "
        "visits are planned."
    )


def look_for(field: FieldDay, windows: Sequence[ScoutingWindow]) -> Iterator[PestToFind]:
    """The most pressing pests; where none is about, what the crop itself shows."""
    pests = [window for window in windows if window.pest is not None]
    for window in pests[:LOOKED_FOR]:
        pest = field.season.knowledge.pests[str(window.pest)]
        told, unverified = _threshold_of(pest, field)
        signs = explained(" ".join(window.look_for))
        yield PestToFind(
            typed(pest.name),
            typed(sentence(signs), most=2 * LONGEST_TEXT),
            f"{told or 'none known'}{_other_size(signs, told)}",
            unverified,
        )
    for item in () if pests else field.visit.look_for[:LOOKED_FOR]:
        told = typed(sentence(explained(look_for_text(item))), most=LONGEST_TEXT)
        yield PestToFind("the stand", told, "")


def _threshold_of(pest: Pest, field: FieldDay) -> tuple[str, bool]:
    """The threshold of a pest in words, by sweeps where one is; and whether it is unverified."""
    knowledge, region = field.season.knowledge, field.forecast.field.region
    stage = field.forecast.stage_now
    stage = "VE" if stage in (NOT_PLANTED, PLANTED) else stage
    facts = FieldFacts.of(field.forecast.field)
    found = thresholds_at(pest, region=region, stage=stage, knowledge=knowledge, facts=facts)
    shown = standing(found, unit="sweeps")  # most visits count by the net
    if not shown:
        return "", False
    if pest.id == knowledge.decisions.leaf_loss.pest:
        rule = next((one for one in shown if one.threshold.leaf_loss), shown[0])
        told = typed(explained(leaf_rule_said(rule)), most=2 * LONGEST_TEXT)
        return told, rule.threshold.unverified
    first = next((one for one in shown if one.threshold.unit not in JUDGED), shown[0])
    return typed(explained(threshold_said(first)), most=LONGEST_TEXT), first.threshold.unverified


def _other_size(signs: str, threshold: str) -> str:
    """Which size is which, where one looks for other sizes than the threshold counts."""
    looked, counted = _SIZE.search(signs), _SIZE.search(threshold)
    if looked is None or counted is None or looked[0] == counted[0]:
        return ""
    return f". Look from {looked[0]} on; this threshold counts only those from {counted[0]} on"


def others(field: FieldDay, windows: Sequence[ScoutingWindow]) -> Iterator[tuple[str, str]]:
    """The pests that are not told in full: name and threshold."""
    for window in [window for window in windows if window.pest is not None][LOOKED_FOR:]:
        pest = field.season.knowledge.pests[str(window.pest)]
        yield typed(pest.name), _threshold_of(pest, field)[0] or "none known"
