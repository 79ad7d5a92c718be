"""The form of an entry, and the page of one that is in the log, with what it moved."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stagecast.errors import SeasonProblems, StagecastError
from stagecast.outputs.desk.field_view import plan_of_field
from stagecast.outputs.desk.forms import CALLED, FORMS, Kind, problems_by_input, values_of
from stagecast.outputs.desk.moved import what_moved
from stagecast.outputs.desk.season import DeskSeason
from stagecast.outputs.desk.views import link, season_line
from stagecast.outputs.frame import name_of
from stagecast.outputs.notes import CAUTION
from stagecast.outputs.pages.plain_words import stage_said
from stagecast.outputs.pages.render import render
from stagecast.phenology.soybean import STAGES
from stagecast.scouting.log_book import LogBook, entry_text
from stagecast.scouting.plan import SeasonPlan
from stagecast.season.log_content import AnyEntry, entry_id, kind_of_entry
from stagecast.season.log_entries import LoggedVisit, ScoutingLog
from stagecast.season.log_sets import set_text
from stagecast.season.log_visits import moved_doubts, same_day_doubts


@dataclass(frozen=True, slots=True)
class Form:
    """A form to be shown.

    Attributes
    ----------
    kind : {"visit", "treatment"}
    field_id : str
    token : str
        Without it nothing is taken.
    values : mapping
        Texts by column, as they were typed or as they stand in the log.
    corrects : str
        Id of the entry that is corrected; "" for a new one.
    problems : sequence of (str, str)
        Input, and what is wrong with it.
    """

    kind: Kind
    field_id: str
    token: str
    values: Mapping[str, str]
    corrects: str = ""
    problems: Sequence[tuple[str, str]] = ()


def plan_or_why(season: DeskSeason) -> tuple[SeasonPlan | None, list[str]]:
    """The plan; or None and why there is none just now, since one can log all the same."""
    try:
        return season.plan(), []
    except StagecastError as error:
        return None, error.sentences()


def form_html(form: Form, season: DeskSeason) -> str:
    """The form, with what to look for beside it, and what was wrong above it."""
    plan, why = plan_or_why(season)
    field = None if plan is None else plan_of_field(plan, form.field_id)
    verb = "Correct" if form.corrects else "Log"
    about = form.corrects or form.field_id
    known = [] if plan is None else sorted(pest.id for pest in plan.loaded.knowledge.pests.values())
    return render(
        "desk_form.html",
        title=f"{verb} a {form.kind}",
        season="" if plan is None else season_line(plan),
        nav=True,
        here="",
        name=form.field_id if field is None else name_of(field),
        back=link("entry", entry=about) if form.corrects else link("field", field=about),
        inputs=FORMS[form.kind],
        values=form.values,
        problems=form.problems,
        wrong={name for name, _ in form.problems},
        token=form.token,
        about=about,
        kind=form.kind,
        corrects=form.corrects,
        pests=known,
        stages=[stage_said(stage) for stage in STAGES],
        look_for=() if field is None or form.kind != "visit" else field.visit.look_for,
        why=why,
    )


def wrong_form(form: Form, error: SeasonProblems) -> Form:
    """The same form with what is wrong with it."""
    return Form(
        form.kind, form.field_id, form.token, form.values, form.corrects, problems_by_input(error)
    )


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
    values: dict[str, Any] = {
        "title": f"In the log: {kind_of_entry(entry)} {asked}",
        "season": "" if plan is None else season_line(plan),
        "text": entry_text(entry).partition(": ")[2],
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
        "field": entry.field_id,
        "back": link("field", field=entry.field_id),
        "notes": [CAUTION],
    }
    return render("desk_entry.html", nav=True, here="", **values)


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
