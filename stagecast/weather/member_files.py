"""Ensembles of weather forecasts that a person lays beside a station: ``STATION.members.csv``."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from stagecast.base.dates import ACCEPTED_DATES
from stagecast.base.errors import Problem
from stagecast.base.tables import Table, open_table
from stagecast.weather.columns import read_temperatures, temperature_columns
from stagecast.weather.records import MemberDays, StationRecord

SUFFIX = ".members.csv"
WEATHER_FOLDER = "weather"

_ONE_DAY = dt.timedelta(days=1)
_Days = dict[dt.date, dict[str, tuple[float, float]]]


def members_laid_beside(
    season: Path, records: Sequence[StationRecord]
) -> tuple[tuple[StationRecord, ...], tuple[Problem, ...]]:
    """The records, each with the ensemble that lies beside it in the season folder, if one does.

    A file has the columns date, member (any name) and tmin_c, tmax_c or tmin_f, tmax_f. It ends
    for us with the last day, counted from its first, that every member has with both temperatures.
    """
    told: list[StationRecord] = []
    problems: list[Problem] = []
    stations = {record.station.station for record in records}
    for record in records:
        name = f"{record.station.station}{SUFFIX}"
        path = season / WEATHER_FOLDER / name
        if not path.is_file() or name.removesuffix(".csv") in stations:
            told.append(record)
            continue
        table = open_table(path, label=f"{WEATHER_FOLDER}/{name}")
        members = _members(_read(table))
        if members is None and not table.problems:
            message = "no day of it has every member, so it is not used"
            table.problems.append(Problem(table.file, message, doubtful=True))
        problems += table.told()
        told.append(replace(record, members=members))
    return tuple(told), tuple(problems)


def _read(table: Table) -> _Days:
    """Day -> member -> tmin and tmax in degC, by the first row of each."""
    days: _Days = {}
    columns = temperature_columns(table, needed=("date", "member"))
    if columns is None:
        return days
    for row in table.rows():
        row.required("date", accepted=ACCEPTED_DATES)
        member = row.required("member", accepted="a name or number of the ensemble's member")
        day = row.date("date", year=None)
        if day is None or member is None:
            continue
        tmin_c, tmax_c = read_temperatures(row, columns)
        if tmin_c > tmax_c:
            row.fault(columns[0], "the minimum is above the maximum")
        elif member in days.setdefault(day, {}):
            row.fault("member", "this day of this member stands twice", next_step="keep one")
        else:
            days[day][member] = (tmin_c, tmax_c)
    return days


def _members(days: _Days) -> MemberDays | None:
    """Every member on the days that all of them have; None where there is no such day."""
    names = sorted({name for told in days.values() for name in told})
    if not days:
        return None
    first = min(days)
    every = itertools.takewhile(
        lambda day: _whole(days.get(day, {}), names),
        (first + i * _ONE_DAY for i in range(len(days))),
    )
    values = np.array([[days[day][name] for name in names] for day in every])
    return MemberDays(first, values[..., 0].T, values[..., 1].T) if values.size else None


def _whole(told: dict[str, tuple[float, float]], names: Sequence[str]) -> bool:
    return all(not math.isnan(sum(told.get(name, (math.nan, math.nan)))) for name in names)
