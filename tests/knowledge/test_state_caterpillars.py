"""Caterpillars by state: what a field of a state is held against, beside what was printed for it.

The figures are typed from the publications named beside them, in sets of 25 sweeps or row-feet.
"""

from __future__ import annotations

import pytest

from stagecast.knowledge import load
from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.threshold import SeasonPrices, Threshold
from stagecast.pests.thresholds import in_sweeps, lasts_to, thresholds_at

KNOWLEDGE = load()
PESTS = KNOWLEDGE.pests
EARWORM, LOOPER, VELVETBEAN = "corn-earworm", "soybean-looper", "velvetbean-caterpillar"
THISTLE = "thistle-caterpillar"


def own(pest: str, region: str, stage: str, unit: str) -> list[Threshold]:
    """A region's own thresholds in a unit at a stage, the one to go by first."""
    shown = thresholds_at(PESTS[pest], region=region, stage=stage, knowledge=KNOWLEDGE, alone=True)
    return [one.threshold for one in shown if one.kind == "here" and one.threshold.unit == unit]


def mississippi() -> Threshold:
    """The threshold that has a table of prices."""
    (found,) = (t for t in PESTS[EARWORM].thresholds if t.by_price is not None)
    return found


# Pest, region, stage, value per 25 sweeps.
SWEEPS = [
    (EARWORM, "MS", "R2", 9),  # Mississippi State crop blog, 15 July 2025, fixed threshold
    (EARWORM, "AR", "R5", 9),  # Lorenz, Univ Arkansas row-crops blog, 23 July 2012
    (EARWORM, "AL", "R3", 6),  # Graham and Smith, Auburn, 31 August 2023: around 6
    (EARWORM, "TN", "R4", 5),  # Brown, Univ Tennessee, August 2023: 5-6 at $13.75 and $10-16
    (EARWORM, "VA", "R3", 3.7),  # Bryant, Virginia Tech 2025: 2.2 per 15 at $10 and $15
    (EARWORM, "DE", "R3", 4.2),  # Owens, Univ Delaware 2022: 2.5 per 15 at $13.50 and $13
    (EARWORM, "MD", "R5", 4.2),  # Schug, Univ Maryland, July 2025: about 2.5 per 15
    (LOOPER, "TN", "R4", 19),  # Brown, Univ Tennessee, August 2022
    (LOOPER, "AL", "R4", 19),  # Graham and Smith, Auburn, 31 August 2023
    (LOOPER, "VA", "R6", 33.3),  # Herbert, Virginia, September 2010: 20 per 15
    (LOOPER, "LA", "R4", 37.5),  # Baldwin, Louisiana State, 24 August 2005: 1.5 per sweep
    (VELVETBEAN, "AL", "R4", 38),  # Graham and Smith, Auburn, 31 August 2023
    (VELVETBEAN, "LA", "R4", 75),  # Louisiana State, Jefferson Davis Parish: 300 per 100
    ("fall-armyworm", "TN", "V3", 10),  # Stewart, Univ Tennessee, July 2014: 40 per 100
]


@pytest.mark.parametrize(("pest", "region", "stage", "per_25"), SWEEPS)
def test_by_the_net_a_state_has_its_own_number(
    pest: str, region: str, stage: str, per_25: float
) -> None:
    """The first of the state's own thresholds at the stage, in sets of 25 sweeps."""
    value = in_sweeps(own(pest, region, stage, "sweeps")[0], per=25)
    assert value == pytest.approx(per_25, abs=0.05)


# Pest, region, stage, unit, low end, high end.
OTHERWISE = [
    (EARWORM, "SC", "R3", "row-feet", 2, None),  # Clemson, 15 August 2014: 2 or more
    (EARWORM, "GA", "R3", "row-feet", 2, None),  # Univ Georgia 2014, all caterpillars
    (EARWORM, "KY", "R3", "row-feet", 2, None),  # Johnson, Univ Kentucky, 30-inch rows
    (EARWORM, "MS", "R3", "row-feet", 1, 1.5),  # Mississippi State, 15 July 2025
    (EARWORM, "MO", "R1", "row-feet", 1, None),  # Scheidt, Univ Missouri 2017
    (EARWORM, "MO", "R3", "percent", 5, None),  # the same: percent of pods
    (EARWORM, "TX", "R5", "row-feet", 1, None),  # Texas A&M, ENTO-045, 2015
    (EARWORM, "TX", "R6", "row-feet", 3, None),  # the same
    (EARWORM, "KS", "R1", "row-feet", 1, None),  # Michaud, Kansas State, in a pest profile
    (EARWORM, "KS", "R4", "row-feet", 1, None),  # Whitworth, Kansas State
    (LOOPER, "SC", "R4", "row-feet", 6, 8),  # Clemson, 15 August 2014
    (LOOPER, "TN", "R4", "percent", 20, None),  # Brown, Univ Tennessee, August 2022
    (VELVETBEAN, "SC", "R4", "row-feet", 4, 6),  # Clemson, 15 August 2014
    (VELVETBEAN, "LA", "R4", "row-feet", 8, None),  # Louisiana State, Jefferson Davis Parish
    ("fall-armyworm", "TN", "V3", "percent", 30, None),  # Brown, Univ Tennessee, 2022 or later
    ("fall-armyworm", "TN", "R3", "percent", 20, None),  # the same
    ("beet-armyworm", "VA", "R3", "percent", 20, None),  # Herbert, Virginia Tech, about 2012
    ("green-cloverworm", "KS", "R3", "row-feet", 10, 12),  # Kansas State, 26 August 2016
    (THISTLE, "IA", "V2", "plants", 0.5, None),  # Rice, Iowa State, 20 June 2005
    (THISTLE, "IA", "R3", "percent", 20, 25),  # the same
    (THISTLE, "ND", "V3", "percent", 25, 30),  # North Dakota State, 7 July 2005
    (THISTLE, "ND", "R3", "percent", 20, None),  # the same
]


