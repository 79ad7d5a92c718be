"""A route as days, hours and stops; why a due field is left out; and days that are hot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.base.dates import DAY_S, MINUTE_S
from stagecast.knowledge import Knowledge
from stagecast.season.tables.fields import Field
from stagecast.visits.look_for import LookFor
from stagecast.visits.season_day import FieldDay
from stagecast.weather.seasons import SeasonWeather
from stagecast.week.fields import Closed, TooSoon, sets_to_take, work_on
from stagecast.week.problem import Week, shifts_off, ways_of
from stagecast.week.route.clock import day_times
from stagecast.week.route.insertion import CANNOT, Ground
from stagecast.week.route.problem import ANY_NUMBER, IntArray, Route, RouteProblem, Stop, schedule
from stagecast.week.route.roads import CENTS
from stagecast.week.waiting import WaitingCost

MOST_TRIED = 20
"""For how many fields that must be walked and do not fit room is tried."""

MORE_MIN, MOST_MORE_MIN = 30, 180
"""Minutes by which a day is tried to end later, and the most of them."""


@dataclass(frozen=True, slots=True)
class HotDay:
    """A day that may be hot.

    ``high_c`` is the middle of the possible highs; ``chance`` that ``limit_c`` is reached, 1 or 0
    where a forecast stands for the day.
    """

    high_c: float
    chance: float
    limit_c: float
    caution: str


@dataclass(frozen=True, slots=True, eq=False)
class WeekStop:
    """A field to walk.

    Times are local, to the minute. ``look_for`` is for that day, the most pressing first;
    ``sampling`` is the method's id, "" where no window is open; ``sets`` are sets, places or
    plants; the drive is that from the stop before, or from home.
    """

    plan: FieldDay
    arrive: dt.datetime
    leave: dt.datetime
    look_for: tuple[LookFor, ...]
    sampling: str
    sets: int
    drive_km: float
    drive_min: float
    waiting: WaitingCost

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id

    @property
    def days_late(self) -> int:
        """Days after the due date on which it is walked; negative before it, 0 without one."""
        return self.plan.days_late(self.arrive.date())

    @property
    def efficacy_check(self) -> bool:
        """Whether a treatment is to be looked at."""
        return self.plan.visit.not_before is not None


@dataclass(frozen=True, slots=True, eq=False)
class ScoutDay:
    """One scout's day; without stops where there is nothing to walk.

    ``scout`` is "" for the one scout of a season that names none; ``home`` is latitude and
    longitude; the drive includes the way home; ``lunch`` is None where the day is over before it
    or begins after it; ``starts_at`` is the field where the day starts, None for home.
    """

    date: dt.date
    scout: str
    home: tuple[float, float]
    leave_home: dt.datetime | None
    back_home: dt.datetime | None
    stops: tuple[WeekStop, ...]
    drive_km: float
    drive_min: float
    work_min: float
    lunch: tuple[dt.datetime, dt.datetime] | None
    hot: HotDay | None
    starts_at: Field | None = None

    @property
    def start(self) -> tuple[float, float]:
        """Latitude and longitude where it starts."""
        at = self.starts_at
        return self.home if at is None else (at.latitude, at.longitude)


@dataclass(frozen=True, slots=True)
class NotWorthDrive:
    """Dollars of driving that a field adds, and dollars that being there saves."""

    drive: float
    saved: float


@dataclass(frozen=True, slots=True)
class NoHours:
    """Fields that lose more by waiting take the hours of all days up to this one."""

    up_to: dt.date


@dataclass(frozen=True, slots=True)
class TooLong:
    """Seconds of a visit with the drive there and back, and of work on the longest day.

    Of several scouts, those of the one who comes nearest to it.
    """

    need_s: int
    longest_s: int


@dataclass(frozen=True, slots=True)
class MustNeeds:
    """A field that must be walked does not fit beside the others that must.

    ``more_min`` minutes more on ``day`` were found to make room.
    """

    more_min: int
    day: dt.date


@dataclass(frozen=True, slots=True)
class DayOff:
    """Of a field that must be walked: it was found to fit on a day off of a scout."""

    day: dt.date
    scout: str


@dataclass(frozen=True, slots=True, eq=False)
class FieldLate:
    """A field that must be walked and is, after the last day on which it may be unseen.

    ``room`` is what was found to make room by that day; None where nothing did.
    """

    plan: FieldDay
    limit: dt.date
    walked: dt.date
    room: MustNeeds | DayOff | Literal["days full"] | None

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id


LeftOutWhy = (
    Closed | NotWorthDrive | NoHours | TooLong | MustNeeds | DayOff
    | Literal[
        "nobody works", "never open at work", "musts need more time", "too many musts", "days full"
    ]
)  # fmt: skip
"""Why a due field is not walked."""


@dataclass(frozen=True, slots=True, eq=False)
class FieldLeftOut:
    """A field that is due and not walked."""

    plan: FieldDay
    why: LeftOutWhy
    waiting: WaitingCost

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id


def scout_days(week: Week, route: Route) -> tuple[ScoutDay, ...]:
    """Every shift as a scout's day, by date and in the order of the scouts."""
    return tuple(scout_day(week, shift, order) for shift, order in enumerate(route.orders))


