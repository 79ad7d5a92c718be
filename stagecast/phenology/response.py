"""How fast a crop develops at a temperature or a day length, as a share of its full rate."""

from __future__ import annotations

import numpy as np

from stagecast.base.units import FloatArray

_COSINES = np.cos(np.pi * (np.arange(4) + 0.5) / 4)
"""Midpoints of eight three-hour spans on a cosine day; the falling half mirrors the rising one."""


def three_hourly_c(tmin_c: FloatArray, tmax_c: FloatArray) -> FloatArray:
    """Temperatures at the middle of each three-hour span of a cosine day.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (...)
        Daily extremes, degC.

    Returns
    -------
    ndarray, shape (4, ...)
        degC. Four values stand for eight spans, since the day is symmetric.
    """
    mean, half = (tmax_c + tmin_c) / 2.0, (tmax_c - tmin_c) / 2.0
    shape = (-1,) + (1,) * np.ndim(mean)
    spans: FloatArray = mean[None, ...] + half[None, ...] * _COSINES.reshape(shape)
    return spans


def trapezoid(
    temperature_c: FloatArray, *, cardinals_c: tuple[float, float, float, float]
) -> FloatArray:
    """Rate rising from base to optimum, flat, then falling to the ceiling.

    Parameters
    ----------
    temperature_c : ndarray
        degC.
    cardinals_c : tuple of four floats
        Base, first optimum, last optimum, ceiling, degC.

    Returns
    -------
    ndarray
        Share of the full rate, 0 to 1; NaN stays NaN.

    Notes
    -----
    ``f = clip(min((T - Tb)/(To1 - Tb), (Tx - T)/(Tx - To2)), 0, 1)``
    """
    base, low, high, ceiling = cardinals_c
    rising = (temperature_c - base) / (low - base)
    falling = (ceiling - temperature_c) / (ceiling - high)
    return np.clip(np.minimum(rising, falling), 0.0, 1.0)


def daily_response(
    tmin_c: FloatArray, tmax_c: FloatArray, *, cardinals_c: tuple[float, float, float, float]
) -> FloatArray:
    """Mean over a day of :func:`trapezoid`, from eight three-hour temperatures.

    The mean of the responses, not the response to the mean: it matters near base and ceiling.
    """
    spans = three_hourly_c(tmin_c, tmax_c)
    mean: FloatArray = trapezoid(spans, cardinals_c=cardinals_c).mean(axis=0)
    return mean


def emergence_heat(
    tmin_c: FloatArray, tmax_c: FloatArray, *, base_c: float, cap_c: float
) -> FloatArray:
    """Heat of a day towards emergence, degree-days C.

    Notes
    -----
    Mean over eight three-hour temperatures of ``max(0, min(T, cap) - base)``.
    """
    spans = three_hourly_c(tmin_c, tmax_c)
    heat: FloatArray = np.maximum(np.minimum(spans, cap_c) - base_c, 0.0).mean(axis=0)
    return heat


def wide_day_rate(
    tmin_c: FloatArray, tmax_c: FloatArray, *, usual_c: float, per_c: float
) -> FloatArray:
    """Factor on a day's rate by how wide the day is: clear, dry days are wide, damp ones narrow.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (...)
        Daily extremes, degC.
    usual_c : float
        Daily range at which nothing changes, degC.
    per_c : float
        Change of the rate's logarithm per degC beyond it.

    Returns
    -------
    ndarray, shape (...)
        Above 0; NaN stays NaN.
    """
    factor: FloatArray = np.exp(per_c * (tmax_c - tmin_c - usual_c))
    return factor


def short_day_rate(
    day_length_h: FloatArray,
    *,
    critical_h: FloatArray,
    sensitivity: FloatArray,
    floor: float,
) -> FloatArray:
    """Slow-down of a short-day plant by days longer than the critical length.

    Parameters
    ----------
    day_length_h : ndarray, shape (fields, days)
        Sunrise to sunset, h.
    critical_h, sensitivity : ndarray, shape (fields, 1)
        Critical day length (h) and loss of rate per hour beyond it (1/h).
    floor : float
        Smallest share of the full rate.

    Returns
    -------
    ndarray, shape (fields, days)

    Notes
    -----
    ``f = clip(1 - k (P - Pc), floor, 1)``
    """
    return np.clip(1.0 - sensitivity * (day_length_h - critical_h), floor, 1.0)
