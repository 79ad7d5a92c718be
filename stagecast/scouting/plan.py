"""The main job: every field by need, and the days of the coming week."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stagecast.knowledge import Knowledge
from stagecast.scouting.forecast import FieldForecast, forecast_season
from stagecast.scouting.load import LoadedSeason, load_season
from stagecast.scouting.pest_windows import PestClock
from stagecast.scouting.revisit import NextVisit, next_visit
from stagecast.scouting.windows import ScoutingWindow, crop_windows, in_order
from stagecast.season.visits import last_visits

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEK = 7


@dataclass(frozen=True, slots=True, eq=False)
class FieldPlan:
    """All that is known of one field on a day."""

    forecast: FieldForecast
    windows: tuple[ScoutingWindow, ...]
    visit: NextVisit


@dataclass(frozen=True, slots=True)
class WorkDay:
    """A day of the coming week and the fields to walk on it, the most pressing first."""

    date: dt.date
    field_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SeasonPlan:
    """Every field by need, and the week.

    Attributes
    ----------
    loaded : LoadedSeason
    fields : tuple of FieldPlan
        In file order.
    by_need : tuple of FieldPlan
        Overdue and due today first, critical windows before others; then by due date; fields
        with no visit due come last.
    week : tuple of WorkDay
        The working days among the next seven.
    """

    loaded: LoadedSeason
    fields: tuple[FieldPlan, ...]
    by_need: tuple[FieldPlan, ...]
    week: tuple[WorkDay, ...]


def plan_season(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> SeasonPlan:
    """Read a season folder and work out everything the commands show.

    Raises
    ------
    SeasonProblems
        With every error of every file.
    """
    loaded = load_season(path, as_of=as_of, knowledge=knowledge)
    clock = PestClock(loaded.season.settings, knowledge, as_of=as_of)
    last = last_visits(loaded.season.visits, as_of)
    plans = []
    for forecast in forecast_season(loaded, knowledge):
        windows = in_order([*crop_windows(forecast, knowledge), *clock.windows(forecast)])
        visit = next_visit(
            forecast,
            windows,
            last.get(forecast.field.field_id),
            as_of=as_of,
            region=loaded.season.settings.region,
            knowledge=knowledge,
        )
        plans.append(FieldPlan(forecast, tuple(windows), visit))
    by_need = tuple(sorted(plans, key=lambda plan: _need(plan, as_of)))
    days = loaded.season.settings.working_days
    return SeasonPlan(loaded, tuple(plans), by_need, _week(by_need, as_of, days))


def _need(plan: FieldPlan, as_of: dt.date) -> tuple[dt.date, bool, dt.date, str]:
    """What is due on the same day of walking goes by critical windows first, then by delay."""
    due, field_id = plan.visit.due, plan.forecast.field.field_id
    if due is None:
        return dt.date.max, True, dt.date.max, field_id
    walked = max(due, as_of)
    critical = any(w.critical and w.state(walked, entering_days=0) == "open" for w in plan.windows)
    return walked, not critical, due, field_id


def _week(
    by_need: Sequence[FieldPlan], as_of: dt.date, working_days: Sequence[str]
) -> tuple[WorkDay, ...]:
    """Give each field due this week a working day.

    Every field goes to the last working day up to its due date that has room; what is overdue, or
    finds no room in time, to the first day that has. A day's room is the even split of the week.
    Driving is not looked at here.
    """
    dates = [as_of + dt.timedelta(days=i) for i in range(WEEK)]
    working = [day for day in dates if WEEKDAYS[day.weekday()] in working_days]
    due = [(p, p.visit.due) for p in by_need if p.visit.due and p.visit.due <= dates[-1]]
    walked: dict[dt.date, list[str]] = {day: [] for day in working}
    share = math.ceil(len(due) / max(1, len(working)))
    for plan, day in due if working else []:
        in_time = [d for d in working if d <= day and len(walked[d]) < share]
        roomy = [d for d in working if len(walked[d]) < share]
        best = max(in_time) if in_time else min(roomy)
        walked[best].append(plan.forecast.field.field_id)
    return tuple(WorkDay(day, tuple(ids)) for day, ids in walked.items())
