"""Answers of a service that cannot be right are held back; real weather is not."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from observations import needs_observations, station_record

from stagecast.base.units import FloatArray, f_to_c
from stagecast.knowledge import load
from stagecast.weather.doubt import Doubt, Why, doubts, drifts, held_problem
from stagecast.weather.records import DayKind, Station, StationRecord, WeatherRequest
from stagecast.weather.refresh import RefreshReport, refresh
from stagecast.weather.store import STORE_NAME, WeatherStore

LIMITS = load().weather
TODAY = dt.date(2026, 7, 20)
NAMES = ("west", "middle", "east")
Fault = Literal["zeros", "8 warmer", "Fahrenheit as Celsius", "Celsius as Fahrenheit"]


def invented(name: str, first: dt.date, last: dt.date) -> StationRecord:
    """Invented days: a year's wave, weather of some days shared by all, and some of one's own."""
    days = np.arange((last - first).days + 1)
    doy = np.array([(first + dt.timedelta(days=int(i))).timetuple().tm_yday for i in days])
    since = np.array([first.toordinal() + int(i) for i in days])
    shared = 3.0 * np.sin(since / 3.7) + 2.0 * np.sin(since / 11.3)
    own = np.random.default_rng(NAMES.index(name)).normal(0.0, 0.7, 40_000)[since % 40_000]
    mean = 15.0 - 14.0 * np.cos(2 * np.pi * (doy - 15) / 365.25) + shared + own
    place = Station(name, 35.0, -90.0 + 0.2 * NAMES.index(name))
    kind = np.full(len(days), DayKind.OBSERVED, dtype=np.int8)
    return StationRecord(place, first, mean - 6.0, mean + 6.0, kind)


def moved(record: StationRecord, by_c: float, *, last_days: int | None = None) -> StationRecord:
    """The record with its days, or the last of them, warmer."""
    by = np.zeros(record.days)
    by[-(last_days or record.days) :] = by_c
    return replace(record, tmin_c=record.tmin_c + by, tmax_c=record.tmax_c + by)


def broken(record: StationRecord, fault: Fault) -> StationRecord:
    """The record as a service with a fault would give it."""

    def made(values: FloatArray) -> FloatArray:
        match fault:
            case "zeros":
                return np.zeros_like(values)
            case "8 warmer":
                return values + 8.0
            case "Fahrenheit as Celsius":
                return values * 1.8 + 32.0
        return np.asarray(f_to_c(values), dtype=np.float64)

    return replace(record, tmin_c=made(record.tmin_c), tmax_c=made(record.tmax_c))


STORED = {name: invented(name, dt.date(2016, 1, 1), dt.date(2026, 7, 10)) for name in NAMES}
"""Ten years and this season up to 10 July."""
NEXT = {name: invented(name, dt.date(2026, 1, 1), TODAY) for name in NAMES}
"""The next answer: the season once more, and ten new days."""
FAULTS: tuple[Fault, ...] = ("zeros", "8 warmer", "Fahrenheit as Celsius", "Celsius as Fahrenheit")


def whys(found: dict[str, Doubt]) -> dict[str, Why]:
    """Station -> why."""
    return {name: doubt.why for name, doubt in found.items()}


def test_a_sound_answer_is_believed() -> None:
    """The same days and ten new ones: nothing to hold back."""
    assert doubts(list(NEXT.values()), STORED, limits=LIMITS) == {}


@pytest.mark.parametrize("fault", FAULTS)
def test_garbage_moves_no_stored_day(fault: Fault) -> None:
    """All of a faulty answer is held back, with how many stored days it would have moved."""
    found = doubts([broken(one, fault) for one in NEXT.values()], STORED, limits=LIMITS)
    assert whys(found) == dict.fromkeys(NAMES, "moved")
    assert min(one.days for one in found.values()) > 100


@pytest.mark.parametrize("fault", [one for one in FAULTS if one != "8 warmer"])
def test_garbage_in_new_days_alone_is_held_back(fault: Fault) -> None:
    """Days that were not stored before, in July: beyond all ten years by degrees."""
    new = [one.between(dt.date(2026, 7, 11), TODAY) for one in NEXT.values()]
    found = doubts([broken(one, fault) for one in new], STORED, limits=LIMITS)
    assert whys(found) == dict.fromkeys(NAMES, "past")


def test_a_first_answer_in_the_wrong_unit_is_held_back() -> None:
    """Nothing is stored yet, and a summer day of 95 degrees C says enough."""
    found = doubts([broken(NEXT["west"], "Fahrenheit as Celsius")], {}, limits=LIMITS)
    assert whys(found) == {"west": "unit"}


@given(by=st.floats(4.5, 5.5), way=st.sampled_from([-1, 1]), which=st.sampled_from(NAMES))
def test_the_station_that_departs_is_named_and_no_other(by: float, way: int, which: str) -> None:
    """Five degrees may be within ten years of weather, but not between neighbors on one day."""
    answers = [moved(r, way * by, last_days=10) if n == which else r for n, r in NEXT.items()]
    assert set(doubts(answers, STORED, limits=LIMITS)) == {which}


def test_weather_that_all_stations_have_is_weather() -> None:
    """Five degrees warmer everywhere is a warm spell."""
    answers = [moved(one, 5.0, last_days=10) for one in NEXT.values()]
    assert doubts(answers, STORED, limits=LIMITS) == {}


def test_a_few_corrected_days_are_taken() -> None:
    """A service that puts four days right moves them."""
    answers = [
        moved(NEXT["west"].between(dt.date(2026, 1, 1), dt.date(2026, 7, 10)), 3.0, last_days=4)
    ]
    assert doubts(answers, STORED, limits=LIMITS) == {}


def test_a_drifting_station_is_named() -> None:
    """Three degrees in the last month, against two neighbors; the neighbors are not named."""
    stood = [moved(r, 3.0, last_days=30) if n == "east" else r for n, r in STORED.items()]
    (found,) = drifts(stood, as_of=dt.date(2026, 7, 10), limits=LIMITS)
    assert (found.station, set(found.neighbors)) == ("east", {"west", "middle"})
    assert found.by_c == pytest.approx(3.0, abs=0.5)
    assert drifts(list(STORED.values()), as_of=dt.date(2026, 7, 10), limits=LIMITS) == ()


# --- real weather ---------------------------------------------------------------------------------


@needs_observations
@pytest.mark.parametrize("name", ["IA_Des_Moines_17_E", "TN_Crossville_7_NW", "MS_Newton_5_ENE"])
def test_real_weather_is_seldom_doubted(name: str) -> None:
    """Ten years of answers of a week each: at most one in a hundred is held back.

    Source: NOAA NCEI, US Climate Reference Network daily records (public domain).
    """
    record = station_record(name)
    asked = held = 0
    for year in range(2014, 2024):
        for week in range(33):
            first = dt.date(year, 3, 20) + dt.timedelta(days=7 * week)
            answer = record.between(first, first + dt.timedelta(days=6))
            stored = record.between(record.first_day, first - dt.timedelta(days=1))
            found = doubts([answer], {name: stored}, limits=LIMITS)
            asked, held = asked + 1, held + len(found)
    assert asked == 330
    assert held <= 3


@needs_observations
@pytest.mark.parametrize("name", ["IA_Des_Moines_17_E", "TN_Crossville_7_NW", "MS_Newton_5_ENE"])
def test_eight_degrees_too_warm_are_found_in_real_weather(name: str) -> None:
    """A season that was stored right and comes again 8 degrees C warmer moves no day.

    Source: as above.
    """
    stored = station_record(name)
    answer = stored.between(dt.date(2023, 3, 1), dt.date(2023, 8, 1))
    found = doubts([broken(answer, "8 warmer")], {name: stored}, limits=LIMITS)
    assert whys(found) == {name: "moved"}


@needs_observations
@pytest.mark.parametrize("name", ["IA_Des_Moines_17_E", "TN_Crossville_7_NW", "MS_Newton_5_ENE"])
def test_ten_new_days_eight_degrees_too_warm_are_mostly_found_in_real_weather(name: str) -> None:
    """From June to August, with no neighbor to hold them against: in three years of four.

    Source: as above.
    """
    record = station_record(name)
    asked = held = 0
    for year in range(2014, 2024):
        for first in (dt.date(year, month, day) for month in (6, 7, 8) for day in (1, 11, 21)):
            answer = broken(record.between(first, first + dt.timedelta(days=9)), "8 warmer")
            stored = record.between(record.first_day, first - dt.timedelta(days=1))
            asked, held = asked + 1, held + len(doubts([answer], {name: stored}, limits=LIMITS))
    assert held >= 0.75 * asked


# --- in the store ---------------------------------------------------------------------------------


class Service:
    """A service that gives what it is told to."""

    service = "invented"
    attribution = ()
    notes: dict[str, tuple[str, ...]] = {}  # noqa: RUF012

    def __init__(self, *answers: StationRecord) -> None:
        self.answers = answers

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """The same whatever is asked."""
        return list(self.answers)


def fetch(store: WeatherStore, *answers: StationRecord, on: dt.date = TODAY) -> RefreshReport:
    """One refresh."""
    request = WeatherRequest((), dt.date(2026, 1, 1), TODAY)
    return refresh(store, Service(*answers), request, fetched_on=on, limits=LIMITS)


@pytest.fixture
def store(tmp_path: Path) -> WeatherStore:
    """A store with the season up to 10 July, fetched that day."""
    made = WeatherStore(tmp_path / STORE_NAME)
    fetch(made, *STORED.values(), on=dt.date(2026, 7, 10))
    return made


def days(store: WeatherStore) -> list[tuple[str, int, float]]:
    """Station, observed days and the sum of their maxima."""
    return [(r.station.station, r.days, float(np.nansum(r.tmax_c))) for r in store.load()]


def test_stored_days_stay_and_the_sound_stations_go_on(store: WeatherStore) -> None:
    """One station's answer is garbage: its days stay, the others' new days are stored."""
    before = dict((name, (n, total)) for name, n, total in days(store))
    report = fetch(store, broken(NEXT["west"], "8 warmer"), NEXT["middle"], NEXT["east"])
    after = dict((name, (n, total)) for name, n, total in days(store))
    assert [one.station for one in report.held] == ["west"]
    assert after["west"] == before["west"]
    assert after["middle"][0] == before["middle"][0] + 10
    (held,) = store.held()
    assert (held.doubt.station, held.first, held.last) == ("west", dt.date(2026, 1, 1), TODAY)
    assert "held back beside the stored days" in held_problem(held.doubt).sentence()


def test_a_sound_answer_ends_the_doubt(store: WeatherStore) -> None:
    """What was held back is forgotten when the days come right."""
    fetch(store, broken(NEXT["west"], "zeros"))
    assert store.held()
    fetch(store, NEXT["west"])
    assert store.held() == ()
    assert days(store)[2][1] == NEXT["west"].days + (dt.date(2026, 1, 1) - dt.date(2016, 1, 1)).days


def test_a_person_may_believe_it(store: WeatherStore) -> None:
    """Every held day takes the place of the stored one, once."""
    wrong = broken(NEXT["west"], "8 warmer")
    fetch(store, wrong)
    assert store.take_held("west") == wrong.days
    assert store.take_held("west") == 0
    taken = next(one for one in store.load() if one.station.station == "west")
    np.testing.assert_allclose(taken.between(wrong.first_day, TODAY).tmax_c, wrong.tmax_c)


def test_believing_an_answer_without_rain_keeps_the_rain_that_was_measured(
    store: WeatherStore,
) -> None:
    """A temperature that is believed takes no rain away, as a sound answer takes none."""
    fetch(store, replace(NEXT["west"], rain_mm=np.full(NEXT["west"].days, 2.0)))
    fetch(store, broken(NEXT["west"], "8 warmer"))
    assert store.take_held("west") > 0
    taken = next(one for one in store.load() if one.station.station == "west")
    assert taken.rain_mm is not None
    assert (taken.rain_mm[-NEXT["west"].days :] == 2.0).all()


def test_days_of_a_clock_that_ran_ahead_are_put_right(store: WeatherStore) -> None:
    """Forecast days that a wrong clock called measured are forecast again, and then replaced."""
    ahead = invented("west", dt.date(2026, 7, 11), dt.date(2026, 8, 10))
    fetch(store, moved(ahead, 1.0), on=dt.date(2027, 1, 1))
    fetch(store, NEXT["west"])
    west = next(one for one in store.load() if one.station.station == "west")
    assert west.last_observed() == TODAY
    assert set(west.kind[-21:].tolist()) == {DayKind.MODEL}
    np.testing.assert_allclose(
        west.between(dt.date(2026, 7, 11), TODAY).tmax_c, NEXT["west"].tmax_c[-10:]
    )
