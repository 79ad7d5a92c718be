"""What the counts of the last visit say of the next one: the pressure, and how soon it may rise."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from stagecast.base.dates import said_day
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.judge import number_text, sets_text
from stagecast.counts.projection import CrossingDay, GrowthRate, first_crossing, log_mean_sd
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.rules import Decisions
from stagecast.knowledge.units import JUDGED, SampleUnit, per_unit
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.tables.visits import Pressure, Visit


@dataclass(frozen=True, slots=True)
class Density:
    """Counts of a pest beside its threshold.

    Attributes
    ----------
    pest : Pest
    mean, threshold : float
        Per set; the threshold is above 0.
    unit : str
        What a set is: ``per 25 sweeps``.
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
    more_sets : int or None
        That would likely settle it.
    p_above : float or None
        How sure the sets make one that the field is above already.
    """

    pest: Pest
    mean: float
    threshold: float
    unit: str
    sets: float
    k: float | None
    rate: Quantity
    high: float | None = None
    above: bool = False
    more_sets: int | None = None
    p_above: float | None = None


@dataclass(frozen=True, slots=True)
class Crossing:
    """The first day on which a density may be above its threshold, and why."""

    day: dt.date
    why: str


@dataclass(frozen=True, slots=True)
class CountsSay:
    """What counts say of the next visit.

    Attributes
    ----------
    pressure : {"near threshold", "some", "virtually none"} or None
        None where nothing counted has a threshold.
    why : str
        The pressure in words and numbers.
    crossing : Crossing or None
        The soonest of all pests.
    """

    pressure: Pressure | None
    why: str
    crossing: Crossing | None

    def before_treatment(self) -> CountsSay:
        """The same once the field was treated: the density is no longer the one counted."""
        return replace(self, crossing=None)


def latest_visit(visit: Visit | None, log: ScoutingLog) -> Visit | None:
    """The last visit of a field: that of visits.csv, or one of the log after it."""
    if not log.visits or (visit is not None and visit.date >= log.visits[-1].date):
        return visit
    last = log.visits[-1]
    return Visit(last.field_id, last.date, None, None, last.stage, last.share, last.visit_id)


def say(
    densities: Sequence[Density],
    pressure: Pressure | None,
    *,
    counted_on: dt.date,
    decisions: Decisions,
    leaf_loss: tuple[float, float] | None = None,
) -> CountsSay:
    """Put the pressure and the soonest crossing into words.

    Parameters
    ----------
    densities : sequence of Density
        Of the pests that can hurt now.
    pressure : Pressure or None
        By the shares of the thresholds.
    counted_on : datetime.date
    decisions : Decisions
    leaf_loss : (float, float), optional
        Percent of leaf loss, and of its threshold.
    """
    crossings = [_crossing(density, counted_on, decisions) for density in densities]
    soonest = min((c for c in crossings if c is not None), key=lambda c: c.day, default=None)
    if pressure is None:
        return CountsSay(None, "", soonest)
    return CountsSay(pressure, _most(densities, pressure, leaf_loss), soonest)


def _most(
    densities: Sequence[Density], pressure: Pressure, leaf_loss: tuple[float, float] | None
) -> str:
    """What is above its threshold, or nearest to it; where nothing was found, what may be there."""
    told = [
        (
            one.above,
            one.mean / one.threshold,
            f"{one.pest.name} {_amount(one.mean, one.unit)}",
            f"{one.threshold:.3g}",
        )
        for one in densities
    ]
    if leaf_loss is not None and leaf_loss[1]:
        percent, most = leaf_loss
        text = f"leaf loss {percent:g} percent"
        told.append((percent >= most, percent / most, text, f"{most:g}"))
    above, share, text, threshold = max(told, default=(False, 0.0, "", ""))
    if above:
        return f"above its threshold: {text}, threshold {threshold}"
    if share > 0:
        return f"{pressure}: {text}, {100 * share:.0f} percent of the threshold {threshold}"
    unsure = [one for one in densities if one.high is not None]
    if pressure == "virtually none" or not unsure:
        return f"{pressure}: nothing was found of what was looked for"
    one = max(unsure, key=lambda density: (density.high or 0.0) / density.threshold)
    return (
        f"{pressure}: no {one.pest.name} in {sets_text(one.sets)}, which leave room for "
        f"{_amount(one.high or 0.0, one.unit)}, threshold {one.threshold:.3g}"
    )


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
    threshold = f"the threshold of {_amount(one.threshold, one.unit)}"
    chance = f"probability {100 * found.probability:.0f} percent"
    seen = f"{number_text(one.mean)} in {sets_text(one.sets)} on {said_day(counted_on)}"
    if found.days == 0:
        more = f"; {one.more_sets} more sets would likely tell" if one.more_sets else ""
        may = f"{one.pest.name} may be above {threshold} already"
        return Crossing(day, f"the next day, since {may} ({chance}; {seen}){more}")
    unverified = ", unverified" if one.rate.unverified else ""
    grows = f"growing {float(one.rate):.2g} +/- {float(rule.sd):.2g} a day{unverified}"
    when = f"before {said_day(day)}, when {one.pest.name} may pass {threshold}"
    return Crossing(day, f"{when} ({chance}; {seen}, {grows})")


def _rate(one: PestAssessment, knowledge: Knowledge) -> Quantity:
    """Growth per day: the fastest published for what was found, else the usual one."""
    found = [pest for pest, number, _ in one.parts if number > 0]
    stated = [knowledge.pests[pest].growth for pest in dict.fromkeys((*found, one.pest))]
    published = [rate for rate in stated if rate is not None]
    return max(published, key=float, default=knowledge.decisions.growth.per_day)


def _amount(number: float, unit: str) -> str:
    """``6.5 per 25 sweeps``."""
    return f"{number_text(number)} {unit}".rstrip()


def counts_say(found: FieldAssessment, knowledge: Knowledge) -> CountsSay:
    """What an assessed visit says of the next one."""
    return say(
        densities(found, knowledge),
        found.pressure,
        leaf_loss=_leaf_loss(found.defoliation),
        counted_on=found.visit.date,
        decisions=knowledge.decisions,
    )


def densities(found: FieldAssessment, knowledge: Knowledge) -> list[Density]:
    """The counts of a visit that a threshold speaks of, of pests that can hurt at the stage."""
    return [
        _density(one, knowledge) for one in found.pests if one.threshold_per_set and _hurts(one)
    ]


def _hurts(one: PestAssessment) -> bool:
    """Whether a threshold speaks of the pest at this stage."""
    return one.answer in ("above", "below", "not enough sets")


def _density(one: PestAssessment, knowledge: Knowledge) -> Density:
    return Density(
        pest=knowledge.pests[one.pest],
        mean=one.mean_per_set,
        threshold=one.threshold_per_set or 0.0,
        unit=unit_text(one.unit, one.set_size),
        sets=one.sampled.sets if one.sampled is not None else one.sets,
        k=one.k,
        rate=_rate(one, knowledge),
        high=one.high,
        above=one.answer == "above",
        more_sets=one.more_sets,
        p_above=one.p_above,
    )


def _leaf_loss(found: DefoliationAssessment | None) -> tuple[float, float] | None:
    """Percent of leaf loss and of its threshold, where one holds."""
    if found is None or found.threshold is None:
        return None
    return found.percent, found.threshold.threshold.value


def unit_text(unit: SampleUnit, size: float) -> str:
    """``per 25 sweeps``, ``per row-foot``; nothing for what is judged and not counted."""
    if unit in JUDGED:
        return unit if unit == "percent" else ""
    return f"per {per_unit(unit, size)}"
