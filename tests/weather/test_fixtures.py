"""The invented weather and the demo season are what their readmes say."""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import importlib.util
import itertools
import math
import sqlite3
import sys
import tomllib
from collections import defaultdict
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
WEATHER = ROOT / "weather_fixtures"
DEMO = ROOT / "demo"
AS_OF = dt.date(2026, 7, 7)


def _generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("fixture_generator", WEATHER / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up by name
    spec.loader.exec_module(module)
    return module


generate = _generator()
STATIONS = [place.station for place in generate.STATIONS]


@pytest.fixture(scope="module")
def made_again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the fixtures made again from the seed."""
    folder = tmp_path_factory.mktemp("weather_fixtures")
    generate.write_all(folder)
    return folder


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _days_f(station: str) -> list[tuple[dt.date, float, float]]:
    """Every complete day of a committed station file, as (date, tmin, tmax) in deg F."""
    days = []
    for row in _rows(WEATHER / f"{station}.csv"):
        low, high = (row.get(f"{name}_f", row.get(f"{name}_c", "")) for name in ("tmin", "tmax"))
        assert bool(low) == bool(high), f"{station} {row['date']}: one value of two"
        if low and high:
            scale, zero = (1.0, 0.0) if "tmin_f" in row else (1.8, 32.0)
            days.append(
                (
                    dt.date.fromisoformat(row["date"]),
                    float(low) * scale + zero,
                    float(high) * scale + zero,
                )
            )
    return days


def _distance_km(a: dict[str, str], b: dict[str, str]) -> float:
    lat_a, lon_a, lat_b, lon_b = (
        math.radians(float(p[name])) for p in (a, b) for name in ("latitude", "longitude")
    )
    h = (
        math.sin((lat_b - lat_a) / 2) ** 2
        + math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    )
    return 2 * 6371.0 * math.asin(math.sqrt(h))


def _tables(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with sqlite3.connect(path) as connection:
        names = [
            name
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        content = {n: sorted(connection.execute(f"SELECT * FROM {n}").fetchall()) for n in names}
    connection.close()
    return content


def test_plain_files_are_remade_to_the_byte(made_again: Path) -> None:
    """Running the generator again gives the committed CSV files, byte for byte."""
    for name in ["stations.csv", *(f"{s}.csv" for s in STATIONS)]:
        assert (made_again / name).read_bytes() == (WEATHER / name).read_bytes(), name


def test_service_files_are_remade(made_again: Path) -> None:
    """The compressed files hold the committed text, and all and only those files are made.

    Text is compared, not compressed bytes, because those differ between zlib releases.
    """
    names = {p.relative_to(WEATHER) for p in WEATHER.glob("daily/*/*.csv.gz")}
    assert names == {p.relative_to(made_again) for p in made_again.glob("daily/*/*.csv.gz")}
    assert len(names) == 15
    for name in names:
        remade = gzip.decompress((made_again / name).read_bytes())
        assert remade == gzip.decompress((WEATHER / name).read_bytes()), name


def test_compressed_bytes_carry_no_clock(made_again: Path, tmp_path: Path) -> None:
    """On one machine two runs give the same compressed bytes, with no time in the header."""
    generate.write_all(tmp_path)
    for path in made_again.glob("daily/*/*.csv.gz"):
        assert path.read_bytes() == (tmp_path / path.relative_to(made_again)).read_bytes()
        assert path.read_bytes()[4:8] == b"\0\0\0\0"


def test_station_list_is_remade(made_again: Path) -> None:
    """The station list remade has the tables and rows of the committed one."""
    tables = _tables(made_again / "stations.db")
    assert tables == _tables(WEATHER / "stations.db")
    assert set(tables) == {"stations", "names", "identifiers", "inventory"}
    assert [row[0] for row in tables["stations"]] == ["ZZ001", "ZZ002", "ZZ003"]


@pytest.mark.parametrize("station", STATIONS)
def test_monthly_means_follow_the_normals(station: str) -> None:
    """Past seasons average to the normals of the place, in every month, within 1.5 deg F."""
    place = next(p for p in generate.STATIONS if p.station == station)
    normal_max, normal_min = generate.station_normals_f(place)
    by_month = defaultdict(list)
    for day, low, high in _days_f(station):
        if day.year < AS_OF.year:
            by_month[day.month].append((high, low))
    for month, values in by_month.items():
        high, low = np.mean(values, axis=0)
        assert high == pytest.approx(normal_max[month - 1], abs=1.5)
        assert low == pytest.approx(normal_min[month - 1], abs=1.5)
    assert len(by_month) == 12


def test_normals_are_near_official_daily_normals() -> None:
    """The area's daily normals lie within 3 deg F of those published for Paducah, 60 km north.

    National Weather Service, Paducah, daily climate reports (CLIPAH), normals 1991-2020. The
    generator's one offset was set from these four dates; its curve between months was not.
    """
    published = {(1, 18): (44, 27), (5, 23): (81, 60), (12, 22): (47, 30), (12, 25): (46, 29)}
    curves = [generate.smooth_year(monthly) for monthly in generate.regional_normals_f()]
    for (month, day), values in published.items():
        normal = [generate.on_days(c, [dt.date(2025, month, day)])[0] for c in curves]
        assert normal == pytest.approx(values, abs=3.0)


def test_daily_normals_average_to_the_monthly_ones() -> None:
    """The smooth year has exactly the monthly means it was given and no step at new year."""
    monthly = np.array([3.0, 9.0, -2.0, 5.0, 5.0, 5.0, 8.0, 1.0, 0.0, 4.0, 7.0, -6.0])
    curve = generate.smooth_year(monthly)
    starts = np.concatenate([[0], np.cumsum(generate.MONTH_DAYS)])
    means = [curve[a:b].mean() for a, b in itertools.pairwise(starts)]
    assert means == pytest.approx(list(monthly), abs=1e-8)
    assert abs(curve[0] - curve[-1]) < np.abs(np.diff(curve)).max()


@pytest.mark.parametrize("station", STATIONS)
def test_the_days_vary_as_days_do(station: str) -> None:
    """Summer days scatter less than spring days, and by amounts a mid-latitude summer has."""
    months = {"summer": (6, 7, 8), "spring": (3, 4)}
    spread = {}
    for season, chosen in months.items():
        groups = defaultdict(list)
        for day, _, high in _days_f(station):
            if day.month in chosen:
                groups[day.month].append(high)
        spread[season] = float(np.mean([np.std(v) for v in groups.values()]))
    assert 3.5 < spread["summer"] < 7.0
    assert 7.0 < spread["spring"] < 12.0


def test_stations_share_their_weather() -> None:
    """July maxima of any two stations rise and fall together: same region, own noise."""
    july = {s: {d: high for d, _, high in _days_f(s) if d.month == 7} for s in STATIONS}
    for other in STATIONS[1:]:
        common = sorted(july[STATIONS[0]].keys() & july[other].keys())
        pair = [[july[s][d] for d in common] for s in (STATIONS[0], other)]
        assert 0.85 < np.corrcoef(pair)[0, 1] < 0.999


@pytest.mark.parametrize("station", STATIONS)
def test_minimum_below_maximum(station: str) -> None:
    """On every complete day of every station the minimum is below the maximum."""
    assert all(low < high for _, low, high in _days_f(station))


@pytest.mark.parametrize("station", STATIONS)
def test_days_run_without_a_break_and_holes_are_short(station: str) -> None:
    """Every date from 2013 to 7 July 2026 has a row; few are empty, never over 2 in a row."""
    rows = _rows(WEATHER / f"{station}.csv")
    dates = [dt.date.fromisoformat(row["date"]) for row in rows]
    assert dates[0] == dt.date(2013, 1, 1)
    assert dates[-1] == AS_OF
    assert all((b - a).days == 1 for a, b in itertools.pairwise(dates))
    complete = {day for day, _, _ in _days_f(station)}
    empty = [day for day in dates if day not in complete]
    assert 3 <= len(empty) <= 16
    runs = "".join(" " if day in complete else "x" for day in dates).split()
    assert max(map(len, runs)) <= 2


def test_one_station_has_a_hole_in_june() -> None:
    """DEMO02 misses 11 and 12 June 2026 and no station misses any other day of that season."""
    for station in STATIONS:
        complete = {day for day, _, _ in _days_f(station)}
        season = {dt.date(2026, 1, 1) + dt.timedelta(days=i) for i in range(188)}
        expected = {dt.date(2026, 6, 11), dt.date(2026, 6, 12)} if station == "DEMO02" else set()
        assert season - complete == expected


def test_service_files_have_the_documented_columns() -> None:
    """Each value column has its source beside it; only days after the last observed are model."""
    for path in WEATHER.glob("daily/*/*.csv.gz"):
        rows = list(csv.DictReader(gzip.decompress(path.read_bytes()).decode().splitlines()))
        assert list(rows[0]) == [
            *("year", "month", "day"),
            *(f"{v}{end}" for v in ("temp", "tmin", "tmax", "prcp") for end in ("", "_source")),
        ]
        for row in rows:
            day = dt.date(int(row["year"]), int(row["month"]), int(row["day"]))
            assert str(day.year) == path.parent.name
            source = "ghcnd" if day <= AS_OF else "dwd_mosmix"
            assert row["tmin_source"] == row["tmax_source"] == (source if row["tmin"] else "")
        model = [row for row in rows if row["tmin_source"] == "dwd_mosmix"]
        assert len(model) == (9 if path.parent.name == "2026" else 0)


def test_service_files_and_station_files_agree() -> None:
    """A station says the same in both formats, to the rounding of its unit."""
    for place in generate.STATIONS:
        own = {day: (low, high) for day, low, high in _days_f(place.station)}
        path = WEATHER / "daily" / "2024" / f"{place.service_id}.csv.gz"
        for row in csv.DictReader(gzip.decompress(path.read_bytes()).decode().splitlines()):
            day = dt.date(int(row["year"]), int(row["month"]), int(row["day"]))
            assert (day in own) == bool(row["tmin"])
            if day in own:
                service = [float(row[name]) * 1.8 + 32.0 for name in ("tmin", "tmax")]
                assert service == pytest.approx(own[day], abs=0.15)


@pytest.mark.parametrize("folder", [WEATHER, DEMO])
def test_readmes_say_invented(folder: Path) -> None:
    """A reader who opens either folder is told that what is in it is invented."""
    first = (folder / "README.md").read_text(encoding="utf-8").splitlines()[2]
    assert "invented.**" in first


def test_fixtures_stay_small() -> None:
    """The fixtures stay under 1.5 MB together."""
    files = [p for p in WEATHER.rglob("*") if p.is_file() and "__pycache__" not in p.parts]
    assert sum(p.stat().st_size for p in files) < 1_500_000


def test_demo_fields_lie_near_a_station() -> None:
    """Every demo field is within 40 km of a station, and the 24 ids are all different."""
    fields, stations = _rows(DEMO / "fields.csv"), _rows(WEATHER / "stations.csv")
    for field in fields:
        assert min(_distance_km(field, station) for station in stations) < 40.0
    assert len({field["field_id"] for field in fields}) == len(fields) == 24


def test_demo_fields_header() -> None:
    """The demo's field file has the twelve documented columns in their order."""
    header = (DEMO / "fields.csv").read_text(encoding="utf-8").splitlines()[0]
    assert header == (
        "field_id,grower,field_name,latitude,longitude,area_acres,planting_date,"
        "maturity_group,growth_habit,notes,emergence_date,station"
    )


def test_demo_planting_spans_ten_weeks() -> None:
    """Planting runs over at least 63 days and ends before the day the demo is run."""
    planted = [dt.date.fromisoformat(f["planting_date"]) for f in _rows(DEMO / "fields.csv")]
    assert (max(planted) - min(planted)).days >= 63
    assert max(planted) < AS_OF


def test_demo_has_one_plausible_and_one_doubtful_emergence() -> None:
    """Two fields carry an emergence date: one 9 and one only 2 days after planting."""
    waits = sorted(
        (
            dt.date.fromisoformat(f["emergence_date"]) - dt.date.fromisoformat(f["planting_date"])
        ).days
        for f in _rows(DEMO / "fields.csv")
        if f["emergence_date"]
    )
    assert waits == [2, 9]


def test_demo_visits_refer_to_demo_fields() -> None:
    """Visits name known fields and pressures, on working days of the last three weeks."""
    planted = {
        f["field_id"]: dt.date.fromisoformat(f["planting_date"]) for f in _rows(DEMO / "fields.csv")
    }
    working = tomllib.loads((DEMO / "season.toml").read_text(encoding="utf-8"))["working_days"]
    visits = _rows(DEMO / "visits.csv")
    for visit in visits:
        day = dt.date.fromisoformat(visit["date"])
        assert visit["pressure"] in {"near threshold", "some", "virtually none"}
        assert dt.date(2026, 6, 16) <= day < AS_OF
        assert day.strftime("%a").lower() in working
        assert (day - planted[visit["field_id"]]).days > 30
    assert len({visit["field_id"] for visit in visits}) == 15
