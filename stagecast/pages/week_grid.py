"""The week as a grid: days across, scouts down, in each place the way and the stops of a day.

All small maps show the same stretch of country on one scale, so that a long day looks long.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.textfiles import clean
from stagecast.base.units import Units, distance_text
from stagecast.pages.field_map import (
    Crowd,
    Place,
    Projection,
    around,
    furniture,
    home_at,
    place_label,
    projection,
)
from stagecast.pages.svg import element, path, text
from stagecast.screens.screen import day_text
from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.week import WeekRoute
from stagecast.words.notes import counted
from stagecast.words.week import clock_text, hours_text

WIDTH, LOWEST, TALLEST, MARGIN = 236.0, 90.0, 150.0, 12.0
LONGEST_NAME = 8
"""Letters of an id that a small map has room for."""


@dataclass(frozen=True, slots=True)
class GridStop:
    """A stop: the link to its field, id and name, and when one is there."""

    number: int
    field_id: str
    name: str
    at: str
    place: Place


@dataclass(frozen=True, slots=True, eq=False)
class GridDay:
    """A scout's day; column and row count from 1, and there may be no stop in it."""

    column: int
    row: int
    title: str
    told: str
    today: bool
    start: Place
    home: Place
    stops: tuple[GridStop, ...]

    @property
    def way(self) -> list[Place]:
        """From the start through the stops home."""
        return [self.start, *(stop.place for stop in self.stops), self.home]


@dataclass(frozen=True, slots=True, eq=False)
class WeekGrid:
    """The week: how many days it has across, and each scout's days in order."""

    columns: int
    days: tuple[GridDay, ...]

    @property
    def stops_down(self) -> int:
        """How many stops stand below each other: of each scout those of the fullest day."""
        most: dict[int, int] = {}
        for day in self.days:
            most[day.row] = max(most.get(day.row, 0), len(day.stops))
        return sum(most.values())

    @property
    def first(self) -> tuple[GridDay, ...]:
        """The days of all scouts on the first date with a stop."""
        column = min((day.column for day in self.days if day.stops), default=0)
        return tuple(day for day in self.days if day.column == column and day.stops)


def week_grid(week: WeekRoute, numbers: Mapping[str, int]) -> WeekGrid:
    """Lay the days of a week out; ``numbers`` are those by which links call the fields."""
    dates = sorted({day.date for day in week.days})
    scouts = list(dict.fromkeys(day.scout for day in week.days))
    units = week.season.settings.units
    days = (
        GridDay(
            column=dates.index(day.date) + 1,
            row=scouts.index(day.scout) + 1,
            title=_title(day),
            told=_told(day, units),
            today=day.date == week.season.as_of,
            start=day.start,
            home=day.home,
            stops=tuple(_stop(stop, numbers) for stop in day.stops),
        )
        for day in week.days
    )
    return WeekGrid(len(dates), tuple(days))


def _title(day: ScoutDay) -> str:
    who = f", {day.scout}" if day.scout else ""
    return clean(f"{day_text(day.date, weekday=True)}{who}")


def _told(day: ScoutDay, units: Units) -> str:
    """``8 stops, 7:00 to 15:10, 48 mi``."""
    if not day.stops:
        return "no stops"
    hours = ""
    if day.leave_home is not None and day.back_home is not None:
        hours = f", {clock_text(day.leave_home)} to {clock_text(day.back_home)}"
    drive = f"{distance_text(day.drive_km, units)}, {hours_text(day.work_min)} in fields"
    return f"{counted(len(day.stops), 'stop')}{hours}, {drive}"


def _stop(stop: WeekStop, numbers: Mapping[str, int]) -> GridStop:
    field = stop.plan.forecast.field
    return GridStop(
        number=numbers[stop.field_id],
        field_id=clean(field.field_id),
        name=clean(field.field_name),
        at=clock_text(stop.arrive),
        place=(field.latitude, field.longitude),
    )


def small_maps(grid: WeekGrid, fields: Sequence[Place]) -> Projection:
    """The one scale of all small maps: every field and every home is on each."""
    ends = [place for day in grid.days for place in (day.start, day.home)]
    return projection([*fields, *ends], width=WIDTH, tallest=TALLEST, lowest=LOWEST, margin=MARGIN)


def small_dots(shown: Projection, fields: Sequence[Place]) -> Markup:
    """All fields as dots, drawn once for all small maps."""
    dots = "".join(f"M{x:g} {y:g}h0" for x, y in map(shown, fields))
    return element("path", d=dots, id="all-dots", class_="dots")


def day_map(day: GridDay, shown: Projection, units: Units) -> Markup:
    """A scout's day among all fields: the way, and the ids of its stops where there is room."""
    crowd = Crowd()
    size = shown.width, shown.height
    corner = furniture(shown, crowd, units)
    stops = [(stop, shown(stop.place)) for stop in day.stops]
    for _, at in stops:
        crowd.add(around(at, 3))
    names = []
    for stop, at in stops:
        name = stop.field_id
        if len(name) > LONGEST_NAME:
            continue
        label = place_label(crowd, at, name, size, reach=(3, 6, 12))
        if label is not None:
            names.append(text(name, label[0], label[1] + 4))
    dots = "".join(f"M{x:g} {y:g}h0" for _, (x, y) in stops)
    return element(
        "svg",
        element("use", href="#all-dots"),
        path([shown(place) for place in day.way], class_="way"),
        element("path", d=dots, class_="stops"),
        home_at(shown(day.home)),
        *names,
        corner,
        viewBox=f"0 0 {shown.width:g} {shown.height:g}",
        aria_hidden="true",
        class_="chart map",
    )


def week_told(week: WeekRoute) -> str:
    """What the route does in these days, in a line."""
    walked = sum(len(day.stops) for day in week.days)
    if not week.days:
        return "None of these days is a working day."
    if not walked:
        return "No field is walked on these days."
    told = f"The route walks {counted(walked, 'field')}"
    if week.left_out:
        are = "is" if len(week.left_out) == 1 else "are"
        told += f" and leaves out {counted(len(week.left_out), 'field')} that {are} due"
    return f"{told}."


def days_between(first: dt.date, last: dt.date) -> str:
    """``Tue 7 Jul to Mon 13 Jul``."""
    return f"{day_text(first, weekday=True)} to {day_text(last, weekday=True)}"
