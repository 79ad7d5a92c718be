"""Model error laid round each possible season, so that a range holds what the model cannot know."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from stagecast.knowledge.crop import Spread
from stagecast.phenology.soybean import STAGES

FloatArray = NDArray[np.float64]


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


def stage_sd_days(
    planting_day_of_year: NDArray[np.intp], emerged: NDArray[np.bool_], *, spread: Spread
) -> FloatArray:
    """Standard deviation of the model's error per field and stage, days.

    Parameters
    ----------
    planting_day_of_year : ndarray, shape (fields,)
    emerged : ndarray of bool, shape (fields,)
        Whether VE was observed: VE is then exact, and later stages are surer.
    spread : Spread

    Returns
    -------
    ndarray, shape (fields, stages)

    Notes
    -----
    Before emergence is seen, VE is less sure in cold soil: ``sd`` falls on a line from mid April
    to mid May, and V stages share it. Afterwards ``sqrt(sd_stage**2 - sd_VE**2)``, with a floor.
    """
    table = np.array([float(spread.days[stage]) for stage in STAGES])
    first, last = float(spread.ve_early_until), float(spread.ve_usual_from)
    cold = np.clip((last - planting_day_of_year) / (last - first), 0.0, 1.0)
    extra = cold * (float(spread.ve_early) - table[0])
    vegetative = np.array([stage.startswith("V") for stage in STAGES])
    unseen = table + np.where(vegetative, extra[:, None], 0.0)
    later = np.sqrt(np.maximum(table**2 - table[0] ** 2, 0.0))
    seen = np.maximum(later, float(spread.floor_after_observation))
    seen[0] = 0.0
    return np.where(emerged[:, None], seen, unseen)


def with_model_error(
    times: FloatArray, sd_days: FloatArray, *, draws: FloatArray, not_before: FloatArray
) -> FloatArray:
    """Add model error to stage times.

    Parameters
    ----------
    times : ndarray, shape (fields, members, stages)
    sd_days : ndarray, shape (fields, stages)
    draws : ndarray, shape (draws,)
        Standard normal values; one draw shifts all stages of a member the same way, so that
        stages stay in order.
    not_before : ndarray, shape (fields,)
        No stage comes before this time: the day after planting, or the emergence that was seen.

    Returns
    -------
    ndarray, shape (fields, members * draws, stages)
    """
    shifted = times[:, :, None, :] + draws[:, None] * sd_days[:, None, None, :]
    shifted = np.maximum(shifted, not_before[:, None, None, None])
    # A rounding of the table must never let a stage overtake the one before it.
    vegetative = sum(stage.startswith("V") for stage in STAGES)
    for part in (slice(0, vegetative), slice(vegetative, None)):
        shifted[..., part] = np.maximum.accumulate(shifted[..., part], axis=-1)
    fields, members, count, stages = shifted.shape
    return shifted.reshape(fields, members * count, stages)


def quantile_days(times: FloatArray, probabilities: tuple[float, ...]) -> FloatArray:
    """Quantiles over members, never interpolated: each is the time of some member.

    Parameters
    ----------
    times : ndarray, shape (members, ...)
        May hold inf (not reached); NaN is not allowed.
    probabilities : tuple of float

    Returns
    -------
    ndarray, shape (len(probabilities), ...)
    """
    values: FloatArray = np.quantile(times, probabilities, axis=0, method="inverted_cdf")
    return values
