"""The week's route of a season folder: read, worked out, and held against plain rules."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from stagecast.counts.assessment import PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge.crop import stage_place
from stagecast.season.locks import Lock
from stagecast.season.tables.blocked import Blocked
from stagecast.visits.look_for import LookFor
from stagecast.visits.pressure import Density
from stagecast.visits.reentry import NoEntry
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.asked import checked
from stagecast.week.changes import Moved, moves
from stagecast.week.days import (
    FieldLate,
    FieldLeftOut,
    LeftOutWhy,
    Room,
    ScoutDay,
    WeekStop,
    fields_late,
    left_out,
    scout_days,
)
from stagecast.week.fields import closed_on, first_open_day, work_on
from stagecast.week.hold import held_route
from stagecast.week.looks import Seen, field_looks
from stagecast.week.problem import Week, WeekRequest, ways_driven, week_problem
from stagecast.week.route.insertion import due_first, nearest_first
from stagecast.week.route.problem import Route, cost
from stagecast.week.route.roads import CENTS
from stagecast.week.route.solve import Solver, best_route

OtherDayWhy = (
    NoEntry
    | Blocked
    | Literal["overdue", "no work", "on the way", "no drive", "others first", "put there"]
)
"""Why a field is walked on another day than the one on which it is due.

Nobody may enter it then, it was due before the route begins, nobody works then, it lies on the way
on a day before, nobody drives then since no field is worth it, others lose more by waiting, or a
person put it on that day.
"""

Rule = Literal["this route", "nearest field first", "due date first"]


@dataclass(frozen=True, slots=True, eq=False)
class Above:
    """A pest counted at its threshold or over it, not treated since: it waits for a decision."""

    plan: FieldDay
    pest: str
    name: str
    seen: Seen

    @property
    def assessed(self) -> PestAssessment | DefoliationAssessment:
        """What was counted, or leaf loss, as it was judged on its day."""
        what, counted = self.seen.what, self.plan.assess_day(self.seen.date)
        if isinstance(what, DefoliationAssessment):
            return what
        assert isinstance(what, Density), "a word for the pressure is over nothing"
        assert counted is not None, "a density is counted on its day"
        of_pest = (line for line in counted.pests if line.pest == what.pest.id)
        return next(line for line in of_pest if line.mean_per_set == what.mean)


@dataclass(frozen=True, slots=True)
class RuleResult:
    """What a way of making the route comes to, in dollars.

    ``waiting_cost`` is that of fields walked, until they are, and of those left out; ``missed``
    counts fields that must be walked and are not.
    """

    rule: Rule
    walked: int
    drive_km: float
    drive_cost: float
    waiting_cost: float
    missed: int = 0


@dataclass(frozen=True, eq=False)
class WeekRoute:
    """The week.

    Days are working days only, by date, then in the order of the scouts; those that lose most come
    first among ``left_out``; ``done`` was said to be walked already; ``moved`` is against the same
    week without what was said to have happened since. ``ways`` are drives, some of them estimated.
    ``beside`` is empty unless asked for; ``above`` is of all fields, due or not. ``late`` are
    fields walked after the last day on which they may be unseen. ``made_of`` is the problem and its
    route; None outside the season.
    """

    season: SeasonDay
    first_day: dt.date
    last_day: dt.date
    days: tuple[ScoutDay, ...]
    left_out: tuple[FieldLeftOut, ...]
    done: tuple[str, ...]
    moved: tuple[Moved, ...]
    ways: int
    ways_estimated: int
    solver: Solver
    beside: tuple[RuleResult, ...] = ()
    above: tuple[Above, ...] = ()
    late: tuple[FieldLate, ...] = ()
    made_of: tuple[Week, Route] | None = None

    @cached_property
    def stops(self) -> tuple[WeekStop, ...]:
        """All stops, by day and scout."""
        return tuple(stop for day in self.days for stop in day.stops)

    @cached_property
    def _walked(self) -> Mapping[str, dt.date]:
        return {stop.field_id: stop.arrive.date() for stop in self.stops}

    @cached_property
    def _left(self) -> Mapping[str, LeftOutWhy]:
        return {one.field_id: one.why for one in self.left_out}

    def walk_of(self, field: FieldDay) -> Walk:
        """When it walks a field."""
        due, on = field.visit.due, self._walked.get(field.field_id)
        if on is not None:
            return Walk(on, due, on, why=self._why_then(field, on))
        left = self._left.get(field.field_id)
        if due is None or left is not None:
            return Walk(None, due, None, left_out=left)
        day = first_open_day(field, due)
        closed = closed_on(field, due)
        return Walk(None, due, day, why=closed or ("no work" if day != due else None))

    def _why_then(self, field: FieldDay, on: dt.date) -> OtherDayWhy | None:
        """Why a field is not walked on the day on which it is due."""
        due = field.visit.due
        if due is None or due == on:
            return None
        if field.field_id in self.held:
            return "put there"
        soonest = max(due, self.first_day)
        if soonest == on:
            late = field.due_on is not None and field.due_on < on
            return "overdue" if late else "no work"
        closed = closed_on(field, soonest)
        if closed is not None:
            return closed
        if all(day.date != soonest for day in self.days):
            return "no work"
        if on < soonest:
            return "on the way"
        driven = any(day.stops for day in self.days if day.date == soonest)
        return "others first" if driven else "no drive"

    @cached_property
    def held(self) -> Mapping[str, Lock]:
        """The fields that are walked where a person put them."""
        out = self.crowded_out
        return {name: lock for name, lock in self._bound.items() if name not in out}

    @property
    def crowded_out(self) -> frozenset[str]:
        """Fields that are left out since the day on which a person put them has no room."""
        return frozenset(self._left.keys() & self._bound.keys())

    @property
    def _bound(self) -> Mapping[str, Lock]:
        return {} if self.made_of is None else self.made_of[0].held

    @property
    def void(self) -> Mapping[str, Lock]:
        """The locks of these days that cannot be kept: nobody works, or the field is closed."""
        return {} if self.made_of is None else self.made_of[0].void

    @property
    def walked_today(self) -> tuple[str, ...]:
        """Ids of fields that were visited on the first day already, as the log or visits.csv says.

        They are walked on it again only where a person says they must.
        """
        seen = ((plan.field_id, plan.last_visit) for plan in self.season.fields)
        return tuple(name for name, visit in seen if visit and visit.date == self.first_day)

    @property
    def not_due(self) -> tuple[str, ...]:
        """Ids of fields that need no visit in these days."""
        fields: list[WeekStop | FieldLeftOut] = [*self.stops, *self.left_out]
        due = {one.field_id for one in fields} | set(self.done)
        ids = (plan.field_id for plan in self.season.fields)
        return tuple(field_id for field_id in ids if field_id not in due)


@dataclass(frozen=True, slots=True)
class Walk:
    """When a field is walked.

    Attributes
    ----------
    on : datetime.date | None
        The day of the route; None where the route has none.
    due : datetime.date | None
        The day by the rule.
    day : datetime.date | None
        The one date to show. Beyond the route it is the rule's, or the first day after it on which
        one may enter; None for a field that is left out, or not walked any more.
    left_out : LeftOutWhy | None
        Why it is due in these days and not walked.
    why : OtherDayWhy | None
        Why ``day`` is not ``due``.
    """

    on: dt.date | None
    due: dt.date | None
    day: dt.date | None
    left_out: LeftOutWhy | None = None
    why: OtherDayWhy | None = None


def season_route(season: SeasonDay) -> WeekRoute:
    """The route of the seven days from the day asked for on.

    It is made once: every screen, page and file of a season shows the days of the same route.
    """
    return season.once("route", lambda: _route_of(season))


def walk_of(field: FieldDay) -> Walk:
    """When the season's route walks a field; found once."""
    season = field.season
    return season.once(f"walk {field.field_id}", lambda: season_route(season).walk_of(field))


