"""Fields from a map: areas against a closed formula, points inside, and faults of rings."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from season_builder import build_season, set_cells, snapshot

from stagecast.base.errors import SeasonProblems
from stagecast.season.boundaries import BOUNDARIES_FILE, add_fields
from stagecast.season.folder import read_season
from stagecast.season.new import write_new_season
from stagecast.season.outlines import (
    EQUATOR_M,
    FLATTENING,
    SQUARE_M_PER_ACRE,
    Ring,
    area_acres,
    crosses_itself,
    holds,
    point_inside,
)

SQUARE = [[-89.02, 36.0], [-89.01, 36.0], [-89.01, 36.008], [-89.02, 36.008], [-89.02, 36.0]]
L_SHAPE = [[0, 0], [4, 0], [4, 1], [1, 1], [1, 4], [0, 4], [0, 0]]
ROW = {"field_id": "M1", "planting_date": "2026-05-04", "maturity_group": 4.5}


def ring(positions: list[list[float]]) -> Ring:
    """Positions as a ring."""
    return tuple((float(x), float(y)) for x, y in positions)


def feature(coordinates: Any, kind: str = "Polygon", **properties: object) -> dict[str, Any]:
    """One feature with the columns that a field needs."""
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": {**ROW, **properties}, "geometry": geometry}


def write(folder: Path, *features: object, **more: object) -> Path:
    """A GeoJSON file."""
    path = folder / "farm.geojson"
    collection = {"type": "FeatureCollection", "features": list(features), **more}
    path.write_text(json.dumps(collection), encoding="utf-8")
    return path


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """A season without fields."""
    write_new_season(tmp_path / "season", year=2026)
    return tmp_path / "season"


# --- geometry --------------------------------------------------------------------------------


def cell_acres(south: float, north: float, west: float, east: float) -> float:
    """Area between two parallels and two meridians on the ellipsoid, in closed form.

    Source: Snyder JP (1987), Map Projections, USGS Professional Paper 1395, equation 3-12.
    """
    e = math.sqrt(FLATTENING * (2 - FLATTENING))

    def q(latitude: float) -> float:
        s = math.sin(math.radians(latitude))
        return (1 - e * e) * (
            s / (1 - e * e * s * s) - math.log((1 - e * s) / (1 + e * s)) / (2 * e)
        )

    area_m2 = EQUATOR_M**2 / 2 * (q(north) - q(south)) * math.radians(east - west)
    return area_m2 / SQUARE_M_PER_ACRE


@given(st.floats(25, 50), st.floats(-105, -70), st.floats(0.0005, 0.02), st.floats(0.0005, 0.02))
def test_the_area_of_a_cell_is_that_of_the_closed_formula(
    south: float, west: float, high: float, wide: float
) -> None:
    """Within a hundred-thousandth, from a tenth of an acre to a thousand acres."""
    north, east = south + high, west + wide
    corners = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    found = area_acres([(ring(corners),)])
    assert found == pytest.approx(cell_acres(south, north, west, east), rel=2e-5)


def test_a_quarter_section_is_160_acres() -> None:
    """Half a mile (804.672 m, exact) each way at 40 N, by the lengths of a degree there.

    Source: lengths of a degree of latitude and of longitude at 40 N on WGS 84, 111,035 m and
    85,394 m, as the tables of navigation have them (from memory).
    """
    dy, dx = 804.672 / 111_035, 804.672 / 85_394
    corners = [[-89, 40], [-89 + dx, 40], [-89 + dx, 40 + dy], [-89, 40 + dy], [-89, 40]]
    assert area_acres([(ring(corners),)]) == pytest.approx(160, rel=3e-4)


def test_holes_are_left_out_and_parts_added() -> None:
    """A hole of a quarter leaves three quarters, turned either way; two parts are twice one."""
    outer = ring(SQUARE)
    hole = ring([[-89.02, 36.0], [-89.015, 36.0], [-89.015, 36.004], [-89.02, 36.004],
                 [-89.02, 36.0]])  # fmt: skip
    whole = area_acres([(outer,)])
    assert area_acres([(outer, hole)]) == pytest.approx(0.75 * whole, rel=1e-4)
    assert area_acres([(outer, hole[::-1])]) == area_acres([(outer, hole)])
    assert area_acres([(outer,), (outer,)]) == pytest.approx(2 * whole)


def test_a_point_inside_is_inside_where_the_middle_is_not() -> None:
    """An L and a ring-shaped field have their middle outside; the point given is in the field."""
    thin = ring(L_SHAPE)
    hole = ring([[1, 1], [3, 1], [3, 3], [1, 3], [1, 1]])
    around = (ring([[0, 0], [4, 0], [4, 4], [0, 4], [0, 0]]), hole)
    for polygons in ([(thin,)], [around]):
        assert holds(polygons, point_inside(polygons))
    assert not holds([around], (2.0, 2.0))


@pytest.mark.parametrize(
    ("positions", "crossed"),
    [
        (SQUARE, False), (L_SHAPE, False),
        ([[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]], True),
        ([[0, 0], [2, 0], [2, 2], [1, -1], [0, 2], [0, 0]], True),
        ([[0, 0], [1, 0], [1, 0], [1, 1], [0, 1], [0, 0]], False),
    ],
)  # fmt: skip
def test_knots_are_found(positions: list[list[float]], crossed: bool) -> None:
    """A bow tie crosses itself; a corner that stands twice does not."""
    assert crosses_itself(ring(positions)) is crossed


# --- into fields.csv -------------------------------------------------------------------------


def test_boundaries_and_points_become_fields(empty: Path, tmp_path: Path) -> None:
    """Area and place are worked out, columns are the properties in any case, numbers or text."""
    file = write(
        tmp_path,
        feature([SQUARE], **{"Field Name": "North", "irrigated": True, "row_width_in": 30.0}),
        feature([-89.1, 36.1], "Point", field_id="P1", area_acres=40, planting_date=None,
                maturity_group=None),
        feature([[SQUARE]], "MultiPolygon", field_id="M2", planned="4-27-2026",
                planting_date=""),
    )  # fmt: skip
    added = add_fields(empty, file)
    assert (added.new, added.known, added.boundaries, added.doubts) == (
        ("M1", "P1", "M2"),
        (),
        2,
        (),
    )
    season = read_season(empty)
    one, other = season.fields
    assert (one.field_id, one.field_name, one.irrigated, one.row_width_in) == (
        "M1", "North", True, 30.0,
    )  # fmt: skip
    assert one.area_acres == pytest.approx(cell_acres(36.0, 36.008, -89.02, -89.01), abs=0.06)
    assert (one.latitude, one.longitude) == (pytest.approx(36.004), pytest.approx(-89.015))
    assert other.planned
    assert [field.field_id for field in season.undated] == ["P1"]
    kept = json.loads((empty / BOUNDARIES_FILE).read_text("utf-8"))["features"]
    assert [one["properties"] for one in kept] == [{"field_id": "M1"}, {"field_id": "M2"}]
    assert kept[0]["geometry"]["coordinates"] == [[SQUARE]]


def test_a_field_that_has_a_row_keeps_it(tmp_path: Path) -> None:
    """What is drawn is held against what is written; no cell that a person typed changes."""
    folder = set_cells(build_season(tmp_path / "s"), "F1", notes="wet corner", area_acres="80")
    before = (folder / "fields.csv").read_bytes()
    file = write(tmp_path, feature([SQUARE], field_id="F1"))
    added = add_fields(folder, file)
    assert (added.new, added.known) == ((), ("F1",))
    assert (folder / "fields.csv").read_bytes() == before
    area, place = (doubt.sentence() for doubt in added.doubts)
    acres = cell_acres(36.0, 36.008, -89.02, -89.01)
    assert f"area_acres (field F1): the boundary holds {acres:.1f}, not what is written" in area
    assert "the written place lies 0.9 km outside the boundary" in place


def test_a_second_file_adds_to_the_first(empty: Path, tmp_path: Path) -> None:
    """Rows and boundaries of before stay; those of a field that comes again are the new ones."""
    add_fields(empty, write(tmp_path, feature([SQUARE])))
    east = [[x + 0.01, y] for x, y in SQUARE]
    added = add_fields(empty, write(tmp_path, feature([east]), feature([east], field_id="M2")))
    assert (added.new, added.known) == (("M2",), ("M1",))
    kept = json.loads((empty / BOUNDARIES_FILE).read_text("utf-8"))["features"]
    assert [one["id"] for one in kept] == ["M1", "M2"]
    assert kept[0]["geometry"]["coordinates"] == [[east]]


def test_what_else_stands_in_the_file_stays(empty: Path, tmp_path: Path) -> None:
    """A shape of a person's own is kept; a file that cannot be read is never written over."""
    path = empty / BOUNDARIES_FILE
    own = {"type": "Feature", "properties": {"name": "pond"}, "geometry": None}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [own]}))
    add_fields(empty, write(tmp_path, feature([SQUARE])))
    features = json.loads(path.read_text("utf-8"))["features"]
    assert (features[0], features[1]["id"]) == (own, "M1")
    path.write_text("torn")
    with pytest.raises(SeasonProblems, match="no boundaries of ours"):
        add_fields(empty, write(tmp_path, feature([SQUARE])))
    assert path.read_text("utf-8") == "torn"


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (feature([[[y, x] for x, y in SQUARE]]), "look swapped"),
        (feature([[[x + 90 + 89.02, y] for x, y in SQUARE]]), "minus sign"),
        (feature([SQUARE[:-1]]), "ring 1: it does not end where it begins"),
        (feature([SQUARE[:2] + SQUARE[-1:]]), "3 positions make no ring"),
        (feature([[SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]]), "crosses itself"),
        (feature([[*SQUARE[:-1], [-88.5, 36.0], SQUARE[0]]]), "corners of one ring lie"),
        (feature([[*SQUARE[:-1], ["x", 36.0], SQUARE[0]]]), "position 5 is no pair of numbers"),
        (feature([[*SQUARE[:-1], [10**400, 36.0], SQUARE[0]]]), "position 5 is no pair of numbers"),
        (feature([[[x * 1e4, y * 1e5] for x, y in SQUARE]]), "metres of a map projection"),
        (feature([[SQUARE[0]] * 5]), "holds no area"),
        (feature([[0.0, 0.0]], "LineString"), "no shape of a field"),
        (feature([SQUARE], field_id=None), "nothing names this field"),
        (feature([SQUARE], maturity_group=None), "maturity_group"),
        (feature([SQUARE], planting_date="May"), "not a date"),
        ({"type": "Polygon"}, "not a Feature"),
        (feature([]), "no ring"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_written(
    made: dict[str, Any], words: str, empty: Path, tmp_path: Path
) -> None:
    """The file, the feature and why; the folder stays as it was."""
    before = snapshot(empty)
    good = feature([SQUARE], field_id="OK")
    with pytest.raises(SeasonProblems) as told:
        add_fields(empty, write(tmp_path, good, made))
    (problem,) = told.value.problems
    assert problem.file == "farm.geojson feature 2"
    assert words in problem.sentence()
    assert snapshot(empty) == before


def test_all_faults_are_told_at_once(empty: Path, tmp_path: Path) -> None:
    """Two bad features and a field drawn twice are three sentences."""
    again = feature([SQUARE], field_id="A")
    swapped = feature([36.1, -89.1], "Point", field_id="B")
    file = write(tmp_path, feature([SQUARE[:-1]]), again, again, swapped)
    ran = run_command("fields", empty, file)
    assert ran.code == 2
    lines = ran.err.splitlines()
    assert [line.partition(":")[0].partition(",")[0] for line in lines] == [
        "farm.geojson feature 1 (field M1)", "farm.geojson feature 3 (field A)",
        "farm.geojson feature 4",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"{", "not JSON"), (b"[1e999]", "not a Feature"), (b'{"type": "Topology"}', "not GeoJSON"),
     (b"[NaN]", "not JSON"), (b"\xff", "not JSON"), (b"[" * 100_000, "not JSON")],
)  # fmt: skip
def test_a_file_of_another_kind_is_one_sentence(
    data: bytes, words: str, empty: Path, tmp_path: Path
) -> None:
    """Whatever lies in the file, the answer is a sentence."""
    file = tmp_path / "x.geojson"
    file.write_bytes(data)
    ran = run_command("fields", empty, file)
    assert ran.code == 2
    assert words in ran.err
    assert ran.err.count("\n") == 1


def test_another_reference_system_is_refused(empty: Path, tmp_path: Path) -> None:
    """Positions in metres of a projection are not guessed at."""
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32616"}}
    with pytest.raises(SeasonProblems, match="another reference system"):
        add_fields(empty, write(tmp_path, feature([SQUARE]), crs=crs))
    ours = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    assert add_fields(empty, write(tmp_path, feature([SQUARE]), crs=ours)).new == ("M1",)


def test_the_command_says_what_it_did(empty: Path, tmp_path: Path) -> None:
    """Added, known and bounded fields; a property that is no column is doubted and ignored."""
    ran = run_command(
        "fields", empty, write(tmp_path, feature([SQUARE], colour="red")), columns=200
    )
    assert (ran.code, ran.err) == (0, "")
    assert "unknown property, ignored; found 'colour'" in ran.out
    assert "1 field added, 0 fields known, 1 with a boundary" in ran.out
