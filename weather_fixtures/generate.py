"""Make the invented weather: three stations that do not exist, in a climate that does.

No day in these files was ever measured. They are made in five steps.

1. Normals. Monthly mean daily maxima and minima in deg F of two real places north and south
   of the invented area (``PADUCAH_F`` and ``DICKSON_F``; where each was read stands in the
   README beside this file) are brought to the same period and elevation and averaged. Each
   invented station differs from that by a few tenths of a degree (``STATIONS``).
2. Days. A daily normal is the smoothest closed curve whose monthly means are exactly the
   monthly normals (:func:`smooth_year`).
3. Weather. Anomalies shared by the stations: one of the daily mean (lag-one autocorrelation
   0.65) and one of the half-range between maximum and minimum (0.30), each with a standard
   deviation that changes over the year, so April is restless and July is not. Small noise is
   added at each station.
4. Seasons. Every year is warmer or cooler than the others by one draw (sd 1.2 deg F) that
   fades from one midsummer to the next. The anomalies of the past seasons are then centred
   month by month, so that 2013-2025 average to the normals.
5. Records. Values are rounded to 0.1, a maximum stays at least 3 deg F above its minimum, and
   a few one- and two-day holes are left empty.

Everything follows from ``SEED``: the same seed gives the same files. The generator used is
numpy's frozen ``RandomState``, whose stream does not change between numpy versions.

Run ``python weather_fixtures/generate.py`` to write the files beside this one, or give it
another folder as its only argument.
"""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import io
import sqlite3
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SEED = 20260707
FIRST_DAY = dt.date(2013, 1, 1)
LAST_PAST_DAY = dt.date(2025, 12, 31)
LAST_OBSERVED = dt.date(2026, 7, 7)
LAST_MODEL = dt.date(2026, 7, 16)
SERVICE_YEARS = range(2022, 2027)

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)

# Monthly normals as read, deg F, January to December: (mean daily maximum, mean daily minimum).
PADUCAH_F = (
    (42.0, 48.0, 58.0, 68.0, 77.0, 85.0, 89.0, 87.0, 81.0, 71.0, 57.0, 46.0),
    (24.0, 28.0, 37.0, 46.0, 55.0, 64.0, 68.0, 65.0, 57.0, 45.0, 36.0, 28.0),
)
DICKSON_F = (
    (47.1, 51.9, 61.5, 71.0, 77.8, 84.8, 87.9, 87.9, 81.5, 71.3, 60.4, 49.5),
    (26.6, 29.7, 36.9, 45.4, 54.2, 62.5, 66.5, 65.3, 58.2, 46.4, 37.3, 29.2),
)
# Paducah: from the period of that table to 1991-2020, against daily normals read for four dates.
PADUCAH_TO_1991_2020_F = (2.0, 3.0)
# Dickson: 127 m down to 110 m above the sea at 6.5 K per km = 0.83 K = 1.5 deg F.
DICKSON_TO_110_M_F = (1.5, 1.5)

# Standard deviations of the shared anomalies, deg F, January to December: invented, chosen to
# give about 5 deg F in summer and 9 in spring on maxima and minima.
SD_DAILY_MEAN_F = (9.5, 9.3, 8.8, 7.6, 6.2, 4.6, 3.9, 4.1, 6.0, 7.4, 8.5, 9.3)
SD_HALF_RANGE_F = (3.4, 3.5, 3.8, 3.8, 3.2, 2.6, 2.3, 2.4, 3.0, 3.6, 3.5, 3.3)
LAG_ONE_DAILY_MEAN = 0.65
LAG_ONE_HALF_RANGE = 0.30
SD_SEASON_F = 1.2
SD_STATION_F = 0.8
LEAST_RANGE_F = 3.0
HOLES_PER_STATION = 6


@dataclass(frozen=True)
class Invented:
    """One invented station; offsets are deg F added to the regional normals."""

    station: str
    service_id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: int
    tmax_offset_f: float
    tmin_offset_f: float
    unit: str
    hole_2026: tuple[dt.date, ...] = ()


STATIONS = (
    Invented("DEMO01", "ZZ001", "Invented River Bottom", 36.47, -89.02, 92, 0.4, -0.6, "f"),
    Invented(
        "DEMO02", "ZZ002", "Invented Upland", 36.36, -88.76, 134, -0.6, 0.4, "c",
        hole_2026=(dt.date(2026, 6, 11), dt.date(2026, 6, 12)),
    ),
    Invented("DEMO03", "ZZ003", "Invented Crossroads", 36.26, -88.97, 111, 0.2, 0.2, "c"),
)  # fmt: skip


def regional_normals_f() -> tuple[FloatArray, FloatArray]:
    """Monthly mean daily maxima and minima of the invented area, deg F, each of shape (12,)."""
    paducah = np.array(PADUCAH_F) + np.array(PADUCAH_TO_1991_2020_F)[:, None]
    dickson = np.array(DICKSON_F) + np.array(DICKSON_TO_110_M_F)[:, None]
    tmax_f, tmin_f = (paducah + dickson) / 2.0
    return tmax_f, tmin_f