def looked_for(field: FieldDay) -> tuple[tuple[LookFor, ...], str]:
    """What to look for, and the sampling method's id, on the day on which a field is walked."""
    on = walk_of(field).on
    if on is None:
        return field.visit.look_for, field.visit.sample
    return work_on(field, on, field.season.loaded)


def _route_of(season: SeasonDay) -> WeekRoute:
    span = season.loaded.span
    if span.first_day <= season.as_of <= span.last_day:
        return _route_asked(season, WeekRequest(first_day=season.as_of))
    return WeekRoute(
        season=season,
        first_day=season.as_of,
        last_day=season.as_of,
        days=(),
        left_out=(),
        done=(),
        moved=(),
        ways=0,
        ways_estimated=0,
        solver="insertion",
        above=above_of(season),
    )


def route_week(season: SeasonDay, asked: WeekRequest) -> WeekRoute:
    """The week's route of a season on a day; asked for no more than that, the season's own.

    Raises
    ------
    SeasonProblems
        With every error of what was asked.
    """
    span = season.loaded.span
    plain = asked == WeekRequest(first_day=season.as_of)
    if plain and span.first_day <= season.as_of <= span.last_day:
        return season_route(season)
    return _route_asked(season, asked)


def _route_asked(season: SeasonDay, asked: WeekRequest) -> WeekRoute:
    """The route, worked out."""
    asked = checked(asked, season.loaded)
    week = week_problem(season, asked)
    route, solver = held_route(week, asked)
    room = Room(week, route)
    missing = left_out(week, route, room)
    ways = ways_driven(week, route)
    return WeekRoute(
        season=season,
        first_day=asked.first_day,
        last_day=asked.dates[-1],
        days=scout_days(week, route),
        left_out=missing,
        done=asked.done,
        moved=_moved(week, route, asked, {one.field_id: one.why for one in missing}),
        ways=len(ways),
        ways_estimated=sum(bool(week.roads.estimated[way]) for way in ways),
        solver=solver,
        beside=_beside(week, route) if asked.beside else (),
        above=above_of(season),
        late=fields_late(week, route, room),
        made_of=(week, route),
    )


