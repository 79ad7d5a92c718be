"""TOML files that people write: their keys, values and lines, and slips of writing."""

from __future__ import annotations

import datetime as dt
import re
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stagecast.base.errors import Problem
from stagecast.base.textfiles import read_bytes

LARGEST_BYTES = 1_000_000
MOST_DOTS = 500
MOST_DEEP = 20
"""Names of sections that are longer are looked at no further for the lines of their keys."""

KeyPath = tuple[str, ...]
KeyPlace = tuple[str | int, ...]
"""Path of a key; of several sections alike, the place from 0 stands after their name."""


_PART = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_KEY = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_KEY})\s*\]")
_SETTING = re.compile(rf"\s*({_KEY})\s*=")
_AT_LINE = re.compile(r"\s*\(at line ([0-9]+), column [0-9]+\)$")
_AT_END = " (at end of document)"


@dataclass(frozen=True, slots=True)
class TomlFile:
    """What a TOML file says, and where.

    Attributes
    ----------
    label: the file's name as a person would say it, for problems.
    data: the parsed file; empty when it cannot be parsed.
    lines: path of a key -> line number from 1.
    problem: why the file cannot be parsed.
    """

    label: str
    data: dict[str, Any]
    lines: dict[KeyPath, int]
    problem: Problem | None = None

    def line_of(self, path: KeyPath) -> int | None:
        """Line of the key, or of the nearest enclosing key that has one."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return None

    def fault(
        self,
        key: KeyPlace,
        message: str,
        *,
        found: str | None = None,
        accepted: str | None = None,
        next_step: str | None = None,
        doubtful: bool = False,
    ) -> Problem:
        """A problem at a key, which is named without its place in a list."""
        return Problem(
            self.label,
            message,
            self.line_of(tuple(map(str, key))),
            dotted(tuple(part for part in key if isinstance(part, str))) or None,
            found=found,
            accepted=accepted,
            next_step=next_step,
            doubtful=doubtful,
        )


def dotted(key: KeyPath) -> str:
    """Write a path as a person does; a key with control characters is written escaped."""
    name = ".".join(key)
    return name if name.isprintable() else ascii(name)


def read_toml(path: Path, *, label: str, missing_step: str) -> TomlFile:
    """Read a TOML file; never raises for bad content.

    Parameters
    ----------
    label: the file's name as a person would say it, for problems.
    missing_step: what the person can do when the file is not there.
    """
    text, problem = _read_text(path, label=label, missing_step=missing_step)
    if problem is not None:
        return TomlFile(label, {}, {}, problem)
    deep = _too_deep(text)
    if deep is not None:
        return TomlFile(label, {}, {}, Problem(label, "a name with too many dots", deep))
    try:
        data = tomllib.loads(text)
    except RecursionError:
        return TomlFile(label, {}, {}, Problem(label, "brackets are nested too deeply"))
    except ValueError as error:
        return TomlFile(label, {}, {}, _syntax_problem(error, text, label=label))
    return TomlFile(label, data, key_lines(text))


def _too_deep(text: str) -> int | None:
    """The first line whose name has more dots than sense; the parser would take minutes over it."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.partition("=")[0].count(".") > MOST_DOTS:
            return number
    return None


def key_lines(text: str) -> dict[KeyPath, int]:
    """Map the path of every key to the first line it stands on.

    Of sections that stand several times, such as ``[[thresholds]]``, each key is also found with
    the position, from 0: ``("thresholds", "1", "value")``. Keys inside an inline table are not
    found; their table is.
    """
    lines: dict[KeyPath, int] = {}
    sections = _Sections()
    inside_text = False
    for number, line in enumerate(text.split("\n"), start=1):
        opens = line.count('"""') + line.count("'''")
        if not inside_text:
            key: KeyPath = ()
            if match := _HEADER.match(line):
                sections.enter(_split_key(match[2]), one_more=match[1] == "[[")
            elif match := _SETTING.match(line):
                key = _split_key(match[1])
            if match:
                lines.setdefault(sections.plain + key, number)
                lines.setdefault(sections.numbered + key, number)
        inside_text ^= opens % 2 == 1
    return lines


