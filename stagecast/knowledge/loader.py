"""Read ``knowledge/*.toml`` once, check it, and hand out one frozen object."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from stagecast.base.errors import KnowledgeError, Problem
from stagecast.knowledge.quantities import Provenance
from stagecast.knowledge.references import written_references
from stagecast.knowledge.rules import Knowledge


def _table(path: Traversable, *, folder: str = "") -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise KnowledgeError([Problem(f"{folder}{path.name}", str(error))]) from error


@cache
def load() -> Knowledge:
    """Return the whole of ``knowledge/``, validated.

    Raises
    ------
    KnowledgeError
        When a file is not TOML, does not fit its model, or names a source, a region, a sampling
        method or another pest that is not there.
    """
    root = files("stagecast.knowledge")
    files_of_pests = sorted((root / "pests").iterdir(), key=lambda path: path.name)
    pests = {
        path.name.removesuffix(".toml"): _table(path, folder="pests/")
        for path in files_of_pests
        if path.name.endswith(".toml")
    }
    windows = _table(root / "windows.toml")
    raw = {
        "sources": _table(root / "sources.toml"),
        "regions": _table(root / "regions.toml"),
        "neighbors": _table(root / "neighbors.toml"),
        "borders": _table(root / "borders.toml"),
        "areas": _table(root / "areas.toml"),
        "groups": _table(root / "groups.toml"),
        "ranks": _table(root / "ranks.toml")["ranks"],
        "sweeps": _table(root / "sweeps.toml"),
        "soybean": _table(root / "soybean.toml"),
        "weather": _table(root / "weather.toml"),
        "water": _table(root / "water.toml"),
        "fields": _table(root / "fields.toml"),
        "windows": windows["window"],
        "stops": _table(root / "stops.toml").get("stops", []),
        "sampling": {entry["id"]: entry for entry in _table(root / "sampling.toml")["sampling"]},
        "looks": _table(root / "looks.toml"),
        "revisit": _table(root / "revisit.toml"),
        "alerts": _table(root / "alerts.toml"),
        "timing": _table(root / "timing.toml"),
        "traps": _table(root / "traps.toml"),
        "decisions": _table(root / "decisions.toml"),
        "stand": _table(root / "stand.toml"),
        "waiting": _table(root / "waiting.toml"),
        "workday": _table(root / "workday.toml"),
        "pests": pests,
    }
    try:
        knowledge = Knowledge.model_validate(tuples(raw))
    except ValidationError as error:
        raise KnowledgeError([_fault(detail) for detail in error.errors()]) from error
    if problems := [*_other_ids(knowledge), *_unknown_sources(knowledge), *_unresolved(knowledge)]:
        raise KnowledgeError(problems)
    return knowledge


_PLAINLY = {"missing": "this key is missing", "extra_forbidden": "there is no such key"}


def _fault(detail: ErrorDetails) -> Problem:
    value = detail["input"] if detail["type"] != "missing" else None
    found = str(value) if isinstance(value, (str, int, float)) else None
    return _problem(detail["loc"], _PLAINLY.get(detail["type"], detail["msg"]), found=found)


def _problem(place: Sequence[int | str], message: str, *, found: str | None = None) -> Problem:
    """A problem at a place in the whole: the file, and the key in it."""
    if place[0] == "pests" and len(place) > 1:
        file, key = f"pests/{place[1]}.toml", place[2:]
    else:
        file, key = f"{place[0]}.toml" if place else "", place[1:]
    return Problem(file, message, column=".".join(map(str, key)) or None, found=found)


def tuples(value: Any) -> Any:
    """Turn TOML arrays into tuples: the models are frozen and strict."""
    if isinstance(value, list):
        return tuple(tuples(item) for item in value)
    if isinstance(value, dict):
        return {key: tuples(item) for key, item in value.items()}
    return value


def _other_ids(knowledge: Knowledge) -> Iterator[Problem]:
    """Pest files whose names are not their ids."""
    for name, pest in knowledge.pests.items():
        if pest.id != name:
            yield _problem(("pests", name, "id"), "the id is the file's name", found=pest.id)


def _unknown_sources(knowledge: Knowledge) -> Iterator[Problem]:
    for place, item in provenances(knowledge):
        if item.source not in knowledge.sources:
            key = (*place.replace("[", ".").replace("]", "").split("."), "source")
            yield _problem(key, "there is no such source in sources.toml", found=item.source)


def _unresolved(knowledge: Knowledge) -> Iterator[Problem]:
    """What pest files name and is not there, sources aside."""
    for name, pest in knowledge.pests.items():
        for each in written_references(pest.model_dump(), knowledge):
            if each.what != "source" and not each.resolves:
                message = f"there is no such {each.what}"
                yield _problem(("pests", name, *each.key), message, found=each.id)


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
