"""Station records kept as CSV files in the season folder."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from stagecast.base.dates import ACCEPTED_DATES, parse_date
from stagecast.base.errors import Problem
from stagecast.base.textfiles import Rows, fold_repeats, parse_number, read_rows
from stagecast.base.units import f_to_c
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.sources import Readings, WeatherSource

WEATHER_FOLDER = "weather"
STATIONS_FILE = "stations.csv"
CELSIUS = ("tmin_c", "tmax_c")
FAHRENHEIT = ("tmin_f", "tmax_f")
MISSING_CELLS = frozenset({"", "NA", "M"})

_STATION_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
ELEVATIONS_M = (-500.0, 9000.0)
"""Bounds of the globe: shore of the Dead Sea (-430 m) to Everest (8849 m), rounded outwards."""
_BOUNDS = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "elevation_m": ELEVATIONS_M,
}
_PLACE_COLUMNS = ("station", *_BOUNDS)
_TEMPERATURE = "a number such as 12.5, or an empty cell, NA or M for a missing value"

_Reading = tuple[float, float]
_Days = dict[dt.date, _Reading]


def read_station_folder(folder: Path) -> Readings:
    """Read every station of a season's weather folder.

    Parameters
    ----------
    folder : Path
        With ``stations.csv`` (station, latitude, longitude, elevation_m,
        optionally name) and ``STATION.csv`` (date and tmin_c, tmax_c in degC, or tmin_f, tmax_f
        in degF; further columns are ignored). The elevation may be left empty.

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
        rows = read_rows(folder / f"{station_id}.csv", label=label)
        days, us_order, found = _read_days(rows, label=label)
        problems += fold_repeats(found)
        if us_order:
            us_order_files.append(label)
        if days and station is not None:
            records.append(_record(station, days))
    problems += _orphans(folder, named)
    return Readings(tuple(records), tuple(problems), tuple(us_order_files))


def _label(name: str) -> str:
    return f"{WEATHER_FOLDER}/{name}"


def _orphans(folder: Path, named: Iterable[str]) -> list[Problem]:
    """CSV files that no row of ``stations.csv`` places on the map."""
    expected = {STATIONS_FILE, *(f"{station_id}.csv" for station_id in named)}
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
    label = _label(STATIONS_FILE)
    rows = read_rows(folder / STATIONS_FILE, label=label)
    problems = list(rows.problems)
    if not rows.header:
        return {}, problems
    absent = [name for name in _PLACE_COLUMNS if name not in rows.header]
    if absent:
        problems += [_no_column(label, name, rows.header) for name in absent]
    if "station" in absent:
        return {}, problems

    stations: dict[str, Station | None] = {}
    folded: set[str] = set()
    for line, row in rows.rows:
        station_id = row["station"]
        complaint = _id_complaint(station_id, folded)
        if complaint is not None:
            problems.append(replace(complaint, file=label, line=line, column="station"))
            continue
        folded.add(station_id.lower())
        values, found = _read_place(row, label=label, line=line, decimal_comma=rows.decimal_comma)
        problems += found
        stations[station_id] = (
            None if found or absent else Station(station_id, *values, row.get("name", ""))
        )
    if not rows.rows and not rows.problems:
        problems.append(Problem(label, "no stations below the header"))
    return stations, problems


def _id_complaint(station_id: str, taken: set[str]) -> Problem | None:
    """Why this id cannot be used, with the place left open."""
    if not _STATION_ID.fullmatch(station_id) or f"{station_id}.csv".lower() == STATIONS_FILE:
        return Problem(
            "",
            "this station id cannot be a file name",
            found=station_id,
            accepted="letters, digits, dot, dash and underscore, at most 64, a letter or digit "
            "first, and not the word stations",
        )
    if station_id.lower() in taken:
        # Ids that differ only in case would share a file on many disks.
        return Problem("", "this station id stands twice", found=station_id)
    return None


def _read_place(
    row: dict[str, str], *, label: str, line: int, decimal_comma: bool
) -> tuple[tuple[float, float, float], list[Problem]]:
    """Latitude, longitude (degrees) and elevation (m) of one row."""
    values: list[float] = []
    problems: list[Problem] = []
    for column, (low, high) in _BOUNDS.items():
        text = row.get(column, "")
        accepted = f"a number from {low:g} to {high:g}"
        value, message = math.nan, ""
        if text.upper() in MISSING_CELLS:
            message = "" if column == "elevation_m" else "no value"
        else:
            try:
                value = parse_number(text, decimal_comma=decimal_comma)
            except ValueError as error:
                message = str(error)
            if not message and not low <= value <= high:
                message = "out of range"
        # A column that is not there at all has been reported once, for the header.
        if message and column in row:
            problems.append(Problem(label, message, line, column, text, accepted))
        values.append(value)
    latitude, longitude, elevation_m = values
    return (latitude, longitude, elevation_m), problems


