"""Sums of a daily rate over time, and the moment at which a sum is reached.

Times are fractional days since day 0 of the arrays: 12.25 is a quarter through day 12, so
``floor(time)`` is the index of the calendar day. A sum is known at day boundaries and is linear
in between.

A missing day (NaN rate) makes every later sum unknown: times that would need it are NaN, never
zero heat. A sum that is not reached before the arrays end is ``inf``: not this season.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray


def boundary_sums(rate: FloatArray) -> FloatArray:
    """Sum a daily rate up to each day boundary.

    Parameters
    ----------
    rate : ndarray, shape (..., days)
        Rate of each day, >= 0 or NaN.

    Returns
    -------
    ndarray, shape (..., days + 1)
        Element i is the sum of all days before day i; element 0 is 0.
    """
    sums = np.zeros((*rate.shape[:-1], rate.shape[-1] + 1))
    np.cumsum(rate, axis=-1, out=sums[..., 1:])
    return sums


def sum_at(sums: FloatArray, time: FloatArray) -> FloatArray:
    """Value of the sums at fractional times.

    Parameters
    ----------
    sums : ndarray, shape (..., days + 1)
        From :func:`boundary_sums`.
    time : ndarray, shape (...) or (..., times)
        Fractional days, one or several per row; inf (never) and NaN (unknown) give NaN.

    Returns
    -------
    ndarray, of the shape of ``time``
    """
    if time.ndim < sums.ndim:
        return sum_at(sums, time[..., None])[..., 0]
    last = sums.shape[-1] - 1
    usable = np.isfinite(time)
    every = bool(usable.all())
    clipped = np.clip(time if every else np.where(usable, time, 0.0), 0.0, last)
    day = np.minimum(clipped.astype(np.intp), last - 1)
    share = clipped - day
    place = day + _row_starts(sums)
    before = sums.take(place)
    value = before + share * (sums.take(place + 1) - before)
    if _unknown(sums):
        # A time on a boundary does not need the following day, which may be unknown.
        value = np.where(share == 0.0, before, value)
    return value if every else np.where(usable, value, np.nan)


def time_reached(sums: FloatArray, target: FloatArray) -> FloatArray:
    """First time at which the sums reach a target.

    Parameters
    ----------
    sums : ndarray, shape (..., days + 1)
        Non-decreasing sums from :func:`boundary_sums`.
    target : ndarray, shape (...) or (..., targets)
        Sums to reach, one or several per row; NaN gives NaN.

    Returns
    -------
    ndarray, of the shape of ``target``
        Fractional days; inf where not reached, NaN where a missing day stands before it.
    """
    if target.ndim < sums.ndim:
        return time_reached(sums, target[..., None])[..., 0]
    last = sums.shape[-1] - 1
    boundary = _boundaries(sums, target)
    inside = np.clip(boundary, 1, last)
    place = inside + _row_starts(sums)
    upper, lower = sums.take(place), sums.take(place - 1)
    step = upper - lower
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(step > 0.0, (target - lower) / step, 1.0)
    time = np.asarray(inside - 1 + share, dtype=np.float64)
    time[boundary == 0] = 0.0
    time[boundary > last] = np.inf
    if _unknown(sums):
        first = sums.take(np.minimum(boundary, last) + _row_starts(sums))
        time[np.isnan(first) & (boundary <= last)] = np.nan
    time[np.isnan(target)] = np.nan
    return time


def _row_starts(sums: FloatArray) -> NDArray[np.intp]:
    """Where each row begins among all sums, shape (..., 1)."""
    rows, days = sums.shape[:-1], sums.shape[-1]
    return np.arange(0, sums.size, days).reshape(*rows, 1)


def _unknown(sums: FloatArray) -> bool:
    """Whether any row has an unknown sum; one once unknown stays so."""
    return bool(np.isnan(sums[..., -1]).any())


def _boundaries(sums: FloatArray, target: FloatArray) -> NDArray[np.intp]:
    """Number of boundaries whose sum lies below each target.

    One binary search over all rows: each row is lifted above the one before it, so that all of
    them together rise. Unknown sums stand above everything, like a sum never to be passed.
    """
    days = sums.shape[-1]
    rows = sums.reshape(-1, days)
    most = target.max(initial=0.0)
    if np.isnan(most):
        target = np.where(np.isnan(target), 0.0, target)
        most = target.max(initial=0.0)
    unknown = _unknown(sums)
    largest = np.nanmax(rows, initial=0.0) if unknown else rows[:, -1].max(initial=0.0)
    top = 1.0 + max(largest, most)
    number = np.arange(len(rows))[:, None]
    lift = number * (top + 1.0)
    lifted = (np.where(np.isnan(rows), top, rows) if unknown else rows) + lift
    wanted = target.reshape(len(rows), -1) + lift
    counts = lifted.ravel().searchsorted(wanted) - number * days
    return np.asarray(counts.clip(0, days, out=counts).reshape(target.shape))


def time_after(sums: FloatArray, start: FloatArray, need: FloatArray) -> FloatArray:
    """Time at which ``need`` more has been summed since ``start``.

    Parameters
    ----------
    sums : ndarray, shape (..., days + 1)
    start : ndarray, shape (...) or (..., starts)
        Fractional days; inf stays inf (a thing that never starts never ends).
    need : ndarray, broadcastable to the shape of ``start``
        Sum to add, > 0, in the unit of the rate times days.

    Returns
    -------
    ndarray, of the shape of ``start``
    """
    (time,) = times_after(sums, start, [need])
    return time


def times_after(
    sums: FloatArray, start: FloatArray, needs: Sequence[FloatArray]
) -> Sequence[FloatArray]:
    """As :func:`time_after` for several needs from one start, in one search."""
    if start.ndim < sums.ndim:
        each = [np.broadcast_to(need, start.shape)[..., None] for need in needs]
        return [time[..., 0] for time in times_after(sums, start[..., None], each)]
    begun = sum_at(sums, start)
    targets = np.concatenate([begun + need for need in needs], axis=-1)
    reached = time_reached(sums, targets)
    reached[np.tile(np.isposinf(start), len(needs))] = np.inf
    return np.split(reached, len(needs), axis=-1)
