"""The posterior of mean and k: against an independent implementation, and its properties."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from answers import LEVELS, PRIOR, RULE, drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import nbinom

from stagecast.counts.assessment import Sampled
from stagecast.counts.judge import posterior_of, prior_of
from stagecast.counts.posterior import (
    _spread,
    answer_of,
    chance_over,
    fill_levels,
    log_gamma,
    posterior,
    settled_share,
)

FIRST = 0.03
"""Most by which the first insect lowers a chance."""
ORDER = ("below", "near", "above")
COUNTS = st.lists(st.integers(0, 60), min_size=2, max_size=8)
THRESHOLDS = st.sampled_from([0.33, 1.0, 4.0, 9.0, 37.5, 250.0])


def by_scipy(
    counts: Sequence[float], threshold: float, shares: Sequence[float]
) -> tuple[float, float, float]:
    """Chance over the threshold and the 80 percent range, from scipy on a far finer grid."""
    ends = np.linspace(math.log(PRIOR.mean_least), math.log(PRIOR.mean_most), 3001)
    log_m, log_k = (ends[1:] + ends[:-1]) / 2, np.linspace(math.log(0.01), math.log(100.0), 301)
    m, k = np.exp(log_m)[:, None], np.exp(log_k)[None]
    usual = PRIOR.k_rise * (log_m[:, None] - math.log(threshold))
    log_weight = -0.5 * ((log_k[None] - usual) / PRIOR.k_log_sd) ** 2
    for count, share in zip(counts, shares, strict=True):
        log_weight = log_weight + nbinom.logpmf(count, share * k, k / (k + m))
    weight = np.exp(log_weight - log_weight.max()).sum(axis=1)
    risen = np.concatenate(([0.0], np.cumsum(weight))) / weight.sum()
    over = 1.0 - float(np.interp(math.log(threshold), ends, risen))
    low, high = np.exp(np.interp([0.1, 0.9], risen, ends))
    return over, float(low), float(high)


@pytest.mark.parametrize(
    ("counts", "threshold", "shares"),
    [
        ((11, 12, 10, 13), 9.0, (1, 1, 1, 1)),
        ((0, 0, 5, 10), 9.0, (1, 1, 1, 1)),
        ((3, 1, 4, 2), 37.5, (1, 1, 1, 1)),
        ((5, 2, 9), 9.0, (0.4, 1.0, 2.0)),
        ((120, 300, 20, 410, 90, 350), 250.0, (1,) * 6),
    ],
)
def test_the_posterior_is_that_of_an_independent_implementation(
    counts: Sequence[float], threshold: float, shares: Sequence[float]
) -> None:
    """Chance within a thousandth and range within half a percent of scipy's likelihoods."""
    found = posterior(counts, at=threshold, prior=PRIOR, shares=shares)
    over, low, high = by_scipy(counts, threshold, shares)
    assert found.over(threshold) == pytest.approx(over, abs=1e-3)
    assert found.interval(0.8) == (pytest.approx(low, rel=5e-3), pytest.approx(high, rel=5e-3))


def test_what_four_sets_say() -> None:
    """An even field over 9 is very likely over it; four empty sets are not."""
    assert chance_over([11, 12, 10, 13], threshold=9.0, prior=PRIOR) == pytest.approx(
        0.86, abs=0.01
    )
    assert chance_over([0] * 4, threshold=9.0, prior=PRIOR) < 0.02
    assert chance_over([300] * 20, threshold=250.0, prior=PRIOR) > 0.99


def test_the_logarithm_of_the_gamma_function() -> None:
    """As the standard library has it, from tiny sizes to large counts."""
    x = np.array([0.01, 0.3, 1.0, 2.5, 40.0, 1e4, 1e6])
    assert log_gamma(x) == pytest.approx([math.lgamma(one) for one in x], rel=1e-10, abs=1e-10)


def answered(counts: Sequence[float], threshold: float) -> int:
    """Place of the answer, the highest last."""
    chance = chance_over(counts, threshold=threshold, prior=PRIOR)
    mean = sum(counts) / len(counts)
    return ORDER.index(answer_of(chance, mean=mean, threshold=threshold, levels=LEVELS))


@settings(max_examples=80, deadline=None)
@given(COUNTS, THRESHOLDS, st.integers(0, 7), st.integers(1, 40))
def test_more_insects_never_lower_the_answer(
    counts: list[int], threshold: float, at: int, more: int
) -> None:
    """One set with more in it: the answer does not fall, the chance by two thousandths at most.

    The first insects in empty sets are told apart below.
    """
    added = [n + more * (i == at % len(counts)) for i, n in enumerate(counts)]
    assert answered(added, threshold) >= answered(counts, threshold)
    before, after = (chance_over(c, threshold=threshold, prior=PRIOR) for c in (counts, added))
    assert after >= before - (2e-3 if any(counts) else FIRST)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 10), THRESHOLDS, st.integers(1, 300), st.sampled_from([0.3, 0.5, 1.0, 5.0]))
def test_the_first_insects_in_empty_sets_lower_no_chance_that_is_told(
    sets: int, threshold: float, found: int, k: float
) -> None:
    """Where they lower the chance it is by three hundredths at most, and both are under 5%."""
    prior = prior_of(k, RULE)
    counts = [0] * sets
    before = chance_over(counts, threshold=threshold, prior=prior)
    after = chance_over([found, *counts[1:]], threshold=threshold, prior=prior)
    assert after >= before - FIRST
    assert after >= before or before < 0.05


