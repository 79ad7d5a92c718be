"""A pest's place among those to look for in a field, day by day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.forecast.forecast import FieldForecast
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_after
from stagecast.knowledge.groups import group_of
from stagecast.knowledge.ranks import RankRow
from stagecast.knowledge.threshold import MonthDay
from stagecast.season.tables.fields import Field


@dataclass(frozen=True, slots=True)
class RankSpan:
    """The place of a pest from one day to another, the last not included; None: to the end."""

    first: dt.date
    end: dt.date | None
    rank: int

    def holds(self, day: dt.date) -> bool:
        """Whether it is the pest's place on a day."""
        return self.first <= day and (self.end is None or day < self.end)


def rank_spans(
    pest: str, forecast: FieldForecast, knowledge: Knowledge
) -> tuple[RankSpan, ...] | None:
    """The places of a pest in a field, by the middle dates of its stages.

    None where no row of ``ranks.toml`` speaks of the pest at all, anywhere: one of a consultant's
    own. Nothing where none speaks of it for such a field.
    """
    rows = rank_rows(pest, knowledge)
    if not rows:
        return None
    spans = (_span(row, forecast) for row in rows if holds_in(row, forecast.field, knowledge))
    return tuple(span for span in spans if span is not None)


def rank_rows(pest: str, knowledge: Knowledge) -> tuple[RankRow, ...]:
    """The rows of a pest; kept with the knowledge."""
    return knowledge.once(
        ("ranks", pest), lambda: tuple(row for row in knowledge.ranks if row.pest == pest)
    )


def holds_in(row: RankRow, field: Field, knowledge: Knowledge) -> bool:
    """Whether a row is for a field: where it lies, how it is tilled, what it borders, when sown."""
    group = field.group or group_of(field.region, knowledge.groups)
    if group not in row.groups and field.region not in row.regions:
        return False
    if row.no_till and field.no_till is not True:
        return False
    if row.wooded_edge and field.wooded_edge is not True:
        return False
    day, planted = row.planted_from, field.planting_date
    return day is None or (planted.month, planted.day) >= (day.month, day.day)


def _span(row: RankRow, forecast: FieldForecast) -> RankSpan | None:
    """From the first stage to the end of the last, cut by the days of the year."""
    first = forecast.dates_of(row.first).p50
    end = forecast.dates_of(stage_after(row.last)).p50
    if first is None:
        return None
    if row.starts is not None:
        first = max(first, _day(row.starts, forecast))
    if row.ends is not None:
        last = _day(row.ends, forecast) + dt.timedelta(days=1)
        end = last if end is None else min(end, last)
    return RankSpan(first, end, row.rank) if end is None or first < end else None


def _day(day: MonthDay, forecast: FieldForecast) -> dt.date:
    return dt.date(forecast.span.year, day.month, day.day)
