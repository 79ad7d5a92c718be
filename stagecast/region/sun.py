"""Compiled: day lengths of a field."""

from __future__ import annotations

import math
from typing import NamedTuple

from stagecast.base.units import FloatArray
from stagecast.region.compiled import compiled, inner


class SunNumbers(NamedTuple):
    """Sine and cosine of the sun's declination on each day, of shape (days,)."""

    sine: FloatArray
    cosine: FloatArray


@inner
def _arcsine(x: float) -> float:
    """Arcsine of -0.5 to 0.5, without a branch: the rational function of the usual C library.

    From memory (fdlibm); tests hold it to numpy's.
    """
    t = x * x
    p = 7.91534994289814532176e-04 + t * 3.47933107596021167570e-05
    p = 2.01212532134862925881e-01 + t * (-4.00555345006794114027e-02 + t * p)
    p = t * (1.66666666666666657415e-01 + t * (-3.25565818622400915405e-01 + t * p))
    q = -6.88283971605453293030e-01 + t * 7.70381505559019352791e-02
    q = 1.0 + t * (-2.40339491173441421878e00 + t * (2.02094576023350569471e00 + t * q))
    return x + x * (p / q)


@compiled
def day_hours(latitude_rad: float, angle_rad: float, sun: SunNumbers, hours: FloatArray) -> None:
    """Day lengths on some days, as ``phenology.daylength.day_length_hours``."""
    sine, cosine, angle = math.sin(latitude_rad), math.cos(latitude_rad), math.sin(angle_rad)
    for d in range(len(hours)):
        hours[d] = (angle + sine * sun.sine[d]) / (cosine * sun.cosine[d])
    farthest = 0.0
    for d in range(len(hours)):
        farthest = max(farthest, abs(hours[d]))
    if farthest <= 0.5:
        for d in range(len(hours)):
            hours[d] = 12.0 + 24.0 / math.pi * _arcsine(hours[d])
    else:
        for d in range(len(hours)):
            hours[d] = 24.0 - 24.0 / math.pi * math.acos(min(max(hours[d], -1.0), 1.0))