# --- STATION.csv ----------------------------------------------------------------------------


def _read_days(rows: Rows, *, label: str) -> tuple[_Days, bool, list[Problem]]:
    """Days in degC in file order, whether a US-order date was read, and what is wrong."""
    problems = list(rows.problems)
    if not rows.header:
        return {}, False, problems
    columns, complaint = _temperature_columns(rows.header, label=label)
    if complaint:
        return {}, False, problems + complaint

    days: _Days = {}
    lines: dict[dt.date, int] = {}
    orders: set[bool] = set()
    for line, row in rows.rows:
        try:
            day, us_order = parse_date(row["date"])
        except ValueError as error:
            problems.append(
                Problem(label, str(error), line, "date", row["date"], accepted=ACCEPTED_DATES)
            )
            continue
        orders.add(us_order)
        reading, wrong = _read_pair(row, columns, line, label=label, comma=rows.decimal_comma)
        if wrong:
            problems += [replace(problem, date=day) for problem in wrong]
        elif day in days:
            problems.append(_twice(label, line, day, lines[day], same=_same(reading, days[day])))
        else:
            days[day], lines[day] = reading, line
    if not rows.rows and not rows.problems:
        problems.append(Problem(label, "no days below the header"))
    if len(orders) == 2:
        problems.append(_two_orders(label))
    return days, True in orders, problems


def _temperature_columns(
    header: tuple[str, ...], *, label: str
) -> tuple[tuple[str, str], list[Problem]]:
    """The pair of columns to read, or why there is none."""
    problems = [] if "date" in header else [_no_column(label, "date", header)]
    celsius = [name for name in CELSIUS if name in header]
    fahrenheit = [name for name in FAHRENHEIT if name in header]
    columns = FAHRENHEIT if fahrenheit else CELSIUS
    accepted = "tmin_c and tmax_c, or tmin_f and tmax_f"
    if celsius and fahrenheit:
        problems.append(
            Problem(
                label,
                "columns in both degC and degF",
                1,
                found=", ".join(celsius + fahrenheit),
                accepted=f"{accepted}, not both",
            )
        )
    elif not celsius and not fahrenheit:
        problems.append(
            Problem(label, "no temperature columns", 1, found=", ".join(header), accepted=accepted)
        )
    else:
        problems += [_no_column(label, name, header) for name in columns if name not in header]
    return columns, problems


def _read_pair(
    row: dict[str, str], columns: tuple[str, str], line: int, *, label: str, comma: bool
) -> tuple[_Reading, list[Problem]]:
    """Read tmin and tmax of one row in degC; NaN where a cell says missing."""
    values: list[float] = []
    problems: list[Problem] = []
    for column in columns:
        text = row[column]
        value = math.nan
        if text.upper() not in MISSING_CELLS:
            try:
                value = parse_number(text, decimal_comma=comma)
            except ValueError as error:
                problems.append(Problem(label, str(error), line, column, text, _TEMPERATURE))
        values.append(value)
    tmin, tmax = values
    if columns == FAHRENHEIT:
        return (f_to_c(tmin), f_to_c(tmax)), problems
    return (tmin, tmax), problems


def _record(station: Station, days: _Days) -> StationRecord:
    """Lay the days on a calendar without holes; what the file does not say is MISSING."""
    ordinals = np.fromiter((day.toordinal() for day in days), dtype=np.int64, count=len(days))
    readings = np.array(list(days.values()), dtype=np.float64)
    start = int(ordinals.min())
    grid = np.full((int(ordinals.max()) - start + 1, 2), np.nan)
    grid[ordinals - start] = readings
    kind = np.where(np.isnan(grid).all(axis=1), DayKind.MISSING, DayKind.OBSERVED)
    return StationRecord(
        station,
        dt.date.fromordinal(start),
        grid[:, 0].copy(),
        grid[:, 1].copy(),
        kind.astype(np.int8),
    )


def _same(one: _Reading, other: _Reading) -> bool:
    """Equal, a missing value being equal to a missing value."""
    return all(a == b or (a != a and b != b) for a, b in zip(one, other, strict=True))


# --- sentences ------------------------------------------------------------------------------


def _no_column(label: str, name: str, header: tuple[str, ...]) -> Problem:
    return Problem(label, f"there is no column {name}", 1, found=", ".join(header))


def _twice(label: str, line: int, day: dt.date, earlier: int, *, same: bool) -> Problem:
    if same:
        message, next_step = "this day stands twice, with the same values", None
    else:
        message = "this day stands twice, with different values"
        next_step = "keep the right one"
    return Problem(
        label,
        message,
        line,
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
