"""Which traps speak for a field: those within reach, the nearest first."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.base.errors import Problem, fold_repeats
from stagecast.base.units import FloatArray
from stagecast.season.tables.fields import Field
from stagecast.season.tables.traps import TRAPS_FILE, Catch
from stagecast.weather.nearest import great_circle_km
from stagecast.weather.records import Station

Place = tuple[float, float]
"""Latitude and longitude, decimal degrees."""


@dataclass(frozen=True, slots=True)
class NearTrap:
    """Catches of one pest at one trap, and how far it is from a field.

    A trap of which nobody said where it stands speaks for no field.
    """

    name: str
    catches: tuple[Catch, ...]
    distance_km: float

    def in_year(self, year: int) -> list[Catch]:
        """Its catches of a year."""
        return [catch for catch in self.catches if catch.date.year == year]


@dataclass(frozen=True, slots=True)
class OutOfReach:
    """The nearest trap that caught something, and how far a trap speaks for a field."""

    trap: str
    distance_km: float
    reach_km: float


class Traps:
    """The traps of a season by pest, grouped once for any number of fields.

    ``stations`` are weather stations by name: where a trap of the name stands.
    """

    def __init__(
        self,
        catches: Sequence[Catch],
        *,
        as_of: dt.date,
        stations: Mapping[str, Station],
        reach_km: float,
    ) -> None:
        self._reach_km = reach_km
        own: dict[str, list[Catch]] = defaultdict(list)
        grouped: dict[str, dict[str, list[Catch]]] = defaultdict(lambda: defaultdict(list))
        for catch in catches:
            if catch.date <= as_of:
                own[catch.trap].append(catch)
                grouped[catch.pest][catch.trap].append(catch)
        places = {trap: trap_place(made, stations) for trap, made in own.items()}
        self._by_pest = {
            pest: _PestTraps.of({trap: tuple(made) for trap, made in traps.items()}, places)
            for pest, traps in grouped.items()
        }
        self._found: dict[tuple[Place, str], tuple[NearTrap, ...]] = {}

    def near(self, field: Field, pest: str) -> tuple[NearTrap, ...]:
        """Traps of a pest within reach of a field, the nearest first."""
        return tuple(trap for trap in self._all(field, pest) if trap.distance_km <= self._reach_km)

    def out_of_reach(self, field: Field, pest: str, *, year: int) -> OutOfReach | None:
        """The nearest trap with catches of a year where it is too far away, else None."""
        caught = next((trap for trap in self._all(field, pest) if trap.in_year(year)), None)
        if caught is None or caught.distance_km <= self._reach_km:
            return None
        return OutOfReach(caught.name, caught.distance_km, self._reach_km)

    def _all(self, field: Field, pest: str) -> tuple[NearTrap, ...]:
        """Every trap of a pest whose place is known, the nearest first."""
        traps = self._by_pest.get(pest)
        if traps is None:
            return ()
        place = field.latitude, field.longitude
        if (place, pest) not in self._found:
            self._found[place, pest] = traps.seen_from(place)
        return self._found[place, pest]


@dataclass(frozen=True, slots=True, eq=False)
class _PestTraps:
    """The traps of one pest whose places are known."""

    catches: dict[str, tuple[Catch, ...]]
    latitudes: FloatArray
    longitudes: FloatArray

    @classmethod
    def of(
        cls, catches: Mapping[str, tuple[Catch, ...]], places: Mapping[str, Place | None]
    ) -> _PestTraps:
        known = {trap: place for trap in catches if (place := places[trap]) is not None}
        latitudes, longitudes = np.array(list(known.values()), float).reshape(-1, 2).T
        return cls({trap: catches[trap] for trap in known}, latitudes, longitudes)

    def seen_from(self, place: Place) -> tuple[NearTrap, ...]:
        """Each with its distance, the nearest first."""
        far = great_circle_km(*place, self.latitudes, self.longitudes).tolist()
        found = [
            NearTrap(trap, made, km)
            for (trap, made), km in zip(self.catches.items(), far, strict=True)
        ]
        return tuple(sorted(found, key=lambda trap: (trap.distance_km, trap.name)))


def trap_place(catches: Sequence[Catch], stations: Mapping[str, Station]) -> Place | None:
    """Latitude and longitude of a trap: as written, else those of the station of its name."""
    for catch in catches:
        if catch.latitude is not None and catch.longitude is not None:
            return catch.latitude, catch.longitude
    station = stations.get(catches[0].trap)
    return None if station is None else (station.latitude, station.longitude)


def lost_traps(catches: Sequence[Catch], stations: Mapping[str, Station]) -> tuple[Problem, ...]:
    """Doubts about traps of which nobody said where they stand; many alike are folded."""
    by_trap: dict[str, list[Catch]] = defaultdict(list)
    for catch in catches:
        by_trap[catch.trap].append(catch)
    return fold_repeats(
        Problem(
            TRAPS_FILE,
            "nobody says where this trap stands, so it times no field",
            own[0].line,
            "trap",
            trap,
            next_step="give its latitude and longitude, or name it after a weather station",
            doubtful=True,
        )
        for trap, own in by_trap.items()
        if trap_place(own, stations) is None
    )
