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
from stagecast.region.daily import LEAVES, WARMTH, crop_rates, next_missing, pest_sums
from stagecast.region.numbers import (
    BY_CALENDAR,
    BY_STAGE,
    CropNumbers,
    IntArray,
    Records,
)
from stagecast.region.sun import SunNumbers, day_hours

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


class FieldNumbers(NamedTuple):
    """Fields of a part, each of shape (fields,).

    ``kind`` is a row of :class:`GroupNumbers`, ``place`` one of ``last_events``.
    """

    planting_day: IntArray
    latitude_rad: FloatArray
    kind: IntArray
    place: IntArray


@inlined
def _search(
    sums: FloatArray, p: int, s: int, start: float, need: float, hole: int, near: IntArray,
    a: int, end: int, m: int,
) -> float:  # fmt: skip
    """Time at which ``need`` > 0 more has been summed since ``start``, before a missing day.

    Looked for day by day from where the same was found last (``near``, by event, end and member):
    in a field that was planted a day before. ``sums`` has shape (kinds, seasons, days + 1).
    """
    days = sums.shape[2] - 1
    if not start < days:
        return start
    day = int(start)
    if day >= hole:
        return math.nan
    target = sums[p, s, day] + (start - day) * (sums[p, s, day + 1] - sums[p, s, day]) + need
    if sums[p, s, hole] < target:
        return math.inf if hole == days else math.nan
    above = min(max(near[a, end, m], day + 1), hole)
    while sums[p, s, above] < target:
        above += 1
    while sums[p, s, above - 1] >= target:
        above -= 1
    near[a, end, m] = above
    below = sums[p, s, above - 1]
    time: float = above - 1 + (target - below) / (sums[p, s, above] - below)
    return time


@inner
def _walk(
    rate: FloatArray, factor: FloatArray, members: Records, holes: IntArray, begin: int,
    needs: FloatArray, shares: tuple[float, ...], from_event: int, events: tuple[int, ...],
    times: FloatArray,
) -> None:  # fmt: skip
    """Times at which rising shares of a need are reached, the daily rate times its factor.

    Written for some events of every member; all that are not reached are ``inf``, or NaN before a
    missing day. Four days are taken at once while none of them reaches the next share.
    """
    days = rate.shape[1]
    for m in range(len(members)):
        season, level = members[m].season, members[m].level
        hole, start = holes[season, begin], times[from_event, m]
        if not start < days:
            for event in events:
                times[event, m] = start
            continue
        day = int(start)
        total = -(start - day) * rate[season, day] * factor[level, day]
        for k in range(len(events)):
            target = shares[k] * needs[m]
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
                times[events[k], m] = day + (target - total) / (
                    rate[season, day] * factor[level, day]
                )
            else:
                times[events[k], m] = math.inf if hole == days else math.nan


@inner
def _day_factors(
    hours: FloatArray, first: int, group: Records, crop: CropNumbers,
    before: FloatArray, after: FloatArray,
) -> None:  # fmt: skip
    """Short-day rates before and after R1 from a day on, shape (levels, days)."""
    for level in range(before.shape[0]):
        critical, slope = group[level].critical_h, group[level].sensitivity
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


@inlined
def _fill(out: DayArray, column: int, count: int, row: int, value: int) -> None:
    for k in range(count):
        out[column + k, row] = value


