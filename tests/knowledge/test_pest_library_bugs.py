"""Sap feeders of the pest library, held against what was published about them.

Values are typed here from the publications, not from the pest files. READ: seen in the source's
own text, often its abstract. CITED: seen in a text that names it. MEMORY: recalled, unverified.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import pytest

from stagecast.knowledge import load
from stagecast.knowledge.pest import HeatModel
from stagecast.knowledge.references import written_references
from stagecast.phenology.pests import event_time, heat_sums
from stagecast.words.thresholds import noted

KNOWLEDGE = load()
PESTS = KNOWLEDGE.pests
COMPLEX = "stink-bugs"
SPECIES = (
    "green-stink-bug", "southern-green-stink-bug", "brown-stink-bug",
    "brown-marmorated-stink-bug", "redbanded-stink-bug",
)  # fmt: skip
OTHERS = (
    "kudzu-bug", "soybean-aphid", "twospotted-spider-mite", "threecornered-alfalfa-hopper",
    "potato-leafhopper", "thrips",
)  # fmt: skip
ALL = (COMPLEX, *SPECIES, *OTHERS)
TIMED = {"kudzu-bug", "twospotted-spider-mite"}


def heat_of(pest: str) -> HeatModel:
    """The heat model of a pest that has one."""
    heat = PESTS[pest].heat
    assert heat is not None, pest
    return heat


def days_at(temperature_c: float, heat: HeatModel, need_c: float) -> float:
    """Days from a biofix on day 0 to an event at a constant temperature."""
    flat = np.full((1, 400), temperature_c)
    sums = heat_sums(flat, flat, model=heat)
    return float(event_time(sums, np.array([0.0]), model=heat, need_c=need_c)[0])


# --- treatment thresholds ------------------------------------------------------------------------

# Region, stages, value, high end, per, of, tag. A last stage of V4 stands for V6 or VN.
THRESHOLDS: dict[str, list[tuple[str, str, str, float, float | None, float, str, str]]] = {
    "stink-bugs": [
        # Roberts P, Univ. Georgia production guide 2014; mid pod fill is read as R5
        ("GA", "R1", "R5", 3, None, 25, "sweeps", "READ"),
        ("GA", "R1", "R5", 0.33, None, 1, "row-feet", "READ"),
        ("GA", "R5", "R7", 6, None, 25, "sweeps", "READ"),
        ("GA", "R5", "R7", 1, None, 1, "row-feet", "READ"),
        ("GA", "R1", "R7", 1, None, 6, "row-feet", "READ"),  # seed beans
        # Univ. Tennessee, 2013; per row-foot quoted in a co-op article of 2024; Sep 2017: only for
        # 7-10 days after R6, where R6.5 parts R6
        ("TN", "R1", "R6", 9, None, 25, "sweeps", "READ"),
        ("TN", "R1", "R6", 1, None, 1, "row-feet", "CITED"),
        ("TN", "R6", "R6", 18, None, 25, "sweeps", "READ"),
        # Lorenz G, Arkansas, farm press 22 Aug 2017, and blog 19 Jun 2019: none at bloom;
        # Catchot A, Mississippi State, 2014
        ("AR", "R3", "R6", 9, None, 25, "sweeps", "READ"),
        ("MS", "R1", "R6", 9, None, 25, "sweeps", "READ"),
        ("MS", "R6", "R6", 20, None, 25, "sweeps", "READ"),
        # Reisig D, NC State 2014, and Sep 2017: less injury in R7; Owens D, Univ. Delaware (to
        # R6.5; 4 in high-oleic beans)
        ("NC", "R3", "R7", 5, None, 15, "sweeps", "READ"),
        ("DE", "R3", "R6", 5, None, 15, "sweeps", "READ"),
        ("DE", "R3", "R6", 4, None, 15, "sweeps", "READ"),
        # Tilmon K, Michel A, Ohio State: grain, then seed or food beans
        ("OH", "R3", "R6", 4, None, 10, "sweeps", "READ"),
        ("OH", "R3", "R6", 2, None, 10, "sweeps", "READ"),
        # Graham S, Smith R, Alabama insect blog, 31 Aug 2023: 8 for 7-10 days after R6
        ("AL", "R1", "R6", 4, None, 25, "sweeps", "READ"),
        ("AL", "R6", "R6", 8, None, 25, "sweeps", "READ"),
        # Johnson D, Univ. Kentucky, Southeast Farm Press
        ("KY", "R1", "R5", 12, None, 100, "sweeps", "CITED"),
        ("KY", "R5", "R7", 36, None, 100, "sweeps", "CITED"),
        # Valmorbida I, Univ. Missouri, farm news 2025: grain, seed; Scheidt J, 16 Sep
        ("MO", "R1", "R6", 0.4, None, 1, "sweeps", "CITED"),
        ("MO", "R1", "R6", 0.2, None, 1, "sweeps", "CITED"),
        ("MO", "R3", "R6", 1, None, 1, "row-feet", "READ"),
        # Clemson column, 15 Aug 2014
        ("SC", "R3", "R7", 1, None, 10, "sweeps", "READ"),
        ("SC", "R3", "R7", 1, None, 1, "row-feet", "READ"),
        # Herbert A, Virginia Tech advisory, about 2013
        ("VA", "R3", "R6", 5, None, 15, "sweeps", "READ"),
        # Biles S, Texas A&M mid-coast blog, about 2017
        ("TX", "R1", "R6", 36, None, 100, "sweeps", "READ"),
        ("TX", "R1", "R6", 1, None, 1, "row-feet", "READ"),
        # Gray M, Univ. Illinois, 2015; Purdue field guide, farm press 2024: grain, seed
        ("IL", "R4", "R6", 1, None, 1, "row-feet", "READ"),
        ("IN", "R3", "R6", 40, None, 100, "sweeps", "CITED"),
        ("IN", "R3", "R6", 20, None, 100, "sweeps", "CITED"),
        # Owens D, Delaware crop update p. 25078: seed beans
        ("DE", "R3", "R6", 2, 2.5, 15, "sweeps", "READ"),
        # Baute T, Ontario, Aug 2022: crush beans, then food and seed beans
        ("ON", "R3", "R6", 0.4, None, 1, "sweeps", "READ"),
        ("ON", "R3", "R6", 2, None, 1, "row-feet", "READ"),
        ("ON", "R3", "R6", 0.2, None, 1, "sweeps", "READ"),
        ("ON", "R3", "R6", 1, None, 1, "row-feet", "READ"),
    ],
    "brown-marmorated-stink-bug": [
        # Aigner BL and others 2016, J Econ Entomol 109(6): 5 per 15 sweeps = 5.4 seen in 2 min
        ("VA", "R3", "R6", 5, None, 15, "sweeps", "READ"),
        ("VA", "R3", "R6", 5.4, None, 2, "minutes", "READ"),
        ("MD", "R3", "R6", 5, None, 15, "sweeps", "READ"),
        ("MD", "R3", "R6", 5.4, None, 2, "minutes", "READ"),
        ("DE", "R3", "R6", 5, None, 15, "sweeps", "READ"),
        ("DE", "R3", "R6", 5.4, None, 2, "minutes", "READ"),
    ],
    "redbanded-stink-bug": [
        # Lorenz G, Arkansas, farm press 22 Aug 2017; Brown S, LSU, 19 Sep 2017 (implied)
        ("AR", "R1", "R7", 4, 6, 25, "sweeps", "READ"),
        ("LA", "R1", "R7", 4, None, 25, "sweeps", "READ"),
        # Stewart S, Univ. Tennessee, Sep 2017: not doubled after R6; Catchot A, Cook D, 2017;
        # Graham S, Smith R, Alabama, Sep 2023; Biles S, Texas, about 2017
        ("TN", "R1", "R7", 4, None, 25, "sweeps", "READ"),
        ("MS", "R1", "R7", 4, None, 25, "sweeps", "CITED"),
        ("AL", "R3", "R7", 4, None, 25, "sweeps", "READ"),
        ("TX", "R1", "R6", 16, None, 100, "sweeps", "READ"),
        ("TX", "R1", "R6", 1, None, 3, "row-feet", "READ"),
    ],
    "kudzu-bug": [
        # Reisig D, NC State 2014; Bacheler J, Reisig D, about 2013: R7 is safe, and 15 per 15 early
        ("NC", "V1", "V3", 5, None, 1, "plants", "READ"),
        ("NC", "R1", "R7", 1, None, 1, "sweeps", "READ"),
        ("NC", "V1", "R1", 15, None, 15, "sweeps", "READ"),
        # Stewart S, Univ. Tennessee, about 2013: immatures, adults
        ("TN", "R1", "R6", 1, None, 1, "sweeps", "READ"),
        ("TN", "R1", "R6", 2, None, 1, "sweeps", "READ"),
        # Smith R, Alabama blog 28 Jun 2013: adults on plants, immatures; Reed T 2014: adults
        ("AL", "V1", "V4", 5, None, 1, "plants", "READ"),
        ("AL", "R1", "R6", 1, None, 1, "sweeps", "READ"),
        ("AL", "R1", "R6", 10, None, 1, "sweeps", "CITED"),
        # Univ. Georgia blogs, July 2014
        ("GA", "V1", "V4", 5, None, 1, "plants", "READ"),
        ("GA", "R1", "R6", 1, None, 1, "sweeps", "READ"),
        # Virginia Tech advisory, June 2013
        ("VA", "V2", "V3", 5, None, 1, "plants", "READ"),
        ("VA", "V4", "V4", 10, None, 1, "plants", "READ"),
        # Virginia Tech advice in farm press: Virginia and the Southeast
        ("VA", "R1", "R6", 15, None, 15, "sweeps", "READ"),
        ("US", "R1", "R6", 15, None, 15, "sweeps", "READ"),
        # Stubbins FL and others: 1 nymph per sweep = 24.7 per 1.83 m of row
        ("SC", "R1", "R6", 1, None, 1, "sweeps", "READ"),
        ("SC", "R1", "R6", 24.7, None, 1.83, "row-metres", "READ"),
    ],
    "soybean-aphid": [
        # Ragsdale DW and others 2007, J Econ Entomol 100:1258; the Midwest
        ("US", "R1", "R5", 250, None, 1, "plants", "CITED"),
        *(
            (state, first, "R5", 250, None, 1, "plants", tag)
            for state, first, tag in [
                ("DE", "R1", "READ"),  # Owens D, weekly crop update p. 12452
                ("IA", "R1", "READ"),  # Iowa State, 21 Aug 2008, until R5.5
                ("MN", "V1", "READ"),  # Koch R, Univ. Minnesota
                ("ND", "R1", "READ"),  # Knodel J, North Dakota State, 5 Aug 2021
                ("NE", "R1", "READ"),  # Mueller N, Univ. Nebraska
                ("NY", "V1", "READ"),  # New York State IPM, 28 June 2007
                ("OH", "R1", "CITED"),  # Ohio State in a no-till magazine
                ("ON", "R1", "READ"),  # Ontario crop report, 23 June 2021
                ("PA", "R1", "CITED"),  # Penn State in a farm paper, 31 July 2019
                ("SD", "V1", "READ"),  # Bauder S, South Dakota State, 30 July 2020
                ("WI", "R1", "READ"),  # Hamilton K, Wisconsin, 12 July 2018
            ]
        ),
        # Late: Mueller N, early R6; Ohio State; Baute T, Aug 2009, the very start of R6
        ("NE", "R6", "R6", 400, 500, 1, "plants", "READ"),
        ("OH", "R6", "R6", 1000, None, 1, "plants", "CITED"),
        ("ON", "R6", "R6", 1000, None, 1, "plants", "READ"),
    ],
    "twospotted-spider-mite": [
        # Tilmon K, Michel A, Ohio State, Minnesota scale; Gray M, Illinois, pod fill
        ("OH", "V1", "R6", 3, None, 1, "rating", "READ"),
        ("MN", "V1", "R6", 3, None, 1, "rating", "READ"),
        ("IL", "R3", "R6", 10, 15, 1, "percent", "READ"),
        # Cissel B, Delaware 2017, both together; Scheidt J, Missouri 2013; Baute T, Ontario 2020
        ("DE", "R1", "R6", 20, 30, 1, "leaflets", "READ"),
        ("DE", "R1", "R6", 10, None, 1, "percent", "READ"),
        ("MO", "V1", "R2", 20, None, 1, "percent", "READ"),
        ("MO", "R3", "R6", 10, None, 1, "percent", "READ"),
        ("ON", "V1", "R6", 4, None, 1, "leaflets", "CITED"),
    ],
    "threecornered-alfalfa-hopper": [
        # Univ. Tennessee soybean insect guide: hoppers, seedlings infested, plants girdled
        ("TN", "VE", "V4", 10, None, 25, "sweeps", "READ"),
        ("TN", "VE", "V4", 10, None, 1, "percent", "READ"),
        ("TN", "VE", "V4", 50, None, 1, "percent", "READ"),
        # NC State, farm press; Musser F, Mississippi State, farm press
        ("NC", "V1", "R6", 1, None, 1, "sweeps", "READ"),
        ("MS", "R1", "R6", 2, None, 1, "sweeps", "READ"),
        # Univ. Tennessee note: more than 1, past the seedling stage
        ("TN", "R1", "R6", 1, None, 1, "sweeps", "READ"),
        # Brown S, LSU: adults, nymphs from pod set; Reed T, Alabama blog 5 Aug 2010; Clemson 2014
        ("LA", "R3", "R6", 1, None, 1, "sweeps", "READ"),
        ("LA", "R3", "R6", 3, None, 1, "row-feet", "READ"),
        ("AL", "V4", "R6", 1, None, 1, "sweeps", "READ"),
        ("SC", "R1", "R6", 3, None, 1, "row-feet", "READ"),
    ],
    "potato-leafhopper": [
        # Koch R, Univ. Minnesota
        ("MN", "VE", "V2", 1, None, 1, "plants", "READ"),
        # Whalen J, Univ. Delaware: fields not stressed, fields stressed
        ("DE", "VE", "V4", 8, None, 1, "sweeps", "READ"),
        ("DE", "VE", "V4", 4, None, 1, "sweeps", "READ"),
    ],
    "thrips": [
        # Owens D, Cissel B, Univ. Delaware
        ("DE", "VE", "V4", 8, None, 1, "leaflets", "READ"),
    ],
}


@pytest.mark.parametrize("pest", ALL)
def test_thresholds_are_the_published_ones_and_no_others(pest: str) -> None:
    """Region, stages, value, range, unit and tag of every threshold, none missing, none added."""
    found = Counter(
        (t.region, t.first, t.last, t.value, t.high, t.per, t.unit, t.tag)
        for t in PESTS[pest].thresholds
    )
    assert found == Counter(THRESHOLDS.get(pest, []))


def test_the_ordinary_threshold_stands_before_the_special_one() -> None:
    """Whoever takes the first that fits a state and stage gets grain, sweeps and no stress."""
    for pest, region, stage, expected in [
        ("stink-bugs", "GA", "R4", (3, "sweeps")),
        ("stink-bugs", "GA", "R6", (6, "sweeps")),
        ("stink-bugs", "DE", "R5", (5, "sweeps")),
        ("stink-bugs", "OH", "R5", (4, "sweeps")),
        ("potato-leafhopper", "DE", "V2", (8, "sweeps")),
    ]:
        order = ("VE", "VC", "V1", "V2", "V3", "V4", "R1", "R2", "R3", "R4", "R5", "R6", "R7")
        first = next(
            t
            for t in PESTS[pest].thresholds
            if t.region == region
            and order.index(t.first) <= order.index(stage) <= order.index(t.last)
        )
        assert (first.value, first.unit) == expected, (pest, region, stage)


def test_special_thresholds_say_what_they_are_for() -> None:
    """Seed, food and high-oleic beans, stressed fields and doubted trends stand in the notes."""
    for pest, region, value, words in [
        ("stink-bugs", "GA", 1, "seed beans"),
        ("stink-bugs", "OH", 2, "seed or food beans"),
        ("stink-bugs", "DE", 4, "high-oleic"),
        ("stink-bugs", "MS", 20, "7 days past R6"),
        ("potato-leafhopper", "DE", 4, "under stress"),
        ("thrips", "DE", 8, "under stress"),
        ("stink-bugs", "IN", 20, "seed beans"),
        ("stink-bugs", "ON", 0.2, "seed or food beans"),
        ("stink-bugs", "TX", 36, "our reading"),
        ("redbanded-stink-bug", "TN", 4, "our reading"),
        ("redbanded-stink-bug", "LA", 4, "implied"),
        ("soybean-aphid", "US", 250, "80 percent"),
    ]:
        notes = [noted(t) for t in PESTS[pest].thresholds if (t.region, t.value) == (region, value)]
        assert any(words in note for note in notes), (pest, region, value)


# Numbers that are no treatment threshold but belong beside one: injury levels (Ragsdale 2007 by
# way of a summary: 654 +/- 95, 452 at a high price; 674 in the paper; 273 +/- 38 MEMORY), by stage
# (Hunt, Higley and Pedigo 2000), samples needed (Stubbins; Pezzini), Aigner's regression.
BESIDE = {
    "soybean-aphid": ["654 +/- 95", "674 +/- 95", "452", "273 +/- 38", "6.88"],
    "potato-leafhopper": ["V1 1.4-3.6", "V2 3.0-7.8", "V3 4.7-12.2", "V4 6.5-16.7",
                          "43.58", "20.41", "13.10", "9.55"],
    "kudzu-bug": ["184, 48 or 22", "239, 62 or 29"],
    "brown-marmorated-stink-bug": ["0.984 x + 0.4359"],
    "stink-bugs": ["40-42 sets", "over 100", "was 2-3 before 2013"],
    "threecornered-alfalfa-hopper": ["up to 8 a sweep"],
    "twospotted-spider-mite": ["economic loss at 4"],
}  # fmt: skip


@pytest.mark.parametrize("pest", sorted(BESIDE))
def test_injury_levels_and_sample_sizes_stand_in_notes(pest: str) -> None:
    """What is not a treatment threshold is kept beside one, as text, so that nothing acts on it."""
    notes = " ".join(noted(t) for t in PESTS[pest].thresholds)
    assert [number for number in BESIDE[pest] if number not in notes] == []


def test_the_two_counts_of_marmorated_bugs_are_one_threshold() -> None:
    """Aigner's line y = 0.984 x + 0.4359 takes 5 per 15 sweeps to 5.4 seen in 2 minutes."""
    bugs = PESTS["brown-marmorated-stink-bug"].thresholds
    for region in ("VA", "MD", "DE"):
        sweeps, seen = (
            next(t.value for t in bugs if (t.region, t.unit) == (region, of))
            for of in ("sweeps", "minutes")
        )
        assert seen == pytest.approx(0.984 * sweeps + 0.4359, abs=0.05)


