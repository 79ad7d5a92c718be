"""The thresholds of a pest that a season is shown: at a field's stage, or stage by stage."""

from __future__ import annotations

from rich.console import Console

from stagecast.outputs.pest_page import from_text, region_name
from stagecast.outputs.screen import cell, paragraph, table
from stagecast.scouting.pest_season import PestSeason


def show_season_thresholds(console: Console, found: PestSeason) -> None:
    """Whose they are, and at which stages each is the one to go by."""
    season = found.loaded.season
    where = region_name(season.settings.region, season.knowledge)
    held = found.thresholds
    paragraph(console, f"Thresholds in {where}", "bold")
    if not held:
        paragraph(console, "None is on file, here or elsewhere: see your state's guide.")
        return
    if all(one.shown.kind not in ("yours", "here") for one in held):
        paragraph(console, f"None of these is {where}'s own: see your state's guide.")
    if found.stage is not None:
        none = "" if found.holds_now else "; none is on file for it, so those of other stages"
        paragraph(console, f"Stage of the field now: {found.stage}{none}.", "quiet")
    made = table("beans at", "consider treatment from", "from")
    for one in held:
        threshold = one.shown.threshold
        note = f"; {threshold.note}" if threshold.note else ""
        made.add_row(cell(one.at), cell(one.shown.text), cell(f"{from_text(threshold)}{note}"))
    console.print(made)
