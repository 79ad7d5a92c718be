"""The fields that are worth trying in a route, as a problem of their own, and the way back.

Of several hundred fields a crew walks some sixty in a week. A search that tries them all spends its
steps on fields that lose little and lie far off, so only those that gain most for the time that
they take are tried. What is left aside is still put in at the end where it fits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stagecast.week.route.insertion import Ground
from stagecast.week.route.problem import Route, RouteProblem

TRIED_SHARE, FEWEST_TRIED = 1.5, 60
"""Fields that are tried, as a multiple of those that the first route walks, and the fewest."""


@dataclass(frozen=True, slots=True)
class PartProblem:
    """Some sites of a problem, by their places in it, and the problem of these alone."""

    sites: tuple[int, ...]
    problem: RouteProblem

    def inner(self, route: Route) -> Route:
        """A route of the whole, whose sites are all in the part, as one of the part."""
        place = {site: number for number, site in enumerate(self.sites)}
        return Route(tuple(tuple(place[site] for site in order) for order in route.orders))

    def outer(self, route: Route) -> Route:
        """A route of the part as one of the whole."""
        return Route(tuple(tuple(self.sites[site] for site in order) for order in route.orders))


def worth_trying(problem: RouteProblem, first: Route) -> PartProblem:
    """The sites of a first route, all must-visits, and those that gain most for their time.

    What a site gains is taken beside that route.
    """
    kept = first.walked | {site for site, one in enumerate(problem.sites) if one.must}
    wanted = max(FEWEST_TRIED, round(TRIED_SHARE * len(first.walked)))
    if len(problem.sites) <= wanted:
        kept = frozenset(range(len(problem.sites)))
    else:
        best = _best_rates(problem, first)
        others = [site for site in np.argsort(-best, kind="stable").tolist() if site not in kept]
        kept |= {site for site in others[: max(0, wanted - len(kept))] if best[site] > 0}
    sites = tuple(sorted(kept))
    return PartProblem(sites, replace(problem, sites=tuple(problem.sites[site] for site in sites)))


def _best_rates(problem: RouteProblem, first: Route) -> np.ndarray:
    """Cents a second that each site gains at its best place in a route, were there room for it."""
    ground, every = Ground(problem), np.arange(len(problem.sites))
    best = np.full(len(every), -np.inf)
    for shift, order in enumerate(first.orders):
        gains = ground.worth[shift] - ground.added_cents(shift, order, every)
        rates = gains / ground.added_s(shift, order, every)
        best = np.maximum(best, rates.max(axis=0))
    return best
