"""The weather store: what replaces what, and that nothing is ever lost or half written."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import os
import resource
import shutil
import sqlite3
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import spoilt_file
from commands import as_nobody
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.errors import StoreError
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.store import STORE_NAME, WeatherStore, YearHeld, day_rows

DAY = dt.date(2024, 5, 1)
OBSERVED, MODEL, MISSING = DayKind.OBSERVED, DayKind.MODEL, DayKind.MISSING


def record(
    kinds: list[int], *, tmin_c: float = 10.0, first: dt.date = DAY, station: str = "s1"
) -> StationRecord:
    """A station record whose day i is ``tmin_c + i`` to ten degrees more."""
    kind = np.array(kinds, dtype=np.int8)
    low = np.where(kind == MISSING, np.nan, tmin_c + np.arange(len(kinds)))
    return StationRecord(Station(station, 35.1, -89.9), first, low, low + 10, kind)


def rows(store: WeatherStore) -> list[tuple[object, ...]]:
    """Every stored day, as plain tuples."""
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        return connection.execute("SELECT * FROM day ORDER BY station, date").fetchall()


@pytest.fixture
def store(tmp_path: Path) -> WeatherStore:
    """An empty store in a season folder."""
    return WeatherStore(tmp_path / STORE_NAME)


def test_load_returns_what_was_saved(store: WeatherStore) -> None:
    """Stations come back sorted, with place, unknown elevation, holes as NaN and forecast dates."""
    high = StationRecord(
        Station("b", 36.0, -90.0, 120.5, "A name"),
        DAY,
        np.array([1.0, np.nan, 3.5]),
        np.array([11.0, np.nan, 13.5]),
        np.array([OBSERVED, MISSING, MODEL], dtype=np.int8),
    )
    store.save([high, record([OBSERVED], station="a")], fetched_on=DAY, source="test")
    a, b = store.load()
    assert (a.station.station, b.station) == ("a", high.station)
    assert np.isnan(a.station.elevation_m)
    assert b.first_day == DAY
    np.testing.assert_array_equal(b.tmin_c, high.tmin_c)
    np.testing.assert_array_equal(b.tmax_c, high.tmax_c)
    np.testing.assert_array_equal(b.kind, high.kind)
    assert b.fetched_on == {2: DAY}


def test_a_store_without_a_file_is_empty_and_stays_without(store: WeatherStore) -> None:
    """Reading before the first fetch gives nothing and makes no file."""
    assert store.load() == []
    assert store.last_observed() == {}
    assert not store.path.exists()


@pytest.mark.parametrize(
    ("stored", "stored_on", "new", "new_on", "wins"),
    [
        (MODEL, 1, OBSERVED, 2, "new"),
        (MODEL, 2, OBSERVED, 1, "new"),
        (OBSERVED, 1, OBSERVED, 2, "new"),
        (OBSERVED, 2, OBSERVED, 1, "stored"),
        (OBSERVED, 1, MODEL, 2, "stored"),
        (MODEL, 1, MODEL, 2, "new"),
        (MODEL, 2, MODEL, 1, "stored"),
        (OBSERVED, 1, MISSING, 2, "stored"),
        (MODEL, 1, MISSING, 2, "stored"),
    ],
)
def test_what_replaces_what(
    store: WeatherStore, stored: DayKind, stored_on: int, new: DayKind, new_on: int, wins: str
) -> None:
    """Observed beats model, newer beats older of the same kind, missing beats nothing."""
    june = [dt.date(2024, 6, day) for day in (1, 2, 3)]
    store.save([record([stored], tmin_c=1.0)], fetched_on=june[stored_on], source="old")
    store.save([record([new], tmin_c=2.0)], fetched_on=june[new_on], source="new")
    (loaded,) = store.load()
    kind, low = (new, 2.0) if wins == "new" else (stored, 1.0)
    assert (loaded.kind[0], loaded.tmin_c[0], loaded.tmax_c[0]) == (kind, low, low + 10)


KINDS = st.lists(st.sampled_from([OBSERVED, MODEL, MISSING]), min_size=1, max_size=8)
SAVES = st.lists(st.tuples(KINDS, st.integers(0, 5), st.integers(7, 9)), min_size=1, max_size=6)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(saves=SAVES)
def test_observed_days_are_never_lost(saves: list[tuple[list[DayKind], int, int]]) -> None:
    """Whatever is saved in whatever order, a day once observed stays observed, and counts once.

    All within two days: a fetch dated later than that is one of a clock that ran ahead.
    """
    with tempfile.TemporaryDirectory() as folder:
        store = WeatherStore(Path(folder) / STORE_NAME)
        seen: set[dt.date] = set()
        for kinds, shift, age in saves:
            first = DAY + dt.timedelta(days=shift)
            new = {first + dt.timedelta(days=i) for i, k in enumerate(kinds) if k == OBSERVED}
            gained = store.save(
                [record(kinds, first=first)], fetched_on=DAY + dt.timedelta(days=age), source="t"
            )
            assert gained == len(new - seen)
            seen |= new
            stored = {
                loaded.first_day + dt.timedelta(days=int(i))
                for loaded in store.load()
                for i in np.flatnonzero(loaded.kind == OBSERVED)
            }
            assert stored == seen


def test_saving_what_was_loaded_changes_nothing(store: WeatherStore) -> None:
    """A forecast keeps the date of its own fetch when a loaded record is saved again."""
    store.save([record([OBSERVED, MODEL])], fetched_on=DAY, source="t")
    before = store.load()[0]
    store.save([before], fetched_on=DAY + dt.timedelta(days=9), source="t")
    after = store.load()[0]
    assert after.fetched_on == before.fetched_on == {1: DAY}
    np.testing.assert_array_equal(after.tmin_c, before.tmin_c)


def test_a_station_keeps_its_elevation(store: WeatherStore) -> None:
    """A later fetch that does not know the elevation changes the name, not the elevation."""
    for elevation_m, name in ((120.0, "old"), (float("nan"), "new")):
        day = record([OBSERVED])
        station = Station("s1", 35.1, -89.9, elevation_m, name)
        store.save([dataclasses.replace(day, station=station)], fetched_on=DAY, source="t")
    (loaded,) = store.load()
    assert (loaded.station.elevation_m, loaded.station.name) == (120.0, "new")


@pytest.mark.parametrize("kind", [DayKind.BRIDGED, DayKind.PAST_SEASON])
def test_derived_days_are_refused(store: WeatherStore, kind: DayKind) -> None:
    """A bridged or past-season day never becomes history, and nothing beside it is stored."""
    with pytest.raises(ValueError, match=kind.name):
        store.save([record([OBSERVED, kind])], fetched_on=DAY, source="t")
    assert store.load() == []


def test_an_observed_day_without_a_temperature_is_refused(store: WeatherStore) -> None:
    """NaN marked as observed is a fault of the caller, not a stored day."""
    broken = record([OBSERVED])
    broken.tmax_c[0] = np.nan
    with pytest.raises(ValueError, match="two temperatures"):
        store.save([broken], fetched_on=DAY, source="t")


def test_the_file_is_durable_by_its_settings(store: WeatherStore) -> None:
    """The file says its version and is one file; every write is on the disk when it returns."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert connection.execute("PRAGMA user_version").fetchone() == (len(store.steps),)
        strict = connection.execute("SELECT name, strict FROM pragma_table_list").fetchall()
    assert {(t, 1) for t in ("station", "day", "fetch", "whole_year")} <= set(strict)
    with store.writing() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone() == (3,)
    store.load()
    assert [path.name for path in store.path.parent.iterdir()] == [STORE_NAME]


