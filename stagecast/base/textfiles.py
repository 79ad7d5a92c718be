"""Tables as spreadsheets save them: byte-order marks, semicolons, blank lines, stray quotes.

:func:`read_rows` turns any file into rows plus problems and never raises for bad content.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.errors import Problem

LARGEST_TABLE_BYTES = 50_000_000

_AS_UTF8 = "save it as 'CSV UTF-8' and try again"
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_DIGITS = re.compile(r"[0-9]+")
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
    raw, problem = read_bytes(path, label=label, largest_bytes=LARGEST_TABLE_BYTES)
    text = ""
    if problem is None:
        text, problem = _decode(raw, label=label)
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
    for name in sorted(name for name, times in Counter(names).items() if name and times > 1):
        message = "this column name stands twice"
        problems.append(Problem(label, message, header_line, found=name))
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

    The kind is file, column, message and doubt; numbers in the message do not count, since
    they may name another line in each. A file with the wrong decimal sign has a problem on
    every line, and thousands of equal sentences hide all others. The sentence that counts the
    rest stands where the first of them would, and has its line, so that it is never told before
    those that were kept.
    """
    kept: list[list[Problem]] = []
    seen: dict[tuple[str, str | None, str, bool], list[Problem]] = {}
    for problem in problems:
        message = _DIGITS.sub("0", problem.message)
        alike = seen.setdefault((problem.file, problem.column, message, problem.doubtful), [])
        alike.append(problem)
        if len(alike) <= keep:
            kept.append([problem])
        elif len(alike) == keep + 1:
            kept.append(alike)
    return tuple(each[0] if len(each) == 1 else _folded(each[keep:]) for each in kept)


def _folded(alike: Sequence[Problem]) -> Problem:
    """One sentence for several problems of a kind."""
    first, last = alike[0], alike[-1]
    text = f"the same {len(alike)} more time(s){_on_lines(alike)}: {last.message}"
    return Problem(last.file, text, first.line, last.column, doubtful=last.doubtful)


def _on_lines(problems: Sequence[Problem], *, most: int = 20) -> str:
    """Name the lines, or the first and the last of very many."""
    lines = [str(problem.line) for problem in problems if problem.line is not None]
    if len(lines) > most:
        lines[most - 1 : -1] = ["..."]
    return f", on line {', '.join(lines)}" if lines else ""


def read_bytes(
    path: Path, *, label: str, largest_bytes: int, missing_step: str | None = None
) -> tuple[bytes, Problem | None]:
    """Return what a file holds, or the reason why it cannot be read.

    Parameters
    ----------
    path : Path
    label : str
        The file's name as a person would say it, for problems.
    largest_bytes : int
        A larger file is refused.
    missing_step : str, optional
        What the person can do when the file is not there.

    Notes
    -----
    Only an ordinary file is opened: a pipe may never begin, and a device never end.
    """
    step = None
    try:
        if path.is_dir():
            message = "this is a folder, not a file"
        elif not path.exists() and path.is_symlink():
            message, step = "this is a link that leads nowhere", "put the file itself in its place"
        elif not path.exists():
            message, step = "there is no such file", missing_step
        elif not path.is_file():
            message = "this is not an ordinary file"
        else:
            with path.open("rb") as stream:
                raw = stream.read(largest_bytes + 1)
            if len(raw) <= largest_bytes:
                return raw, None
            message = f"larger than {largest_bytes / 1e6:g} MB, far too large for such a file"
    except OSError as error:
        message = f"cannot be read ({error.strerror})"
    return b"", Problem(label, message, next_step=step)


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


EMOJI_JOINER = "\u200d"


def clean(text: str) -> str:
    """Text a terminal may print: control, line and invisible characters become visible marks.

    The joiner of emoji is left. What a person typed is kept in files as it is; only the screen
    is protected.
    """
    return "".join("\ufffd" if _unsafe(char) else char for char in text)


def _unsafe(char: str) -> bool:
    category = unicodedata.category(char)
    return char != EMOJI_JOINER and (category.startswith("C") or category in ("Zl", "Zp"))
