"""What a pest file points at in other files: sources, sampling methods, regions, other pests."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from stagecast.knowledge.rules import Knowledge

YOURS = "yours"
"""Region and source of thresholds that a consultant set himself."""

MOST_DEEP = 20
KeyPath = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """One id in a pest file that names something elsewhere.

    Attributes
    ----------
    key: path of the key, positions in lists as digits from 0.
    what: what should be found, in words.
    id: what the file says.
    known: the ids there are.
    """

    key: KeyPath
    what: str
    id: str
    known: Collection[str]

    @property
    def resolves(self) -> bool:
        """Whether the id is among those there are."""
        return self.id in self.known


def written_references(data: Mapping[str, Any], knowledge: Knowledge) -> Iterator[Reference]:
    """Every id in a pest file that the rest of the knowledge must have, as far as it is read.

    Parameters
    ----------
    data: the file, which need not fit the model: what is of another kind than it should be is
        passed over.
    """
    others = [other for other in knowledge.pests if other != data.get("id")]
    areas = {**knowledge.regions, **knowledge.areas}
    for key, text in _texts(data):
        match tuple(part for part in key if not part.isdigit()):
            case (*_, "source"):
                yield Reference(key, "source", text, knowledge.sources)
            case ("activities", "sample"):
                yield Reference(key, "sampling method", text, knowledge.sampling)
            case ("thresholds", "region") | ("arrivals", "region") | ("replaced", "region"):
                yield Reference(key, "region", text, areas)
            case ("presence" | "remarks", "regions") | ("ends" | "returns", "region"):
                yield Reference(key, "region", text, knowledge.regions)
            case ("thresholds", "weights", "pest"):
                yield Reference(key, "pest", text, knowledge.pests)
            case ("counted_with",):
                yield Reference(key, "pest", text, others)


def _texts(data: Mapping[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """Every text with its path, in order; not those that are nested beyond all sense."""
    left: list[tuple[KeyPath, object]] = [((), data)]
    while left:
        key, value = left.pop()
        if isinstance(value, str):
            yield key, value
        elif len(key) < MOST_DEEP:
            below: Iterable[tuple[object, object]] = ()
            if isinstance(value, Mapping):
                below = value.items()
            elif isinstance(value, (list, tuple)):
                below = enumerate(value)
            left += reversed([((*key, str(name)), item) for name, item in below])
