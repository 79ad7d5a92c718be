"""The port through which daily temperatures arrive, whatever they come from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Protocol

from stagecast.weather.records import StationRecord


@dataclass(frozen=True, slots=True)
class Place:
    """A point that needs weather; ``elevation_m`` is NaN where unknown."""

    latitude: float
    longitude: float
    elevation_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class WeatherRequest:
    """Which places, and which days (both ends included)."""

    places: tuple[Place, ...]
    first_day: dt.date
    last_day: dt.date


class WeatherSource(Protocol):
    """Anything that yields station records near the places asked for.

    Implementations never return a partial answer silently: a service that fails raises
    :class:`~stagecast.errors.WeatherOutage`; a day that has no value stays MISSING.
    """

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """Return the records that serve the request, in a stable order."""
        ...
