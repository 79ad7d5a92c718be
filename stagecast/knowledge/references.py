"""What a pest file points at in other files: sources, sampling methods, regions, other pests."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from stagecast.knowledge.loader import provenances
from stagecast.knowledge.models import Knowledge
from stagecast.knowledge.pest import Pest

YOURS = "yours"
"""Region and source of thresholds that a consultant set himself."""

KeyPath = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """One id in a pest file that names something elsewhere.

    Attributes
    ----------
    key : tuple of str
        Path of the key, positions in lists as digits from 0.
    what : str
        What should be found, in words.
    id : str
        What the file says.
    known : collection of str
        The ids there are.
    """

    key: KeyPath
    what: str
    id: str
    known: Collection[str]

    @property
    def resolves(self) -> bool:
        """Whether the id is among those there are."""
        return self.id in self.known


def references(pest: Pest, knowledge: Knowledge) -> Iterator[Reference]:
    """Every id in a pest that must be found in the rest of the knowledge."""
    for place, item in provenances(pest):
        key = (*re.findall(r"[^.\[\]]+", place), "source")
        yield Reference(key, "source", item.source, knowledge.sources)
    for i, activity in enumerate(pest.activities):
        key = ("activities", str(i), "sample")
        yield Reference(key, "sampling method", activity.sample, knowledge.sampling)
    wide = {**knowledge.regions, **knowledge.areas, YOURS: ""}
    for i, threshold in enumerate(pest.thresholds):
        yield Reference(("thresholds", str(i), "region"), "region", threshold.region, wide)
    for i, arrival in enumerate(pest.arrivals):
        key = ("arrivals", str(i), "region")
        yield Reference(key, "region", arrival.region, {**knowledge.regions, **knowledge.areas})
    for code in pest.presence.regions:
        yield Reference(("presence", "regions"), "region", code, knowledge.regions)
    if pest.counted_with is not None:
        others = [other for other in knowledge.pests if other != pest.id]
        yield Reference(("counted_with",), "pest", pest.counted_with, others)
