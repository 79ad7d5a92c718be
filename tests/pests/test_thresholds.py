"""Thresholds as a region sees them: whose they are, at which stage, in which sets of sweeps."""

from __future__ import annotations

import datetime as dt
import time
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.counts.lines import lines_of_pest
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.knowledge.groups import group_at
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS, written_references
from stagecast.knowledge.threshold import Threshold
from stagecast.knowledge.units import JUDGED
from stagecast.pages.phone.rules import sheet_rules
from stagecast.pests import thresholds
from stagecast.pests.thresholds import (
    KINDS,
    UNKNOWN,
    FieldFacts,
    ShownThreshold,
    best,
    best_by_stage,
    in_sweeps,
    judged_by,
    lasts_to,
    series,
    standing,
    thresholds_at,
)
from stagecast.words.thresholds import (
    condition_text,
    span_text,
    stages_text,
    standing_text,
    threshold_text,
)

KNOWLEDGE = load()
REGIONS = sorted(KNOWLEDGE.regions)
STAGES = ["planted", "VE", "V4", "V9", "R1", "R3", "R5", "R6", "R7"]

a_pest = st.sampled_from(sorted(KNOWLEDGE.pests))
a_region = st.sampled_from(REGIONS)
a_stage = st.sampled_from([None, *STAGES])


def bugs(region: str, first: str, last: str, value: float, **more: object) -> Threshold:
    """A threshold by sweeps, unless told otherwise."""
    fields = {"what": "bugs", "per": 25, "of": "sweeps", "source": "own", "tag": "OWN", **more}
    return Threshold.model_validate(
        {"region": region, "first": first, "last": last, "value": value, **fields}
    )


def pest_with(*thresholds: Threshold) -> Pest:
    """A pest that ships, with other thresholds."""
    return KNOWLEDGE.pests["stink-bugs"].model_copy(update={"thresholds": thresholds})


def shown(pest: Pest, region: str, stage: str | None = None) -> tuple[ShownThreshold, ...]:
    """What a region sees of a pest."""
    return thresholds_at(pest, region=region, stage=stage, knowledge=KNOWLEDGE)


def values(pest: Pest, region: str, stage: str) -> list[float]:
    """The values of the best kind at a stage."""
    return [s.threshold.value for s in best(shown(pest, region, stage))]


# --- the map --------------------------------------------------------------------------------


def test_neighbors_name_each_other_and_nobody_is_his_own() -> None:
    """Whoever touches a region is touched by it, and the whole map hangs together."""
    for code, others in KNOWLEDGE.neighbors.items():
        assert list(others) == sorted(set(others))
        assert code not in others
        assert all(code in KNOWLEDGE.neighbors[other] for other in others)
    reached = {"TN"}
    while more := {n for code in reached for n in KNOWLEDGE.neighbors[code]} - reached:
        reached |= more
    assert reached == set(KNOWLEDGE.regions)


def test_borders_that_a_map_shows() -> None:
    """The eight states around Tennessee, the two of Florida; Michigan does not touch Illinois.

    Source: any map of the United States.
    """
    assert KNOWLEDGE.neighbors["TN"] == ("AL", "AR", "GA", "KY", "MO", "MS", "NC", "VA")
    assert KNOWLEDGE.neighbors["FL"] == ("AL", "GA")
    assert "IL" not in KNOWLEDGE.neighbors["MI"]


@pytest.mark.parametrize("pest", KNOWLEDGE.pests.values(), ids=lambda pest: pest.id)
def test_all_that_a_pest_points_at_is_there(pest: Pest) -> None:
    """Sources, sampling methods, regions and complexes named in a pest file exist."""
    found = written_references(pest.model_dump(), KNOWLEDGE)
    assert [(r.key, r.id) for r in found if not r.resolves] == []