def above_of(season: SeasonDay) -> tuple[Above, ...]:
    """Pests that can hurt now, were counted over their threshold, and wait for a decision.

    The farthest over it come first. It is worked out once.
    """

    def found() -> tuple[Above, ...]:
        every = (one for plan in season.fields for one in _above(plan, season.loaded))
        return tuple(sorted(every, key=lambda one: -one.seen.share))

    return season.once("above", found)


def over_threshold(season: SeasonDay) -> frozenset[str]:
    """Ids of the fields that wait for a decision."""
    return frozenset(one.plan.field_id for one in above_of(season))


def fields_by_need(season: SeasonDay) -> tuple[FieldDay, ...]:
    """The fields by need, those that wait for a decision before all others."""
    over = over_threshold(season)
    return tuple(sorted(season.by_need, key=lambda one: one.field_id not in over))


def _above(plan: FieldDay, loaded: LoadedSeason) -> Iterator[Above]:
    """The same of one field."""
    if plan.visit.due is None or not plan.log.visits:
        return
    looks = field_looks(plan, loaded)
    now = stage_place(plan.forecast.stage_now)
    for pest_id in looks.seen:
        pest, seen = loaded.knowledge.pests[pest_id], looks.over(pest_id)
        if seen is not None and now <= stage_place(pest.host.last):
            yield Above(plan, pest_id, pest.name, seen)


def _moved(
    week: Week, route: Route, asked: WeekRequest, whys: Mapping[str, LeftOutWhy]
) -> tuple[Moved, ...]:
    """What moved against the same week without what has happened since; nothing without that."""
    plain = replace(asked, off=(), done=(), from_s=(), at=())
    if plain == asked:
        return ()
    whole = week_problem(week.season, plain, waiting=week)
    before = best_route(whole.problem, seed=asked.seed)[0]
    return moves((whole, before), (week, route), asked, whys)


def _beside(week: Week, route: Route) -> tuple[RuleResult, ...]:
    """What this route and two plain rules come to."""
    made: dict[Rule, Route] = {
        "this route": route,
        "nearest field first": nearest_first(week.problem),
        "due date first": due_first(week.problem),
    }
    return tuple(_result(rule, week, found) for rule, found in made.items())


def _result(rule: Rule, week: Week, route: Route) -> RuleResult:
    found = cost(week.problem, route)
    return RuleResult(
        rule=rule,
        walked=len(route.walked),
        drive_km=float(sum(week.roads.km[way] for way in ways_driven(week, route))),
        drive_cost=found.drive / CENTS,
        waiting_cost=(found.wait + found.skip) / CENTS,
        missed=len(found.missed),
    )
