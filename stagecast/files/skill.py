"""Documents of past forecasts held against what was seen, and of heat against the calendar."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from typing import Any

from stagecast.files.season import keys_of, plain
from stagecast.forecast.skill import Hindsight, SkillRow, usual_error
from stagecast.pests.traps.history import BothForetold, DayForetold, Foretold, TrapHistory
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
    "foretold_sd_degree_days_c", "heat_from", "untested", "no_heat", "both_rmse_days", "heat_share",
)  # fmt: skip


def skill_document(found: Hindsight, rows: Sequence[SkillRow]) -> dict[str, Any]:
    """Rows by stage and lead time, every visit behind them, and those that are not."""
    usual = usual_error(found.hindcasts, found.loaded.knowledge.soybean.skill)
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
        "usual": usual
        and {
            **keys_of(usual, "lead_days", "visits"),
            "half_within_days": _finite(usual.half_days),
            "nine_in_ten_within_days": _finite(usual.most_days),
        },
    }


def _finite(days: float) -> float | None:
    """Days to a tenth; None where a stage had not been expected at all."""
    return round(days, 1) if math.isfinite(days) else None


def trap_skill_document(
    histories: Sequence[TrapHistory], *, as_of: dt.date, year: int
) -> dict[str, Any]:
    """Errors of both rules, alone and together, by trap, pest and event; and what they foretell."""
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
        "both_rmse_days": plain(skill.both_rmse, 2),
        "heat_share": None if skill.both_rmse is None else plain(skill.heat_share, 2),
        "foretold": _foretold(history.foretell(event, year), year),
        "untested": None if skill.untested is None else no_heat_text(skill.untested),
        "no_heat": None if skill.no_heat is None else no_heat_text(skill.no_heat),
        "errors": [
            {
                "year": past,
                "date_days": plain(skill.calendar_errors[past], 2),
                "heat_days": plain(skill.heat_errors.get(past), 2),
                "both_days": plain(skill.both_errors.get(past), 2),
            }
            for past in skill.years
        ],
    }


def _foretold(found: Foretold | None, year: int) -> dict[str, Any]:
    """The mean date, the mean heat sum where heat counts too, and the sd of what is foretold."""
    both = found if isinstance(found, BothForetold) else None
    date = both.date if both is not None else found
    heat = None if both is None else both.heat
    return {
        "date": None if not isinstance(date, DayForetold) else date.day(year).isoformat(),
        "sd_days": None if found is None else plain(found.sd_days, 2),
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
