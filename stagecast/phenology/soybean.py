"""Soybean stages VE to R8 from planting date, temperatures and day length.

Emergence by heat; then a photothermal clock by maturity group to R1, R5 and R7, with R2 to R4 and
R6 at fixed shares of the way, and R8 a fixed number of days after R7. Stages are Fehr and
Caviness (1977): V stages count the unifoliolate node as the first.

Everything is an array over fields and members; nothing here knows of files or dates. Times are
fractional days since day 0 (see :mod:`stagecast.phenology.accumulate`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.phenology.accumulate import boundary_sums, sum_at, times_after
from stagecast.phenology.ensemble import MemberErrors
from stagecast.phenology.parameters import CropParameters, GroupParameters
from stagecast.phenology.response import (
    daily_response,
    emergence_heat,
    short_day_rate,
    wide_day_rate,
)

IntArray = NDArray[np.intp]

STAGES = ("VE", "VC", "V1", "V2", "V3", "V4", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""Stages whose time is forecast, in order."""

_CHUNK = 8  # fields at a time: keeps their sums inside the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class CellRates:
    """Daily development at full day-length rate, one row per weather cell and member.

    Every array has shape (cells, members, days); NaN marks a day without temperatures.
    """

    emergence: FloatArray
    nodes: FloatArray
    ve_r1: FloatArray
    r1_r5: FloatArray
    r5_r7: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class FieldInputs:
    """What the model needs of each field; every array has shape (fields,).

    Attributes
    ----------
    cell : ndarray of int
        Row of the field's weather in :class:`CellRates`.
    planting_day : ndarray of int
        Index of the planting day; heat counts from the day after.
    emerged_time : ndarray
        Observed time of VE in fractional days, NaN where not observed.
    determinate : ndarray of bool
        Whether nodes stop soon after R1.
    groups : GroupParameters
        Photothermal parameters per field.
    day_length_h : ndarray, shape (fields, days)
        Sunrise to sunset, h.
    """

    cell: IntArray
    planting_day: IntArray
    emerged_time: FloatArray
    determinate: NDArray[np.bool_]
    groups: GroupParameters
    day_length_h: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class StageTimes:
    """Stage times and node counts.

    Attributes
    ----------
    times : ndarray, shape (fields, members, stages)
        Fractional days per entry of :data:`STAGES`; inf where not reached, NaN where unknown.
    nodes : ndarray, shape (fields, members)
        Main-stem nodes at the time asked for, the unifoliolate node counted; 0 before V1, NaN
        where unknown.
    """

    times: FloatArray
    nodes: FloatArray


def cell_rates(tmin_c: FloatArray, tmax_c: FloatArray, *, crop: CropParameters) -> CellRates:
    """Development of each day from its temperatures alone.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (cells, members, days)
        Daily extremes, degC; NaN where missing.
    """

    def dry(per_c: float) -> FloatArray:
        return wide_day_rate(tmin_c, tmax_c, usual_c=crop.usual_range_c, per_c=per_c)

    return CellRates(
        emergence=emergence_heat(
            tmin_c, tmax_c, base_c=crop.emergence_base_c, cap_c=crop.emergence_cap_c
        ),
        nodes=daily_response(tmin_c, tmax_c, cardinals_c=crop.node_cardinals_c),
        ve_r1=daily_response(tmin_c, tmax_c, cardinals_c=crop.ve_r1_cardinals_c)
        * dry(crop.wide_days_before_r1),
        r1_r5=daily_response(tmin_c, tmax_c, cardinals_c=crop.r1_r5_cardinals_c),
        r5_r7=daily_response(tmin_c, tmax_c, cardinals_c=crop.r5_r7_cardinals_c)
        * dry(crop.wide_days_after_r5),
    )


def stage_times(
    rates: CellRates,
    fields: FieldInputs,
    *,
    crop: CropParameters,
    nodes_at: float,
    errors: MemberErrors | None = None,
) -> StageTimes:
    """Time of every stage for every field and member.

    Parameters
    ----------
    fields : FieldInputs
        ``groups`` of shape (fields,), or (fields, levels) with one column per cultivar level.
    nodes_at : float
        Fractional day at which main-stem nodes are counted.
    errors : MemberErrors, optional
        Default one draw without errors.

    Returns
    -------
    StageTimes
        With ``seasons * levels * draws`` members: all draws of the first season come first.
    """
    drawn = MemberErrors.none() if errors is None else errors
    count = len(fields.cell)
    levels, draws = _levels_and_draws(fields.groups, drawn)
    members = rates.nodes.shape[1] * levels * draws
    times = np.empty((count, len(STAGES), members))
    nodes = np.empty((count, members))
    idle = _idle_days(fields, rates.nodes.shape[-1])
    rates, fields = _starting_at(idle, rates, fields)
    alike = _days_alike(rates)
    by_planting = fields.planting_day.argsort(kind="stable")
    for start in range(0, count, _CHUNK):
        part = by_planting[start : start + _CHUNK]
        times[part], nodes[part] = _chunk(
            rates, fields, part, crop=crop, errors=drawn, nodes_at=nodes_at - idle, alike=alike
        )
    times += idle
    return StageTimes(times.transpose(0, 2, 1), nodes)


