"""The week's route: by PyVRP where it is installed, else by insertion."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.cross import crossed
from stagecast.week.route.part import worth_trying
from stagecast.week.route.problem import Route, RouteProblem, schedule

Solver = Literal["pyvrp", "insertion"]

STEPS, LEAST_STEPS = 1600, 50
"""Steps of one run, and the fewest of a very large week."""

MOST_TRIED = 40_000_000
"""Steps times sites times shifts at most: a step takes the longer the more there is to try."""

FEW_SITES = 60
"""Up to so many fields one run does."""

MOST_RUNS, MOST_PAIRS = 4, 5_000
"""Runs from the first route at most, and runs times sites times shifts at most."""


def best_route(
    problem: RouteProblem, *, seed: int, iterations: int | None = None
) -> tuple[Route, Solver]:
    """The best route there is time for, and what found it.

    ``seed`` and ``iterations``, the steps of one run, are PyVRP's; insertion leaves nothing to
    chance. By default the problem's size says how many steps a run takes, see :func:`steps`.

    Notes
    -----
    Where a run ends up is a matter of luck, some percent apart. So there are several, the best
    takes days over from the others, and one more goes on from there. In a week of few fields one
    run finds as good a route; in one of very many the others cost more than they save.
    """
    if not with_pyvrp.available():
        return insertion.solve(problem), "insertion"
    first = insertion.quick(problem)
    part = worth_trying(problem, first)
    found = _searched(part.problem, part.inner(first), seed=seed, iterations=iterations)
    return overdue_first(problem, insertion.filled(problem, part.outer(found))), "pyvrp"


def _searched(problem: RouteProblem, first: Route, *, seed: int, iterations: int | None) -> Route:
    def run(begin: Route, number: int) -> Route:
        return with_pyvrp.solve(
            problem,
            start=begin,
            seed=(MOST_RUNS + 1) * seed + number,
            iterations=steps(problem) if iterations is None else iterations,
        )

    runs = _runs(problem)
    found = [run(first, number) for number in range(runs)]
    return found[0] if runs == 1 else run(crossed(problem, found), runs)


def overdue_first(problem: RouteProblem, route: Route) -> Route:
    """The route with every day that costs the same both ways begun where fields are due sooner.

    Rain or a long stop cuts off the end of a day: what stands there can wait best.
    """

    def begun_late(order: Sequence[int]) -> int:
        return -sum(place * problem.sites[site].due_day for place, site in enumerate(order))

    orders, costs = list(route.orders), insertion.rank(problem, route)
    for shift, order in enumerate(route.orders):
        back = order[::-1]
        turned = Route((*orders[:shift], back, *orders[shift + 1 :]))
        if (
            begun_late(back) < begun_late(order)
            and schedule(problem, shift, back) is not None
            and insertion.rank(problem, turned) <= costs
        ):
            orders[shift] = back
    return Route(tuple(orders))


def _runs(problem: RouteProblem) -> int:
    if len(problem.sites) <= FEW_SITES:
        return 1
    return max(1, min(MOST_RUNS, MOST_PAIRS // _pairs(problem)))


def steps(problem: RouteProblem) -> int:
    """How many steps a run gets: by the problem's size only, so the same on every machine."""
    return max(LEAST_STEPS, min(STEPS, MOST_TRIED // _pairs(problem)))


def _pairs(problem: RouteProblem) -> int:
    return max(1, len(problem.sites) * len(problem.shifts))
