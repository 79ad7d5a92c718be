"""Tables as spreadsheets save them: byte-order marks, semicolons, blank lines, stray quotes.

:func:`open_table` turns any file into rows plus problems and never raises for bad content.
"""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
import math
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from stagecast.base.cells import as_it_was
from stagecast.base.dates import ACCEPTED_DATES, parse_date
from stagecast.base.errors import Problem, fold_repeats
from stagecast.base.textfiles import read_bytes, steered_by_none, unseen_character

LARGEST_TABLE_BYTES = 50_000_000

_AS_UTF8 = "save it as 'CSV UTF-8' and try again"
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_YES_NO = {word: answer for answer, words in ((True, "yes y true x 1"), (False, "no n false 0"))
           for word in words.split()}  # fmt: skip
_QUOTED = re.compile(r'"[^"]*"')


@dataclass(slots=True)
class TableRow:
    """One row as text; every fault found while its cells are read is kept in ``problems``.

    Attributes
    ----------
    file: file name for problems.
    line: line number from 1, header included.
    cells: column name -> cell, blanks stripped.
    decimal_comma: whether ``12,5`` is a number in this file.
    field_id: named in every problem of the row once known.
    us_order: becomes True when a date was read as month/day/year.
    """

    file: str
    line: int
    cells: dict[str, str]
    decimal_comma: bool = False
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

    def text(self, column: str) -> str:
        """Text of a cell; "" when blank or absent."""
        return self.cells.get(column, "")

    def plain_text(self, column: str) -> str:
        """The same of a cell that says anything in a person's words, with nothing that steers."""
        return steered_by_none(self.text(column))

    def required(self, column: str, *, accepted: str) -> str | None:
        """Text of a cell that must say something; None when it does not.

        A column that is not in the file at all was told with the header, not on every line.
        """
        text = self.cells.get(column)
        if text == "":
            self.fault(column, "this cell must not be blank", accepted=accepted)
        return text or None

    def name(self, column: str, *, accepted: str, longest: int) -> str | None:
        """A name that fits a line, every character of it seen; None when blank or wrong."""
        name = self.required(column, accepted=accepted)
        if name is None:
            return None
        unseen = unseen_character(name)
        if unseen is not None:
            what = f"a line break or invisible character (U+{ord(unseen):04X})"
            self.fault(column, f"{what} stands in this name", accepted=accepted)
        elif len(name) > longest:
            self.fault(column, f"this name has {len(name)} characters", accepted=accepted)
        else:
            return name
        return None

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

    def yes_or_no(self, column: str) -> bool | None:
        """Whether a cell says yes; None when blank, absent or neither."""
        text = self.text(column)
        answer = _YES_NO.get(text.casefold())
        if text and answer is None:
            self.fault(column, "neither yes nor no", accepted="yes, no, or blank")
        return answer

    def date(self, column: str, *, year: int | None) -> dt.date | None:
        """Date of a cell, in the year if one is given; None when blank, absent or wrong."""
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