def station_normals_f(place: Invented) -> tuple[FloatArray, FloatArray]:
    """Monthly normals of one invented station, deg F: maxima and minima of shape (12,)."""
    tmax_f, tmin_f = regional_normals_f()
    return tmax_f + place.tmax_offset_f, tmin_f + place.tmin_offset_f


def smooth_year(monthly: FloatArray) -> FloatArray:
    """Daily values of the smoothest closed year with the given monthly means.

    Parameters
    ----------
    monthly : ndarray, shape (12,)
        Means of January to December, in any unit.

    Returns
    -------
    ndarray, shape (365,)
        1 January to 31 December, in that unit.

    Notes
    -----
    Minimises the sum of squared second differences around the closed year subject to the
    twelve means, by one linear system with a Lagrange multiplier per month.

    """
    days = sum(MONTH_DAYS)
    bend = np.roll(np.eye(days), 1, axis=1) - 2.0 * np.eye(days) + np.roll(np.eye(days), -1, axis=1)
    month = np.repeat(np.arange(12), MONTH_DAYS)
    mean = np.array([(month == m) / MONTH_DAYS[m] for m in range(12)])
    system = np.block([[bend.T @ bend, mean.T], [mean, np.zeros((12, 12))]])
    solution = np.linalg.solve(system, np.concatenate([np.zeros(days), monthly]))
    return solution[:days]


def every_day() -> list[dt.date]:
    """Return all days made, past seasons, demo year and model days, in order."""
    count = (LAST_MODEL - FIRST_DAY).days + 1
    return [FIRST_DAY + dt.timedelta(days=i) for i in range(count)]


def on_days(year_curve: FloatArray, days: list[dt.date]) -> FloatArray:
    """Read a 365-day curve on calendar days; 29 February takes the value of the 28th."""
    starts = np.concatenate([[0], np.cumsum(MONTH_DAYS)])
    index = [starts[d.month - 1] + min(d.day, MONTH_DAYS[d.month - 1]) - 1 for d in days]
    return np.asarray(year_curve[np.array(index)], dtype=np.float64)


def autoregressive(count: int, *, lag_one: float, rng: np.random.RandomState) -> FloatArray:
    """First-order autoregressive noise of unit variance, shape (count,)."""
    shocks = rng.standard_normal(count)
    series = np.empty(count)
    series[0] = shocks[0]
    for i in range(1, count):
        series[i] = lag_one * series[i - 1] + np.sqrt(1.0 - lag_one**2) * shocks[i]
    return series


def season_offsets(days: list[dt.date], *, rng: np.random.RandomState) -> FloatArray:
    """Warmth of each season in deg F, tied to midsummers and fading between them."""
    years = np.arange(days[0].year - 1, days[-1].year + 2)
    midsummer = [dt.date(int(y), 7, 1).toordinal() for y in years]
    draws = SD_SEASON_F * rng.standard_normal(len(years))
    return np.interp([d.toordinal() for d in days], midsummer, draws)


def centred(anomaly: FloatArray, days: list[dt.date]) -> FloatArray:
    """Take from an anomaly the smooth curve of its monthly means over the past seasons."""
    past = np.array([d <= LAST_PAST_DAY for d in days])
    month = np.array([d.month for d in days])
    means = np.array([anomaly[past & (month == m)].mean() for m in range(1, 13)])
    return anomaly - on_days(smooth_year(means), days)


def make_weather() -> dict[str, tuple[FloatArray, FloatArray]]:
    """Daily (tmin, tmax) in deg F by station on :func:`every_day`, NaN in the holes."""
    rng = np.random.RandomState(SEED)
    days = every_day()
    count = len(days)
    daily_mean = autoregressive(count, lag_one=LAG_ONE_DAILY_MEAN, rng=rng)
    half_range = autoregressive(count, lag_one=LAG_ONE_HALF_RANGE, rng=rng)
    daily_mean *= on_days(smooth_year(np.array(SD_DAILY_MEAN_F)), days)
    half_range *= on_days(smooth_year(np.array(SD_HALF_RANGE_F)), days)
    daily_mean += season_offsets(days, rng=rng)
    weather = {}
    for place in STATIONS:
        normal_max, normal_min = (on_days(smooth_year(n), days) for n in station_normals_f(place))
        local_max, local_min = SD_STATION_F * rng.standard_normal((2, count))
        tmax_f = normal_max + centred(daily_mean + half_range + local_max, days)
        tmin_f = normal_min + centred(daily_mean - half_range + local_min, days)
        middle = (tmax_f + tmin_f) / 2.0
        half = np.maximum(tmax_f - tmin_f, LEAST_RANGE_F) / 2.0
        tmax_f, tmin_f = middle + half, middle - half
        missing = _holes(place, days, rng)
        tmax_f[missing] = tmin_f[missing] = np.nan
        weather[place.station] = (tmin_f, tmax_f)
    return weather


