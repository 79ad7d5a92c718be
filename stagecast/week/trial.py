"""What it would come to if a field were put on another day or scout, worked out at once.

All other fields stay on their days; the field goes where it fits best among those of the shift. The
route that is planned anew afterwards may do better.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stagecast.season.locks import Lock
from stagecast.week.days import ScoutDay, scout_day, scout_days
from stagecast.week.problem import Week, ways_driven
from stagecast.week.route.problem import Route, RouteProblem, cost, schedule
from stagecast.week.route.roads import CENTS
from stagecast.week.week import WeekRoute


@dataclass(frozen=True, slots=True)
class Placing:
    """A field on one day of one scout.

    Attributes
    ----------
    here: whether the route has it there now.
    closed: whether one cannot enter it, or be there and home, even with nothing else to walk.
    full: whether it has no room beside the others.
    drive_min: minutes of driving more in the week; negative for less. So for the others.
    drive_cost, waiting_cost: dollars.
    back_home: when that day then ends.
    """

    date: dt.date
    scout: str
    here: bool = False
    closed: bool = False
    full: bool = False
    drive_min: float = 0.0
    drive_cost: float = 0.0
    waiting_cost: float = 0.0
    back_home: dt.datetime | None = None


def trials(route: WeekRoute, field_id: str) -> tuple[Placing, ...]:
    """A field on every day of every scout, in their order; none for a field that is not due."""
    if route.made_of is None:
        return ()
    week, made = route.made_of
    site = _site(week, field_id)
    if site is None:
        return ()
    free = _freed(week, site)
    without = _without(made, site)
    before = cost(week.problem, made)
    found = []
    for index, shift in enumerate(week.problem.shifts):
        date, here = week.dates[shift.day], site in made.orders[index]
        order = (
            made.orders[index] if here else best_place(free.problem, index, without[index], site)
        )
        if order is None:
            alone = schedule(free.problem, index, [site]) is not None
            found.append(Placing(date, shift.scout, closed=not alone, full=alone))
            continue
        tried = made if here else Route((*without[:index], order, *without[index + 1 :]))
        after = cost(free.problem, tried)
        found.append(
            Placing(
                date=date,
                scout=shift.scout,
                here=here,
                drive_min=_minutes(week, tried) - _minutes(week, made),
                drive_cost=(after.drive - before.drive) / CENTS,
                waiting_cost=(after.wait + after.skip - before.wait - before.skip) / CENTS,
                back_home=scout_day(free, index, order).back_home,
            )
        )
    return tuple(found)


def days_with(route: WeekRoute, locks: Mapping[str, Lock]) -> tuple[ScoutDay, ...]:
    """The days of a route with some fields on other ones, for as long as it is planned anew.

    A field that has no room where it was put stays where it is.
    """
    if route.made_of is None:
        return route.days
    week, made = route.made_of
    for field_id, lock in locks.items():
        site = _site(week, field_id)
        index = next(
            (
                i
                for i, shift in enumerate(week.problem.shifts)
                if (week.dates[shift.day], shift.scout) == (lock.day, lock.scout)
            ),
            None,
        )
        if site is None or index is None or site in made.orders[index]:
            continue
        week = _freed(week, site)
        without = _without(made, site)
        order = best_place(week.problem, index, without[index], site)
        if order is not None:
            made = Route((*without[:index], order, *without[index + 1 :]))
    return scout_days(week, made)


def best_place(
    problem: RouteProblem, shift: int, order: Sequence[int], site: int
) -> tuple[int, ...] | None:
    """A shift's order with one more site where that drives least; None where there is no room."""
    found = []
    for place in range(len(order) + 1):
        tried = (*order[:place], site, *order[place:])
        if schedule(problem, shift, tried) is not None:
            day = problem.shifts[shift]
            rows = [day.start, *(problem.sites[i].place for i in tried), day.home]
            found.append((int(problem.drive_cents[rows[:-1], rows[1:]].sum()), tried))
    return min(found)[1] if found else None


def _site(week: Week, field_id: str) -> int | None:
    ids = [field.field_id for field in week.fields]
    return ids.index(field_id) if field_id in ids else None


def _freed(week: Week, site: int) -> Week:
    """The week in which one field is bound to no day."""
    sites = list(week.problem.sites)
    sites[site] = week.open_sites[site]
    return replace(week, problem=replace(week.problem, sites=tuple(sites)))


def _without(made: Route, site: int) -> list[tuple[int, ...]]:
    return [tuple(one for one in order if one != site) for order in made.orders]


def _minutes(week: Week, made: Route) -> float:
    return float(sum(week.roads.minutes[way] for way in ways_driven(week, made)))
