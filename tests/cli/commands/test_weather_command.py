"""``stagecast weather``: which years are asked for in which cells, against a service of files."""

from __future__ import annotations

import contextlib
import datetime as dt
import gzip
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import NoWeatherThere, SeasonProblems
from stagecast.cli.weather_command import run_weather
from stagecast.knowledge import load
from stagecast.weather.past_years import settled, years_missing
from stagecast.weather.records import DayKind, Station, StationRecord, WeatherRequest
from stagecast.weather.sources import meteostat, network_source
from stagecast.weather.sources.meteostat import Cell, Meteostat
from stagecast.weather.store import STORE_NAME, WeatherStore, YearHeld

WEST, EAST = "cell_35.00_-92.00", "cell_35.00_-88.00"
# invented; 360 km apart, so that each cell has one station
STATIONS = {"INVW1": ("Invented West", 35.0, -92.0), "INVE1": ("Invented East", 35.0, -88.0)}
FIELDS = {"W1": (35.0, -92.0), "E1": (35.0, -88.0)}
SEASON = 2025
AUTUMN = dt.date(2025, 9, 1)
LIMITS = load().weather
ASKED = int(LIMITS.alike_answers)
"""On so many days a year is asked for of which there is no more."""


# --- which years ----------------------------------------------------------------------------


@pytest.fixture
def store(tmp_path: Path) -> WeatherStore:
    """An empty store in a season folder."""
    return WeatherStore(tmp_path / STORE_NAME)


def put(store: WeatherStore, cell: str, first: dt.date, last: dt.date) -> None:
    """Store observed days of a cell."""
    low = np.zeros((last - first).days + 1)
    kind = np.full(len(low), DayKind.OBSERVED, dtype=np.int8)
    record = StationRecord(Station(cell, 35.0, -90.0), first, low, low + 9, kind)
    store.save([record], fetched_on=AUTUMN, source="invented")


def missing(store: WeatherStore, *cells: str, past: int = 3) -> dict[int, list[str]]:
    """What is still to be asked for in the autumn of the season."""
    return years_missing(store, cells, year=SEASON, past=past, through=AUTUMN, limits=LIMITS)


def test_an_empty_store_lacks_every_year(store: WeatherStore) -> None:
    """All past years of all cells, the latest first."""
    assert list(missing(store, WEST, EAST).items()) == [
        (2024, [WEST, EAST]),
        (2023, [WEST, EAST]),
        (2022, [WEST, EAST]),
    ]


def test_a_new_cell_lacks_what_another_cell_holds(store: WeatherStore) -> None:
    """Years are held cell by cell."""
    put(store, WEST, dt.date(2022, 1, 1), dt.date(2024, 12, 31))
    assert missing(store, WEST) == {}
    assert missing(store, WEST, EAST) == {2024: [EAST], 2023: [EAST], 2022: [EAST]}


@pytest.mark.parametrize(("last", "held"), [((12, 23), False), ((12, 24), True), ((6, 30), False)])
def test_half_a_year_is_not_a_year(store: WeatherStore, last: tuple[int, int], held: bool) -> None:
    """A year whose observed days end before its last week is asked for again."""
    put(store, WEST, dt.date(2024, 1, 1), dt.date(2024, *last))
    assert missing(store, WEST, past=1) == ({} if held else {2024: [WEST]})


def ask(store: WeatherStore, cell: str, year: int, *, days: int) -> None:
    """Ask for all of a year on some days in a row, and get nothing new."""
    for day in range(days):
        store.note_whole_year([cell], year, asked_on=AUTUMN + dt.timedelta(days=day))


def test_a_part_of_a_year_is_asked_for_until_it_is_believed(store: WeatherStore) -> None:
    """January to March of a year is no year; after the same answer on some days it is all."""
    put(store, WEST, dt.date(2024, 1, 1), dt.date(2024, 3, 31))
    ask(store, WEST, 2024, days=ASKED - 1)
    assert missing(store, WEST, past=1) == {2024: [WEST]}
    ask(store, WEST, 2024, days=ASKED)
    assert missing(store, WEST, EAST, past=1) == {2024: [EAST]}
    again = years_missing(
        store, [WEST, EAST], year=SEASON, past=1, through=AUTUMN, limits=LIMITS, again=2024
    )
    assert again == {2024: [WEST, EAST]}


