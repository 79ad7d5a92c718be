"""The page of an entry that is in the log: what it means, what it moved, what it says."""

from __future__ import annotations

import datetime as dt
from typing import Any

from stagecast.outputs.desk.entry_means import Meaning, treatment_means, visit_means
from stagecast.outputs.desk.field_view import plan_of_field
from stagecast.outputs.desk.form_view import plan_or_why
from stagecast.outputs.desk.forms import CALLED, values_of
from stagecast.outputs.desk.links import link
from stagecast.outputs.desk.moved import what_moved
from stagecast.outputs.desk.season import DeskSeason
from stagecast.outputs.desk.views import season_line
from stagecast.outputs.frame import name_of
from stagecast.outputs.notes import CAUTION
from stagecast.outputs.pages.render import render
from stagecast.outputs.screen import day_text
from stagecast.scouting.log_book import LogBook
from stagecast.scouting.plan import SeasonPlan
from stagecast.season.log_content import AnyEntry, entry_id, kind_of_entry
from stagecast.season.log_entries import LoggedVisit, ScoutingLog, standing
from stagecast.season.log_sets import set_text
from stagecast.season.log_visits import moved_doubts, same_day_doubts


def entry_html(season: DeskSeason, book: LogBook, asked: str, *, again: bool) -> str:
    """An entry of the log, and the forecast without it and with it.

    Parameters
    ----------
    season : DeskSeason
    book : LogBook
    asked : str
        Its id.
    again : bool
        Whether it was sent though it was in the log already.
    """
    entry = book.entry(asked)
    every = book.store.all_entries()
    plan, why = plan_or_why(season)
    by = next((entry_id(e) for e in _all(every) if e.corrects == asked), "")
    moved = None
    if plan is not None and not by:
        moved = what_moved(season.plan_without(entry), plan, entry.field_id)
        why += [p.sentence() for p in plan.loaded.refused if p.field_id == entry.field_id]
    field = None if plan is None else plan_of_field(plan, entry.field_id)
    name = entry.field_id if field is None else name_of(field)
    kind, day = kind_of_entry(entry), day_text(_day_of(entry), weekday=True)
    values: dict[str, Any] = {
        "title": f"{kind.capitalize()} of {day}: {name}",
        "season": "" if plan is None else season_line(plan),
        "id": asked,
        "kind": kind,
        "means": [] if by else _means(entry, every, plan),
        "said": said(entry),
        "again": again,
        "doubts": _doubts(entry, every, plan),
        "moved": moved,
        "late": plan is not None and _day_of(entry) > plan.loaded.as_of,
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


def _means(entry: AnyEntry, every: ScoutingLog, plan: SeasonPlan | None) -> list[Meaning]:
    """What somebody who logged it wants to know first."""
    if isinstance(entry, LoggedVisit):
        return [] if plan is None else visit_means(entry, plan)
    log = standing(every.visits, every.treatments).of_field(entry.field_id)
    return treatment_means(entry, log, plan)


def said(entry: AnyEntry) -> list[tuple[str, str]]:
    """What an entry says, by the labels of its form; what is blank is left out."""
    values = values_of(entry)
    told = [(CALLED[name], text) for name, text in values.items() if name != "set" and text]
    if isinstance(entry, LoggedVisit):
        told += [(f"Set {one.number}", set_text(one)) for one in entry.sets]
    return told


def _doubts(entry: AnyEntry, every: ScoutingLog, plan: SeasonPlan | None) -> list[str]:
    """What is odd about the entry beside the others, and in its season."""
    visits = [entry] if isinstance(entry, LoggedVisit) else []
    found = [*same_day_doubts(visits, _before(every, entry)), *moved_doubts([entry], every)]
    if plan is not None:
        day = _day_of(entry)
        of_field = [p for p in plan.doubts if p.field_id == entry.field_id and p.date == day]
        found += [problem for problem in of_field if problem not in found]
    return [problem.sentence() for problem in dict.fromkeys(found)]


def _before(every: ScoutingLog, entry: AnyEntry) -> ScoutingLog:
    """The entries that stand beside this one."""
    gone = {e.corrects for e in _all(every)} | {entry_id(entry)}
    return ScoutingLog(tuple(v for v in every.visits if v.visit_id not in gone))


def _all(log: ScoutingLog) -> list[AnyEntry]:
    return [*log.visits, *log.treatments]


def _day_of(entry: AnyEntry) -> dt.date:
    return entry.date if isinstance(entry, LoggedVisit) else entry.applied_at.date()
