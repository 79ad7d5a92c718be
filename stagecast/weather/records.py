"""Daily temperatures of stations, and what is asked of a service."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray

KindArray = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class FieldSite:
    """A point that needs weather, degrees; ``elevation_m`` is NaN where unknown."""

    latitude: float
    longitude: float
    elevation_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class WeatherRequest:
    """Which places, and which days (both ends included)."""

    places: tuple[FieldSite, ...]
    first_day: dt.date
    last_day: dt.date


class DayKind(IntEnum):
    """What a day's temperatures are; stored as int8 beside them."""

    MISSING = 0
    OBSERVED = 1
    MODEL = 2
    BRIDGED = 3
    PAST_SEASON = 4


@dataclass(frozen=True, slots=True)
class Station:
    """A place with a record: a station, or a cell interpolated from several.

    ``elevation_m`` is NaN where unknown; ``name`` may say how a cell was made.
    """

    station: str
    latitude: float
    longitude: float
    elevation_m: float = float("nan")
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class MemberDays:
    """Days ahead as an ensemble of weather forecasts tells them, each member as likely as another.

    Attributes
    ----------
    first_day: date of index 0, taken for the day after the forecast was made.
    tmin_c, tmax_c : ndarray, shape (members, days)
        Daily extremes in degC, none of them missing.
    """

    first_day: dt.date
    tmin_c: FloatArray
    tmax_c: FloatArray

    @property
    def made_on(self) -> dt.date:
        """The day on which the forecast was made."""
        return self.first_day - dt.timedelta(days=1)


@dataclass(frozen=True, slots=True, eq=False)
class StationRecord:
    """Daily temperatures of one station, day after day without a hole in the index.

    Attributes
    ----------
    first_day: date of index 0; index i is ``first_day + i`` days.
    tmin_c, tmax_c : ndarray, shape (days,), float64
        Daily extremes in degC; both NaN where the day is missing.
    kind : ndarray, shape (days,), int8
        A :class:`DayKind` per day.
    fetched_on: for MODEL days: day index -> date on which the forecast was fetched.
    members: the latest ensemble of forecasts for the days ahead, if there is one.
    rain_mm : ndarray, shape (days,)
        Measured rain, mm; NaN where unknown. None where nobody measures it.
    """

    station: Station
    first_day: dt.date
    tmin_c: FloatArray
    tmax_c: FloatArray
    kind: KindArray
    fetched_on: dict[int, dt.date] = field(default_factory=dict)
    members: MemberDays | None = None
    rain_mm: FloatArray | None = None

    def __post_init__(self) -> None:
        if not len(self.tmin_c) == len(self.tmax_c) == len(self.kind):
            raise ValueError("tmin_c, tmax_c and kind must have one value per day")
        if self.rain_mm is not None and len(self.rain_mm) != len(self.kind):
            raise ValueError("rain_mm must have one value per day")

    @property
    def days(self) -> int:
        """Number of days from first to last, missing ones included."""
        return len(self.kind)

    @property
    def last_day(self) -> dt.date:
        """Date of the last index."""
        return self.first_day + dt.timedelta(days=self.days - 1)

    def last_observed(self) -> dt.date | None:
        """Date of the last OBSERVED day, or None when there is none."""
        observed = np.flatnonzero(self.kind == DayKind.OBSERVED)
        if observed.size == 0:
            return None
        return self.first_day + dt.timedelta(days=int(observed[-1]))

    def without(self, rejected: NDArray[np.bool_]) -> StationRecord:
        """A copy in which the temperatures of the marked days are MISSING."""
        return StationRecord(
            self.station,
            self.first_day,
            np.where(rejected, np.nan, self.tmin_c),
            np.where(rejected, np.nan, self.tmax_c),
            np.where(rejected, DayKind.MISSING, self.kind).astype(np.int8),
            {i: day for i, day in self.fetched_on.items() if not rejected[i]},
            self.members,
            self.rain_mm,
        )

    def between(self, first: dt.date, last: dt.date) -> StationRecord:
        """The same record on exactly ``first..last``; days outside it are MISSING."""
        days = (last - first).days + 1
        tmin = np.full(days, np.nan)
        tmax = np.full(days, np.nan)
        kind = np.zeros(days, dtype=np.int8)
        rain = None if self.rain_mm is None else np.full(days, np.nan)
        shift = (self.first_day - first).days
        lo, hi = max(0, shift), min(days, shift + self.days)
        if lo < hi:
            own = slice(lo - shift, hi - shift)
            tmin[lo:hi], tmax[lo:hi] = self.tmin_c[own], self.tmax_c[own]
            kind[lo:hi] = self.kind[own]
            if rain is not None and self.rain_mm is not None:
                rain[lo:hi] = self.rain_mm[own]
        fetched = {i + shift: day for i, day in self.fetched_on.items() if lo <= i + shift < hi}
        return StationRecord(self.station, first, tmin, tmax, kind, fetched, self.members, rain)
