"""Temperatures fetched over a network, kept in one SQLite file of the season folder."""

from __future__ import annotations

import contextlib
import datetime as dt
import itertools
import math
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np

from stagecast.base.sqlitefile import SqliteFile
from stagecast.weather.doubt import Doubt, Why
from stagecast.weather.records import DayKind, Station, StationRecord

STORE_NAME = "weather.sqlite"
Row = tuple[Any, ...]
# One entry per version of the file: the statements that lead to it from the version before.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE station (
            station TEXT PRIMARY KEY, name TEXT NOT NULL, latitude REAL NOT NULL,
            longitude REAL NOT NULL, elevation_m REAL) STRICT""",
        """CREATE TABLE day (
            station TEXT NOT NULL REFERENCES station (station), date TEXT NOT NULL,
            tmin_c REAL NOT NULL, tmax_c REAL NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('observed', 'model')),
            source TEXT NOT NULL, fetched_on TEXT NOT NULL,
            PRIMARY KEY (station, date)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE fetch (
            id INTEGER PRIMARY KEY, asked_on TEXT NOT NULL,
            service TEXT NOT NULL, outcome TEXT NOT NULL) STRICT""",
    ),
    (
        """CREATE TABLE whole_year (
            station TEXT NOT NULL, year INTEGER NOT NULL, asked_on TEXT NOT NULL,
            PRIMARY KEY (station, year)) STRICT, WITHOUT ROWID""",
    ),
    (
        # what came of it: observed days, and on how many days the answer was the same
        "ALTER TABLE whole_year ADD COLUMN days INTEGER NOT NULL DEFAULT -1",
        "ALTER TABLE whole_year ADD COLUMN alike INTEGER NOT NULL DEFAULT 1",
    ),
    (
        # answers that are not believed, beside the days that they would replace
        """CREATE TABLE held (
            station TEXT NOT NULL, date TEXT NOT NULL, tmin_c REAL NOT NULL, tmax_c REAL NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('observed', 'model')),
            source TEXT NOT NULL, fetched_on TEXT NOT NULL,
            why TEXT NOT NULL, days INTEGER NOT NULL, by_c REAL NOT NULL,
            PRIMARY KEY (station, date)) STRICT, WITHOUT ROWID""",
    ),
    (
        "ALTER TABLE day ADD COLUMN rain_mm REAL",
        "ALTER TABLE held ADD COLUMN rain_mm REAL",
    ),
)
_SAVE_STATION = """
INSERT INTO station VALUES (?, ?, ?, ?, ?) ON CONFLICT (station) DO UPDATE SET
    name = excluded.name, latitude = excluded.latitude, longitude = excluded.longitude,
    elevation_m = coalesce(excluded.elevation_m, elevation_m)"""
_SAVE_DAY = """
INSERT INTO day VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (station, date) DO UPDATE SET
    tmin_c = excluded.tmin_c, tmax_c = excluded.tmax_c, kind = excluded.kind,
    source = excluded.source, fetched_on = excluded.fetched_on,
    rain_mm = coalesce(excluded.rain_mm, rain_mm)
WHERE (excluded.kind = 'observed' AND day.kind = 'model')
   OR (excluded.kind = day.kind AND excluded.fetched_on >= day.fetched_on)
   OR day.fetched_on > date(excluded.fetched_on, '+2 days')"""
# A day later than the date on which it was fetched, by a clock that was days ahead, is a forecast.
_AHEAD = """
UPDATE day SET kind = 'model' WHERE kind = 'observed' AND date > :today
    AND fetched_on > date(:today, '+2 days')"""
_TAKE = """
INSERT OR REPLACE INTO day
SELECT held.station, held.date, held.tmin_c, held.tmax_c, held.kind, held.source, held.fetched_on,
    coalesce(held.rain_mm, day.rain_mm)
