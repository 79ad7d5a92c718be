"""traps.csv: what hung traps caught, check by check, and the first eggs or adults seen.

The file is optional. Unlike the other tables it may reach back over past years: they tell how
well heat or the plain date would have timed a flight here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from stagecast.base.errors import Problem
from stagecast.base.tables import TableRow, open_optional
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import BEYOND_REASON
from stagecast.knowledge.texts import LONGEST_NAME
from stagecast.season.settings.pest_names import PestNames, folded
from stagecast.season.tables.cells import read_pest, read_place
from stagecast.season.tables.places import (
    ACCEPTED_DEGREES,
    GLOBE,
    PlaceLimits,
)

TRAPS_FILE = "traps.csv"
COLUMNS = ("trap", "date", "pest", "catch")
OPTIONAL_COLUMNS = ("what", "latitude", "longitude")
OLD_NAME = "station"
"""What the column ``trap`` was called, and may still be."""

What = Literal["catch", "eggs", "adults"]

_WHATS: dict[str, What] = {
    "": "catch", "catch": "catch",
    "first egg": "eggs", "first eggs": "eggs",
    "first adult": "adults", "first adults": "adults",
}  # fmt: skip
_ACCEPTED_WHAT = "blank or catch, first eggs or first egg, first adults or first adult"
_ACCEPTED_CATCH = "insects caught since the check before, 0 or more"
_ACCEPTED_TRAP = f"a name of your own for the trap, up to {LONGEST_NAME} characters"


@dataclass(frozen=True, slots=True)
class Catch:
    """One check of one trap, or the day on which a person saw the first of a pest.

    Attributes
    ----------
    trap: name of the trap.
    date: in the season's year or before it.
    count: insects since the check before; None where a person only saw that they are there.
    what : {"catch", "eggs", "adults"}
    latitude, longitude: decimal degrees, where this line gives them.
    line: line in traps.csv.
    """

    trap: str
    date: dt.date
    pest: str
    count: float | None
    what: What
    latitude: float | None
    longitude: float | None
    line: int


@dataclass(frozen=True, slots=True)
class TrapsFile:
    """What could be read of traps.csv: faultless rows, problems, and the order of dates."""

    catches: tuple[Catch, ...]
    problems: tuple[Problem, ...]
    us_order: bool


def read_traps(
    folder: Path,
    *,
    year: int | None,
    pests: Mapping[str, Pest] | None,
    places: PlaceLimits = GLOBE,
    most: int | None = None,
    unread: Collection[str] = (),
) -> TrapsFile:
    """Read traps.csv when there is one; every problem in one pass.

    Parameters
    ----------
    year: the season's year, the last one accepted; None leaves years unchecked.
    pests: the pests known; None leaves names as they are typed, when the pests could not be read.
    places: where a trap may hang.
    most: rows from which on the file is not read; None for any number.
    unread: names of pests whose own file is wrong, which is told there and not here again.
    """
    table = open_optional(folder, file=TRAPS_FILE, starts="trap", holds="your catches")
    name = OLD_NAME if OLD_NAME in table.header else "trap"
    table.check_header((name, *COLUMNS[1:]), (*OPTIONAL_COLUMNS, "trap"))
    message = "the trap is named twice, under trap and under station"
    table.refuse_both("trap", OLD_NAME, message=message)
    if most is not None:
        table.refuse_beyond(most, next_step="keep the years that your own traps were out")
    names = None if pests is None else PestNames.of(pests, unread=unread)
    told = _EarlierLines()
    catches: list[Catch] = []
    for row in table.rows():
        catch = _catch(row, year=year, names=names, places=places)
        if catch is not None and told.agrees(row, catch):
            catches.append(catch)
    return TrapsFile(tuple(catches), table.told(), table.us_order)


@dataclass(slots=True)
class _EarlierLines:
    """What earlier lines said, for lines that say it again or say otherwise."""

    checks: dict[tuple[str, dt.date, str, What], int] = field(default_factory=dict)
    places: dict[str, tuple[float, float, int]] = field(default_factory=dict)
    spelled: dict[str, tuple[str, int]] = field(default_factory=dict)

    def agrees(self, row: TableRow, catch: Catch) -> bool:
        """Keep a line; False, and a fault in the row, when an earlier one contradicts it."""
        key = catch.trap, catch.date, catch.pest, catch.what
        first = self.checks.setdefault(key, catch.line)
        if first != catch.line:
            message = f"the same trap, day and pest stand on line {first} and line {catch.line}"
            row.fault("date", message, next_step="keep one of the two lines")
        name, line = self.spelled.setdefault(folded(catch.trap), (catch.trap, catch.line))
        if name != catch.trap:
            message = f"reads like the trap on line {line}: the same trap twice?"
            row.fault(_column(row), message, doubtful=True)
        if catch.latitude is not None and catch.longitude is not None:
            here = catch.latitude, catch.longitude
            *there, line = self.places.setdefault(catch.trap, (*here, catch.line))
            if tuple(there) != here:
                message = f"line {line} puts this trap at another place"
                step = "give a trap that was moved a name of its own, or correct the place"
                row.fault("latitude", message, next_step=step)
        return not row.refused


def _catch(
    row: TableRow, *, year: int | None, names: PestNames | None, places: PlaceLimits
) -> Catch | None:
    """Read one row; None when anything in it is wrong."""
    trap = row.name(_column(row), accepted=_ACCEPTED_TRAP, longest=LONGEST_NAME)
    date = _date(row, year)
    pest = read_pest(row, names)
    what = _what(row)
    count = _count(row, what)
    place = _place(row, places)
    if row.refused or not trap or date is None or not pest or what is None:
        return None
    if what == "catch" and count is None:  # the column is missing, which the header told
        return None
    latitude, longitude = place or (None, None)
    return Catch(trap, date, pest, count, what, latitude, longitude, row.line)


def _column(row: TableRow) -> str:
    """The column of the trap's name, as this file calls it."""
    return OLD_NAME if OLD_NAME in row.cells and "trap" not in row.cells else "trap"