@dataclass(slots=True)
class Table:
    """A table of a person's; what is wrong with it is gathered while its rows are read.

    Attributes
    ----------
    file: file name for problems.
    header: column names, lower case, blanks stripped; nameless columns are left out. Empty when the
        file as a whole cannot be read.
    delimiter: ``,`` or ``;`` or a tab; the comma of ``12,5`` is a decimal one only beside ``;``.
    problems: of the file and its header, and of every row that was read.
    us_order: whether any date was read as month/day/year.
    torn: whether any line could not be read as a row.
    """

    file: str
    header: tuple[str, ...] = ()
    delimiter: str = ","
    problems: list[Problem] = field(default_factory=list)
    us_order: bool = False
    torn: bool = False
    lines: list[tuple[int, dict[str, str]]] = field(default_factory=list, repr=False)

    def rows(self) -> Iterator[TableRow]:
        """Each row with as many cells as the header; its problems are kept when it is done."""
        for line, cells in self.lines:
            row = TableRow(self.file, line, cells, self.delimiter == ";")
            yield row
            self.us_order |= row.us_order
            self.problems += row.problems

    def told(self) -> tuple[Problem, ...]:
        """All problems by line, those of the file first and many alike folded."""
        return fold_repeats(sorted(self.problems, key=lambda problem: problem.line or 0))

    def check_header(self, required: Collection[str], optional: Collection[str] = ()) -> None:
        """Compare the header with what the table needs.

        A missing column is an error and names the column that was probably meant; any other
        unknown column is a doubt, because it is ignored.
        """
        if not self.header:
            return
        unknown = [name for name in self.header if name not in (*required, *optional)]
        for name in required:
            if name in self.header:
                continue
            alike = [one for one in unknown if one[:1] == name[:1] or one in name or name in one]
            close = difflib.get_close_matches(name, alike, n=1, cutoff=0.5)
            if close:
                unknown.remove(close[0])
                step = f"rename the column {close[0]!r}"
            else:
                step = "add it to the header line"
            message = "this column is missing"
            self.problems.append(Problem(self.file, message, column=name, next_step=step))
        for name in unknown:
            message = "unknown column, ignored"
            self.problems.append(Problem(self.file, message, found=name, doubtful=True))

    def refuse_beyond(self, most: int, *, next_step: str) -> None:
        """Read no row of a table that has more of them than make sense, and say so once."""
        rows = len(self.lines)
        if rows > most:
            message, accepted = f"{rows:,} rows are more than make sense here", f"up to {most:,}"
            problem = Problem(self.file, message, accepted=accepted, next_step=next_step)
            self.problems.append(problem)
            self.lines, self.torn = [], True

    def also_called(self, name: str, other: str) -> None:
        """Read a column under another name that people give it, where it has no column of its own.

        Its problems name it as it is called in the file's description.
        """
        if name in self.header or self.header.count(other) != 1:
            return
        self.header = tuple(name if one == other else one for one in self.header)
        for _, cells in self.lines:
            cells[name] = cells.pop(other)

    def refuse_both(self, one: str, other: str, *, message: str) -> None:
        """Two columns that say the same are an error where both are there."""
        if one in self.header and other in self.header:
            step = f"keep one of {one} and {other}"
            self.problems.append(Problem(self.file, message, column=other, next_step=step))


def open_table(path: Path, *, label: str) -> Table:
    """Read a table with a header line.

    Parameters
    ----------
    path: anything may stand there, also nothing or a folder.
    label: the file's name as a person would say it, for problems (``"fields.csv"``).

    Notes
    -----
    Blank lines, and lines of empty cells only, are skipped wherever they stand. Rows longer than
    the header are accepted when the surplus cells are blank, as spreadsheets leave them; any
    other difference in the number of cells is a problem.
    """
    raw, problem = read_bytes(path, label=label, largest_bytes=LARGEST_TABLE_BYTES)
    if problem is not None:
        return Table(label, problems=[problem], torn=True)
    return table_of(raw, label=label)


def table_of(raw: bytes, *, label: str) -> Table:
    """The same of what a file holds."""
    table = Table(label)
    text, problem = _decode(raw, label=label)
    if problem is not None:
        table.problems.append(problem)
        table.torn = True
        return table
    table.delimiter = _delimiter(text)
    lines = _cells(text, table)
    first = next(lines, None)
    if first is None:
        if not table.problems:
            accepted = "a line of column names"
            table.problems.append(Problem(label, "the file is empty", accepted=accepted))
        table.torn = True
        return table
    header_line, cells = first
    names = _names(cells)
    for name in sorted(name for name, times in Counter(names).items() if name and times > 1):
        message = "this column name stands twice"
        table.problems.append(Problem(label, message, header_line, found=name))
    table.header = tuple(name for name in names if name)
    for line, cells in lines:
        if len(cells) < len(names) or any(cells[len(names) :]):
            message, accepted = "wrong number of cells", f"{len(names)}, as in the header"
            found = str(len(cells))
            table.problems.append(Problem(label, message, line, found=found, accepted=accepted))
            continue
        row = dict(zip(names, cells, strict=False))
        row.pop("", None)
        table.lines.append((line, row))
    table.torn = bool(table.problems)
    return table