FROM held LEFT JOIN day USING (station, date) WHERE held.station = ?"""
_COUNT_YEAR = """
SELECT count(*) FROM day WHERE station = ? AND kind = 'observed' AND substr(date, 1, 4) = ?"""
_NOTE_YEAR = """
INSERT INTO whole_year (station, year, asked_on, days, alike) VALUES (?, ?, ?, ?, 1)
ON CONFLICT (station, year) DO UPDATE SET
    alike = CASE WHEN days <> excluded.days THEN 1
                 WHEN asked_on < excluded.asked_on THEN alike + 1 ELSE alike END,
    days = excluded.days, asked_on = max(asked_on, excluded.asked_on)"""
_TABLES = frozenset({"station", "day", "fetch"})
_NOT_OURS = "move the file out of the season folder and refresh the weather"
_NEXT_STEPS = {
    "SQLITE_FULL": "free some disk space and repeat; the days stored before are unchanged",
    "SQLITE_IOERR": "check the disk and its free space and repeat; no day was half written",
    "SQLITE_READONLY": "copy the season folder to a place you may write to, or allow writing",
    "SQLITE_CANTOPEN": "check that the season folder exists and that you may write to it",
    "SQLITE_BUSY": "another program is writing to it: let it finish, then repeat",
    "SQLITE_LOCKED": "another program is writing to it: let it finish, then repeat",
}


@dataclass(frozen=True, slots=True)
class YearHeld:
    """The last observed day of a station's year, and how many of its days are observed."""

    last: dt.date
    days: int


@dataclass(frozen=True, slots=True)
class Held:
    """An answer that is held back: why, and its first and last day."""

    doubt: Doubt
    first: dt.date
    last: dt.date


class WeatherStore(SqliteFile):
    """Station days kept in one SQLite file; every call opens and closes its own connection.

    Parameters
    ----------
    path: the file itself, usually ``<season folder>/weather.sqlite``; made at the first save.
    busy_timeout_s: how long to wait for another writer, in seconds.

    Raises
    ------
    StoreError
        From every method: not a weather store, written by a newer version, damaged, not
        writable, disk full, locked.
    """

    def __init__(self, path: Path, *, busy_timeout_s: float = 10.0) -> None:
        super().__init__(
            path,
            what="a weather store",
            steps=MIGRATIONS,
            tables=_TABLES,
            not_ours=_NOT_OURS,
            next_steps=_NEXT_STEPS,
            busy_timeout_s=busy_timeout_s,
        )

    def save(self, records: Sequence[StationRecord], *, fetched_on: dt.date, source: str) -> int:
        """Store the OBSERVED and MODEL days of ``records``, all of them or none.

        Parameters
        ----------
        records: MISSING days are skipped: they never delete anything.
        fetched_on: the date of this fetch; a day named in ``StationRecord.fetched_on`` keeps its
            own.
        source: who said so, stored with every day and in the fetch log.

        Returns
        -------
        int
            Number of days that are observed now and were not before.

        Raises
        ------
        StoreError
            See the class; nothing was stored.
        ValueError
            A record holds days that are neither observed nor model (bridged, past season),
            or such a day without two finite temperatures.
        """
        days = [row for record in records for row in day_rows(record, fetched_on, source)]
        stations = [station_row(record.station) for record in records]
        with self.writing() as connection:
            connection.execute(_AHEAD, {"today": fetched_on.isoformat()})
            before = _observed_days(connection)
            connection.executemany(_SAVE_STATION, stations)
            connection.executemany(_SAVE_DAY, days)
            answered = [row[:2] for row in days]
            connection.executemany("DELETE FROM held WHERE station = ? AND date = ?", answered)
            gained = _observed_days(connection) - before
            _log(connection, fetched_on, source, f"stored: {gained} new observed days")
        return gained

    def hold(
        self, answers: Sequence[tuple[StationRecord, Doubt]], *, fetched_on: dt.date, source: str
    ) -> None:
        """Keep answers that are not believed beside the stored days, which stay as they are."""
        rows = [
            (*row[:-1], doubt.why, doubt.days, doubt.by_c, row[-1])
            for record, doubt in answers
            for row in day_rows(record, fetched_on, source)
        ]
        with self.writing() as connection:
            connection.executemany(
                "INSERT OR REPLACE INTO held VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows
            )

    def held(self) -> tuple[Held, ...]:
        """Answers that are held back, a station and reason each."""
        rows = self._rows(
            "SELECT station, why, min(date), max(date), max(days), by_c FROM held "
            "GROUP BY station, why ORDER BY station, why"
        )
        with self._believed():
            return tuple(
                Held(Doubt(text_of(station, "a station"), _why(why), days, by_c),
                     date_of(first), date_of(last))
                for station, why, first, last, days, by_c in rows
            )  # fmt: skip

    def take_held(self, station: str) -> int:
        """Believe what is held back of a station; how many days were taken."""
        with self.writing() as connection:
            taken = connection.execute(_TAKE, (station,)).rowcount
            connection.execute("DELETE FROM held WHERE station = ?", (station,))
        return taken

    def note_whole_year(self, stations: Iterable[str], year: int, *, asked_on: dt.date) -> None:
        """Remember that all of a past year was asked for, and how many days are observed of it."""
        with self.writing() as connection:
            for station in stations:
                (days,) = connection.execute(_COUNT_YEAR, (station, f"{year:04}")).fetchone()
                connection.execute(_NOTE_YEAR, (station, year, asked_on.isoformat(), days))

    def whole_years(self) -> dict[tuple[str, int], int]:
        """Return ``(station, year)`` -> on how many days all of it was asked for in vain.

        Counted are days since which :meth:`note_whole_year` found the same number of observed days.
        """
        rows = self._rows("SELECT station, year, alike FROM whole_year")
        return {(station, year): alike for station, year, alike in rows}

    def observed_by_year(self) -> dict[tuple[str, int], YearHeld]:
        """Return ``(station, year)`` -> what is observed of that year, if anything is."""
        rows = self._rows(
            "SELECT station, max(date), count(*) FROM day WHERE kind = 'observed' "
            "GROUP BY station, substr(date, 1, 4) ORDER BY station, max(date)"
        )
        with self._believed():
            held = [(text_of(name, "a station"), YearHeld(date_of(last), days))
                    for name, last, days in rows]  # fmt: skip
        return {(station, one.last.year): one for station, one in held}

    def last_observed(self) -> dict[str, dt.date]:
        """Return the date of the last observed day of every station that has one."""
        # years come in order, so the last one stays
        return {station: held.last for (station, _), held in self.observed_by_year().items()}

    def load(self) -> list[StationRecord]:
        """Return every stored record, sorted by station; empty when there is no file yet.

        Returns
        -------
        list of StationRecord
            From the first to the last stored day without a break: a day that is not stored
            is MISSING with NaN temperatures. MODEL days carry their ``fetched_on``.
        """
        rows = self._rows(
            "SELECT station, name, latitude, longitude, elevation_m, date, tmin_c, tmax_c, kind, "
            "fetched_on, rain_mm FROM station JOIN day USING (station) ORDER BY station, date"
        )
        with self._believed():
            by_station = itertools.groupby(rows, key=lambda row: row[0])
            return [record_of(list(days)) for _, days in by_station]

    @contextlib.contextmanager
    def _believed(self) -> Iterator[None]:
        """A value we never store makes the file one that is not ours to read."""
        try:
            yield
        except ValueError as error:
            raise self.damaged(str(error)) from None

    def _rows(self, query: str) -> list[Row]:
        return self.read(lambda connection: connection.execute(query).fetchall(), empty=[])


