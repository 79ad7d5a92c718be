"""A pest's heat on a page: one drawing, and what stands beside it for a scout and for a grower."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.base.units import Units, heat_scale
from stagecast.pages.svg import DayScale, Point, Scale, band, diamond, element, path, picture, text
from stagecast.pests.clock import AtStage
from stagecast.screens.screen import range_text
from stagecast.visits.heat import PestStations, WindowHeat
from stagecast.visits.heat_lines import (
    EventLine,
    HeatChart,
    StationLine,
    StationsChart,
    event_lines,
    need_chart,
    stations_chart,
)
from stagecast.visits.season_day import SeasonDay
from stagecast.words.heat import (
    about_text,
    event_text,
    event_title,
    grower_sentences,
    past_text,
    span_said,
    standing_text,
    week_heats,
    week_text,
)
from stagecast.words.plain import headed, short_day, typed
from stagecast.words.traps import since_text, trial_text

WIDTH, HEIGHT, LEGEND_PX = 360.0, 210.0, 16.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 352.0, 16.0, 184.0
NICE = (1.0, 2.0, 5.0)
MOST_TICKS = 5
LABEL_GAP_PX, LAST_DAY_PX, NAME_GAP_PX, UNIT_PX = 40.0, 76.0, 27.0, 92.0
DAYS_PX, TODAY_PX, NAME_PX = 36.0, 18.0, 14.0
MOST_EVENTS = 4
"""Named on a chart of stations; the table beside it has all."""

STYLES, OTHER = ("line-1", "line-2", "line-3", "line-4"), "line-others"
"""How the lines of stations are drawn: whole, or broken in three ways; others are thin."""

LONGEST_STATION = 11
FAR_DAYS = 999


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event as the table below a chart has it; ``comes`` at each station."""

    title: str
    need: float
    comes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PestPanel:
    """The heat of a pest at all its stations, for a scout.

    Attributes
    ----------
    pest: its name
    when: since when, or from when on, it is about
    told: where the season stands at each station, what is counted from when, how far heat can be
        trusted, and which past seasons there are
    stations: by name, as the tables have them
    events: rows of the first table
    weeks: rows of the second: the end of a week, and the heat at each station
    """

    pest: str
    when: str
    told: tuple[str, ...]
    stations: tuple[str, ...]
    events: tuple[EventRow, ...]
    weeks: tuple[tuple[str, ...], ...]
    chart: StationsChart


@dataclass(frozen=True, slots=True, eq=False)
class WindowPanel:
    """The heat that opens a window, for a grower."""

    pest: str
    sentences: tuple[str, ...]
    chart: HeatChart


def heat_charts(season: SeasonDay) -> tuple[PestPanel, ...]:
    """One chart for each pest that heat has brought or soon brings; none for one that is over.

    For the page of a season: ``heat_drawing(panel)`` draws it, the rest of the panel stands by it.
    It is worked out once for a season's day, the most pressing pest first.
    """
    return season.once("heat charts", lambda: tuple(_panels(season)))


def _panels(season: SeasonDay) -> Iterator[PestPanel]:
    units, as_of = season.settings.units, season.as_of
    soon = int(season.knowledge.revisit.entering_days)
    fields = ((one.forecast, one.windows) for one in season.fields)
    for about in season.heat.about(fields, entering_days=soon):
        yield PestPanel(
            pest=about.pest.name,
            when=about_text(*about.opens(as_of), as_of),
            told=(*_standings(about, units), *_behind(about, units)),
            stations=tuple(one.station for one in about.stations),
            events=tuple(
                EventRow(event_title(line.event), line.heat, tuple(map(range_text, line.dates)))
                for line in event_lines(about.stations, units)
            ),
            weeks=tuple(_weeks(about, units)),
            chart=stations_chart(about, units=units, as_of=as_of),
        )


def _standings(about: PestStations, units: Units) -> Iterator[str]:
    for one in about.stations:
        assert one.curve is not None, "only stations with a curve are among them"
        told = standing_text(one.curve, units, first_need_c=one.first_need_c, in_full=True)
        yield f"{one.station}: {told}"


def _behind(about: PestStations, units: Units) -> list[str]:
    """What stands behind the curves; once where it is the same at several stations."""
    told: dict[str, list[str]] = {}
    for one in about.stations:
        assert one.curve is not None, "only stations with a curve are among them"
        since = one.timing.start.since
        field = f" in field {one.forecast.field.field_id}" if isinstance(since, AtStage) else ""
        counted_from = f"Counted {since_text(since, units)}{field}; {past_text(one.curve, ' to ')}."
        said = f"{counted_from} {headed(trial_text(one.tested))}."
        told.setdefault(said, []).append(one.station)
    if len(told) == 1:
        return list(told)
    return [f"{', '.join(stations)}: {said}" for said, stations in told.items()]


def _weeks(about: PestStations, units: Units) -> Iterator[tuple[str, ...]]:
    """Each week of any station: this season, and in brackets 10, 50 and 90 percent of past ones."""
    scale, _ = heat_scale(units)
    each = [{week.through: week.scaled(scale) for week in one.curve.weeks}
            for one in about.stations if one.curve is not None]  # fmt: skip
    for day in sorted({day for weeks in each for day in weeks}):
        cells = (weeks.get(day) for weeks in each)
        yield said_day(day), *("-" if week is None else week_text(week) for week in cells)


