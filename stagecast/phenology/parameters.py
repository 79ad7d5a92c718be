"""Plain numbers for the stage model, drawn from ``knowledge/soybean.toml``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.knowledge.crop import Era, Soybean

Cardinals = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class CropParameters:
    """Parameters common to all fields; units in the names, shares where there is none."""

    emergence_need: float
    emergence_base_c: float
    emergence_cap_c: float
    node_cardinals_c: Cardinals
    ve_r1_cardinals_c: Cardinals
    r1_r5_cardinals_c: Cardinals
    r5_r7_cardinals_c: Cardinals
    usual_range_c: float
    wide_days_before_r1: float
    wide_days_after_r5: float
    photoperiod_floor: float
    post_shift_h: float
    post_slope_factor: float
    share_r2: float
    share_r3: float
    share_r4: float
    share_r6: float
    days_r7_r8: float
    phyllochron: float
    vc_at: float
    v1_at: float
    determinate_stop_nodes: float

    @classmethod
    def from_knowledge(cls, soybean: Soybean) -> CropParameters:
        """Take the values and leave their provenance behind."""
        return cls(
            emergence_need=float(soybean.emergence.need),
            emergence_base_c=float(soybean.emergence.base),
            emergence_cap_c=float(soybean.emergence.cap),
            node_cardinals_c=soybean.nodes.response.as_tuple(),
            ve_r1_cardinals_c=soybean.response["ve_r1"].as_tuple(),
            r1_r5_cardinals_c=soybean.response["r1_r5"].as_tuple(),
            r5_r7_cardinals_c=soybean.response["r5_r7"].as_tuple(),
            usual_range_c=float(soybean.daily_range.usual),
            wide_days_before_r1=float(soybean.daily_range.before_r1),
            wide_days_after_r5=float(soybean.daily_range.after_r5),
            photoperiod_floor=float(soybean.photoperiod.floor),
            post_shift_h=float(soybean.photoperiod.post_shift),
            post_slope_factor=float(soybean.photoperiod.post_slope_factor),
            share_r2=float(soybean.shares.r2),
            share_r3=float(soybean.shares.r3),
            share_r4=float(soybean.shares.r4),
            share_r6=float(soybean.shares.r6),
            days_r7_r8=float(soybean.groups.days_r7_r8),
            phyllochron=float(soybean.nodes.phyllochron),
            vc_at=float(soybean.nodes.vc_at),
            v1_at=float(soybean.nodes.v1_at),
            determinate_stop_nodes=float(soybean.nodes.determinate_stop),
        )


@dataclass(frozen=True, slots=True, eq=False)
class GroupParameters:
    """Photothermal parameters, each of shape (fields,) or (fields, cultivar levels).

    ``critical_h`` in hours, ``sensitivity`` in 1/h, needs in days at full rate.
    """

    critical_h: FloatArray
    sensitivity: FloatArray
    need_ve_r1: FloatArray
    need_r1_r5: FloatArray
    need_r5_r7: FloatArray

    def by_level(self) -> GroupParameters:
        """The same with a level axis, shape (fields, levels), if it has none yet."""
        if self.critical_h.ndim > 1:
            return self
        return GroupParameters(
            self.critical_h[:, None],
            self.sensitivity[:, None],
            self.need_ve_r1[:, None],
            self.need_r1_r5[:, None],
            self.need_r5_r7[:, None],
        )

    def take(self, part: NDArray[np.intp]) -> GroupParameters:
        """The parameters of some of the fields."""
        return GroupParameters(
            self.critical_h[part],
            self.sensitivity[part],
            self.need_ve_r1[part],
            self.need_r1_r5[part],
            self.need_r5_r7[part],
        )


def group_parameters(
    number: FloatArray,
    *,
    indeterminate: NDArray[np.bool_],
    soybean: Soybean,
    year: FloatArray | float | None = None,
) -> GroupParameters:
    """Parameters for continuous maturity-group numbers.

    Parameters
    ----------
    number : ndarray, shape (fields,) or (fields, levels)
        Group number: 000 is -2, 00 is -1, 0 is 0, IV is 4, IV.6 is 4.6.
    indeterminate : ndarray of bool, broadcastable to the shape of ``number``
        True where the grower says so: the determinate step is then left out.
    year : ndarray or float, broadcastable to the shape of ``number``, optional
        Season, whose cultivars fill seed as long as those of its time did; default the present.

    Raises
    ------
    ValueError
        When a number lies outside the knots; the parameters are not extrapolated.
    """
    groups = soybean.groups
    knots = np.array(groups.knots.values)
    if number.size and (number.min() < knots[0] or number.max() > knots[-1]):
        raise ValueError(f"maturity group number must lie in {knots[0]} to {knots[-1]}")

    def at(values: tuple[float, ...]) -> FloatArray:
        values_at: FloatArray = np.interp(number, knots, np.array(values))
        return values_at

    low, high = groups.determinate_ramp.values
    step = float(groups.determinate_step) * np.clip((number - low) / (high - low), 0.0, 1.0)
    return GroupParameters(
        critical_h=at(groups.critical_day_length.values),
        sensitivity=at(groups.sensitivity.values),
        need_ve_r1=at(groups.need_ve_r1.values) + np.where(indeterminate, 0.0, step),
        need_r1_r5=at(groups.need_r1_r5.values),
        need_r5_r7=at(groups.need_r5_r7.values) - _shorter_then(year, soybean.era),
    )


def _shorter_then(year: FloatArray | float | None, era: Era) -> FloatArray | float:
    """Days at full rate by which cultivars of a season filled seed shorter than those of now."""
    first, last = era.years.values
    if year is None:
        return 0.0
    before: FloatArray = float(era.longer_fill) * (last - np.clip(year, first, last))
    return before
