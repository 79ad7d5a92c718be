"""A region's days are the plan's: the compiled loop beside numpy, field by field, day by day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from region_builder import GROUPS, HABITS
from season_builder import (
    FieldLine,
    StationFile,
    build_season,
    day,
    set_cells,
)

from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import load_season
from stagecast.forecast.ranges import DateRange
from stagecast.pests.clock import PestClock
from stagecast.pests.windows import ScoutingWindow, crop_windows, pest_windows
from stagecast.phenology.soybean import STAGES
from stagecast.region.fields import read_fields
from stagecast.region.kernel import NOT_THIS_SEASON
from stagecast.region.part import QUANTILES, RegionAsked
from stagecast.region.run import PARTS, run_region
from stagecast.region.weather import ParquetWeather

FIELDS = 60
STATES = ("TN", "IA", "MS", "MO")


@dataclass(frozen=True)
class Wobbling:
    """Seasons with days and years of their own, drawn once for each station."""

    mean_c: float
    seed: int

    def __call__(self, day: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC."""
        season = 13.0 * np.sin(2 * np.pi * (day.timetuple().tm_yday - 110) / 365.25)
        random = np.random.default_rng((self.seed, day.toordinal()))
        year = np.random.default_rng((self.seed, day.year)).normal(0.0, 1.2)
        mean = self.mean_c + season + year + random.normal(0.0, 3.0)
        half = random.uniform(2.0, 9.0)
        return mean - half, mean + half


STATIONS = [
    StationFile("S1", 36.0, -89.0, weather=Wobbling(15.5, 1)),
    StationFile("S2", 37.0, -90.0, weather=Wobbling(12.5, 2), first=dt.date(2018, 1, 1)),
]


def field_lines() -> list[FieldLine]:
    """Fields of all groups and habits, planted from April to July, one station each."""
    random = np.random.default_rng(7)
    return [
        FieldLine(
            field_id=f"F{number:03d}",
            planting_date=day(4, 5) + dt.timedelta(days=int(random.integers(0, 85))),
            maturity_group=GROUPS[number % len(GROUPS)],
            growth_habit=HABITS[int(random.integers(len(HABITS)))],
            latitude=round(float(random.uniform(35.5, 37.5)), 4),
            longitude=round(float(random.uniform(-90.5, -88.5)), 4),
            station=STATIONS[number % 2].station,
        )
        for number in range(FIELDS)
    ]


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season folder with such fields, in several states."""
    lines = field_lines()
    folder = build_season(tmp_path_factory.mktemp("season"), fields=lines, stations=STATIONS)
    for number, line in enumerate(lines):
        set_cells(folder, line.field_id, state=STATES[number % len(STATES)])
    return folder


def as_region(season: Path, folder: Path) -> Path:
    """The same fields and temperatures as two Parquet tables."""
    lines = field_lines()
    fields = {
        "field_id": [one.field_id for one in lines],
        "latitude": [one.latitude for one in lines],
        "longitude": [one.longitude for one in lines],
        "planting_date": [one.planting_date for one in lines],
        "maturity_group": [one.maturity_group for one in lines],
        "growth_habit": [one.growth_habit for one in lines],
        "cell": [one.station for one in lines],
        "state": [STATES[number % len(STATES)] for number in range(len(lines))],
    }
    pq.write_table(pa.table(fields), folder / "fields.parquet")
    rows = [
        (one.station, *line.split(","))
        for one in STATIONS
        for line in (season / "weather" / f"{one.station}.csv").read_text().splitlines()[1:]
    ]
    weather = {
        "cell": [row[0] for row in rows],
        "date": [dt.date.fromisoformat(row[1]) for row in rows],
        "tmin_c": [float(row[2]) for row in rows],
        "tmax_c": [float(row[3]) for row in rows],
    }
    pq.write_table(pa.table(weather), folder / "weather.parquet")
    return folder


def rows_of(folder: Path, out: Path, asked: RegionAsked) -> dict[str, dict[str, Any]]:
    """What a run over a folder's tables writes, by field."""
    fields = read_fields(folder / "fields.parquet", span=asked.span, knowledge=asked.knowledge)
    run_region(fields, ParquetWeather.open(folder / "weather.parquet"), out, asked=asked)
    table = pq.read_table(out / PARTS)
    return {row["field_id"]: row for row in table.to_pylist()}


def days_of(dates: DateRange) -> list[int]:
    """Days of the year, as the region writes them."""
    return [
        NOT_THIS_SEASON if one is None else one.timetuple().tm_yday
        for one in (dates.p10, dates.p50, dates.p90)
    ]


def columns_of(row: dict[str, Any], name: str) -> list[int]:
    """The three quantiles of one thing."""
    return [row[f"{name}_{quantile}"] for quantile in QUANTILES]


def window_name(window: ScoutingWindow) -> str:
    """The name of a window's columns."""
    name = window.window if window.pest is None else f"{window.pest}_{window.window}"
    return name.replace("-", "_")


@pytest.mark.parametrize("as_of", [day(3, 1), day(6, 20), day(12, 15)])
def test_every_day_is_that_of_the_plan(season: Path, tmp_path: Path, as_of: dt.date) -> None:
    """With the plan's draws, every stage and window has the plan's days, before, in and after it.

    The reference is the plan's own code in numpy.
    """
    loaded = load_season(season, as_of=as_of)
    draws = int(loaded.knowledge.soybean.ensemble.levels) * int(
        loaded.knowledge.soybean.ensemble.per_level
    )
    found = rows_of(as_region(season, tmp_path), tmp_path / "out", RegionAsked(as_of, draws))
    clock = PestClock(loaded)
    wrong: list[tuple[Any, ...]] = []
    compared = windows = 0
    for forecast in forecast_season(loaded):
        row = found[forecast.field.field_id]
        wanted = {stage.lower(): days_of(forecast.stages[stage]) for stage in STAGES}
        wanted["r6_5"] = days_of(forecast.late)
        seen = windows_of(forecast, clock)
        windows += len(seen)
        for window in seen:
            wanted[f"{window_name(window)}_opens"] = days_of(window.opens)
            wanted[f"{window_name(window)}_closes"] = days_of(window.closes)
        compared += 3 * len(wanted)
        wrong += [
            (row["field_id"], name, columns_of(row, name), days)
            for name, days in wanted.items()
            if columns_of(row, name) != days
        ]
        open_ = {
            name.removesuffix("_opens_p50")
            for name, value in row.items()
            if name.endswith("_opens_p50") and value not in (None, NOT_THIS_SEASON)
        }
        named = {name.removesuffix("_opens") for name in wanted if name.endswith("_opens")}
        assert open_ <= named, row["field_id"]
    assert wrong == []
    assert compared > FIELDS * 3 * 23
    assert windows > FIELDS * 6


def windows_of(forecast: FieldForecast, clock: PestClock) -> list[ScoutingWindow]:
    """The plan's windows of the crop, and those of pests that heat times."""
    pests = [w for w in pest_windows(forecast, clock) if w.timing == "heat"]
    return [*crop_windows(forecast, clock.knowledge), *pests]
