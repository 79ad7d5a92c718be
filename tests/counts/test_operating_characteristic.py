"""How simulated fields are answered, and how often the range beside a mean holds it."""

from __future__ import annotations

import numpy as np
import pytest
from answers import ANSWERS, PRIOR, share_held, shares_answered

THRESHOLD, FIELDS = 9.0, 1500


@pytest.mark.parametrize(
    ("times", "answer", "least", "most"),
    [
        (0.0, "below", 1.0, 1.0),
        (0.25, "below", 0.80, 1.0),
        (0.5, "above", 0.0, 0.03),
        (2.0, "below", 0.0, 0.03),
        (3.0, "above", 0.80, 1.0),
    ],
)
def test_the_shares_that_the_levels_were_chosen_for(
    times: float, answer: str, least: float, most: float
) -> None:
    """At k = 1 clean fields are below, fields far over are above, and few are called wrongly."""
    found = shares_answered(times * THRESHOLD, 1.0, threshold=THRESHOLD, fields=FIELDS, seed=13)
    assert least <= found[answer] <= most


def test_fuller_fields_are_answered_higher() -> None:
    """From no insects to three times the threshold below only shrinks, and above only grows."""
    means = (0.0, 0.5, 1.0, 2.0, 3.0)
    rows = [shares_answered(times * 4.0, 1.0, threshold=4.0, fields=400, seed=7) for times in means]
    assert all(abs(sum(row[one] for one in ANSWERS) - 1.0) < 1e-9 for row in rows)
    below, above = [row["below"] for row in rows], [row["above"] for row in rows]
    assert below == sorted(below, reverse=True)
    assert above == sorted(above)


def test_the_range_holds_the_mean_where_k_is_drawn_from_its_prior() -> None:
    """80 percent ranges hold 75 to 88 of 100 means, over means from a quarter to three times 9."""
    rng = np.random.default_rng(4)
    held = []
    for times in (0.25, 0.5, 1.0, 2.0, 3.0):
        k = np.exp(PRIOR.k_log_sd * rng.normal(size=800)) * times**PRIOR.k_rise
        held.append(share_held(times * 9.0, k, threshold=9.0, fields=800, seed=3))
    assert 0.75 <= float(np.mean(held)) <= 0.88
    assert all(0.72 <= one <= 0.90 for one in held), "800 fields a mean: noise of 0.015 each"


def test_the_range_holds_the_mean_of_clumped_fields() -> None:
    """At k = 0.5 it holds at least 72 of 100 over the same means."""
    held = [
        share_held(times * 9.0, 0.5, threshold=9.0, fields=800, seed=5)
        for times in (0.25, 0.5, 1.0, 2.0, 3.0)
    ]
    assert float(np.mean(held)) >= 0.72
