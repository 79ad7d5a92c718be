"""Day length against a solar position algorithm, the handbook table and published values."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition

from stagecast.phenology.daylength import CIVIL_TWILIGHT_ANGLE_DEG, day_length_hours

# Project handbook of soybean phenology, section 6 (COMPUTED there with the CBM equations, by
# other hands): sunrise to sunset / civil twilight included, hours; columns are days of year.
HANDBOOK_DAYS = [80, 121, 152, 172, 213, 244, 265]
HANDBOOK = {
    30: "12.12/12.92 13.31/14.15 13.94/14.84 14.08/14.99 13.60/14.47 12.80/13.61 12.18/12.97",
    35: "12.13/12.97 13.57/14.47 14.34/15.31 14.51/15.50 13.93/14.85 12.95/13.81 12.20/13.04",
    40: "12.14/13.04 13.87/14.84 14.80/15.87 15.02/16.11 14.30/15.31 13.12/14.05 12.22/13.12",
    45: "12.15/13.12 14.22/15.29 15.35/16.56 15.62/16.87 14.74/15.87 13.32/14.33 12.24/13.22",
    50: "12.16/13.23 14.64/15.86 16.04/17.46 16.37/17.86 15.28/16.58 13.56/14.69 12.28/13.35",
}

# FAO Irrigation and Drainage Paper 24 (Doorenbos and Pruitt 1977), mean daily duration of
# maximum possible sunshine hours, January to December. Values from MEMORY: the stored copy of
# the paper did not show the table. They include refraction (15.0 h in June at 40 N).
FAO_24 = {
    30: [10.4, 11.1, 12.0, 12.9, 13.6, 14.0, 13.9, 13.2, 12.4, 11.5, 10.6, 10.2],
    40: [9.6, 10.7, 11.9, 13.3, 14.4, 15.0, 14.7, 13.7, 12.5, 11.2, 10.0, 9.3],
    50: [8.5, 10.1, 11.8, 13.8, 15.4, 16.3, 15.9, 14.5, 12.7, 10.8, 9.1, 8.1],
}

# Luther College (Decorah, Iowa, 43.3 N) weather site, table of sunrise, sunset and civil
# twilight for September, READ (faculty.luther.edu, srssData_09): September day -> (day length,
# length with twilight), h:min. Place and latitude are those of the college; the table names
# neither.
SEPTEMBER_43_N = {1: ("13:09", "14:09"), 11: ("12:41", "13:41"), 21: ("12:11", "13:09")}
SEPTEMBER_43_N |= {25: ("12:00", "12:57"), 30: ("11:45", "12:42")}

# US Naval Observatory, duration of daylight 2007, San Francisco (37.8 N), as quoted on a web
# page (READ): day of year -> h:min.
NAVAL_OBSERVATORY_38_N = {64: "11:31", 169: "14:47", 175: "14:47", 352: "9:33", 359: "9:33"}


def _hours(clock: str) -> float:
    hours, minutes = clock.split(":")
    return int(hours) + int(minutes) / 60.0


@pytest.mark.parametrize("year", [2023, 2024])
@pytest.mark.parametrize("latitude", range(25, 55, 5))
def test_every_day_of_a_year_is_within_minutes_of_the_solar_position_algorithm(
    latitude: int, year: int
) -> None:
    """Sunset minus sunrise of NREL's SPA (via pvlib) differs by under 5 minutes all year."""
    dates = pd.date_range(f"{year}-01-01", f"{year}-12-31", tz="UTC")
    spa = solarposition.sun_rise_set_transit_spa(dates, latitude, 0.0)
    expected = (spa["sunset"] - spa["sunrise"]).dt.total_seconds().to_numpy() / 3600.0
    ours = day_length_hours(latitude, np.arange(1, len(dates) + 1))
    assert np.abs(ours - expected).max() * 60.0 < 5.0


@pytest.mark.parametrize("latitude", HANDBOOK)
def test_handbook_table(latitude: int) -> None:
    """Both day lengths of every cell of the handbook table come out to 0.03 h."""
    cells = [cell.split("/") for cell in HANDBOOK[latitude].split()]
    sunrise, twilight = np.array(cells, dtype=float).T
    civil = day_length_hours(latitude, HANDBOOK_DAYS, sun_angle_deg=CIVIL_TWILIGHT_ANGLE_DEG)
    np.testing.assert_allclose(day_length_hours(latitude, HANDBOOK_DAYS), sunrise, atol=0.03)
    np.testing.assert_allclose(civil, twilight, atol=0.03)


