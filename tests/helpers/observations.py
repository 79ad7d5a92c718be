"""Where real observations lie beside the repository, and how tests read them.

The rows are not part of the repository; tests that need them skip where the folder is absent.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from stagecast.weather.gaps import apply
from stagecast.weather.records import DayKind, Station, StationRecord

OBSERVATIONS = Path(__file__).resolve().parents[2].parent / "shared" / "observations"

needs_observations = pytest.mark.skipif(
    not OBSERVATIONS.is_dir(), reason="no folder shared/observations beside the repository"
)

SHORT_HOLES = 3


def rows(name: str) -> list[dict[str, str]]:
    """Every row of one of the CSV files, as read."""
    with (OBSERVATIONS / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def station_record(name: str) -> StationRecord:
    """All days of a station; days without a row or without both temperatures are MISSING."""
    place = next(row for row in rows("stations.csv") if row["station"] == name)
    read = {
        dt.date.fromisoformat(row["date"]): (float(row["tmin_c"]), float(row["tmax_c"]))
        for row in rows(f"station_days/{name}.csv")
        if row["tmin_c"] and row["tmax_c"]
    }
    first = min(read)
    values = np.full(((max(read) - first).days + 1, 2), np.nan)
    for day, pair in read.items():
        values[(day - first).days] = pair
    kind = np.where(np.isnan(values[:, 0]), DayKind.MISSING, DayKind.OBSERVED).astype(np.int8)
    station = Station(name, float(place["lat"]), float(place["lon"]))
    return StationRecord(station, first, values[:, 0].copy(), values[:, 1].copy(), kind)


def year_rows(
    record: StationRecord, years: range, *, first: tuple[int, int], last: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """One row of temperatures per year, from one month and day to another.

    Holes of up to three days are bridged; longer ones stay NaN. Both days must lie after
    29 February, so that all years have the same length.
    """
    laid = [
        apply(record, SHORT_HOLES, dt.date(year, *first), dt.date(year, *last)) for year in years
    ]
    return np.array([r.tmin_c for r in laid]), np.array([r.tmax_c for r in laid])