class _Sections:
    """The section that a line stands in, without and with its position among its like."""

    def __init__(self) -> None:
        self.plain: KeyPath = ()
        self.numbered: KeyPath = ()
        self._counts: dict[KeyPath, int] = {}

    def enter(self, key: KeyPath, *, one_more: bool) -> None:
        """Begin a section; ``one_more`` for the next of several."""
        self.plain, self.numbered = key[:MOST_DEEP], ()
        for part in self.plain[:-1]:
            self._step(part)
        self._step(self.plain[-1], one_more=one_more)

    def _step(self, part: str, *, one_more: bool = False) -> None:
        self.numbered += (part,)
        if one_more:
            self._counts[self.numbered] = self._counts.get(self.numbered, 0) + 1
        if self.numbered in self._counts:
            self.numbered += (str(self._counts[self.numbered] - 1),)


def _split_key(key: str) -> KeyPath:
    return tuple(part.strip("\"'") for part in re.findall(_PART, key))


def _read_text(path: Path, *, label: str, missing_step: str) -> tuple[str, Problem | None]:
    """Return the file's text, or the reason why it has none."""
    raw, problem = read_bytes(
        path, label=label, largest_bytes=LARGEST_BYTES, missing_step=missing_step
    )
    if problem is not None:
        return "", problem
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        step = "save it as UTF-8 text and try again"
        return "", Problem(label, "this text is not UTF-8", next_step=step)
    if "\r" in text and "\n" not in text:
        step = "save it with the line ends of Windows, Linux or macOS"
        return "", Problem(label, "its lines end as old Macs ended them (CR)", next_step=step)
    return text, None


def _syntax_problem(error: ValueError, text: str, *, label: str) -> Problem:
    """Turn the parser's complaint into a place, the line as typed and a next step."""
    if not isinstance(error, tomllib.TOMLDecodeError):  # Python's own limit on digits
        return Problem(label, "cannot be read as TOML (a number has too many digits)")
    lines = text.rstrip().split("\n")
    reason = str(error)
    number = len(lines)
    if match := _AT_LINE.search(reason):
        number = min(int(match[1]), len(lines))
        reason = reason[: match.start()]
    reason = reason.removesuffix(_AT_END)
    typed = lines[number - 1].strip()
    if reason.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate")):
        message, step = "the same setting or section is written twice", "keep one of the two"
    else:
        message = f"cannot be read as TOML ({reason[:1].lower()}{reason[1:]})"
        step = _next_step(typed)
    return Problem(label, message, number, found=typed or None, next_step=step)


def _next_step(typed: str) -> str:
    """Guess the slip from the line as typed."""
    if any(mark in typed for mark in "“”‘’"):
        return "use straight quotes, not curly ones"
    if re.fullmatch(rf"{_KEY}\s*=\s*[A-Za-z][\w -]*(#.*)?", typed):
        return 'put text in quotes, as in region = "TN"'
    if typed.count('"') % 2:
        return "a quotation mark has no partner"
    if re.match(rf"{_KEY}\s*:", typed):
        return "write name = value, with an equals sign"
    return "every line reads name = value, with text in straight quotes"


def kind_of(value: object) -> str:
    """Name a TOML type in plain words."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, dict):
        return "a section"
    names: list[tuple[type | tuple[type, ...], str]] = [
        (str, "text in quotes"),
        (int, "a whole number"),
        (float, "a number with decimals"),
        ((list, tuple), "a list"),
        ((dt.date, dt.time), "a date or time"),
    ]
    return next((name for kind, name in names if isinstance(value, kind)), "this kind of value")


def is_huge(value: object) -> bool:
    """Whether a whole number is too large to be any other: its kind is then not the fault."""
    return isinstance(value, int) and abs(value) > 2**63


def as_typed(value: object) -> str | None:
    """Show a value as TOML writes it; sections are too long to show."""
    if isinstance(value, dict):
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(str(as_typed(item)) for item in value) + "]"
    try:
        return str(value)
    except ValueError:  # Python writes out no longer ones; TOML can hold them as 0x...
        return f"a number of more than {sys.get_int_max_str_digits()} digits"
