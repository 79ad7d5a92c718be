"""The week's route: by PyVRP where it is installed, else by insertion."""

from __future__ import annotations

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.problem import Route, RouteProblem, schedule
from stagecast.week.types import Solver

STEPS_PER_FIELD = 20
FEWEST_STEPS, MOST_STEPS = 500, 8_000
MOST_TRIED, LEAST_STEPS = 40_000_000, 50


def best_route(
    problem: RouteProblem, *, seed: int, iterations: int | None = None
) -> tuple[Route, Solver]:
    """The best route there is time for, and what found it.

    Parameters
    ----------
    problem : RouteProblem
    seed : int
        Of PyVRP; insertion leaves nothing to chance.
    iterations : int, optional
        Steps of PyVRP; by default as many as the problem's size asks for, see :func:`steps`.
    """
    start = insertion.solve(problem)
    if not with_pyvrp.available():
        return start, "insertion"
    if iterations is None:
        iterations = steps(problem)
    return with_pyvrp.solve(problem, start=start, seed=seed, iterations=iterations), "pyvrp"


def steps(problem: RouteProblem) -> int:
    """How many steps a problem gets: by its size only, so that every machine takes the same."""
    sites, shifts = max(1, len(problem.sites)), max(1, len(problem.shifts))
    wanted = min(MOST_STEPS, max(FEWEST_STEPS, STEPS_PER_FIELD * sites))
    # A step takes the longer the more there is to try; a very large week gets fewer of them.
    return max(LEAST_STEPS, min(wanted, MOST_TRIED // (sites * shifts)))


def why_missed(problem: RouteProblem, site: int) -> str:
    """Why a must-visit is not walked, as the second half of a sentence.

    Parameters
    ----------
    problem : RouteProblem
    site : int
        Index of the site.

    Notes
    -----
    The first of these that is so: it is closed; it does not fit into any day even alone; it is
    never open at the hours at which somebody could walk it; the must-visits stand in each other's
    way, which is what the search found rather than what is proved.
    """
    field = problem.sites[site]
    if not field.spans:
        return "it is closed in all these days"
    shifts = problem.shifts
    if not shifts:
        return "nobody works in these days"
    needs = [
        int(problem.drive_s[shift.home, field.place] + problem.drive_s[field.place, shift.home])
        + field.service_s
        for shift in shifts
    ]
    lengths = [shift.ends_s - shift.starts_s for shift in shifts]
    if all(need > length for need, length in zip(needs, lengths, strict=True)):
        return (
            f"it takes {hours(min(needs))} with the drive there and back, "
            f"and the longest day has {hours(max(lengths))}"
        )
    if all(schedule(problem, shift, (site,)) is None for shift in range(len(shifts))):
        return "it is never open at an hour at which somebody could walk it and be home in time"
    return "the fields that must be walked need more time together than there is"


def hours(seconds: int) -> str:
    """A length of time in words: 8 h 30 min; a part of a minute counts as one."""
    whole, minutes = divmod(-(-seconds // 60), 60)
    return f"{whole} h {minutes} min" if minutes else f"{whole} h"
