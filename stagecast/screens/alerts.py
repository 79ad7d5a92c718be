"""Alerts on a screen: what is new, and how to put one away."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from stagecast.base.terminal import cell, paragraph, table
from stagecast.screens.screen import day_text, long_day
from stagecast.visits.season_day import SeasonDay
from stagecast.week.alerts import Alert
from stagecast.words.morning import alert_text, do_text, place_text
from stagecast.words.notes import counted


def show_alerts(
    console: Console, season: SeasonDay, alerts: Sequence[Alert], *, others: int
) -> None:
    """Each alert: where, what, what to do, its key and until when it is told.

    ``others`` were told before and still hold.
    """
    head = f"{long_day(season.as_of)}: {counted(len(alerts), 'alert')}"
    still = f"; {others} told before: --all" if others else ""
    paragraph(console, head + still, "bold")
    if not alerts:
        return
    made = table("where", "what")
    for alert in alerts:
        mark = "^ " if alert.level > 1 else ""
        lapses = day_text(alert.lapses)
        made.add_row(
            cell(place_text(alert), "late" if alert.level > 1 else ""),
            cell(f"{mark}{alert_text(alert)}\n{do_text(alert)}; told until {lapses}; {alert.key}"),
        )
    console.print(made)
    path = season.read.season.path
    step = f"stagecast alerts {path} --done KEY, or --later KEY=DAYS"
    paragraph(console, f"Put one away by its key, at the end of each: {step}", "quiet")
