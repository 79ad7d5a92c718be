"""The meteostat source: real worker runs on made files and a local server, and every failure."""

from __future__ import annotations

import contextlib
import datetime as dt
import gzip
import http.server
import json
import math
import os
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import WeatherOutage
from stagecast.knowledge import load
from stagecast.weather.records import DayKind, FieldSite, Station, StationRecord, WeatherRequest
from stagecast.weather.refresh import refresh
from stagecast.weather.sources.meteostat import Meteostat, cell_at, cells_of
from stagecast.weather.store import STORE_NAME, WeatherStore

ROOT = Path(__file__).resolve().parents[2]
TODAY = dt.date(2024, 1, 10)
LIMITS = load().weather
NEW_YEAR = dt.date(2024, 1, 1)
HOME = FieldSite(35.12, -89.94, 85.0)  # in the cell around 35.10, -89.95
PERIOD = WeatherRequest((HOME,), dt.date(2023, 12, 31), TODAY)

# invented: id, name, latitude, longitude, elevation, last day of its inventory
STATIONS = [
    ("INV01", "Invented Airfield", 35.11, -89.96, 80, "2024-01-05"),
    ("INV02", "Invented Hill", 35.30, -89.70, 100, "2024-01-05"),
    ("INV03", "Invented Closed Mill", 35.10, -89.951, 82, "1987-06-30"),
]
Row = tuple[int, float | None, str, float | None, str]  # January day, tmin, source, tmax, source
AIRFIELD: list[Row] = [
    (1, 1.0, "ghcnd", 9.0, "ghcnd"),
    (2, 2.0, "isd_lite metar", 10.0, "ghcnd"),
    (5, 5.0, "ghcnd", 13.0, "ghcnd"),
    (6, 6.0, "ghcnd", 14.0, "ghcnd"),
    (7, 7.0, "ghcnd", 15.0, "dwd_mosmix"),
    (8, 8.0, "somebody_new", 16.0, "somebody_new"),
    (9, 9.0, "dwd_mosmix", 17.0, "dwd_mosmix"),
    (10, 9.0, "ghcnd", 5.0, "ghcnd"),
]
HILL: list[Row] = [
    (1, -3.0, "ghcnd", 5.0, "ghcnd"),
    (2, -2.0, "ghcnd", 6.0, "ghcnd"),
    (3, -1.0, "ghcnd", 7.0, "ghcnd"),
    (6, 0.0, "ghcnd dwd_mosmix", 8.0, "ghcnd dwd_mosmix"),
]
MILL: list[Row] = [(day, 40.0, "ghcnd", 50.0, "ghcnd") for day in range(1, 11)]


RAIN = {1: (4.2, "ghcnd"), 2: (6.0, "dwd_mosmix"), 5: (0.0, "ghcnd")}


def daily_gz(rows: list[Row], rain: Mapping[int, tuple[float, str]] | None = None) -> bytes:
    """A year file as the service has it: a value column and its source column in turn."""
    head = "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,prcp,prcp_source"
    lines = [
        f"2024,1,{day},,,{low},{low_source},{high},{high_source},"
        + ",".join(str(value) for value in (rain or {}).get(day, ("", "")))
        for day, low, low_source, high, high_source in rows
    ]
    return gzip.compress("\n".join([head, *lines, ""]).encode("ascii"), mtime=0)


