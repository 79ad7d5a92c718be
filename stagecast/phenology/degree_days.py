"""Daily degree-days from a minimum and a maximum: seven methods, four upper cutoffs.

Every method but the clamped and the capped average rebuilds the day's temperature curve T(u),
0 <= u < 1, and integrates a piecewise-linear development rate over it. Writing A(t) for the
area of the curve above temperature t (in degree-days), p(t) for the share of the day it is
above t, and Tlo, Thi for the two thresholds, one table gives every cutoff:

============  ===================================  =====================================
cutoff        rate above Thi                       degree-days of the day
============  ===================================  =====================================
none          keeps rising                         A(Tlo)
horizontal    stays at Thi - Tlo                   A(Tlo) - A(Thi)
intermediate  falls a degree per degree above Thi  max(0, A(Tlo) - 2 A(Thi))
vertical      zero                                 A(Tlo) - A(Thi) - (Thi - Tlo) p(Thi)
============  ===================================  =====================================

The floor of the intermediate cutoff at zero for the day is a choice of this project: a hot
day may stop development but does not undo the day before.

Degree-days of one method are not degree-days of another; a requirement taken from a paper
is valid only with that paper's own method and cutoff.

References
----------
Baskerville, G.L., Emin, P. 1969. Ecology 50:514-517 (sine). Allen, J.C. 1976. Environ.
Entomol. 5:388-396 (sine with an upper threshold, half-day sine). Zalom, F.G., Goodell, P.B.,
Wilson, L.T., Barnett, W.W., Bentley, W.J. 1983. Univ. California DANR leaflet 21373 (all
methods). Roltsch, W.J., et al. 1999. Int. J. Biometeorol. 42:169-176 (comparison).
Bibliography MEMORY except the leaflet; the closed forms are derived from the definitions
and tested by numerical integration.

"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stagecast.base.units import FloatArray


class Shape(StrEnum):
    """The curve drawn between a day's minimum and maximum."""

    AVERAGE = "average"
    TRIANGLE = "triangle"
    SINE = "sine"


class Method(StrEnum):
    """How a day's degree-days are made from its minimum and maximum."""

    SIMPLE_AVERAGE = "simple average"
    CLAMPED_AVERAGE = "clamped average"
    CAPPED_AVERAGE = "capped average"
    SINGLE_TRIANGLE = "single triangle"
    DOUBLE_TRIANGLE = "double triangle"
    SINGLE_SINE = "single sine"
    DOUBLE_SINE = "double sine"


class Cutoff(StrEnum):
    """What the development rate does above the upper threshold."""

    NONE = "none"
    HORIZONTAL = "horizontal"
    INTERMEDIATE = "intermediate"
    VERTICAL = "vertical"


_SHAPES: Final = {
    Method.SIMPLE_AVERAGE: Shape.AVERAGE,
    Method.SINGLE_TRIANGLE: Shape.TRIANGLE,
    Method.DOUBLE_TRIANGLE: Shape.TRIANGLE,
    Method.SINGLE_SINE: Shape.SINE,
    Method.DOUBLE_SINE: Shape.SINE,
}
_DOUBLE: Final = frozenset({Method.DOUBLE_TRIANGLE, Method.DOUBLE_SINE})


