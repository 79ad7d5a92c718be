"""The stages of a field with their dates, and those with the weather of each past season."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days
from stagecast.words.plain import stage_words

DRAWN = ("VE", "V2", "V4", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""Stages with a row of their own; one for every node would say little."""


@dataclass(frozen=True, slots=True)
class StageRow:
    """A stage, when it comes, and when it would come with the weather of each past season."""

    stage: str
    dates: DateRange
    past: tuple[dt.date | None, ...]

    @property
    def words(self) -> str:
        """What the stage is."""
        return stage_words(self.stage)


@dataclass(frozen=True, slots=True)
class StageChart:
    """What the table behind the ribbon shows.

    ``years``: past seasons, in the order of each row's dates; empty where no weather lies ahead.
    """

    rows: tuple[StageRow, ...]
    years: tuple[int, ...]

    @property
    def differing(self) -> tuple[int, ...]:
        """Places of the rows whose dates differ between past seasons."""
        return tuple(i for i, row in enumerate(self.rows) if len(set(row.past)) > 1)

    @property
    def groups(self) -> tuple[tuple[tuple[int, ...], int], ...]:
        """Past seasons with the same dates, and the place of one of them in each row."""
        found: dict[tuple[dt.date | None, ...], list[int]] = {}
        for place in range(len(self.years)):
            found.setdefault(tuple(row.past[place] for row in self.rows), []).append(place)
        return tuple((tuple(self.years[i] for i in places), places[0]) for places in found.values())


def stage_chart_of(forecast: FieldForecast) -> StageChart:
    """Gather the dates of a field.

    Notes
    -----
    A past season stands for the days from today on; up to today every line has this season's
    temperatures. Of its draws of errors the middle one is taken, by what was seen in the field.
    """
    years = forecast.weather.season.member_years
    rows = [
        StageRow(stage, forecast.stages[stage], tuple(_past(forecast, stage, len(years))))
        for stage in DRAWN
    ]
    return StageChart(tuple(rows), years)


def _past(forecast: FieldForecast, stage: str, seasons: int) -> Iterator[dt.date | None]:
    times, draws = forecast.times[:, STAGES.index(stage)], forecast.draws
    for season in range(seasons):
        ours = slice(season * draws, (season + 1) * draws)
        weights = forecast.weights[ours]
        told = quantile_days(times[ours], (0.5,), weights if weights.sum() > 0 else None)
        yield forecast.span.date(float(told[0]))
