"""A chart in plain text: marks in a grid of rows and columns, told apart without colour.

Each row stands for a value and for half a step to both sides of it, so every value can be read back
to within half a step. What is drawn later covers what was drawn before: levels, then bands, then
lines, each in the order given.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

Values = Sequence[float | None]
"""One value per column; None is not drawn, and neither is what lies outside the chart."""

LEVEL_MARK = "-"
WIDEST_COLUMN = 3
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Line:
    """One mark per column."""

    mark: str
    values: Values


@dataclass(frozen=True, slots=True)
class ChartBand:
    """Marks from a low to a high value in each column, both ends included."""

    mark: str
    low: Values
    high: Values


@dataclass(frozen=True, slots=True)
class Level:
    """A value that is the same in all columns, named at its right end."""

    name: str
    value: float


def nice_step(top: float, rows: int) -> float:
    """The smallest step of 1, 2, 2.5 or 5 times a power of ten by which rows reach up to a value.

    ``top`` is above 0; rows are those above the one for 0.
    """
    least = top / rows
    power = 10.0 ** math.floor(math.log10(least))
    # Rounding must not make an even step look too small.
    return next(m * power for m in _STEPS if m * power >= least * (1 - 1e-9))


def draw(
    labels: Sequence[str],
    *,
    bands: Sequence[ChartBand] = (),
    lines: Sequence[Line] = (),
    levels: Sequence[Level] = (),
    top: float,
    width: int,
    rows: int = 16,
) -> list[str]:
    """The lines of a chart, the top row first; then the axis and the labels.

    Parameters
    ----------
    labels: one per column, written below it as far as there is room; blank for none
    top: the highest value that must have a row, > 0
    width: longest line, in characters. Where columns do not fit, every second (third, ...) is
        drawn.
    rows: at most so many rows above the one for 0
    """
    step = nice_step(top, rows)
    highest = math.ceil(top / step * (1 - 1e-9))
    digits = max(len(f"{row * step:.10g}") for row in range(highest + 1))
    names = _level_names(levels, step, highest)
    right = max((len(name) for name in names.values()), default=0)
    room = max(width - digits - 2 - right, 1)
    stride = math.ceil(max(len(labels), 1) / room)
    shown = range(0, len(labels), stride)
    each = min(WIDEST_COLUMN, max(room // max(len(shown), 1), 1))
    grid = [[" "] * len(shown) for _ in range(highest + 1)]
    for row in names:
        grid[row] = [LEVEL_MARK] * len(shown)
    for band in bands:
        _fill(grid, band, shown, step)
    for line in lines:
        _fill(grid, ChartBand(line.mark, line.values, line.values), shown, step)
    drawn = []
    for row in range(highest, -1, -1):
        marks = "".join(mark * each for mark in grid[row])
        drawn.append(f"{row * step:>{digits}.10g} |{marks}{names.get(row, '')}")
    indent = " " * (digits + 1)
    axis = f"{indent}+{'-' * each * len(shown)}"
    below = f"{indent} {_label_line([labels[i] for i in shown], each)}"
    return [text.rstrip() for text in (*drawn, axis, below)]


def row_of(value: float, step: float) -> int:
    """The row that stands for a value, counted from 0."""
    return math.floor(value / step + 0.5)


def _level_names(levels: Sequence[Level], step: float, highest: int) -> dict[int, str]:
    """Row -> the names of the levels in it, in the order given."""
    names: dict[int, str] = {}
    for level in levels:
        row = row_of(level.value, step)
        if 0 <= row <= highest:
            names[row] = names.get(row, "") + level.name
    return names


def _fill(grid: list[list[str]], band: ChartBand, shown: Sequence[int], step: float) -> None:
    for place, column in enumerate(shown):
        low, high = band.low[column], band.high[column]
        if low is None or high is None:
            continue
        for row in range(max(row_of(low, step), 0), min(row_of(high, step), len(grid) - 1) + 1):
            grid[row][place] = band.mark


def _label_line(labels: Sequence[str], each: int) -> str:
    """Labels below their columns; one that would run into the next, or over, is left out."""
    text = [" "] * (len(labels) * each)
    free = len(text) + 1
    for i in range(len(labels) - 1, -1, -1):
        at, label = i * each, labels[i]
        # A blank stands between two labels, and none is needed after the last.
        if label and at + len(label) < free:
            text[at : at + len(label)] = label
            free = at
    return "".join(text)
