"""Growth from a count to a threshold: closed forms, published examples, and a simulation."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.counts.projection import (
    GrowthRate,
    crossing_share,
    first_crossing,
    log_mean_sd,
)

APHID_ET, APHID_EIL = 250.0, 674.0
NORMAL = NormalDist()
DENSITY = st.floats(0.05, 200)
RATES = st.builds(GrowthRate, st.floats(-0.1, 0.4), st.floats(0.001, 0.2))
SIZES = st.floats(0.01, 2)


def shares(
    days: int, density: float, threshold: float, log_sd: float, growth: GrowthRate
) -> list[float]:
    """The probability of being above, day by day from the count on."""
    found = crossing_share(
        np.arange(days + 1.0), density=density, threshold=threshold, log_sd=log_sd, growth=growth
    )
    return [float(share) for share in found]


# --- published examples ----------------------------------------------------------------------


def test_the_share_above_is_that_of_simulated_fields() -> None:
    """Of 200,000 fields with a true mean and a rate of their own, as many are above by each day.

    The tolerance is four standard errors of a simulated share, 0.0045.
    """
    random = np.random.default_rng(7)
    growth, log_sd, density, threshold = GrowthRate(0.10, 0.05), 0.4, 4.0, 9.0
    logs = random.normal(math.log(density), log_sd, 200_000)
    rates = random.normal(growth.per_day, growth.sd, 200_000)
    for day, share in enumerate(shares(10, density, threshold, log_sd, growth)):
        simulated = float(np.mean(logs + rates * day >= math.log(threshold)))
        assert share == pytest.approx(simulated, abs=0.0045)


def test_the_error_of_a_logarithm_is_that_of_simulated_sets() -> None:
    """Logarithms of means of 40 negative binomial sets scatter as the delta method says, to 3 %."""
    random = np.random.default_rng(11)
    mean, k, sets = 6.0, 1.5, 40
    counts = random.negative_binomial(k, k / (k + mean), (20_000, sets)).mean(axis=1)
    simulated = float(np.log(counts).std())
    assert log_mean_sd(mean, k=k, sets=sets) == pytest.approx(simulated, rel=0.03)


def test_counts_at_random_have_the_error_of_poisson() -> None:
    """With k without bound only 1 / (n m) is left."""
    assert log_mean_sd(4.0, k=math.inf, sets=4) == pytest.approx(math.sqrt(1 / 16))


# --- the first day ----------------------------------------------------------------------------


@given(DENSITY, DENSITY, SIZES, RATES, st.floats(0.01, 0.99), st.integers(0, 14))
def test_the_first_day_is_the_first_with_the_probability(
    density: float, threshold: float, log_sd: float, growth: GrowthRate, p: float, furthest: int
) -> None:
    """On that day the share is reached, on none before it, and none further is looked at."""
    found = first_crossing(
        density=density, threshold=threshold, log_sd=log_sd, growth=growth, probability=p,
        furthest=furthest,
    )  # fmt: skip
    daily = shares(furthest, density, threshold, log_sd, growth)
    if found is None:
        assert max(daily) < p
        return
    assert 0 <= found.days <= furthest
    assert daily[found.days] == found.probability >= p
    assert all(share < p for share in daily[: found.days])


def test_without_any_doubt_the_first_day_is_the_next_after_the_formula() -> None:
    """With no error and one certain rate the day is that of the closed form, rounded up.

    Soybean aphids double in 6.8 d and so lead from 250 to 674 a plant in 9.7 d (Ragsdale et al.
    2007, J Econ Entomol 100:1258-1267; doubling time MEMORY of the same, 9.7 d COMPUTED).
    """
    growth = GrowthRate(math.log(2.0) / 6.8, 0.0)
    found = first_crossing(
        density=APHID_ET, threshold=APHID_EIL, log_sd=0.0, growth=growth, probability=0.1,
        furthest=30,
    )  # fmt: skip
    assert found is not None
    assert found.days == math.ceil(math.log(APHID_EIL / APHID_ET) / growth.per_day) == 10


def test_the_day_solves_the_quadratic() -> None:
    """The day lies where (ln T/N - r d)^2 = z^2 (s^2 + q^2 d^2), solved by hand, rounded up."""
    density, threshold, s, growth = 1.0, 4.0, 0.3, GrowthRate(0.12, 0.05)
    z, gap = -NORMAL.inv_cdf(0.1), math.log(4)
    # (r^2 - z^2 q^2) d^2 - 2 gap r d + gap^2 - z^2 s^2 = 0, the smaller root
    a = growth.per_day**2 - (z * growth.sd) ** 2
    b, c = -2 * gap * growth.per_day, gap**2 - (z * s) ** 2
    root = (-b - math.sqrt(b * b - 4 * a * c)) / (2 * a)
    found = first_crossing(
        density=density, threshold=threshold, log_sd=s, growth=growth, probability=0.1, furthest=30
    )
    assert found is not None
    assert found.days == math.ceil(root)


def test_nothing_found_is_not_projected() -> None:
    """A density of 0 has no logarithm and no crossing."""
    growth = GrowthRate(0.2, 0.05)
    assert first_crossing(
        density=0.0, threshold=4.0, log_sd=1.0, growth=growth, probability=0.1, furthest=10
    ) is None  # fmt: skip


@given(DENSITY, DENSITY, st.floats(0.05, 1), st.floats(0.02, 0.3))
def test_more_sets_put_the_day_off_for_a_density_below(
    density: float, threshold: float, k: float, rate: float
) -> None:
    """Where the middle is still below, surer counts never bring the first day forward."""
    growth = GrowthRate(rate, 0.02)
    days = []
    for sets in (4, 16, 64):
        found = first_crossing(
            density=density, threshold=threshold, log_sd=log_mean_sd(density, k=k, sets=sets),
            growth=growth, probability=0.1, furthest=60,
        )  # fmt: skip
        days.append(math.inf if found is None else found.days)
    assert days == sorted(days)
