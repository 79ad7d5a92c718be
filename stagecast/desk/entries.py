"""A log entry before it is kept: what it means, and its page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from stagecast.counts.assessment import PestAssessment
from stagecast.desk.forms import CALLED, plan_or_why, values_of
from stagecast.desk.messages import link
from stagecast.desk.moved import what_moved
from stagecast.desk.season import DeskSeason
from stagecast.desk.views import season_line
from stagecast.knowledge import load
from stagecast.pages.render import render
from stagecast.screens.screen import day_text, name_of
from stagecast.season.log.book import LogBook
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
from stagecast.words.counts import leaf_line_text, leaf_loss_text, line_text, near_text, why_text
from stagecast.words.notes import CAUTION
from stagecast.words.stand import curve_text, estimate_text
from stagecast.words.visits import until_text


@dataclass(frozen=True, slots=True)
class Meaning:
    """The short of it, and why."""

    head: str
    why: str = ""
    above: bool = False


def visit_means(visit: LoggedVisit, season: SeasonDay) -> list[Meaning]:
    """The stand, then each pest counted on the day and the leaf loss, those above first."""
    field = season.find(visit.field_id)
    if field is None:
        return []
    return [*_stand(visit, field), *_pests(visit, field)]


def _stand(visit: LoggedVisit, field: FieldDay) -> Iterator[Meaning]:
    stand = field.season.assess_stand(field.forecast.field, visit)
    if stand is not None:
        why = "; ".join(curve_text(one, stand, field.season.knowledge) for one in stand.curves)
        yield Meaning(f"Stand: {stand.answer}", f"{estimate_text(stand.estimate)}; {why}")


def _pests(visit: LoggedVisit, field: FieldDay) -> list[Meaning]:
    season = field.season
    counted = visit.sets or visit.defoliation_percent is not None
    found = field.assess_day(visit.date) if counted else None
    if found is None:
        return []
    pests = season.knowledge.pests
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
        check = check_days(field, counted_on)
        why += f"; {near_text(one, walk_of(field).day, check=check)}"
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


def entry_html(desk: DeskSeason, book: LogBook, asked: str, *, again: bool) -> str:
    """An entry of the log, and the forecast without it and with it.

    ``asked``: its id.
    ``again``: whether it was sent though it was in the log already.
    """
    entry = book.entry(asked)
    every = book.store.all_entries()
    season, why = plan_or_why(desk)
    by = next((entry_id(e) for e in _all(every) if e.corrects == asked), "")
    moved = None
    if season is not None and not by:
        moved = what_moved(desk.plan_without(entry), season, entry.field_id)
        why += [p.sentence() for p in season.loaded.refused if p.field_id == entry.field_id]
    field = None if season is None else season.find(entry.field_id)
    name = entry.field_id if field is None else name_of(field)
    kind, day = kind_of_entry(entry), day_text(day_of_entry(entry), weekday=True)
    values: dict[str, Any] = {
        "title": f"{kind.capitalize()} of {day}: {name}",
        "season": "" if season is None else season_line(season),
        "id": asked,
        "kind": kind,
        "means": [] if by else _means(entry, every, season),
        "said": said(entry),
        "again": again,
        "doubts": _doubts(entry, every, season),
        "moved": moved,
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
    return render("desk_entry.html", nav=True, here="", **values)


def _means(entry: AnyEntry, every: ScoutingLog, season: SeasonDay | None) -> list[Meaning]:
    """What somebody who logged it wants to know first."""
    if isinstance(entry, LoggedVisit):
        return [] if season is None else visit_means(entry, season)
    log = standing(every.visits, every.treatments).of_field(entry.field_id)
    return treatment_means(entry, log, season)


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