@inner
def _quantiles(
    times: FloatArray, first: int, last: int, count: int, tally: IntArray, out: DayArray,
    column: int, row: int,
) -> None:  # fmt: skip
    """Days of the year by which 10, 50 and 90 per cent of so many members have come.

    For places from a first to before a last one, in columns next to each other. Each is the day of
    some member, as ``phenology.spread.quantile_days`` has it. ``tally`` has a place for each day
    and one for never, and is left as it was found: all zero.
    """
    days, steps = len(tally) - 1, len(PROBABILITIES)
    for place in range(first, last):
        soonest, latest = days, 0
        known = count > 0
        for m in range(count):
            time = times[place, m]
            if math.isnan(time):
                known = False
                break
            day = int(time) if time < days else days
            tally[day] += 1
            soonest, latest = min(soonest, day), max(latest, day)
        into = column + steps * (place - first)
        if known:
            past, day = 0, soonest - 1
            for k in range(steps):
                # Of the members in order, the first whose share is no less than this.
                rank = max(math.ceil((PROBABILITIES[k] - _ROUNDING) * count), 1)
                while past < rank:
                    day += 1
                    past += tally[day]
                out[into + k, row] = day + 1 if day < days else NOT_THIS_SEASON
        else:
            _fill(out, into, steps, row, UNKNOWN)
        for day in range(soonest, latest + 1):
            tally[day] = 0


@inner
def _stage_times(
    planting_day: int, latitude_rad: float, group: Records, members: Records, seasons_rates: tuple[
        FloatArray, FloatArray, FloatArray, FloatArray
    ], holes: IntArray, sun: SunNumbers, crop: CropNumbers,
    hours: FloatArray, before: FloatArray, after: FloatArray, times: FloatArray, near: IntArray,
) -> None:  # fmt: skip
    """Times of all crop events of a field, shape (events, members); ``near`` by event too."""
    sums, ve_r1, r1_r5, r5_r7 = seasons_rates
    days = ve_r1.shape[1]
    first = planting_day + 1
    begin = min(first, days)
    ahead = SunNumbers(sun.sine[begin:], sun.cosine[begin:])
    day_hours(latitude_rad, crop.sun_angle_rad, ahead, hours[begin:])
    _day_factors(hours, begin, group, crop, before, after)
    for m in range(len(members)):
        s = members[m].season
        hole = holes[s, begin]
        times[0, m] = planting_day
        start = float(first) if first < days else math.inf
        need = crop.emergence_need * members[m].emergence
        emerged = _search(sums, WARMTH, s, start, need, hole, near, _VE, 0, m)
        times[_VE, m] = emerged
        for k in range(len(crop.leaf_needs)):
            need = crop.leaf_needs[k] * members[m].nodes
            times[_VC + k, m] = _search(sums, LEAVES, s, emerged, need, hole, near, _VC + k, 0, m)
    needs = np.empty(len(members))
    for m in range(len(members)):
        needs[m] = group[members[m].level].need_ve_r1 * members[m].before_r1
    _walk(ve_r1, before, members, holes, begin, needs, (1.0,), _VE, (_R1,), times)
    for m in range(len(members)):
        needs[m] = group[members[m].level].need_r1_r5 * members[m].r1_r5
    events = (_R2, _R3, _R4, _R5)
    _walk(r1_r5, after, members, holes, begin, needs, crop.shares_r1_r5, _R1, events, times)
    for m in range(len(members)):
        needs[m] = group[members[m].level].need_r5_r7 * members[m].r5_r7
    _walk(r5_r7, after, members, holes, begin, needs, crop.shares_r5_r7, _R5, (_R6, _R7), times)
    for m in range(len(members)):
        times[_LATE, m] = _sooner(times[_R6, m] + members[m].late_days, times[_R7, m])
        times[_R8, m] = times[_R7, m] + max(crop.days_r7_r8 + members[m].r8_days, 1.0)


@inner
def _pest_need(need: float, z: float, spread: float) -> float:
    """Heat to an event for individuals that differ, as ``phenology.pests.cohort_needs``."""
    return max(need + z * spread * need, _LEAST_SHARE * need)


@inlined
def _ends(
    heat: FloatArray, p: int, s: int, first: float, start: float, need: float, lasts: float,
    hole: int, near: IntArray, a: int, m: int,
) -> float:  # fmt: skip
    """Last time of an activity that began: by heat, by days, or with its host alone."""
    if not math.isnan(need):
        return _search(heat, p, s, start, need, hole, near, a, 1, m)
    if not math.isnan(lasts):
        return first + lasts
    return math.nan if math.isnan(first) else math.inf


