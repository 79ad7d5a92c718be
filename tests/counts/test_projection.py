"""Growth from a count to a threshold: published examples, and simulations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.counts.judge import prior_of
from stagecast.counts.posterior import Posterior, posterior
from stagecast.counts.projection import GrowthRate, crossing_share, log_mean_sd, over_by
from stagecast.knowledge import load

APHID_EIL = 674.0


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


# --- from a posterior -------------------------------------------------------------------------

PRIOR = prior_of(1.0, load().decisions.counting)
COUNTS = st.lists(st.integers(0, 40), min_size=2, max_size=8)


def of(counts: list[int], threshold: float = 9.0) -> Posterior:
    """What some sets say of the mean."""
    return posterior(counts, at=threshold, prior=PRIOR)


def test_the_chance_is_that_of_simulated_fields() -> None:
    """Of 400,000 fields with a mean of the posterior and a rate of their own, as many are over.

    The tolerance holds the cells of the grid and 15 rates in place of all, 0.015.
    """
    random, growth = np.random.default_rng(5), GrowthRate(0.10, 0.05)
    for counts in ([5, 5, 5, 5], [0, 2, 9, 1], [7, 7, 7, 7]):
        now = of(counts)
        cells = random.choice(len(now.mean), 400_000, p=now.mean / now.mean.sum())
        logs = now.grid.log_mean[cells] + now.grid.width * random.uniform(-0.5, 0.5, 400_000)
        rates = random.normal(growth.per_day, growth.sd, 400_000)
        for days in (0, 3, 5, 10):
            simulated = float(np.mean(logs + rates * days > math.log(9.0)))
            found = over_by(now, threshold=9.0, days=days, growth=growth)
            assert found == pytest.approx(simulated, abs=0.015)


def test_an_even_field_at_three_quarters_is_more_likely_than_not_over_by_day_five() -> None:
    """Sets of 7, 7, 7, 7 against 9 are likelier over than not by day five, of 4, 4, 4, 4 not.

    Growth of 0.1 a day makes 7 into 11.5 and 4 into 6.6 in five days (worked out by hand).
    """
    growth = GrowthRate(0.10, 0.05)
    near, far = (over_by(of([n] * 4), threshold=9.0, days=5, growth=growth) for n in (7, 4))
    assert near > 0.5 > far


def test_aphids_get_from_threshold_to_injury_in_ten_days() -> None:
    """With many even plants and one sure rate the chance turns on the day of the closed form.

    Soybean aphids double in 6.8 d and so lead from 250 to 674 a plant in 9.7 d (Ragsdale et al.
    2007, J Econ Entomol 100:1258-1267; doubling time MEMORY of the same, 9.7 d COMPUTED).
    """
    growth = GrowthRate(math.log(2.0) / 6.8, 0.0)
    now = of([250] * 60, APHID_EIL)
    eight, twelve = (over_by(now, threshold=APHID_EIL, days=d, growth=growth) for d in (8, 12))
    assert eight < 0.1
    assert twelve > 0.9


@given(COUNTS, st.floats(0, 10), st.floats(0, 10), st.floats(0, 0.3))
def test_what_grows_is_no_less_likely_over_on_a_later_day(
    counts: list[int], day: float, other: float, rate: float
) -> None:
    """With a rate that is not negative the chance never falls with the days."""
    now, growth = of(counts), GrowthRate(rate, 0.0)
    first, last = sorted((day, other))
    chances = [over_by(now, threshold=9.0, days=d, growth=growth) for d in (first, last)]
    assert chances[0] <= chances[1] + 1e-9


@given(COUNTS)
def test_on_the_day_of_the_count_it_is_the_posterior_itself(counts: list[int]) -> None:
    """No days, no growth."""
    now = of(counts)
    found = over_by(now, threshold=9.0, days=0, growth=GrowthRate(0.1, 0.05))
    assert found == pytest.approx(now.over(9.0))
