"""Stages seen in fields: read from the visits, and learnt from."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stagecast.base.errors import Problem
from stagecast.base.units import FloatArray
from stagecast.forecast.members import FieldMembers, dated_no_closer
from stagecast.knowledge.crop import Learning
from stagecast.phenology.learning import (
    StageSeen,
    agreeing,
    credible,
    drifting,
    in_order,
    moved,
)
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import quantile_days, unrelated_normals
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit
from stagecast.weather.seasons import SeasonSpan

VEGETATIVE = tuple(stage for stage in STAGES if stage.startswith("V"))
REPRODUCTIVE = tuple(stage for stage in STAGES if stage.startswith("R"))
HALF = 0.5  # of the plants: the field is then in the stage (Fehr and Caviness 1977)


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


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """A field's possible seasons after what was seen.

    Attributes
    ----------
    members: moved towards what was seen; as they were where nothing was learnt.
    weights : ndarray, shape (members,)
        Sum to 1.
    lessons: in the order in which they were learnt: siblings first, so that the field's own eyes
        have the last word, each by date.
    """

    members: FieldMembers
    weights: FloatArray
    lessons: tuple[Lesson, ...]


def learn(
    members: FieldMembers,
    everyone: Sequence[FieldMembers],
    visits: Sequence[Visit],
    *,
    span: SeasonSpan,
    learning: Learning,
) -> Learnt:
    """Move a field's members by what was seen in it, and more weakly in its siblings.

    ``everyone`` holds all fields of the season, this one included; visits without a stage say
    nothing here.
    """
    teachers = _teachers(members, everyone, learning)
    seen = _in_order_of_learning(members, visits, teachers)
    if not seen:
        return Learnt(members, _even(members), ())
    return _taught(_Lore(members, seen, span, learning), seen, teachers)


def learn_the_rest(
    visit: Visit,
    members: FieldMembers,
    everyone: Sequence[FieldMembers],
    visits: Sequence[Visit],
    *,
    span: SeasonSpan,
    learning: Learning,
) -> tuple[Learnt, bool]:
    """What all ``visits`` but one of the field's own teach it, and whether that one would be used.

    As :func:`learn` without it, and its lesson by :func:`learn` with it.
    """
    teachers = _teachers(members, everyone, learning)
    seen = _in_order_of_learning(members, visits, teachers)
    rest = [other for other in seen if other != visit]
    lore = _Lore(members, rest, span, learning)
    learnt = _taught(lore, rest, teachers)
    if seen and seen[-1] == visit and any(other.field_id == visit.field_id for other in rest):
        return learnt, lore.lesson(visit, members).used
    with_it = learn(members, everyone, visits, span=span, learning=learning)
    return learnt, any(lesson.used for lesson in with_it.lessons if lesson.visit == visit)


def _teachers(
    members: FieldMembers, everyone: Sequence[FieldMembers], learning: Learning
) -> dict[str, FieldMembers]:
    """The field itself and its siblings, by id."""
    return {
        other.field.field_id: other
        for other in everyone
        if other.cell == members.cell and alike(members.field, other.field, learning)
    }


def _in_order_of_learning(
    members: FieldMembers, visits: Sequence[Visit], teachers: Collection[str]
) -> list[Visit]:
    own = members.field.field_id
    seen = [v for v in visits if v.stage is not None and v.field_id in teachers]
    return sorted(seen, key=lambda v: (v.field_id == own, v.date, v.field_id))


def _taught(lore: _Lore, seen: Sequence[Visit], teachers: Mapping[str, FieldMembers]) -> Learnt:
    members, span, learning = lore.members, lore.span, lore.learning
    lessons = [lore.lesson(visit, teachers[visit.field_id]) for visit in seen]
    if not any(lesson.used for lesson in lessons):
        return Learnt(members, _even(members), tuple(lessons))
    times = dated_no_closer(in_order(lore.state[:, : len(STAGES)]), lore.weights, learning)
    own = [lesson.visit for lesson in lessons if lesson.own and lesson.used]
    times = _as_noted(times, lore.weights, own, span)
    nodes = np.maximum(lore.state[:, len(STAGES)], 0.0)
    return Learnt(replace(members, times=times, nodes=nodes), lore.weights, tuple(lessons))


def _even(members: FieldMembers) -> FloatArray:
    return np.full(len(members.times), 1.0 / len(members.times))


def _as_noted(
    times: FloatArray, weights: FloatArray, own: Sequence[Visit], span: SeasonSpan
) -> FloatArray:
    """The middle of the forecast says what was noted in the field itself.

    Half of the plants in a stage is the stage. Where two notes contradict each other, a stage
    that had come has come.
    """
    by, after = np.full(len(STAGES), np.inf), np.full(len(STAGES), -np.inf)
    for visit in own:
        day = span.index(visit.date)
        chain = REPRODUCTIVE if visit.stage in REPRODUCTIVE else VEGETATIVE
        place = chain.index(visit.stage) if visit.stage in chain else len(chain) - 1
        stage = STAGES.index(chain[place])
        if visit.share is None or visit.share >= HALF:
            by[stage] = min(by[stage], day + 0.5)
            if visit.share in (None, 1.0) and place + 1 < len(chain):
                after[STAGES.index(chain[place + 1])] = day + 1.0
        elif visit.stage in chain:
            after[stage] = day + 1.0
    return agreeing(times, weights, by=by, after=after)


def alike(one: Field, other: Field, learning: Learning) -> bool:
    """Same planting week, same group as near as can be, same habit: siblings in one weather."""
    return (
        one.growth_habit == other.growth_habit
        and abs(one.maturity.number - other.maturity.number) <= float(learning.same_group) + 1e-9
        and abs((one.planting_date - other.planting_date).days) < float(learning.same_week)
    )


class _Lore:
    """What one field's members become, visit by visit.

    The state holds a member's stage times, its nodes, and for each field seen how far off the
    dates noted there are: the error of staging is partly one of the place in the field that is
    looked at, which lasts all season, and a sibling field differs all season.
    """

    def __init__(
        self, members: FieldMembers, seen: Sequence[Visit], span: SeasonSpan, learning: Learning
    ) -> None:
        self.members, self.span, self.learning = members, span, learning
        count, stages = members.times.shape
        fields = sorted({visit.field_id for visit in seen})
        normals = unrelated_normals(count, stages, int(learning.seed))
        drifted = drifting(
            members.times,
            normals,
            draws=members.draws,
            sd_per_root_day=float(learning.drift),
        )
        lasting, between = float(learning.lasting_sd), float(learning.field_sd)
        own = members.field.field_id
        self._column = {other: stages + 1 + i for i, other in enumerate(fields)}
        off = unrelated_normals(count, len(fields), int(learning.seed) + 1)
        sds = [lasting if other == own else float(np.hypot(lasting, between)) for other in fields]
        self.state: FloatArray = np.column_stack([drifted, members.nodes, off * np.array(sds)])
        self.weights = np.full(count, 1.0 / count)

    def lesson(self, visit: Visit, other: FieldMembers) -> Lesson:
        """Learn from one visit to this field or to another, if it can be believed."""
        own = visit.field_id == self.members.field.field_id
        return Lesson(visit, own, self._take(visit, other))

    def _take(self, visit: Visit, other: FieldMembers) -> bool:
        """Learn from one visit; false where it is beyond reason.

        A sibling's stage is moved by how far the two fields' forecasts are apart.
        """
        stage, learning = visit.stage or "", self.learning
        time = self.span.index(visit.date) + 0.5
        if other is not self.members:
            time += _middle(self.members, stage) - _middle(other, stage)
        if not np.isfinite(time):
            return False
        off = self.state[:, self._column[visit.field_id]]
        begins, ends = (end + off for end in stage_ends(self.state[:, : len(STAGES)], stage))
        staging, lasting = float(learning.staging_sd), float(learning.lasting_sd)
        fit = credible(
            StageSeen(time, visit.share, float(np.sqrt(staging**2 - lasting**2))),
            self.weights,
            begins,
            np.maximum(begins, ends),
            plant_sd_days=float(learning.plant_sd),
            least=float(learning.least_fit),
            largest_sd_days=float(learning.beyond_reason),
        )
        if fit is None:
            return False
        self.state, self.weights = moved(self.state, begins, self.weights, fit)
        return True


def _middle(members: FieldMembers, stage: str) -> float:
    """When a stage begins in the middle of a field's possible seasons; kept with them."""
    if stage not in members.middles:
        begins, _ = stage_ends(members.times, stage)
        members.middles[stage] = float(quantile_days(begins, (0.5,))[0])
    return members.middles[stage]


def stage_ends(times: FloatArray, stage: str) -> tuple[FloatArray, FloatArray]:
    """Times at which a stage begins and the next one does, in every member.

    V stages beyond those in :data:`STAGES` go on at the pace of those from V1 to the last.
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
    first, last = STAGES.index("V1"), STAGES.index(VEGETATIVE[-1])
    with np.errstate(invalid="ignore"):
        pace = (times[:, last] - times[:, first]) / (last - first)
        further = number - int(VEGETATIVE[-1][1:])
        begins, ends = (times[:, last] + nodes * pace for nodes in (further, further + 1))
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