@compiled
def forecast_cell(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, sun: SunNumbers,
    fields: Records, order: IntArray, last_events: IntArray, sighted: FloatArray, groups: Records,
    members: Records, crop: CropNumbers, windows: Records, pests: Records, activities: Records,
    least_share: float, out: DayArray, row: int,
) -> None:  # fmt: skip
    """Quantiles of everything for the fields of one cell.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (seasons, days)
        Possible seasons of the cell, degC; NaN where missing.
    shared : int
        All seasons are the same before this day.
    fields, groups, members, windows, pests, activities : ndarray of records
        Of :class:`FieldNumbers`, and what :mod:`stagecast.region.numbers` has.
    order : ndarray, shape (fields,)
        The fields by planting day: which to take first; it changes no result.
    last_events : ndarray, shape (places, activities)
        The crop event with which the host is past for a pest's activity at a place, -1 where the
        pest is not met.
    sighted : ndarray, shape (pests, fields)
        The time from which heat counts where the field gives it, NaN where it does not.
    least_share : float
        Of members, without which a pest's window is not this season.
    out : ndarray of int16, shape (columns, rows)
        Days of the year, from ``row`` on: three quantiles of each crop event but planting, of each
        crop window's opening and closing, and of each pest activity's.
    """
    count, days = len(members), tmin_c.shape[1]
    holes = next_missing(tmin_c, tmax_c)
    earliest = max(min(days, fields[order[0]].planting_day + 1), 0)
    rates = crop_rates(tmin_c, tmax_c, shared, earliest, crop)
    heat, begins, ends = _pests_of_cell(
        tmin_c, tmax_c, shared, earliest, holes, members, pests, activities
    )

    levels = groups.shape[1]
    before, after = np.ones((levels, days)), np.ones((levels, days))
    hours = np.empty(days)
    times = np.empty((_EVENTS, count))
    near = np.zeros((_EVENTS, 1, count), dtype=np.int64)
    near_pests = np.zeros((len(activities), 2, count), dtype=np.int64)
    spans = np.empty((2, count))
    tally = np.zeros(days + 1, dtype=np.int64)
    steps = len(PROBABILITIES)
    for f in order:
        here = row + f
        _stage_times(
            fields[f].planting_day, fields[f].latitude_rad, groups[fields[f].kind], members, rates,
            holes, sun, crop, hours, before, after, times, near,
        )  # fmt: skip
        _quantiles(times, 1, _EVENTS, count, tally, out, 0, here)
        column = steps * (_EVENTS - 1)
        for w in range(len(windows)):
            for m in range(count):
                emerged = times[_VE, m]
                opens = times[windows[w].opens, m] + windows[w].opens_plus
                closes = times[windows[w].closes, m] + windows[w].closes_plus
                spans[0, m], spans[1, m] = _later(opens, emerged), _later(closes, emerged)
            _quantiles(spans, 0, 2, count, tally, out, column, here)
            column += 2 * steps
        for a in range(len(activities)):
            _pest_window(
                a, last_events[fields[f].place, a], sighted[activities[a].pest, f], heat, begins,
                ends, holes, times, members, pests, activities, least_share, near_pests, spans,
                tally, out, column, here,
            )  # fmt: skip
            column += 2 * steps


