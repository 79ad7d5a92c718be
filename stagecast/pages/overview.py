"""The season on one page: what to do first, the week, a ribbon a field, a map, a table, heat."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.base.textfiles import clean
from stagecast.base.units import Units
from stagecast.counts.assessment import PestAssessment
from stagecast.pages.field_map import NARROW, WIDE, MapField, MapSize, Place, home_mark, season_map
from stagecast.pages.growers.found import found_in
from stagecast.pages.heat_chart import PestPanel, heat_charts, heat_drawing
from stagecast.pages.needs import NEEDS, Need, need_key, need_marks, need_of
from stagecast.pages.number_line import NumberLine, leaf_line_of, line_of, line_picture
from stagecast.pages.render import render
from stagecast.pages.ribbon import (
    LAST,
    NAMES,
    PHASES,
    Ribbon,
    SeasonDays,
    axis_picture,
    mark_key,
    phase_key,
    ribbon_of,
    row_picture,
    season_days,
    shared_marks,
    shown_windows,
)
from stagecast.pages.week_grid import (
    WeekGrid,
    day_map,
    days_between,
    small_dots,
    small_maps,
    week_grid,
    week_told,
)
from stagecast.pests.windows import ScoutingWindow
from stagecast.screens.plan import crop_windows_text, pests_text
from stagecast.screens.screen import (
    closed_text,
    date_notes,
    day_text,
    forecast_notes,
    long_day,
    name_of,
    next_stage_text,
    range_text,
)
from stagecast.season.drawn import outlines
from stagecast.season.outlines import Polygon
from stagecast.season.settings.workday import crew
from stagecast.visits.season_day import FieldDay
from stagecast.week.week import Above, WeekRoute, fields_by_need
from stagecast.words.fields import regions_text
from stagecast.words.notes import CAUTION, RANGE_NOTE, STAGES_NOTE, counted, threshold_note
from stagecast.words.plain import headed, stage_said
from stagecast.words.week import above_texts, estimate_text, left_out_text, walk_text

MOST_PESTS = 3
"""How many pests are named in a row of the table."""

MOST_FIRST = 3
"""How many overdue fields, and fields due today, are named on top; the week has the others."""

MOST_BESIDE_MAP = 12
"""Stops below each other in the week with which the map has room on the same sheet of paper."""

SOON_DAYS = 21
"""Days before it opens from which a window is told in full in its field's lane."""


@dataclass(frozen=True, slots=True)
class LaneWindow:
    """A window in a field's lane: what it is, and from when to when it is open."""

    title: str
    when: str


@dataclass(frozen=True, slots=True, eq=False)
class FieldRow:
    """A field as every part of the page has it.

    Attributes
    ----------
    number: its place by need, from 1; links call it by this, and nobody reads it
    field_id, name, grower: without characters that do harm or are not seen
    day, walk, route: the day of the route, in words with the rule's day beside it, and when and by
        whom the route comes by
    found: what was found last, and when
    late: days after its due day, 0 where it is not overdue
    stage, said, following, window, pests: code of the stage now, the same in words, the next one
        with its dates, the crop's window, and what to look for
    stages, windows, later: dates of the stages ahead, windows that are open or come soon, and the
        others with the day on which they open
    """

    number: int
    field_id: str
    name: str
    grower: str
    place: Place
    need: Need
    day: dt.date | None
    walk: str
    route: str
    late: int
    last_visit: dt.date | None
    found: str
    stage: str
    said: str
    following: str
    window: str
    pests: str
    ribbon: Ribbon
    stages: tuple[str, ...]
    windows: tuple[LaneWindow, ...]
    later: tuple[str, ...]
    outline: tuple[tuple[Place, ...], ...]

    @property
    def words(self) -> str:
        """The field in a line."""
        return f"{self.name}, {NEEDS[self.need]}"

    @property
    def geo(self) -> str:
        """Where it lies, for a program that shows the way (RFC 5870)."""
        return f"geo:{self.place[0]:.4f},{self.place[1]:.4f}"


@dataclass(frozen=True, slots=True)
class ToDo:
    """A field among those that come first: the link to it, its name, why, and counts on lines."""

    number: int
    name: str
    why: str
    lines: tuple[NumberLine, ...] = ()


