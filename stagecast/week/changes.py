"""What moved when the week was planned anew, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from stagecast.week.days import LeftOutWhy
from stagecast.week.problem import Week, WeekRequest
from stagecast.week.route.problem import Route

DayAndScout = tuple[dt.date, str]
"""A day, and the scout who walks the field on it."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A field whose day or scout changed when the week was planned anew.

    ``was`` and ``to`` are None where it was or is left out; ``day_off`` is its old day where that
    is off now, ``off_for`` the one scout for whom it is; ``left_out`` says why it is left out now.
    """

    field_id: str
    was: DayAndScout | None
    to: DayAndScout | None
    day_off: dt.date | None = None
    left_out: LeftOutWhy | None = None
    off_for: str = ""


def moves(
    before: tuple[Week, Route],
    after: tuple[Week, Route],
    asked: WeekRequest,
    left_out: Mapping[str, LeftOutWhy],
) -> tuple[Moved, ...]:
    """Fields whose day or scout changed, by the day they were on; those that are done set aside.

    ``before`` and ``after`` are the same days without and with what was said.
    """
    was, to = places(*before), places(*after)
    known = {field.field_id for field in after[0].fields}
    found = []
    for field_id in {**was, **to}:
        old, new = was.get(field_id), to.get(field_id)
        if field_id in known and old != new:
            day, scout = old if old is not None and asked.is_off(*old) else (None, "")
            why = left_out.get(field_id) if new is None else None
            off_for = "" if (None, day) in asked.off else scout
            found.append(Moved(field_id, old, new, day, why, off_for))
    last = dt.date.max, ""
    return tuple(sorted(found, key=lambda one: (one.was or last, one.to or last, one.field_id)))


def places(week: Week, route: Route) -> dict[str, DayAndScout]:
    """Day and scout of every field that is walked."""
    return {
        week.fields[site].field_id: (week.dates[shift.day], shift.scout)
        for shift, order in zip(week.problem.shifts, route.orders, strict=True)
        for site in order
    }
