"""How a function of the loop is compiled: once, and kept on disk beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function that Python calls."""
    return _kept(function)


def inner(function: Function) -> Function:
    """Compile a function that only compiled ones call: it is ready sooner."""
    return _kept(function, no_cpython_wrapper=True, no_cfunc_wrapper=True)


def inlined(function: Function) -> Function:
    """Compile a short function into every one that calls it."""
    return _kept(function, no_cpython_wrapper=True, no_cfunc_wrapper=True, forceinline=True)


def _kept(function: Function, **others: bool) -> Function:
    made: Function = njit(cache=True, error_model="numpy", **others)(function)
    return made
