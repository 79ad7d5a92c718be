"""A day's work as the season has it: who scouts when, how driving is estimated, and what it costs.

What season.toml does not say is as in ``knowledge/workday.toml`` and ``waiting.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass

from stagecast.base.dates import MINUTE_S
from stagecast.base.units import KM_PER_MILE
from stagecast.knowledge import Knowledge
from stagecast.season.settings.settings import Settings
from stagecast.season.settings.work import Home, HoursSettings, Weekday


@dataclass(frozen=True, slots=True)
class Scout:
    """One person who walks fields.

    Attributes
    ----------
    name: empty for the one scout of a season that names none.
    latitude, longitude: home base, decimal degrees.
    starts_s, ends_s: soonest start from home and latest return, seconds after midnight.
    lunch_s, lunch_length_s: when lunch starts, seconds after midnight, and how long it takes; 0 for
        none.
    """

    name: str
    latitude: float
    longitude: float
    working_days: tuple[Weekday, ...]
    starts_s: int
    ends_s: int
    lunch_s: int
    lunch_length_s: int


@dataclass(frozen=True, slots=True)
class DrivingRules:
    """How driving is estimated: speed in km/h, and roads against the straight line, 1 or more."""

    speed_kmh: float
    road_factor: float


@dataclass(frozen=True, slots=True)
class Money:
    """What beans bring and what driving costs.

    Attributes
    ----------
    price: dollars a bushel.
    crop_yield: bushels an acre.
    per_km, per_hour: dollars of driving.
    """

    price: float
    crop_yield: float
    per_km: float
    per_hour: float


def crew(settings: Settings, knowledge: Knowledge) -> tuple[Scout, ...]:
    """All scouts, in file order; without any, one without a name who works from home.

    Parameters
    ----------
    knowledge: for the hours that season.toml does not say.

    Notes
    -----
    Hours that leave no room for a lunch nobody asked for are hours without lunch.
    """
    if not settings.scouts:
        return (_scout("", settings, knowledge, HoursSettings(), None, None),)
    return tuple(
        _scout(own.name, settings, knowledge, own, own.working_days, own.home)
        for own in settings.scouts
    )


def _scout(
    name: str,
    settings: Settings,
    knowledge: Knowledge,
    own: HoursSettings,
    working_days: tuple[Weekday, ...] | None,
    home: Home | None,
) -> Scout:
    usual, shipped = settings.hours, knowledge.workday.hours
    starts_s = _first(own.starts, usual.starts, int(shipped.starts) * MINUTE_S)
    ends_s = _first(own.ends, usual.ends, int(shipped.ends) * MINUTE_S)
    lunch_s = _first(own.lunch, usual.lunch, int(shipped.lunch) * MINUTE_S)
    lunch_min = _first(own.lunch_min, usual.lunch_min, int(shipped.lunch_length))
    length_s = lunch_min * MINUTE_S
    within = starts_s <= lunch_s and lunch_s + length_s <= ends_s
    base = settings.home if home is None else home
    return Scout(
        name=name,
        latitude=base.latitude,
        longitude=base.longitude,
        working_days=settings.working_days if working_days is None else working_days,
        starts_s=starts_s,
        ends_s=ends_s,
        lunch_s=lunch_s,
        lunch_length_s=length_s if within else 0,
    )


def _first(*values: int | None) -> int:
    """The first value that is said; the last one always is."""
    return next(value for value in values if value is not None)


def driving_rules(settings: Settings, knowledge: Knowledge) -> DrivingRules:
    """How driving is estimated, in kilometres whatever the file's unit."""
    own, shipped = settings.driving, knowledge.workday.driving
    speed_kmh = float(shipped.speed)
    if own.speed_kmh is not None:
        speed_kmh = own.speed_kmh
    elif own.speed_mph is not None:
        speed_kmh = own.speed_mph * KM_PER_MILE
    factor = float(shipped.road_factor) if own.road_factor is None else own.road_factor
    return DrivingRules(speed_kmh, factor)


def money(settings: Settings, knowledge: Knowledge) -> Money:
    """Prices and costs, per kilometre whatever the file's unit."""
    own, shipped = settings.money, knowledge.waiting.money
    per_km = float(shipped.drive)
    if own.per_km is not None:
        per_km = own.per_km
    elif own.per_mile is not None:
        per_km = own.per_mile / KM_PER_MILE
    return Money(
        price=float(shipped.price) if own.bean_price is None else own.bean_price,
        crop_yield=(
            float(shipped.field_yield) if own.expected_yield is None else own.expected_yield
        ),
        per_km=per_km,
        per_hour=float(shipped.hour) if own.per_hour is None else own.per_hour,
    )