# --- sets of sweeps -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("region", "value", "per", "per_25", "text"),
    [
        ("GA", 3, 25, 3.0, "3 bugs per 25 sweeps ({}, R1-R5)"),
        ("NC", 5, 15, 8.3, "8.3 bugs per 25 sweeps (converted from 5 per 15; {}, R3-R7)"),
        ("DE", 5, 15, 8.3, "8.3 bugs per 25 sweeps (converted from 5 per 15; {}, R3-R6)"),
        ("OH", 4, 10, 10.0, "10 bugs per 25 sweeps (converted from 4 per 10; {}, R3-R6)"),
        ("TN", 9, 25, 9.0, "9 bugs per 25 sweeps ({}, R1-R6)"),
    ],
)
def test_published_stink_bug_thresholds_in_sets_of_25(
    region: str, value: float, per: float, per_25: float, text: str
) -> None:
    """Each state's own figure per 25 sweeps, as worked out beside the published ones.

    Sources: Univ Georgia 2014; Reisig 2014 and NC State 2017 (NC); Owens (DE); Ohio State; Univ
    Tennessee 2013. The common unit, linear, is COMPUTED in the project's table of sources.
    """
    (one,) = [
        s
        for s in best(shown(KNOWLEDGE.pests["stink-bugs"], region, "R4"))
        if (s.threshold.value, s.threshold.per, s.threshold.unit) == (value, per, "sweeps")
    ]
    converted = in_sweeps(one.threshold, per=25)
    assert converted is not None
    assert round(converted, 1) == per_25
    assert threshold_text(one) == text.format(KNOWLEDGE.regions[region])


@given(value=st.floats(1e-3, 1e6), per=st.floats(0.5, 500), other=st.floats(0.5, 500))
def test_set_sizes_are_scaled_in_proportion_and_back(
    value: float, per: float, other: float
) -> None:
    """Going to another set size and back gives the value; a set of twice the size twice of it.

    Source: means per sweep were similar for 10 and 25 sweeps (Univ Nebraska et al. 2022, Crop
    Protection 157:105986).
    """
    threshold = bugs("TN", "R1", "R6", value, per=per)
    there = in_sweeps(threshold, per=other)
    twice = in_sweeps(threshold, per=2 * other)
    assert there is not None
    assert twice == pytest.approx(2 * there)
    back = in_sweeps(bugs("TN", "R1", "R6", there, per=other), per=per)
    assert back == pytest.approx(value)


@pytest.mark.parametrize("unit", ["row-feet", "row-metres", "plants", "leaflets", "percent"])
def test_nothing_but_sweeps_becomes_sweeps(unit: str) -> None:
    """A row-foot or a share of leaves is never turned into a number of sweeps."""
    threshold = bugs("TN", "R1", "R6", 1, per=1, of=unit)
    assert in_sweeps(threshold, per=25) is None
    assert "converted" not in threshold_text(shown(pest_with(threshold), "TN")[0])


def test_a_range_is_converted_at_both_ends() -> None:
    """Three to four per ten sweeps are 7.5 to 10 per 25."""
    (one,) = shown(pest_with(bugs("KY", "R3", "R6", 3, high=4, per=10)), "KY")
    said = "7.5-10 bugs per 25 sweeps (converted from 3-4 per 10; Kentucky, R3-R6)"
    assert threshold_text(one) == said


# --- whose ----------------------------------------------------------------------------------


def test_the_order_of_preference() -> None:
    """Yours, the region's own, neighbors, its group, a wider area, and last other regions.

    Of those the nearest comes first: from Tennessee one crosses Missouri to Iowa, and Nebraska too
    to South Dakota, though Delaware comes first by name (any map of the United States).
    """
    regions = ["SD", "DE", "US", "NC", "TN", "IA", YOURS, "AR", "OK"]
    pest = pest_with(*(bugs(region, "R1", "R6", 5) for region in regions))
    found = [(s.kind, s.region) for s in shown(pest, "TN")]
    assert found == [
        ("yours", "yours"),
        ("here", "Tennessee"),
        ("neighbor", "Arkansas"),
        ("neighbor", "North Carolina"),
        ("group", "Oklahoma"),
        ("wider area", "United States"),
        ("elsewhere", "Iowa"),
        ("elsewhere", "Delaware"),
        ("elsewhere", "South Dakota"),
    ]
    assert [threshold_text(s).partition("(")[2] for s in shown(pest, "TN")] == [
        "yours, R1-R6)",
        "Tennessee, R1-R6)",
        "neighbor Arkansas, R1-R6)",
        "neighbor North Carolina in the Southeast coast, R1-R6)",
        "Oklahoma in the mid-South, R1-R6)",
        "United States, no single state, R1-R6)",
        "elsewhere, Iowa in the western Corn Belt, R1-R6)",
        "elsewhere, Delaware in the Piedmont and mid-Atlantic, R1-R6)",
        "elsewhere, South Dakota in the northern plains, R1-R6)",
    ]
    decides = [s.decides for s in shown(pest, "TN")]
    assert decides == [s.kind != "elsewhere" for s in shown(pest, "TN")]