def test_sets_are_filled_to_levels_below_the_threshold() -> None:
    """The ladder of quarters, halves and ones ends before the threshold, also where it meets it."""
    rates = np.array([0.0, 9.0])
    assert fill_levels(rates, 1.0) == [0.25, 0.5, 0.75]
    assert fill_levels(rates, 1.1) == [0.25, 0.5, 0.75, 1.0]
    assert fill_levels(np.array([0.0, 0.5]), 9.0) == [0.25, 0.5], "none beyond what fills all"
    assert fill_levels(np.array([0.25, 1.0]), 0.6) == [0.5], "none that fills no set"
    assert fill_levels(np.array([9.0, 9.0]), 20.0) == [], "all are as full as each other"


def test_futures_are_spread_by_the_plastic_number() -> None:
    """In two dimensions the second goes on by the square of its inverse (p = 1.32471795724...).

    The number and its use: OEIS A060006, the root of x^3 = x + 1.
    """
    by = 1.324717957244746**-2
    expected = [(0.5 + n * by) % 1.0 for n in range(1, 9)]
    np.testing.assert_allclose(_spread(8, 2)[:, 1], expected, rtol=1e-9)


@pytest.mark.parametrize("insects", [0, 1, 2, 5])
def test_without_a_threshold_sets_are_read_at_their_own_mean(insects: int) -> None:
    """One insect stands for none: as they would be where the threshold is that mean."""
    counts = (float(insects), 0.0, 0.0, 0.0)
    sampled = Sampled(counts, (1.0,) * 4, 25.0, 4, True, 1.0, None)
    own = max(insects, 1) / 4
    free, held = (
        posterior_of(sampled, size=25.0, threshold=threshold, rule=RULE)
        for threshold in (None, own)
    )
    assert free.interval(0.8) == held.interval(0.8)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.integers(0, 1_000_000), min_size=1, max_size=6).filter(any),
    st.sampled_from([0.4, 1.0, 40.0, 4000.0]),
    st.floats(1e-3, 1e4),
    st.sampled_from([0.3, 1.0, 5.0]),
)
def test_the_mean_lies_within_its_range(
    counts: list[int], share: float, threshold: float, k: float
) -> None:
    """However many or few insects a set holds: from hundreds a sweep to one in thousands."""
    shares = [share] * len(counts)
    found = posterior(counts, at=threshold, prior=prior_of(k, RULE), shares=shares)
    low, high = found.interval(0.8)
    assert low <= sum(counts) / sum(shares) <= high


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 12), st.floats(1e-6, 1.0))
def test_nothing_found_is_never_above(sets: int, threshold: float) -> None:
    """However small the threshold; and below only where the chance is that small."""
    chance = chance_over([0] * sets, threshold=threshold, prior=PRIOR)
    answer = answer_of(chance, mean=0.0, threshold=threshold, levels=LEVELS)
    assert answer == ("below" if chance <= LEVELS.below else "near")


@settings(max_examples=60, deadline=None)
@given(COUNTS, THRESHOLDS, st.floats(1.001, 3.0))
def test_a_higher_threshold_never_raises_the_answer(
    counts: list[int], threshold: float, times: float
) -> None:
    """The same sets against more: neither answer nor chance rises."""
    assert answered(counts, threshold * times) <= answered(counts, threshold)
    low, high = (chance_over(counts, threshold=threshold * by, prior=PRIOR) for by in (1.0, times))
    assert high <= low + 1e-9


@settings(max_examples=40, deadline=None)
@given(COUNTS, THRESHOLDS, st.randoms(use_true_random=False))
def test_the_order_of_sets_never_matters(counts: list[int], threshold: float, dice: object) -> None:
    """Whichever was taken first, the chance is the same."""
    shuffled = sorted(counts, key=lambda _: dice.random())  # type: ignore[attr-defined]
    before, after = (chance_over(c, threshold=threshold, prior=PRIOR) for c in (counts, shuffled))
    assert after == pytest.approx(before, abs=1e-12)


@pytest.mark.parametrize(
    ("counts", "threshold"), [((11, 12, 10, 13), 9.0), ((0, 0, 5, 10), 9.0), ((2, 9, 20, 5), 9.0)]
)
def test_more_sets_settle_as_often_as_they_are_said_to(
    counts: Sequence[float], threshold: float
) -> None:
    """Of fields drawn from the posterior, taken on for four sets, as many end below or above."""
    now = posterior(counts, at=threshold, prior=PRIOR)
    told = settled_share(now, more=4, threshold=threshold, levels=LEVELS)
    rng = np.random.default_rng(13)
    cells = rng.choice(now.joint.size, 400, p=now.joint.ravel())
    means = np.exp(now.grid.log_mean[cells // now.grid.k.size])
    settled = 0
    for seed, (mean, k) in enumerate(zip(means, now.grid.k[cells % now.grid.k.size], strict=True)):
        after = [*counts, *drawn(float(mean), float(k), sets=4, fields=1, seed=seed)[0]]
        chance = posterior(after, at=threshold, prior=PRIOR).over(threshold)
        average = sum(after) / len(after)
        answer = answer_of(chance, mean=average, threshold=threshold, levels=LEVELS)
        settled += answer != "near"
    assert settled / 400 == pytest.approx(told, abs=0.12)


@pytest.mark.parametrize(
    ("counts", "shares", "at"),
    [((), None, 9.0), ((1, -1), None, 9.0), ((1, 2), (1.0,), 9.0), ((1,), (0.0,), 9.0),
     ((1,), None, 0.0), ((math.nan,), None, 9.0)],
)  # fmt: skip
def test_what_is_no_sample_is_refused(
    counts: Sequence[float], shares: Sequence[float] | None, at: float
) -> None:
    """No set, a negative count, a set without size, a threshold of nothing."""
    with pytest.raises(ValueError, match=r"set|threshold"):
        posterior(counts, at=at, prior=PRIOR, shares=shares)
