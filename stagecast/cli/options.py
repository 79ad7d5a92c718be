"""Options that several commands share."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer


class Format(StrEnum):
    """How results are printed."""

    table = "table"
    json = "json"
    csv = "csv"


class Screen(StrEnum):
    """How a page is printed that is no table of rows."""

    table = "table"
    json = "json"


def option(*names: str, help: str, metavar: str | None = None) -> Any:
    """An option whose default is not worth showing."""
    return typer.Option(*names, metavar=metavar, help=help, show_default=False)


def argument(*, metavar: str, help: str) -> Any:
    """A word of a command, without a default to show."""
    return typer.Argument(metavar=metavar, help=help, show_default=False)


Folder = Annotated[Path, argument(metavar="DIR", help="The season folder.")]
FieldId = Annotated[str, argument(metavar="FIELD", help="Id of the field.")]
AsOf = Annotated[
    str | None,
    option(
        "--as-of",
        metavar="DATE",
        help="Forecast as it stood on this day (2026-07-07 or 7/7/2026). Default: today.",
    ),
]
On = Annotated[
    str | None,
    option(
        "--on",
        metavar="DATE",
        help="Say how likely each stage is on this day. Default: the day of the forecast.",
    ),
]
As = Annotated[Format, typer.Option("--format", help="How to print the result.")]
Only = Annotated[
    list[str] | None,
    option(
        "--field",
        metavar="ID",
        help="Only this field, in more detail. May be given more than once.",
    ),
]


def now() -> dt.datetime:
    """Local time to the second; this is the only place where the clock is read."""
    return dt.datetime.now().replace(microsecond=0)


def day(text: str | None, *, option: str) -> dt.date:
    """Parse a date option; today when it was not given."""
    from stagecast.base.dates import ACCEPTED_DATES, parse_date
    from stagecast.base.errors import Problem, SeasonProblems

    if text is None:
        return now().date()
    try:
        return parse_date(text)[0]
    except ValueError as error:
        problem = Problem(option, str(error), found=text, accepted=ACCEPTED_DATES)
        raise SeasonProblems([problem]) from error