def _observed_days(connection: sqlite3.Connection) -> int:
    query = "SELECT count(*) FROM day WHERE kind = 'observed'"
    return int(connection.execute(query).fetchone()[0])


def _log(connection: sqlite3.Connection, asked_on: dt.date, service: str, outcome: str) -> None:
    connection.execute(
        "INSERT INTO fetch (asked_on, service, outcome) VALUES (?, ?, ?)",
        (asked_on.isoformat(), service, outcome),
    )


# --- rows -----------------------------------------------------------------------------------------


_KINDS = {DayKind.OBSERVED: "observed", DayKind.MODEL: "model"}
_CODES = {text: kind for kind, text in _KINDS.items()}


def station_row(station: Station) -> Row:
    """Row of the table ``station``; an unknown elevation is NULL."""
    elevation_m = station.elevation_m if math.isfinite(station.elevation_m) else None
    return (station.station, station.name, station.latitude, station.longitude, elevation_m)


def day_rows(record: StationRecord, fetched_on: dt.date, source: str) -> Iterator[Row]:
    """Rows of the table ``day``; derived days would pass for history later, so refuse them.

    Raises
    ------
    ValueError
        A day is neither missing, observed nor model, or lacks a finite temperature.
    """
    for i in np.flatnonzero(record.kind != DayKind.MISSING).tolist():
        date = record.first_day + dt.timedelta(days=i)
        kind = _KINDS.get(DayKind(record.kind[i]))
        tmin_c, tmax_c = float(record.tmin_c[i]), float(record.tmax_c[i])
        if kind is None or not (math.isfinite(tmin_c) and math.isfinite(tmax_c)):
            raise ValueError(
                f"station {record.station.station}, {date}: only observed and model days with "
                f"two temperatures are stored, not {DayKind(record.kind[i]).name} "
                f"{tmin_c} {tmax_c}"
            )
        day, fetched = date.isoformat(), record.fetched_on.get(i, fetched_on).isoformat()
        rain = math.nan if record.rain_mm is None else float(record.rain_mm[i])
        rain_mm = rain if math.isfinite(rain) else None
        yield (record.station.station, day, tmin_c, tmax_c, kind, source, fetched, rain_mm)


