"""Values of a TOML file, in words and as they are written there."""

from __future__ import annotations

import datetime as dt
import sys


def kind_of(value: object) -> str:
    """Name a TOML type in plain words."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, dict):
        return "a section"
    names: list[tuple[type | tuple[type, ...], str]] = [
        (str, "text in quotes"),
        (int, "a whole number"),
        (float, "a number with decimals"),
        ((list, tuple), "a list"),
        ((dt.date, dt.time), "a date or time"),
    ]
    return next((name for kind, name in names if isinstance(value, kind)), "this kind of value")


def is_huge(value: object) -> bool:
    """Whether a whole number is too large to be any other: its kind is then not the fault."""
    return isinstance(value, int) and abs(value) > 2**63


def as_typed(value: object) -> str | None:
    """Show a value as TOML writes it; sections are too long to show."""
    if isinstance(value, dict):
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(str(as_typed(item)) for item in value) + "]"
    try:
        return str(value)
    except ValueError:  # Python writes out no longer ones; TOML can hold them as 0x...
        return f"a number of more than {sys.get_int_max_str_digits()} digits"
