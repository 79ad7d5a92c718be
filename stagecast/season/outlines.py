"""The outline of a field on the earth: its area, a point inside, and whether it crosses itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Position = tuple[float, float]
"""Longitude and latitude, decimal degrees, as GeoJSON has them."""
Ring = tuple[Position, ...]
"""Closed: the last position is the first one again."""
Polygon = tuple[Ring, ...]
"""The outer ring, then holes."""

EQUATOR_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
"""WGS 84: both by definition (NGA.STND.0036, 2014)."""
SQUARE_M_PER_ACRE = 4046.8564224

_ECCENTRICITY_2 = FLATTENING * (2 - FLATTENING)


def position_of(value: object) -> Position | None:
    """A position of a GeoJSON file; a height after it is not used. None where it is no such pair.

    A whole number may have more digits there than a float holds.
    """
    if not isinstance(value, list) or len(value) < 2:
        return None
    pair = value[:2]
    if not all(type(number) in (int, float) for number in pair):
        return None
    try:
        longitude, latitude = map(float, pair)
    except OverflowError:
        return None
    return (longitude, latitude) if math.isfinite(longitude) and math.isfinite(latitude) else None


def area_acres(polygons: Sequence[Polygon]) -> float:
    """Area of an outline, holes left out.

    Notes
    -----
    On a plane that touches the ellipsoid at the middle of each ring: for fields, which are small,
    exact to a few parts in a million.
    """
    whole = sum(_ring_m2(polygon[0]) for polygon in polygons)
    left_out = sum(_ring_m2(hole) for polygon in polygons for hole in polygon[1:])
    return (whole - left_out) / SQUARE_M_PER_ACRE


def _ring_m2(ring: Ring) -> float:
    x, y = _flat(ring, _middle(ring))
    return abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))) / 2


def point_inside(polygons: Sequence[Polygon]) -> Position:
    """A point well inside the largest polygon: its middle, or where that lies outside, beside it.

    It is the middle of the longest stretch that a line through the middle, from west to east, has
    inside.
    """
    polygon = max(polygons, key=lambda one: _ring_m2(one[0]))
    latitude = _middle(polygon[0])[1]
    crossed = sorted(
        start[0] + (latitude - start[1]) / (end[1] - start[1]) * (end[0] - start[0])
        for ring in polygon
        for start, end in pairwise(ring)
        if (start[1] > latitude) != (end[1] > latitude)
    )
    stretches = list(zip(crossed[::2], crossed[1::2], strict=False))
    if not stretches:
        return polygon[0][0]
    west, east = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
    return (west + east) / 2, latitude


def holds(polygons: Sequence[Polygon], place: Position) -> bool:
    """Whether a place lies inside: an odd number of edges is crossed on the way out."""
    lon, lat = place
    odd = False
    for polygon in polygons:
        for ring in polygon:
            for start, end in pairwise(ring):
                if (start[1] > lat) != (end[1] > lat):
                    share = (lat - start[1]) / (end[1] - start[1])
                    odd ^= lon < start[0] + share * (end[0] - start[0])
    return odd


def distance_km(polygons: Sequence[Polygon], place: Position) -> float:
    """Distance from a place to the nearest corner of an outline, km."""
    corners = [position for polygon in polygons for ring in polygon for position in ring]
    x, y = _flat(corners, place)
    return float(np.min(np.hypot(x, y))) / 1000


def reach_km(ring: Ring) -> float:
    """How far the farthest corner of a ring lies from its first, km."""
    x, y = _flat(ring, ring[0])
    return float(np.max(np.hypot(x, y))) / 1000


def crosses_itself(ring: Ring) -> bool:
    """Whether two edges of a ring that are not next to each other meet."""
    once = [there for here, there in pairwise(ring) if here != there]
    points = np.array(once, dtype=np.float64).reshape(-1, 2)
    starts, ends = points, np.roll(points, -1, axis=0)
    count = len(points)
    for i in range(count - 2):
        others = slice(i + 2, count - (i == 0))
        if _meet(starts[i], ends[i], starts[others], ends[others]).any():
            return True
    return False


def _meet(
    a: NDArray[np.float64], b: NDArray[np.float64],
    starts: NDArray[np.float64], ends: NDArray[np.float64],
) -> NDArray[np.bool_]:  # fmt: skip
    """Which of some segments the segment from ``a`` to ``b`` has a point in common with."""

    def side(
        p: NDArray[np.float64], q: NDArray[np.float64], r: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        found: NDArray[np.float64] = np.sign(
            (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1])
            - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0])
        )
        return found

    low, high = np.minimum(a, b), np.maximum(a, b)
    apart = (np.maximum(starts, ends) < low).any(axis=1) | (np.minimum(starts, ends) > high).any(
        axis=1
    )
    split = side(a, b, starts) * side(a, b, ends) <= 0
    return ~apart & split & (side(starts, ends, a) * side(starts, ends, b) <= 0)


def _middle(ring: Sequence[Position]) -> Position:
    """The middle of a ring's area; of its corners where it has none."""
    first = ring[0]
    shifted = np.array(ring, dtype=np.float64) - np.array(first)
    x, y = shifted[:, 0], shifted[:, 1]
    cross = x[:-1] * y[1:] - x[1:] * y[:-1]
    twice = float(cross.sum())
    if abs(twice) < 1e-18:
        return float(x.mean()) + first[0], float(y.mean()) + first[1]
    lon = float(((x[:-1] + x[1:]) * cross).sum()) / (3 * twice)
    lat = float(((y[:-1] + y[1:]) * cross).sum()) / (3 * twice)
    return lon + first[0], lat + first[1]


def _flat(
    positions: Sequence[Position], middle: Position
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """East and north of a place on the ellipsoid, metres."""
    at = np.array(positions, dtype=np.float64)
    phi = math.radians(middle[1])
    bulge = 1 - _ECCENTRICITY_2 * math.sin(phi) ** 2
    east_m = EQUATOR_M / math.sqrt(bulge) * math.cos(phi)
    north_m = EQUATOR_M * (1 - _ECCENTRICITY_2) / bulge**1.5
    return (
        np.radians(at[:, 0] - middle[0]) * east_m,
        np.radians(at[:, 1] - middle[1]) * north_m,
    )
