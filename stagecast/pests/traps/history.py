"""Past years' flights at a trap, and what they foretell of this one."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.base.dates import said_day
from stagecast.base.errors import SeasonProblems
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import ReadFolder, no_weather, screen_records
from stagecast.forecast.ranges import date_range
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import HeatModel, Pest
from stagecast.pests.traps.near import NearTrap, trap_place
from stagecast.pests.traps.rules import EVENTS, Event, Flight, flight
from stagecast.pests.traps.skill import EventSkill, event_skill
from stagecast.phenology.pests import HeatSums, event_time, heat_sums
from stagecast.season.rules import gap_policy, season_span
from stagecast.season.tables.traps import Catch
from stagecast.weather.gaps import GapPolicy, apply, holes
from stagecast.weather.nearest import rank_stations
from stagecast.weather.records import Station, StationRecord

_Check = tuple[dt.date, float]

NOON = 0.5
NO_HISTORY = "the timing is untested here: no past years of catches at a trap near"
NO_MODEL = "this pest has no heat model"
NO_PLACE = (
    "nobody said where the trap stands: give its latitude and longitude, or name it after a "
    "weather station"
)
NO_TEMPERATURES = "no weather station has temperatures"
NO_WEATHER = "no weather station near the trap has enough whole years among those of the catches"


@dataclass(frozen=True, slots=True)
class DayForetold:
    """What the calendar says of an event in a year.

    Attributes
    ----------
    time : float
        Fractional days since 1 January.
    sd_days : float
        By how much a further year differs from the mean of the past ones, one sd.
    """

    time: float
    sd_days: float


@dataclass(frozen=True, slots=True)
class HeatForetold:
    """What heat says of an event: when this much is reached, counted from a day by a model.

    Attributes
    ----------
    need_c, sd_c : float
        Degree-days C, and by how much a further year differs from them, one sd.
    start : datetime.date
        The first day that counts.
    model : HeatModel
        The only one by which the need may be counted.
    """

    need_c: float
    sd_c: float
    start: dt.date
    model: HeatModel


@dataclass(frozen=True, slots=True)
class TrapHistory:
    """Past flights of a pest at a trap.

    Attributes
    ----------
    trap : str
    pest : Pest
    place : (float, float) or None
        Latitude and longitude, where they are known.
    weather : str or None
        The weather station whose heat was tried.
    weather_km : float or None
        How far it is from the trap.
    years : tuple of int
        Past years with catches.
    open_start : tuple of int
        Those in which the first check caught something already.
    events : mapping
        Event -> how well it was foretold.
    spring : (int, int)
        Month and day from which heat is summed.
    """

    trap: str
    pest: Pest
    place: tuple[float, float] | None
    weather: str | None
    weather_km: float | None
    years: tuple[int, ...]
    open_start: tuple[int, ...]
    events: Mapping[Event, EventSkill]
    spring: tuple[int, int]

    def foretell(self, event: Event, year: int) -> DayForetold | HeatForetold | None:
        """What the better rule says of an event in a year; None where none was tested.

        Notes
        -----
        The mean date rests on all past years with the event, also those without weather.
        """
        skill, start = self.events[event], dt.date(year, *self.spring)
        if skill.better == "heat" and self.pest.heat is not None:
            return HeatForetold(*_mean_and_sd(skill.heat), start, self.pest.heat)
        if skill.better is None:
            return None
        mean, sd_days = _mean_and_sd(skill.days)
        return DayForetold((start - dt.date(year, 1, 1)).days + mean, sd_days)

    def sentence(self, event: Event) -> str:
        """Which rule is used for an event, and by how much it was the better one here."""
        skill = self.events[event]
        calendar, heat = skill.calendar_rmse, skill.heat_rmse
        if calendar is None:
            return f"the timing is untested here: {skill.untested} ({self.trap})"
        date = f"the mean date missed the {event} catch by {calendar:.1f} days"
        of_years = f"in {len(skill.years)} past years at {self.trap}"
        if heat is None:
            return f"{date} {of_years}, and is used; heat was not tried: {skill.no_heat}"
        warmth = f"heat since {said_day(dt.date(2001, *self.spring))} by {heat:.1f}"
        better = "heat" if skill.better == "heat" else "the date"
        return f"{date}, {warmth}, {of_years}: {better} is used, {abs(heat - calendar):.1f} better"


def season_histories(read: ReadFolder, *, as_of: dt.date) -> dict[tuple[str, str], TrapHistory]:
    """The histories in a season folder as it stood on a day, by trap and id of the pest.

    Raises
    ------
    SeasonProblems
        When there are fields and no temperatures at all, as for every forecast.
    """
    season = read.season
    if all(catch.date.year >= season.settings.year for catch in season.catches):
        return {}
    screened = screen_records(read, as_of=as_of)
    if season.fields and not screened.records:
        raise SeasonProblems([no_weather(read.stored)])
    return trap_histories(
        [catch for catch in season.catches if catch.date <= as_of],
        screened.records,
        stations={record.station.station: record.station for record in read.stations.records},
        before=min(season.settings.year, as_of.year),
        policy=gap_policy(season.settings.weather, season.knowledge),
        knowledge=season.knowledge,
    )


def trap_histories(
    catches: Sequence[Catch],
    records: Sequence[StationRecord],
    *,
    stations: Mapping[str, Station],
    before: int,
    policy: GapPolicy,
    knowledge: Knowledge,
) -> dict[tuple[str, str], TrapHistory]:
    """Try heat and the mean date on every trap and pest with catches in past years.

    Parameters
    ----------
    catches : sequence of Catch
        In any order.
    records : sequence of StationRecord
        Screened.
    stations : mapping
        Every weather station by name, also those without a record: where a trap of the name is.
    before : int
        Only years before this one count.
    policy : GapPolicy
        Which holes of a record are bridged; a year with one left does not count for heat.
    knowledge : Knowledge

    Returns
    -------
    dict
        (trap, id of the pest) -> its history, sorted.
    """
    checks: dict[tuple[str, str], list[_Check]] = defaultdict(list)
    of_trap: dict[str, list[Catch]] = defaultdict(list)
    for catch in catches:
        of_trap[catch.trap].append(catch)
        if catch.count is not None and catch.what == "catch" and catch.date.year < before:
            checks[catch.trap, catch.pest].append((catch.date, catch.count))
    almanac = _Almanac(records, policy, knowledge)
    return {
        (trap, pest): _history(
            trap, own, knowledge.pests[pest], trap_place(of_trap[trap], stations), almanac
        )
        for (trap, pest), own in sorted(checks.items())
    }


def _history(
    trap: str,
    own: Sequence[_Check],
    pest: Pest,
    place: tuple[float, float] | None,
    almanac: _Almanac,
) -> TrapHistory:
    rules = almanac.knowledge.traps
    flights = _flights(own, almanac)
    heat = almanac.heat_near(place, pest.heat, tuple(flights))
    events = {
        event: event_skill(
            event,
            {year: day for year, f in flights.items() if (day := f.day(event)) is not None},
            heat.sums,
            fewest=int(rules.history_years),
            no_heat=heat.why_not,
        )
        for event in EVENTS
    }
    return TrapHistory(
        trap=trap,
        pest=pest,
        place=place,
        weather=heat.station,
        weather_km=heat.distance_km,
        years=tuple(flights),
        open_start=tuple(year for year, f in flights.items() if f.open_start),
        events=events,
        spring=almanac.spring,
    )


def _flights(own: Sequence[_Check], almanac: _Almanac) -> dict[int, Flight]:
    """Year -> flight, in days since its spring day."""
    checks: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for date, count in own:
        checks[date.year].append(((date - almanac.start(date.year)).days + NOON, count))
    rules = almanac.knowledge.traps
    return {year: flight(made, rules) for year, made in sorted(checks.items())}


@dataclass(frozen=True, slots=True, eq=False)
class _NearHeat:
    """Heat from spring near a trap, by whole year, or why there is none."""

    station: str | None
    distance_km: float | None
    sums: dict[int, HeatSums]
    why_not: str | None


class _Almanac:
    """Past years of the weather records, from spring on."""

    def __init__(
        self, records: Sequence[StationRecord], policy: GapPolicy, knowledge: Knowledge
    ) -> None:
        self.knowledge = knowledge
        self.spring = int(knowledge.traps.spring_month), int(knowledge.traps.spring_day)
        self._records = records
        self._policy = policy

    def start(self, year: int) -> dt.date:
        """The spring day of a year."""
        return dt.date(year, *self.spring)

    def heat_near(
        self, place: tuple[float, float] | None, model: HeatModel | None, years: Sequence[int]
    ) -> _NearHeat:
        """Heat at the nearest station within reach that has enough of the years."""
        if model is None:
            return _NearHeat(None, None, {}, NO_MODEL)
        if not self._records:
            return _NearHeat(None, None, {}, NO_TEMPERATURES)
        if place is None:
            return _NearHeat(None, None, {}, NO_PLACE)
        limit_km = float(self.knowledge.weather.distance_limit)
        order, distances = rank_stations(*place, [record.station for record in self._records])
        for index, distance in zip(order.tolist(), distances.tolist(), strict=True):
            record = self._records[index]
            sums = self._sums(record, model, years) if distance <= limit_km else {}
            if len(sums) >= int(self.knowledge.traps.history_years):
                return _NearHeat(record.station.station, distance, sums, None)
        return _NearHeat(None, None, {}, NO_WEATHER)

    def _sums(
        self, record: StationRecord, model: HeatModel, years: Sequence[int]
    ) -> dict[int, HeatSums]:
        """Heat of the years that have every day from spring to the end of the season."""
        found = {}
        for year in years:
            first, last = self.start(year), season_span(year, self.knowledge).last_day
            whole = apply(record, self._policy, first, last)
            if not holes(whole, first, last):
                found[year] = heat_sums(whole.tmin_c[None], whole.tmax_c[None], model=model)
        return found


def _mean_and_sd(values: Mapping[int, float]) -> tuple[float, float]:
    """Mean of past years, and the sd of a further one round it: s sqrt(1 + 1/n)."""
    past = np.array(list(values.values()))
    return float(past.mean()), float(past.std(ddof=1) * np.sqrt(1 + 1 / past.size))


FloatArray = NDArray[np.float64]
_LEAST_LEFT = 0.1  # of a distribution, to be taken for one; arithmetic only

Histories = Mapping[tuple[str, str], TrapHistory]


def catch_foretold(
    forecast: FieldForecast,
    near: Sequence[NearTrap],
    histories: Histories,
    *,
    pest: str,
    event: Event,
    z: FloatArray,
) -> tuple[FloatArray, str] | None:
    """Times of an event at the nearest trap with enough past years, and where they come from.

    Parameters
    ----------
    forecast : FieldForecast
    near : sequence of NearTrap
        The nearest first, with their catches up to the day asked for.
    histories : mapping
        (trap, pest) -> what its past years say.
    pest : str
    event : {"first", "sustained", "middle", "peak"}
    z : ndarray, shape (draws,)
        Standard normal errors: how far this year differs from the past ones.

    Returns
    -------
    times : ndarray, shape (members,)
        Of those years in which it came after the last check made this season without it.
    words : str
        None instead of both where no past years tell, or where it should long have come.
    """
    for trap in near:
        history = histories.get((trap.name, pest))
        found = None if history is None else history.foretell(event, forecast.span.year)
        if history is None or found is None:
            continue
        checked = [c.date for c in trap.catches
                   if c.date.year == forecast.span.year and c.what == "catch"]  # fmt: skip
        after = forecast.span.index(max(checked)) + 1.0 if checked else 0.0
        times = _still_to_come(_times(forecast, found, z), after)
        if times is None:
            return None
        dates = date_range(times, forecast.span, forecast.weights)
        words = f"since the {event} catch, {_about(dates.p50)} from past years ({trap.said})"
        return times, f"{words}: {history.sentence(event)}"
    return None


def _still_to_come(times: FloatArray, after: float) -> FloatArray | None:
    """The distribution of what can still come after a day; None where hardly any of it can.

    An event that is overdue is not due tomorrow: past years then say nothing of this one.
    """
    left = np.sort(times[times >= after])
    if len(left) < _LEAST_LEFT * len(times):
        return None
    place = np.argsort(np.argsort(times, kind="stable"), kind="stable")
    return np.asarray(left[place * len(left) // len(times)])


def _times(forecast: FieldForecast, found: DayForetold | HeatForetold, z: FloatArray) -> FloatArray:
    seasons = len(forecast.times) // forecast.draws
    if isinstance(found, DayForetold):
        return np.tile(found.time + found.sd_days * z, seasons)
    sums = _sums(forecast, found)
    start = np.full((seasons, forecast.draws), float(forecast.span.index(found.start)))
    # A need below zero would be reached before the heat began to count.
    needs = np.maximum(found.need_c + found.sd_c * z, 0.0)
    times = event_time(sums, start, model=found.model, need_c=1.0, share=needs).ravel()
    return np.where(np.isnan(times), np.inf, times)


def _sums(forecast: FieldForecast, found: HeatForetold) -> HeatSums:
    season = forecast.weather.season
    first = forecast.span.index(found.start)
    return heat_sums(season.tmin_c, season.tmax_c, model=found.model, first_index=first)


def _about(day: dt.date | None) -> str:
    return "not expected this season" if day is None else f"expected about {said_day(day)}"
