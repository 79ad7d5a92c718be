"""Forms of the desk: what they ask, what a person typed, what is wrong with it, and their page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from stagecast.base.errors import Problem, SeasonProblems, StagecastError
from stagecast.desk.entry.grid import (
    CALLED_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    blank_rows,
    count_rows,
    room,
    rows_of_sets,
    sets_of_rows,
)
from stagecast.desk.frame import frame_of, framed
from stagecast.desk.messages import MOST_SHOWN, answer_to, link
from stagecast.desk.season import DeskSeason, Latest
from stagecast.desk.sent import read_texts
from stagecast.desk.views import season_line
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.units import UNITS
from stagecast.screens.screen import name_of
from stagecast.season.log.book import SET, LogBook, NewEntries
from stagecast.season.log.cells import TREATMENT_COLUMNS, treatment_cells, visit_cells
from stagecast.season.log.entries import AnyEntry, LoggedVisit, kind_of_entry
from stagecast.season.log.sets import EXAMPLE, set_text
from stagecast.season.log.stands import HOOP_EXAMPLE, STAND_EXAMPLE
from stagecast.words.plain import stage_said
from stagecast.words.visits import look_for_texts

Kind = Literal["visit", "treatment"]
MOST_SETS = 500
MOST_INPUTS = 300


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that a form asks.

    ``name`` is a column of the log's table, or ``set``. No two labels are the same, since
    problems name them.
    """

    name: str
    label: str
    hint: str = ""
    kind: Literal["line", "number", "date", "text", "stage", "sets"] = "line"
    needed: bool = False


_DATE = Question("date", "Day", "Such as 2026-07-07 or 7/7/2026.", "date", needed=True)
_NOTES = Question("notes", "Notes", kind="text")

FORMS: dict[Kind, tuple[Question, ...]] = {
    "visit": (
        _DATE,
        Question("stage", "Growth stage", kind="stage"),
        Question("share_percent", "Share of plants", "Percent in that stage or beyond.", "number"),
        Question(
            SET,
            "Counts",
            f"One set a line: its size, a colon, then what was in it, such as {EXAMPLE}.",
            "sets",
        ),
        Question("defoliation_percent", "Leaf loss", "Percent, of the whole canopy.", "number"),
        Question(
            "stand_count",
            "Stand count",
            f"Rows or hoop, a colon, plants at each place, such as {STAND_EXAMPLE}; "
            f"or {HOOP_EXAMPLE}.",
        ),
        Question("stand_notes", "Stand"),
        Question("who", "Who looked"),
        Question("method", "How you looked", "Such as a 15-inch net."),
        Question("arrived", "Came to the field", "Such as 8:05 or 1:30 pm."),
        Question("left", "Left it", "Such as 8:40."),
        _NOTES,
    ),
    "treatment": (
        Question("product", "Product", "What was applied, in your words.", needed=True),
        _DATE,
        Question("time", "Time", "Such as 14:30 or 2:30 pm.", needed=True),
        Question("reentry_hours", "Hours before entry", "From the label.", "number", needed=True),
        Question("preharvest_days", "Days before harvest", "From the label; or blank.", "number"),
        _NOTES,
    ),
}

CALLED = {
    **{asked.name: asked.label for form in FORMS.values() for asked in form},
    "field_id": "Field", "corrects": "Entry",
}  # fmt: skip
"""Column -> what a person typed it into, for problems."""

_NAMED = {label: name for name, label in {**CALLED_CELLS, **CALLED}.items()}


@dataclass(frozen=True, slots=True)
class Typed:
    """What was sent: texts by input, the token of the form, what it is about, and the yes."""

    values: Mapping[str, str]
    form_token: str = ""
    about: str = ""
    answer: str = ""

    @property
    def sets(self) -> list[str]:
        """The sets, one of each line."""
        return [line.strip() for line in self.values.get(SET, "").split("\n") if line.strip()]


def read_form(body: bytes, kind: Kind) -> Typed:
    """What a browser sent, with line ends as files have them; SeasonProblems where it is no form.

    What our forms do not ask is left aside.
    """
    sent = read_texts(body, most=MOST_INPUTS)
    asked = [*(one.name for one in FORMS[kind]), *(CALLED_CELLS if kind == "visit" else ())]
    values = {name: sent.get(name, "") for name in asked}
    return Typed(values, sent.get("form_token", ""), sent.get("about", ""), sent.get("answer", ""))


def values_of(entry: AnyEntry) -> dict[str, str]:
    """What an entry says, by the questions of its form; all sets in lines."""
    if isinstance(entry, LoggedVisit):
        cells = visit_cells(entry) | {SET: "\n".join(map(set_text, entry.sets))}
    else:
        cells = treatment_cells(entry)
    return {asked.name: cells[asked.name] for asked in FORMS[_kind(entry)]}


