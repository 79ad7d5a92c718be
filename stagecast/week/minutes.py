"""Minutes in a field: as usual, as season.toml says, or as this season's timed visits have it."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.season.log.entries import LoggedVisit, minutes_between
from stagecast.season.settings.workday import driving_rules
from stagecast.season.tables.fields import ACRES_PER_HECTARE
from stagecast.week.route.problem import IntArray
from stagecast.week.route.roads import RoadPlace, roads_between

HECTARES_PER_KM2 = 100
MINUTES_PER_HOUR = 60


@dataclass(frozen=True, slots=True)
class Timed:
    """Medians over timed visits: the minutes they took, and those that such visits usually take."""

    visits: int
    own_min: float
    usual_min: float


@dataclass(frozen=True, slots=True)
class Pace:
    """How long the visits of a season take.

    ``fixed`` and ``per_set`` are minutes besides the sets, and of a usual set of sweeps. All of a
    visit is taken ``share`` times, which ``timed`` visits have taught; None where none did.
    """

    fixed: float
    per_set: float
    share: float = 1.0
    timed: Timed | None = None


def usual_pace(knowledge: Knowledge) -> Pace:
    """The pace until a season says or shows another."""
    rule = knowledge.workday.field
    return Pace(int(rule.fixed), int(rule.per_set))


def pace_of(loaded: LoadedSeason) -> Pace:
    """The pace of a season's scouts: what season.toml says, else what timed visits teach.

    Notes
    -----
    A visit takes from arriving at it to arriving at the scout's next field of the day, less the
    drive there: parking, the walk back and notes are in it, which no tap on a phone tells. Its
    sets must be of sweeps alone; after a pause it tells nothing. The median of how often the usual
    minutes such visits took holds for every visit, once there are enough of them; what is beyond
    the limits of ``workday.toml`` is a slip of the clock.
    """
    hours, rule = loaded.season.settings.hours, loaded.knowledge.workday.timed
    usual = usual_pace(loaded.knowledge)
    fixed, per_set = hours.minutes_per_field, hours.minutes_per_set
    if fixed is not None or per_set is not None:
        return Pace(
            usual.fixed if fixed is None else fixed, usual.per_set if per_set is None else per_set
        )
    timed = [
        (own, took)
        for own, took in _timed(loaded, usual)
        if float(rule.least_share) <= own / took <= float(rule.most_share)
    ]
    if len(timed) < int(rule.fewest):
        return usual
    share = median(own / took for own, took in timed)
    found = Timed(len(timed), median(own for own, _ in timed), median(took for _, took in timed))
    return Pace(usual.fixed, usual.per_set, share, found)


def _timed(loaded: LoadedSeason, usual: Pace) -> Iterator[tuple[int, float]]:
    """Of every timed visit the minutes that it took, and those that it usually takes."""
    fields = {field.field_id: field for field in loaded.season.fields}
    days: dict[tuple[dt.date, str], list[LoggedVisit]] = defaultdict(list)
    for visit in loaded.season.log.visits:
        if visit.arrived is not None and visit.date <= loaded.as_of and visit.field_id in fields:
            days[visit.date, visit.who.casefold()].append(visit)
    if not days:
        return
    drives_min, place = _drives(loaded), {name: row for row, name in enumerate(fields)}
    for visits in days.values():
        visits.sort(key=lambda one: one.arrived or dt.time())
        for visit, after in pairwise(visits):
            field = fields[visit.field_id]
            drive_min = int(drives_min[place[visit.field_id], place[after.field_id]])
            took = _minutes_until(after, visit, drive_min)
            pause = 0 if visit.minutes is None or took is None else took - visit.minutes
            if took is None or pause > int(loaded.knowledge.workday.timed.longest_pause):
                continue
            if visit.stand is None and visit.sets and all(s.unit == "sweeps" for s in visit.sets):
                yield took, _usual_minutes(visit, field.area_acres, loaded, usual)


def _minutes_until(after: LoggedVisit, visit: LoggedVisit, drive_min: int) -> int | None:
    """From arriving at a field to leaving it in time for the next; None at the same field."""
    if visit.field_id == after.field_id or visit.arrived is None or after.arrived is None:
        return None
    return minutes_between(visit.arrived, after.arrived) - drive_min


def _drives(loaded: LoadedSeason) -> IntArray:
    """Minutes from every field of the season to every other; shape (fields, fields)."""
    fields = loaded.season.fields
    places = [RoadPlace((one.field_id,), one.latitude, one.longitude) for one in fields]
    rules = driving_rules(loaded.season.settings, loaded.knowledge)
    return roads_between(places, loaded.season.legs, rules).minutes


def _usual_minutes(visit: LoggedVisit, acres: float, loaded: LoadedSeason, usual: Pace) -> float:
    sweeps = sum(one.size for one in visit.sets) / int(loaded.knowledge.sweeps.usual_set)
    return usual.fixed + usual.per_set * sweeps + walk_minutes(acres, loaded.knowledge)


def field_minutes(
    area_acres: float, sampling_id: str, sets: int, knowledge: Knowledge, pace: Pace
) -> int:
    """Whole minutes in a field of an area above 0, rounded up.

    ``share x (fixed + sets x minutes of one + walk)``. A set of sweeps takes ``per_set`` for the
    usual set, in proportion for others; anything else takes ``per_place``.
    """
    size = sweeps_in_set(sampling_id, knowledge)
    each = float(int(knowledge.workday.field.per_place))
    if size is not None:
        each = pace.per_set * size / int(knowledge.sweeps.usual_set)
    minutes = pace.fixed + sets * each + walk_minutes(area_acres, knowledge)
    # Rounding in the last place must not add a minute.
    return math.ceil(pace.share * minutes - 1e-9)


def walk_minutes(area_acres: float, knowledge: Knowledge) -> float:
    """Minutes in and back: two sides of a square of the field's area, ``most_walk`` at most."""
    rule = knowledge.workday.field
    km = 2 * math.sqrt(area_acres / ACRES_PER_HECTARE / HECTARES_PER_KM2)
    return min(MINUTES_PER_HOUR * km / float(rule.walk_speed), int(rule.most_walk))


def sweeps_in_set(sampling_id: str, knowledge: Knowledge) -> int | None:
    """Sweeps in a set of a method; None for methods without sets of sweeps."""
    method = knowledge.sampling.get(sampling_id)
    return None if method is None or method.unit != "sweeps" else method.size
