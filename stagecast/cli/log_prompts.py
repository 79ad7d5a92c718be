"""Ask for a visit, and for what was applied, step by step."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from stagecast.base.errors import Problem
from stagecast.base.textfiles import clean
from stagecast.cli.log_commands import OPTIONS
from stagecast.season.log.book import LogBook, row_of
from stagecast.season.log.cells import treatment_of, visit_of
from stagecast.season.log.sets import EXAMPLE
from stagecast.season.log.stands import STAND_EXAMPLE

_VISIT = (
    ("who", "Who looked"),
    ("stage", "Growth stage seen, such as R3"),
    ("share_percent", "Percent of plants in that stage or beyond"),
    ("defoliation_percent", "Leaf loss of the whole canopy, percent"),
    ("stand_count", f"Stand count, such as {STAND_EXAMPLE}"),
    ("stand_notes", "Stand"),
    ("method", "How you looked, such as a 15-inch net"),
)
_TREATMENT = (
    ("time", "At what time, such as 14:30"),
    ("reentry_hours", "Restricted-entry interval of its label, hours"),
    ("preharvest_days", "Pre-harvest interval of its label, days"),
)


@dataclass(slots=True)
class Answers:
    """What was answered so far: cells by column, and sets in words."""

    given: dict[str, str]
    sets: list[str] = field(default_factory=list)


def ask(book: LogBook, answers: Answers, *, read: Callable[[str], str] = input) -> None:
    """Fill in the answers; each is asked again until it can be logged, and most may be blank.

    ``answers``: holds the field, and the day that a blank answer stands for; kept up to date, so
    that what was typed is at hand when the asking is cut short.
    ``read``: prints a prompt and returns a line.
    """
    print("A blank answer leaves out what was not looked at.")
    _ask_one(book, answers, "date", f"Date [{answers.given['date']}]", read)
    for column, prompt in _VISIT:
        if column != "share_percent" or answers.given.get("stage"):
            _ask_one(book, answers, column, prompt, read)
    _ask_sets(book, answers, read)
    _ask_one(book, answers, "notes", "Notes", read)
    _ask_one(book, answers, "product", "Product, if something was applied", read)
    if answers.given.get("product"):
        for column, prompt in _TREATMENT:
            _ask_one(book, answers, column, prompt, read)


def resumed(folder: Path, answers: Answers) -> str:
    """The command that logs what was answered, so that none of it has to be thought up again."""
    given = dict(answers.given)
    words = ["stagecast", "log", "add", str(folder), given.pop("field_id")]
    for column, text in given.items():
        words += [OPTIONS[column], text]
    for text in answers.sets:
        words += ["--set", text]
    return shlex.join(words)


def _ask_one(
    book: LogBook, answers: Answers, column: str, prompt: str, read: Callable[[str], str]
) -> None:
    """Ask for one cell until nothing is wrong with it."""
    while True:
        text = read(f"{prompt}: ").strip()
        if not text and column in answers.given:
            return
        trial = {**answers.given, column: text}
        problems = [p for p in _faults(book, trial, column) if p.column == column]
        if not problems:
            if text:
                answers.given[column] = text
            return
        _say(book, problems)


def _ask_sets(book: LogBook, answers: Answers, read: Callable[[str], str]) -> None:
    print(f"Sets, one a line, such as: {EXAMPLE}")
    while text := read(f"Set {len(answers.sets) + 1}: ").strip():
        _, problems = book.sets([text])
        _say(book, problems)
        if not problems:
            answers.sets.append(text)


def _faults(book: LogBook, given: dict[str, str], column: str) -> list[Problem]:
    of_treatment = column in {"product", *dict(_TREATMENT)}
    if column == "product" and not given["product"]:
        return []
    row = row_of(given)
    if of_treatment:
        treatment_of(row, book.names)
    else:
        visit_of(row, (), book.names)
    return row.problems


def _say(book: LogBook, problems: list[Problem]) -> None:
    for problem in problems:
        told = book.told(problem) if problem.column else problem
        print(clean(told.sentence().removeprefix(f"{told.file}: ")), file=sys.stderr)
