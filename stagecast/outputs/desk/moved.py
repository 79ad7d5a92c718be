"""What an entry moved: the forecast without it and with it, side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.outputs.frame import name_of
from stagecast.outputs.notes import counted
from stagecast.outputs.screen import day_text, range_text
from stagecast.phenology.soybean import STAGES
from stagecast.scouting.plan import FieldPlan, SeasonPlan
from stagecast.scouting.ranges import DateRange

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
    rows : tuple of MovedRow
        The stage now, the next visit, then the stages from the day of the forecast on.
    past : tuple of MovedRow
        Earlier stages that moved.
    why : tuple of str
        Reasons of the next visit.
    others : tuple of MovedRow
        Next visits and next stages of other fields that moved.
    """

    rows: tuple[MovedRow, ...]
    past: tuple[MovedRow, ...]
    why: tuple[str, ...]
    others: tuple[MovedRow, ...]

    @property
    def changed(self) -> bool:
        """Whether anything in the field moved."""
        return any(row.changed for row in (*self.rows, *self.past))


def what_moved(before: SeasonPlan, after: SeasonPlan, field_id: str) -> WhatMoved | None:
    """Compare two plans of a season; None where the field is forecast in none or one of them."""
    was = {plan.field_id: plan for plan in before.fields}
    pairs = [(was[i], p) for p in after.fields if (i := p.field_id) in was]
    own = [(b, a) for b, a in pairs if a.forecast.field.field_id == field_id]
    if not own:
        return None
    ((old, new),) = own
    others = [
        row
        for b, a in pairs
        if a.forecast.field.field_id != field_id
        for row in _of_another(b, a, after.loaded.as_of)
    ]
    now = (old.forecast.stage_now, new.forecast.stage_now)
    stage = MovedRow("Stage now", *now, THE_SAME if now[0] == now[1] else "another")
    ahead, past = _stages(old, new, after.loaded.as_of)
    rows = (stage, _visit("Next visit", old, new), *ahead)
    return WhatMoved(rows, tuple(past), new.visit.reasons, tuple(others))


def _stages(
    old: FieldPlan, new: FieldPlan, as_of: dt.date
) -> tuple[list[MovedRow], list[MovedRow]]:
    """The stages that either expects from a day on, and the earlier ones that moved."""
    ahead, past = [], []
    for stage in STAGES:
        pair = old.forecast.stages[stage], new.forecast.stages[stage]
        row = _stage(stage, *pair)
        if any(dates.p50 is None or dates.p50 >= as_of for dates in pair):
            ahead.append(row)
        elif row.changed:
            past.append(row)
    return ahead, past


def _of_another(old: FieldPlan, new: FieldPlan, as_of: dt.date) -> Iterator[MovedRow]:
    visit = _visit(f"{name_of(new)}: next visit", old, new)
    if visit.changed:
        yield visit
    stage = old.forecast.next_stage(as_of)
    if stage is not None:
        pair = old.forecast.stages[stage], new.forecast.stages[stage]
        row = _stage(f"{name_of(new)}: {stage}", *pair)
        if row.changed:
            yield row


def _visit(what: str, old: FieldPlan, new: FieldPlan) -> MovedRow:
    days = old.visit.due, new.visit.due
    before, after = ("none due" if day is None else day_text(day, weekday=True) for day in days)
    return MovedRow(what, before, after, _by(*days))


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
