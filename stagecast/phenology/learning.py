"""Learning from a stage seen in a field: members that fit what was seen count for more.

A field is in a stage when at least half of its plants are in it or beyond (Fehr and Caviness
1977). An observation is read as "the stage had come, and the next had not", with an error of
staging; a share of plants says more closely how far the field is from half. That no plant was in
the stage says that it was some days off, and that every plant was, that it came some days ago.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from stagecast.base.units import FloatArray
from stagecast.phenology.spread import quantile_days

_HARDLY_ANY = 0.05  # of the plants, where none is found among the few dozen looked at
_STEP = 1.1  # fineness of the search for an error; a matter of arithmetic


@dataclass(frozen=True, slots=True)
class StageSeen:
    """A stage seen on a day.

    Attributes
    ----------
    time : float
        Fractional days; midday of the day of the visit.
    share : float or None
        Share of plants in the stage or beyond, 0 to 1; None where only "the field is in it".
    sd_days : float
        Error of the observation, as it applies to the field learning from it.
    """

    time: float
    share: float | None
    sd_days: float


def half_time(time: float, share: float, *, plant_sd_days: float) -> float:
    """When half of the plants reached a stage that a share of them had reached at ``time``.

    The share lies between none and all of the plants, which tell no time.
    """
    return time - NormalDist().inv_cdf(share) * plant_sd_days


def likelihood(
    seen: StageSeen, begins: FloatArray, ends: FloatArray, *, plant_sd_days: float
) -> FloatArray:
    """How well each member fits an observation.

    Parameters
    ----------
    begins, ends : ndarray, shape (members,)
        Times at which half of the plants reach the stage, and the one after it; inf where never.
    plant_sd_days : float
        Standard deviation between plants of a field, days.

    Returns
    -------
    ndarray, shape (members,)
        Between 0 and 1.

    Notes
    -----
    Without a share, ``Phi((t - begins)/sd) - Phi((t - ends)/sd)``. With a share p of plants in
    the stage, half of them reach it at ``t - z(p) plant_sd``, and the likelihood is the normal
    density there, relative to its peak. None and all of the plants are one in twenty more or
    less, and tell one side only: half of them will be in the stage after that time, or were in it
    before.
    """
    if seen.share == 0.0:
        soonest = half_time(seen.time, _HARDLY_ANY, plant_sd_days=plant_sd_days)
        return _cdf((begins - soonest) / seen.sd_days)
    if seen.share is None or seen.share == 1.0:
        latest = seen.time
        if seen.share is not None:
            latest = half_time(seen.time, 1.0 - _HARDLY_ANY, plant_sd_days=plant_sd_days)
        started = _cdf((latest - begins) / seen.sd_days)
        finished = _cdf((seen.time - ends) / seen.sd_days)
        return np.asarray(np.maximum(started - finished, 0.0))
    half = half_time(seen.time, seen.share, plant_sd_days=plant_sd_days)
    density: FloatArray = np.exp(-0.5 * ((half - begins) / seen.sd_days) ** 2)
    return density


def _cdf(z: FloatArray) -> FloatArray:
    """Of the standard normal distribution; numpy has no erf, and this is asked most of all."""
    erf = np.fromiter(map(math.erf, (z / math.sqrt(2.0)).tolist()), np.float64, len(z))
    return np.asarray(0.5 * (1.0 + erf))


def reweighted(
    weights: FloatArray,
    fit: FloatArray,
    named: FloatArray,
    *,
    probabilities: tuple[float, ...],
    in_dates: bool = True,
) -> FloatArray:
    """Weights after an observation, tempered so that it never widens the stage it names.

    Parameters
    ----------
    weights : ndarray, shape (members,)
        Before; they sum to 1.
    fit : ndarray, shape (members,)
        From :func:`likelihood`.
    named : ndarray, shape (members,)
        Times of the stage that was named.
    probabilities : tuple of float
        The ends of the range that must not widen come first and last.
    in_dates : bool
        Whether the range must not widen in whole dates either, as it is shown.

    Returns
    -------
    ndarray, shape (members,)
        Sum to 1. The likelihood is raised to the largest power of 1, 0.95, ... 0 that keeps the
        range of ``named`` at most as wide as it was; at 0 nothing is learnt.
    """
    before = _widths(named, weights, probabilities)
    for power in np.linspace(1.0, 0.0, 21):
        after: FloatArray = weights * fit**power
        if not after.any():
            continue  # fits no member at all
        after = after / after.sum()
        narrower = _widths(named, after, probabilities) <= before
        if narrower.all() if in_dates else narrower[0]:
            return after
    return weights


def _widths(times: FloatArray, weights: FloatArray, probabilities: tuple[float, ...]) -> FloatArray:
    """Width of the range in time, and in whole dates: rounding can widen what time does not."""
    first, last = quantile_days(times, (probabilities[0], probabilities[-1]), weights)
    if not np.isfinite(last):
        return np.array([np.inf, np.inf])
    return np.array([last - first, np.floor(last) - np.floor(first)])


def credible(
    seen: StageSeen,
    weights: FloatArray,
    begins: FloatArray,
    ends: FloatArray,
    *,
    plant_sd_days: float,
    least: float,
    largest_sd_days: float,
) -> FloatArray | None:
    """How well each member fits, an unlikely observation being read with a larger error.

    A stage that hardly a member expects says as much against the forecast, or the staging, as
    for the few members at its edge; taken at its word it would leave those few alone, and a
    range narrower than anybody knows. So its error grows until the mean fit is ``least``.

    Parameters
    ----------
    weights, begins, ends : ndarray, shape (members,)
        As for :func:`likelihood`; weights sum to 1.
    plant_sd_days : float
    least : float
        The mean of the likelihood over members that is asked for.
    largest_sd_days : float
        With an error larger than this the observation is beyond reason.

    Returns
    -------
    ndarray, shape (members,), or None when beyond reason.
    """
    sd_days = seen.sd_days
    while sd_days <= largest_sd_days:
        read = replace(seen, sd_days=sd_days)
        fit = likelihood(read, begins, ends, plant_sd_days=plant_sd_days)
        if float(weights @ fit) >= least:
            return fit
        sd_days *= _STEP
    return None
