"""What moved when the week was planned anew, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from stagecast.base.dates import said_day
from stagecast.week.problem import Week
from stagecast.week.route.problem import Route
from stagecast.week.types import Moved

Place = tuple[dt.date, str]
"""A day, and the scout who walks the field on it."""


def moves(
    before: tuple[Week, Route],
    after: tuple[Week, Route],
    off: Sequence[dt.date],
    left_out: Mapping[str, str],
) -> tuple[Moved, ...]:
    """Fields whose day or scout changed, by the day they were on; those that are done set aside.

    Parameters
    ----------
    before, after : (Week, Route)
        The same days without and with what was said.
    off : sequence of datetime.date
    left_out : mapping
        Field id -> why it is left out now.
    """
    was, to = places(*before), places(*after)
    known = {field.field_id for field in after[0].fields}
    told = [
        Moved(field_id, was.get(field_id), to.get(field_id), _why(field_id, was, to, off, left_out))
        for field_id in {**was, **to}
        if field_id in known and was.get(field_id) != to.get(field_id)
    ]
    last = dt.date.max, ""
    return tuple(sorted(told, key=lambda one: (one.was or last, one.to or last, one.field_id)))


def places(week: Week, route: Route) -> dict[str, Place]:
    """Day and scout of every field that is walked."""
    return {
        week.fields[site].field_id: (week.dates[shift.day], shift.scout)
        for shift, order in zip(week.problem.shifts, route.orders, strict=True)
        for site in order
    }


def _why(
    field_id: str,
    was: Mapping[str, Place],
    to: Mapping[str, Place],
    off: Sequence[dt.date],
    left_out: Mapping[str, str],
) -> str:
    """Its day is off; or others make room, or need it."""
    lost = f"{said_day(was[field_id][0])} is off" if _was_off(field_id, was, off) else ""
    if field_id not in to:
        reason = left_out.get(field_id, "")
        return f"{lost}; {reason}" if lost else reason
    if lost:
        return lost
    return "there are hours for it now" if field_id not in was else "on the way of that day now"


def _was_off(field_id: str, was: Mapping[str, Place], off: Sequence[dt.date]) -> bool:
    return field_id in was and was[field_id][0] in off
