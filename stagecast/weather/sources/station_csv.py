"""Station records kept as CSV files in the season folder."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from stagecast.base.dates import ACCEPTED_DATES
from stagecast.base.errors import Problem
from stagecast.base.tables import Table, TableRow, open_table
from stagecast.base.textfiles import reserved_name
from stagecast.weather.columns import (
    MISSING_CELLS,
    no_column,
    rain_column,
    read_rain,
    read_temperatures,
    temperature_columns,
)
from stagecast.weather.member_files import SUFFIX, WEATHER_FOLDER, members_laid_beside
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.sources import Readings, WeatherSource

STATIONS_FILE = "stations.csv"

_STATION_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
ELEVATIONS_M = (-500.0, 9000.0)
"""Bounds of the globe: shore of the Dead Sea (-430 m) to Everest (8849 m), rounded outwards."""
_BOUNDS = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "elevation_m": ELEVATIONS_M,
}
_LAND = "where the station stands, in decimal degrees"
_PLACE_COLUMNS = ("station", *_BOUNDS)

_Reading = tuple[float, float, float]
"""Minimum and maximum in degC, rain in mm."""
_Days = dict[dt.date, _Reading]


def read_station_folder(folder: Path) -> Readings:
    """Read every station of a season's weather folder.

    Parameters
    ----------
    folder: with ``stations.csv`` (station, latitude, longitude, elevation_m, optionally name; the
        elevation may be left empty) and ``STATION.csv`` (date and tmin_c, tmax_c in degC, or
        tmin_f, tmax_f in degF, optionally rain_mm or rain_in; further columns are ignored). An
        ensemble of weather forecasts may lie beside it (:mod:`stagecast.weather.member_files`).

    Returns
    -------
    Readings
        Not screened: a day with one of its two temperatures is OBSERVED with a NaN until
        :func:`stagecast.weather.quality.screen` has seen it. Without the folder there are none.

    Notes
    -----
    Rows may stand in any order. A date absent between the first and the last, or one whose
    cells are empty, NA or M, is MISSING. Of two rows for one day the first is kept.
    """
    if not folder.is_dir():
        return Readings()
    named, problems = _read_stations(folder)
    records: list[StationRecord] = []
    us_order_files: list[str] = []
    for station_id, station in sorted(named.items()):
        label = _label(f"{station_id}.csv")
        table = open_table(folder / f"{station_id}.csv", label=label)
        days = _read_days(table)
        problems += table.told()
        if table.us_order:
            us_order_files.append(label)
        if days and station is not None:
            records.append(_record(station, days))
    told, wrong = members_laid_beside(folder.parent, records)
    problems += [*wrong, *_orphans(folder, named)]
    return Readings(told, tuple(problems), tuple(us_order_files))


def _label(name: str) -> str:
    return f"{WEATHER_FOLDER}/{name}"


def _orphans(folder: Path, named: Iterable[str]) -> list[Problem]:
    """CSV files that no row of ``stations.csv`` places on the map."""
    ends = (".csv", SUFFIX)
    expected = {STATIONS_FILE, *(f"{station_id}{end}" for station_id in named for end in ends)}
    names = sorted(p.name for p in folder.iterdir() if p.suffix.lower() == ".csv")
    return [
        Problem(
            _label(name),
            f"no row of {STATIONS_FILE} names this station",
            next_step=f"add a row for it to {STATIONS_FILE}, or move the file away",
        )
        for name in names
        if name not in expected and not name.startswith((".", "~"))
    ]


# --- stations.csv ---------------------------------------------------------------------------


def _read_stations(folder: Path) -> tuple[dict[str, Station | None], list[Problem]]:
    """Stations by id; None for an id whose row is wrong, so that its days are still checked."""
    table = open_table(folder / STATIONS_FILE, label=_label(STATIONS_FILE))
    absent = [name for name in _PLACE_COLUMNS if table.header and name not in table.header]
    table.problems += [no_column(table, name) for name in absent]
    stations: dict[str, Station | None] = {}
    if not table.header or "station" in absent:
        return stations, list(table.told())
    taken: set[str] = set()
    for row in table.rows():
        station_id = _station_id(row, taken)
        if station_id is None:
            continue
        taken.add(station_id.lower())
        place = _read_place(row)
        named = not (row.problems or absent)
        name = row.plain_text("name")
        stations[station_id] = Station(station_id, *place, name) if named else None
    if not table.lines and not table.torn:
        table.problems.append(Problem(table.file, "no stations below the header"))
    return stations, list(table.told())


def _station_id(row: TableRow, taken: set[str]) -> str | None:
    """The id, if days can stand in a file of this name."""
    station_id = row.text("station")
    taken_by_us = f"{station_id}.csv".lower() == STATIONS_FILE
    if not _STATION_ID.fullmatch(station_id) or taken_by_us or reserved_name(station_id):
        row.fault(
            "station",
            "this station id cannot be a file name",
            accepted="letters, digits, dot, dash and underscore, at most 64, a letter or digit "
            "first, no dot last, not the word stations, and no name that Windows keeps (CON, NUL)",
        )
        return None
    if station_id.lower() in taken:
        # Ids that differ only in case would share a file on many disks.
        row.fault("station", "this station id stands twice")
        return None
    return station_id


def _read_place(row: TableRow) -> tuple[float, float, float]:
    """Latitude and longitude in degrees, elevation in m; NaN where one is missing or wrong."""
    values: list[float] = []
    for column, (low, high) in _BOUNDS.items():
        accepted = f"a number from {low:g} to {high:g}"
        value: float | None = None
        if row.text(column).upper() not in MISSING_CELLS:
            value = row.number(column, accepted=accepted)
            if value is not None and not low <= value <= high:
                row.fault(column, "out of range", accepted=accepted)
        # A column that is not there at all has been reported once, for the header.
        elif column != "elevation_m" and column in row.cells:
            row.fault(column, "no value", accepted=accepted)
        values.append(math.nan if value is None else value)
    latitude, longitude, elevation_m = values
    if latitude == longitude == 0.0:
        row.fault("latitude", "0, 0 lies in the sea off Africa", accepted=_LAND)
    return latitude, longitude, elevation_m


# --- STATION.csv ----------------------------------------------------------------------------


def _read_days(table: Table) -> _Days:
    """Days in degC in file order."""
    columns = temperature_columns(table)
    days: _Days = {}
    if columns is None:
        return days
    rain = rain_column(table)
    lines: dict[dt.date, int] = {}
    orders: set[bool] = set()
    for row in table.rows():
        row.required("date", accepted=ACCEPTED_DATES)
        day = row.date("date", year=None)
        if day is None:
            continue
        orders.add(row.us_order)
        reading = (*read_temperatures(row, columns), read_rain(row, rain))
        row.problems = [replace(problem, date=day) for problem in row.problems]
        if row.refused:
            continue
        if day in days:
            row.problems.append(_twice(row, day, lines[day], same=_same(reading, days[day])))
        else:
            days[day], lines[day] = reading, row.line
    if not table.lines and not table.torn:
        table.problems.append(Problem(table.file, "no days below the header"))
    if len(orders) == 2:
        table.problems.append(_two_orders(table.file))
    return days


def _record(station: Station, days: _Days) -> StationRecord:
    """Lay the days on a calendar without holes; what the file does not say is MISSING."""
    ordinals = np.fromiter((day.toordinal() for day in days), dtype=np.int64, count=len(days))
    readings = np.array(list(days.values()), dtype=np.float64)
    start = int(ordinals.min())
    grid = np.full((int(ordinals.max()) - start + 1, 3), np.nan)
    grid[ordinals - start] = readings
    kind = np.where(np.isnan(grid[:, :2]).all(axis=1), DayKind.MISSING, DayKind.OBSERVED)
    rain = grid[:, 2]
    return StationRecord(
        station,
        dt.date.fromordinal(start),
        grid[:, 0].copy(),
        grid[:, 1].copy(),
        kind.astype(np.int8),
        rain_mm=None if np.isnan(rain).all() else rain.copy(),
    )


def _same(one: _Reading, other: _Reading) -> bool:
    """Equal, a missing value being equal to a missing value."""
    return all(a == b or (a != a and b != b) for a, b in zip(one, other, strict=True))


# --- sentences ------------------------------------------------------------------------------


def _twice(row: TableRow, day: dt.date, earlier: int, *, same: bool) -> Problem:
    if same:
        message, next_step = "this day stands twice, with the same values", None
    else:
        message = "this day stands twice, with different values"
        next_step = "keep the right one"
    return Problem(
        row.file,
        message,
        row.line,
        "date",
        found=f"{day}, also on line {earlier}",
        next_step=next_step,
        date=day,
        doubtful=same,
    )


def _two_orders(label: str) -> Problem:
    return Problem(
        label,
        "dates are written in two ways, year first and month/day/year",
        column="date",
        next_step="check that none was written day first",
        doubtful=True,
    )


SOURCE = WeatherSource(
    read=lambda season: read_station_folder(season / WEATHER_FOLDER),
    nothing=Problem(
        _label(STATIONS_FILE),
        "no station has temperatures, and fields.csv has fields that need them",
        next_step=f"put {STATIONS_FILE} and one STATION.csv per station into {WEATHER_FOLDER}/",
    ),
)
