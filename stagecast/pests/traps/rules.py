"""First, sustained, middle and peak catch of one trap, pest and year, by declared rules.

A check is a day and what was caught since the check before. A catch below the least one counted
is read as nothing. Every rule answers in the unit of the days it is given, or None for never.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from stagecast.knowledge.rules import TrapRules

Check = tuple[float, float]
"""A day, in any unit of days, and the catch since the check before."""

Event = Literal["first", "sustained", "middle", "peak"]
EVENTS: Final[tuple[Event, ...]] = ("first", "sustained", "middle", "peak")


@dataclass(frozen=True, slots=True)
class Flight:
    """The days of one flight, each None where it is not known to have come.

    Attributes
    ----------
    first, sustained, middle, peak: in the unit of the checks' days.
    open_start: the first check of all caught something already, so the first catch may have been
        missed.
    """

    first: float | None
    sustained: float | None
    middle: float | None
    peak: float | None
    open_start: bool

    def day(self, event: Event) -> float | None:
        """The day of one of the four events."""
        found: float | None = getattr(self, event)
        return found


def flight(checks: Iterable[Check], rules: TrapRules) -> Flight:
    """All events of one trap, pest and year, whatever the order of the checks."""
    made = list(checks)
    least = float(int(rules.least_catch))
    counted = _counted(made, least)
    return Flight(
        first=first_catch(made, least=least),
        sustained=sustained_catch(made, least=least, in_a_row=int(rules.sustained_checks)),
        middle=middle_catch(made, least=least),
        peak=peak_catch(made, least=least),
        open_start=bool(counted) and counted[0][1] > 0.0,
    )


def catch_day(
    checks: Iterable[tuple[dt.date, float]], event: Event, *, rules: TrapRules
) -> dt.date | None:
    """The calendar day of one event of a trap, pest and year, from its dated checks."""
    day = flight(((float(date.toordinal()), count) for date, count in checks), rules).day(event)
    return None if day is None else dt.date.fromordinal(math.floor(day))


def first_catch(checks: Iterable[Check], *, least: float) -> float | None:
    """Day of the first check that caught at least ``least`` insects."""
    return next((day for day, count in _counted(checks, least) if count > 0.0), None)


def sustained_catch(checks: Iterable[Check], *, least: float, in_a_row: int) -> float | None:
    """Day of the first of ``in_a_row`` checks in a row that each caught at least ``least``.

    It is known only once the last of these checks was made.
    """
    start, run = 0.0, 0
    for day, count in _counted(checks, least):
        start, run = (day if run == 0 else start, run + 1) if count > 0.0 else (0.0, 0)
        if run == in_a_row:
            return start
    return None


def middle_catch(checks: Iterable[Check], *, least: float) -> float | None:
    """Day by which half of the total was caught.

    Notes
    -----
    The catch of a check is spread evenly over the days since the check before; that of the first
    check, which has none before it, falls on its own day. Of a flight that is still on it is the
    middle so far.
    """
    counted = _counted(checks, least)
    half = sum(count for _, count in counted) / 2
    if half <= 0.0:
        return None
    so_far, before = 0.0, counted[0][0]
    for day, count in counted:
        if so_far + count >= half and count > 0.0:
            return before + (day - before) * (half - so_far) / count
        so_far, before = so_far + count, day
    return counted[-1][0]  # rounding kept the sum of parts below half of the whole


def peak_catch(checks: Iterable[Check], *, least: float) -> float | None:
    """Day of the largest catch, the first of equals; None before a later check caught fewer.

    A catch that no smaller one has followed may be the flank of a flight still rising.
    """
    counted = _counted(checks, least)
    most = max((count for _, count in counted), default=0.0)
    peak = next((day for day, count in counted if count == most), None)
    over = any(day > peak and count < most for day, count in counted) if peak is not None else False
    return peak if most > 0.0 and over else None


def _counted(checks: Iterable[Check], least: float) -> list[Check]:
    """The checks in order of days; what lies below the least catch is nothing."""
    return [(day, count if count >= least else 0.0) for day, count in sorted(checks)]
