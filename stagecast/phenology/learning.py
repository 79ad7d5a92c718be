"""Learning from a stage seen in a field: every member moves towards what was seen.

A field is in a stage when at least half of its plants are in it or beyond (Fehr and Caviness
1977). An observation is read as "the stage had come, and the next had not", with an error of
staging; a share of plants says more closely how far the field is from half. That no plant was in
the stage says that it was some days off, and that every plant was, that it came some days ago.

Members are moved, not weighed: weights of a few dozen draws that must fit several visits at once
leave two or three of them, and a range narrower than anybody knows. The date noted is moved to
the mean and spread that the observation leaves it, and every other date follows along the
straight line through the members (Anderson 2003, Monthly Weather Review 131: 634-642).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.phenology.soybean import STAGES
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
    seen: StageSeen,
    begins: FloatArray,
    ends: FloatArray,
    *,
    plant_sd_days: float,
    most_sd_days: float | None = None,
) -> FloatArray:
    """How well each member fits an observation.

    Parameters
    ----------
    begins, ends : ndarray, shape (members,)
        Times at which half of the plants reach the stage, and the one after it; inf where never.
    plant_sd_days : float
        Standard deviation between plants of a field, days.
    most_sd_days : float, optional
        Not less than the fit with any error from that of the observation to this one is wanted.

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
    least, most = seen.sd_days, seen.sd_days if most_sd_days is None else most_sd_days
    if seen.share == 0.0:
        soonest = half_time(seen.time, _HARDLY_ANY, plant_sd_days=plant_sd_days)
        return _cdf(_in_sds(begins - soonest, least, most))
    if seen.share is None or seen.share == 1.0:
        latest = seen.time
        if seen.share is not None:
            latest = half_time(seen.time, 1.0 - _HARDLY_ANY, plant_sd_days=plant_sd_days)
        started = _cdf(_in_sds(latest - begins, least, most))
        finished = _cdf(-_in_sds(ends - seen.time, least, most))
        return np.asarray(np.maximum(started - finished, 0.0))
    half = half_time(seen.time, seen.share, plant_sd_days=plant_sd_days)
    density: FloatArray = np.exp(-0.5 * ((half - begins) / most) ** 2)
    return density


def _in_sds(days: FloatArray, least: float, most: float) -> FloatArray:
    """Days in standard deviations between two, each in that which makes it largest."""
    return days / (least if least == most else np.where(days < 0.0, most, least))


_FINE = 1024  # steps of the table for a standard deviation
_FAR = 9  # standard deviations, beyond which all is 0 or 1


@cache
def _cdf_table() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Steps, and the standard normal distribution and its density there."""
    z = np.arange(-_FAR * _FINE, _FAR * _FINE + 1) / _FINE
    cdf = np.array([0.5 * math.erfc(-step / math.sqrt(2.0)) for step in z.tolist()])
    return z, cdf, np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)


def _cdf(z: FloatArray) -> FloatArray:
    """Of the standard normal distribution; numpy has no erf, and this is asked most of all.

    Three terms of its series round the nearest step of a table: right to 1e-14.
    """
    steps, cdf, density = _cdf_table()
    within = np.minimum(np.maximum(z, -_FAR), _FAR)
    nearest = np.rint((within + _FAR) * _FINE).astype(np.intp)
    step = steps[nearest]
    off = within - step
    terms = 1.0 - off * (0.5 * step - off * (step * step - 1.0) / 6.0)
    return np.asarray(cdf[nearest] + density[nearest] * off * terms)


def moved(
    state: FloatArray, noted: FloatArray, weights: FloatArray, fit: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Members after an observation, moved towards it.

    Parameters
    ----------
    state : ndarray, shape (members, variables)
        All that an observation may tell of; inf where a stage is not reached.
    noted : ndarray, shape (members,)
        When each member would have the stage noted: a sum of variables.
    weights : ndarray, shape (members,)
        They sum to 1.
    fit : ndarray, shape (members,)
        From :func:`likelihood`.

    Returns
    -------
    state : ndarray, shape (members, variables)
    weights : ndarray, shape (members,)
        Sum to 1; they change only between members that reach the stage and those that never do.

    Notes
    -----
    ``noted`` takes the mean and the standard deviation that ``weights * fit`` gives it, though
    never a larger one than it had; a variable moves by its regression on ``noted`` times that.
    """
    reached = np.isfinite(noted)
    likely = weights * fit
    if not likely[reached].any():
        return state, likely / likely.sum() if likely.any() else weights
    after = np.where(reached, weights * (likely[reached].sum() / weights[reached].sum()), likely)
    before = np.where(reached, weights, 0.0)
    date = np.where(reached, noted, 0.0)
    mean, sd = _mean_and_sd(date, before)
    told_mean, told_sd = _mean_and_sd(date, np.where(reached, likely, 0.0))
    if sd == 0.0:
        return state, after / after.sum()
    step = (told_mean - mean) + (min(told_sd / sd, 1.0) - 1.0) * (date - mean)
    slope = _slopes(state, date - mean, before)
    return state + slope * np.where(reached, step, 0.0)[:, None], after / after.sum()