def _idle_days(fields: FieldInputs, days: int) -> int:
    """Days before the first on which the heat of any field counts, at most ``days - 1``."""
    first = np.fmin(fields.planting_day + 1.0, np.floor(fields.emerged_time)).min(initial=days - 1)
    return max(int(first), 0)


def _starting_at(day: int, rates: CellRates, fields: FieldInputs) -> tuple[CellRates, FieldInputs]:
    """The same with a later day as day 0."""
    later = CellRates(
        rates.emergence[..., day:],
        rates.nodes[..., day:],
        rates.ve_r1[..., day:],
        rates.r1_r5[..., day:],
        rates.r5_r7[..., day:],
    )
    return later, replace(
        fields,
        planting_day=fields.planting_day - day,
        emerged_time=fields.emerged_time - day,
        day_length_h=fields.day_length_h[:, day:],
    )


def _days_alike(rates: CellRates) -> int:
    """First days, those that are known, that are one and the same in all seasons of every cell."""
    differ = np.zeros(rates.nodes.shape[-1], dtype=np.bool_)
    for rate in (rates.emergence, rates.nodes, rates.ve_r1, rates.r1_r5, rates.r5_r7):
        differ |= (rate != rate[:, :1]).any(axis=(0, 1))
    return int(differ.argmax()) if differ.any() else len(differ)


def _levels_and_draws(groups: GroupParameters, errors: MemberErrors) -> tuple[int, int]:
    levels = groups.by_level().critical_h.shape[1]
    shape = np.broadcast_shapes((levels, 1), errors.before_r1.shape)
    return shape[0], shape[1]


def _chunk(
    rates: CellRates,
    fields: FieldInputs,
    part: IntArray,
    *,
    crop: CropParameters,
    errors: MemberErrors,
    nodes_at: float,
    alike: int,
) -> tuple[FloatArray, FloatArray]:
    """Some fields at a time. Axes: field, season, level, draw; a sum's days come last.

    What has come by the end of the days that all seasons have alike is worked out in the first
    season alone: its season axis has length 1.
    """
    cell = fields.cell[part]
    groups = fields.groups.take(part).by_level()
    seen = fields.emerged_time[part]
    after_planting = fields.planting_day[part].astype(np.float64) + 1.0
    first = np.where(np.isnan(seen), after_planting, np.floor(seen))
    before_r1, after_r1 = _day_length_rates(fields.day_length_h[part], groups, crop)

    drawn = _levels_and_draws(groups, errors)
    warmth = _Phase(rates.emergence[cell][:, :, None], None, after_planting, alike)
    start = np.broadcast_to(after_planting[:, None, None, None], (len(cell), 1, *drawn))
    (ve,) = warmth.after(start, [crop.emergence_need * errors.emergence])
    ve = np.where(np.isnan(seen)[:, None, None, None], ve, seen[:, None, None, None])

    to_r1 = _Phase(rates.ve_r1[cell][:, :, None], before_r1, first, alike)
    to_r5 = _Phase(rates.r1_r5[cell][:, :, None], after_r1, first, alike)
    to_r7 = _Phase(rates.r5_r7[cell][:, :, None], after_r1, first, alike)
    (r1,) = to_r1.after(ve, [groups.need_ve_r1[:, None, :, None] * errors.before_r1])
    need_r5 = groups.need_r1_r5[:, None, :, None] * errors.r1_r5
    shares = (crop.share_r2, crop.share_r3, crop.share_r4, 1.0)
    r2, r3, r4, r5 = to_r5.after(r1, [share * need_r5 for share in shares])
    need_r7 = groups.need_r5_r7[:, None, :, None] * errors.r5_r7
    r6, r7 = to_r7.after(r5, [share * need_r7 for share in (crop.share_r6, 1.0)])
    # The days to full maturity keep their sign, whatever the error.
    r8 = r7 + np.maximum(crop.days_r7_r8 + errors.r8_days, 1.0)

    growing = _Phase(rates.nodes[cell][:, :, None], None, first, alike)
    phyllochron = np.broadcast_to(crop.phyllochron * errors.nodes, drawn)
    plastochrons = (crop.vc_at, *(crop.v1_at + n for n in range(4)))
    leaves = growing.after(ve, [count * phyllochron for count in plastochrons])
    nodes = _nodes(
        growing,
        (ve, r1, r5),
        phyllochron,
        determinate=fields.determinate[part],
        crop=crop,
        at=nodes_at,
    )
    shape = (len(cell), rates.nodes.shape[1], *drawn)
    times = np.empty((len(cell), len(STAGES), *shape[1:]))
    for place, time in enumerate((ve, *leaves, r1, r2, r3, r4, r5, r6, r7, r8)):
        times[:, place] = time
    every = np.broadcast_to(nodes, shape).reshape(len(cell), -1)
    return times.reshape(*times.shape[:2], -1), every


