"""How a density goes on from a count, and the day from which it may be above a threshold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

_NORMAL = NormalDist()
_CDF = np.vectorize(_NORMAL.cdf, otypes=[np.float64])


@dataclass(frozen=True, slots=True)
class GrowthRate:
    """Relative growth of a density per day, and its standard deviation.

    The same rate holds on all days to come, only it is not known which it is.
    """

    per_day: float
    sd: float


def log_mean_sd(mean: float, *, k: float, sets: float) -> float:
    """Standard error of the natural logarithm of a mean of counts per set, from so many sets.

    The delta method: ``var(ln m) = s**2 / (n m**2)`` with ``s**2 = m + m**2 / k``, that is
    ``(1/m + 1/k) / n``; k of the negative binomial per set, inf for counts at random.
    """
    return math.sqrt((1 / mean + 1 / k) / sets)


def crossing_share(
    days: NDArray[np.float64],
    *,
    density: float,
    threshold: float,
    log_sd: float,
    growth: GrowthRate,
) -> NDArray[np.float64]:
    """Probability that the density is at its threshold or above, so many days after the count.

    ``days`` and the answer have the shape (n,); density and threshold are in one unit, ``log_sd``
    is the standard error of the logarithm of the density.

    Notes
    -----
    ``ln N(d) = ln N + r d``, with ``ln N`` and ``r`` normal and independent; so
    ``P = Phi((ln N + rate d - ln T) / sqrt(log_sd**2 + (sd d)**2))``.

    Larvae do not multiply within a generation: what grows is the number of those large enough to
    count and to hurt. The one stated rate stands for both; no degree-days take part.
    """
    ahead = math.log(density / threshold) + growth.per_day * days
    spread = np.hypot(log_sd, growth.sd * days)
    # Without any spread the density is above or it is not.
    certain = np.where(ahead >= 0, np.inf, -np.inf)
    z = np.divide(ahead, spread, out=certain, where=spread > 0)
    return np.asarray(_CDF(z))


@dataclass(frozen=True, slots=True)
class CrossingDay:
    """Whole days after a count, and how likely the density is above its threshold by then."""

    days: int
    probability: float


def first_crossing(
    *,
    density: float,
    threshold: float,
    log_sd: float,
    growth: GrowthRate,
    probability: float,
    furthest: int,
) -> CrossingDay | None:
    """The first day after a count on which the density is above its threshold with a probability.

    None where that is not within ``furthest`` days; also for a density of 0: nothing grows from
    nothing, and what flies in is not known.
    """
    if density <= 0:
        return None
    shares = crossing_share(
        np.arange(furthest + 1, dtype=np.float64),
        density=density,
        threshold=threshold,
        log_sd=log_sd,
        growth=growth,
    )
    above = np.flatnonzero(shares >= probability)
    return CrossingDay(int(above[0]), float(shares[above[0]])) if above.size else None
