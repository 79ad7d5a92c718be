"""The screen of the week's route: decisions first, then the days, then what is left out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.console import Console
from rich.text import Text

from stagecast.knowledge import Knowledge
from stagecast.knowledge.loader import provenances
from stagecast.outputs.frame import forecast_notes, name_of, print_notes, title
from stagecast.outputs.notes import CAUTION, counted, threshold_note
from stagecast.outputs.screen import cell, day_text, paragraph, table
from stagecast.outputs.week_days import show_days
from stagecast.outputs.week_explained import show_explained
from stagecast.outputs.week_words import (
    CENT,
    dollars_text,
    estimate_text,
    ids_text,
    waiting_text,
)
from stagecast.scouting.plan import FieldPlan
from stagecast.scouting.units import distance_text, temperature_text
from stagecast.scouting.week_types import Moved, RuleResult, WeekRoute

IDS, FREE_IDS = 12, 40
"""How many ids are named: of fields not due, and of fields left out that lose nothing."""

USUAL_DAYS = 7

COST_NOTE = (
    "Cost of waiting: dollars that a field loses, on average, until it is walked, or left out. It "
    "ranks fields; it foretells no bill."
)
SOLVERS = {
    "pyvrp": "Route by PyVRP.",
    "insertion": "Route by plain insertion: PyVRP finds shorter ones, see README.",
}


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
        Whether to show what the cost of waiting is made of, and the formula.
    formula : sequence of str
        How the cost of waiting is worked out, a line each.
    """
    season, knowledge = week.season, week.season.loaded.knowledge
    fields = [*(stop.plan for stop in week.stops), *(left.plan for left in week.left_out)]
    title(console, season, fields, "The week's route", knowledge)
    _above(console, week)
    if not week.days:
        paragraph(console, "none of these days is a working day", "quiet")
    if week.days and not week.stops:
        paragraph(console, _idle(week), "quiet")
    elif week.stops:
        _totals(console, week)
        show_days(console, week)
    _left_out(console, week)
    _not_due(console, week)
    _moved(console, week)
    _beside(console, week)
    if explain:
        show_explained(console, week, formula)
    print_notes(console, list(_notes(week, fields, explain=explain)))


def _above(console: Console, week: WeekRoute) -> None:
    """Fields above a threshold: a visit more does not help them, a decision does."""
    if not week.above:
        return
    loaded = week.season.loaded
    paragraph(console, "Decide first", "late")
    found: dict[str, list[str]] = {}
    plans = {one.plan.field_id: one.plan for one in week.above}
    for one in week.above:
        field_id = one.plan.field_id
        found.setdefault(field_id, []).append(f"{one.name} {one.found}")
    for field_id, pests in found.items():
        step = f"stagecast assess {loaded.season.path} {field_id} --as-of {loaded.as_of}"
        paragraph(
            console,
            f"{name_of(plans[field_id])}: {'; '.join(pests)}: above, and nothing applied since in "
            f"the log; {step}",
        )
    paragraph(console, "A threshold crossed says consider, never spray.", "quiet")
    console.print()


def _idle(week: WeekRoute) -> str:
    """One sentence for days on which no field is walked."""
    due = counted(len(week.left_out), "field")
    if not week.left_out:
        return "no field is due in these days"
    if all(left.waiting.left_out < CENT for left in week.left_out):
        return f"no field is walked in these days: {due} due, and none has anything to lose"
    return f"no field is walked in these days: {due} due"


def _totals(console: Console, week: WeekRoute) -> None:
    """How many of the fields that are due are walked; and what heat asks for, once."""
    walked = len(week.stops)
    due = counted(walked + len(week.left_out), "due field")
    done = f"; walked already: {ids_text(week.done, most=IDS)}" if week.done else ""
    paragraph(console, f"{walked} of {due} walked{done}")
    hot = next((day.hot for day in week.days if day.hot is not None), None)
    if hot is not None:
        loaded = week.season.loaded
        source = loaded.knowledge.sources[loaded.knowledge.workday.heat.caution.source]
        limit = temperature_text(hot.limit_c, loaded.season.settings.units)
        paragraph(
            console,
            f"On hot days: {hot.caution} ({source.publisher}; its guide speaks of a heat index of "
            f"{limit}, known here by the air's temperature alone: humid air feels hotter)",
            "now",
        )
    console.print()