def daily_degree_days(
    tmin_c: ArrayLike,
    tmax_c: ArrayLike,
    *,
    lower_c: ArrayLike,
    upper_c: ArrayLike | None = None,
    method: Method,
    cutoff: Cutoff,
    axis: int = -1,
) -> FloatArray:
    """Degree-days of every day.

    Parameters
    ----------
    tmin_c, tmax_c : array_like
        Daily minimum and maximum, degC, broadcast against each other. Temperatures in degF
        with thresholds in degF give degF-days.
    lower_c : array_like
        Lower threshold Tlo, degC.
    upper_c : array_like, optional
        Upper threshold Thi, degC. Needed by every cutoff but ``Cutoff.NONE``, which leaves
        it unused.
    method : Method
        Curve and number of half days.
    cutoff : Cutoff
        What happens above ``upper_c``.
    axis : int, optional
        The day axis of the temperatures, used by the double methods only: their tomorrow is
        the next element along it.

    Returns
    -------
    ndarray of float64
        degC-days per day, never negative, in the shape all arguments broadcast to. NaN
        where either temperature of the day is NaN: a missing day is not a day without heat.

    Raises
    ------
    ValueError
        If a minimum exceeds its maximum (the message counts the days), a temperature is
        infinite, a cutoff has no upper threshold, ``upper_c <= lower_c``, or the clamped
        or capped average is asked for a cutoff it cannot have.

    Notes
    -----
    *Simple average*: the day is constant at M = (Tmin + Tmax)/2, so A(t) = max(0, M - t).
    With the vertical cutoff the day counts in full up to and including M = Thi and not at
    all above it: touching a threshold is not being above it, as for the other curves.

    *Clamped average*: both extremes are first moved into [Tlo, Thi], then averaged, then Tlo
    is subtracted. Clamping is itself a horizontal cutoff; with ``Cutoff.NONE`` only the lower
    threshold clamps.

    *Capped average*: the simple average of a day whose maximum (and minimum, on a day that hot)
    counts as no more than Thi. A cold night stays cold, unlike in the clamped average.

    *Double methods*: half of today's rise plus half of the fall to tomorrow's minimum,
    ``[S(Tmin, Tmax) + S(Tmin tomorrow, Tmax)] / 2``. The last day, and a day whose tomorrow
    has no minimum, fall back to the single method. A tomorrow whose minimum is above today's
    maximum is drawn as it is, a half day that keeps rising. The floor of the intermediate
    cutoff applies to the day, not to its halves.

    """
    # A plain string that names a member is as good; any other is refused here, not misread.
    method, cutoff = Method(method), Cutoff(cutoff)
    tmin, tmax = _checked_temperatures(tmin_c, tmax_c)
    lower, upper = _checked_thresholds(lower_c, upper_c, cutoff)
    if method in (Method.CLAMPED_AVERAGE, Method.CAPPED_AVERAGE):
        floor = lower if method is Method.CLAMPED_AVERAGE else np.array(-np.inf)
        return _moved_average(tmin, tmax, (floor, lower, upper), method, cutoff)

    shape = _SHAPES[method]
    heat = _heat(tmin, tmax, lower, upper, shape, cutoff)
    if method in _DOUBLE:
        tomorrow = _tomorrow(tmin, axis)
        low, high = np.minimum(tomorrow, tmax), np.maximum(tomorrow, tmax)
        fall = _heat(low, high, lower, upper, shape, cutoff)
        heat = np.where(np.isnan(tomorrow), heat, (heat + fall) / 2.0)
    return np.asarray(np.maximum(heat, 0.0))


def area_above(tmin: ArrayLike, tmax: ArrayLike, t: ArrayLike, shape: Shape) -> FloatArray:
    """Area of a day's temperature curve above ``t``, in degree-days.

    Parameters
    ----------
    tmin, tmax, t : array_like
        Minimum, maximum and threshold in one unit, broadcast; ``tmin <= tmax``.
    shape : Shape
        The curve.

    Returns
    -------
    ndarray of float64
        A(t) >= 0; NaN where an argument is NaN.

    Notes
    -----
    With M = (x + m)/2 and W = (x - m)/2: M - t if the whole curve is above t, 0 if none of it
    is; where it crosses (m < t < x), with p(t) from :func:`share_above`::

        sine      A = (M - t) p + W sqrt(1 - s^2) / pi,    s = (t - M)/W
        triangle  A = (x - t)^2 / (2 (x - m))

    """
    low, high, level = _float(tmin), _float(tmax), _float(t)
    mean = _mean(low, high)
    if shape is Shape.AVERAGE:
        return np.asarray(np.maximum(mean - level, 0.0))
    if shape is Shape.TRIANGLE:
        crossing = (high - _inside(low, high, level)) * share_above(low, high, level, shape) / 2
    else:
        height = _height(low, high, level)
        chord = np.sqrt((1.0 - height) * (1.0 + height))
        crossing = (mean - level) * np.arccos(height) / np.pi + (high - low) / 2 * chord / np.pi
    return _by_case(low, high, level, above=mean - level, crossing=crossing)


def share_above(tmin: ArrayLike, tmax: ArrayLike, t: ArrayLike, shape: Shape) -> FloatArray:
    """Share of the day that a day's temperature curve is above ``t``.

    Parameters
    ----------
    tmin, tmax, t : array_like
        Minimum, maximum and threshold in one unit, broadcast; ``tmin <= tmax``.
    shape : Shape
        The curve.

    Returns
    -------
    ndarray of float64
        p(t), 0 to 1; NaN where an argument is NaN. A curve that only touches t
        (``tmax == t``) is not above it.

    Notes
    -----
    Where the curve crosses: sine ``arccos((t - M)/W) / pi``, triangle ``(x - t)/(x - m)``.

    """
    low, high, level = _float(tmin), _float(tmax), _float(t)
    if shape is Shape.AVERAGE:
        low = high = _mean(low, high)
    if shape is Shape.SINE:
        crossing = np.arccos(_height(low, high, level)) / np.pi
    else:
        crossing = (high - _inside(low, high, level)) / _nonzero(high - low)
    return _by_case(low, high, level, above=np.ones_like(level), crossing=crossing)