# --- development ---------------------------------------------------------------------------------

# Stage, lower, upper, degree-days (all C), tag.
DEVELOPMENT: dict[str, list[tuple[str, float | None, float | None, float | None, str]]] = {
    "brown-marmorated-stink-bug": [
        # Nielsen AL and others 2008, Environ Entomol 37:348
        ("egg to adult", None, None, 537.63, "READ"),
        ("preoviposition", None, None, 147.65, "READ"),
    ],
    "southern-green-stink-bug": [
        # Hu XY and others 2022, Hangzhou
        ("egg", 13.17, None, None, "READ"),
        ("nymph I", 13.88, None, None, "READ"),
        ("nymph II", 14.13, None, None, "READ"),
        ("nymph III", 14.15, None, None, "READ"),
        ("nymph IV", 10.15, None, None, "READ"),
        ("nymph V", 10.96, None, None, "READ"),
        ("nymph, all instars", 16.37, None, None, "READ"),
        ("adult before maturity", 10.53, None, None, "READ"),
        ("preoviposition", 11.24, None, None, "READ"),
    ],
    "twospotted-spider-mite": [
        # Egyptian Acad J Biol Sci, article 12844
        ("egg", 12.87, None, 63.35, "READ"),
        ("larva", 12.92, None, 26.81, "READ"),
        ("protonymph", 9.45, None, 30.95, "READ"),
        ("deutonymph", 13.94, None, 26.17, "READ"),
    ],
    "soybean-aphid": [
        # Iowa State newsletter on McCornack and others: 47.5 F, none at 95 F
        ("birth to adult", 8.6, 35.0, None, "READ"),
    ],
}


