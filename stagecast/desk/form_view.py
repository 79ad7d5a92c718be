"""The form of an entry: what it asks, what to look for beside it, and what was wrong above it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stagecast.base.errors import SeasonProblems, StagecastError
from stagecast.desk.forms import (
    FORMS,
    ROWS,
    SETS,
    Kind,
    blank_rows,
    count_rows,
    problems_by_input,
)
from stagecast.desk.messages import answer_to, link
from stagecast.desk.season import DeskSeason
from stagecast.desk.views import season_line
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.units import UNITS
from stagecast.pages.render import render
from stagecast.screens.screen import name_of
from stagecast.visits.season_day import SeasonDay
from stagecast.words.plain import stage_said
from stagecast.words.visits import look_for_texts

NODES = 20
"""Leaf joints that the list of stages goes up to."""

LEAFY = ("VE", "VC", *(f"V{node}" for node in range(1, NODES + 1)))
LATER = tuple(f"R{number}" for number in range(1, 9))


@dataclass(frozen=True, slots=True)
class Form:
    """A form to be shown.

    Attributes
    ----------
    token: without it nothing is taken
    values: texts by input, as they were typed or as they stand in the log
    corrects: id of the entry that is corrected; "" for a new one
    problems: input, and what is wrong with it
    asked: what looks like a slip, to be said yes to
    fresh: whether nobody typed into it yet
    """

    kind: Kind
    field_id: str
    token: str
    values: Mapping[str, str]
    corrects: str = ""
    problems: Sequence[tuple[str, str]] = ()
    asked: Sequence[str] = ()
    fresh: bool = False


def plan_or_why(desk: DeskSeason) -> tuple[SeasonDay | None, list[str]]:
    """The plan; or None and why there is none just now, since one can log all the same."""
    try:
        return desk.plan(), []
    except StagecastError as error:
        return None, error.sentences()


def form_html(form: Form, desk: DeskSeason) -> str:
    """The form, with what to look for beside it, and what was wrong above it."""
    season, why = plan_or_why(desk)
    field = None if season is None else season.find(form.field_id)
    knowledge = load() if season is None else season.knowledge
    rows = count_rows(knowledge, field)
    values = dict(form.values)
    if form.fresh and form.kind == "visit":
        values |= blank_rows(rows, knowledge, field)
    verb = "Correct" if form.corrects else "Log"
    about = form.corrects or form.field_id
    return render(
        "desk_form.html",
        title=f"{verb} a {form.kind}",
        season="" if season is None else season_line(season),
        nav=True,
        here="",
        name=form.field_id if field is None else name_of(field),
        back=link("entry", entry=about) if form.corrects else link("field", field=about),
        inputs=FORMS[form.kind],
        values=values,
        problems=form.problems,
        wrong={name for name, _ in form.problems},
        asked=form.asked,
        answer=answer_to(form.asked),
        token=form.token,
        about=about,
        kind=form.kind,
        corrects=form.corrects,
        rows=rows if form.kind == "visit" and not form.corrects else None,
        row_count=ROWS,
        set_count=SETS,
        units=tuple(UNITS),
        pests=sorted(pest.id for pest in knowledge.pests.values()),
        stages=stage_lists(values.get("stage", "")),
        meanings=stage_meanings(knowledge),
        look_for=look_for_texts(field.visit.look_for) if field and form.kind == "visit" else (),
        why=why,
    )


def stage_lists(typed: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """Stages to pick from with their plain words, in two groups; what was typed is among them."""
    groups = [
        (title, [(stage, stage_said(stage)) for stage in stages])
        for title, stages in (("Leaves", LEAFY), ("Flowers, pods, seeds", LATER))
    ]
    if typed and typed not in (*LEAFY, *LATER):
        groups.insert(0, ("As it was typed", [(typed, typed)]))
    return groups


def stage_meanings(knowledge: Knowledge) -> list[str]:
    """What each stage is by definition."""
    texts = knowledge.soybean.stages
    return [f"{code}, {text.name}: {text.definition}" for code, text in texts.items()]


def wrong_form(form: Form, error: SeasonProblems) -> Form:
    """The same form with what is wrong with it."""
    return replace(form, problems=problems_by_input(error))
