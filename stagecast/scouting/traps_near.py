"""Which traps speak for a field: those within reach, the nearest first."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stagecast.errors import Problem
from stagecast.scouting.units import Units, distance_text
from stagecast.season.fields import Field
from stagecast.season.traps import TRAPS_FILE, Catch
from stagecast.weather.nearest import great_circle_km
from stagecast.weather.records import Station


@dataclass(frozen=True, slots=True)
class NearTrap:
    """Catches of one pest at one trap, and how far it is from a field.

    A trap of which nobody said where it stands speaks for no field.
    """

    station: str
    catches: tuple[Catch, ...]
    distance_km: float
    said: str


def traps_near(
    field: Field,
    catches: Sequence[Catch],
    *,
    pest: str,
    as_of: dt.date,
    stations: Mapping[str, Station],
    reach_km: float,
    units: Units,
) -> tuple[NearTrap, ...]:
    """Traps of a pest within reach of a field, with their catches up to a day.

    Parameters
    ----------
    field : Field
    catches : sequence of Catch
        Of all pests, traps and years.
    pest : str
        Id of the pest.
    as_of : datetime.date
        Later catches are left out.
    stations : mapping
        Weather stations by name: where a trap stands that bears the name of one.
    reach_km : float
    units : Units
        Of the distance in words.
    """
    by_trap: dict[str, list[Catch]] = defaultdict(list)
    for catch in catches:
        if catch.pest == pest and catch.date <= as_of:
            by_trap[catch.station].append(catch)
    found = []
    for station, own in by_trap.items():
        place = trap_place(own, stations)
        if place is None:
            continue
        far = _distance_km(field, place)
        if far > reach_km:
            continue
        said = f"{station}, {distance_text(far, units)}"
        found.append(NearTrap(station, tuple(own), far, said))
    return tuple(sorted(found, key=lambda trap: (trap.distance_km, trap.station)))


def trap_place(
    catches: Sequence[Catch], stations: Mapping[str, Station]
) -> tuple[float, float] | None:
    """Latitude and longitude of a trap: as written, else those of the station of its name."""
    for catch in catches:
        if catch.latitude is not None and catch.longitude is not None:
            return catch.latitude, catch.longitude
    station = stations.get(catches[0].station)
    return None if station is None else (station.latitude, station.longitude)


def _distance_km(field: Field, place: tuple[float, float]) -> float:
    return float(great_circle_km(field.latitude, field.longitude, *place))


def lost_traps(catches: Sequence[Catch], stations: Mapping[str, Station]) -> list[Problem]:
    """Doubts about traps of which nobody said where they stand."""
    by_trap: dict[str, list[Catch]] = defaultdict(list)
    for catch in catches:
        by_trap[catch.station].append(catch)
    return [
        Problem(
            TRAPS_FILE,
            f"nobody says where the trap {trap} stands, so it times no field",
            own[0].line,
            "station",
            next_step="give its latitude and longitude, or name it after a weather station",
            doubtful=True,
        )
        for trap, own in by_trap.items()
        if trap_place(own, stations) is None
    ]
