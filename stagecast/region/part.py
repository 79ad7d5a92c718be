"""One part of a region: the seasons of its cells laid out, its fields forecast, as one table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from stagecast.base.errors import WeatherGap
from stagecast.base.units import FloatArray
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, stage_after, stage_place
from stagecast.knowledge.groups import group_at, group_of
from stagecast.knowledge.loader import load
from stagecast.pests.thresholds import FieldFacts
from stagecast.pests.windows import last_host_stage
from stagecast.phenology.daylength import declination_rad
from stagecast.phenology.parameters import group_parameters
from stagecast.region.fields import KEPT, WRITTEN, sighted_column
from stagecast.region.kernel import (
    UNKNOWN,
    DayArray,
    FieldNumbers,
    forecast_cell,
)
from stagecast.region.numbers import (
    CropNumbers,
    GroupNumbers,
    IntArray,
    Records,
    TimedPest,
    activity_numbers,
    group_levels,
    members_of,
    pest_numbers,
    records,
    timed_pests,
    window_numbers,
)
from stagecast.region.sun import SunNumbers
from stagecast.region.weather import Layout, RegionWeather
from stagecast.season.rules import season_span
from stagecast.weather.seasons import SeasonSpan

QUANTILES = ("p10", "p50", "p90")
FEWEST_MEMBERS = 30
"""Possible seasons of a field where nobody says how many draws: a matter of arithmetic."""


@dataclass(frozen=True, slots=True)
class RegionAsked:
    """What is forecast, and as of when.

    Attributes
    ----------
    draws: of the errors for each past season; None for as many as make thirty members.
    sighted: ids of pests whose heat counts from a day that the fields give.
    own: optional; in place of what ships.
    """

    as_of: dt.date
    draws: int | None = None
    sighted: tuple[str, ...] = ()
    own: Knowledge | None = None

    @property
    def knowledge(self) -> Knowledge:
        """What is known of crop and pests."""
        return load() if self.own is None else self.own

    @property
    def span(self) -> SeasonSpan:
        """The season's days."""
        return season_span(self.as_of.year, self.knowledge)


@dataclass(frozen=True, slots=True)
class ForecastPart:
    """A part's table, and its cells of which no past season is whole."""

    table: Any
    without_weather: tuple[str, ...]


def column_names(asked: RegionAsked) -> list[str]:
    """Names of the columns of days, in the order in which the loop writes them."""
    pests = timed_pests(asked.knowledge, asked.span, sighted=asked.sighted)
    names = [_word(stage) for stage in STAGE_ORDER[1:]]
    windows = [one.id for one in asked.knowledge.windows]
    windows += [f"{one.pest.id}_{activity.id}" for one in pests for activity in one.activities]
    names += [f"{_word(name)}_{end}" for name in windows for end in ("opens", "closes")]
    return [f"{name}_{quantile}" for name in names for quantile in QUANTILES]


def _word(name: str) -> str:
    return name.lower().replace("-", "_").replace(".", "_")


