"""Heat of a pest at a station: this season beside past ones, with the events it leads to."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.base.units import F_PER_C, Units
from stagecast.pages.svg import DayScale, Point, band, element, path, picture, text
from stagecast.pests.clock import AtStage
from stagecast.pests.curves import CurveWeek
from stagecast.screens.pest import chart_top, event_letters, likely_events, standing, weeks_below
from stagecast.screens.screen import range_text
from stagecast.visits.heat import StationCurve
from stagecast.words.notes import counted
from stagecast.words.plain import headed
from stagecast.words.traps import since_text, trial_text

WIDTH, HEIGHT = 360.0, 210.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 332.0, 16.0, 184.0
NICE = (1.0, 2.0, 5.0)
MOST_TICKS = 5
LETTER_GAP_PX = 11.0


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event as the table below a chart has it, and as the chart marks it by a letter."""

    letter: str
    title: str
    generation: int
    need: float
    comes: str
    unverified: bool


@dataclass(frozen=True, slots=True)
class WeekRow:
    """A week of a chart; None where a number is not known."""

    through: dt.date
    this_season: float | None
    low: float | None
    middle: float | None
    high: float | None


@dataclass(frozen=True, slots=True, eq=False)
class CurveChart:
    """A chart with its numbers, in degree-days of the season's unit.

    Attributes
    ----------
    pest, station : str
    unit : str
        ``F`` or ``C``.
    since, standing, tested, past : str
        What is counted from when, where the season stands, how far heat can be trusted, and
        which past seasons stand behind it.
    events : tuple of EventRow
    weeks : tuple of WeekRow
        Those drawn.
    top : float
        Degree-days at the top of the chart.
    as_of : datetime.date
    first : datetime.date
        On which counting begins.
    latest : (datetime.date, float) or None
        This season's last known day and its heat, which need not end a week.
    """

    pest: str
    station: str
    unit: str
    since: str
    standing: str
    tested: str
    past: str
    events: tuple[EventRow, ...]
    weeks: tuple[WeekRow, ...]
    top: float
    as_of: dt.date
    first: dt.date
    latest: tuple[dt.date, float] | None

    @property
    def title(self) -> str:
        """What the chart shows."""
        return f"{self.pest}, station {self.station}"


def curve_chart(found: StationCurve, *, units: Units, as_of: dt.date) -> CurveChart:
    """What the chart of a curve shows."""
    scale = F_PER_C if units == "us" else 1.0
    curve, events = found.curve, likely_events(found.events)
    top_c = chart_top(curve, events)
    years = curve.past_years
    past = "no past season is whole"
    if years:
        past = f"{counted(len(years), 'past season')}, {min(years)} to {max(years)}"
    by_crop = isinstance(found.since, AtStage)
    first = f" in field {found.field_id}, the first here" if by_crop else ""
    need_c = min((event.need_c for event in events), default=0.0)
    latest = None
    if curve.last_known is not None and curve.so_far is not None:
        latest = curve.last_known, scale * curve.so_far
    return CurveChart(
        pest=found.pest.name,
        station=found.station,
        unit="F" if units == "us" else "C",
        since=since_text(found.since, units) + first,
        standing=_plain(standing(curve, units, first_need_c=need_c), units),
        tested=headed(trial_text(found.tested)),
        past=past,
        events=tuple(
            EventRow(
                letter.upper(), event.title, event.generation, scale * event.need_c,
                range_text(event.dates), event.unverified,
            )
            for letter, event in zip(event_letters(events), events, strict=True)
        ),
        weeks=tuple(_week(week, scale) for week in weeks_below(curve.weeks, top_c)),
        top=scale * top_c,
        as_of=as_of,
        first=curve.biofix,
        latest=latest,
    )  # fmt: skip


def _plain(told: str, units: Units) -> str:
    """The unit of heat in words, said once."""
    unit = "F" if units == "us" else "C"
    short = f" {unit} d"
    return told.replace(short, f" degree-days {unit}", 1).replace(short, "")


def _week(week: CurveWeek, scale: float) -> WeekRow:
    this = None if week.this_season is None else scale * week.this_season
    if week.past is None:
        return WeekRow(week.through, this, None, None, None)
    return WeekRow(
        week.through, this, scale * week.past.p10, scale * week.past.p50, scale * week.past.p90
    )