def write_station_list(path: Path) -> None:
    """The station list as the service has it."""
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute(
            "CREATE TABLE stations (id, country, region, latitude REAL, longitude REAL, "
            "elevation INTEGER, timezone)"
        )
        db.execute("CREATE TABLE names (station, language, name)")
        db.execute("CREATE TABLE identifiers (station, key, value)")
        db.execute(
            "CREATE TABLE inventory (station, provider, parameter, start, end, completeness)"
        )
        for station, name, latitude, longitude, elevation_m, last in STATIONS:
            place = (station, "US", "TN", latitude, longitude, elevation_m, "America/Chicago")
            db.execute("INSERT INTO stations VALUES (?, ?, ?, ?, ?, ?, ?)", place)
            db.execute("INSERT INTO names VALUES (?, 'en', ?)", (station, name))
            for parameter in ("tmin", "tmax"):
                has = (station, "daily", parameter, "1950-01-01", last, 100)
                db.execute("INSERT INTO inventory VALUES (?, ?, ?, ?, ?, ?)", has)
        db.commit()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A service as files: station list and the 2024 file of each station, no other year."""
    write_station_list(tmp_path / "stations.db")
    year = tmp_path / "daily" / "2024"
    year.mkdir(parents=True)
    for station, rows in (("INV01", AIRFIELD), ("INV02", HILL), ("INV03", MILL)):
        rain = RAIN if station == "INV01" else None
        (year / f"{station}.csv.gz").write_bytes(daily_gz(rows, rain))
    return tmp_path


def local(folder: Path, *, daily: str | None = None) -> dict[str, str]:
    """Settings that keep meteostat on this machine."""
    return {
        "MS_DAILY_ENDPOINT": (daily or folder.as_uri()) + "/daily/{year}/{station}.csv.gz",
        "MS_STATIONS_DB_FILE": str(folder / "stations.db"),
        "MS_STATIONS_DB_TTL": "10000000000",
        "MS_STATIONS_DB_ENDPOINTS": "[]",
        "MS_CACHE_DIRECTORY": str(folder / "cache"),
    }


def source_on(
    environment: Mapping[str, str],
    *,
    deadline_s: float = 30.0,
    python: str = sys.executable,
    largest_answer_mb: float = 20.0,
) -> Meteostat:
    """A source as the program makes one."""
    return Meteostat(
        deadline_s=deadline_s,
        radius_km=50.0,
        station_limit=2,
        cell_deg=0.05,
        elevation_doubtful_m=150.0,
        largest_answer_mb=largest_answer_mb,
        environment=environment,
        python=python,
    )


def by_day(record: StationRecord) -> dict[str, tuple[float, float, DayKind]]:
    """``MM-DD`` -> tmin, tmax, kind of the days that are not missing."""
    days = {}
    for i in np.flatnonzero(record.kind != DayKind.MISSING).tolist():
        date = record.first_day + dt.timedelta(days=i)
        days[f"{date:%m-%d}"] = (record.tmin_c[i], record.tmax_c[i], DayKind(record.kind[i]))
    return days


# -- a good answer -----------------------------------------------------------------------


def test_cells_are_interpolated_and_every_day_is_marked(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One run: nearest used as is, distance and height weighted, model marked, holes kept."""
    # only the settings given to the source may count
    monkeypatch.setenv("MS_NETWORK_TIMEOUT", "not a number")  # would be an outage
    source = source_on(local(folder))
    between, high = FieldSite(35.25, -89.75), FieldSite(35.20, -89.80, 300.0)
    beyond = FieldSite(35.24, -89.75, 98425.0)  # no such height on earth: as if it were not given
    request = WeatherRequest(
        (HOME, FieldSite(35.11, -89.96), between, beyond, high), PERIOD.first_day, PERIOD.last_day
    )
    home_cell, high_cell, between_cell = source.fetch(request)
    assert [r.station.station for r in (home_cell, high_cell, between_cell)] == [
        "cell_35.10_-89.95",
        "cell_35.20_-89.80",
        "cell_35.25_-89.75",
    ]
    for record in (home_cell, high_cell, between_cell):
        assert (record.first_day, record.last_day) == (request.first_day, request.last_day)

    # the airfield, 1.4 km and 5 m away, is used as is; the closed mill, nearer, is not used
    assert home_cell.station.elevation_m == 85.0
    assert home_cell.station.name == (
        "interpolated from Invented Airfield (1.4 km), Invented Hill (31.8 km)"
    )
    assert by_day(home_cell) == {
        "01-01": (1.0, 9.0, DayKind.OBSERVED),
        "01-02": (2.0, 10.0, DayKind.OBSERVED),
        "01-03": (-1.0, 7.0, DayKind.OBSERVED),  # only the hill has it
        "01-05": (5.0, 13.0, DayKind.OBSERVED),
        "01-06": (6.0, 14.0, DayKind.OBSERVED),  # the blended hill took no part
        "01-07": (7.0, 15.0, DayKind.MODEL),  # one of the two temperatures is a forecast
        "01-08": (8.0, 16.0, DayKind.MODEL),  # a provider nobody vouches for
        "01-09": (9.0, 17.0, DayKind.MODEL),
    }  # 01-10 has its minimum above its maximum; 12-31 has no file, 01-04 no row
    # rain comes with them where it was measured, none of it from a model
    assert home_cell.rain_mm is not None
    rain = {i: mm for i, mm in enumerate(home_cell.rain_mm.tolist()) if mm == mm}
    assert rain == {1: pytest.approx(4.2), 5: 0.0}
    told = [(cell, note) for cell, notes in source.notes.items() for note in notes]
    assert any("left out: 1" in note for _, note in told)

    # far from both stations: inverse square of distance and height, 6.5 K per km of height
    assert by_day(high_cell)["01-01"][0] == pytest.approx(weighted(high, 1.0, -3.0), abs=0.11)
    assert by_day(high_cell)["01-06"][2] is DayKind.MODEL  # the blended hill took part

    # elevation unknown: guessed from the stations, and said
    metres = weigh_by_distance(35.25, -89.75)
    assert between_cell.station.elevation_m == pytest.approx(metres, abs=0.1)
    between = source.notes["cell_35.25_-89.75"]
    assert any(note.startswith("elevation unknown: taken as") for note in between)
    assert "an elevation of 98425 m is outside -500 to 9000 m and taken as unknown" in between

    # an elevation given is believed, and said where it is far from the stations': 80 and 100 m
    ((cell, far),) = [(cell, note) for cell, note in told if "stations used" in note]
    assert cell == "cell_35.20_-89.80"
    assert far.startswith("the fields lie at 300 m, 210 m above the mean of")

    assert source.attribution[0] == "Meteostat (CC BY 4.0)"
    assert any("Deutscher Wetterdienst (CC BY 4.0)" in name for name in source.attribution)
    assert any("NOAA GHCN-Daily (CC0 1.0 Universal)" in name for name in source.attribution)
    assert not (folder / "cache").exists()