def test_a_state_that_is_split_goes_by_the_place_of_the_field() -> None:
    """South Alabama is of the Gulf belt, and takes Texas before Arkansas; the north does not.

    The handbook ranks the south and the Black Belt of Alabama with Louisiana.
    """
    pest = pest_with(bugs("TX", "R1", "R6", 4), bugs("AR", "R1", "R6", 9))

    def first(latitude: float) -> str:
        group = group_at("AL", latitude, -87.0, KNOWLEDGE.groups)
        facts = FieldFacts(group=group)
        found = thresholds_at(pest, region="AL", stage="R3", knowledge=KNOWLEDGE, facts=facts)
        assert [one.kind for one in found] == ["group", "elsewhere"]
        return found[0].region

    assert (first(31.5), first(34.6)) == ("Texas", "Arkansas")


def test_ontario_lies_in_no_area_of_the_united_states() -> None:
    """What holds for the whole of one country is from elsewhere in another."""
    pest = pest_with(bugs("US", "R1", "R6", 5))
    assert [s.kind for s in shown(pest, "ON")] == ["elsewhere"]
    assert [s.kind for s in shown(pest, "MI")] == ["wider area"]


@given(pest=a_pest, region=a_region, stage=a_stage)
def test_only_the_best_kind_is_told_and_always_with_its_name(
    pest: str, region: str, stage: str | None
) -> None:
    """Kinds come in order; the line names its region unless it is the reader's own."""
    found = shown(KNOWLEDGE.pests[pest], region, stage)
    places = [KINDS.index(s.kind) for s in found]
    assert places == sorted(places)
    told = best(found)
    for leaves in (True, False):
        alike = [s for s in found if s.threshold.leaf_loss == leaves]
        assert {s.kind for s in told if s.threshold.leaf_loss == leaves} == {
            s.kind for s in alike[:1]
        }
    for one in told:
        published = one.threshold.region
        area = KNOWLEDGE.areas.get(published)
        assert one.region == (area.name if area else KNOWLEDGE.regions[published])
        assert one.region in threshold_text(one)
        assert ("neighbor" in threshold_text(one)) == (published in KNOWLEDGE.neighbors[region])


@given(pest=a_pest, region=a_region)
def test_no_threshold_is_lost_where_no_stage_is_asked_for(pest: str, region: str) -> None:
    """Every published threshold of a pest is shown to every region, each once.

    A leaf feeder has that of all feeders together beside them, where a region has none for it.
    """
    known = KNOWLEDGE.pests[pest]
    if not known.thresholds:
        return
    found = [s.threshold for s in shown(known, region)]
    pooled = [one for one in found if one not in known.thresholds]
    assert sorted(map(repr, found)) == sorted(map(repr, [*known.thresholds, *pooled]))
    assert all(one.leaf_loss and known.counted_with for one in pooled)


def test_a_species_takes_the_thresholds_of_its_complex() -> None:
    """A stink bug without own figures is judged as stink bugs are; one with own keeps them."""
    complex_ = KNOWLEDGE.pests["stink-bugs"]
    green, redbanded = KNOWLEDGE.pests["green-stink-bug"], KNOWLEDGE.pests["redbanded-stink-bug"]
    assert (green.counted_with, green.thresholds) == (complex_.id, ())
    assert redbanded.thresholds
    assert shown(green, "TN") == shown(complex_, "TN")
    assert {s.threshold for s in shown(redbanded, "TN")} == set(redbanded.thresholds)


def test_your_own_for_a_species_stands_before_those_of_its_complex() -> None:
    """Setting a threshold for one species does not hide the published ones at other stages."""
    green = KNOWLEDGE.pests["green-stink-bug"]
    yours = bugs(YOURS, "R3", "R4", 4)
    set_ = green.model_copy(update={"thresholds": (yours,)})
    assert values(set_, "TN", "R3") == [4]
    assert values(set_, "TN", "R6") == values(KNOWLEDGE.pests["stink-bugs"], "TN", "R6") != []


def test_how_long_a_pest_matters_depends_on_the_field() -> None:
    """A threshold for seed beans keeps the pest on the list of seed beans, not of grain."""
    pest = pest_with(bugs("OH", "R1", "R6", 9), bugs("OH", "R6", "R6.5", 12, use=("seed",)))
    short = pest.model_copy(update={"activities": (), "host": pest.host.model_copy(
        update={"last": "R5"}
    ), "ends": ()})  # fmt: skip
    ends = [
        lasts_to(short, region="OH", knowledge=KNOWLEDGE, facts=FieldFacts(use=use))
        for use in ("seed", "grain", None)
    ]
    assert ends == ["R6.5", "R6", "R6.5"], "where nobody knows the use it may be seed"


