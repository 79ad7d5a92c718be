"""Read a chart back from the text in which it was drawn."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_ROW = re.compile(r" *([0-9.]+) \|(.*)")
_AXIS = re.compile(r" +\+(-+)")


@dataclass(frozen=True)
class ReadChart:
    """Marks by row value and column; ``names`` stand at the right ends of rows."""

    grid: dict[float, list[str]]
    names: dict[float, str]
    columns: int
    step: float

    @property
    def highest(self) -> float:
        """The value of the top row."""
        return max(self.grid)

    def mark(self, row: float, column: int) -> str:
        """The mark in a cell; a blank where there is none."""
        return self.grid[row][column]

    def rows_with(self, mark: str, column: int) -> list[float]:
        """Values of the rows that have a mark in a column, lowest first."""
        return sorted(row for row in self.grid if self.mark(row, column) == mark)


def chart_lines(screen: str) -> list[list[str]]:
    """The charts on a screen, each from its top row to its axis."""
    charts: list[list[str]] = []
    rows: list[str] = []
    for line in screen.splitlines():
        if _ROW.fullmatch(line):
            rows.append(line)
        elif _AXIS.fullmatch(line.rstrip()) and rows:
            charts.append([*rows, line.rstrip()])
            rows = []
        else:
            rows = []
    return charts


def read_chart(drawn: Sequence[str], *, columns: int | None = None) -> ReadChart:
    """Read rows, axis and names; how many columns there are shows in the marks if not told."""
    (axis,) = (i for i, line in enumerate(drawn) if _AXIS.fullmatch(line))
    rows = [match.groups() for line in drawn[:axis] if (match := _ROW.fullmatch(line))]
    assert len(rows) == axis
    found = _AXIS.fullmatch(drawn[axis])
    assert found is not None
    wide = len(found[1])
    values = [float(value) for value, _ in rows]
    step = values[0] - values[1] if len(values) > 1 else 1.0
    texts = [text.ljust(wide) for _, text in rows]
    each = _cell_width(texts, wide) if columns is None else wide // columns
    assert columns is None or columns * each == wide
    grid = {
        value: list(text[:wide:each]) for value, text in zip(values, texts, strict=True)
    }  # fmt: skip
    names = {
        value: text[wide:] for value, text in zip(values, texts, strict=True) if text[wide:]
    }  # fmt: skip
    return ReadChart(grid, names, wide // each, step)


def _cell_width(texts: Sequence[str], wide: int) -> int:
    """The widest cell, up to three characters, in which every cell bears one mark."""
    for each in (3, 2):
        cells = [text[i : i + each] for text in texts for i in range(0, wide, each)]
        if wide % each == 0 and all(len(set(cell)) == 1 for cell in cells):
            return each
    return 1