def metres_between(latitude: float, longitude: float, station: int) -> float:
    """Great-circle distance to a station, by the law of cosines."""
    a, b = math.radians(latitude), math.radians(STATIONS[station][2])
    turn = math.radians(longitude - STATIONS[station][3])
    cosine = math.sin(a) * math.sin(b) + math.cos(a) * math.cos(b) * math.cos(turn)
    return 6371000 * math.acos(cosine)


def weighted(place: FieldSite, airfield_c: float, hill_c: float) -> float:
    """Temperature at a cell centre by the published formula of the interpolation."""
    terms = []
    for station, value in ((0, airfield_c), (1, hill_c)):
        height = STATIONS[station][4] - place.elevation_m
        distance = metres_between(place.latitude, place.longitude, station)
        weight = 1 / (distance**2 + (10 * height) ** 2)
        terms.append((weight, value + 0.0065 * height))
    return sum(w * v for w, v in terms) / sum(w for w, _ in terms)


def weigh_by_distance(latitude: float, longitude: float) -> float:
    """Mean station elevation weighted by inverse distance."""
    weights = [1 / metres_between(latitude, longitude, station) for station in (0, 1)]
    return (weights[0] * 80 + weights[1] * 100) / sum(weights)


def test_the_invented_weather_of_the_project_is_served() -> None:
    """The files in weather_fixtures/ give 45 days, the forecast ones marked as such."""
    source = source_on(local(ROOT / "weather_fixtures"))
    request = WeatherRequest(
        (FieldSite(36.46, -89.01, 95.0),), dt.date(2026, 6, 1), dt.date(2026, 7, 16)
    )
    (record,) = source.fetch(request)
    assert record.last_observed() == dt.date(2026, 7, 7)
    assert record.kind.tolist() == [DayKind.OBSERVED] * 37 + [DayKind.MODEL] * 9
    assert "Invented River Bottom" in record.station.name


