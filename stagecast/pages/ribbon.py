"""A field's season as a ribbon: stages with their ranges, windows, visits and counts, today.

Notes
-----
The edge between two stages leans: at the top it stands on the day by which a tenth of the possible
seasons have crossed it, in the middle on that of half of them, at the bottom on that of nine
tenths. Read along one height, the ribbon is one season, early at the top and late at the bottom;
an edge that was seen stands upright. Windows lean alike.

A row of :func:`row_picture` is as wide as its place, in parts of the days; :func:`field_picture`
is one field by itself, with stage names and dates, for a page that goes to its grower.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import compress, pairwise
from typing import Literal

from markupsafe import Markup

from stagecast.counts.assessment import FieldAssessment
from stagecast.forecast.ranges import DateRange
from stagecast.pages.svg import DayScale, Point, chevrons, diamond, element, path, picture, text
from stagecast.pests.windows import ScoutingWindow
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.words.plain import short_day, stage_words

Mark = Literal["above", "near", "below", "seen"]
"""What a visit found: a count over a threshold, near it or below it; or nothing held to one."""

MARKS: dict[Mark, str] = {"above": "ra", "near": "rn", "below": "rb", "seen": "rv"}
WALK = "rw"
"""Names of the marks of visits, and of the next one, in a page."""

PHASES = ("VE", "R1", "R3", "R5", "R6", "R7")
"""The stages at which the ribbon changes its shade."""

LAST = "R8"
NAMES = {
    "VE": "up", "R1": "flowers", "R3": "pods", "R5": "seeds", "R6": "full seeds",
    "R7": "ripens", LAST: "ripe",
}  # fmt: skip
"""What a stage brings, in a word."""

TIMED = ("crop", "heat", "catch", "calendar")
"""Windows that something times; those of host stages alone only repeat the crop's stages."""

ROW_PX = 24
BAND, CROP, PEST = (3.0, 13.0), (15.0, 19.0), (20.0, 24.0)
"""Top and bottom of the stages, of the crop's critical windows, and of pests' windows."""

NAMED_DAYS = 4
"""Days to each side of a phase's middle that must be free for its code to stand there."""


@dataclass(frozen=True, slots=True)
class SeasonDays:
    """The days across."""

    first: dt.date
    last: dt.date

    @property
    def count(self) -> int:
        """How many there are."""
        return (self.last - self.first).days + 1

    def at(self, day: dt.date | None) -> int:
        """Days from the first up to a day; one that never comes lies at the end."""
        if day is None:
            return self.count
        return min(max((day - self.first).days, 0), self.count)

    def percent(self, day: dt.date) -> str:
        """Where a day begins, as a share of the width."""
        return f"{100 * self.at(day) / self.count:.1f}".removesuffix(".0") + "%"

    def months(self) -> Iterable[dt.date]:
        """The first of every month among them."""
        return DayScale(self.first, self.last, 0.0, 1.0).months()


@dataclass(frozen=True, slots=True)
class Stretch:
    """From one uncertain day to another."""

    opens: DateRange
    closes: DateRange


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the ribbon: code of its first stage, and from when to when."""

    stage: str
    span: Stretch


@dataclass(frozen=True, slots=True)
class Ribbon:
    """What a ribbon shows of a field.

    Attributes
    ----------
    phases: by stage; those that hardly ever come this season are left out
    ripe: when the last stage comes
    crop, pests: critical windows of the crop, and windows of pests that something times
    visits: days up to today, each with what was found
    walk: the next visit
    """

    as_of: dt.date
    planted: dt.date
    phases: tuple[Phase, ...]
    ripe: DateRange
    crop: tuple[Stretch, ...]
    pests: tuple[Stretch, ...]
    visits: tuple[tuple[dt.date, Mark], ...]
    walk: dt.date | None = None


def ribbon_of(plan: FieldDay, *, walk: dt.date | None = None) -> Ribbon:
    """Gather what a field's ribbon shows."""
    stages = plan.forecast.stages
    phases = tuple(
        Phase(stage, Stretch(stages[stage], stages[end]))
        for stage, end in pairwise((*PHASES, LAST))
        if stages[stage].p10 is not None
    )
    windows = shown_windows(plan)
    return Ribbon(
        as_of=plan.season.as_of,
        planted=plan.forecast.field.planting_date,
        phases=phases,
        ripe=stages[LAST],
        crop=tuple(_span(w) for w in windows if w.pest is None and w.critical),
        pests=tuple(_span(w) for w in windows if w.pest is not None),
        visits=tuple((day, mark_of(plan, day)) for day in _visited(plan)),
        walk=walk,
    )


