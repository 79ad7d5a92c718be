"""The screen of past forecasts held against what was seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.text import Text

from stagecast.forecast.skill import Hindsight, SkillRow
from stagecast.screens.screen import cell, day_text, paragraph, table
from stagecast.words.notes import counted, unverified_skill_note

BAR_DAYS = 0.5
LONGEST_BAR = 40
NAMED = 5
NONE = "-"

NOTES = (
    "Error is forecast minus seen: above zero the forecast was late. The range is meant to hold "
    "80 percent. A visit that saw a stage is taken to fall into its middle, unless a share of "
    "plants was noted. Never: so many of the visits saw a stage that had not been expected this "
    "season. They have no error in days, count as outside of the range, and are in no other "
    "column.",
    "Planting line: a straight line on planting day through the other fields of this log, with "
    "hindsight. Averages: average days between stages, from the last stage seen before, else from "
    "planting. Each stands beside the forecast's own error on the same visits.",
)


def show_skill(console: Console, found: Hindsight, rows: Sequence[SkillRow]) -> None:
    """A table by stage and lead time, the error by lead time as bars, and what was left out."""
    as_of = found.loaded.as_of
    console.print(Text(f"Past forecasts as of {day_text(as_of)} {as_of.year}", style="bold"))
    if rows:
        _show_rows(console, rows)
    elif not found.left_out:
        paragraph(
            console,
            "No stage was seen yet: note stages in the column stage of visits.csv, and this will "
            "say how good the forecasts before those visits were.",
        )
        return
    console.print()
    for sentence in _left_out(found):
        paragraph(console, sentence)
    notes = (*NOTES, unverified_skill_note(found.loaded.knowledge)) if rows else ()
    for note in notes:
        if note is not None:
            paragraph(console, note, "quiet")


def _show_rows(console: Console, rows: Sequence[SkillRow]) -> None:
    console.print()
    made = table(
        "stage", "days ahead", "visits", "never", "error", "RMSE", "in range", "line", "averages"
    )
    for row in rows:
        made.add_row(
            cell(row.stage or "all"),
            cell(str(row.lead_days)),
            cell(str(row.visits)),
            cell(str(row.never_expected)),
            cell(_days(row.bias_days, "+.1f")),
            cell(_days(row.rmse_days, ".1f")),
            cell(f"{100 * row.coverage:.0f}%"),
            cell(_beside(row.planting_line_rmse, row.planting_line_ours)),
            cell(_beside(row.average_rmse, row.average_ours)),
        )
    console.print(made)
    console.print()
    paragraph(console, "RMSE of all stages by days ahead, one mark for half a day", "bold")
    for row in rows:
        if row.stage is None and row.rmse_days is not None:
            marks = "#" * min(LONGEST_BAR, round(row.rmse_days / BAR_DAYS))
            console.print(Text(f"{row.lead_days:>3} d  {marks} {row.rmse_days:.1f}"))


def _left_out(found: Hindsight) -> Iterable[str]:
    """One sentence for each reason why visits could not be judged."""
    for why in sorted({left.why for left in found.left_out}):
        ids = [left.visit.field_id for left in found.left_out if left.why == why]
        fields = list(dict.fromkeys(ids))
        more = f" and {len(fields) - NAMED} more" if len(fields) > NAMED else ""
        yield (
            f"Left out: {counted(len(ids), 'visit')} with a stage ({', '.join(fields[:NAMED])}"
            f"{more}): {why}."
        )


def _days(value: float | None, form: str) -> str:
    return NONE if value is None else f"{value:{form}} d"


def _beside(rule: float | None, ours: float | None) -> str:
    """A plain rule's error, and ours on the same visits: ``4.1 (ours 3.0)``."""
    return NONE if rule is None or ours is None else f"{rule:.1f} (ours {ours:.1f})"
