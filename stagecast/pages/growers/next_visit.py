"""The next visit on the grower's page: when, why then, and what is looked for."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stagecast.forecast.forecast import NOT_PLANTED, PLANTED
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.units import JUDGED
from stagecast.pests.thresholds import FieldFacts, judged_by, standing
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.tables.blocked import Blocked
from stagecast.visits.interval import Crossing, SourceSays
from stagecast.visits.look_for import first_of_each, looked_at
from stagecast.visits.other_looks import FieldLook
from stagecast.visits.reentry import NoEntry
from stagecast.visits.revisit import InsectsOver, PulledForward
from stagecast.visits.season_day import FieldDay
from stagecast.week.fields import first_open_day
from stagecast.week.week import Walk, walk_of
from stagecast.words.plain import (
    LONGEST_TEXT,
    LOOKS,
    explained,
    leaf_rule_said,
    listed,
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

MOST_LOOKS = 2
"""Looks besides insects; the page is one sheet."""

STAND = "the stand"

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
    return max(walk_of(field).day or field.visit.due or field.season.as_of, field.season.as_of)


def open_then(field: FieldDay) -> Sequence[ScoutingWindow]:
    """Windows open on the day of the visit, the most pressing first, one of each pest."""
    if field.visit.due is None:
        return ()
    walked = walked_on(field)
    return tuple(first_of_each(looked_at(field.windows, walked)))


def next_said(field: FieldDay, *, above: bool) -> Iterator[str]:
    """When we come back, and why then; ``above``: the field waits for a decision as it is."""
    visit, forecast = field.visit, field.forecast
    if visit.due is None:
        yield _no_more(field)
        return
    if forecast.stage_now in (NOT_PLANTED, PLANTED):
        day = walk_of(field).day or first_open_day(field, visit.due)
        yield f"We come when seedlings are up, about {plain_day(day)}."
        return
    yield from _when(field)
    pull = next((one for one in visit.reasons if isinstance(one, PulledForward)), None)
    if any(isinstance(one, Crossing) for one in visit.reasons):
        if not above:
            yield "We come soon, since pests may pass the threshold."
    elif quick := [one.back for one in visit.reasons if isinstance(one, SourceSays)]:
        if quick[0].rule.when != "dry":
            yield f"We come soon, since {quick[0].pest.name} can grow fast."
    elif pull is not None and visit.not_before is None and _sooner(field, pull):
        yield f"That is sooner than usual, since {_pulled_by(pull, field.season.knowledge)}."
    elif visit.last_visit is None:
        yield "It will be our first visit."
    if stage_place(forecast.stage_now) >= stage_place("R6"):
        yield from _stop_said(field)


def _sooner(field: FieldDay, pull: PulledForward) -> bool:
    """Whether it is walked before the day on which it would be due without the window.

    Not where it is late by the rule, but for a day off: both in one breath would confuse.
    """
    walk = walk_of(field)
    if walk.day is None or walk.due is None:
        return False
    if walk.day > walk.due and walk.why != "no work":
        return False
    return walk.day < field.season.workday(pull.due_before)


def _stop_said(field: FieldDay) -> Iterator[str]:
    """When sprays no longer pay by the state's text, and what remains."""
    end = field.insects_end
    if end.dates.p50 is None:
        return
    over = field.season.as_of >= end.dates.p50
    when = "now" if over else f"from about {plain_day(end.dates.p50)} on"
    yield f"Treating insects no longer pays {when}."
    if end.still:
        names = listed([typed(pest.name) for pest in end.still])
        yield f"Only {names} may still matter, to the first ripe pod."


def _when(field: FieldDay) -> Iterator[str]:
    """The day of the route, then why where it is after the due day; beyond the route about when."""
    walk, as_of = walk_of(field), field.season.as_of
    back = "" if field.visit.last_visit is None else "back "
    assert walk.due is not None, "asked of fields with a next visit"
    was = "was" if walk.due < as_of else "is"
    due = f"Our visit {was} due {plain_day(walk.due, weekday=True)}"
    if walk.day is None:
        yield f"{due}. We come as soon as we can."
        return
    day = plain_day(walk.day, weekday=True)
    if field.visit.not_before is not None:
        yield f"We come back on {day} to see if the treatment worked."
    elif walk.day == as_of:
        yield f"We come {back}today."
    else:
        yield f"We come {back}{'about' if walk.on is None else 'on'} {day}."
    if walk.day > walk.due:
        yield f"{due}{_why_not_then(walk, as_of)}."


