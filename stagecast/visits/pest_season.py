"""One pest in one season: its timing, windows and heat curve for each station or for a field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from stagecast.base.errors import SeasonProblems
from stagecast.forecast.field_names import field_named, one_named
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import LoadedSeason, read_folder
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, CropEvent, stage_place
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import NotTimed
from stagecast.pests.thresholds import (
    UNKNOWN,
    FieldFacts,
    ShownThreshold,
    StageThreshold,
    best_by_stage,
    thresholds_at,
)
from stagecast.pests.windows import ScoutingWindow, pest_windows
from stagecast.season.settings.pest_names import find_pest
from stagecast.visits.heat import PestHeat, by_station
from stagecast.visits.reentry import NoEntry, no_entry_as_of
from stagecast.visits.season_day import SeasonDay

BLOOM = ("R1", "R5")
"""Stages between which bees are in the flowers, as :data:`stagecast.words.notes.CAUTION` says."""


@dataclass(frozen=True, slots=True, eq=False)
class PestPlace:
    """A pest at a station, or in a field that was asked for.

    Attributes
    ----------
    fields : tuple of FieldForecast
        All fields here.
    heat : PestHeat or NotTimed
        Told for the field that was asked for, else for the first whose heat begins.
    windows : tuple of (FieldForecast, ScoutingWindow)
        Of the pest, or of the complex it is counted with, by opening date.
    """

    station: str
    fields: tuple[FieldForecast, ...]
    heat: PestHeat | NotTimed
    windows: tuple[tuple[FieldForecast, ScoutingWindow], ...]

    @property
    def forecast(self) -> FieldForecast:
        """The field for which the heat is told."""
        return self.heat.forecast if isinstance(self.heat, PestHeat) else self.fields[0]

    def windows_in_bloom(self) -> Iterator[tuple[FieldForecast, ScoutingWindow, bool]]:
        """Every window, and whether it may meet the flowers, in which bees are at work."""
        for forecast, window in self.windows:
            yield forecast, window, _in_bloom(forecast, window)


@dataclass(frozen=True, slots=True, eq=False)
class PestSeason:
    """A pest in a season folder as it stood on a day.

    Attributes
    ----------
    places : tuple of PestPlace
        Empty where there is no field yet, or the season's region does not have the pest.
    stage : str or None
        Stage on that day of the field that was asked for; None for stations.
    facts : FieldFacts
        What is known of that field.
    field : str or None
        Its id.
    """

    pest: Pest
    loaded: LoadedSeason
    places: tuple[PestPlace, ...]
    stage: str | None
    facts: FieldFacts = UNKNOWN
    field: str | None = None

    @property
    def met(self) -> bool:
        """Whether a scout in the regions of the season has to reckon with the pest."""
        return self.pest.presence.met_in(self.regions)

    @property
    def regions(self) -> tuple[str, ...]:
        """Codes of the regions that are spoken of: that of the field asked for, else all."""
        season = self.loaded.season
        return season.regions if self.field is None else (season.region_of(self.field),)

    def no_entry(self, field_id: str) -> NoEntry | None:
        """Until when a field may not be entered, on the day asked for."""
        return no_entry_as_of(self.loaded.season.log, field_id, self.loaded.as_of)

    @property
    def thresholds(self) -> tuple[StageThreshold, ...]:
        """Those a visit would be shown: at the field's stage, else stage by stage.

        A field at whose stage none holds is told those of the other stages.
        """
        return self._now or self._best(STAGE_ORDER)

    @property
    def holds_now(self) -> bool:
        """Whether any threshold holds at the stage of the field that was asked for."""
        return bool(self._now)

    @property
    def _now(self) -> tuple[StageThreshold, ...]:
        return () if self.stage is None else self._best((STAGE_ORDER[stage_place(self.stage)],))

    def _best(self, stages: tuple[CropEvent, ...]) -> tuple[StageThreshold, ...]:
        season = self.loaded.season
        return best_by_stage(
            self.pest,
            region=self.regions[0],
            knowledge=season.knowledge,
            stages=stages,
            facts=self.facts,
        )


def pest_season(
    path: Path,
    name: str,
    *,
    as_of: dt.date,
    field: str | None = None,
    station: str | None = None,
) -> PestSeason:
    """Time a pest, also one of the folder's own, in a field, at a station or at every station.

    Raises
    ------
    SeasonProblems
        With every error of every file; or when there is no such pest, field or station.
    """
    read = read_folder(path)
    pest = find_pest(name, read.season.knowledge.pests)
    season = SeasonDay(read, as_of)
    forecasts = [one.forecast for one in season.fields]
    if field is None:
        groups, stage, facts = _stations(forecasts, station), None, UNKNOWN
    else:
        forecast = _field(field, forecasts, season.loaded)
        groups, stage = [[forecast]], forecast.stage_now
        facts, field = FieldFacts.of(forecast.field), forecast.field.field_id
    found = PestSeason(pest, season.loaded, (), stage, facts, field)
    if not found.met:
        return found
    return replace(found, places=tuple(_place(group, pest, season) for group in groups))


def scouted_as(pest: Pest, knowledge: Knowledge) -> Pest:
    """The pest whose windows and sampling hold: itself, or the complex it is counted with."""
    if pest.activities or pest.counted_with is None:
        return pest
    return knowledge.pests[pest.counted_with]


def every_threshold(pest: Pest, knowledge: Knowledge) -> tuple[ShownThreshold, ...]:
    """All published thresholds of a pest, or of its complex, whoever asks."""
    return thresholds_at(pest, region="", stage=None, knowledge=knowledge)


def samplings(pest: Pest, knowledge: Knowledge) -> list[str]:
    """Ids of the sampling methods of a pest's activities, or of its complex, each once."""
    ids = (activity.sample for activity in scouted_as(pest, knowledge).activities)
    return [i for i in dict.fromkeys(ids) if i in knowledge.sampling]


