"""blocked.csv: days and hours in which a grower wants nobody in a field. The file is optional."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.dates import ACCEPTED_TIME, DAY_S, parse_time, said_time
from stagecast.base.errors import Problem
from stagecast.base.tables import TableRow, open_optional
from stagecast.base.textfiles import unseen_character
from stagecast.season.tables.cells import read_field_id

BLOCKED_FILE = "blocked.csv"
COLUMNS = ("field_id", "first_date", "last_date", "from_time", "to_time")
OPTIONAL_COLUMNS = ("why",)
LONGEST_WHY = 200

_ACCEPTED_TIMES = f"{ACCEPTED_TIME}; both times blank for the whole day"


@dataclass(frozen=True, slots=True)
class Blocked:
    """A time in which a field must not be entered.

    Attributes
    ----------
    first, last: both included.
    from_s, to_s: on each of these days, seconds after midnight; 0 and 86,400 for the whole day.
    why: in the person's own words; may be empty.
    line: line in blocked.csv.
    """

    field_id: str
    first: dt.date
    last: dt.date
    from_s: int
    to_s: int
    why: str
    line: int


@dataclass(frozen=True, slots=True)
class BlockedFile:
    """What could be read of blocked.csv: faultless rows, problems, and the order of dates."""

    blocked: tuple[Blocked, ...]
    problems: tuple[Problem, ...]
    us_order: bool


def read_blocked(
    folder: Path, *, year: int | None, field_ids: Collection[str] | None
) -> BlockedFile:
    """Read blocked.csv when there is one; every problem in one pass.

    Parameters
    ----------
    year: the season's year; None leaves years unchecked.
    field_ids: the ids in fields.csv; None leaves ids unchecked, when fields.csv could not be read.

    Returns
    -------
    BlockedFile
        Times of one field may overlap.
    """
    table = open_optional(folder, file=BLOCKED_FILE, starts="blocked", holds="blocked times")
    table.check_header(COLUMNS, OPTIONAL_COLUMNS)
    rows = (_blocked(row, year=year, field_ids=field_ids) for row in table.rows())
    blocked = tuple(one for one in rows if one is not None)
    return BlockedFile(blocked, table.told(), table.us_order)


def _blocked(
    row: TableRow, *, year: int | None, field_ids: Collection[str] | None
) -> Blocked | None:
    """Read one row; None when anything in it is wrong."""
    field_id = read_field_id(row, field_ids)
    first, last = _days(row, year)
    from_s, to_s = _times(row)
    why = _why(row)
    if row.refused or not field_id or first is None:
        return None
    return Blocked(field_id, first, last or first, from_s, to_s, why, row.line)


def _days(row: TableRow, year: int | None) -> tuple[dt.date | None, dt.date | None]:
    """Read the first day and the last; a blank last day is the first one."""
    row.required("first_date", accepted="the first blocked day")
    first = row.date("first_date", year=year)
    last = row.date("last_date", year=year)
    if first is not None and last is not None and last < first:
        accepted = "the same day or a later one, or blank for one day"
        row.fault("last_date", f"before the first_date {first}", accepted=accepted)
    return first, last


def _times(row: TableRow) -> tuple[int, int]:
    """Read the two times; the whole day where both are blank or anything is wrong."""
    from_s, to_s = _time(row, "from_time"), _time(row, "to_time")
    for column, other in (("from_time", "to_time"), ("to_time", "from_time")):
        if row.cells.get(column) == "" and row.cells.get(other):
            row.fault(column, f"blank beside a {other}", accepted=_ACCEPTED_TIMES)
    if from_s is None or to_s is None:
        return 0, DAY_S
    if to_s <= from_s:
        message = f"not after the from_time {said_time(from_s)}"
        step = "a night needs a line for each of its two days; 24:00 ends a day"
        row.fault("to_time", message, next_step=step)
    return from_s, to_s


def _time(row: TableRow, column: str) -> int | None:
    text = row.cells.get(column)
    if not text:
        return None
    try:
        return parse_time(text)
    except ValueError as error:
        row.fault(column, str(error), accepted=_ACCEPTED_TIMES)
        return None


def _why(row: TableRow) -> str:
    """Read the reason, in one line whatever the cell holds."""
    why = " ".join(row.text("why").split())
    unseen = unseen_character(why)
    if unseen is not None:
        message = f"an invisible character (U+{ord(unseen):04X}) stands in this text"
        row.fault("why", message, next_step="type it again")
    elif len(why) > LONGEST_WHY:
        message = f"this text has {len(why)} characters"
        row.fault("why", message, accepted=f"up to {LONGEST_WHY} characters")
    return why
