"""season.toml line by line: settings that stand there, settings that could, and a line changed.

A setting that is not made stands in the file as a remark, ``# fields_per_day = 8``, its section
perhaps too, ``# [[scouts]]``. Taking the marks away makes it; nothing else of the file is touched.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

_SETTING = re.compile(r"(\s*)(#\s*)?([A-Za-z0-9_-]+)(\s*=\s*)(\S.*?)\s*")
_SECTION = re.compile(r"\s*\[+\s*([^\]]+?)\s*\]+\s*(?:#.*)?")
_MARKED_SECTION = re.compile(r"\s*#\s*(\[+\s*[^\]]+?\s*\]+)\s*")
_REMARK = re.compile(r"\s*#\s?(.*)")

Kind = Literal["text", "list", "plain"]
"""``plain``: a number, or true or false."""


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting on one line.

    Attributes
    ----------
    line: from 1.
    section: "" before the first one.
    of: which one of several sections of a name, by the ``name`` in it: a scout's; else "".
    head: line of its section's head where that is a remark too; else 0.
    shown: its value as a person types it: text without quotes, words with commas between them.
    made: whether it holds; else the line is a remark.
    remark: the remarks right above it, in one text.
    """

    line: int
    section: str
    key: str
    kind: Kind
    shown: str
    made: bool
    remark: str
    of: str = ""
    head: int = 0


def setting_lines(text: str) -> list[SettingLine]:
    """The settings of a file in its order; what stands on several lines is left out."""
    return [one for one in _read(text) if isinstance(one, SettingLine)]


def elsewhere(text: str) -> list[tuple[int, str]]:
    """Settings that take more than a line, or a table: line and name, as ``scouts Ann home``."""
    return [one for one in _read(text) if not isinstance(one, SettingLine)]


def _read(text: str) -> Iterator[SettingLine | tuple[int, str]]:
    made = marked = _Section()
    inside = False
    remarks: list[str] = []
    for number, line in enumerate(text.split("\n"), start=1):
        plain = line.rstrip("\r")
        was_inside = inside
        inside ^= (plain.count('"""') + plain.count("'''")) % 2 == 1
        if was_inside:
            remarks = []
        elif head := _SECTION.fullmatch(plain):
            made = marked = _Section(head[1])
        elif head := _MARKED_SECTION.fullmatch(plain):
            named = _SECTION.fullmatch(head[1])
            marked = _Section(named[1] if named else "", number)
        elif not inside and (parts := _parts(plain)) is not None:
            section = marked if parts.mark else made
            kind, shown = _shown(parts.value)
            if parts.key == "name" and not parts.mark:
                section.of = shown
            yield SettingLine(
                number, section.name, parts.key, kind, shown, not parts.mark, " ".join(remarks),
                section.of, section.head if parts.mark else 0,
            )  # fmt: skip
            remarks = []
        elif (found := _SETTING.fullmatch(plain)) and not found[2]:
            yield number, " ".join(filter(None, (made.name, made.of, found[3])))
            remarks = []
        elif remark := _REMARK.fullmatch(plain):
            remarks.append(remark[1].strip())
        else:
            remarks = []


def with_settings(text: str, typed: Mapping[int, str]) -> str:
    """The file with other values on some lines; a blank one is taken back to a remark.

    ``typed``: line -> what a person typed, as ``shown``.
    """
    kinds = {one.line: one for one in setting_lines(text)}
    lines = text.split("\n")
    for number, said in typed.items():
        one = kinds.get(number)
        if one is None or said.strip() == (one.shown if one.made else ""):
            continue
        line = lines[number - 1]
        end = "\r" if line.endswith("\r") else ""
        parts = _parts(line.rstrip("\r"))
        assert parts is not None
        if said.strip():
            value = _written(said.strip(), one.kind)
            lines[number - 1] = f"{parts.indent}{one.key}{parts.equals}{value}{parts.rest}{end}"
            if one.head:
                lines[one.head - 1] = _unmarked(lines[one.head - 1])
        else:
            lines[number - 1] = f"{parts.indent}# {line[len(parts.indent) :]}"
    return "\n".join(lines)


def with_scout(text: str, name: str) -> str:
    """The file with one more scout at its end; hours and days of their own are remarks."""
    end = "\r\n" if "\r\n" in text else "\n"
    begun = text if text.endswith("\n") else text + end
    return begun + end.join(("", "[[scouts]]", f"name = {_quoted(name)}", *OWN, ""))


OWN = (
    '# working_days = ["mon", "tue"]',
    '# starts = "06:30"',
    '# ends = "15:00"',
    '# lunch = "11:30"',
    "# lunch_min = 30",
)
"""What a scout may have of their own, with examples."""


def _unmarked(head: str) -> str:
    found = _MARKED_SECTION.fullmatch(head.rstrip("\r"))
    return head if found is None else f"{found[1]}{head[len(head.rstrip(chr(13))) :]}"


@dataclass(slots=True)
class _Section:
    """Where settings stand; ``head`` is the line of a head that is a remark."""

    name: str = ""
    head: int = 0
    of: str = ""


@dataclass(frozen=True, slots=True)
class _Parts:
    indent: str
    mark: str
    key: str
    equals: str
    value: object
    rest: str


def _parts(line: str) -> _Parts | None:
    """A line taken apart; None where it is no setting by itself."""
    found = _SETTING.fullmatch(line)
    if found is None:
        return None
    indent, mark, key, equals, said = found.groups()
    marks = [at for at, char in enumerate(said) if char == "#"]
    for at in (*marks, len(said)):
        value = said[:at].rstrip()
        try:
            read = tomllib.loads(f"x = {value}")["x"]
        except (ValueError, RecursionError):
            continue
        if isinstance(read, dict):
            return None
        return _Parts(indent, mark or "", key, equals, read, said[len(value) :])
    return None


def _shown(value: object) -> tuple[Kind, str]:
    if isinstance(value, str):
        return "text", value
    if isinstance(value, list) and all(isinstance(one, str) and "," not in one for one in value):
        return "list", ", ".join(value)
    if isinstance(value, bool):
        return "plain", "true" if value else "false"
    return "plain", str(value) if not isinstance(value, list) else json.dumps(value, default=str)


def _written(said: str, kind: Kind) -> str:
    """A value as the file has it; what is no plain value is written as text, and checked so."""
    if kind == "list":
        words = [word.strip() for word in said.split(",") if word.strip()]
        return f"[{', '.join(map(_quoted, words))}]"
    if kind == "plain":
        try:
            tomllib.loads(f"x = {said}\n")
        except (ValueError, RecursionError):
            return _quoted(said)
        if "#" not in said and "\n" not in said:
            return said
    return _quoted(said)


def _quoted(text: str) -> str:
    """A text between quotes; JSON's escapes are TOML's, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
