"""Routes without a solver: two plain rules, and insertion that is improved until nothing helps.

Notes
-----
Walking site i in shift s is worth ``skip[i] - wait[i, day of s]``; a route is worth that much over
all sites walked, less the driving. This is what staying at home costs less what the route costs.
A must-visit is worth more than all other money together, so it goes before everything else.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise, product

import numpy as np
from numpy.typing import NDArray

from stagecast.base.steps import step
from stagecast.week.route.problem import (
    IntArray,
    Route,
    RouteField,
    RouteProblem,
    Shift,
    cost,
    nowhere,
    schedule,
    soonest,
)


def nearest_first(problem: RouteProblem) -> Route:
    """Drive on to the nearest field each time, for as long as it can be done and home reached.

    Notes
    -----
    A field at whose gate one would have to wait comes after all that are open; the shorter the
    wait, the sooner.
    """
    left = set(range(len(problem.sites)))
    orders = []
    for shift in problem.shifts:
        order: list[int] = []
        now, place = shift.starts_s, shift.start
        while ahead := [way for site in left if (way := way_to(problem, shift, site, now, place))]:
            if len(order) == shift.most_stops:
                break
            *_, site, now = min(ahead)
            place = problem.sites[site].place
            order.append(site)
            left.remove(site)
        orders.append(tuple(order))
    return Route(tuple(orders))


def way_to(
    problem: RouteProblem, shift: Shift, index: int, now: int, place: int
) -> tuple[bool, int, int, int, int] | None:
    """How a field ranks as the next one, the field, and when it is done; None where it cannot be.

    Must-visits rank first, then short waits at the gate, then short drives.
    """
    site = problem.sites[index]
    drive_s = int(problem.drive_s[place, site.place])
    begins = soonest(site, now + drive_s)
    if begins is None or not site.is_for(shift):
        return None
    ends = begins + site.service_s
    if ends + int(problem.drive_s[site.place, shift.home]) > shift.ends_s:
        return None
    return not site.must, begins - now - drive_s, drive_s, index, ends


def due_first(problem: RouteProblem) -> Route:
    """Take the fields by due date, each at the end of the first shift in which it can be done."""
    orders: list[list[int]] = [[] for _ in problem.shifts]
    sites = problem.sites
    for site in sorted(range(len(sites)), key=lambda i: (not sites[i].must, sites[i].due_day, i)):
        for shift, order in enumerate(orders):
            if schedule(problem, shift, [*order, site]) is not None:
                order.append(site)
                break
    return Route(tuple(map(tuple, orders)))


NEVER = np.int64(2**60)
"""A moment after all others; its negative is the gain of what cannot be done."""

CANNOT = -NEVER // 2
"""A gain below which something cannot be done."""

MOST_EXCHANGED = 30
"""Shifts up to which every two of them are tried the other way round."""

MOST_TRIED = 500_000
"""Sites times shifts that are gone through in all, so that no problem takes for ever."""

Orders = list[list[int]]
FloatArray = NDArray[np.float64]


def solve(problem: RouteProblem) -> Route:
    """A good route, the same each time.

    It can be done; no single insertion, removal, move, exchange or reversal makes it cheaper.
    """
    if not problem.sites or not problem.shifts:
        return nowhere(problem)
    ground = Ground(problem)
    # Neither way of choosing what to insert is always the better one.
    routes = [improved(ground, nowhere(problem), hourly=hourly) for hourly in (True, False)]
    best = min(routes, key=lambda route: rank(problem, route))
    for rule in (nearest_first, due_first):
        plain = rule(problem)
        if rank(problem, plain) < rank(problem, best):
            best = improved(ground, plain, hourly=True)
    return best


def improved(ground: Ground, start: Route, *, hourly: bool) -> Route:
    """Insert, and improve until nothing helps, or a large problem has been gone through enough.

    ``hourly`` inserts what gains most for the time it takes, since one costly field of half a day
    may keep out three that cost more together; else what simply gains most.
    """
    orders: Orders = [list(order) for order in start.orders]
    insert_all(ground, orders, hourly=hourly)
    rounds = max(1, MOST_TRIED // (len(ground.place) * len(orders)))
    while rounds and (shorten(ground, orders) or exchange(ground, orders)):
        insert_all(ground, orders, hourly=hourly)
        rounds -= 1
    return Route(tuple(map(tuple, orders)))


def quick(problem: RouteProblem) -> Route:
    """The route of one pass of insertions, for a search to begin with."""
    if not problem.sites or not problem.shifts:
        return nowhere(problem)
    orders: Orders = [[] for _ in problem.shifts]
    insert_all(Ground(problem), orders, hourly=True)
    return Route(tuple(map(tuple, orders)))


def polished(problem: RouteProblem, route: Route) -> Route:
    """The route with whole days exchanged, and all that insertion can better."""
    if not problem.sites or not problem.shifts:
        return route
    ground = Ground(problem)
    orders: Orders = [list(order) for order in route.orders]
    exchange_days(ground, orders)
    better = improved(ground, Route(tuple(map(tuple, orders))), hourly=False)
    return better if rank(problem, better) < rank(problem, route) else route


def filled(problem: RouteProblem, route: Route) -> Route:
    """The route with every site in it that still fits and is worth its drive."""
    if not problem.sites or not problem.shifts:
        return route
    orders: Orders = [list(order) for order in route.orders]
    insert_all(Ground(problem), orders, hourly=False)
    return Route(tuple(map(tuple, orders)))


def rank(problem: RouteProblem, route: Route) -> tuple[int, int]:
    """How bad a route is: must-visits missed, then what it costs, late days counted."""
    costs = cost(problem, route)
    return len(costs.missed), costs.total + problem.late_cents * costs.late


class Ground:
    """A problem as arrays, and what insertions into a shift gain."""

    def __init__(self, problem: RouteProblem) -> None:
        sites, shifts = problem.sites, problem.shifts
        self.problem = problem
        self.place: IntArray = np.array([site.place for site in sites], dtype=np.int64)
        self.service_s: IntArray = np.array([site.service_s for site in sites], dtype=np.int64)
        most = max(1, *(len(site.spans) for site in sites)) if sites else 1
        self.firsts_s: IntArray = np.full((len(sites), most), NEVER, dtype=np.int64)
        self.lasts_s: IntArray = np.full((len(sites), most), -NEVER, dtype=np.int64)
        for row, site in enumerate(sites):
            for column, span in enumerate(site.spans):
                self.firsts_s[row, column] = span.first_s
                self.lasts_s[row, column] = span.last_s
        first = must_cents(problem)
        self.worth: IntArray = np.array(
            [
                [
                    site.skip_cents - problem.waiting(site, shift.day) + site.must * first
                    if site.is_for(shift)
                    else -NEVER
                    for site in sites
                ]
                for shift in shifts
            ],
            dtype=np.int64,
        )

    def soonest(self, sites: IntArray, arrives_s: IntArray) -> IntArray:
        """When work may begin after arriving, as the problem's own; NEVER where it no longer may.

        ``arrives_s`` has shape (positions, sites).
        """
        begins = np.full_like(arrives_s, NEVER)
        for firsts, lasts in zip(self.firsts_s[sites].T, self.lasts_s[sites].T, strict=True):
            in_time = np.where(arrives_s <= lasts, np.maximum(firsts, arrives_s), NEVER)
            begins = np.minimum(begins, in_time)
        return begins

    def margins(self, shift: int, order: Sequence[int]) -> tuple[IntArray, IntArray]:
        """For each leg of a shift: when it may start at the soonest, and end at the latest."""
        day, drive_s = self.problem.shifts[shift], self.problem.drive_s
        stops = schedule(self.problem, shift, order)
        assert stops is not None
        starts = [day.starts_s, *(stop.ends_s for stop in stops)]
        ends = [day.ends_s]
        after = day.home
        for index in reversed(order):
            site = self.problem.sites[index]
            begins = ends[-1] - int(drive_s[site.place, after]) - site.service_s
            ends.append(latest(site, begins))
            after = site.place
        return np.array(starts), np.array(ends[::-1])

    def gains(self, shift: int, order: Sequence[int], sites: IntArray) -> IntArray:
        """What inserting each site at each position of a shift gains, in cents.

        Shape (len(order) + 1, sites); ``-NEVER`` where it cannot be done.
        """
        drive_s = self.problem.drive_s
        if len(order) >= self.problem.shifts[shift].most_stops:
            return np.full((len(order) + 1, len(sites)), -NEVER)
        starts, ends = self.margins(shift, order)
        places = self.places(shift, order)
        before, after, here = places[:-1, None], places[1:, None], self.place[sites]
        begins = self.soonest(sites, starts[:, None] + drive_s[before, here])
        back = begins + self.service_s[sites] + drive_s[here, after]
        extra = self.added_cents(shift, order, sites)
        return np.where(back <= ends[:, None], self.worth[shift, sites] - extra, -NEVER)

    def added_cents(self, shift: int, order: Sequence[int], sites: IntArray) -> IntArray:
        """Driving that each site adds at each position, whatever the hours; shape as of gains."""
        cents, places = self.problem.drive_cents, self.places(shift, order)
        before, after, here = places[:-1, None], places[1:, None], self.place[sites]
        return cents[before, here] + cents[here, after] - cents[before, after]

    def rates(self, shift: int, order: Sequence[int], sites: IntArray) -> FloatArray:
        """The same gains for each second that they take of the shift, waiting left aside."""
        return np.asarray(self.gains(shift, order, sites) / self.added_s(shift, order, sites))

    def added_s(self, shift: int, order: Sequence[int], sites: IntArray) -> IntArray:
        """Seconds of work and driving that each site adds at each position, 1 at least."""
        drive_s, places = self.problem.drive_s, self.places(shift, order)
        before, after, here = places[:-1, None], places[1:, None], self.place[sites]
        more_s = drive_s[before, here] + drive_s[here, after] - drive_s[before, after]
        return np.maximum(1, self.service_s[sites] + more_s)

    def value(self, shift: int, order: Sequence[int]) -> int:
        """What a shift is worth, in cents."""
        worth = sum(int(self.worth[shift, site]) for site in order)
        return worth - self.drive(shift, order)

    def drive(self, shift: int, order: Sequence[int]) -> int:
        """What its driving costs, in cents."""
        legs = pairwise(map(int, self.places(shift, order)))
        return sum(int(self.problem.drive_cents[leg]) for leg in legs)

    def places(self, shift: int, order: Sequence[int]) -> IntArray:
        """The rows that a shift drives to, one after the other, its start and home included."""
        day = self.problem.shifts[shift]
        return np.array([day.start, *self.place[list(order)], day.home], dtype=np.int64)


def must_cents(problem: RouteProblem) -> int:
    """More than any two routes can differ by: what a must-visit is worth before all else."""
    legs = len(problem.sites) + len(problem.shifts)
    most = int(problem.drive_cents.max(initial=0))
    last = max((shift.day for shift in problem.shifts), default=0)
    waiting = sum(
        max(site.skip_cents, *site.wait_cents, 0) + problem.late_cents * site.days_late(last)
        for site in problem.sites
    )
    return 1 + legs * most + waiting


def latest(site: RouteField, bound_s: int) -> int:
    """Latest arrival after which work begins by a moment; far in the past where there is none."""
    lasts = [min(span.last_s, bound_s) for span in site.spans if span.first_s <= bound_s]
    return max(lasts, default=-int(NEVER))


def insert_all(ground: Ground, orders: Orders, *, hourly: bool) -> None:
    """Insert the best site, again and again, while there is one that gains."""
    table_of = ground.rates if hourly else ground.gains
    walked = {site for order in orders for site in order}
    left = np.array([i for i in range(len(ground.place)) if i not in walked], dtype=np.int64)
    tables = [table_of(shift, order, left) for shift, order in enumerate(orders)]
    while left.size:
        shift = int(np.argmax([table.max() for table in tables]))
        position, column = np.unravel_index(np.argmax(tables[shift]), tables[shift].shape)
        if tables[shift][position, column] <= 0:
            return
        orders[shift].insert(int(position), int(left[column]))
        left = np.delete(left, column)
        tables = [np.delete(table, column, axis=1) for table in tables]
        tables[shift] = table_of(shift, orders[shift], left)


def shorten(ground: Ground, orders: Orders) -> bool:
    """2-opt: walk part of a shift the other way round where that is shorter."""
    changed = False
    for shift, order in enumerate(orders):
        while better := reversal(ground, shift, order):
            order[:] = better
            changed = True
    return changed


def reversal(ground: Ground, shift: int, order: list[int]) -> list[int] | None:
    """The first reversal that drives less and can be done."""
    drive = ground.drive(shift, order)
    for first in range(len(order) - 1):
        for end in range(first + 2, len(order) + 1):
            other = order[:first] + order[first:end][::-1] + order[end:]
            if (
                ground.drive(shift, other) < drive
                and schedule(ground.problem, shift, other) is not None
            ):
                return other
    return None


def exchange_days(ground: Ground, orders: Orders) -> None:
    """Walk on each of two shifts what the other walks, either way round, while that gains.

    No search for single fields finds this: half an exchange is worse than none.
    """
    if len(orders) > MOST_EXCHANGED:
        return
    changed = True
    while changed:
        changed = False
        for one, other in combinations(range(len(orders)), 2):
            before = ground.value(one, orders[one]) + ground.value(other, orders[other])
            first, second = orders[other], orders[one]
            ways = product((first, first[::-1]), (second, second[::-1]))
            found = [
                (ground.value(one, a) + ground.value(other, b), a, b)
                for a, b in ways
                if schedule(ground.problem, one, a) is not None
                and schedule(ground.problem, other, b) is not None
            ]
            best = max(found, key=lambda way: way[0], default=None)
            if best is not None and best[0] > before:
                orders[one], orders[other] = list(best[1]), list(best[2])
                changed = True


def exchange(ground: Ground, orders: Orders) -> bool:
    """Take each site out once: leave it out, put it elsewhere, or walk another in its place."""
    changed = False
    for site in sorted(site for order in orders for site in order):
        step()
        shift = next(s for s, order in enumerate(orders) if site in order)
        without = [other for other in orders[shift] if other != site]
        if schedule(ground.problem, shift, without) is None:
            continue  # where roads are such that the way round is shorter
        loss = ground.value(shift, orders[shift]) - ground.value(shift, without)
        gain, to, position, which = best_instead(ground, orders, site, shift, without)
        if gain > loss or loss < 0:
            orders[shift] = without
            if gain > 0:
                orders[to].insert(position, which)
            changed = True
    return changed


def best_instead(
    ground: Ground, orders: Orders, site: int, shift: int, without: list[int]
) -> tuple[int, int, int, int]:
    """The best insertion once a site is out: gain, shift, position and site."""
    walked = {walked for order in orders for walked in order} - {site}
    left = np.array([i for i in range(len(ground.place)) if i not in walked], dtype=np.int64)
    best = (-int(NEVER), shift, 0, site)
    for to, order in enumerate(orders):
        sites = left if to == shift else np.array([site])
        gains = ground.gains(to, without if to == shift else order, sites)
        position, column = np.unravel_index(np.argmax(gains), gains.shape)
        if gains[position, column] > best[0]:
            best = (int(gains[position, column]), to, int(position), int(sites[column]))
    return best
