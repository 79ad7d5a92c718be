"""Driving between places: from the scout's own table where it has the way, else an estimate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.base.dates import HOUR_S, MINUTE_S
from stagecast.season.settings.workday import DrivingRules, Money
from stagecast.season.tables.travel import Leg, Legs
from stagecast.weather.nearest import great_circle_km
from stagecast.week.route.problem import IntArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

HOUR_MIN, CENTS = HOUR_S // MINUTE_S, 100


@dataclass(frozen=True, slots=True)
class RoadPlace:
    """Somewhere one drives to, by any of its names in ``travel.csv``, the best one first."""

    names: tuple[str, ...]
    latitude: float
    longitude: float


@dataclass(frozen=True, slots=True, eq=False)
class Roads:
    """The way from every place to every other; arrays have shape (places, places).

    Minutes are whole, rounded up, since nobody arrives a second early. ``estimated`` says where the
    way is not in the table.
    """

    km: FloatArray
    minutes: IntArray
    estimated: BoolArray

    @property
    def drive_s(self) -> IntArray:
        """Seconds of driving."""
        return self.minutes * MINUTE_S

    def cents(self, money: Money) -> IntArray:
        """Cost of driving, by distance and by time."""
        dollars = self.km * money.per_km + self.minutes / HOUR_MIN * money.per_hour
        return np.rint(dollars * CENTS).astype(np.int64)


def roads_between(places: Sequence[RoadPlace], legs: Legs, rules: DrivingRules) -> Roads:
    """Distances and times between places, by ``travel.csv`` where it has the way.

    Notes
    -----
    Without a leg, and for the distance where a leg gives minutes alone: great-circle distance
    times the road factor, at the declared speed. It is an estimate, and every screen says so;
    rivers without a bridge are not known to it.
    """
    latitude = np.array([place.latitude for place in places])
    longitude = np.array([place.longitude for place in places])
    straight = great_circle_km(latitude[:, None], longitude[:, None], latitude, longitude)
    km = np.asarray(straight, dtype=np.float64) * rules.road_factor
    np.fill_diagonal(km, 0.0)
    hours = km / rules.speed_kmh
    # A hair is taken off first, so that an exact number of minutes is not rounded up.
    minutes = np.ceil(hours * HOUR_MIN - 1e-9).astype(np.int64)
    estimated = ~np.eye(len(places), dtype=bool)
    named = {name for way in legs for name in way}
    on_a_way = [i for i, place in enumerate(places) if not named.isdisjoint(place.names)]
    for i in on_a_way:
        for j in on_a_way:
            leg = _leg(places[i], places[j], legs) if i != j else None
            if leg is not None:
                minutes[i, j] = math.ceil(leg.minutes)
                km[i, j] = km[i, j] if leg.km is None else leg.km
                estimated[i, j] = False
    return Roads(km, minutes, estimated)


def _leg(start: RoadPlace, end: RoadPlace, legs: Legs) -> Leg | None:
    """The way in the table, by the most particular names that have one."""
    ways = ((a, b) for a in start.names for b in end.names)
    return next((legs[way] for way in ways if way in legs), None)