def test_a_value_from_memory_says_so() -> None:
    """What nobody could check is marked where it is shown."""
    pest = pest_with(bugs("TN", "R1", "R6", 9, source="practice", tag="MEMORY"))
    text = standing_text(shown(pest, "TN"))
    assert text == "9 bugs per 25 sweeps (Tennessee, R1-R6, unverified)"


SEED = FieldFacts(use="seed")
EARLY, LATE = (FieldFacts(planting_date=dt.date(2026, *day)) for day in ((5, 31), (6, 1)))


def known(pest: str, region: str, stage: str, facts: FieldFacts) -> list[Threshold]:
    """What a field of which something is known is shown of its region."""
    found = thresholds_at(
        KNOWLEDGE.pests[pest], region=region, stage=stage, knowledge=KNOWLEDGE, facts=facts
    )
    return [s.threshold for s in best(found)]


@pytest.mark.parametrize(
    ("pest", "region", "stage", "facts", "values"),
    [
        # Ohio State: 4 per 10 sweeps for grain, 2 for seed or food beans.
        ("stink-bugs", "OH", "R4", UNKNOWN, [4, 2]),
        ("stink-bugs", "OH", "R4", FieldFacts(use="grain"), [4]),
        ("stink-bugs", "OH", "R4", SEED, [2]),
        ("stink-bugs", "OH", "R4", FieldFacts(use="food"), [2]),
        # Georgia 2014: seed beans 1 per 6 row-feet; nothing else by the net for them.
        ("stink-bugs", "GA", "R3", SEED, [3, 1]),
        ("stink-bugs", "GA", "R6", SEED, [6, 1]),
        ("stink-bugs", "GA", "R6", FieldFacts(use="food"), [6, 1]),
        # North Carolina State 2025: 25 percent planted before 1 June, 15 after 31 May.
        ("leaf-feeders", "NC", "R3", EARLY, [25, 2]),
        ("leaf-feeders", "NC", "R3", LATE, [15, 2]),
        ("leaf-feeders", "NC", "R3", UNKNOWN, [15, 25, 2]),
        ("leaf-feeders", "NC", "V4", LATE, [30]),
        # Kentucky: 2 per row-foot in 30-inch rows, 3-4 per 10 sweeps in rows up to 15 inches.
        ("corn-earworm", "KY", "R4", FieldFacts(row_width_in=15), [3]),
        ("corn-earworm", "KY", "R4", FieldFacts(row_width_in=30), [2]),
        ("corn-earworm", "KY", "R4", UNKNOWN, [2, 3]),
    ],
)
def test_the_rule_that_holds_for_a_field_stands_alone(
    pest: str, region: str, stage: str, facts: FieldFacts, values: list[float]
) -> None:
    """By planting date, use and row width; where that is unknown the general rule comes first."""
    found = known(pest, region, stage, facts)
    assert [t.value for t in found] == values
    if pest == "stink-bugs" and region == "GA":  # the one for seed beans, or the general one
        assert found[-1].use == (("seed",) if facts == SEED else ())


@given(pest=a_pest, region=a_region, stage=a_stage, day=st.dates(), width=st.floats(5, 60))
def test_what_is_known_of_a_field_only_leaves_thresholds_out(
    pest: str, region: str, stage: str | None, day: dt.date, width: float
) -> None:
    """None is new; a general one stays, or gives way to one that is just for the field."""
    facts = FieldFacts(planting_date=day, use="grain", row_width_in=width)
    every = shown(KNOWLEDGE.pests[pest], region, stage)
    found = thresholds_at(
        KNOWLEDGE.pests[pest], region=region, stage=stage, knowledge=KNOWLEDGE, facts=facts
    )
    assert set(found) <= set(every)
    just_for_it = [s.threshold for s in found if s.threshold.for_some_fields]
    for one in set(every) - set(found):
        gave_way = any(series(one.threshold) == series(t) for t in just_for_it)
        assert one.threshold.for_some_fields or gave_way


