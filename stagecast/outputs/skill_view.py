"""The screen and the document of past forecasts held against what was seen."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from stagecast.outputs.screen import cell, day_text, paragraph, table
from stagecast.scouting.skill import Hindcast, SkillRow

BAR_DAYS = 0.5
LONGEST_BAR = 40
NEVER = "never"
"""Stands for an error without end: a stage was seen that was not forecast for this season."""

COLUMNS = (
    "stage", "lead_days", "visits", "bias_days", "rmse_days", "coverage",
    "planting_line_rmse_days", "rmse_days_beside_planting_line",
    "averages_rmse_days", "rmse_days_beside_averages",
)  # fmt: skip

NOTES = (
    "Error is forecast minus seen: above zero the forecast was late. The range is meant to hold "
    "80 percent. A visit that saw a stage is taken to fall into its middle, unless a share of "
    "plants was noted. Never: a stage that was seen had not been expected this season.",
    "Planting line: a straight line on planting day through the other fields of this log, with "
    "hindsight. Averages: average days between stages, from the last stage seen before, else from "
    "planting. Each stands beside the forecast's own error on the same visits.",
)


def skill_document(
    as_of: dt.date, rows: Sequence[SkillRow], hindcasts: Sequence[Hindcast]
) -> dict[str, Any]:
    """Rows by stage and lead time, and every visit behind them."""
    return {
        "as_of": as_of.isoformat(),
        "rows": [
            {
                "stage": row.stage,
                "lead_days": row.lead_days,
                "visits": row.visits,
                "bias_days": _rounded(row.bias_days),
                "rmse_days": _rounded(row.rmse_days),
                "coverage": round(row.coverage, 3),
                "planting_line_rmse_days": _rounded(row.planting_line_rmse),
                "rmse_days_beside_planting_line": _rounded(row.planting_line_ours),
                "averages_rmse_days": _rounded(row.average_rmse),
                "rmse_days_beside_averages": _rounded(row.average_ours),
            }
            for row in rows
        ],
        "visits": [
            {
                "field_id": h.field_id,
                "stage": h.stage,
                "lead_days": h.lead_days,
                "error_days": _rounded(h.error_days),
                "covered": h.covered,
            }
            for h in hindcasts
        ],
    }


def _rounded(value: float | None) -> float | None:
    """Days, or None where there is no rule or a stage was not forecast for this season."""
    return None if value is None or not math.isfinite(value) else round(value, 2)


def show_skill(console: Console, as_of: dt.date, rows: Sequence[SkillRow]) -> None:
    """A table by stage and lead time, and the error by lead time as bars."""
    console.print(Text(f"Past forecasts as of {day_text(as_of)} {as_of.year}", style="bold"))
    if not rows:
        paragraph(
            console,
            "No stage was seen yet: note stages in the column stage of visits.csv, and this will "
            "say how good the forecasts before those visits were.",
        )
        return
    console.print()
    made = table("stage", "days ahead", "visits", "error", "RMSE", "in range", "line", "averages")
    for row in rows:
        made.add_row(
            cell(row.stage or "all"),
            cell(str(row.lead_days)),
            cell(str(row.visits)),
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
        if row.stage is None and math.isfinite(row.rmse_days):
            marks = "#" * min(LONGEST_BAR, round(row.rmse_days / BAR_DAYS))
            console.print(Text(f"{row.lead_days:>3} d  {marks} {row.rmse_days:.1f}"))
    console.print()
    for note in NOTES:
        paragraph(console, note, "quiet")


def _days(value: float, form: str) -> str:
    return f"{value:{form}} d" if math.isfinite(value) else NEVER


def _beside(rule: float | None, ours: float | None) -> str:
    """A plain rule's error, and ours on the same visits: ``4.1 (ours 3.0)``."""
    if rule is None or ours is None:
        return "-"
    return f"{rule:.1f} (ours {ours:.1f})" if math.isfinite(ours) else f"{rule:.1f} (ours {NEVER})"
