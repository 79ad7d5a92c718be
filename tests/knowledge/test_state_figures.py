"""What the states' own texts say, typed from them, against what a field there is shown."""

from __future__ import annotations

import pytest

from stagecast.knowledge import load
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.pests.thresholds import OWN_KINDS, thresholds_at

KNOWLEDGE = load()
SHOWN_AT = ("V1", "V4", "R1", "R2", "R3", "R4", "R5", "R6")

# Leaf loss in percent at the stages above, the figure that stands first. "." where the state's
# texts that were read are silent, so that a neighbor's is shown.
LEAF_LOSS = """
AL 35 35 20 20 20 20 20 30  Reisig 2023 (CITED), before bloom; Graham and Smith, Auburn, Aug 2023
AR 40 40 .  .  .  .  .  .   Lorenz and Akin, farm press of about 2010 (CITED)
DE 30 30 15 15 15 15 15 50  Whalen 2015-16, Owens, Univ Delaware
GA .  .  .  .  .  .  15 .   Thomas County, Univ Georgia, 29 Aug 2014
IA 30 30 20 20 20 20 20 20  Hodgson, Iowa State
IL 35 35 20 20 20 20 20 20  Steffey, Univ Illinois, 7 Aug 1998; Gray, 26 Aug 2011
IN .  .  15 15 15 15 15 .   Purdue, bean leaf beetle leaf and pod feeding, to early R5
LA 30 30 20 20 20 20 20 20  Jefferson Davis parish; Baldwin, LSU, 24 Aug 2005, after bloom
MD 30 30 15 15 15 15 15 15  Schug, Univ Maryland, July 2025
MN 30 30 20 20 20 20 20 20  Koch, Univ Minnesota
MO 30 30 20 20 20 20 20 20  Scheidt, Univ Missouri, 2014 to 2017
MS .  .  20 20 20 20 20 20  Mississippi State, 2019
NC 30 30 15 15 15 15 15 15  NC State, July 2025: 15 planted after 31 May, or nobody knows when
ND .  .  20 20 20 20 20 20  Knodel, North Dakota State, 15 Aug 2019, caterpillars
NE 30 30 20 20 20 20 20 20  Wright and Hunt, Univ Nebraska, 2019
OH 30 30 30 30 10 10 10 15  Karhoff, Ohio State, July 2024
ON .  .  15 15 15 15 25 25  Ontario crop reports, 2025
PA 25 25 15 15 15 15 15 15  Penn State sentinel plots, 31 July 2019 (CITED)
SC 30 30 15 15 15 15 15 15  Clemson, 15 Aug 2014, 4 Sep 2015
SD 30 30 20 20 20 20 20 20  Varenhorst, South Dakota State, 2019
TN 30 30 20 20 20 20 20 30  Brown, Univ Tennessee, 2022 or later; Stewart 2017 from R6 on
VA 30 30 20 20 20 20 20 20  Herbert, Virginia Tech, no. 945, about 2012
WI 30 30 20 20 20 20 20 .   Hamilton, Wisconsin, 12 July 2018
"""


def own_first(pest: str, region: str, stage: str) -> float | None:
    """The figure of a region's own that stands first at a stage; None where it has none."""
    found = thresholds_at(KNOWLEDGE.pests[pest], region=region, stage=stage, knowledge=KNOWLEDGE)
    judged = [s for s in found if pest != "leaf-feeders" or s.threshold.leaf_loss]
    own = [s.threshold.value for s in judged if s.kind in OWN_KINDS]
    return own[0] if own else None


@pytest.mark.parametrize("row", LEAF_LOSS.strip().splitlines(), ids=lambda row: row[:2])
def test_leaf_loss_of_each_state(row: str) -> None:
    """Before bloom, from bloom on and late, as the newest text of the state that was read says."""
    region, *figures = row.split(maxsplit=len(SHOWN_AT) + 1)[: len(SHOWN_AT) + 1]
    told = [None if figure == "." else float(figure) for figure in figures]
    assert [own_first("leaf-feeders", region, stage) for stage in SHOWN_AT] == told


def test_no_other_state_has_leaf_loss_of_its_own() -> None:
    """The table above names every state that has any."""
    named = {row[:2] for row in LEAF_LOSS.strip().splitlines()}
    found = KNOWLEDGE.pests["leaf-feeders"].thresholds
    assert {t.region for t in found if t.leaf_loss} == named