def _slopes(state: FloatArray, date: FloatArray, weights: FloatArray) -> FloatArray:
    """Regression of every variable on a date, over the members that have the variable."""
    if np.isfinite(state).all():
        off = date - float(weights @ date)
        return (weights * off) @ state / float(weights @ np.square(off))
    has = np.isfinite(state)
    share = np.where(has, weights[:, None], 0.0)
    share /= np.maximum(share.sum(axis=0), np.finfo(np.float64).tiny)
    known = np.where(has, state, 0.0)
    middle = known.mean(axis=0)  # any number near the values keeps the products small
    weighed = share * (known - middle)
    first, second = date @ share, np.square(date) @ share
    variance = second - first**2
    covariance = date @ weighed - first * weighed.sum(axis=0)
    moves = variance > 0.0
    return np.where(moves, covariance / np.where(moves, variance, 1.0), 0.0)


def _mean_and_sd(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    share = weights / weights.sum()
    mean = float(share @ values)
    return mean, math.sqrt(max(float(share @ (values - mean) ** 2), 0.0))


def drifting(
    times: FloatArray, normals: FloatArray, *, draws: int, sd_per_root_day: float
) -> FloatArray:
    """Stage times of which a part of the error comes along the way instead of lasting all season.

    Parameters
    ----------
    times : ndarray, shape (members, stages)
        Member i belongs to season ``i // draws``.
    normals : ndarray, shape (members, stages)
        Standard normal numbers that have nothing to do with the members.
    sd_per_root_day : float
        The error that comes along in ``n`` days has a standard deviation of this times sqrt(n).

    Returns
    -------
    ndarray, shape (members, stages)
        A season's errors shrink round their mean by what the drift adds, so that no range
        changes but for chance, unless it was narrower than the drift alone.
    """
    finite = np.isfinite(times)
    known = np.where(finite, times, 0.0)
    mean = known.sum(axis=0) / np.maximum(finite.sum(axis=0), 1)
    days = np.where(finite.any(axis=0), np.maximum(mean - mean[0], 0.0), 0.0)
    order = days.argsort(kind="stable")
    steps = np.sqrt(np.diff(days[order], prepend=0.0))
    walk = np.empty_like(times)
    walk[:, order] = sd_per_root_day * np.cumsum(normals * steps, axis=1)
    season = (-1, draws, times.shape[1])
    counts = np.maximum(finite.reshape(season).sum(axis=1, keepdims=True), 1)
    middle = known.reshape(season).sum(axis=1, keepdims=True) / counts
    off = np.where(finite.reshape(season), known.reshape(season) - middle, 0.0)
    variance = (off**2).sum(axis=1, keepdims=True) / counts
    kept = 1.0 - sd_per_root_day**2 * days / np.maximum(variance, np.finfo(np.float64).tiny)
    less = (middle + np.sqrt(np.maximum(kept, 0.0)) * off).reshape(times.shape) + walk
    return in_order(np.where(finite, less, times))


_NODES = [STAGES.index(stage) for stage in STAGES if stage.startswith("V")]
_PODS = [STAGES.index(stage) for stage in STAGES if stage.startswith("R")]


def in_order(times: FloatArray) -> FloatArray:
    """No node before the one below it, no R stage before the last; either after VE."""
    ordered = times.copy()
    for chain in (_NODES, [0, *_PODS]):
        ordered[:, chain] = np.maximum.accumulate(times[:, chain], axis=1)
    return ordered


def agreeing(
    times: FloatArray, weights: FloatArray, *, by: FloatArray, after: FloatArray
) -> FloatArray:
    """Stage times whose middles say what was noted: a stage had come, or had not.

    Parameters
    ----------
    times : ndarray, shape (members, stages)
    by : ndarray, shape (stages,)
        The middle of a stage, and of those before it, moves back to this time if it is later; inf
        where nothing was noted.
    after : ndarray, shape (stages,)
        The middle of a stage, and of those after it, moves on to this time if it is sooner; -inf
        where nothing was noted. Where the two contradict each other, the stage had come.
    """
    shifted = times.copy()
    for chain in (_NODES, _PODS):
        soonest = np.maximum.accumulate(after[chain])
        latest = np.minimum.accumulate(by[chain][::-1])[::-1]
        if np.isfinite(soonest).any():
            part = shifted[:, chain]
            middles = _middles(part, weights, np.isfinite(soonest))
            early = middles < soonest
            part += np.where(early, soonest, 0.0) - np.where(early, middles, 0.0)
            shifted[:, chain] = np.maximum.accumulate(part, axis=1)
        if np.isfinite(latest).any():
            part = shifted[:, chain]
            middles = _middles(part, weights, np.isfinite(latest))
            late = np.isfinite(middles) & (middles > latest)
            part -= np.where(late, middles, 0.0) - np.where(late, latest, 0.0)
            shifted[:, chain] = np.minimum.accumulate(part[:, ::-1], axis=1)[:, ::-1]
    return shifted


def _middles(times: FloatArray, weights: FloatArray, wanted: NDArray[np.bool_]) -> FloatArray:
    """The 50 per cent time of the columns wanted; inf for the others."""
    return np.array(
        [
            quantile_days(times[:, i], (0.5,), weights)[0] if wanted[i] else np.inf
            for i in range(times.shape[1])
        ]
    )


def no_surer(
    times: FloatArray,
    weights: FloatArray,
    *,
    least_days: float,
    probabilities: tuple[float, ...],
) -> FloatArray:
    """Stage times none of which is dated more closely than ``least_days``.

    Parameters
    ----------
    times : ndarray, shape (members, stages)
    least_days : float
        From the first to the last of ``probabilities``.

    Returns
    -------
    ndarray, shape (members, stages)
        A narrower range is stretched round its middle. A stage whose time is one and the same in
        all members was given, and stays.
    """
    stretched = times.copy()
    for column in range(times.shape[1]):
        ends = (probabilities[0], 0.5, probabilities[-1])
        first, middle, last = quantile_days(times[:, column], ends, weights)
        if np.isfinite(last) and 0.0 < last - first < least_days:
            factor = least_days / (last - first)
            stretched[:, column] = middle + factor * (times[:, column] - middle)
    return in_order(stretched)


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
    errors = _errors(seen.sd_days, largest_sd_days)
    spans = [(1, len(errors) - 1), (0, 0)]  # of errors yet to try, the smallest last
    while errors and spans:
        first, last = spans.pop()
        if first > last:
            continue
        read = StageSeen(seen.time, seen.share, errors[first])
        fit = likelihood(read, begins, ends, plant_sd_days=plant_sd_days, most_sd_days=errors[last])
        if float(weights @ fit) < least:
            continue
        if first == last:
            return fit
        middle = (first + last) // 2
        spans += [(middle + 1, last), (first, middle)]
    return None


@cache
def _errors(smallest: float, largest: float) -> list[float]:
    """The errors that are tried, days."""
    errors, error = [], smallest
    while error <= largest:
        errors.append(error)
        error *= _STEP
    return errors
