"""Sections of TOML files held against their models: what is accepted, and what is wrong."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType, NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from stagecast.base.errors import Problem
from stagecast.season.settings.toml import (
    KeyPath,
    KeyPlace,
    TomlFile,
    as_typed,
    dotted,
    is_huge,
    kind_of,
)

MOST_TOLD = 30


class Section(BaseModel):
    """Base of all settings: frozen, strict, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)


def as_tuple(items: object) -> object:
    """A list of the file as the model wants it; anything else is left for the model to refuse."""
    return tuple(items) if isinstance(items, list) else items


@cache
def accepted_text(model: type[BaseModel]) -> MappingProxyType[str, str]:
    """Dotted key -> what is accepted there, for every key of a model and of those inside it."""
    return MappingProxyType(dict(_keys(model, "")))


def _keys(model: type[BaseModel], above: str) -> Iterator[tuple[str, str]]:
    for name, field in model.model_fields.items():
        kind, several = _kind(field.annotation)
        key = above + (field.alias or name)
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield key, f"[[{key}]] sections" if several else f"a [{key}] section"
            yield from _keys(kind, f"{key}.")
        else:
            text = _text(kind, field)
            yield key, f"a list, each {text}" if several else text


def _kind(annotation: Any) -> tuple[Any, bool]:
    """The type that a person fills in, and whether in a list; None as an option is left out."""
    if get_origin(annotation) in (Union, UnionType):
        (annotation,) = (part for part in get_args(annotation) if part is not NoneType)
    if get_origin(annotation) is tuple:
        return _kind(get_args(annotation)[0])[0], True
    if hasattr(annotation, "__metadata__"):
        return _kind(annotation.__origin__)
    return annotation, False


def _text(kind: Any, field: FieldInfo) -> str:
    if get_origin(kind) is Literal:
        return "one of " + ", ".join(f'"{choice}"' for choice in get_args(kind))
    limits = {
        name: value
        for part in field.metadata
        for name in ("pattern", "ge", "gt", "le")
        if (value := getattr(part, name, None)) is not None
    }
    if "pattern" in limits:
        return 'lower-case letters, digits and hyphens in quotes, such as "stink-bugs"'
    if kind is str:
        return "text in quotes"
    words = {"ge": "from {}", "gt": "above {}", "le": "to {}"}
    ends = [words[name].format(f"{limits[name]:g}") for name in words if name in limits]
    number = "a whole number" if kind is int else "a number"
    return " ".join([number, *ends])


def complaints(
    error: ValidationError,
    toml: TomlFile,
    *,
    accepted: Mapping[str, str],
    below: KeyPath = (),
) -> list[Problem]:
    """One problem per complaint; after thirty, how many more there are.

    Parameters
    ----------
    accepted: dotted key -> what would have been accepted, for every key there is.
    below: the section of the file that was checked; ``accepted`` counts from there.
    """
    details = _without_echoes(error.errors(include_url=False))
    found = _Translator(toml, accepted, below).problems(details[:MOST_TOLD])
    if len(details) > MOST_TOLD:
        found.append(Problem(toml.label, f"{len(details) - MOST_TOLD} more faults in this file"))
    return found


def _without_echoes(details: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out that a list is too short where that only counts what is wrong within it."""
    within = {d["loc"][:i] for d in details for i in range(len(d["loc"]))}
    return [d for d in details if d["type"] != "too_short" or d["loc"] not in within]


@dataclass(frozen=True, slots=True)
class _Translator:
    toml: TomlFile
    accepted: Mapping[str, str]
    below: KeyPath

    def problems(self, details: list[ErrorDetails]) -> list[Problem]:
        """One problem per complaint; a misspelt key is not told a second time as missing."""
        missing = {_key(d) for d in details if d["type"] == "missing"}
        unknown = [_key(d) for d in details if d["type"] == "extra_forbidden"]
        meant = {key: _nearest(key, missing) for key in unknown}
        problems = []
        for detail in details:
            key = _key(detail)
            place = (*self.below, *detail["loc"])
            if detail["type"] == "extra_forbidden":
                problems.append(self._unknown(place, key, meant[key]))
            elif detail["type"] != "missing":
                problems.append(self._wrong(place, key, detail))
            elif key not in meant.values():
                message, accepted = "this setting is required and is missing", dotted(key)
                problems.append(
                    self.toml.fault(place, message, accepted=self.accepted.get(accepted))
                )
        return problems

    def _unknown(self, place: KeyPlace, key: KeyPath, meant: KeyPath | None) -> Problem:
        names = {tuple(name.split(".")) for name in self.accepted}
        nearest = meant or _nearest(key, {name for name in names if name != key[: len(name)]})
        siblings = [name for name in self.accepted if name.split(".")[:-1] == list(key[:-1])]
        step = _meant(key, nearest) if nearest else None
        message = "there is no such setting"
        return self.toml.fault(place, message, accepted=", ".join(siblings), next_step=step)

    def _wrong(self, place: KeyPlace, key: KeyPath, detail: ErrorDetails) -> Problem:
        value, kind = detail["input"], detail["type"]
        accepted = self.accepted.get(dotted(key))
        if kind == "value_error":
            message = str(detail["ctx"]["error"])
            # A section whose parts do not fit together says so itself.
            accepted = None if isinstance(value, dict) else accepted
        elif kind == "int_from_float" or (kind.endswith("_type") and not is_huge(value)):
            message = f"this cannot be {kind_of(value)}"
        else:
            message = "this value is not accepted"
        return self.toml.fault(place, message, found=as_typed(value), accepted=accepted)


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
