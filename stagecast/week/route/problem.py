"""The week's route as plain numbers: fields, days of work, roads, and what a route costs.

Times are seconds on a *working clock*, on which lunch takes no time (see ``clock.py``): day k of
the route begins k whole days on. Money is whole cents, so that sums are exact and the same input
gives the same route on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]

ANY_NUMBER = 10**6
"""Stops of a shift that nobody has limited."""


@dataclass(frozen=True, slots=True)
class Span:
    """When work in a field may begin, both ends included, in seconds of the working clock."""

    first_s: int
    last_s: int


@dataclass(frozen=True, slots=True)
class RouteField:
    """A field that may be walked.

    Attributes
    ----------
    place: row of the matrices.
    service_s: time in the field.
    spans: in order, not touching; none where the field cannot be walked in these days.
    wait_cents: cost of waiting until it is walked, for each day of the route; never falls.
    skip_cents: the same where it is left out.
    due_day: day of the route by which it is due, negative when overdue; no part of the cost.
    last_day: the day by which a must-visit is to be walked, if it can be; None for any day.
    scout: the one scout who may walk it; None for any.
    """

    field_id: str
    place: int
    service_s: int
    spans: tuple[Span, ...]
    wait_cents: tuple[int, ...]
    skip_cents: int
    must: bool = False
    due_day: int = 0
    last_day: int | None = None
    scout: str | None = None

    def is_for(self, shift: Shift) -> bool:
        """Whether the scout of a shift may walk it."""
        return self.scout is None or self.scout == shift.scout

    def days_late(self, day: int) -> int:
        """Days beyond its last one on which a must-visit is walked; 0 for all others."""
        return 0 if self.last_day is None or not self.must else max(0, day - self.last_day)


@dataclass(frozen=True, slots=True)
class Shift:
    """One scout's work on one day.

    ``home`` is the row of the matrices where the shift ends, ``begins_at`` the one where it starts,
    None for home; soonest start and latest return home are on the working clock. ``most_stops`` is
    how many fields a person wants in a day at most.
    """

    scout: str
    day: int
    home: int
    starts_s: int
    ends_s: int
    begins_at: int | None = None
    most_stops: int = ANY_NUMBER

    @property
    def start(self) -> int:
        """Row of the matrices where the shift starts."""
        return self.home if self.begins_at is None else self.begins_at


@dataclass(frozen=True, slots=True, eq=False)
class RouteProblem:
    """All that a route is worked out from.

    Shifts are by day, then in the order of the scouts. ``drive_s`` and ``drive_cents`` have shape
    (places, places): driving from a row's place to a column's, 0 on the diagonal. ``late_cents`` is
    what a must-visit counts for each day on which it is late: priority, not money.
    """

    sites: tuple[RouteField, ...]
    shifts: tuple[Shift, ...]
    drive_s: IntArray
    drive_cents: IntArray
    late_cents: int = 0

    def waiting(self, site: RouteField, day: int) -> int:
        """What waiting until a day counts: its cost, and for a must-visit the days it is late."""
        return site.wait_cents[day] + self.late_cents * site.days_late(day)


@dataclass(frozen=True, slots=True)
class Stop:
    """A field on a shift's way: when work there begins and ends, on the working clock."""

    site: int
    begins_s: int
    ends_s: int


@dataclass(frozen=True, slots=True)
class Route:
    """For each shift the sites it walks, in order; sites are indices into the problem's."""

    orders: tuple[tuple[int, ...], ...]

    @property
    def walked(self) -> frozenset[int]:
        """All sites that are walked."""
        return frozenset(site for order in self.orders for site in order)


@dataclass(frozen=True, slots=True)
class RouteCost:
    """Cents of driving, of waiting where fields are walked, and where they are left out.

    ``missed`` are sites that must be walked and are not; ``late`` sums up the days by which others
    are late.
    """

    drive: int
    wait: int
    skip: int
    missed: tuple[int, ...] = field(default=())
    late: int = 0

    @property
    def total(self) -> int:
        """The money; must-visits missed, and days by which they are late, go before it."""
        return self.drive + self.wait + self.skip


def schedule(problem: RouteProblem, shift: int, order: Sequence[int]) -> tuple[Stop, ...] | None:
    """When each site of a shift is walked, as soon as it may be; None where it cannot be done."""
    day = problem.shifts[shift]
    if len(order) > day.most_stops:
        return None
    now, place = day.starts_s, day.start
    stops = []
    for index in order:
        site = problem.sites[index]
        if not site.is_for(day):
            return None
        begins = soonest(site, now + int(problem.drive_s[place, site.place]))
        if begins is None:
            return None
        now, place = begins + site.service_s, site.place
        stops.append(Stop(index, begins, now))
    back_s = now + int(problem.drive_s[place, day.home])
    return tuple(stops) if back_s <= day.ends_s else None


def soonest(site: RouteField, arrives_s: int) -> int | None:
    """When work may begin after arriving; None where it no longer may."""
    return next(
        (max(span.first_s, arrives_s) for span in site.spans if arrives_s <= span.last_s), None
    )


def cost(problem: RouteProblem, route: Route) -> RouteCost:
    """What a route costs; its shifts are taken to be possible, see :func:`schedule`."""
    drive = wait = late = 0
    for shift, order in zip(problem.shifts, route.orders, strict=True):
        places = [shift.start, *(problem.sites[i].place for i in order), shift.home]
        drive += int(problem.drive_cents[places[:-1], places[1:]].sum())
        wait += sum(problem.sites[i].wait_cents[shift.day] for i in order)
        late += sum(problem.sites[i].days_late(shift.day) for i in order)
    left = [i for i in range(len(problem.sites)) if i not in route.walked]
    skip = sum(problem.sites[i].skip_cents for i in left)
    missed = tuple(i for i in left if problem.sites[i].must)
    return RouteCost(drive, wait, skip, missed, late)


def late_cents(sites: Sequence[RouteField], drive_cents: IntArray) -> int:
    """More than any one field's waiting and way there and back: one late day goes before both."""
    waiting = max((max(site.skip_cents, *site.wait_cents) for site in sites), default=0)
    return 1 + 2 * int(drive_cents.max(initial=0)) + waiting


def is_possible(problem: RouteProblem, route: Route) -> bool:
    """Whether every shift can be done as ordered and no site is walked twice."""
    once = sum(map(len, route.orders)) == len(route.walked)
    return once and all(
        schedule(problem, shift, order) is not None for shift, order in enumerate(route.orders)
    )


def nowhere(problem: RouteProblem) -> Route:
    """The route that stays at home."""
    return Route(tuple(() for _ in problem.shifts))
