"""The season's timeline: a row per field, days across, windows as bands, visits as marks."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.pages.svg import DayScale, element, path, text
from stagecast.pests.windows import ScoutingWindow
from stagecast.screens.screen import range_text
from stagecast.visits.season_day import FieldDay, SeasonDay

DAY_PX = 4
"""A whole number, so that every edge of a day lies on a whole pixel."""

VISITS_PX, CROP_PX, PEST_PX, FOOT_PX, LEAST_PX = 14, 14, 12, 2, 46
CROP_BAND, PEST_BAND = 10, 5
"""Heights of the lanes of a row, and of the bands in them."""

LETTER_PX, GAP_PX = 6, 4
AXIS_PX = 34

TIMED = ("crop", "heat", "catch", "calendar")
"""Windows that something times; those of host stages alone only repeat the crop's stages."""


@dataclass(frozen=True, slots=True)
class Days:
    """The days across: whole months, each day so many pixels wide."""

    first: dt.date
    last: dt.date

    @property
    def width(self) -> int:
        """Of the drawing, in pixels; the last day is whole."""
        return ((self.last - self.first).days + 1) * DAY_PX

    @property
    def scale(self) -> DayScale:
        """Where each day begins."""
        return DayScale(self.first, self.last, 0.0, float(self.width - DAY_PX))

    def x(self, day: dt.date | None) -> int:
        """Where a day begins; a day that never comes lies at the end."""
        return self.width if day is None else round(self.scale(day))


def days_of(season: SeasonDay) -> Days:
    """Whole months from the first planting, or the day asked for, to the season's end."""
    first = min([season.as_of, *(one.forecast.field.planting_date for one in season.fields)])
    last = max(season.as_of, season.loaded.span.last_day)
    length = calendar.monthrange(last.year, last.month)[1]
    return Days(first.replace(day=1), last.replace(day=length))


@dataclass(frozen=True, slots=True)
class WindowBand:
    """A window in a row.

    Attributes
    ----------
    outer: pixels between which it is open in a tenth of the possible seasons or more
    inner: the same between the middle dates; None where it hardly ever opens
    lane: from 0, of its kind
    label: where its name begins; below 0 where it ends that far to the left instead
    """

    window: ScoutingWindow
    outer: tuple[int, int]
    inner: tuple[int, int] | None
    lane: int
    label: int

    @property
    def of_crop(self) -> bool:
        """Whether it is a window of the crop itself."""
        return self.window.pest is None


@dataclass(frozen=True, slots=True, eq=False)
class TimelineRow:
    """What the timeline has of a field."""

    bands: tuple[WindowBand, ...]
    visits: tuple[dt.date, ...]
    walk: dt.date | None

    @property
    def lanes(self) -> tuple[int, int]:
        """How many lanes windows of the crop and of pests take."""
        crop = [band.lane + 1 for band in self.bands if band.of_crop]
        pest = [band.lane + 1 for band in self.bands if not band.of_crop]
        return max(crop, default=0), max(pest, default=0)

    @property
    def height(self) -> int:
        """In pixels."""
        crop, pest = self.lanes
        return max(VISITS_PX + CROP_PX * crop + PEST_PX * pest + FOOT_PX, LEAST_PX)


def shown_windows(plan: FieldDay) -> list[ScoutingWindow]:
    """The windows of a field that are drawn, by opening date."""
    return [w for w in plan.windows if w.timing in TIMED and w.opens.p10 is not None]


def timeline_row(
    plan: FieldDay, visits: Sequence[dt.date], days: Days, *, walk: dt.date | None
) -> TimelineRow:
    """Lay out a field's windows so that neither bands nor their names meet."""
    windows = shown_windows(plan)
    crop = _laid([w for w in windows if w.pest is None], days)
    pest = _laid([w for w in windows if w.pest is not None], days)
    return TimelineRow((*crop, *pest), tuple(visits), walk)


def _laid(windows: Sequence[ScoutingWindow], days: Days) -> list[WindowBand]:
    """Each window in the first lane that is free."""
    ends: list[int] = []
    bands = []
    for window in sorted(windows, key=lambda w: (w.opens.p10 or dt.date.max, w.short)):
        outer = days.x(window.opens.p10), days.x(window.closes.p90)
        inner = None
        if window.opens.p50 is not None:
            inner = days.x(window.opens.p50), days.x(window.closes.p50)
        named = LETTER_PX * len(window.short) + 2 * GAP_PX
        left = outer[1] + named > days.width
        start = outer[0] - named if left else outer[0]
        lane = next((i for i, end in enumerate(ends) if end <= start), len(ends))
        ends += [0] * (lane + 1 - len(ends))
        ends[lane] = outer[1] if left else outer[1] + named
        bands.append(
            WindowBand(window, outer, inner, lane, -outer[0] if left else outer[1] + GAP_PX)
        )
    return bands


