"""What a few sets say of a field's mean: the joint posterior of mean and k, on a grid.

A set of ``s`` usual sizes holds a negative binomial count of mean ``s m`` and size ``s k``. With
``S`` insects in ``N`` usual sizes the likelihood of (m, k) is::

    prod_i G(x_i + s_i k) / G(s_i k)  *  (m / (m + k))^S  *  (k / (m + k))^(N k)

G being the gamma function. Prior, flat in ln m between two means, and of k at a mean of m::

    ln k ~ Normal(ln k_usual + rise * ln(m / at), log_sd^2)

``at`` is the threshold: k_usual is what fields near threshold have, and fuller fields are more
even. No random numbers; only numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Settled = Literal["below", "near", "above"]

MEAN_CELLS, K_CELLS = 414, 28
_FUTURES, _TOGETHER = 64, 3
_SMALL, _NOTHING = 1e-3, 1e-12
_REACH = 10.0
_ALL = slice(None)


@dataclass(frozen=True, slots=True)
class Prior:
    """What is taken to be so before the sets are looked at.

    Attributes
    ----------
    k_usual : float
        Of the pest, per set of usual size, in a field at threshold.
    k_log_sd : float
        Standard deviation of ln k.
    k_rise : float
        k goes with the mean to this power: 0 none, 1 a constant ratio of variance to mean.
        In Taylor's power law b is about ``2 - k_rise``.
    mean_least, mean_most : float
        Insects per set of usual size; the mean is flat in its logarithm between them. They are
        moved outward for a threshold or a mean of the sets that is not ten times within them.
    k_least, k_most : float
        No k outside these.
    """

    k_usual: float
    k_log_sd: float
    k_rise: float
    mean_least: float
    mean_most: float
    k_least: float
    k_most: float


@dataclass(frozen=True, slots=True)
class Levels:
    """Chances of being over the threshold that part the answers."""

    below: float
    above: float


@dataclass(frozen=True, slots=True)
class Grid:
    """Middles of cells of equal width in ln m and in ln k, and what no count changes.

    Attributes
    ----------
    log_mean : ndarray, shape (m,)
    width : float
        Of a cell in ln m.
    k, log_k : ndarray, shape (k,)
    log_share : ndarray, shape (m, k)
        ``ln(m / (m + k))``.
    log_none : ndarray, shape (m, k)
        ``k ln(k / (m + k))``: log-probability of an empty set of usual size.
    """

    log_mean: FloatArray
    width: float
    k: FloatArray
    log_k: FloatArray
    log_share: FloatArray
    log_none: FloatArray


@dataclass(frozen=True, slots=True)
class Posterior:
    """Weights of the cells; they add up to 1.

    Attributes
    ----------
    grid : Grid
    joint : ndarray, shape (m, k)
    mean : ndarray, shape (m,)
        Of the mean alone.
    total, sets : float
        Insects, and usual sizes of sets, that it rests on.
    """

    grid: Grid
    joint: FloatArray
    mean: FloatArray
    total: float
    sets: float

    def over(self, level: float) -> float:
        """Chance that the mean is over a level, insects per set of usual size."""
        return float(self.mean @ over_share(self.grid, self.mean, level))

    def interval(self, probability: float) -> tuple[float, float]:
        """Equal-tailed interval of the mean; its low end is 0 where nothing was caught."""
        edges = self.grid.log_mean[0] + self.grid.width * (np.arange(MEAN_CELLS + 1) - 0.5)
        risen = np.concatenate(([0.0], np.cumsum(self.mean)))
        tail = (1.0 - probability) / 2.0
        low, high = np.exp(np.interp([tail, 1.0 - tail], risen, edges))
        return (float(low) if self.total > 0.0 else 0.0), float(high)


@cache
def grid_of(prior: Prior) -> Grid:
    """The grid of a prior's means and k."""
    log_mean, width = _middles(prior.mean_least, prior.mean_most, MEAN_CELLS)
    log_k, _ = _middles(prior.k_least, prior.k_most, K_CELLS)
    k, mean = np.exp(log_k), np.exp(log_mean)[:, None]
    return Grid(log_mean, width, k, log_k, -np.log1p(k / mean), -k * np.log1p(mean / k))


