"""The screen of heat held against the calendar, by trap and pest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Literal

from rich.console import Console
from rich.text import Text

from stagecast.base.textfiles import clean
from stagecast.base.units import Units, distance_text, heat_text
from stagecast.pests.traps.history import DayForetold, HeatForetold, TrapHistory
from stagecast.pests.traps.rules import Event
from stagecast.pests.traps.skill import NoHeat
from stagecast.screens.screen import cell, day_text, paragraph, table
from stagecast.season.folder import SeasonFolder
from stagecast.season.tables.traps import TRAPS_FILE
from stagecast.words.notes import counted
from stagecast.words.traps import RULES, no_heat_text

BAR_DAYS = 0.5
LONGEST_BAR = 40
NONE = "-"

NO_CATCHES = (
    "No past years of catches: put them into traps.csv (trap, date, pest, catch), and this "
    "will say whether heat or the plain date would have timed them better. Until then the timing "
    "of pests is untested here."
)
NOTES = (
    "Each past year is foretold from the others: by their mean date, and by the mean heat that "
    "their events had needed since spring, summed by the pest's own model. Errors are root mean "
    "squares in days, on the same years for both. The forecast uses the smaller.",
    "First: the first check that caught any. Sustained: the start of checks in a row that did. "
    "Middle: half of the year's catch. Peak: the largest catch.",
)


def show_trap_skill(
    console: Console, histories: Sequence[TrapHistory], season: SeasonFolder, *, as_of: dt.date
) -> None:
    """A table and bars for each trap and pest, and why something was not tried."""
    year, units = season.settings.year, season.settings.units
    title = (
        f"Heat against the calendar, seasons before {year}, as of {day_text(as_of)} {as_of.year}"
    )
    console.print(Text(title, style="bold"))
    if not histories:
        paragraph(console, NO_CATCHES)
        return
    for history in histories:
        console.print()
        name = f"{history.pest.name} at {history.trap}"
        paragraph(console, f"{name}, {counted(len(history.years), 'past year')}", "bold")
        if any(skill.better for skill in history.events.values()):
            _show_events(console, history, year, units)
            _show_bars(console, history)
        for sentence in _reasons(history, units):
            paragraph(console, sentence, "quiet")
    console.print()
    for note in NOTES:
        paragraph(console, note, "quiet")
    if TRAPS_FILE in season.us_order:
        paragraph(console, "Dates with slashes were read as month/day/year.", "quiet")


def _show_events(console: Console, history: TrapHistory, year: int, units: Units) -> None:
    made = table("catch", "years", "date RMSE", "heat RMSE", "used", "by", f"in {year}")
    for event, skill in history.events.items():
        if skill.better is None:
            continue
        made.add_row(
            cell(event),
            cell(str(len(skill.years))),
            cell(_days(skill.calendar_rmse)),
            cell(_days(skill.heat_rmse)),
            cell(RULES[skill.better] or NONE),
            cell(_days(skill.better_by_days)),
            cell(_said(history.foretell(event, year), year, units)),
        )
    console.print(made)


def _show_bars(console: Console, history: TrapHistory) -> None:
    """RMSE as bars, one mark for half a day."""
    for event, skill in history.events.items():
        for rule, rmse in (("date", skill.calendar_rmse), ("heat", skill.heat_rmse)):
            if rmse is not None:
                marks = "#" * min(LONGEST_BAR, round(rmse / BAR_DAYS))
                label = event if rule == "date" else ""
                console.print(Text(clean(f"{label:<9} {rule} {marks} {rmse:.1f}")))


def _reasons(history: TrapHistory, units: Units) -> Iterable[str]:
    """Each reason once, with the events that it holds for."""
    for untested, events in _by_reason(history, "untested"):
        yield f"Untested here ({', '.join(events)}): {no_heat_text(untested)}."
    for no_heat, events in _by_reason(history, "no_heat"):
        yield f"Heat was not tried ({', '.join(events)}): {no_heat_text(no_heat)}."
    if history.weather is not None and history.weather_km is not None:
        far = distance_text(history.weather_km, units)
        yield f"Heat is that of weather station {history.weather}, {far} away."
    if history.open_start:
        years = ", ".join(map(str, history.open_start))
        yield f"The first check had caught some already, so the first catch may be missed: {years}."
    model = history.pest.heat
    if model is not None and history.weather is not None and model.unverified:
        yield f"Unverified, from memory: heat model of {history.pest.name}."


def _by_reason(
    history: TrapHistory, kind: Literal["untested", "no_heat"]
) -> Iterable[tuple[NoHeat, list[Event]]]:
    """Each reason with the events that it holds for."""
    found: dict[NoHeat, list[Event]] = {}
    for event, skill in history.events.items():
        reason = skill.untested if kind == "untested" else skill.no_heat
        if reason is not None:
            found.setdefault(reason, []).append(event)
    return found.items()


def _days(value: float | None) -> str:
    return NONE if value is None else f"{value:.1f} d"


def _said(found: DayForetold | HeatForetold | None, year: int, units: Units) -> str:
    """``14 Jul, sd 3 d``, or ``812 C d since 1 Mar, sd 40 C d``."""
    if found is None:
        return NONE
    if isinstance(found, DayForetold):
        return f"{day_text(found.day(year))}, sd {found.sd_days:.0f} d"
    need, sd = heat_text(found.need_c, units), heat_text(found.sd_c, units)
    return f"{need} since {day_text(found.start)}, sd {sd}"
