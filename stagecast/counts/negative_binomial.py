"""Counts of insects as the negative binomial has them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

MOST_SCANNED = 100_000
"""Largest count up to which every term is added up; beyond it, see `at_most_of_many`."""
_LARGE_SHAPE, _STEPS = 10_000.0, 5_000

FloatArray = NDArray[np.float64]


def log_pmf(counts: ArrayLike, mean: float, *, k: float) -> FloatArray:
    """Natural logarithm of the probability of each count, in the shape of ``counts``.

    With r = k: ``log prod_{j<x} (1 + j/r) - log x! + x log(m / (1 + m/r)) - r log(1 + m/r)``, which
    has the Poisson distribution (k inf) as its limit without loss of digits. ValueError for a count
    that is broken or negative, a negative mean, a k that is not positive.
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


_GRID = 61
"""Points searched for k, twice: neighbours of the second search differ by less than 1 percent."""
_CLOSE = 1e-10
"""Between the logarithms of a limit's bounds when it counts as found."""
_TAIL_SD, _TAIL_MEAN = 20.0, 1000.0
"""Where the sum over counts ends; and the mean beyond which a set says no more about k."""


@dataclass(frozen=True, slots=True)
class Pooled:
    """Sets of any size as so many of usual size: a total has mean sets * m, size sets * k."""

    sets: float
    k: float


@dataclass(frozen=True, slots=True)
class KEstimate:
    """k of the negative binomial per set of usual size, and where it comes from.

    ``own_sets`` of the field had a say in it, with the weight ``weight_of_own`` among all, the
    imagined ones behind the usual k included; ``assumed`` where they say nothing (fewer than two,
    or all empty).
    """

    k: float
    own_sets: int
    weight_of_own: float
    assumed: bool


def pooled(shares: Sequence[float], *, k: float) -> Pooled:
    """Take sets of any size together, as so many sets of usual size with a k of their own.

    ``shares`` are sizes as shares of the usual one (10 sweeps of 25: 0.4), ``k`` is of a set of
    usual size. ValueError without a set, or for one without size.

    Notes
    -----
    A set of share s has mean s m. Its clumping is between two extremes: clumps much smaller than
    a set, so that it has size s k, or clumps as large as a field's corner, so that all of it is
    one draw of size k. Of the two the one that says less is taken, ``k min(s, 1)``: a long set at
    one place is no two places, and a short one tells less. The total then has mean ``m sum(s)``
    and variance ``m sum(s) + m^2/k sum(max(s, s^2))``, and is taken as negative binomial with
    these: exact when no set is longer than usual or all are alike. A choice of this project.
    """
    sizes = _sizes(shares)
    if not len(sizes):
        raise ValueError("no set was taken")
    sets = float(sizes.sum())
    return Pooled(sets=sets, k=k * sets / float(np.maximum(sizes, sizes**2).sum()))


def estimate_k(
    counts: Sequence[float],
    *,
    k_usual: float,
    prior_sets: float,
    k_least: float,
    k_most: float,
    shares: Sequence[float] | None = None,
) -> KEstimate:
    """Estimate k from a field's own sets, drawn towards the usual one on a logarithmic scale.

    Parameters
    ----------
    counts : sequence of float
        Insects in each set; need not be whole where species are weighted.
    prior_sets : float
        The usual k weighs as much as so many sets of the field.
    k_least, k_most : float
        The estimate is kept between these.
    shares : sequence of float, optional
        Size of each set as a share of the usual one; default all 1.

    Raises
    ------
    ValueError
        A negative count, shares that do not go with the counts, or bounds that hold no k.

    Notes
    -----
    The k that maximises ``l(k) - 1/2 log i_m(k) - 1/2 prior_sets I (log k - log k_usual)^2``:
    the log-likelihood at the observed mean; Cox and Reid's adjustment for having estimated that
    mean from the same few sets, ``i_m`` being the information on it; and the assumption, ``I``
    being the information that one set of usual size with this mean and the usual k has on log k,
    ``k^2 (sum_j P(X > j) / (k + j)^2 - m / (k (k + m)))``. Where few insects are caught a set
    says next to nothing about k, whichever way it falls; both sides shrink alike.
    """
    caught = np.asarray(counts, dtype=np.float64)
    sizes = np.ones(len(caught)) if shares is None else _sizes(shares)
    if len(sizes) != len(caught) or not (caught >= 0.0).all() or not np.isfinite(caught).all():
        raise ValueError("each set has a size and a count, which is not negative")
    if not 0.0 < k_least <= k_usual <= k_most < math.inf or not prior_sets >= 0.0:
        raise ValueError("the usual k is positive and between the least and the most")
    if len(caught) < 2 or not caught.any():
        return KEstimate(k=k_usual, own_sets=0, weight_of_own=0.0, assumed=True)
    mean = float(caught.sum() / sizes.sum())
    pull = prior_sets * _information(min(mean, _TAIL_MEAN), k_usual)

    def height(log_k: FloatArray) -> FloatArray:
        fit = _adjusted_likelihood(caught, sizes, mean, np.exp(log_k))
        return np.asarray(fit - 0.5 * pull * (log_k - math.log(k_usual)) ** 2)

    best = _highest(height, math.log(k_least), math.log(k_most))
    own = len(caught)
    return KEstimate(
        k=min(max(math.exp(best), k_least), k_most),
        own_sets=own,
        weight_of_own=own / (own + prior_sets),
        assumed=False,
    )