def window_panel(heat: WindowHeat, units: Units, as_of: dt.date, *, stale_days: int) -> WindowPanel:
    """What the page says of the heat behind a window."""
    return WindowPanel(
        pest=typed(heat.pest.name),
        sentences=tuple(grower_sentences(heat, units, as_of, stale_days=stale_days)),
        chart=need_chart(heat, units=units, as_of=as_of),
    )


def heat_drawing(panel: PestPanel) -> Markup:
    """The chart of a pest: past seasons as a band, this season a line a station, named events."""
    chart = panel.chart
    days = DayScale(chart.first, chart.last, LEFT, RIGHT)
    heat = Scale(chart.bottom, chart.top, BOTTOM, TOP)
    drawn = [*_frame(chart, days, heat, said_day)]
    if chart.past:
        upper = [(days(day), heat(past.p90)) for day, past in chart.past]
        lower = [(days(day), heat(past.p10)) for day, past in chart.past]
        middle = [(days(day), heat(past.p50)) for day, past in chart.past]
        drawn.append(band(upper, lower, class_="heat-past"))
        drawn.append(path(middle, class_="heat-usual"))
    styled = [*zip(_styles(len(chart.lines)), chart.lines, strict=True)]
    for style, line in styled:
        points = [(days(day), heat(sum_)) for day, sum_ in line.points]
        drawn.append(path(points, class_=f"heat-this {style}"))
    drawn.extend(_today(chart.as_of, days))
    drawn.extend(_events(chart, days, heat))
    drawn.extend(_legend(styled))
    title = f"Degree-days for {panel.pest}: this season at each station, past seasons, and events"
    return picture(
        *drawn, width=WIDTH, height=HEIGHT + LEGEND_PX, title=title, described=" ".join(panel.told)
    )


def _styles(count: int) -> list[str]:
    """A way to draw each line: its own up to four, else that of the warmest and the coolest."""
    if count <= len(STYLES):
        return list(STYLES[:count])
    return [STYLES[0], *[OTHER] * (count - 2), STYLES[1]]


def _events(chart: StationsChart, days: DayScale, heat: Scale) -> Iterator[Markup]:
    """A line at each event, named, with the days on which it comes.

    Of those too near to each other to be named the one nearest to today is drawn, and none so near
    to an edge that its words would leave the chart.
    """
    told: list[float] = []
    for line in sorted(chart.events, key=lambda line: _from_today(line, chart.as_of)):
        y = heat(line.heat)
        near = any(abs(y - other) < NAME_GAP_PX for other in told)
        if len(told) == MOST_EVENTS or near or not TOP + NAME_PX < y < BOTTOM - NAME_PX:
            continue
        told.append(y)
        yield path([(LEFT, y), (RIGHT, y)], class_="heat-need")
        yield from _dates(line, days, y)
        yield text(event_text(line.event), LEFT + 4, y - 4, class_="heat-words")


def _dates(line: EventLine, days: DayScale, y: float) -> Iterator[Markup]:
    """On the line of an event when it comes: a bar and a mark for each station, the days below."""
    shown = [one.p50 for one in line.dates if one.p50 is not None]
    for one in line.dates:
        if one.p50 is None or not days.first <= one.p50 <= days.last:
            continue
        early, late = days(one.p10 or days.first), days(one.p90 or days.last)
        yield path([(early, y), (late, y)], class_="heat-range")
        here = f"translate({days(one.p50):.1f} {y:.1f})"
        yield element("g", diamond(4), transform=here, class_="heat-day")
    if shown:
        x = days(min(shown))
        anchor = "middle" if LEFT + DAYS_PX < x < RIGHT - DAYS_PX else "end"
        x, anchor = (LEFT + 4, "start") if x <= LEFT + DAYS_PX else (min(x, RIGHT), anchor)
        told = span_said(min(shown), max(shown))
        yield text(told, x, y + 13, text_anchor=anchor, class_="heat-words")


def _from_today(line: EventLine, as_of: dt.date) -> tuple[bool, int]:
    """Events to come before those that were, each by how near they are."""
    days = [(one.p50 - as_of).days for one in line.dates if one.p50 is not None]
    away = min(days, key=abs, default=FAR_DAYS)
    return away < 0, abs(away)


def _legend(styled: Sequence[tuple[str, StationLine]]) -> Iterator[Markup]:
    """Below the chart: how the line of each station is drawn, the warmest first."""
    others = sum(style == OTHER for style, _ in styled)
    named = [(style, line.station) for style, line in styled if style != OTHER]
    if others:
        named.insert(1, (OTHER, f"{others} others"))
    y = BOTTOM + 20 + LEGEND_PX
    for i, (style, name) in enumerate(named):
        x = i * WIDTH / len(STYLES)
        yield path([(x, y - 4), (x + 24, y - 4)], class_=f"heat-this {style}")
        yield text(typed(name, most=LONGEST_STATION), x + 28, y, class_="heat-words")


