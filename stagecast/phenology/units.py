"""Fahrenheit and Celsius: temperatures carry the 32 degree offset, degree-days do not."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

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


def f_degree_days_to_c(degree_days_f: Number) -> Number:
    """Convert degree-days (scalar or array) from degF-days to degC-days: ``DD / 1.8``.

    Degree-days are differences of temperature, so the 32 degree offset has no place here.
    """
    return degree_days_f / F_PER_C
