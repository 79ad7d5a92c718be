"""The field sheet: one scout's day as one page for the phone, which counts without a network."""

from __future__ import annotations

from stagecast.outputs.notes import CAUTION, STAGES_NOTE
from stagecast.outputs.pages.render import render
from stagecast.outputs.pages.sheet_data import page_json, sheet_data
from stagecast.scouting.week_types import ScoutDay, WeekRoute

SCRIPTS = (
    "sheet_wald.js", "sheet_lines.js", "sheet_judge.js", "sheet_state.js", "sheet_book.js",
    "sheet_table.js", "sheet_parts.js", "sheet_counts.js", "sheet_answers.js", "sheet_days.js",
    "sheet_send.js", "sheet.js",
)  # fmt: skip
"""Run as one script, in this order: what is named is there before what names it."""


def sheet_html(route: WeekRoute, day: ScoutDay) -> str:
    """The sheet of one scout's day; the same day of the same route gives the same page.

    Parameters
    ----------
    route : WeekRoute
    day : ScoutDay
        One of the route's days.
    """
    loaded = route.season.loaded
    data = sheet_data(day, loaded)
    return render(
        "sheet.html",
        script=SCRIPTS,
        sheet=data,
        data={**page_json(data), "stages_note": STAGES_NOTE},
        as_of=loaded.as_of.isoformat(),
        caution=CAUTION,
    )
