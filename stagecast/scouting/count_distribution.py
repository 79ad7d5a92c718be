"""The distribution of counts that clump: the negative binomial.

Insects in sets of sweeps clump, so their counts vary more than chance alone would have it. A set
of usual size holds X with mean m and variance m + m^2/k; k is small where insects clump, and
k = inf is the Poisson distribution of insects strewn at random.

References
----------
Bliss, C.I., Fisher, R.A. 1953. Biometrics 9:176-200 (negative binomial for counts of animals).
Bibliography MEMORY; tested against an independent implementation.

"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

MOST_SCANNED = 100_000
"""Largest count up to which every term is added up; beyond it, see `at_most_of_many`."""
_LARGE_SHAPE, _STEPS = 10_000.0, 5_000

FloatArray = NDArray[np.float64]


def log_pmf(counts: ArrayLike, mean: float, *, k: float) -> FloatArray:
    """Natural logarithm of the probability of each count.

    Parameters
    ----------
    counts : array_like of int
        Not negative, any shape.
    mean : float
        Not negative.
    k : float
        Positive; inf is the Poisson distribution.

    Returns
    -------
    ndarray, shape of ``counts``

    Raises
    ------
    ValueError
        A negative or broken count, a negative mean, a k that is not positive.

    Notes
    -----
    With r = k: ``log prod_{j<x} (1 + j/r) - log x! + x log(m / (1 + m/r)) - r log(1 + m/r)``,
    which has the Poisson distribution as its limit without loss of digits.
    """
    _check(mean, k)
    given = np.asarray(counts)
    whole = given.astype(np.int64)
    if (whole != given).any() or (whole < 0).any():
        raise ValueError("counts are whole numbers and not negative")
    table = log_terms(coefficients(int(whole.max(initial=0)), k), mean, k)
    return np.asarray(table[whole], dtype=np.float64)


def cdf(count: float, mean: float, *, k: float) -> float:
    """Probability of at most ``count`` insects; a broken count is rounded down.

    ``mean`` and ``k`` as in `log_pmf`. Exact to about 1e-12, absolutely.
    """
    _check(mean, k)
    return at_most(math.floor(count), k)(mean)


def sf(count: float, mean: float, *, k: float) -> float:
    """Probability of more than ``count`` insects: ``1 - cdf``."""
    return 1.0 - cdf(count, mean, k=k)


def coefficients(most: int, k: float) -> FloatArray:
    """What does not depend on the mean in the log-probabilities of 0 to ``most``."""
    below = np.arange(most, dtype=np.float64)
    steps = np.log1p(below / k) - np.log(below + 1.0)
    return np.concatenate(([0.0], np.cumsum(steps)))


def log_terms(fixed: FloatArray, mean: float, k: float) -> FloatArray:
    """Log-probabilities of 0, 1, 2, ... at a mean."""
    if mean == 0.0:
        return np.where(np.arange(len(fixed)) == 0, 0.0, -np.inf)
    none = -mean if math.isinf(k) else -k * math.log1p(mean / k)
    each = math.log(mean) - math.log1p(mean / k)
    return fixed + np.arange(len(fixed)) * each + none


def at_most(count: int, k: float) -> Callable[[float], float]:
    """P(X <= count) as a function of the mean, which it falls with."""
    if count < 0:
        return lambda _mean: 0.0
    if count > MOST_SCANNED:
        return lambda mean: at_most_of_many(count + 0.5, mean, k=k)
    fixed = coefficients(count, k)
    return lambda mean: min(1.0, float(np.exp(log_terms(fixed, mean, k)).sum()))


def at_most_of_many(count: float, mean: float, *, k: float) -> float:
    """P(X <= count) where counts are so many that it matters not that they are whole.

    The gamma distribution of the same mean and variance, of shape ``a = 1 / (1/m + 1/k)``. Takes
    no longer for a larger count. Where a is large, by the cube root of Wilson, E.B., Hilferty,
    M.M. 1931, Proc. Natl. Acad. Sci. 17:684-688 (MEMORY).
    """
    if mean <= 0.0:
        return 1.0
    shape = 1.0 / (1.0 / mean + 1.0 / k)
    x = shape * (count / mean)
    if shape > _LARGE_SHAPE:
        z = 3.0 * math.sqrt(shape) * (math.cbrt(x / shape) - 1.0 + 1.0 / (9.0 * shape))
        return 0.5 * math.erfc(-z / math.sqrt(2.0))
    return _gamma_at_most(x, shape)


def _gamma_at_most(x: float, shape: float) -> float:
    """The regularised lower incomplete gamma function: its series, or its continued fraction."""
    if x <= 0.0 or math.isinf(x):
        return float(x > 0.0)
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1.0:
        term = total = 1.0 / shape
        for step in range(1, _STEPS):
            term *= x / (shape + step)
            total += term
            if term < total * np.finfo(np.float64).eps:
                break
        return min(1.0, front * total)
    fraction = 0.0  # from far inside outwards, so that nothing overflows
    for step in range(_STEPS, 0, -1):
        fraction = step * (step - shape) / (x + 2 * step + 1.0 - shape - fraction)
    return max(0.0, 1.0 - front / (x + 1.0 - shape - fraction))


def _check(mean: float, k: float) -> None:
    if not 0.0 <= mean < math.inf or not k > 0.0:
        raise ValueError("a mean is not negative, and k is positive")
