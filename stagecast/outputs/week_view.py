"""The screen of the week's route: a block per scout and day that fits a phone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from stagecast.knowledge import Knowledge
from stagecast.knowledge.loader import provenances
from stagecast.outputs.frame import forecast_notes, name_of, print_notes, title
from stagecast.outputs.notes import CAUTION, counted, threshold_note
from stagecast.outputs.screen import STYLES, cell, clean, day_text, paragraph, table
from stagecast.outputs.week_words import (
    clock_text,
    dollars_text,
    estimate_text,
    hours_text,
    how_text,
    look_heads,
)
from stagecast.scouting.plan import FieldPlan
from stagecast.scouting.units import distance_text, temperature_text
from stagecast.scouting.week_types import (
    HotDay,
    LeftOut,
    Moved,
    RuleResult,
    ScoutDay,
    WaitingCost,
    WeekRoute,
    WeekStop,
)

WIDE_SCREEN = 110
NARROW_SCREEN = 70
HEADS_SHOWN = {False: 4, True: 8}
"""How many things to look for are named at a stop, on a narrow and on a wide screen."""

COST_NOTE = (
    "Cost of waiting: dollars that a field loses, on average, until it is walked, or left out. It "
    "ranks fields; it foretells no bill."
)
SIMPLE_NOTE = 'Planned by simple rules; pip install "stagecast[route]" searches further.'


def show_week(
    console: Console,
    week: WeekRoute,
    *,
    explain: bool,
    formula: Sequence[str],
) -> None:
    """The days in order, what is left out, what moved, and what other ways would cost.

    Parameters
    ----------
    console : Console
        Of any width from 40 columns on.
    week : WeekRoute
    explain : bool
        Whether to show every term of the cost of waiting, and the formula.
    formula : sequence of str
        How the cost of waiting is worked out, a line each.
    """
    season, knowledge = week.season, week.season.loaded.knowledge
    walked = [stop.plan for day in week.days for stop in day.stops]
    fields = [*walked, *(left.plan for left in week.left_out)]
    title(console, season, fields, "The week's route", knowledge)
    if not week.days:
        paragraph(console, "none of these days is a working day", "quiet")
    elif not walked:
        paragraph(console, "no field is walked on these days", "quiet")
    for number, day in enumerate(week.days):
        if number:
            console.print()
        _day(console, day, week)
    _left_out(console, week.left_out)
    _moved(console, week)
    _beside(console, week)
    if explain:
        _explained(console, week, formula)
    print_notes(console, list(_notes(week, fields)))


def _day(console: Console, day: ScoutDay, week: WeekRoute) -> None:
    scout = f", {day.scout}" if day.scout else ""
    paragraph(console, f"{day_text(day.date, weekday=True)}{scout}", "bold")
    if not day.stops:
        paragraph(console, "nothing to walk", "quiet")
    else:
        joint = "\n" if console.width < NARROW_SCREEN else ", "
        console.print(cell(joint.join(_hours(day, week)), "quiet"))
    if day.hot is not None:
        paragraph(console, _heat(day.hot, week), "now")
    if day.stops and console.width < NARROW_SCREEN:
        for stop in day.stops:
            _stacked(console, stop, week.season.loaded.knowledge)
    elif day.stops:
        console.print(_stops(day.stops, week.season.loaded.knowledge, width=console.width))


def _hours(day: ScoutDay, week: WeekRoute) -> Iterator[str]:
    units = week.season.loaded.season.settings.units
    hours = ""
    if day.leave_home is not None and day.back_home is not None:
        hours = f"{_span(day.leave_home, day.back_home)}, "
    yield hours + counted(len(day.stops), "field")
    yield f"{distance_text(day.drive_km, units)} in {hours_text(day.drive_min)}"
    yield f"{hours_text(day.work_min)} in fields"
    if day.lunch is not None:
        yield f"lunch {_span(*day.lunch)}"


def _span(first: dt.datetime, last: dt.datetime) -> str:
    return f"{clock_text(first)}-{clock_text(last)}"


def _heat(hot: HotDay, week: WeekRoute) -> str:
    units = week.season.loaded.season.settings.units
    high, limit = (temperature_text(c, units) for c in (hot.high_c, hot.limit_c))
    return f"hot: high near {high}, {hot.chance:.0%} chance of {limit} or more; {hot.caution}"


def _stacked(console: Console, stop: WeekStop, knowledge: Knowledge) -> None:
    """A stop on a phone: times and field on a line, the rest below it."""
    console.print(_line(f"{_span(stop.arrive, stop.leave)}  {name_of(stop.plan)}", "bold"))
    for text in (how_text(stop, knowledge), _looks(stop, wide=False)):
        if text:
            console.print(Padding(_line(text), (0, 0, 0, 2)))


def _stops(stops: Iterable[WeekStop], knowledge: Knowledge, *, width: int) -> Table:
    made = table("", "field", "how, and what to look for")
    for column, most in zip(made.columns, (11, width // 4), strict=False):
        column.max_width = most
    made.columns[0].no_wrap = True
    for stop in stops:
        told = [how_text(stop, knowledge), _looks(stop, wide=width >= WIDE_SCREEN)]
        made.add_row(
            cell(_span(stop.arrive, stop.leave)),
            cell(name_of(stop.plan)),
            cell("\n".join(filter(None, told))),
        )
    return made


def _looks(stop: WeekStop, *, wide: bool) -> str:
    heads, most = look_heads(stop), HEADS_SHOWN[wide]
    more = f", and {len(heads) - most} more" if len(heads) > most else ""
    return ", ".join(heads[:most]) + more


def _line(text: str, style: str = "") -> Text:
    return Text(clean(text), style=STYLES.get(style, style))


def _left_out(console: Console, left_out: Sequence[LeftOut]) -> None:
    if not left_out:
        return
    console.print()
    paragraph(console, "Left out, the dearest first", "bold")
    made = table("lost", "field, and why")
    for left in left_out:
        lost = dollars_text(left.waiting.left_out)
        made.add_row(cell(lost, "late"), cell(f"{name_of(left.plan)}: {left.why}"))
    console.print(made)


def _moved(console: Console, week: WeekRoute) -> None:
    if not week.moved:
        return
    names = {plan.forecast.field.field_id: name_of(plan) for plan in week.season.fields}
    console.print()
    paragraph(console, "What moved", "bold")
    for moved in week.moved:
        name = names.get(moved.field_id, moved.field_id)
        paragraph(console, f"{name}: {_from_to(moved)}; {moved.why}")


def _from_to(moved: Moved) -> str:
    was, now = (
        "left out"
        if at is None
        else day_text(at[0], weekday=True) + (f", {at[1]}" if at[1] else "")
        for at in (moved.was, moved.to)
    )
    return f"{was} -> {now}"


def _beside(console: Console, week: WeekRoute) -> None:
    """What other ways of making the route would come to."""
    if not week.beside:
        return
    units = week.season.loaded.season.settings.units
    console.print()
    paragraph(console, "Beside other ways of making the route", "bold")
    made = table("way", "walks", "drive", "wait", "sum")
    for column in made.columns[1:]:
        column.justify = "right"
        column.no_wrap = True
    for result in week.beside:
        made.add_row(*_result(result))
    console.print(made)
    far = ", ".join(f"{r.rule} {distance_text(r.drive_km, units)}" for r in week.beside)
    paragraph(console, f"Dollars of driving and of waiting. Driven: {far}.", "quiet")


def _result(result: RuleResult) -> Iterator[Text]:
    yield cell(result.rule)
    yield cell(str(result.walked))
    for amount in (
        result.drive_cost,
        result.waiting_cost,
        result.drive_cost + result.waiting_cost,
    ):
        yield cell(f"${amount:,.0f}")


def _explained(console: Console, week: WeekRoute, formula: Sequence[str]) -> None:
    """Every term of every field, and the formula."""
    console.print()
    paragraph(console, "What waiting costs", "bold")
    for line in formula:
        paragraph(console, line)
    told = [(stop.plan, stop.waiting) for day in week.days for stop in day.stops]
    told += [(left.plan, left.waiting) for left in week.left_out]
    for plan, waiting in told:
        console.print()
        _terms(console, plan, waiting)


def _terms(console: Console, plan: FieldPlan, waiting: WaitingCost) -> None:
    first = dollars_text(waiting.by_day[0] if waiting.by_day else 0.0)
    day = day_text(waiting.first_day)
    out = dollars_text(waiting.left_out)
    paragraph(console, f"{name_of(plan)}: {first} on {day}, {out} if left out", "bold")
    made = table("", "")
    made.show_header = False
    for term in waiting.terms:
        numbers = f"chance {term.chance:.2g}, {dollars_text(term.per_acre)} an acre and day"
        made.add_row(cell(dollars_text(term.dollars)), cell(f"{term.name}: {numbers}; {term.why}"))
    if waiting.terms:
        console.print(made)
    days = ", ".join(dollars_text(amount) for amount in waiting.by_day)
    paragraph(console, f"day by day: {days}", "quiet")


def _notes(week: WeekRoute, fields: Sequence[FieldPlan]) -> Iterator[str | None]:
    loaded = week.season.loaded
    knowledge = loaded.knowledge
    yield estimate_text(loaded) if week.ways_estimated > 0 else None
    if any(day.stops for day in week.days):
        folder, as_of = loaded.season.path, loaded.as_of.isoformat()
        step = f"stagecast revisit {folder} --as-of {as_of} --field ID"
        yield f"What to look for in full, with thresholds: {step}, or --format json here."
    yield f"{COST_NOTE} {judgement_text(knowledge)}"
    yield SIMPLE_NOTE if week.solver == "insertion" else None
    yield from forecast_notes(week.season, fields, knowledge)
    yield threshold_note(loaded, knowledge)
    yield CAUTION


def judgement_text(knowledge: Knowledge) -> str:
    """How many of the values behind the cost of waiting are judgement, and which unverified."""
    values = provenances(knowledge.waiting)
    judged = sum(value.tag in ("OWN", "PRACTICE") for _, value in values)
    text = f"It rests on judgement: {judged} of its {len(values)} declared values are ours."
    unverified = [value.note or place for place, value in values if value.unverified]
    return f"{text} Unverified, from memory: {'; '.join(unverified)}." if unverified else text