def _heat(
    tmin: FloatArray,
    tmax: FloatArray,
    lower: FloatArray,
    upper: FloatArray | None,
    shape: Shape,
    cutoff: Cutoff,
) -> FloatArray:
    """Look the cutoff up in the module's table, without the floor at zero."""
    area = area_above(tmin, tmax, lower, shape)
    if upper is None or cutoff is Cutoff.NONE:
        return area
    excess = area_above(tmin, tmax, upper, shape)
    if cutoff is Cutoff.HORIZONTAL:
        return area - excess
    if cutoff is Cutoff.INTERMEDIATE:
        return area - 2.0 * excess
    return area - excess - (upper - lower) * share_above(tmin, tmax, upper, shape)


def _moved_average(
    tmin: FloatArray,
    tmax: FloatArray,
    limits: tuple[FloatArray, FloatArray, FloatArray | None],
    method: Method,
    cutoff: Cutoff,
) -> FloatArray:
    """Move both extremes between floor and upper threshold, average, subtract the lower one."""
    floor, lower, upper = limits
    if cutoff not in (Cutoff.NONE, Cutoff.HORIZONTAL):
        raise ValueError(
            f"the {method} has no {cutoff} cutoff: moving the extremes is itself a "
            "horizontal one; use horizontal, or none to leave the day's heat uncut"
        )
    ceiling = np.inf if upper is None or cutoff is Cutoff.NONE else upper
    low, high = np.clip(tmin, floor, ceiling), np.clip(tmax, floor, ceiling)
    return np.asarray(np.maximum(_mean(low, high) - lower, 0.0))


def _tomorrow(tmin: FloatArray, axis: int) -> FloatArray:
    """Return the next day's minimum along ``axis``; NaN on the last day."""
    following = np.full_like(tmin, np.nan)
    if tmin.ndim:
        days = np.moveaxis(following, axis, -1)
        days[..., :-1] = np.moveaxis(tmin, axis, -1)[..., 1:]
    return following


def _by_case(
    low: FloatArray, high: FloatArray, level: FloatArray, *, above: FloatArray, crossing: FloatArray
) -> FloatArray:
    """Choose between none of the curve above the level, all of it, and a crossing."""
    chosen = np.where(high <= level, 0.0, np.where(low >= level, above, crossing))
    return np.where(np.isnan(low + high + level), np.nan, chosen)


def _height(low: FloatArray, high: FloatArray, level: FloatArray) -> FloatArray:
    """Height of the level on the curve, -1 at the minimum to 1 at the maximum; 0 if flat."""
    offset = _inside(low, high, level) - _mean(low, high)
    return np.asarray(np.clip(offset / _nonzero((high - low) / 2.0), -1.0, 1.0))


def _inside(low: FloatArray, high: FloatArray, level: FloatArray) -> FloatArray:
    """Move the level into the day's range: a far threshold on a flat day must not overflow."""
    return np.asarray(np.clip(level, low, high))


def _mean(low: FloatArray, high: FloatArray) -> FloatArray:
    return np.asarray((low + high) / 2.0)


def _nonzero(width: FloatArray) -> FloatArray:
    """Replace a zero width by one: a flat day never uses the quotient."""
    return np.where(width == 0.0, 1.0, width)


def _float(value: ArrayLike) -> FloatArray:
    return np.asarray(value, dtype=np.float64)


def _checked_temperatures(tmin_c: ArrayLike, tmax_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Broadcast the temperatures and refuse days that cannot be; NaN passes."""
    tmin, tmax = np.broadcast_arrays(_float(tmin_c), _float(tmax_c))
    if np.isinf(tmin).any() or np.isinf(tmax).any():
        raise ValueError("temperatures must be finite, or NaN where the day is missing")
    reversed_days = int(np.count_nonzero(tmin > tmax))
    if reversed_days:
        raise ValueError(f"the minimum is above the maximum on {reversed_days} day(s)")
    return tmin, tmax


def _checked_thresholds(
    lower_c: ArrayLike, upper_c: ArrayLike | None, cutoff: Cutoff
) -> tuple[FloatArray, FloatArray | None]:
    """Refuse thresholds that are not finite, not in order, or not there."""
    lower = _float(lower_c)
    if not np.isfinite(lower).all():
        raise ValueError("the lower threshold must be a finite temperature")
    if upper_c is None:
        if cutoff is not Cutoff.NONE:
            raise ValueError(f"the {cutoff} cutoff needs an upper threshold")
        return lower, None
    upper = _float(upper_c)
    if not (np.isfinite(upper).all() and (upper > lower).all()):
        raise ValueError("the upper threshold must be finite and above the lower threshold")
    return lower, upper