@inner
def _pests_of_cell(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, earliest: int, holes: IntArray,
    members: Records, pests: Records, activities: Records,
) -> tuple[FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """Heat of every pest, and when activities that the calendar starts begin and end.

    Returns
    -------
    heat : ndarray, shape (pests, seasons, days + 1)
    begins, ends : ndarray, shape (activities, members)
    """
    seasons, days = tmin_c.shape
    count = len(members)
    heat = np.empty((len(pests), seasons, days + 1))
    for p in range(len(pests)):
        origin = 0
        if pests[p].biofix == BY_CALENDAR:
            origin = pests[p].starts
        elif pests[p].biofix == BY_STAGE:
            origin = max(earliest - 1, 0)  # no stage comes before planting
        heat[p] = pest_sums(tmin_c, tmax_c, shared, origin, pests, p)
    begins = np.empty((len(activities), count))
    ends = np.empty((len(activities), count))
    for a in range(len(activities)):
        p = activities[a].pest
        if pests[p].biofix != BY_CALENDAR:
            continue
        start, spread, lasts = pests[p].starts, pests[p].spread, activities[a].lasts
        near = np.zeros((1, 2, 1), dtype=np.int64)  # of the member before
        for m in range(count):
            s, z = members[m].season, members[m].z
            hole, begin = holes[s, start], float(start)
            need = _pest_need(activities[a].first_need, z, spread)
            first = _search(heat, p, s, begin, need, hole, near, 0, 0, 0)
            need = _pest_need(activities[a].last_need, z, spread)
            begins[a, m] = first
            ends[a, m] = _ends(heat, p, s, first, begin, need, lasts, hole, near, 0, 0)
    return heat, begins, ends


@inlined
def _pest_window(
    a: int, last_event: int, sighted: float, heat: FloatArray, begins: FloatArray,
    ends: FloatArray, holes: IntArray, times: FloatArray, members: Records, pests: Records,
    activities: Records, least_share: float, near: IntArray, spans: FloatArray, tally: IntArray,
    out: DayArray, column: int, row: int,
) -> None:  # fmt: skip
    """Quantiles of a pest's window in a field: its heat and the host's stages, where they meet.

    Unknown where the pest is not met, where no day starts its heat, or where a day is missing; not
    this season where the two meet in too few members. ``near`` has shape (activities, 2, members),
    ``spans`` (2, members).
    """
    p, count, days = activities[a].pest, times.shape[1], heat.shape[2] - 1
    steps, meet = len(PROBABILITIES), -1
    if last_event >= 0:
        if pests[p].biofix != BY_CALENDAR:
            start = sighted
            for m in range(count):
                if pests[p].biofix == BY_STAGE:
                    start = times[pests[p].starts, m]
                s, z = members[m].season, members[m].z
                hole = holes[s, int(start)] if start < days else days
                need = _pest_need(activities[a].first_need, z, pests[p].spread)
                begins[a, m] = _search(heat, p, s, start, need, hole, near, a, 0, m)
                need = _pest_need(activities[a].last_need, z, pests[p].spread)
                ends[a, m] = _ends(
                    heat, p, s, begins[a, m], start, need, activities[a].lasts, hole, near, a, m
                )
        meet = _where_they_meet(times, activities[a].host_first, last_event, begins, ends, a, spans)
    if meet < 0:
        _fill(out, column, 2 * steps, row, UNKNOWN)
    elif meet == 0 or meet < least_share * count - _ROUNDING:
        _fill(out, column, 2 * steps, row, NOT_THIS_SEASON)
    else:
        _quantiles(spans, 0, 2, meet, tally, out, column, row)


@inlined
def _where_they_meet(
    times: FloatArray, first: int, last: int, begins: FloatArray, ends: FloatArray, a: int,
    spans: FloatArray,
) -> int:  # fmt: skip
    """From when to when an activity and its host's stages meet, in members in which they do.

    Written without a branch until it is known that some meet and some do not.

    Returns
    -------
    int
        How many members those are: their times stand first in ``spans``, opening and closing; -1
        where a day is missing.
    """
    count, meet, unknown = times.shape[1], 0, 0
    for m in range(count):
        host, pest = times[first, m], begins[a, m]
        # The sum is NaN where either of them is; no time is minus infinity.
        unknown += math.isnan(host + pest)
        spans[0, m] = host if host > pest else pest
    for m in range(count):
        host, pest = times[last, m], ends[a, m]
        unknown += math.isnan(host + pest)
        closes = host if host < pest else pest
        spans[1, m] = closes
        meet += spans[0, m] < closes
    if unknown:
        return -1
    if 0 < meet < count:
        place = 0
        for m in range(count):
            opens, closes = spans[0, m], spans[1, m]
            spans[0, place], spans[1, place] = opens, closes
            place += opens < closes
    return meet
