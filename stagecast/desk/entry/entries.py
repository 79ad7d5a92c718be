"""A log entry before it is kept: what it means, and its page."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from stagecast.desk.entry.answers import EntryAnswers, answers_of
from stagecast.desk.entry.forms import CALLED, latest_or_why, values_of
from stagecast.desk.entry.moved import what_moved
from stagecast.desk.frame import frame_of, framed
from stagecast.desk.messages import link
from stagecast.desk.season import DeskSeason
from stagecast.desk.views import season_line
from stagecast.screens.screen import day_text, name_of
from stagecast.season.log.entries import (
    AnyEntry,
    LoggedVisit,
    ScoutingLog,
    day_of_entry,
    entry_id,
    kind_of_entry,
)
from stagecast.season.log.sets import set_text
from stagecast.season.log.visits import moved_doubts, same_day_doubts
from stagecast.visits.season_day import SeasonDay
from stagecast.words.notes import CAUTION, MOVING


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
    answers = EntryAnswers() if by else answers_of(entry, every, season, desk)
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