class _Phase:
    """A rate of development summed from a first day on, in as few seasons as an answer needs.

    Parameters
    ----------
    rate : ndarray, shape (fields, seasons, 1, days)
    day_length : ndarray, shape (fields, 1, levels, days), or None
        Factor on the rate.
    first_day : ndarray, shape (fields,)
    alike : int
        First days on which all seasons have the same rate.
    """

    def __init__(
        self, rate: FloatArray, day_length: FloatArray | None, first_day: FloatArray, alike: int
    ) -> None:
        self._rate, self._day_length, self._first_day = rate, day_length, first_day
        self.alike = alike
        self._one: FloatArray | None = None
        self._every: FloatArray | None = None

    @property
    def one(self) -> FloatArray:
        """Sums of the first season, shape (fields, 1, levels or 1, days + 1)."""
        if self._one is None:
            self._one = self._sums(self._rate[:, :1])
        return self._one

    @property
    def every(self) -> FloatArray:
        """Sums of all seasons, shape (fields, seasons, levels or 1, days + 1)."""
        if self._every is None:
            self._every = self._sums(self._rate)
        return self._every

    def _sums(self, rate: FloatArray) -> FloatArray:
        own = _from(self._first_day, rate)
        return boundary_sums(own if self._day_length is None else own * self._day_length)

    def after(self, start: FloatArray, needs: Sequence[FloatArray]) -> Sequence[FloatArray]:
        """As ``times_after``; ``start`` has shape (fields, seasons or 1, levels, draws)."""
        if start.shape[1] == 1:
            times = _flat_after(self.one, start, needs)
            if all((time <= self.alike).all() for time in times):
                return times
        seasons = (len(start), self._rate.shape[1], *start.shape[2:])
        return _flat_after(self.every, np.broadcast_to(start, seasons), needs)


def _day_length_rates(
    day_length_h: FloatArray, groups: GroupParameters, crop: CropParameters
) -> tuple[FloatArray, FloatArray]:
    """Short-day rates before and after R1, shape (fields, 1, levels, days)."""
    critical, sensitivity = groups.critical_h[..., None], groups.sensitivity[..., None]
    before = short_day_rate(
        day_length_h[:, None, :],
        critical_h=critical,
        sensitivity=sensitivity,
        floor=crop.photoperiod_floor,
    )
    after = short_day_rate(
        day_length_h[:, None, :],
        critical_h=critical + crop.post_shift_h,
        sensitivity=sensitivity * crop.post_slope_factor,
        floor=crop.photoperiod_floor,
    )
    return before[:, None], after[:, None]


def _flat_after(
    sums: FloatArray, start: FloatArray, needs: Sequence[FloatArray]
) -> Sequence[FloatArray]:
    """As ``times_after``; for sums that are the same at all levels, levels and draws are one."""
    if sums.shape[2] == start.shape[2]:
        return times_after(sums, start, needs)
    flat = (*start.shape[:2], 1, -1)
    every = [np.broadcast_to(need, start.shape).reshape(flat) for need in needs]
    return [time.reshape(start.shape) for time in times_after(sums, start.reshape(flat), every)]


def _from(first_day: FloatArray, rate: FloatArray) -> FloatArray:
    """Zero a rate before a field's first day, where its heat is not the crop's.

    This is the only place where a missing day may become zero: before the seed is in the ground,
    or before an emergence that was seen.
    """
    growing = np.arange(rate.shape[-1]) >= first_day.reshape(-1, *(1,) * (rate.ndim - 1))
    return np.where(growing, rate, 0.0)


def _nodes(
    growing: _Phase,
    stages: tuple[FloatArray, FloatArray, FloatArray],
    phyllochron: FloatArray,
    *,
    determinate: NDArray[np.bool_],
    crop: CropParameters,
    at: float,
) -> FloatArray:
    """Nodes at a time, shape (fields, seasons or 1, levels, draws), from the times of VE, R1, R5.

    Growth ends at R5, or for determinate plants soon after R1.
    """
    known = at <= growing.alike
    sums = growing.one if known else growing.every
    # What comes up to a day that is known comes at one time in all seasons.
    ve, r1, r5 = (time[:, :1] if known else time for time in stages)

    def grown(until: FloatArray) -> FloatArray:
        end = np.minimum(until, at)
        plastochrons = (_flat_at(sums, end) - _flat_at(sums, ve)) / phyllochron
        return plastochrons - (crop.v1_at - 1.0)

    nodes = grown(np.where(np.isfinite(r5), r5, np.inf))
    at_r1 = grown(np.where(np.isfinite(r1), r1, np.inf))
    stopped = np.minimum(nodes, at_r1 + crop.determinate_stop_nodes)
    nodes = np.where(determinate[:, None, None, None], stopped, nodes)
    return np.where((ve > at) | (nodes < 1.0), 0.0, nodes)


def _flat_at(sums: FloatArray, time: FloatArray) -> FloatArray:
    """As ``sum_at`` for sums that are the same at all levels."""
    flat = np.broadcast_to(time, (len(time), sums.shape[1], *time.shape[2:]))
    return sum_at(sums, flat.reshape(*flat.shape[:2], 1, -1)).reshape(flat.shape)