def shown_windows(plan: FieldDay) -> list[ScoutingWindow]:
    """The windows of a field that are drawn, by opening date."""
    return [w for w in plan.windows if w.timing in TIMED and w.opens.p10 is not None]


def _span(window: ScoutingWindow) -> Stretch:
    return Stretch(window.opens, window.closes)


def _visited(plan: FieldDay) -> list[dt.date]:
    season = plan.season
    days = (visit.date for visit in season.loaded.season.visits_of(plan.field_id))
    return sorted({day for day in days if day <= season.as_of})


def mark_of(plan: FieldDay, day: dt.date) -> Mark:
    """What a visit found, as its mark says it."""
    found = plan.assess_day(day)
    return "seen" if found is None else mark_of_counts(found)


def mark_of_counts(found: FieldAssessment) -> Mark:
    """The worst of what was counted."""
    judged = [one for one in found.pests if one.judged]
    answers = {one.answer for one in judged}
    if found.defoliation is not None and found.defoliation.threshold is not None:
        answers.add(found.defoliation.answer)
    if "above" in answers or any(one.over for one in judged):
        return "above"
    if "near" in answers:
        return "near"
    return "below" if answers & {"below", "too few"} else "seen"


def season_days(season: SeasonDay) -> SeasonDays:
    """Whole months from the first planting, or the day asked for, until all fields are ripe."""
    fields, end = season.fields, season.loaded.span.last_day
    first = min([season.as_of, *(one.forecast.field.planting_date for one in fields)])
    ripe = [one.forecast.stages[LAST].p90 or end for one in fields]
    last = max([season.as_of, *ripe])
    return SeasonDays(first.replace(day=1), _month_end(last))


def _month_end(day: dt.date) -> dt.date:
    return day.replace(day=calendar.monthrange(day.year, day.month)[1])


# --- shapes ---------------------------------------------------------------------------------------


def leaning(
    span: Stretch, x: DayScale | SeasonDays, heights: tuple[float, float], *, fades: bool
) -> list[Point]:
    """The corners of a stretch of time whose ends lean.

    Parameters
    ----------
    x: where a day lies
    heights: top and bottom of the drawing
    fades: whether it ends at the height of the seasons in which it still comes; else it goes on to
        the last day
    """
    left, right = _edge(span.opens, x, heights), _edge(span.closes, x, heights)
    if fades:
        comes = [day is not None for day in _dates(span.opens)]
        left, right = (list(compress(edge, comes)) for edge in (left, right))
    return [*left, *reversed(right)]


def _edge(dates: DateRange, x: DayScale | SeasonDays, heights: tuple[float, float]) -> list[Point]:
    """From early at the top to late at the bottom."""
    top, bottom = heights
    return list(
        zip((_x(x, day) for day in _dates(dates)), (top, (top + bottom) / 2, bottom), strict=True)
    )


def _dates(dates: DateRange) -> tuple[dt.date | None, dt.date | None, dt.date | None]:
    return dates.p10, dates.p50, dates.p90


def _x(x: DayScale | SeasonDays, day: dt.date | None) -> float:
    if isinstance(x, SeasonDays):
        return x.at(day)
    return x.end if day is None else x(day)


# --- a row of many --------------------------------------------------------------------------------


def row_picture(ribbon: Ribbon, days: SeasonDays) -> Markup:
    """A row, as wide as its place; words beside it say the same to those who cannot see it."""
    seen = (
        element("use", href=f"#{MARKS[mark]}", x=days.percent(day))
        for day, mark in ribbon.visits
        if day >= days.first
    )
    walk = ribbon.walk
    due = () if walk is None else (element("use", href=f"#{WALK}", x=days.percent(walk)),)
    return element(
        "svg",
        element("svg", *_stretched(ribbon, days), viewBox=f"0 0 {days.count} {ROW_PX}",
                preserveAspectRatio="none"),
        element("use", href="#grid"),
        *_codes(ribbon, days),
        *seen,
        *due,
        aria_hidden="true",
    )  # fmt: skip


def _stretched(ribbon: Ribbon, days: SeasonDays) -> Iterator[Markup]:
    """What is as wide as its days: each phase is painted to the end, and the next one over it.

    They are told by their places: a stage comes only after all stages before it.
    """
    end, top = days.at(ribbon.ripe.p90), BAND[0]
    for phase in ribbon.phases:
        edge = _line(_edge(phase.span.opens, days, BAND))
        yield element("path", d=f"M{edge}H{end}V{top:g}")
    if ribbon.ripe.p10 is not None:  # a pixel more on each side, so that nothing shines through
        edge = _line(_edge(ribbon.ripe, days, (top - 1, BAND[1] + 1)))
        yield element("path", d=f"M{edge}H{end + 1}V{top - 1:g}")
    for spans, heights, class_ in ((ribbon.crop, CROP, "wc"), (ribbon.pests, PEST, "wp")):
        yield joined(
            [leaning(one, days, heights, fades=True) for one in merged(spans)], class_=class_
        )


