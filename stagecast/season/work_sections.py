"""The sections of season.toml on a day's work: hours, driving, money and scouts."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from stagecast.knowledge.texts import LONGEST_NAME, Name
from stagecast.season.clocktime import parse_time
from stagecast.season.sections import (
    ACCEPTED_DAYS,
    ACCEPTED_DEGREES,
    Finite,
    Home,
    Section,
    Weekday,
    as_tuple,
    different_days,
)
from stagecast.season.tomlvalues import kind_of

# Slips of the keyboard lie beyond these; they say nothing about roads or prices.
SLOWEST_KMH, FASTEST_KMH = 5, 130
SLOWEST_MPH, FASTEST_MPH = 4, 80
STRAIGHT, MOST_WINDING = 1, 5
MOST_LUNCH_MIN = 180
HIGHEST_PRICE = 1_000
HIGHEST_YIELD = 500
HIGHEST_DRIVE = 100
HIGHEST_HOUR = 10_000

_IN_QUOTES = 'a time on the 24-hour clock in quotes, such as "7:00" or "13:30"'
_LUNCH_MIN = f"whole minutes from 0 (no lunch) to {MOST_LUNCH_MIN}"


def _time(value: object) -> int:
    if not isinstance(value, str):
        raise ValueError(f"this cannot be {kind_of(value)}")
    return parse_time(value)


def _one_line(name: str) -> str:
    return " ".join(name.split())


Time = Annotated[int, BeforeValidator(_time)]
"""Seconds after midnight."""

LunchMin = Annotated[int, Field(ge=0, le=MOST_LUNCH_MIN)]
Days = Annotated[tuple[Weekday, ...], BeforeValidator(as_tuple), AfterValidator(different_days)]
ScoutName = Annotated[Name, AfterValidator(_one_line)]


class HoursSettings(Section):
    """When a day of work starts and ends, seconds after midnight; None where it is not said."""

    starts: Time | None = None
    ends: Time | None = None
    lunch: Time | None = None
    lunch_min: LunchMin | None = None


class DrivingSettings(Section):
    """How distances and times of driving are estimated; None where it is not said."""

    speed_mph: Annotated[Finite, Field(ge=SLOWEST_MPH, le=FASTEST_MPH)] | None = None
    speed_kmh: Annotated[Finite, Field(ge=SLOWEST_KMH, le=FASTEST_KMH)] | None = None
    road_factor: Annotated[Finite, Field(ge=STRAIGHT, le=MOST_WINDING)] | None = None


class MoneySettings(Section):
    """What beans bring and what driving costs, in dollars; None where it is not said."""

    bean_price: Annotated[Finite, Field(ge=0, le=HIGHEST_PRICE)] | None = None
    expected_yield: Annotated[Finite, Field(ge=0, le=HIGHEST_YIELD)] | None = None
    per_mile: Annotated[Finite, Field(ge=0, le=HIGHEST_DRIVE)] | None = None
    per_km: Annotated[Finite, Field(ge=0, le=HIGHEST_DRIVE)] | None = None
    per_hour: Annotated[Finite, Field(ge=0, le=HIGHEST_HOUR)] | None = None


class ScoutSettings(HoursSettings):
    """One scout; whatever is None is as the season says."""

    name: ScoutName
    working_days: Days | None = None
    home: Home | None = None


ACCEPTED_WORK: dict[str, str] = {
    "hours": "an [hours] section",
    "hours.starts": _IN_QUOTES,
    "hours.ends": _IN_QUOTES,
    "hours.lunch": _IN_QUOTES,
    "hours.lunch_min": _LUNCH_MIN,
    "driving": "a [driving] section",
    "driving.speed_mph": f"miles an hour from {SLOWEST_MPH} to {FASTEST_MPH}",
    "driving.speed_kmh": f"kilometres an hour from {SLOWEST_KMH} to {FASTEST_KMH}",
    "driving.road_factor": f"a number from {STRAIGHT} to {MOST_WINDING}, such as 1.3",
    "money": "a [money] section",
    "money.bean_price": f"dollars a bushel from 0 to {HIGHEST_PRICE:,}",
    "money.expected_yield": f"bushels an acre from 0 to {HIGHEST_YIELD}",
    "money.per_mile": f"dollars a mile from 0 to {HIGHEST_DRIVE}",
    "money.per_km": f"dollars a kilometre from 0 to {HIGHEST_DRIVE}",
    "money.per_hour": f"dollars an hour from 0 to {HIGHEST_HOUR:,}",
    "scouts": "[[scouts]] sections, with two brackets on either side",
    "scouts.name": f"a name in quotes, up to {LONGEST_NAME} characters, different for every scout",
    "scouts.working_days": ACCEPTED_DAYS,
    "scouts.starts": _IN_QUOTES,
    "scouts.ends": _IN_QUOTES,
    "scouts.lunch": _IN_QUOTES,
    "scouts.lunch_min": _LUNCH_MIN,
    "scouts.home": "a place such as { latitude = 36.1, longitude = -88.9 }",
    "scouts.home.latitude": ACCEPTED_DEGREES,
    "scouts.home.longitude": ACCEPTED_DEGREES,
}