@dataclass(frozen=True, slots=True)
class First:
    """Fields of one need that come first, as far as they are named, and how many more there are."""

    need: Need
    fields: tuple[ToDo, ...]
    more: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """All that the page says.

    Attributes
    ----------
    days: the days across the ribbons
    rows: by need
    first: what to do first, by need
    undated: which fields wait for their planting date, and which are not planted yet
    refused, notes: fields without a forecast and why; what stands behind it
    left_out: fields that are due in these days and not walked, and why
    """

    title: str
    told: str
    running: str
    as_of: dt.date
    units: Units
    days: SeasonDays
    rows: tuple[FieldRow, ...]
    first: tuple[First, ...]
    refused: tuple[str, ...]
    undated: tuple[str, ...]
    notes: tuple[str, ...]
    homes: tuple[Place, ...]
    week_title: str
    week_told: str
    week: WeekGrid
    left_out: tuple[ToDo, ...]
    heats: tuple[PestPanel, ...]

    @property
    def needs(self) -> dict[Need, int]:
        """How many fields there are of each need, the most pressing first."""
        count = Counter(row.need for row in self.rows)
        return {need: count[need] for need in NEEDS if count[need]}


def overview(week: WeekRoute) -> Overview:
    """Everything the page says of a season and its week."""
    season, settings = week.season, week.season.settings
    rows = tuple(_rows(week))
    numbers = {plan.field_id: n for n, plan in enumerate(fields_by_need(season), start=1)}
    return Overview(
        title=f"Season {settings.year}, all fields",
        told=(
            f"{counted(len(rows), 'field')} as of {long_day(season.as_of)}, "
            f"{regions_text(season.loaded.season)}"
        ),
        running=f"Season {settings.year}, as of {long_day(season.as_of)}",
        as_of=season.as_of,
        units=settings.units,
        days=season_days(season),
        rows=rows,
        first=tuple(_first(week, rows, numbers)),
        refused=tuple(one.sentence() for one in season.loaded.refused),
        undated=tuple(date_notes(season)),
        notes=tuple(filter(None, _notes(week))),
        homes=tuple((one.latitude, one.longitude) for one in crew(settings, season.knowledge)),
        week_title=days_between(week.first_day, week.last_day),
        week_told=week_told(week),
        week=week_grid(week, numbers),
        left_out=tuple(
            ToDo(numbers[left.field_id], name_of(left.plan), left_out_text(left.why))
            for left in week.left_out
        ),
        heats=heat_charts(season),
    )


def _rows(week: WeekRoute) -> Iterator[FieldRow]:
    season = week.season
    drawn = outlines(season.loaded.season.path)
    routed = _routed(week)
    for number, plan in enumerate(fields_by_need(season), start=1):
        field, forecast, walk = plan.forecast.field, plan.forecast, week.walk_of(plan)
        soon, later = _ahead(plan)
        yield FieldRow(
            number=number,
            field_id=clean(field.field_id),
            name=clean(field.field_name),
            grower=clean(field.grower),
            place=(field.latitude, field.longitude),
            need=need_of(plan),
            day=walk.day,
            walk="" if walk.due is None else walk_text(walk, day_text=day_text),
            route=clean(routed.get(field.field_id, "")),
            late=max(0, plan.days_late(season.as_of)),
            last_visit=plan.visit.last_visit,
            found=_found(plan),
            stage=forecast.stage_now,
            said=stage_said(forecast.stage_now),
            following=next_stage_text(plan),
            window=crop_windows_text(plan),
            pests=pests_text(plan, most=MOST_PESTS),
            ribbon=ribbon_of(plan, walk=walk.day),
            stages=tuple(_stages_ahead(plan)),
            windows=tuple(LaneWindow(_named(w), _when(w, season.as_of)) for w in soon),
            later=tuple(f"{w.short} {day_text(w.opens.p50)}" for w in later),
            outline=_rings(drawn.get(field.field_id, ())),
        )


def _ahead(plan: FieldDay) -> tuple[list[ScoutingWindow], list[ScoutingWindow]]:
    """Windows that are open or open soon, and those that open later."""
    states = [(w, w.state(plan.season.as_of, entering_days=SOON_DAYS)) for w in shown_windows(plan)]
    soon = [w for w, state in states if state in ("open", "coming")]
    return soon, [w for w, state in states if state == "later"]


def _named(window: ScoutingWindow) -> str:
    return window.title if window.pest is None else f"{window.short}: {window.title}"


def _when(window: ScoutingWindow, day: dt.date) -> str:
    """``open to 4 Sep (1-8)``; before it opens ``14 Jul (11-18) to 24 Jul (21-28)``."""
    closes = range_text(window.closes)
    if window.state(day, entering_days=0) == "open":
        return f"open to {closes}"
    return f"{range_text(window.opens)} to {closes}"


