"""The week as a routing problem, with what its numbers stand for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from stagecast.base.dates import DAY_S, MINUTE_S
from stagecast.base.steps import step
from stagecast.forecast.load import LoadedSeason
from stagecast.season.locks import Lock
from stagecast.season.settings.work import WEEKDAYS
from stagecast.season.settings.workday import Money, Scout, crew, driving_rules, money
from stagecast.season.tables.blocked import Blocked
from stagecast.season.tables.fields import Field
from stagecast.visits.reentry import ONE_DAY
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.fields import WeekField, week_fields
from stagecast.week.route.clock import WorkingClock
from stagecast.week.route.problem import (
    ANY_NUMBER,
    IntArray,
    Route,
    RouteField,
    RouteProblem,
    Shift,
    Span,
    late_cents,
)
from stagecast.week.route.roads import CENTS, RoadPlace, Roads, roads_between
from stagecast.week.waiting import WaitingCost, waiting_cost

HOME = "home"

Whose = str | None
"""Name of the one scout of whom something is said; None where it is said of all."""


@dataclass(frozen=True, slots=True)
class WeekRequest:
    """What a person asks of the week.

    Days are in a row, working or not; on those that are ``off`` one scout does not work, or nobody.
    Fields in ``done`` were walked already, though the log does not say so yet; those in ``must``
    have to be walked. The first day starts no sooner than ``from_s``, in seconds after midnight,
    and then ``at`` a field; what is said of one scout stands over what is said of all. The same
    ``seed`` gives the same route; ``beside`` asks what plain rules would come to.
    """

    first_day: dt.date
    days: int = 7
    done: tuple[str, ...] = ()
    off: tuple[tuple[Whose, dt.date], ...] = ()
    must: tuple[str, ...] = ()
    from_s: tuple[tuple[Whose, int], ...] = ()
    at: tuple[tuple[Whose, str], ...] = ()
    seed: int = 1
    beside: bool = False

    @property
    def dates(self) -> tuple[dt.date, ...]:
        """All days, in a row."""
        return tuple(self.first_day + ONE_DAY * i for i in range(self.days))

    def is_off(self, day: dt.date, scout: str) -> bool:
        """Whether a scout is said not to work on a day."""
        return (None, day) in self.off or (scout, day) in self.off


@dataclass(frozen=True, slots=True, eq=False)
class Week:
    """The week as a problem, with what its numbers stand for.

    ``scouts`` holds the scout's place in the crew for each shift; ``fields`` and ``waiting`` are
    those of each site of the problem; places of ``roads`` are the scouts' homes, then the fields.
    Some start the first day at a field, by its place. ``held`` are the fields that stay where a
    person put them, and ``void`` the locks that cannot be kept; ``open_sites`` are the sites as
    they were without locks.
    """

    season: SeasonDay
    dates: tuple[dt.date, ...]
    crew: tuple[Scout, ...]
    scouts: tuple[int, ...]
    fields: tuple[WeekField, ...]
    waiting: tuple[WaitingCost, ...]
    roads: Roads
    problem: RouteProblem
    starts: Mapping[int, Field]
    held: Mapping[str, Lock]
    void: Mapping[str, Lock]
    open_sites: tuple[RouteField, ...]


def week_problem(
    season: SeasonDay,
    asked: WeekRequest,
    *,
    waiting: Week | None = None,
    blocked: tuple[Blocked, ...] | None = None,
) -> Week:
    """The week as a routing problem.

    The costs of waiting of another week of the same season and days may be taken over; ``blocked``
    stands in place of the season's own.
    """
    loaded = season.loaded
    if blocked is not None:
        loaded = replace(loaded, season=replace(loaded.season, blocked=blocked))
    settings, knowledge = loaded.season.settings, loaded.knowledge
    everyone = crew(settings, knowledge)
    clocks = [WorkingClock(scout.lunch_s, scout.lunch_length_s) for scout in everyone]
    locks = locks_in_force(season, asked)
    held = {name: lock for name, lock in locks.items() if _has_shift(lock, everyone, asked)}
    fields = week_fields(
        season.fields,
        asked.dates,
        loaded,
        workdays=_workdays(everyone, asked),
        must=frozenset({*asked.must, *held}),
        done=frozenset(asked.done),
        clocks=clocks,
    )
    prices = money(settings, knowledge)
    known = {} if waiting is None else {cost.field_id: cost for cost in waiting.waiting}
    costs = [
        known.get(field.field_id) or _waiting(field.plan, loaded, asked, prices) for field in fields
    ]
    at = dict(asked.at)
    ids = [at.get(scout.name, at.get(None)) for scout in everyone]
    by_id = {one.field_id: one for one in loaded.season.fields}
    first = len(everyone) + len(fields)
    starts = {first + k: by_id[one] for k, one in enumerate(dict.fromkeys(filter(None, ids)))}
    roads = _roads(everyone, fields, loaded, starts.values())
    places = {one.field_id: place for place, one in starts.items()}
    begins_at = [places.get(one or "") for one in ids]
    most_stops = settings.fields_per_day or ANY_NUMBER
    shifts, scouts = _shifts(everyone, clocks, asked, begins_at, roads.drive_s, most_stops)
    sites = [
        _site(field, cost, len(everyone) + index, asked.dates, shifts)
        for index, (field, cost) in enumerate(zip(fields, costs, strict=True))
    ]
    bound = [_bound(site, held.get(site.field_id), asked.dates) for site in sites]
    held = {site.field_id: held[site.field_id] for site in bound if site.scout is not None}
    cents = roads.cents(prices)
    late = late_cents(bound, cents)
    problem = RouteProblem(tuple(bound), shifts, roads.drive_s, cents, late)
    return Week(
        season, asked.dates, everyone, scouts, tuple(fields), tuple(costs), roads, problem, starts,
        held, {name: lock for name, lock in locks.items() if name not in held}, tuple(sites),
    )  # fmt: skip


def locks_in_force(season: SeasonDay, asked: WeekRequest) -> dict[str, Lock]:
    """The locks of these days that have not lapsed; of fields that are done there is none."""
    visits = {plan.field_id: plan.last_visit for plan in season.fields}
    return {
        name: lock
        for name, lock in season.loaded.season.locks.items()
        if name in visits and name not in asked.done and lock.day in asked.dates
        for seen in [visits[name]]
        if lock.holds(season.as_of, None if seen is None else seen.date)
    }


def _has_shift(lock: Lock, everyone: Sequence[Scout], asked: WeekRequest) -> bool:
    return any(one.name == lock.scout and _works(one, lock.day, asked) for one in everyone)


def _bound(site: RouteField, lock: Lock | None, dates: Sequence[dt.date]) -> RouteField:
    """A site that may be walked on the day of its lock alone, by its scout.

    As it was where there is no lock, or one may not enter the field on that day.
    """
    if lock is None:
        return site
    begins = dates.index(lock.day) * DAY_S
    spans = [
        Span(max(span.first_s, begins), min(span.last_s, begins + DAY_S - 1))
        for span in site.spans
        if span.first_s < begins + DAY_S and span.last_s >= begins
    ]
    return replace(site, spans=tuple(spans), scout=lock.scout) if spans else site


def _waiting(
    plan: FieldDay, loaded: LoadedSeason, asked: WeekRequest, prices: Money
) -> WaitingCost:
    later = int(loaded.knowledge.waiting.later.days)
    days = asked.days + later
    step()
    return waiting_cost(plan, loaded, first_day=asked.first_day, days=days, money=prices)


def _site(
    field: WeekField,
    cost: WaitingCost,
    place: int,
    dates: Sequence[dt.date],
    shifts: Sequence[Shift],
) -> RouteField:
    due = field.plan.visit.due
    return RouteField(
        field_id=field.field_id,
        place=place,
        service_s=MINUTE_S * field.minutes,
        spans=field.spans,
        wait_cents=tuple(round(CENTS * cost.until(day)) for day in dates),
        skip_cents=round(CENTS * cost.left_out),
        must=field.must,
        due_day=len(dates) if due is None else (due - dates[0]).days,
        last_day=_last_day(field, dates, shifts),
    )


def _last_day(field: WeekField, dates: Sequence[dt.date], shifts: Sequence[Shift]) -> int | None:
    """The last day up to the limit on which somebody works and the field may be entered.

    Of a field that is due before it is closed, the last such day before that. The limit itself
    where there is none.
    """
    due, limit = field.plan.visit.due, field.plan.visit.limit
    if limit is None:
        return None
    worked: dict[int, bool] = {}
    for shift in shifts:
        enters = any(s.first_s < shift.ends_s and s.last_s >= shift.starts_s for s in field.spans)
        worked[shift.day] = enters or worked.get(shift.day, False)
    last = None
    for day, enters in worked.items():
        if dates[day] > limit:
            break
        if enters:
            last = day
        elif last is not None and due is not None and due < dates[day]:
            break
    return max(0, (limit - dates[0]).days) if last is None else last


def _workdays(everyone: Sequence[Scout], asked: WeekRequest) -> list[dt.date]:
    """Days on which somebody works."""
    return [date for date in asked.dates if any(_works(one, date, asked) for one in everyone)]


def _works(scout: Scout, date: dt.date, asked: WeekRequest) -> bool:
    return WEEKDAYS[date.weekday()] in scout.working_days and not asked.is_off(date, scout.name)


def _shifts(
    everyone: Sequence[Scout],
    clocks: Sequence[WorkingClock],
    asked: WeekRequest,
    begins_at: Sequence[int | None],
    drive_s: IntArray,
    most_stops: int,
) -> tuple[tuple[Shift, ...], tuple[int, ...]]:
    """Who works when: shifts by day, and whose they are.

    Who begins so late and so far off that the hours do not do for the way home has no shift.
    """
    shifts, scouts = [], []
    from_s = dict(asked.from_s)
    for day, date in enumerate(asked.dates):
        for index, (scout, clock) in enumerate(zip(everyone, clocks, strict=True)):
            starts_s = scout.starts_s
            if day == 0:
                starts_s = max(starts_s, from_s.get(scout.name, from_s.get(None, 0)))
            if not _works(scout, date, asked) or starts_s >= scout.ends_s:
                continue
            starts, ends = (day * DAY_S + clock.working(s) for s in (starts_s, scout.ends_s))
            begin = begins_at[index] if day == 0 else None
            shift = Shift(scout.name, day, index, starts, ends, begin, most_stops)
            if starts + int(drive_s[shift.start, shift.home]) <= ends:
                shifts.append(shift)
                scouts.append(index)
    return tuple(shifts), tuple(scouts)


def shifts_off(week: Week) -> Iterator[Shift]:
    """The shifts that scouts would have on their days off in these days."""
    most_stops = week.season.settings.fields_per_day or ANY_NUMBER
    for day, date in enumerate(week.dates):
        for index, scout in enumerate(week.crew):
            if WEEKDAYS[date.weekday()] in scout.working_days:
                continue
            clock = WorkingClock(scout.lunch_s, scout.lunch_length_s)
            starts, ends = (day * DAY_S + clock.working(s) for s in (scout.starts_s, scout.ends_s))
            yield Shift(scout.name, day, index, starts, ends, None, most_stops)


def _roads(
    everyone: Sequence[Scout],
    fields: Sequence[WeekField],
    loaded: LoadedSeason,
    starts: Iterable[Field],
) -> Roads:
    """The roads between homes and fields, and from the fields where somebody stands now."""
    settings, knowledge = loaded.season.settings, loaded.knowledge
    home = (settings.home.latitude, settings.home.longitude)
    places = []
    for scout in everyone:
        at_home = (HOME,) if (scout.latitude, scout.longitude) == home else ()
        own = (scout.name,) if scout.name else ()
        places.append(RoadPlace((*own, *at_home), scout.latitude, scout.longitude))
    for one in [*(field.plan.forecast.field for field in fields), *starts]:
        places.append(RoadPlace((one.field_id,), one.latitude, one.longitude))
    return roads_between(places, loaded.season.legs, driving_rules(settings, knowledge))


def ways_driven(week: Week, route: Route) -> list[tuple[int, int]]:
    """All ways of a route, from place to place."""
    shifts = zip(week.problem.shifts, route.orders, strict=True)
    return [way for shift, order in shifts for way in ways_of(week, shift, order)]


def ways_of(week: Week, shift: Shift, order: Sequence[int]) -> list[tuple[int, int]]:
    """The ways driven on a shift, from place to place; none without a stop."""
    if not order:
        return []
    places = [shift.start, *(week.problem.sites[i].place for i in order), shift.home]
    return list(pairwise(places))
