"""A region on a page: the share of its area at each stage week by week, and dates by county."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from markupsafe import Markup

from stagecast.base.dates import said_day
from stagecast.pages.render import render
from stagecast.pages.svg import DayScale, Scale, band, path, picture, text
from stagecast.region.summary import WHOLE, RegionSummary, StageShares
from stagecast.screens.region import HALF, SHOWN, TENTH

WIDTH, ROW, TOP, LEFT, RIGHT = 360.0, 40.0, 20.0, 34.0, 350.0
_CURVE = 30.0  # of a row's height; the rest parts it from the one above


@dataclass(frozen=True, slots=True)
class GroupRow:
    """A line of the table: when half of a group's area comes to each stage, as a range."""

    name: str
    area: str
    days: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class RegionPage:
    """What the page says."""

    fields: int
    as_of: dt.date
    by: str
    shares: tuple[StageShares, ...]
    dates: tuple[dt.date, ...]
    rows: tuple[GroupRow, ...]

    @property
    def stages(self) -> tuple[str, ...]:
        """The stages that it shows."""
        return SHOWN


def region_page(summary: RegionSummary, *, fields: int, as_of: dt.date) -> RegionPage:
    """What the page says of a summary."""
    shown = [one for one in summary.shares if one.stage in SHOWN]
    rows = [_row(name, list(group), summary) for name, group in groupby(shown, lambda s: s.group)]
    whole = tuple(one for one in shown if one.group == WHOLE)
    return RegionPage(fields, as_of, summary.by, whole, summary.dates, tuple(rows))


def _row(name: str, shares: Sequence[StageShares], summary: RegionSummary) -> GroupRow:
    area = max(one.area for one in shares)
    unit = "ha" if summary.in_hectares else "fields"
    days = tuple(_days(one, summary) for one in shares)
    return GroupRow(name or "all", f"{area:,.0f} {unit}", days)


def _days(one: StageShares, summary: RegionSummary) -> str:
    """The week by which half of the area is there, and that if all fields were early or late."""
    middle = summary.reached(one.middle, HALF)
    if not one.area:
        return "not known"
    if middle is None:
        return "not this season"
    ends = [summary.reached(shares, HALF) for shares in (one.early, one.late)]
    early, late = ("later" if day is None else said_day(day) for day in ends)
    return f"{said_day(middle)} ({early} to {late})"


def region_html(page: RegionPage) -> str:
    """The page."""
    return render("region.html", page=page, chart=shares_picture(page), as_of=said_day(page.as_of))


def shares_picture(page: RegionPage) -> Markup:
    """A row a stage: the share of the area that is there, and how early or late it may be."""
    weeks = _weeks(page.shares)
    dates = page.dates[weeks.start : weeks.stop]
    days = DayScale(dates[0], dates[-1], LEFT, RIGHT)
    height = TOP + ROW * len(page.shares) + 22.0
    drawn = [*_months(days, height - 22.0)]
    for number, one in enumerate(page.shares):
        foot = TOP + ROW * (number + 1)
        share = Scale(0.0, 1.0, foot, foot - _CURVE)
        lines = [
            [(days(day), share(float(value))) for day, value in zip(dates, values, strict=True)]
            for values in (s[weeks.start : weeks.stop] for s in (one.early, one.middle, one.late))
        ]
        drawn.append(path([(LEFT, foot), (RIGHT, foot)], class_="axis"))
        drawn.append(band(lines[0], lines[2], class_="area-range"))
        drawn.append(path(lines[1], class_="area-middle"))
        drawn.append(text(one.stage, 0, foot - 2, class_="letter"))
    title = "Share of the area that has come to each stage, week by week"
    described = "Each row rises from none of the area to all of it; the table has the dates."
    return picture(*drawn, width=WIDTH, height=height, title=title, described=described)


def _weeks(shares: Sequence[StageShares]) -> range:
    """The weeks in which a stage comes to a tenth of the area until all are as far as they come."""
    early = np.flatnonzero(np.array([one.early for one in shares]).max(axis=0) >= TENTH)
    late = np.array([one.late for one in shares])
    moving = np.flatnonzero((late < late[:, -1:]).any(axis=0))
    last = late.shape[1] - 1
    first = max(int(early[0]) - 1, 0) if early.size else 0
    return range(first, min(int(moving[-1]) + 2, last + 1) if moving.size else last + 1)


def _months(days: DayScale, foot: float) -> Iterator[Markup]:
    for month in days.months():
        x = days(month)
        yield path([(x, TOP), (x, foot)], class_="axis")
        if x < RIGHT - 20.0:
            yield text(f"{month:%b}", x + 2.0, foot + 15.0)
