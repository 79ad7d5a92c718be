"""What an entry moved: the forecast without it and with it, side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.forecast.ranges import DateRange
from stagecast.phenology.soybean import STAGES
from stagecast.screens.screen import day_text, name_of, range_text
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.notes import counted
from stagecast.words.visits import blocked_text, reason_texts, until_text
from stagecast.words.week import walk_text

THE_SAME = "the same"


@dataclass(frozen=True, slots=True)
class MovedRow:
    """One thing before and after; ``moved`` says by how much, or that it is the same."""

    what: str
    before: str
    after: str
    moved: str

    @property
    def changed(self) -> bool:
        """Whether it is not the same."""
        return self.moved != THE_SAME


@dataclass(frozen=True, slots=True)
class WhatMoved:
    """The forecast of a field without and with an entry.

    Attributes
    ----------
    rows: the stage now, whether it may be entered, the next visit, then the stages from the day of
        the forecast on
    past: earlier stages that moved
    why: reasons of the next visit
    others: next visits and next stages of other fields that moved
    """

    rows: tuple[MovedRow, ...]
    past: tuple[MovedRow, ...]
    why: tuple[str, ...]
    others: tuple[MovedRow, ...]

    @property
    def changed(self) -> bool:
        """Whether anything in the field moved."""
        return any(row.changed for row in (*self.rows, *self.past))


def what_moved(before: SeasonDay, after: SeasonDay, field_id: str) -> WhatMoved | None:
    """Compare two plans of a season; None where the field is forecast in none or one of them."""
    was = {one.field_id: one for one in before.fields}
    pairs = {p.field_id: (was[p.field_id], p) for p in after.fields if p.field_id in was}
    if field_id not in pairs:
        return None
    old, new = pairs.pop(field_id)
    others = [row for b, a in pairs.values() for row in _of_another(b, a)]
    now = (old.forecast.stage_now, new.forecast.stage_now)
    stage = MovedRow("Stage now", *now, THE_SAME if now[0] == now[1] else "another")
    ahead, past = _stages(old, new)
    entry = _entry(old), _entry(new)
    entered = MovedRow("May be entered", *entry, _changed(*entry))
    rows = (stage, entered, _visit("Next visit", old, new), *ahead)
    why = reason_texts(new.visit, after.knowledge.decisions.treated)
    return WhatMoved(rows, tuple(past), tuple(why), tuple(others))


def _entry(field: FieldDay) -> str:
    """Whether nobody may enter it on the day of the forecast, and until when."""
    if field.no_entry is not None:
        return f"not until {until_text(field.no_entry)}"
    return "; ".join(map(blocked_text, field.blocked)) or "yes"


def _changed(old: str, new: str) -> str:
    if old == new:
        return THE_SAME
    return "open again" if new == "yes" else "closed" if old == "yes" else "other hours"


def _stages(old: FieldDay, new: FieldDay) -> tuple[list[MovedRow], list[MovedRow]]:
    """The stages that either expects from a day on, and the earlier ones that moved."""
    ahead, past = [], []
    for stage in STAGES:
        pair = old.forecast.stages[stage], new.forecast.stages[stage]
        row = _stage(stage, *pair)
        if any(dates.p50 is None or dates.p50 >= new.season.as_of for dates in pair):
            ahead.append(row)
        elif row.changed:
            past.append(row)
    return ahead, past


def _of_another(old: FieldDay, new: FieldDay) -> Iterator[MovedRow]:
    if old.visit.due != new.visit.due:
        yield _visit(f"{name_of(new)}: next visit", old, new)
    stage = old.forecast.next_stage(new.season.as_of)
    if stage is not None:
        pair = old.forecast.stages[stage], new.forecast.stages[stage]
        row = _stage(f"{name_of(new)}: {stage}", *pair)
        if row.changed:
            yield row


def _visit(what: str, old: FieldDay, new: FieldDay) -> MovedRow:
    """By the route; the rule's day stands beside it."""
    walks = walk_of(old), walk_of(new)
    before, after = (
        "none due" if walk.due is None else walk_text(walk, day_text=_weekday) for walk in walks
    )
    return MovedRow(what, before, after, _by(*(walk.day for walk in walks)))


def _weekday(day: dt.date) -> str:
    return day_text(day, weekday=True)


def _stage(what: str, old: DateRange, new: DateRange) -> MovedRow:
    moved = _by(old.p50, new.p50)
    if moved == THE_SAME and old != new:
        moved = "same day, other range"
        widths = _width(old), _width(new)
        if None not in widths and widths[0] != widths[1]:
            less = (widths[0] or 0) - (widths[1] or 0)
            word = "narrower" if less > 0 else "wider"
            moved = f"same day, range {counted(abs(less), 'day')} {word}"
    return MovedRow(what, range_text(old), range_text(new), moved)


def _width(dates: DateRange) -> int | None:
    if dates.p10 is None or dates.p90 is None:
        return None
    return (dates.p90 - dates.p10).days


def _by(old: dt.date | None, new: dt.date | None) -> str:
    if old == new:
        return THE_SAME
    if old is None or new is None:
        return "came up" if old is None else "fell away"
    days = (new - old).days
    return f"{counted(abs(days), 'day')} {'later' if days > 0 else 'earlier'}"
