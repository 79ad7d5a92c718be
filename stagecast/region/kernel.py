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
from stagecast.region.compiled import compiled, inlined, inner
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

    ``order`` has them by planting day: it says which to take first, and changes no result.
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
    order: IntArray


@inlined
def _search(
    every: FloatArray, season: int, start: float, need: float, hole: int, near: IntArray, place: int
) -> float:
    """Time at which ``need`` > 0 more has been summed since ``start``, before a missing day.

    Looked for day by day from where the same was found last (``near`` at a place): in a field that
    was planted a day before.
    """
    row = every[season]
    days = len(row) - 1
    if not start < days:
        return start
    day = int(start)
    if day >= hole:
        return math.nan
    target = row[day] + (start - day) * (row[day + 1] - row[day]) + need
    if row[hole] < target:
        return math.inf if hole == days else math.nan
    above = min(max(near[place], day + 1), hole)
    while row[above] < target:
        above += 1
    while row[above - 1] >= target:
        above -= 1
    near[place] = above
    time: float = above - 1 + (target - row[above - 1]) / (row[above] - row[above - 1])
    return time


@inner
def _walk(
    rate: FloatArray, season: int, factor: FloatArray, level: int, start: float, need: float,
    shares: tuple[float, ...],
    hole: int, times: FloatArray, events: tuple[int, ...], member: int,
) -> None:  # fmt: skip
    """Times at which rising shares of a need are reached, the daily rate times its factor.

    Written for some events of a member; all that are not reached are ``inf``, or NaN before a
    missing day. Four days are taken at once while none of them reaches the next share.
    """
    days = rate.shape[1]
    if not start < days:
        for event in events:
            times[event, member] = start
        return
    day = int(start)
    total = -(start - day) * rate[season, day] * factor[level, day]
    for k in range(len(events)):
        target = shares[k] * need
        while day + 4 <= hole:
            four = (
                rate[season, day] * factor[level, day]
                + rate[season, day + 1] * factor[level, day + 1]
            ) + (
                rate[season, day + 2] * factor[level, day + 2]
                + rate[season, day + 3] * factor[level, day + 3]
            )
            if total + four >= target:
                break
            total += four
            day += 4
        while day < hole:
            step = rate[season, day] * factor[level, day]
            if total + step >= target:
                break
            total += step
            day += 1
        if day < hole:
            times[events[k], member] = day + (target - total) / (
                rate[season, day] * factor[level, day]
            )
        else:
            times[events[k], member] = math.inf if hole == days else math.nan


@inner
def _arcsine(x: float) -> float:
    """Arcsine of -0.5 to 0.5, without a branch: the rational function of the usual C library.

    From memory (fdlibm); tests hold it to numpy's.
    """
    t = x * x
    p = 7.91534994289814532176e-04 + t * 3.47933107596021167570e-05
    p = 2.01212532134862925881e-01 + t * (-4.00555345006794114027e-02 + t * p)
    p = t * (1.66666666666666657415e-01 + t * (-3.25565818622400915405e-01 + t * p))
    q = -6.88283971605453293030e-01 + t * 7.70381505559019352791e-02
    q = 1.0 + t * (-2.40339491173441421878e00 + t * (2.02094576023350569471e00 + t * q))
    return x + x * (p / q)


@compiled
def day_hours(latitude_rad: float, angle_rad: float, sun: SunNumbers, hours: FloatArray) -> None:
    """Day lengths on some days, as ``phenology.daylength.day_length_hours``."""
    sine, cosine, angle = math.sin(latitude_rad), math.cos(latitude_rad), math.sin(angle_rad)
    for d in range(len(hours)):
        hours[d] = (angle + sine * sun.sine[d]) / (cosine * sun.cosine[d])
    farthest = 0.0
    for d in range(len(hours)):
        farthest = max(farthest, abs(hours[d]))
    if farthest <= 0.5:
        for d in range(len(hours)):
            hours[d] = 12.0 + 24.0 / math.pi * _arcsine(hours[d])
    else:
        for d in range(len(hours)):
            hours[d] = 24.0 - 24.0 / math.pi * math.acos(min(max(hours[d], -1.0), 1.0))


