"""One line of a visit's counts against its threshold: mean, interval, probability, answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.counts.assessment import Answer, How, PestAssessment, Sampled
from stagecast.counts.lines import CountLine
from stagecast.counts.negative_binomial import estimate_k, mean_interval, pooled, probability_above
from stagecast.counts.pool import PooledCounts, Wanted, pool
from stagecast.counts.wald import Plan, decide, lines, more_sets, outcome
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.rules import Counting
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import LoggedSet

_MANY = 100.0
"""Insects per set up to which the way of the test is counted out one by one."""


def judge_line(
    sets: Sequence[LoggedSet], line: CountLine, *, unit: SampleUnit, knowledge: Knowledge
) -> PestAssessment:
    """Hold the sets of one unit against the threshold of a line; some set names a pest of it."""
    wanted = Wanted() if line.shown is None else Wanted.by(line.shown.threshold)
    counts = pool(sets, unit=unit, weights=line.weights, wanted=wanted)
    if counts is None:
        raise ValueError(f"no set counts {line.pest.id} by {unit}")
    usual = float(int(knowledge.sweeps.usual_set)) if unit == "sweeps" else _commonest(counts.sizes)
    size = counts.size(usual)
    judged = _Judged(
        mean=counts.mean(size),
        size=size,
        taken=len(counts.counts),
        sampled=_sampled(counts, line, size=size, usual=usual, knowledge=knowledge),
        threshold=None if line.shown is None else _per_set(line.shown, size),
        rule=knowledge.decisions.counting,
    )
    low, high = judged.interval()
    plan = judged.plan()
    return PestAssessment(
        pest=line.pest.id,
        parts=tuple((pest, number, line.weights[pest]) for pest, number in counts.parts),
        unit=unit,
        sizes=counts.sizes,
        set_size=size,
        mean_per_set=judged.mean,
        low=low,
        high=high,
        sampled=judged.sampled,
        threshold=line.shown,
        silence=line.silence,
        threshold_per_set=judged.threshold,
        p_above=judged.p_above(),
        stops=None if plan is None else plan.lines,
        answer=judged.answer() if line.silence is None else line.silence.answer,
        how=judged.how(),
        more_sets=judged.more(),
        left_out=line.left_out,
        unsorted=counts.unsorted,
        uneven=counts.uneven,
    )


def real_errors(one: PestAssessment, rule: Counting) -> tuple[float, float] | None:
    """How often the sequential test is wrong, counted out with its end at ``most_sets``.

    Share of fields at ``lower_share`` of the threshold that it calls above, and of fields at
    ``upper_share`` that it calls below, for sets of this size and a k that is known. None where
    there is no test.
    """
    judged = _Judged(
        one.mean_per_set, one.set_size, one.sets, one.sampled, one.threshold_per_set, rule
    )
    plan = judged.plan(scale=judged.scale())
    if plan is None:
        return None
    above = outcome(float(rule.lower_share) * plan.threshold, plan).above
    return above, outcome(float(rule.upper_share) * plan.threshold, plan).below


@dataclass(frozen=True, slots=True)
class _Judged:
    """A mean, what it rests on, and the threshold per set of the same size."""

    mean: float
    size: float
    taken: int
    sampled: Sampled | None
    threshold: float | None
    rule: Counting

    def interval(self) -> tuple[float | None, float | None]:
        """Interval of the mean; its upper end is None where the sets leave it open."""
        if self.sampled is None:
            return None, None
        s = self.sampled
        low, high = mean_interval(s.total, s.sets, k=s.k, probability=float(self.rule.interval))
        return low, high if math.isfinite(high) else None

    def p_above(self) -> float | None:
        """How sure the sets make one that the mean is above the threshold."""
        if self.sampled is None or not self.threshold:
            return None
        s = self.sampled
        return probability_above(s.total, s.sets, k=s.k, threshold=self.threshold)

    def plan(self, *, scale: float = 1.0) -> Plan | None:
        """The sequential test of the threshold, in insects divided by ``scale``."""
        if self.sampled is None or not self.threshold:
            return None
        threshold, rule = self.threshold / scale, self.rule
        stops = lines(
            float(rule.lower_share) * threshold,
            float(rule.upper_share) * threshold,
            k=self.sampled.k,
            alpha=float(rule.error_above),
            beta=float(rule.error_below),
        )
        return Plan(stops, self.sampled.k, threshold, most_sets=int(rule.most_sets))

    def scale(self) -> float:
        """By what large counts are divided so that the test can be counted out."""
        return max(1.0, (self.threshold or 0.0) / _MANY)

    def line_crossed(self) -> Literal["above", "below"] | None:
        """What the sequential test says, or None."""
        plan = self.plan()
        if plan is None or self.sampled is None:
            return None
        return decide(self.sampled.total, self.sampled.sets, plan.lines)

    def ended(self) -> bool:
        """Whether the sequential test has come to its end."""
        return self.sampled is not None and self.sampled.sets >= int(self.rule.most_sets)

    def how(self) -> How:
        """How the answer is come by."""
        if self.plan() is None:  # judged by eye, or a threshold of none at all
            return "eye"
        if self.line_crossed() is not None:
            return "line"
        return "end of test" if self.ended() else "open"

    def answer(self) -> Answer:
        """The sequential test's answer; at its end that of the mean."""
        threshold = self.threshold or 0.0
        match self.how():
            case "eye":
                return "above" if self.mean > 0 and self.mean >= threshold else "below"
            case "end of test":
                return "above" if self.mean > threshold else "below"
        return self.line_crossed() or "not enough sets"

    def more(self) -> int | None:
        """How many more sets would likely settle it."""
        if self.sampled is None or not self.threshold:
            return None
        if self.line_crossed() is not None or self.ended():
            return 0
        scale = self.scale()
        plan = self.plan(scale=scale)
        if plan is None:
            return None
        s = self.sampled
        return more_sets(s.total / scale, s.sets, self.mean / scale, plan)


