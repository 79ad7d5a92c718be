"""Columns of temperatures and rain in the files that people keep, in the units they use."""

from __future__ import annotations

import math

from stagecast.base.errors import Problem
from stagecast.base.tables import Table, TableRow, parse_number
from stagecast.base.units import MM_PER_INCH, f_to_c

CELSIUS = ("tmin_c", "tmax_c")
FAHRENHEIT = ("tmin_f", "tmax_f")
RAIN = {"rain_mm": 1.0, "rain_in": MM_PER_INCH}
"""Column of rain -> mm in one of its unit."""
TRACE = "T"
MISSING_CELLS = frozenset({"", "NA", "M"})

_TEMPERATURE = "a number such as 12.5, or an empty cell, NA or M for a missing value"
_RAIN = "a number from 0 on, T for a trace, or an empty cell, NA or M for a missing value"


def temperature_columns(
    table: Table, *, needed: tuple[str, ...] = ("date",)
) -> tuple[str, str] | None:
    """The pair of columns to read; None, and problems in the table, where there is none."""
    header = table.header
    if not header:
        return None
    problems = [no_column(table, name) for name in needed if name not in header]
    celsius = [name for name in CELSIUS if name in header]
    fahrenheit = [name for name in FAHRENHEIT if name in header]
    columns = FAHRENHEIT if fahrenheit else CELSIUS
    accepted = "tmin_c and tmax_c, or tmin_f and tmax_f"
    if celsius and fahrenheit:
        message, found = "columns in both degC and degF", ", ".join(celsius + fahrenheit)
        accepted = f"{accepted}, not both"
        problems.append(Problem(table.file, message, 1, found=found, accepted=accepted))
    elif not celsius and not fahrenheit:
        message, found = "no temperature columns", ", ".join(header)
        problems.append(Problem(table.file, message, 1, found=found, accepted=accepted))
    else:
        problems += [no_column(table, name) for name in columns if name not in header]
    table.problems += problems
    return None if problems else columns


def read_temperatures(row: TableRow, columns: tuple[str, str]) -> tuple[float, float]:
    """Read tmin and tmax of one row in degC; NaN where a cell says missing, or is wrong."""
    values: list[float] = []
    for column in columns:
        text, value = row.text(column), None
        if text.upper() not in MISSING_CELLS:
            value = row.number(column, accepted=_TEMPERATURE)
        values.append(math.nan if value is None else value)
    tmin, tmax = values
    return (f_to_c(tmin), f_to_c(tmax)) if columns == FAHRENHEIT else (tmin, tmax)


def rain_column(table: Table) -> str | None:
    """The column of rain, if there is one; two of them are a problem of the table."""
    found = [name for name in RAIN if name in table.header]
    if len(found) > 1:
        message, both = "columns of rain in both mm and inches", ", ".join(found)
        table.problems.append(Problem(table.file, message, 1, found=both, accepted="one of them"))
        return None
    return found[0] if found else None


def read_rain(row: TableRow, column: str | None) -> float:
    """Rain of one row in mm; a trace is none; NaN where a cell says missing, or is wrong.

    What is wrong is only doubtful: a day keeps its temperatures.
    """
    text = "" if column is None else row.text(column).upper()
    if column is None or text in MISSING_CELLS:
        return math.nan
    if text == TRACE:
        return 0.0
    try:
        value = parse_number(text, decimal_comma=row.decimal_comma)
    except ValueError as error:
        row.fault(column, f"rain is not known for this day: {error}", accepted=_RAIN, doubtful=True)
        return math.nan
    if value < 0.0:
        row.fault(column, "rain cannot be below zero", accepted=_RAIN, doubtful=True)
        return math.nan
    return value * RAIN[column]


def no_column(table: Table, name: str) -> Problem:
    """What is told of a column that is not there."""
    return Problem(table.file, f"there is no column {name}", 1, found=", ".join(table.header))
