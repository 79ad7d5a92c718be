"""What the counts of the last visit say of the next one: the pressure, and how soon it may rise."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from stagecast.dates import said_day
from stagecast.knowledge.decisions import Decisions
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import Quantity
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.projection import GrowthRate, first_crossing, log_mean_sd
from stagecast.season.log_entries import ScoutingLog
from stagecast.season.visits import Pressure, Visit


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
    k : float
        Of the negative binomial, per set.
    above : bool
        Whether the sets suffice to call the field above the threshold.
    """

    pest: Pest
    mean: float
    threshold: float
    unit: str
    sets: float
    k: float
    above: bool


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
    """
    crossings = [_crossing(density, counted_on, decisions) for density in densities]
    soonest = min((c for c in crossings if c is not None), key=lambda c: c.day, default=None)
    return CountsSay(pressure, f"{pressure}: {_most(densities)}" if densities else "", soonest)


def _most(densities: Sequence[Density]) -> str:
    """The pest that is nearest to its threshold."""
    one = max(densities, key=lambda density: density.mean / density.threshold)
    if one.mean == 0:
        return "no pest with a threshold was found"
    return (
        f"{one.pest.name} {number_text(one.mean)} {one.unit}, "
        f"{100 * one.mean / one.threshold:.0f} percent of the threshold {one.threshold:.3g}"
    )


def _crossing(one: Density, counted_on: dt.date, decisions: Decisions) -> Crossing | None:
    """When a density may be above its threshold; None where it is so for sure, or cannot be soon.

    A pest that was not found at all is not projected, nor is one whose field is above already.
    """
    if one.above or one.mean <= 0:
        return None
    stated = rate_of(one.pest, decisions)
    rule = decisions.growth
    found = first_crossing(
        density=one.mean,
        threshold=one.threshold,
        log_sd=log_mean_sd(one.mean, k=one.k, sets=one.sets),
        growth=GrowthRate(float(stated), float(rule.sd)),
        probability=float(rule.crossing),
        furthest=int(rule.furthest),
    )
    if found is None:
        return None
    day = counted_on + dt.timedelta(days=found.days)
    now = f"{number_text(one.mean)} {one.unit} on {said_day(counted_on)}"
    may = f"{one.pest.name} may be above {one.threshold:.3g} {one.unit}"
    chance = f"with a probability of {100 * found.probability:.0f} percent"
    sets = f"{one.sets:.3g} sets"
    if found.days == 0:
        why = f"{sets} leave open ({chance}) that {may.replace('may be', 'are')} already: {now}"
        return Crossing(day, f"{why}; more sets would tell")
    grows = f"growing {float(stated):.2g} a day, give or take {float(rule.sd):.2g}"
    return Crossing(day, f"before {said_day(day)}, when {may} {chance}: {now} in {sets}, {grows}")


def rate_of(pest: Pest, decisions: Decisions) -> Quantity:
    """Growth per day of a pest's density: its own where one was published, else the usual one."""
    return decisions.growth.per_day if pest.growth is None else pest.growth


def number_text(mean: float) -> str:
    """A mean as people say it: ``6.5``, ``0.25``, ``12``."""
    return f"{mean:.2g}" if mean < 1 else f"{mean:.1f}".removesuffix(".0")


def counts_say(
    forecast: FieldForecast, visit: Visit | None, log: ScoutingLog, loaded: LoadedSeason
) -> CountsSay | None:
    """What the counts of a field's last visit say; None where it has none."""
    return None
