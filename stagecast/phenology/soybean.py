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
from stagecast.phenology.accumulate import boundary_sums, sum_at, time_after, times_after
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

_CHUNK = 64  # fields at a time: keeps the rate arrays inside the processor's cache


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
    times = np.empty((count, members, len(STAGES)))
    nodes = np.empty((count, members))
    idle = _idle_days(fields, rates.nodes.shape[-1])
    rates, fields = _starting_at(idle, rates, fields)
    for start in range(0, count, _CHUNK):
        part = slice(start, start + _CHUNK)
        times[part], nodes[part] = _chunk(
            rates, fields, part, crop=crop, errors=drawn, nodes_at=nodes_at - idle
        )
    return StageTimes(times + idle, nodes)


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


def _levels_and_draws(groups: GroupParameters, errors: MemberErrors) -> tuple[int, int]:
    levels = groups.by_level().critical_h.shape[1]
    shape = np.broadcast_shapes((levels, 1), errors.before_r1.shape)
    return shape[0], shape[1]


def _chunk(
    rates: CellRates,
    fields: FieldInputs,
    part: slice,
    *,
    crop: CropParameters,
    errors: MemberErrors,
    nodes_at: float,
) -> tuple[FloatArray, FloatArray]:
    """Some fields at a time. Axes: field, season, level, draw; a sum's days come last."""
    cell = fields.cell[part]
    groups = fields.groups.take(part).by_level()
    seen = fields.emerged_time[part]
    after_planting = fields.planting_day[part].astype(np.float64) + 1.0
    first = np.where(np.isnan(seen), after_planting, np.floor(seen))
    before_r1, after_r1 = _day_length_rates(fields.day_length_h[part], groups, crop)

    warmth = boundary_sums(_from(after_planting, rates.emergence[cell]))
    need_ve = crop.emergence_need * errors.emergence
    start = np.broadcast_to(
        after_planting[:, None, None, None],
        (*warmth.shape[:2], *_levels_and_draws(groups, errors)),
    )
    (ve,) = _flat_after(warmth, start, [need_ve])
    ve = np.where(np.isnan(seen)[:, None, None, None], ve, seen[:, None, None, None])

    to_r1 = boundary_sums(_from(first, rates.ve_r1[cell][:, :, None] * before_r1))
    to_r5 = boundary_sums(_from(first, rates.r1_r5[cell][:, :, None] * after_r1))
    to_r7 = boundary_sums(_from(first, rates.r5_r7[cell][:, :, None] * after_r1))
    r1 = time_after(to_r1, ve, groups.need_ve_r1[:, None, :, None] * errors.before_r1)
    need_r5 = groups.need_r1_r5[:, None, :, None] * errors.r1_r5
    shares = (crop.share_r2, crop.share_r3, crop.share_r4, 1.0)
    r2, r3, r4, r5 = times_after(to_r5, r1, [share * need_r5 for share in shares])
    need_r7 = groups.need_r5_r7[:, None, :, None] * errors.r5_r7
    r6, r7 = times_after(to_r7, r5, [share * need_r7 for share in (crop.share_r6, 1.0)])
    # The days to full maturity keep their sign, whatever the error.
    r8 = r7 + np.maximum(crop.days_r7_r8 + errors.r8_days, 1.0)

    node_sums = boundary_sums(_from(first, rates.nodes[cell]))
    phyllochron = crop.phyllochron * errors.nodes
    plastochrons = (crop.vc_at, *(crop.v1_at + n for n in range(4)))
    leaves = _flat_after(node_sums, ve, [count * phyllochron for count in plastochrons])
    stacked = np.stack([ve, *leaves, r1, r2, r3, r4, r5, r6, r7, r8], axis=-1)
    times = stacked.reshape(len(cell), -1, len(STAGES))
    nodes = _nodes(
        node_sums,
        times,
        np.broadcast_to(phyllochron, ve.shape).reshape(len(cell), rates.nodes.shape[1], -1),
        determinate=fields.determinate[part],
        crop=crop,
        at=nodes_at,
    )
    return times, nodes


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
    """As ``times_after`` for sums without a level axis: levels and draws become one axis."""
    flat = (*start.shape[:2], -1)
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
    node_sums: FloatArray,
    times: FloatArray,
    phyllochron: FloatArray,
    *,
    determinate: NDArray[np.bool_],
    crop: CropParameters,
    at: float,
) -> FloatArray:
    """Nodes at a time, shape (fields, members).

    Growth ends at R5, or for determinate plants soon after R1.
    """
    drawn = phyllochron.shape
    ve, r1, r5 = (times[..., STAGES.index(s)].reshape(drawn) for s in ("VE", "R1", "R5"))

    def grown(until: FloatArray) -> FloatArray:
        end = np.minimum(until, at)
        plastochrons = (sum_at(node_sums, end) - sum_at(node_sums, ve)) / phyllochron
        return plastochrons - (crop.v1_at - 1.0)

    nodes = grown(np.where(np.isfinite(r5), r5, np.inf))
    at_r1 = grown(np.where(np.isfinite(r1), r1, np.inf))
    stopped = np.minimum(nodes, at_r1 + crop.determinate_stop_nodes)
    nodes = np.where(determinate[:, None, None], stopped, nodes)
    return np.where((ve > at) | (nodes < 1.0), 0.0, nodes).reshape(times.shape[:2])