def test_what_holds_for_some_fields_says_for_which() -> None:
    """The words come from the keys: day, use and row width."""
    told = {
        condition_text(t.model_copy(update={"condition": ""}))
        for pest in KNOWLEDGE.pests.values()
        for t in pest.thresholds
        if t.for_some_fields
    }
    assert told == {
        "planted from 1 June on", "planted before 1 June", "seed beans", "seed or food beans",
        "rows of 15 inches or less", "rows of 30 inches or more",
    }  # fmt: skip


def test_one_unit_is_told_the_one_that_is_sampled() -> None:
    """Tennessee at R6: 18 per 25 sweeps and 1 per row-foot do not stand side by side."""
    found = shown(KNOWLEDGE.pests["stink-bugs"], "TN", "R6")
    assert {s.threshold.unit for s in best(found)} == {"sweeps", "row-feet"}
    assert [s.threshold.value for s in standing(found, unit="sweeps")] == [18]
    assert [s.threshold.value for s in standing(found, unit="row-feet")] == [1]
    assert [s.threshold.value for s in standing(found, unit="plants")] == [18]


@given(pest=a_pest, region=a_region, stage=st.sampled_from(STAGES))
def test_nothing_stands_twice(pest: str, region: str, stage: str) -> None:
    """Of what one goes by, each thing counted has one threshold, and counts one unit."""
    found = standing(shown(KNOWLEDGE.pests[pest], region, stage), unit="sweeps")
    counted = [(s.threshold.what, s.threshold.unit) for s in found]
    assert len(counted) == len(set(counted))
    assert len({unit for _, unit in counted if unit not in JUDGED}) <= 1


@given(pest=a_pest, region=a_region, stage=a_stage)
def test_a_beetle_is_no_worm(pest: str, region: str, stage: str | None) -> None:
    """What is counted as a leaf feeder shares the threshold of leaf loss, and no other."""
    one = KNOWLEDGE.pests[pest]
    if one.counted_with != "leaf-feeders" or one.thresholds:
        return
    assert all(s.threshold.leaf_loss for s in shown(one, region, stage))


def test_a_long_line_is_cut_and_counts_what_it_left_out() -> None:
    """Three are told, the rest counted."""
    pest = pest_with(*(bugs("TN", "R1", "R6", n, what=f"kind {n}") for n in range(1, 6)))
    assert standing_text(shown(pest, "TN")).endswith("3 kind 3 per 25 sweeps (Tennessee, R1-R6), "
                                                      "or 2 more")  # fmt: skip


# --- stages ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stage", "expected"),
    [("V9", []), ("R1", [3]), ("R4", [3]), ("R5", [6]), ("R6", [6]), ("R6.5", [6]), ("R7", [])],
)
def test_a_boundary_belongs_to_the_threshold_that_begins(stage: str, expected: list[int]) -> None:
    """Georgia's 3 per 25 sweeps holds up to mid pod fill, 6 from then on (Univ Georgia 2014).

    To maturity is until R7 begins: Georgia treats for no insect from then on (uga-2014b).
    """
    georgia = [t for t in KNOWLEDGE.pests["stink-bugs"].thresholds if t.region == "GA"]
    by_sweeps = pest_with(*(t for t in georgia if t.unit == "sweeps"))
    assert values(by_sweeps, "GA", stage) == expected


def test_a_threshold_keeps_its_last_stage_where_no_other_takes_over() -> None:
    """At R5 a threshold to R5 holds; another unit, count or region does not end it."""
    ends = bugs("TN", "R1", "R5", 3)
    others = [
        bugs("TN", "R5", "R7", 6, of="row-feet"),
        bugs("TN", "R5", "R7", 6, what="nymphs"),
        bugs("AR", "R5", "R7", 6),
        bugs("TN", "R4", "R7", 6),
    ]
    for other in others:
        found = [s.threshold for s in shown(pest_with(ends, other), "TN", "R5")]
        assert set(found) == {ends, other}


@pytest.mark.parametrize(("stage", "holds"), [("V3", False), ("V4", True), ("V12", True)])
def test_later_nodes_count_as_the_fourth(stage: str, holds: bool) -> None:
    """A threshold for V4 is one for V4 and the nodes after it."""
    assert bool(shown(pest_with(bugs("TN", "V4", "V4", 9)), "TN", stage)) == holds