def _sampled(
    counts: PooledCounts, line: CountLine, *, size: float, usual: float, knowledge: Knowledge
) -> Sampled | None:
    """Sets, total and k per set of a size; None for what is judged and not counted."""
    if counts.unit in JUDGED:
        return None
    shares = [one / usual for one in counts.sizes]
    published = _published_k(line, knowledge)
    k, own_sets = _k(counts.counts, shares, published, knowledge)
    together = pooled(shares, k=k)
    sets = together.sets * usual / size
    return Sampled(sets, counts.total, together.k * size / usual, published, own_sets)


def _published_k(line: CountLine, knowledge: Knowledge) -> Quantity | None:
    """The published k of what is counted: of the complex, or of the only pest in it."""
    if line.pest.aggregation is not None or len(line.weights) > 1:
        return line.pest.aggregation
    (only,) = line.weights
    return knowledge.pests[only].aggregation


def _k(
    counts: Sequence[float],
    shares: Sequence[float],
    published: Quantity | None,
    knowledge: Knowledge,
) -> tuple[float, int]:
    """The k per set of usual size, and from how many of these sets it was estimated."""
    if published is not None:
        return float(published), 0
    rule = knowledge.decisions.counting
    found = estimate_k(
        counts,
        k_usual=float(rule.k_usual),
        prior_sets=float(rule.k_prior_sets),
        k_least=float(rule.k_least),
        k_most=float(rule.k_most),
        shares=shares,
    )
    return found.k, found.own_sets


def _per_set(shown: ShownThreshold, size: float) -> float:
    """A threshold in a set of so many of its own unit."""
    return shown.threshold.value * size / shown.threshold.per


def _commonest(sizes: Sequence[float]) -> float:
    """The size that most sets have, the larger of several."""
    return max(sizes, key=lambda size: (sizes.count(size), size))