@pytest.mark.parametrize("pest", ALL)
def test_figures_of_development_are_the_published_ones(pest: str) -> None:
    """Every threshold and total of a stage that was read, none missing and none added."""
    found = [(d.stage, d.lower_c, d.upper_c, d.need_c, d.tag) for d in PESTS[pest].development]
    assert found == DEVELOPMENT.get(pest, [])


def test_aphid_temperatures_are_those_published_in_fahrenheit() -> None:
    """47.5 F, 82 F and 95 F (Iowa State) are the lower, best and lethal temperatures in degC."""
    aphid = PESTS["soybean-aphid"]
    (figure,) = aphid.development
    best = next(d.at_c for d in aphid.durations if d.days == 4.5)
    found = [figure.lower_c, best, figure.upper_c]
    assert found == pytest.approx([(f - 32.0) / 1.8 for f in (47.5, 82.0, 95.0)], abs=0.05)


# Stage, days, high end, at degC, tag.
DURATIONS: dict[str, list[tuple[str, float, float | None, float | None, str]]] = {
    # pest wiki: under six weeks a generation; Texas A&M: four to five weeks
    "green-stink-bug": [("generation, at most", 42, None, None, "READ")],
    "brown-stink-bug": [("hatch to adult", 28, 35, None, "READ")],
    # Nielsen AL and others 2008
    "brown-marmorated-stink-bug": [("between egg masses", 4.32, None, 25, "READ")],
    # Zerbino MS and others 2013, Fla Entomol 96(2)
    "redbanded-stink-bug": [
        ("egg", 4.1, None, 25, "READ"),
        ("egg", 7, None, 20, "READ"),
        ("nymphs", 21.5, None, 25, "READ"),
        ("nymphs", 42, None, 20, "READ"),
    ],
    # company page on work in Georgia and South Carolina
    "kudzu-bug": [("egg to adult", 24, 56, None, "READ")],
    # Iowa State newsletter; McCarville and others 2011
    "soybean-aphid": [
        ("birth to first reproduction", 4.5, None, 27.8, "READ"),
        ("birth to first reproduction", 5, 7, 20, "READ"),
        ("birth to first reproduction", 5, 7, 25, "READ"),
        ("birth to first reproduction", 5, 7, 30, "READ"),
        ("doubling, laboratory", 1.5, 1.9, None, "READ"),
        ("threshold to injury level without enemies", 6.97, None, None, "READ"),
    ],
    # Univ. Minnesota
    "potato-leafhopper": [("egg", 7, 10, None, "READ"), ("nymph", 14, None, None, "READ")],
}