def scout_day(week: Week, index: int, order: Sequence[int]) -> ScoutDay:
    """One shift as a scout's day, its fields in an order that can be driven."""
    shift, scout = week.problem.shifts[index], week.crew[week.scouts[index]]
    date = week.dates[shift.day]
    made = schedule(week.problem, index, order)
    assert made is not None, "solvers only return routes that can be driven"
    ways = ways_of(week, shift, order)
    times = day_times(
        [(stop.begins_s - shift.day * DAY_S, stop.ends_s - shift.day * DAY_S) for stop in made],
        [int(week.problem.drive_s[way]) for way in ways],
        lunch_s=scout.lunch_s,
        lunch_length_s=scout.lunch_length_s,
    )
    stops = tuple(
        _stop(week, stop, date, at, way)
        for stop, at, way in zip(made, times.stops, ways, strict=False)
    )
    lunch = times.lunch
    return ScoutDay(
        date=date,
        scout=scout.name,
        home=(scout.latitude, scout.longitude),
        leave_home=_at(date, times.leaves_s) if made else None,
        back_home=_at(date, times.backs_s) if made else None,
        stops=stops,
        drive_km=float(sum(week.roads.km[way] for way in ways)),
        drive_min=float(sum(week.roads.minutes[way] for way in ways)),
        work_min=float(sum(week.fields[stop.site].minutes for stop in made)),
        lunch=None if lunch is None else (_at(date, lunch[0]), _at(date, lunch[1])),
        hot=_hottest(week, stops, date),
        starts_at=week.starts.get(shift.start),
    )


def _stop(
    week: Week, stop: Stop, date: dt.date, at: tuple[int, int], way: tuple[int, int]
) -> WeekStop:
    field = week.fields[stop.site]
    look_for, sampling = work_on(field.plan, date, week.season.loaded)
    method = sampling or field.sampling
    return WeekStop(
        plan=field.plan,
        arrive=_at(date, at[0]),
        leave=_at(date, at[1]),
        look_for=look_for,
        sampling=method,
        sets=sets_to_take(method, week.season.knowledge),
        drive_km=float(week.roads.km[way]),
        drive_min=float(week.roads.minutes[way]),
        waiting=week.waiting[stop.site],
    )


def _at(date: dt.date, seconds: int) -> dt.datetime:
    return dt.datetime.combine(date, dt.time()) + dt.timedelta(seconds=seconds)


def _hottest(week: Week, stops: Sequence[WeekStop], date: dt.date) -> HotDay | None:
    """The hottest place of a day, by the stations of its fields."""
    seasons = {
        stop.plan.forecast.weather.season.station.station: stop.plan.forecast.weather.season
        for stop in stops
    }
    found = [hot_day(season, date, week.season.loaded.knowledge) for season in seasons.values()]
    hot = [one for one in found if one is not None]
    return max(hot, key=lambda one: one.high_c, default=None)


