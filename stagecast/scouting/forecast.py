"""The growth-stage forecast of every field of a season folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from stagecast.knowledge import Knowledge
from stagecast.phenology.daylength import day_length_hours
from stagecast.phenology.parameters import CropParameters, group_parameters
from stagecast.phenology.soybean import STAGES, FieldInputs, cell_rates, stage_times
from stagecast.phenology.spread import normal_draws, stage_sd_days, with_model_error
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.ranges import DateRange, date_range
from stagecast.scouting.stations import FieldWeather, emergence_seen
from stagecast.season.fields import Field
from stagecast.weather.seasons import SeasonSpan, SeasonWeather

FloatArray = NDArray[np.float64]

NOT_PLANTED, PLANTED = "not planted", "planted"


@dataclass(frozen=True, slots=True, eq=False)
class FieldForecast:
    """Stages of one field.

    Attributes
    ----------
    field : Field
    weather : FieldWeather
    span : SeasonSpan
    times : ndarray, shape (members, stages)
        Fractional days since the span's first day, per possible season and model error.
    draws : int
        Model errors per possible season; member i belongs to season ``i // draws``.
    stages : dict
        Stage -> range of dates.
    stage_now : str
        The stage on the day asked for in the middle of the possible seasons.
    """

    field: Field
    weather: FieldWeather
    span: SeasonSpan
    times: FloatArray
    draws: int
    stages: dict[str, DateRange]
    stage_now: str

    def stage_time(self, event: str) -> FloatArray:
        """Time of a crop event in every member; planting is the same in all."""
        if event == "planting":
            planted = float(self.span.index(self.field.planting_date))
            return np.full(len(self.times), planted)
        return self.times[:, STAGES.index(event)]

    def next_stage(self, as_of: dt.date) -> str | None:
        """The next stage ahead of a day that is reached this season; V stages count up to V4."""
        for stage in STAGES:
            day = self.stages[stage].p50
            if day is not None and day > as_of:
                return stage
        return None


def forecast_season(loaded: LoadedSeason, knowledge: Knowledge) -> list[FieldForecast]:
    """Forecast every field that has weather, in file order.

    Fields that share a station share its temperatures and are computed together.
    """
    fields = [f for f in loaded.season.fields if f.field_id in loaded.weather]
    by_station = sorted(fields, key=lambda f: _station(loaded, f))
    done: dict[str, FieldForecast] = {}
    for _, group in groupby(by_station, key=lambda f: _station(loaded, f)):
        for forecast in _forecast_station(list(group), loaded, knowledge):
            done[forecast.field.field_id] = forecast
    return [done[field.field_id] for field in fields]


def _station(loaded: LoadedSeason, field: Field) -> str:
    return loaded.weather[field.field_id].season.station.station


def _forecast_station(
    fields: Sequence[Field], loaded: LoadedSeason, knowledge: Knowledge
) -> Iterable[FieldForecast]:
    span, soybean = loaded.span, knowledge.soybean
    season: SeasonWeather = loaded.weather[fields[0].field_id].season
    crop = CropParameters.from_knowledge(soybean)
    rates = cell_rates(season.tmin_c[None], season.tmax_c[None], crop=crop)
    emerged = _emerged_times(fields, loaded)
    inputs = _inputs(fields, emerged, span, knowledge)
    now = span.index(loaded.as_of) + 1.0
    result = stage_times(rates, inputs, crop=crop, nodes_at=now)
    draws = normal_draws(int(float(soybean.spread.draws)))
    planted = inputs.planting_day
    sd_days = stage_sd_days(planted + 1, ~np.isnan(emerged), spread=soybean.spread)
    not_before = np.where(np.isnan(emerged), planted + 1.0, emerged)
    times = with_model_error(result.times, sd_days, draws=draws, not_before=not_before)
    for i, field in enumerate(fields):
        stages = {s: date_range(times[i, :, j], span) for j, s in enumerate(STAGES)}
        nodes = float(np.median(result.nodes[i]))
        yield FieldForecast(
            field=field,
            weather=loaded.weather[field.field_id],
            span=span,
            times=times[i],
            draws=len(draws),
            stages=stages,
            stage_now=_stage_now(field, stages, nodes, loaded.as_of),
        )


def _emerged_times(fields: Sequence[Field], loaded: LoadedSeason) -> FloatArray:
    """Observed emergence at midday, NaN where not seen."""
    days = [emergence_seen(field, loaded.as_of) for field in fields]
    return np.array([np.nan if day is None else loaded.span.index(day) + 0.5 for day in days])


def _inputs(
    fields: Sequence[Field], emerged: FloatArray, span: SeasonSpan, knowledge: Knowledge
) -> FieldInputs:
    soybean = knowledge.soybean
    number = np.array([f.maturity.number for f in fields])
    said_indeterminate = np.array(
        [f.growth_habit == "indeterminate" and not f.habit_defaulted for f in fields]
    )
    determinate = np.array([f.growth_habit == "determinate" for f in fields])
    stops_early = number >= float(soybean.nodes.determinate_stop_from)
    latitude = np.array([f.latitude for f in fields])
    return FieldInputs(
        cell=np.zeros(len(fields), dtype=np.intp),
        planting_day=np.array([span.index(f.planting_date) for f in fields]),
        emerged_time=emerged,
        determinate=determinate & stops_early,
        groups=group_parameters(number, indeterminate=said_indeterminate, soybean=soybean),
        day_length_h=day_length_hours(
            latitude[:, None],
            span.days_of_year()[None, :],
            sun_angle_deg=float(soybean.photoperiod.sun_angle),
        ),
    )


def _stage_now(field: Field, stages: dict[str, DateRange], nodes: float, as_of: dt.date) -> str:
    """The stage in the middle of the possible seasons; V stages go on counting past V4."""
    if as_of < field.planting_date:
        return NOT_PLANTED
    reached = [s for s in STAGES if (day := stages[s].p50) is not None and day <= as_of]
    if not reached:
        return PLANTED
    stage = reached[-1]
    last_listed = [s for s in STAGES if s.startswith("V")][-1]
    if stage == last_listed and nodes >= int(stage[1:]) + 1:
        return f"V{int(nodes)}"
    return stage