@pytest.mark.parametrize("pest", ALL)
def test_days_of_stages_are_the_published_ones(pest: str) -> None:
    """Every duration in days with its range, temperature and tag, none missing, none added."""
    found = [(d.stage, d.days, d.high, d.at_c, d.tag) for d in PESTS[pest].durations]
    assert found == DURATIONS.get(pest, [])


# --- heat ----------------------------------------------------------------------------------------


# Lower, upper, total: Grant, Maryland thesis 2016; Egypt 12844.
HEAT = [
    ("kudzu-bug", 16.0, None, "READ"),
    ("twospotted-spider-mite", 12.5, None, "READ"),
]


@pytest.mark.parametrize(("pest", "lower_c", "upper_c", "tag"), HEAT)
def test_heat_models_have_the_published_thresholds(
    pest: str, lower_c: float, upper_c: float | None, tag: str
) -> None:
    """Thresholds and their tag are the source's; a method it does not give is said to be ours."""
    heat = heat_of(pest)
    assert (heat.lower_c, heat.upper_c, heat.tag) == (lower_c, upper_c, tag)
    assert heat.method_tag == "OWN"
    assert heat.method_note


# Totals: 625 (Grant 2016); 146.48 (Egypt 12844).
EVENTS = [
    ("kudzu-bug", "first-adults", 625.0),
    ("twospotted-spider-mite", "next-generation", 146.48),
]


