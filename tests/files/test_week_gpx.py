"""GPX routes, read by a library that shares no code with what writes them."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import gpxpy
import pytest
from week_builder import HOME, HOSTILE, MONDAY, build_week, field_ids, full_week, renamed, season_of

from stagecast.files.gpx import NAMESPACE, gpx_text
from stagecast.words.visits import look_for_texts

ORDER = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
    "rtept": ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym"],
}
"""Order of the first elements in the GPX 1.1 schema (topografix.com/GPX/1/1/gpx.xsd); MEMORY."""


def test_every_day_with_stops_is_a_route_from_home_to_home(demo: Path) -> None:
    """One route per scout and day; its points are home, the fields in order, and home."""
    week = full_week(season_of(demo))
    read = gpxpy.parse(gpx_text(week))
    walking = [day for day in week.days if day.stops]
    assert (read.version, read.creator) == ("1.1", "stagecast")
    assert len(read.routes) == len(walking)
    for route, day in zip(read.routes, walking, strict=True):
        assert route.name == " ".join([f"{day.date:%a} {day.date}", day.scout])
        points = [(point.latitude, point.longitude) for point in route.points]
        fields = [stop.plan.forecast.field for stop in day.stops]
        between = [(field.latitude, field.longitude) for field in fields]
        assert points == [pytest.approx(place, abs=1e-6) for place in (HOME, *between, HOME)]
        names = [" ".join(point.name.split()[:2]) for point in route.points]
        ordered = [f"{n} {stop.field_id}" for n, stop in enumerate(day.stops, start=1)]
        assert names == ["home", *ordered, "home"]
        for stop, point in zip(day.stops, route.points[1:-1], strict=True):
            assert point.description.startswith(f"{stop.arrive.hour}:{stop.arrive.minute:02}-")
            assert all(text in point.description for text in look_for_texts(stop.look_for))


def test_elements_stand_in_the_order_of_the_schema(demo: Path) -> None:
    """GPX is a sequence: readers that hold to the schema refuse another order."""
    root = ET.fromstring(gpx_text(full_week(season_of(demo))).encode("utf-8"))
    for element in root.iter():
        tag = element.tag.removeprefix(f"{{{NAMESPACE}}}")
        if tag in ORDER:
            children = [child.tag.removeprefix(f"{{{NAMESPACE}}}") for child in element]
            assert children == sorted(children, key=ORDER[tag].index), tag


def test_a_week_without_stops_is_a_file_without_routes(demo: Path) -> None:
    """Nothing to drive is still a file that can be read."""
    week = build_week(season_of(demo), {(MONDAY, ""): []})
    assert gpxpy.parse(gpx_text(week)).routes == []
    assert gpx_text(week) == gpx_text(week)


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_no_name_breaks_the_file(name: str, demo: Path) -> None:
    """What XML can hold is kept; what it forbids is dropped; the rest of the file is unharmed."""
    season = season_of(demo)
    ids = field_ids(season)[:2]
    week = build_week(renamed(season, {ids[0]: name}), {(MONDAY, name): ids})
    text = gpx_text(week)
    text.encode("utf-8")
    (route,) = gpxpy.parse(text).routes
    assert len(route.points) == 4
    dropped = {c: None for c in (*range(32), *range(0x7F, 0xA0), 0xD800, 0xFFFE, 0xFFFF)}
    dropped |= {ord("\n"): " "}
    expected = " ".join(f"1 {ids[0]} {name.translate(dropped)}".split())
    assert route.points[1].name.strip() == expected
