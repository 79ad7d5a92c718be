"""What a model accepts under each of its keys, in words for a person."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from types import MappingProxyType, NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo


@cache
def accepted_text(model: type[BaseModel]) -> MappingProxyType[str, str]:
    """Dotted key -> what is accepted there, for every key of a model and of those inside it."""
    return MappingProxyType(dict(_keys(model, "")))


def _keys(model: type[BaseModel], above: str) -> Iterator[tuple[str, str]]:
    for name, field in model.model_fields.items():
        kind, several = _kind(field.annotation)
        key = above + name
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