@pytest.mark.parametrize(("pest", "event", "need_c"), EVENTS)
def test_events_need_the_published_heat(pest: str, event: str, need_c: float) -> None:
    """An event's total is the published one."""
    assert PESTS[pest].event(event).need_c == pytest.approx(need_c)


def test_every_event_is_held_against_a_publication() -> None:
    """No event of these pests is missing from the table above, and only two are heat-timed."""
    found = {(pest, event.id) for pest in ALL for event in PESTS[pest].events}
    assert found == {(pest, event) for pest, event, _ in EVENTS}
    assert {pest for pest in ALL if PESTS[pest].heat is not None} == TIMED


# Days of a generation at 20, 25 and 30 degC, worked out by hand as total / (T - lower) from the
# publications above and rounded to a tenth, so half a tenth of a day is allowed.
GENERATIONS = [
    ("kudzu-bug", 625.0, (156.3, 69.4, 44.6)),
    ("twospotted-spider-mite", 146.48, (19.5, 11.7, 8.4)),
]


@pytest.mark.parametrize(("pest", "need_c", "days"), GENERATIONS)
def test_generations_at_constant_temperature(
    pest: str, need_c: float, days: tuple[float, float, float]
) -> None:
    """The model as shipped, upper threshold and all, takes the days of the published total."""
    found = [days_at(t, heat_of(pest), need_c) for t in (20.0, 25.0, 30.0)]
    assert found == pytest.approx(list(days), abs=0.05 + 1e-6)