@given(
    ends=st.lists(st.integers(7, 13), min_size=2, max_size=5, unique=True).map(sorted),
    stage=st.integers(7, 13),
)
def test_thresholds_end_to_end_give_one_for_every_stage(ends: list[int], stage: int) -> None:
    """However a season is cut into thresholds, a stage inside it has one, outside none."""
    order = ["R1", "R2", "R3", "R4", "R5", "R6", "R6.5"]
    cuts = [order[i - 7] for i in ends]
    pest = pest_with(*(bugs("TN", a, b, i) for i, (a, b) in enumerate(pairwise(cuts), 1)))
    found = values(pest, "TN", order[stage - 7])
    assert len(found) == (ends[0] <= stage <= ends[-1])


@given(pest=a_pest, region=a_region)
def test_stage_by_stage_each_has_what_a_visit_at_it_is_shown(pest: str, region: str) -> None:
    """At every stage the thresholds listed for it are those of the best kind there, no others."""
    held = best_by_stage(KNOWLEDGE.pests[pest], region=region, knowledge=KNOWLEDGE)
    for stage in STAGE_ORDER:
        listed = [one.shown for one in held if stage in one.stages]
        assert listed == list(best(shown(KNOWLEDGE.pests[pest], region, stage)))
    assert all(one.stages for one in held)


def test_stages_are_told_in_runs() -> None:
    """One's own in the middle splits a published one in two; V4 stands for later nodes too."""
    pest = pest_with(bugs("TN", "V1", "R6", 9), bugs(YOURS, "R2", "R3", 5))
    held = best_by_stage(pest, region="TN", knowledge=KNOWLEDGE)
    assert [stages_text(one.stages) for one in held] == ["R2-R3", "V1-R1, R4-R6"]
    spans = [("V1", "V1"), ("V1", "V4"), ("V4", "V4"), ("V4", "R6"), ("R1", "R5")]
    assert [span_text(*span) for span in spans] == ["V1", "V1-V4+", "V4+", "V4-R6", "R1-R5"]


def test_very_many_thresholds_are_told_in_little_time() -> None:
    """Ten times as many cost about ten times as much, not a hundred: the line stays as short."""

    def seconds(count: int) -> float:
        found = shown(pest_with(*(bugs("yours", "R1", "R6", n + 1) for n in range(count))), "TN")
        start = time.process_time()
        text = standing_text(found)
        assert text.endswith(f"{count - 3} more")
        return time.process_time() - start

    few = min(seconds(400) for _ in range(5))
    assert min(seconds(4_000) for _ in range(3)) < 60 * few


def test_a_pest_is_looked_up_once_for_a_region_and_a_stage(monkeypatch: pytest.MonkeyPatch) -> None:
    """A whole field sheet asks some thousand times; each pest, region and stage is worked out once.

    What is laid over a copy of the knowledge is looked up anew.
    """
    asked: list[tuple[object, ...]] = []
    look_up = thresholds._look_up

    def counted(
        found: tuple[Threshold, ...],
        region: str,
        stage: str | None,
        facts: FieldFacts,
        knowledge: Knowledge,
    ) -> object:
        asked.append((region, stage, found))
        return look_up(found, region, stage, facts, knowledge)

    monkeypatch.setattr(thresholds, "_look_up", counted)
    own = KNOWLEDGE.model_copy()
    sheet_rules(region="TN", knowledge=own)
    first = len(asked)
    # Each pest at each stage and for all of them, alone and with its complex.
    assert 0 < first <= 2 * len(own.pests) * (len(STAGE_ORDER) + 1)
    sheet_rules(region="TN", knowledge=own)
    assert len(asked) == first
    sheet_rules(region="TN", knowledge=own.model_copy())
    assert len(asked) == 2 * first


@pytest.mark.parametrize("region", sorted(load().regions))
def test_a_plan_names_no_threshold_that_counts_are_not_held_against(region: str) -> None:
    """For every pest, unit and stage to R6: what a look names is what a count is held to."""
    knowledge = load()
    for pest in knowledge.pests.values():
        for stage in STAGE_ORDER[: STAGE_ORDER.index("R6.5")]:
            named = judged_by(pest, region=region, stage=stage, knowledge=knowledge)
            for one in named:
                unit = one.threshold.unit
                if unit in JUDGED or one.threshold not in pest.thresholds:
                    continue
                lines = lines_of_pest(
                    pest.id, unit=unit, stage=stage, region=region, knowledge=knowledge
                )
                held = {line.shown.kind for line in lines if line.shown is not None}
                outside = stage_place(stage) > stage_place(pest.host.last)
                assert (
                    one.kind in held or outside or stage_place(stage) < stage_place(pest.host.first)
                ), (pest.id, unit, stage)
