"""Two people: who is off, who goes on from where, and today's stops when a later day changes."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from changed import changed
from commands import run_command
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stagecast.base.dates import DAY_S
from stagecast.base.errors import SeasonProblems
from stagecast.season.tables.blocked import Blocked
from stagecast.visits.season_day import SeasonDay
from stagecast.week.asked import read_asked
from stagecast.week.days import ScoutDay
from stagecast.week.problem import WeekRequest, Whose
from stagecast.week.week import WeekRoute, route_week

ROOT = Path(__file__).resolve().parents[2]
TODAY = dt.date(2026, 7, 7)
TOMORROW = dt.date(2026, 7, 8)
ONE_DAY = dt.timedelta(days=1)
PLAIN = WeekRequest(first_day=TODAY)

SCOUTS = """
[[scouts]]
name = "Kim"

[[scouts]]
name = "Ann B"
home = { latitude = 36.3, longitude = -89.1 }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The whole demo with two scouts, who walk three fields a day each and are both needed."""
    made = Path(shutil.copytree(ROOT / "demo", tmp_path_factory.mktemp("two") / "season"))
    (made / "weather").mkdir()
    for station in sorted((ROOT / "weather_fixtures").glob("*.csv")):
        shutil.copy(station, made / "weather")
    file = made / "season.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(f"fields_per_day = 3\n{text}{SCOUTS}", encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def season(folder: Path) -> SeasonDay:
    """The same, read."""
    return SeasonDay.open(folder, as_of=TODAY)


def asked(
    season: SeasonDay, *, off: tuple[str, ...] = (), from_: tuple[str, ...] = (),
    at: tuple[str, ...] = (), done: tuple[str, ...] = (),
) -> WeekRequest:  # fmt: skip
    """What the options say, as the command reads them."""
    plain = replace(PLAIN, done=done)
    return read_asked(plain, season.loaded, off=off, from_=from_, at=at)


def days_of(route: WeekRoute, scout: str) -> dict[dt.date, ScoutDay]:
    """The days of one scout."""
    return {day.date: day for day in route.days if day.scout == scout}


def today_of(route: WeekRoute) -> list[tuple[str, str, dt.datetime]]:
    """Who walks what today, and when."""
    first = [day for day in route.days if day.date == route.first_day]
    return [(day.scout, stop.field_id, stop.arrive) for day in first for stop in day.stops]


def test_one_scout_is_off_and_the_other_works(season: SeasonDay) -> None:
    """`--off Kim=2026-07-08` takes Wednesday from Kim alone; a bare date takes it from both."""
    route = route_week(season, asked(season, off=("kim=7/8/2026",)))
    assert TOMORROW not in days_of(route, "Kim")
    assert TOMORROW in days_of(route, "Ann B")
    for one in route.moved:
        if one.was == (TOMORROW, "Kim"):
            assert (one.day_off, one.off_for) == (TOMORROW, "Kim")
    nobody = route_week(season, asked(season, off=("2026-07-08",)))
    assert all(day.date != TOMORROW for day in nobody.days)


def test_one_scout_goes_on_from_a_field_and_the_other_starts_at_home(season: SeasonDay) -> None:
    """`--from "Kim=1:30 pm" --at Kim=F07` is Kim's day; Ann's stays as it is in season.toml."""
    field = season.fields[0].forecast.field
    request = asked(season, from_=("Kim = 1:30 pm",), at=(f"Kim={field.field_id.lower()}",))
    route = route_week(season, request)
    kim, ann = days_of(route, "Kim"), days_of(route, "Ann B")
    assert kim[TODAY].leave_home.time() >= dt.time(13, 30)
    assert kim[TODAY].start == (field.latitude, field.longitude)
    assert all(day.starts_at is None for date, day in kim.items() if date != TODAY)
    assert all(day.starts_at is None for day in ann.values())
    assert ann[TODAY].leave_home.time() < dt.time(13, 30)


def test_what_is_said_of_one_scout_stands_over_what_is_said_of_all(season: SeasonDay) -> None:
    """With `--from 10:00 --from Kim=12:45` Ann starts at ten, and Kim at a quarter to one."""
    route = route_week(season, asked(season, from_=("10:00", "Kim=12:45")))
    left = {day.scout: day.leave_home.time() for day in route.days if day.date == TODAY}
    assert left["Ann B"] >= dt.time(10)
    assert left["Kim"] >= dt.time(12, 45)


def test_all_that_is_wrong_is_told_at_once_with_the_scouts_there_are(season: SeasonDay) -> None:
    """A misspelt scout, a day, a time, a field and one said twice are one list of sentences."""
    with pytest.raises(SeasonProblems) as told:
        asked(
            season, done=("nowhere",),
            off=("Kmi=2026-07-08", "Kim=someday", "Kim=2026-09-01", "Ann B=2026-07-07"),
            from_=("Kim=25:00", "12:00", "13:00", "Ann B=8am"), at=("Kim=nowhere", "F01"),
        )  # fmt: skip
    found = {(p.file, p.found or p.message) for p in told.value.problems}
    assert found == {
        ("--off", "someday"), ("--off", "Kmi"), ("--off", "2026-09-01"), ("--from", "25:00"),
        ("--from", "this is given twice for all"), ("--done", "nowhere"), ("--at", "nowhere"),
        ("--from", "Ann B does not work on Tue 7 Jul"), ("--at", "F01"),
    }  # fmt: skip
    (name,) = [p for p in told.value.problems if p.found == "Kmi"]
    assert name.accepted == "Kim, Ann B"


def test_a_season_without_names_says_that_no_name_is_wanted(demo: Path) -> None:
    """Where season.toml names no scouts, `--off Kim=DATE` says so and names the remedy."""
    told = run_command("week", demo, "--as-of", "2026-07-07", "--off", "Kim=2026-07-08")
    assert told.code == 2
    assert "season.toml names no scouts: leave the name out" in " ".join(told.err.split())


@cache
def _free(season: SeasonDay) -> WeekRoute:
    return route_week(season, PLAIN)


def _is_kept(before: WeekRoute, after: WeekRoute) -> bool:
    """Whether today's stops are all there, by the same scouts and in the same order."""
    left = iter([stop[:2] for stop in today_of(after)])
    return all(stop[:2] in left for stop in today_of(before))


