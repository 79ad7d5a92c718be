"""How a function of the loop is compiled: once, and kept on disk beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function that Python calls."""
    made: Function = njit(cache=True, error_model="numpy")(function)
    return made


def inner(function: Function) -> Function:
    """Compile a function that only compiled ones call: it is ready sooner."""
    made: Function = njit(
        cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True
    )(function)
    return made
