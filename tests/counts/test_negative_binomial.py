"""Clumped counts: the distribution, k, intervals of a mean and the sets that a mean needs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, special, stats

from stagecast.counts.negative_binomial import (
    KEstimate,
    cdf,
    estimate_k,
    log_pmf,
    mean_interval,
    pooled,
    probability_above,
    sets_for_precision,
)

FIELDS = 20_000
NOMINAL = 0.80
THREE_SE = 3.0 * math.sqrt(NOMINAL * (1.0 - NOMINAL) / FIELDS)  # 0.0085

SHRINKAGE = {"k_usual": 1.0, "prior_sets": 8.0, "k_least": 0.1, "k_most": 20.0}

means = st.floats(0.05, 60.0)
ks = st.one_of(st.floats(0.1, 20.0), st.just(math.inf))
a_total = st.integers(0, 150)
some_sets = st.integers(1, 20)
counts_of_sets = st.lists(st.integers(0, 60), min_size=2, max_size=12)


def reference(mean: float, k: float) -> stats.rv_discrete:
    """The same distribution by an independent implementation."""
    return stats.poisson(mean) if math.isinf(k) else stats.nbinom(k, k / (k + mean))


# --- the distribution -----------------------------------------------------------------------


@pytest.mark.parametrize("k", [0.05, 0.5, 1.0, 7.3, 400.0, math.inf])
@pytest.mark.parametrize("mean", [0.01, 1.0, 9.0, 300.0])
def test_the_distribution_is_that_of_an_independent_implementation(mean: float, k: float) -> None:
    """Probabilities, their sums and what lies above agree for scarce and crowded insects."""
    counts = np.arange(400)
    other = reference(mean, k)
    assert log_pmf(counts, mean, k=k) == pytest.approx(other.logpmf(counts), rel=1e-9, abs=1e-9)
    for count in (0, 1, 5, 40, 399):
        assert cdf(count, mean, k=k) == pytest.approx(float(other.cdf(count)), abs=1e-10)


def test_poisson_is_reached_without_loss_of_digits() -> None:
    """A huge k gives what k = inf gives: the limit is no special case."""
    counts = np.arange(60)
    assert log_pmf(counts, 9.0, k=1e13) == pytest.approx(log_pmf(counts, 9.0, k=math.inf))


def test_an_empty_field_holds_nothing() -> None:
    """With a mean of 0 every set holds 0."""
    assert np.exp(log_pmf([0, 1, 5], 0.0, k=1.0)).tolist() == [1.0, 0.0, 0.0]
    assert cdf(0, 0.0, k=1.0) == 1.0
    assert cdf(-1, 3.0, k=1.0) == 0.0


@given(mean=st.floats(0.05, 8.0), k=st.floats(0.3, 8.0), sets=st.integers(2, 5))
def test_a_total_of_sets_is_negative_binomial(mean: float, k: float, sets: int) -> None:
    """Sets folded one into another give NB(n m, n k): their total tells all."""
    one = np.exp(log_pmf(np.arange(60), mean, k=k))
    folded = np.ones(1)
    for _ in range(sets):
        folded = np.convolve(folded, one)[:60]
    assert folded == pytest.approx(
        np.exp(log_pmf(np.arange(60), sets * mean, k=sets * k)), abs=1e-12
    )


# --- sets of any size -----------------------------------------------------------------------


@given(shares=st.lists(st.floats(0.1, 4.0), min_size=1, max_size=8), k=st.floats(0.1, 20.0))
def test_pooled_sets_keep_mean_and_variance(shares: list[float], k: float) -> None:
    """Mean and variance of the pooled total are the sums of those of the sets."""
    mean = 7.0
    whole = pooled(shares, k=k)
    each = [(s * mean, k * min(s, 1.0)) for s in shares]
    assert whole.sets == pytest.approx(sum(shares))
    assert whole.k <= k * (1.0 + 1e-12)
    total = whole.sets * mean
    variance = total + total**2 / (whole.sets * whole.k)
    assert variance == pytest.approx(sum(m + m**2 / r for m, r in each))


def test_pooling_by_hand() -> None:
    """Four usual sets stay so; ten short ones are four; one of 100 sweeps is no four places."""
    assert pooled([1, 1, 1, 1], k=0.5) == pooled([1.0] * 4, k=0.5)
    assert (pooled([1] * 4, k=0.5).sets, pooled([1] * 4, k=0.5).k) == (4.0, 0.5)
    short, long = pooled([0.4] * 10, k=0.5), pooled([4.0], k=0.5)
    assert (short.sets, short.k) == (pytest.approx(4.0), pytest.approx(0.5))
    assert (long.sets, long.sets * long.k) == (4.0, 0.5)


# --- k --------------------------------------------------------------------------------------


def test_sets_that_say_nothing_leave_the_usual_k() -> None:
    """No set, one set, or none but empty ones: k is assumed, and says so."""
    for counts in ([], [12], [0, 0, 0, 0]):
        assert estimate_k(counts, **SHRINKAGE) == KEstimate(1.0, 0, 0.0, assumed=True)


@pytest.mark.parametrize("counts", [[3, 9, 0, 22], [8, 9, 10, 9], [0, 0, 1, 0], [0, 0, 90, 1, 4]])
@pytest.mark.parametrize("prior_sets", [0.5, 8.0])
def test_k_maximises_what_the_docstring_says(counts: list[int], prior_sets: float) -> None:
    """An independent optimiser on an independent likelihood finds the same k.

    The information of a set on log k is taken here as the mean square of the score.
    """
    mean, usual = float(np.mean(counts)), 1.0
    x, step = np.arange(20_000), 1e-4

    def fit(values: np.ndarray, log_k: float) -> np.ndarray:
        return reference(mean, math.exp(log_k)).logpmf(values)

    at = math.log(usual)
    score = (fit(x, at + step) - fit(x, at - step)) / (2 * step)
    weight = reference(mean, usual).pmf(x)
    information = float((weight * np.where(weight > 0, score, 0.0) ** 2).sum())

    def cost(log_k: float) -> float:
        on_mean = len(counts) / (mean + mean**2 / math.exp(log_k))
        pull = 0.5 * prior_sets * information * (log_k - at) ** 2
        return -float(fit(np.array(counts), log_k).sum()) + 0.5 * math.log(on_mean) + pull

    grid = np.linspace(math.log(0.1), math.log(20.0), 60)
    rough = grid[int(np.argmin([cost(g) for g in grid]))]
    best = optimize.minimize_scalar(
        cost, bounds=(max(rough - 0.2, grid[0]), min(rough + 0.2, grid[-1])), method="bounded"
    )
    found = estimate_k(counts, **{**SHRINKAGE, "prior_sets": prior_sets})
    assert math.log(found.k) == pytest.approx(float(best.x), abs=0.005)
    assert found.weight_of_own == pytest.approx(len(counts) / (len(counts) + prior_sets))


@given(counts=counts_of_sets, usual=st.floats(0.2, 10.0), prior=st.floats(0.5, 30.0))
def test_k_lies_between_the_sets_own_and_the_usual(
    counts: list[int], usual: float, prior: float
) -> None:
    """The assumption draws the field's own k towards it, never past it and never away."""
    rules = {**SHRINKAGE, "k_usual": usual}
    own = estimate_k(counts, **{**rules, "prior_sets": 0.0})
    drawn = estimate_k(counts, **{**rules, "prior_sets": prior})
    low, high = sorted((own.k, usual))
    assert low * 0.995 <= drawn.k <= high * 1.005
    assert drawn == estimate_k(counts[::-1], **{**rules, "prior_sets": prior})


