"""The week's route of a season folder: read, worked out, and told."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

from stagecast.errors import Problem, SeasonProblems
from stagecast.knowledge import Knowledge
from stagecast.scouting.field_names import field_named
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.plan import SeasonPlan, plan_season
from stagecast.scouting.route.problem import Route, cost
from stagecast.scouting.route.roads import CENTS
from stagecast.scouting.route.simple_rules import due_first, nearest_first
from stagecast.scouting.route.solve import best_route
from stagecast.scouting.week_changes import moves
from stagecast.scouting.week_problem import Asked, Week, ways_driven, week_problem
from stagecast.scouting.week_told import left_out, scout_days
from stagecast.scouting.week_types import RuleResult, WeekRoute


def plan_week(path: Path, *, as_of: dt.date, asked: Asked, knowledge: Knowledge) -> WeekRoute:
    """Read a season folder and work out the week's route.

    Raises
    ------
    SeasonProblems
        With every error of every file, or of what was asked.
    """
    return route_week(plan_season(path, as_of=as_of, knowledge=knowledge), asked)


def route_week(season: SeasonPlan, asked: Asked) -> WeekRoute:
    """The week's route of a season that is planned already; SeasonProblems as above."""
    asked = _checked(asked, season.loaded)
    week = week_problem(season, asked)
    route, solver = best_route(week.problem, seed=asked.seed)
    before = None
    if asked.off or asked.done:
        whole = week_problem(season, replace(asked, off=(), done=()), waiting=week)
        before = (whole, best_route(whole.problem, seed=asked.seed)[0])
    days = scout_days(week, route)
    return WeekRoute(
        season=season,
        first_day=asked.first_day,
        last_day=asked.dates[-1],
        days=days,
        left_out=left_out(week, route),
        moved=() if before is None else moves(before, (week, route), asked.off, asked.done),
        legs_estimated=any(week.roads.estimated[way] for way in ways_driven(week, route)),
        solver=solver,
        beside=_beside(week, route) if asked.beside else (),
    )


def _checked(asked: Asked, loaded: LoadedSeason) -> Asked:
    """The fields that were named as fields.csv writes them; every problem at once."""
    problems: list[Problem] = []
    named: dict[str, tuple[str, ...]] = {}
    for option, names in (("--done", asked.done), ("--must", asked.must)):
        found = []
        for name in names:
            try:
                found.append(field_named(name, loaded.season.fields, option=option).field_id)
            except SeasonProblems as error:
                problems += error.problems
        named[option] = tuple(dict.fromkeys(found))
    for field_id in sorted(set(named["--done"]) & set(named["--must"])):
        message = "this field is said to be done, and to be walked"
        problems.append(Problem("--must", message, found=field_id))
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
    return replace(asked, done=named["--done"], must=named["--must"])


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
    )
