"""What waiting costs on a screen: the formula, and the largest terms of every field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from rich.console import Console

from stagecast.outputs.frame import name_of
from stagecast.outputs.screen import cell, day_text, paragraph, table
from stagecast.outputs.week_words import dollars_text
from stagecast.scouting.plan import FieldPlan
from stagecast.scouting.week_types import LeftOut, WaitingCost, WeekRoute, WeekStop

TERMS = 3
"""How many terms of a field are shown; the rest are summed up."""


def show_explained(console: Console, week: WeekRoute, formula: Sequence[str]) -> None:
    """The formula, and for every field its largest terms and the days.

    Parameters
    ----------
    console : Console
    week : WeekRoute
    formula : sequence of str
        A line each.
    """
    console.print()
    paragraph(console, "What waiting costs", "bold")
    for line in formula:
        paragraph(console, line)
    fields: list[WeekStop | LeftOut] = [*week.stops, *week.left_out]
    for one in fields:
        console.print()
        _terms(console, one.plan, one.waiting)
    if any(len(one.waiting.terms) > TERMS for one in fields):
        console.print()
        paragraph(console, "Every term of every field: --explain --format json.", "quiet")


def _terms(console: Console, plan: FieldPlan, waiting: WaitingCost) -> None:
    paragraph(console, f"{name_of(plan)}: {_costs(waiting)}", "bold")
    made = table("", "")
    made.show_header = False
    for term in waiting.terms[:TERMS]:
        numbers = f"chance {term.chance:.2g}, {dollars_text(term.per_acre)} an acre and day"
        made.add_row(cell(dollars_text(term.dollars)), cell(f"{term.name}: {numbers}; {term.why}"))
    rest = waiting.terms[TERMS:]
    if rest:
        others = "1 other" if len(rest) == 1 else f"{len(rest)} others together"
        made.add_row(cell(dollars_text(sum(term.dollars for term in rest))), cell(others))
    if waiting.terms:
        console.print(made)
    days = ", ".join(dollars_text(amount) for amount in waiting.by_day)
    paragraph(console, f"day by day: {days}", "quiet")


def _costs(waiting: WaitingCost) -> str:
    """``$14 on 8 Jul, $200 if left out until 17 Jul``."""
    if not waiting.by_day:
        return dollars_text(0.0)
    last = waiting.first_day + dt.timedelta(days=len(waiting.by_day) - 1)
    return (
        f"{dollars_text(waiting.by_day[0])} on {day_text(waiting.first_day)}, "
        f"{dollars_text(waiting.left_out)} if left out until {day_text(last)}"
    )
