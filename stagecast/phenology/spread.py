"""Ranges without random numbers: equally likely slices, and quantiles of weighted members."""

from __future__ import annotations

from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray


def normal_draws(count: int) -> FloatArray:
    """Middles of ``count`` equally likely slices of a standard normal distribution.

    No random numbers: the same forecast twice gives the same range.
    """
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])


def unrelated_order(count: int) -> NDArray[np.intp]:
    """An order of ``count`` draws that has little to do with 0, 1, 2, ...

    Two errors that have nothing to do with each other must not be paired low with low. Walking
    the draws in steps near the golden section of their number spreads them evenly; of the draws
    to start from, one is taken that leaves the least correlation.
    """
    step = next(
        s
        for s in range(max(1, round(count * (np.sqrt(5.0) - 1.0) / 2.0)), count + 1)
        if np.gcd(s, count) == 1
    )
    in_order = np.arange(count)
    walks = ((in_order * step + start) % count for start in range(count))
    return min(walks, key=lambda walk: abs(4 * int(in_order @ walk) - count * (count - 1) ** 2))


@cache
def unrelated_normals(count: int, columns: int, seed: int) -> FloatArray:
    """Standard normal numbers, shape (count, columns), the same ones for the same seed.

    Each column holds the middles of ``count`` equally likely slices, shuffled; not to be written
    to.
    """
    random = np.random.default_rng(seed)
    slices = normal_draws(count)
    numbers = np.empty((count, columns))
    for column in range(columns):
        numbers[:, column] = random.permutation(slices)
    numbers.setflags(write=False)
    return numbers


def quantile_days(
    times: FloatArray, probabilities: tuple[float, ...], weights: FloatArray | None = None
) -> FloatArray:
    """Quantiles over members, never interpolated: each is the time of some member.

    Parameters
    ----------
    times : ndarray, shape (members,)
        May hold inf (not reached); NaN is not allowed.
    weights : ndarray, shape (members,), optional
        Likelihood of each member, not negative; default all alike.

    Returns
    -------
    ndarray, shape (len(probabilities),)
        The earliest time by which at least that share of the weight has come.
    """
    if weights is None or (weights == weights[0]).all():
        in_order, share = np.sort(times), np.arange(1.0, len(times) + 1.0)
    else:
        order = times.argsort(kind="stable")
        in_order, share = times[order], weights[order].cumsum()
    if np.isnan(in_order[-1]):  # an unknown time stands last
        raise ValueError("a time is unknown")
    share /= share[-1]
    # Rounding must not push a member past its own share.
    index = share.searchsorted(np.array(probabilities) - 1e-12)
    return np.asarray(in_order[np.minimum(index, len(times) - 1)], dtype=np.float64)
