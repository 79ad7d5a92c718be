"""Which past years are still to be asked for, cell by cell.

A cell holds a past year when it was asked for all of that year once the year was settled, whatever
came of it, or when its observed days reach the year's last week. Years go back without a break: one
that was asked for and has no day ends the search, because older ones have none either.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from stagecast.weather.store import WeatherStore

_SETTLED_DAYS = 30  # a service still adds days to a year for some weeks after its end
_LAST_WEEK = (12, 24)


def years_missing(
    store: WeatherStore, cells: Iterable[str], *, year: int, past: int, through: dt.date
) -> dict[int, list[str]]:
    """Year -> the cells that lack it, the latest year first.

    The ``past`` years before the season's are wanted, but none that begins after ``through``.
    """
    observed, asked = store.last_observed_by_year(), store.whole_years()
    wanted = range(min(year - 1, through.year), max(year - past, dt.MINYEAR) - 1, -1)
    missing: dict[int, list[str]] = {y: [] for y in wanted}
    for cell in cells:
        for y in _missing(cell, wanted, observed, asked):
            missing[y].append(cell)
    return {y: lacking for y, lacking in missing.items() if lacking}


def settled(year: int, *, through: dt.date, today: dt.date) -> bool:
    """Whether a year asked for up to ``through`` is whole, and late enough to stay as it is."""
    end = dt.date(year, 12, 31)
    return through >= end and (today - end).days >= _SETTLED_DAYS


def _missing(
    cell: str,
    years: Iterable[int],
    observed: dict[tuple[str, int], dt.date],
    asked: set[tuple[str, int]],
) -> Iterator[int]:
    """Years that a cell lacks, latest first, until one that has no day."""
    for year in years:
        until = observed.get((cell, year))
        if (cell, year) in asked:
            if until is None:
                return
        elif until is None or until < dt.date(year, *_LAST_WEEK):
            yield year
