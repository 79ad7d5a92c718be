"""One season of temperatures at a station: known, then forecast, then past seasons as futures."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from stagecast.base.errors import WeatherGap
from stagecast.base.units import FloatArray
from stagecast.weather.ahead import ForecastError, deviations, with_members
from stagecast.weather.gaps import apply, holes
from stagecast.weather.records import DayKind, KindArray, Station, StationRecord


@dataclass(frozen=True, slots=True)
class SeasonSpan:
    """The days a season's arrays cover, 1 January to the last day that counts.

    Attributes
    ----------
    last_day: A stage not reached by then is not reached this season.
    first_day: 1 January: the earliest day from which any pest's heat is counted.
    days: how many, both ends included.
    """

    year: int
    last_day: dt.date
    first_day: dt.date = field(init=False, compare=False, repr=False)
    days: int = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        first = dt.date(self.year, 1, 1)
        object.__setattr__(self, "first_day", first)
        object.__setattr__(self, "days", (self.last_day - first).days + 1)

    @classmethod
    def of(cls, year: int, *, end_month: int, end_day: int) -> SeasonSpan:
        """The span of a year, ending on a given month and day."""
        return cls(year, dt.date(year, end_month, end_day))

    def index(self, day: dt.date) -> int:
        """Index of a day; negative or past the end for days outside the span."""
        return (day - self.first_day).days

    def date(self, time: float) -> dt.date | None:
        """The calendar day of a fractional time; None when it is not reached by the last day."""
        if not -math.inf < time < self.days:
            return None
        return _after(self.first_day, math.floor(time))

    def days_of_year(self) -> NDArray[np.intp]:
        """Day of year of each index, 1 January being 1."""
        return np.arange(1, self.days + 1)


@cache
def _after(first: dt.date, days: int) -> dt.date:
    """A day some days after another: one and the same for all who ask, as a season asks often."""
    return first + dt.timedelta(days=days)


@dataclass(frozen=True, slots=True, eq=False)
class SeasonWeather:
    """Temperatures of one season at one station, one row per possible future.

    Attributes
    ----------
    tmin_c, tmax_c : ndarray, shape (members, days)
        degC; NaN where missing. The same in every row but for the days ahead: those of a weather
        forecast differ by its error, the others are of past seasons.
    kind : ndarray, shape (days,)
        What each day is: see :class:`~stagecast.weather.records.DayKind`.
    last_observed, last_known: last measured day, and last day before past seasons take over (a
        model forecast may stand in between).
    member_years: the past season behind each row; empty when the season is over and one row says it
        all.
    rain_mm : ndarray, shape (days,)
        Measured rain up to the day asked for, mm; NaN where unknown; None where nobody measures it.
    """

    station: Station
    span: SeasonSpan
    tmin_c: FloatArray
    tmax_c: FloatArray
    kind: KindArray
    last_observed: dt.date | None
    last_known: dt.date | None
    member_years: tuple[int, ...]
    rain_mm: FloatArray | None = None

    @property
    def forecast_until(self) -> dt.date | None:
        """The last day of a weather forecast that goes on from what was measured, if any does."""
        ahead = np.flatnonzero(self.kind == DayKind.MODEL)
        if not ahead.size:
            return None
        day = self.span.first_day + dt.timedelta(days=int(ahead[-1]))
        return day if self.last_observed is None or day > self.last_observed else None

    @property
    def last_alike(self) -> dt.date | None:
        """The last day that is one and the same in every row."""
        return self.last_known if self.forecast_until is None else self.last_observed

    def count(self, kind: DayKind) -> int:
        """Number of days of a kind."""
        return int(np.count_nonzero(self.kind == kind))

    def hole_between(self, first: dt.date, last: dt.date) -> tuple[dt.date, dt.date] | None:
        """First run of missing days in ``first..last``, or None."""
        begin, end = self.span.index(first), self.span.index(last) + 1
        if begin >= 0 and end <= self.span.days and self._whole(begin, end):
            return None
        record = StationRecord(
            self.station, self.span.first_day, self.tmin_c[0], self.tmax_c[0], self.kind
        )
        found = holes(record, first, last) if first <= last else []
        return found[0] if found else None

    def _whole(self, begin: int, end: int) -> bool:
        known = self.kind[begin:end] != DayKind.MISSING
        temperatures = self.tmin_c[0, begin:end] + self.tmax_c[0, begin:end]
        return bool(known.all() and not np.isnan(temperatures).any())


def known_until(record: StationRecord, as_of: dt.date) -> StationRecord:
    """The record as it stood on a day: nothing measured later, no forecast fetched later."""
    last = (as_of - record.first_day).days
    later = np.arange(record.days) > last
    for index, fetched in record.fetched_on.items():
        if record.kind[index] == DayKind.MODEL:
            later[index] = fetched > as_of
    stood = record.without(later)
    if stood.rain_mm is not None:
        stood = replace(
            stood, rain_mm=np.where(np.arange(stood.days) > last, np.nan, stood.rain_mm)
        )
    too_new = record.members is not None and record.members.made_on > as_of
    return replace(stood, members=None) if too_new else stood


def season_weather(
    record: StationRecord,
    span: SeasonSpan,
    *,
    as_of: dt.date,
    bridge_days: int,
    needed_from: dt.date,
    past_seasons: int | None = None,
    error: ForecastError | None = None,
) -> SeasonWeather:
    """Lay out a season: the record up to a day, then every past season as one future.

    Days of a weather forecast stand between the two.

    Parameters
    ----------
    record: screened; may cover many years.
    as_of: nothing measured after this day is looked at.
    bridge_days: which holes may be bridged.
    needed_from: first day a crop needs; a past season must be whole from there on to stand as a
        future.
    past_seasons: optional; use only this many, the latest; default all.
    error: optional; how far a weather forecast is off by days ahead; default not at all.

    Raises
    ------
    WeatherGap
        When days lie ahead and no past season of the record is whole.

    Notes
    -----
    Futures are aligned on the calendar: the day after the last known day is followed by the
    same month and day of the past year. 29 February repeats 28 February in other years.
    """
    stood = with_members(known_until(record, as_of), bridge_days=bridge_days)
    current = apply(stood, bridge_days, span.first_day, span.last_day)
    known = np.flatnonzero(current.kind != DayKind.MISSING)
    next_index = int(known[-1]) + 1 if known.size else 0
    kind = current.kind.copy()
    last_known = span.date(next_index - 1) if known.size else _last_known(stood)
    observed = stood.last_observed()
    if next_index >= span.days:
        return SeasonWeather(
            record.station, span, current.tmin_c[None], current.tmax_c[None], kind,
            observed, last_known, (), current.rain_mm,
        )  # fmt: skip
    ahead = span.first_day + dt.timedelta(days=next_index)
    years = _past_years(stood, span)
    need = max(ahead, needed_from)
    pasts = [past for year in years if (past := _past(stood, span, year, bridge_days, need))]
    if past_seasons is not None:
        pasts = pasts[-past_seasons:]
    if not pasts:
        raise WeatherGap(
            record.station.station,
            ahead,
            span.last_day,
            reason="no past season of this record is whole, so nothing can stand for these days",
            next_step="add at least one past year to the record, ten or more for an honest range",
        )
    tmin, tmax = np.array([p.tmin_c for p in pasts]), np.array([p.tmax_c for p in pasts])
    off = deviations(current, tmin, tmax, error)
    tmin[:, :next_index] = (current.tmin_c + off.tmin_c)[:, :next_index]
    tmax[:, :next_index] = (current.tmax_c + off.tmax_c)[:, :next_index]
    # An error must not turn a day upside down.
    np.maximum(tmin, tmax, out=tmax)
    told = ~np.isnan(tmin[:, next_index:]).any(axis=0)
    kind[next_index:] = np.where(told, DayKind.PAST_SEASON, DayKind.MISSING)
    return SeasonWeather(
        record.station,
        span,
        tmin,
        tmax,
        kind,
        observed,
        last_known,
        tuple(p.year for p in pasts),
        current.rain_mm,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Past:
    year: int
    tmin_c: FloatArray
    tmax_c: FloatArray


def _last_known(record: StationRecord) -> dt.date | None:
    known = np.flatnonzero(record.kind != DayKind.MISSING)
    return record.first_day + dt.timedelta(days=int(known[-1])) if known.size else None


def _past_years(record: StationRecord, span: SeasonSpan) -> range:
    return range(record.first_day.year, min(record.last_day.year, span.year - 1) + 1)


def _past(
    record: StationRecord, span: SeasonSpan, year: int, bridge_days: int, need: dt.date
) -> _Past | None:
    """A past year laid on this year's calendar, or None when it is not whole from ``need`` on."""
    whole = apply(record, bridge_days, dt.date(year, 1, 1), dt.date(year, 12, 31))
    index = same_days(span, year)
    tmin, tmax = whole.tmin_c[index], whole.tmax_c[index]
    if np.isnan(tmin[span.index(need) :]).any():
        return None
    return _Past(year, tmin, tmax)


@cache
def same_days(span: SeasonSpan, year: int) -> NDArray[np.intp]:
    """Which day of a year, from 0, stands for each day of a span; not to be written to."""
    dates = (span.first_day + dt.timedelta(days=i) for i in range(span.days))
    return np.array([_same_day(day, year).timetuple().tm_yday - 1 for day in dates])


def _same_day(day: dt.date, year: int) -> dt.date:
    try:
        return day.replace(year=year)
    except ValueError:  # 29 February
        return day.replace(year=year, day=28)