@pytest.mark.parametrize("pest", sorted(TIMED))
def test_nothing_develops_at_the_lower_threshold(pest: str) -> None:
    """At its lower threshold a pest gathers no heat, however long it waits."""
    heat = heat_of(pest)
    assert days_at(heat.lower_c, heat, 1.0) == np.inf


def test_kudzu_days_seen_in_the_south_fit_its_summers() -> None:
    """The slow end of 24-56 days is 625 above 16 degC at a summer mean, 25-30 degC.

    Range from a company page on Georgia and South Carolina (READ). The fast end would take 42
    degC, which no summer mean reaches: the Maryland total is too slow for the fastest insects.
    """
    (seen,) = PESTS["kudzu-bug"].durations
    assert seen.high is not None
    lower_c, need_c = heat_of("kudzu-bug").lower_c, PESTS["kudzu-bug"].event("first-adults").need_c
    slow, fast = (lower_c + need_c / days for days in (seen.high, seen.days))
    assert 25.0 < slow < 30.0
    assert 40.0 < fast < 43.0


# --- biofixes and arrivals -----------------------------------------------------------------------


def test_kudzu_heat_starts_thirty_days_after_the_first_of_may() -> None:
    """May 1 plus 30 days of preoviposition (Grant 2016) is the day in the file."""
    (biofix,) = heat_of("kudzu-bug").biofix
    assert biofix.kind == "calendar day"
    assert biofix.month is not None
    assert biofix.day is not None
    counted = dt.date(2026, 5, 1) + dt.timedelta(days=30)
    assert dt.date(2026, biofix.month, biofix.day) == counted
    assert "30 days" in biofix.note