# -- a service that fails ----------------------------------------------------------------


class Server:
    """A local web server; ``reply`` decides what each path gets."""

    def __init__(self, reply: Callable[[str], tuple[int, bytes] | None]) -> None:
        self.stop = threading.Event()
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                answer = reply(self.path)
                if answer is None:
                    outer.stop.wait(30)  # accept and never answer
                    return
                self.send_response(answer[0])
                self.send_header("Content-Length", str(len(answer[1])))
                self.end_headers()
                self.wfile.write(answer[1])

            def log_message(self, *_: object) -> None:
                """Keep the test output quiet."""

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,))

    def __enter__(self) -> Server:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture
def filled(tmp_path: Path) -> WeatherStore:
    """A store that holds days of an earlier refresh."""
    low = np.arange(10.0)
    kind = np.array([DayKind.OBSERVED] * 9 + [DayKind.MODEL], dtype=np.int8)
    cell = Station("cell_35.10_-89.95", 35.10, -89.95, 85.0)
    store = WeatherStore(tmp_path / STORE_NAME)
    record = StationRecord(cell, NEW_YEAR, low, low + 8, kind)
    store.save([record], fetched_on=NEW_YEAR, source="earlier")
    return store


@contextlib.contextmanager
def unchanged(store: WeatherStore) -> Iterator[None]:
    """The store file is the same to the byte afterwards."""
    before = store.path.read_bytes()
    yield
    assert store.path.read_bytes() == before
    assert [record.days for record in store.load()] == [10]


