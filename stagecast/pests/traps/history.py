"""Past years' flights at a trap, and what they foretell of this one."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.base.errors import SeasonProblems
from stagecast.base.units import FloatArray
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import ReadFolder, screen_records
from stagecast.forecast.ranges import date_range
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import HeatModel, Pest
from stagecast.pests.traps.near import NearTrap, Place, trap_place
from stagecast.pests.traps.rules import EVENTS, Check, Event, Flight, flight
from stagecast.pests.traps.skill import EventSkill, NoHeat, event_skill
from stagecast.phenology.pests import HeatSums, event_time, heat_sums
from stagecast.season.rules import days_bridged, season_span
from stagecast.season.tables.traps import Catch
from stagecast.weather.gaps import apply, holes
from stagecast.weather.nearest import rank_stations
from stagecast.weather.records import StationRecord

NOON = 0.5
"""When a check is taken to be made, in days."""

_LEAST_LEFT = 0.1  # of a distribution, to be taken for one; arithmetic only


@dataclass(frozen=True, slots=True)
class DayForetold:
    """What the calendar says of an event in a year.

    Attributes
    ----------
    time: fractional days since 1 January.
    sd_days: by how much a further year differs from the mean of the past ones, one sd.
    """

    time: float
    sd_days: float

    def day(self, year: int) -> dt.date:
        """The calendar day in a year."""
        return dt.date(year, 1, 1) + dt.timedelta(days=math.floor(self.time))


@dataclass(frozen=True, slots=True)
class HeatForetold:
    """What heat says of an event: when this much is reached, counted from a day by a model.

    Attributes
    ----------
    need_c, sd_c: degree-days C, and by how much a further year differs from them, one sd.
    start: the first day that counts.
    model: the only one by which the need may be counted.
    """

    need_c: float
    sd_c: float
    start: dt.date
    model: HeatModel


@dataclass(frozen=True, slots=True)
class BothForetold:
    """What heat and the calendar together say of an event in a year.

    Attributes
    ----------
    date, heat: what each says alone.
    heat_share: what heat counts for; the date counts for the rest.
    sd_days: by how much a further year differs from both together, one sd.
    """

    date: DayForetold
    heat: HeatForetold
    heat_share: float
    sd_days: float


Foretold = DayForetold | BothForetold


@dataclass(frozen=True, slots=True)
class TrapHistory:
    """Past flights of a pest at a trap.

    Attributes
    ----------
    weather: the weather station whose heat was tried.
    weather_km: how far it is from the trap.
    years: past years with catches.
    open_start: those in which the first check caught something already.
    events: event -> how well it was foretold.
    spring: month and day from which heat is summed.
    """

    trap: str
    pest: Pest
    place: Place | None
    weather: str | None
    weather_km: float | None
    years: tuple[int, ...]
    open_start: tuple[int, ...]
    events: Mapping[Event, EventSkill]
    spring: tuple[int, int]

    def foretell(self, event: Event, year: int) -> Foretold | None:
        """What past years say of an event in a year; None where no rule was tested.

        Heat and the mean date together where both were tried. The mean date rests on all past years
        with the event, also those without weather.
        """
        skill, start = self.events[event], dt.date(year, *self.spring)
        if skill.calendar_rmse is None:
            return None
        mean, sd_days = _mean_and_sd(skill.days)
        date = DayForetold((start - dt.date(year, 1, 1)).days + mean, sd_days)
        if skill.both_rmse is None or self.pest.heat is None:
            return date
        heat = HeatForetold(*_mean_and_sd(skill.heat), start, self.pest.heat)
        return BothForetold(date, heat, skill.heat_share, skill.both_rmse)


@dataclass(frozen=True, slots=True)
class Trial:
    """An event that past years at a trap foretell, with the errors of both rules."""

    history: TrapHistory
    event: Event

    @property
    def skill(self) -> EventSkill:
        """The errors; a rule was tested."""
        return self.history.events[self.event]


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
        raise SeasonProblems([read.source.nothing])
    before = min(season.settings.year, as_of.year)
    stations = {record.station.station: record.station for record in read.stations.records}
    checks: dict[tuple[str, str], list[Catch]] = defaultdict(list)
    of_trap: dict[str, list[Catch]] = defaultdict(list)
    for catch in season.catches:
        if catch.date <= as_of:
            of_trap[catch.trap].append(catch)
            if catch.what == "catch" and catch.date.year < before:
                checks[catch.trap, catch.pest].append(catch)
    bridged = days_bridged(season.settings.weather, season.knowledge)
    almanac = _Almanac(screened.records, bridged, season.knowledge)
    return {
        (trap, pest): _history(
            season.knowledge.pests[pest], own, trap_place(of_trap[trap], stations), almanac
        )
        for (trap, pest), own in sorted(checks.items())
    }


def _history(
    pest: Pest, own: Sequence[Catch], place: Place | None, almanac: _Almanac
) -> TrapHistory:
    """Try heat and the mean date on the past checks of one trap."""
    flights = _flights(own, almanac)
    heat = almanac.heat_near(place, pest.heat, tuple(flights))
    events = {
        event: event_skill(
            event,
            {year: day for year, f in flights.items() if (day := f.day(event)) is not None},
            heat.sums,
            fewest=int(almanac.knowledge.traps.history_years),
            no_heat=heat.why_not,
            half_known=float(almanac.knowledge.traps.half_known),
        )
        for event in EVENTS
    }
    return TrapHistory(
        trap=own[0].trap,
        pest=pest,
        place=place,
        weather=heat.station,
        weather_km=heat.distance_km,
        years=tuple(flights),
        open_start=tuple(year for year, f in flights.items() if f.open_start),
        events=events,
        spring=almanac.spring,
    )


def _flights(own: Sequence[Catch], almanac: _Almanac) -> dict[int, Flight]:
    """Year -> flight, in days since its spring day."""
    checks: dict[int, list[Check]] = defaultdict(list)
    for catch in own:
        if catch.count is not None:
            day = (catch.date - almanac.start(catch.date.year)).days + NOON
            checks[catch.date.year].append((day, catch.count))
    rules = almanac.knowledge.traps
    return {year: flight(made, rules) for year, made in sorted(checks.items())}


@dataclass(frozen=True, slots=True, eq=False)
class _NearHeat:
    """Heat from spring near a trap, by whole year, or why there is none."""

    station: str | None
    distance_km: float | None
    sums: dict[int, HeatSums]
    why_not: NoHeat | None


class _Almanac:
    """Past years of the weather records, from spring on."""

    def __init__(
        self, records: Sequence[StationRecord], bridge_days: int, knowledge: Knowledge
    ) -> None:
        self.knowledge = knowledge
        self.spring = int(knowledge.traps.spring_month), int(knowledge.traps.spring_day)
        self._records = records
        self._bridge_days = bridge_days

    def start(self, year: int) -> dt.date:
        """The spring day of a year."""
        return dt.date(year, *self.spring)

    def heat_near(
        self, place: Place | None, model: HeatModel | None, years: Sequence[int]
    ) -> _NearHeat:
        """Heat at the nearest station within reach that has enough of the years."""
        if model is None:
            return _NearHeat(None, None, {}, "no model")
        if not self._records:
            return _NearHeat(None, None, {}, "no temperatures")
        if place is None:
            return _NearHeat(None, None, {}, "no place")
        limit_km = float(self.knowledge.weather.distance_limit)
        order, distances = rank_stations(*place, [record.station for record in self._records])
        for index, distance in zip(order.tolist(), distances.tolist(), strict=True):
            record = self._records[index]
            sums = self._sums(record, model, years) if distance <= limit_km else {}
            if len(sums) >= int(self.knowledge.traps.history_years):
                return _NearHeat(record.station.station, distance, sums, None)
        return _NearHeat(None, None, {}, "no station")

    def _sums(
        self, record: StationRecord, model: HeatModel, years: Sequence[int]
    ) -> dict[int, HeatSums]:
        """Heat of the years that have every day from spring to the end of the season."""
        found = {}
        for year in years:
            first, last = self.start(year), season_span(year, self.knowledge).last_day
            whole = apply(record, self._bridge_days, first, last)
            if not holes(whole, first, last):
                found[year] = heat_sums(whole.tmin_c[None], whole.tmax_c[None], model=model)
        return found


def _mean_and_sd(values: Mapping[int, float]) -> tuple[float, float]:
    """Mean of past years, and the sd of a further one round it: s sqrt(1 + 1/n)."""
    past = np.array(list(values.values()))
    return float(past.mean()), float(past.std(ddof=1) * np.sqrt(1 + 1 / past.size))


Histories = Mapping[tuple[str, str], TrapHistory]


@dataclass(frozen=True, slots=True, eq=False)
class CatchForetold:
    """A catch that past years at a trap foretell of this season.

    Attributes
    ----------
    times : ndarray, shape (members,)
        Fractional days, after the last check made this season without it.
    expected: the middle day; None where it lies beyond the season.
    """

    times: FloatArray
    expected: dt.date | None
    near: NearTrap
    tested: Trial


def catch_foretold(
    forecast: FieldForecast,
    near: Sequence[NearTrap],
    histories: Histories,
    *,
    pest: str,
    event: Event,
    z: FloatArray,
) -> CatchForetold | None:
    """An event at the nearest trap with enough past years; None where no past years tell of it.

    Nor do they where it should long have come.

    Parameters
    ----------
    near: the nearest first, with their catches up to the day asked for.
    z : ndarray, shape (draws,)
        Standard normal errors: how far this year differs from the past ones.
    """
    year = forecast.span.year
    for trap in near:
        history = histories.get((trap.name, pest))
        found = None if history is None else history.foretell(event, year)
        if history is None or found is None:
            continue
        checked = [catch.date for catch in trap.in_year(year) if catch.what == "catch"]
        after = forecast.span.index(max(checked)) + 1.0 if checked else 0.0
        times = _still_to_come(_times(forecast, found, z), after)
        if times is None:
            return None
        dates = date_range(times, forecast.span, forecast.weights)
        return CatchForetold(times, dates.p50, trap, Trial(history, event))
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


def _times(forecast: FieldForecast, found: Foretold, z: FloatArray) -> FloatArray:
    seasons = len(forecast.times) // forecast.draws
    if isinstance(found, DayForetold):
        return np.tile(found.time + found.sd_days * z, seasons)
    season, first = forecast.weather.season, forecast.span.index(found.heat.start)
    model, need = found.heat.model, np.array([found.heat.need_c])
    sums = heat_sums(season.tmin_c, season.tmax_c, model=model, first_index=first)
    start = np.full((seasons, 1), float(first))
    by_heat = event_time(sums, start, model=model, need_c=1.0, share=need)
    # A heat that a season never reaches counts as reached when it ends, as it does in the errors.
    reached = np.minimum(by_heat, float(forecast.span.days))
    by_heat = np.where(np.isnan(by_heat), np.inf, reached)
    middle = found.heat_share * by_heat + (1.0 - found.heat_share) * found.date.time
    return np.asarray((middle + found.sd_days * z).ravel())
