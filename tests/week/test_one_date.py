"""One date per field: all screens, pages and files have that of the route, and no closed day."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from commands import WIDE, run_command, said
from season_builder import ONE_DAY, day

from stagecast.base.dates import said_day
from stagecast.desk.listing import lines_by_need
from stagecast.desk.views import field_html
from stagecast.pages.growers.brief import brief_of
from stagecast.pages.overview import overview
from stagecast.visits.season_day import SeasonDay
from stagecast.week.fields import closed_on
from stagecast.week.week import season_route, walk_of
from stagecast.words.plain import plain_day, short_day

ROOT = Path(__file__).resolve().parents[2]
TODAY = day(7, 7)
AS_OF = ("--as-of", TODAY.isoformat())
BLOCKED = {"F04": (TODAY, day(7, 10)), "F13": (day(7, 7), day(7, 7)), "F20": (day(7, 7), day(9, 1))}
"""Fields blocked as sprayed by a neighbour, from when to when; the demo's rule has them due."""

CLOSED = {"F09": dt.datetime(2026, 7, 9, 8)}
"""Until when a label keeps people out."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo on its day, with blocked fields and one under restricted entry."""
    made = tmp_path_factory.mktemp("one-date") / "season"
    shutil.copytree(ROOT / "demo", made)
    (made / "weather").mkdir()
    for file in sorted((ROOT / "weather_fixtures").glob("*.csv")):
        shutil.copy(file, made / "weather")
    rows = [f"{name},{first},{last},,,sprayed next door" for name, (first, last) in BLOCKED.items()]
    header = "field_id,first_date,last_date,from_time,to_time,why"
    (made / "blocked.csv").write_text("\n".join([header, *rows, ""]), encoding="utf-8")
    assert run_command("log", "import", made, made / "log.csv").code == 0
    treated = ("--product", "invented", "--time", "08:00", "--reentry-hours", "48")
    ran = run_command(
        "log", "add", made, "F09", "--date", "2026-07-07", *treated, "--preharvest-days=30"
    )
    assert ran.code == 0
    return made


@pytest.fixture(scope="module")
def season(folder: Path) -> SeasonDay:
    """The season as the pages take it."""
    return SeasonDay.open(folder, as_of=TODAY)


@pytest.fixture(scope="module")
def plan(folder: Path) -> dict[str, Any]:
    """The plan's document."""
    return json.loads(said("plan", folder, *AS_OF, "--format", "json"))


def dates(plan: dict[str, Any]) -> dict[str, dt.date | None]:
    """The date of every field, by the plan's document."""
    found = {one["field_id"]: one["walk_on"] for one in plan["fields"]}
    return {name: None if on is None else dt.date.fromisoformat(on) for name, on in found.items()}


def test_the_files_have_the_same_date(folder: Path, plan: dict[str, Any]) -> None:
    """Revisit, week and the days of plan tell what plan tells of a field."""
    expected = dates(plan)
    revisit = json.loads(said("revisit", folder, *AS_OF, "--format", "json"))["visits"]
    assert {one["field_id"]: one["walk_on"] for one in revisit} == {
        name: None if on is None else on.isoformat() for name, on in expected.items()
    }
    week = json.loads(said("week", folder, *AS_OF, "--starting", str(TODAY), "--format", "json"))
    stops = {s["field_id"]: d["date"] for d in week["days"] for s in d["stops"]}
    days = {name: d["date"] for d in plan["week"] for name in d["field_ids"]}
    assert stops == days
    assert len(stops) > 8
    for name, on in expected.items():
        assert on is None or on > TODAY + 6 * ONE_DAY or stops[name] == on.isoformat()
    assert {one["field_id"] for one in week["left_out"]} == set(plan["no_room"])


def test_the_screens_have_the_same_date(folder: Path, plan: dict[str, Any]) -> None:
    """The tables of plan and revisit begin each line with it."""
    for command in ("plan", "revisit"):
        text = said(command, folder, *AS_OF, "--all", columns=WIDE)
        for name, on in dates(plan).items():
            told = "(left out|no visit|-)" if on is None else said_day(on)
            assert re.search(rf"^(\^|!!|!|>)? *{told}( +\d+ [A-Z]..)? +{name} ", text, re.M), name


