"""What the counts of a visit say of the next one: the pressure, what made it so, what grows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from stagecast.counts.assessment import Answer, FieldAssessment, PestAssessment, Sampled
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.judge import may_be_over, posterior_of
from stagecast.counts.projection import GrowthRate, over_by
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest, Return
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.rules import Decisions
from stagecast.knowledge.units import SampleUnit
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.tables.visits import Pressure, Visit


@dataclass(frozen=True, slots=True)
class Density:
    """Counts of a pest beside its threshold.

    Attributes
    ----------
    mean, threshold: per set; the threshold is above 0.
    set_size: how many units a set has: 25 sweeps.
    rate: stated growth of the density, per day.
    sampled: the sets; None for what is judged and not counted, whose error is not known.
    answer: of the counts against the threshold; None where nobody asked.
    p_above: chance that the field is over its threshold already.
    found: mean of the number found, where the threshold gives what was found another weight.
    may_be_over: too few sets were taken to answer, and by their chance it would be near.
    from_stage: stage at which the threshold begins, where it does not hold yet.
    """

    pest: Pest
    mean: float
    threshold: float
    unit: SampleUnit
    set_size: float
    rate: Quantity
    sampled: Sampled | None = None
    answer: Answer | None = None
    p_above: float | None = None
    from_stage: str | None = None
    found: float | None = None
    may_be_over: bool = False

    @property
    def found_mean(self) -> float:
        """Per set, by the number found; ``mean`` is by the weights of the threshold."""
        return self.mean if self.found is None else self.found

    @property
    def share(self) -> float:
        """Of the threshold."""
        return self.mean / self.threshold

    @property
    def above(self) -> bool:
        """Whether the field is called above the threshold."""
        return self.answer == "above"

    @property
    def near(self) -> bool:
        """Whether the field is near its threshold or above it, or its mean over it."""
        return self.answer in ("near", "above") or self.may_be_over or self.share >= 1.0

    @property
    def sets(self) -> float:
        """How many sets of that size were taken; 1 where something was judged."""
        sampled = self.sampled
        return 1.0 if sampled is None else sampled.sets * sampled.usual_size / self.set_size

    @property
    def k(self) -> float | None:
        """Usual k of the negative binomial, per set of that size."""
        sampled = self.sampled
        return None if sampled is None else sampled.k * self.set_size / sampled.usual_size

    def over_by(self, days: float, decisions: Decisions) -> float:
        """Chance that the field is over its threshold so many days after the count.

        0 where nothing was found, since nothing grows from nothing; and where something was
        judged, whose error is not known.
        """
        if self.sampled is None or self.mean <= 0:
            return 0.0
        now = posterior_of(
            self.sampled, size=self.set_size, threshold=self.threshold, rule=decisions.counting
        )
        growth = GrowthRate(float(self.rate), float(decisions.growth.sd))
        level = self.threshold * self.sampled.usual_size / self.set_size
        return over_by(now, threshold=level, days=days, growth=growth)


@dataclass(frozen=True, slots=True)
class LeafLoss:
    """Percent of leaf loss, and of its threshold, which is above 0."""

    percent: float
    threshold: float
    near: bool
    above: bool = False

    @property
    def share(self) -> float:
        """Of the threshold."""
        return self.percent / self.threshold


@dataclass(frozen=True, slots=True)
class NoThreshold:
    """A pest that was found, can hurt and has no threshold on file."""

    pest: Pest
    mean: float
    unit: SampleUnit
    set_size: float


@dataclass(frozen=True, slots=True)
class Harmless:
    """A pest that was found and cannot hurt at the stage: ``early``, not yet; else no longer."""

    pest: Pest
    mean: float
    unit: SampleUnit
    set_size: float
    early: bool


Cause = Density | LeafLoss | NoThreshold | Harmless


@dataclass(frozen=True, slots=True)
class GoBack:
    """A pest of the visit for which a source says when to be back."""

    pest: Pest
    rule: Return


@dataclass(frozen=True, slots=True)
class CountedPressure:
    """What counts say of the next visit.

    Attributes
    ----------
    pressure: None where nothing counted has a threshold.
    cause: what made it so: is near its threshold, or the nearest to it; else what was found and
        cannot hurt at the stage; None where nothing was found.
    pressing: all that is near its threshold or above it, ``cause`` first.
    growing: what was found, is not above its threshold for sure, and may pass it.
    go_back: rules of return whose case was met, of sources that were read.
    """

    pressure: Pressure | None
    cause: Cause | None
    counted_on: dt.date
    pressing: tuple[Density | LeafLoss, ...] = ()
    growing: tuple[Density, ...] = ()
    go_back: tuple[GoBack, ...] = ()

    def before_treatment(self) -> CountedPressure:
        """The same once the field was treated: the density is no longer the one counted."""
        treated = tuple(one for one in self.go_back if one.rule.when == "treated")
        return replace(self, growing=(), go_back=treated)


def latest_visit(visit: Visit | None, log: ScoutingLog) -> Visit | None:
    """The last visit of a field: that of visits.csv, or one of the log after it."""
    if not log.visits or (visit is not None and visit.date >= log.visits[-1].date):
        return visit
    last = log.visits[-1]
    return Visit(last.field_id, last.date, None, None, last.stage, last.share, last.visit_id)


def counted_pressure(found: FieldAssessment, knowledge: Knowledge) -> CountedPressure:
    """What an assessed visit says of the next one."""
    counted = densities(found, knowledge)
    coming = [replace(_density(one, knowledge), from_stage=_begins(one)) for one in found.coming]
    causes = _causes(found, [*counted, *coming])
    growing = tuple(one for one in counted if one.sampled and one.mean > 0 and not one.above)
    return CountedPressure(
        pressure=found.pressure,
        cause=_cause(found, causes, knowledge),
        counted_on=found.visit.date,
        pressing=tuple(one for one in causes if one.near),
        growing=growing,
        go_back=tuple(_go_back(found.pests, found.region, knowledge)),
    )


def densities(found: FieldAssessment, knowledge: Knowledge) -> list[Density]:
    """The counts of a visit that a threshold speaks of, of pests that can hurt at the stage."""
    return [
        _density(one, knowledge)
        for one in found.pests
        if one.threshold_per_set and one.silence is None
    ]


def _density(one: PestAssessment, knowledge: Knowledge) -> Density:
    return Density(
        pest=knowledge.pests[one.pest],
        mean=one.mean_per_set,
        threshold=one.threshold_per_set or 0.0,
        unit=one.unit,
        set_size=one.set_size,
        rate=_rate(one, knowledge),
        sampled=one.sampled,
        answer=one.answer,
        p_above=one.p_above,
        found=one.found_per_set if one.weighted else None,
        may_be_over=may_be_over(one, knowledge.decisions),
    )


def _rate(one: PestAssessment, knowledge: Knowledge) -> Quantity:
    """Growth per day: the fastest published for what was found, else the usual one.

    A rate from memory decides nothing.
    """
    found = [pest for pest, number, _ in one.parts if number > 0]
    stated = [knowledge.pests[pest].known_growth for pest in dict.fromkeys((*found, one.pest))]
    published = [rate for rate in stated if rate is not None]
    return max(published, key=float, default=knowledge.decisions.growth.per_day)


def _begins(one: PestAssessment) -> str | None:
    return None if one.threshold is None else one.threshold.threshold.first


def _causes(found: FieldAssessment, counted: Sequence[Density]) -> list[Density | LeafLoss]:
    """What was held against a threshold, the most pressing first."""
    leaf_loss = _leaf_loss(found.defoliation)
    causes: list[Density | LeafLoss] = [*counted]
    if leaf_loss is not None:
        causes.append(leaf_loss)
    return sorted(causes, key=_pressing, reverse=True)


def _cause(
    found: FieldAssessment, causes: Sequence[Density | LeafLoss], knowledge: Knowledge
) -> Cause | None:
    """What made the pressure so: what is near first, then the largest share of a threshold.

    Where nothing is near, what will have a threshold by the next visit goes before leaf loss.
    """
    if found.pressure is None:
        return _harmless(found, knowledge)
    most = causes[0] if causes else None
    if most is not None and most.near:
        return most
    unjudged = [one for one in found.pests if one.answer == "no threshold" and one.mean_per_set > 0]
    if found.pressure == "some" and unjudged:
        one = max(unjudged, key=lambda one: one.mean_per_set)
        return NoThreshold(knowledge.pests[one.pest], one.mean_per_set, one.unit, one.set_size)
    if found.pressure == "some" and found.coming:
        early = [one for one in causes if isinstance(one, Density) and one.from_stage]
        most = next(iter(early), most)
    if most is not None and (most.share > 0 or found.pressure == "some"):
        return most
    return _harmless(found, knowledge)


def _harmless(found: FieldAssessment, knowledge: Knowledge) -> Harmless | None:
    """What was found most of all that cannot hurt at the stage."""
    when = ("does not matter yet", "no longer matters")
    silent = [one for one in found.pests if one.answer in when and one.found_per_set > 0]
    if not silent:
        return None
    one = max(silent, key=lambda one: one.found_per_set)
    mean, early = one.found_per_set, one.answer == "does not matter yet"
    return Harmless(knowledge.pests[one.pest], mean, one.unit, one.set_size, early)


def _pressing(one: Density | LeafLoss) -> tuple[bool, bool, bool, float, float]:
    """What is near goes first; of that, a threshold that holds now before one that will.

    What was found in too few sets to say goes before what is below its threshold.
    """
    undecided = isinstance(one, Density) and one.answer == "too few" and one.mean > 0
    holds = isinstance(one, LeafLoss) or one.from_stage is None
    chance = one.p_above if isinstance(one, Density) and one.p_above is not None else 0.0
    return one.near, one.near and holds, undecided, one.share, chance


def _leaf_loss(found: DefoliationAssessment | None) -> LeafLoss | None:
    """Leaf loss beside its threshold, where one holds."""
    if found is None or found.threshold is None or not found.threshold.threshold.value:
        return None
    near = found.answer in ("near", "above")
    above = found.answer == "above"
    return LeafLoss(found.percent, found.threshold.threshold.value, near, above)


def _go_back(
    pests: Sequence[PestAssessment], region: str, knowledge: Knowledge
) -> Iterator[GoBack]:
    """Rules of return of what was found and can hurt; none from memory or of another region."""
    met: dict[tuple[str, Return], GoBack] = {}
    for one in pests:
        if one.answer in ("does not matter yet", "no longer matters"):
            continue
        near = one.judged and (one.answer in ("near", "above") or one.over)
        for pest in [part for part, number, _ in one.parts if number > 0]:
            for rule in knowledge.pests[pest].returns:
                ours = rule.region in (None, region) and not rule.unverified
                if ours and (near or rule.when in ("found", "dry")):
                    met[pest, rule] = GoBack(knowledge.pests[pest], rule)
    yield from met.values()
