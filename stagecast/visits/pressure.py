"""The pressure that the counts of a visit show, and how soon a threshold may be crossed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from stagecast.counts.assessment import Answer, FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.projection import CrossingDay, GrowthRate, first_crossing, log_mean_sd
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
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
    mean, threshold : float
        Per set; the threshold is above 0.
    set_size : float
        How many units a set has: 25 sweeps.
    sets : float
        How many sets of that size were taken.
    k : float or None
        Of the negative binomial, per set; None for what is judged and not counted, whose error
        is not known.
    rate : Quantity
        Stated growth of the density, per day.
    high : float or None
        Upper end of the interval of the mean, per set.
    above : bool
        Whether the sets suffice to call the field above the threshold.
    answer : str or None
        Of the counts against the threshold; None where nobody asked.
    p_above : float or None
        Chance that the field is over its threshold already.
    """

    pest: Pest
    mean: float
    threshold: float
    unit: SampleUnit
    set_size: float
    sets: float
    k: float | None
    rate: Quantity
    high: float | None = None
    above: bool = False
    answer: Answer | None = None
    p_above: float | None = None

    @property
    def share(self) -> float:
        """Of the threshold."""
        return self.mean / self.threshold


@dataclass(frozen=True, slots=True)
class LeafLoss:
    """Percent of leaf loss, and of its threshold, which is above 0."""

    percent: float
    threshold: float

    @property
    def share(self) -> float:
        """Of the threshold."""
        return self.percent / self.threshold

    @property
    def above(self) -> bool:
        """Whether it is at the threshold or above."""
        return self.percent >= self.threshold


@dataclass(frozen=True, slots=True)
class RoomLeft:
    """Nothing was found, in too few sets to rule out a density near the threshold."""

    density: Density


@dataclass(frozen=True, slots=True)
class Crossing:
    """The first day on which a density may be above its threshold.

    ``day`` is that of the count where it may be already; ``rate_sd`` is that of the growth, per
    day.
    """

    day: dt.date
    density: Density
    counted_on: dt.date
    probability: float
    rate_sd: float


@dataclass(frozen=True, slots=True)
class CountedPressure:
    """What counts say of the next visit.

    Attributes
    ----------
    pressure : {"near threshold", "some", "virtually none"} or None
        None where nothing counted has a threshold.
    cause : Density, LeafLoss, RoomLeft or None
        What is above its threshold, or nearest to it, or may be there; None where nothing was
        found in sets enough.
    crossing : Crossing or None
        The soonest of all pests.
    """

    pressure: Pressure | None
    cause: Density | LeafLoss | RoomLeft | None
    crossing: Crossing | None

    def before_treatment(self) -> CountedPressure:
        """The same once the field was treated: the density is no longer the one counted."""
        return replace(self, crossing=None)


def latest_visit(visit: Visit | None, log: ScoutingLog) -> Visit | None:
    """The last visit of a field: that of visits.csv, or one of the log after it."""
    if not log.visits or (visit is not None and visit.date >= log.visits[-1].date):
        return visit
    last = log.visits[-1]
    return Visit(last.field_id, last.date, None, None, last.stage, last.share, last.visit_id)


def counted_pressure(found: FieldAssessment, knowledge: Knowledge) -> CountedPressure:
    """What an assessed visit says of the next one."""
    return pressure_of(
        densities(found, knowledge),
        found.pressure,
        leaf_loss=_leaf_loss(found.defoliation),
        counted_on=found.visit.date,
        decisions=knowledge.decisions,
    )


def pressure_of(
    densities: Sequence[Density],
    pressure: Pressure | None,
    *,
    counted_on: dt.date,
    decisions: Decisions,
    leaf_loss: LeafLoss | None = None,
) -> CountedPressure:
    """What made the pressure so, and the soonest crossing.

    Parameters
    ----------
    densities : sequence of Density
        Of the pests that can hurt now.
    pressure : Pressure or None
        By the shares of the thresholds.
    """
    crossings = [_crossing(density, counted_on, decisions) for density in densities]
    soonest = min((c for c in crossings if c is not None), key=lambda c: c.day, default=None)
    cause = None if pressure is None else _cause(densities, pressure, leaf_loss)
    return CountedPressure(pressure, cause, soonest)


def _cause(
    densities: Sequence[Density], pressure: Pressure, leaf_loss: LeafLoss | None
) -> Density | LeafLoss | RoomLeft | None:
    counted: list[Density | LeafLoss] = [*densities, *([] if leaf_loss is None else [leaf_loss])]
    most = max(counted, key=lambda one: (one.above, one.share), default=None)
    if most is not None and (most.above or most.share > 0):
        return most
    unsure = [one for one in densities if one.high is not None]
    if pressure == "virtually none" or not unsure:
        return None
    return RoomLeft(max(unsure, key=lambda one: (one.high or 0.0) / one.threshold))


def _leaf_loss(found: DefoliationAssessment | None) -> LeafLoss | None:
    """Leaf loss beside its threshold, where one holds."""
    if found is None or found.threshold is None or not found.threshold.threshold.value:
        return None
    return LeafLoss(found.percent, found.threshold.threshold.value)


def _crossing(one: Density, counted_on: dt.date, decisions: Decisions) -> Crossing | None:
    """When a density may pass its threshold; None where it did for sure, or cannot soon.

    A pest that was not found at all is not projected, nor is one whose field is above already.
    """
    if one.above or one.mean <= 0 or one.k is None:
        return None
    rule = decisions.growth
    found = first_crossing(
        density=one.mean,
        threshold=one.threshold,
        log_sd=log_mean_sd(one.mean, k=one.k, sets=one.sets),
        growth=GrowthRate(float(one.rate), float(rule.sd)),
        probability=float(rule.crossing),
        furthest=int(rule.furthest),
    )
    # The chance that was told for the day itself goes before the projection's own.
    if one.p_above is not None and one.p_above >= float(rule.crossing):
        found = CrossingDay(0, one.p_above)
    if found is None:
        return None
    day = counted_on + dt.timedelta(days=found.days)
    return Crossing(day, one, counted_on, found.probability, float(rule.sd))


def densities(found: FieldAssessment, knowledge: Knowledge) -> list[Density]:
    """The counts of a visit that a threshold speaks of, of pests that can hurt at the stage."""
    return [
        _density(one, knowledge) for one in found.pests if one.threshold_per_set and _hurts(one)
    ]


def _hurts(one: PestAssessment) -> bool:
    """Whether a threshold speaks of the pest at this stage."""
    return one.answer in ("below", "near", "above", "too few")


def _density(one: PestAssessment, knowledge: Knowledge) -> Density:
    sampled = one.sampled
    return Density(
        pest=knowledge.pests[one.pest],
        mean=one.mean_per_set,
        threshold=one.threshold_per_set or 0.0,
        unit=one.unit,
        set_size=one.set_size,
        sets=one.sets if sampled is None else sampled.sets * sampled.usual_size / one.set_size,
        k=None if sampled is None else sampled.k * one.set_size / sampled.usual_size,
        rate=_rate(one, knowledge),
        high=one.high,
        above=one.answer == "above",
        answer=one.answer,
        p_above=one.p_above,
    )


def _rate(one: PestAssessment, knowledge: Knowledge) -> Quantity:
    """Growth per day: the fastest published for what was found, else the usual one."""
    found = [pest for pest, number, _ in one.parts if number > 0]
    stated = [knowledge.pests[pest].growth for pest in dict.fromkeys((*found, one.pest))]
    published = [rate for rate in stated if rate is not None]
    return max(published, key=float, default=knowledge.decisions.growth.per_day)