def filled_in(entry: AnyEntry) -> dict[str, str]:
    """An entry as its form shows it: of its sets those in the rows that have room there."""
    values = values_of(entry)
    if isinstance(entry, LoggedVisit):
        rows, lines = rows_of_sets(entry.sets)
        values |= rows | {SET: "\n".join(lines)}
    return values


def new_entries(book: LogBook, field_id: str, typed: Typed, kind: Kind) -> NewEntries:
    """The visit or treatment that was typed; SeasonProblems with all that is wrong with it.

    The sets of the rows come first, then those of the lines.
    """
    given = {name: text for name, text in _cells(typed, kind).items() if text.strip()}
    sets, problems = _sets(typed, book)
    if not sets and not problems and given.keys() <= {"date"}:
        needed = [one.label for one in FORMS[kind] if one.name != "date"]
        message, step = "nothing was noted that could be logged", f"fill in {', '.join(needed)}"
        raise SeasonProblems.of("Form", message, next_step=f"{step}, or some of them")
    if kind == "treatment":  # also what is blank, or it would be no treatment
        given = dict.fromkeys(TREATMENT_COLUMNS, "") | given
    given = {"date": "", "field_id": field_id, **given}
    return _with_rows(problems, lambda: book.new_entries(given, sets))


def correction(book: LogBook, old: AnyEntry, typed: Typed) -> NewEntries:
    """The entry as it was typed anew; sets that nobody touched stay as they are in the log."""
    given = _cells(typed, _kind(old))
    before = filled_in(old)
    of_sets = [name for name in (SET, *CALLED_CELLS) if name in before]
    same = all(typed.values.get(name, "").strip() == before[name].strip() for name in of_sets)
    sets, problems = ([], []) if same else _sets(typed, book)
    return _with_rows(problems, lambda: book.correction(old, given, None if same else sets))


def _sets(typed: Typed, book: LogBook) -> tuple[Sequence[str], list[Problem]]:
    """The sets of the rows, then those of the lines; and what is wrong with the rows.

    Rows with something wrong are left out, so that the rest is told beside it.
    """
    rows, problems = sets_of_rows(typed.values, book.names.pests)
    return _checked([*([] if problems else rows), *typed.sets]), problems


def _with_rows(problems: list[Problem], make: Callable[[], NewEntries]) -> NewEntries:
    """What is made, unless something is wrong with it or with the rows: all of it at once."""
    try:
        entries = make()
    except SeasonProblems as error:
        raise SeasonProblems([*problems, *error.problems]) from error
    if problems:
        raise SeasonProblems(problems)
    return entries


def _cells(typed: Typed, kind: Kind) -> dict[str, str]:
    """What was typed by column of the log's table; sets are apart."""
    return {one.name: typed.values[one.name] for one in FORMS[kind] if one.name != SET}


def problems_by_input(error: SeasonProblems) -> list[tuple[str, str]]:
    """Each problem as (input, sentence); "" where it is of none."""
    told = [(_NAMED.get(p.file, ""), p.sentence()) for p in error.problems]
    left = len(told) - MOST_SHOWN
    return told if left <= 0 else [*told[:MOST_SHOWN], ("", f"and {left:,} more")]


def _checked(sets: Sequence[str]) -> Sequence[str]:
    if len(sets) > MOST_SETS:
        message = f"{len(sets):,} sets of one visit are more than a form takes"
        step = f"log at most {MOST_SETS} here, or all with `stagecast log import`"
        raise SeasonProblems.of(CALLED[SET], message, next_step=step)
    return sets


def _kind(entry: AnyEntry) -> Kind:
    return "visit" if kind_of_entry(entry) == "visit" else "treatment"


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


def latest_or_why(desk: DeskSeason) -> tuple[Latest, list[str]]:
    """The last plan; or why there can be none just now, since one can log all the same."""
    try:
        return desk.latest(), []
    except StagecastError as error:
        return Latest(None, ""), error.sentences()


def form_html(form: Form, desk: DeskSeason) -> str:
    """The form, with what to look for beside it, and what was wrong above it."""
    latest, why = latest_or_why(desk)
    season = latest.season
    field = None if season is None else season.find(form.field_id)
    knowledge = load() if season is None else season.knowledge
    rows = count_rows(knowledge, field)
    values = dict(form.values)
    if form.fresh and form.kind == "visit":
        values |= blank_rows(rows, knowledge, field)
    verb = "Correct" if form.corrects else "Log"
    about = form.corrects or form.field_id
    return framed(
        "desk_form.html",
        frame_of(latest, field_id=form.field_id),
        scripts=("desk_form.js", "desk_draft.js"),
        title=f"{verb} a {form.kind}",
        season="" if season is None else season_line(season),
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
        rows=rows if form.kind == "visit" else None,
        room=room(values),
        most=(MOST_ROWS, MOST_COLUMNS),
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