def merged(spans: Iterable[Stretch]) -> list[Stretch]:
    """The same time covered by fewer stretches: those that meet at every level become one."""
    found: list[Stretch] = []
    for one in sorted(spans, key=lambda span: [day or dt.date.max for day in _dates(span.opens)]):
        if found and _meet(found[-1], one):
            found[-1] = _both(found[-1], one)
        else:
            found.append(one)
    return found


def _meet(first: Stretch, later: Stretch) -> bool:
    """Whether both come in as many seasons, and the later begins before the first ends."""
    if [d is None for d in _dates(first.opens)] != [d is None for d in _dates(later.opens)]:
        return False
    levels = zip(_dates(first.opens), _dates(first.closes), _dates(later.opens), strict=True)
    return all(
        begin is None or (start is not None and start <= begin and (end is None or begin <= end))
        for start, end, begin in levels
    )


def _both(first: Stretch, later: Stretch) -> Stretch:
    ends = zip(_dates(first.closes), _dates(later.closes), strict=True)
    closes = [None if a is None or b is None else max(a, b) for a, b in ends]
    return Stretch(first.opens, DateRange(*closes))


def joined(areas: Iterable[Sequence[Point]], *, class_: str) -> Markup:
    """Several areas as one shape."""
    drawn = "".join(f"M{_line(area)}z" for area in areas if area)
    return element("path", d=drawn, class_=class_) if drawn else Markup("")


def _line(points: Sequence[Point]) -> str:
    """Points as SVG writes a line, each after the first from the one before."""
    steps = [(x - x0, y - y0) for (x0, y0), (x, y) in pairwise(points)]
    return f"{_short(points[0])}l" + " ".join(map(_short, steps))


def _short(point: Point) -> str:
    x, y = (f"{round(value, 1) + 0.0:g}" for value in point)
    return f"{x} {y}"


def _codes(ribbon: Ribbon, days: SeasonDays) -> Iterator[Markup]:
    """The codes of the phases that are not over, where they have room."""
    today = days.at(ribbon.as_of)
    for phase in ribbon.phases[1:]:
        first, last = days.at(phase.span.opens.p50), days.at(phase.span.closes.p50)
        middle = (first + last) // 2
        clear = all(abs(days.at(day) - middle) > NAMED_DAYS for day, _ in ribbon.visits)
        if clear and last > today and last - first >= 2 * NAMED_DAYS:
            yield element("text", phase.stage, x=f"{100 * middle / days.count:.0f}%")


def axis_picture(days: SeasonDays, as_of: dt.date) -> Markup:
    """The months, and today with its word, above the rows."""
    right = days.at(as_of) > days.count * 3 // 4
    return element(
        "svg",
        element("use", href="#grid"),
        *(element("text", f"{month:%b}", x=days.percent(month), dx=4, y=12)
          for month in days.months()),
        element("text", f"today, {as_of.day} {as_of:%b}", x=days.percent(as_of),
                dx=-4 if right else 4, y=26, text_anchor="end" if right else "start"),
        aria_hidden="true",
    )  # fmt: skip


def shared_marks(days: SeasonDays, as_of: dt.date) -> Markup:
    """What every row shows, drawn once: months, today, and the marks of visits."""
    middle = sum(BAND) / 2
    lines = [_upright(days.percent(month), "axis") for month in days.months()]
    shapes = {name: count_mark(mark, 0, middle) for mark, name in MARKS.items()}
    shapes[WALK] = path([(-2, 1), (2, 1), (2, 16), (-2, 16)], closed=True, class_="walk")
    return Markup("").join(
        [
            element("g", *lines, _upright(days.percent(as_of), "today"), id="grid"),
            *(element("g", shape, id=name) for name, shape in shapes.items()),
        ]
    )


def _upright(x: str, class_: str) -> Markup:
    return element("line", x1=x, x2=x, y1=0, y2="100%", class_=class_)


def count_mark(mark: Mark, x: float, y: float) -> Markup:
    """The mark of a visit by what it found: the shapes that a number line gives its mean."""
    shapes: dict[Mark, Markup] = {
        "above": chevrons(5),
        "near": diamond(5.5),
        "below": element("circle", r=4),
        "seen": path([(0, -6), (0, 6)]),
    }
    class_ = "seen" if mark == "seen" else f"c-{mark}"
    return element("g", shapes[mark], transform=f"translate({x:g} {y:g})", class_=class_)


