"""The stage model against weekly reports of three states: swings from year to year, lag, drift.

USDA NASS weekly progress: Iowa by the week 2007-2023 (``progress_iowa.csv``), days of 50 percent in
Iowa, Illinois and Missouri (``progress50_ia_il_mo.csv``); one station of the US Climate Reference
Network stands for a state. A report says a stage of whole fields days after it begins; so a
state's mean lag is taken out, and what is left is held against a fixed lag after planting. No
number of the model was fitted to a mean lag. The effect of wide days is that of trials and plots
alone; the rate of the era lies between theirs and that of leaf drop, so that its test here guards
and proves nothing. Skips where the observations are absent.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from observations import needs_observations, rows, station_record, year_rows
from stage_helpers import Crop, at, run

pytestmark = needs_observations

RecordProperty = Callable[[str, object], None]
STAGE_OF = {"blooming": "R1", "setting_pods": "R3", "coloring": "R7", "dropping_leaves": "R7"}
GROUPS = (-0.6, -0.3, 0.0, 0.3, 0.6)  # of fields about a state's usual group; MEMORY
PLANTING_SD = 11.0  # days, where only the half is reported; Iowa's curves have 10 to 12


@dataclass(frozen=True)
class State:
    """A state: its station, its latitude, its usual group (MEMORY), the first whole year."""

    station: str
    latitude: float
    group: float
    first_year: int


STATES = {
    "IA": State("IA_Des_Moines_17_E", 42.0, 2.4, 2007),
    "IL": State("IL_Champaign_9_SW", 40.0, 3.1, 2005),
    "MO": State("MO_Salem_10_W", 38.8, 3.8, 2008),
}
LAST_YEAR = 2023


@cache
def halves() -> dict[tuple[str, int, str], float]:
    """State, year and stage -> day of the year by which half of the area was there."""
    found = {}
    for row in rows("progress50_ia_il_mo.csv"):
        day = dt.date.fromisoformat(row["date_or_days_after_planting"]).timetuple().tm_yday
        stage = row["stage"].removeprefix("NASS 50% ").replace(" ", "_")
        found[row["place"][:2], int(row["year"]), stage] = float(day)
    for year in range(STATES["IA"].first_year, LAST_YEAR + 1):
        for stage in ("setting_pods", "coloring"):
            if ("IA", year, stage) not in found and weeks(year, stage)[0].size:
                days, percent = weeks(year, stage)
                found["IA", year, stage] = float(np.interp(50.0, percent, days))
    return found


@cache
def weeks(year: int, stage: str) -> tuple[np.ndarray, np.ndarray]:
    """Days of the year on which weeks end, and percent of Iowa's area by then."""
    found = sorted(
        (dt.date.fromisoformat(row["week_ending"]).timetuple().tm_yday, float(row["pct"]))
        for row in rows("progress_iowa.csv")
        if row["year"] == str(year) and row["stage"] == stage
    )
    return np.array([d for d, _ in found]), np.array([p for _, p in found])


def plantings(state: str, year: int) -> tuple[np.ndarray, np.ndarray]:
    """Days of the year on which a state plants, and the share of its area on each."""
    if state == "IA":
        days, percent = weeks(year, "planted")
        area = np.diff(percent, prepend=0.0)
        return days[area > 0] - 3.0, area[area > 0] / area[area > 0].sum()
    away = np.linspace(-1.6, 1.6, 7)
    area = np.exp(-(away**2) / 2.0)
    return np.round(halves()[state, year, "planted"] + PLANTING_SD * away), area / area.sum()


@cache
def modelled(state: str) -> dict[tuple[int, str], float]:
    """Year and stage -> day of the year by which half of a state's fields have reached it."""
    place = STATES[state]
    years = range(place.first_year, LAST_YEAR + 1)
    record = year_rows(station_record(place.station), years, first=(3, 1), last=(11, 30))
    low, high = (np.where(np.isnan(t), np.nanmean(t, axis=0), t) for t in record)
    found = {}
    for i, year in enumerate(years):
        march = dt.date(year, 3, 1).timetuple().tm_yday
        days, area = plantings(state, year)
        fields = [
            Crop(int(day) - march, place.group + away, latitude=place.latitude, year=year)
            for day in days
            for away in GROUPS
        ]
        times = run(low[i], high[i], fields, first_day_of_year=march).times[:, 0]
        share = np.repeat(area, len(GROUPS)) / len(GROUPS)
        for stage in ("R1", "R3", "R7"):
            order = np.argsort(at(times, stage))
            reached = np.cumsum(share[order]) - share[order] / 2.0
            found[year, stage] = float(np.interp(0.5, reached, at(times, stage)[order])) + march
    return found


