"""Scouts, their hours and the money of a season: read from season.toml, and checked."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeGuard

from pydantic import AfterValidator, BeforeValidator, Field

from stagecast.base.dates import HOUR_S, MINUTE_S, parse_time, said_time
from stagecast.base.errors import Problem
from stagecast.knowledge.rules import Hours
from stagecast.knowledge.texts import LONGEST_NAME, Name
from stagecast.season.settings.pest_names import folded
from stagecast.season.settings.sections import Section, as_tuple
from stagecast.season.settings.toml import KeyPlace, TomlFile, as_typed, kind_of
from stagecast.season.tables.places import PlaceLimits, place_faults

SETTINGS_FILE = "season.toml"
HOME = "home"
"""What the home base is called, in season.toml and in tables of travel."""

EXAMPLE_HOME = (36.0, -89.0)
"""Latitude and longitude of it in a new folder, until somebody puts in their own."""

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Finite = Annotated[float, Field(allow_inf_nan=False)]

ACCEPTED_DAYS = "a list of different days, at least one, from " + ", ".join(
    f'"{day}"' for day in WEEKDAYS
)
ACCEPTED_DEGREES = "decimal degrees, such as 35.9254 or -89.7012 (north and east positive)"


class Home(Section):
    """Where a day of work starts and ends, in decimal degrees."""

    latitude: Finite
    longitude: Finite


def different_days(days: tuple[Weekday, ...]) -> tuple[Weekday, ...]:
    """Refuse working days of which there is none, or one twice.

    Raises
    ------
    ValueError
    """
    if not days:
        raise ValueError("no day is named")
    if len(set(days)) < len(days):
        raise ValueError("a day stands twice")
    return days


# Slips of the keyboard lie beyond these; they say nothing about roads or prices.
SLOWEST_KMH, FASTEST_KMH = 5, 130
SLOWEST_MPH, FASTEST_MPH = 4, 80
STRAIGHT, MOST_WINDING = 1, 5
MOST_LUNCH_MIN = 180
SHORTEST_SET_MIN, LONGEST_SET_MIN, MOST_FIELD_MIN = 0.5, 60, 120
SHORTEST_GAP_DAYS, LONGEST_GAP_DAYS = 3, 60
SHORTEST_REST_DAYS, LONGEST_REST_DAYS = 5, 14
HIGHEST_PRICE = 1_000
HIGHEST_CONTROL = 1_000
HIGHEST_YIELD = 500
HIGHEST_DRIVE = 100
HIGHEST_HOUR = 10_000

_IN_QUOTES = 'a time of day in quotes, such as "7:00", "13:30" or "1:30 pm"'
ACCEPTED_GAP = f"whole days from {SHORTEST_GAP_DAYS} to {LONGEST_GAP_DAYS}"
_LUNCH_MIN = f"whole minutes from 0 (no lunch) to {MOST_LUNCH_MIN}"


def _time(value: object) -> int:
    if not isinstance(value, str):
        raise ValueError(f"this cannot be {kind_of(value)}")
    return parse_time(value)


def _one_line(name: str) -> str:
    return " ".join(name.split())


Time = Annotated[int, BeforeValidator(_time)]
"""Seconds after midnight."""

GapDays = Annotated[int, Field(ge=SHORTEST_GAP_DAYS, le=LONGEST_GAP_DAYS)]
RestDays = Annotated[int, Field(ge=SHORTEST_REST_DAYS, le=LONGEST_REST_DAYS)]
LunchMin = Annotated[int, Field(ge=0, le=MOST_LUNCH_MIN)]
Days = Annotated[tuple[Weekday, ...], BeforeValidator(as_tuple), AfterValidator(different_days)]
ScoutName = Annotated[Name, AfterValidator(_one_line)]


class HoursSettings(Section):
    """When a day of work starts and ends, seconds after midnight; None where it is not said."""

    starts: Time | None = None
    ends: Time | None = None
    lunch: Time | None = None
    lunch_min: LunchMin | None = None


class WorkdaySettings(HoursSettings):
    """The hours of all scouts, and how long visits take; None where it is not said.

    ``minutes_per_set`` is for a usual set of sweeps, ``minutes_per_field`` for all besides sets and
    the walk.
    """

    minutes_per_set: Annotated[Finite, Field(ge=SHORTEST_SET_MIN, le=LONGEST_SET_MIN)] | None = None
    minutes_per_field: Annotated[Finite, Field(ge=0, le=MOST_FIELD_MIN)] | None = None


class DrivingSettings(Section):
    """How distances and times of driving are estimated; None where it is not said."""

    speed_mph: Annotated[Finite, Field(ge=SLOWEST_MPH, le=FASTEST_MPH)] | None = None
    speed_kmh: Annotated[Finite, Field(ge=SLOWEST_KMH, le=FASTEST_KMH)] | None = None
    road_factor: Annotated[Finite, Field(ge=STRAIGHT, le=MOST_WINDING)] | None = None


class MoneySettings(Section):
    """What beans bring, what control and driving cost, in dollars; None where it is not said."""

    bean_price: Annotated[Finite, Field(ge=0, le=HIGHEST_PRICE)] | None = None
    control_cost: Annotated[Finite, Field(ge=0, le=HIGHEST_CONTROL)] | None = None
    expected_yield: Annotated[Finite, Field(ge=0, le=HIGHEST_YIELD)] | None = None
    per_mile: Annotated[Finite, Field(ge=0, le=HIGHEST_DRIVE)] | None = None
    per_km: Annotated[Finite, Field(ge=0, le=HIGHEST_DRIVE)] | None = None
    per_hour: Annotated[Finite, Field(ge=0, le=HIGHEST_HOUR)] | None = None


class VisitsSettings(Section):
    """Days between two visits; None: as by default.

    At most in a critical window and otherwise, and while a field rests between the seedling weeks
    and R1.
    """

    longest_gap_critical_days: GapDays | None = None
    longest_gap_days: GapDays | None = None
    between_days: RestDays | None = None


class LooksSettings(Section):
    """Looks besides insects that a person wants; ``false`` turns one off."""

    stand: bool = True
    herbicide: bool = True
    leaf_disease: bool = True
    fungicide: bool = True
    tissue: bool = True
    nematodes: bool = True
    irrigation: bool = True
    harvest_aid: bool = True
    frost: bool = True
    stem_borer: bool = True
    harvest: bool = True

    @property
    def off(self) -> frozenset[str]:
        """Those that are turned off."""
        return frozenset(name for name in type(self).model_fields if not getattr(self, name))


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
    "hours.minutes_per_set": f"minutes of 25 sweeps, {SHORTEST_SET_MIN} to {LONGEST_SET_MIN}",
    "hours.minutes_per_field": f"minutes besides the sets and the walk, 0 to {MOST_FIELD_MIN}",
    "driving": "a [driving] section",
    "driving.speed_mph": f"miles an hour from {SLOWEST_MPH} to {FASTEST_MPH}",
    "driving.speed_kmh": f"kilometres an hour from {SLOWEST_KMH} to {FASTEST_KMH}",
    "driving.road_factor": f"a number from {STRAIGHT} to {MOST_WINDING}, such as 1.3",
    "money": "a [money] section",
    "money.bean_price": f"dollars a bushel from 0 to {HIGHEST_PRICE:,}",
    "money.control_cost": f"dollars an acre from 0 to {HIGHEST_CONTROL:,}",
    "money.expected_yield": f"bushels an acre from 0 to {HIGHEST_YIELD}",
    "money.per_mile": f"dollars a mile from 0 to {HIGHEST_DRIVE}",
    "money.per_km": f"dollars a kilometre from 0 to {HIGHEST_DRIVE}",
    "money.per_hour": f"dollars an hour from 0 to {HIGHEST_HOUR:,}",
    "visits": "a [visits] section",
    "visits.longest_gap_critical_days": ACCEPTED_GAP,
    "visits.longest_gap_days": ACCEPTED_GAP,
    "looks": "a [looks] section",
    **{f"looks.{name}": "true or false" for name in LooksSettings.model_fields},
    "visits.between_days": f"whole days from {SHORTEST_REST_DAYS} to {LONGEST_REST_DAYS}",
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


MOST_SCOUTS = 50
SHORTEST_DAY_S = HOUR_S
_EITHER = (
    ("driving", "the speed", "speed_mph", "speed_kmh"),
    ("money", "the cost of driving", "per_mile", "per_km"),
)


def home_problems(toml: TomlFile, *, limits: PlaceLimits) -> Iterator[Problem]:
    """Where home and the homes of scouts lie, when both their numbers are numbers."""
    homes: list[tuple[KeyPlace, Any]] = [((HOME,), toml.data.get(HOME))]
    homes += [(("scouts", i, HOME), scout.get(HOME)) for i, scout in _scouts(toml)]
    for key, home in homes:
        if not isinstance(home, dict):
            continue
        latitude, longitude = _finite(home.get("latitude")), _finite(home.get("longitude"))
        if latitude is None or longitude is None:
            continue
        for fault in place_faults(latitude, longitude, limits=limits):
            found = as_typed(home[fault.column])
            yield toml.fault(
                (*key, fault.column), fault.message, found=found, accepted=fault.accepted
            )


def work_problems(toml: TomlFile) -> Iterator[Problem]:
    """What is said twice in two units, and scouts that cannot be told apart."""
    for section, what, one, other in _EITHER:
        written = _section(toml, section)
        if one in written and other in written:
            message = f"{what} is given twice, as {one} and as {other}"
            found, step = as_typed(written[other]), "keep one of the two"
            yield toml.fault((section, other), message, found=found, next_step=step)
    scouts = list(_scouts(toml))
    if len(scouts) > MOST_SCOUTS:
        message = f"{len(scouts)} scouts are too many"
        yield toml.fault(("scouts",), message, accepted=f"{MOST_SCOUTS} at most")
    seen: dict[str, int | None] = {}
    for i, name in _names(toml):
        key = ("scouts", i, "name")
        if folded(name) == HOME:
            message = f'"{HOME}" stands for the home base in tables of travel'
            yield toml.fault(key, message, found=name, next_step="give this scout another name")
        elif folded(name) in seen:
            message = f"the scout on line {seen[folded(name)]} has this name too"
            yield toml.fault(key, message, found=name, next_step="give this scout another name")
        seen.setdefault(folded(name), toml.line_of(tuple(map(str, key))))


def named_like_fields(toml: TomlFile, field_ids: Collection[str]) -> Iterator[Problem]:
    """Scouts that bear the name of a field, which a table of travel could not tell apart."""
    fields = {folded(field_id) for field_id in field_ids}
    for i, name in _names(toml):
        if folded(name) in fields:
            message = "a field in fields.csv has this name too"
            step = "give this scout another name"
            yield toml.fault(("scouts", i, "name"), message, found=name, next_step=step)


def hours_problems(toml: TomlFile, hours: Hours) -> Iterator[Problem]:
    """Days of work that end before they start, and lunch outside them.

    Parameters
    ----------
    hours: what holds until season.toml says otherwise.
    """
    usual = _Day.of(hours).changed(_section(toml, "hours"))
    yield from usual.faults(toml, ("hours",))
    for i, scout in _scouts(toml):
        yield from usual.changed(scout).faults(toml, ("scouts", i))


@dataclass(frozen=True, slots=True)
class _Day:
    """Hours of a day, in seconds after midnight; ``None`` for what cannot be read.

    ``written`` is the section they are from, without what it is laid over.
    """

    starts: int | None
    ends: int | None
    lunch: int | None
    length: int | None
    written: Collection[str] = ()

    @classmethod
    def of(cls, hours: Hours) -> _Day:
        starts, ends = int(hours.starts) * MINUTE_S, int(hours.ends) * MINUTE_S
        lunch, length = int(hours.lunch) * MINUTE_S, int(hours.lunch_length) * MINUTE_S
        return cls(starts, ends, lunch, length)

    def changed(self, section: dict[str, Any]) -> _Day:
        """These hours with those of a section laid over them."""

        def time(key: str, otherwise: int | None) -> int | None:
            return _seconds(section[key]) if key in section else otherwise

        length = self.length
        if "lunch_min" in section:
            minutes = section["lunch_min"]
            length = minutes * MINUTE_S if type(minutes) is int and minutes >= 0 else None
        starts, ends = time("starts", self.starts), time("ends", self.ends)
        return _Day(starts, ends, time("lunch", self.lunch), length, section.keys())

    def faults(self, toml: TomlFile, section: KeyPlace) -> Iterator[Problem]:
        """What cannot be, at the setting of the section that makes it so."""
        starts, ends = self.starts, self.ends
        if starts is None or ends is None:
            return
        keys = ("ends", "starts", "lunch_min")
        at = next((key for key in keys if key in self.written), None)
        if ends - starts < SHORTEST_DAY_S:
            if at in ("ends", "starts"):
                message = f"this day starts at {said_time(starts)} and ends at {said_time(ends)}"
                accepted = "an end at least an hour after the start"
                yield toml.fault((*section, at), message, accepted=accepted)
            return
        if self.lunch is None or not self.length:
            return
        lunch_ends = self.lunch + self.length
        if starts <= self.lunch and lunch_ends <= ends:
            if at is not None and ends - starts - self.length < SHORTEST_DAY_S:
                message = f"lunch of {self.length // MINUTE_S} minutes leaves no hour for work"
                accepted = "a day with at least an hour besides lunch"
                yield toml.fault((*section, at), message, accepted=accepted)
            return
        # Hours that end before the usual lunch are hours without it; only what was asked for
        # and cannot be had is a fault.
        asked = "lunch" in self.written
        longer = "lunch_min" in self.written and starts <= self.lunch < ends
        if asked or longer:
            length = self.length // MINUTE_S
            message = f"lunch at {said_time(self.lunch)} for {length} minutes is not within the day"
            accepted = f"within {said_time(starts)} to {said_time(ends)}"
            key = "lunch" if asked else "lunch_min"
            step = "write lunch_min = 0 for no lunch"
            yield toml.fault((*section, key), message, accepted=accepted, next_step=step)


def _section(toml: TomlFile, name: str) -> dict[str, Any]:
    section = toml.data.get(name)
    return section if isinstance(section, dict) else {}


def _scouts(toml: TomlFile) -> Iterator[tuple[int, dict[str, Any]]]:
    """The scouts that are sections, with their places among all that is written."""
    scouts = toml.data.get("scouts")
    for i, scout in enumerate(scouts if isinstance(scouts, list) else []):
        if isinstance(scout, dict):
            yield i, scout


def _names(toml: TomlFile) -> Iterator[tuple[int, str]]:
    """The names of scouts that say anything."""
    for i, scout in _scouts(toml):
        name = scout.get("name")
        if isinstance(name, str) and folded(name):
            yield i, name


def _is_number(value: object) -> TypeGuard[int | float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _finite(value: object) -> float | None:
    """A finite number as it is; None for all the model refuses by itself."""
    if not _is_number(value):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _seconds(value: object) -> int | None:
    """A time of day; None for all the model refuses by itself."""
    if not isinstance(value, str):
        return None
    try:
        return parse_time(value)
    except ValueError:
        return None
