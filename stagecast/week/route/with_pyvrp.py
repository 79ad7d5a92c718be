"""The route by PyVRP, an open-source solver of vehicle routing problems (extra ``route``).

Notes
-----
Shifts are vehicles. What waiting costs depends on the day, so each day of the route is a profile
of its own, in which the distance from i to j is what the drive costs *plus* what j has lost by
waiting until that day; the way home costs the drive only. Where a field is bound to one scout, each
scout has profiles, and nobody else can afford that field. What PyVRP calls the distance of a route
is thus all it costs, in cents, and a prize is what leaving the field out would cost.

References
----------
Wouda, N.A., L. Lan and W. Kool (2024). PyVRP: a high-performance VRP solver package. INFORMS
Journal on Computing 36(4): 943-955. MEMORY
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from stagecast.base.steps import step
from stagecast.week.route.insertion import must_cents, rank
from stagecast.week.route.problem import (
    IntArray,
    Route,
    RouteField,
    RouteProblem,
    Shift,
    Span,
    cost,
    is_possible,
    nowhere,
    schedule,
)

if TYPE_CHECKING:
    import pyvrp

DAY_SOONER_S = 900
"""So late a must-visit may come home for being a day less late, when the search begins."""

STEPS_BETWEEN_PRICES, HISTORY, MOST_CHANGES, NEIGHBOURS = 100, 40, 10, 20
"""Steps after which that price is revised; routes looked back upon; sites changed in one step; and
how many near a site are tried beside it."""


def available() -> bool:
    """Whether PyVRP is installed and can be loaded: a broken install is as good as none."""
    try:
        import pyvrp  # noqa: F401
    except (ImportError, OSError):
        return False
    return True


def solve(problem: RouteProblem, *, start: Route, seed: int, iterations: int) -> Route:
    """The best route found in so many steps; ``start`` where none is better.

    The same input gives the same route: time plays no part.
    """
    spans = [reachable_spans(problem, site) for site in problem.sites]
    if not any(spans):
        return start
    begun = cost(problem, start)
    model = Model(problem, spans, musts_first=bool(begun.missed))
    if begun.missed:
        late_cents = must_cents(problem) / 60  # a must-visit is not worth being a minute late
    else:
        worked_s = sum(shift.ends_s - shift.starts_s for shift in problem.shifts)
        saved = cost(problem, nowhere(problem)).total - begun.total
        late_cents = max(1.0, saved / max(1, worked_s))  # as much as a second of work is worth
        if begun.late:
            late_cents = max(late_cents, problem.late_cents / DAY_SOONER_S)
    best = search(model.data, model.solution(start), late_cents, seed, iterations)
    found = model.route(best)
    better = is_possible(problem, found) and rank(problem, found) < rank(problem, start)
    return found if better else start


def search(
    data: pyvrp.ProblemData, start: pyvrp.Solution, late_cents: float, seed: int, iterations: int
) -> pyvrp.Solution:
    """PyVRP's own search, for fewer steps than its defaults are made for.

    Notes
    -----
    A route may be late on the way to a better one, at a price that the search raises or lowers by
    and by. Its default price of a second is ten thousand times what a second of work is worth here,
    and as long as it falls nothing much is found; so it starts at ``late_cents``. As little is
    found while it must rise, as it must where must-visits are late: a late day outweighs all money.
    It is also revised sooner, and the search goes back to good routes sooner: as long as it looks
    back to where it began, it takes whatever is better than that. With fewer neighbours a step
    takes a third of the time, and three steps find more than one. Measured against a long search
    (``tests/bench/bench_week.py``): 24 fields nothing, 100 fields at most 1.5 % above it.
    """
    import pyvrp
    from pyvrp import search as moves
    from pyvrp.exceptions import PenaltyBoundWarning
    from pyvrp.stop import MaxIterations

    around = moves.LocalSearch(
        data,
        pyvrp.RandomNumberGenerator(seed=seed),
        moves.compute_neighbours(data, moves.NeighbourhoodParams(num_neighbours=NEIGHBOURS)),
        moves.PerturbationManager(moves.PerturbationParams(1, MOST_CHANGES)),
    )
    for operator in moves.OPERATORS:
        if operator.supports(data):
            around.add_operator(operator(data))
    prices = pyvrp.PenaltyManager(
        ([late_cents * 60], late_cents, late_cents),
        pyvrp.PenaltyParams(solutions_between_updates=STEPS_BETWEEN_PRICES),
    )
    algorithm = pyvrp.IteratedLocalSearch(
        data, prices, around, start, pyvrp.IteratedLocalSearchParams(history_length=HISTORY)
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)  # about what it tries meanwhile
        enough = MaxIterations(iterations)

        def stop(best_cost: int) -> bool:
            step()
            return enough(best_cost)

        return algorithm.run(stop, collect_stats=False, display=False).best


def reachable_spans(problem: RouteProblem, site: RouteField) -> tuple[Span, ...]:
    """A site's spans as far as anybody works; spans with only nights between them are one."""
    works = [
        Span(shift.starts_s, shift.ends_s - site.service_s)
        for shift in problem.shifts
        if shift.starts_s + site.service_s <= shift.ends_s and site.is_for(shift)
    ]
    joined: list[Span] = []
    for span in site.spans:
        if not any(meet(span, work) for work in works):
            continue
        if joined and not any(
            meet(Span(joined[-1].last_s + 1, span.first_s - 1), work) for work in works
        ):
            joined[-1] = Span(joined[-1].first_s, span.last_s)
        else:
            joined.append(span)
    return tuple(joined)


