"""Enough sets, or one more: a sequential test of a mean against a threshold.

Wald's test tells a mean m0 below the threshold from a mean m1 above it. After n sets with T
insects in all it says ``above`` when T >= s n + h1, ``below`` when T <= s n - h0, and otherwise
asks for another set. In the field it cannot go on for ever: a ``Plan`` begins to judge at
``least_sets`` and ends at ``most_sets``, where the mean alone decides. That changes the error
rates, so those of a plan are counted out set by set and not taken from Wald's bounds.

References
----------
Wald, A. 1947. Sequential Analysis. Wiley, New York. Oakland, G.B. 1950. Biometrics 6:59-67
(negative binomial). Bibliography MEMORY; the lines are derived from the likelihood ratio and
tested against it.

"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stagecast.counts.negative_binomial import log_pmf

Answer = Literal["above", "below"]

_LIKELY = 0.5


@dataclass(frozen=True, slots=True)
class Lines:
    """Two parallel lines of insects in all over sets taken: ``s n - h0`` and ``s n + h1``.

    ``slope`` (s) is in insects per set and lies between the two means; the intercepts h0 and h1 in
    insects, both positive.
    """

    slope: float
    lower_intercept: float
    upper_intercept: float

    def lower(self, sets: float) -> float:
        """Total up to which the mean is called below, after so many sets."""
        return self.slope * sets - self.lower_intercept

    def upper(self, sets: float) -> float:
        """Total from which on the mean is called above, after so many sets."""
        return self.slope * sets + self.upper_intercept


@dataclass(frozen=True, slots=True)
class Plan:
    """A sequential test as it is carried out in a field.

    ``k`` is of the negative binomial per set, inf for Poisson; ``threshold`` in insects per set.
    The test judges first after ``least_sets`` and ends with ``most_sets``, where a mean above the
    threshold is called above.
    """

    lines: Lines
    k: float
    threshold: float
    most_sets: int
    least_sets: int = 1

    def __post_init__(self) -> None:
        if not 1 <= self.least_sets <= self.most_sets:
            raise ValueError("a plan has a set, and judges no later than at its end")
        if not self.k > 0.0 or not self.threshold > 0.0:
            raise ValueError("k and threshold are positive")


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a plan ends in fields of one mean.

    ``above`` and ``below`` are the probabilities of the answers and add up to 1, ``settled`` is
    that of a line crossed by the last set; ``further_sets`` is how many are still taken on average.
    """

    above: float
    below: float
    settled: float
    further_sets: float


def lines(m0: float, m1: float, *, k: float, alpha: float, beta: float) -> Lines:
    """Wald's lines for two means in insects per set, ``0 < m0 < m1``, with one k.

    ``alpha`` is the probability of calling a field with mean m0 above, ``beta`` that of calling one
    with mean m1 below. ValueError for means out of order, a k that is not positive, or error rates
    that leave no test.

    Notes
    -----
    With ``p = m/k``, ``q = 1 + p`` and ``L = ln(p1 q0 / (p0 q1))``: ``s = k ln(q1/q0) / L``,
    ``h1 = ln((1 - beta)/alpha) / L``, ``h0 = ln((1 - alpha)/beta) / L``. For Poisson
    ``L = ln(m1/m0)`` and ``s = (m1 - m0) / L``.
    """
    if not 0.0 < m0 < m1 < math.inf or not k > 0.0:
        raise ValueError("the lower mean is positive and below the upper, and k is positive")
    if not (alpha > 0.0 and beta > 0.0 and alpha + beta < 1.0):
        raise ValueError("error rates are positive and add up to less than 1")
    one = math.log(m1 / m0) - math.log1p(m1 / k) + math.log1p(m0 / k)
    none = m1 - m0 if math.isinf(k) else k * math.log1p((m1 - m0) / (k + m0))
    return Lines(
        slope=none / one,
        lower_intercept=math.log((1.0 - alpha) / beta) / one,
        upper_intercept=math.log((1.0 - beta) / alpha) / one,
    )


def decide(total: float, sets: float, lines: Lines) -> Answer | None:
    """What the lines say of a total (insects) after some sets; None asks for another set."""
    if total >= lines.upper(sets):
        return "above"
    return "below" if total <= lines.lower(sets) else None


def outcome(mean: float, plan: Plan, *, total: float = 0.0, sets: float = 0.0) -> Outcome:
    """How a plan ends in a field of a known mean, from the insects and sets so far on.

    These need not be whole; the next sets are of usual size. ValueError for one below 0.

    Notes
    -----
    Exact: the probability of every total between the lines is carried from set to set, and what
    passes a line leaves. No random numbers. A total only grows, so one that passes the first
    judgement's upper line before that judgement is above already, but takes its sets.
    """
    if not 0.0 <= mean < math.inf or not 0.0 <= total < math.inf or not 0.0 <= sets < math.inf:
        raise ValueError("mean, total and sets are not negative")
    going, start, taken = np.ones(1), total, sets
    above = below = further = 0.0
    while True:
        judged = taken >= plan.least_sets
        if judged:
            totals = start + np.arange(len(going))
            low, high = totals <= plan.lines.lower(taken), totals >= plan.lines.upper(taken)
            below += float(going[low].sum())
            above += float(going[high].sum())
            going, start = going[~(low | high)], start + int(low.sum())
        left = float(going.sum())
        if taken + 1.0 > plan.most_sets or (judged and left == 0.0):
            break
        further += left if judged else 1.0
        taken += 1.0
        line = plan.lines.upper(max(taken, plan.least_sets))
        reach = max(0, math.ceil(line - start)) + 1
        step = np.exp(log_pmf(np.arange(reach), mean, k=plan.k))
        going = np.convolve(going, step)[:reach]
        above += max(0.0, left - float(going.sum()))  # so far past the line as not to be followed
    more = start + np.arange(len(going)) > plan.threshold * taken
    settled = above + below
    return Outcome(
        above=above + float(going[more].sum()),
        below=below + float(going[~more].sum()),
        settled=settled,
        further_sets=further,
    )


def more_sets(total: float, sets: float, mean_guess: float, plan: Plan) -> int | None:
    """How many more sets would likely settle it, where they hold ``mean_guess`` insects each.

    The expected number, rounded up; 0 when it is settled. None when the plan is as likely as not to
    end without crossing a line, or has ended so: then no number of sets that one would take settles
    it.
    """
    if sets >= plan.least_sets and decide(total, sets, plan.lines) is not None:
        return 0
    end = outcome(mean_guess, plan, total=total, sets=sets)
    if end.settled <= _LIKELY:
        return None
    return math.ceil(end.further_sets)
