"""Whether an answer of a weather service can be right: against what is stored, its past, others.

Stored days are never given up for days that move many of them by degrees, and new days are not
taken that lie beyond all that the station and its neighbors have known. Such an answer is held
beside the stored days until a person takes it, or a later answer is sound.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stagecast.base.errors import Problem
from stagecast.base.units import FloatArray
from stagecast.knowledge.rules import WeatherLimits
from stagecast.weather.nearest import great_circle_km
from stagecast.weather.quality import fetched_station
from stagecast.weather.records import DayKind, StationRecord

Why = Literal["moved", "unit", "past", "neighbors"]
"""It moves stored days; its unit is another; it is unlike its own past, or its neighbors."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why an answer is not believed.

    Attributes
    ----------
    days: days that speak against it.
    by_c: how far they are off in the mean, degC; for ``unit`` the middle of the summer maxima.
    """

    station: str
    why: Why
    days: int
    by_c: float


@dataclass(frozen=True, slots=True)
class Drift:
    """A station that reads otherwise against its neighbors than in past years, by degC."""

    station: str
    by_c: float
    days: int
    neighbors: tuple[str, ...]


def held_problem(doubt: Doubt) -> Problem:
    """An answer that is held back, as a person is told of it."""
    by, days = f"{abs(doubt.by_c):.1f} degC", f"{doubt.days} days"
    way = "warmer" if doubt.by_c > 0 else "colder"
    said: dict[Why, str] = {
        "moved": f"the last answer moves {days} that were measured already, by {doubt.by_c:+.1f} "
        "degC in the mean",
        "unit": f"the maximum of a summer day is {doubt.by_c:.1f} degC in the middle of {days}: "
        "another unit",
        "past": f"{days} are {by} {way} than the same days of every past year",
        "neighbors": f"{days} are {by} {way} against its neighbors than they used to be",
    }
    return Problem(
        fetched_station(doubt.station),
        f"{said[doubt.why]}; not believed, and held back beside the stored days",
        next_step="wait for the next answer, or believe it with `stagecast weather DIR --believe "
        f"{doubt.station}`",
        doubtful=True,
    )


def drift_problem(drift: Drift, *, place: str) -> Problem:
    """A station that departs from its neighbors; ``place`` is where a person finds its days."""
    way = "warmer" if drift.by_c > 0 else "colder"
    return Problem(
        place,
        f"the last {drift.days} days are {abs(drift.by_c):.1f} degC {way} against "
        f"{', '.join(drift.neighbors)} than in past years",
        next_step="look whether its sensor or its place has changed",
        doubtful=True,
    )


def doubts(
    answers: Sequence[StationRecord], stored: Mapping[str, StationRecord], *, limits: WeatherLimits
) -> dict[str, Doubt]:
    """Station -> why its answer is not believed; sound ones are left out.

    Parameters
    ----------
    answers: what one request brought.
    stored: station -> its stored days, of all years.
    """
    found: dict[str, Doubt] = {}
    new = {one.station.station: _new(one, stored.get(one.station.station)) for one in answers}
    for answer in answers:
        name = answer.station.station
        doubt = (
            _moved(answer, stored.get(name), limits)
            or _unit(answer, limits)
            or _past(new[name], stored.get(name), limits)
        )
        if doubt is not None:
            found[name] = doubt
    if not found:
        found |= _unlike(new, stored, limits)
    return found


def drifts(
    records: Sequence[StationRecord], *, as_of: dt.date, limits: WeatherLimits
) -> tuple[Drift, ...]:
    """Stations that read otherwise against each of their neighbors than in past years.

    Looked at are the last :attr:`WeatherLimits.drift_days` up to a day. Of two that differ only
    from each other, both are named.
    """
    days = int(limits.drift_days)
    first = as_of - dt.timedelta(days=days - 1)
    seen = {one.station.station: one for one in records}
    late = {name: one.between(first, as_of) for name, one in seen.items()}
    past = {name: one.between(one.first_day, first) for name, one in seen.items()
            if one.first_day < first}  # fmt: skip
    far = _departures(late, past, limits)
    return tuple(
        Drift(name, _middle(by), days, tuple(by))
        for name, by in far.items()
        if min(map(abs, by.values())) > float(limits.drift_by)
    )


# --- one answer -----------------------------------------------------------------------------------


def _moved(
    answer: StationRecord, stored: StationRecord | None, limits: WeatherLimits
) -> Doubt | None:
    """Many days that were observed already would become others."""
    if stored is None:
        return None
    was = stored.between(answer.first_day, answer.last_day)
    both = (was.kind == DayKind.OBSERVED) & (answer.kind == DayKind.OBSERVED)
    by = np.stack([answer.tmin_c - was.tmin_c, answer.tmax_c - was.tmax_c])[:, both]
    moved = np.abs(by).max(axis=0, initial=0.0) > float(limits.moved_by)
    share = float(limits.moved_share) * np.count_nonzero(both)
    number = int(np.count_nonzero(moved))
    if number < int(limits.doubt_days) or number < share:
        return None
    return Doubt(answer.station.station, "moved", number, float(by[:, moved].mean()))


def _unit(answer: StationRecord, limits: WeatherLimits) -> Doubt | None:
    """The maxima of its summer days are those of another unit."""
    months = np.array([day.month for day in _dates(answer)])
    warm = (months >= int(limits.units_first_month)) & (months <= int(limits.units_last_month))
    highs = answer.tmax_c[warm & (answer.kind == DayKind.OBSERVED)]
    if len(highs) < int(limits.units_days):
        return None
    middle = float(np.median(highs))
    if float(limits.units_coldest) <= middle <= float(limits.units_warmest):
        return None
    return Doubt(answer.station.station, "unit", len(highs), middle)


def _past(new: StationRecord, stored: StationRecord | None, limits: WeatherLimits) -> Doubt | None:
    """New days that are beyond the same days of every past year, by far."""
    now = _means(new)
    number = int(np.count_nonzero(np.isfinite(now)))
    if stored is None or number < int(limits.doubt_days):
        return None
    years = [mean for mean in _same_days(new, stored) if np.isfinite(mean)]
    if len(years) < int(limits.doubt_years):
        return None
    mean = float(np.nanmean(now))
    by = mean - max(years) if mean > max(years) else mean - min(years)
    if min(years) <= mean <= max(years) or abs(by) <= float(limits.past_by):
        return None
    return Doubt(new.station.station, "past", number, by)


def _same_days(new: StationRecord, stored: StationRecord) -> Iterator[float]:
    """Mean temperature (degC) of the same days in every stored year; NaN where many are missing."""
    seen = np.isfinite(_means(new))
    for year in range(stored.first_day.year, new.first_day.year):
        first = _in_year(new.first_day, year)
        then = stored.between(first, first + dt.timedelta(days=new.days - 1))
        means = _means(then)[seen]
        there = np.isfinite(means)
        yield float(means[there].mean()) if 2 * there.sum() > len(means) else float("nan")


def _unlike(
    new: Mapping[str, StationRecord], stored: Mapping[str, StationRecord], limits: WeatherLimits
) -> dict[str, Doubt]:
    """Stations with new days unlike each neighbor's; of two, the one more unlike its own past."""
    far = {
        name: by
        for name, by in _departures(new, stored, limits).items()
        if min(map(abs, by.values())) > float(limits.neighbors_by)
    }
    own = {name: _from_usual(new[name], stored.get(name)) for name in far}
    return {
        name: Doubt(name, "neighbors", _number(new[name]), _middle(by))
        for name, by in far.items()
        if not any(other in far and own[other] > own[name] for other in by)
    }


