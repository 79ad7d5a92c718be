"""Gain threshold, injury level and the threshold below it, against published worked examples."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.counts.economics import (
    gain_threshold,
    injury_level,
    loss_per_pest,
)

money = st.floats(0.5, 100.0)
shares = st.floats(0.05, 1.0)

# --- published examples ---------------------------------------------------------------------


def test_pests_per_acre_of_a_teaching_page() -> None:
    """$20 per acre against 10 percent of a $500 crop lost to 800 pests: 320 pests per acre.

    North Carolina State University, teaching page on economic injury levels (READ). The crop's
    value stands for yield times price, so yield is in dollars and its price is 1.
    """
    loss = loss_per_pest(0.10, 500.0, density=800.0)
    assert injury_level(gain_threshold(20.0, 1.0), loss) == pytest.approx(320.0)


@pytest.mark.parametrize(
    ("stage", "loss", "low", "high"),
    [
        ("V1", 43.58, 1.4, 3.6),
        ("V2", 20.41, 3.0, 7.8),
        ("V3", 13.10, 4.7, 12.2),
        ("V4", 9.55, 6.5, 16.7),
    ],
)
def test_potato_leafhopper(stage: str, loss: float, low: float, high: float) -> None:
    """All eight published levels, hoppers per plant, follow from two gain thresholds.

    Hunt, T.E., Higley, L.G., Pedigo, L.P. 2000. J. Entomol. Sci. 35:97-104 (abstract READ): loss
    in kg/ha per hopper per plant, and levels to one decimal. The gain thresholds are not printed.
    Level times loss, COMPUTED, leaves 61.60 to 62.19 kg/ha for the lower one at all four stages.
    For the upper one V1 asks for at most 159.07 and V3 for at least 159.17: no one value meets
    both, and 159.1 misses the rounding by less than a hundredth of a hopper.
    """
    assert injury_level(61.9, loss) == pytest.approx(low, abs=0.05), stage
    assert injury_level(159.1, loss) == pytest.approx(high, abs=0.06), stage


def test_bean_leaf_beetle_at_v1() -> None:
    """6.08 beetles per plant at $7.50/bu and $11/acre; 4.84 at $12 and $14 with the same loss.

    Hunt, T.E., Higley, L.G., Witkowski, J.F. 1995. Agron. J. 87:183-188, as quoted by the Univ.
    of Illinois (CITED); the loss, 0.2412 bu/acre per beetle per plant, is implied by it, and the
    second level COMPUTED from it.
    """
    loss = 0.2412
    assert injury_level(gain_threshold(11.0, 7.50), loss) == pytest.approx(6.08, abs=0.005)
    assert injury_level(gain_threshold(14.0, 12.0), loss) == pytest.approx(4.84, abs=0.005)


def test_bean_leaf_beetle_on_seedlings() -> None:
    """4 per seedling at $10/acre, and with the same loss 1.6 at $4 and 0.8 at $2.

    Catangui, M., South Dakota State Univ., in a farm magazine (READ): $5/bu, 40 bu/acre; 16 and 8
    per row-foot at 10 seedlings per foot. The loss of 1.25 percent per beetle per seedling is
    implied by the first value; the other two test it.
    """
    loss = loss_per_pest(0.0125, 40.0)
    levels = [injury_level(gain_threshold(cost, 5.0), loss) for cost in (10.0, 4.0, 2.0)]
    assert levels == pytest.approx([4.0, 1.6, 0.8])
    assert [10 * level for level in levels] == pytest.approx([40.0, 16.0, 8.0])


def test_bean_leaf_beetle_at_pod_fill() -> None:
    """6 beetles per row-foot at $8/acre, $5/bu and 45 bu/acre.

    Catangui, M., South Dakota State Univ. (READ); the loss of 0.593 percent per beetle per
    row-foot is implied (COMPUTED), so this tests units and arithmetic only.
    """
    loss = loss_per_pest(0.00593, 45.0)
    assert injury_level(gain_threshold(8.0, 5.0), loss) == pytest.approx(6.0, abs=0.005)


def test_soybean_aphid_at_a_high_price() -> None:
    """452 aphids per plant at $15/bu, $8/acre and 50 bu/acre.

    Ragsdale, D., as quoted by an agronomy summary (CITED). By hand 8/15 = 0.533 bu/acre, 1.067
    percent of the yield, over 452 aphids is 0.00236 percent each: units and arithmetic only.
    """
    loss = loss_per_pest(0.0000236, 50.0)
    assert injury_level(gain_threshold(8.0, 15.0), loss) == pytest.approx(452.0, abs=0.5)


def test_corn_earworm_rule_stops_at_ten_dollars() -> None:
    """No lower above $10/bu, and almost 0.75 larvae per 15 sweeps higher at $8.

    Delaware extension 2022 (READ): about 2.5 per 15 sweeps at $13.50/bu and $13/acre, no further
    fall above $10; at $8 almost 0.75 more, so about 3.25. North Carolina, Reisig 2014 (READ): no
    change above $10. The rule gives 3.125, a sixth of a larva less than what "almost" says.
    """
    loss = 13.0 / 10.0 / 2.5  # bu/acre per larva per 15 sweeps, implied by the first point

    def level(price: float) -> float:
        return injury_level(gain_threshold(13.0, price, highest_price=10.0), loss)

    assert level(13.50) == pytest.approx(2.5)
    assert level(16.0) == level(10.0) == level(13.50)
    assert level(8.0) == pytest.approx(3.25, abs=0.15)
    assert level(8.0) < 3.25


def test_corn_earworm_is_proportional_to_cost() -> None:
    """2.2 larvae per 15 sweeps at $15/acre and $10/bu is 2.93 at $20 or at $7.50.

    Virginia Tech 2025, rows of 15 in., sweep net (READ) for the first; proportionality is the
    rule that the points were found to follow (2.2 x 20/15 = 2.2 x 10/7.5 = 2.93 by hand).
    """
    loss = 15.0 / 10.0 / 2.2
    assert injury_level(gain_threshold(15.0, 10.0), loss) == pytest.approx(2.2)
    assert injury_level(gain_threshold(20.0, 10.0), loss) == pytest.approx(2.93, abs=0.005)
    assert injury_level(gain_threshold(15.0, 7.5), loss) == pytest.approx(2.93, abs=0.005)


# --- what holds for all numbers -------------------------------------------------------------


@given(cost=money, price=money, control=shares, lost=shares, crop=money)
def test_at_the_injury_level_the_loss_saved_pays_the_treatment(
    cost: float, price: float, control: float, lost: float, crop: float
) -> None:
    """The definition itself: value of the yield saved at the level equals the cost."""
    loss = loss_per_pest(lost, crop)
    level = injury_level(gain_threshold(cost, price, control=control), loss)
    assert level * loss * control * price == pytest.approx(cost)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: gain_threshold(-1.0, 10.0), "cost"),
        (lambda: gain_threshold(10.0, 0.0), "price"),
        (lambda: gain_threshold(math.nan, 10.0), "cost"),
        (lambda: gain_threshold(10.0, 10.0, control=1.2), "share"),
        (lambda: gain_threshold(10.0, 10.0, highest_price=0.0), "price"),
        (lambda: loss_per_pest(12.5, 40.0), "between 0 and 1"),
        (lambda: loss_per_pest(0.1, 40.0, density=0.0), "density"),
        (lambda: injury_level(1.0, 0.0), "without loss"),
        (lambda: injury_level(-1.0, 1.0), "gain"),
    ],
)
def test_nonsense_is_refused(wrong: object, says: str) -> None:
    """A cost, price, share or loss that cannot be raises with words that name it."""
    with pytest.raises(ValueError, match=says):
        wrong()