def hot_day(weather: SeasonWeather, day: dt.date, knowledge: Knowledge) -> HotDay | None:
    """A day that is as likely hot as ``workday.toml`` asks for; None for any other.

    Missing temperatures are neither hot nor cool.

    Notes
    -----
    The chance is the share of possible seasons whose high reaches the limit. A measured day is
    alike in all of them and has a chance of 1 or 0; a forecast one has that of the forecast. The
    limit is one of the heat index; the air's temperature alone stands for it here, and humid air
    feels hotter.

    References
    ----------
    US Occupational Safety and Health Administration, Using the heat index: a guide for employers.
    """
    index = weather.span.index(day)
    if not 0 <= index < weather.span.days:
        return None
    highs = weather.tmax_c[:, index]
    known = highs[~np.isnan(highs)]
    if not known.size:
        return None
    rule = knowledge.workday.heat
    chance = float(np.mean(known >= float(rule.high)))
    if chance < float(rule.chance):
        return None
    return HotDay(float(np.median(known)), chance, float(rule.high), rule.caution.text)


def left_out(week: Week, route: Route, room: Room) -> tuple[FieldLeftOut, ...]:
    """Fields that are due and not walked; first those that must be, then those that lose most.

    For the first :data:`MOST_TRIED` that must be walked room is tried; where so many do not fit,
    no longer day makes room for all.
    """
    sites = [
        site
        for site, field in enumerate(week.fields)
        if site not in route.walked and (field.must or not _due_after(week, field.plan))
    ]
    sites.sort(key=lambda site: -week.waiting[site].left_out)
    must = {field.field_id for field in week.fields if field.must}
    tried = [site for site in sites if week.fields[site].must][:MOST_TRIED]
    places = _places(week.problem, route, sites)
    found = [
        FieldLeftOut(
            week.fields[site].plan,
            _why(week, route, site, places, room if site in tried else None),
            week.waiting[site],
        )
        for site in sites
    ]
    return tuple(
        sorted(
            found,
            key=lambda one: (one.field_id not in must, -one.waiting.left_out, one.field_id),
        )
    )


def _due_after(week: Week, plan: FieldDay) -> bool:
    """Whether the working day on which a field is due comes after the route's last day."""
    return plan.due_on is not None and plan.due_on > week.dates[-1]


def _why(week: Week, route: Route, site: int, places: _Places, room: Room | None) -> LeftOutWhy:
    """Why a field is not walked: it cannot be, it does not pay, or others need the hours more."""
    field, problem = week.fields[site], week.problem
    if not problem.shifts:
        return "nobody works"
    if not field.spans:
        assert field.closed is not None, "something keeps one out of a field that is never open"
        return field.closed
    alone = places.alone[site]
    if not alone:
        off = _day_off(week, site, len(week.dates) - 1) if field.must else None
        if off is not None:
            return off
        if field.first > week.dates[problem.shifts[-1].day]:
            return TooSoon(field.first, ends="work")
        return field.closed or never_fits(problem, site)
    if field.must:
        found = room and room.by(site, len(week.dates) - 1)
        return found or ("musts need more time" if room else "too many musts")
    drive, saved = places.fits.get(site) or places.cheapest[site]
    if site in places.fits or saved <= drive:
        return NotWorthDrive(drive / CENTS, saved / CENTS)
    if all(len(route.orders[i]) >= problem.shifts[i].most_stops for i in alone):
        return "days full"
    return NoHours(week.dates[-1])


@dataclass(frozen=True, slots=True)
class _Places:
    """Of fields left out the shifts in which each could be walked alone, and its best places.

    ``fits`` is the best place in the finished route, of those that have one: driving added and what
    being there saves, in cents; ``cheapest`` the same whatever hours the other fields have there.
    """

    alone: dict[int, list[int]]
    fits: dict[int, tuple[int, int]]
    cheapest: dict[int, tuple[int, int]]


def _places(problem: RouteProblem, route: Route, sites: Sequence[int]) -> _Places:
    ground, left = Ground(problem), np.array(sites, dtype=np.int64)
    found = _Places({site: [] for site in sites}, {}, {})
    for index, (shift, order) in enumerate(zip(problem.shifts, route.orders, strict=True)):
        alone = left[(ground.gains(index, (), left) > CANNOT).any(axis=0)]
        for site in alone.tolist():
            found.alone[site].append(index)
        saved = np.array(
            [problem.sites[i].skip_cents - problem.sites[i].wait_cents[shift.day] for i in alone],
            dtype=np.int64,
        )
        added = ground.added_cents(index, order, alone)
        _better(found.cheapest, alone, added, saved, np.ones_like(added, dtype=np.bool_))
        _better(found.fits, alone, added, saved, ground.gains(index, order, alone) > CANNOT)
    return found


