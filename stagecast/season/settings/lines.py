"""season.toml line by line: settings that stand there, settings that could, and a line changed.

A setting that is not made stands in the file as a remark, ``# fields_per_day = 8``. Taking the mark
away makes it; nothing else of the file is touched.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

_SETTING = re.compile(r"(\s*)(#\s*)?([A-Za-z0-9_-]+)(\s*=\s*)(\S.*?)\s*")
_SECTION = re.compile(r"\s*\[+\s*([^\]]+?)\s*\]+\s*(?:#.*)?")
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


def setting_lines(text: str) -> list[SettingLine]:
    """The settings of a file in its order; what stands on several lines is left out."""
    found: list[SettingLine] = []
    section, inside = "", False
    remarks: list[str] = []
    for number, line in enumerate(text.split("\n"), start=1):
        plain = line.rstrip("\r")
        was_inside = inside
        inside ^= (plain.count('"""') + plain.count("'''")) % 2 == 1
        if was_inside or inside:
            remarks = []
        elif head := _SECTION.fullmatch(plain):
            section = head[1]
        elif (parts := _parts(plain)) is not None:
            kind, shown = _shown(parts.value)
            told = not parts.mark, " ".join(remarks)
            found.append(SettingLine(number, section, parts.key, kind, shown, *told))
            remarks = []
        elif remark := _REMARK.fullmatch(plain):
            remarks.append(remark[1].strip())
        else:
            remarks = []
    return found


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
        else:
            lines[number - 1] = f"{parts.indent}# {line[len(parts.indent) :]}"
    return "\n".join(lines)


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
