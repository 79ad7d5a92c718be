"""Two rules of thumb, to see what the route is worth beside them.

Both walk what must be walked first, and else follow their rule without looking further.
"""

from __future__ import annotations

from stagecast.week.route.problem import Route, RouteProblem, Shift, schedule, soonest


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
    if begins is None:
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
