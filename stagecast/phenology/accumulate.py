"""Sums of a daily rate over time, and the moment at which a sum is reached.

Times are fractional days since day 0 of the arrays: 12.25 is a quarter through day 12, so
``floor(time)`` is the index of the calendar day. A sum is known at day boundaries and is linear
in between.

A missing day (NaN rate) makes every later sum unknown: times that would need it are NaN, never
zero heat. A sum that is not reached before the arrays end is ``inf``: not this season.
"""

from __future__ import annotations

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
    clipped = np.clip(np.where(usable, time, 0.0), 0.0, last)
    day = np.minimum(clipped.astype(np.intp), last - 1)
    before = _pick(sums, day)
    after = _pick(sums, day + 1)
    share = clipped - day
    # A time on a boundary does not need the following day, which may be unknown.
    value = np.where(share == 0.0, before, before + share * (after - before))
    return np.where(usable, value, np.nan)


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
    inside = np.minimum(boundary, last)
    upper = _pick(sums, inside)
    lower = _pick(sums, np.maximum(inside - 1, 0))
    step = upper - lower
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(step > 0.0, (target - lower) / step, 1.0)
    time = np.where(boundary == 0, 0.0, inside - 1 + share)
    time = np.where(boundary > last, np.inf, time)
    unknown = np.isnan(target) | (np.isnan(upper) & (boundary <= last))
    return np.where(unknown, np.nan, time)


def _boundaries(sums: FloatArray, target: FloatArray) -> NDArray[np.intp]:
    """Number of boundaries whose sum lies below each target.

    One binary search over all rows: each row is lifted above the one before it, so that all of
    them together rise. Unknown sums stand above everything, like a sum never to be passed.
    """
    days = sums.shape[-1]
    rows = sums.reshape(-1, days)
    wanted = np.where(np.isnan(target), 0.0, target).reshape(len(rows), -1)
    unknown = np.isnan(rows[:, -1]).any()  # a sum once unknown stays so
    largest = np.nanmax(rows, initial=0.0) if unknown else rows[:, -1].max(initial=0.0)
    top = 1.0 + max(largest, np.max(wanted, initial=0.0))
    lift = np.arange(len(rows))[:, None] * (top + 1.0)
    lifted = (np.where(np.isnan(rows), top, rows) if unknown else rows) + lift
    found = np.searchsorted(lifted.ravel(), (wanted + lift).ravel())
    counts = found.reshape(wanted.shape) - np.arange(len(rows))[:, None] * days
    return np.asarray(np.clip(counts, 0, days).reshape(target.shape), dtype=np.intp)


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
    reached = time_reached(sums, sum_at(sums, start) + need)
    return np.where(np.isposinf(start), np.inf, reached)


def _pick(sums: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    picked: FloatArray = np.take_along_axis(sums, index, axis=-1)
    return picked
