"""Fields from a GeoJSON file: boundaries or points, with the columns of fields.csv as properties.

References
----------
RFC 7946, The GeoJSON Format (2016), https://www.rfc-editor.org/rfc/rfc7946
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from stagecast.base.cells import table_text
from stagecast.base.errors import Problem, SeasonProblems, fold_repeats
from stagecast.base.savefile import save_file
from stagecast.base.tables import Table, open_table
from stagecast.base.textfiles import read_bytes
from stagecast.knowledge import Knowledge, load
from stagecast.season.folder import require_folder
from stagecast.season.outlines import (
    Polygon,
    Position,
    Ring,
    area_acres,
    crosses_itself,
    distance_km,
    holds,
    point_inside,
    position_of,
    reach_km,
)
from stagecast.season.rules import place_limits
from stagecast.season.settings.settings import read_settings
from stagecast.season.tables.fields import (
    ACRES_PER_HECTARE,
    COLUMNS,
    FIELDS_FILE,
    HECTARES,
    OPTIONAL_COLUMNS,
    read_fields,
)
from stagecast.season.tables.places import place_faults

BOUNDARIES_FILE = "boundaries.geojson"
LARGEST_BYTES = 100_000_000
MOST_CORNERS = 10_000
LEAST_CORNERS = 4
"""Positions of a closed ring (RFC 7946, 3.1.6)."""
DECIMALS = 6
"""Of degrees: a tenth of a metre."""

_DEGREES = "longitude first, then latitude, in decimal degrees (WGS 84)"
_ALSO = {"mg": "maturity_group", "name": "field_name"}
Feature = dict[str, Any]


@dataclass(frozen=True, slots=True)
class AddedFields:
    """What became of a file of boundaries.

    Attributes
    ----------
    new: ids of fields that were added to fields.csv.
    known: ids that stood in it already; their rows are as they were.
    boundaries: how many of both have a boundary.
    doubts: what is written and what is drawn, where they differ.
    """

    new: tuple[str, ...]
    known: tuple[str, ...]
    boundaries: int
    doubts: tuple[Problem, ...]


@dataclass(slots=True)
class _Drawn:
    """A feature while it is read.

    Attributes
    ----------
    place: number in the file, from 1.
    cells: column of fields.csv -> text.
    polygons: empty for a point.
    point: given, or worked out to lie inside.
    """

    file: str
    place: int
    cells: dict[str, str] = field(default_factory=dict)
    polygons: tuple[Polygon, ...] = ()
    point: Position | None = None
    problems: list[Problem] = field(default_factory=list)

    @property
    def field_id(self) -> str:
        """As its properties name it; "" where they do not."""
        return self.cells.get("field_id", "")

    def fault(
        self,
        message: str,
        *,
        column: str | None = None,
        found: str | None = None,
        accepted: str | None = None,
        next_step: str | None = None,
        doubtful: bool = False,
    ) -> None:
        """Keep a problem of the feature."""
        where = f"{self.file} feature {self.place}"
        self.problems.append(
            Problem(
                where, message, None, column, found, accepted, next_step,
                field_id=self.field_id or None, doubtful=doubtful,
            )
        )  # fmt: skip


def add_fields(folder: Path, file: Path) -> AddedFields:
    """Add the fields of a GeoJSON file to fields.csv, and keep their boundaries.

    A field that stands in fields.csv already keeps its row; what is drawn is held against it.

    Raises
    ------
    SeasonProblems
        With everything that is wrong in the file; then nothing is written.
    StoreError
        The folder cannot be written.
    """
    require_folder(folder)
    knowledge = load()
    drawn, problems = _read(file, knowledge)
    table = open_table(folder / FIELDS_FILE, label=FIELDS_FILE)
    table.also_called("maturity_group", "mg")
    problems += [problem for problem in table.problems if not problem.doubtful]
    kept, unread = _kept_features(folder / BOUNDARIES_FILE)
    problems += unread
    rows = {cells.get("field_id", ""): cells for _, cells in table.lines}
    new = [one for one in drawn if one.field_id not in rows]
    for one in drawn:
        _compare(one, rows.get(one.field_id, one.cells), knowledge)
        problems += one.problems
    wrong = [problem for problem in problems if not problem.doubtful]
    text = _table_text(table, new)
    if not wrong:
        wrong = _faults_of_rows(folder, text, new, knowledge)
    if wrong:
        raise SeasonProblems(fold_repeats(wrong))
    outlined = [one for one in drawn if one.polygons]
    if new:
        save_file(folder / FIELDS_FILE, text.encode("utf-8"), is_ours=lambda _: True)
    if outlined:
        _save_boundaries(folder / BOUNDARIES_FILE, kept, outlined)
    known = tuple(one.field_id for one in drawn if one.field_id in rows)
    doubts = fold_repeats(problem for problem in problems if problem.doubtful)
    return AddedFields(tuple(one.field_id for one in new), known, len(outlined), doubts)


# --- reading --------------------------------------------------------------------------------------


def _read(file: Path, knowledge: Knowledge) -> tuple[list[_Drawn], list[Problem]]:
    """Every feature with its faults, and what is wrong with the file as a whole."""
    label = file.name
    raw, problem = read_bytes(file, label=label, largest_bytes=LARGEST_BYTES)
    if problem is not None:
        return [], [problem]
    try:
        data = json.loads(raw.decode("utf-8-sig"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        return [], [Problem(label, f"this is not JSON ({error})")]
    features = _features(data)
    if features is None:
        accepted = "a FeatureCollection, or a list of Features"
        return [], [Problem(label, "this is not GeoJSON of fields", accepted=accepted)]
    crs = _other_crs(data)
    if crs is not None:
        step = "export it again in longitude and latitude (WGS 84)"
        message = "its positions are on another reference system"
        return [], [Problem(label, message, found=crs, accepted=_DEGREES, next_step=step)]
    drawn = [_feature(one, label, place, knowledge) for place, one in enumerate(features, 1)]
    _twice(drawn)
    return drawn, []


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _features(data: object) -> list[object] | None:
    if isinstance(data, dict) and data.get("type") == "Feature":
        return [data]
    found = data.get("features") if isinstance(data, dict) else data
    return found if isinstance(found, list) else None


def _other_crs(data: object) -> str | None:
    """The name of a reference system that is not WGS 84; None for ours."""
    crs = data.get("crs") if isinstance(data, dict) else None
    if crs is None:
        return None
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = str(properties.get("name", "") if isinstance(properties, dict) else crs)
    return None if name.endswith(("CRS84", "4326")) else name


def _feature(one: object, label: str, place: int, knowledge: Knowledge) -> _Drawn:
    drawn = _Drawn(label, place)
    if not isinstance(one, dict) or one.get("type") != "Feature":
        drawn.fault("this is not a Feature")
        return drawn
    drawn.cells = _cells(one, drawn)
    if not drawn.field_id:
        step = "give it the property field_id, or an id"
        drawn.fault("nothing names this field", next_step=step)
    geometry = one.get("geometry")
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    positions = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if kind == "Point":
        drawn.point = position_of(positions)
        if drawn.point is None:
            drawn.fault("its position is no pair of numbers", accepted=_DEGREES)
        else:
            _check_places([drawn.point], drawn, knowledge)
    elif kind in ("Polygon", "MultiPolygon") and isinstance(positions, list):
        _outline([positions] if kind == "Polygon" else positions, drawn, knowledge)
    else:
        accepted = "Polygon, MultiPolygon or Point"
        drawn.fault("this is no shape of a field", found=str(kind), accepted=accepted)
    return drawn


def _cells(one: Mapping[str, Any], drawn: _Drawn) -> dict[str, str]:
    """Properties that are columns, as fields.csv writes them; the others are told."""
    given = one.get("properties")
    cells: dict[str, str] = {}
    for key, value in (given if isinstance(given, dict) else {}).items():
        name = "_".join(str(key).casefold().split())
        name = _ALSO.get(name, name)
        if name in (*COLUMNS, HECTARES, *OPTIONAL_COLUMNS):
            cells[name] = _cell(value)
        else:
            drawn.fault("unknown property, ignored", found=str(key), doubtful=True)
    if not cells.get("field_id") and one.get("id") is not None:
        cells["field_id"] = _cell(one["id"])
    return cells


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value).strip()


def _outline(polygons: Sequence[object], drawn: _Drawn, knowledge: Knowledge) -> None:
    """Read the rings of every polygon, and find a point inside."""
    found: list[Polygon] = []
    for number, polygon in enumerate(polygons, start=1):
        of = f"polygon {number}, " if len(polygons) > 1 else ""
        rings = polygon if isinstance(polygon, list) else []
        if not rings:
            drawn.fault(f"{of}there is no ring in this polygon")
        read = [_ring(ring, f"{of}ring {n}", drawn) for n, ring in enumerate(rings, start=1)]
        found.append(tuple(ring for ring in read if ring is not None))
    if not found:
        drawn.fault("there is no polygon in this shape")
    if any(not problem.doubtful for problem in drawn.problems):
        return
    corners = [position for polygon in found for ring in polygon for position in ring]
    if not _check_places(corners, drawn, knowledge):
        return
    most = float(knowledge.fields.boundary_reach)
    for polygon in found:
        for ring in polygon:
            if (far := reach_km(ring)) > most:
                message = f"corners of one ring lie {far:.0f} km apart: is one of them a slip?"
                drawn.fault(message, accepted=f"up to {most:g} km")
                return
            if crosses_itself(ring):
                drawn.fault("a ring crosses itself", next_step="draw it again without the knot")
                return
    if area_acres(found) <= 0:
        drawn.fault("this boundary holds no area")
        return
    drawn.polygons, drawn.point = tuple(found), point_inside(found)


def _ring(value: object, which: str, drawn: _Drawn) -> Ring | None:
    """Read a ring; None, and a fault, when it is none."""
    positions = [position_of(one) for one in value] if isinstance(value, list) else []
    ring = tuple(one for one in positions if one is not None)
    if len(ring) < len(positions):
        number = positions.index(None) + 1
        drawn.fault(f"{which}: position {number} is no pair of numbers", accepted=_DEGREES)
    elif len(ring) < LEAST_CORNERS:
        drawn.fault(f"{which}: {len(ring)} positions make no ring", accepted="4 or more")
    elif len(ring) > MOST_CORNERS:
        drawn.fault(f"{which}: {len(ring):,} positions", accepted=f"up to {MOST_CORNERS:,}")
    elif ring[0] != ring[-1]:
        drawn.fault(f"{which}: it does not end where it begins", next_step="close the ring")
    else:
        return ring
    return None


def _check_places(positions: Sequence[Position], drawn: _Drawn, knowledge: Knowledge) -> bool:
    """Whether all positions can be of a soybean field; the first that cannot is told."""
    limits = place_limits(knowledge)
    for longitude, latitude in positions:
        for fault in place_faults(latitude, longitude, limits=limits):
            message = fault.message
            if max(abs(longitude), abs(latitude)) > 360:
                message = "these are metres of a map projection, not degrees"
            found = f"{longitude:g}, {latitude:g}"
            drawn.fault(message, column=fault.column, found=found, accepted=_DEGREES)
            return False
    return True


def _twice(drawn: Sequence[_Drawn]) -> None:
    first: dict[str, int] = {}
    for one in drawn:
        if one.field_id and first.setdefault(one.field_id, one.place) != one.place:
            step = "draw a field of several parts as one MultiPolygon"
            one.fault(f"feature {first[one.field_id]} is this field too", next_step=step)


# --- against what is written ----------------------------------------------------------------------


def _compare(one: _Drawn, written: Mapping[str, str], knowledge: Knowledge) -> None:
    """Doubt a written area or place that the boundary does not have."""
    if not one.polygons or one.point is None:
        return
    limits, drawn_acres = knowledge.fields, area_acres(one.polygons)
    for column, per_unit in (("area_acres", 1.0), (HECTARES, ACRES_PER_HECTARE)):
        area = _number(written.get(column, ""))
        if area is None or area <= 0:
            continue
        share = abs(drawn_acres / (area * per_unit) - 1)
        if share > float(limits.boundary_area_share):
            message = f"the boundary holds {drawn_acres / per_unit:.1f}, not what is written"
            one.fault(message, column=column, found=f"{area:g}", doubtful=True)
    latitude, longitude = (_number(written.get(c, "")) for c in ("latitude", "longitude"))
    if latitude is None or longitude is None or holds(one.polygons, (longitude, latitude)):
        return
    away = distance_km(one.polygons, (longitude, latitude))
    if away > float(limits.boundary_outside):
        message = f"the written place lies {away:.1f} km outside the boundary"
        one.fault(message, column="latitude", found=f"{latitude:g}, {longitude:g}", doubtful=True)


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


# --- writing --------------------------------------------------------------------------------------


def _table_text(table: Table, new: Sequence[_Drawn]) -> str:
    """fields.csv with a row for each new field; rows that were there say what they said."""
    area = HECTARES if HECTARES in table.header else "area_acres"
    base = table.header or tuple(area if name == "area_acres" else name for name in COLUMNS)
    given = [_row(one, area) for one in new]
    more = dict.fromkeys(name for cells in given for name in cells if cells[name])
    columns = [*base, *(name for name in more if name not in base)]
    every = [*(cells for _, cells in table.lines), *given]
    rows = [[cells.get(name, "") for name in columns] for cells in every]
    return table_text([columns, *rows], delimiter=table.delimiter)


def _row(one: _Drawn, area: str) -> dict[str, str]:
    """Cells of a new field: what its properties give, and what follows from its shape."""
    cells = dict(one.cells)
    if one.point is not None:
        longitude, latitude = one.point
        if not (cells.get("latitude") and cells.get("longitude")):
            cells["latitude"] = f"{latitude:.{DECIMALS}f}"
            cells["longitude"] = f"{longitude:.{DECIMALS}f}"
    other = "area_acres" if area == HECTARES else HECTARES
    acres = area_acres(one.polygons) if one.polygons else None
    if other in cells:
        typed = _number(cells.pop(other))
        if typed is not None:
            acres = typed if other == "area_acres" else typed * ACRES_PER_HECTARE
    if not cells.get(area) and acres is not None:
        cells[area] = f"{acres / (ACRES_PER_HECTARE if area == HECTARES else 1):.1f}"
    return cells


def _faults_of_rows(
    folder: Path,
    text: str,
    new: Sequence[_Drawn],
    knowledge: Knowledge,
) -> list[Problem]:
    """What fields.csv would be told of the new rows, said of their features."""
    year = read_settings(folder, regions=knowledge.regions).year
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / FIELDS_FILE).write_text(text, encoding="utf-8", newline="")
        read = read_fields(Path(place), year=year, knowledge=knowledge)
    drawn = {one.field_id: f"{one.file} feature {one.place}" for one in new}
    return [
        replace(problem, file=drawn[problem.field_id], line=None)
        if problem.field_id in drawn
        else problem
        for problem in read.problems
        if not problem.doubtful
    ]


def _save_boundaries(path: Path, kept: Sequence[object], outlined: Sequence[_Drawn]) -> None:
    """Put boundaries beside those that were kept, each in the place of an older one of its field.

    Whatever else stands in the file stays there.
    """
    new = {one.field_id: _kept(one) for one in outlined}
    features = [new.pop(_field_of(one), one) for one in kept]
    collection = {"type": "FeatureCollection", "features": [*features, *new.values()]}
    text = json.dumps(collection, indent=1)
    save_file(path, f"{text}\n".encode(), is_ours=lambda _: True)


def _kept(one: _Drawn) -> Feature:
    shape = [[[list(p) for p in ring] for ring in polygon] for polygon in one.polygons]
    return {
        "type": "Feature",
        "id": one.field_id,
        "properties": {"field_id": one.field_id},
        "geometry": {"type": "MultiPolygon", "coordinates": shape},
    }


def _kept_features(path: Path) -> tuple[list[object], list[Problem]]:
    """The boundaries that were kept; why not, where the file is there and cannot be read."""
    if not path.exists() and not path.is_symlink():
        return [], []
    raw, problem = read_bytes(path, label=path.name, largest_bytes=LARGEST_BYTES)
    features = None
    if problem is None:
        try:
            features = _features(json.loads(raw.decode("utf-8-sig")))
        except (ValueError, RecursionError):
            features = None
        if features is None:
            step = "move it out of the folder"
            problem = Problem(path.name, "these are no boundaries of ours", next_step=step)
    return features or [], [] if problem is None else [problem]


def _field_of(one: object) -> str:
    """Id of the field of a kept boundary; "" of anything else."""
    properties = one.get("properties") if isinstance(one, dict) else None
    return str(properties.get("field_id", "")) if isinstance(properties, dict) else ""
