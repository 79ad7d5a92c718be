"""The season on one page: timeline, map, the week's route, a table, and pests' heat."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.base.textfiles import clean
from stagecast.base.units import Units, distance_text
from stagecast.pages.field_map import MapField, Place, RouteStop, home_mark, route_map, season_map
from stagecast.pages.growers.found import found_in
from stagecast.pages.heat_chart import (
    PestPanel,
    heat_charts,
    heat_drawing,
)
from stagecast.pages.needs import NEEDS, Need, need_key, need_marks, need_of
from stagecast.pages.render import render
from stagecast.pages.timeline import (
    Days,
    TimelineRow,
    axis_picture,
    days_of,
    row_picture,
    shared_marks,
    timeline_row,
)
from stagecast.screens.plan import crop_windows_text, pests_text
from stagecast.screens.screen import (
    date_notes,
    day_text,
    entry_notes,
    forecast_notes,
    long_day,
    name_of,
    next_stage_text,
    range_text,
)
from stagecast.season.settings.workday import crew
from stagecast.visits.season_day import FieldDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import WeekRoute, fields_by_need
from stagecast.words.fields import regions_text
from stagecast.words.notes import CAUTION, RANGE_NOTE, STAGES_NOTE, counted, threshold_note
from stagecast.words.plain import stage_said
from stagecast.words.week import (
    above_texts,
    clock_text,
    estimate_text,
    hours_text,
    left_out_text,
    walk_text,
)

MOST_PESTS = 4
"""How many pests are named in a row of the table."""


@dataclass(frozen=True, slots=True, eq=False)
class FieldRow:
    """A field as every part of the page has it.

    Attributes
    ----------
    number: its place by need, from 1; the map and the timeline call it by this
    name, grower: without characters that do harm or are not seen
    day, walk: the day of the route, and the same in words with the rule's day beside it
    found: what was found last, and when
    stage, following, window, pests, route: stage now, the next one with its dates, the crop's
        window, what to look for, and when the week's route comes by
    """

    number: int
    field_id: str
    name: str
    grower: str
    place: Place
    need: Need
    day: dt.date | None
    walk: str
    last_visit: dt.date | None
    found: str
    stage: str
    following: str
    window: str
    pests: str
    route: str
    station: str
    timeline: TimelineRow

    @property
    def words(self) -> str:
        """The field in a line."""
        walk = f", walk {self.walk}" if self.walk else ""
        return f"{self.number}: {self.name}, {NEEDS[self.need]}{walk}, {self.stage}"


@dataclass(frozen=True, slots=True)
class ToDecide:
    """A field above a threshold and not treated since: its number, name, and what was found."""

    number: int
    name: str
    found: str


@dataclass(frozen=True, slots=True, eq=False)
class RouteDay:
    """One scout's day on the page."""

    title: str
    told: str
    home: Place
    stops: tuple[RouteStop, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """All that the page says.

    Attributes
    ----------
    days: the days across the timeline
    rows: by need
    decide: fields that wait for a decision and not for a visit
    undated: which fields wait for their planting date, and which are not planted yet
    refused, closed, notes: fields without a forecast and why; those that may not be entered; what
        stands behind it
    """

    title: str
    told: str
    as_of: dt.date
    units: Units
    days: Days
    rows: tuple[FieldRow, ...]
    decide: tuple[ToDecide, ...]
    refused: tuple[str, ...]
    undated: tuple[str, ...]
    closed: tuple[str, ...]
    notes: tuple[str, ...]
    homes: tuple[Place, ...]
    route_title: str
    route_told: str
    route: tuple[RouteDay, ...]
    heats: tuple[PestPanel, ...]

    @property
    def needs(self) -> dict[Need, int]:
        """How many fields there are of each need, the most pressing first."""
        count = Counter(row.need for row in self.rows)
        return {need: count[need] for need in NEEDS if count[need]}


def overview(week: WeekRoute) -> Overview:
    """Everything the page says of a season and its week."""
    season, settings = week.season, week.season.settings
    days = days_of(season)
    rows = tuple(_rows(week, days))
    numbers = {row.field_id: row.number for row in rows}
    return Overview(
        title=f"Season {settings.year}, all fields",
        told=(
            f"{counted(len(rows), 'field')} as of {long_day(season.as_of)}, "
            f"{regions_text(season.loaded.season)}"
        ),
        as_of=season.as_of,
        units=settings.units,
        days=days,
        rows=rows,
        decide=tuple(
            ToDecide(numbers[field.field_id], name_of(field), clean("; ".join(found)))
            for field, found in above_texts(week.above)
        ),
        refused=tuple(one.sentence() for one in season.loaded.refused),
        undated=tuple(date_notes(season)),
        closed=tuple(entry_notes(fields_by_need(season))),
        notes=tuple(filter(None, _notes(week))),
        homes=tuple((one.latitude, one.longitude) for one in crew(settings, season.knowledge)),
        route_title=f"{day_text(week.first_day, weekday=True)} to "
        f"{day_text(week.last_day, weekday=True)}",
        route_told=_route_told(week),
        route=tuple(_route_day(day, numbers, settings.units) for day in week.days if day.stops),
        heats=heat_charts(season),
    )


def _rows(week: WeekRoute, days: Days) -> Iterator[FieldRow]:
    season = week.season
    visits: dict[str, list[dt.date]] = defaultdict(list)
    for visit in season.loaded.season.visits:
        if visit.date <= season.as_of:
            visits[visit.field_id].append(visit.date)
    routed = _routed(week)
    for number, plan in enumerate(fields_by_need(season), start=1):
        field, forecast, walk = plan.forecast.field, plan.forecast, week.walk_of(plan)
        yield FieldRow(
            number=number,
            field_id=field.field_id,
            name=name_of(plan),
            grower=clean(field.grower),
            place=(field.latitude, field.longitude),
            need=need_of(plan),
            day=walk.day,
            walk="" if walk.due is None else walk_text(walk, day_text=day_text),
            last_visit=plan.visit.last_visit,
            found=_found(plan),
            stage=stage_said(forecast.stage_now),
            following=next_stage_text(plan),
            window=crop_windows_text(plan) or "-",
            pests=pests_text(plan, most=MOST_PESTS) or "-",
            route=clean(routed.get(field.field_id, "")),
            station=forecast.weather.season.station.station,
            timeline=timeline_row(plan, sorted(visits[field.field_id]), days, walk=walk.day),
        )


def _found(field: FieldDay) -> str:
    """What was found last and when: ``stink bugs 19.5 per 25 sweeps, above (7 Jul)``."""
    found = found_in(field)
    return clean(found.short if found.date is None else f"{found.short} ({said_day(found.date)})")


def _routed(week: WeekRoute) -> dict[str, str]:
    """When the route comes by each field, or why it does not."""
    told = {left.field_id: f"left out: {left_out_text(left.why)}" for left in week.left_out}
    for day in week.days:
        for number, stop in enumerate(day.stops, start=1):
            who = f", {day.scout}" if day.scout else ""
            told[stop.field_id] = f"{day_text(day.date, weekday=True)}, stop {number}{who}"
    return told


def _route_told(week: WeekRoute) -> str:
    walked = sum(len(day.stops) for day in week.days)
    if not week.days:
        return "None of these days is a working day."
    if not walked:
        return "No field is walked on these days."
    told = f"The week's route walks {counted(walked, 'field')}"
    if week.left_out:
        left = counted(len(week.left_out), "field")
        are = "is" if len(week.left_out) == 1 else "are"
        told += f" and leaves out {left} that {are} due; the table of fields says why"
    return f"{told}."


def _route_day(day: ScoutDay, numbers: dict[str, int], units: Units) -> RouteDay:
    hours = ""
    if day.leave_home is not None and day.back_home is not None:
        hours = f", {clock_text(day.leave_home)} to {clock_text(day.back_home)}"
    who = f", {day.scout}" if day.scout else ""
    return RouteDay(
        title=clean(f"{day_text(day.date, weekday=True)}{who}"),
        told=(
            f"{counted(len(day.stops), 'stop')}{hours}; {distance_text(day.drive_km, units)} in "
            f"{hours_text(day.drive_min)}, {hours_text(day.work_min)} in fields"
        ),
        home=day.home,
        stops=tuple(
            RouteStop(
                number,
                _place(stop.plan),
                f"{clock_text(stop.arrive)} {name_of(stop.plan)}, no. {numbers[stop.field_id]}",
            )
            for number, stop in enumerate(day.stops, start=1)
        ),
    )


def _place(plan: FieldDay) -> Place:
    return plan.forecast.field.latitude, plan.forecast.field.longitude


def _notes(week: WeekRoute) -> Iterator[str | None]:
    """What a person must know beside the numbers."""
    season = week.season
    yield from (RANGE_NOTE, STAGES_NOTE, estimate_text(week))
    yield from forecast_notes(season, season.fields)
    yield from (threshold_note(season.loaded, season.knowledge), CAUTION)


def overview_html(page: Overview) -> str:
    """The page."""
    tallest = max((row.timeline.height for row in page.rows), default=0)
    shared = [shared_marks(page.days, page.as_of, tallest=tallest), need_marks(), home_mark()]
    places = [row.place for row in page.rows]
    marked = [MapField(row.number, row.place, row.need, row.words) for row in page.rows]
    return render(
        "overview.html",
        script="overview.js",
        page=page,
        words=NEEDS,
        shared=Markup("").join(shared),
        axis=axis_picture(page.days, page.as_of),
        row_picture=lambda row: row_picture(row.timeline, page.days),
        need_key=need_key,
        season_map=season_map(marked, page.homes, units=page.units),
        route_map=lambda day: route_map(
            day.stops, day.home, places, units=page.units, title=f"Route of {day.title}"
        ),
        heat_drawing=heat_drawing,
        range_text=range_text,
        said_day=said_day,
    )
