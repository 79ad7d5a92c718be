"""Which past years are still to be asked for, cell by cell.

A cell holds a past year when nearly all of its days are observed and they reach its last week, or,
once the year was asked for as a whole, when nearly all are. One that came in part, or not at all,
is asked for again until the answer was the same on some days: then it is all there is. Years go
back without a break: one of which there is no day ends the search, because older ones have none.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from stagecast.knowledge.rules import WeatherLimits
from stagecast.weather.store import WeatherStore, YearHeld

_SETTLED_DAYS = 30  # a service still adds days to a year for some weeks after its end
_LAST_WEEK = (12, 24)


def years_missing(
    store: WeatherStore,
    cells: Iterable[str],
    *,
    year: int,
    past: int,
    through: dt.date,
    limits: WeatherLimits,
    again: int | None = None,
) -> dict[int, list[str]]:
    """Year -> the cells that lack it, the latest year first.

    The ``past`` years before the season's are wanted, but none that begins after ``through``.
    ``again`` is a year that is asked for whatever is held of it.
    """
    wanted = range(min(year - 1, through.year), max(year - past, dt.MINYEAR) - 1, -1)
    held = _Held(store.observed_by_year(), store.whole_years(), limits)
    missing: dict[int, list[str]] = {y: [] for y in wanted}
    for cell in cells:
        lacking = set(held.missing(cell, wanted))
        for y in wanted:
            if y in lacking or y == again:
                missing[y].append(cell)
    return {y: lacking for y, lacking in missing.items() if lacking}


def settled(year: int, *, through: dt.date, today: dt.date) -> bool:
    """Whether a year asked for up to ``through`` is whole, and late enough to stay as it is."""
    end = dt.date(year, 12, 31)
    return through >= end and (today - end).days >= _SETTLED_DAYS


@dataclass(frozen=True, slots=True)
class _Held:
    """What a store holds of every year of every cell, and how often it was asked for in vain."""

    observed: dict[tuple[str, int], YearHeld]
    alike: dict[tuple[str, int], int]
    limits: WeatherLimits

    def missing(self, cell: str, years: Iterable[int]) -> Iterator[int]:
        """Years that a cell lacks, latest first, until one of which there is no day."""
        for year in years:
            believed = self.alike.get((cell, year), 0) >= int(self.limits.alike_answers)
            if believed and (cell, year) not in self.observed:
                return
            if not believed and not self._whole(cell, year):
                yield year

    def _whole(self, cell: str, year: int) -> bool:
        held = self.observed.get((cell, year))
        if held is None:
            return False
        share = held.days / (366 if calendar.isleap(year) else 365)
        if share < float(self.limits.whole_year_share):
            return False
        return (cell, year) in self.alike or held.last >= dt.date(year, *_LAST_WEEK)
