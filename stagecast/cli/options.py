"""Options that several commands share, and documents printed as they were asked for."""

from __future__ import annotations

import datetime as dt
import os
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from stagecast.base.shelf import Shelf
    from stagecast.visits.season_day import SeasonDay


class Format(StrEnum):
    """How results are printed."""

    table = "table"
    json = "json"
    csv = "csv"


class Screen(StrEnum):
    """How a page is printed that is no table of rows."""

    table = "table"
    json = "json"


Completer = Callable[..., list[str]]
"""All that a shell may offer; it takes what goes on from the letters typed. Never raises."""


def option(
    name: str,
    metavar: str | None,
    help: str,
    *,
    short: str | None = None,
    completed: Completer | None = None,
) -> Any:
    """An option whose default is not worth showing."""
    names = [name] if short is None else [name, short]
    return typer.Option(
        *names, metavar=metavar, help=help, show_default=False, autocompletion=completed
    )


def argument(metavar: str, help: str, *, completed: Completer | None = None) -> Any:
    """A word of a command, without a default to show."""
    return typer.Argument(metavar=metavar, help=help, show_default=False, autocompletion=completed)


def a_field(context: typer.Context) -> list[str]:
    """Ids of the season named before, or of the one where one stands."""
    from stagecast.season.glance import glance

    return list(glance(_folder_typed(context)).field_ids)


def a_pest(context: typer.Context) -> list[str]:
    """Ids of the pests that ship, and of a person's own."""
    from stagecast.season.glance import pest_ids

    return list(pest_ids(_folder_typed(context)))


def a_topic() -> list[str]:
    """Topics of the guide."""
    from stagecast.guide.topics import ORDER

    return list(ORDER)


def _folder_typed(context: typer.Context) -> Path:
    """The season before it on the line, else where one stands.

    A line that ends with an option comes as words that nobody has told apart.
    """
    from stagecast.season.glance import is_season

    before = map(Path, filter(None, [context.params.get("folder"), *context.args]))
    return next(filter(is_season, before), Path())


Text = str | None
Texts = list[str] | None
Number = float | None

Folder = Annotated[Path, argument("DIR", "The season folder.")]
FieldId = Annotated[str, argument("FIELD", "Id of the field.", completed=a_field)]
AsOf = Annotated[
    Text,
    option(
        "--as-of",
        "DATE",
        "As it stood on this day (2026-07-07 or 7/7/2026). Default: today.",
    ),
]
As = Annotated[Format, typer.Option("--format", help="How to print the result.")]
AsScreen = Annotated[Screen, typer.Option("--format", help="How to print the result.")]
Only = Annotated[
    Texts,
    option(
        "--field",
        "ID",
        "Only this field, in more detail. May be given more than once.",
        completed=a_field,
    ),
]
Every = Annotated[bool, typer.Option("--all", help="Also the fields that need nothing.")]
EveryLine = Annotated[bool, typer.Option("--all", help="Every line, not 24 at most.")]
Notes = Annotated[
    bool, typer.Option("--notes", help="Print the notes on dates, weather, thresholds and values.")
]
LONGEST = 14
Days = Annotated[int, typer.Option("--days", metavar="N", help=f"Days in a row, 1 to {LONGEST}.")]


def now() -> dt.datetime:
    """Local time to the second; this is the only place where the clock is read."""
    return dt.datetime.now().replace(microsecond=0)


def day(text: Text, *, option: str = "--as-of") -> dt.date:
    """Parse a date option; today when it was not given."""
    from stagecast.base.dates import ACCEPTED_DATES, parse_date
    from stagecast.base.errors import SeasonProblems

    if text is None:
        return now().date()
    try:
        return parse_date(text)[0]
    except ValueError as error:
        raise SeasonProblems.of(option, str(error), found=text, accepted=ACCEPTED_DATES) from error


def check_days(days: int) -> None:
    """Refuse a number of days that no route is planned for."""
    from stagecast.base.errors import SeasonProblems

    if not 1 <= days <= LONGEST:
        message = "no route is planned for so many days"
        accepted = f"a whole number from 1 to {LONGEST}"
        raise SeasonProblems.of("--days", message, found=str(days), accepted=accepted)


def open_season(folder: Path, *, as_of: dt.date, routed: bool = False) -> SeasonDay:
    """A season on a day; what an earlier command of the morning worked out is not done again.

    ``routed``: whether its own route will be shown.
    """
    from stagecast.week.kept import season_on
    from stagecast.words.notes import threshold_note

    def noted(season: SeasonDay) -> None:
        threshold_note(season.loaded, season.knowledge)

    return season_on(folder, as_of=as_of, shelf=users_shelf(), routed=routed, also=noted)


def users_shelf() -> Shelf | None:
    """Where the user's commands keep what they worked out; None where nothing is to be kept."""
    from stagecast.base.shelf import Shelf, users_folder

    place = users_folder(os.environ, home=_home(), system=sys.platform)
    return None if place is None else Shelf(place)


def _home() -> Path | None:
    try:
        return Path.home()
    except RuntimeError:  # a user of a scheduler may have none
        return None


@contextmanager
def progress() -> Iterator[None]:
    """On a terminal, say on stderr that work goes on, where it takes longer than a second."""
    if not sys.stderr.isatty():
        yield
        return
    said = threading.Timer(PATIENCE_S, lambda: print("working ...", end="\r", file=sys.stderr))
    said.daemon = True
    said.start()
    try:
        yield
    finally:
        said.cancel()
        print(" " * len("working ..."), end="\r", file=sys.stderr)


PATIENCE_S = 1.0
"""Seconds without a word that nobody minds."""


def print_json(document: dict[str, Any]) -> None:
    """Print a document."""
    from stagecast.files.season import to_json

    typer.echo(to_json(document), nl=False)


def print_document(
    document: dict[str, Any], rows: Iterable[dict[str, Any]], columns: Sequence[str], form: Format
) -> None:
    """Print a document as JSON, or its rows as CSV."""
    from stagecast.files.season import to_csv

    if form is Format.json:
        print_json(document)
    else:
        typer.echo(to_csv(rows, columns), nl=False)