def posterior(
    counts: Sequence[float],
    *,
    at: float,
    prior: Prior,
    shares: Sequence[float] | None = None,
) -> Posterior:
    """The posterior of mean and k.

    Parameters
    ----------
    counts : sequence of float
        Insects in each set, not negative; need not be whole where species are weighted.
    at : float
        Mean per set of usual size that ``k_usual`` belongs to: the threshold where there is one.
    prior : Prior
    shares : sequence of float, optional
        Size of each set as a share of the usual one (10 sweeps of 25: 0.4); default all 1.

    Raises
    ------
    ValueError
        No set, a negative count, a set without size, a level that is not positive.
    """
    caught, sizes = _sets(counts, shares)
    if not 0.0 < at < math.inf:
        raise ValueError("a threshold is positive")
    total, sets = float(caught.sum()), float(sizes.sum())
    prior = _reaching(prior, at, total / sets)
    grid = grid_of(prior)
    ways = _log_ways(caught[None], sizes, grid.k)[0]
    joint = _weights(total, ways, grid, sets * grid.log_none + _log_prior(prior, at), _ALL)
    joint /= joint.sum()
    return Posterior(grid, joint, joint.sum(axis=1), total, sets)


def chance_over(
    counts: Sequence[float],
    *,
    threshold: float,
    prior: Prior,
    shares: Sequence[float] | None = None,
) -> float:
    """Chance that the field's mean is over its threshold: more insects hardly ever lower it.

    The least of the posterior's chance and of its chances when the emptier sets are filled up to
    one level (see `fill_levels`). Without this a field of 0, 0, 7, 7 would look likelier to be
    over 9 than one of 5, 5, 7, 7, because uneven sets leave more room for a small k. What is left:
    one insect more may lower it by two thousandths, and the first insect in empty sets by three
    hundredths, where both chances are under five.
    """
    caught, sizes = _sets(counts, shares)
    prior = _reaching(prior, threshold, float(caught.sum() / sizes.sum()))
    grid = grid_of(prior)
    fixed = float(sizes.sum()) * grid.log_none + _log_prior(prior, threshold)
    levels = np.array([0.0, *fill_levels(caught / sizes, threshold)])
    filled = np.maximum(caught, levels[:, None] * sizes)
    ways = _log_ways(filled, sizes, grid.k)
    # Between the least filled and the most filled nothing lies outside of the rows of these two.
    ends = dict.fromkeys((0, len(levels) - 1))
    least, first, last = 1.0, MEAN_CELLS, 0
    for at in [*ends, *(at for at in range(len(levels)) if at not in ends)]:
        rows = _ALL if at in ends else slice(first, last)
        mean = np.zeros(MEAN_CELLS)
        weight = _weights(float(filled[at].sum()), ways[at], grid, fixed, rows)
        mean[rows] = weight.sum(axis=1)
        least = min(least, float(mean @ over_share(grid, mean, threshold) / mean.sum()))
        if at in ends:
            some = np.flatnonzero(mean > _NOTHING * mean.max())
            first, last = min(first, int(some[0])), max(last, int(some[-1]) + 1)
    return least


def _weights(
    total: float, ways: FloatArray, grid: Grid, fixed: FloatArray, rows: slice
) -> FloatArray:
    """Weights of the cells of some means, the largest 1; ``fixed`` is what no count changes."""
    log_weight = total * grid.log_share[rows]
    log_weight += fixed[rows]
    log_weight += ways
    log_weight -= log_weight.max()
    return np.asarray(np.exp(log_weight, out=log_weight))


def fill_levels(rates: FloatArray, threshold: float) -> list[float]:
    """Insects per usual size to which emptier sets are filled, below the threshold.

    By quarters to 2, halves to 4, ones to 12, then a third more each time: a ladder that no count
    and no threshold moves. Levels that fill no set are left out, and so are those beyond the first
    that fills all: an even field with more in it is only likelier to be over.
    """
    ladder, level = [], 0.25
    least, most = float(rates.min()), float(rates.max())
    while least < most and level < threshold:
        if level > least:
            ladder.append(level)
        if level >= most:
            break
        level = _next_level(level)
    return ladder


def _next_level(level: float) -> float:
    for most, step in ((2.0, 0.25), (4.0, 0.5), (12.0, 1.0)):
        if level < most:
            return level + step
    return float(math.floor(level * 4.0 / 3.0))