def between(matrix: IntArray, places: IntArray) -> IntArray:
    """A matrix of the problem, for some places in their order."""
    part: IntArray = matrix[np.ix_(places, places)]
    return part


def meet(one: Span, other: Span) -> bool:
    """Whether two spans have a moment in common."""
    return max(one.first_s, other.first_s) <= min(one.last_s, other.last_s)


class Model:
    """A problem in PyVRP's terms, and the way back.

    A site with several spans is as many clients, of which at most one may be visited; one without
    any is left out. With ``musts_first`` must-visits may be missed, at a price above all others;
    else they are required.
    """

    def __init__(
        self, problem: RouteProblem, spans: list[tuple[Span, ...]], *, musts_first: bool
    ) -> None:
        import pyvrp

        self.problem = problem
        self.sites = [index for index, of_site in enumerate(spans) if of_site]
        self.homes = sorted({at for shift in problem.shifts for at in (shift.start, shift.home)})
        self.bound = any(problem.sites[index].scout is not None for index in self.sites)
        self.profiles = sorted({self.profile(shift) for shift in problem.shifts})
        self.client_site: list[int] = []
        clients: list[pyvrp.Client] = []
        groups: list[pyvrp.ClientGroup] = []
        prize = must_cents(problem) if musts_first else 0
        for location, index in enumerate(self.sites, len(self.homes)):
            site, several = problem.sites[index], len(spans[index]) > 1
            required = site.must and not musts_first
            if several:
                members = range(len(clients), len(clients) + len(spans[index]))
                groups.append(pyvrp.ClientGroup(list(members), required=required))
            for span in spans[index]:
                self.client_site.append(index)
                clients.append(
                    pyvrp.Client(
                        location,
                        delivery=[1],
                        service_duration=site.service_s,
                        tw_early=max(0, span.first_s),
                        tw_late=span.last_s,
                        prize=max(0, site.skip_cents) + site.must * prize,
                        required=required and not several,
                        group=len(groups) - 1 if several else None,
                    )
                )
        places = np.array([*self.homes, *(problem.sites[i].place for i in self.sites)])
        self.clients = clients
        # PyVRP's stubs say ndarray[int], which numpy's do not know.
        distances: list[Any] = [self.cents(places, *profile) for profile in self.profiles]
        durations: list[Any] = [between(problem.drive_s, places)] * len(self.profiles)
        self.data = pyvrp.ProblemData(
            [pyvrp.Location(0, 0) for _ in places],
            clients,
            [pyvrp.Depot(location) for location in range(len(self.homes))],
            self.vehicles(),
            distances,
            durations,
            groups,
        )

    def vehicles(self) -> list[pyvrp.VehicleType]:
        """One for each shift."""
        import pyvrp

        return [
            pyvrp.VehicleType(
                start_depot=self.homes.index(shift.start),
                end_depot=self.homes.index(shift.home),
                capacity=[shift.most_stops],
                tw_early=shift.starts_s,
                tw_late=shift.ends_s,
                profile=self.profiles.index(self.profile(shift)),
            )
            for shift in self.problem.shifts
        ]

    def profile(self, shift: Shift) -> tuple[int, str]:
        """What sets the costs of a shift: its day; its scout where any field is bound to one."""
        return shift.day, shift.scout if self.bound else ""

    def cents(self, places: IntArray, day: int, scout: str) -> IntArray:
        """What it costs to drive from i to j and to walk j only that day, by that scout."""
        sites = [self.problem.sites[index] for index in self.sites]
        never = 2 * must_cents(self.problem)
        waits = [
            self.problem.waiting(site, day) + never * (site.scout not in (None, scout))
            for site in sites
        ]
        cents = between(self.problem.drive_cents, places)
        cents += np.array([0] * len(self.homes) + waits, dtype=np.int64)
        np.fill_diagonal(cents, 0)
        return cents

    def solution(self, route: Route) -> pyvrp.Solution:
        """A route of ours as one of PyVRP's."""
        import pyvrp

        routes = []
        for shift, order in enumerate(route.orders):
            stops = schedule(self.problem, shift, order) or ()
            visits = [self.client(stop.site, stop.begins_s) for stop in stops]
            if visits:
                routes.append(pyvrp.Route(self.data, visits, shift))
        return pyvrp.Solution(self.data, routes)

    def client(self, site: int, begins_s: int) -> int:
        """The client that stands for a site at a moment."""
        return next(
            number
            for number, client in enumerate(self.clients)
            if self.client_site[number] == site and client.tw_early <= begins_s <= client.tw_late
        )

    def route(self, solution: pyvrp.Solution) -> Route:
        """A solution of PyVRP's as a route of ours."""
        orders: list[tuple[int, ...]] = [()] * len(self.problem.shifts)
        for vehicle in solution.routes():
            visits = (activity.idx for activity in vehicle if activity.is_client())
            orders[vehicle.vehicle_type()] = tuple(self.client_site[visit] for visit in visits)
        return Route(tuple(orders))
