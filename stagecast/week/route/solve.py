"""The week's route: by PyVRP where it is installed, else by insertion."""

from __future__ import annotations

from typing import Literal

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.cross import crossed
from stagecast.week.route.part import worth_trying
from stagecast.week.route.problem import Route, RouteProblem

Solver = Literal["pyvrp", "insertion"]

STEPS_PER_FIELD = 20
FEWEST_STEPS, MOST_STEPS = 500, 800
"""Steps of one run."""

FEW_SITES, ALONE = 60, 2
"""Up to so many fields one run does, which takes so many times the steps of one among several."""

RUNS, MORE_RUNS = 4, 2
"""Runs from the starts, and runs from the best that came of them; half where many are left."""

MOST_TRIED, LEAST_STEPS = 40_000_000, 50


def best_route(
    problem: RouteProblem, *, seed: int, iterations: int | None = None
) -> tuple[Route, Solver]:
    """The best route there is time for, and what found it.

    ``seed`` and ``iterations``, the steps of one run, are PyVRP's; insertion leaves nothing to
    chance. By default the problem's size says how many steps a run takes, see :func:`steps`.

    Notes
    -----
    Where a run ends up is a matter of luck and of where it began, some percent apart. So there are
    several short ones, half from insertion's route and half from a quick one, each bettered by what
    single fields and whole days exchanged can gain. The best takes days over from the others, and
    the last runs go on from there. Where most fields are left out, what these lose outweighs that
    luck, and half the runs do. In a week of few fields one longer run is as good.
    """
    if not with_pyvrp.available():
        return insertion.solve(problem), "insertion"
    search = _one_run if len(problem.sites) <= FEW_SITES else _several_runs
    return insertion.filled(problem, search(problem, seed, iterations)), "pyvrp"


def _one_run(problem: RouteProblem, seed: int, iterations: int | None) -> Route:
    steps_of_run = ALONE * steps(problem) if iterations is None else iterations
    start = insertion.solve(problem)
    return with_pyvrp.solve(problem, start=start, seed=seed, iterations=steps_of_run)


def _several_runs(problem: RouteProblem, seed: int, iterations: int | None) -> Route:
    starts = insertion.solve(problem), insertion.quick(problem)
    part = worth_trying(problem, starts)
    steps_of_run = steps(part.problem) if iterations is None else iterations

    def run(begin: Route, number: int) -> Route:
        found = with_pyvrp.solve(
            part.problem,
            start=begin,
            seed=(RUNS + MORE_RUNS) * seed + number,
            iterations=steps_of_run,
        )
        return insertion.polished(part.problem, found)

    half = 2 if _many(problem, starts[0]) else 1
    begins = [part.inner(start) for start in starts]
    found = [run(begins[number % len(begins)], number) for number in range(RUNS // half)]
    best = crossed(part.problem, found)
    for number in range(MORE_RUNS // half):
        best = run(best, RUNS + number)
    return part.outer(best)


def _many(problem: RouteProblem, start: Route) -> bool:
    """Whether most fields are left out."""
    return len(problem.sites) > 2 * len(start.walked)


def steps(problem: RouteProblem) -> int:
    """How many steps a run gets: by the problem's size only, so the same on every machine."""
    sites, shifts = max(1, len(problem.sites)), max(1, len(problem.shifts))
    wanted = min(MOST_STEPS, max(FEWEST_STEPS, STEPS_PER_FIELD * sites))
    # A step takes the longer the more there is to try; a very large week gets fewer of them.
    return max(LEAST_STEPS, min(wanted, MOST_TRIED // (sites * shifts)))
