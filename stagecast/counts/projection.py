"""How a density goes on from a count: the chance that it is over a threshold on a later day."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from stagecast.base.units import FloatArray
from stagecast.counts.posterior import Posterior

_NORMAL = NormalDist()
_CDF = np.vectorize(_NORMAL.cdf, otypes=[np.float64])
_NODES = 15
_RATES = np.array([_NORMAL.inv_cdf((i + 0.5) / _NODES) for i in range(_NODES)])
"""Evenly likely rates of growth, in standard deviations from their middle."""


@dataclass(frozen=True, slots=True)
class GrowthRate:
    """Relative growth of a density per day, and its standard deviation.

    The same rate holds on all days to come, only it is not known which it is.
    """

    per_day: float
    sd: float


def over_by(now: Posterior, *, threshold: float, days: float, growth: GrowthRate) -> float:
    """Chance that a field's mean is over its threshold so many days after the count.

    Parameters
    ----------
    now : of the mean on the day of the count, in insects per usual set.
    threshold : in the same, above 0.

    Notes
    -----
    ``P(ln m + r days > ln T)`` with m of the posterior and r normal, at 15 evenly likely rates.

    Larvae do not multiply within a generation: what grows is the number of those large enough to
    count and to hurt. The one stated rate stands for both; no degree-days take part.
    """
    rates = growth.per_day + growth.sd * _RATES
    return float(np.mean([now.over(threshold * math.exp(-rate * days)) for rate in rates]))


def log_mean_sd(mean: float, *, k: float, sets: float) -> float:
    """Standard error of the natural logarithm of a mean of counts.

    Parameters
    ----------
    mean : per set, above 0.
    k : of the negative binomial, per set; inf for counts at random.
    sets : of that size, above 0.

    Notes
    -----
    The delta method: ``var(ln m) = s**2 / (n m**2)`` with ``s**2 = m + m**2 / k``, that is
    ``(1/m + 1/k) / n``.
    """
    return math.sqrt((1 / mean + 1 / k) / sets)


def crossing_share(
    days: FloatArray,
    *,
    density: float,
    threshold: float,
    log_sd: float,
    growth: GrowthRate,
) -> FloatArray:
    """Chance that a density known to an error is at its threshold or over it on later days.

    Parameters
    ----------
    days : ndarray, shape (n,)
        Days after the count, 0 or more.
    density, threshold : in one unit, above 0.
    log_sd : standard error of the logarithm of the density, see :func:`log_mean_sd`.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    ``ln N(d) = ln N + r d``, with ``ln N`` and ``r`` normal and independent; so
    ``P = Phi((ln N + rate d - ln T) / sqrt(log_sd**2 + (sd d)**2))``. It serves the cost of
    waiting, where leaf loss and words stand beside counts.
    """
    ahead = math.log(density / threshold) + growth.per_day * days
    spread = np.hypot(log_sd, growth.sd * days)
    # Without any spread the density is above or it is not.
    certain = np.where(ahead >= 0, np.inf, -np.inf)
    z = np.divide(ahead, spread, out=certain, where=spread > 0)
    return np.asarray(_CDF(z))
