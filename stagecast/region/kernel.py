"""Compiled: stages and windows of every field of one weather cell, as quantiles of its members.

Field by field, member by member: the three phases are walked day by day from emergence on, events
of running sums are searched for, and what is left of a member is the day on which each thing
comes. Those days are counted, three quantiles of each are written, and the members are gone.

Times are as in ``phenology.accumulate``: fractional days, ``inf`` where not this season, NaN where
a missing day stands before.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.region.compiled import compiled, inner
from stagecast.region.daily import crop_rates, next_missing, pest_sums
from stagecast.region.numbers import (
    BY_CALENDAR,
    BY_STAGE,
    CropNumbers,
    GroupNumbers,
    IntArray,
    MemberNumbers,
    PestNumbers,
    WindowNumbers,
)

DayArray = NDArray[np.int16]

NOT_THIS_SEASON, UNKNOWN = 999, -1
"""In place of a day of the year: it does not come; and nobody knows, for want of temperatures."""

PROBABILITIES = (0.1, 0.5, 0.9)
_ROUNDING = 1e-12  # must not push a member past its own share
_LEAST_SHARE = 0.05  # of a need, as in phenology.pests
_MIDSUMMER = 173  # day of the year from which days shorten in the north

_EVENTS = len(STAGE_ORDER)
_VE, _VC = stage_place("VE"), stage_place("VC")
_R1, _R2, _R3, _R4 = (stage_place(stage) for stage in ("R1", "R2", "R3", "R4"))
_R5, _R6, _LATE = stage_place("R5"), stage_place("R6"), stage_place("R6.5")
_R7, _R8 = stage_place("R7"), stage_place("R8")


class SunNumbers(NamedTuple):
    """Sine and cosine of the sun's declination on each day, of shape (days,)."""

    sine: FloatArray
    cosine: FloatArray


class CellFields(NamedTuple):
    """Fields of one cell, each of shape (fields,) but ``sighted`` and ``ends``.

    ``kind`` is a row of :class:`GroupNumbers`. ``place`` is a row of ``ends``, shape (places,
    activities): the crop event with which the host is past for a pest's activity there, -1 where
    the pest is not met. ``sighted`` of shape (pests, fields) is the time from which heat counts
    where the field gives it, NaN where it does not.
    """

    planting_day: IntArray
    latitude_rad: FloatArray
    kind: IntArray
    place: IntArray
    ends: IntArray
    sighted: FloatArray


@inner
def _search(sums: FloatArray, start: float, need: float, hole: int, guess: float) -> float:
    """Time at which ``need`` > 0 more has been summed since ``start``, before a missing day.

    Looked for from a guess on, day by day: the time of the member before is a near one.
    """
    days = len(sums) - 1
    if not start < days:
        return start
    day = int(start)
    if day >= hole:
        return math.nan
    target = sums[day] + (start - day) * (sums[day + 1] - sums[day]) + need
    if sums[hole] < target:
        return math.inf if hole == days else math.nan
    above = min(max(int(guess), day) + 1, hole) if guess < days else hole
    while sums[above] < target:
        above += 1
    while sums[above - 1] >= target:
        above -= 1
    share: float = (target - sums[above - 1]) / (sums[above] - sums[above - 1])
    return above - 1 + share


@inner
def _walk(
    rate: FloatArray, factor: FloatArray, start: float, need: float, shares: tuple[float, ...],
    hole: int, times: FloatArray, events: tuple[int, ...], member: int,
) -> None:  # fmt: skip
    """Times at which rising shares of a need are reached, the daily rate times its factor.

    Written for some events of a member; all that are not reached are ``inf``, or NaN before a
    missing day.
    """
    days = len(rate)
    if not start < days:
        for event in events:
            times[event, member] = start
        return
    day = int(start)
    total = 0.0
    if start > day:
        total = -(start - day) * rate[day] * factor[day]
    k = 0
    target = shares[0] * need
    while day < hole:
        step = rate[day] * factor[day]
        after = total + step
        while after >= target:
            times[events[k], member] = day + (target - total) / step
            k += 1
            if k == len(events):
                return
            target = shares[k] * need
        total = after
        day += 1
    for left in range(k, len(events)):
        times[events[left], member] = math.inf if hole == days else math.nan


