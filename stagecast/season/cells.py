"""One row of a season table: reading its cells and collecting what is wrong with them."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Collection
from dataclasses import dataclass, field

from stagecast.dates import ACCEPTED_DATES, parse_date
from stagecast.errors import Problem
from stagecast.textfiles import Rows, parse_number


@dataclass(slots=True)
class RowCells:
    """The cells of one row; every fault found while reading them is kept in ``problems``.

    Attributes
    ----------
    file : str
        File name for problems.
    line : int
        Line number, header included.
    cells : dict
        Column name -> cell.
    decimal_comma : bool
        Whether ``12,5`` is a number in this file.
    field_id : str or None
        Named in every problem of the row once known.
    us_order : bool
        Becomes True when a date was read as month/day/year.
    """

    file: str
    line: int
    cells: dict[str, str]
    decimal_comma: bool
    field_id: str | None = None
    us_order: bool = False
    problems: list[Problem] = field(default_factory=list)

    @property
    def refused(self) -> bool:
        """Whether the row has a fault that is more than a doubt."""
        return any(not problem.doubtful for problem in self.problems)

    def fault(
        self,
        column: str,
        message: str,
        *,
        accepted: str | None = None,
        next_step: str | None = None,
        doubtful: bool = False,
    ) -> None:
        """Keep a problem of the cell in ``column``; the cell is quoted when it says anything."""
        self.problems.append(
            Problem(
                self.file,
                message,
                self.line,
                column,
                found=self.cells.get(column) or None,
                accepted=accepted,
                next_step=next_step,
                field_id=self.field_id,
                doubtful=doubtful,
            )
        )

    def required(self, column: str, *, accepted: str) -> str | None:
        """Text of a cell that must say something; None when it does not.

        A column that is not in the file at all was told with the header, not on every line.
        """
        text = self.cells.get(column)
        if text == "":
            self.fault(column, "this cell must not be blank", accepted=accepted)
        return text or None

    def number(self, column: str, *, accepted: str) -> float | None:
        """Finite number of a cell; None when blank, absent or wrong."""
        text = self.cells.get(column)
        if not text:
            return None
        try:
            # Word processors turn a minus sign into U+2212.
            return parse_number(text.replace("\u2212", "-"), decimal_comma=self.decimal_comma)
        except ValueError as error:
            self.fault(column, str(error), accepted=accepted)
            return None

    def date(self, column: str, *, year: int | None) -> dt.date | None:
        """Date of a cell, in the season's year; None when blank, absent or wrong."""
        text = self.cells.get(column)
        if not text:
            return None
        try:
            day, us_order = parse_date(text)
        except ValueError as error:
            self.fault(column, str(error), accepted=ACCEPTED_DATES)
            return None
        self.us_order |= us_order
        if year is not None and day.year != year:
            self.fault(column, "not in the season's year", accepted=f"a date in {year}")
            return None
        return day


def header_problems(
    rows: Rows, *, label: str, required: Collection[str], optional: Collection[str] = ()
) -> list[Problem]:
    """Compare the header with what the table needs.

    A missing column is an error and names the column that was probably meant; any other unknown
    column is a doubt, because it is ignored.
    """
    unknown = [name for name in rows.header if name not in required and name not in optional]
    problems = []
    for name in required:
        if name in rows.header:
            continue
        close = difflib.get_close_matches(name, unknown, n=1, cutoff=0.5)
        if close:
            unknown.remove(close[0])
            step = f"rename the column {close[0]!r}"
        else:
            step = "add it to the header line"
        problems.append(Problem(label, "this column is missing", column=name, next_step=step))
    for name in unknown:
        problems.append(Problem(label, "unknown column, ignored", found=name, doubtful=True))
    return problems