def _stages_ahead(plan: FieldDay) -> Iterator[str]:
    """``R3 11 Jul (4-18)`` of each stage of the ribbon that is not reached yet."""
    stages = plan.forecast.stages
    for stage in (*PHASES, LAST):
        middle = stages[stage].p50
        if middle is None or middle > plan.season.as_of:
            yield f"{stage} {range_text(stages[stage])}"


def _rings(polygons: Sequence[Polygon]) -> tuple[tuple[Place, ...], ...]:
    """Every ring of a boundary as places."""
    return tuple(
        tuple((latitude, longitude) for longitude, latitude in ring)
        for polygon in polygons
        for ring in polygon
    )


def _found(field: FieldDay) -> str:
    """What was found last and when: ``stink bugs 19.5 per 25 sweeps, above (7 Jul)``."""
    found = found_in(field)
    return clean(found.short if found.date is None else f"{found.short} ({said_day(found.date)})")


def _routed(week: WeekRoute) -> dict[str, str]:
    """When the route comes by each field, or why it does not."""
    told = {left.field_id: left_out_text(left.why) for left in week.left_out}
    for day in week.days:
        for number, stop in enumerate(day.stops, start=1):
            who = f", {day.scout}" if day.scout else ""
            told[stop.field_id] = f"{day_text(day.date, weekday=True)}, stop {number}{who}"
    return told


def _first(week: WeekRoute, rows: Sequence[FieldRow], numbers: dict[str, int]) -> Iterator[First]:
    """Over a threshold, not to be entered, overdue, due today."""
    fields = fields_by_need(week.season)
    above = above_texts(week.above)
    if above:
        yield First("above", tuple(
            ToDo(numbers[field.field_id], name_of(field), clean("; ".join(found)),
                 tuple(_line(one) for one in week.above if one.plan is field))
            for field, found in above
        ))  # fmt: skip
    closed = [field for field in fields if closed_text(field)]
    if closed:
        yield First("closed", tuple(
            ToDo(numbers[field.field_id], name_of(field), clean(closed_text(field)))
            for field in closed
        ))  # fmt: skip
    for need in ("overdue", "today"):
        ours = [row for row in rows if row.need == need]
        named = sorted(ours, key=lambda row: -row.late)[:MOST_FIRST]
        if ours:
            yield First(need, tuple(
                ToDo(row.number, f"{row.field_id} {row.name}".strip(), _why(row)) for row in named
            ), len(ours) - len(named))  # fmt: skip


def _line(one: Above) -> NumberLine:
    """What was counted beside its threshold."""
    found = one.assessed
    return line_of(found) if isinstance(found, PestAssessment) else leaf_line_of(found)


def _why(row: FieldRow) -> str:
    """``36 days late, walk 7 Jul``; of a field that is left out only that it is."""
    late = f"{counted(row.late, 'day')} late" if row.late else ""
    walk = "left out" if row.day is None else f"walk {day_text(row.day)}"
    return ", ".join(filter(None, (late, walk)))


def _notes(week: WeekRoute) -> Iterator[str | None]:
    """What a person must know beside the numbers."""
    season = week.season
    yield from (RANGE_NOTE, STAGES_NOTE, estimate_text(week))
    yield from forecast_notes(season, season.fields)
    yield from (threshold_note(season.loaded, season.knowledge), CAUTION)


def overview_html(page: Overview) -> str:
    """The page."""
    places = [row.place for row in page.rows]
    small = small_maps(page.week, places) if places else None
    shared = [shared_marks(page.days, page.as_of), need_marks(), home_mark()]
    if small is not None:
        shared.append(small_dots(small, places))
    marked = [
        MapField(row.number, row.field_id, row.place, row.need, row.words, row.outline)
        for row in page.rows
    ]
    ways = [day.way for day in page.week.first]

    def whole_map(size: MapSize) -> Markup:
        return season_map(marked, page.homes, ways, size=size, units=page.units)

    return render(
        "overview.html",
        script="overview.js",
        page=page,
        words=NEEDS,
        shared=Markup("").join(shared),
        axis=axis_picture(page.days, page.as_of),
        phases=[(stage, NAMES[stage], phase_key(stage)) for stage in PHASES],
        mark_key=mark_key,
        row_picture=lambda row: row_picture(row.ribbon, page.days),
        need_key=need_key,
        line_picture=line_picture,
        wide_map=lambda: whole_map(WIDE),
        narrow_map=lambda: whole_map(NARROW),
        day_map=(lambda day: day_map(day, small, page.units)) if small else None,
        heat_drawing=heat_drawing,
        said_day=said_day,
        headed=headed,
        most_beside_map=MOST_BESIDE_MAP,
    )