def _holes(place: Invented, days: list[dt.date], rng: np.random.RandomState) -> list[int]:
    """Day indices left empty: a handful in the past seasons and those set for 2026."""
    past = (LAST_PAST_DAY - FIRST_DAY).days
    starts = rng.randint(0, past, size=HOLES_PER_STATION)
    lengths = rng.randint(1, 3, size=HOLES_PER_STATION)
    holes = [int(s) + i for s, n in zip(starts, lengths, strict=True) for i in range(n)]
    return sorted({*holes, *(days.index(day) for day in place.hole_2026)})


def to_celsius(degrees_f: float) -> float:
    """Convert a temperature from deg F to deg C."""
    return (degrees_f - 32.0) / 1.8


def _text(value_f: float, unit: str) -> str:
    """One value to 0.1 in the station's unit; empty where missing."""
    if np.isnan(value_f):
        return ""
    value = round(float(value_f if unit == "f" else to_celsius(value_f)), 1)
    return f"{value + 0.0:.1f}"  # + 0.0 turns -0.0 into 0.0


def station_csv(place: Invented, tmin_f: FloatArray, tmax_f: FloatArray) -> str:
    """Text of one station's file, through the last observed day, in that station's unit."""
    rows = [f"date,tmin_{place.unit},tmax_{place.unit}"]
    for day, low, high in zip(every_day(), tmin_f, tmax_f, strict=True):
        if day <= LAST_OBSERVED:
            rows.append(f"{day.isoformat()},{_text(low, place.unit)},{_text(high, place.unit)}")
    return "\n".join(rows) + "\n"


SERVICE_COLUMNS = (
    "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,prcp,prcp_source"
)


def service_csv(year: int, tmin_f: FloatArray, tmax_f: FloatArray) -> str:
    """One station-year as the weather service's daily files write it, in deg C, rain empty.

    Days after the last observed one carry the source of a forecast model.
    """
    rows = [SERVICE_COLUMNS]
    for day, low, high in zip(every_day(), tmin_f, tmax_f, strict=True):
        if day.year != year:
            continue
        source = "ghcnd" if day <= LAST_OBSERVED else "dwd_mosmix"
        cells = [_text(value, "c") for value in ((low + high) / 2.0, low, high)]
        values = ",".join(f"{cell},{source if cell else ''}" for cell in cells)
        rows.append(f"{day.year},{day.month},{day.day},{values},,")
    return "\n".join(rows) + "\n"


def gzipped(text: str) -> bytes:
    """Compress text with no time stamp or file name in the header."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=buffer, compresslevel=9, mtime=0) as stream:
        stream.write(text.encode("ascii"))
    return buffer.getvalue()


SCHEMA = """
CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL,
    longitude REAL, elevation INTEGER, timezone TEXT);
CREATE TABLE names (station TEXT, language TEXT, name TEXT);
CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);
CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT,
    completeness INTEGER);
"""


def write_station_list(path: Path) -> None:
    """Write the SQLite station list in the tables the weather library reads."""
    path.unlink(missing_ok=True)
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        connection.execute("PRAGMA page_size = 4096")
        connection.executescript(SCHEMA)
        for p in STATIONS:
            connection.execute(
                "INSERT INTO stations VALUES (?, 'US', 'TN', ?, ?, ?, 'America/Chicago')",
                (p.service_id, p.latitude, p.longitude, p.elevation_m),
            )
            connection.execute("INSERT INTO names VALUES (?, 'en', ?)", (p.service_id, p.name))
            connection.execute(
                "INSERT INTO identifiers VALUES (?, 'national', ?)", (p.service_id, p.station)
            )
            first, last = dt.date(SERVICE_YEARS[0], 1, 1).isoformat(), LAST_MODEL.isoformat()
            connection.executemany(
                "INSERT INTO inventory VALUES (?, 'daily', ?, ?, ?, 100)",
                [(p.service_id, name, first, last) for name in ("temp", "tmin", "tmax")],
            )
        connection.execute("VACUUM")
    finally:
        connection.close()


def text_files() -> Iterator[tuple[str, bytes]]:
    """Yield (path below the folder, content) of every file but the station list."""
    weather = make_weather()
    listing = io.StringIO()
    table = csv.writer(listing, lineterminator="\n")
    table.writerow(["station", "latitude", "longitude", "elevation_m"])
    for place in STATIONS:
        table.writerow([place.station, place.latitude, place.longitude, place.elevation_m])
    yield "stations.csv", listing.getvalue().encode("ascii")
    for place in STATIONS:
        tmin_f, tmax_f = weather[place.station]
        yield f"{place.station}.csv", station_csv(place, tmin_f, tmax_f).encode("ascii")
        for year in SERVICE_YEARS:
            content = gzipped(service_csv(year, tmin_f, tmax_f))
            yield f"daily/{year}/{place.service_id}.csv.gz", content


def write_all(folder: Path) -> None:
    """Write every fixture below ``folder``, replacing what is there."""
    for name, content in text_files():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    write_station_list(folder / "stations.db")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