@inner
def _day_factors(
    hours: FloatArray, first: int, kind: int, groups: GroupNumbers, crop: CropNumbers,
    before: FloatArray, after: FloatArray,
) -> None:  # fmt: skip
    """Short-day rates before and after R1 from a day on, shape (levels, days)."""
    for level in range(before.shape[0]):
        critical, slope = groups.critical_h[kind, level], groups.sensitivity[kind, level]
        _short_day_rate(hours[first:], critical, slope, crop.floor, before[level, first:])
        critical, slope = critical + crop.post_shift_h, slope * crop.post_slope_factor
        _short_day_rate(hours[first:], critical, slope, crop.floor, after[level, first:])


@inner
def _short_day_rate(
    hours: FloatArray, critical: float, slope: float, floor: float, rate: FloatArray
) -> None:
    for d in range(len(hours)):
        rate[d] = min(max(1.0 - slope * (hours[d] - critical), floor), 1.0)


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
    hours: FloatArray, before: FloatArray, after: FloatArray, times: FloatArray, near: IntArray,
) -> None:  # fmt: skip
    """Times of all crop events of a field, shape (events, members), as is ``near``."""
    warmth, leaves, ve_r1, r1_r5, r5_r7 = seasons_rates
    days = ve_r1.shape[1]
    first = planting_day + 1
    begin = min(first, days)
    ahead = SunNumbers(sun.sine[begin:], sun.cosine[begin:])
    day_hours(latitude_rad, crop.sun_angle_rad, ahead, hours[begin:])
    _day_factors(hours, begin, kind, groups, crop, before, after)
    for m in range(len(members.season)):
        s, level = members.season[m], members.level[m]
        hole = holes[s, begin]
        times[0, m] = planting_day
        start = float(first) if first < days else math.inf
        need = crop.emergence_need * members.emergence[m]
        emerged = _search(warmth, s, start, need, hole, near[_VE], m)
        times[_VE, m] = emerged
        for k in range(len(crop.leaf_needs)):
            need = crop.leaf_needs[k] * members.nodes[m]
            times[_VC + k, m] = _search(leaves, s, emerged, need, hole, near[_VC + k], m)
        need = groups.need_ve_r1[kind, level] * members.before_r1[m]
        _walk(ve_r1, s, before, level, emerged, need, (1.0,), hole, times, (_R1,), m)
        need = groups.need_r1_r5[kind, level] * members.r1_r5[m]
        events = (_R2, _R3, _R4, _R5)
        _walk(
            r1_r5, s, after, level, times[_R1, m], need, crop.shares_r1_r5, hole, times, events, m
        )
        need = groups.need_r5_r7[kind, level] * members.r5_r7[m]
        _walk(
            r5_r7, s, after, level, times[_R5, m], need, crop.shares_r5_r7, hole, times,
            (_R6, _R7), m,
        )  # fmt: skip
        times[_LATE, m] = _sooner(times[_R6, m] + members.late_days[m], times[_R7, m])
        times[_R8, m] = times[_R7, m] + max(crop.days_r7_r8 + members.r8_days[m], 1.0)


@inner
def _pest_need(need: float, z: float, spread: float) -> float:
    """Heat to an event for individuals that differ, as ``phenology.pests.cohort_needs``."""
    return max(need + z * spread * need, _LEAST_SHARE * need)


@inlined
def _ends(
    heat: FloatArray, season: int, first: float, start: float, need: float, lasts: float,
    hole: int, near: IntArray, place: int,
) -> float:  # fmt: skip
    """Last time of an activity that began: by heat, by days, or with its host alone."""
    if not math.isnan(need):
        return _search(heat, season, start, need, hole, near, place)
    if not math.isnan(lasts):
        return first + lasts
    return math.nan if math.isnan(first) else math.inf


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
    heat, begins, ends = _pests_of_cell(
        tmin_c, tmax_c, shared, earliest, holes, members, pests, windows
    )

    levels = groups.critical_h.shape[1]
    before, after = np.ones((levels, days)), np.ones((levels, days))
    hours = np.empty(days)
    times = np.empty((_EVENTS, count))
    near = np.zeros((_EVENTS, count), dtype=np.int64)
    near_pests = np.zeros((len(windows.pest), 2, count), dtype=np.int64)
    opens, closes = np.empty(count), np.empty(count)
    tally = np.zeros(days + 1, dtype=np.int64)
    steps = len(PROBABILITIES)
    for f in fields.order:
        here = row + f
        _stage_times(
            fields.planting_day[f], fields.latitude_rad[f], fields.kind[f], members, rates, holes,
            sun, groups, crop, hours, before, after, times, near,
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
                pests, windows, near_pests[a], opens, closes, tally, out, column, here,
            )  # fmt: skip
            column += 2 * steps


