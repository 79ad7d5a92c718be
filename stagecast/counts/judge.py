"""One line of a visit's counts against its threshold: mean, interval, probability, answer."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.counts.assessment import Answer, PestAssessment, Sampled
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
_CLOSE = 1e-9
_ANY = "everything"
"""What is counted where no threshold says it: all life stages but eggs and pupae."""


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
    what = _ANY if line.shown is None else line.shown.threshold.what
    counts = pool(sets, unit=unit, weights=line.weights, wanted=Wanted.by(what))
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
        set_size=size,
        sets=len(counts.counts),
        mean_per_set=judged.mean,
        low=low,
        high=high,
        sampled=judged.sampled,
        threshold=line.shown,
        threshold_per_set=judged.threshold,
        p_above=judged.p_above(),
        stops=None if plan is None else plan.lines,
        answer=line.silence or judged.answer(),
        why=line.why or judged.why(),
        more_sets=judged.more(),
        notes=tuple(_notes(counts, line, size, knowledge)),
    )


def real_errors(one: PestAssessment, rule: Counting) -> tuple[float, float] | None:
    """How often the sequential test is wrong, counted out with its end at ``most_sets``.

    Parameters
    ----------
    one : PestAssessment
    rule : Counting

    Returns
    -------
    (float, float) or None
        Share of fields at ``lower_share`` of the threshold that it calls above, and of fields at
        ``upper_share`` that it calls below, for sets of this size and a k that is known. None
        where there is no test.
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

    def answer(self) -> Answer:
        """The sequential test's answer; at its end that of the mean."""
        crossed = self.line_crossed()
        if crossed is not None:
            return crossed
        if self.p_above() is None:  # judged by eye, or a threshold of none at all
            threshold = self.threshold or 0.0
            return "above" if self.mean > 0 and self.mean >= threshold else "below"
        if self.ended():
            return "above" if self.mean > (self.threshold or 0.0) else "below"
        return "not enough sets"

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

    def why(self) -> str:
        """The answer in words and numbers."""
        plan, s = self.plan(), self.sampled
        if plan is None or s is None:
            return f"mean {number_text(self.mean)} against {number_text(self.threshold or 0.0)}"
        told = f"{number_text(s.total)} in {counted_sets(self.taken)}"
        if abs(s.sets - self.taken) > _CLOSE:
            told += f", worth {number_text(s.sets)} of {self.size:g}"
        lower, upper = plan.lines.lower(s.sets), plan.lines.upper(s.sets)
        crossed = self.line_crossed()
        if crossed == "above":
            return f"{told}: the sequential test says above from {upper:.1f} on"
        if crossed == "below":
            return f"{told}: the sequential test says below up to {lower:.1f}"
        if self.ended():
            return f"{told}: the test ends with {plan.most_sets} sets, and the mean decides"
        told += f": the sequential test says above from {upper:.1f} on"
        told += f", below up to {lower:.1f}" if lower >= 0 else ", and not yet below"
        return f"{told}; {self._settled_by(plan)}"

    def _settled_by(self, plan: Plan) -> str:
        more, chance = self.more(), self.p_above() or 0.0
        if more is None:
            likely = f"{plan.most_sets} sets would likely not settle it"
        else:
            likely = f"about {counted_sets(more, 'more ')} would likely settle it"
        sure = float(self.rule.sure)
        if chance <= 1 - sure:
            return f"it is probably below, and {likely}"
        return f"it is probably above, and {likely}" if chance >= sure else likely


def _sampled(
    counts: PooledCounts, line: CountLine, *, size: float, usual: float, knowledge: Knowledge
) -> Sampled | None:
    """Sets, total and k per set of a size; None for what is judged and not counted."""
    if counts.unit in JUDGED:
        return None
    shares = [one / usual for one in counts.sizes]
    k, k_from = _k(counts.counts, shares, _published_k(line, knowledge), knowledge)
    together = pooled(shares, k=k)
    sets = together.sets * usual / size
    return Sampled(sets, counts.total, together.k * size / usual, k_from)


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
) -> tuple[float, str]:
    """The k per set of usual size, and where it comes from."""
    if published is not None:
        return float(published), f"of the pest ({_whence(published)})"
    rule = knowledge.decisions.counting
    found = estimate_k(
        counts,
        k_usual=float(rule.k_usual),
        prior_sets=float(rule.k_prior_sets),
        k_least=float(rule.k_least),
        k_most=float(rule.k_most),
        shares=shares,
    )
    assumed = f"the usual {float(rule.k_usual):g}, assumed ({_whence(rule.k_usual)})"
    if found.assumed:
        return found.k, f"{assumed}; these sets say nothing of it"
    weight = f"{float(rule.k_prior_sets):g} sets"
    return found.k, f"from these {found.own_sets} sets, drawn to {assumed}, as if by {weight}"


def _whence(value: Quantity) -> str:
    """How far a k can be trusted."""
    if value.tag == "PRACTICE":
        return "common practice, no source"
    return f"{value.source}, {'unverified' if value.unverified else value.tag}"


def _per_set(shown: ShownThreshold, size: float) -> float:
    """A threshold in a set of so many of its own unit."""
    return shown.threshold.value * size / shown.threshold.per


def _commonest(sizes: Sequence[float]) -> float:
    """The size that most sets have, the larger of several."""
    return max(sizes, key=lambda size: (sizes.count(size), size))


def _notes(
    counts: PooledCounts, line: CountLine, size: float, knowledge: Knowledge
) -> Iterator[str]:
    """What was assumed in adding up."""
    names = {pest: knowledge.pests[pest].name for pest in line.weights}
    several = len(counts.parts) > 1
    heavy = [f"each {names[p]} as {w:g}" for p, w in line.weights.items() if w != 1]
    if heavy:
        yield f"counted {', '.join(heavy)}"
    elif several:
        yield "one of each counts as one: no other equivalents are published"
    if line.left_out:
        yield f"the threshold also counts, but no set names, {', '.join(line.left_out)}"
    if counts.uneven:
        yield "not every kind was looked for in every set: the sum may be low"
    if counts.unsorted:
        yield "what was not told apart by size or life stage is counted in full"
    if len(set(counts.sizes)) > 1:
        yield f"sets of {_sizes(counts.sizes)} {counts.unit}, brought to {size:g} in proportion"
    t = None if line.shown is None else line.shown.threshold
    usual = int(knowledge.sweeps.usual_set)  # to which the threshold's own text converts
    by_sweeps = t is not None and t.unit == "sweeps"
    if by_sweeps and t is not None and line.shown is not None and size not in (t.per, usual):
        yield (
            f"threshold converted from {t.value:g} per {t.per:g} to "
            f"{number_text(_per_set(line.shown, size))} per {size:g} sweeps"
        )


def _sizes(sizes: Sequence[float]) -> str:
    return " and ".join(f"{size:g}" for size in sorted(set(sizes)))


def counted_sets(number: int, kind: str = "") -> str:
    """``1 set``, ``4 more sets``."""
    return f"{number} {kind}{'set' if number == 1 else 'sets'}"


def number_text(value: float) -> str:
    """A mean or total as people say it: ``0.25``, ``6.5``, ``12``, ``130``."""
    if value == round(value):
        return f"{value:.0f}"
    return f"{value:.2g}" if value < 1 else f"{value:.1f}"


def sets_text(sets: float) -> str:
    """``1 set``, ``4 sets``, ``2.4 sets``."""
    told = f"{sets:.3g}"
    return f"{told} set" if told == "1" else f"{told} sets"
