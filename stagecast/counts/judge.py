"""One line of a visit's counts against its threshold: mean, interval, chance, answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from stagecast.counts.assessment import Answer, PestAssessment, Sampled
from stagecast.counts.lines import CountLine
from stagecast.counts.pool import PooledCounts, Wanted, pool
from stagecast.counts.posterior import (
    Levels,
    Posterior,
    Prior,
    answer_of,
    chance_over,
    posterior,
    settled_share,
)
from stagecast.counts.tally import tally_of
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.rules import Counting, Decisions, Sampling
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import LoggedSet

TENTHS = 10

# Many sets of a season hold the same few insects, and one answer asks several times.
_posterior = lru_cache(maxsize=16)(posterior)
_chance_over = lru_cache(maxsize=4096)(chance_over)


def judge_line(
    sets: Sequence[LoggedSet], line: CountLine, *, unit: SampleUnit, knowledge: Knowledge
) -> PestAssessment:
    """Hold the sets of one unit against the threshold of a line.

    Parameters
    ----------
    sets : sequence of LoggedSet
        Of the visit; some set of the unit names a pest of the line.
    line : CountLine
    unit : str
    knowledge : Knowledge
    """
    wanted = Wanted() if line.shown is None else Wanted.by(line.shown.threshold)
    counts = pool(sets, unit=unit, weights=line.weights, wanted=wanted)
    if counts is None:
        raise ValueError(f"no set counts {line.pest.id} by {unit}")
    size = counts.size(usual_sets(unit, counts.sizes, knowledge)[1])
    sampled = None if unit in JUDGED else _sampled(counts, line, knowledge)
    judged = _Judged(
        mean=counts.mean(size),
        size=size,
        sampled=sampled,
        threshold=None if line.shown is None else per_set(line.shown, size),
        rules=knowledge.decisions,
    )
    chance = judged.chance()
    answer = judged.answer(chance) if line.silence is None else line.silence.answer
    tally = tally_of(line.pest, counts.counts, counts.sizes, unit=unit, knowledge=knowledge)
    if tally is not None and tally.says == "confirm" and answer == "below":
        answer = "near"
    low, high = judged.interval()
    return PestAssessment(
        pest=line.pest.id,
        parts=tuple((pest, found, line.weights[pest]) for pest, found in counts.parts),
        unit=unit,
        sizes=counts.sizes,
        set_size=size,
        mean_per_set=judged.mean,
        low=low,
        high=high,
        sampled=sampled,
        threshold=line.shown,
        silence=line.silence,
        threshold_per_set=judged.threshold,
        p_above=chance,
        answer=answer,
        settles=judged.settles() if answer == "near" else None,
        quiet=judged.quiet() and answer == "below",
        tally=tally,
        left_out=line.left_out,
        unsorted=counts.unsorted,
        uneven=counts.uneven,
    )


def usual_sets(unit: SampleUnit, sizes: Sequence[float], knowledge: Knowledge) -> tuple[int, float]:
    """How many sets one takes in a unit, and how large the usual one is.

    A method that counts what one place holds has the size that most of the sets have.
    """
    method = method_of(unit, knowledge)
    if method is None:
        return int(knowledge.decisions.counting.usual_sets), _commonest(sizes)
    return int(method.sets), float(method.size or _commonest(sizes))


def method_of(unit: SampleUnit, knowledge: Knowledge) -> Sampling | None:
    """The first way of sampling by a unit."""
    return next((one for one in knowledge.sampling.values() if one.unit == unit), None)


def posterior_of(
    sampled: Sampled, *, size: float, threshold: float | None, rule: Counting
) -> Posterior:
    """What the sets say of the mean, in insects per usual set.

    Parameters
    ----------
    sampled : Sampled
    size : float
        Of the set that the threshold is for, in the unit.
    threshold : float or None
        Where there is none, or it is 0, k is the usual one at the mean of the sets themselves.
    rule : Counting
    """
    at = max(sampled.total, 1.0) / sampled.sets
    if threshold:
        at = threshold * sampled.usual_size / size
    prior = prior_of(sampled.k, rule)
    return _posterior(sampled.counts, at=at, prior=prior, shares=sampled.shares)


def chance_of(sampled: Sampled, *, size: float, threshold: float, rule: Counting) -> float:
    """Chance that the mean of the field is over a threshold, above 0, in a set of a size."""
    return _chance_over(
        sampled.counts,
        threshold=threshold * sampled.usual_size / size,
        prior=prior_of(sampled.k, rule),
        shares=sampled.shares,
    )


def prior_of(k_usual: float, rule: Counting) -> Prior:
    """The declared prior round a usual k."""
    return Prior(
        k_usual=k_usual,
        k_log_sd=float(rule.k_log_sd),
        k_rise=float(rule.k_rise),
        mean_least=float(rule.mean_least),
        mean_most=float(rule.mean_most),
        k_least=float(rule.k_least),
        k_most=float(rule.k_most),
    )


def may_be_over(one: PestAssessment, rules: Decisions) -> bool:
    """Whether something was found in too few sets by whose chance the field would be near."""
    if one.answer != "too few" or one.p_above is None or not one.mean_per_set:
        return False
    return one.p_above > float(rules.counting.below)


def levels_of(rule: Counting) -> Levels:
    """The declared chances that part below, near and above."""
    return Levels(below=float(rule.below), above=float(rule.above))


def per_set(shown: ShownThreshold, size: float) -> float:
    """A threshold in a set of so many of its own unit."""
    return shown.threshold.value * size / shown.threshold.per


@dataclass(frozen=True, slots=True)
class _Judged:
    """A mean, what it rests on, and the threshold per set of the same size."""

    mean: float
    size: float
    sampled: Sampled | None
    threshold: float | None
    rules: Decisions

    def posterior(self, sampled: Sampled) -> Posterior:
        """What the sets say of the mean."""
        rule = self.rules.counting
        return posterior_of(sampled, size=self.size, threshold=self.threshold, rule=rule)

    def per_usual(self, sampled: Sampled) -> float:
        """The threshold per usual set."""
        return (self.threshold or 0.0) * sampled.usual_size / self.size

    def interval(self) -> tuple[float | None, float | None]:
        """Interval of the mean."""
        if self.sampled is None:
            return None, None
        low, high = self.posterior(self.sampled).interval(float(self.rules.counting.interval))
        scale = self.size / self.sampled.usual_size
        return low * scale, high * scale

    def chance(self) -> float | None:
        """Chance that the mean of the field is over its threshold."""
        if self.sampled is None or not self.threshold:
            return None
        return chance_of(
            self.sampled, size=self.size, threshold=self.threshold, rule=self.rules.counting
        )

    def answer(self, chance: float | None) -> Answer:
        """By the chance; too few where sets are missing; by eye where nothing is counted."""
        if chance is None or self.sampled is None or not self.threshold:
            return by_eye(self.mean, self.threshold or 0.0, self.rules)
        if self.sampled.missing:
            return "too few"
        levels = levels_of(self.rules.counting)
        return answer_of(chance, mean=self.mean, threshold=self.threshold, levels=levels)

    def settles(self) -> int | None:
        """In how many of ten such fields as many sets again would settle it."""
        if self.sampled is None or not self.threshold:
            return None
        rule = self.rules.counting
        share = settled_share(
            self.posterior(self.sampled),
            more=self.sampled.usual_sets,
            threshold=self.per_usual(self.sampled),
            levels=levels_of(rule),
        )
        return round(TENTHS * share) if share >= float(rule.settle) else None

    def quiet(self) -> bool:
        """Whether virtually nothing is there: empty sets, or a mean far from the threshold."""
        if not self.threshold or (self.sampled is not None and self.sampled.missing):
            return False
        rule = self.rules.pressure
        if not self.mean or self.sampled is None:
            return self.mean <= float(rule.quiet_share) * self.threshold
        if self.mean > float(rule.quiet_share) * self.threshold:
            return False
        half = self.per_usual(self.sampled) / 2.0
        return self.posterior(self.sampled).over(half) <= float(rule.quiet_half)


def by_eye(value: float, threshold: float, rules: Decisions) -> Answer:
    """One number that was judged, or a threshold of none at all: plainly compared."""
    if value > 0 and value >= threshold:
        return "above"
    near = value > 0 and value >= float(rules.pressure.near_share) * threshold
    return "near" if near else "below"


def _sampled(counts: PooledCounts, line: CountLine, knowledge: Knowledge) -> Sampled:
    number, usual = usual_sets(counts.unit, counts.sizes, knowledge)
    method = method_of(counts.unit, knowledge)
    published = _published_k(line, knowledge)
    known = knowledge.decisions.counting.k_usual if published is None else published
    return Sampled(
        counts=counts.counts,
        shares=tuple(one / usual for one in counts.sizes),
        usual_size=usual,
        usual_sets=number,
        by_size=method is not None and method.size is not None,
        k=float(known),
        published=published,
    )


def _published_k(line: CountLine, knowledge: Knowledge) -> Quantity | None:
    """The published k of what is counted: of the complex, or of the only pest in it."""
    if line.pest.aggregation is not None or len(line.weights) > 1:
        return line.pest.aggregation
    (only,) = line.weights
    return knowledge.pests[only].aggregation


def _commonest(sizes: Sequence[float]) -> float:
    """The size that most sets have, the larger of several."""
    return max(sizes, key=lambda size: (sizes.count(size), size))