@dataclass(frozen=True, slots=True)
class _Heat:
    """Where degree-days stand; what lies above the chart is cut off by its frame."""

    top: float

    def __call__(self, value: float) -> float:
        return BOTTOM - value / self.top * (BOTTOM - TOP)


def plot_frame() -> Markup:
    """The frame of every chart, drawn once."""
    inner = element("rect", x=LEFT, y=TOP, width=RIGHT - LEFT, height=BOTTOM - TOP)
    return element("clipPath", inner, id="plot")


def curve_picture(chart: CurveChart) -> Markup:
    """The chart; its weeks and events stand in the tables below it."""
    last = max([chart.first, *(week.through for week in chart.weeks)])
    days, heat = DayScale(chart.first, last, LEFT, RIGHT), _Heat(chart.top)
    begin = (days(chart.first), heat(0.0))
    known = [w for w in chart.weeks if w.low is not None and w.high is not None]
    low = [begin, *(_at(days, heat, w.through, w.low) for w in known)]
    high = [begin, *(_at(days, heat, w.through, w.high) for w in known)]
    middle = [begin, *(_at(days, heat, w.through, w.middle) for w in known)]
    this = [w for w in chart.weeks if w.this_season is not None]
    line = [begin, *(_at(days, heat, w.through, w.this_season) for w in this)]
    if chart.latest is not None and chart.latest[0] <= last:
        line.append((days(chart.latest[0]), heat(chart.latest[1])))
    drawn = [_grid(chart, days, heat), *_levels(chart, heat)]
    lines = [band(high, low, class_="past"), path(middle, class_="middle")] if known else []
    if chart.latest is not None:
        lines.append(path(line, class_="this"))
    drawn.append(element("g", *lines, clip_path="url(#plot)"))
    if chart.first <= chart.as_of <= last:
        x = days(chart.as_of)
        drawn.append(path([(x, TOP), (x, BOTTOM)], class_="today"))
        drawn.append(text("today", x, TOP - 4, text_anchor="middle"))
    return picture(*drawn, width=WIDTH, height=HEIGHT, title=chart.title, described=chart.standing)


def _at(days: DayScale, heat: _Heat, day: dt.date, value: float | None) -> Point:
    return days(day), heat(value or 0.0)


def _grid(chart: CurveChart, days: DayScale, heat: _Heat) -> Markup:
    """Axes: months below, degree-days at the left."""
    drawn = [path([(LEFT, TOP), (LEFT, BOTTOM), (RIGHT, BOTTOM)], class_="axis")]
    months = list(days.months())
    step = -(-len(months) // 7)
    for month in months[::step]:
        x = days(month)
        drawn.append(path([(x, BOTTOM), (x, BOTTOM + 4)], class_="axis"))
        if x < RIGHT - 10:
            drawn.append(text(f"{month:%b}", x, BOTTOM + 17))
    for tick in ticks(chart.top):
        drawn.append(text(f"{tick:g}", LEFT - 5, heat(tick) + 4, text_anchor="end"))
    return Markup("").join(drawn)


def ticks(top: float) -> list[float]:
    """Round numbers from 0 up to the top, at most six."""
    power = 0.1
    while True:
        power *= 10
        for nice in NICE:
            step = nice * power
            if top / step <= MOST_TICKS:
                return [i * step for i in range(int(top // step) + 1)]


def _levels(chart: CurveChart, heat: _Heat) -> list[Markup]:
    """A line at what each event needs; letters that would meet stand beside each other."""
    drawn: list[Markup] = []
    beside, before = 0, None
    for event in chart.events:
        if event.need > chart.top:
            continue
        y = heat(event.need)
        beside = beside + 1 if before is not None and abs(before - y) < LETTER_GAP_PX else 0
        before = y
        drawn.append(path([(LEFT, y), (RIGHT, y)], class_="level"))
        drawn.append(text(event.letter, RIGHT + 4 + 8 * beside, y + 4, class_="letter"))
    return drawn


def week_words(week: WeekRow) -> tuple[str, str, str, str, str]:
    """A row of the table: the week's last day, this season, and past ones."""
    numbers = (week.this_season, week.low, week.middle, week.high)
    told = ["-" if number is None else f"{number:.0f}" for number in numbers]
    return said_day(week.through), told[0], told[1], told[2], told[3]