@pytest.mark.parametrize("ahead", [0, 1, 2, 3])
def test_a_page_for_the_phone_has_the_stops_of_the_plan(
    folder: Path, plan: dict[str, Any], ahead: int, tmp_path: Path
) -> None:
    """`pack` for a day of the plan holds exactly the fields that the plan walks on it."""
    date = TODAY + ahead * ONE_DAY
    walked = next(d["field_ids"] for d in plan["week"] if d["date"] == date.isoformat())
    out = tmp_path / "day.html"
    ran = run_command("pack", folder, *AS_OF, "--day", date.isoformat(), "-o", out)
    if not walked:
        assert "no field is walked on this day" in ran.err
        return
    assert ran.code == 0, ran.err
    assert f"{len(walked)} stop" in ran.out
    html = out.read_text(encoding="utf-8")
    assert all(f'"field_id": "{name}"' in html or f'"field_id":"{name}"' in html for name in walked)


def test_the_pages_have_the_same_date(season: SeasonDay, plan: dict[str, Any]) -> None:
    """The grower's page and its list, the overview's rows and the desk all say that day."""
    rows = {row.field_id: row for row in overview(season_route(season)).rows}
    desk = {line.field_id: line.walk for _, lines in lines_by_need(season) for line in lines}
    seen = set()
    for name, on in dates(plan).items():
        field = season.field(name)
        brief = brief_of(field)
        news = " ".join(brief.next_steps)
        assert rows[name].day == rows[name].ribbon.walk == on
        if on is None:
            assert "We come back on" not in news
            assert desk[name].startswith("left out") or field.visit.due is None
            continue
        seen.add(field.visit.due == on)
        assert desk[name].startswith(f"{on:%a} {said_day(on)}")
        assert f"walk {on:%a} {said_day(on)}" in field_html(season, name)
        assert rows[name].walk.startswith(said_day(on))
        if on == TODAY:
            assert "today" in news
            assert brief.next_short == "today"
        else:
            assert f"{plain_day(on)}" in news.split("We come")[1]
            assert brief.next_short.endswith(short_day(on))
    assert seen == {True, False}


def test_nobody_is_sent_into_a_closed_field(season: SeasonDay, plan: dict[str, Any]) -> None:
    """No date of a field lies on a day on which it is blocked, or under restricted entry.

    Since all outputs have this date, none promises a visit on such a day. Why is told: blocked for
    the whole season's rest, a field is left out; for some days, it is walked after them.
    """
    for name, on in dates(plan).items():
        assert on is None or closed_on(season.field(name), on) is None
    for name, (_, last) in BLOCKED.items():
        assert season.field(name).visit.due is not None
        on = dates(plan)[name]
        assert on is None or on > last
    held = dates(plan)["F09"]
    assert held is None or held > CLOSED["F09"].date()
    assert walk_of(season.field("F04")).why == closed_on(season.field("F04"), TODAY)
    assert dates(plan)["F04"] == day(7, 13)


@pytest.mark.parametrize("command", ["plan", "revisit", "stages", "windows", "check"])
def test_every_screen_says_first_which_fields_are_blocked(command: str, folder: Path) -> None:
    """A line for each field that nobody may enter today, until when, and in whose words why."""
    text = " ".join(said(command, folder, *AS_OF, columns=WIDE).split())
    assert re.search(r"F04 [^:]*: do not enter up to 10 Jul \(blocked: sprayed next door\)", text)
    assert re.search(r"F13 [^:]*: do not enter today \(blocked: sprayed next door\)", text)


def test_pages_and_desk_say_that_a_field_is_blocked(season: SeasonDay) -> None:
    """The grower's page, the overview and the desk's list and page of the field."""
    field = season.field("F04")
    assert "sprayed next door" in str(brief_of(field).closed)
    view = overview(season_route(season))
    (closed,) = [group for group in view.first if group.need == "closed"]
    assert any("F04" in line.name for line in closed.fields)
    grouped = {line.field_id: need for need, lines in lines_by_need(season) for line in lines}
    assert grouped["F04"] == grouped["F13"] == grouped["F09"] == "closed"
    assert "do not enter up to 10 Jul" in field_html(season, "F04")