@inner
def _day_factors(
    latitude_rad: float, first: int, sun: SunNumbers, kind: int, groups: GroupNumbers,
    crop: CropNumbers, before: FloatArray, after: FloatArray,
) -> None:  # fmt: skip
    """Short-day rates before and after R1 from a day on, shape (levels, days).

    In the north days shorten after midsummer: from the first on which no level is slowed, none is.
    """
    levels, days = before.shape
    sine, cosine = math.sin(latitude_rad), math.cos(latitude_rad)
    angle = math.sin(crop.sun_angle_rad)
    shortest = math.inf
    for level in range(levels):
        critical = groups.critical_h[kind, level]
        shortest = min(shortest, critical, critical + crop.post_shift_h)
    for d in range(first, days):
        slant = (angle + sine * sun.sine[d]) / (cosine * sun.cosine[d])
        hours = 24.0 - 24.0 / math.pi * math.acos(min(max(slant, -1.0), 1.0))
        if latitude_rad > 0.0 and d >= _MIDSUMMER and hours <= shortest:
            before[:, d:] = 1.0
            after[:, d:] = 1.0
            return
        for level in range(levels):
            critical, slope = groups.critical_h[kind, level], groups.sensitivity[kind, level]
            loss = slope * (hours - critical)
            before[level, d] = min(max(1.0 - loss, crop.floor), 1.0)
            loss = slope * crop.post_slope_factor * (hours - (critical + crop.post_shift_h))
            after[level, d] = min(max(1.0 - loss, crop.floor), 1.0)


@inner
def _later(one: float, other: float) -> float:
    if math.isnan(one) or math.isnan(other):
        return math.nan
    return max(one, other)


@inner
def _sooner(one: float, other: float) -> float:
    if math.isnan(one) or math.isnan(other):
        return math.nan
    return min(one, other)


@inner
def _quantiles(
    times: FloatArray, count: int, tally: IntArray, out: DayArray, column: int, row: int
) -> None:
    """Days of the year by which 10, 50 and 90 per cent of the members have come.

    Each is the day of some member, as ``phenology.spread.quantile_days`` has it. ``tally`` has a
    place for each day and one for never, and is left as it was found: all zero.
    """
    days = len(tally) - 1
    soonest, latest = days, 0
    known = count > 0
    for i in range(count):
        time = times[i]
        if math.isnan(time):
            known = False
            break
        day = int(time) if time < days else days
        tally[day] += 1
        soonest, latest = min(soonest, day), max(latest, day)
    else:
        past, day = 0, soonest - 1
        for k in range(len(PROBABILITIES)):
            # Of the members in order, the first whose share is no less than this.
            rank = max(math.ceil((PROBABILITIES[k] - _ROUNDING) * count), 1)
            while past < rank:
                day += 1
                past += tally[day]
            out[column + k, row] = day + 1 if day < days else NOT_THIS_SEASON
    tally[soonest : latest + 1] = 0
    if not known:
        out[column : column + len(PROBABILITIES), row] = UNKNOWN


