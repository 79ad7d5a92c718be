"""How much of a region's area has come to each stage, week by week, by county or by cell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from stagecast.base.errors import SeasonProblems, StoreError
from stagecast.base.units import FloatArray
from stagecast.phenology.soybean import STAGES
from stagecast.region.part import QUANTILES
from stagecast.region.run import PARTS
from stagecast.weather.seasons import SeasonSpan

SummaryBy = Literal["county", "cell"]
WEEK = dt.timedelta(days=7)
WHOLE = ""
"""Name of the group that is the whole region."""


@dataclass(frozen=True, slots=True, eq=False)
class StageShares:
    """The area of one group that has come to a stage by each of some dates.

    Attributes
    ----------
    early, middle, late : ndarray, shape (dates,)
        Share of the area, by the day that one, five and nine in ten possible seasons of each
        field have come. Fields that do not come to the stage count; those unknown do not.
    area: known for the stage; hectares, or fields where the table gives none.
    """

    group: str
    stage: str
    early: FloatArray
    middle: FloatArray
    late: FloatArray
    area: float


@dataclass(frozen=True, slots=True, eq=False)
class RegionSummary:
    """Shares of every group, the whole region first; in hectares or in fields."""

    by: SummaryBy
    in_hectares: bool
    dates: tuple[dt.date, ...]
    shares: tuple[StageShares, ...]

    def whole(self) -> tuple[StageShares, ...]:
        """Those of the whole region."""
        return tuple(one for one in self.shares if one.group == WHOLE)

    def reached(self, shares: FloatArray, share: float) -> dt.date | None:
        """The first of the dates by which a share has come, if any."""
        found = np.flatnonzero(shares >= share)
        return self.dates[int(found[0])] if found.size else None


def weeks(span: SeasonSpan, as_of: dt.date) -> tuple[dt.date, ...]:
    """The weekday of a day in every week of the season, so that the day itself is one of them."""
    first = span.first_day + dt.timedelta(days=(as_of - span.first_day).days % WEEK.days)
    return tuple(first + WEEK * n for n in range((span.last_day - first).days // WEEK.days + 1))


def summarize(folder: Path, *, by: SummaryBy, span: SeasonSpan, as_of: dt.date) -> RegionSummary:
    """Add up the parts of a folder, one at a time.

    Raises
    ------
    SeasonProblems
        When the fields have no county.
    StoreError
        A part is damaged.
    """
    dates = weeks(span, as_of)
    ends = np.array([span.index(day) + 1 for day in dates])
    groups: dict[str, int] = {}
    totals: list[FloatArray] = []
    in_hectares = False
    for table in _parts(folder, by):
        in_hectares = "area_ha" in table.column_names
        area = table["area_ha"].to_numpy() if in_hectares else np.ones(table.num_rows)
        coded = pc.fill_null(table[by], "unknown").combine_chunks().dictionary_encode()
        names = coded.dictionary.to_pylist()
        code = coded.indices.to_numpy()
        counted = _counted(table, area, code, len(names), ends)
        for number, name in enumerate(names):
            if name not in groups:
                groups[name] = len(groups)
                totals.append(np.zeros(counted.shape[1:]))
            totals[groups[name]] += counted[number]
    every = {WHOLE: np.sum(totals, axis=0)}
    every |= {name: totals[groups[name]] for name in sorted(groups)}
    shares = [one for name, total in every.items() for one in _shares(name, total)]
    return RegionSummary(by, in_hectares, dates, tuple(shares))


def _parts(folder: Path, by: SummaryBy) -> Iterator[Any]:
    wanted = [by, "area_ha", *(_column(s, q) for s in STAGES for q in QUANTILES)]
    for path in sorted((folder / PARTS).glob("part-*.parquet")):
        try:
            file = pq.ParquetFile(path)
            names = file.schema_arrow.names
            table = file.read(columns=[name for name in wanted if name in names])
        except (OSError, pa.ArrowException) as error:
            reason, step = (
                "this part is damaged",
                "delete it, and run the same again: it alone is done",
            )
            raise StoreError(str(path), reason, next_step=step) from error
        if by not in names:
            step = "give the fields a column county, or ask for --summary cell"
            raise SeasonProblems.of("--summary", "the fields have no county", next_step=step)
        yield table


def _column(stage: str, quantile: str) -> str:
    return f"{stage.lower()}_{quantile}"


def _counted(table: Any, area: FloatArray, code: Any, groups: int, ends: Any) -> FloatArray:
    """Area that comes between one date and the next, and that of all known fields at the end.

    Shape (groups, stages, quantiles, dates + 2): before the last place, what comes after all dates.
    """
    counted = np.zeros((groups, len(STAGES), len(QUANTILES), len(ends) + 2))
    for s, stage in enumerate(STAGES):
        for q, quantile in enumerate(QUANTILES):
            column = table[_column(stage, quantile)]
            known = ~column.is_null().to_numpy()
            days = pc.fill_null(column, 0).to_numpy()
            place = code * (len(ends) + 1) + np.searchsorted(ends, days)
            weights = np.where(known, area, 0.0)
            found = np.bincount(place, weights=weights, minlength=groups * (len(ends) + 1))
            counted[:, s, q, :-1] = found.reshape(groups, -1)
            counted[:, s, q, -1] = np.bincount(code, weights=weights, minlength=groups)
    return counted


def _shares(name: str, total: FloatArray) -> Iterator[StageShares]:
    for stage, counted in zip(STAGES, total, strict=True):
        area = float(counted[0, -1])
        come = np.cumsum(counted[:, :-2], axis=1) / (area or 1.0)
        early, middle, late = np.minimum(come, 1.0)
        yield StageShares(name, stage, early, middle, late, area)