def test_scarce_insects_move_k_little_and_plenty_much() -> None:
    """One insect in four sets says nothing about clumping; 8, 9, 10 and 9 say a lot."""
    scarce, plenty = estimate_k([0, 0, 1, 0], **SHRINKAGE), estimate_k([8, 9, 10, 9], **SHRINKAGE)
    assert 0.8 < scarce.k < 1.25 < plenty.k
    assert estimate_k([8, 9, 10, 9], **{**SHRINKAGE, "prior_sets": 1e9}).k == pytest.approx(
        1.0, rel=0.01
    )


@pytest.mark.parametrize("k", [0.3, 1.0, 5.0])
def test_many_sets_find_the_true_k(k: float) -> None:
    """Without a prior, 2000 sets give k back within 3 standard errors of about 8 percent."""
    x = np.random.default_rng(5).negative_binomial(k, k / (k + 9.0), size=2000)
    found = estimate_k(x.tolist(), **{**SHRINKAGE, "prior_sets": 0.0})
    assert found.k == pytest.approx(k, rel=0.24)


def test_short_sets_need_their_size() -> None:
    """Ten of 100 in a long set is no clump: with its size the estimate of k is larger."""
    counts, shares = [2, 3, 2, 30], [1.0, 1.0, 1.0, 10.0]
    assert estimate_k(counts, shares=shares, **SHRINKAGE).k > estimate_k(counts, **SHRINKAGE).k


# --- the interval ---------------------------------------------------------------------------


