"""`stagecast week` as a person runs it: screen, JSON, files, and what it refuses."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest
from commands import run_command

DATES = ("--starting", "2026-07-08", "--as-of", "2026-07-07")


@pytest.fixture(scope="module")
def document(demo: Path) -> dict[str, object]:
    """The route of the demo season as JSON, with all that can be asked for."""
    told = run_command("week", demo, *DATES, "--format", "json", "--explain", "--beside-rules")
    assert told.code == 0, told.err
    return json.loads(told.out)


def test_json_has_the_keys_that_programs_rely_on(document: dict[str, object]) -> None:
    """Days with stops, drives and work; and what is left out, with why and its cost."""
    assert {"days", "left_out"} <= document.keys()
    for day in document["days"]:
        assert {"date", "scout", "stops", "drive_km", "drive_min", "work_min"} <= day.keys()
        for stop in day["stops"]:
            assert {"field_id", "arrive", "leave", "look_for", "sets"} <= stop.keys()
            assert dt.datetime.fromisoformat(stop["arrive"]) < dt.datetime.fromisoformat(
                stop["leave"]
            )
    for left in document["left_out"]:
        assert {"field_id", "why", "cost_of_waiting"} <= left.keys()


def test_explain_shows_terms_that_add_up(document: dict[str, object]) -> None:
    """The terms of a field's first day sum to what that day costs (or of the first that costs)."""
    assert document["waiting"]
    for field in document["waiting"]:
        costs = [dollars for dollars in field["by_day"] if dollars > 0]
        if costs:
            assert sum(term["dollars"] for term in field["terms"]) == pytest.approx(
                costs[0], abs=0.01 * (1 + len(field["terms"]))
            )


def test_the_route_beats_the_plain_rules(document: dict[str, object]) -> None:
    """Driving and waiting together cost no more than nearest first, nor due date first."""
    ours, *others = (rule["drive_cost"] + rule["waiting_cost"] for rule in document["beside"])
    assert all(ours <= other for other in others)


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_the_screen_shows_every_stop_and_fits(
    demo: Path, document: dict[str, object], columns: int
) -> None:
    """Also on a phone no line is wider than the screen, and no field is missing."""
    told = run_command("week", demo, *DATES, "--notes", columns=columns)
    assert max(map(len, told.out.splitlines())) <= columns
    for day in document["days"]:
        for stop in day["stops"]:
            assert stop["field_id"] in told.out
    assert "estimates" in told.out


def test_files_are_written_and_a_second_run_changes_nothing(demo: Path, tmp_path: Path) -> None:
    """GPX, GeoJSON and calendar; written again from the same week they are the same bytes."""
    files = [tmp_path / name for name in ("week.gpx", "week.geojson", "week.ics")]
    options = [
        option
        for name, file in zip(("--gpx", "--geojson", "--calendar"), files, strict=True)
        for option in (name, file)
    ]
    assert run_command("week", demo, *DATES, *options).code == 0
    first = [file.read_bytes() for file in files]
    assert run_command("week", demo, *DATES, *options).code == 0
    assert [file.read_bytes() for file in files] == first


def test_a_file_of_another_kind_is_never_written_over(demo: Path, tmp_path: Path) -> None:
    """Whatever stands under the name given, a letter say, stays as it is."""
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear grower", encoding="utf-8")
    for option in ("--gpx", "--geojson", "--calendar"):
        told = run_command("week", demo, *DATES, option, letter)
        assert told.code == 2
        assert letter.read_text(encoding="utf-8") == "Dear grower"


def test_somebody_elses_geojson_is_never_written_over(demo: Path, tmp_path: Path) -> None:
    """A collection of a person's own, field boundaries say, is no file of ours."""
    mine = tmp_path / "fields.geojson"
    text = '{"type": "FeatureCollection", "name": "boundaries", "features": []}'
    mine.write_text(text, encoding="utf-8")
    assert run_command("week", demo, *DATES, "--geojson", mine).code == 2
    assert mine.read_text(encoding="utf-8") == text


def test_all_files_are_checked_before_one_is_written(demo: Path, tmp_path: Path) -> None:
    """The same file twice and a folder that is not there are told at once, and nothing is made."""
    nowhere, same = tmp_path / "no" / "week.gpx", tmp_path / "week"
    told = run_command(
        "week", demo, *DATES, "--gpx", nowhere, "--geojson", same, "--calendar", same
    )
    assert told.code == 2
    assert "the same file is given twice" in told.err
    assert "there is no such folder" in told.err
    assert list(tmp_path.iterdir()) == []


def test_a_must_visit_that_cannot_be_made_is_named(demo: Path, tmp_path: Path) -> None:
    """One clear sentence with the field and the reason, exit code 2, and the route all the same."""
    folder = Path(shutil.copytree(demo, tmp_path / "season"))
    (folder / "blocked.csv").write_text(
        "field_id,first_date,last_date,from_time,to_time,why\n"
        "F01,2026-07-01,2026-07-31,,,locked gate\n",
        encoding="utf-8",
    )
    told = run_command("week", folder, *DATES, "--must", "F01")
    assert told.code == 2
    (sentence,) = [line for line in told.err.splitlines() if "--must" in line]
    assert "F01" in sentence
    assert "locked gate" in sentence
    assert "in fields" in told.out


def test_out_of_season_there_is_nothing_to_walk_and_nothing_to_complain_of(demo: Path) -> None:
    """The day after harvest gives an empty week; a first day of another year asked for is wrong."""
    told = run_command("week", demo, "--as-of", "2026-12-20", "--format", "json")
    assert told.code == 0
    assert all(day["stops"] == [] for day in json.loads(told.out)["days"])
    wrong = run_command("week", demo, "--as-of", "2026-07-07", "--starting", "2027-07-07")
    assert wrong.code == 2
    assert "--starting" in wrong.err


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--days", "0"), "--days"),
        (("--days", "99"), "--days"),
        (("--off", "someday"), "--off"),
        (("--off", "2026-09-01"), "--off"),
        (("--done", "nowhere"), "--done"),
        (("--must", "nowhere"), "--must"),
    ],
)
def test_what_cannot_be_asked_is_a_sentence(
    demo: Path, options: tuple[str, ...], word: str
) -> None:
    """A wrong option is told by its name, without a traceback."""
    told = run_command("week", demo, *DATES, *options)
    assert told.code == 2
    assert word in told.err
    assert "Traceback" not in told.err
