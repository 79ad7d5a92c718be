"""Units on screen: degrees, miles, feet; each conversion in one place."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

KM_PER_MILE = 1.609344  # exact: the international mile
MM_PER_INCH = 25.4  # exact

FloatArray = NDArray[np.float64]
Number = TypeVar("Number", float, FloatArray)

F_PER_C = 1.8
F_AT_0_C = 32.0


def f_to_c(temperature_f: Number) -> Number:
    """Convert a temperature (scalar or array) from degF to degC: ``(F - 32) / 1.8``."""
    return (temperature_f - F_AT_0_C) / F_PER_C


def c_to_f(temperature_c: Number) -> Number:
    """Convert a temperature (scalar or array) from degC to degF: ``1.8 C + 32``."""
    return temperature_c * F_PER_C + F_AT_0_C


Units = Literal["us", "metric"]

FEET_PER_M = 1 / 0.3048


def heat_scale(units: Units) -> tuple[float, Literal["F", "C"]]:
    """What a degree-day C is in the units, and the letter of their degrees."""
    return (F_PER_C, "F") if units == "us" else (1.0, "C")


def heat_text(degree_days_c: float, units: Units) -> str:
    """Degree-days as text: ``650 F d`` or ``361 C d``."""
    scale, unit = heat_scale(units)
    return f"{scale * degree_days_c:.0f} {unit} d"


def temperature_text(celsius: float, units: Units) -> str:
    """A temperature as text."""
    value, name = (float(c_to_f(celsius)), "F") if units == "us" else (celsius, "C")
    return f"{value:.1f}".removesuffix(".0") + f" {name}"


def distance_text(km: float, units: Units) -> str:
    """A distance as text."""
    return f"{km / KM_PER_MILE:.0f} mi" if units == "us" else f"{km:.0f} km"


def beyond_text(km: float, limit_km: float, units: Units) -> tuple[str, str]:
    """A distance and the limit it is beyond, with as many decimals as it takes to tell them."""
    scale, unit = (1 / KM_PER_MILE, "mi") if units == "us" else (1.0, "km")
    pair = (km * scale, limit_km * scale)
    decimals = next((d for d in range(4) if len({f"{one:.{d}f}" for one in pair}) == 2), 3)
    far, limit = (f"{one:.{decimals}f} {unit}" for one in pair)
    return far, limit


def height_text(metres: float, units: Units) -> str:
    """A difference in elevation as text, with its sign."""
    return f"{metres * FEET_PER_M:+.0f} ft" if units == "us" else f"{metres:+.0f} m"