def _broken(kind: str) -> tuple[int, bytes] | None:
    body = daily_gz(AIRFIELD)
    return {
        "404": (404, b""),
        "500": (500, b""),
        "truncated": (200, body[: len(body) // 2]),
        "garbage": (200, b"<html>please log in</html>"),
        "hang": None,
    }[kind]


@pytest.mark.parametrize(
    ("failure", "sentence"),
    [
        ("404", "no day with temperatures for cell_35.10_-89.95 from 2023-12-31 to 2024-01-10"),
        ("500", r'HTTP error .* station "INV02" and year "2024" \(status: 500\)'),
        ("truncated", 'Could not load data file for station "INV02" and year "2024" .*EOFError'),
        ("garbage", 'Could not load data file for station "INV02" and year "2024" .*BadGzipFile'),
        ("hang", "no answer within 2 seconds|timed out"),
    ],
)
def test_a_failing_service_is_an_outage_and_costs_no_day(
    folder: Path, filled: WeatherStore, failure: str, sentence: str
) -> None:
    """One unreadable file among good ones, or none at all: an outage, and the store as before."""

    def reply(path: str) -> tuple[int, bytes] | None:
        if "2024" not in path:
            return (404, b"")
        if "INV01" in path and failure != "404":
            return (200, daily_gz(AIRFIELD))
        return _broken(failure)

    with Server(reply) as server:
        source = source_on(
            local(folder, daily=server.url), deadline_s=2.0 if failure == "hang" else 30.0
        )
        with unchanged(filled), pytest.raises(WeatherOutage, match=sentence) as caught:
            refresh(filled, source, PERIOD, fetched_on=TODAY, limits=LIMITS)
    assert caught.value.service == "meteostat"
    assert "the stored days remain in use" in str(caught.value)


def test_a_refused_station_list_is_an_outage(folder: Path, filled: WeatherStore) -> None:
    """Without a station list and without a connection: an outage that says so."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))  # bound but not listening: connections are refused
        address = f"http://127.0.0.1:{unused.getsockname()[1]}/stations.db"
        (folder / "stations.db").unlink()
        environment = local(folder) | {"MS_STATIONS_DB_ENDPOINTS": json.dumps([address])}
        with unchanged(filled), pytest.raises(WeatherOutage, match="no usable station list"):
            refresh(filled, source_on(environment), PERIOD, fetched_on=TODAY, limits=LIMITS)


def test_a_broken_station_list_does_not_stay(folder: Path, filled: WeatherStore) -> None:
    """A list cut short on the way is an outage now, not a broken list for the next month."""
    whole = (folder / "stations.db").read_bytes()
    (folder / "stations.db").unlink()
    with Server(lambda path: (200, whole[:5000])) as server:
        environment = local(folder) | {
            "MS_STATIONS_DB_ENDPOINTS": json.dumps([f"{server.url}/stations.db"])
        }
        with unchanged(filled), pytest.raises(WeatherOutage, match="no usable station list"):
            refresh(filled, source_on(environment), PERIOD, fetched_on=TODAY, limits=LIMITS)
    assert list(folder.glob("stations.db*")) == []


def test_text_among_the_temperatures_names_the_station(folder: Path, filled: WeatherStore) -> None:
    """One file of several holds a word for a number: an outage that says whose file it is."""
    text = gzip.decompress(daily_gz(HILL)).replace(b",-3.0,", b",chilly,")
    (folder / "daily" / "2024" / "INV02.csv.gz").write_bytes(gzip.compress(text))
    sentence = (
        r'the file of station "INV02" \(Invented Hill\) for .* cannot be read as temperatures'
    )
    with unchanged(filled), pytest.raises(WeatherOutage, match=sentence) as caught:
        refresh(filled, source_on(local(folder)), PERIOD, fetched_on=TODAY, limits=LIMITS)
    assert "worker" not in str(caught.value)
    assert caught.value.exit_code == 3


def test_a_damaged_station_list_is_named(folder: Path, filled: WeatherStore) -> None:
    """A kept list that went bad: which file it is and what to do, without any SQL."""
    stations = folder / "stations.db"
    stations.write_bytes(stations.read_bytes()[:4096] + b"\xff" * 8192)
    with unchanged(filled), pytest.raises(WeatherOutage) as caught:
        refresh(filled, source_on(local(folder)), PERIOD, fetched_on=TODAY, limits=LIMITS)
    assert f"{stations} cannot be used (" in str(caught.value)
    assert "delete that file, and a new list is fetched" in str(caught.value)
    assert "select" not in str(caught.value).lower()


def test_a_place_without_stations_says_what_to_do(folder: Path, filled: WeatherStore) -> None:
    """Far from every station: an outage with the place, the radius and the way out."""
    request = WeatherRequest((HOME, FieldSite(44.0, -93.0)), PERIOD.first_day, PERIOD.last_day)
    with unchanged(filled), pytest.raises(WeatherOutage) as caught:
        refresh(filled, source_on(local(folder)), request, fetched_on=TODAY, limits=LIMITS)
    assert caught.value.reason == "no station with temperatures within 50 km of 44.00, -93.00"
    assert caught.value.next_step.startswith("widen the search radius")


def test_refreshing_over_http_adds_days_and_never_removes_any(
    folder: Path, filled: WeatherStore
) -> None:
    """Two refreshes, the second with less: new days stored, days no longer served kept."""
    whole = (folder / "stations.db").read_bytes()
    (folder / "stations.db").unlink()
    rows = list(AIRFIELD)
    asked: list[str] = []

    def reply(path: str) -> tuple[int, bytes]:
        asked.append(path)
        if path == "/stations.db":
            return (200, whole)
        return (200, daily_gz(rows)) if path == "/daily/2024/INV01.csv.gz" else (404, b"")

    with Server(reply) as server:
        environment = local(folder, daily=server.url) | {
            "MS_STATIONS_DB_ENDPOINTS": json.dumps([f"{server.url}/stations.db"])
        }
        source = source_on(environment)
        report = refresh(filled, source, PERIOD, fetched_on=TODAY, limits=LIMITS)
        # stored before: 1 to 9 January observed, 10 forecast; served: 1, 2, 5, 6 observed
        assert (report.records, report.new_observed_days, report.model_days) == (1, 0, 3)
        assert report.last_observed == {"cell_35.10_-89.95": dt.date(2024, 1, 9)}
        assert report.attribution == source.attribution
        (record,) = filled.load()
        assert record.tmin_c.tolist() == [1.0, 2.0, 2.0, 3.0, 5.0, 6.0, 6.0, 7.0, 8.0, 9.0]
        assert record.kind.tolist() == [DayKind.OBSERVED] * 9 + [DayKind.MODEL]
        assert record.fetched_on == {9: NEW_YEAR}

        rows[:] = [(1, 1.5, "ghcnd", 9.5, "ghcnd")]
        refresh(filled, source, PERIOD, fetched_on=TODAY, limits=LIMITS)
        (after,) = filled.load()
        assert after.tmin_c.tolist() == [1.5, *record.tmin_c.tolist()[1:]]
        assert after.kind.tolist() == record.kind.tolist()
    assert asked.count("/stations.db") == 1  # fetched once, then kept
    assert (folder / "stations.db").read_bytes() == whole


# -- a worker that fails -----------------------------------------------------------------


def worker(tmp_path: Path, script: str) -> str:
    """An executable that stands in for the interpreter."""
    path = tmp_path / "python"
    path.write_text(f"#!/bin/sh\n{script}\n", encoding="ascii")
    path.chmod(0o755)
    return str(path)


def _says(**changes: object) -> str:
    place = {"elevation_m": None, "notes": [], "stations": [], "days": []}
    answer: dict[str, object] = {"outcome": "ok", "reason": "", "attribution": []}
    return f"echo '{json.dumps(answer | {'places': [place | changes]})}'"


@pytest.mark.parametrize(
    ("script", "sentence"),
    [
        ("echo nonsense", "it answered is not readable"),
        ("echo '[1]'", "it answered is not readable"),
        ("exit 0", "it answered is not readable"),
        ("echo 'MemoryError: too much' >&2; exit 3", "failed .code 3: MemoryError: too much"),
        ("kill -9 $$", "failed .code -9"),
        ('echo \'{"outcome": "outage", "reason": "it rained"}\'', "it rained"),
        ('echo \'{"outcome": "ok", "reason": ""}\'', "makes no sense"),
        (_says(), "no day with temperatures"),
        (_says(days=[["2024-01-01", 1, 9, "guessed"]]), "makes no sense"),
        (_says(days=[["2031-01-01", 1, 9, "observed"]]), "makes no sense .2031-01-01"),
        (_says(days=[["2024-01-01", 9, 1, "observed"]]), "makes no sense .2024-01-01"),
        (_says(days=[["2024-01-01", float("nan"), 1, "observed"]]), "makes no sense"),
        (_says(days=[["2024-01-01", None, None, "observed"]]), "makes no sense"),
    ],
)
def test_a_worker_that_fails_or_raves_is_an_outage(
    tmp_path: Path, filled: WeatherStore, script: str, sentence: str
) -> None:
    """Crashes, kills and impossible answers never reach the store."""
    source = source_on({}, python=worker(tmp_path, script))
    with unchanged(filled), pytest.raises(WeatherOutage, match=sentence):
        refresh(filled, source, PERIOD, fetched_on=TODAY, limits=LIMITS)


def test_an_absent_interpreter_is_an_outage(tmp_path: Path) -> None:
    """A worker that cannot be started is said to be just that."""
    with pytest.raises(WeatherOutage, match="did not start"):
        source_on({}, python=str(tmp_path / "absent")).fetch(PERIOD)


def test_the_deadline_kills_the_worker_and_its_children(tmp_path: Path) -> None:
    """At the deadline a grandchild that holds the pipes is dead too, and the wait is over."""
    script = f"sleep infinity &\necho $! > {tmp_path}/child\nwait"
    source = source_on({}, deadline_s=2.0, python=worker(tmp_path, script))
    with pytest.raises(WeatherOutage, match="no answer within 2 seconds"):
        source.fetch(PERIOD)
    child = int((tmp_path / "child").read_text())
    while _runs(child):  # it has been killed already, and goes when the system comes to it
        time.sleep(0.02)


@pytest.mark.skipif(os.name == "nt", reason="killed by a signal")
def test_a_worker_ends_with_its_parent_however_that_ends(folder: Path, tmp_path: Path) -> None:
    """The program is killed while its worker waits for a silent server: no worker lives on."""
    script = f'echo $$ > {tmp_path}/worker\nexec {sys.executable} "$@"'
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from test_meteostat_source import PERIOD, local, source_on\n"
        "from pathlib import Path\n"
        "at = local(Path(sys.argv[2]), daily=sys.argv[3])\n"
        "source_on(at, python=sys.argv[4], deadline_s=120).fetch(PERIOD)\n"
    )
    with socket.create_server(("127.0.0.1", 0)) as silent:
        silent.settimeout(60)
        address = f"http://127.0.0.1:{silent.getsockname()[1]}"
        paths = [str(ROOT), str(ROOT / "tests" / "helpers"), os.environ.get("PYTHONPATH", "")]
        given = [str(Path(__file__).parent), str(folder), address, worker(tmp_path, script)]
        parent = subprocess.Popen(
            [sys.executable, "-c", code, *given],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
        )
        try:
            connection, _ = silent.accept()
        finally:
            parent.kill()
            parent.wait()
        with connection:
            child = int((tmp_path / "worker").read_text())
            for _ in range(500):
                if not _runs(child):
                    break
                time.sleep(0.02)
            assert not _runs(child)


@pytest.mark.parametrize("packed", [True, False])
def test_an_answer_beyond_reason_is_an_outage(folder: Path, *, packed: bool) -> None:
    """Some kilobytes that unpack to gigabytes, or a file that is sent without end: nothing kept."""
    rows = b"2024-01-01,1,9\n" * 200_000
    data = gzip.compress(rows) if packed else gzip.compress(os.urandom(400_000))
    (folder / "daily" / "2024" / "INV01.csv.gz").write_bytes(data)
    assert (len(data) < 100_000) == packed
    handler = partial(http.server.SimpleHTTPRequestHandler, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        daily = f"http://127.0.0.1:{server.server_port}"
        source = source_on(local(folder, daily=daily), largest_answer_mb=0.3)
        with pytest.raises(WeatherOutage, match=r"is larger than 0\.3 MB"):
            source.fetch(PERIOD)
        server.shutdown()


def _runs(pid: int) -> bool:
    """Whether a process is there and not just waiting to be reaped."""
    state = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False
    ).stdout
    return bool(state.strip()) and not state.startswith("Z")


def test_the_parent_never_imports_pandas_or_meteostat() -> None:
    """The slow libraries stay in the worker: the command line starts without them."""
    code = (
        "import sys, stagecast.weather.sources.meteostat, stagecast.weather.refresh\n"
        "print(sorted({'pandas', 'meteostat', 'requests'} & set(sys.modules)))"
    )
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    assert run.stdout.strip() == "[]"


# -- cells and refresh -------------------------------------------------------------------


@given(
    latitude=st.floats(-89, 89),
    longitude=st.floats(-179, 179),
    cell_deg=st.sampled_from([0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0]),
)
def test_a_cell_holds_its_point_and_is_named_by_its_centre(
    latitude: float, longitude: float, cell_deg: float
) -> None:
    """The centre is at most half a side away, its name tells it, and it is its own cell."""
    cell = cell_at(latitude, longitude, cell_deg=cell_deg)
    assert abs(cell.latitude - latitude) <= cell_deg / 2 + 1e-6
    assert abs(cell.longitude - longitude) <= cell_deg / 2 + 1e-6
    _, north, east = cell.cell.split("_")
    assert (float(north), float(east)) == pytest.approx((cell.latitude, cell.longitude), abs=1e-9)
    assert "-0.00" not in cell.cell.split("_")
    assert cell_at(cell.latitude, cell.longitude, cell_deg=cell_deg).cell == cell.cell


def test_places_share_cells_and_their_known_elevations() -> None:
    """A cell is asked once, at the mean of the elevations known in it."""
    places = [
        FieldSite(36.0, -90.0),
        HOME,
        FieldSite(35.11, -89.96),
        FieldSite(35.09, -89.95, 95.0),
    ]
    first, second = cells_of(places, cell_deg=0.05)
    assert (first.cell, first.elevation_m) == ("cell_35.10_-89.95", 90.0)
    assert second.cell == "cell_36.00_-90.00"
    assert math.isnan(second.elevation_m)


@given(elevation_m=st.one_of(st.floats(-1e9, -501), st.floats(9001, 1e9), st.just(math.inf)))
def test_an_elevation_beyond_the_earth_counts_as_unknown(elevation_m: float) -> None:
    """It takes no part in the mean of its cell, and alone it leaves the cell without one."""
    odd = FieldSite(HOME.latitude, HOME.longitude, elevation_m)
    assert cells_of([HOME, odd], cell_deg=0.05)[0].elevation_m == HOME.elevation_m
    assert math.isnan(cells_of([odd], cell_deg=0.05)[0].elevation_m)


def test_cells_too_small_for_their_names_are_refused() -> None:
    """Two cells never share a name."""
    with pytest.raises(ValueError, match=r"at least 0\.01"):
        Meteostat(
            deadline_s=1,
            radius_km=1,
            station_limit=1,
            cell_deg=0.005,
            elevation_doubtful_m=1,
            largest_answer_mb=1,
        )


def test_no_places_need_no_worker(tmp_path: Path) -> None:
    """A request without places is answered without starting anything."""
    source = source_on({}, python=str(tmp_path / "absent"))
    assert source.fetch(WeatherRequest((), NEW_YEAR, TODAY)) == []


class Almanac:
    """A service that knows the days to come."""

    service = "almanac"
    attribution: tuple[str, ...] = ()
    notes: Mapping[str, tuple[str, ...]] = {}

    def cells(self, sites: Sequence[FieldSite]) -> dict[str, tuple[FieldSite, ...]]:
        """One station speaks for all."""
        return {"s": tuple(sites)}

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """Four days, all of them "observed"."""
        low = np.arange(4.0)
        kind = np.full(4, DayKind.OBSERVED, dtype=np.int8)
        return [StationRecord(Station("s", 35.0, -90.0), NEW_YEAR, low, low + 9, kind)]


def test_days_to_come_are_not_observed(tmp_path: Path) -> None:
    """An "observed" day after the fetch is stored as a forecast, and later as observed."""
    store = WeatherStore(tmp_path / STORE_NAME)
    second = dt.date(2024, 1, 2)
    report = refresh(store, Almanac(), PERIOD, fetched_on=second, limits=LIMITS)
    assert (report.new_observed_days, report.model_days, report.attribution) == (2, 2, ())
    assert report.last_observed == {"s": second}
    assert store.load()[0].fetched_on == {2: second, 3: second}
    report = refresh(store, Almanac(), PERIOD, fetched_on=TODAY, limits=LIMITS)
    assert (report.new_observed_days, report.model_days) == (2, 0)
