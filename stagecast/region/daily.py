"""Compiled: what each day's temperatures are worth to the crop and to a pest, summed up.

The same arithmetic as ``phenology.response`` and ``phenology.degree_days``, a number at a time;
tests hold the two together day by day. Sums go on over a missing day as if it had no heat, and
nothing may be read from them beyond it: ``holes`` says where that is.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.phenology.parameters import Cardinals
from stagecast.region.compiled import compiled, inner
from stagecast.region.numbers import AVERAGE, CLAMPED, SINE, TRIANGLE, CropNumbers, Records

_COSINES = tuple(math.cos(math.pi * (k + 0.5) / 4.0) for k in range(4))
"""Midpoints of eight three-hour spans of a cosine day; the falling half mirrors the rising one."""

WARMTH, LEAVES = 0, 1
"""Which sums are which: heat towards emergence, and nodes."""


@compiled
def next_missing(tmin_c: FloatArray, tmax_c: FloatArray) -> NDArray[np.int64]:
    """First missing day at or after each, the number of days where none is; (seasons, days + 1)."""
    seasons, days = tmin_c.shape
    holes = np.empty((seasons, days + 1), dtype=np.int64)
    for s in range(seasons):
        holes[s, days] = days
        for d in range(days - 1, -1, -1):
            missing = math.isnan(tmin_c[s, d]) or math.isnan(tmax_c[s, d])
            holes[s, d] = d if missing else holes[s, d + 1]
    return holes


@inner
def _trapezoid(
    temperature_c: float, base: float, to_low: float, ceiling: float, to_high: float
) -> float:
    """Share of the full rate; ``to_low`` and ``to_high`` are one over the ramps' widths."""
    rate = min((temperature_c - base) * to_low, (ceiling - temperature_c) * to_high)
    return min(max(rate, 0.0), 1.0)


@inner
def _response(
    tmin_c: FloatArray, tmax_c: FloatArray, cardinals: Cardinals, rate: FloatArray
) -> None:
    """Mean response of each day."""
    base, low, high, ceiling = cardinals
    to_low, to_high = 1.0 / (low - base), 1.0 / (ceiling - high)
    for d in range(len(rate)):
        mean, half = (tmax_c[d] + tmin_c[d]) / 2.0, (tmax_c[d] - tmin_c[d]) / 2.0
        total = _trapezoid(mean + half * _COSINES[0], base, to_low, ceiling, to_high)
        total += _trapezoid(mean + half * _COSINES[1], base, to_low, ceiling, to_high)
        total += _trapezoid(mean + half * _COSINES[2], base, to_low, ceiling, to_high)
        total += _trapezoid(mean + half * _COSINES[3], base, to_low, ceiling, to_high)
        rate[d] = total / 4.0


@inner
def _by_width(
    tmin_c: FloatArray, tmax_c: FloatArray, usual_c: float, per_c: float, rate: FloatArray
) -> None:
    """Change each day's rate by how wide the day is, as ``phenology.response.wide_day_rate``."""
    for d in range(len(rate)):
        rate[d] *= math.exp(per_c * (tmax_c[d] - tmin_c[d] - usual_c))


@inner
def _warmth(
    tmin_c: FloatArray, tmax_c: FloatArray, base: float, cap: float, rate: FloatArray
) -> None:
    """Heat of each day towards emergence."""
    for d in range(len(rate)):
        mean, half = (tmax_c[d] + tmin_c[d]) / 2.0, (tmax_c[d] - tmin_c[d]) / 2.0
        total = max(min(mean + half * _COSINES[0], cap) - base, 0.0)
        total += max(min(mean + half * _COSINES[1], cap) - base, 0.0)
        total += max(min(mean + half * _COSINES[2], cap) - base, 0.0)
        total += max(min(mean + half * _COSINES[3], cap) - base, 0.0)
        rate[d] = total / 4.0


@inner
def _sum_up(rate: FloatArray, tmin_c: FloatArray, tmax_c: FloatArray, sums: FloatArray) -> None:
    """Sums up to each day boundary; a missing day adds nothing, and ``holes`` guards it."""
    total = sums[0]
    for d in range(len(rate)):
        if not math.isnan(tmin_c[d] + tmax_c[d]):
            total += rate[d]
        sums[d + 1] = total