def window_picture(panel: WindowPanel) -> Markup:
    """The chart of a grower's page."""
    title = f"Degree-days for {panel.pest}: this year and past years"
    return heat_picture(panel.chart, title, " ".join(panel.sentences), day_text=short_day)


def heat_picture(
    chart: HeatChart, title: str, described: str, *, day_text: Callable[[dt.date], str]
) -> Markup:
    """Past seasons as a band with their middle, this season as a line, the needs, and today."""
    days, heat = DayScale(chart.first, chart.last, LEFT, RIGHT), Scale(0.0, chart.top, BOTTOM, TOP)
    past = [(week.through, week.past) for week in chart.weeks if week.past is not None]
    drawn = [*_frame(chart, days, heat, day_text), *_needs(chart, heat)]
    if past:
        upper = _line(chart, days, heat, ((day, heats.p90) for day, heats in past))
        lower = _line(chart, days, heat, ((day, heats.p10) for day, heats in past))
        middle = _line(chart, days, heat, ((day, heats.p50) for day, heats in past))
        corner = (lower[-1][0], upper[-1][1])
        drawn.append(band([*upper, corner], lower, class_="heat-past"))
        drawn.append(path(middle, class_="heat-usual"))
    if chart.latest is not None:
        weeks = [week for week in chart.weeks if week.through < chart.latest.through]
        known = [(w.through, w.this_season) for w in (*weeks, chart.latest)]
        inside = ((day, sum_) for day, sum_ in known if sum_ is not None and day <= chart.last)
        drawn.append(path(_line(chart, days, heat, inside), class_="heat-this"))
    drawn.extend(_today(chart.as_of, days))
    return picture(*drawn, width=WIDTH, height=HEIGHT, title=title, described=described)


def _line(
    chart: HeatChart, days: DayScale, heat: Scale, points: Iterable[tuple[dt.date, float]]
) -> list[Point]:
    """A line from the first day on, which never falls, cut where it leaves the chart."""
    line, before = [(days(chart.first), heat(0.0))], 0.0
    for day, value in points:
        x = days(day)
        if value > chart.top:
            share = (chart.top - before) / (value - before)
            return [*line, (line[-1][0] + share * (x - line[-1][0]), heat(chart.top))]
        line.append((x, heat(value)))
        before = value
    return line


def _frame(
    chart: HeatChart | StationsChart,
    days: DayScale,
    heat: Scale,
    day_text: Callable[[dt.date], str],
) -> Iterator[Markup]:
    """The first and the last day and months below, degree-days at the left."""
    yield path([(LEFT, TOP), (LEFT, BOTTOM), (RIGHT, BOTTOM)], class_="axis")
    yield text(f"degree-days {chart.unit}", 0, TOP - 5, class_="heat-words")
    yield text(day_text(chart.first), LEFT, BOTTOM + 17)
    told = LEFT
    for month in days.months():
        x = days(month)
        yield path([(x, BOTTOM), (x, BOTTOM + 4)], class_="axis")
        if x - told >= LABEL_GAP_PX and x < RIGHT - LAST_DAY_PX:
            yield text(f"{month:%b}", x, BOTTOM + 17)
            told = x
    yield text(day_text(chart.last), RIGHT, BOTTOM + 17, text_anchor="end")
    for tick in ticks(chart.top):
        if tick < chart.bottom:
            continue
        yield text(f"{tick:g}", LEFT - 5, heat(tick) + 4, text_anchor="end")


def ticks(top: float) -> list[float]:
    """Round numbers from 0 up to the top, at most six."""
    power = 0.1
    while True:
        power *= 10
        for nice in NICE:
            step = nice * power
            if top / step <= MOST_TICKS:
                return [i * step for i in range(int(top // step) + 1)]


def _needs(chart: HeatChart, heat: Scale) -> Iterator[Markup]:
    """A line at each need, and from where on one looks."""
    for need in chart.needs:
        if need.heat > chart.top:
            continue
        y = heat(need.heat)
        yield path([(LEFT, y), (RIGHT, y)], class_="heat-need")
        yield text(f"look from {need.heat:.0f} on", LEFT + 4, y - 5, class_="heat-words")


def _today(as_of: dt.date, days: DayScale) -> Iterator[Markup]:
    """A line down the chart, named above it, beside what the numbers at the left are."""
    if days.first <= as_of <= days.last:
        x = days(as_of)
        yield path([(x, TOP), (x, BOTTOM)], class_="today")
        middle = min(max(x, UNIT_PX + TODAY_PX), RIGHT - TODAY_PX)
        yield text("today", middle, TOP - 5, text_anchor="middle", class_="heat-words")


def grower_rows(chart: HeatChart) -> list[tuple[str, ...]]:
    """The numbers of a grower's chart: week, this season, and the low, middle and high of past.

    Between the weeks stands the last day that is known.
    """
    weeks = {week.through: week for week in chart.weeks}
    if chart.latest is not None:
        weeks.setdefault(chart.latest.through, chart.latest)
    return [
        (short_day(day), *week_heats(week.this_season, week.past, none=""))
        for day, week in sorted(weeks.items())
    ]
