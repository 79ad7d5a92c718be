"""Read ``knowledge/*.toml`` once, check it, and hand out one frozen object."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from pydantic import BaseModel, ValidationError

from stagecast.base.errors import KnowledgeError
from stagecast.knowledge.quantities import Provenance
from stagecast.knowledge.rules import Knowledge


def _table(path: Traversable) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise KnowledgeError(path.name, str(error)) from error


@cache
def load() -> Knowledge:
    """Return the whole of ``knowledge/``, validated.

    Raises
    ------
    KnowledgeError
        When a file is not TOML, does not fit its model, or cites an unknown source.
    """
    root = files("stagecast.knowledge")
    pests = [_table(p) for p in sorted((root / "pests").iterdir(), key=lambda p: p.name)
             if p.name.endswith(".toml")]  # fmt: skip
    windows = _table(root / "windows.toml")
    raw = {
        "sources": _table(root / "sources.toml"),
        "regions": _table(root / "regions.toml"),
        "neighbors": _table(root / "neighbors.toml"),
        "areas": _table(root / "areas.toml"),
        "sweeps": _table(root / "sweeps.toml"),
        "soybean": _table(root / "soybean.toml"),
        "weather": _table(root / "weather.toml"),
        "fields": _table(root / "fields.toml"),
        "windows": windows["window"],
        "sampling": {entry["id"]: entry for entry in _table(root / "sampling.toml")["sampling"]},
        "revisit": _table(root / "revisit.toml"),
        "timing": _table(root / "timing.toml"),
        "traps": _table(root / "traps.toml"),
        "decisions": _table(root / "decisions.toml"),
        "waiting": _table(root / "waiting.toml"),
        "workday": _table(root / "workday.toml"),
        "pests": {pest["id"]: pest for pest in pests},
    }
    try:
        knowledge = Knowledge.model_validate(tuples(raw))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise KnowledgeError(place, first["msg"]) from error
    _sources_resolve(knowledge)
    return knowledge


def tuples(value: Any) -> Any:
    """Turn TOML arrays into tuples: the models are frozen and strict."""
    if isinstance(value, list):
        return tuple(tuples(item) for item in value)
    if isinstance(value, dict):
        return {key: tuples(item) for key, item in value.items()}
    return value


def _sources_resolve(knowledge: Knowledge) -> None:
    for place, item in provenances(knowledge):
        if item.source not in knowledge.sources:
            raise KnowledgeError(place, f"unknown source id {item.source!r}")


def provenances(model: BaseModel, place: str = "") -> list[tuple[str, Provenance]]:
    """List every value with provenance below ``model``, each with its dotted place."""
    found: list[tuple[str, Provenance]] = []
    if isinstance(model, Provenance):
        found.append((place, model))
    for name in type(model).model_fields:
        found.extend(_below(getattr(model, name), f"{place}.{name}" if place else name))
    return found


def _below(value: object, place: str) -> list[tuple[str, Provenance]]:
    if isinstance(value, BaseModel):
        return provenances(value, place)
    found: list[tuple[str, Provenance]] = []
    if isinstance(value, dict):
        for key, item in value.items():
            found.extend(_below(item, f"{place}.{key}"))
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            found.extend(_below(item, f"{place}[{index}]"))
    return found
