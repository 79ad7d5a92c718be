"""Stages seen in fields: read from the visits, and learnt from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.base.errors import Problem
from stagecast.base.units import FloatArray
from stagecast.forecast.members import FieldMembers
from stagecast.forecast.ranges import PROBABILITIES
from stagecast.knowledge.crop import Learning
from stagecast.phenology.learning import StageSeen, credible, reweighted
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit
from stagecast.weather.seasons import SeasonSpan

VEGETATIVE = tuple(stage for stage in STAGES if stage.startswith("V"))


@dataclass(frozen=True, slots=True)
class Lesson:
    """An observation and whether a field learnt from it.

    Attributes
    ----------
    visit: with its stage.
    own: seen in the field itself, or in a sibling.
    used: false where it contradicts the record beyond reason: kept and told, not learnt from.
    """

    visit: Visit
    own: bool
    used: bool


def learn(
    members: FieldMembers,
    everyone: Sequence[FieldMembers],
    visits: Sequence[Visit],
    *,
    span: SeasonSpan,
    learning: Learning,
) -> tuple[FloatArray, tuple[Lesson, ...]]:
    """Weigh a field's members by what was seen in it, and more weakly in its siblings.

    ``everyone`` holds all fields of the season, this one included; visits without a stage say
    nothing here.

    Returns
    -------
    weights : ndarray, shape (members,)
        Sum to 1.
    lessons : tuple of Lesson
        In the order in which they were learnt: siblings first, so that the field's own eyes have
        the last word, each by date.
    """
    field_id = members.field.field_id
    teachers = {
        other.field.field_id: other
        for other in everyone
        if other.cell == members.cell and alike(members.field, other.field, learning)
    }
    seen = [v for v in visits if v.stage is not None and v.field_id in teachers]
    seen.sort(key=lambda v: (v.field_id == field_id, v.date, v.field_id))
    weights = np.full(len(members.times), 1.0 / len(members.times))
    lessons: list[Lesson] = []
    for visit in seen:
        other = teachers[visit.field_id]
        weights, used = _lesson(members, other, visit, weights, span=span, learning=learning)
        lessons.append(Lesson(visit, visit.field_id == field_id, used))
    return weights, tuple(lessons)


def alike(one: Field, other: Field, learning: Learning) -> bool:
    """Same planting week, same group as near as can be, same habit: siblings in one weather."""
    return (
        abs((one.planting_date - other.planting_date).days) < float(learning.same_week)
        and abs(one.maturity.number - other.maturity.number) <= float(learning.same_group) + 1e-9
        and one.growth_habit == other.growth_habit
    )


def _lesson(
    members: FieldMembers,
    other: FieldMembers,
    visit: Visit,
    weights: FloatArray,
    *,
    span: SeasonSpan,
    learning: Learning,
) -> tuple[FloatArray, bool]:
    """Learn from one visit; a sibling's stage is moved by how far the two fields are apart."""
    stage = visit.stage or ""
    begins, ends = stage_ends(members.times, stage)
    own = other is members
    sd = float(learning.staging_sd)
    time = span.index(visit.date) + 0.5
    if not own:
        theirs, _ = stage_ends(other.times, stage)
        time += _middle(begins) - _middle(theirs)
        sd = float(np.hypot(sd, float(learning.field_sd)))
    if not np.isfinite(time):
        return weights, False
    share = None if visit.share is None else visit.share
    seen = StageSeen(time, share, sd)
    fit = credible(
        seen,
        weights,
        begins,
        ends,
        plant_sd_days=float(learning.plant_sd),
        least=float(learning.least_fit),
        largest_sd_days=float(learning.beyond_reason),
    )
    if fit is None:
        return weights, False
    return reweighted(weights, fit, begins, probabilities=PROBABILITIES, in_dates=own), True


def _middle(times: FloatArray) -> float:
    return float(quantile_days(times, (0.5,))[0])


def stage_ends(times: FloatArray, stage: str) -> tuple[FloatArray, FloatArray]:
    """Times at which a stage begins and the next one does, in every member.

    V stages beyond those in :data:`STAGES` go on at the pace of the last two.
    """
    if stage.startswith("V") and stage not in STAGES[:-1]:
        return _late_node(times, int(stage[1:]))
    index = STAGES.index(stage)
    begins = times[:, index]
    if stage == VEGETATIVE[-1]:
        return _late_node(times, int(stage[1:]))
    if stage == STAGES[-1]:
        return begins, np.full(len(times), np.inf)
    return begins, times[:, index + 1]


def _late_node(times: FloatArray, number: int) -> tuple[FloatArray, FloatArray]:
    last = STAGES.index(VEGETATIVE[-1])
    with np.errstate(invalid="ignore"):
        pace = times[:, last] - times[:, last - 1]
        begins = times[:, last] + (number - int(VEGETATIVE[-1][1:])) * pace
        ends = begins + pace
    return np.where(np.isnan(begins), np.inf, begins), np.where(np.isnan(ends), np.inf, ends)


def doubts(lessons: Sequence[Lesson]) -> list[Problem]:
    """Own observations that contradict the record beyond reason."""
    message = "contradicts the forecast beyond reason; it is kept, but nothing is learnt from it"
    step = "check the date, the stage and the field's planting date"
    return [
        lesson.visit.stage_fault(message, in_the_table=step, doubtful=True)
        for lesson in lessons
        if lesson.own and not lesson.used
    ]
