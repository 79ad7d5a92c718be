"""The stages of a field against days: middle, range, past seasons behind, and today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.pages.svg import DayScale, Point, element, path, picture, text
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days
from stagecast.words.plain import short_day, stage_words

DRAWN = ("VE", "V2", "V4", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""Stages with a line of their own; one line for every node would say little."""

WIDTH, TOP, ROW, FOOT = 360.0, 24.0, 33.0, 8.0
LEFT, RIGHT = 122.0, 352.0
BAR = 12.0
A_WEEK = dt.timedelta(days=7)
SEEN = dt.timedelta(days=5)
"""How far apart lines on the chart must end to be told from each other."""


@dataclass(frozen=True, slots=True)
class StageRow:
    """A stage, when it comes, and when it would come with the weather of each past season."""

    stage: str
    dates: DateRange
    past: tuple[dt.date | None, ...]

    @property
    def words(self) -> str:
        """What the stage is."""
        return stage_words(self.stage)


@dataclass(frozen=True, slots=True)
class StageChart:
    """What the chart and the table behind it show.

    ``years``: past seasons, in the order of each row's dates; empty where no weather lies ahead.
    """

    as_of: dt.date
    planted: dt.date
    rows: tuple[StageRow, ...]
    years: tuple[int, ...]

    @property
    def differing(self) -> tuple[int, ...]:
        """Places of the rows whose dates differ between past seasons."""
        return tuple(i for i, row in enumerate(self.rows) if len(set(row.past)) > 1)

    @property
    def fanned(self) -> bool:
        """Whether the lines of past seasons lie far enough apart to be seen."""
        return any(_apart(self.rows[i].past) >= SEEN for i in self.differing)

    @property
    def groups(self) -> tuple[tuple[tuple[int, ...], int], ...]:
        """Past seasons with the same dates, and the place of one of them in each row."""
        found: dict[tuple[dt.date | None, ...], list[int]] = {}
        for place in range(len(self.years)):
            found.setdefault(tuple(row.past[place] for row in self.rows), []).append(place)
        return tuple((tuple(self.years[i] for i in places), places[0]) for places in found.values())


def _apart(dates: Sequence[dt.date | None]) -> dt.timedelta:
    """Between the first and the last date; very much where only some seasons have one."""
    known = [day for day in dates if day is not None]
    if len(known) < len(dates):
        return dt.timedelta.max
    return max(known) - min(known)


def stage_chart_of(forecast: FieldForecast, as_of: dt.date) -> StageChart:
    """Gather the dates of a field.

    Notes
    -----
    A past season stands for the days from today on; up to today every line has this season's
    temperatures. Of its draws of errors the middle one is taken, by what was seen in the field.
    """
    years = forecast.weather.season.member_years
    rows = [
        StageRow(stage, forecast.stages[stage], tuple(_past(forecast, stage, len(years))))
        for stage in DRAWN
    ]
    return StageChart(as_of, forecast.field.planting_date, tuple(rows), years)


def _past(forecast: FieldForecast, stage: str, seasons: int) -> Iterator[dt.date | None]:
    times, draws = forecast.times[:, STAGES.index(stage)], forecast.draws
    for season in range(seasons):
        ours = slice(season * draws, (season + 1) * draws)
        weights = forecast.weights[ours]
        told = quantile_days(times[ours], (0.5,), weights if weights.sum() > 0 else None)
        yield forecast.span.date(float(told[0]))


def stage_picture(chart: StageChart) -> Markup:
    """The chart: stages from top to bottom, days from left to right."""
    height = TOP + ROW * len(chart.rows) + FOOT
    days = _days(chart)
    return picture(
        *_months(days, height),
        *(_past_lines(chart, days) if chart.fanned else ()),
        *(part for i, row in enumerate(chart.rows) for part in _row(row, days, _middle(i))),
        path(_middle_line(chart, days), class_="middle"),
        *_today(chart, days, height),
        width=WIDTH,
        height=height,
        title="When the beans reach each stage",
        described=_described(chart),
    )


def _days(chart: StageChart) -> DayScale:
    first = min(chart.planted, chart.as_of)
    ends = [row.dates.p90 or row.dates.p50 or row.dates.p10 for row in chart.rows]
    ends += [day for row in chart.rows for day in row.past]
    last = max([chart.as_of + A_WEEK, *(day for day in ends if day is not None)])
    return DayScale(first, last + dt.timedelta(days=2), LEFT, RIGHT)


def _middle(row: int) -> float:
    return TOP + ROW * (row + 0.5)


def _months(days: DayScale, height: float) -> Iterator[Markup]:
    told = -100.0
    for month in days.months():
        x = days(month)
        yield element("line", x1=x, x2=x, y1=TOP - 4, y2=height - FOOT, class_="axis")
        if x - told > 26 and x < RIGHT - 20:
            yield text(f"{month:%b}", x + 2, 12, class_="faint-text")
            told = x


def _past_lines(chart: StageChart, days: DayScale) -> Iterator[Markup]:
    for season in range(len(chart.years)):
        points = _points(chart, days, [row.past[season] for row in chart.rows])
        yield path(points, class_="past")


def _middle_line(chart: StageChart, days: DayScale) -> Sequence[Point]:
    return _points(chart, days, [row.dates.p50 for row in chart.rows])


def _points(chart: StageChart, days: DayScale, dates: Sequence[dt.date | None]) -> list[Point]:
    return [(days(day), _middle(i)) for i, day in enumerate(dates) if day is not None]


def _row(row: StageRow, days: DayScale, y: float) -> Iterator[Markup]:
    yield text(row.stage, 0, y - 2, class_="code")
    yield text(row.words, 0, y + 11, class_="words")
    if row.dates.p10 is None:
        yield text("not this season", LEFT + 8, y + 4, class_="faint-text")
        return
    first = days(row.dates.p10)
    last = days(row.dates.p90) if row.dates.p90 is not None else days.end
    wide = max(last - first, 3.0)
    yield element("rect", x=first, y=y - BAR / 2, width=wide, height=BAR, rx=3.0, class_="range")
    if row.dates.p50 is not None:
        x = days(row.dates.p50)
        yield element("circle", cx=x, cy=y, r=3.6, class_="mark")


def _today(chart: StageChart, days: DayScale, height: float) -> Iterator[Markup]:
    x = days(chart.as_of)
    yield element("line", x1=x, x2=x, y1=TOP - 8, y2=height - FOOT, class_="today")
    anchor, moved = ("end", -4.0) if x > (LEFT + RIGHT) / 2 else ("start", 4.0)
    y = height - FOOT - 4 if anchor == "start" else TOP + 4
    yield text("today", x + moved, y, text_anchor=anchor, class_="today-text")


def _described(chart: StageChart) -> str:
    told = [f"{row.words} {short_day(row.dates.p50)}" for row in chart.rows]
    return f"Middle dates: {', '.join(told)}. Today is {short_day(chart.as_of)}."