def _field(asked: str, forecasts: Sequence[FieldForecast], loaded: LoadedSeason) -> FieldForecast:
    """The field with an id, in any case; one that was refused says why."""
    found = field_named(asked, loaded.season, option="--field").field_id
    for forecast in forecasts:
        if forecast.field.field_id == found:
            return forecast
    raise SeasonProblems(loaded.refused)


def _stations(
    forecasts: Iterable[FieldForecast], asked: str | None
) -> list[Sequence[FieldForecast]]:
    """The fields of every station, or of the one asked for."""
    groups = by_station(forecasts)
    if asked is None:
        return list(groups.values())
    return [groups[_named("--station", asked, list(groups), "no field has its weather from this")]]


def _named(option: str, asked: str, names: Sequence[str], message: str) -> str:
    several = "several differ from this in case alone"
    return one_named(asked, names, option=option, none=message, several=several)


def _place(fields: Sequence[FieldForecast], pest: Pest, season: SeasonDay) -> PestPlace:
    ours = [scouted_as(pest, season.knowledge)]
    windows = [(f, w) for f in fields for w in pest_windows(f, season.clock, ours)]
    return PestPlace(
        station=fields[0].weather.season.station.station,
        fields=tuple(fields),
        heat=season.heat.earliest(fields, pest),
        windows=tuple(sorted(windows, key=_opening)),
    )


def _opening(pair: tuple[FieldForecast, ScoutingWindow]) -> tuple[dt.date, str, str]:
    forecast, window = pair
    return window.opens.p50 or dt.date.max, forecast.field.field_id, window.window


def _in_bloom(forecast: FieldForecast, window: ScoutingWindow) -> bool:
    """Whether a window may be open on a day of bloom; ends that never come lie at the end."""
    first, last = (forecast.stages[stage] for stage in BLOOM)
    if window.opens.p10 is None or first.p10 is None:
        return False
    closes, ends = window.closes.p90 or dt.date.max, last.p90 or dt.date.max
    return window.opens.p10 <= ends and first.p10 <= closes
