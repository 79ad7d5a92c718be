"""Station CSVs behind the weather port: the same contract as the network source."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from stagecast.base.errors import SeasonProblems
from stagecast.weather.records import DayKind, Place, WeatherRequest, WeatherSource
from stagecast.weather.refresh import refresh
from stagecast.weather.sources.station_csv import StationCsvSource
from stagecast.weather.store import STORE_NAME, WeatherStore

FIRST, LAST = dt.date(2026, 5, 1), dt.date(2026, 5, 4)
REQUEST = WeatherRequest((Place(36.0, -89.0),), FIRST, LAST)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two stations; the first misses 2 May and the second ends on 3 May."""
    made = tmp_path / "weather"
    made.mkdir()
    stations = "station,latitude,longitude,elevation_m\nB,36.1,-89.0,100\nA,36.0,-89.0,90\n"
    (made / "stations.csv").write_text(stations)
    days = "date,tmin_c,tmax_c\n2026-04-30,9,19\n2026-05-01,10,20\n2026-05-02,,\n2026-05-03,12,22\n"
    (made / "A.csv").write_text(days + "2026-05-04,13,23\n")
    (made / "B.csv").write_text(days)
    return made


def test_every_station_comes_on_exactly_the_days_asked_for(folder: Path) -> None:
    """Sorted by id; what the files do not have is missing, never filled."""
    source: WeatherSource = StationCsvSource(folder)
    first, second = source.fetch(REQUEST)
    assert [first.station.station, second.station.station] == ["A", "B"]
    for record in (first, second):
        assert (record.first_day, record.last_day) == (FIRST, LAST)
    assert first.kind.tolist() == [DayKind.OBSERVED, DayKind.MISSING, *[DayKind.OBSERVED] * 2]
    assert second.kind[-1] == DayKind.MISSING
    assert np.isnan(first.tmin_c[1])
    assert first.tmax_c[3] == 23.0


def test_a_fault_in_the_files_is_told_and_nothing_is_fetched(folder: Path) -> None:
    """The port never gives a partial answer: one bad cell refuses the whole request."""
    (folder / "B.csv").write_text("date,tmin_c,tmax_c\n2026-05-01,warm,20\n")
    with pytest.raises(SeasonProblems, match=r"B\.csv line 2"):
        StationCsvSource(folder).fetch(REQUEST)


def test_a_folder_that_is_not_there_has_no_stations(tmp_path: Path) -> None:
    """A season that fetches its weather need not have the folder."""
    assert StationCsvSource(tmp_path / "none").fetch(REQUEST) == []


def test_any_source_behind_the_port_can_fill_the_store(folder: Path, tmp_path: Path) -> None:
    """Refreshed through the port, the store holds the files' measured days and no others."""
    store = WeatherStore(tmp_path / STORE_NAME)
    report = refresh(store, StationCsvSource(folder), REQUEST, fetched_on=LAST)
    assert report.new_observed_days == 3 + 2
    assert report.last_observed == {"A": LAST, "B": dt.date(2026, 5, 3)}
