"""Which station speaks for a field: the nearest usable one, and what that costs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagecast.base.units import FloatArray
from stagecast.weather.records import FieldSite, Station

# Mean radius R1 = (2a + b) / 3 of the GRS 80 ellipsoid (Moritz 2000, Geodetic Reference
# System 1980, Journal of Geodesy 74:128-133).
EARTH_RADIUS_KM = 6371.0088

# Distances that agree to a millimetre are a tie, so that rounding cannot choose a station.
_TIE_DECIMALS_KM = 6


@dataclass(frozen=True, slots=True)
class StationMatch:
    """The station chosen for a place.

    Attributes
    ----------
    distance_km: along a great circle.
    elevation_difference_m: station minus place; NaN where either elevation is unknown.
    far: the distance is above the limit given.
    high: the elevations differ, up or down, by more than the limit given; False where unknown.
    """

    station: Station
    distance_km: float
    elevation_difference_m: float
    far: bool
    high: bool


Reason = TypeVar("Reason")


@dataclass(frozen=True, slots=True)
class PassedOver(Generic[Reason]):
    """A nearer station that could not be used, and why."""

    station: str
    distance_km: float
    reason: Reason


def great_circle_km(
    latitude_1: ArrayLike, longitude_1: ArrayLike, latitude_2: ArrayLike, longitude_2: ArrayLike
) -> FloatArray:
    """Great-circle distance between points, with the haversine formula.

    Parameters
    ----------
    latitude_1, longitude_1, latitude_2, longitude_2: degrees, north and east positive; broadcast
        against each other.

    Returns
    -------
    ndarray
        Kilometres on a sphere of radius ``EARTH_RADIUS_KM``, of the broadcast shape. Up to
        about 0.5 % off the ellipsoid.

    Notes
    -----
    h = sin^2(dlat / 2) + cos(lat1) cos(lat2) sin^2(dlon / 2);  d = 2 R arcsin(sqrt(h))

    References
    ----------
    Sinnott RW 1984. Virtues of the haversine. Sky and Telescope 68(2):159.
    """
    lat_1, lon_1 = np.radians(latitude_1), np.radians(longitude_1)
    lat_2, lon_2 = np.radians(latitude_2), np.radians(longitude_2)
    half = (
        np.sin((lat_2 - lat_1) / 2) ** 2
        + np.cos(lat_1) * np.cos(lat_2) * np.sin((lon_2 - lon_1) / 2) ** 2
    )
    # For opposite points rounding can carry h past 1.
    angle = 2 * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    return np.asarray(EARTH_RADIUS_KM * angle, dtype=np.float64)


def rank_stations(
    latitude: float, longitude: float, stations: Sequence[Station]
) -> tuple[NDArray[np.intp], FloatArray]:
    """Order stations from the nearest to the farthest.

    Parameters
    ----------
    latitude, longitude: the place, in degrees.
    stations: in any order.

    Returns
    -------
    order : ndarray of int
        Indices into ``stations``; ties (to 1 mm) in the order of station ids.
    distances_km : ndarray
        In that same order.

    Raises
    ------
    ValueError
        If a coordinate is not finite: a place that is nowhere is near nothing.
    """
    latitudes = np.array([s.latitude for s in stations], dtype=np.float64)
    longitudes = np.array([s.longitude for s in stations], dtype=np.float64)
    distances = great_circle_km(latitude, longitude, latitudes, longitudes)
    if not np.isfinite(distances).all():
        raise ValueError("latitudes and longitudes must be finite numbers")
    ids = np.array([s.station for s in stations], dtype=str)
    order = np.lexsort((ids, np.round(distances, _TIE_DECIMALS_KM)))
    return order, distances[order]


@lru_cache(maxsize=4096)
def _ranked(
    latitude: float, longitude: float, stations: tuple[Station, ...]
) -> tuple[tuple[int, float], ...]:
    """As :func:`rank_stations`; a field and its stations stay where they are, day after day."""
    order, distances = rank_stations(latitude, longitude, stations)
    return tuple(zip(order.tolist(), distances.tolist(), strict=True))


def match(
    place: FieldSite,
    stations: Sequence[Station],
    *,
    why_not: Callable[[Station], Reason | None],
    far_km: float,
    high_m: float,
) -> tuple[StationMatch | None, tuple[PassedOver[Reason], ...]]:
    """Choose the nearest usable station for a place, or none.

    Parameters
    ----------
    stations: in any order.
    why_not: none for a usable station, else the reason why it is not. Asked from the nearest
        station on, and no further than the one chosen.
    far_km: A match beyond this distance (km) is marked ``far``.
    high_m: A match whose elevation differs by more than this (m) is marked ``high``.

    Returns
    -------
    match : StationMatch or None
    passed_over : tuple of PassedOver
        Nearer stations that were not usable, nearest first.
    """
    passed: list[PassedOver[Reason]] = []
    for index, distance in _ranked(place.latitude, place.longitude, tuple(stations)):
        station = stations[index]
        reason = why_not(station)
        if reason is not None:
            passed.append(PassedOver(station.station, distance, reason))
            continue
        difference = station.elevation_m - place.elevation_m
        high = not math.isnan(difference) and abs(difference) > high_m
        found = StationMatch(station, distance, difference, distance > far_km, high)
        return found, tuple(passed)
    return None, tuple(passed)
