"""What moved when the week was planned anew, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.dates import said_day
from stagecast.scouting.route.problem import Route
from stagecast.scouting.week_problem import Week
from stagecast.scouting.week_types import Moved

Place = tuple[dt.date, str]
"""A day, and the scout who walks the field on it."""


def moves(
    before: tuple[Week, Route],
    after: tuple[Week, Route],
    off: Sequence[dt.date],
    done: Sequence[str],
) -> tuple[Moved, ...]:
    """Fields whose day or scout changed, those of the days that are off first.

    Parameters
    ----------
    before, after : (Week, Route)
        The same days without and with what was said.
    off : sequence of datetime.date
    done : sequence of str
    """
    was, now = places(*before), places(*after)
    changed = [
        Moved(field_id, was.get(field_id), now.get(field_id), "")
        for field_id in {**was, **now}
        if was.get(field_id) != now.get(field_id)
    ]
    told = [Moved(one.field_id, one.was, one.to, _why(one, off, done)) for one in changed]
    first = dt.date.max, ""
    return tuple(sorted(told, key=lambda one: (one.was or first, one.to or first, one.field_id)))


def places(week: Week, route: Route) -> dict[str, Place]:
    """Day and scout of every field that is walked."""
    return {
        week.fields[site].field_id: (week.dates[shift.day], shift.scout)
        for shift, order in zip(week.problem.shifts, route.orders, strict=True)
        for site in order
    }


def _why(one: Moved, off: Sequence[dt.date], done: Sequence[str]) -> str:
    if one.field_id in done:
        return "done"
    if one.was is not None and one.was[0] in off:
        lost = f"{said_day(one.was[0])} is off"
        return lost if one.to is not None else f"{lost}, and no other day has hours for it"
    days = ", ".join(said_day(day) for day in off)
    about = [f"{days} {'is' if len(off) == 1 else 'are'} off"] if off else []
    about += [f"{', '.join(done)} {'is' if len(done) == 1 else 'are'} done"] if done else []
    reason = " and ".join(about)
    if one.was is None:
        return f"now there are hours for it, since {reason}"
    if one.to is None:
        return f"its hours go to fields that lose more by waiting, since {reason}"
    return f"on the way of that day now, since {reason}"
