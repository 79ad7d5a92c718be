"""Temperatures of a Zarr or NetCDF grid, read through xarray.

``tmin_c`` and ``tmax_c`` (degC) over ``time`` and ``cell``, or over ``time``, ``latitude`` and
``longitude`` (also ``lat`` and ``lon``); a cell of such a grid is named by its middle, as in
``40.25,-93.75``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.region.weather import CellRecord, record_of

VARIABLES = ("tmin_c", "tmax_c")
_LATITUDES, _LONGITUDES = ("latitude", "lat"), ("longitude", "lon")


@dataclass(frozen=True, eq=False)
class GridWeather:
    """A grid of temperatures; ``places`` tells where each cell stands in it."""

    path: Path
    dims: tuple[str, ...]
    places: Mapping[str, tuple[int, ...]] = field(repr=False)

    @classmethod
    def open(cls, path: Path) -> GridWeather:
        """Look which cells there are.

        Raises
        ------
        SeasonProblems
            When it cannot be read, or its variables or dimensions are others.
        """
        with _opened(path) as grid:
            dims = _dims(path, grid)
            return cls(path, dims, _places(grid, dims))

    @cached_property
    def _grid(self) -> Any:
        return _opened(self.path)

    def __getstate__(self) -> dict[str, Any]:
        """Without the open file, which no other process can use."""
        return {"path": self.path, "dims": self.dims, "places": self.places}

    def cells(self) -> Collection[str]:
        """Cells of the grid, whether they have days or not."""
        return self.places.keys()

    def content(self, cells: Sequence[str]) -> bytes:
        """The temperatures themselves, as a digest."""
        digest = blake2b(digest_size=16)
        for cell, record in self.read(cells):
            digest.update(f"{cell} {record.first_day} ".encode())
            digest.update(record.tmin_c.tobytes())
            digest.update(record.tmax_c.tobytes())
        return digest.digest()

    def read(self, cells: Sequence[str]) -> Iterator[tuple[str, CellRecord]]:
        """The records of some cells, in their order; near cells are read together."""
        days = self._grid["time"].values.astype("datetime64[D]").astype(np.int32)
        places = np.array([self.places[cell] for cell in cells])
        low, high = places.min(axis=0), places.max(axis=0)
        box = {
            dim: slice(int(a), int(b) + 1) for dim, a, b in zip(self.dims, low, high, strict=True)
        }
        tmin, tmax = (
            self._grid[name].isel(box).transpose("time", *self.dims).values.astype(np.float64)
            for name in VARIABLES
        )
        for cell, place in zip(cells, places - low, strict=True):
            at = (slice(None), *(int(one) for one in place))
            yield cell, record_of(days, tmin[at].copy(), tmax[at].copy())


def _opened(path: Path) -> Any:
    import xarray

    if not path.exists():
        raise SeasonProblems.of(str(path), "there is no such file or folder")
    try:
        if path.suffix == ".zarr":
            return xarray.open_zarr(path, chunks=None)
        return xarray.open_dataset(path)
    except (OSError, ValueError, KeyError, ImportError) as error:
        message, step = "this cannot be read as a grid", "give Zarr or NetCDF, or Parquet"
        raise SeasonProblems.of(str(path), message, next_step=step) from error


def _dims(path: Path, grid: Any) -> tuple[str, ...]:
    """Names of the dimensions beside time: a cell's, or latitude and longitude."""
    problems = [
        Problem(path.name, "this variable is missing", column=name, found=", ".join(grid.variables))
        for name in (*VARIABLES, "time")
        if name not in grid.variables
    ]
    if problems:
        raise SeasonProblems(problems)
    dims = set(grid[VARIABLES[0]].dims) - {"time"}
    if dims == {"cell"}:
        return ("cell",)
    latitude = next((name for name in _LATITUDES if name in dims), None)
    longitude = next((name for name in _LONGITUDES if name in dims), None)
    if latitude is None or longitude is None or len(dims) > 2:
        message, accepted = "these dimensions are not known", "time and cell, or time, lat, lon"
        found = ", ".join(grid[VARIABLES[0]].dims)
        raise SeasonProblems.of(path.name, message, found=found, accepted=accepted)
    return latitude, longitude


def _places(grid: Any, dims: tuple[str, ...]) -> dict[str, tuple[int, ...]]:
    if dims == ("cell",):
        return {str(cell): (n,) for n, cell in enumerate(grid["cell"].values.tolist())}
    latitudes, longitudes = (grid[name].values.tolist() for name in dims)
    return {
        f"{latitude:g},{longitude:g}": (i, j)
        for i, latitude in enumerate(latitudes)
        for j, longitude in enumerate(longitudes)
    }
