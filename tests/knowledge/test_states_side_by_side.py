"""Bugs, hoppers and beetles as states print them, set side by side in one unit.

Figures are typed from the publications named beside them; those per 25 sweeps are in proportion
to the set that was printed (COMPUTED).
"""

from __future__ import annotations

import pytest

from stagecast.knowledge import load
from stagecast.knowledge.threshold import Use
from stagecast.knowledge.units import SampleUnit
from stagecast.pests.thresholds import FieldFacts, in_sweeps, lasts_to, thresholds_at

KNOWLEDGE = load()
PESTS = KNOWLEDGE.pests


def own(
    pest: str, region: str, stage: str, unit: SampleUnit, *, per: float = 25, use: Use = "grain"
) -> list[float]:
    """A region's own figures at a stage in a unit, by sweeps in sets of ``per``."""
    found = thresholds_at(
        PESTS[pest],
        region=region,
        stage=stage,
        knowledge=KNOWLEDGE,
        alone=True,
        facts=FieldFacts(use=use),
    )
    here = [s.threshold for s in found if s.kind == "here" and s.threshold.unit == unit]
    sweeps = [in_sweeps(t, per=per) for t in here]
    return [
        t.value if per_set is None else per_set for t, per_set in zip(here, sweeps, strict=True)
    ]


# State, per 25 sweeps at R4, at R6 before R6.5, and between R6.5 and R7; [] is none of its own.
STINK_BUGS = [
    ("SC", [2.5], [2.5], [2.5]),  # Clemson column 2014: 1 per 10; pods yellow at R7
    ("KY", [3], [9], [9]),  # Johnson, farm press: 12 and 36 per 100, R7 ends it
    ("GA", [3], [6], [6]),  # Univ Georgia 2014
    ("AL", [4], [8], []),  # Alabama blog 2023: 8 for 7-10 days after R6
    ("NC", [25 / 3], [25 / 3], [25 / 3]),  # NC State 2014, 2017: 5 per 15, less in R7
    ("VA", [25 / 3], [25 / 3], []),  # Virginia Tech, about 2013: 5 per 15
    ("TN", [9], [18], []),  # Univ Tennessee 2013, 2017: 18 for 7-10 days after R6, then stop
    ("AR", [9], [9], []),  # Univ Arkansas 2017
    ("MS", [9], [20], []),  # Mississippi State 2014: stop 7 days past R6
    ("TX", [9], [9], []),  # Texas A&M, about 2017: 36 per 100
    ("MO", [10], [10], []),  # Univ Missouri 2025: 0.4 per sweep
    ("IN", [10], [10], []),  # Purdue, 2024: 40 per 100
    ("OH", [10], [10], []),  # Ohio State: 4 per 10
    ("ON", [10], [10], []),  # Ontario 2022: 0.4 per sweep
]


@pytest.mark.parametrize(("region", "full", "late", "latest"), STINK_BUGS)
def test_stink_bugs_per_25_sweeps_and_where_they_end(
    region: str, full: list[float], late: list[float], latest: list[float]
) -> None:
    """Twelve states and Ontario differ four times over, and no two of a state stand together."""
    found = [own("stink-bugs", region, stage, "sweeps") for stage in ("R4", "R6", "R6.5", "R7")]
    assert found == [pytest.approx(full), pytest.approx(late), pytest.approx(latest), []]