@given(total=a_total, sets=some_sets, k=ks, probability=st.floats(0.5, 0.99))
def test_limits_are_those_of_the_inverted_tails(
    total: int, sets: int, k: float, probability: float
) -> None:
    """Quantiles of the chi-square (Poisson; Garwood 1936) and of the beta give the same limits."""
    tail = (1.0 - probability) / 2.0
    if math.isinf(k):
        low = stats.chi2.ppf(tail, 2 * total) / 2 / sets if total else 0.0
        high = stats.chi2.ppf(1.0 - tail, 2 * total + 2) / 2 / sets
    else:
        size = sets * k
        # P(X <= T) is the regularised incomplete beta at p = r / (r + m) of (r, T + 1).
        p_high = special.betaincinv(size, total + 1, tail)
        p_low = special.betaincinv(size, total, 1.0 - tail) if total else 1.0
        low, high = size * (1 - p_low) / p_low / sets, size * (1 - p_high) / p_high / sets
    found = mean_interval(total, sets, k=k, probability=probability)
    assert found == pytest.approx((low, high), rel=1e-6)


def test_nothing_caught_still_has_an_upper_limit() -> None:
    """(1 + m/k)^(-n k) = 0.1 solved by hand: m = k (10^(1/(n k)) - 1), and low is 0."""
    low, high = mean_interval(0, 4, k=0.5, probability=0.8)
    assert (low, high) == (0.0, pytest.approx(0.5 * (10 ** (1 / 2) - 1)))


def test_a_limit_beyond_all_numbers_is_inf() -> None:
    """A scrap of a set of wildly clumped insects leaves the mean open upwards."""
    assert mean_interval(0, 0.01, k=0.1, probability=0.8) == (0.0, math.inf)


def test_a_broken_total_is_rounded_outwards() -> None:
    """Weighted species give 7.5: the lower limit is that of 7, the upper that of 8."""
    low, high = mean_interval(7.5, 4, k=1.0, probability=0.8)
    assert low == pytest.approx(mean_interval(7, 4, k=1.0, probability=0.8)[0])
    assert high == pytest.approx(mean_interval(8, 4, k=1.0, probability=0.8)[1])


def covered(mean: float, k: float, sets: int) -> tuple[int, int]:
    """First and last total whose interval holds the mean: limits rise with the total."""

    def first(holds: np.ufunc) -> int:
        low, high = 0, 1
        while not holds(high):
            high *= 2
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if holds(middle) else (middle + 1, high)
        return low

    def limits(total: int) -> tuple[float, float]:
        return mean_interval(total, sets, k=k, probability=NOMINAL)

    return first(lambda t: limits(t)[1] >= mean), first(lambda t: limits(t)[0] > mean) - 1


@pytest.mark.parametrize("sets", [1, 4, 12])
@pytest.mark.parametrize("k", [0.3, 1.0, 5.0])
@pytest.mark.parametrize("mean", [1.0, 3.0, 9.0, 30.0])
def test_coverage_in_20000_fields(mean: float, k: float, sets: int) -> None:
    """With the true k: at least 80 percent, and above it by no more than whole counts force.

    Tolerance: three standard errors of a share among 20,000. The excess is at most the
    probability of the two totals at the edges, which are either in or out as a whole.
    """
    rng = np.random.default_rng([int(mean), int(10 * k), sets])
    totals = rng.negative_binomial(k, k / (k + mean), size=(FIELDS, sets)).sum(axis=1)
    first, last = covered(mean, k, sets)
    share = float(((totals >= first) & (totals <= last)).mean())
    edges = float(np.exp(log_pmf([first, last], sets * mean, k=sets * k)).sum())
    assert NOMINAL - THREE_SE <= share <= NOMINAL + edges + THREE_SE
    if mean * sets >= 30.0 and k >= 1.0:
        assert share <= 0.86


@pytest.mark.parametrize(
    ("k", "least", "most"), [(1.0, 0.74, 0.86), (5.0, 0.90, 1.0), (0.3, 0.50, 0.74)]
)
def test_coverage_with_an_estimated_k(k: float, least: float, most: float) -> None:
    """Four sets, mean 9: as stated if the assumed k of 1 is true, too wide or too narrow if not.

    That is what an assumption costs: four sets cannot correct it. 500 fields; the bounds leave
    three standard errors (0.054) round the nominal 80 percent where k is as assumed.
    """
    sets, mean = 4, 9.0
    fields = np.random.default_rng(11).negative_binomial(k, k / (k + mean), size=(500, sets))
    inside = 0
    for field in fields:
        guess = estimate_k(field.tolist(), **SHRINKAGE).k
        low, high = mean_interval(int(field.sum()), sets, k=guess, probability=NOMINAL)
        inside += low <= mean <= high
    assert least <= inside / len(fields) <= most


# --- above a threshold ----------------------------------------------------------------------


