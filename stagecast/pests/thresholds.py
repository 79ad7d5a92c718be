"""Treatment thresholds of a pest as a region sees them: own ones, its own, or its neighbors'."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar, get_args

from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, CropEvent, stage_place
from stagecast.knowledge.groups import group_of
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS
from stagecast.knowledge.threshold import MonthDay, Threshold, Use
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.season.tables.fields import Field

T = TypeVar("T")

Kind = Literal["yours", "here", "neighbor", "group", "wider area", "elsewhere"]
"""Set by the consultant; published for the region, one that touches it, one of its group of
regions, an area, or elsewhere."""

KINDS: tuple[Kind, ...] = get_args(Kind)


OWN_KINDS: tuple[Kind, ...] = ("yours", "here")

LAST: CropEvent = "R6.5"
"""The last stage at which pests cost yield: it is over when R7 begins."""


@dataclass(frozen=True, slots=True)
class FieldFacts:
    """What thresholds may depend on in a field; None where nobody knows it.

    ``row_width_in`` is in inches; ``near`` are the regions that touch its own, the nearest first;
    ``group`` is the id of the group of regions in which the field lies, where its place tells.
    """

    planting_date: dt.date | None = None
    use: Use | None = None
    row_width_in: float | None = None
    near: tuple[str, ...] = ()
    group: str = ""

    @classmethod
    def of(cls, field: Field) -> FieldFacts:
        """What the season knows of a field."""
        return cls(field.planting_date, field.use, field.row_width_in, field.near, field.group)

    def that_matter(self, thresholds: Iterable[Threshold]) -> FieldFacts:
        """Those on which some thresholds depend; fields alike in them are shown the same."""
        every = tuple(thresholds)
        near = self.near if len({t.region for t in every} & set(self.near)) > 1 else ()
        rows = any(t.row_width_least_in or t.row_width_most_in for t in every)
        return FieldFacts(
            planting_date=self._planted_span(every),
            use=self.use if any(t.use for t in every) else None,
            row_width_in=self.row_width_in if rows else None,
            near=near,
            group=self.group,
        )

    def _planted_span(self, thresholds: Iterable[Threshold]) -> dt.date | None:
        """The first day of the span of planting days in which all thresholds are the same."""
        ends = {end for t in thresholds for end in (t.planted_from, t.planted_before) if end}
        planted = self.planting_date
        if planted is None or not ends:
            return None
        days = [dt.date(planted.year, end.month, end.day) for end in ends]
        return max((day for day in days if day <= planted), default=dt.date(planted.year, 1, 1))


UNKNOWN = FieldFacts()


def facts_of(field_id: str, fields: Iterable[Field]) -> FieldFacts:
    """What the season knows of a field; nothing where it has no such field."""
    return next((FieldFacts.of(one) for one in fields if one.field_id == field_id), UNKNOWN)


@dataclass(frozen=True, slots=True)
class ShownThreshold:
    """A threshold as it was published, and what it is to a region.

    ``region`` names what it was published for, and is ``yours`` for the consultant's own;
    ``usual_set`` is the number of sweeps to which counts by sweeps are converted; ``group`` names
    the group of regions it is from, unless it is from the region or a neighbor in the same group.
    """

    kind: Kind
    region: str
    threshold: Threshold
    usual_set: int
    group: str = ""

    @property
    def decides(self) -> bool:
        """Whether counts may be held against it: none from far away, none from memory."""
        return self.kind != "elsewhere" and not self.threshold.unverified


@dataclass(frozen=True, slots=True)
class StageThreshold:
    """A threshold, and the crop stages at which none of a better kind holds."""

    shown: ShownThreshold
    stages: tuple[CropEvent, ...]


def thresholds_at(
    pest: Pest,
    *,
    region: str,
    stage: str | None,
    knowledge: Knowledge,
    alone: bool = False,
    facts: FieldFacts = UNKNOWN,
) -> tuple[ShownThreshold, ...]:
    """Thresholds of a pest that may be shown to a region, the best first.

    Parameters
    ----------
    pest : Pest
        A species without thresholds of its own takes those of the complex it is counted with,
        unless it is asked for ``alone``.
    region : str
        Code of the region that asks.
    stage : str or None
        Crop stage, V5 and later nodes as V4; None for the thresholds of all stages.
    knowledge : Knowledge
        Where regions, their neighbors and wider areas are found. It keeps the answer.
    facts : FieldFacts
        What is known of the field that asks.

    Returns
    -------
    tuple of ShownThreshold
        By kind: yours, here, neighbor, group, wider area, elsewhere; among others the nearest
        first, by how many borders lie between; of those that touch it the nearest to the field;
        those as near by name. What holds for all fields
        comes before what holds for some, where nobody knows whether this is one of them.

    Notes
    -----
    A threshold holds from its first to its last stage, both included; one that a source gives to
    R7 is over when R7 begins, as pests no longer cost yield then. Where one ends and another
    of the same region, count and unit begins at the same stage (to R5, from R5), the stage belongs
    to the one that begins; the one that ends keeps it only where no other takes over.

    One for fields of some planting date, use or row width is left out where the field is none of
    them. Where it is one, that threshold stands alone: the general one is left out.
    """

    def found() -> tuple[ShownThreshold, ...]:
        every = pest.thresholds if alone else _thresholds(pest, knowledge)
        ours = facts.that_matter(every)
        key = "thresholds of", pest.id, alone, region, stage, ours
        return _once(pest, knowledge, key, lambda: _look_up(every, region, stage, ours, knowledge))

    return _once(pest, knowledge, ("thresholds", pest.id, alone, region, stage, facts), found)


def facts_that_matter(facts: FieldFacts, knowledge: Knowledge) -> FieldFacts:
    """Those on which any threshold depends: many fields are alike in them."""
    every = (threshold for pest in knowledge.pests.values() for threshold in pest.thresholds)
    return knowledge.once(("facts that matter", facts), lambda: facts.that_matter(every))


def _once(pest: Pest, knowledge: Knowledge, key: object, make: Callable[[], T]) -> T:
    """Kept with the knowledge, unless the pest is none of its own."""
    ours = knowledge.pests.get(pest.id) is pest
    return knowledge.once(key, make) if ours else make()


def best_by_stage(
    pest: Pest,
    *,
    region: str,
    knowledge: Knowledge,
    stages: Sequence[CropEvent] = STAGE_ORDER,
    facts: FieldFacts = UNKNOWN,
) -> tuple[StageThreshold, ...]:
    """The thresholds that a region is shown at some stages: at each stage those of the best kind.

    In the order of :func:`thresholds_at`.
    """
    held: dict[ShownThreshold, list[CropEvent]] = {
        shown: []
        for shown in thresholds_at(
            pest, region=region, stage=None, knowledge=knowledge, facts=facts
        )
    }
    for stage in stages:
        found = thresholds_at(pest, region=region, stage=stage, knowledge=knowledge, facts=facts)
        for shown in best(found):
            held[shown].append(stage)
    return tuple(StageThreshold(shown, tuple(at)) for shown, at in held.items() if at)


def best_kinds(shown: Iterable[ShownThreshold]) -> dict[SampleUnit, Kind]:
    """The best kind there is in each unit, of thresholds that come the best first."""
    kinds: dict[SampleUnit, Kind] = {}
    for one in shown:
        kinds.setdefault(one.threshold.unit, one.kind)
    return kinds


def holding(
    pest: Pest, *, stage: str, region: str, knowledge: Knowledge, facts: FieldFacts = UNKNOWN
) -> tuple[ShownThreshold, ...]:
    """The thresholds that decide at a stage, in any unit.

    Of each unit those of the best kind there is at whatever stage; others than the region's own
    only where the pest can hurt.
    """
    every, now = (
        thresholds_at(pest, region=region, stage=at, knowledge=knowledge, alone=True, facts=facts)
        for at in (None, stage)
    )
    kinds = best_kinds(every)
    place, host = stage_place(stage), pest.host
    can_hurt = stage_place(host.first) <= place <= stage_place(host.last)
    return tuple(
        shown
        for shown in now
        if shown.kind == kinds[shown.threshold.unit]
        and (can_hurt or shown.kind in OWN_KINDS)
        and shown.decides
    )


def lasts_to(
    pest: Pest, *, region: str, knowledge: Knowledge, facts: FieldFacts = UNKNOWN
) -> CropEvent:
    """The last stage at which one has to reckon with a pest in a region.

    Where no source of the region says it: the end of its last activity, or of the last threshold
    that decides there, and no later than the region treats any insect. At R7 it is over for all
    pests, so R6.5 is the last.
    """

    def found() -> CropEvent:
        ours = replace(facts.that_matter(pest.thresholds), near=())
        key = "lasts to, of", pest.id, region, ours
        return _once(pest, knowledge, key, lambda: _lasts_to(pest, region, knowledge, ours))

    return _once(pest, knowledge, ("lasts to", pest.id, region, facts), found)


def _lasts_to(pest: Pest, region: str, knowledge: Knowledge, facts: FieldFacts) -> CropEvent:
    said = [one.last for one in pest.ends if one.region == region]
    stops = [one.last for one in knowledge.stops if one.region == region and not said]
    hosts = [activity.host.last for activity in pest.activities] or [pest.host.last]
    held = (
        stage
        for stage in reversed(STAGE_ORDER)
        if holding(pest, stage=stage, region=region, knowledge=knowledge, facts=facts)
    )
    last = max(said or [*hosts, next(held, hosts[0])], key=stage_place)
    return min(last, LAST, *stops, key=stage_place)


def in_sweeps(threshold: Threshold, *, per: float) -> float | None:
    """The threshold's value in a set of so many sweeps, or None when it is not by sweeps.

    Notes
    -----
    Linear, and no more than approximately right: means per sweep were similar for sets of 10 and
    of 25 sweeps. Say 'converted' wherever it is shown. Nothing else is ever converted: a row-foot
    is not so many sweeps.

    References
    ----------
    University of Nebraska and others (2022), Crop Protection 157:105986.
    """
    if threshold.unit != "sweeps":
        return None
    return threshold.value * per / threshold.per


def best(shown: Sequence[ShownThreshold]) -> tuple[ShownThreshold, ...]:
    """Those of the best kind there is: a neighbor's are not shown beside the region's own.

    Leaf loss and counts each have their best: the region's own leaf loss hides no count.
    """
    kinds: dict[bool, Kind] = {}
    for one in shown:
        kinds.setdefault(one.threshold.leaf_loss, one.kind)
    return tuple(s for s in shown if s.kind == kinds[s.threshold.leaf_loss])


def judged_by(
    pest: Pest, *, region: str, stage: str, knowledge: Knowledge, facts: FieldFacts = UNKNOWN
) -> tuple[ShownThreshold, ...]:
    """The thresholds at a stage that counts are held against, the best first.

    None that is from far away or from memory. Of each unit only those of the kind that is best at
    whatever stage: where a region's own begins at R3, no neighbor's is named at R2, as no count is
    held against it. Leaf loss takes the nearest state's at each stage.
    """
    ours = facts_that_matter(facts, knowledge)

    def found() -> tuple[ShownThreshold, ...]:
        every, now = (
            thresholds_at(pest, region=region, stage=at, knowledge=knowledge, facts=ours)
            for at in (None, stage)
        )
        kinds = best_kinds(every)
        return tuple(
            one
            for one in now
            if one.decides
            and (one.threshold.unit in JUDGED or one.kind == kinds[one.threshold.unit])
        )

    return _once(pest, knowledge, ("judged by", pest.id, region, stage, ours), found)


def standing(
    shown: Sequence[ShownThreshold], *, unit: SampleUnit | None = None
) -> tuple[ShownThreshold, ...]:
    """The thresholds to go by, of those that hold at one stage.

    Of the best kind, and of those one for each thing that is counted or judged: the first. Counts
    are by ``unit``, the one that samples are taken in, where any is; else by the first there is.
    """
    found = best(shown)
    counted = [s.threshold.unit for s in found if s.threshold.unit not in JUDGED]
    by = unit if unit in counted else next(iter(counted), None)
    first: dict[tuple[str, str], ShownThreshold] = {}
    for one in found:
        if one.threshold.unit == by or one.threshold.unit in JUDGED:
            first.setdefault((one.threshold.what, one.threshold.unit), one)
    return tuple(first.values())


def series(threshold: Threshold) -> tuple[str, str, str]:
    """What must agree for one threshold to take over from another: region, count and unit."""
    return threshold.region, threshold.what, threshold.unit


def _thresholds(pest: Pest, knowledge: Knowledge) -> tuple[Threshold, ...]:
    """Own ones of a species before those of its complex, where no source has any for it alone.

    Leaf feeders have nothing in common but leaf loss: a beetle is none of so many worms. That of
    all feeders together holds wherever no source of the region gives one for the species.
    """
    if pest.counted_with is None or pest.counted_with not in knowledge.pests:
        return pest.thresholds
    shared = knowledge.pests[pest.counted_with].thresholds
    if pest.counted_with == knowledge.decisions.leaf_loss.pest:
        own = {t.region for t in pest.thresholds if t.leaf_loss}
        shared = tuple(t for t in shared if t.leaf_loss and t.region not in own)
    elif any(t.region != YOURS for t in pest.thresholds):
        return pest.thresholds
    return (*pest.thresholds, *shared)


def _look_up(
    every: tuple[Threshold, ...],
    region: str,
    stage: str | None,
    facts: FieldFacts,
    knowledge: Knowledge,
) -> tuple[ShownThreshold, ...]:
    fit = {t: _fits(t, facts) for t in every}
    found = tuple(t for t in every if fit[t] is not False)
    if stage is not None:
        place = stage_place(stage)
        found = tuple(t for t in found if _holds(t, place))
        begun = {series(t) for t in found if stage_place(t.first) == place}
        found = tuple(t for t in found if not _gives_way(t, place, begun))
    just_for_it = [t for t in found if t.for_some_fields and fit[t]]
    found = tuple(
        t for t in found if t in just_for_it or not any(_speaks_for(o, t) for o in just_for_it)
    )
    away = knowledge.once(("borders", region), lambda: _borders(region, knowledge))
    far = len(knowledge.regions)

    near = {code: place for place, code in enumerate(facts.near)}

    def order(one: ShownThreshold) -> tuple[int, int, int, str, bool]:
        code, doubtful = one.threshold.region, fit[one.threshold] is None
        kind = KINDS.index(one.kind)
        return kind, away.get(code, far), near.get(code, 0), one.region, doubtful

    group = facts.group or group_of(region, knowledge.groups)
    return tuple(sorted((_shown(t, region, group, knowledge) for t in found), key=order))


def _shown(threshold: Threshold, region: str, group: str, knowledge: Knowledge) -> ShownThreshold:
    code, groups = threshold.region, knowledge.groups
    kind: Kind = "elsewhere"
    name = knowledge.regions.get(code, code)
    ours = group in groups and groups[group].reaches(code)
    whose = groups.get(group if ours else group_of(code, groups))
    if code in (YOURS, region):
        kind, whose = ("yours" if code == YOURS else "here"), None
    elif code in knowledge.neighbors.get(region, ()):
        kind, whose = "neighbor", (None if ours else whose)
    elif ours:
        kind = "group"
    elif code in knowledge.areas:
        name = knowledge.areas[code].name
        kind = "elsewhere" if region in knowledge.areas[code].without else "wider area"
    group_name = "" if whose is None else whose.name
    return ShownThreshold(kind, name, threshold, int(knowledge.sweeps.usual_set), group_name)


def _borders(region: str, knowledge: Knowledge) -> dict[str, int]:
    """How many borders lie between a region and every other that can be reached by land."""
    away = {region: 0}
    edge = [region]
    while edge:
        crossed = (other for code in edge for other in knowledge.neighbors.get(code, ()))
        further = [code for code in dict.fromkeys(crossed) if code not in away]
        away.update(dict.fromkeys(further, away[edge[0]] + 1))
        edge = further
    return away


def _fits(threshold: Threshold, facts: FieldFacts) -> bool | None:
    """Whether a threshold is for a field; None where what is known does not tell."""
    t, told = threshold, []
    if t.planted_from or t.planted_before:
        told.append(_planted_within(facts.planting_date, t.planted_from, t.planted_before))
    if t.use:
        told.append(None if facts.use is None else facts.use in t.use)
    if t.row_width_least_in is not None or t.row_width_most_in is not None:
        told.append(_wide_enough(facts.row_width_in, t.row_width_least_in, t.row_width_most_in))
    if False in told:
        return False
    return None if None in told else True


def _planted_within(
    day: dt.date | None, first: MonthDay | None, before: MonthDay | None
) -> bool | None:
    if day is None:
        return None
    planted = day.month, day.day
    early = first is not None and planted < (first.month, first.day)
    late = before is not None and planted >= (before.month, before.day)
    return not early and not late


def _wide_enough(width: float | None, least: float | None, most: float | None) -> bool | None:
    if width is None:
        return None
    return (least is None or width >= least) and (most is None or width <= most)


def _speaks_for(one: Threshold, other: Threshold) -> bool:
    """Whether one that is just for the field holds wherever another of its series does."""
    first, last = stage_place(one.first), stage_place(one.last)
    within = first <= stage_place(other.first) and stage_place(other.last) <= last
    return series(one) == series(other) and within


def _holds(threshold: Threshold, place: int) -> bool:
    first, last = stage_place(threshold.first), stage_place(threshold.last)
    if threshold.region != YOURS and first <= stage_place(LAST):
        last = min(last, stage_place(LAST))
    return first <= place <= last


def _gives_way(threshold: Threshold, place: int, begun: set[tuple[str, str, str]]) -> bool:
    ends = stage_place(threshold.first) < place == stage_place(threshold.last)
    return ends and series(threshold) in begun