def test_an_older_file_is_migrated(store: WeatherStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new version's statements run once, at the next write, and keep every day."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    step = ("ALTER TABLE station ADD COLUMN note TEXT",)
    monkeypatch.setattr(store, "steps", (*store.steps, step))
    assert [loaded.days for loaded in store.load()] == [1]
    store.note_whole_year(["s"], 2025, asked_on=DAY)
    assert [loaded.days for loaded in store.load()] == [1]
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(store.steps),)
        assert connection.execute("SELECT note FROM station").fetchall() == [(None,)]


def test_a_file_of_the_first_version_keeps_its_days(
    store: WeatherStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store from before whole years were noted is read, and can note them from then on."""
    with monkeypatch.context() as before:
        before.setattr(store, "steps", store.steps[:1])
        (row,) = day_rows(record([OBSERVED]), DAY, "t")
        with store.writing() as connection:
            connection.execute("INSERT INTO station VALUES ('s1', '', 35.1, -89.9, NULL)")
            connection.execute("INSERT INTO day VALUES (?, ?, ?, ?, ?, ?, ?)", row[:7])
    assert [loaded.rain_mm for loaded in store.load()] == [None]
    assert store.whole_years() == {}
    store.note_whole_year(["s1", "s2"], 2024, asked_on=DAY)
    store.note_whole_year(["s1"], 2024, asked_on=DAY)
    assert store.whole_years() == {("s1", 2024): 1, ("s2", 2024): 1}
    assert [loaded.days for loaded in store.load()] == [1]


def test_answers_alike_are_counted_by_the_day(store: WeatherStore) -> None:
    """The same number of days on another day counts on; a new day or the same evening does not."""

    def asked(day: int) -> int:
        store.note_whole_year(["s1"], 2024, asked_on=dt.date(2025, 3, day))
        return store.whole_years()["s1", 2024]

    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    assert [asked(1), asked(1), asked(2)] == [1, 1, 2]
    store.save([record([OBSERVED, OBSERVED])], fetched_on=DAY, source="t")
    assert [asked(3), asked(4), asked(4), asked(5)] == [1, 2, 2, 3]


def test_a_store_that_noted_years_before_answers_were_counted_asks_again(
    store: WeatherStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an older version took for the whole of a year counts as one answer only."""
    with monkeypatch.context() as before:
        before.setattr(store, "steps", store.steps[:2])
        with store.writing() as connection:
            connection.execute("INSERT INTO whole_year VALUES ('s1', 2024, '2025-03-01')")
    assert store.whole_years() == {("s1", 2024): 1}
    store.note_whole_year(["s1"], 2024, asked_on=dt.date(2025, 3, 2))
    assert store.whole_years() == {("s1", 2024): 1}


def test_the_last_observed_day_is_known_for_every_year(store: WeatherStore) -> None:
    """Years are kept apart, a forecast does not count, and the last year is the station's last."""
    eve = dt.date(2023, 12, 30)
    kinds = [OBSERVED, MISSING, OBSERVED, MODEL]
    store.save(
        [record(kinds, first=eve), record([MODEL], station="s2")], fetched_on=DAY, source="t"
    )
    assert store.observed_by_year() == {
        ("s1", 2023): YearHeld(eve, 1),
        ("s1", 2024): YearHeld(dt.date(2024, 1, 1), 1),
    }
    assert store.last_observed() == {"s1": dt.date(2024, 1, 1)}


def _older_than_all(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = -1")


def _bad_date(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE day SET date = 'yesterday'")
        connection.commit()


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (spoilt_file.newer, "newer stagecast.*99.*update stagecast"),
        (spoilt_file.foreign, "not a weather store; move the file"),
        (_older_than_all, "not a weather store; move the file"),
        (spoilt_file.text, "not a database; move the file"),
        (spoilt_file.torn, "damaged: .*; move the file"),
        (_bad_date, "'yesterday' stands where a date belongs; move the file"),
    ],
)
def test_an_unreadable_file_is_a_store_error(
    store: WeatherStore, damage: object, sentence: str
) -> None:
    """Damaged, foreign and newer files are named with the reason and what to do."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    damage(store.path)  # type: ignore[operator]
    content = store.path.read_bytes()
    with pytest.raises(StoreError, match=rf"{STORE_NAME}: .*{sentence}"):
        store.load()
    assert store.path.read_bytes() == content


@pytest.mark.parametrize(
    "damage", [spoilt_file.newer, _older_than_all, spoilt_file.foreign, spoilt_file.text]
)
def test_a_file_that_is_not_ours_is_never_written(store: WeatherStore, damage: object) -> None:
    """Saving into another program's or a newer version's file is refused; its bytes stay."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    damage(store.path)  # type: ignore[operator]
    content = store.path.read_bytes()
    with pytest.raises(StoreError):
        store.save([record([OBSERVED], tmin_c=5.0)], fetched_on=DAY, source="t")
    assert store.path.read_bytes() == content


def _changed_loosely(path: Path, statement: str) -> None:
    """Make every table one that takes any value, and give it one."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        for table in ("station", "day", "fetch"):
            names = connection.execute(f"SELECT name FROM pragma_table_info('{table}')").fetchall()
            connection.execute(f"CREATE TABLE loose ({', '.join(name for (name,) in names)})")
            connection.execute(f"INSERT INTO loose SELECT * FROM {table}")
            connection.execute(f"DROP TABLE {table}")
            connection.execute(f"ALTER TABLE loose RENAME TO {table}")
        connection.execute(statement)
        connection.commit()


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE day SET kind = 'xyz'", "'xyz' stands where 'observed' or 'model' belongs"),
        ("UPDATE day SET kind = NULL", "nothing stands where 'observed' or 'model' belongs"),
        ("UPDATE day SET date = '20260505'", "'20260505' stands where a date belongs"),
        ("UPDATE day SET date = '2026-W19-2'", "'2026-W19-2' stands where a date belongs"),
        ("UPDATE day SET date = 20260505", "20260505 stands where a date belongs"),
        ("UPDATE day SET fetched_on = 1.5", "1.5 stands where a date belongs"),
        ("INSERT INTO day SELECT * FROM day", "2024-05-01 is twice or out of order at station s1"),
        ("UPDATE day SET tmin_c = 'warm'", "'warm' stands where a minimum temperature belongs"),
        ("UPDATE day SET tmin_c = -9e999", "-inf stands where a minimum temperature belongs"),
        ("UPDATE day SET tmax_c = NULL", "nothing stands where a maximum temperature belongs"),
        ("UPDATE station SET latitude = 9e999", "inf stands where a latitude belongs"),
        ("UPDATE station SET longitude = -181", "-181 stands where a longitude belongs"),
        ("UPDATE station SET elevation_m = 'high'", "'high' stands where an elevation belongs"),
        ("UPDATE station SET name = NULL", "nothing stands where a station's name belongs"),
        ("UPDATE station SET name = zeroblob(900)", "... stands where a station's name belongs"),
    ],
)
def test_a_value_that_is_never_stored_is_a_store_error(
    store: WeatherStore, statement: str, sentence: str
) -> None:
    """Whatever stands in a table that SQLite does not guard is named, never a traceback."""
    store.save([record([OBSERVED, MODEL])], fetched_on=DAY, source="t")
    _changed_loosely(store.path, statement)
    with pytest.raises(StoreError) as caught:
        store.load()
    assert sentence in str(caught.value)
    assert "move the file out of the season folder" in str(caught.value)


def test_every_reader_looks_at_its_values(store: WeatherStore) -> None:
    """The last days are as wary as the records."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    _changed_loosely(store.path, "UPDATE day SET date = 20260505")
    with pytest.raises(StoreError, match="20260505 stands where a date belongs"):
        store.last_observed()


def test_a_loose_file_with_sound_values_is_read(store: WeatherStore) -> None:
    """Whole numbers, and an elevation nobody knows, are fine in any kind of table."""
    store.save([record([OBSERVED, MODEL])], fetched_on=DAY, source="t")
    before = store.load()[0]
    _changed_loosely(store.path, "UPDATE day SET tmin_c = CAST(tmin_c AS INTEGER)")
    (after,) = store.load()
    assert after.tmin_c.tolist() == before.tmin_c.tolist()
    assert after.station.station == before.station.station


def _as_folder(path: Path) -> None:
    path.mkdir()


def _as_pipe(path: Path) -> None:
    os.mkfifo(path)


def _as_link_to_nothing(path: Path) -> None:
    path.symlink_to(path.with_name("absent"))


def _as_link_to_itself(path: Path) -> None:
    path.symlink_to(path)


@pytest.mark.parametrize("make", [_as_folder, _as_pipe, _as_link_to_nothing, _as_link_to_itself])
def test_what_is_not_a_file_is_a_store_error(store: WeatherStore, make: object) -> None:
    """A folder, a pipe or a broken link under the store's name is neither read nor written."""
    make(store.path)  # type: ignore[operator]
    kind = store.path.lstat().st_mode
    with pytest.raises(StoreError, match="not a regular file; move the file"):
        store.load()
    with pytest.raises(StoreError, match="not a regular file; move the file"):
        store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    assert [p.name for p in store.path.parent.iterdir()] == [STORE_NAME]
    assert store.path.lstat().st_mode == kind


def test_a_link_to_a_store_is_a_store(store: WeatherStore, tmp_path: Path) -> None:
    """A season folder may keep its weather elsewhere."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    link = tmp_path / "link.sqlite"
    link.symlink_to(store.path)
    assert [loaded.days for loaded in WeatherStore(link).load()] == [1]


def test_a_missing_folder_is_a_store_error(tmp_path: Path) -> None:
    """Saving into a folder that does not exist says so instead of making one."""
    store = WeatherStore(tmp_path / "nowhere" / STORE_NAME)
    with pytest.raises(StoreError, match="check that the season folder exists"):
        store.save([record([OBSERVED])], fetched_on=DAY, source="t")


@pytest.fixture
def read_only() -> Iterator[WeatherStore]:
    """A store of two days in a folder where nobody may write."""
    folder = Path(tempfile.mkdtemp())
    store = WeatherStore(folder / STORE_NAME)
    store.save([record([OBSERVED, MODEL])], fetched_on=DAY, source="t")
    store.path.chmod(0o444)
    folder.chmod(0o555)
    with as_nobody():
        yield store
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_read_only_folder_can_be_read(read_only: WeatherStore) -> None:
    """The days are there without write permission, and no side file is needed."""
    (loaded,) = read_only.load()
    assert loaded.kind.tolist() == [OBSERVED, MODEL]
    assert len(list(read_only.path.parent.iterdir())) == 1


def test_a_read_only_folder_cannot_be_written(read_only: WeatherStore) -> None:
    """Saving there is a StoreError with a way out, and the days stay as they were."""
    with pytest.raises(StoreError, match="place you may write to"):
        read_only.save([record([OBSERVED] * 3)], fetched_on=DAY, source="t")
    assert read_only.load()[0].kind.tolist() == [OBSERVED, MODEL]


def test_a_folder_that_may_not_be_entered_is_a_store_error(read_only: WeatherStore) -> None:
    """That a file cannot even be looked for is no reason to think there is none."""
    folder = read_only.path.parent
    euid = os.geteuid()
    if os.getuid() == 0:
        os.seteuid(0)
    folder.chmod(0)
    os.seteuid(euid)
    with pytest.raises(StoreError, match="Permission denied; check that the season folder exists"):
        read_only.load()


def test_days_still_in_the_log_are_not_silently_left_out(read_only: WeatherStore) -> None:
    """Unmerged days beside a read-only file are an error, never a shorter record."""
    folder = read_only.path.parent
    euid = os.geteuid()
    if os.getuid() == 0:
        os.seteuid(0)
    folder.chmod(0o755)
    folder.joinpath(f"{STORE_NAME}-wal").write_bytes(b"\0" * 64)
    folder.chmod(0o555)
    os.seteuid(euid)
    with pytest.raises(StoreError, match="copy the season folder"):
        read_only.load()


def test_a_full_disk_leaves_every_row(store: WeatherStore) -> None:
    """A write that the system cuts short is a StoreError, and the stored rows are the same."""
    store.save([record([OBSERVED] * 5)], fetched_on=DAY, source="t")
    before = rows(store)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (64 * 1024, hard))
    try:
        with pytest.raises(StoreError, match="disk"):
            store.save([record([OBSERVED] * 20000)], fetched_on=DAY, source="t")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert rows(store) == before
    assert store.save([record([OBSERVED] * 6)], fetched_on=DAY, source="t") == 1


def test_two_writers_wait_for_each_other(store: WeatherStore) -> None:
    """Writers at the same time, the first save of a new file included, all get their days in."""
    failures: list[BaseException] = []

    def write(name: str) -> None:
        try:
            own = WeatherStore(store.path)
            for shift in range(10):
                first = DAY + dt.timedelta(days=shift)
                own.save(
                    [record([OBSERVED], station=name, first=first)], fetched_on=DAY, source="t"
                )
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(name,)) for name in ("a", "b")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert [(r.station.station, r.days) for r in store.load()] == [("a", 10), ("b", 10)]


def test_a_writer_that_holds_on_is_named(store: WeatherStore) -> None:
    """When another program keeps the file locked, the error says so; reading still works."""
    store.save([record([OBSERVED])], fetched_on=DAY, source="t")
    impatient = WeatherStore(store.path, busy_timeout_s=0.05)
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program is writing"):
            impatient.save([record([OBSERVED] * 2)], fetched_on=DAY, source="t")
        assert [loaded.days for loaded in impatient.load()] == [1]


def test_rain_is_kept_with_its_day(store: WeatherStore) -> None:
    """Measured rain comes back; a later fetch without rain does not take it away."""
    wet = dataclasses.replace(record([OBSERVED, OBSERVED]), rain_mm=np.array([3.5, np.nan]))
    store.save([wet], fetched_on=DAY, source="t")
    store.save([record([OBSERVED, OBSERVED])], fetched_on=DAY, source="t")
    (loaded,) = store.load()
    assert loaded.rain_mm is not None
    np.testing.assert_array_equal(loaded.rain_mm, [3.5, np.nan])
