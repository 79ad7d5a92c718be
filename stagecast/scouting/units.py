"""Numbers in the units a person chose: US units on screen by default, SI inside."""

from __future__ import annotations

from typing import Literal

from stagecast.phenology.units import c_to_f
from stagecast.season.travel import KM_PER_MILE

Units = Literal["us", "metric"]

F_PER_C = 1.8
FEET_PER_M = 1 / 0.3048


def heat_text(degree_days_c: float, units: Units) -> str:
    """Degree-days as text: ``650 F d`` or ``361 C d``."""
    if units == "us":
        return f"{degree_days_c * F_PER_C:.0f} F d"
    return f"{degree_days_c:.0f} C d"


def temperature_text(celsius: float, units: Units) -> str:
    """A temperature as text."""
    value, name = (float(c_to_f(celsius)), "F") if units == "us" else (celsius, "C")
    return f"{value:.1f}".removesuffix(".0") + f" {name}"


def distance_text(km: float, units: Units) -> str:
    """A distance as text."""
    return f"{km / KM_PER_MILE:.0f} mi" if units == "us" else f"{km:.0f} km"


def height_text(metres: float, units: Units) -> str:
    """A difference in elevation as text, with its sign."""
    return f"{metres * FEET_PER_M:+.0f} ft" if units == "us" else f"{metres:+.0f} m"
