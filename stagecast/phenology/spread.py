"""Ranges without random numbers: equally likely slices, and quantiles of weighted members."""

from __future__ import annotations

from functools import cache, lru_cache
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


@cache
def unrelated_order(count: int) -> NDArray[np.intp]:
    """An order of ``count`` draws that has little to do with 0, 1, 2, ...

    Two errors that have nothing to do with each other must not be paired low with low. Walking
    the draws in steps near the golden section of their number spreads them evenly; of the draws
    to start from, one is taken that leaves the least correlation. Not to be written to.
    """
    step = next(
        s
        for s in range(max(1, round(count * (np.sqrt(5.0) - 1.0) / 2.0)), count + 1)
        if np.gcd(s, count) == 1
    )
    in_order = np.arange(count)
    walks = ((in_order * step + start) % count for start in range(count))
    best = min(walks, key=lambda walk: abs(4 * int(in_order @ walk) - count * (count - 1) ** 2))
    best.setflags(write=False)
    return best


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
    times : ndarray, shape (..., members)
        May hold inf (not reached); NaN is not allowed.
    weights : ndarray, shape (members,), optional
        Likelihood of each member, not negative; default all alike.

    Returns
    -------
    ndarray, shape (..., len(probabilities))
        The earliest time by which at least that share of the weight has come.
    """
    if weights is None or (weights == weights[0]).all():
        places = _places(times.shape[-1], probabilities)
        in_order = np.partition(times, (*places, -1), axis=-1)  # as if sorted, at these places
        found = in_order[..., places]
    else:
        order = times.argsort(axis=-1, kind="stable")
        in_order = np.take_along_axis(times, order, axis=-1)
        found = _weighed(in_order, weights[order], probabilities)
    if np.isnan(in_order[..., -1]).any():  # an unknown time stands last
        raise ValueError("a time is unknown")
    return found


@lru_cache(maxsize=256)
def _places(count: int, probabilities: tuple[float, ...]) -> tuple[int, ...]:
    """Which of so many members in order, all alike, are the quantiles."""
    return tuple(_reaching(np.arange(1.0, count + 1.0), probabilities).tolist())


def _reaching(summed: FloatArray, probabilities: tuple[float, ...]) -> NDArray[np.intp]:
    """The first members, in order, up to which the sums of weights reach some shares of them."""
    # Rounding must not push a member past its own share.
    index = (summed / summed[-1]).searchsorted(np.array(probabilities) - 1e-12)
    return np.asarray(np.minimum(index, len(summed) - 1))


def _weighed(
    in_order: FloatArray, weights: FloatArray, probabilities: tuple[float, ...]
) -> FloatArray:
    """Of members in order, each row with weights of its own."""
    members = in_order.shape[-1]
    rows = zip(in_order.reshape(-1, members), weights.reshape(-1, members), strict=True)
    found = [row[_reaching(own.cumsum(), probabilities)] for row, own in rows]
    return np.array(found).reshape(*in_order.shape[:-1], len(probabilities))
