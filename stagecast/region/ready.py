"""The loop made ready before there is work: taken from disk, or compiled where it is not there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from stagecast.region.part import RegionAsked, forecast_part
from stagecast.region.weather import CellRecord

_YEAR = 2025
_CELL = "made up"


@dataclass(frozen=True, slots=True)
class _MadeUp:
    """Two years of mild days in one cell."""

    def cells(self) -> Collection[str]:
        return (_CELL,)

    def content(self, cells: Sequence[str]) -> bytes:
        return b""

    def read(self, cells: Sequence[str]) -> Iterator[tuple[str, CellRecord]]:
        first = dt.date(_YEAR - 2, 1, 1)
        low = np.linspace(10.0, 20.0, (dt.date(_YEAR, 1, 1) - first).days)
        yield _CELL, CellRecord(first, low, low + 10.0)


def make_ready() -> None:
    """Forecast one made-up field as any part is: what that loads stays loaded."""
    field = {
        "field_id": [_CELL], "latitude": [0.0], "longitude": [0.0], "planting_day": [120],
        "group_number": [0.0], "written": [0], "indeterminate": [False],
    }  # fmt: skip
    asked = RegionAsked(dt.date(_YEAR, 1, 1), draws=1)
    forecast_part(pa.table(field), (_CELL,), np.array([0, 1]), _MadeUp(), asked)