def test_a_station_left_out_once_is_asked_for_again(store: WeatherStore) -> None:
    """A year is whole for every cell of its own: the others' days do not stand for it."""
    put(store, WEST, dt.date(2024, 1, 1), dt.date(2024, 12, 31))
    store.note_whole_year([WEST, EAST], 2024, asked_on=AUTUMN)
    assert missing(store, WEST, EAST, past=1) == {2024: [EAST]}


def test_a_year_with_some_holes_is_held_once_it_was_asked_for(store: WeatherStore) -> None:
    """Nearly all days are enough, also where the last weeks are what is not there."""
    put(store, WEST, dt.date(2024, 1, 1), dt.date(2024, 12, 20))
    assert missing(store, WEST, past=1) == {2024: [WEST]}
    ask(store, WEST, 2024, days=1)
    assert missing(store, WEST, past=1) == {}


def test_nothing_older_than_an_empty_year_is_asked_for(store: WeatherStore) -> None:
    """Where a year had no day again and again, the search back has ended, for that cell."""
    put(store, WEST, dt.date(2024, 1, 1), dt.date(2024, 12, 31))
    ask(store, WEST, 2023, days=ASKED)
    assert missing(store, WEST, EAST) == {2024: [EAST], 2023: [EAST], 2022: [EAST]}


@given(past=st.integers(1, 10000), through=st.dates())
def test_the_calendar_bounds_the_past(past: int, through: dt.date) -> None:
    """However many seasons are wanted, no year before the calendar or after the last day."""
    store = WeatherStore(Path("absent") / STORE_NAME)
    years = list(
        years_missing(store, [WEST], year=SEASON, past=past, through=through, limits=LIMITS)
    )
    first = max(SEASON - past, 1)
    assert years == [y for y in range(SEASON - 1, first - 1, -1) if dt.date(y, 1, 1) <= through]


def test_a_year_is_settled_some_weeks_after_its_end() -> None:
    """Asked for in part, or while the service still adds days to it, a year is not whole."""
    end = dt.date(2024, 12, 31)
    later = end + dt.timedelta(days=30)
    assert settled(2024, through=end, today=later)
    assert not settled(2024, through=end, today=later - dt.timedelta(days=1))
    assert not settled(2024, through=end - dt.timedelta(days=1), today=later)


# --- the command ----------------------------------------------------------------------------


def year_file(year: int) -> bytes:
    """Four observed days of a year, the last of them far from its end."""
    head = "year,month,day,tmin,tmin_source,tmax,tmax_source"
    lines = [f"{year},6,{day},{10 + day},ghcnd,{20 + day},ghcnd" for day in range(1, 5)]
    return gzip.compress("\n".join([head, *lines, ""]).encode("ascii"), mtime=0)


class Answers(Meteostat):
    """The same service without its process: what the worker would answer, from the same days.

    That the worker answers so is shown by the tests that take ``service``.
    """

    HAS: ClassVar = {WEST: {2023, 2024, 2025}, EAST: {2025}}

    def _ask(self, cells: Sequence[Cell], request: WeatherRequest) -> dict[str, Any]:
        year = request.first_day.year
        days = [
            [f"{year}-06-{day:02}", 10 + day, 20 + day, "observed"]
            for day in range(1, 5)
            if request.first_day <= dt.date(year, 6, day) <= request.last_day
        ]
        places = [
            {"days": days if year in self.HAS[cell.cell] else [], "stations": [], "notes": [],
             "elevation_m": None}
            for cell in cells
        ]  # fmt: skip
        return {"outcome": "ok", "reason": "", "attribution": ["invented"], "places": places}


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command asks without a process: these tests are about what it asks for."""
    monkeypatch.setattr(meteostat, "SOURCE", network_source(Answers.within))


@pytest.fixture
def service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two stations; the one in the east has nothing before 2025."""
    folder = tmp_path / "service"
    folder.mkdir()
    with contextlib.closing(sqlite3.connect(folder / "stations.db")) as db:
        db.executescript(
            "CREATE TABLE stations (id, country, region, latitude REAL, longitude REAL, "
            "elevation INTEGER, timezone);"
            "CREATE TABLE names (station, language, name);"
            "CREATE TABLE identifiers (station, key, value);"
            "CREATE TABLE inventory (station, provider, parameter, start, end, completeness);"
        )
        for station, (name, *place) in STATIONS.items():
            row = (station, "US", "AR", *place, 80, "America/Chicago")
            db.execute("INSERT INTO stations VALUES (?, ?, ?, ?, ?, ?, ?)", row)
            db.execute("INSERT INTO names VALUES (?, 'en', ?)", (station, name))
        db.commit()
    for station, years in (("INVW1", (2023, 2024, 2025)), ("INVE1", (2025,))):
        for year in years:
            path = folder / "daily" / str(year) / f"{station}.csv.gz"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(year_file(year))
    monkeypatch.setenv("MS_DAILY_ENDPOINT", folder.as_uri() + "/daily/{year}/{station}.csv.gz")
    monkeypatch.setenv("MS_STATIONS_DB_FILE", str(folder / "stations.db"))
    monkeypatch.setenv("MS_STATIONS_DB_TTL", "10000000000")
    monkeypatch.setenv("MS_STATIONS_DB_ENDPOINTS", "[]")
    monkeypatch.setenv("MS_CACHE_DIRECTORY", str(folder / "cache"))
    return folder