@pytest.mark.parametrize("latitude", FAO_24)
def test_monthly_means_of_fao_paper_24(latitude: int) -> None:
    """Monthly mean day length agrees with FAO paper 24 to 0.15 h, its rounding and era."""
    daily = day_length_hours(latitude, np.arange(1, 366))
    month_starts = np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    monthly = [month.mean() for month in np.split(daily, month_starts)]
    np.testing.assert_allclose(monthly, FAO_24[latitude], atol=0.15)


def test_worked_example_of_fao_paper_56_without_refraction() -> None:
    """FAO paper 56 example 10 (READ): 20 S on 3 September (day 246), N = 11.7 h, sun angle 0."""
    assert day_length_hours(-20.0, 246, sun_angle_deg=0.0) == pytest.approx(11.7, abs=0.1)


@pytest.mark.parametrize("day", SEPTEMBER_43_N)
def test_published_september_table_with_and_without_twilight(day: int) -> None:
    """A printed September table at 43.3 N agrees to 7 minutes for sunset and for twilight."""
    sunset, twilight = (_hours(clock) for clock in SEPTEMBER_43_N[day])
    tolerance = 7.0 / 60.0
    doy = 243 + day
    assert day_length_hours(43.3, doy) == pytest.approx(sunset, abs=tolerance)
    civil = day_length_hours(43.3, doy, sun_angle_deg=CIVIL_TWILIGHT_ANGLE_DEG)
    assert civil == pytest.approx(twilight, abs=tolerance)


@pytest.mark.parametrize("doy", NAVAL_OBSERVATORY_38_N)
def test_published_naval_observatory_values(doy: int) -> None:
    """Printed day lengths at 37.8 N, shortest and longest days included, agree to 3 minutes."""
    expected = _hours(NAVAL_OBSERVATORY_38_N[doy])
    assert day_length_hours(37.77, doy) == pytest.approx(expected, abs=3.0 / 60.0)


def test_polar_day_and_night_are_clipped() -> None:
    """Where the sun does not cross the angle the day is exactly 24 or 0 hours, poles included."""
    latitudes = [70.0, 90.0, -70.0, -90.0]
    np.testing.assert_array_equal(day_length_hours(latitudes, 172), [24.0, 24.0, 0.0, 0.0])
    np.testing.assert_array_equal(day_length_hours(latitudes, 355), [0.0, 0.0, 24.0, 24.0])


def test_year_runs_smoothly_through_new_year() -> None:
    """The tangent in the model jumps in early January; the day length must not."""
    days = np.r_[350:366, 1:32]
    assert np.abs(np.diff(day_length_hours(45.0, days))).max() * 60.0 < 3.0


def test_latitudes_and_days_broadcast() -> None:
    """A column of latitudes and a row of days give a table equal to its scalar cells."""
    latitudes, days = np.array([[30.0], [45.0]]), np.array([1, 172, 244])
    table = day_length_hours(latitudes, days)
    assert table.shape == (2, 3)
    assert table[1, 2] == day_length_hours(45.0, 244)


def test_a_deeper_sun_angle_lengthens_every_day() -> None:
    """Civil twilight makes the day longer at every latitude and on every day of the year."""
    latitudes, days = np.arange(25.0, 51.0)[:, None], np.arange(1, 367)
    civil = day_length_hours(latitudes, days, sun_angle_deg=CIVIL_TWILIGHT_ANGLE_DEG)
    assert (civil > day_length_hours(latitudes, days)).all()


def test_missing_latitude_stays_missing() -> None:
    """NaN in gives NaN out, without a warning."""
    assert np.isnan(day_length_hours(np.nan, 172))


@pytest.mark.parametrize(
    ("latitude", "day", "angle", "named"),
    [(91.0, 1, 0.8333, "latitude"), (45.0, 0, 0.8333, "day_of_year"), (45.0, 1, -1.0, "sun_angle")],
)
def test_values_out_of_range_are_refused(
    latitude: float, day: int, angle: float, named: str
) -> None:
    """The error names the argument that is out of range."""
    with pytest.raises(ValueError, match=named):
        day_length_hours(latitude, day, sun_angle_deg=angle)