@inner
def _stage_times(
    planting_day: int, latitude_rad: float, kind: int, members: MemberNumbers, seasons_rates: tuple[
        FloatArray, FloatArray, FloatArray, FloatArray, FloatArray
    ], holes: IntArray, sun: SunNumbers, groups: GroupNumbers, crop: CropNumbers,
    before: FloatArray, after: FloatArray, times: FloatArray,
) -> None:  # fmt: skip
    """Times of all crop events of a field, shape (events, members)."""
    warmth, leaves, ve_r1, r1_r5, r5_r7 = seasons_rates
    days = ve_r1.shape[1]
    first = planting_day + 1
    _day_factors(latitude_rad, min(first, days), sun, kind, groups, crop, before, after)
    for m in range(len(members.season)):
        s, level = members.season[m], members.level[m]
        hole = holes[s, min(first, days)]
        times[0, m] = planting_day
        start = float(first) if first < days else math.inf
        before_it = max(m - 1, 0)
        need = crop.emergence_need * members.emergence[m]
        emerged = _search(warmth[s], start, need, hole, times[_VE, before_it])
        times[_VE, m] = emerged
        for k in range(len(crop.leaf_needs)):
            need = crop.leaf_needs[k] * members.nodes[m]
            guess = times[_VC + k, before_it]
            times[_VC + k, m] = _search(leaves[s], emerged, need, hole, guess)
        need = groups.need_ve_r1[kind, level] * members.before_r1[m]
        _walk(ve_r1[s], before[level], emerged, need, (1.0,), hole, times, (_R1,), m)
        need = groups.need_r1_r5[kind, level] * members.r1_r5[m]
        events = (_R2, _R3, _R4, _R5)
        _walk(
            r1_r5[s], after[level], times[_R1, m], need, crop.shares_r1_r5, hole, times, events, m
        )
        need = groups.need_r5_r7[kind, level] * members.r5_r7[m]
        _walk(
            r5_r7[s], after[level], times[_R5, m], need, crop.shares_r5_r7, hole, times,
            (_R6, _R7), m,
        )  # fmt: skip
        times[_LATE, m] = _sooner(times[_R6, m] + members.late_days[m], times[_R7, m])
        times[_R8, m] = times[_R7, m] + max(crop.days_r7_r8 + members.r8_days[m], 1.0)


@inner
def _pest_need(need: float, z: float, spread: float) -> float:
    """Heat to an event for individuals that differ, as ``phenology.pests.cohort_needs``."""
    return max(need + z * spread * need, _LEAST_SHARE * need)


@inner
def _active(
    a: int, m: int, start: float, hole: int, sums: FloatArray, members: MemberNumbers,
    pests: PestNumbers, windows: WindowNumbers, guess: tuple[float, float],
) -> tuple[float, float]:  # fmt: skip
    """First and last time of a pest's activity in a member, whatever the crop; guesses of both."""
    z, spread = members.z[m], pests.spread[windows.pest[a]]
    first = _search(sums, start, _pest_need(windows.first_need[a], z, spread), hole, guess[0])
    if not math.isnan(windows.last_need[a]):
        need = _pest_need(windows.last_need[a], z, spread)
        return first, _search(sums, start, need, hole, guess[1])
    if not math.isnan(windows.lasts[a]):
        return first, first + windows.lasts[a]
    return first, math.nan if math.isnan(first) else math.inf


@compiled
def forecast_cell(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, sun: SunNumbers,
    fields: CellFields, groups: GroupNumbers, members: MemberNumbers, crop: CropNumbers,
    pests: PestNumbers, windows: WindowNumbers, out: DayArray, row: int,
) -> None:  # fmt: skip
    """Quantiles of everything for the fields of one cell.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (seasons, days)
        Possible seasons of the cell, degC; NaN where missing.
    shared : int
        All seasons are the same before this day.
    out : ndarray of int16, shape (columns, rows)
        Days of the year, from ``row`` on: three quantiles of each crop event but planting, of each
        crop window's opening and closing, and of each pest activity's.
    """
    count, days = len(members.season), tmin_c.shape[1]
    holes = next_missing(tmin_c, tmax_c)
    earliest = max(min(days, fields.planting_day.min() + 1), 0)
    rates = crop_rates(tmin_c, tmax_c, shared, earliest, crop)
    heat, begins, ends = _pests_of_cell(tmin_c, tmax_c, shared, holes, members, pests, windows)

    levels = groups.critical_h.shape[1]
    before, after = np.ones((levels, days)), np.ones((levels, days))
    times = np.empty((_EVENTS, count))
    opens, closes = np.empty(count), np.empty(count)
    tally = np.zeros(days + 1, dtype=np.int64)
    steps = len(PROBABILITIES)
    for f in range(len(fields.planting_day)):
        here = row + f
        _stage_times(
            fields.planting_day[f], fields.latitude_rad[f], fields.kind[f], members, rates, holes,
            sun, groups, crop, before, after, times,
        )  # fmt: skip
        column = 0
        for event in range(1, _EVENTS):
            _quantiles(times[event], count, tally, out, column, here)
            column += steps
        for w in range(len(windows.opens)):
            for m in range(count):
                emerged = times[_VE, m]
                opens[m] = _later(times[windows.opens[w], m] + windows.opens_plus[w], emerged)
                closes[m] = _later(times[windows.closes[w], m] + windows.closes_plus[w], emerged)
            _quantiles(opens, count, tally, out, column, here)
            _quantiles(closes, count, tally, out, column + steps, here)
            column += 2 * steps
        for a in range(len(windows.pest)):
            _pest_window(
                a, f, fields, heat[windows.pest[a]], begins[a], ends[a], holes, times, members,
                pests, windows, opens, closes, tally, out, column, here,
            )  # fmt: skip
            column += 2 * steps


