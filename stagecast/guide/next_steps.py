"""What to do next in the folder where one stands, for who types the program's name alone."""

from __future__ import annotations

from pathlib import Path

from stagecast.base.textfiles import clean
from stagecast.season.glance import Glance, glance, is_season, seasons_in

MOST_NAMED = 3
"""Seasons that are named where there are several."""

_NEW_HERE = (
    ("New here:", "stagecast demo", "an invented season, and its week"),
    ("Your own season:", "stagecast new FOLDER", "a folder to fill in"),
    ("How it works:", "stagecast guide", "its topics; README.md tells the season"),
    ("All commands:", "stagecast --help", ""),
)


def next_steps(folder: Path, *, year: int) -> tuple[str, ...]:
    """Lines that say what to type next; none where a season is under way and its morning counts.

    Nothing is forecast for it. ``year`` is that of today.
    """
    if not is_season(folder):
        return _outside(folder)
    seen = glance(folder)
    if seen.year is None:
        return (
            "season.toml is here and cannot be read. What is wrong, and where: stagecast check .",
        )
    if seen.year < year:
        return (
            f"This season, {seen.year}, is over. The next one from it, without its dates: "
            "stagecast new ../FOLDER --from .",
            "One field's season: stagecast history . FIELD; the forecast: stagecast skill .",
        )
    missing = _missing(seen)
    if not missing:
        return ()
    return (
        f"Season {seen.year}, not ready yet:",
        *(f"{number}. {step}" for number, step in enumerate(missing, start=1)),
        "Then: stagecast check . (all that is wrong, with its line), and stagecast each morning.",
    )


def _outside(folder: Path) -> tuple[str, ...]:
    below = seasons_in(folder)
    if not below:
        shown = (f"  {when:<17}{what:<22}{why}".rstrip() for when, what, why in _NEW_HERE)
        return ("No season in this folder.", *shown)
    named = below[:MOST_NAMED]
    more = f" and {len(below) - len(named)} more" if len(below) > len(named) else ""
    return (
        clean(f"No season in this folder itself; there is one in {', '.join(named)}{more}."),
        clean(f"This morning there: stagecast today {_typed(named[0])}"),
        clean(f"Or go into it, where stagecast alone will do: cd {_typed(named[0])}"),
    )


def _missing(seen: Glance) -> list[str]:
    """What a season lacks before anything can be forecast."""
    steps = []
    if not seen.field_ids:
        steps.append(
            "No fields: type them into fields.csv, one a line, or take them from a map: "
            "stagecast fields . FILE"
        )
    elif seen.undated == len(seen.field_ids):
        steps.append(
            f"No planting dates ({seen.undated} fields wait): planting_date in fields.csv, or "
            "planned with the day you expect."
        )
    if not seen.temperatures and seen.own_stations:
        steps.append(
            "No temperatures: your station files into the folder weather, or source = "
            '"meteostat" in season.toml and then stagecast weather . (stagecast guide weather)'
        )
    elif not seen.temperatures:
        steps.append("No temperatures: stagecast weather .")
    return steps


def _typed(name: str) -> str:
    """A folder's name as it is typed: in quotes where it has blanks."""
    return f'"{name}"' if " " in name else name