@pytest.mark.parametrize(("pest", "region", "stage", "unit", "low", "high"), OTHERWISE)
def test_by_row_pods_plants_or_leaf_loss_a_state_has_its_own_number(
    pest: str, region: str, stage: str, unit: str, low: float, high: float | None
) -> None:
    """The first of the state's own thresholds at the stage in the unit, and its high end."""
    first = own(pest, region, stage, unit)[0]
    assert (first.value, first.high) == (low, high)


COSTS = (10, 15, 20, 25, 30)
# Mississippi State crop blog, 15 July 2025, Table 1: larvae of 1/2 inch or more per 25 sweeps by
# bean price ($/bu) and cost of control ($/acre); the column of $11 could not be read.
TABLE = {
    8: (5.5, 8.3, 11.0, 13.8, 16.5),
    9: (4.9, 7.4, 9.8, 12.3, 14.7),
    10: (4.4, 6.6, 8.8, 11.0, 13.2),
    12: (3.7, 5.5, 7.4, 9.2, 11.0),
    13: (3.4, 5.1, 6.8, 8.5, 10.2),
    14: (3.2, 4.7, 6.3, 7.9, 9.5),
    15: (2.9, 4.4, 5.9, 7.4, 8.8),
    16: (2.8, 4.1, 5.5, 6.9, 8.3),
}


@pytest.mark.parametrize("price", TABLE)
def test_mississippis_table_of_price_and_cost_is_met_in_every_cell(price: int) -> None:
    """All cells read, rounded as printed; large larvae count, small ones do not."""
    rule = mississippi()
    found = tuple(rule.priced(SeasonPrices(price, cost)).value for cost in COSTS)
    assert found == TABLE[price]
    assert rule.large_only
    assert (rule.per, rule.unit) == (25, "sweeps")


@pytest.mark.parametrize("prices", [(7.9, 20), (16.1, 20), (10, 9), (10, 31)])
def test_beyond_mississippis_table_the_fixed_nine_stands(prices: tuple[float, float]) -> None:
    """The formula is not drawn out beyond the prices and costs that were printed."""
    assert mississippi().priced(SeasonPrices(*prices)).value == 9


def test_alabamas_two_rules_are_one() -> None:
    """1.5 worms per sweep, a looper counted twice (2012), is 38 and 19 per 25 sweeps (2023)."""
    (pooled,) = (t for t in PESTS[VELVETBEAN].thresholds if t.weights)
    worms = in_sweeps(pooled, per=25)
    assert worms is not None
    (looper,) = pooled.weights
    newer = [own(pest, "AL", "R4", "sweeps")[0].value for pest in (VELVETBEAN, LOOPER)]
    assert newer == pytest.approx([worms, worms / looper.counts_as], abs=0.5)


# Last stage at which a source of the state reckons with the pest; R6 is over at R6.5.
LASTS: list[tuple[str, str, CropEvent]] = [
    (EARWORM, "MO", "R6"),  # Scheidt, Univ Missouri 2014: at full seed no longer preferred
    (EARWORM, "NC", "R6.5"),  # Reisig, NC State 2014: R4 to R7
    (LOOPER, "VA", "R6"),  # Herbert, Virginia 2010: safe at R6.5
    (LOOPER, "NC", "R6.5"),  # NC State 2017: leaves are protected until R7
]


@pytest.mark.parametrize(("pest", "region", "last"), LASTS)
def test_treatment_ends_where_the_state_says(pest: str, region: str, last: CropEvent) -> None:
    """At the stage after it the pest no longer counts."""
    assert lasts_to(PESTS[pest], region=region, knowledge=KNOWLEDGE) == last


# Pest, region, what the older or doubtful figure said.
REPLACED = [
    (EARWORM, "MS", "3 larvae of 1/2 inch"),  # Catchot and others, 21 July 2012
    (EARWORM, "DE", "3 larvae per 25 sweeps in narrow rows"),  # Whalen, 31 July 2009
    (EARWORM, "DE", "5 larvae per 25 sweeps in rows of 20 inches"),  # the same
    (EARWORM, "MO", "1 larva per row-foot and 5 percent"),  # state guide quoted in 2011
    ("fall-armyworm", "TN", "30 to 35 percent"),  # Stewart, July 2014
    (VELVETBEAN, "NC", "30 percent"),  # NC State scouting note, September 2023
]


@pytest.mark.parametrize(("pest", "region", "said"), REPLACED)
def test_what_was_replaced_is_kept_and_said_why(pest: str, region: str, said: str) -> None:
    """An older or doubtful figure stays on record, with what holds now or what is wrong with it."""
    found = [one for one in PESTS[pest].replaced if one.region == region and said in one.said]
    assert [bool(one.note) for one in found] == [True]


def test_a_check_after_a_treatment_is_tennessees() -> None:
    """Univ Tennessee 2023 looks again for earworms after 4 to 5 days; no other state says so."""
    rules = [(r.region, r.when, r.days) for r in PESTS[EARWORM].returns]
    assert rules == [("TN", "treated", (4, 5))]
