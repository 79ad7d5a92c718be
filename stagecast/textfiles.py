"""Tables as spreadsheets save them: byte-order marks, semicolons, blank lines, stray quotes.

:func:`read_rows` turns any file into rows plus problems and never raises for bad content.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from stagecast.errors import Problem

_AS_UTF8 = "save it as 'CSV UTF-8' and try again"
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_QUOTED = re.compile(r'"[^"]*"')


@dataclass(frozen=True, slots=True)
class Rows:
    """A table as text.

    Attributes
    ----------
    header : tuple of str
        Column names, lower case, blanks stripped; nameless columns are left out.
    rows : list of (int, dict)
        Line number (from 1, header included) and column name -> cell, blanks stripped. Only rows
        with the right number of cells; the others are among ``problems``.
    delimiter : str
        ``,`` or ``;`` or a tab.
    problems : tuple of Problem
        What could not be read. When the file as a whole cannot be, header and rows are empty.
    """

    header: tuple[str, ...]
    rows: list[tuple[int, dict[str, str]]]
    delimiter: str
    problems: tuple[Problem, ...]

    @property
    def decimal_comma(self) -> bool:
        """Whether ``12,5`` may be a number here: only where the comma separates nothing."""
        return self.delimiter == ";"


def read_rows(path: Path, *, label: str) -> Rows:
    """Read a table with a header line.

    Parameters
    ----------
    path : pathlib.Path
        Anything may stand there, also nothing or a folder.
    label : str
        The file's name as a person would say it, for problems (``"fields.csv"``).

    Returns
    -------
    Rows
        Blank lines, and lines of empty cells only, are skipped wherever they stand.

    Notes
    -----
    Rows longer than the header are accepted when the surplus cells are blank, as spreadsheets
    leave them; any other difference in the number of cells is a problem.
    """
    text, problem = _read_text(path, label=label)
    if problem is not None:
        return Rows((), [], ",", (problem,))
    delimiter = _delimiter(text)
    problems: list[Problem] = []
    lines = _cells(text, delimiter, label=label, problems=problems)
    first = next(lines, None)
    if first is None:
        if not problems:
            problems.append(Problem(label, "the file is empty", accepted="a line of column names"))
        return Rows((), [], delimiter, tuple(problems))

    names = _names(first[1])
    header_line = first[0]
    for name in sorted({n for n in names if n and names.count(n) > 1}):
        problems.append(Problem(label, "this column name stands twice", header_line, name))
    rows: list[tuple[int, dict[str, str]]] = []
    for line, cells in lines:
        if len(cells) < len(names) or any(cells[len(names) :]):
            problems.append(
                Problem(
                    label,
                    "wrong number of cells",
                    line,
                    found=str(len(cells)),
                    accepted=f"{len(names)}, as in the header",
                )
            )
            continue
        row = dict(zip(names, cells, strict=False))
        row.pop("", None)
        rows.append((line, row))
    header = tuple(name for name in names if name)
    return Rows(header, rows, delimiter, fold_repeats(problems))


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """Read one finite number.

    Parameters
    ----------
    text : str
        Plain decimal digits, optionally signed or with an exponent.
    decimal_comma : bool
        Also accept ``12,5``; pass :attr:`Rows.decimal_comma`.

    Raises
    ------
    ValueError
        With a reason, for anything else: words, units, ``nan``, ``inf``, ``1e999``, ``1_000``.
    """
    text = text.strip()
    if _DECIMAL_COMMA.fullmatch(text):
        if not decimal_comma:
            raise ValueError("a decimal comma is read only in files separated by semicolons")
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        raise ValueError("not a number")
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("too large a number")
    return value


def fold_repeats(problems: Iterable[Problem], *, keep: int = 5) -> tuple[Problem, ...]:
    """Keep the first ``keep`` of one kind of problem in a file; say how many more there are.

    The kind is file, column, message and doubt. A file with the wrong decimal sign has a
    problem on every line, and thousands of equal sentences hide all others.
    """
    kept: list[Problem] = []
    seen: dict[tuple[str, str | None, str, bool], list[int | None]] = {}
    for problem in problems:
        kind = (problem.file, problem.column, problem.message, problem.doubtful)
        lines = seen.setdefault(kind, [])
        lines.append(problem.line)
        if len(lines) <= keep:
            kept.append(problem)
    for (file, column, message, doubtful), lines in seen.items():
        more = len(lines) - keep
        if more > 0:
            until = f", the last on line {lines[-1]}" if lines[-1] is not None else ""
            text = f"the same {more} more time(s){until}: {message}"
            kept.append(Problem(file, text, column=column, doubtful=doubtful))
    return tuple(kept)


def _read_text(path: Path, *, label: str) -> tuple[str, Problem | None]:
    """Return the file's text, or the reason why it has none."""
    if path.is_dir():
        return "", Problem(label, "this is a folder, not a file")
    if not path.exists():
        return "", Problem(label, "there is no such file")
    if not path.is_file():
        return "", Problem(label, "this is not an ordinary file")
    try:
        raw = path.read_bytes()
    except OSError as error:
        return "", Problem(label, f"cannot be read ({error.strerror})")
    return _decode(raw, label=label)


def _decode(raw: bytes, *, label: str) -> tuple[str, Problem | None]:
    """Decode UTF-8, or name what the bytes look like instead."""
    if raw.startswith(b"PK\x03\x04"):
        problem = Problem(label, "this is a spreadsheet workbook, not CSV", next_step=_AS_UTF8)
        return "", problem
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


def _cells(
    text: str, delimiter: str, *, label: str, problems: list[Problem]
) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and stripped cells of every row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            # After a quote that never closes nothing below can be trusted, so reading stops.
            problems.append(
                Problem(
                    label,
                    f"cannot be split into cells ({error})",
                    line,
                    next_step="look for a quotation mark without its partner; "
                    "the rows below it were not read",
                )
            )
            return
        cells = [cell.strip() for cell in row]
        if any(cells):
            yield line, cells


def _names(cells: list[str]) -> list[str]:
    """Column names in lower case, without the nameless columns at the end."""
    names = [" ".join(cell.lower().split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    return names
