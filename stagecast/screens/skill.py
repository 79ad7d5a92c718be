"""Past forecasts held against what was seen, and heat of pests against the calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Literal

from rich.console import Console
from rich.text import Text

from stagecast.base.terminal import cell, paragraph, table
from stagecast.base.textfiles import clean
from stagecast.base.units import Units, distance_text, heat_text
from stagecast.forecast.skill import Hindsight, SkillRow, usual_error
from stagecast.pests.traps.history import DayForetold, Foretold, TrapHistory
from stagecast.pests.traps.rules import Event
from stagecast.pests.traps.skill import NoHeat
from stagecast.screens.screen import day_text
from stagecast.season.folder import SeasonFolder
from stagecast.season.tables.traps import TRAPS_FILE
from stagecast.words.notes import counted, unverified_skill_note, usual_error_text
from stagecast.words.traps import no_heat_text

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
        rules = found.loaded.knowledge.soybean.skill
        usual = usual_error(found.hindcasts, rules)
        paragraph(console, usual_error_text(usual, enough=int(rules.enough)))
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
            console.print(Text(f"{row.lead_days:>3} d  {_bar(row.rmse_days)}"))


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


def _bar(days: float) -> str:
    """One mark for half a day, and the number."""
    return f"{'#' * min(LONGEST_BAR, round(days / BAR_DAYS))} {days:.1f}"


def _days(value: float | None, form: str) -> str:
    return NONE if value is None else f"{value:{form}} d"


def _beside(rule: float | None, ours: float | None) -> str:
    """A plain rule's error, and ours on the same visits: ``4.1 (ours 3.0)``."""
    return NONE if rule is None or ours is None else f"{rule:.1f} (ours {ours:.1f})"


NO_CATCHES = (
    "No past years of catches: put them into traps.csv (trap, date, pest, catch), and this "
    "will say whether heat or the plain date would have timed them better. Until then the timing "
    "of pests is untested here."
)
TRAP_NOTES = (
    "Each past year is foretold from the others: by their mean date, and by the mean heat that "
    "their events had needed since spring, summed by the pest's own model. Errors are root mean "
    "squares in days, on the same years for both. The forecast uses both, each for as much as its "
    "errors deserve; heat's share is shown, and both together are held against each year by shares "
    "of the others.",
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
    for note in TRAP_NOTES:
        paragraph(console, note, "quiet")
    if TRAPS_FILE in season.us_order:
        paragraph(console, "Dates with slashes were read as month/day/year.", "quiet")


def _show_events(console: Console, history: TrapHistory, year: int, units: Units) -> None:
    made = table("catch", "years", "date RMSE", "heat RMSE", "both", "heat's share", f"in {year}")
    for event, skill in history.events.items():
        if skill.better is None:
            continue
        made.add_row(
            cell(event),
            cell(str(len(skill.years))),
            cell(_days(skill.calendar_rmse, ".1f")),
            cell(_days(skill.heat_rmse, ".1f")),
            cell(_days(skill.both_rmse, ".1f")),
            cell(NONE if skill.both_rmse is None else f"{skill.heat_share:.0%}"),
            cell(_foretold(history.foretell(event, year), year, units)),
        )
    console.print(made)


def _show_bars(console: Console, history: TrapHistory) -> None:
    for event, skill in history.events.items():
        for rule, rmse in (
            ("date", skill.calendar_rmse), ("heat", skill.heat_rmse), ("both", skill.both_rmse),
        ):  # fmt: skip
            if rmse is not None:
                label = event if rule == "date" else ""
                console.print(Text(clean(f"{label:<9} {rule} {_bar(rmse)}")))


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
    found: dict[NoHeat, list[Event]] = {}
    for event, skill in history.events.items():
        reason = skill.untested if kind == "untested" else skill.no_heat
        if reason is not None:
            found.setdefault(reason, []).append(event)
    return found.items()


def _foretold(found: Foretold | None, year: int, units: Units) -> str:
    """``14 Jul, sd 3 d``, or ``14 Jul and 812 C d since 1 Mar, sd 3 d``."""
    if found is None:
        return NONE
    if isinstance(found, DayForetold):
        return f"{day_text(found.day(year))}, sd {found.sd_days:.0f} d"
    need = f"{heat_text(found.heat.need_c, units)} since {day_text(found.heat.start)}"
    return f"{day_text(found.date.day(year))} and {need}, sd {found.sd_days:.0f} d"
