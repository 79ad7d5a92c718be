"""The boundaries that a folder keeps, read for maps: what is no boundary is left out, not told."""

from __future__ import annotations

import json
from pathlib import Path

from stagecast.base.textfiles import read_bytes
from stagecast.season.boundaries import BOUNDARIES_FILE, LARGEST_BYTES, LEAST_CORNERS
from stagecast.season.outlines import Polygon, Position, Ring, position_of


def outlines(folder: Path) -> dict[str, tuple[Polygon, ...]]:
    """Field id -> its boundary; none where the file is missing or cannot be read."""
    raw, problem = read_bytes(
        folder / BOUNDARIES_FILE, label=BOUNDARIES_FILE, largest_bytes=LARGEST_BYTES
    )
    if problem is not None:
        return {}
    try:
        data = json.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        return {}
    features = data.get("features") if isinstance(data, dict) else None
    found = dict(map(_boundary, features if isinstance(features, list) else ()))
    return {name: polygons for name, polygons in found.items() if name and polygons}


def _boundary(feature: object) -> tuple[str, tuple[Polygon, ...]]:
    """The id of a feature's field and its polygons; "" or none where it has no such thing."""
    one = feature if isinstance(feature, dict) else {}
    properties, geometry = one.get("properties"), one.get("geometry")
    name = properties.get("field_id") if isinstance(properties, dict) else None
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    shape = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if not isinstance(name, str) or kind not in ("Polygon", "MultiPolygon"):
        return "", ()
    polygons = [shape] if kind == "Polygon" else shape
    if not isinstance(polygons, list):
        return name, ()
    read = [[_ring(ring) for ring in one] for one in polygons if isinstance(one, list)]
    if any(ring is None for polygon in read for ring in polygon):
        return name, ()
    return name, tuple(tuple(ring for ring in polygon if ring) for polygon in read if polygon)


def _ring(value: object) -> Ring | None:
    positions = [_position(one) for one in value] if isinstance(value, list) else []
    ring = tuple(one for one in positions if one is not None)
    return ring if len(ring) == len(positions) >= LEAST_CORNERS else None


def _position(value: object) -> Position | None:
    """Longitude and latitude; None where they are no numbers of a place on earth."""
    found = position_of(value)
    return found if found and abs(found[0]) <= 180 and abs(found[1]) <= 90 else None
