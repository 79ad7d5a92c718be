"""Ranges without random numbers: equally likely slices, and quantiles of weighted members."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stagecast.phenology.spread import normal_draws, quantile_days, unrelated_order

counts = st.integers(1, 60)
times_or_never = st.one_of(st.floats(0.0, 365.0), st.just(math.inf))
probabilities = st.sampled_from([0.1, 0.25, 0.5, 0.9])


@given(count=counts)
def test_draws_are_symmetrical(count: int) -> None:
    """For every draw there is its mirror image, so that the mean is zero."""
    draws = normal_draws(count)
    np.testing.assert_allclose(draws, -draws[::-1], atol=1e-12)
    assert (np.diff(draws) > 0.0).all()


@given(count=counts)
def test_draws_are_equally_likely(count: int) -> None:
    """Each draw halves its own one of ``count`` slices of equal probability under the normal."""
    below = [0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) for z in normal_draws(count)]
    assert below == pytest.approx([(i + 0.5) / count for i in range(count)], abs=1e-9)


@given(count=counts)
def test_an_unrelated_order_holds_every_draw_once(count: int) -> None:
    """The order is a permutation: no draw is lost or used twice."""
    assert sorted(unrelated_order(count).tolist()) == list(range(count))


@pytest.mark.parametrize("count", [*range(5, 26), 45])
def test_an_unrelated_order_is_unrelated(count: int) -> None:
    """Its correlation with 0, 1, 2, ... stays below a quarter, in ranks and in the draws."""
    order, draws = unrelated_order(count), normal_draws(count)
    assert abs(np.corrcoef(order, np.arange(count))[0, 1]) < 0.25
    assert abs(np.corrcoef(draws[order], draws)[0, 1]) < 0.25


# --- quantiles -----------------------------------------------------------------------------------


@given(
    members=st.lists(st.tuples(times_or_never, st.floats(0.0, 1.0)), min_size=1, max_size=60),
    probability=probabilities,
)
def test_a_quantile_is_the_time_of_a_member_that_counts(
    members: list[tuple[float, float]], probability: float
) -> None:
    """A quantile is a member's own time, by which its share of the weight has come, no earlier.

    A member without weight is never the answer.
    """
    times, weights = np.array(members).T
    assume(weights.sum() > 1e-6)
    share = weights / weights.sum()
    result = float(quantile_days(times, (probability,), weights)[0])
    assert result in times[weights > 0.0]
    assert share[times <= result].sum() >= probability - 1e-9
    assert share[times < result].sum() < probability + 1e-9


@given(
    members=st.lists(st.tuples(times_or_never, st.integers(0, 5)), min_size=1, max_size=30),
    probability=probabilities,
)
def test_a_weight_of_three_is_a_member_three_times(
    members: list[tuple[float, int]], probability: float
) -> None:
    """Whole weights give what members repeated as often give without weights."""
    times, weights = np.array([t for t, _ in members]), np.array([n for _, n in members])
    assume(weights.any())
    repeated = quantile_days(np.repeat(times, weights), (probability,))
    weighted = quantile_days(times, (probability,), weights.astype(float))
    assert weighted.tolist() == repeated.tolist()


@given(
    members=st.lists(st.tuples(times_or_never, st.integers(1, 9)), min_size=1, max_size=30),
    seed=st.integers(0, 1000),
    scale=st.sampled_from([0.25, 4.0, 1024.0]),
)
def test_neither_order_nor_scale_matters(
    members: list[tuple[float, int]], seed: int, scale: float
) -> None:
    """Members in another order, or weights that sum to something else, give the same quantiles."""
    times, weights = np.array(members, dtype=float).T
    order = np.random.default_rng(seed).permutation(len(times))
    wanted = (0.1, 0.5, 0.9)
    expected = quantile_days(times, wanted, weights).tolist()
    assert quantile_days(times[order], wanted, scale * weights[order]).tolist() == expected
    assert expected == sorted(expected)


def test_quantiles_with_stages_never_reached() -> None:
    """When two of five seasons never get there, the middle is a time and the 90 per cent never."""
    times = np.array([250.0, math.inf, 240.0, 260.0, math.inf])
    assert quantile_days(times, (0.1, 0.5, 0.9)).tolist() == [240.0, 260.0, math.inf]


def test_quantiles_by_hand_with_weights() -> None:
    """Of 1, 2, 3 with weights 0.2, 0.7, 0.1 the tenth is 1 and the middle and the 90th are 2."""
    weights = np.array([0.1, 0.2, 0.7])
    assert quantile_days(np.array([3.0, 1.0, 2.0]), (0.1, 0.5, 0.9), weights).tolist() == [
        1.0,
        2.0,
        2.0,
    ]


def test_an_unknown_time_has_no_quantile() -> None:
    """A member whose time is unknown is refused, not sorted to the end as if it were never."""
    with pytest.raises(ValueError, match="unknown"):
        quantile_days(np.array([200.0, math.nan]), (0.5,))


@given(
    rows=st.integers(1, 5).flatmap(
        lambda members: st.lists(
            st.lists(times_or_never, min_size=members, max_size=members), min_size=1, max_size=6
        )
    ),
    seed=st.one_of(st.none(), st.integers(0, 99)),
)
def test_rows_together_are_as_each_alone(rows: list[list[float]], seed: int | None) -> None:
    """Quantiles of many events in one sort are those of each event by itself, to the last bit."""
    times, asked = np.array(rows), (0.1, 0.5, 0.9)
    weights = None if seed is None else np.random.default_rng(seed).random(times.shape[1])
    together = quantile_days(times, asked, weights)
    np.testing.assert_array_equal(together, [quantile_days(row, asked, weights) for row in times])
