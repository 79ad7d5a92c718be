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


def title(
    console: Console,
    plan: SeasonPlan,
    fields: Sequence[FieldPlan],
    what: str,
    knowledge: Knowledge,
) -> None:
    """Say what is shown, for which season and day."""
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
    console.print()


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