def answer_of(chance: float, *, mean: float, threshold: float, levels: Levels) -> Settled:
    """Below, near or above; a mean at the threshold or over it is at least near.

    Where nothing was found it is at most near, however small the threshold.
    """
    if chance >= levels.above:
        return "above" if mean > 0.0 else "near"
    return "below" if chance <= levels.below and mean < threshold else "near"


def settled_share(now: Posterior, *, more: int, threshold: float, levels: Levels) -> float:
    """In how many of such fields some more sets of usual size would end in below or above.

    Parameters
    ----------
    now : Posterior
    more : int
        Sets of usual size still to take.
    threshold : float
    levels : Levels

    Returns
    -------
    float
        0 to 1.

    Notes
    -----
    Judged by the posterior's chance alone, without the filling of `chance_over`. 64 fields that
    the posterior holds likely, at evenly spread quantiles of mean and k, each with counts at evenly
    spread quantiles of its negative binomial (the additive sequence of the generalised golden
    ratio, one number per coordinate). Same sets, same answer.
    """
    grid, broad = now.grid, _broad(now, threshold)
    points = _spread(_FUTURES, 2 + more)
    rows = np.searchsorted(np.cumsum(now.mean), points[:, 0]).clip(0, MEAN_CELLS - 1)
    of_k = np.cumsum(now.joint[rows], axis=1)
    columns = (of_k < points[:, 1:2] * of_k[:, -1:]).sum(axis=1).clip(0, K_CELLS - 1)
    caught = _quantiles(points[:, 2:], np.exp(grid.log_mean[rows]), grid.k[columns])
    totals = caught.sum(axis=1)
    log_weight = totals[:, None] * broad.log_share
    log_weight += broad.log_weight + more * broad.log_none
    log_weight += _log_ways(caught, np.ones(more), grid.k)[:, broad.column]
    log_weight -= log_weight.max(axis=1, keepdims=True)
    weight = np.exp(log_weight, out=log_weight)
    chance = (weight @ broad.over) / weight.sum(axis=1)
    mean = (now.total + totals) / (now.sets + more)
    settled = (chance >= levels.above) | ((chance <= levels.below) & (mean < threshold))
    return float(settled.mean())


@dataclass(frozen=True, slots=True)
class _Broad:
    """The likely cells of a posterior, three of the mean taken together; all of shape (cells,)."""

    column: NDArray[np.intp]
    log_weight: FloatArray
    log_share: FloatArray
    log_none: FloatArray
    over: FloatArray


def _broad(now: Posterior, threshold: float) -> _Broad:
    part = now.joint * over_share(now.grid, now.mean, threshold)[:, None]
    whole = now.joint.reshape(-1, _TOGETHER, K_CELLS).sum(axis=1)
    over = part.reshape(-1, _TOGETHER, K_CELLS).sum(axis=1)
    row, column = np.nonzero(whole > _SMALL * whole.max())
    middle, weight = row * _TOGETHER + _TOGETHER // 2, whole[row, column]
    share, none = now.grid.log_share[middle, column], now.grid.log_none[middle, column]
    return _Broad(column, np.log(weight), share, none, over[row, column] / weight)


def over_share(grid: Grid, mean: FloatArray, level: float) -> FloatArray:
    """Share of each cell of ln m that lies over a level, its density a straight line; shape (m,).

    In the cell that holds the level, at share f of its width and weight w, with neighbours that
    differ by 2 g: ``(1 - f) + g f (1 - f) / (2 w)``, where g is kept within 2 w.
    """
    place = (math.log(level) - grid.log_mean[0]) / grid.width + 0.5
    cell = math.floor(place)
    share: FloatArray = (np.arange(MEAN_CELLS) > cell).astype(np.float64)
    if 0 <= cell < MEAN_CELLS:
        part, weight = place - cell, float(mean[cell])
        before, after = float(mean[max(cell - 1, 0)]), float(mean[min(cell + 1, MEAN_CELLS - 1)])
        slope = max(-2.0, min(2.0, (after - before) / 2.0 / weight)) if weight > 0.0 else 0.0
        share[cell] = (1.0 - part) + slope * part * (1.0 - part) / 2.0
    return share


