"""Invented seasons of any number of fields, none of them alike, for measuring what a plan costs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from stage_helpers import invented_years

YEAR = 2026
AS_OF = dt.date(YEAR, 7, 7)
HOME = (36.37, -88.88)
FIELDS_A_STATION, MOST_STATIONS, FIELDS_A_SCOUT = 50, 40, 100
GROUPS = ("3.4", "3.8", "4.2", "4.6", "4.8", "5.2", "4", "IV late")


def build(folder: Path, *, fields: int, past_years: int, seed: int = 5) -> Path:
    """Write a season folder: its fields, its stations with rain, nothing walked yet."""
    random = np.random.default_rng([seed, fields])
    stations = max(1, min(fields // FIELDS_A_STATION, MOST_STATIONS))
    scouts = "".join(
        f'[[scouts]]\nname = "Scout {n + 1}"\n' for n in range(max(1, fields // FIELDS_A_SCOUT))
    )
    (folder / "weather").mkdir(parents=True)
    (folder / "season.toml").write_text(
        f'year = {YEAR}\nunits = "us"\nregion = "TN"\n'
        'working_days = ["mon", "tue", "wed", "thu", "fri"]\n'
        f"[home]\nlatitude = {HOME[0]}\nlongitude = {HOME[1]}\n{scouts}",
        encoding="utf-8",
    )
    _write_fields(folder, fields, random)
    _write_weather(folder / "weather", stations, past_years, random)
    return folder


def _write_fields(folder: Path, fields: int, random: np.random.Generator) -> None:
    rows = [
        "field_id,grower,field_name,latitude,longitude,area_acres,planting_date,maturity_group,"
        "growth_habit,notes"
    ]
    for number in range(fields):
        north, east = random.normal(0.0, 0.12, 2)
        acres = round(float(np.clip(60 * np.exp(0.6 * random.normal()), 10, 250)))
        planted = dt.date(YEAR, 4, 15) + dt.timedelta(days=int(random.integers(0, 66)))
        place = f"{HOME[0] + north:.4f},{HOME[1] + east:.4f}"
        name = f"F{number + 1:05},Grower {number % 12 + 1},"
        rows.append(f"{name},{place},{acres},{planted},{random.choice(GROUPS)},,")
    (folder / "fields.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")


def _write_weather(
    folder: Path, stations: int, past_years: int, random: np.random.Generator
) -> None:
    """The same climate everywhere; every station has years and rain of its own."""
    places = ["station,latitude,longitude,elevation_m"]
    for station in range(stations):
        north, east = random.normal(0.0, 0.12, 2)
        places.append(f"S{station:02},{HOME[0] + north:.4f},{HOME[1] + east:.4f},100")
        low, high = invented_years(
            mean_c=15.0, swing_c=12.0, range_c=11.0, seed=station, members=past_years + 1
        )
        wet = random.random(low.shape) < 0.3
        rain = np.where(wet, random.exponential(11.0, low.shape), 0.0)
        days = [
            f"{dt.date(year, 1, 1) + dt.timedelta(days=i)},"
            f"{low[row, i]:.1f},{high[row, i]:.1f},{rain[row, i]:.1f}"
            for row, year in enumerate(range(YEAR - past_years, YEAR + 1))
            for i in range(low.shape[1])
        ]
        text = "\n".join(["date,tmin_c,tmax_c,rain_mm", *days, ""])
        (folder / f"S{station:02}.csv").write_text(text, encoding="utf-8")
    (folder / "stations.csv").write_text("\n".join([*places, ""]), encoding="utf-8")
