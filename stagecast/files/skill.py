"""Documents of past forecasts held against what was seen, and of heat against the calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from stagecast.files.season import keys_of, plain
from stagecast.forecast.skill import Hindsight, SkillRow
from stagecast.pests.traps.history import DayForetold, HeatForetold, TrapHistory
from stagecast.pests.traps.rules import Event
from stagecast.words.traps import RULES, no_heat_text

STAGE_COLUMNS = (
    "stage", "lead_days", "visits", "never_expected", "bias_days", "rmse_days", "coverage",
    "planting_line_rmse_days", "rmse_days_beside_planting_line",
    "averages_rmse_days", "rmse_days_beside_averages",
)  # fmt: skip
TRAP_COLUMNS = (
    "station", "pest", "event", "years", "date_rmse_days", "heat_rmse_days", "better",
    "better_by_days", "foretold_date", "foretold_sd_days", "foretold_degree_days_c",
    "foretold_sd_degree_days_c", "heat_from", "untested", "no_heat",
)  # fmt: skip


def skill_document(found: Hindsight, rows: Sequence[SkillRow]) -> dict[str, Any]:
    """Rows by stage and lead time, every visit behind them, and those that are not."""
    return {
        "as_of": found.loaded.as_of.isoformat(),
        "rows": [
            {
                **keys_of(row, "stage", "lead_days", "visits", "never_expected"),
                **keys_of(row, "bias_days", "rmse_days", digits=2),
                "coverage": round(row.coverage, 3),
                "planting_line_rmse_days": plain(row.planting_line_rmse, 2),
                "rmse_days_beside_planting_line": plain(row.planting_line_ours, 2),
                "averages_rmse_days": plain(row.average_rmse, 2),
                "rmse_days_beside_averages": plain(row.average_ours, 2),
            }
            for row in rows
        ],
        "visits": [
            {
                **keys_of(h, "field_id", "stage", "lead_days"),
                "error_days": plain(h.error_days if h.expected else None, 2),
                "covered": h.covered,
            }
            for h in found.hindcasts
        ],
        "left_out": [
            {**keys_of(left.visit, "field_id", "date", "stage"), "why": left.why}
            for left in found.left_out
        ],
    }


def trap_skill_document(
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
                "weather_km": plain(history.weather_km, 1),
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
        "date_rmse_days": plain(skill.calendar_rmse, 2),
        "heat_rmse_days": plain(skill.heat_rmse, 2),
        "better": RULES[skill.better],
        "better_by_days": plain(skill.better_by_days, 2),
        "foretold": _foretold(history.foretell(event, year), year),
        "untested": None if skill.untested is None else no_heat_text(skill.untested),
        "no_heat": None if skill.no_heat is None else no_heat_text(skill.no_heat),
        "errors": [
            {
                "year": past,
                "date_days": plain(skill.calendar_errors[past], 2),
                "heat_days": plain(skill.heat_errors.get(past), 2),
            }
            for past in skill.years
        ],
    }


def _foretold(found: DayForetold | HeatForetold | None, year: int) -> dict[str, Any]:
    """A date with its sd, or a heat sum with its sd; the other one is null."""
    date = found if isinstance(found, DayForetold) else None
    heat = found if isinstance(found, HeatForetold) else None
    return {
        "date": None if date is None else date.day(year).isoformat(),
        "sd_days": None if date is None else plain(date.sd_days, 2),
        "degree_days_c": None if heat is None else plain(heat.need_c, 1),
        "sd_degree_days_c": None if heat is None else plain(heat.sd_c, 1),
        "heat_from": None if heat is None else heat.start.isoformat(),
    }


def trap_skill_rows(document: dict[str, Any]) -> Iterable[dict[str, Any]]:
    """One row per trap, pest and event."""
    for trap in document["traps"]:
        for event in trap["events"]:
            foretold = {
                name if name == "heat_from" else f"foretold_{name}": value
                for name, value in event["foretold"].items()
            }
            years = [error["year"] for error in event["errors"]]
            yield {**trap, **event, **foretold, "years": years}
