"""When a pest reaches an event: heat summed from a biofix by the model's own method."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagecast.base.errors import MixedModel
from stagecast.base.units import FloatArray
from stagecast.knowledge.pest import HeatModel
from stagecast.phenology.accumulate import boundary_sums, sum_at, time_after
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
    daily = np.zeros_like(tmin_c)
    daily[:, first_index:] = daily_degree_days(
        tmin_c[:, first_index:],
        tmax_c[:, first_index:],
        lower_c=model.lower_c,
        upper_c=model.upper_c,
        method=Method(model.method),
        cutoff=Cutoff(model.cutoff),
    )
    return HeatSums(model, boundary_sums(daily))


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
    if model != heat.model:
        raise MixedModel("a degree-day total is only valid with its own source's method")
    return time_after(heat.sums, biofix, np.asarray(share * need_c))


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
