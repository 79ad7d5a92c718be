"""Temperatures by cell and day: which cells a file has, and the possible seasons of each.

A cell whose record is whole is laid out by one look-up. Any other, with a hole or an impossible
day, goes the plan's own way through ``weather.quality`` and ``weather.seasons``; both ways end in
the same seasons.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.knowledge.rules import WeatherLimits
from stagecast.region.fields import lacking, not_parquet
from stagecast.region.needs import need_grid
from stagecast.weather.quality import screen
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.seasons import SeasonSpan, same_days, season_weather

COLUMNS = ("cell", "date", "tmin_c", "tmax_c")
GRIDS = (".zarr", ".nc", ".nc4", ".h5")
EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True, slots=True, eq=False)
class CellRecord:
    """Daily temperatures of a cell, degC, one value a day from ``first_day`` on; NaN if missing."""

    first_day: dt.date
    tmin_c: FloatArray
    tmax_c: FloatArray


class RegionWeather(Protocol):
    """Where temperatures of cells come from; it can be sent to a worker."""

    def cells(self) -> Collection[str]:
        """Cells that have any day."""

    def content(self, cells: Sequence[str]) -> bytes:
        """What tells whether the days of some cells have changed."""

    def read(self, cells: Sequence[str]) -> Iterator[tuple[str, CellRecord]]:
        """The records of some cells, in their order."""


def weather_of(path: Path) -> RegionWeather:
    """The temperatures of a file: Parquet, or a grid by the name's ending.

    Raises
    ------
    SeasonProblems
    """
    if path.suffix in GRIDS:
        need_grid()
        from stagecast.region.grid import GridWeather

        return GridWeather.open(path)
    return ParquetWeather.open(path)


# --- Parquet --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class ParquetWeather:
    """A Parquet table with a row a cell and day, best in their order.

    Attributes
    ----------
    groups : dict
        Cell -> the row groups in which it stands.
    contents : tuple of bytes
        A digest of the bytes of each row group.
    """

    path: Path
    groups: Mapping[str, tuple[int, ...]]
    contents: tuple[bytes, ...]

    @classmethod
    def open(cls, path: Path) -> ParquetWeather:
        """Look which cells stand where.

        Raises
        ------
        SeasonProblems
            When it is no Parquet, or lacks a column.
        """
        try:
            file = pq.ParquetFile(path)
            lacking(path.name, file.schema_arrow.names, COLUMNS)
            groups: dict[str, list[int]] = {}
            for number in range(file.num_row_groups):
                column = _coded(file.read_row_group(number, columns=["cell"])["cell"])
                for chunk in column.chunks:
                    for cell in pc.unique(chunk).dictionary.to_pylist():
                        found = groups.setdefault(cell, [])
                        if not found or found[-1] != number:
                            found.append(number)
            contents = tuple(_bytes_of_groups(path, file.metadata))
        except (OSError, pa.ArrowException) as error:
            raise not_parquet(path, error) from error
        return cls(path, {cell: tuple(of) for cell, of in groups.items()}, contents)

    def cells(self) -> Collection[str]:
        """Cells that have any day."""
        return self.groups.keys()

    def content(self, cells: Sequence[str]) -> bytes:
        """The bytes of all row groups in which some cells stand, as a digest."""
        return b"".join(self.contents[number] for number in self._groups_of(cells))

    def read(self, cells: Sequence[str]) -> Iterator[tuple[str, CellRecord]]:
        """The records of some cells, in their order."""
        file = pq.ParquetFile(self.path, pre_buffer=False)
        table = file.read_row_groups(
            self._groups_of(cells), columns=list(COLUMNS), use_threads=False
        )
        table = table.set_column(0, "cell", _coded(table["cell"]))
        coded = table["cell"].combine_chunks()
        codes = coded.indices.to_numpy()
        names = coded.dictionary.to_pylist()
        days = pc.cast(pc.cast(table["date"], pa.date32()), pa.int32()).to_numpy()
        tmin, tmax = (
            pc.cast(table[name], pa.float64()).to_numpy() for name in ("tmin_c", "tmax_c")
        )
        number_of = {cell: number for number, cell in enumerate(cells)}
        place = np.array([number_of.get(name, -1) for name in names])[codes]
        wanted = place >= 0
        if not wanted.all():
            place, days, tmin, tmax = place[wanted], days[wanted], tmin[wanted], tmax[wanted]
        order = place.astype(np.int64) * (1 << 32) + days
        if (order[1:] < order[:-1]).any():
            by = np.argsort(order, kind="stable")
            place, days, tmin, tmax = place[by], days[by], tmin[by], tmax[by]
        bounds = np.searchsorted(place, np.arange(len(cells) + 1))
        for number, cell in enumerate(cells):
            own = slice(bounds[number], bounds[number + 1])
            yield cell, record_of(days[own], tmin[own], tmax[own])

    def _groups_of(self, cells: Sequence[str]) -> list[int]:
        return sorted({number for cell in cells for number in self.groups[cell]})


def _coded(column: Any) -> Any:
    """A column of cells as codes of texts."""
    if not pa.types.is_dictionary(column.type):
        column = pc.cast(column, pa.string()).dictionary_encode()
    elif not pa.types.is_string(column.type.value_type):
        column = pc.cast(pc.cast(column, column.type.value_type), pa.string()).dictionary_encode()
    return column.unify_dictionaries()


def _bytes_of_groups(path: Path, metadata: Any) -> Iterator[bytes]:
    """A digest of what each row group holds, as it stands in the file."""
    with path.open("rb") as stream:
        for number in range(metadata.num_row_groups):
            group = metadata.row_group(number)
            digest = blake2b(digest_size=16)
            for place in range(group.num_columns):
                column = group.column(place)
                start = column.dictionary_page_offset or column.data_page_offset
                stream.seek(start)
                digest.update(stream.read(column.total_compressed_size))
            yield digest.digest()


def record_of(days: NDArray[np.int32], tmin_c: FloatArray, tmax_c: FloatArray) -> CellRecord:
    """A record without a hole in its index; of a day that stands twice the last row counts."""
    first = int(days[0])
    length = int(days[-1]) - first + 1
    if length == len(days):
        return CellRecord(EPOCH + dt.timedelta(days=first), tmin_c, tmax_c)
    low, high = np.full(length, np.nan), np.full(length, np.nan)
    low[days - first], high[days - first] = tmin_c, tmax_c
    return CellRecord(EPOCH + dt.timedelta(days=first), low, high)


# --- possible seasons -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class CellSeasons:
    """Possible seasons of a cell, shape (seasons, days), degC; the same before day ``shared``."""

    tmin_c: FloatArray
    tmax_c: FloatArray
    shared: int


class Layout:
    """Lays records out as seasons as they stood on a day; what is alike in many is kept."""

    def __init__(self, span: SeasonSpan, *, as_of: dt.date, limits: WeatherLimits) -> None:
        self.span, self.as_of, self.limits = span, as_of, limits
        self._places: dict[tuple[dt.date, int], tuple[NDArray[np.intp], int] | None] = {}

    def seasons(self, cell: str, record: CellRecord, *, needed_from: dt.date) -> CellSeasons:
        """The season so far, and every past one as a future.

        Raises
        ------
        WeatherGap
            When days lie ahead and no past season is whole from ``needed_from`` on.
        """
        length = min(len(record.tmin_c), (self.as_of - record.first_day).days + 1)
        low, high = record.tmin_c[: max(length, 0)], record.tmax_c[: max(length, 0)]
        key = record.first_day, len(low)
        if key not in self._places:
            self._places[key] = self._place(*key)
        found = self._places[key]
        if found is not None and self._sound(low, high):
            index, shared = found
            return CellSeasons(low[index], high[index], shared)
        return self._as_planned(cell, record.first_day, low, high, needed_from)

    def _place(self, first: dt.date, length: int) -> tuple[NDArray[np.intp], int] | None:
        """Which day of a whole record stands for each day of each season; None if not whole."""
        year, span = self.span.year, self.span
        ended = first + dt.timedelta(days=length)
        known = min(max((ended - span.first_day).days, 0), span.days)
        if not length or first > span.first_day or (known == 0 and ended < span.first_day):
            return None
        offset = (span.first_day - first).days
        now = np.arange(span.days) + offset
        if known == span.days:
            return now[None], known
        years = [y for y in range(first.year, year) if dt.date(y, 1, 1) >= first]
        if not years or years[0] != first.year:
            return None
        rows = np.stack([same_days(span, y) + (dt.date(y, 1, 1) - first).days for y in years])
        rows[:, :known] = now[:known]
        return rows, known

    def _sound(self, low: FloatArray, high: FloatArray) -> bool:
        """Whether no day is missing, impossible or of a sensor that stopped."""
        limits = self.limits
        spread = high - low
        if not (spread.min() >= 0.0 and spread.max() <= float(limits.widest_day)):
            return False  # NaN is neither
        if low.min() < float(limits.tmin_floor) or high.max() > float(limits.tmax_ceiling):
            return False
        same = (low[1:] == low[:-1]) & (high[1:] == high[:-1])
        # A run of two repeats is looked at closely; those that count are longer.
        return not (same[1:] & same[:-1]).any()

    def _as_planned(
        self, cell: str, first: dt.date, low: FloatArray, high: FloatArray, needed_from: dt.date
    ) -> CellSeasons:
        limits = self.limits
        missing = np.isnan(low) & np.isnan(high)
        kind = np.where(missing, DayKind.MISSING, DayKind.OBSERVED).astype(np.int8)
        record = StationRecord(Station(cell, np.nan, np.nan), first, low, high, kind)
        clean, _ = screen(
            record,
            tmin_floor_c=float(limits.tmin_floor),
            tmax_ceiling_c=float(limits.tmax_ceiling),
            stuck_days=int(limits.stuck_days),
            max_range_c=float(limits.widest_day),
        )
        season = season_weather(
            clean,
            self.span,
            as_of=self.as_of,
            bridge_days=int(limits.bridge_days),
            needed_from=needed_from,
        )
        known = season.last_known
        shared = 0 if known is None else max(self.span.index(known) + 1, 0)
        return CellSeasons(season.tmin_c, season.tmax_c, min(shared, self.span.days))
