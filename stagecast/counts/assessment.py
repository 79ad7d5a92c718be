"""What a visit says of its field, as plain values: each pest against its threshold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.lines import Silence
from stagecast.counts.wald import Lines
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.units import SampleUnit
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import LoggedVisit
from stagecast.season.tables.visits import Pressure

Answer = Literal[
    "above", "below", "not enough sets", "does not matter yet", "no longer matters", "no threshold",
]  # fmt: skip


How = Literal["line", "end of test", "eye", "open"]
"""How an answer was come by: a line of the sequential test was crossed; the test ended and the
mean decided; one number was judged by eye, or there is no test; or the test is still open."""


@dataclass(frozen=True, slots=True)
class Sampled:
    """What sets of one size say of the mean, as the negative binomial has it.

    ``sets`` is how many of that size the sets amount to, ``total`` the insects in them by their
    weights. ``k`` is that of the negative binomial per set: the smaller, the more clumped; it is
    the pest's ``published`` one, else estimated from ``own_sets`` of the field (0: they say
    nothing).
    """

    sets: float
    total: float
    k: float
    published: Quantity | None
    own_sets: int


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
        How sure the sets make one that the mean is above the threshold.
    stops : Lines or None
        Totals at which the sequential test ends.
    answer : str
        Of the sequential test, where there is a threshold.
    how : {"line", "end of test", "eye", "open"}
    more_sets : int or None
        Of ``set_size``, that would likely settle it; 0 when settled, None when no number of sets
        that one would take does, or where there is nothing to settle.
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
    stops: Lines | None
    answer: Answer
    how: How
    more_sets: int | None
    left_out: tuple[str, ...]
    unsorted: bool
    uneven: bool

    @property
    def sets(self) -> int:
        """Sets in which any part was looked for."""
        return len(self.sizes)

    @property
    def k(self) -> float | None:
        """Of the negative binomial, per set of ``set_size``."""
        return None if self.sampled is None else self.sampled.k

    @property
    def counted_as(self) -> str | None:
        """Id of the complex that several pests were added up under, or None."""
        return self.pest if [part[0] for part in self.parts] != [self.pest] else None

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

    @property
    def high_share(self) -> float | None:
        """The upper end of the interval as a share of the threshold, likewise."""
        if not self.threshold_per_set:
            return None
        return (self.mean_per_set if self.high is None else self.high) / self.threshold_per_set

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

    ``pests`` are in the order in which they were counted, each against the threshold that usually
    holds; ``otherwise`` against those under another condition or by another state. ``pressure`` is
    None where nothing was held against a threshold; ``not_looked_for`` are ids of pests that can
    hurt at this stage and that no set names. ``stage_seen`` is False where the stage is the
    forecast's.
    """

    visit: LoggedVisit
    stage: str
    stage_seen: bool
    pests: tuple[PestAssessment, ...]
    otherwise: tuple[PestAssessment, ...]
    defoliation: DefoliationAssessment | None
    pressure: Pressure | None
    not_looked_for: tuple[str, ...]