@settings(max_examples=8)
@given(
    off=st.lists(st.tuples(st.sampled_from([None, "Kim", "Ann B"]), st.integers(1, 6)), max_size=3),
    blocked=st.lists(
        st.tuples(st.integers(0, 200), st.integers(1, 6), st.integers(0, 6)), max_size=3
    ),
)
@example(off=[(None, 1)], blocked=[])
@example(off=[("Kim", 1), ("Kim", 2)], blocked=[])
def test_what_changes_on_a_later_day_leaves_today_as_it_was(
    season: SeasonDay, off: list[tuple[Whose, int]], blocked: list[tuple[int, int, int]]
) -> None:
    """Scouts fall ill and fields are blocked from tomorrow on: today's stops stay in their order.

    A stop is put between them only for a field that would have to be left out else, and all is
    planned anew only for one that must be walked.
    """
    ids = [plan.field_id for plan in season.fields]
    shut = tuple(
        Blocked(
            ids[name % len(ids)], TODAY + first * ONE_DAY, TODAY + (first + more) * ONE_DAY,
            0, DAY_S, "invented", 2,
        )
        for name, first, more in blocked
    )  # fmt: skip
    loaded = replace(season.loaded, season=replace(season.loaded.season, blocked=shut))
    before = _free(season)
    other = changed(season, loaded=loaded)
    days_off = tuple((whose, TODAY + day * ONE_DAY) for whose, day in off)
    after = route_week(other, replace(PLAIN, off=days_off))
    if not _is_kept(before, after):
        new = {name for _, name, _ in today_of(after)} - {name for _, name, _ in today_of(before)}
        limits = (season.field(name).visit.limit for name in new)
        assert any(limit <= after.last_day for limit in limits if limit)
    elif len(today_of(after)) == len(today_of(before)):
        assert today_of(after) == today_of(before)


def test_the_screen_and_the_document_say_what_was_walked_today(demo: Path, tmp_path: Path) -> None:
    """A visit that is logged today is shown as walked, and is not planned for today again."""
    folder = Path(shutil.copytree(demo, tmp_path / "season"))
    before = run_command("week", folder, "--as-of", "2026-07-07", "--format", "json")
    first = json.loads(before.out)["days"][0]["stops"][0]["field_id"]
    seen = ("--date", "2026-07-07", "--set", "25 sweeps: stink bugs 0")
    assert run_command("log", "add", folder, first, *seen).code == 0
    told = run_command("week", folder, "--as-of", "2026-07-07", "--format", "json")
    document = json.loads(told.out)
    assert document["walked_today"] == [first]
    today = [day for day in document["days"] if day["date"] == "2026-07-07"]
    assert all(stop["field_id"] != first for day in today for stop in day["stops"])
    screen = run_command("week", folder, "--as-of", "2026-07-07")
    assert f"already walked: {first}" in screen.out
