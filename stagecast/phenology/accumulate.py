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

FloatArray = NDArray[np.float64]


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
    time : ndarray, shape (...)
        Fractional days; inf (never) and NaN (unknown) give NaN.

    Returns
    -------
    ndarray, shape (...)
    """
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
    target : ndarray, shape (...)
        Sum to reach; NaN gives NaN.

    Returns
    -------
    ndarray, shape (...)
        Fractional days; inf where not reached, NaN where a missing day stands before it.
    """
    last = sums.shape[-1] - 1
    boundary = np.count_nonzero(sums < target[..., None], axis=-1)
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


def time_after(sums: FloatArray, start: FloatArray, need: FloatArray) -> FloatArray:
    """Time at which ``need`` more has been summed since ``start``.

    Parameters
    ----------
    sums : ndarray, shape (..., days + 1)
    start : ndarray, shape (...)
        Fractional days; inf stays inf (a thing that never starts never ends).
    need : ndarray, broadcastable to (...)
        Sum to add, > 0, in the unit of the rate times days.

    Returns
    -------
    ndarray, shape (...)
    """
    reached = time_reached(sums, sum_at(sums, start) + need)
    return np.where(np.isposinf(start), np.inf, reached)


def _pick(sums: FloatArray, index: NDArray[np.intp]) -> FloatArray:
    picked: FloatArray = np.take_along_axis(sums, index[..., None], axis=-1)[..., 0]
    return picked
