"""A pest's place among those to look for in a field, day by day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
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
    pests: Iterable[str], forecast: FieldForecast, knowledge: Knowledge
) -> dict[str, tuple[RankSpan, ...] | None]:
    """The places of pests in a field, by the middle dates of its stages.

    None where no row of ``ranks.toml`` speaks of the pest at all, anywhere: one of a consultant's
    own. Nothing where none speaks of it for such a field.
    """
    field, rows = forecast.field, rows_for(forecast.field, knowledge)
    found: dict[str, tuple[RankSpan, ...] | None] = {}
    for pest in pests:
        ours = rows.get(pest)
        spans = (_span(row, forecast) for row in ours or () if _sown_for(row, field))
        found[pest] = None if ours is None else tuple(one for one in spans if one is not None)
    return found


def rows_for(field: Field, knowledge: Knowledge) -> Mapping[str, Sequence[RankRow]]:
    """The rows of each pest that has any: those for a field's place, tillage and borders.

    Kept with the knowledge: many fields are alike in these.
    """
    group = field.group or group_of(field.region, knowledge.groups)
    no_till, wooded = field.no_till is True, field.wooded_edge is True

    def found() -> Mapping[str, Sequence[RankRow]]:
        rows: dict[str, list[RankRow]] = {row.pest: [] for row in knowledge.ranks}
        for row in knowledge.ranks:
            here = group in row.groups or field.region in row.regions
            if here and no_till >= row.no_till and wooded >= row.wooded_edge:
                rows[row.pest].append(row)
        return rows

    return knowledge.once(("ranks", group, field.region, no_till, wooded), found)


def _sown_for(row: RankRow, field: Field) -> bool:
    """Whether a row is for a field by its planting day."""
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