@pytest.mark.parametrize(
    ("pest", "region", "stage", "unit", "use", "values"),
    [
        # Seed and food beans, per 25 sweeps: half of what grain bears.
        ("stink-bugs", "MO", "R4", "sweeps", "seed", [5]),  # Univ Missouri 2025
        ("stink-bugs", "IN", "R4", "sweeps", "seed", [5]),  # Purdue, 2024
        ("stink-bugs", "OH", "R4", "sweeps", "food", [5]),  # Ohio State
        ("stink-bugs", "ON", "R4", "sweeps", "food", [5]),  # Ontario 2022
        (
            "stink-bugs",
            "DE",
            "R4",
            "sweeps",
            "seed",
            [10 / 3],
        ),  # Delaware p. 25078: 2 to 2.5 per 15
        # By the row-foot.
        ("stink-bugs", "ON", "R4", "row-feet", "grain", [2]),
        ("stink-bugs", "ON", "R4", "row-feet", "seed", [1]),
        ("stink-bugs", "IL", "R4", "row-feet", "grain", [1]),  # Univ Illinois 2015
        ("stink-bugs", "IL", "R2", "row-feet", "grain", []),
        ("stink-bugs", "SC", "R4", "row-feet", "grain", [1]),
        ("stink-bugs", "AR", "R1", "sweeps", "grain", []),  # Univ Arkansas 2019: none at bloom
        # Redbanded, per 25 sweeps: 4 up to R7 where an end is printed (TN, MS, AL).
        ("redbanded-stink-bug", "TN", "R6.5", "sweeps", "grain", [4]),  # Tennessee 2017
        ("redbanded-stink-bug", "MS", "R6.5", "sweeps", "grain", [4]),  # Mississippi State 2017
        ("redbanded-stink-bug", "AL", "R6.5", "sweeps", "grain", [4]),  # Alabama 2023
        ("redbanded-stink-bug", "LA", "R5", "sweeps", "grain", [4]),  # LSU 2017, implied
        ("redbanded-stink-bug", "TX", "R5", "sweeps", "grain", [4]),  # Texas: 16 per 100
        # Hoppers after the seedling, per 25 sweeps: 1 a sweep, Mississippi 2.
        ("threecornered-alfalfa-hopper", "LA", "R4", "sweeps", "grain", [25]),
        ("threecornered-alfalfa-hopper", "LA", "R4", "row-feet", "grain", [3]),
        ("threecornered-alfalfa-hopper", "AL", "R4", "sweeps", "grain", [25]),
        ("threecornered-alfalfa-hopper", "TN", "R4", "sweeps", "grain", [25]),
        ("threecornered-alfalfa-hopper", "MS", "R4", "sweeps", "grain", [50]),
        ("threecornered-alfalfa-hopper", "SC", "R4", "row-feet", "grain", [3]),
        # Kudzu bug: 1 nymph a sweep everywhere; adults beside it in Tennessee and Alabama.
        ("kudzu-bug", "TN", "R4", "sweeps", "grain", [25, 50]),
        ("kudzu-bug", "AL", "R4", "sweeps", "grain", [25, 250]),
        ("kudzu-bug", "GA", "R4", "sweeps", "grain", [25]),
        ("kudzu-bug", "SC", "R4", "sweeps", "grain", [25]),
        ("kudzu-bug", "VA", "R4", "sweeps", "grain", [25]),
        # Bean leaf beetle: on seedlings by the row-foot, then percent of pods.
        ("bean-leaf-beetle", "IL", "VC", "row-feet", "grain", [16]),
        ("bean-leaf-beetle", "WI", "V3", "row-feet", "grain", [39]),
        ("bean-leaf-beetle", "IL", "R5", "percent", "grain", [5]),  # 5 to 10
        ("bean-leaf-beetle", "IN", "R5", "percent", "grain", [5]),  # 5 to 10
        ("bean-leaf-beetle", "MO", "R5", "percent", "grain", [5]),
        ("bean-leaf-beetle", "ON", "R5", "percent", "food", [10]),
        ("bean-leaf-beetle", "ON", "R5", "percent", "grain", []),
    ],
)
def test_figures_of_states_side_by_side(
    pest: str, region: str, stage: str, unit: SampleUnit, use: Use, values: list[float]
) -> None:
    """Each state's own figure for grain, seed or food beans at a stage, in the unit named."""
    assert own(pest, region, stage, unit, use=use) == pytest.approx(values)


# Until R6.5 (7-10 days after R6) or until R7 begins, which is where R6.5 as a last stage ends.
ENDS = [
    ("stink-bugs", "R6", ("TN", "MS", "AL", "VA", "DE", "AR")),
    ("stink-bugs", "R6.5", ("KY", "GA", "SC", "NC")),
    ("redbanded-stink-bug", "R6.5", ("TN", "MS", "AL", "AR", "LA")),
    ("kudzu-bug", "R6", ("AL", "TN", "GA")),
    ("kudzu-bug", "R6.5", ("NC",)),  # NC State, about 2013: R7 is the safe stage
    ("bean-leaf-beetle", "R6", ("ON",)),  # Ontario 2017: stop at mid R6
]


@pytest.mark.parametrize(("pest", "last", "regions"), ENDS)
def test_treatment_stops_where_a_state_says(pest: str, last: str, regions: tuple[str, ...]) -> None:
    """The last stage at which a pest is reckoned with, by the texts named in its file."""
    found = {lasts_to(PESTS[pest], region=region, knowledge=KNOWLEDGE) for region in regions}
    assert found == {last}


# What a newer text took the place of, or what is doubtful: state and number (sources as above).
REPLACED = [
    ("stink-bugs", "TN", "18 bugs"),
    ("stink-bugs", "MS", "double"),
    ("stink-bugs", "MS", "15 bugs"),
    ("stink-bugs", "DE", "3.5"),
    ("stink-bugs", "VA", "2.5"),
    ("southern-green-stink-bug", "MS", "9 to 15"),
    ("brown-marmorated-stink-bug", "VA", "3 to 5"),
    ("kudzu-bug", "GA", "3 to 5"),
    ("threecornered-alfalfa-hopper", "AL", "3 to 4"),
    ("bean-leaf-beetle", "MS", "50 beetles"),
    ("bean-leaf-beetle", "DE", "20-25 percent"),
    ("bean-leaf-beetle", "IN", "5 percent"),
]


@pytest.mark.parametrize(("pest", "region", "number"), REPLACED)
def test_what_was_replaced_is_kept_in_words_alone(pest: str, region: str, number: str) -> None:
    """The older figure is told with its state, and what holds there today is told beside it."""
    (old,) = (r for r in PESTS[pest].replaced if r.region == region and number in r.said)
    assert old.note
