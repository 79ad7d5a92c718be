"""Two routes into a better one: a day's way is taken over from the other, and the rest mended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stagecast.base.steps import step
from stagecast.week.route.insertion import Ground, insert_all, polished, rank
from stagecast.week.route.problem import Route, RouteProblem, is_possible


def crossed(problem: RouteProblem, routes: Sequence[Route]) -> Route:
    """The best of some routes, with ways of a day or two days taken over from the others.

    Taken over while that is better once fields walked twice are left out on the other days, and
    what fits is put in; the same each time.
    """
    ground = Ground(problem)
    best = min(routes, key=lambda route: rank(problem, route))
    changed = True
    while changed:
        step()
        changed = False
        for other in routes:
            for mixed in _mixed(ground, best, other):
                if rank(problem, mixed) < rank(problem, best):
                    best, changed = mixed, True
    return polished(problem, best)


def _mixed(ground: Ground, route: Route, other: Route) -> Iterator[Route]:
    """The route with one shift's way, or those of two shifts in a row, from another."""
    shifts = len(route.orders)
    for number in (1, 2):
        for first in range(shifts - number + 1):
            taken = range(first, first + number)
            if all(route.orders[shift] == other.orders[shift] for shift in taken):
                continue
            new = {site for shift in taken for site in other.orders[shift]}
            orders = [
                list(other.orders[shift])
                if shift in taken
                else [site for site in order if site not in new]
                for shift, order in enumerate(route.orders)
            ]
            if is_possible(ground.problem, Route(tuple(map(tuple, orders)))):
                insert_all(ground, orders, hourly=False)
                yield Route(tuple(map(tuple, orders)))
