"""Overviews for tests: of a planned season, of one with other names, and of very many fields."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import islice

from changed import changed
from week_builder import MONDAY, ONE_DAY, build_week, field_ids, full_week

from stagecast.pages.overview import Overview, overview, overview_html
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import WeekRoute

TURN = 2.4
"""Radians between one field and the next on a spiral: no two lie at the same place."""


def page_of(season: SeasonDay) -> Overview:
    """The overview of a season, with a week in which everything that can be told is told."""
    return overview(full_week(season))


def html_of(season: SeasonDay) -> str:
    """The same as a page."""
    return overview_html(page_of(season))


def many(season: SeasonDay, count: int) -> SeasonDay:
    """The fields of a season over and over, on a spiral, each with an id of its own."""
    fields = tuple(_moved(season.fields[i % len(season.fields)], i) for i in range(count))
    return changed(season, fields=fields, by_need=fields)


def routed(season: SeasonDay, *, a_day: int = 5) -> WeekRoute:
    """A working week of two scouts, who walk so many fields a day of those that come first."""
    ids = iter(field_ids(season))
    days = (MONDAY + ONE_DAY * i for i in range(5))
    walks = {(day, scout): list(islice(ids, a_day)) for day in days for scout in ("Ann", "Bo")}
    return build_week(season, walks)


def _moved(plan: FieldDay, number: int) -> FieldDay:
    field, far = plan.forecast.field, 0.02 * math.sqrt(number)
    field = replace(
        field,
        field_id=f"X{number:03}",
        latitude=36.0 + far * math.sin(TURN * number),
        longitude=-89.0 + far * math.cos(TURN * number),
    )
    return changed(plan, forecast=replace(plan.forecast, field=field))