def phase_key(stage: str) -> Markup:
    """A piece of a phase, beside its words."""
    shape = path([(0, 0), (20, 0), (26, 12), (6, 12)], closed=True, class_=stage)
    return element("svg", shape, width=26, height=12, aria_hidden="true")


def mark_key(name: str) -> Markup:
    """One of the marks of :func:`shared_marks`, beside its words."""
    mark = element("use", href=f"#{name}", x=8)
    return element("svg", mark, width=16, height=17, aria_hidden="true")


# --- one field by itself --------------------------------------------------------------------------

WIDTH, HEIGHT, LEFT, RIGHT = 360.0, 124.0, 8.0, 352.0
TODAY_Y, NAME_ROWS = 12.0, (27.0, 41.0, 55.0)
FIELD_BAND, FIELD_WINDOWS, AXIS_Y, MONTHS_Y = (61.0, 87.0), (90.0, 95.0), 103.0, 117.0
LETTER, MONTH_GAP = 5.8, 26.0
"""How wide a letter is at most, and months stand apart."""


def field_picture(ribbon: Ribbon) -> Markup:
    """One field: its stages by name, the middle date of each, windows, visits and today."""
    days = _field_days(ribbon)
    x = DayScale(days.first, days.last, LEFT, RIGHT)
    middle = sum(FIELD_BAND) / 2
    return picture(
        *_month_lines(x),
        *(path(leaning(phase.span, x, FIELD_BAND, fades=False), closed=True, class_=phase.stage)
          for phase in ribbon.phases),
        joined([leaning(one, x, FIELD_WINDOWS, fades=True) for one in ribbon.crop], class_="wc"),
        *_today(ribbon.as_of, x),
        *_names(ribbon, x),
        *(count_mark(mark, x(day), middle) for day, mark in ribbon.visits if day >= days.first),
        width=WIDTH,
        height=HEIGHT,
        title="When the beans reach each stage",
        described=_described(ribbon),
    )  # fmt: skip


def _field_days(ribbon: Ribbon) -> SeasonDays:
    """From planting, or today, until it is ripe, as far as that comes."""
    spans = [day for phase in ribbon.phases for day in _dates(phase.span.opens)]
    known = [day for day in (*spans, *_dates(ribbon.ripe)) if day is not None]
    last = max([ribbon.as_of, *known])
    return SeasonDays(min(ribbon.planted, ribbon.as_of), last + dt.timedelta(days=7))


def _month_lines(x: DayScale) -> Iterator[Markup]:
    yield path([(LEFT, AXIS_Y), (RIGHT, AXIS_Y)], class_="axis")
    for month in x.months():
        yield path([(x(month), FIELD_BAND[0]), (x(month), AXIS_Y + 3)], class_="axis")
        if x(month) < RIGHT - MONTH_GAP:
            yield text(f"{month:%b}", x(month) + 2, MONTHS_Y, class_="faint-text")


def _begins(ribbon: Ribbon) -> list[tuple[str, dt.date | None]]:
    """Each stage with its middle date."""
    begins = [(phase.stage, phase.span.opens.p50) for phase in ribbon.phases]
    return [*begins, (LAST, ribbon.ripe.p50)]


def _names(ribbon: Ribbon, x: DayScale) -> Iterator[Markup]:
    """What each stage brings and its middle date, with a line down to it; where there is room."""
    free = [LEFT] * len(NAME_ROWS)
    for stage, day in _begins(ribbon):
        if day is None:
            continue
        words = f"{NAMES[stage]} {short_day(day)}"
        left, right = _beside(x(day), words)
        row = next((row for row, end in enumerate(free) if end <= left + 0.05), None)
        if row is None:
            continue
        free[row] = right + LETTER
        yield path([(x(day), NAME_ROWS[row] + 3), (x(day), sum(FIELD_BAND) / 2)], class_="lead")
        yield text(words, (left + right) / 2, NAME_ROWS[row], class_="words")


def _beside(at: float, words: str) -> tuple[float, float]:
    """Where words about a place begin and end, inside the drawing."""
    half = LETTER * len(words) / 2
    middle = min(max(at, LEFT + half), RIGHT - half)
    return middle - half, middle + half


def _today(as_of: dt.date, x: DayScale) -> Iterator[Markup]:
    words = f"today, {short_day(as_of)}"
    yield path([(x(as_of), TODAY_Y + 3), (x(as_of), AXIS_Y)], class_="today")
    yield text(words, sum(_beside(x(as_of), words)) / 2, TODAY_Y, class_="today-text")


def _described(ribbon: Ribbon) -> str:
    told = [f"{stage_words(stage)} {short_day(day)}" for stage, day in _begins(ribbon)]
    return f"Middle dates: {', '.join(told)}. Today is {short_day(ribbon.as_of)}."
