"""The week's route: by PyVRP where it is installed, else by insertion."""

from __future__ import annotations

from typing import Literal

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.cross import crossed
from stagecast.week.route.part import worth_trying
from stagecast.week.route.problem import Route, RouteProblem

Solver = Literal["pyvrp", "insertion"]

STEPS, LEAST_STEPS = 1600, 50
"""Steps of one run, and the fewest of a very large week."""

MOST_TRIED = 40_000_000
"""Steps times sites times shifts at most: a step takes the longer the more there is to try."""

FEW_SITES, MANY_PAIRS = 60, 4000
"""One run does up to so many fields, and from so many fields times shifts on."""

RUNS, MORE_RUNS = 2, 1
"""Runs from the first route, and runs from the best that came of them."""


def best_route(
    problem: RouteProblem, *, seed: int, iterations: int | None = None
) -> tuple[Route, Solver]:
    """The best route there is time for, and what found it.

    ``seed`` and ``iterations``, the steps of one run, are PyVRP's; insertion leaves nothing to
    chance. By default the problem's size says how many steps a run takes, see :func:`steps`.

    Notes
    -----
    Where a run ends up is a matter of luck, some percent apart. So there are several, the best
    takes days over from the other, and one more goes on from there. In a week of few fields one run
    finds as good a route; in one of very many the others cost more than they save.
    """
    if not with_pyvrp.available():
        return insertion.solve(problem), "insertion"
    first = insertion.quick(problem)
    part = worth_trying(problem, first)
    found = _searched(part.problem, part.inner(first), seed=seed, iterations=iterations)
    return insertion.filled(problem, part.outer(found)), "pyvrp"


def _searched(problem: RouteProblem, first: Route, *, seed: int, iterations: int | None) -> Route:
    def run(begin: Route, number: int) -> Route:
        return with_pyvrp.solve(
            problem,
            start=begin,
            seed=(RUNS + MORE_RUNS) * seed + number,
            iterations=steps(problem) if iterations is None else iterations,
        )

    sites, shifts = len(problem.sites), len(problem.shifts)
    if sites <= FEW_SITES or sites * shifts >= MANY_PAIRS:
        return run(first, 0)
    best = crossed(problem, [run(first, number) for number in range(RUNS)])
    for number in range(MORE_RUNS):
        best = run(best, RUNS + number)
    return best


def steps(problem: RouteProblem) -> int:
    """How many steps a run gets: by the problem's size only, so the same on every machine."""
    pairs = max(1, len(problem.sites) * len(problem.shifts))
    return max(LEAST_STEPS, min(STEPS, MOST_TRIED // pairs))
