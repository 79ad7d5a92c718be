"""The season on a day under its former names."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TypeAlias

from stagecast.forecast.load import ReadFolder
from stagecast.season.log.entries import ScoutingLog
from stagecast.visits.season_day import FieldDay, SeasonDay, WorkDay

FieldPlan: TypeAlias = FieldDay
SeasonPlan: TypeAlias = SeasonDay

__all__ = ["FieldPlan", "SeasonPlan", "WorkDay", "plan_read", "plan_season"]


def plan_season(path: Path, *, as_of: dt.date, log: ScoutingLog | None = None) -> SeasonDay:
    """Read a season folder."""
    return SeasonDay.open(path, as_of=as_of, log=log)


def plan_read(read: ReadFolder, *, as_of: dt.date) -> SeasonDay:
    """The same of a folder that was read."""
    return SeasonDay(read, as_of)
