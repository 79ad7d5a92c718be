"""Fields that wait for a decision: every mean at its threshold or over it, until a treatment."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import pytest
from log_builder import at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, FieldLine, StationFile, build_season, day

from stagecast.files.calendar import calendar_bytes
from stagecast.files.geojson import geojson_text
from stagecast.files.gpx import gpx_text
from stagecast.files.season import (
    PLAN_COLUMNS,
    REVISIT_COLUMNS,
    plan_document,
    revisit_document,
    to_csv,
)
from stagecast.files.week import week_document
from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.week.problem import WeekRequest
from stagecast.week.week import above_of, fields_by_need, route_week
from stagecast.words.week import above_texts

SEEN = day(7, 20)
BUGS = "stink-bugs"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field in pods in late July."""
    return build_season(
        tmp_path_factory.mktemp("decide"), stations=(StationFile(first=dt.date(2023, 1, 1)),)
    )


def waiting(folder: Path, *entries: LoggedVisit | Treatment) -> list[str]:
    """What is told under Decide first."""
    season = planned(folder, log_of(*entries), SEEN + ONE_DAY)
    return [text for _, found in above_texts(above_of(season)) for text in found]


@pytest.mark.parametrize(
    ("counts", "answer"),
    [([40] * 4, "above"), ([9, 14, 5, 11], "near"), ([0, 0, 0, 60], "near"), ([12, 15], "too few")],
)
def test_a_mean_over_its_threshold_waits_for_a_decision(
    folder: Path, counts: list[float], answer: str
) -> None:
    """However sure the sets are, and however few: with its chance, and its answer."""
    (told,) = waiting(folder, visit(SEEN, sets_of(BUGS, counts), stage="R4"))
    assert told.startswith("stink bugs ")
    assert re.search(rf" of 9 per 25 sweeps .*, (over )?\d+%, {answer} ", told)


def test_a_mean_under_its_threshold_waits_for_none(folder: Path) -> None:
    """Near but under is looked at again, and asks for no decision; nor does an empty field."""
    for counts in ([10, 5, 8, 4], [0] * 4):
        assert waiting(folder, visit(SEEN, sets_of(BUGS, counts), stage="R4")) == []


def test_a_treatment_ends_the_waiting(folder: Path) -> None:
    """What was counted before it is not there any more."""
    over = visit(SEEN, sets_of(BUGS, [40] * 4), stage="R4")
    assert waiting(folder, over, treatment(at(7, 21, 7), 4)) == []


def test_every_file_says_it_with_the_field_and_first_of_all(tmp_path: Path) -> None:
    """Of two fields one is over: JSON, CSV, map, navigator and calendar all tell which."""
    two = [FieldLine("F1"), FieldLine("F2")]
    folder = build_season(tmp_path, fields=two, stations=(StationFile(first=dt.date(2023, 1, 1)),))
    over = visit(SEEN, sets_of(BUGS, [40] * 4), stage="R4", field_id="F2")
    season = planned(folder, log_of(over), SEEN + ONE_DAY)
    week = route_week(season, WeekRequest(first_day=season.as_of))
    flags = {"F1": False, "F2": True}
    assert [one.field_id for one in fields_by_need(season)] == ["F2", "F1"]
    fields = fields_by_need(season)
    listed = (plan_document(season, fields)["fields"], revisit_document(season, fields)["visits"])
    for listing in listed:
        assert {one["field_id"]: one["over_threshold"] for one in listing} == flags
        assert listing[0]["field_id"] == "F2"
    for listing, columns in zip(listed, (PLAN_COLUMNS, REVISIT_COLUMNS), strict=True):
        rows = to_csv(listing, columns).splitlines()
        column = rows[0].split(",").index("over_threshold")
        assert [row.split(",")[column] for row in rows[1:3]] == ["yes", "no"]
    told = week_document(week, explain=False)
    assert [one["field_id"] for one in told["above"]] == ["F2"]
    stops = [stop for one in told["days"] for stop in one["stops"]] + told["left_out"]
    assert stops
    assert all(stop["over_threshold"] == flags[stop["field_id"]] for stop in stops)
    features = json.loads(geojson_text(week))["features"]
    assert features[0]["properties"]["kind"] == "decide"
    assert features[0]["properties"]["field_id"] == "F2"
    assert "stink bugs 40 of 9" in features[0]["properties"]["found"]
    assert "F2" in {stop.field_id for stop in week.stops}
    assert gpx_text(week).count("over a threshold, decide: stink bugs 40 of 9") == 1
    stamped = dt.datetime(2026, 7, 21, tzinfo=dt.UTC)
    calendar = calendar_bytes(week, before=None, stamped=stamped).decode()
    assert re.findall(r"SUMMARY:decide: (\w+)", calendar) == ["F2"]