def _left_out(console: Console, week: WeekRoute) -> None:
    """A line per field that loses something, and one for all that lose nothing."""
    if not week.left_out:
        return
    console.print()
    paragraph(console, "Left out, the dearest first", "bold")
    made = table("lost", "field, and why")
    losing = [left for left in week.left_out if left.waiting.left_out >= CENT]
    for left in losing:
        lost = dollars_text(left.waiting.left_out)
        made.add_row(cell(lost, "late"), cell(f"{name_of(left.plan)}: {left.why}"))
    if losing:
        console.print(made)
    free = [left.field_id for left in week.left_out if left.waiting.left_out < CENT]
    if free:
        paragraph(console, f"nothing to lose by waiting: {ids_text(free, most=FREE_IDS)}")


def _not_due(console: Console, week: WeekRoute) -> None:
    if week.not_due and (week.stops or week.left_out):
        console.print()
        paragraph(console, f"Not due in these days: {ids_text(week.not_due, most=IDS)}", "quiet")


def _moved(console: Console, week: WeekRoute) -> None:
    """What moved, under its reason."""
    if not week.moved:
        return
    names = {plan.field_id: name_of(plan) for plan in week.season.fields}
    console.print()
    paragraph(console, "What moved, against the same week without what you said", "bold")
    reasons = list(dict.fromkeys(moved.why for moved in week.moved))
    by_reason = sorted(week.moved, key=lambda moved: reasons.index(moved.why))
    for why, group in groupby(by_reason, key=lambda moved: moved.why):
        paragraph(console, f"{why}:")
        for moved in group:
            name = names.get(moved.field_id, moved.field_id)
            paragraph(console, f"- {name}: {_from_to(moved)}")


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
    missed = f" (misses {result.missed} that must be walked)" if result.missed else ""
    yield cell(result.rule + missed)
    yield cell(str(result.walked))
    for amount in (
        result.drive_cost,
        result.waiting_cost,
        result.drive_cost + result.waiting_cost,
    ):
        yield cell(f"${amount:,.0f}")


def _notes(week: WeekRoute, fields: Sequence[FieldPlan], *, explain: bool) -> Iterator[str | None]:
    loaded = week.season.loaded
    knowledge = loaded.knowledge
    if week.stops:
        yield estimate_text(week)
        yield SOLVERS[week.solver]
        folder, as_of = loaded.season.path, loaded.as_of.isoformat()
        step = f"stagecast revisit {folder} --as-of {as_of} --field ID"
        yield f"What to look for in full, with thresholds: {step}, or --format json here."
    days = (week.last_day - week.first_day) // dt.timedelta(days=1) + 1
    if days > USUAL_DAYS and week.stops:
        yield f"In these {days} days each field is walked once, also where it falls due again."
    if explain or _dollars_shown(week):
        yield f"{COST_NOTE} {judgement_text(knowledge)}"
    yield from forecast_notes(week.season, fields, knowledge)
    yield threshold_note(loaded, knowledge)
    yield CAUTION


def _dollars_shown(week: WeekRoute) -> bool:
    """Whether dollars of waiting stand on the screen."""
    lost = any(left.waiting.left_out >= CENT for left in week.left_out)
    return lost or bool(week.beside) or any(waiting_text(stop) for stop in week.stops)


def judgement_text(knowledge: Knowledge) -> str:
    """How many of the values behind the cost of waiting are judgement, and which unverified."""
    values = provenances(knowledge.waiting)
    judged = sum(value.tag in ("OWN", "PRACTICE") for _, value in values)
    text = f"It rests on judgement: {judged} of its {len(values)} declared values are ours."
    unverified = [value.note or place for place, value in values if value.unverified]
    return f"{text} Unverified, from memory: {'; '.join(unverified)}." if unverified else text
