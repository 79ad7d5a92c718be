"""Implausible days: rejected to MISSING, each with a flag, never corrected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagecast.base.errors import Problem
from stagecast.base.units import FloatArray
from stagecast.weather.records import DayKind, MemberDays, StationRecord

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class QualityFlag:
    """A day that was rejected, with the temperatures (degC) it had."""

    station: str
    date: dt.date
    reason: str
    tmin_c: float
    tmax_c: float


def screen(
    record: StationRecord,
    *,
    tmin_floor_c: float,
    tmax_ceiling_c: float,
    stuck_days: int,
    max_range_c: float,
) -> tuple[StationRecord, tuple[QualityFlag, ...]]:
    """Make implausible days MISSING.

    Parameters
    ----------
    record: OBSERVED and MODEL days are looked at; the others pass as they are.
    tmin_floor_c, tmax_ceiling_c: neither temperature (degC) of a day may lie below the floor or
        above the ceiling.
    stuck_days: from this many consecutive days with the same tmin and the same tmax on, all days of
        the run after the first are rejected: the sensor stopped, and only its last change is real.
    max_range_c: largest daily range, tmax - tmin, in degC.

    Returns
    -------
    screened : StationRecord
        A new record; the one given is left as it was.
    flags : tuple of QualityFlag
        In date order, one per rejected day, with the first reason that applies in the order:
        half a day, below the floor, above the ceiling, tmin above tmax, range, stuck. An ensemble
        with an impossible day is not used from that day on, which is flagged after the others.

    Raises
    ------
    ValueError
        If ``stuck_days`` is below 2: a single day is not a run.
    """
    if stuck_days < 2:
        raise ValueError("stuck_days must be 2 or more")
    tmin, tmax = record.tmin_c, record.tmax_c
    looked_at = np.isin(record.kind, (DayKind.OBSERVED, DayKind.MODEL))
    empty = looked_at & np.isnan(tmin) & np.isnan(tmax)

    with np.errstate(over="ignore", invalid="ignore"):  # 1e308 in a file is just implausible
        spread = tmax - tmin
    # Comparisons with NaN are False, so the checks below never fire on half a day by accident.
    checks: list[tuple[str, BoolArray]] = [
        ("only one of the two temperatures is given", np.isnan(tmin) ^ np.isnan(tmax)),
        (f"colder than {tmin_floor_c:g} degC", (tmin < tmin_floor_c) | (tmax < tmin_floor_c)),
        (f"warmer than {tmax_ceiling_c:g} degC", (tmax > tmax_ceiling_c) | (tmin > tmax_ceiling_c)),
        ("tmin is above tmax", tmin > tmax),
        (f"more than {max_range_c:g} degC between tmin and tmax", spread > max_range_c),
    ]
    reason = np.full(record.days, -1)
    for number, (_, bad) in enumerate(checks):
        reason[bad & looked_at & (reason < 0)] = number
    sound = looked_at & ~empty & (reason < 0)
    reason[_stuck(tmin, tmax, sound, at_least=stuck_days)] = len(checks)

    texts = [text for text, _ in checks]
    texts.append(f"the same as the day before, in a run of at least {stuck_days} days")
    flags = tuple(
        QualityFlag(
            record.station.station,
            record.first_day + dt.timedelta(days=int(i)),
            texts[reason[i]],
            float(tmin[i]),
            float(tmax[i]),
        )
        for i in np.flatnonzero(reason >= 0)
    )
    screened = record.without(empty | (reason >= 0))
    if record.members is None:
        return screened, flags
    low, high = record.members.tmin_c, record.members.tmax_c
    bad = (low < tmin_floor_c) | (high > tmax_ceiling_c) | (high - low > max_range_c) | (low > high)
    members, more = _before(record.members, bad, record.station.station)
    return replace(screened, members=members), (*flags, *more)


def _before(
    members: MemberDays, bad: BoolArray, station: str
) -> tuple[MemberDays | None, tuple[QualityFlag, ...]]:
    """An ensemble up to its first day that is bad in any member, and a flag for that day."""
    days = np.flatnonzero(bad.any(axis=0))
    if not days.size:
        return members, ()
    first = int(days[0])
    one = int(np.flatnonzero(bad[:, first])[0])
    flag = QualityFlag(
        station,
        members.first_day + dt.timedelta(days=first),
        "a member of the weather forecast is impossible, and the forecast is not used from here on",
        float(members.tmin_c[one, first]),
        float(members.tmax_c[one, first]),
    )
    if first == 0:
        return None, (flag,)
    kept = MemberDays(members.first_day, members.tmin_c[:, :first], members.tmax_c[:, :first])
    return kept, (flag,)


def station_file(station: str) -> str:
    """The name under which a person knows the days of a station that he keeps."""
    return f"weather/{station}.csv"


def fetched_station(station: str) -> str:
    """The name under which a person knows the days of a station that a service gave."""
    return f"station {station}"


def flags_as_problems(
    flags: Iterable[QualityFlag], *, place: Callable[[str], str] = station_file
) -> tuple[Problem, ...]:
    """Turn flags into doubtful problems, one per run of days.

    Flags come in date order within a station, as :func:`screen` gives them. ``date`` is the first
    day of the run, ``found`` its temperatures in degC. ``place`` names where a station's days are.
    """
    problems = []
    for run in _runs(flags):
        first, last = run[0], run[-1]
        days = f"{first.date}" if len(run) == 1 else f"{first.date} to {last.date}"
        count = "1 day" if len(run) == 1 else f"{len(run)} days"
        problems.append(
            Problem(
                place(first.station),
                f"{days}: {first.reason}; {count} taken as missing",
                found=f"tmin {_shown(first.tmin_c)}, tmax {_shown(first.tmax_c)} degC",
                date=first.date,
                doubtful=True,
            )
        )
    return tuple(problems)


def doubtful_units(
    record: StationRecord,
    *,
    coldest_summer_c: float,
    warmest_summer_c: float,
    months: tuple[int, int],
    at_least_days: int,
) -> Problem | None:
    """Doubt a station file whose columns seem to name the wrong unit; say which would suit.

    Parameters
    ----------
    record: as read, in degC, not yet screened: degF read as degC would be rejected day by day.
    coldest_summer_c, warmest_summer_c: between these (degC) lies the median daily maximum of the
        warm months where soybeans grow.
    months: first and last of the warm months.
    at_least_days: with fewer OBSERVED days in them, nothing is said.

    Notes
    -----
    The median, because a sensor's error codes (-9999) would drag a mean anywhere.
    """
    dates = np.datetime64(record.first_day, "D") + np.arange(record.days)
    month = dates.astype("datetime64[M]").astype(int) % 12 + 1
    used = (month >= months[0]) & (month <= months[1])
    used &= (record.kind == DayKind.OBSERVED) & np.isfinite(record.tmax_c)
    if np.count_nonzero(used) < at_least_days:
        return None
    typical_c = float(np.median(record.tmax_c[used]))
    if coldest_summer_c <= typical_c <= warmest_summer_c:
        return None
    cold = typical_c < coldest_summer_c
    read, named, meant = ("degF", "f", "c") if cold else ("degC", "c", "f")
    holds = "degC" if cold else "degF"
    return Problem(
        station_file(record.station.station),
        f"the maximum of a summer day is {typical_c:.1f} degC in the middle of "
        f"{np.count_nonzero(used)} days, too {'cold' if cold else 'warm'} to grow soybeans",
        next_step=f"if it was read as {read} from tmin_{named} and tmax_{named} but holds {holds}, "
        f"name the columns tmin_{meant} and tmax_{meant}",
        doubtful=True,
    )


def _stuck(tmin: FloatArray, tmax: FloatArray, sound: BoolArray, *, at_least: int) -> BoolArray:
    """Mark days, after the first, of each run of ``at_least`` or more equal sound days."""
    repeats = np.zeros(len(sound), dtype=bool)
    repeats[1:] = sound[1:] & sound[:-1] & (tmin[1:] == tmin[:-1]) & (tmax[1:] == tmax[:-1])
    # A run of n equal days has n - 1 repeats; find where stretches of repeats begin and end.
    edges = np.diff(np.concatenate(([0], repeats.astype(np.int8), [0])))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    stuck = np.zeros(len(sound), dtype=bool)
    for begin, end in zip(begins, ends, strict=True):
        stuck[begin:end] = end - begin + 1 >= at_least
    return stuck


def _runs(flags: Iterable[QualityFlag]) -> Iterator[list[QualityFlag]]:
    """Group flags of one station and reason on consecutive days."""
    run: list[QualityFlag] = []
    for flag in flags:
        if run and (
            flag.station != run[-1].station
            or flag.reason != run[-1].reason
            or flag.date - run[-1].date != dt.timedelta(days=1)
        ):
            yield run
            run = []
        run.append(flag)
    if run:
        yield run


def _shown(value_c: float) -> str:
    return "missing" if np.isnan(value_c) else f"{value_c:.1f}"
