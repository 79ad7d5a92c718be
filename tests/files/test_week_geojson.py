"""GeoJSON, held against RFC 7946 by a library that shares no code with what writes it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from geojson_pydantic import FeatureCollection
from week_builder import HOME, HOSTILE, MONDAY, build_week, field_ids, full_week, renamed, season_of

from stagecast.files.geojson import geojson_text
from stagecast.week.week import WeekRoute


def features(week: WeekRoute) -> list[dict[str, Any]]:
    """The features of a week that the library accepts."""
    text = geojson_text(week)
    assert geojson_text(week) == text
    read = FeatureCollection.model_validate_json(text.encode("utf-8"))
    raw = json.loads(text)
    assert len(read.features) == len(raw["features"])
    assert "crs" not in raw
    return raw["features"]


def of_kind(week: WeekRoute, kind: str) -> list[dict[str, Any]]:
    """The features of one kind."""
    return [one for one in features(week) if one["properties"]["kind"] == kind]


def test_a_line_per_scout_and_day_joins_home_fields_and_home(demo: Path) -> None:
    """Longitude comes first, as the standard has it, and the day's numbers stand with the line."""
    week = full_week(season_of(demo))
    walking = [day for day in week.days if day.stops]
    lines = of_kind(week, "drive")
    assert len(lines) == len(walking)
    for line, day in zip(lines, walking, strict=True):
        fields = [stop.plan.forecast.field for stop in day.stops]
        places = [HOME, *((field.latitude, field.longitude) for field in fields), HOME]
        assert line["geometry"]["type"] == "LineString"
        swapped = [[longitude, latitude] for latitude, longitude in places]
        assert line["geometry"]["coordinates"] == [pytest.approx(p, abs=1e-6) for p in swapped]
        assert line["properties"]["date"] == day.date.isoformat()
        assert line["properties"]["scout"] == day.scout


def test_every_stop_field_left_out_and_home_is_a_point(demo: Path) -> None:
    """Each is there once, and is told apart by its kind."""
    week = full_week(season_of(demo))
    stops = [stop.field_id for day in week.days for stop in day.stops]
    assert [one["properties"]["field_id"] for one in of_kind(week, "stop")] == stops
    for one in of_kind(week, "stop"):
        order, field_id = one["properties"]["name"].split()[:2]
        assert (int(order), field_id) == (one["properties"]["order"], one["properties"]["field_id"])
    left = [one["properties"]["field_id"] for one in of_kind(week, "left out")]
    assert left == [one.field_id for one in week.left_out]
    (home,) = of_kind(week, "home")
    assert home["geometry"] == {"type": "Point", "coordinates": [HOME[1], HOME[0]]}


def test_a_week_without_stops_has_no_line(demo: Path) -> None:
    """A line of a home alone would be none, and the standard forbids it."""
    week = build_week(season_of(demo), {(MONDAY, ""): []})
    assert [one["properties"]["kind"] for one in features(week)] == ["home"]


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_names_are_kept_as_they_were_typed(name: str, demo: Path) -> None:
    """Whatever a field is called, the file can be written in UTF-8 and reads back unchanged."""
    season = season_of(demo)
    first = field_ids(season)[0]
    week = build_week(renamed(season, {first: name}), {(MONDAY, name): [first]})
    raw = json.loads(geojson_text(week).encode("utf-8"))["features"]
    (stop,) = (one["properties"] for one in raw if one["properties"]["kind"] == "stop")
    assert (stop["field_name"], stop["scout"]) == (name, name)
