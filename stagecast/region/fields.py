"""The fields of a region, read from Parquet and checked: all that is wrong at once.

Whatever the table's order, fields stand by cell afterwards, and as given within one; so the same
fields always make the same parts.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from stagecast.base.errors import Problem, SeasonProblems, fold_repeats
from stagecast.knowledge import Knowledge
from stagecast.region.numbers import needs_sighting
from stagecast.season.tables.maturity import (
    ACCEPTED_MATURITY,
    MaturityGroup,
    Written,
    parse_maturity_group,
)
from stagecast.weather.seasons import SeasonSpan

NEEDED = ("field_id", "latitude", "longitude", "planting_date", "maturity_group", "cell")
HABITS = ("indeterminate", "determinate")
KEPT = ("field_id", "cell", "state", "county", "latitude", "longitude", "area_ha")
"""Columns that the output has too, where the fields do."""

WRITTEN: tuple[Written, ...] = ("decimal", "part", "whole")
_SHOWN = 5  # problems of a kind
_SIGHTED = "seen_"


@dataclass(frozen=True, slots=True, eq=False)
class RegionFields:
    """Checked fields, by cell.

    Attributes
    ----------
    table : pyarrow.Table
        What the file gave of :data:`KEPT`, and ``planting_day`` (index since 1 January),
        ``group_number``, ``written`` (a place in :data:`WRITTEN`), ``indeterminate`` (true where
        the table says so), ``seen_PEST`` (index of a day, or null).
    cells : tuple of str
        Each cell once, in order.
    starts : ndarray, shape (cells + 1,)
        Row at which each cell begins; the last is the number of fields.
    sighted : tuple of str
        Ids of pests whose heat counts from a day of the table.
    """

    table: Any
    cells: tuple[str, ...]
    starts: NDArray[np.int64]
    sighted: tuple[str, ...]

    @property
    def count(self) -> int:
        """Number of fields."""
        return int(self.starts[-1])

    def parts(self, largest: int) -> Iterator[tuple[int, int]]:
        """Ranges of cells with at most so many fields, or one cell that has more."""
        first = 0
        for cell in range(1, len(self.cells) + 1):
            ended = cell == len(self.cells)
            if ended or self.starts[cell + 1] - self.starts[first] > largest:
                yield first, cell
                first = cell


def read_fields(path: Path, *, span: SeasonSpan, knowledge: Knowledge) -> RegionFields:
    """Read and check a table of fields.

    Raises
    ------
    SeasonProblems
        With everything that is wrong: columns that are missing, and rows of each kind.
    """
    table = open_parquet(path, NEEDED)
    if not table.num_rows:
        raise SeasonProblems.of(path.name, "there are no fields in it")
    problems: list[Problem] = []
    checks = _Checks(path.name, table, problems)
    columns: dict[str, Any] = {
        "field_id": checks.text("field_id"),
        "cell": checks.text("cell"),
        "latitude": checks.number("latitude", -90.0, 90.0),
        "longitude": checks.number("longitude", -180.0, 180.0),
    }
    for name in ("state", "county"):
        if name in table.column_names:
            columns[name] = _as_text(table[name])
    if "area_ha" in table.column_names:
        columns["area_ha"] = checks.number("area_ha", 0.0, np.inf)
    columns["planting_day"] = checks.day("planting_date", span, needed=True)
    columns |= checks.groups(knowledge)
    sighted = tuple(
        pest.id
        for pest in knowledge.pests.values()
        if needs_sighting(pest) and sighted_column(pest.id) in table.column_names
    )
    for pest_id in sighted:
        name = sighted_column(pest_id)
        columns[name] = checks.day(name, span, needed=False)
    checks.twice("field_id")
    if problems:
        raise SeasonProblems(fold_repeats(problems, keep=_SHOWN))
    return _by_cell(pa.table(columns), sighted)


def sighted_column(pest_id: str) -> str:
    """The column that says from which day a pest's heat counts in a field."""
    return _SIGHTED + pest_id.replace("-", "_")


def open_parquet(path: Path, needed: Sequence[str]) -> Any:
    """A Parquet table that has some columns.

    Raises
    ------
    SeasonProblems
        When it cannot be read, or lacks a column.
    """
    try:
        file = pq.ParquetFile(path)
        lacking(path.name, file.schema_arrow.names, needed)
        return file.read()
    except (OSError, pa.ArrowException) as error:
        raise not_parquet(path, error) from error


def not_parquet(path: Path, error: Exception) -> SeasonProblems:
    """The problem of a file that is none of ours."""
    if not path.exists():
        return SeasonProblems.of(str(path), "there is no such file")
    step = "give a Parquet file"
    return SeasonProblems.of(str(path), "this cannot be read as Parquet", next_step=step)


def lacking(file: str, names: Sequence[str], needed: Sequence[str]) -> None:
    """Refuse a table without a column that is needed.

    Raises
    ------
    SeasonProblems
        One problem for each.
    """
    missing = [name for name in needed if name not in names]
    if missing:
        found = ", ".join(names)
        raise SeasonProblems(
            [Problem(file, "this column is missing", column=m, found=found) for m in missing]
        )


def _by_cell(table: Any, sighted: tuple[str, ...]) -> RegionFields:
    cells = table["cell"].combine_chunks().dictionary_encode()
    names = cells.dictionary.to_numpy(zero_copy_only=False).astype(str)
    rank = np.argsort(np.argsort(names))
    codes = rank[cells.indices.to_numpy()]
    order = np.argsort(codes, kind="stable")
    counts = np.bincount(codes, minlength=len(names))
    starts = np.concatenate(([0], np.cumsum(counts)))
    in_order = tuple(str(name) for name in names[np.argsort(names)])
    return RegionFields(table.take(pa.array(order)), in_order, starts, sighted)


