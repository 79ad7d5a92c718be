"""Build whole season folders for tests: settings, fields, visits and station temperatures.

Everything here is invented. Temperatures are functions of the day, so that a test can work out by
hand what a forecast must say.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

YEAR = 2026
KM_PER_DEGREE = math.pi * 6371.0088 / 180  # along a meridian of the mean sphere
ONE_DAY = dt.timedelta(days=1)

Hole = tuple[dt.date, dt.date]
Temperatures = Callable[[dt.date], tuple[float, float]]


@dataclass(frozen=True)
class Constant:
    """The same mean every day; ranges alternate, or the sensor would be taken for a stuck one."""

    mean_c: float
    half_range_c: float = 5.0

    def __call__(self, day: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        half = self.half_range_c + 0.1 * (day.toordinal() % 2)
        return self.mean_c - half, self.mean_c + half


@dataclass(frozen=True)
class Sinusoidal:
    """Warm summers and cold winters, a year warmer or colder than the next, days that wobble."""

    mean_c: float = 15.0
    swing_c: float = 12.0
    years_differ_c: float = 1.5
    half_range_c: float = 6.0

    def __call__(self, day: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        season = math.sin(2 * math.pi * (day.timetuple().tm_yday - 110) / 365.25)
        year = self.years_differ_c * math.sin(2.4 * day.year)
        wobble = 2.0 * math.sin(0.9 * day.toordinal())
        mean = self.mean_c + self.swing_c * season + year + wobble
        return mean - self.half_range_c, mean + self.half_range_c


@dataclass(frozen=True)
class PerYear:
    """One weather in some years, another in the rest."""

    years: frozenset[int]
    then: Temperatures
    otherwise: Temperatures

    def __call__(self, day: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        return (self.then if day.year in self.years else self.otherwise)(day)


@dataclass(frozen=True)
class From:
    """One weather up to a day, another from that day on."""

    day: dt.date
    before: Temperatures
    after: Temperatures

    def __call__(self, day: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        return (self.before if day < self.day else self.after)(day)


@dataclass(frozen=True)
class StationFile:
    """A station and what its file holds: ten past seasons unless told; a hole has no lines.

    Rain has a column where it is told; a day of which it tells nothing is left blank.
    """

    station: str = "S1"
    latitude: float = 36.0
    longitude: float = -89.0
    elevation_m: float | None = 100.0
    first: dt.date = dt.date(2016, 1, 1)
    last: dt.date = dt.date(YEAR, 12, 31)
    weather: Temperatures = Sinusoidal()
    holes: tuple[Hole, ...] = ()
    rain_mm: Callable[[dt.date], float | None] | None = None


@dataclass(frozen=True)
class FieldLine:
    """A line of fields.csv."""

    field_id: str = "F1"
    planting_date: dt.date = dt.date(YEAR, 5, 4)
    maturity_group: str = "4.5"
    latitude: float = 36.0
    longitude: float = -89.0
    growth_habit: str = ""
    emergence_date: dt.date | None = None
    station: str = ""
    elevation_m: float | None = None


@dataclass(frozen=True)
class VisitLine:
    """A line of visits.csv."""

    field_id: str
    date: dt.date
    pressure: str = "some"
    stage: str = ""
    share_percent: str = ""


def day(month: int, number: int) -> dt.date:
    """A day of the season's year."""
    return dt.date(YEAR, month, number)


def north(field: FieldLine, km: float) -> FieldLine:
    """The same field, moved north by a distance along the meridian."""
    return replace(field, latitude=field.latitude + km / KM_PER_DEGREE)


