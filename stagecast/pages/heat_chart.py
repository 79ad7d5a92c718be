"""A pest's heat on a page: one drawing, and what stands beside it for a scout and for a grower."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.base.units import Units, heat_scale
from stagecast.pages.svg import DayScale, Point, Scale, band, path, picture, text
from stagecast.pests.clock import AtStage
from stagecast.screens.screen import range_text
from stagecast.visits.heat import HeatChart, PestHeat, WindowHeat, events_chart, need_chart
from stagecast.words.heat import grower_sentences, past_text, standing_text, week_heats
from stagecast.words.plain import headed, short_day, typed
from stagecast.words.traps import since_text, trial_text

WIDTH, HEIGHT = 360.0, 210.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 332.0, 16.0, 184.0
NICE = (1.0, 2.0, 5.0)
MOST_TICKS = 5
LABEL_GAP_PX, LAST_DAY_PX, LETTER_GAP_PX = 40.0, 66.0, 11.0


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event as the table below a chart has it, and as the chart marks it by a letter."""

    letter: str
    title: str
    generation: int
    need: float
    comes: str
    unverified: bool


@dataclass(frozen=True, slots=True, eq=False)
class StationPanel:
    """A pest's heat at a station, for a scout.

    ``since``, ``standing``, ``tested`` and ``past``: what is counted from when, where the
    season stands, how far heat can be trusted, and which past seasons stand behind it.
    """

    pest: str
    station: str
    since: str
    standing: str
    tested: str
    past: str
    events: tuple[EventRow, ...]
    chart: HeatChart

    @property
    def title(self) -> str:
        """What the chart shows."""
        return f"{self.pest}, station {self.station}"


@dataclass(frozen=True, slots=True, eq=False)
class WindowPanel:
    """The heat that opens a window, for a grower."""

    pest: str
    sentences: tuple[str, ...]
    chart: HeatChart


def station_panels(
    heats: Iterable[PestHeat], units: Units, as_of: dt.date
) -> Iterator[StationPanel]:
    """What the page says of each curve."""
    scale, _ = heat_scale(units)
    for heat in heats:
        if heat.curve is None:
            continue
        chart = events_chart(heat, heat.curve, units=units, as_of=as_of)
        since = heat.timing.start.since
        field = f" in field {heat.forecast.field.field_id}, the first here"
        yield StationPanel(
            pest=heat.pest.name,
            station=heat.station,
            since=since_text(since, units) + (field if isinstance(since, AtStage) else ""),
            standing=standing_text(
                heat.curve, units, first_need_c=heat.first_need_c, in_full=True
            ),
            tested=headed(trial_text(heat.tested)),
            past=past_text(heat.curve, " to "),
            events=tuple(
                EventRow(
                    need.letter.upper(), event.title, event.generation, scale * event.need_c,
                    range_text(event.dates), event.unverified,
                )
                for need, event in zip(chart.needs, heat.likely_events, strict=True)
            ),
            chart=chart,
        )  # fmt: skip


def window_panel(heat: WindowHeat, units: Units, as_of: dt.date, *, stale_days: int) -> WindowPanel:
    """What the page says of the heat behind a window."""
    return WindowPanel(
        pest=typed(heat.pest.name),
        sentences=tuple(grower_sentences(heat, units, as_of, stale_days=stale_days)),
        chart=need_chart(heat, units=units, as_of=as_of),
    )


def station_picture(panel: StationPanel) -> Markup:
    """The chart of a scout's page."""
    return heat_picture(panel.chart, panel.title, panel.standing, day_text=said_day)


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
    drawn = [*_axes(chart, days, heat, day_text), *_needs(chart, heat)]
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
    drawn.extend(_today(chart, days))
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


def _axes(
    chart: HeatChart, days: DayScale, heat: Scale, day_text: Callable[[dt.date], str]
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
    """A line at each need, named at its end; letters that would meet stand beside each other."""
    beside, before = 0, None
    for need in chart.needs:
        if need.heat > chart.top:
            continue
        y = heat(need.heat)
        yield path([(LEFT, y), (RIGHT, y)], class_="heat-need")
        if not need.letter:
            yield text(f"look from {need.heat:.0f} on", LEFT + 4, y - 5, class_="heat-words")
            continue
        beside = beside + 1 if before is not None and abs(before - y) < LETTER_GAP_PX else 0
        before = y
        yield text(need.letter.upper(), RIGHT + 4 + 8 * beside, y + 4, class_="letter")


def _today(chart: HeatChart, days: DayScale) -> Iterator[Markup]:
    if chart.first <= chart.as_of <= chart.last:
        x = days(chart.as_of)
        yield path([(x, TOP), (x, BOTTOM)], class_="today")
        anchor, moved = ("end", -4.0) if x > (LEFT + RIGHT) / 2 else ("start", 4.0)
        yield text("today", x + moved, BOTTOM - 5, text_anchor=anchor, class_="heat-words")


def season_rows(chart: HeatChart) -> list[tuple[str, ...]]:
    """The numbers of a scout's chart: week, this season, and the low, middle and high of past."""
    return [
        (said_day(week.through), *week_heats(week.this_season, week.past, none="-"))
        for week in chart.weeks
    ]


def grower_rows(chart: HeatChart) -> list[tuple[str, ...]]:
    """The same for a grower, and between the weeks the last day that is known."""
    weeks = {week.through: week for week in chart.weeks}
    if chart.latest is not None:
        weeks.setdefault(chart.latest.through, chart.latest)
    return [
        (short_day(day), *week_heats(week.this_season, week.past, none=""))
        for day, week in sorted(weeks.items())
    ]