def open_optional(
    folder: Path,
    *,
    file: str,
    starts: str,
    holds: str,
) -> Table:
    """Read a table that need not be there; a file of nearly its name is doubted.

    Parameters
    ----------
    file: the table's right name.
    starts: how the names of files begin that are probably meant as it, in small letters.
    holds: what it holds, as in ``if it holds your visits``.
    """
    path = folder / file
    if path.exists() or path.is_symlink():
        return open_table(path, label=file)
    names = sorted(other.name for other in folder.iterdir())
    near = [name for name in names if name.strip().casefold().startswith(starts)]
    table = Table(file)
    if near:
        message = "there is no such file, but one with a similar name, which is not read"
        step = f"if it holds {holds}, save it as CSV under the name {file}"
        table.problems.append(Problem(file, message, found=near[0], next_step=step, doubtful=True))
    return table


def blank_like(row: TableRow, cells: Mapping[str, str] | None = None) -> TableRow:
    """A row of other cells in the place of one."""
    return TableRow(row.file, row.line, dict(cells or {}), row.decimal_comma)


@lru_cache(maxsize=1 << 14)  # temperatures and rain to a tenth come again and again
def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """Read one finite number.

    Parameters
    ----------
    text: plain decimal digits, optionally signed or with an exponent.
    decimal_comma: also accept ``12,5``; in a file whose delimiter is ``;``.

    Raises
    ------
    ValueError
        With a reason, for anything else: words, units, ``nan``, ``inf``, ``1e999``, ``1_000``.
    """
    text = text.strip()
    if "," in text and _DECIMAL_COMMA.fullmatch(text):
        if not decimal_comma:
            raise ValueError("a decimal comma is read only in files separated by semicolons")
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        raise ValueError("not a number")
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("too large a number")
    return value


def _decode(raw: bytes, *, label: str) -> tuple[str, Problem | None]:
    """Decode UTF-8, or name what the bytes look like instead."""
    if raw.startswith(b"PK\x03\x04"):
        problem = Problem(label, "this is a spreadsheet workbook, not CSV", next_step=_AS_UTF8)
        return "", problem
    if raw.startswith(b"SQLite format 3"):
        step = "`stagecast log export DIR` makes a table of a log"
        return "", Problem(label, "this is a database, not CSV", next_step=step)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "", Problem(label, "this text is UTF-16, not UTF-8", next_step=_AS_UTF8)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # utf-8-sig counts from after the byte-order mark; look the byte up in what it was given.
        given, start = error.object, error.start
        line = given[:start].count(b"\n") + 1
        return "", Problem(
            label,
            "this text is not UTF-8",
            line,
            found=f"byte 0x{given[start]:02X}",
            next_step=_AS_UTF8,
        )
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        return "", Problem(label, "this is not text", line, found="byte 0x00", next_step=_AS_UTF8)
    return text, None


def _delimiter(text: str) -> str:
    """Take the separator that stands most often in the first line with anything in it."""
    first = next((line for line in io.StringIO(text, newline=None) if line.strip()), "")
    bare = _QUOTED.sub("", first)
    return max(",;\t", key=bare.count)


def _cells(text: str, table: Table) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and stripped cells of every row that is not blank.

    An apostrophe that keeps a cell from being run is no part of it (:mod:`stagecast.base.cells`).
    """
    apostrophes = "'" in text
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=table.delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            # After a quote that never closes nothing below can be trusted, so reading stops.
            message = f"cannot be split into cells ({error})"
            step = "look for a quotation mark without its partner; the rows below it were not read"
            table.problems.append(Problem(table.file, message, line, next_step=step))
            return
        cells = [cell.strip() for cell in row]
        if apostrophes:
            cells = list(map(as_it_was, cells))
        if any(cells):
            yield line, cells


def _names(cells: list[str]) -> list[str]:
    """Column names in lower case, without the nameless columns at the end."""
    names = [" ".join(cell.lower().split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    return names
