"""What every screen shares: its title, how a field is called, and the notes at its foot."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from stagecast.knowledge import Knowledge
from stagecast.outputs.notes import (
    assumption_notes,
    counted,
    doubt_note,
    unverified_note,
    weather_notes,
)
from stagecast.outputs.screen import clean, day_text, paragraph
from stagecast.scouting.plan import FieldPlan, SeasonPlan
from stagecast.scouting.reentry import no_entry_text, until_text


def title(
    console: Console,
    plan: SeasonPlan,
    fields: Sequence[FieldPlan],
    what: str,
    knowledge: Knowledge,
) -> None:
    """Say what is shown, for which season and day, and first of all which fields are closed."""
    season = plan.loaded.season
    region = knowledge.regions[season.settings.region]
    console.print(
        Text(
            f"{what}, season {season.settings.year} as of {plan.loaded.as_of:%a} "
            f"{day_text(plan.loaded.as_of)} {plan.loaded.as_of.year}",
            style="bold",
        )
    )
    count = counted(len(plan.fields), "field")
    if len(fields) < len(plan.fields):
        count = f"{len(fields)} of {count}"
    paragraph(console, f"{count}, region {region}", "quiet")
    for note in entry_notes(fields, knowledge):
        paragraph(console, note, "late")
    console.print()


def entry_notes(fields: Sequence[FieldPlan], knowledge: Knowledge) -> list[str]:
    """One line per field that may not be entered: until when, after what, by which rule."""
    rule = knowledge.decisions.treated.entry_rule
    return [
        f"{name_of(field)}: {no_entry_text(field.no_entry, rule)}"
        for field in fields
        if field.no_entry is not None
    ]


def listed(plan: FieldPlan) -> str:
    """The name of a field in a list, with a line that says so where it may not be entered."""
    if plan.no_entry is None:
        return name_of(plan)
    return f"{name_of(plan)}\ndo not enter until {until_text(plan.no_entry)}"


def heading(console: Console, plan: FieldPlan) -> None:
    """A field and its stage, over what is said of it."""
    paragraph(console, f"{name_of(plan)}, {plan.forecast.stage_now}", "bold")
    if plan.no_entry is not None:
        paragraph(console, f"do not enter until {until_text(plan.no_entry)}", "late")


def name_of(plan: FieldPlan) -> str:
    """Field id and name, the way it is said on the phone."""
    field = plan.forecast.field
    return clean(f"{field.field_id} {field.field_name}".strip())


def forecast_notes(
    plan: SeasonPlan, fields: Sequence[FieldPlan], knowledge: Knowledge
) -> list[str | None]:
    """Weather, assumptions, doubts and unverified values that stand behind these fields."""
    ids = {field.forecast.field.field_id for field in fields}
    return [
        *weather_notes(plan.loaded, ids),
        *assumption_notes(plan.loaded, knowledge),
        doubt_note(plan.loaded, len(plan.doubts)),
        unverified_note(knowledge, [w for field in fields for w in field.windows]),
    ]


def print_notes(console: Console, notes: Sequence[str | None]) -> None:
    """Print the notes at the foot of a screen; None says nothing."""
    console.print()
    for note in notes:
        if note:
            paragraph(console, note, "quiet")
