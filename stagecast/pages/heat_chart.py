"""A pest's degree-days so far against the usual of past seasons: words, chart and table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.base.units import F_PER_C, Units
from stagecast.pages.svg import DayScale, Point, Scale, band, element, path, picture, text
from stagecast.pests.curves import CurveWeek, HeatRange, PestCurve
from stagecast.visits.heat import WindowHeat
from stagecast.words.plain import explained, headed, plain_day, short_day, typed

WIDTH, HEIGHT = 360.0, 210.0
LEFT, RIGHT, TOP, FOOT = 40.0, 352.0, 18.0, 188.0
ROOM = 1.15
"""Of the heat at which the window opens, how much the chart shows."""
TOLD_FROM = 0.25
"""Share of that heat from which on days ahead or behind mean something; before, days are cold."""

WHAT = "Degree-days add up warmth for this insect."


@dataclass(frozen=True, slots=True, eq=False)
class HeatSaid:
    """What the page says of a pest's heat; degree-days in the units of the season.

    Attributes
    ----------
    pest : str
    unit : str
        ``F`` or ``C``.
    sentences : tuple of str
    need : float
        At which the window opens.
    weeks : tuple of CurveWeek
        Up to a little after the window opens, with the last known day between them.
    began, as_of : datetime.date
    """

    pest: str
    unit: str
    sentences: tuple[str, ...]
    need: float
    weeks: tuple[CurveWeek, ...]
    began: dt.date
    as_of: dt.date


def heat_said(heat: WindowHeat, units: Units, as_of: dt.date, *, stale_days: int) -> HeatSaid:
    """Put the heat behind a window into words and numbers.

    Parameters
    ----------
    heat : WindowHeat
    units : Units
    as_of : datetime.date
    stale_days : int
        Readings that end longer ago than this say nothing of early or late.
    """
    scale = F_PER_C if units == "us" else 1.0
    curve = heat.curve
    weeks = tuple(_scaled(week, scale) for week in curve.weeks)
    need = scale * heat.need_c
    return HeatSaid(
        pest=typed(heat.pest.name),
        unit="F" if units == "us" else "C",
        sentences=tuple(_sentences(heat, curve, units, as_of, stale_days)),
        need=need,
        weeks=_with_today(_shown(weeks, need, as_of), curve, scale),
        began=curve.biofix,
        as_of=as_of,
    )


def _sentences(
    heat: WindowHeat, curve: PestCurve, units: Units, as_of: dt.date, stale_days: int
) -> Iterator[str]:
    yield WHAT
    scale, unit = (F_PER_C, "F") if units == "us" else (1.0, "C")
    need = scale * heat.need_c
    opens = heat.window.opens.p50
    if opens is not None and opens > as_of:
        yield f"{headed(explained(_short(heat.title)))}: about {plain_day(opens)}."
    if curve.so_far is None or curve.last_known is None:
        starts = f"The count starts {plain_day(curve.biofix)}"
        yield f"{starts}; we look from {need:.0f} degree-days {unit} on."
        return
    so_far = (
        f"By {plain_day(curve.last_known)} there were {scale * curve.so_far:.0f} degree-days {unit}"
    )
    if curve.past_so_far is not None:
        so_far += f"; {scale * curve.past_so_far.p50:.0f} is usual by then"
    yield f"{so_far}. We look from {need:.0f} on."
    if (as_of - curve.last_known).days > stale_days:
        yield f"There are no readings since {plain_day(curve.last_known)}."
        return
    if curve.days_ahead is None or curve.so_far < TOLD_FROM * heat.need_c:
        return
    days = round(curve.days_ahead)
    if days == 0:
        yield "This year keeps the usual pace."
    else:
        many = "1 day" if abs(days) == 1 else f"{abs(days)} days"
        yield f"This year runs about {many} {'early' if days > 0 else 'late'}."


def _short(title: str) -> str:
    """What a pest does, without the words of the trade in brackets."""
    return typed(title.partition(" (")[0])


def _scaled(week: CurveWeek, scale: float) -> CurveWeek:
    past = week.past
    if past is not None:
        past = HeatRange(scale * past.p10, scale * past.p50, scale * past.p90)
    this = None if week.this_season is None else scale * week.this_season
    return CurveWeek(week.through, this, past)


def _shown(weeks: Sequence[CurveWeek], need: float, as_of: dt.date) -> tuple[CurveWeek, ...]:
    """Weeks up to the one, after today, in which nearly all past seasons are past the need."""
    for i, week in enumerate(weeks):
        late = week.past is not None and week.past.p10 > ROOM * need
        if late and week.through > as_of:
            return tuple(weeks[: i + 1])
    return tuple(weeks)


def _with_today(
    weeks: tuple[CurveWeek, ...], curve: PestCurve, scale: float
) -> tuple[CurveWeek, ...]:
    """The weeks, and between them the last day that is known."""
    last = curve.last_known
    if last is None or curve.so_far is None or any(week.through == last for week in weeks):
        return weeks
    known = _scaled(CurveWeek(last, curve.so_far, curve.past_so_far), scale)
    return tuple(sorted((*weeks, known), key=lambda week: week.through))


def heat_picture(said: HeatSaid) -> Markup:
    """The chart: past seasons as a band with their middle, this season as a line, the need."""
    days, heat = _scales(said)
    past = [(week.through, week.past) for week in said.weeks if week.past is not None]
    begins = (days(said.began), heat(0.0))
    upper = [begins, *((days(day), heat(p.p90)) for day, p in past)]
    lower = [begins, *((days(day), heat(p.p10)) for day, p in past)]
    usual = [begins, *((days(day), heat(p.p50)) for day, p in past)]
    known = [(w.through, w.this_season) for w in said.weeks if w.this_season is not None]
    this = [begins, *((days(day), heat(sum_)) for day, sum_ in known)]
    return picture(
        *_frame(said, days, heat),
        band(upper, lower, class_="range") if past else Markup(""),
        path(usual, class_="past usual") if past else Markup(""),
        *_need(said, heat),
        *_this(this),
        *_today(said, days),
        width=WIDTH,
        height=HEIGHT,
        title=f"Degree-days for {said.pest}: this year and past years",
        described=" ".join(said.sentences),
    )


def _scales(said: HeatSaid) -> tuple[DayScale, Scale]:
    last = max([said.as_of, *(week.through for week in said.weeks)])
    most = [week.past.p90 for week in said.weeks if week.past is not None]
    most += [week.this_season for week in said.weeks if week.this_season is not None]
    top = max(1.0, ROOM * said.need, *most)
    return DayScale(said.began, last, LEFT, RIGHT), Scale(0.0, top, FOOT, TOP)


def _frame(said: HeatSaid, days: DayScale, heat: Scale) -> Iterator[Markup]:
    yield text(short_day(said.began), LEFT, FOOT + 15, class_="faint-text")
    yield text(f"degree-days {said.unit}", 0, TOP - 8, class_="faint-text")
    told = LEFT
    for month in days.months():
        x = days(month)
        yield element("line", x1=x, x2=x, y1=TOP, y2=FOOT, class_="axis")
        if x - told > 50 and x < RIGHT - 75:
            yield text(short_day(month), x, FOOT + 15, text_anchor="middle", class_="faint-text")
            told = x
    yield text(short_day(days.last), RIGHT, FOOT + 15, text_anchor="end", class_="faint-text")
    step = _step(heat.last)
    level = 0.0
    while level <= heat.last:
        y = heat(level)
        yield element("line", x1=LEFT, x2=RIGHT, y1=y, y2=y, class_="axis")
        yield text(f"{level:.0f}", LEFT - 5, y + 4, text_anchor="end", class_="faint-text")
        level += step


def _step(top: float) -> float:
    """A round distance that gives three to six levels."""
    for step in (20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0):
        if top / step <= 5:
            return step
    return top


def _need(said: HeatSaid, heat: Scale) -> Iterator[Markup]:
    y = heat(said.need)
    yield element("line", x1=LEFT, x2=RIGHT, y1=y, y2=y, class_="need")
    yield text(f"look from {said.need:.0f} on", LEFT + 4, y - 5, class_="need-text")


def _this(points: Sequence[Point]) -> Iterator[Markup]:
    yield path(points, class_="middle")
    for x, y in points[1:]:
        yield element("circle", cx=x, cy=y, r=2.6, class_="mark")


def _today(said: HeatSaid, days: DayScale) -> Iterator[Markup]:
    x = days(said.as_of)
    yield element("line", x1=x, x2=x, y1=TOP - 6, y2=FOOT, class_="today")
    anchor, moved = ("end", -4.0) if x > (LEFT + RIGHT) / 2 else ("start", 4.0)
    yield text("today", x + moved, FOOT - 5, text_anchor=anchor, class_="today-text")


def heat_rows(said: HeatSaid) -> list[tuple[str, str, str, str, str]]:
    """The same numbers: week, this year, and the low, usual and high of past years."""
    rows = []
    for week in said.weeks:
        this = "" if week.this_season is None else f"{week.this_season:.0f}"
        past = ("", "", "")
        if week.past is not None:
            past = (f"{week.past.p10:.0f}", f"{week.past.p50:.0f}", f"{week.past.p90:.0f}")
        rows.append((short_day(week.through), this, *past))
    return rows