def _date(row: TableRow, year: int | None) -> dt.date | None:
    """Read the day; past years are history, and later ones cannot have been seen."""
    row.required("date", accepted="the day of the check")
    date = row.date("date", year=None)
    if date is not None and year is not None and date.year > year:
        row.fault("date", "after the season's year", accepted=f"a date in {year} or before")
        return None
    return date


def _what(row: TableRow) -> What | None:
    text = row.text("what")
    what = _WHATS.get(" ".join(text.casefold().split()))
    if what is None:
        row.fault("what", "not a word for what a trap line tells", accepted=_ACCEPTED_WHAT)
    return what


def _count(row: TableRow, what: What | None) -> float | None:
    """Read the catch; a check needs one, and 0 is an answer where a blank is none."""
    if what == "catch" and row.cells.get("catch") == "":
        step = "write 0 when the trap was empty, and leave the line out when it was not checked"
        row.fault("catch", "this cell must not be blank", next_step=step)
    count = row.number("catch", accepted=_ACCEPTED_CATCH)
    if count is not None and count < 0:
        row.fault("catch", "a catch cannot be negative", accepted=_ACCEPTED_CATCH)
    if count is not None and count > BEYOND_REASON:
        row.fault("catch", "too large a number", accepted=_ACCEPTED_CATCH)
    if count == 0 and what in ("eggs", "adults"):
        step = "leave the line out until some are seen, or clear this cell"
        row.fault("catch", f"no first {what} were seen", next_step=step)
    return count


def _place(row: TableRow, places: PlaceLimits) -> tuple[float, float] | None:
    """Read the place where it is given; half of one is a fault."""
    given = [column for column in ("latitude", "longitude") if row.text(column)]
    for column in ("latitude", "longitude"):
        if given and column not in given:
            message = f"a place needs this beside its {given[0]}"
            row.fault(column, message, accepted=ACCEPTED_DEGREES)
    return read_place(row, places) if len(given) == 2 else None
