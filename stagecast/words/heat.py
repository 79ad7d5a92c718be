"""Words for a pest's heat: where a season stands among past ones, for scouts and for growers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from stagecast.base.dates import said_day
from stagecast.base.units import F_PER_C, Units, heat_scale
from stagecast.pests.curves import CurveWeek, HeatRange, PestCurve
from stagecast.visits.heat import PestEvent, WindowHeat
from stagecast.words.notes import counted
from stagecast.words.plain import explained, headed, plain_day, typed

SCOUTS_FROM, GROWERS_FROM = 0.1, 0.25
"""Share of the heat of the first event, or of a window, from which days ahead or behind are told.

In winter a degree-day may take weeks, and days would say nothing.
"""


def heat_note(units: Units) -> str:
    """What the unit of heat is."""
    if units == "metric":
        return "C d: degree-days in degrees Celsius."
    return (
        "F d: degree-days in degrees Fahrenheit. C d, in notes: in degrees Celsius; 1 C d is "
        f"{F_PER_C:g} F d."
    )


def past_text(curve: PestCurve, to: str) -> str:
    """The past seasons behind a curve: ``12 past seasons, 2014 to 2025``."""
    years = curve.past_years
    if not years:
        return "no past season is whole"
    return f"{counted(len(years), 'past season')}, {min(years)}{to}{max(years)}"


def standing_text(
    curve: PestCurve, units: Units, *, first_need_c: float, in_full: bool = False
) -> str:
    """Where this season stands among past ones; in days once heat tells days apart.

    Every number has its unit, ``F d``; in full only the first has, ``degree-days F``.
    """
    if curve.so_far is None or curve.last_known is None:
        return "Nothing is counted yet this season."
    scale, letter = heat_scale(units)
    unit, again = (f" degree-days {letter}", "") if in_full else (f" {letter} d",) * 2
    text = f"By {said_day(curve.last_known)}: {scale * curve.so_far:.0f}{unit}"
    past = curve.past_so_far
    if past is None:
        return f"{text}."
    low, middle, high = (f"{scale * heat:.0f}{again}" for heat in (past.p10, past.p50, past.p90))
    text += f"; past seasons {middle} ({low} to {high}) by that day"
    if curve.days_ahead is None or curve.so_far < SCOUTS_FROM * first_need_c:
        return f"{text}."
    days = round(curve.days_ahead)
    if days == 0:
        return f"{text}. This season is level with the middle of them."
    side = "ahead of" if days > 0 else "behind"
    return f"{text}. This season is about {counted(abs(days), 'day')} {side} the middle of them."


def grower_sentences(
    heat: WindowHeat, units: Units, as_of: dt.date, *, stale_days: int
) -> Iterator[str]:
    """The heat behind a window, for a grower.

    Readings that ended more than ``stale_days`` ago say nothing of early or late.
    """
    curve, (scale, unit) = heat.curve, heat_scale(units)
    yield "Degree-days add up warmth for this insect."
    need, opens = scale * heat.need_c, heat.window.opens.p50
    if opens is not None and opens > as_of:
        # What a pest does, without the words of the trade in brackets.
        what = typed(heat.title.partition(" (")[0])
        yield f"{headed(explained(what))}: about {plain_day(opens)}."
    if curve.so_far is None or curve.last_known is None:
        starts = f"The count starts {plain_day(curve.biofix)}"
        yield f"{starts}; we look from {need:.0f} degree-days {unit} on."
        return
    last, so_far = plain_day(curve.last_known), scale * curve.so_far
    told = f"By {last} there were {so_far:.0f} degree-days {unit}"
    if curve.past_so_far is not None:
        told += f"; {scale * curve.past_so_far.p50:.0f} is usual by then"
    yield f"{told}. We look from {need:.0f} on."
    if (as_of - curve.last_known).days > stale_days:
        yield f"There are no readings since {last}."
    elif curve.days_ahead is not None and curve.so_far >= GROWERS_FROM * heat.need_c:
        yield _pace(round(curve.days_ahead))


def _pace(days_ahead: int) -> str:
    if days_ahead == 0:
        return "This year keeps the usual pace."
    side = "early" if days_ahead > 0 else "late"
    return f"This year runs about {counted(abs(days_ahead), 'day')} {side}."


def about_text(first: dt.date, last: dt.date, as_of: dt.date) -> str:
    """Since when a pest is about that comes to the fields between two days: ``from 9 Jul``."""
    if last <= as_of:
        return "now"
    start = f"from {said_day(first)}" if first > as_of else "now"
    return start if first == last else f"{start}, in the last field from {said_day(last)}"


def event_title(event: PestEvent) -> str:
    """An event with its generation: ``eggs hatch, generation 2``."""
    return _told(event, event.title)


def event_text(event: PestEvent) -> str:
    """An event on a chart, without words in brackets: ``eggs hatch, generation 2``."""
    return _told(event, event.title.partition(" (")[0])


def _told(event: PestEvent, title: str) -> str:
    name = title if event.generation == 1 else f"{title}, generation {event.generation}"
    return f"{name} (unverified)" if event.unverified else name


def span_said(first: dt.date, last: dt.date) -> str:
    """Two days and what lies between: ``9 Jul``, ``22-23 Aug``, ``29 May-2 Jun``."""
    if first == last:
        return said_day(first)
    start = str(first.day) if first.month == last.month else said_day(first)
    return f"{start}-{said_day(last)}"


def week_text(week: CurveWeek) -> str:
    """The heat at the end of a week, in brackets that of past seasons: ``182 (150 185 210)``."""
    this, *past = week_heats(week.this_season, week.past, none="-")
    return this if week.past is None else f"{this} ({' '.join(past)})"


def week_heats(this_season: float | None, past: HeatRange | None, *, none: str) -> tuple[str, ...]:
    """A row of numbers: this season, and the low, middle and high of past ones."""
    heats = (this_season, *((past.p10, past.p50, past.p90) if past is not None else (None,) * 3))
    return tuple(none if heat is None else f"{heat:.0f}" for heat in heats)
