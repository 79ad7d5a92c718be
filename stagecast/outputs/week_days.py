"""The days of the week's route on a screen: a block per scout and day, a row per stop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from stagecast.outputs.frame import name_of
from stagecast.outputs.notes import counted
from stagecast.outputs.screen import STYLES, cell, clean, day_text, paragraph, table
from stagecast.outputs.week_words import (
    area_text,
    check_text,
    clock_text,
    due_text,
    hours_text,
    how_text,
    ids_text,
    looks_text,
    more_sets_text,
    seen_text,
    waiting_text,
)
from stagecast.scouting.units import distance_text, temperature_text
from stagecast.scouting.week_types import HotDay, ScoutDay, WeekRoute, WeekStop

WIDE_SCREEN, NARROW_SCREEN = 110, 70
LOOKS = {False: 3, True: 4}
"""How many things to look for are named at a stop, on a narrow and on a wide screen."""
WAITING_IDS = 4

Span = tuple[dt.datetime, dt.datetime]


def show_days(console: Console, week: WeekRoute) -> None:
    """Every day, with what is walked on it or why nothing is."""
    for number, day in enumerate(week.days):
        if number:
            console.print()
        _day(console, day, week)


def _day(console: Console, day: ScoutDay, week: WeekRoute) -> None:
    scout = f", {day.scout}" if day.scout else ""
    paragraph(console, f"{day_text(day.date, weekday=True)}{scout}", "bold")
    if not day.stops:
        paragraph(console, _nothing(day, week), "quiet")
    else:
        joint = "\n" if console.width < NARROW_SCREEN else ", "
        console.print(cell(joint.join(_hours(day, week)), "quiet"))
    if day.hot is not None:
        paragraph(console, _heat(day.hot, week), "now")
    if day.stops and console.width < NARROW_SCREEN:
        _stacked(console, day, week)
    elif day.stops:
        console.print(_stops(day, week, width=console.width))


def _nothing(day: ScoutDay, week: WeekRoute) -> str:
    """Why a working day has no stops, and which fields that are due wait for a later day."""
    later = [
        stop
        for stop in week.stops
        if stop.arrive.date() > day.date and _due_by(stop.plan.visit.due, day.date)
    ]
    left = [one for one in week.left_out if _due_by(one.plan.visit.due, day.date)]
    if not later:
        return "nothing worth the drive" if left else "nothing is due"
    dates = sorted({stop.arrive.date() for stop in later[:WAITING_IDS]})
    waits = []
    for date in dates:
        ids = [stop.field_id for stop in later[:WAITING_IDS] if stop.arrive.date() == date]
        wait = "waits" if len(ids) == 1 else "wait"
        waits.append(f"{ids_text(ids, most=WAITING_IDS)} {wait} for {day_text(date, weekday=True)}")
    more = len(later) - WAITING_IDS
    text = ", ".join(waits) + (f", {more} more for later" if more > 0 else "")
    return f"nothing worth the drive: {text}"


def _due_by(due: dt.date | None, day: dt.date) -> bool:
    return due is not None and due <= day


def _hours(day: ScoutDay, week: WeekRoute) -> Iterator[str]:
    units = week.season.loaded.season.settings.units
    hours = ""
    if day.leave_home is not None and day.back_home is not None:
        hours = f"{_span((day.leave_home, day.back_home))}, "
    yield hours + counted(len(day.stops), "field")
    yield f"{distance_text(day.drive_km, units)} in {hours_text(day.drive_min)}"
    yield f"{hours_text(day.work_min)} in fields"


def _span(span: Span) -> str:
    first, last = span
    return f"{clock_text(first)}-{clock_text(last)}"


def _heat(hot: HotDay, week: WeekRoute) -> str:
    units = week.season.loaded.season.settings.units
    high, limit = (temperature_text(c, units) for c in (hot.high_c, hot.limit_c))
    return f"hot: high near {high}, {hot.chance:.0%} chance of {limit} or more"


def _rows(day: ScoutDay) -> list[tuple[Span, WeekStop | None]]:
    """The stops, and lunch between them as None, in the order of their times."""
    rows: list[tuple[Span, WeekStop | None]] = [((s.arrive, s.leave), s) for s in day.stops]
    if day.lunch is not None:
        rows.append((day.lunch, None))
    return sorted(rows, key=lambda row: row[0])


def _stacked(console: Console, day: ScoutDay, week: WeekRoute) -> None:
    """Stops on a phone: times and field on a line, the rest below it."""
    for span, stop in _rows(day):
        if stop is None:
            console.print(_line(f"{_span(span)}  lunch", "quiet"))
            continue
        console.print(_line(f"{_span(span)}  {name_of(stop.plan)}", "bold"))
        for text in (_owner(stop, week), *_told(stop, week, wide=False)):
            console.print(Padding(_line(text), (0, 0, 0, 2)))


def _line(text: str, style: str = "") -> Text:
    return Text(clean(text), style=STYLES.get(style, style))


def _stops(day: ScoutDay, week: WeekRoute, *, width: int) -> Table:
    made = table("", "field", "how, and what to look for first")
    for column, most in zip(made.columns, (11, width // 4), strict=False):
        column.max_width = most
    made.columns[0].no_wrap = True
    for span, stop in _rows(day):
        if stop is None:
            made.add_row(cell(_span(span), "quiet"), cell("lunch", "quiet"), cell(""))
            continue
        told = "\n".join(_told(stop, week, wide=width >= WIDE_SCREEN))
        field = f"{name_of(stop.plan)}\n{clean(_owner(stop, week))}"
        made.add_row(cell(_span(span)), cell(field), cell(told))
    return made


def _owner(stop: WeekStop, week: WeekRoute) -> str:
    """Grower and area."""
    field = stop.plan.forecast.field
    area = area_text(field.area_acres, week.season.loaded.season.settings.units)
    return ", ".join(filter(None, (field.grower, area)))


def _told(stop: WeekStop, week: WeekRoute, *, wide: bool) -> list[str]:
    """Why it is walked, how, and what to look for, a line each."""
    knowledge = week.season.loaded.knowledge
    why = "; ".join(filter(None, (due_text(stop), seen_text(stop), waiting_text(stop))))
    more = more_sets_text(stop, knowledge)
    how = how_text(stop, knowledge) + (f", {more}" if more else "")
    lines = (why, check_text(stop), how, looks_text(stop, most=LOOKS[wide]))
    # A line break in what was typed must not look like one of ours.
    return [clean(line) for line in lines if line]