@given(total=a_total, sets=some_sets, k=ks, threshold=means)
def test_more_insects_make_surer_and_a_higher_threshold_less_sure(
    total: int, sets: int, k: float, threshold: float
) -> None:
    """The probability rises with the total, also by broken steps, and falls with the threshold."""

    def sure(t: float, h: float) -> float:
        return probability_above(t, sets, k=k, threshold=h)

    here = sure(total, threshold)
    assert 0.0 <= here <= sure(total + 0.4, threshold) + 1e-12
    assert sure(total + 0.4, threshold) <= sure(total + 1, threshold) + 1e-12 <= 1.0 + 1e-12
    assert sure(total, 1.1 * threshold) <= here + 1e-12


@given(total=a_total, sets=some_sets, k=st.floats(0.1, 20.0), threshold=means)
def test_it_lies_between_the_one_sided_confidences_beside_jeffreys(
    total: int, sets: int, k: float, threshold: float
) -> None:
    """Between P(X < T) and P(X <= T), and near the posterior under Jeffreys' prior."""
    size = sets * k
    p = k / (k + threshold)
    below = special.betainc(size, total, p) if total else 0.0
    up_to = special.betainc(size, total + 1, p)
    sure = probability_above(total, sets, k=k, threshold=threshold)
    assert below - 1e-9 <= sure <= up_to + 1e-9
    if total >= 4:
        assert sure == pytest.approx(special.betainc(size, total + 0.5, p), abs=0.02)


@given(total=a_total, sets=some_sets, k=ks, threshold=means)
def test_probability_and_interval_never_disagree(
    total: int, sets: int, k: float, threshold: float
) -> None:
    """An 80 percent interval wholly above means surer than 90 percent, and so below."""
    low, high = mean_interval(total, sets, k=k, probability=0.8)
    sure = probability_above(total, sets, k=k, threshold=threshold)
    if low > threshold:
        assert sure > 0.9 - 1e-9
    if high < threshold:
        assert sure < 0.1 + 1e-9


@pytest.mark.parametrize("k", [0.5, 1.0, 5.0])
def test_fields_at_the_threshold_are_rarely_called_above(k: float) -> None:
    """Of 20,000 fields exactly at the threshold about one in ten looks surer than 90 percent."""
    sets, threshold = 4, 9.0
    rng = np.random.default_rng(3)
    totals = rng.negative_binomial(k, k / (k + threshold), size=(FIELDS, sets)).sum(axis=1)
    seen, times = np.unique(totals, return_counts=True)
    sure = [probability_above(int(t), sets, k=k, threshold=threshold) > 0.9 for t in seen]
    assert float(times[sure].sum()) / FIELDS == pytest.approx(0.10, abs=0.015)


# --- sets for a precision -------------------------------------------------------------------


def test_sample_sizes_as_computed_by_hand() -> None:
    """At D = 0.25, by arithmetic on the formulas: (1/9 + 1)/0.0625 = 17.8 and so on."""
    assert sets_for_precision(9.0, 1.0, 0.25) == pytest.approx(17.8, abs=0.05)
    assert sets_for_precision(3.0, 1.0, 0.25) == pytest.approx(21.3, abs=0.05)
    assert sets_for_precision(3.0, math.inf, 0.25) == pytest.approx(5.33, abs=0.005)


def test_the_sets_asked_for_give_the_precision() -> None:
    """18 sets at mean 9 and k = 1: the standard error over 20,000 fields is a quarter of it."""
    x = np.random.default_rng(2).negative_binomial(1.0, 0.1, size=(FIELDS, 18)).mean(axis=1)
    assert float(x.std()) / 9.0 == pytest.approx(0.25 * math.sqrt(17.8 / 18), rel=0.02)


# --- what is refused ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: log_pmf([1.5], 3.0, k=1.0),
        lambda: log_pmf([-1], 3.0, k=1.0),
        lambda: cdf(2, -1.0, k=1.0),
        lambda: cdf(2, 1.0, k=0.0),
        lambda: cdf(2, math.nan, k=1.0),
        lambda: pooled([], k=1.0),
        lambda: pooled([1.0, 0.0], k=1.0),
        lambda: estimate_k([1, -1], **SHRINKAGE),
        lambda: estimate_k([1, math.nan], **SHRINKAGE),
        lambda: estimate_k([1, 2], shares=[1.0], **SHRINKAGE),
        lambda: estimate_k([1, 2], **{**SHRINKAGE, "k_usual": 50.0}),
        lambda: mean_interval(-1, 4, k=1.0, probability=0.8),
        lambda: mean_interval(1, 0, k=1.0, probability=0.8),
        lambda: mean_interval(1, 4, k=math.nan, probability=0.8),
        lambda: mean_interval(1, 4, k=1.0, probability=1.0),
        lambda: probability_above(1, 4, k=1.0, threshold=0.0),
        lambda: sets_for_precision(0.0, 1.0, 0.25),
    ],
)
def test_nonsense_is_refused(wrong: object) -> None:
    """What is no count, mean, k or probability raises, and never becomes a number."""
    with pytest.raises(ValueError, match=r"\w"):
        wrong()
