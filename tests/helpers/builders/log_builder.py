"""Invented entries of a scouting log, and plans that are made with them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

from season_builder import YEAR

from stagecast.forecast import load as loading
from stagecast.forecast.load import ReadFolder
from stagecast.knowledge import load
from stagecast.season.log.entries import (
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    standing,
)
from stagecast.visits.season_day import SeasonDay

KNOWLEDGE = load()


def at(month: int, day: int, hour: int = 0, minute: int = 0) -> dt.datetime:
    """A moment of the season's year."""
    return dt.datetime(YEAR, month, day, hour, minute)


def treatment(
    applied_at: dt.datetime,
    hours: float,
    *,
    field_id: str = "F1",
    product: str = "Product A",
    treatment_id: str | None = None,
    corrects: str | None = None,
) -> Treatment:
    """A treatment of an invented product."""
    own = f"t-{field_id}-{product}-{applied_at}-{hours}" if treatment_id is None else treatment_id
    return Treatment(own, field_id, product, applied_at, hours, corrects=corrects)


def sets_of(pest: str, counts: Iterable[float], *, size: float = 25.0) -> tuple[LoggedSet, ...]:
    """Sets of sweeps in which one pest was counted."""
    return tuple(
        LoggedSet(i, size, "sweeps", (LoggedCount(pest, "", count),))
        for i, count in enumerate(counts, 1)
    )


def visit(
    date: dt.date,
    sets: tuple[LoggedSet, ...] = (),
    *,
    field_id: str = "F1",
    stage: str | None = None,
    defoliation_percent: float | None = None,
) -> LoggedVisit:
    """A visit of nobody in particular."""
    return LoggedVisit(
        f"v-{field_id}-{date}", field_id, date, stage=stage, sets=sets,
        defoliation_percent=defoliation_percent,
    )  # fmt: skip


def log_of(*entries: LoggedVisit | Treatment) -> ScoutingLog:
    """The log that holds some entries."""
    return standing(
        [e for e in entries if isinstance(e, LoggedVisit)],
        [e for e in entries if isinstance(e, Treatment)],
    )


@contextmanager
def logged(log: ScoutingLog) -> Iterator[None]:
    """Every season folder that is read here has this log."""
    read_folder = loading.read_folder

    def with_log(path: Path, *arguments: object, **named: object) -> ReadFolder:
        read = read_folder(path, *arguments, **named)  # type: ignore[arg-type]
        return replace(read, season=replace(read.season, log=log))

    with (
        patch("stagecast.forecast.load.read_folder", with_log),
        patch("stagecast.visits.season_day.read_folder", with_log),
        patch("stagecast.visits.pest_season.read_folder", with_log),
    ):
        yield


def planned(folder: Path, log: ScoutingLog, as_of: dt.date) -> SeasonDay:
    """The plan of a season folder with a log."""
    return SeasonDay.open(folder, as_of=as_of, log=log)