def test_mites_wait_for_the_first_colonies() -> None:
    """Without colonies noted by the scout there is no day to count a mite generation from."""
    (biofix,) = heat_of("twospotted-spider-mite").biofix
    assert (biofix.kind, biofix.what) == ("seen", "adults")


def test_only_leafhoppers_have_a_calendar_of_arrival() -> None:
    """They come to Minnesota from May to early July (Univ. Minnesota, READ); no other was read."""
    (arrival,) = PESTS["potato-leafhopper"].arrivals
    assert (arrival.region, arrival.tag) == ("MN", "READ")
    assert (arrival.first_month, arrival.first_day) == (5, 1)
    assert arrival.last_month == 7
    assert arrival.last_day <= 10
    assert [pest for pest in ALL if PESTS[pest].arrivals] == ["potato-leafhopper"]


# --- the stink bugs together ---------------------------------------------------------------------


@pytest.mark.parametrize("pest", SPECIES)
def test_species_are_counted_with_the_complex(pest: str) -> None:
    """Each points at the complex, and the complex at nothing."""
    assert PESTS[pest].counted_with == COMPLEX
    assert PESTS[COMPLEX].counted_with is None
    assert PESTS[pest].weight is None  # no source weighs one species against another


def test_redbanded_has_its_own_window_and_the_lower_threshold() -> None:
    """Its window reaches R7 (others R6), and in Arkansas 4 of it count where 9 of the others do."""
    own = PESTS["redbanded-stink-bug"]
    (activity,) = own.activities
    assert (activity.host.first, activity.host.last) == ("R1", "R7")
    (lower,) = (t for t in own.thresholds if t.region == "AR")
    (common,) = (t for t in PESTS[COMPLEX].thresholds if t.region == "AR")
    assert (lower.unit, lower.per) == (common.unit, common.per)
    assert lower.high is not None
    assert lower.high < common.value


