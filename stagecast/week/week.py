"""The week's route of a season folder: read, worked out, and told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.forecast.field_names import field_named
from stagecast.forecast.load import LoadedSeason
from stagecast.visits.plan import FieldPlan, SeasonPlan, plan_season
from stagecast.visits.revisit import is_open
from stagecast.week.changes import moves
from stagecast.week.problem import Asked, Week, ways_driven, week_problem
from stagecast.week.route.problem import Route, cost
from stagecast.week.route.roads import CENTS
from stagecast.week.route.simple_rules import due_first, nearest_first
from stagecast.week.route.solve import best_route
from stagecast.week.told import left_out, scout_days
from stagecast.week.types import Above, Moved, RuleResult, WeekRoute
from stagecast.week.waiting_pests import field_looks


def plan_week(path: Path, *, as_of: dt.date, asked: Asked) -> WeekRoute:
    """Read a season folder and work out the week's route.

    Raises
    ------
    SeasonProblems
        With every error of every file, or of what was asked.
    """
    return route_week(plan_season(path, as_of=as_of), asked)


def route_week(season: SeasonPlan, asked: Asked) -> WeekRoute:
    """The week's route of a season that is planned already; SeasonProblems as above."""
    asked = _checked(asked, season.loaded)
    week = week_problem(season, asked)
    route, solver = best_route(week.problem, seed=asked.seed)
    missing = left_out(week, route)
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
    )


def above_of(season: SeasonPlan) -> tuple[Above, ...]:
    """Pests that can hurt now, were counted above their threshold, and wait for a decision."""
    return tuple(one for plan in season.fields for one in _above(plan, season.loaded))


def _above(plan: FieldPlan, loaded: LoadedSeason) -> Iterator[Above]:
    """The same of one field."""
    if plan.visit.due is None or not plan.log.visits:
        return
    looks = field_looks(plan, loaded)
    for pest in dict.fromkeys(w.pest for w in plan.windows if is_open(w, loaded.as_of)):
        found = "" if pest is None else looks.above(pest)
        if pest is not None and found:
            yield Above(plan, pest, loaded.knowledge.pests[pest].name, found)


def _moved(week: Week, route: Route, asked: Asked, whys: Mapping[str, str]) -> tuple[Moved, ...]:
    """What moved against the same week without what has happened since; nothing without that."""
    plain = replace(asked, off=(), done=(), from_s=None, at=None)
    if plain == asked:
        return ()
    whole = week_problem(week.season, plain, waiting=week)
    before = best_route(whole.problem, seed=asked.seed)[0]
    return moves((whole, before), (week, route), asked.off, whys)


def _checked(asked: Asked, loaded: LoadedSeason) -> Asked:
    """The fields that were named as fields.csv writes them; every problem at once."""
    problems: list[Problem] = []
    named: dict[str, tuple[str, ...]] = {}
    for option, names in (("--done", asked.done), ("--must", asked.must), ("--at", (asked.at,))):
        found = []
        for name in _each(names, loaded):
            try:
                found.append(field_named(name, loaded.season.fields, option=option).field_id)
            except SeasonProblems as error:
                problems += error.problems
        named[option] = tuple(dict.fromkeys(found))
    for field_id in sorted(set(named["--done"]) & set(named["--must"])):
        message = "this field is said to be done, and to be walked"
        problems.append(Problem("--must", message, found=field_id))
    problems += _start_problems(asked, loaded)
    if asked.first_day < loaded.as_of:
        message = f"the route starts before the day of the forecast, {loaded.as_of}"
        step = "start on that day or later, or give an earlier --as-of"
        found_day = asked.first_day.isoformat()
        problems.append(Problem("--starting", message, found=found_day, next_step=step))
    for day in asked.off:
        if day not in asked.dates:
            accepted = f"a day from {asked.dates[0]} to {asked.dates[-1]}"
            found_day = day.isoformat()
            message = "this is no day of the route"
            problems.append(Problem("--off", message, found=found_day, accepted=accepted))
    if problems:
        raise SeasonProblems(problems)
    return replace(
        asked, done=named["--done"], must=named["--must"], at=next(iter(named["--at"]), None)
    )


def _each(names: Sequence[str | None], loaded: LoadedSeason) -> list[str]:
    """Names one by one; commas stand between several, where they are not in an id itself."""
    ids = {field.field_id.casefold() for field in loaded.season.fields}
    return [
        one.strip()
        for name in names
        if name is not None
        for one in ([name] if name.casefold() in ids else name.split(","))
        if one.strip()
    ]


def _start_problems(asked: Asked, loaded: LoadedSeason) -> list[Problem]:
    """A route that starts at a field with several scouts about."""
    problems = []
    scouts = len(loaded.season.settings.scouts)
    if asked.at is not None and scouts > 1:
        message = f"{scouts} scouts cannot all start at one field"
        problems.append(Problem("--at", message, found=asked.at, next_step="leave it out"))
    return problems


def _beside(week: Week, route: Route) -> tuple[RuleResult, ...]:
    """What this route and two plain rules come to."""
    made = {
        "this route": route,
        "nearest field first": nearest_first(week.problem),
        "due date first": due_first(week.problem),
    }
    return tuple(_result(rule, week, found) for rule, found in made.items())


def _result(rule: str, week: Week, route: Route) -> RuleResult:
    found = cost(week.problem, route)
    return RuleResult(
        rule=rule,
        walked=len(route.walked),
        drive_km=float(sum(week.roads.km[way] for way in ways_driven(week, route))),
        drive_cost=found.drive / CENTS,
        waiting_cost=(found.wait + found.skip) / CENTS,
        missed=len(found.missed),
    )
