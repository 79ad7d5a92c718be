"""What a visit says of its field, as plain values: each pest against its threshold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.lines import Silence
from stagecast.counts.tally import Tally
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.units import SampleUnit
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import LoggedVisit
from stagecast.season.tables.visits import Pressure

Answer = Literal[
    "below", "near", "above", "too few", "does not matter yet", "no longer matters", "no threshold",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sampled:
    """The sets that a mean rests on, measured by the usual set of their unit.

    Attributes
    ----------
    counts : tuple of float
        Insects in each set, by their weights.
    shares : tuple of float
        Size of each set as a share of the usual one.
    usual_size : float
        How many of the unit the usual set is.
    usual_sets : int
        How many of these one takes.
    by_size : bool
        Whether a set is of a size; else it is what one place holds, however much that is.
    k : float
        Of the negative binomial, per usual set, in a field at its threshold.
    published : Quantity or None
        The pest's own k, where one is published.
    """

    counts: tuple[float, ...]
    shares: tuple[float, ...]
    usual_size: float
    usual_sets: int
    by_size: bool
    k: float
    published: Quantity | None

    @property
    def total(self) -> float:
        """Insects in all sets."""
        return sum(self.counts)

    @property
    def sets(self) -> float:
        """How many usual sets the sets amount to."""
        return sum(self.shares)

    @property
    def missing(self) -> int:
        """Usual sets that are missing to the usual number; places, where these have no size."""
        taken = self.sets if self.by_size else len(self.counts)
        return max(0, math.ceil(self.usual_sets - taken - _SAME))


_SAME = 1e-9
"""Shares of sets add up to a whole number only about so nearly."""


@dataclass(frozen=True, slots=True)
class PestAssessment:
    """A pest, or several counted together, in one unit and against one threshold.

    Attributes
    ----------
    pest : str
        Id of the pest, or of the complex that it is told under.
    parts : tuple of (str, float, float)
        What was looked for: id, insects in all sets, for how many one counts.
    unit : str
        Of the sets.
    sizes : tuple of float
        How many of the unit each set is.
    set_size : float
        The same of the set that the mean refers to: where sets differ, the usual size.
    mean_per_set : float
        By the weights.
    low, high : float or None
        Interval of that mean; None for what is judged and not counted.
    sampled : Sampled or None
        What the interval rests on; None likewise.
    threshold : ShownThreshold or None
    silence : Silence or None
        Why no threshold speaks.
    threshold_per_set : float or None
        In a set of ``set_size``.
    p_above : float or None
        Chance that the mean of the field is over its threshold.
    answer : str
    settles : int or None
        In how many of ten such fields the usual number of sets once more would settle it; None
        where it is not near, or where more sets are not worth the walk.
    quiet : bool
        Virtually nothing: what is there is far from the threshold.
    tally : Tally or None
        What a published plan by infested plants says, where single plants were counted.
    left_out : tuple of str
        Ids of pests that the threshold counts too, and that were not looked for.
    unsorted : bool
        Something was counted in full that nobody told apart by size or life stage.
    uneven : bool
        Some pest was looked for in some of the sets only.
    """

    pest: str
    parts: tuple[tuple[str, float, float], ...]
    unit: SampleUnit
    sizes: tuple[float, ...]
    set_size: float
    mean_per_set: float
    low: float | None
    high: float | None
    sampled: Sampled | None
    threshold: ShownThreshold | None
    silence: Silence | None
    threshold_per_set: float | None
    p_above: float | None
    answer: Answer
    settles: int | None
    quiet: bool
    tally: Tally | None
    left_out: tuple[str, ...]
    unsorted: bool
    uneven: bool

    @property
    def sets(self) -> int:
        """Sets in which any part was looked for."""
        return len(self.sizes)

    @property
    def more_sets(self) -> int | None:
        """Usual sets to take: those missing, or as many again where these would likely settle it.

        0 where it is settled; None where more sets are not worth the walk, or say nothing.
        """
        if self.sampled is None or not self.threshold_per_set:
            return None
        match self.answer:
            case "too few":
                return self.sampled.missing
            case "near":
                return None if self.settles is None else self.sampled.usual_sets
        return 0

    @property
    def over(self) -> bool:
        """Whether the mean is at its threshold or over it."""
        return self.share is not None and self.share >= 1.0

    @property
    def reached(self) -> bool:
        """Whether the mean is at its threshold or over it, or the field is called above."""
        return self.over or self.answer == "above"

    @property
    def counted_as(self) -> str | None:
        """Id of the complex that several pests were added up under, or None."""
        return self.pest if [part[0] for part in self.parts] != [self.pest] else None

    @property
    def weighted(self) -> bool:
        """Whether something found counts for more or less than one."""
        return any(number > 0 and weight != 1 for _, number, weight in self.parts)

    @property
    def found_per_set(self) -> float:
        """The mean of what was found, by the number and not by the weights."""
        worth = sum(number * weight for _, number, weight in self.parts)
        if not self.weighted or worth <= 0:
            return self.mean_per_set
        return self.mean_per_set * sum(number for _, number, _ in self.parts) / worth

    @property
    def judged(self) -> bool:
        """Whether a threshold speaks of it."""
        return self.threshold is not None

    @property
    def share(self) -> float | None:
        """The mean as a share of the threshold; None where there is none, or it is 0."""
        if not self.threshold_per_set:
            return None
        return self.mean_per_set / self.threshold_per_set

    def mean_per(self, size: float) -> float:
        """The mean per so many of the unit, in proportion."""
        return self.mean_per_set * size / self.set_size

    @property
    def per_100_sweeps(self) -> float | None:
        """The mean per 100 sweeps; None in other units."""
        return self.mean_per(100.0) if self.unit == "sweeps" else None


@dataclass(frozen=True, slots=True)
class FieldAssessment:
    """What one visit says of its field.

    Attributes
    ----------
    visit : LoggedVisit
    stage : str
        Crop stage of the field on that day.
    stage_seen : bool
        Whether it was seen, or is the forecast's.
    region : str
        Code of the region whose rules hold.
    pests : tuple of PestAssessment
        In the order in which they were counted; each against the threshold that usually holds.
    otherwise : tuple of PestAssessment
        Against thresholds that hold under another condition, or by another state.
    coming : tuple of PestAssessment
        What was found of pests that do not matter yet, against the thresholds that begin before
        the next visit.
    coming_stage : str or None
        The stage that the field will have reached by then, where it can be forecast.
    defoliation : DefoliationAssessment or None
    pressure : {"near threshold", "some", "virtually none"} or None
        None where nothing was held against a threshold.
    not_looked_for : tuple of str
        Ids of pests that can hurt at this stage and that no set names.
    """

    visit: LoggedVisit
    stage: str
    stage_seen: bool
    region: str
    pests: tuple[PestAssessment, ...]
    otherwise: tuple[PestAssessment, ...]
    defoliation: DefoliationAssessment | None
    pressure: Pressure | None
    not_looked_for: tuple[str, ...]
    coming: tuple[PestAssessment, ...] = ()
    coming_stage: str | None = None