def mean_interval(
    total: float, sets: float, *, k: float, probability: float
) -> tuple[float, float]:
    """Equal-tailed interval for the mean per set of usual size, from both tails of the total.

    ``total`` insects were in ``sets`` of usual size (see `pooled`); one that is not whole is
    rounded outwards. The lower end is 0 when nothing was caught; the upper is huge, up to inf,
    where one set of strongly clumped insects says nothing about what is elsewhere. ValueError
    outside the bounds.

    Notes
    -----
    ``low`` solves P(X >= total) = a/2 and ``high`` P(X <= total) = a/2, a = 1 - probability. With
    the true k it covers the true mean at least as often as it says, more often where totals are
    small because counts are whole. With an estimated k that is no longer certain.
    """
    _check_sample(total, sets, k)
    if not 0.0 < probability < 1.0:
        raise ValueError("a probability between 0 and 1")
    tail, size = (1.0 - probability) / 2.0, sets * k
    below, most = at_most(math.floor(total) - 1, size), at_most(math.ceil(total), size)
    low = 0.0 if total < 1.0 else _mean_at(below, 1.0 - tail, start=total)
    return low / sets, _mean_at(most, tail, start=max(total, 1.0)) / sets


def probability_above(total: float, sets: float, *, k: float, threshold: float) -> float:
    """How sure the sets make one that the mean per set is above a threshold, 0 to 1.

    ``threshold`` is in insects per set of usual size; the rest as in `mean_interval`, but a total
    that is not whole is taken between its neighbours. Rises with the total.

    Notes
    -----
    ``P(X < total) + P(X = total) / 2`` at a mean of ``threshold``: the confidence distribution
    that belongs to `mean_interval`, halfway between the one of its lower and the one of its upper
    limit. No prior has to be believed, it stays near what Jeffreys' prior gives, and where the
    interval lies wholly above the threshold this is above ``1 - a/2``. A flat prior on the root
    of the mean was not taken: it has no posterior where ``sets * k`` is at most a half.
    """
    _check_sample(total, sets, k)
    if not 0.0 < threshold < math.inf:
        raise ValueError("a threshold is positive")
    mean, size = threshold * sets, sets * k
    if total > MOST_SCANNED:
        return at_most_of_many(total, mean, k=size)
    whole = math.floor(total)
    terms = np.exp(log_terms(coefficients(whole + 1, size), mean, size))
    middle = np.cumsum(terms) - terms / 2.0
    sure = float(middle[whole] + (total - whole) * (middle[whole + 1] - middle[whole]))
    return min(max(sure, 0.0), 1.0)


def sets_for_precision(mean: float, k: float, relative_se: float) -> float:
    """Sets for a standard error of ``relative_se`` times the mean: ``(1/m + 1/k) / D^2``.

    ``mean`` in insects per set; ``k`` inf for Poisson; ``relative_se`` as a share (0.25). The
    number is not rounded. Raises ValueError for what is not positive.
    """
    _check_positive(mean, k, relative_se)
    return (1.0 / mean + 1.0 / k) / relative_se**2


def _check_sample(total: float, sets: float, k: float) -> None:
    if not 0.0 <= total < math.inf or not 0.0 < sets < math.inf or not k > 0.0:
        raise ValueError("a total is not negative, some set was taken, and k is positive")


def _check_positive(*values: float) -> None:
    if not all(value > 0.0 for value in values):
        raise ValueError("mean, clumping and precision are positive")


def _sizes(shares: Sequence[float]) -> FloatArray:
    sizes = np.asarray(shares, dtype=np.float64)
    if not ((sizes > 0.0) & np.isfinite(sizes)).all():
        raise ValueError("a set has a size")
    return sizes


def _mean_at(below: Callable[[float], float], probability: float, *, start: float) -> float:
    """The mean at which a falling probability passes a value: by halving on the log scale."""
    low = high = math.log(start)
    step = 1.0
    while below(math.exp(low)) <= probability:
        low, step = low - step, 2.0 * step
    step = 1.0
    while below(math.exp(high)) >= probability:
        high, step = high + step, 2.0 * step
        if high > math.log(np.finfo(np.float64).max):
            return math.inf
    while high - low > _CLOSE:
        middle = (low + high) / 2.0
        low, high = (middle, high) if below(math.exp(middle)) > probability else (low, middle)
    return math.exp((low + high) / 2.0)


_log_gamma = np.frompyfunc(math.lgamma, 1, 1)


def _adjusted_likelihood(
    caught: FloatArray, sizes: FloatArray, mean: float, k: FloatArray
) -> FloatArray:
    """Log-likelihood of each k at the mean, adjusted for the mean's having been estimated."""
    r = k[:, None] * np.minimum(sizes, 1.0)
    m = sizes * mean
    ways = np.asarray(_log_gamma(r + caught) - _log_gamma(r), dtype=np.float64)
    fit = ways - r * np.log1p(m / r) + caught * np.log(m / (r + m))
    on_mean = (sizes**2 / (m + m**2 / r)).sum(axis=1)
    return np.asarray(fit.sum(axis=1) - 0.5 * np.log(on_mean))


def _information(mean: float, k: float) -> float:
    """Fisher information on log k of one set."""
    most = math.ceil(mean + _TAIL_SD * math.sqrt(mean + mean**2 / k)) + 1
    more = 1.0 - np.cumsum(np.exp(log_terms(coefficients(most, k), mean, k)))
    sums = float((np.maximum(more, 0.0) / (k + np.arange(most + 1)) ** 2).sum())
    return max(0.0, k**2 * (sums - mean / (k * (k + mean))))


def _highest(height: Callable[[FloatArray], FloatArray], low: float, high: float) -> float:
    """Where a function is highest: on a grid, and on a finer one round its best point."""
    for _ in range(2):
        grid = np.linspace(low, high, _GRID)
        best = int(np.argmax(height(grid)))
        low, high = grid[max(best - 1, 0)], grid[min(best + 1, _GRID - 1)]
    return float(grid[best])
