"""The main job: every field by need, and the days of the coming week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from stagecast.base.errors import Problem
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, ReadFolder, as_it_stood, read_folder
from stagecast.forecast.observations import doubts as observation_doubts
from stagecast.pests.clock import PestClock
from stagecast.pests.traps.history import season_histories
from stagecast.pests.windows import ScoutingWindow, crop_windows, in_order, pest_windows
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.settings.settings import WEEKDAYS
from stagecast.season.tables.visits import Visit, last_visits
from stagecast.visits.counts_say import counts_say, latest_visit
from stagecast.visits.reentry import NoEntry, no_entry_as_of, no_entry_on
from stagecast.visits.revisit import NextVisit, next_visit

WEEK = 7


@dataclass(frozen=True, slots=True, eq=False)
class FieldPlan:
    """All that is known of one field on a day.

    Attributes
    ----------
    forecast : FieldForecast
    windows : tuple of ScoutingWindow
    visit : NextVisit
    log : ScoutingLog
        The field's own; treatments that it dates after the day asked for close days of the week
        too, since a field is never planned for a day on which it may not be entered.
    no_entry : NoEntry or None
        Set where the field may not be entered at every moment of the day asked for.
    """

    forecast: FieldForecast
    windows: tuple[ScoutingWindow, ...]
    visit: NextVisit
    log: ScoutingLog = field(default_factory=ScoutingLog)
    no_entry: NoEntry | None = None

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.forecast.field.field_id


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
    doubts : tuple of Problem
        Those of the folder, and what was seen in a field against all reason.
    no_room : tuple of str
        Fields due this week for which no working day has room.
    """

    loaded: LoadedSeason
    fields: tuple[FieldPlan, ...]
    by_need: tuple[FieldPlan, ...]
    week: tuple[WorkDay, ...]
    no_room: tuple[str, ...]
    doubts: tuple[Problem, ...]


def plan_season(path: Path, *, as_of: dt.date, log: ScoutingLog | None = None) -> SeasonPlan:
    """Read a season folder and work out everything the commands show.

    Parameters
    ----------
    path : Path
        The season folder.
    as_of : datetime.date
        Nothing measured or seen after it takes part.
    log : ScoutingLog, optional
        Taken in place of what stands of the folder's own.

    Raises
    ------
    SeasonProblems
        With every error of every file.
    """
    return plan_read(read_folder(path, log=log), as_of=as_of)


def plan_read(read: ReadFolder, *, as_of: dt.date) -> SeasonPlan:
    """The same for a season folder that was read already."""
    loaded = as_it_stood(read, as_of=as_of)
    knowledge = loaded.knowledge
    clock = PestClock(loaded, season_histories(read, as_of=as_of))
    last = last_visits(loaded.season.visits, as_of)
    plans = []
    for forecast in forecast_season(loaded):
        windows = in_order([*crop_windows(forecast, knowledge), *pest_windows(forecast, clock)])
        plans.append(_plan(forecast, windows, last.get(forecast.field.field_id), loaded))
    by_need = tuple(sorted(plans, key=lambda plan: _need(plan, as_of)))
    settings = loaded.season.settings
    room = settings.fields_per_day or int(knowledge.revisit.fields_per_day)
    week, no_room = _week(by_need, as_of, settings.working_days, room=room)
    told = [doubt for plan in plans for doubt in observation_doubts(plan.forecast.lessons)]
    return SeasonPlan(loaded, tuple(plans), by_need, week, no_room, (*loaded.doubts, *told))


def _plan(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    visit: Visit | None,
    loaded: LoadedSeason,
) -> FieldPlan:
    """One field: its next visit, by what was noted and counted at the last, and by treatments."""
    field_id, as_of = forecast.field.field_id, loaded.as_of
    log = loaded.season.log.of_field(field_id)
    visit = latest_visit(visit, log.up_to(as_of))
    found = next_visit(
        forecast,
        windows,
        visit,
        as_of=as_of,
        region=loaded.season.settings.region,
        knowledge=loaded.knowledge,
        counted=counts_say(forecast, visit, log, loaded),
        log=log,
    )
    held = no_entry_as_of(log, field_id, as_of)
    return FieldPlan(forecast, tuple(windows), found, log, held)


def _need(plan: FieldPlan, as_of: dt.date) -> tuple[dt.date, bool, dt.date, str]:
    """What is due on the same day of walking goes by critical windows first, then by delay."""
    due, field_id = plan.visit.due, plan.field_id
    if due is None:
        return dt.date.max, True, dt.date.max, field_id
    walked = max(due, as_of)
    critical = any(w.critical and w.state(walked, entering_days=0) == "open" for w in plan.windows)
    return walked, not critical, due, field_id


def _week(
    by_need: Sequence[FieldPlan], as_of: dt.date, working_days: Sequence[str], *, room: int
) -> tuple[tuple[WorkDay, ...], tuple[str, ...]]:
    """Give each field due this week a working day; what finds no room is returned apart.

    Every field goes to the last working day up to its due date that has room; what is overdue,
    or finds no room in time, to the first day that has. No field goes to a day on which it may
    not be entered at every moment, nor one to be checked for efficacy to a day that is too soon.
    Driving is not looked at here.
    """
    dates = [as_of + dt.timedelta(days=i) for i in range(WEEK)]
    working = [day for day in dates if WEEKDAYS[day.weekday()] in working_days]
    walked: dict[dt.date, list[str]] = {day: [] for day in working}
    left: list[str] = []
    for plan in by_need:
        due, field_id = plan.visit.due, plan.field_id
        if due is None or due > dates[-1]:
            continue
        roomy = [day for day in working if len(walked[day]) < room and _may_walk(plan, day)]
        in_time = [day for day in roomy if day <= due]
        if roomy:
            walked[max(in_time) if in_time else roomy[0]].append(field_id)
        else:
            left.append(field_id)
    return tuple(WorkDay(day, tuple(ids)) for day, ids in walked.items()), tuple(left)


def _may_walk(plan: FieldPlan, day: dt.date) -> bool:
    """Whether a field may be planned for a day."""
    soonest = plan.visit.not_before
    if soonest is not None and day < soonest:
        return False
    return no_entry_on(plan.log, plan.field_id, day) is None
