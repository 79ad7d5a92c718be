"""The week's route in which a change of a later day leaves today's stops where they are.

Nothing is kept from one run to the next. What was planned for today before a change of a later day
follows from today's own data: it is the route without the days off and blocked times of later days.
"""

from __future__ import annotations

from dataclasses import replace

from stagecast.week.problem import Week, WeekRequest, week_problem
from stagecast.week.route.insertion import filled
from stagecast.week.route.problem import Route, cost, schedule
from stagecast.week.route.solve import Solver, best_route


def held_route(week: Week, asked: WeekRequest) -> tuple[Route, Solver]:
    """The week's route, and what found it.

    Where the first day is today and something keeps people out on a later day, today's stops are
    as they would be without it, and the days after are planned around them. A field that would
    have to be left out else may still be put between today's stops; and where a field that must
    be walked is missed or late, all is planned anew if that helps.
    """
    before = _without_later(week, asked)
    if before is None:
        return best_route(week.problem, seed=asked.seed)
    found = _around_today(week, best_route(before.problem, seed=asked.seed)[0], seed=asked.seed)
    if found is None:
        return best_route(week.problem, seed=asked.seed)
    if _forgotten(week, found[0]) == (0, 0):
        return found
    free = best_route(week.problem, seed=asked.seed)
    return free if _forgotten(week, free[0]) < _forgotten(week, found[0]) else found


def _forgotten(week: Week, route: Route) -> tuple[int, int]:
    """How many fields that must be walked are not, and the days by which others are late."""
    found = cost(week.problem, route)
    return len(found.missed), found.late


def _without_later(week: Week, asked: WeekRequest) -> Week | None:
    """The week without what keeps people out on later days alone; None where nothing does."""
    today, due = asked.first_day, {field.field_id for field in week.fields}
    if today != week.season.as_of:
        return None
    off = tuple((whose, day) for whose, day in asked.off if day <= today)
    blocked = week.season.loaded.season.blocked
    later = [b for b in blocked if today < b.first <= asked.dates[-1] and b.field_id in due]
    if off == asked.off and not later:
        return None
    kept = tuple(one for one in blocked if one.first <= today)
    return week_problem(week.season, replace(asked, off=off), waiting=week, blocked=kept)


def _around_today(week: Week, before: Route, *, seed: int) -> tuple[Route, Solver] | None:
    """The route with today's stops of another; None where they cannot be driven."""
    problem = week.problem
    today = [shift for shift, one in enumerate(problem.shifts) if one.day == 0]
    orders = list(before.orders[: len(today)])
    if any(schedule(problem, shift, orders[shift]) is None for shift in today):
        return None
    held = {site for order in orders for site in order}
    left = [site for site in range(len(problem.sites)) if site not in held]
    rest = replace(
        problem,
        sites=tuple(problem.sites[site] for site in left),
        shifts=problem.shifts[len(today) :],
    )
    route, solver = best_route(rest, seed=seed)
    orders += [tuple(left[site] for site in order) for order in route.orders]
    return filled(problem, Route(tuple(orders))), solver
