"""Regions for tests: tables of invented fields and temperatures as Parquet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

YEAR = 2026
GROUPS = ("0.5", "1.8", "II", "2.4", "early III", "3.1", "IV", "4.4", "4.9", "V", "5.3", "late VI")
HABITS = ("", "", "indeterminate", "determinate")


def region_fields(count: int, *, cells: Sequence[str], seed: int = 1, **columns: Any) -> Any:
    """A table of fields strewn over some cells, and columns in place of those or beside them."""
    random = np.random.default_rng(seed)
    planted = random.integers(95, 180, count)
    table = {
        "field_id": [f"F{number:05d}" for number in range(count)],
        "latitude": np.round(random.uniform(33.0, 46.0, count), 4),
        "longitude": np.round(random.uniform(-97.0, -83.0, count), 4),
        "planting_date": [dt.date(YEAR, 1, 1) + dt.timedelta(days=int(d)) for d in planted],
        "maturity_group": random.choice(GROUPS, count).tolist(),
        "growth_habit": random.choice(HABITS, count).tolist(),
        "cell": random.choice(list(cells), count).tolist(),
    }
    return pa.table(table | columns)


def region_weather(
    cells: Sequence[str], *, first_year: int = 2016, last: dt.date = dt.date(2025, 12, 31),
    seed: int = 1,
) -> Any:  # fmt: skip
    """A table of temperatures: warm summers, cold winters, years and days that differ."""
    random = np.random.default_rng(seed)
    first = dt.date(first_year, 1, 1)
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 1)]
    season = np.sin(2 * np.pi * (np.array([d.timetuple().tm_yday for d in days]) - 110) / 365.25)
    year = {y: random.normal(0.0, 1.0) for y in range(first_year, last.year + 1)}
    tables = []
    for cell in cells:
        mean = random.uniform(11.0, 16.0) + 13.0 * season + random.normal(0.0, 3.0, len(days))
        mean += np.array([year[day.year] for day in days])
        half = random.uniform(3.0, 8.0, len(days))
        tables.append(
            pa.table(
                {
                    "cell": [cell] * len(days),
                    "date": days,
                    "tmin_c": np.round(mean - half, 2),
                    "tmax_c": np.round(mean + half, 2),
                }
            )
        )
    return pa.concat_tables(tables)


def write_region(folder: Path, fields: Any, weather: Any, *, rows: int = 8000) -> Path:
    """Write both tables into a folder and return it; so many rows of weather to a row group."""
    folder.mkdir(parents=True, exist_ok=True)
    pq.write_table(fields, folder / "fields.parquet")
    pq.write_table(weather, folder / "weather.parquet", row_group_size=rows)
    return folder
