"""The possible seasons of every field, before anything seen in the fields is learnt from."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from statistics import NormalDist

import numpy as np

from stagecast.base.steps import step
from stagecast.base.units import FloatArray
from stagecast.forecast.load import LoadedSeason
from stagecast.forecast.ranges import PROBABILITIES
from stagecast.forecast.stations import emergence_seen
from stagecast.knowledge.crop import Learning, Soybean
from stagecast.phenology.daylength import day_length_hours
from stagecast.phenology.ensemble import Draws, make_draws, member_errors
from stagecast.phenology.learning import no_surer
from stagecast.phenology.parameters import CropParameters, GroupParameters, group_parameters
from stagecast.phenology.soybean import FieldInputs, cell_rates, stage_times
from stagecast.season.tables.fields import Field
from stagecast.weather.seasons import SeasonSpan


@dataclass(frozen=True, slots=True, eq=False)
class FieldMembers:
    """A field and its possible seasons.

    Attributes
    ----------
    cell: the station or cell whose weather the field has.
    times : ndarray, shape (members, stages)
        Fractional days since the span's first day.
    nodes : ndarray, shape (members,)
        Main-stem nodes on the day asked for.
    draws: draws of errors per past season; member i belongs to season ``i // draws``.
    middles: middle times of stages, as far as they were asked for.
    """

    field: Field
    cell: str
    times: FloatArray
    nodes: FloatArray
    draws: int
    middles: dict[str, float] = dataclasses.field(default_factory=dict, init=False, repr=False)


def season_members(loaded: LoadedSeason) -> list[FieldMembers]:
    """Possible seasons of every field that has weather, in file order.

    Fields that share a station share its temperatures and are computed together.
    """
    fields = [f for f in loaded.season.fields if f.field_id in loaded.weather]
    by_station = sorted(fields, key=lambda f: _station(loaded, f))
    done: dict[str, FieldMembers] = {}
    for cell, group in groupby(by_station, key=lambda f: _station(loaded, f)):
        step()
        for members in _station_members(cell, list(group), loaded):
            done[members.field.field_id] = members
    return [done[field.field_id] for field in fields]


def _station(loaded: LoadedSeason, field: Field) -> str:
    return loaded.weather[field.field_id].season.station.station


def _station_members(
    cell: str, fields: Sequence[Field], loaded: LoadedSeason
) -> Iterable[FieldMembers]:
    soybean, span = loaded.knowledge.soybean, loaded.span
    season = loaded.weather[fields[0].field_id].season
    crop = CropParameters.from_knowledge(soybean)
    ensemble = soybean.ensemble
    draws = _draws(
        int(ensemble.levels), int(ensemble.per_level), float(ensemble.shared), int(ensemble.seed)
    )
    inputs = _inputs(fields, loaded, draws)
    result = stage_times(
        cell_rates(season.tmin_c[None], season.tmax_c[None], crop=crop),
        inputs,
        crop=crop,
        nodes_at=span.index(loaded.as_of) + 1.0,
        errors=member_errors(draws, ensemble=ensemble),
    )
    alike = np.full(result.nodes.shape[1], 1.0 / result.nodes.shape[1])
    seen = np.isfinite(inputs.emerged_time)
    for field, times, nodes, looked_at in zip(
        fields, result.times, result.nodes, seen, strict=True
    ):
        if looked_at:
            times = dated_no_closer(times, alike, soybean.learning)
        yield FieldMembers(field, cell, times, nodes, draws.count)


def dated_no_closer(times: FloatArray, weights: FloatArray, learning: Learning) -> FloatArray:
    """Stage times of a field that was looked at.

    No stage is dated more closely than a person in the field can date it; a VE that was seen is a
    date that was given, and stays.
    """
    normal = NormalDist()
    wide = normal.inv_cdf(PROBABILITIES[-1]) - normal.inv_cdf(PROBABILITIES[0])
    return no_surer(
        times, weights, least_days=wide * float(learning.staging_sd), probabilities=PROBABILITIES
    )


@cache
def _draws(levels: int, per_level: int, shared: float, seed: int) -> Draws:
    return make_draws(levels=levels, per_level=per_level, shared=shared, seed=seed)


def _inputs(fields: Sequence[Field], loaded: LoadedSeason, draws: Draws) -> FieldInputs:
    soybean, span = loaded.knowledge.soybean, loaded.span
    number = np.array([f.maturity.number for f in fields])
    stops_early = number >= float(soybean.nodes.determinate_stop_from)
    latitude = np.array([f.latitude for f in fields])
    return FieldInputs(
        cell=np.zeros(len(fields), dtype=np.intp),
        planting_day=np.array([span.index(f.planting_date) for f in fields]),
        emerged_time=_emerged_times(fields, loaded, span),
        determinate=np.array([f.growth_habit == "determinate" for f in fields]) & stops_early,
        groups=_groups(fields, number, draws, soybean, year=span.year),
        day_length_h=day_length_hours(
            latitude[:, None],
            span.days_of_year()[None, :],
            sun_angle_deg=float(soybean.photoperiod.sun_angle),
        ),
    )


def _emerged_times(fields: Sequence[Field], loaded: LoadedSeason, span: SeasonSpan) -> FloatArray:
    """Observed emergence at midday; an emergence still ahead of the day asked for is unknown."""
    seen = [emergence_seen(field, loaded.as_of) for field in fields]
    return np.array([np.nan if day is None else span.index(day) + 0.5 for day in seen])


def _groups(
    fields: Sequence[Field], number: FloatArray, draws: Draws, soybean: Soybean, *, year: int
) -> GroupParameters:
    """Parameters of the cultivars a field may hold, one column per level."""
    groups = soybean.groups
    sd = np.array([float(soybean.ensemble.group_sd[f.maturity.written]) for f in fields])
    cultivar = number[:, None] + sd[:, None] * draws.group
    within = np.clip(cultivar, groups.knots.values[0], groups.knots.values[-1])
    said_indeterminate = np.array(
        [f.growth_habit == "indeterminate" and not f.habit_defaulted for f in fields]
    )
    return group_parameters(
        within, indeterminate=said_indeterminate[:, None], soybean=soybean, year=year
    )