def test_the_complex_keeps_its_two_windows() -> None:
    """All species are looked for from R1 to R5, and for seed quality from R6 to R7."""
    spans = {(a.host.first, a.host.last) for a in PESTS[COMPLEX].activities}
    assert spans == {("R1", "R5"), ("R6", "R7")}


# --- every file ----------------------------------------------------------------------------------


@pytest.mark.parametrize("pest", ALL)
def test_a_pest_can_be_told_from_what_it_is_taken_for(pest: str) -> None:
    """Each has marks, a look-alike, an enemy and a caution that defers to guide and label."""
    entry = PESTS[pest]
    assert len(entry.marks) >= 2
    assert entry.look_alikes
    assert entry.enemies
    for word in ("guide", "label", "license"):
        assert word in entry.caution


@pytest.mark.parametrize("pest", ALL)
def test_ids_in_a_pest_file_are_found(pest: str) -> None:
    """Sources, sampling methods, regions and the complex named in a file exist."""
    found = written_references(PESTS[pest].model_dump(), KNOWLEDGE)
    assert [r for r in found if not r.resolves] == []


def test_lists_of_states_are_our_reading() -> None:
    """No text read lists a pest's states: every list is our reading of several, and says so."""
    listed = [PESTS[pest] for pest in ALL if PESTS[pest].presence.regions]
    assert {"kudzu-bug", "soybean-aphid", "redbanded-stink-bug"} <= {p.id for p in listed}
    for pest in listed:
        assert pest.presence.tag == "OWN", pest.id
        assert "our reading" in pest.presence.note, pest.id


def test_a_region_with_a_threshold_is_one_where_the_pest_is_met() -> None:
    """A state that published a threshold reckons with the pest.

    But for the aphid in Delaware, where it comes too late (our reading of its crop updates).
    """
    for pest in (PESTS[pest] for pest in ALL if PESTS[pest].presence.regions):
        states = {t.region for t in pest.thresholds} - set(KNOWLEDGE.areas)
        states -= {"DE"} if pest.id == "soybean-aphid" else set()
        assert states <= set(pest.presence.regions), pest.id
