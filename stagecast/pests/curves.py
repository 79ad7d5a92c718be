"""A pest's heat since its biofix, week by week: this season beside past seasons of its station."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.ranges import PROBABILITIES
from stagecast.knowledge.pest import HeatModel
from stagecast.phenology.accumulate import sum_at, time_after
from stagecast.phenology.pests import heat_sums
from stagecast.phenology.spread import quantile_days
from stagecast.weather.gaps import apply
from stagecast.weather.records import StationRecord
from stagecast.weather.seasons import SeasonSpan, SeasonWeather

FloatArray = NDArray[np.float64]
WEEK = dt.timedelta(days=7)
ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class HeatRange:
    """Degree-days C that 10, 50 and 90 per cent of past seasons had not passed."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class CurveWeek:
    """Heat since the biofix at the end of a day, a whole number of weeks after it began.

    ``this_season`` is None for days that are not known yet, ``past`` where no season is whole.
    """

    through: dt.date
    this_season: float | None
    past: HeatRange | None

    def scaled(self, by: float) -> CurveWeek:
        """The same in another unit."""
        this = None if self.this_season is None else by * self.this_season
        past = self.past
        if past is not None:
            past = HeatRange(by * past.p10, by * past.p50, by * past.p90)
        return CurveWeek(self.through, this, past)


@dataclass(frozen=True, slots=True)
class PestCurve:
    """Degree-days C of a pest since its biofix, in this season and in past ones.

    Attributes
    ----------
    biofix : datetime.date
        Past seasons are counted from the same day of their year.
    weeks : tuple of CurveWeek
        To the season's last day.
    last_known : datetime.date or None
        Last day of this season with temperatures, if it does not lie before the biofix.
    so_far : float or None
        Heat at its end.
    past_so_far : HeatRange or None
        Heat of past seasons at the end of the same day of the year.
    days_ahead : float or None
        How many days later the middle past season had as much heat; below 0 it had it earlier.
    past_years : tuple of int
        Past seasons whose days are whole from the biofix on.
    """

    biofix: dt.date
    weeks: tuple[CurveWeek, ...]
    last_known: dt.date | None
    so_far: float | None
    past_so_far: HeatRange | None
    days_ahead: float | None
    past_years: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Year:
    """Heat sums of one year, and the time of the biofix in it."""

    span: SeasonSpan
    sums: FloatArray
    start: FloatArray

    def heats(self, days: Sequence[dt.date]) -> FloatArray:
        """Degree-days C from the biofix to the ends of the same days in this year."""
        year = self.span.year
        ends = np.array([self.span.index(_in_year(day, year)) + 1.0 for day in days])
        since = sum_at(self.sums, ends[None])[0] - sum_at(self.sums, self.start)
        return np.where(ends <= self.start, 0.0, since)

    def days_until(self, heat_c: float, day: dt.date) -> float:
        """Days from the end of the same day in this year until so much heat; inf for never."""
        end = self.span.index(_in_year(day, self.span.year)) + 1.0
        return float(time_after(self.sums, self.start, np.array([heat_c]))[0] - end)


def pest_curve(
    season: SeasonWeather,
    record: StationRecord,
    *,
    model: HeatModel,
    biofix: float,
    bridge_days: int,
    past_seasons: int | None = None,
) -> PestCurve:
    """Heat since a biofix in this season and in past ones, by the pest's own model.

    Parameters
    ----------
    season : SeasonWeather
        This season at the station, up to the last day before a weather forecast or past seasons.
    record : StationRecord
        The station's whole record, screened.
    biofix : float
        Fractional days since the season's first day, inside the season.
    bridge_days : int
        Which holes of past seasons may be bridged.
    past_seasons : int, optional
        Only the latest of them.
    """
    span = season.span
    day, part = span.first_day + int(biofix) * ONE_DAY, biofix % 1.0
    this = _year(span, season.tmin_c[:1], season.tmax_c[:1], model, day, part)
    years = range(record.first_day.year, min(record.last_day.year + 1, span.year))
    pasts = []
    for year in years[-past_seasons:] if past_seasons else years:
        past = SeasonSpan(year, _in_year(span.last_day, year))
        whole = apply(record, bridge_days, past.first_day, past.last_day)
        laid = _year(past, whole.tmin_c[None], whole.tmax_c[None], model, day, part)
        if np.isfinite(laid.sums).all():
            pasts.append(laid)
    last = season.last_alike
    known = last is not None and day <= last
    so_far = float(this.heats([last])[0]) if last is not None and known else None
    then = _ranges(pasts, [last]) if last is not None and known else [None]
    ends = list(_week_ends(day, span.last_day))
    passed = [end for end in ends if last is not None and end <= last]
    told = [*this.heats(passed).tolist(), *[None] * (len(ends) - len(passed))]
    return PestCurve(
        biofix=day,
        weeks=tuple(map(CurveWeek, ends, told, _ranges(pasts, ends))),
        last_known=last if known else None,
        so_far=so_far,
        past_so_far=then[0],
        days_ahead=_days_ahead(pasts, so_far, last),
        past_years=tuple(past.span.year for past in pasts),
    )


def _year(
    span: SeasonSpan,
    tmin_c: FloatArray,
    tmax_c: FloatArray,
    model: HeatModel,
    biofix: dt.date,
    part: float,
) -> _Year:
    index = span.index(_in_year(biofix, span.year))
    heat = heat_sums(tmin_c, tmax_c, model=model, first_index=index)
    return _Year(span, heat.sums, np.array([index + part]))


def _in_year(day: dt.date, year: int) -> dt.date:
    """The same day of another year; 29 February becomes the 28th."""
    try:
        return day.replace(year=year)
    except ValueError:
        return day.replace(year=year, day=28)


def _week_ends(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    """Last days of the whole weeks that begin with a day."""
    end = first + WEEK - ONE_DAY
    while end <= last:
        yield end
        end += WEEK


def _ranges(pasts: Sequence[_Year], days: Sequence[dt.date]) -> Sequence[HeatRange | None]:
    """Heat of past seasons at the ends of the same days; None without any."""
    if not pasts or not days:
        return [None] * len(days)
    heats = np.array([past.heats(days) for past in pasts])
    return [HeatRange(*found) for found in quantile_days(heats.T, PROBABILITIES).tolist()]


def _days_ahead(pasts: Sequence[_Year], so_far: float | None, last: dt.date | None) -> float | None:
    """Days until the middle past season had this season's heat; None where it never had."""
    if not pasts or not so_far or last is None:
        return None
    days = np.array([past.days_until(so_far, last) for past in pasts])
    middle = float(quantile_days(days, (0.5,))[0])
    return middle if np.isfinite(middle) else None