def build_season(
    folder: Path,
    *,
    fields: Sequence[FieldLine] = (FieldLine(),),
    stations: Sequence[StationFile] = (StationFile(),),
    visits: Sequence[VisitLine] = (),
    working_days: Sequence[str] = ("mon", "tue", "wed", "thu", "fri"),
    fields_per_day: int | None = None,
    units: str = "us",
    weather: str = "",
) -> Path:
    """Write a season folder and return it; ``weather`` is put into its [weather] section.

    The columns of visits.csv that need not be there are written where a visit fills them.
    """
    days = ", ".join(f'"{name}"' for name in working_days)
    room = "" if fields_per_day is None else f"fields_per_day = {fields_per_day}\n"
    _write(
        folder / "season.toml",
        f'year = {YEAR}\nunits = "{units}"\nregion = "TN"\nworking_days = [{days}]\n'
        f"{room}[home]\nlatitude = 36.02\nlongitude = -89.01\n[weather]\n{weather}\n",
    )
    header = (
        "field_id,grower,field_name,latitude,longitude,area_acres,planting_date,"
        "maturity_group,growth_habit,notes,emergence_date,station,elevation_m"
    )
    _write(folder / "fields.csv", _lines(header, map(_field_line, fields)))
    write_visits(folder, visits)
    write_weather(folder, stations)
    return folder


def write_visits(folder: Path, visits: Sequence[VisitLine]) -> None:
    """Write the visits of a season anew."""
    header = ["field_id", "date", "pressure"]
    if any(v.stage or v.share_percent for v in visits):
        header += ["stage", "share_percent"]
    rows = (",".join(str(getattr(v, column)) for column in header) for v in visits)
    _write(folder / "visits.csv", _lines(",".join(header), rows))


def write_weather(folder: Path, stations: Sequence[StationFile]) -> None:
    """Write the station files of a season anew."""
    places = (
        f"{s.station},{s.latitude!r},{s.longitude!r},{_blank(s.elevation_m)}" for s in stations
    )
    header = "station,latitude,longitude,elevation_m"
    _write(folder / "weather" / "stations.csv", _lines(header, places))
    for station in stations:
        _write(folder / "weather" / f"{station.station}.csv", _station_text(station))


def snapshot(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Every path in a folder, with its time of change and its bytes."""
    return {
        str(path.relative_to(folder)): (
            path.stat().st_mtime_ns,
            path.read_bytes() if path.is_file() else b"",
        )
        for path in (folder, *sorted(folder.rglob("*")))
    }


@lru_cache(maxsize=64)
def _station_text(station: StationFile) -> str:
    count = (station.last - station.first).days + 1
    days = (station.first + i * ONE_DAY for i in range(count))
    rows = []
    for this in days:
        if not any(first <= this <= last for first, last in station.holes):
            tmin_c, tmax_c = station.weather(this)
            rain = "" if station.rain_mm is None else f",{_blank(station.rain_mm(this))}"
            rows.append(f"{this},{tmin_c:.2f},{tmax_c:.2f}{rain}")
    header = "date,tmin_c,tmax_c" if station.rain_mm is None else "date,tmin_c,tmax_c,rain_mm"
    return _lines(header, rows)


def _field_line(field: FieldLine) -> str:
    return (
        f"{field.field_id},Grower A,,{field.latitude!r},{field.longitude!r},40,"
        f"{field.planting_date},{field.maturity_group},{field.growth_habit},,"
        f"{_blank(field.emergence_date)},{field.station},{_blank(field.elevation_m)}"
    )


def _blank(value: object) -> str:
    return "" if value is None else str(value)


def _lines(header: str, rows: Iterable[str]) -> str:
    return "\n".join([header, *rows, ""])


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def set_cells(folder: Path, field_id: str, **cells: str) -> Path:
    """Put other text into cells of a field's row; a column that is not there yet is added."""
    path = folder / "fields.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    for row in rows:
        row.update(cells if row["field_id"] == field_id else {})
    columns = list(dict.fromkeys(name for row in rows for name in row))
    lines = (",".join(row.get(name, "") for name in columns) for row in rows)
    _write(path, _lines(",".join(columns), lines))
    return folder