@pytest.mark.parametrize("region", KNOWLEDGE.regions)
def test_leaf_loss_has_a_figure_at_every_stage(region: str) -> None:
    """From V1 to R6 some state's holds, the region's own or the nearest: no stage is left out."""
    pest = KNOWLEDGE.pests["leaf-feeders"]
    first, last = stage_place("V1"), stage_place("R6")
    for stage in STAGE_ORDER[first : last + 1]:
        found = thresholds_at(pest, region=region, stage=stage, knowledge=KNOWLEDGE)
        assert any(s.threshold.leaf_loss for s in found), stage


# Of what is known of these states no more than one figure is right: others were replaced.
REPLACED = [
    ("leaf-feeders", "NC", "30 percent leaf loss until two weeks before bloom"),  # Reisig 2023
    ("leaf-feeders", "OH", "40 percent leaf loss before bloom, 15 in bloom, 25"),  # Young 2021-22
    ("leaf-feeders", "OH", "15 percent leaf loss to R4, 25 from late R5"),  # Ohio State 2004
    ("leaf-feeders", "NE", "40 percent leaf loss before bloom"),  # CropWatch, an older page
    ("leaf-feeders", "PA", "35 percent leaf loss before bloom"),  # Penn State, 1980s
    ("leaf-feeders", "TN", "20 to 25 percent leaf loss"),  # Stewart 2017
    ("leaf-feeders", "DE", "35 percent leaf loss"),  # Whalen 2015-16
    ("leaf-feeders", "IL", "20 to 25 percent leaf loss"),  # Steffey 1998
    ("leaf-feeders", "SD", "25 to 30 percent leaf loss"),  # Tilmon
    ("leaf-feeders", "MD", "15 to 20 percent leaf loss"),  # Cramer and Hamby 2021
    ("soybean-aphid", "DE", "250 aphids a plant until R5.5"),  # Whalen, 15 Aug 2014
]


@pytest.mark.parametrize(("pest", "region", "said"), REPLACED)
def test_older_figures_are_kept_and_decide_nothing(pest: str, region: str, said: str) -> None:
    """A figure that a newer one of the state took the place of stands in words alone."""
    old = [one.said for one in KNOWLEDGE.pests[pest].replaced if one.region == region]
    assert any(one.startswith(said) for one in old)


# Koch, Univ Minnesota: 20 percent cut with gaps of a foot and worms there, VE to V3. North Dakota
# State, 9 May 2002: one worm in three feet of row, or 20 percent cut.
CUTWORMS = [
    ("MN", "VE", "V3", 20, 1, "percent"), ("ND", "VE", "V4", 1, 3, "row-feet"),
    ("ND", "VE", "V4", 20, 1, "percent"),
]  # fmt: skip


def test_cutworms_are_judged_at_the_stand() -> None:
    """Plants cut and worms in the row, from emergence on; a cut plant is no leaf loss."""
    found = KNOWLEDGE.pests["cutworms"].thresholds
    assert [(t.region, t.first, t.last, t.value, t.per, t.unit) for t in found] == CUTWORMS
    assert not any(t.leaf_loss for t in found)
    assert {a.sample for a in KNOWLEDGE.pests["cutworms"].activities} == {"stand-look"}


# Wisconsin, South Dakota (READ): not economical from R6 on; Iowa: none once R5.5 is reached.
# Mississippi 2014, Tennessee 2017: all sprays end 7 to 10 days after R6. Georgia 2014: R7.
STOPS = [
    ("soybean-aphid", "WI", "R5"), ("soybean-aphid", "SD", "R5"), ("soybean-aphid", "IA", "R5"),
    ("leaf-feeders", "TN", "R6"), ("leaf-feeders", "MS", "R6"), ("leaf-feeders", "AL", "R6"),
    ("leaf-feeders", "GA", "R7"), ("leaf-feeders", "NC", "R7"),
]  # fmt: skip


@pytest.mark.parametrize(("pest", "region", "last"), STOPS)
def test_where_treatment_stops(pest: str, region: str, last: str) -> None:
    """To R6 is until R6.5, where R6 is parted."""
    assert [e.last for e in KNOWLEDGE.pests[pest].ends if e.region == region] == [last]