def _why_not_then(walk: Walk, as_of: dt.date) -> str:
    """Why we do not come on the day on which the visit is due, behind a comma.

    Of a due day that is over: why we do not come today.
    """
    over = walk.due is not None and walk.due < as_of
    if isinstance(walk.why, NoEntry | Blocked):
        return ", and nobody may enter today" if over else ", but nobody may enter then"
    if walk.why == "no work":
        return ", and today we cannot come" if over else ", a day we cannot come"
    return ", and other fields come first" if walk.why == "others first" else ""


def next_short(field: FieldDay) -> str:
    """The same for a list of fields: ``on Fri, Jul 10``."""
    walk, as_of = walk_of(field), field.season.as_of
    if walk.due is None:
        return "no more visits"
    if field.forecast.stage_now in (NOT_PLANTED, PLANTED):
        return f"about {short_day(walk.day or first_open_day(field, walk.due))}"
    if walk.day is None:
        late = field.due_on is not None and field.due_on < as_of
        return f"{'overdue since' if late else 'due'} {short_day(walk.due)}"
    if walk.day == as_of:
        return "today"
    return f"{'about' if walk.on is None else 'on'} {walk.day:%a}, {short_day(walk.day)}"


def _pulled_by(pull: PulledForward, knowledge: Knowledge) -> str:
    """The risk that pulled the visit forward, and when it starts."""
    if pull.window.pest is None:
        risk = PERIODS.get(pull.window.window, "a new risk")
    else:
        risk = f"the time of {typed(knowledge.pests[pull.window.pest].name)}"
    opens = pull.window.opens.p50
    return f"{risk} starts then" if opens is None else f"{risk} starts about {plain_day(opens)}"


def _no_more(field: FieldDay) -> str:
    forecast = field.forecast
    if field.season.as_of > forecast.span.last_day:
        return "The season is over, so we plan no more visits."
    if forecast.stage_now == "R8":
        return "The beans are ripe; we are finished here. We plan no more visits."
    if forecast.stage_now in RIPE:
        return "The beans are ripening. Insects no longer cost yield, so we plan no more visits."
    if any(isinstance(one, InsectsOver) for one in field.visit.reasons):
        return " ".join([*_stop_said(field), "We plan no more visits."])
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
        yield PestToFind(STAND, told, "")


def _threshold_of(pest: Pest, field: FieldDay) -> tuple[str, bool]:
    """The threshold of a pest in words, by sweeps where one is; and whether it is unverified."""
    knowledge, region = field.season.knowledge, field.forecast.field.region
    stage = field.forecast.stage_now
    stage = "VE" if stage in (NOT_PLANTED, PLANTED) else stage
    facts = FieldFacts.of(field.forecast.field)
    found = judged_by(pest, region=region, stage=stage, knowledge=knowledge, facts=facts)
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


def looks_said(field: FieldDay) -> Iterator[str]:
    """The next looks besides insects, each with its day and why."""
    season = field.season
    last = season.as_of + dt.timedelta(days=int(season.knowledge.looks.ahead_days))
    soon = [one for one in field.looks if season.as_of < _dated(one) <= last]
    for one in sorted(soon, key=_dated)[:MOST_LOOKS]:
        yield LOOKS[one.look.id].format(plain_day(_dated(one)))


def _dated(one: FieldLook) -> dt.date:
    """The day that dates a look."""
    closes = one.closes.p50 or dt.date.max
    return closes if one.look.dated == "closes" else one.first


def others(field: FieldDay, windows: Sequence[ScoutingWindow]) -> Iterator[tuple[str, str]]:
    """The pests that are not told in full: name and threshold."""
    for window in [window for window in windows if window.pest is not None][LOOKED_FOR:]:
        pest = field.season.knowledge.pests[str(window.pest)]
        yield typed(pest.name), _threshold_of(pest, field)[0] or "none known"