def _as_text(column: Any) -> Any:
    """A column of texts, whether it held texts, numbers or a dictionary of either."""
    return pc.cast(pc.cast(column, pa.string()), pa.string())


class _Checks:
    """Columns of a table made plain; what is wrong with them is collected."""

    def __init__(self, file: str, table: Any, problems: list[Problem]) -> None:
        self.file, self.table, self.problems = file, table, problems

    def text(self, name: str) -> Any:
        """Texts, none of them empty."""
        column = _as_text(self.table[name])
        empty = pc.fill_null(pc.equal(pc.utf8_trim_whitespace(column), ""), True)
        self._tell(name, empty, "there is nothing", accepted="a text")
        return column

    def number(self, name: str, low: float, high: float) -> Any:
        """Numbers from one to another, none missing."""
        try:
            column = pc.cast(self.table[name], pa.float64())
        except pa.ArrowException:
            self._whole(name, "these are no numbers", accepted="numbers")
            return pa.nulls(self.table.num_rows, pa.float64())
        values = column.to_numpy()
        wrong = ~((values >= low) & (values <= high))
        accepted = f"{low:g} to {high:g}" if np.isfinite(high) else f"{low:g} or more"
        self._tell(name, pa.array(wrong), "not a possible value", accepted=accepted)
        return column

    def day(self, name: str, span: SeasonSpan, *, needed: bool) -> Any:
        """Dates of the season as indices since 1 January; null where none is given."""
        try:
            column = pc.cast(self.table[name], pa.date32())
        except pa.ArrowException:
            accepted = "dates, or texts such as 2026-05-10"
            self._whole(name, "these are no dates", accepted=accepted)
            return pa.nulls(self.table.num_rows, pa.int64())
        days = pc.subtract(pc.cast(pc.cast(column, pa.int32()), pa.int64()), _epoch(span.first_day))
        outside = pc.or_(pc.less(days, 0), pc.greater_equal(days, span.days))
        wrong = pc.fill_null(outside, needed)
        accepted = f"a day from {span.first_day} to {span.last_day}"
        self._tell(name, wrong, "no day of the season", accepted=accepted)
        return days

    def groups(self, knowledge: Knowledge) -> dict[str, Any]:
        """Group numbers, how they were written, and whether the field is said indeterminate."""
        groups = knowledge.soybean.groups
        lowest, highest = float(groups.lowest), float(groups.highest)
        offsets = {name: float(value) for name, value in groups.offsets.items()}

        def read(value: object) -> MaturityGroup:
            if isinstance(value, float):
                if not lowest <= value <= highest:
                    raise ValueError("maturity group outside the range that the model covers")
                return MaturityGroup(str(value), "", value, whole=False)
            return parse_maturity_group(str(value), offsets=offsets, lowest=lowest, highest=highest)

        found, index = self._each("maturity_group", read, accepted=ACCEPTED_MATURITY)
        number = np.array([one.number if one else np.nan for one in found])[index]
        written = np.array([WRITTEN.index(one.written) if one else 0 for one in found])[index]
        said = np.zeros(len(index), dtype=bool)
        if "growth_habit" in self.table.column_names:
            habits, places = self._each("growth_habit", _habit, accepted=" or ".join(HABITS))
            said = np.array([one == "indeterminate" for one in habits])[places]
        return {"group_number": number, "written": written.astype(np.int8), "indeterminate": said}

    def twice(self, name: str) -> None:
        """Ids that stand in more than one row."""
        counted = pc.value_counts(_as_text(self.table[name]).combine_chunks())
        often = counted.filter(pc.greater(counted.field("counts"), 1)).field("values")
        for one in often[: _SHOWN + 1].to_pylist():
            if one is not None:
                message, step = "this id stands in several rows", "give each field its own"
                self.problems.append(
                    Problem(self.file, message, column=name, found=one, next_step=step)
                )

    def _each(
        self, name: str, read: Callable[[Any], Any], *, accepted: str
    ) -> tuple[list[Any], NDArray[np.int64]]:
        """Read every different value once; the values, and which of them each row has."""
        coded = self.table[name].combine_chunks()
        if not pa.types.is_dictionary(coded.type):
            coded = coded.dictionary_encode()
        values: list[Any] = []
        bad: list[str] = []
        for value in [*coded.dictionary.to_pylist(), None]:
            try:
                values.append(read(value))
            except ValueError as error:
                values.append(None)
                bad.append(str(error))
        missing = len(values) - 1
        index = pc.fill_null(pc.cast(coded.indices, pa.int64()), missing).to_numpy()
        wrong = np.array([value is None for value in values])[index]
        self._tell(name, pa.array(wrong), bad[0] if bad else "", accepted=accepted)
        return values, index

    def _whole(self, name: str, message: str, *, accepted: str) -> None:
        found = str(self.table[name].type)
        self.problems.append(
            Problem(self.file, message, column=name, found=found, accepted=accepted)
        )

    def _tell(self, name: str, wrong: Any, message: str, *, accepted: str) -> None:
        rows = np.flatnonzero(np.asarray(wrong))
        for row in rows[: _SHOWN + 1].tolist():
            value = self.table[name][row].as_py()
            self.problems.append(
                Problem(
                    self.file,
                    message,
                    line=row + 1,
                    column=name,
                    found="nothing" if value is None else str(value),
                    accepted=accepted,
                )
            )


def _habit(value: object) -> str:
    """A growth habit; nothing where the group is to tell it."""
    if value is None or value == "":
        return "by group"
    if value not in HABITS:
        raise ValueError("not a growth habit")
    return str(value)


def _epoch(day: dt.date) -> int:
    return (day - dt.date(1970, 1, 1)).days