def row_picture(row: TimelineRow, days: Days) -> Markup:
    """A row as a drawing; the table below the chart says the same to those who cannot see it."""
    crop_lanes = row.lanes[0]
    marks = [_mark("visit", day, "visited", days) for day in row.visits]
    if row.walk is not None:
        marks.append(_mark("due", row.walk, "next visit", days))
    return element(
        "svg",
        element("use", href="#grid"),
        *(_band(band, crop_lanes) for band in row.bands),
        *marks,
        width=days.width,
        height=row.height,
        aria_hidden="true",
    )


def _mark(kind: str, day: dt.date, word: str, days: Days) -> Markup:
    if not days.first <= day <= days.last:
        return Markup("")
    named = element("title", f"{word} {said_day(day)}")
    return element("use", named, href=f"#t-{kind}", x=days.x(day), y=VISITS_PX // 2)


def _band(band: WindowBand, crop_lanes: int) -> Markup:
    height, y = CROP_BAND, VISITS_PX + CROP_PX * band.lane
    if not band.of_crop:
        height, y = PEST_BAND, VISITS_PX + CROP_PX * crop_lanes + PEST_PX * band.lane + 3
    drawn = [_box(*band.outer, y, height)]
    if band.inner is not None:
        drawn.append(_box(*band.inner, y, height, "m"))
    at_end = "end" if band.label < 0 else None
    x = -band.label - GAP_PX if band.label < 0 else band.label
    label = element("text", band.window.short, x=x, y=y + height // 2 + 4, text_anchor=at_end)
    kind = "c" if band.of_crop else "p"
    return element("g", element("title", band_words(band.window)), *drawn, label, class_=kind)


def _box(left: int, right: int, y: int, height: int, class_: str | None = None) -> Markup:
    wide = right - left
    if wide <= 0:
        return Markup("")
    return element("path", d=f"M{left} {y}h{wide}v{height}h-{wide}z", class_=class_)


def band_words(window: ScoutingWindow) -> str:
    """A window in a line."""
    return f"{window.title}: opens {range_text(window.opens)}, closes {range_text(window.closes)}"


def axis_picture(days: Days, as_of: dt.date) -> Markup:
    """The months, and today with its word."""
    today = days.x(as_of)
    right = today > days.width * 3 // 4
    return element(
        "svg",
        *(text(f"{month:%b}", days.x(month) + GAP_PX, 13) for month in days.scale.months()),
        text(
            f"today, {said_day(as_of)}",
            today - GAP_PX if right else today + GAP_PX,
            29,
            class_="today-word",
            text_anchor="end" if right else "start",
        ),
        path([(today, AXIS_PX - 16), (today, AXIS_PX)], class_="today"),
        width=days.width,
        height=AXIS_PX,
        aria_hidden="true",
    )


def shared_marks(days: Days, as_of: dt.date, *, tallest: int) -> Markup:
    """What every row shows, drawn once: months, today, the marks of visits, the hatching."""
    lines = [
        path([(days.x(month), 0), (days.x(month), tallest)], class_="axis")
        for month in days.scale.months()
    ]
    today = path([(days.x(as_of), 0), (days.x(as_of), tallest)], class_="today")
    return Markup("").join(
        [
            element("g", *lines, today, id="grid"),
            path([(-5, -4), (5, -4), (0, 5)], closed=True, id="t-visit", class_="visit"),
            path([(0, -5), (5, 0), (0, 5), (-5, 0)], closed=True, id="t-due", class_="due"),
            _hatch("h-crop", [(0, 6), (6, 0)], "hatch-crop"),
            _hatch("h-pest", [(1, 0), (1, 6)], "hatch-pest"),
        ]
    )


def _hatch(name: str, line: Sequence[tuple[float, float]], class_: str) -> Markup:
    size = 6 if name == "h-crop" else 3
    return element(
        "pattern",
        path(line, class_=class_),
        id=name,
        width=size,
        height=size,
        patternUnits="userSpaceOnUse",
    )