def lags(state: str, reported: str) -> tuple[np.ndarray, np.ndarray]:
    """Years in which a stage was reported, and days from the model's half to the reported one."""
    years = [y for y in range(2005, LAST_YEAR + 1) if (state, y, reported) in halves()]
    years = [y for y in years if y >= STATES[state].first_year]
    stage = STAGE_OF[reported]
    seen = np.array([halves()[state, y, reported] for y in years])
    return np.array(years), seen - np.array([modelled(state)[y, stage] for y in years])


def planted(state: str, years: np.ndarray) -> np.ndarray:
    """Days of the year by which half was planted."""
    return np.array([halves()[state, int(y), "planted"] for y in years])


def slope(x: np.ndarray, y: np.ndarray) -> float:
    """Of a line through points."""
    return float(np.polyfit(x - x.mean(), y, 1)[0])


@pytest.mark.parametrize(
    ("state", "reported", "most_days"),
    [
        ("IA", "blooming", 3.0),
        ("IA", "setting_pods", 2.5),
        ("IA", "coloring", 1.6),
        ("IA", "dropping_leaves", 2.3),
        ("IL", "blooming", 4.2),
        ("IL", "dropping_leaves", 2.4),
        ("MO", "blooming", 3.2),
        ("MO", "dropping_leaves", 3.1),
    ],
)
def test_swings_from_year_to_year(
    state: str, reported: str, most_days: float, record_property: RecordProperty
) -> None:
    """A state's early and late years are followed closer than by a fixed lag, and by so much."""
    years, lag = lags(state, reported)
    fixed = lag + np.array([modelled(state)[int(y), STAGE_OF[reported]] for y in years])
    fixed = fixed - planted(state, years)
    scores = {"sd": round(float(lag.std()), 2), "fixed_lag": round(float(fixed.std()), 2)}
    for name, score in scores.items():
        record_property(name, score)
    print(f"\n{state} {reported}: {scores}, {len(years)} years, mean lag {lag.mean():.1f} d")
    assert len(years) >= 10
    assert lag.std() < fixed.std()
    assert lag.std() <= most_days


def test_leaf_drop_comes_long_after_the_first_color() -> None:
    """In Iowa's own reports half drops leaves 9 to 13 days after half colors, early or late.

    No model in this: so leaf drop that comes 12 days after R7 is a later stage, not an error, and
    as much so in a year that was planted early as in one planted late (0.1 d a day at most).
    """
    years, _ = lags("IA", "coloring")
    apart = np.array(
        [halves()["IA", y, "dropping_leaves"] - halves()["IA", y, "coloring"] for y in years]
    )
    assert apart.min() >= 9.0
    assert apart.max() <= 13.0
    assert abs(slope(planted("IA", years), apart)) <= 0.1


def test_color_follows_beginning_maturity_in_early_and_late_years() -> None:
    """Half of Iowa colors 0 to 5 days after half is at R7, by the model, whenever it was planted.

    Reports come weekly, three or four days late on average. Half was planted from 4 May (2021) to
    4 June (2019).
    """
    years, lag = lags("IA", "coloring")
    assert 0.0 <= lag.mean() <= 5.0
    assert abs(slope(planted("IA", years), lag)) <= 0.15


@pytest.mark.parametrize("state", ["IA", "IL", "MO"])
def test_leaf_drop_does_not_drift(state: str) -> None:
    """Over the years leaf drop moves against R7 by less than 0.2 days a year.

    Without the longer seed fill of newer cultivars (soybean.toml, era) it came later by 0.25 days
    a year in Iowa, 0.29 in Illinois and 0.18 in Missouri.
    """
    assert abs(slope(*lags(state, "dropping_leaves"))) < 0.2