@inner
def _pests_of_cell(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, holes: IntArray, members: MemberNumbers,
    pests: PestNumbers, windows: WindowNumbers,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """Heat of every pest, and when activities that the calendar starts begin and end.

    Returns
    -------
    heat : ndarray, shape (pests, seasons, days + 1)
    begins, ends : ndarray, shape (activities, members)
    """
    seasons, days = tmin_c.shape
    count = len(members.season)
    heat = np.empty((len(pests.lower_c), seasons, days + 1))
    for p in range(len(pests.lower_c)):
        first = pests.starts[p] if pests.biofix[p] == BY_CALENDAR else 0
        heat[p] = pest_sums(tmin_c, tmax_c, shared, first, pests, p)
    begins, ends = np.empty((len(windows.pest), count)), np.empty((len(windows.pest), count))
    for a in range(len(windows.pest)):
        p = windows.pest[a]
        if pests.biofix[p] != BY_CALENDAR:
            continue
        start = pests.starts[p]
        for m in range(count):
            s = members.season[m]
            guess = (begins[a, m - 1], ends[a, m - 1]) if m > 0 else (0.0, 0.0)
            begins[a, m], ends[a, m] = _active(
                a, m, float(start), holes[s, start], heat[p, s], members, pests, windows, guess
            )
    return heat, begins, ends


@inner
def _pest_window(
    a: int, f: int, fields: CellFields, heat: FloatArray, begins: FloatArray, ends: FloatArray,
    holes: IntArray, times: FloatArray, members: MemberNumbers, pests: PestNumbers,
    windows: WindowNumbers, opens: FloatArray, closes: FloatArray, tally: IntArray,
    out: DayArray, column: int, row: int,
) -> None:  # fmt: skip
    """Quantiles of a pest's window in a field: its heat and the host's stages, where they meet.

    Unknown where the pest is not met, where no day starts its heat, or where a day is missing; not
    this season where the two meet in too few members.
    """
    p, count, days = windows.pest[a], times.shape[1], heat.shape[1] - 1
    last_event = fields.ends[fields.place[f], a]
    known, meet = last_event >= 0, 0
    if known:
        first, last = 0.0, 0.0
        for m in range(count):
            if pests.biofix[p] == BY_CALENDAR:
                first, last = begins[m], ends[m]
            else:
                by_stage = pests.biofix[p] == BY_STAGE
                start = times[pests.starts[p], m] if by_stage else fields.sighted[p, f]
                s = members.season[m]
                hole = holes[s, min(int(start), days)] if start < days else days
                first, last = _active(
                    a, m, start, hole, heat[s], members, pests, windows, (first, last)
                )
            begin = _later(times[windows.host_first[a], m], first)
            end = _sooner(times[last_event, m], last)
            if math.isnan(begin) or math.isnan(end):
                known = False
                break
            if begin < end:
                opens[meet], closes[meet] = begin, end
                meet += 1
    steps = len(PROBABILITIES)
    if not known:
        out[column : column + 2 * steps, row] = UNKNOWN
    elif meet == 0 or meet < windows.least_share * count - _ROUNDING:
        out[column : column + 2 * steps, row] = NOT_THIS_SEASON
    else:
        _quantiles(opens, meet, tally, out, column, row)
        _quantiles(closes, meet, tally, out, column + steps, row)
