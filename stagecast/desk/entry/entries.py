"""A log entry before it is kept: what it means, and its page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from stagecast.counts.assess import last_counted
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.desk.entry.forms import CALLED, latest_or_why, values_of
from stagecast.desk.entry.moved import what_moved
from stagecast.desk.frame import frame_of, framed
from stagecast.desk.messages import link
from stagecast.desk.season import DeskSeason
from stagecast.desk.views import season_line
from stagecast.knowledge import load
from stagecast.screens.screen import day_text, name_of
from stagecast.season.log.entries import (
    AnyEntry,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    day_of_entry,
    entry_id,
    kind_of_entry,
    standing,
)
from stagecast.season.log.sets import set_text
from stagecast.season.log.visits import moved_doubts, same_day_doubts
from stagecast.visits.assess_season import check_days
from stagecast.visits.reentry import EfficacyCheck, efficacy_check, no_entry_until
from stagecast.visits.revisit import days_to_check
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.counts import (
    held_at_text,
    leaf_line_text,
    leaf_loss_text,
    line_text,
    near_text,
    why_text,
)
from stagecast.words.notes import CAUTION, MOVING
from stagecast.words.stand import curve_text, estimate_text
from stagecast.words.visits import until_text


@dataclass(frozen=True, slots=True)
class Meaning:
    """The short of it, and why."""

    head: str
    why: str = ""
    above: bool = False


@dataclass(frozen=True, slots=True)
class EntryAnswers:
    """What an entry means, and the stage that its counts were held against, in words."""

    means: tuple[Meaning, ...] = ()
    held_at: str = ""


def visit_means(visit: LoggedVisit, log: ScoutingLog, shown: SeasonDay) -> EntryAnswers:
    """The stand, then each pest counted on the day and the leaf loss, those above first.

    It needs no new plan: the stage is the one seen, else the one that the last plan forecast.

    ``log``: what stands of it now.
    ``shown``: the last plan; it may be from before the visit.
    """
    field = shown.find(visit.field_id)
    if field is None or not _of_these_plants(visit, field):
        return EntryAnswers()
    stand = tuple(_stand(visit, field))
    counted = visit.sets or visit.defoliation_percent is not None
    of_day = last_counted(log, visit.field_id, visit.date) if counted else None
    if of_day is None or of_day.date != visit.date:
        return EntryAnswers(stand)
    found = field.assess(of_day)
    return EntryAnswers(
        (*stand, *_pests(found, field)), held_at_text(found.stage, found.stage_seen)
    )


def _of_these_plants(visit: LoggedVisit, field: FieldDay) -> bool:
    """Whether a visit is of the season, and of the plants that stand."""
    planted = field.forecast.field.first_planted and field.forecast.field.planting_date
    this_year = visit.date.year == field.season.settings.year
    return this_year and (planted is None or visit.date >= planted)


def _stand(visit: LoggedVisit, field: FieldDay) -> Iterator[Meaning]:
    stand = field.season.assess_stand(field.forecast.field, visit)
    if stand is not None:
        why = "; ".join(curve_text(one, stand, field.season.knowledge) for one in stand.curves)
        yield Meaning(f"Stand: {stand.answer}", f"{estimate_text(stand.estimate)}; {why}")


def _pests(found: FieldAssessment, field: FieldDay) -> list[Meaning]:
    pests = field.season.knowledge.pests
    told = [_pest(one, pests[one.pest].name, field, found.visit.date) for one in found.pests]
    leaf = found.defoliation
    if leaf is not None:
        head = f"Leaf loss {leaf_line_text(leaf)}"
        told.append(Meaning(head, leaf_loss_text(leaf), leaf.answer == "above"))
    return sorted(told, key=lambda one: not one.above)


def _pest(one: PestAssessment, name: str, field: FieldDay, counted_on: dt.date) -> Meaning:
    head = f"{name[:1].upper()}{name[1:]} {line_text(one)}"
    why = why_text(one)
    if one.answer == "near":
        seen = field.last_visit is not None and field.last_visit.date >= counted_on
        check = check_days(field, counted_on) if seen else None
        why += f"; {near_text(one, walk_of(field).day if seen else None, check=check)}"
    return Meaning(head, why, one.answer == "above" or one.over)


def treatment_means(
    treatment: Treatment, log: ScoutingLog, season: SeasonDay | None
) -> list[Meaning]:
    """Until when the field is closed by it, and when to see whether it worked.

    ``log``: what stands of the field.
    ``season``: says what was visited since; None where there is none just now.
    """
    return [Meaning("; ".join(_said(treatment, log, season)))]


def _said(treatment: Treatment, log: ScoutingLog, season: SeasonDay | None) -> Iterator[str]:
    held = no_entry_until(log, treatment.field_id, treatment.applied_at)
    yield "The field is not closed" if held is None else f"Closed until {until_text(held)}"
    check = _check(treatment, log, season)
    if check is not None:
        latest = f" to {day_text(check.latest)}" if check.latest > check.soonest else ""
        yield f"efficacy check {day_text(check.soonest)}{latest}"


def _check(
    treatment: Treatment, log: ScoutingLog, season: SeasonDay | None
) -> EfficacyCheck | None:
    """The check that it still waits for; none where a later treatment has one of its own."""
    field = None if season is None else season.find(treatment.field_id)
    last = None if field is None else field.visit.last_visit
    day = treatment.applied_at.date()
    as_of = day if season is None else max(day, season.as_of)
    days = None if field is None else days_to_check(field.counted)
    check = efficacy_check(log, last, as_of=as_of, rule=load().decisions.treated, days=days)
    mine = check is not None and check.treatment.treatment_id == treatment.treatment_id
    return check if mine else None


def entry_html(desk: DeskSeason, entry: AnyEntry, *, again: bool) -> str:
    """An entry of the log, and the forecast without it and with it.

    ``again``: whether it was sent though it was in the log already.
    """
    asked = entry_id(entry)
    every = desk.every_entry()
    latest, why = latest_or_why(desk)
    season, frame = latest.season, frame_of(latest, field_id=entry.field_id)
    by = next((entry_id(e) for e in _all(every) if e.corrects == asked), "")
    moved, moving = None, ""
    if season is not None and latest.progress is None and not by:
        before = desk.without(entry)
        if before is None:
            moving, frame = MOVING, replace(frame, waits=MOVING)
        else:
            moved = what_moved(before, season, entry.field_id)
        why += [p.sentence() for p in season.loaded.refused if p.field_id == entry.field_id]
    elif latest.progress is not None and not by:
        moving = MOVING
    answers = EntryAnswers() if by else _answers(entry, every, season)
    field = None if season is None else season.find(entry.field_id)
    name = entry.field_id if field is None else name_of(field)
    kind, day = kind_of_entry(entry), day_text(day_of_entry(entry), weekday=True)
    values: dict[str, Any] = {
        "title": f"{kind.capitalize()} of {day}: {name}",
        "season": "" if season is None else season_line(season),
        "id": asked,
        "kind": kind,
        "means": answers.means,
        "held_at": answers.held_at,
        "said": said(entry),
        "again": again,
        "doubts": _doubts(entry, every, season),
        "moved": moved,
        "moving": moving,
        "late": season is not None and day_of_entry(entry) > season.as_of,
        "why": why,
        "by": by,
        "by_href": link("entry", entry=by),
        "old": entry.corrects or "",
        "old_href": link("entry", entry=entry.corrects or ""),
        "correct": link("correct", entry=asked),
        "field": name,
        "back": link("field", field=entry.field_id),
        "notes": [CAUTION],
    }
    return framed("desk_entry.html", frame, scripts=("desk_logged.js",), **values)


def _answers(entry: AnyEntry, every: ScoutingLog, season: SeasonDay | None) -> EntryAnswers:
    """What somebody who logged it wants to know first."""
    log = standing(every.visits, every.treatments).of_field(entry.field_id)
    if isinstance(entry, LoggedVisit):
        return EntryAnswers() if season is None else visit_means(entry, log, season)
    return EntryAnswers(tuple(treatment_means(entry, log, season)))


def said(entry: AnyEntry) -> list[tuple[str, str]]:
    """What an entry says, by the labels of its form; what is blank is left out."""
    values = values_of(entry)
    told = [(CALLED[name], text) for name, text in values.items() if name != "set" and text]
    if isinstance(entry, LoggedVisit):
        told += [(f"Set {one.number}", set_text(one)) for one in entry.sets]
    return told


def _doubts(entry: AnyEntry, every: ScoutingLog, season: SeasonDay | None) -> list[str]:
    """What is odd about the entry beside the others, and in its season."""
    visits = [entry] if isinstance(entry, LoggedVisit) else []
    found = [*same_day_doubts(visits, _before(every, entry)), *moved_doubts([entry], every)]
    if season is not None:
        day = day_of_entry(entry)
        of_field = [p for p in season.doubts if p.field_id == entry.field_id and p.date == day]
        found += [problem for problem in of_field if problem not in found]
    return [problem.sentence() for problem in dict.fromkeys(found)]


def _before(every: ScoutingLog, entry: AnyEntry) -> ScoutingLog:
    """The entries that stand beside this one."""
    gone = {e.corrects for e in _all(every)} | {entry_id(entry)}
    return ScoutingLog(tuple(v for v in every.visits if v.visit_id not in gone))


def _all(log: ScoutingLog) -> list[AnyEntry]:
    return [*log.visits, *log.treatments]
