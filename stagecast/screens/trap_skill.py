"""The screen and the document of heat held against the calendar, by trap and pest."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from typing import Any, Literal

from rich.console import Console
from rich.text import Text

from stagecast.base.textfiles import clean
from stagecast.base.units import Units, distance_text, heat_text
from stagecast.pests.traps.history import DayForetold, HeatForetold, TrapHistory
from stagecast.pests.traps.rules import Event
from stagecast.pests.traps.skill import EventSkill, NoHeat
from stagecast.screens.screen import cell, day_text, paragraph, table
from stagecast.season.folder import SeasonFolder
from stagecast.season.tables.traps import TRAPS_FILE
from stagecast.words.notes import counted
from stagecast.words.traps import no_heat_text

BAR_DAYS = 0.5
LONGEST_BAR = 40
NONE = "-"

COLUMNS = (
    "station", "pest", "event", "years", "date_rmse_days", "heat_rmse_days", "better",
    "better_by_days", "foretold_date", "foretold_sd_days", "foretold_degree_days_c",
    "foretold_sd_degree_days_c", "heat_from", "untested", "no_heat",
)  # fmt: skip

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


def pest_skill_document(
    histories: Sequence[TrapHistory], *, as_of: dt.date, year: int
) -> dict[str, Any]:
    """Errors of both rules by trap, pest and event, and what the better one says of a year."""
    return {
        "as_of": as_of.isoformat(),
        "season": year,
        "traps": [
            {
                "station": history.trap,
                "pest": history.pest.id,
                "weather_station": history.weather,
                "weather_km": _rounded(history.weather_km, 1),
                "years": list(history.years),
                "first_check_caught": list(history.open_start),
                "events": [_event(history, event, year) for event in history.events],
            }
            for history in histories
        ],
    }


def _event(history: TrapHistory, event: Event, year: int) -> dict[str, Any]:
    skill = history.events[event]
    return {
        "event": event,
        "date_rmse_days": _rounded(skill.calendar_rmse),
        "heat_rmse_days": _rounded(skill.heat_rmse),
        "better": _word(skill),
        "better_by_days": _rounded(skill.better_by_days),
        "foretold": _foretold(history.foretell(event, year), year),
        "untested": None if skill.untested is None else no_heat_text(skill.untested),
        "no_heat": None if skill.no_heat is None else no_heat_text(skill.no_heat),
        "errors": [
            {
                "year": past,
                "date_days": _rounded(skill.calendar_errors[past]),
                "heat_days": _rounded(skill.heat_errors.get(past)),
            }
            for past in skill.years
        ],
    }


def _foretold(found: DayForetold | HeatForetold | None, year: int) -> dict[str, Any]:
    """A date with its sd, or a heat sum with its sd; the other one is null."""
    date = found if isinstance(found, DayForetold) else None
    heat = found if isinstance(found, HeatForetold) else None
    return {
        "date": None if date is None else day_of(date, year).isoformat(),
        "sd_days": None if date is None else _rounded(date.sd_days),
        "degree_days_c": None if heat is None else _rounded(heat.need_c, 1),
        "sd_degree_days_c": None if heat is None else _rounded(heat.sd_c, 1),
        "heat_from": None if heat is None else heat.start.isoformat(),
    }


def day_of(found: DayForetold, year: int) -> dt.date:
    """The calendar day of what was foretold for a year."""
    return dt.date(year, 1, 1) + dt.timedelta(days=math.floor(found.time))


def pest_skill_rows(document: dict[str, Any]) -> Iterable[dict[str, Any]]:
    """One row per trap, pest and event."""
    for trap in document["traps"]:
        for event in trap["events"]:
            foretold = {
                name if name == "heat_from" else f"foretold_{name}": value
                for name, value in event["foretold"].items()
            }
            years = [error["year"] for error in event["errors"]]
            yield {**trap, **event, **foretold, "years": years}


def _rounded(value: float | None, digits: int = 2) -> float | None:
    return None if value is None else round(value, digits) + 0.0  # never -0.0


def _word(skill: EventSkill) -> str | None:
    """The better rule as the screen calls it."""
    return {None: None, "calendar": "date", "heat": "heat"}[skill.better]


def show_pest_skill(
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
            cell(_word(skill) or NONE),
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
        return f"{day_text(day_of(found, year))}, sd {found.sd_days:.0f} d"
    need, sd = heat_text(found.need_c, units), heat_text(found.sd_c, units)
    return f"{need} since {day_text(found.start)}, sd {sd}"
