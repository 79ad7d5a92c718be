"""Cells of the tables people write: what is read, what is refused, and how that is said."""

from __future__ import annotations

import datetime as dt
import difflib
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from stagecast.base.dates import ACCEPTED_DATES, parse_date
from stagecast.base.errors import Problem
from stagecast.base.textfiles import Rows, parse_number
from stagecast.knowledge.texts import unseen_character
from stagecast.season.settings.pest_names import PestNames, did_you_mean, folded
from stagecast.season.settings.toml import KeyPath, TomlFile, as_typed, is_huge, kind_of


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


@dataclass(slots=True)
class FieldIds:
    """The ids met so far in fields.csv.

    Attributes
    ----------
    longest : int
        Longest id accepted, in characters.
    lines : dict
        Every id, also one that was refused -> the first line it stands on.
    """

    longest: int
    lines: dict[str, int] = field(default_factory=dict)
    _alike: dict[str, int] = field(default_factory=dict)

    def check(self, row: RowCells) -> None:
        """Check the field_id and remember its line; a good one is named in the row's problems."""
        accepted = (
            f"a short name of your own, up to {self.longest} characters, different in every row"
        )
        field_id = row.required("field_id", accepted=accepted)
        if field_id is None:
            return
        unseen = unseen_character(field_id)
        if unseen is not None:
            what = f"a line break or invisible character (U+{ord(unseen):04X})"
            row.fault("field_id", f"{what} stands in this name", accepted=accepted)
        elif len(field_id) > self.longest:
            row.fault("field_id", f"this name has {len(field_id)} characters", accepted=accepted)
        elif field_id in self.lines:
            first = self.lines[field_id]
            message = f"the same field_id stands on line {first} and line {row.line}"
            row.fault("field_id", message, accepted=accepted)
        else:
            row.field_id = field_id
            self._doubt_alike(row, field_id)
        self.lines.setdefault(field_id, row.line)

    def _doubt_alike(self, row: RowCells, field_id: str) -> None:
        """Doubt an id that reads like another one."""
        read = "".join(unicodedata.normalize("NFKC", field_id).casefold().split())
        first = self._alike.setdefault(read, row.line)
        if first != row.line:
            message = f"reads like the field_id on line {first}: the same field twice?"
            row.fault("field_id", message, doubtful=True)


MOST_TOLD = 30


def complaints(
    error: ValidationError,
    toml: TomlFile,
    *,
    label: str,
    accepted: Mapping[str, str],
    below: KeyPath = (),
) -> list[Problem]:
    """One problem per complaint; after thirty, how many more there are.

    Parameters
    ----------
    error : ValidationError
    toml : TomlFile
        Where the lines of keys are known.
    label : str
        The file's name as a person would say it.
    accepted : mapping
        Dotted key -> what would have been accepted, for every key there is.
    below : tuple of str
        The section of the file that was checked; ``accepted`` counts from there.
    """
    details = _without_echoes(error.errors(include_url=False))
    found = _Translator(toml, label, accepted, below).problems(details[:MOST_TOLD])
    if len(details) > MOST_TOLD:
        found.append(Problem(label, f"{len(details) - MOST_TOLD} more faults in this file"))
    return found