def write_season(folder: Path, *fields: str, past_seasons: int, elevation_m: str = "") -> Path:
    """A season folder that takes its weather from the service."""
    folder.mkdir(exist_ok=True)
    folder.joinpath("season.toml").write_text(
        f'year = {SEASON}\nregion = "AR"\n\n[home]\nlatitude = 35.0\nlongitude = -90.0\n\n'
        f'[weather]\nsource = "meteostat"\npast_seasons = {past_seasons}\n',
        encoding="utf-8",
    )
    lines = [
        f"{name},Invented,{name},{FIELDS[name][0]},{FIELDS[name][1]},80,2025-05-05,4.5,,,{elevation_m}"
        for name in fields
    ]
    header = (
        "field_id,grower,field_name,latitude,longitude,area_acres,planting_date,maturity_group,"
        "growth_habit,notes,elevation_m"
    )
    folder.joinpath("fields.csv").write_text("\n".join([header, *lines, ""]), encoding="utf-8")
    return folder


def asked(capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The requests that the command told about."""
    lines = capsys.readouterr().out.splitlines()
    return [line.removeprefix("Fetching ") for line in lines if line.startswith("Fetching")]


@pytest.mark.usefixtures("answers")
def test_a_new_cell_gets_its_past_and_then_only_the_season_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A cell's years come in part: they are asked for on some days, and then believed."""
    folder = write_season(tmp_path / "season", "E1", past_seasons=1)
    for day in range(ASKED):
        run_weather(folder, through=AUTUMN, today=AUTUMN + dt.timedelta(days=day))
    screen = capsys.readouterr().out
    assert "Fetching 2024-01-01 to 2024-12-31 ..." in screen
    assert "going back no further there" in screen  # the east has no 2024

    write_season(folder, "E1", "W1", past_seasons=1)
    run_weather(folder, through=AUTUMN, today=AUTUMN)
    assert asked(capsys) == [
        "2025-01-01 to 2025-09-01 ...",
        "2024-01-01 to 2024-12-31 for 1 cell ...",
    ]
    for day in range(1, ASKED):
        run_weather(folder, through=AUTUMN, today=AUTUMN + dt.timedelta(days=day))
    assert asked(capsys).count("2024-01-01 to 2024-12-31 for 1 cell ...") == ASKED - 1
    run_weather(folder, through=AUTUMN, today=AUTUMN + dt.timedelta(days=ASKED))
    assert asked(capsys) == ["2025-01-01 to 2025-09-01 ..."]
    run_weather(folder, through=AUTUMN, today=AUTUMN + dt.timedelta(days=ASKED), again=2024)
    assert asked(capsys)[1] == "2024-01-01 to 2024-12-31 ..."

    last = WeatherStore(folder / STORE_NAME).observed_by_year()
    assert set(last) == {(EAST, 2025), (WEST, 2024), (WEST, 2025)}


@pytest.mark.usefixtures("answers")
def test_a_cell_without_a_past_does_not_cost_the_others_theirs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The east has no 2024: it stops there, and the west goes on to 2023."""
    folder = write_season(tmp_path / "season", "E1", "W1", past_seasons=2)
    run_weather(folder, through=AUTUMN, today=AUTUMN)
    assert asked(capsys) == [
        "2025-01-01 to 2025-09-01 ...",
        "2024-01-01 to 2024-12-31 ...",
        "2024-01-01 to 2024-12-31 for 1 cell ...",
        "2024-01-01 to 2024-12-31 for 1 cell ...",
        "2023-01-01 to 2023-12-31 for 1 cell ...",
    ]
    store = WeatherStore(folder / STORE_NAME)
    assert set(store.observed_by_year()) == {
        (EAST, 2025),
        *((WEST, y) for y in (2023, 2024, 2025)),
    }
    assert set(store.whole_years()) == {(EAST, 2024), (WEST, 2024), (WEST, 2023)}


def test_the_worker_tells_which_cells_have_no_past(
    service: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With real workers as with made answers: the east stops at 2024, the west keeps its 2024."""
    folder = write_season(tmp_path / "season", "E1", "W1", past_seasons=1)
    run_weather(folder, through=AUTUMN, today=AUTUMN)
    assert asked(capsys) == [
        "2025-01-01 to 2025-09-01 ...",
        "2024-01-01 to 2024-12-31 ...",
        "2024-01-01 to 2024-12-31 for 1 cell ...",
        "2024-01-01 to 2024-12-31 for 1 cell ...",
    ]
    store = WeatherStore(folder / STORE_NAME)
    assert set(store.observed_by_year()) == {(EAST, 2025), (WEST, 2024), (WEST, 2025)}
    assert set(store.whole_years()) == {(EAST, 2024), (WEST, 2024)}


@pytest.mark.usefixtures("answers")
def test_half_a_past_year_is_completed_later(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A past year cut short by --through is asked for again, as a whole."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=1)
    run_weather(folder, through=dt.date(2024, 6, 2), today=AUTUMN)
    assert asked(capsys) == ["2024-01-01 to 2024-06-02 ..."]
    run_weather(folder, through=dt.date(2024, 12, 31), today=AUTUMN)
    assert asked(capsys) == ["2024-01-01 to 2024-12-31 ..."]
    last = WeatherStore(folder / STORE_NAME).observed_by_year()
    assert last == {(WEST, 2024): YearHeld(dt.date(2024, 6, 4), 4)}


def test_an_elevation_in_feet_is_noted(
    service: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A field far above the stations around it is told, as its temperatures are made colder."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=1, elevation_m="262")
    put(WeatherStore(folder / STORE_NAME), WEST, dt.date(2024, 12, 1), dt.date(2024, 12, 31))
    run_weather(folder, through=AUTUMN, today=AUTUMN)
    screen = " ".join(capsys.readouterr().out.split())
    assert f"{WEST}: the fields lie at 262 m, 182 m above the mean of the stations used" in screen


def test_a_period_before_every_wanted_year_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is fetched, and the command says why instead of saying nothing."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=3)
    run_weather(folder, through=dt.date(2021, 12, 31), today=AUTUMN)
    screen = " ".join(capsys.readouterr().out.split())
    assert screen.startswith("Nothing to fetch: neither the season 2025 nor its past seasons from")
    assert "2022 on have begun by 2021-12-31" in screen


def test_a_season_to_come_with_its_past_stored_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All past years held and the season not begun: said, and nothing asked for."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=1)
    put(WeatherStore(folder / STORE_NAME), WEST, dt.date(2024, 1, 1), dt.date(2024, 12, 31))
    run_weather(folder, through=dt.date(2024, 12, 31), today=dt.date(2025, 1, 5))
    screen = " ".join(capsys.readouterr().out.split())
    assert screen.startswith("Nothing to fetch: the past seasons up to 2024-12-31 are stored")


def test_a_season_without_any_weather_is_an_error(service: Path, tmp_path: Path) -> None:
    """For the season itself, unlike for past years, no day at all is an outage."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=1)
    for path in (service / "daily" / "2025").iterdir():
        path.unlink()
    with pytest.raises(NoWeatherThere, match=f"no day with temperatures for {WEST}"):
        run_weather(folder, through=AUTUMN, today=AUTUMN)
    assert not (folder / STORE_NAME).exists()


def test_a_year_that_is_never_fetched_is_refused(tmp_path: Path) -> None:
    """``--again`` takes the season's year and its past ones; another is told in a sentence."""
    folder = write_season(tmp_path / "season", "W1", past_seasons=3)
    with pytest.raises(SeasonProblems, match="accepted: 2022 to 2025"):
        run_weather(folder, through=AUTUMN, today=AUTUMN, again=2021)


@pytest.mark.parametrize("asked", [{"again": 2024}, {"believe": "DEMO01"}])
def test_station_files_are_not_asked_again(demo: Path, asked: dict[str, Any]) -> None:
    """What only a service can answer is refused where the days lie in files."""
    with pytest.raises(SeasonProblems, match="come from the station files"):
        run_weather(demo, through=AUTUMN, today=AUTUMN, **asked)