def log_gamma(x: FloatArray) -> FloatArray:
    """Ln G(x) of positive numbers to about 1e-11: Stirling's series at x + 8, stepped down."""
    z = x + 8.0
    steps = np.log(x * (x + 1) * (x + 2) * (x + 3)) + np.log((x + 4) * (x + 5) * (x + 6) * (x + 7))
    i2 = 1.0 / (z * z)
    series = (1 / 12 - i2 * (1 / 360 - i2 * (1 / 1260 - i2 / 1680))) / z
    return np.asarray((z - 0.5) * np.log(z) - z + 0.5 * math.log(2 * math.pi) + series - steps)


def _sets(
    counts: Sequence[float] | FloatArray, shares: Sequence[float] | FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    caught = np.asarray(counts, dtype=np.float64)
    sizes = np.ones(len(caught)) if shares is None else np.asarray(shares, dtype=np.float64)
    if not len(caught) or len(sizes) != len(caught):
        raise ValueError("some set was taken, and each has a size and a count")
    if not (np.isfinite(caught) & (caught >= 0.0)).all() or not (sizes > 0.0).all():
        raise ValueError("a count is not negative, and a set has a size")
    return caught, sizes


def _log_ways(caught: FloatArray, sizes: FloatArray, k: FloatArray) -> FloatArray:
    """Sum over the sets of ``ln G(x + s k) - ln G(s k)``: (fields, sets) to (fields, k)."""
    size = sizes[:, None] * k
    each = log_gamma(caught[:, :, None] + size) - log_gamma(size)
    return np.asarray(each.sum(axis=1))


def _reaching(prior: Prior, *means: float) -> Prior:
    """The prior, its means reaching well beyond each of some: by whole powers of ten."""
    some = [mean for mean in means if mean > 0.0]
    least = 10.0 ** math.floor(math.log10(min(some) / _REACH))
    most = 10.0 ** math.ceil(math.log10(max(some) * _REACH))
    if prior.mean_least <= least and most <= prior.mean_most:
        return prior
    least, most = min(prior.mean_least, least), max(prior.mean_most, most)
    return replace(prior, mean_least=least, mean_most=most)


@lru_cache(maxsize=64)
def _log_prior(prior: Prior, at: float) -> FloatArray:
    grid = grid_of(prior)
    usual = math.log(prior.k_usual) + prior.k_rise * (grid.log_mean - math.log(at))
    return np.asarray(-0.5 * ((grid.log_k - usual[:, None]) / prior.k_log_sd) ** 2)


def _middles(low: float, high: float, cells: int) -> tuple[FloatArray, float]:
    width = math.log(high / low) / cells
    return np.asarray(math.log(low) + width * (np.arange(cells) + 0.5), dtype=np.float64), width


def _spread(points: int, dimensions: int) -> FloatArray:
    """Points spread evenly over the unit cube, shape (points, dimensions)."""
    base = 2.0
    for _ in range(40):  # the positive root of base^(d+1) = base + 1
        base = (1.0 + base) ** (1.0 / (dimensions + 1))
    steps = base ** -np.arange(1.0, dimensions + 1)
    spread = (0.5 + np.arange(1.0, points + 1)[:, None] * steps) % 1.0
    spread[:, 0] = (np.arange(points) + 0.5) / points
    return spread


def _ladder() -> tuple[FloatArray, FloatArray]:
    """Counts looked at, one by one to 24 and then by a tenth, and how many each stands for."""
    counts, widths, low = [], [], 0
    while low < 200_000:
        wide = 1 if low < 24 else low // 10
        counts.append(low + (wide - 1) / 2)
        widths.append(wide)
        low += wide
    return np.asarray(counts, dtype=np.float64), np.asarray(widths, dtype=np.float64)


_COUNTS, _WIDTHS = _ladder()
_LOG_FACTORIAL = log_gamma(_COUNTS + 1.0)


def _quantiles(chances: FloatArray, mean: FloatArray, k: FloatArray) -> FloatArray:
    """Counts at quantiles of a negative binomial of each row; both of shape (fields, sets)."""
    m, size = mean[:, None], k[:, None]
    terms = log_gamma(_COUNTS + size) - log_gamma(size) - _LOG_FACTORIAL
    terms = terms - size * np.log1p(m / size) - _COUNTS * np.log1p(size / m)
    risen = np.cumsum(_WIDTHS * np.exp(terms), axis=1)
    risen /= risen[:, -1:]
    places = (risen[:, None, :] < chances[:, :, None]).sum(axis=2)
    return np.asarray(np.round(_COUNTS[places.clip(0, len(_COUNTS) - 1)]))
