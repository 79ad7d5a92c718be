"""Which neighbors of a region are nearest to a place in it."""

from __future__ import annotations

import math
from itertools import pairwise

from stagecast.knowledge.rules import Knowledge, Points

Flat = tuple[float, float]
"""East and north of a place, degrees of latitude."""


def nearest_neighbors(
    region: str, latitude: float, longitude: float, knowledge: Knowledge
) -> tuple[str, ...]:
    """The regions that touch a region, the one whose border is nearest to a place first.

    Those as near by code. A code of no region touches none.
    """

    def away(other: str) -> tuple[float, str]:
        border = knowledge.borders.between[frozenset((region, other))]
        return _to_line((latitude, longitude), border), other

    return tuple(sorted(knowledge.neighbors.get(region, ()), key=away))


def _to_line(place: tuple[float, float], line: Points) -> float:
    """Degrees of latitude to the nearest point of a line, on a plane that touches at the place."""
    narrow = math.cos(math.radians(place[0]))
    points = [((lon - place[1]) * narrow, lat - place[0]) for lat, lon in line]
    return min(_to_segment(start, end) for start, end in pairwise(points))


def _to_segment(start: Flat, end: Flat) -> float:
    """Distance of the origin from a segment."""
    along = (end[0] - start[0], end[1] - start[1])
    length = along[0] ** 2 + along[1] ** 2
    share = -(start[0] * along[0] + start[1] * along[1]) / length if length else 0.0
    share = min(max(share, 0.0), 1.0)
    return math.hypot(start[0] + share * along[0], start[1] + share * along[1])
