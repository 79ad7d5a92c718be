"""When a pest reaches an event: heat summed from a biofix by the model's own method."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.base.errors import MixedModel
from stagecast.base.units import FloatArray
from stagecast.knowledge.pest import HeatModel
from stagecast.phenology.accumulate import boundary_sums, sum_at, times_after
from stagecast.phenology.degree_days import Cutoff, Method, daily_degree_days

_LEAST_SHARE = 0.05  # of a need: keeps a far tail of cohorts above zero; arithmetic only


@dataclass(frozen=True, slots=True, eq=False)
class HeatSums:
    """Heat up to each day boundary, and the model that counted it.

    Attributes
    ----------
    sums : ndarray, shape (members, days + 1)
        Degree-days C; NaN from the first missing day on.
    """

    model: HeatModel
    sums: FloatArray


def daily_heat(tmin_c: FloatArray, tmax_c: FloatArray, *, model: HeatModel) -> FloatArray:
    """Degree-days C of every day by the model's own method and cutoff; NaN where one is missing.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (members, days)
        degC.
    """
    return daily_degree_days(
        tmin_c,
        tmax_c,
        lower_c=model.lower_c,
        upper_c=model.upper_c,
        method=Method(model.method),
        cutoff=Cutoff(model.cutoff),
    )


def heat_sums(
    tmin_c: FloatArray, tmax_c: FloatArray, *, model: HeatModel, first_index: int = 0
) -> HeatSums:
    """Sum heat by the model's own method and cutoff, from a first day on.

    Parameters
    ----------
    tmin_c, tmax_c : ndarray, shape (members, days)
        degC; a missing day makes all later sums NaN.
    first_index : int
        Days before it are not counted at all: a hole before the biofix does not matter.
    """
    return summed_from(daily_heat(tmin_c, tmax_c, model=model), model, first_index)


def summed_from(daily: FloatArray, model: HeatModel, first_index: int) -> HeatSums:
    """The sums of :func:`daily_heat` from a first day on, as :func:`heat_sums`."""
    counted = np.zeros_like(daily)
    counted[:, first_index:] = daily[:, first_index:]
    return HeatSums(model, boundary_sums(counted))


def event_time(
    heat: HeatSums,
    biofix: FloatArray,
    *,
    model: HeatModel,
    need_c: float,
    share: float | FloatArray = 1.0,
) -> FloatArray:
    """Time at which the heat since the biofix reaches an event's need.

    Parameters
    ----------
    biofix : ndarray, shape (members,) or (members, draws)
        Fractional days; draws of a member share its heat.
    model : HeatModel
        The model the need belongs to.
    need_c : float
        Degree-days C from biofix to event.
    share : float or ndarray, broadcastable to the shape of ``biofix``
        Part of the need, for the edges of a window round a peak or for variability.

    Returns
    -------
    ndarray, of the shape of ``biofix``
        Fractional days; inf when not reached this season, NaN when a missing day stands before.

    Raises
    ------
    MixedModel
        When the heat was summed by another model than the need belongs to.
    """
    (time,) = event_times(heat, biofix, model=model, needs_c=[np.asarray(share * need_c)])
    return time


def event_times(
    heat: HeatSums, biofix: FloatArray, *, model: HeatModel, needs_c: Sequence[FloatArray]
) -> Sequence[FloatArray]:
    """As :func:`event_time` for several events since one biofix, in one search.

    Parameters
    ----------
    needs_c : sequence of ndarray, broadcastable to the shape of ``biofix``
        Degree-days C from biofix to event.
    """
    if model != heat.model:
        raise MixedModel("a degree-day total is only valid with its own source's method")
    return times_after(heat.sums, biofix, needs_c)


def cohort_needs(
    z: FloatArray, *, need_c: float, spread: float, generation_c: float = 0.0, earlier: int = 0
) -> FloatArray:
    """Heat to an event of a later generation, for individuals that differ.

    Parameters
    ----------
    z : ndarray
        Standard normal errors, one per cohort.
    need_c : float
        Degree-days C from the biofix to the event in the first generation.
    spread : float
        Share of a need by which individuals differ, one standard deviation.
    generation_c : float
        Degree-days C of a whole generation.
    earlier : int
        Generations that pass before.

    Returns
    -------
    ndarray, of the shape of ``z``
        Degree-days C, above zero.

    Notes
    -----
    ``n G + N + z s sqrt(n G^2 + N^2)``: generations differ independently of one another, so that
    later ones spread more in days and less in their share.
    """
    total = earlier * generation_c + need_c
    sd = spread * np.sqrt(earlier * generation_c**2 + need_c**2)
    return np.asarray(np.maximum(total + z * sd, _LEAST_SHARE * total))


def heat_since(heat: HeatSums, biofix: FloatArray, *, at: float) -> FloatArray:
    """Degree-days C from the biofix to a time; 0 before the biofix, NaN where unknown."""
    now = sum_at(heat.sums, np.full(len(heat.sums), at))
    since = now.reshape(-1, *(1,) * (biofix.ndim - 1)) - sum_at(heat.sums, biofix)
    return np.where(biofix >= at, 0.0, since)