def _better(
    known: dict[int, tuple[int, int]],
    sites: IntArray,
    added: IntArray,
    saved: IntArray,
    can: NDArray[np.bool_],
) -> None:
    """Keep for each site the place that gains most; of several the one with the longer drive."""
    for column, site in enumerate(sites.tolist()):
        places = added[can[:, column], column]
        if places.size:
            offer = int(places.min()), int(saved[column])
            known[site] = max(known.get(site, offer), offer, key=lambda o: (o[1] - o[0], o[0]))


def fields_late(week: Week, route: Route, room: Room) -> tuple[FieldLate, ...]:
    """Fields walked after the last day on which they may be unseen, by the day of the walk.

    Those that could be walked on no day of work before are not among them.
    """
    problem, found = week.problem, []
    for shift, order in zip(problem.shifts, route.orders, strict=True):
        for site in order:
            field, here = week.fields[site], problem.sites[site]
            limit, last_day = field.plan.visit.limit, here.last_day
            late = here.days_late(shift.day) and week.dates[shift.day] > (limit or dt.date.max)
            if limit is None or last_day is None or not late:
                continue
            sooner = [
                one.day
                for index, one in enumerate(problem.shifts)
                if one.day < shift.day and schedule(problem, index, [site]) is not None
            ]
            if sooner:
                by = room.by(site, max(sooner[0], last_day))
                found.append(FieldLate(field.plan, limit, week.dates[shift.day], by))
    return tuple(found)


class Room:
    """What is found to make room in a route for fields that it walks too late, or not at all.

    Days made longer are tried for all fields together, and only once.
    """

    def __init__(self, week: Week, route: Route) -> None:
        self._week, self._route = week, route
        self._fits: dict[int, NDArray[np.bool_]] = {}

    def by(self, site: int, last_day: int) -> MustNeeds | DayOff | Literal["days full"] | None:
        """What makes room for a site by a day of the route, before which it is not walked.

        The fewest minutes more on a day, each place in it tried with its end later by half an hour
        at a time; where none helps, a day off of a scout.
        """
        week = self._week
        for more_min in range(0, MOST_MORE_MIN + 1, MORE_MIN):
            for shift, fits in zip(week.problem.shifts, self._longer(more_min), strict=True):
                if fits[site] and shift.day <= last_day:
                    return MustNeeds(more_min, week.dates[shift.day]) if more_min else "days full"
        return _day_off(week, site, last_day)

    def _longer(self, more_min: int) -> NDArray[np.bool_]:
        """Whether sites fit where shifts end later, with any number of stops.

        Shape (shifts, sites).
        """
        if more_min not in self._fits:
            problem, orders = self._week.problem, self._route.orders
            longer = tuple(
                replace(shift, ends_s=shift.ends_s + MINUTE_S * more_min, most_stops=ANY_NUMBER)
                for shift in problem.shifts
            )
            ground = Ground(replace(problem, shifts=longer))
            sites = np.arange(len(problem.sites))
            gains = (ground.gains(index, order, sites) for index, order in enumerate(orders))
            self._fits[more_min] = np.array([(gain > CANNOT).any(axis=0) for gain in gains])
        return self._fits[more_min]


def _day_off(week: Week, site: int, last_day: int) -> DayOff | None:
    """A day off of a scout, by a day of the route, on which a field was found to fit."""
    for shift in shifts_off(week):
        alone = replace(week.problem, shifts=(shift,))
        if shift.day <= last_day and schedule(alone, 0, [site]) is not None:
            return DayOff(week.dates[shift.day], shift.scout)
    return None


def never_fits(problem: RouteProblem, site: int) -> TooLong | Literal["never open at work"]:
    """Why a field that is open at times fits into no shift even alone."""
    field, drive_s = problem.sites[site], problem.drive_s
    days = [
        TooLong(
            field.service_s
            + int(drive_s[shift.home, field.place] + drive_s[field.place, shift.home]),
            shift.ends_s - shift.starts_s,
        )
        for shift in problem.shifts
    ]
    nearest = min(days, key=lambda day: day.need_s - day.longest_s)
    return nearest if nearest.need_s > nearest.longest_s else "never open at work"