def forecast_part(
    fields: Any, cells: Sequence[str], starts: IntArray, weather: RegionWeather, asked: RegionAsked
) -> ForecastPart:
    """Forecast the fields of some cells.

    Parameters
    ----------
    fields : pyarrow.Table
        Rows of :class:`~stagecast.region.fields.RegionFields`, cell after cell.
    cells : sequence of str
    starts : ndarray, shape (cells + 1,)
        Row at which each cell begins.
    """
    numbers = _numbers_of(asked)
    inputs = _inputs(fields, numbers)
    names = column_names(asked)
    out = np.full((len(names), fields.num_rows), UNKNOWN, dtype=np.int16)
    layout = Layout(numbers.span, as_of=asked.as_of, limits=asked.knowledge.weather)
    without = []
    for number, (cell, record) in enumerate(weather.read(cells)):
        rows = slice(int(starts[number]), int(starts[number + 1]))
        planted = int(inputs.planting_day[rows].min())
        first = numbers.span.first_day + dt.timedelta(days=planted + 1)
        try:
            seasons = layout.seasons(cell, record, needed_from=first)
        except WeatherGap:
            without.append(cell)
            continue
        count = len(seasons.tmin_c)
        draws = asked.draws or -(-FEWEST_MEMBERS // count)
        forecast_cell(
            seasons.tmin_c,
            seasons.tmax_c,
            seasons.shared,
            numbers.sun,
            inputs.fields[rows],
            np.argsort(inputs.planting_day[rows], kind="stable"),
            inputs.last_events,
            np.ascontiguousarray(inputs.sighted[:, rows]),
            inputs.groups,
            numbers.members(count, draws),
            numbers.crop,
            numbers.windows,
            numbers.pests,
            numbers.activities,
            numbers.least_share,
            out,
            rows.start,
        )
    return ForecastPart(_table(fields, names, out), tuple(without))


def _table(fields: Any, names: Sequence[str], out: DayArray) -> Any:
    kept = [name for name in KEPT if name in fields.column_names]
    columns = {name: fields[name].combine_chunks() for name in kept}
    for name, days in zip(names, out, strict=True):
        unknown = days == UNKNOWN
        columns[name] = pa.array(days, mask=unknown if unknown.any() else None)
    return pa.table(columns)


class _Numbers:
    """What is the same for every cell."""

    def __init__(self, asked: RegionAsked) -> None:
        knowledge, span = asked.knowledge, asked.span
        self.knowledge, self.span = knowledge, span
        self.timed = timed_pests(knowledge, span, sighted=asked.sighted)
        self.pests = records(pest_numbers(self.timed, knowledge))
        self.windows = records(window_numbers(knowledge))
        self.activities = records(activity_numbers(self.timed))
        self.least_share = float(knowledge.revisit.overlap_share)
        self.crop = CropNumbers.of(knowledge.soybean)
        declination = declination_rad(span.days_of_year().astype(np.float64))
        self.sun = SunNumbers(np.sin(declination), np.cos(declination))
        self._ends: dict[tuple[str, str, int], list[int]] = {}
        self._members: dict[tuple[int, int], Records] = {}

    def members(self, seasons: int, draws: int) -> Records:
        """The members of a cell with so many possible seasons."""
        key = seasons, draws
        if key not in self._members:
            self._members[key] = records(members_of(seasons, draws, self.knowledge.soybean))
        return self._members[key]

    def ends(self, state: str, group: str, planting_day: int) -> list[int]:
        """The crop event that ends the host stages of each activity; -1 where it is not met."""
        key = state, group, planting_day
        if key not in self._ends:
            planted = self.span.first_day + dt.timedelta(days=planting_day)
            facts = FieldFacts(planting_date=planted, group=group)
            self._ends[key] = [
                end for one in self.timed for end in _ends_of(one, state, facts, self.knowledge)
            ]
        return self._ends[key]


_LAST: list[tuple[RegionAsked, _Numbers]] = []


def _numbers_of(asked: RegionAsked) -> _Numbers:
    """Made once for all parts of a run."""
    if not _LAST or _LAST[0][0] != asked:
        _LAST[:] = [(asked, _Numbers(asked))]
    return _LAST[0][1]


@dataclass(frozen=True, slots=True, eq=False)
class _Inputs:
    """What the loop reads of each field of a part."""

    fields: Records
    planting_day: IntArray
    last_events: IntArray
    sighted: FloatArray
    groups: Records


def _inputs(fields: Any, numbers: _Numbers) -> _Inputs:
    planting_day = fields["planting_day"].to_numpy().astype(np.int64)
    kind, groups = _kinds(fields, numbers)
    place, last_events = _places(fields, planting_day, numbers)
    sighted = np.full((len(numbers.timed), fields.num_rows), np.nan)
    for row, one in enumerate(numbers.timed):
        name = sighted_column(one.pest.id)
        if name in fields.column_names:
            # A catch is taken as made at midday, as in a season folder.
            sighted[row] = fields[name].to_numpy().astype(np.float64) + 0.5
    latitude = np.radians(fields["latitude"].to_numpy())
    of_fields = records(FieldNumbers(planting_day, latitude, kind, place))
    return _Inputs(of_fields, planting_day, last_events, sighted, records(groups))


def _kinds(fields: Any, numbers: _Numbers) -> tuple[IntArray, GroupNumbers]:
    """Fields alike in group and habit have the same parameters, one column for each level."""
    soybean = numbers.knowledge.soybean
    rows = np.column_stack(
        [
            fields[name].to_numpy().astype(np.float64)
            for name in ("group_number", "written", "indeterminate")
        ]
    )
    kinds, kind = np.unique(rows, axis=0, return_inverse=True)
    spread = soybean.ensemble.group_sd
    sd = np.array([float(spread[WRITTEN[int(written)]]) for written in kinds[:, 1]])
    cultivar = kinds[:, :1] + sd[:, None] * group_levels(soybean.ensemble)
    knots = soybean.groups.knots.values
    found = group_parameters(
        np.clip(cultivar, knots[0], knots[-1]),
        indeterminate=kinds[:, 2:] == 1.0,
        soybean=soybean,
        year=numbers.span.year,
    )
    return kind.ravel().astype(np.int64), GroupNumbers(
        found.critical_h,
        found.sensitivity,
        found.need_ve_r1,
        found.need_r1_r5,
        found.need_r5_r7,
    )


def _places(fields: Any, planting_day: IntArray, numbers: _Numbers) -> tuple[IntArray, IntArray]:
    """When the host is past for each pest activity, by state, group of states and planting day."""
    states, state = _states(fields)
    groups = numbers.knowledge.groups
    names = ["", *groups]
    group = np.array([names.index(group_of(one, groups)) for one in states])[state]
    parted = {part.region for one in groups.values() for part in one.parts}
    latitude, longitude = fields["latitude"].to_numpy(), fields["longitude"].to_numpy()
    for row in np.flatnonzero(np.array([one in parted for one in states])[state]).tolist():
        place = float(latitude[row]), float(longitude[row])
        group[row] = names.index(group_at(states[state[row]], *place, groups))
    days = numbers.span.days
    coded = (state * len(names) + group) * days + planting_day
    kinds, kind = np.unique(coded, return_inverse=True)
    ends = [
        numbers.ends(states[one // days // len(names)], names[one // days % len(names)], one % days)
        for one in kinds.tolist()
    ]
    shape = len(ends), len(numbers.activities)
    return kind.astype(np.int64), np.array(ends, dtype=np.int64).reshape(shape)


def _states(fields: Any) -> tuple[list[str], IntArray]:
    """The states of some fields, and which of them each field is in; nothing is one of them."""
    if "state" not in fields.column_names:
        return [""], np.zeros(fields.num_rows, dtype=np.int64)
    coded = pc.fill_null(fields["state"], "").combine_chunks().dictionary_encode()
    return coded.dictionary.to_pylist(), coded.indices.to_numpy().astype(np.int64)


def _ends_of(timed: TimedPest, state: str, facts: FieldFacts, knowledge: Knowledge) -> list[int]:
    if not timed.pest.presence.met_in((state,)):
        return [-1] * len(timed.activities)
    return [
        stage_place(
            stage_after(
                last_host_stage(timed.pest, one, region=state, facts=facts, knowledge=knowledge)
            )
        )
        for one in timed.activities
    ]