def _without_echoes(details: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out that a list is too short where that only counts what is wrong within it."""
    within = {d["loc"][:i] for d in details for i in range(len(d["loc"]))}
    return [d for d in details if d["type"] != "too_short" or d["loc"] not in within]


def in_file_order(problems: list[Problem]) -> tuple[Problem, ...]:
    """Problems of one file by line; those without a line come last."""
    return tuple(sorted(problems, key=lambda p: (p.line is None, p.line or 0)))


def dotted(key: KeyPath) -> str:
    """Write a path as a person does; a key with control characters is written escaped."""
    name = ".".join(key)
    return name if name.isprintable() else ascii(name)


class _Translator:
    def __init__(
        self, toml: TomlFile, label: str, accepted: Mapping[str, str], below: KeyPath
    ) -> None:
        self.toml = toml
        self.label = label
        self.accepted = accepted
        self.below = below

    def problems(self, details: list[ErrorDetails]) -> list[Problem]:
        """One problem per complaint; a misspelt key is not told a second time as missing."""
        missing = {_key(d) for d in details if d["type"] == "missing"}
        unknown = [_key(d) for d in details if d["type"] == "extra_forbidden"]
        meant = {key: _nearest(key, missing) for key in unknown}
        told = set(meant.values())
        problems = []
        for detail in details:
            key = _key(detail)
            if detail["type"] == "extra_forbidden":
                problems.append(self._unknown(key, detail, meant[key]))
            elif detail["type"] != "missing":
                problems.append(self._wrong(key, detail))
            elif key not in told:
                problems.append(self._absent(key, detail))
        return problems

    def _unknown(self, key: KeyPath, detail: ErrorDetails, meant: KeyPath | None) -> Problem:
        names = {tuple(name.split(".")) for name in self.accepted}
        nearest = meant or _nearest(key, {name for name in names if name != key[: len(name)]})
        siblings = [name for name in self.accepted if name.split(".")[:-1] == list(key[:-1])]
        return Problem(
            self.label,
            "there is no such setting",
            self._line(detail),
            self._column(key),
            accepted=", ".join(siblings),
            next_step=_meant(key, nearest) if nearest else None,
        )

    def _absent(self, key: KeyPath, detail: ErrorDetails) -> Problem:
        return Problem(
            self.label,
            "this setting is required and is missing",
            self._line(detail, of=-1),
            self._column(key),
            accepted=self.accepted.get(dotted(key)),
        )

    def _wrong(self, key: KeyPath, detail: ErrorDetails) -> Problem:
        value = detail["input"]
        kind = detail["type"]
        if kind == "value_error":
            message = str(detail["ctx"]["error"])
        elif kind == "int_from_float" or (kind.endswith("_type") and not is_huge(value)):
            message = f"this cannot be {kind_of(value)}"
        else:
            message = "this value is not accepted"
        return Problem(
            self.label,
            message,
            self._line(detail),
            self._column(key) or None,
            found=as_typed(value),
            # A section whose parts do not fit together says so itself.
            accepted=None if isinstance(value, dict) and kind == "value_error"
            else self.accepted.get(dotted(key)),
        )  # fmt: skip

    def _line(self, detail: ErrorDetails, *, of: int | None = None) -> int | None:
        """Line of the key in its own section among several alike."""
        place = tuple(str(part) for part in detail["loc"][:of])
        return self.toml.line_of((*self.below, *place))

    def _column(self, key: KeyPath) -> str:
        return dotted((*self.below, *key))


def _key(detail: ErrorDetails) -> KeyPath:
    """Path of the setting, without the position in a list."""
    return tuple(part for part in detail["loc"] if isinstance(part, str))


def _nearest(key: KeyPath, names: set[KeyPath]) -> KeyPath | None:
    """Take the setting that was probably meant: same name elsewhere first, then similar names.

    Of several with the same name, the one in the fewest sections.
    """
    same_name = sorted((n for n in names if n[-1] == key[-1]), key=lambda n: (len(n), n))
    if same_name:
        return same_name[0]
    by_text = {dotted(name): name for name in sorted(names)}
    close = difflib.get_close_matches(dotted(key), by_text, n=1, cutoff=0.6)
    return by_text[close[0]] if close else None


def _meant(key: KeyPath, nearest: KeyPath) -> str:
    """Ask whether another setting was meant, and say where it belongs when not here."""
    question = f"did you mean {dotted(nearest)}?"
    if key[:-1] == nearest[:-1]:
        return question
    where = f"under [{dotted(nearest[:-1])}]" if nearest[:-1] else "above the first [section]"
    return f"{question} It belongs {where}"


def pest_of(row: RowCells, names: PestNames | None) -> str | None:
    """Id of the pest; the text itself, without capitals, where pests are not known."""
    text = row.required("pest", accepted="a pest" if names is None else names.accepted)
    if text is None or names is None:
        return None if text is None else folded(text)
    found = names.find(text)
    if len(found) == 1:
        return found[0]
    if found:
        row.fault("pest", "several pests are called so", accepted=", ".join(found))
    else:
        near = did_you_mean(names.near(text)) or None
        row.fault("pest", "no pest of this name is known", accepted=names.accepted, next_step=near)
    return None