@inner
def _pests_of_cell(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, earliest: int, holes: IntArray,
    members: MemberNumbers, pests: PestNumbers, windows: WindowNumbers,
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
        origin = 0
        if pests.biofix[p] == BY_CALENDAR:
            origin = pests.starts[p]
        elif pests.biofix[p] == BY_STAGE:
            origin = max(earliest - 1, 0)  # no stage comes before planting
        heat[p] = pest_sums(tmin_c, tmax_c, shared, origin, pests, p)
    begins, ends = np.empty((len(windows.pest), count)), np.empty((len(windows.pest), count))
    for a in range(len(windows.pest)):
        p = windows.pest[a]
        if pests.biofix[p] != BY_CALENDAR:
            continue
        start, spread, lasts = pests.starts[p], pests.spread[p], windows.lasts[a]
        near = np.zeros(2, dtype=np.int64)  # of the member before
        for m in range(count):
            s, z = members.season[m], members.z[m]
            hole, begin = holes[s, start], float(start)
            need = _pest_need(windows.first_need[a], z, spread)
            first = _search(heat[p], s, begin, need, hole, near, 0)
            need = _pest_need(windows.last_need[a], z, spread)
            begins[a, m] = first
            ends[a, m] = _ends(heat[p], s, first, begin, need, lasts, hole, near, 1)
    return heat, begins, ends


@inner
def _pest_window(
    a: int, f: int, fields: CellFields, heat: FloatArray, begins: FloatArray, ends: FloatArray,
    holes: IntArray, times: FloatArray, members: MemberNumbers, pests: PestNumbers,
    windows: WindowNumbers, near: IntArray, opens: FloatArray, closes: FloatArray, tally: IntArray,
    out: DayArray, column: int, row: int,
) -> None:  # fmt: skip
    """Quantiles of a pest's window in a field: its heat and the host's stages, where they meet.

    Unknown where the pest is not met, where no day starts its heat, or where a day is missing; not
    this season where the two meet in too few members. ``near`` has shape (2, members).
    """
    p, count, days = windows.pest[a], times.shape[1], heat.shape[1] - 1
    last_event = fields.ends[fields.place[f], a]
    steps, meet = len(PROBABILITIES), -1
    if last_event >= 0:
        spread, lasts = pests.spread[p], windows.lasts[a]
        if pests.biofix[p] != BY_CALENDAR:
            start = fields.sighted[p, f]
            for m in range(count):
                if pests.biofix[p] == BY_STAGE:
                    start = times[pests.starts[p], m]
                s, z = members.season[m], members.z[m]
                hole = holes[s, int(start)] if start < days else days
                need = _pest_need(windows.first_need[a], z, spread)
                begins[m] = _search(heat, s, start, need, hole, near[0], m)
                need = _pest_need(windows.last_need[a], z, spread)
                ends[m] = _ends(heat, s, begins[m], start, need, lasts, hole, near[1], m)
        meet = _where_they_meet(
            times[windows.host_first[a]], times[last_event], begins, ends, opens, closes
        )
    if meet < 0:
        out[column : column + 2 * steps, row] = UNKNOWN
    elif meet == 0 or meet < windows.least_share * count - _ROUNDING:
        out[column : column + 2 * steps, row] = NOT_THIS_SEASON
    else:
        _quantiles(opens, meet, tally, out, column, row)
        _quantiles(closes, meet, tally, out, column + steps, row)


@inner
def _where_they_meet(
    host_first: FloatArray, host_last: FloatArray, begins: FloatArray, ends: FloatArray,
    opens: FloatArray, closes: FloatArray,
) -> int:  # fmt: skip
    """From when to when a pest's activity and its host's stages meet, in members that have it.

    Returns
    -------
    int
        How many members those are: their times stand first in ``opens`` and ``closes``; -1 where
        a day is missing.
    """
    meet, known = 0, True
    for m in range(len(begins)):
        # The sum is NaN where any of them is; no time is minus infinity.
        known &= not math.isnan(host_first[m] + begins[m] + host_last[m] + ends[m])
        opens[meet] = max(host_first[m], begins[m])
        closes[meet] = min(host_last[m], ends[m])
        meet += opens[meet] < closes[meet]
    return meet if known else -1
