"""How long a field may go without a look, and when it may rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.forecast.forecast import FieldForecast
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.rules import NoRest, Revisit
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.settings.work import VisitsSettings
from stagecast.season.tables.fields import Field
from stagecast.visits.look_for import is_open
from stagecast.visits.reentry import ONE_DAY


def longest_unseen(
    since: dt.date,
    field: Field,
    windows: Sequence[ScoutingWindow],
    asked: VisitsSettings,
    rule: Revisit,
) -> dt.date:
    """The last day on which a field may still be unseen, counted from a day.

    The longest gap is the field's own, else the season's, else ours. It ends with the first day
    past the gap of critical windows on which one of the crop is open, else with the other gap.
    """
    if field.longest_gap_days is not None:
        return since + field.longest_gap_days * ONE_DAY
    critical_days = asked.longest_gap_critical_days or int(rule.longest_gap_critical_days)
    other_days = asked.longest_gap_days or int(rule.longest_gap_days)
    days = (since + days * ONE_DAY for days in range(critical_days, other_days))
    crop = [w for w in windows if w.pest is None and w.critical]
    limit = since + other_days * ONE_DAY
    return next((day for day in days if any(is_open(w, day) for w in crop)), limit)


def may_rest(
    day: dt.date,
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    log: ScoutingLog,
    rule: NoRest,
) -> bool:
    """Whether a field that was seen on a day may rest: it is between the seedling weeks and R1."""
    flowers = forecast.stages["R1"].p50
    crop = (w for w in windows if w.pest is None and w.critical)
    if (flowers is not None and day >= flowers) or any(is_open(w, day) for w in crop):
        return False
    if stage_place(forecast.stage_on(day)) <= stage_place(rule.until_stage):
        return False
    return rule.pest not in log.found and forecast.field.region not in rule.pest_regions
