"""The growth-stage forecast of every field of a season folder."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from stagecast.base.steps import step
from stagecast.base.units import FloatArray
from stagecast.forecast.load import LoadedSeason
from stagecast.forecast.members import FieldMembers, season_members
from stagecast.forecast.observations import HALF, VEGETATIVE, Learnt, Lesson, alike, learn
from stagecast.forecast.ranges import DateRange, EventTimes, date_range, date_ranges
from stagecast.forecast.stations import FieldWeather
from stagecast.forecast.water import FieldWater, field_water, opened
from stagecast.knowledge.crop import CropEvent, stage_place
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days, unrelated_order
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit
from stagecast.weather.seasons import SeasonSpan

NOT_PLANTED, PLANTED = "not planted", "planted"
LAST_V = VEGETATIVE[-1]
LATE: CropEvent = "R6.5"


@dataclass(frozen=True, slots=True, eq=False)
class FieldForecast:
    """Stages of one field.

    Attributes
    ----------
    times : ndarray, shape (members, stages)
        Fractional days since the span's first day, per possible season and draw of errors.
    weights : ndarray, shape (members,)
        How much each member counts after what was seen; they sum to 1.
    draws: draws per past season; member i belongs to season ``i // draws``.
    stages: stage -> range of dates.
    late_times : ndarray, shape (members,)
        Those of R6.5, which parts R6: some days after it begins, never after R7.
    late: the same as a range of dates.
    unlearnt: the same before anything was seen; None where nothing was learnt.
    lessons: what was seen, in the field and its siblings, and whether it was used.
    stage_now: the stage on the day asked for in the middle of the possible seasons.
    water: how dry the soil is; None where nothing is known of it.
    """

    field: Field
    weather: FieldWeather
    span: SeasonSpan
    times: FloatArray
    weights: FloatArray
    draws: int
    stages: dict[str, DateRange]
    late_times: FloatArray
    late: DateRange
    unlearnt: dict[str, DateRange] | None
    lessons: tuple[Lesson, ...]
    stage_now: str
    water: FieldWater | None = None

    def stage_time(self, event: str) -> FloatArray:
        """Time of a crop event in every member; planting is the same in all."""
        if event == "planting":
            planted = float(self.span.index(self.field.planting_date))
            return np.full(len(self.times), planted)
        if event == LATE:
            return self.late_times
        return self.times[:, STAGES.index(event)]

    def likely_on(self, event: str, chance: float) -> dt.date | None:
        """The first day by which a crop event has come with such a chance, if this season."""
        (time,) = quantile_days(self.stage_time(event), (chance,), self.weights)
        return self.span.date(float(time))

    def dates_of(self, event: str) -> DateRange:
        """When a crop event comes; planting is sure."""
        if event == "planting":
            day = self.field.planting_date
            return DateRange(day, day, day)
        return self.late if event == LATE else self.stages[event]

    def event(self, event: CropEvent) -> EventTimes:
        """A crop event in every member, with its dates."""
        return EventTimes(self.stage_time(event), self.weights, self.dates_of(event))

    def events(self, times: Sequence[FloatArray]) -> list[EventTimes]:
        """Events that come at some times in every member, dated together."""
        dated = zip(times, date_ranges(times, self.span, self.weights), strict=True)
        return [EventTimes(one, self.weights, dates) for one, dates in dated]

    def next_stage(self, as_of: dt.date) -> str | None:
        """The stage after that of a day, if it is reached this season; V stages count up to V4."""
        now = max(self.stage_now, self.stage_on(as_of), key=_place)
        for stage in STAGES:
            day = self.stages[stage].p50
            if day is not None and day > as_of and _place(stage) > _place(now):
                return stage
        return None

    def stage_on(self, day: dt.date) -> str:
        """The stage on a day in the middle of the possible seasons.

        V stages count up to V4; R6 is followed by R6.5.
        """
        if day < self.field.planting_date:
            return NOT_PLANTED
        reached = _reached(self.stages, day)
        return self.parted(reached[-1], day) if reached else PLANTED

    def stage_by(self, day: dt.date) -> str:
        """The stage on a day from the day asked for on: never before that of now."""
        return max(self.stage_on(day), self.parted(self.stage_now, day), key=stage_place)

    def stage_written(self, day: dt.date) -> str:
        """The stage from the day asked for on as one writes it: with its nodes, R6 for late R6."""
        stage = max(self.stage_now, self.stage_on(day), key=stage_place)
        return "R6" if stage == LATE else stage

    def parted(self, stage: str, day: dt.date) -> str:
        """A stage on a day; R6 is R6.5 from the day that parts it."""
        past = self.late.p50 is not None and self.late.p50 <= day
        return LATE if stage == "R6" and past else stage

    def probabilities(self, on: dt.date) -> dict[str, float]:
        """Probability of each stage at the end of a day; they sum to 1.

        V4 stands for V4 and later V stages, ``planted`` for the time before VE.
        """
        end = self.span.index(on) + 1.0
        if on < self.field.planting_date:
            return {NOT_PLANTED: 1.0, **dict.fromkeys((PLANTED, *STAGES), 0.0)}
        # A member is in the last stage that it has reached; stages come in order, but for the
        # fourth node and the first flower, of which the flower counts.
        reached = self.times < end
        last = np.where(reached.any(axis=1), len(STAGES) - 1 - reached[:, ::-1].argmax(axis=1), -1)
        share = [float(self.weights[last == index].sum()) for index in range(-1, len(STAGES))]
        return {NOT_PLANTED: 0.0, **dict(zip((PLANTED, *STAGES), share, strict=True))}


def forecast_season(loaded: LoadedSeason) -> list[FieldForecast]:
    """Forecast every field that has weather, in file order, learning from what was seen."""
    everyone = season_members(loaded)
    notes = _Notes(everyone, loaded)
    forecasts = []
    for members in everyone:
        step()
        forecasts.append(_forecast(members, notes.learnt(members), loaded))
    return forecasts


class _Notes:
    """Stages noted up to the day asked for, by field, and the fields where any was, by cell."""

    def __init__(self, everyone: Sequence[FieldMembers], loaded: LoadedSeason) -> None:
        self._span, self._learning = loaded.span, loaded.knowledge.soybean.learning
        self._visits: dict[str, list[Visit]] = defaultdict(list)
        for visit in loaded.season.visits:
            if visit.stage is not None and visit.date <= loaded.as_of:
                self._visits[visit.field_id].append(visit)
        self._noted: dict[str, list[FieldMembers]] = defaultdict(list)
        for members in everyone:
            if members.field.field_id in self._visits:
                self._noted[members.cell].append(members)

    def learnt(self, members: FieldMembers) -> Learnt:
        """What a field learns from its own notes and those of its siblings."""
        noted = self._noted[members.cell]
        teachers = [one for one in noted if alike(members.field, one.field, self._learning)]
        visits = [visit for one in teachers for visit in self._visits[one.field.field_id]]
        return learn(members, teachers, visits, span=self._span, learning=self._learning)


def _forecast(members: FieldMembers, learnt: Learnt, loaded: LoadedSeason) -> FieldForecast:
    field, span, weights = members.field, loaded.span, learnt.weights
    lessons, water = learnt.lessons, field_water(members, loaded)
    now, drought = span.index(loaded.as_of) + 1.0, loaded.knowledge.water.drought
    times = opened(learnt.members.times, weights, water, now=now, drought=drought)
    stages = _ranges(times, span, weights)
    nodes = float(quantile_days(learnt.members.nodes, (0.5,), weights)[0])
    unlearnt = None
    if any(lesson.used for lesson in lessons):
        even = np.full(len(weights), 1.0 / len(weights))
        unlearnt = _ranges(opened(members.times, even, water, now=now, drought=drought), span, None)
    after_r6 = loaded.knowledge.soybean.between.r6_5.values
    late = _late_times(replace(learnt.members, times=times), after_r6)
    return FieldForecast(
        field=field,
        weather=loaded.weather[field.field_id],
        span=span,
        times=times,
        weights=weights,
        draws=members.draws,
        stages=stages,
        late_times=late,
        late=date_range(late, span, weights),
        unlearnt=unlearnt,
        lessons=lessons,
        stage_now=_not_before_seen(_stage_now(field, stages, nodes, loaded.as_of), lessons),
        water=water,
    )


def _late_times(members: FieldMembers, days_after: Sequence[float]) -> FloatArray:
    """R6.5 in every member: any of the days after R6, all alike, but not after R7."""
    fewest, most = days_after
    days = fewest + (most - fewest) * (unrelated_order(members.draws) + 0.5) / members.draws
    r6, r7 = (members.times[:, STAGES.index(stage)] for stage in ("R6", "R7"))
    later: FloatArray = np.minimum(r6 + np.tile(days, len(r6) // members.draws), r7)
    return later


def _ranges(
    times: FloatArray, span: SeasonSpan, weights: FloatArray | None
) -> dict[str, DateRange]:
    return dict(zip(STAGES, date_ranges(times.T, span, weights), strict=True))


def _stage_now(field: Field, stages: dict[str, DateRange], nodes: float, as_of: dt.date) -> str:
    """The stage in the middle of the possible seasons; V stages go on counting past V4."""
    if as_of < field.planting_date:
        return NOT_PLANTED
    reached = _reached(stages, as_of)
    if not reached:
        return PLANTED
    stage = reached[-1]
    if stage == LAST_V and nodes >= int(stage[1:]) + 1:
        return f"V{int(nodes)}"
    return stage


def _not_before_seen(stage: str, lessons: Sequence[Lesson]) -> str:
    """The stage now, at least the last one seen in the field itself and believed."""
    seen = [
        lesson.visit.stage
        for lesson in lessons
        if lesson.own and lesson.used and lesson.visit.stage and _in_it(lesson.visit.share)
    ]
    return max([stage, *seen], key=_place)


def _in_it(share: float | None) -> bool:
    """Whether a field with this share of plants in a stage is in it: half of them or more."""
    return share is None or share >= HALF


def _place(stage: str) -> tuple[int, float]:
    """Order of stages, those before VE first; V stages count on, R stages come after them."""
    if stage[:1] == "R":
        return 2, float(stage[1:])
    if stage[:1] == "V":
        return 1, {"VE": -1, "VC": 0}[stage] if stage in ("VE", "VC") else int(stage[1:])
    return 0, 0


def _reached(stages: dict[str, DateRange], as_of: dt.date) -> Sequence[str]:
    return [s for s in STAGES if (day := stages[s].p50) is not None and day <= as_of]