def _from_usual(new: StationRecord, stored: StationRecord | None) -> float:
    """How far new days are from the mean of the same days of past years, degC; 0 where unknown."""
    years = [] if stored is None else [m for m in _same_days(new, stored) if np.isfinite(m)]
    return abs(float(np.nanmean(_means(new))) - float(np.mean(years))) if years else 0.0


# --- neighbors ------------------------------------------------------------------------------------


def _departures(
    late: Mapping[str, StationRecord], past: Mapping[str, StationRecord], limits: WeatherLimits
) -> dict[str, dict[str, float]]:
    """Station -> neighbor -> how much warmer it reads against it than it used to, degC.

    Only pairs that have enough days in common, late and before; stations without one are left out.
    """
    least, before = int(limits.doubt_days), int(limits.neighbor_days)
    found: dict[str, dict[str, float]] = {}
    for name, one in late.items():
        for other in _nearest(one, late, limits):
            now = _differences(one, late[other])
            if len(now) < least or name not in past or other not in past:
                continue
            usual = _differences(past[name], past[other])
            if len(usual) >= before:
                found.setdefault(name, {})[other] = float(now.mean() - usual.mean())
    return found


def _nearest(
    one: StationRecord, others: Mapping[str, StationRecord], limits: WeatherLimits
) -> list[str]:
    """The nearest few that are near enough."""
    place = one.station
    away = {
        name: float(great_circle_km(place.latitude, place.longitude,
                                    r.station.latitude, r.station.longitude))
        for name, r in others.items()
        if name != place.station
    }  # fmt: skip
    near = [name for name in away if away[name] <= float(limits.distance_limit)]
    return sorted(near, key=lambda name: (away[name], name))[: int(limits.nearby_limit)]


def _differences(one: StationRecord, other: StationRecord) -> FloatArray:
    """How much warmer one station is on the days that both have observed, degC."""
    first, last = max(one.first_day, other.first_day), min(one.last_day, other.last_day)
    if first > last:
        return np.empty(0)
    by = _means(one.between(first, last)) - _means(other.between(first, last))
    return by[np.isfinite(by)]


# --- days -----------------------------------------------------------------------------------------


def _new(answer: StationRecord, stored: StationRecord | None) -> StationRecord:
    """The days of an answer that are observed now and were not before."""
    known = np.zeros(answer.days, dtype=bool)
    if stored is not None:
        known = stored.between(answer.first_day, answer.last_day).kind == DayKind.OBSERVED
    return answer.without(known | (answer.kind != DayKind.OBSERVED))


def _means(record: StationRecord) -> FloatArray:
    """Mean of the two temperatures of observed days, degC; NaN on others."""
    return np.where(record.kind == DayKind.OBSERVED, (record.tmin_c + record.tmax_c) / 2, np.nan)


def _number(record: StationRecord) -> int:
    return int(np.count_nonzero(record.kind == DayKind.OBSERVED))


def _middle(by: Mapping[str, float]) -> float:
    return float(np.median(list(by.values())))


def _dates(record: StationRecord) -> Iterator[dt.date]:
    return (record.first_day + dt.timedelta(days=i) for i in range(record.days))


def _in_year(day: dt.date, year: int) -> dt.date:
    """The same day of another year; 28 February for a leap day."""
    try:
        return day.replace(year=year)
    except ValueError:
        return day.replace(year=year, day=28)