@compiled
def crop_rates(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, first: int, crop: CropNumbers
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Sums of emergence heat and of nodes, and the rates of the three phases.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (seasons, days)
    shared : int
        All seasons are the same before this day.
    first : int
        First day that is asked for.

    Returns
    -------
    sums : ndarray, shape (2, seasons, days + 1)
        ``WARMTH`` and ``LEAVES``.
    ve_r1, r1_r5, r5_r7 : ndarray, shape (seasons, days)
    """
    seasons, days = tmin_c.shape
    sums = np.zeros((2, seasons, days + 1))
    ve_r1, r1_r5, r5_r7 = (
        np.zeros((seasons, days)),
        np.zeros((seasons, days)),
        np.zeros((seasons, days)),
    )
    heat, nodes = np.zeros(days), np.zeros(days)
    for s in range(seasons):
        begin = first
        if s > 0 and shared > first:
            begin = shared
            for rates in (ve_r1, r1_r5, r5_r7):
                rates[s, first:begin] = rates[0, first:begin]
        low, high = tmin_c[s, begin:], tmax_c[s, begin:]
        _warmth(low, high, crop.emergence_base_c, crop.emergence_cap_c, heat[begin:])
        _response(low, high, crop.node_cardinals_c, nodes[begin:])
        _response(low, high, crop.ve_r1_cardinals_c, ve_r1[s, begin:])
        _response(low, high, crop.r1_r5_cardinals_c, r1_r5[s, begin:])
        _response(low, high, crop.r5_r7_cardinals_c, r5_r7[s, begin:])
        usual = crop.usual_range_c
        _by_width(low, high, usual, crop.wide_days_before_r1, ve_r1[s, begin:])
        _by_width(low, high, usual, crop.wide_days_after_r5, r5_r7[s, begin:])
        _sum_up(heat, tmin_c[s], tmax_c[s], sums[WARMTH, s])
        _sum_up(nodes, tmin_c[s], tmax_c[s], sums[LEAVES, s])
    return sums, ve_r1, r1_r5, r5_r7


# --- degree-days ----------------------------------------------------------------------------------


@inner
def _area(low: float, high: float, level: float, shape: int) -> float:
    """Area of the day's curve above a level, as ``phenology.degree_days.area_above``."""
    mean = (low + high) / 2.0
    if shape != TRIANGLE and shape != SINE:
        return max(mean - level, 0.0)
    if high <= level:
        return 0.0
    if low >= level:
        return mean - level
    if shape == TRIANGLE:
        return (high - level) * ((high - level) / (high - low)) / 2.0
    height = min(max((level - mean) / ((high - low) / 2.0), -1.0), 1.0)
    chord = math.sqrt((1.0 - height) * (1.0 + height))
    crossing = (mean - level) * math.acos(height) / math.pi
    return crossing + (high - low) / 2.0 * chord / math.pi


@inner
def _share(low: float, high: float, level: float, shape: int) -> float:
    """Share of the day above a level, as ``phenology.degree_days.share_above``."""
    if shape != TRIANGLE and shape != SINE:
        return 1.0 if (low + high) / 2.0 > level else 0.0
    if high <= level:
        return 0.0
    if low >= level:
        return 1.0
    if shape == TRIANGLE:
        return (high - level) / (high - low)
    height = (level - (low + high) / 2.0) / ((high - low) / 2.0)
    return math.acos(min(max(height, -1.0), 1.0)) / math.pi


@inner
def _curve_heat(
    low: float, high: float, lower: float, upper: float, shape: int, cutoff: int
) -> float:
    """Degree-days of a day's curve: the table at the head of ``phenology.degree_days``."""
    area = _area(low, high, lower, shape)
    if cutoff == 0 or high <= upper:
        return area
    excess = _area(low, high, upper, shape)
    if cutoff == 1:
        return area - excess
    if cutoff == 2:
        return area - 2.0 * excess
    return area - excess - (upper - lower) * _share(low, high, upper, shape)


@inner
def _heat_of_averages(
    tmin_c: FloatArray, tmax_c: FloatArray, lower: float, floor: float, ceiling: float,
    rate: FloatArray,
) -> None:  # fmt: skip
    """Degree-days of each day's average, its extremes brought between two temperatures first."""
    for d in range(len(rate)):
        low, high = min(max(tmin_c[d], floor), ceiling), min(max(tmax_c[d], floor), ceiling)
        rate[d] = max((low + high) / 2.0 - lower, 0.0)


@inner
def _heat_of_curves(
    tmin_c: FloatArray, tmax_c: FloatArray, lower: float, upper: float, shape: int, double: bool,
    cutoff: int, rate: FloatArray,
) -> None:  # fmt: skip
    """Degree-days of each day's curve; with halves of days the second ends at the next minimum."""
    for d in range(len(rate)):
        low, high = tmin_c[d], tmax_c[d]
        heat = _curve_heat(low, high, lower, upper, shape, cutoff)
        if double and d + 1 < len(rate) and not math.isnan(tmin_c[d + 1]):
            bottom, top = min(tmin_c[d + 1], high), max(tmin_c[d + 1], high)
            heat = (heat + _curve_heat(bottom, top, lower, upper, shape, cutoff)) / 2.0
        rate[d] = max(heat, 0.0)


@compiled
def pest_sums(
    tmin_c: FloatArray, tmax_c: FloatArray, shared: int, first: int, pests: Records, p: int
) -> FloatArray:
    """Heat of one pest up to each day boundary, from a first day on; (seasons, days + 1).

    As ``phenology.degree_days.daily_degree_days`` has it for each day.
    """
    seasons, days = tmin_c.shape
    sums, rate = np.zeros((seasons, days + 1)), np.empty(days)
    lower, upper = pests[p].lower_c, pests[p].upper_c
    shape, moved, cutoff = pests[p].shape, pests[p].moved, pests[p].cutoff
    floor = lower if moved == CLAMPED else -math.inf
    ceiling = upper if moved != 0 and cutoff != 0 else math.inf
    for s in range(seasons):
        begin = first
        if s > 0 and shared - 1 > first:
            # The last shared day may see another tomorrow.
            begin = shared - 1
            sums[s, first : begin + 1] = sums[0, first : begin + 1]
        low, high = tmin_c[s, begin:], tmax_c[s, begin:]
        if moved != 0 or (shape == AVERAGE and cutoff == 0):
            _heat_of_averages(low, high, lower, floor, ceiling, rate[begin:])
        else:
            double = pests[p].double
            _heat_of_curves(low, high, lower, upper, shape, double, cutoff, rate[begin:])
        _sum_up(rate[begin:], low, high, sums[s, begin:])
    return sums