def record_of(rows: Sequence[Row]) -> StationRecord:
    """Lay the stored days of one station on a calendar without holes.

    Parameters
    ----------
    rows: at least one, in date order: station, name, latitude, longitude, elevation in m or None,
        date, tmin and tmax in degC, kind, date of the fetch, rain in mm or None.

    Raises
    ------
    ValueError
        A value that a store of ours cannot hold, with what it stands for.
    """
    station, name, latitude, longitude, elevation_m = rows[0][:5]
    place = Station(
        text_of(station, "a station"),
        _number(latitude, "a latitude", largest=90.0),
        _number(longitude, "a longitude", largest=180.0),
        math.nan if elevation_m is None else _number(elevation_m, "an elevation"),
        text_of(name, "a station's name"),
    )
    dates = [date_of(row[5]) for row in rows]
    for date, following in itertools.pairwise(dates):
        if date >= following:
            raise ValueError(f"{following} is twice or out of order at station {place.station}")
    index = [(date - dates[0]).days for date in dates]
    tmin_c, tmax_c = np.full(index[-1] + 1, np.nan), np.full(index[-1] + 1, np.nan)
    kind = np.full(index[-1] + 1, DayKind.MISSING, dtype=np.int8)
    tmin_c[index] = [_number(row[6], "a minimum temperature") for row in rows]
    tmax_c[index] = [_number(row[7], "a maximum temperature") for row in rows]
    kind[index] = [_kind(row[8]) for row in rows]
    fetched = [date_of(row[9]) for row in rows]
    told = np.flatnonzero(kind[index] == DayKind.MODEL).tolist()
    of_models = {index[place]: fetched[place] for place in told}
    rain_mm = np.full(index[-1] + 1, np.nan)
    rain_mm[index] = [
        math.nan if row[10] is None else _number(row[10], "an amount of rain") for row in rows
    ]
    known = None if np.isnan(rain_mm).all() else rain_mm
    return StationRecord(place, dates[0], tmin_c, tmax_c, kind, of_models, rain_mm=known)


@lru_cache(maxsize=1 << 14)  # the days of forty years, alike at every station
def date_of(value: object) -> dt.date:
    """A date written as we write it, or ValueError: other ISO forms do not sort as dates do."""
    try:
        date = dt.date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        date = None
    if date is None or date.isoformat() != value:
        raise _misplaced(value, "a date")
    return date


def text_of(value: object, what: str) -> str:
    """A text, or ValueError."""
    if not isinstance(value, str):
        raise _misplaced(value, what)
    return value


def _number(value: object, what: str, *, largest: float = math.inf) -> float:
    """A finite number of at most that size, or ValueError."""
    if not isinstance(value, int | float) or not math.isfinite(value) or abs(value) > largest:
        raise _misplaced(value, what)
    return float(value)


def _kind(value: object) -> DayKind:
    kind = _CODES.get(value) if isinstance(value, str) else None
    if kind is None:
        raise _misplaced(value, "'observed' or 'model'")
    return kind


def _why(value: object) -> Why:
    for why in get_args(Why):
        if value == why:
            return cast(Why, why)
    raise _misplaced(value, "why an answer is held back")


def _misplaced(value: object, what: str) -> ValueError:
    shown = repr(value)
    shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
    return ValueError(f"{'nothing' if value is None else shown} stands where {what} belongs")
