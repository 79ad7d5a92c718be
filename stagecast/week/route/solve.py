"""The week's route: by PyVRP where it is installed, else by insertion."""

from __future__ import annotations

from typing import Literal

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.problem import Route, RouteProblem

Solver = Literal["pyvrp", "insertion"]

STEPS_PER_FIELD = 20
FEWEST_STEPS, MOST_STEPS = 500, 8_000
MOST_TRIED, LEAST_STEPS = 40_000_000, 50


def best_route(
    problem: RouteProblem, *, seed: int, iterations: int | None = None
) -> tuple[Route, Solver]:
    """The best route there is time for, and what found it.

    ``seed`` and ``iterations`` are PyVRP's; insertion leaves nothing to chance. By default the
    problem's size says how many steps it takes, see :func:`steps`.
    """
    start = insertion.solve(problem)
    if not with_pyvrp.available():
        return start, "insertion"
    if iterations is None:
        iterations = steps(problem)
    found = with_pyvrp.solve(problem, start=start, seed=seed, iterations=iterations)
    return insertion.filled(problem, found), "pyvrp"


def steps(problem: RouteProblem) -> int:
    """How many steps a problem gets: by its size only, so that every machine takes the same."""
    sites, shifts = max(1, len(problem.sites)), max(1, len(problem.shifts))
    wanted = min(MOST_STEPS, max(FEWEST_STEPS, STEPS_PER_FIELD * sites))
    # A step takes the longer the more there is to try; a very large week gets fewer of them.
    return max(LEAST_STEPS, min(wanted, MOST_TRIED // (sites * shifts)))
