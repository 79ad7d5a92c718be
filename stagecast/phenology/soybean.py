"""Soybean stages VE to R8 from planting date, temperatures and day length.

Emergence by heat; then a photothermal clock by maturity group to R1, R5 and R7, with R2 to R4 and
R6 at fixed shares of the way, and R8 a fixed number of days after R7. Stages are Fehr and
Caviness (1977): V stages count the unifoliolate node as the first.

Everything is an array over fields and members; nothing here knows of files or dates. Times are
fractional days since day 0 (see :mod:`stagecast.phenology.accumulate`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.phenology.accumulate import boundary_sums, sum_at, time_after
from stagecast.phenology.parameters import CropParameters, GroupParameters
from stagecast.phenology.response import daily_response, emergence_heat, short_day_rate

FloatArray = NDArray[np.float64]
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
    crop : CropParameters
    """
    return CellRates(
        emergence=emergence_heat(
            tmin_c, tmax_c, base_c=crop.emergence_base_c, cap_c=crop.emergence_cap_c
        ),
        nodes=daily_response(tmin_c, tmax_c, cardinals_c=crop.node_cardinals_c),
        ve_r1=daily_response(tmin_c, tmax_c, cardinals_c=crop.ve_r1_cardinals_c),
        r1_r5=daily_response(tmin_c, tmax_c, cardinals_c=crop.r1_r5_cardinals_c),
        r5_r7=daily_response(tmin_c, tmax_c, cardinals_c=crop.r5_r7_cardinals_c),
    )


def stage_times(
    rates: CellRates, fields: FieldInputs, *, crop: CropParameters, nodes_at: float
) -> StageTimes:
    """Time of every stage for every field and member.

    Parameters
    ----------
    rates : CellRates
    fields : FieldInputs
    crop : CropParameters
    nodes_at : float
        Fractional day at which main-stem nodes are counted.
    """
    count, members = len(fields.cell), rates.nodes.shape[1]
    times = np.empty((count, members, len(STAGES)))
    nodes = np.empty((count, members))
    for start in range(0, count, _CHUNK):
        part = slice(start, start + _CHUNK)
        times[part], nodes[part] = _chunk(rates, fields, part, crop=crop, nodes_at=nodes_at)
    return StageTimes(times, nodes)


def _chunk(
    rates: CellRates,
    fields: FieldInputs,
    part: slice,
    *,
    crop: CropParameters,
    nodes_at: float,
) -> tuple[FloatArray, FloatArray]:
    cell = fields.cell[part]
    groups = fields.groups.take(part)
    after_planting = fields.planting_day[part].astype(np.float64) + 1.0
    before_r1 = short_day_rate(
        fields.day_length_h[part],
        critical_h=groups.critical_h[:, None],
        sensitivity=groups.sensitivity[:, None],
        floor=crop.photoperiod_floor,
    )[:, None, :]
    after_r1 = short_day_rate(
        fields.day_length_h[part],
        critical_h=groups.critical_h[:, None] + crop.post_shift_h,
        sensitivity=groups.sensitivity[:, None] * crop.post_slope_factor,
        floor=crop.photoperiod_floor,
    )[:, None, :]

    emergence = boundary_sums(_from(after_planting, rates.emergence[cell]))
    start = np.broadcast_to(after_planting[:, None], emergence.shape[:2])
    ve = time_after(emergence, start, np.asarray(crop.emergence_need))
    seen = fields.emerged_time[part]
    ve = np.where(np.isnan(seen)[:, None], ve, seen[:, None])

    first = np.where(np.isnan(seen), after_planting, np.floor(seen))
    to_r1 = boundary_sums(_from(first, rates.ve_r1[cell] * before_r1))
    to_r5 = boundary_sums(_from(first, rates.r1_r5[cell] * after_r1))
    to_r7 = boundary_sums(_from(first, rates.r5_r7[cell] * after_r1))
    r1 = time_after(to_r1, ve, groups.need_ve_r1[:, None])
    need_r5 = groups.need_r1_r5[:, None]
    r2, r3, r4, r5 = (
        time_after(to_r5, r1, share * need_r5)
        for share in (crop.share_r2, crop.share_r3, crop.share_r4, 1.0)
    )
    need_r7 = groups.need_r5_r7[:, None]
    r6, r7 = (time_after(to_r7, r5, share * need_r7) for share in (crop.share_r6, 1.0))
    r8 = r7 + crop.days_r7_r8

    node_sums = boundary_sums(_from(first, rates.nodes[cell]))
    leaves = [
        time_after(node_sums, ve, np.asarray(count * crop.phyllochron))
        for count in (crop.vc_at, *(crop.v1_at + n for n in range(4)))
    ]
    times = np.stack([ve, *leaves, r1, r2, r3, r4, r5, r6, r7, r8], axis=-1)
    count = _nodes(
        node_sums, ve, r1, r5, determinate=fields.determinate[part], crop=crop, at=nodes_at
    )
    return times, count


def _from(first_day: FloatArray, rate: FloatArray) -> FloatArray:
    """Zero a rate before a field's first day, where its heat is not the crop's.

    This is the only place where a missing day may become zero: before the seed is in the ground,
    or before an emergence that was seen.
    """
    growing = np.arange(rate.shape[-1])[None, :] >= first_day[:, None]
    return np.where(growing[:, None, :], rate, 0.0)


def _nodes(
    node_sums: FloatArray,
    ve: FloatArray,
    r1: FloatArray,
    r5: FloatArray,
    *,
    determinate: NDArray[np.bool_],
    crop: CropParameters,
    at: float,
) -> FloatArray:
    """Nodes at a time; growth ends at R5, or for determinate plants soon after R1."""

    def grown(until: FloatArray) -> FloatArray:
        end = np.minimum(until, at)
        plastochrons = (sum_at(node_sums, end) - sum_at(node_sums, ve)) / crop.phyllochron
        return plastochrons - (crop.v1_at - 1.0)

    nodes = grown(np.where(np.isfinite(r5), r5, np.inf))
    at_r1 = grown(np.where(np.isfinite(r1), r1, np.inf))
    stopped = np.minimum(nodes, at_r1 + crop.determinate_stop_nodes)
    nodes = np.where(determinate[:, None], stopped, nodes)
    return np.where((ve > at) | (nodes < 1.0), 0.0, nodes)
