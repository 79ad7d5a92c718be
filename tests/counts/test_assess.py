"""Counts of a visit held against thresholds: what adds up, what speaks of it, what is answered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagecast.base.errors import SeasonProblems
from stagecast.counts.assess import assess, last_counted, stage_of_visit
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.economics import Prices, injury_level_of
from stagecast.counts.judge import method_of
from stagecast.counts.pool import Wanted, pool
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.threshold import Threshold
from stagecast.knowledge.units import SampleUnit
from stagecast.pests.thresholds import ShownThreshold, lasts_to
from stagecast.season.log.entries import LoggedCount, LoggedSet, LoggedVisit, standing
from stagecast.season.settings.own_words import threshold_with_keys
from stagecast.season.settings.pest_names import PestNames
from stagecast.season.tables.visits import Visit
from stagecast.words.counts import (
    against_text,
    beans_text,
    k_text,
    leaf_loss_text,
    limit_text,
    near_text,
    notes_text,
    percent_text,
    sets_text,
    silence_text,
    taken_text,
    tally_text,
    why_text,
)
from stagecast.words.thresholds import condition_text, threshold_text

DAY = dt.date(2026, 7, 20)
KNOWLEDGE = load()

Counts = Sequence[tuple[str, str, float]]


def sets(
    rows: Iterable[Counts], *, size: float = 25.0, unit: SampleUnit = "sweeps"
) -> tuple[LoggedSet, ...]:
    """Sets of one size, each with counts of (pest, life stage, number)."""
    return tuple(
        LoggedSet(i, size, unit, tuple(LoggedCount(*count) for count in row))
        for i, row in enumerate(rows, 1)
    )


def alone(pest: str, counts: Iterable[float], **kind: Any) -> tuple[LoggedSet, ...]:
    """Sets in which one pest was counted, all life stages together."""
    return sets([[(pest, "", number)] for number in counts], **kind)


def assessed(
    taken: tuple[LoggedSet, ...] = (),
    *,
    stage: str = "R4",
    region: str = "TN",
    leaf_loss: float | None = None,
    knowledge: Knowledge = KNOWLEDGE,
) -> FieldAssessment:
    """What a visit with these sets says."""
    visit = LoggedVisit("v", "F1", DAY, defoliation_percent=leaf_loss, sets=taken)
    return assess(visit, stage=stage, stage_seen=True, region=region, knowledge=knowledge)


def one(taken: tuple[LoggedSet, ...], **where: Any) -> PestAssessment:
    """The only line of a visit."""
    (found,) = assessed(taken, **where).pests
    return found


@cache
def with_k(pest: str, k: float) -> Knowledge:
    """The library, in which a k of a pest is known."""
    value = Quantity(value=k, unit="k per set of 25 sweeps", source="own", tag="OWN")
    known = KNOWLEDGE.pests[pest].model_copy(update={"aggregation": value})
    return KNOWLEDGE.model_copy(update={"pests": {**KNOWLEDGE.pests, pest: known}})


# --- hand-computed cases --------------------------------------------------------------------

CASES = [
    # pest, region, stage, counts, size, of | mean per set, per 100 sweeps, threshold per set
    ("stink-bugs", "TN", "R4", (3, 9, 2, 6), 25, "sweeps", 5.0, 20.0, 9.0),
    ("stink-bugs", "TN", "R6", (3, 9, 2, 6), 25, "sweeps", 5.0, 20.0, 18.0),
    ("stink-bugs", "NC", "R3", (3, 9, 2, 6), 25, "sweeps", 5.0, 20.0, 25 / 3),
    ("stink-bugs", "NC", "R3", (3, 0, 3), 15, "sweeps", 2.0, 40 / 3, 5.0),
    ("stink-bugs", "OH", "R3", (4, 2), 25, "sweeps", 3.0, 12.0, 10.0),
    ("stink-bugs", "GA", "R4", (1, 2, 0), 25, "sweeps", 1.0, 4.0, 3.0),
    ("stink-bugs", "GA", "R5", (1, 2, 0), 25, "sweeps", 1.0, 4.0, 6.0),
    ("stink-bugs", "GA", "R4", (1, 2, 0), 6, "row-feet", 1.0, None, 1.98),
    ("redbanded-stink-bug", "LA", "R6.5", (5, 3), 25, "sweeps", 4.0, 16.0, 4.0),
    ("soybean-aphid", "IA", "R3", (100, 300, 20), 1, "plants", 140.0, None, 250.0),
    ("threecornered-alfalfa-hopper", "MS", "R2", (20, 40), 20, "sweeps", 30.0, 150.0, 40.0),
    ("brown-marmorated-stink-bug", "VA", "R4", (4, 8), 2, "minutes", 6.0, None, 5.4),
    ("kudzu-bug", "SC", "R3", (12, 16), 1.83, "row-metres", 14.0, None, 24.7),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c[0]} {c[1]} {c[2]} {c[4]} {c[5]}")
def test_means_and_thresholds_worked_out_by_hand(case: tuple[Any, ...]) -> None:
    """Mean per set and per 100 sweeps, and the threshold in a set, for published thresholds."""
    pest, region, stage, counts, size, of, mean, hundred, threshold = case
    every = assessed(alone(pest, counts, size=size, unit=of), region=region, stage=stage).pests
    found = next(line for line in every if line.pest == pest)
    assert found.mean_per_set == pytest.approx(mean)
    assert found.per_100_sweeps == (None if hundred is None else pytest.approx(hundred))
    assert found.threshold_per_set == pytest.approx(threshold)
    assert (found.sets, found.set_size, found.unit) == (len(counts), size, of)


@pytest.mark.parametrize(
    ("counts", "answer"),
    [
        ((0, 0, 0, 0), "below"),
        ((2, 1, 0, 3), "below"),  # a sixth of 9
        ((5, 12, 3, 9), "near"),
        ((11, 12, 10, 13), "above"),  # an even field over 9
        ((9, 9, 9, 9), "near"),  # at the threshold
        ((0, 0, 0, 60), "near"),  # over it, all in one place
        ((40, 40, 40, 40), "above"),
    ],
)
def test_four_sets_have_an_answer(counts: Sequence[float], answer: str) -> None:
    """After the usual four sets each field is below, near or above 9 stink bugs."""
    found = one(alone("stink-bugs", counts))
    assert found.answer == answer
    assert found.sampled is not None
    assert found.sampled.missing == 0


def test_too_few_sets_say_how_many_are_missing() -> None:
    """Less than four sets of 25, or as many sweeps in shorter ones, are too few; never more."""
    two = one(alone("stink-bugs", (40, 50)))
    assert (two.answer, two.more_sets, two.over) == ("too few", 2, True)
    assert "2 more sets make the usual 4 of 25" in why_text(two)
    short = one(alone("stink-bugs", (4,) * 4, size=10))
    assert (short.answer, short.more_sets) == ("too few", 3), "40 sweeps of 100"
    assert one(alone("stink-bugs", (4,) * 10, size=10)).answer == "near"
    assert one(alone("stink-bugs", (0,) * 3)).answer == "too few"


@pytest.mark.parametrize(
    ("pest", "unit", "size", "number"),
    [
        ("stink-bugs", "sweeps", 25, 4),
        ("stink-bugs", "row-feet", 6, 4),
        ("soybean-aphid", "plants", 1, 11),
        ("thrips", "leaflets", 3, 5),
    ],
)
def test_the_usual_number_is_that_of_the_way_of_sampling(
    pest: str, unit: SampleUnit, size: float, number: int
) -> None:
    """One set less than sampling.toml asks for is too few, as many are not."""
    where = {"region": {"soybean-aphid": "IA", "thrips": "DE"}.get(pest, "GA"),
             "stage": "V2" if pest == "thrips" else "R4"}  # fmt: skip
    short = assessed(alone(pest, (0,) * (number - 1), size=size, unit=unit), **where).pests[0]
    whole = assessed(alone(pest, (0,) * number, size=size, unit=unit), **where).pests[0]
    assert short.judged
    assert (short.answer, short.more_sets) == ("too few", 1)
    assert (whole.answer, whole.more_sets) == ("below", 0)


def test_three_hundred_aphids_a_plant_are_above() -> None:
    """20 plants with 300 each against 250 (IA): plants are counted one by one or together."""
    each = one(alone("soybean-aphid", (300,) * 20, size=1, unit="plants"), region="IA")
    whole = one(alone("soybean-aphid", (6000,), size=20, unit="plants"), region="IA")
    assert each.answer == "above"
    assert (whole.sampled.sets if whole.sampled else 0) == 20
    assert whole.answer in ("near", "above"), "one number does not tell how even the plants are"


@pytest.mark.parametrize(
    ("infested", "says"), [(0, "leave it"), (6, "leave it"), (7, "go on"), (10, "go on"),
                           (11, "confirm")],
)  # fmt: skip
def test_the_tally_of_eleven_plants(infested: int, says: str) -> None:
    """A plant with 40 aphids or more is infested: 7 to 10 of 11 are undecided, fewer are left.

    Source: the plan of the University of Minnesota (2006) as the Iowa Soybean Association prints
    it; all 11 say treat once that is confirmed 3 to 4 days later.
    """
    found = one(
        alone("soybean-aphid", [40] * infested + [39] * (11 - infested), size=1, unit="plants"),
        region="IA",
    )
    assert found.tally is not None
    assert (found.tally.infested, found.tally.says) == (infested, says)
    assert found.answer == ("near" if says == "confirm" else "below")
    assert f"{infested} of 11 plants have 40 or more" in tally_text(found.tally)
    whole = one(alone("soybean-aphid", (440,), size=11, unit="plants"), region="IA")
    assert whole.tally is None, "one number for 11 plants tells no plant apart"


@pytest.mark.parametrize(
    ("infested", "plants", "says"),
    [(6, 16, "leave it"), (7, 16, "go on"), (15, 16, "go on"), (16, 16, "confirm")],
)
def test_the_tally_of_more_plants_has_no_order(infested: int, plants: int, says: str) -> None:
    """More than eleven plants decide where any eleven of them would say the same.

    The limits of the plan's later looks are not on file, so it offers no further plants.
    """
    counts = [40] * infested + [39] * (plants - infested)
    told = set()
    for taken in (counts, counts[::-1]):
        found = one(alone("soybean-aphid", taken, size=1, unit="plants"), region="IA")
        assert found.tally is not None
        told.add((found.tally.says, tally_text(found.tally)))
    ((said, text),) = told
    assert said == says
    assert f"{infested} of {plants} plants have 40 or more" in text
    assert "more plants" not in text


@pytest.mark.parametrize(("unit", "size"), [("percent", 100.0), ("rating", 10.0)])
def test_what_was_judged_on_a_whole_scale_is_taken_as_it_is(unit: SampleUnit, size: float) -> None:
    """Earlier logs hold sets of 100 percent: 10 of them are 10 percent of Mississippi's 50."""
    pest, region = ("bean-leaf-beetle", "MS") if unit == "percent" else (
        "twospotted-spider-mite", "OH",
    )  # fmt: skip
    old, new = (
        one(alone(pest, (2,), size=per, unit=unit), region=region, stage="R5") for per in (size, 1)
    )
    assert old.threshold_per_set == new.threshold_per_set
    assert (old.mean_per_set, old.answer, old.set_size) == (2, new.answer, 1)


def test_one_place_of_another_size_leaves_no_set_missing() -> None:
    """A way of sampling without a size counts places: four are four, however long the rows."""
    usual = method_of("row-feet", KNOWLEDGE)
    places = int(KNOWLEDGE.decisions.counting.usual_sets if usual is None else usual.sets)
    assert usual is None or usual.size is None
    feet = [3.0] * (places // 2) + [6.0] * (places - places // 2)
    taken = tuple(
        LoggedSet(i, size, "row-feet", (LoggedCount("stink-bugs", "", size),))
        for i, size in enumerate(feet, 1)
    )
    found = one(taken, region="TN")
    assert found.answer in ("near", "above")
    assert found.sampled is not None
    assert found.sampled.missing == 0


def test_what_is_near_may_be_offered_as_many_sets_again() -> None:
    """More sets are offered only where they likely settle it, and only to what is near."""
    offered = one(alone("stink-bugs", (10, 5, 8, 4)))
    assert (offered.answer, offered.more_sets, offered.settles) == ("near", 4, 6)
    assert near_text(offered, dt.date(2026, 7, 12)) == (
        "4 more sets would settle it in 6 of 10 such fields; else be back by 12 Jul"
    )
    at_it = one(alone("stink-bugs", (9, 9, 9, 9)))
    assert at_it.answer == "near"
    assert (at_it.settles, at_it.more_sets) == (None, None)
    check = dt.date(2026, 7, 11), dt.date(2026, 7, 13)
    told = near_text(offered, dt.date(2026, 7, 12), check=check)
    assert told == "treated since: efficacy check 11 Jul to 13 Jul"
    assert near_text(at_it, dt.date(2026, 7, 12)).endswith("not settle it; be back by 12 Jul")
    assert one(alone("stink-bugs", (40, 40, 40, 40))).more_sets == 0
    assert one(alone("stink-bugs", (3, 9)), stage="V4").more_sets is None


def test_where_k_comes_from_is_said() -> None:
    """Known for the pest, or the usual one that is assumed; the sets say how far it is off."""
    known = one(alone("stink-bugs", (3, 9)), knowledge=with_k("stink-bugs", 1.5))
    assert known.sampled is not None
    assert (known.sampled.k, k_text(known.sampled)) == (1.5, "of the pest (own, OWN)")
    usual = one(alone("stink-bugs", (0, 0, 0, 0)))
    assert usual.sampled is not None
    assert usual.sampled.k == float(KNOWLEDGE.decisions.counting.k_usual)
    assert "assumed (common practice, no source)" in k_text(usual.sampled)
    clumped, even = (one(alone("stink-bugs", c)) for c in ((0, 0, 0, 60), (15, 15, 15, 15)))
    assert clumped.p_above is not None
    assert even.p_above is not None
    assert clumped.p_above < even.p_above, "the same mean, but all in one place"


# --- what adds up ---------------------------------------------------------------------------


def test_species_of_a_complex_add_up_and_are_judged_once() -> None:
    """Brown, green and unnamed bugs are one count of the complex; no species is judged by it."""
    rows = [[("brown-stink-bug", "", 3), ("green-stink-bug", "nymphs", 2), ("stink-bugs", "", 1)]]
    found = one(sets(rows * 2))
    assert found.pest == found.counted_as == "stink-bugs"
    assert found.mean_per_set == 6
    assert dict((pest, number) for pest, number, _ in found.parts) == {
        "brown-stink-bug": 6, "green-stink-bug": 4, "stink-bugs": 2,
    }  # fmt: skip
    assert any("one of each counts as one" in note for note in notes_text(found, KNOWLEDGE))


def test_a_species_with_a_threshold_of_its_own_is_judged_twice() -> None:
    """Delaware has one for brown marmorated alone, and one for all stink bugs with it."""
    rows = [[("brown-marmorated-stink-bug", "", 3), ("brown-stink-bug", "", 2)]] * 4
    together, own = assessed(sets(rows, size=15), region="DE").pests
    assert (together.pest, together.mean_per_set) == ("stink-bugs", 5)
    assert (own.pest, own.mean_per_set, own.counted_as) == ("brown-marmorated-stink-bug", 3, None)


def test_weights_of_a_complex_count() -> None:
    """A species given a weight counts for so many, and the screen is told."""
    weight = Quantity(value=2.5, unit="stink bugs", source="own", tag="OWN")
    heavy = KNOWLEDGE.pests["green-stink-bug"].model_copy(update={"weight": weight})
    pests = {**KNOWLEDGE.pests, "green-stink-bug": heavy}
    knowledge = KNOWLEDGE.model_copy(update={"pests": pests})
    rows = [[("brown-stink-bug", "", 3), ("green-stink-bug", "", 2)]] * 4
    found = one(sets(rows), knowledge=knowledge)
    assert found.mean_per_set == 3 + 2 * 2.5
    assert ("green-stink-bug", 8, 2.5) in found.parts
    assert any("each green stink bug as 2.5" in note for note in notes_text(found, KNOWLEDGE))


def test_native_species_leave_the_redbanded_bug_out() -> None:
    """Arkansas' 9 are of native species (Lorenz 2017); Georgia's are of all, redbanded too."""
    rows = [[("redbanded-stink-bug", "", 3), ("brown-stink-bug", "", 5)]] * 4
    arkansas = {line.pest: line.mean_per_set for line in assessed(sets(rows), region="AR").pests}
    assert arkansas == {"stink-bugs": 5, "redbanded-stink-bug": 3}
    georgia = {line.pest: line.mean_per_set for line in assessed(sets(rows), region="GA").pests}
    assert georgia == {"stink-bugs": 8, "redbanded-stink-bug": 3}


def test_adults_and_nymphs_of_the_kudzu_bug_are_held_against_their_own() -> None:
    """Tennessee's 1 immature and 2 adults per sweep (Stewart, about 2013) count none of the other.

    A count that names no life stage is held against both, and both are in doubt.
    """
    both = [[("kudzu-bug", "adults", 30), ("kudzu-bug", "nymphs", 12)]] * 4
    found = assessed(sets(both)).pests
    assert {(line.mean_per_set, line.threshold_per_set) for line in found} == {(12, 25), (30, 50)}
    assert not any(line.unsorted for line in found)
    said = sorted(against_text(line).partition(" (")[0] for line in found)
    assert said == ["12 of 25 nymphs per 25 sweeps", "30 of 50 adults per 25 sweeps"]
    unsaid = assessed(alone("kudzu-bug", (30,) * 4)).pests
    assert [(line.mean_per_set, line.unsorted) for line in unsaid] == [(30, True)] * 2


def test_adults_are_large_enough_for_large_nymphs_and_adults() -> None:
    """Illinois counts adults and large nymphs of stink bugs (Gray 2015): small nymphs are left."""
    rows = [[("stink-bugs", "adults", 2), ("stink-bugs", "small nymphs", 9)]] * 4
    found = one(sets(rows, size=4, unit="row-feet"), region="IL")
    assert (found.mean_per_set, found.threshold_per_set, found.unsorted) == (2, 4, False)


def test_alabama_counts_each_looper_twice_among_the_leaf_worms() -> None:
    """1.5 worms per sweep, so 37.5 in 25: 10 loopers and 15 cloverworms are 35 of them.

    Loopers have a line of their own as well, 19 per 25 sweeps (Auburn 2023), the same rule.
    """
    rows = [[("soybean-looper", "", 10), ("green-cloverworm", "", 15)]] * 4
    by_looper, found = assessed(sets(rows), region="AL").pests
    assert (by_looper.mean_per_set, by_looper.threshold_per_set) == (10, 19)
    assert found.mean_per_set == 35
    assert found.threshold_per_set == 37.5
    assert found.pest == "leaf-feeders"
    assert any("each soybean looper as 2" in note for note in notes_text(found, KNOWLEDGE))
    assert "velvetbean-caterpillar" in found.left_out, "not looked for"
    _, loopers = assessed(alone("soybean-looper", (10,) * 4), region="AL").pests
    assert loopers.mean_per_set == 20, "also when nothing else was counted"
    assert loopers.found_per_set == 10, "what was found is told as found"
    assert why_text(loopers).startswith("40 in 4 sets of 25, worth 80")
    beetles = one(alone("mexican-bean-beetle", (99,) * 4), region="AL")
    assert beetles.threshold is None, "beetles are no worms"


def test_georgia_adds_up_all_large_caterpillars_and_keeps_the_loopers_own_line() -> None:
    """2 of half an inch or more per row-foot, whatever they are; and 4-6 loopers of any size."""
    row = [
        ("soybean-looper", "large larvae", 2),
        ("soybean-looper", "small larvae", 10),
        ("corn-earworm", "1/2 inch or more", 3),
        ("velvetbean-caterpillar", "eggs", 40),
    ]
    found = assessed(sets([row] * 4, size=3, unit="row-feet"), region="GA").pests
    lines = {line.threshold.threshold.what: line for line in found if line.threshold}
    loopers, large = lines["larvae"], lines["larvae of 1/2 inch or more"]
    assert (loopers.mean_per_set, loopers.threshold_per_set) == (12, 12)
    assert (large.mean_per_set, large.threshold_per_set) == (5, 6)


@pytest.mark.parametrize(
    ("what", "counted", "not_counted"),
    [
        ("bugs", ["", "adults", "small nymphs", "large nymphs"], ["eggs", "egg masses"]),
        ("larvae", ["", "small", "large larvae", "instar 3"], ["adults", "moths", "pupae"]),
        ("larvae of 1/2 inch or more", ["", "large larvae", "1/2 inch or more"],
         ["small larvae", "medium", "under 1/2 inch", "eggs", "adults"]),
        ("nymphs", ["", "nymphs", "small nymphs"], ["adults", "egg masses"]),
        ("beetles", ["", "adults", "beetles"], ["eggs"]),
        ("hoppers", ["", "nymphs", "adults"], ["dead"]),
    ],
)  # fmt: skip
def test_life_stages_that_a_threshold_counts(
    what: str, counted: list[str], not_counted: list[str]
) -> None:
    """All that can feed adds up, unless the threshold asks for large ones or for nymphs."""
    stink = KNOWLEDGE.pests["stink-bugs"].thresholds[0]
    typed = stink.model_copy(update={"what": what})
    wanted = Wanted.by(threshold_with_keys(typed, PestNames.of(KNOWLEDGE.pests)))
    assert [stage for stage in counted if not wanted.counts(stage)] == []
    assert [stage for stage in not_counted if wanted.counts(stage)] == []


def test_sizes_that_nobody_told_apart_count_in_full_and_it_is_said() -> None:
    """A count without sizes is held against a threshold of large ones as it is."""
    row = [[("corn-earworm", "", 4)]] * 4
    found = one(sets(row, size=1, unit="row-feet"), region="GA")
    assert found.mean_per_set == 4
    assert any("not told apart" in note for note in notes_text(found, KNOWLEDGE))
    row = [[("corn-earworm", "large larvae", 4), ("corn-earworm", "small larvae", 1)]] * 4
    told = one(sets(row, size=1, unit="row-feet"), region="GA")
    assert not any("not told apart" in note for note in notes_text(told, KNOWLEDGE))


def test_a_pest_not_looked_for_is_not_zero() -> None:
    """A set that does not name a pest takes no part in its mean; one that says 0 does."""
    named = [("stink-bugs", "", 6.0)]
    other = [("corn-earworm", "", 1.0)]
    lines = {p.pest: p for p in assessed(sets([named, named, other])).pests}
    assert (lines["stink-bugs"].sets, lines["stink-bugs"].mean_per_set) == (2, 6)
    assert (lines["corn-earworm"].sets, lines["corn-earworm"].mean_per_set) == (1, 1)
    zero = one(sets([named, named, [("stink-bugs", "", 0.0)]]))
    assert (zero.sets, zero.mean_per_set) == (3, 4)
    uneven = one(sets([[("brown-stink-bug", "", 1)], [("green-stink-bug", "", 1)]]))
    assert any("not every kind" in note for note in notes_text(uneven, KNOWLEDGE))


def test_what_was_not_looked_for_is_named() -> None:
    """Pests that can hurt at the stage and that no set names, a complex by any of its species."""
    found = assessed(alone("brown-stink-bug", (1,)), stage="R4", leaf_loss=3)
    assert "corn-earworm" in found.not_looked_for
    assert not {"stink-bugs", "leaf-feeders"} & set(found.not_looked_for)
    assert "seedcorn-maggot" not in found.not_looked_for, "it hurts seedlings alone"


def test_sets_of_mixed_sizes_are_told_per_usual_set() -> None:
    """A mean in proportion to the sweeps: 30 bugs in 75 sweeps are 10 per 25."""
    mixed = (*alone("stink-bugs", (15, 5)), *alone("stink-bugs", (6, 4), size=12.5))
    found = one(mixed)
    assert (found.set_size, found.sets, found.mean_per_set) == (25, 4, 10)
    assert any("sets of 12.5 and 25 sweeps" in note for note in notes_text(found, KNOWLEDGE))
    assert found.sampled is not None
    assert found.sampled.sets == 3


def test_a_short_set_is_held_against_the_threshold_of_its_own_size() -> None:
    """5 per 15 sweeps stays 5 in sets of 15; other sizes are converted, and it is said."""
    short = one(alone("stink-bugs", (5, 5), size=15), region="NC")
    assert (short.threshold_per_set, short.mean_per(25)) == (5, pytest.approx(25 / 3))
    ten = one(alone("stink-bugs", (5, 5), size=10), region="NC")
    assert ten.threshold_per_set == pytest.approx(10 / 3)
    assert any("converted from 5 per 15" in note for note in notes_text(ten, KNOWLEDGE))
    assert ten.threshold is not None
    assert "converted from 5 per 15" in threshold_text(ten.threshold)


# --- which threshold ------------------------------------------------------------------------


def test_a_unit_of_which_no_threshold_speaks() -> None:
    """Plants are not sweeps: the count is shown, and nothing is converted."""
    found = one(alone("stink-bugs", (3, 4), unit="plants", size=10))
    assert (found.answer, found.threshold, found.p_above) == ("no threshold", None, None)
    assert found.silence is not None
    assert (found.silence.ground, found.silence.units[0]) == ("other units", "sweeps")
    assert found.mean_per_set == 3.5
    beetle = one(alone("mexican-bean-beetle", (3, 4)), region="AL")
    assert "leaf loss of all feeders" in why_text(beetle)


def test_two_conditions_of_one_threshold_are_told_apart() -> None:
    """Ohio's seed beans have their own: shown, but the usual one of grain is answered."""
    found = assessed(alone("stink-bugs", (6,) * 4), region="OH")
    (grain,), (seed,) = found.pests, found.otherwise
    assert (grain.threshold_per_set, seed.threshold_per_set) == (10, 5)
    assert seed.threshold is not None
    assert condition_text(seed.threshold.threshold) == "seed or food beans"


def test_a_threshold_from_memory_is_shown_unverified() -> None:
    """Were Mississippi's 9 earworms recalled and not read, nothing would be held against them."""
    worm = KNOWLEDGE.pests["corn-earworm"]
    recalled = tuple(t.model_copy(update={"tag": "MEMORY"}) for t in worm.thresholds)
    pests = {**KNOWLEDGE.pests, worm.id: worm.model_copy(update={"thresholds": recalled})}
    knowledge = KNOWLEDGE.model_copy(update={"pests": pests})
    found = one(alone("corn-earworm", (3,) * 4), region="MS", knowledge=knowledge)
    assert (found.threshold, found.answer) == (None, "no threshold")
    assert found.silence is not None
    assert "unverified" in silence_text(found.silence)


def test_a_pest_can_hurt_at_the_first_and_at_the_last_of_its_stages() -> None:
    """Earworms hurt from R1 to R6, both included, where no threshold of the region says more.

    Louisiana takes those of Arkansas (R2-R5, Lorenz 2012) and Mississippi (R2-R6, 2025).
    """
    answers = {}
    for stage in ("V4", "R1", "R3", "R6", "R7"):
        found = assessed(alone("corn-earworm", (90,) * 4), region="LA", stage=stage).pests[0]
        answers[stage] = found.answer, why_text(found).partition(" is for")[0]
    assert answers["V4"][0] == "does not matter yet"
    assert "can hurt them at R1-R6" in answers["V4"][1]
    assert answers["R1"][0] == "does not matter yet"
    assert answers["R1"][1].startswith("beans at R1, the threshold of neighbor Arkansas")
    assert answers["R3"][0] == answers["R6"][0] == "above"
    assert answers["R7"][0] == "no longer matters"


def test_a_threshold_of_ones_own_goes_first() -> None:
    """What the user set is answered, also where the library would say it matters not yet."""
    mine = Threshold(
        source="yours", tag="OWN", region="yours", first="V4", last="R6", value=2, what="bugs",
        per=10, of="sweeps",
    )  # fmt: skip
    bugs = KNOWLEDGE.pests["stink-bugs"]
    bugs = bugs.model_copy(update={"thresholds": (mine, *bugs.thresholds)})
    pests = {**KNOWLEDGE.pests, "stink-bugs": bugs}
    found = one(
        alone("stink-bugs", (20,) * 4), stage="V4",
        knowledge=KNOWLEDGE.model_copy(update={"pests": pests}),
    )  # fmt: skip
    assert (found.threshold_per_set, found.answer) == (5, "above")


def own_in_sweeps(pest: str, region: str) -> list[Threshold]:
    """The thresholds by sweeps that a region has for a pest."""
    known = KNOWLEDGE.pests[pest].thresholds
    return [t for t in known if t.region == region and t.unit == "sweeps"]


OWN = sorted(
    {
        (pest.id, t.region)
        for pest in KNOWLEDGE.pests.values()
        for t in pest.thresholds
        if t.unit == "sweeps" and t.region in KNOWLEDGE.regions
    }
)


CROWD = 1000.0
"""In a set: several times the largest threshold by sweeps, and quickly worked out."""


@pytest.mark.parametrize("stage", STAGE_ORDER)
@pytest.mark.parametrize(("pest", "region"), OWN)
def test_every_pest_at_every_stage(pest: str, region: str, stage: str) -> None:
    """A region's own thresholds by sweeps say when it matters; crowds are above, empty sets below.

    Before the first of them it does not matter yet; once the pest is over, no longer. At R7 all
    pests are, as common practice and most states have it.
    """
    late_r6 = stage_place("R6.5")
    spans = [
        (stage_place(t.first), min(stage_place(t.last), late_r6))
        for t in own_in_sweeps(pest, region)
    ]
    over = stage_place(lasts_to(KNOWLEDGE.pests[pest], region=region, knowledge=KNOWLEDGE))
    place = stage_place(stage)
    crowd, empty = (
        next(
            (
                line
                for line in assessed(alone(pest, (number,) * 20), region=region, stage=stage).pests
                if pest in {part[0] for part in line.parts}
                and (line.pest in (pest, "leaf-feeders"))
            ),
            None,
        )
        for number in (CROWD, 0.0)
    )
    if any(first <= place <= last for first, last in spans):
        assert crowd is not None
        assert empty is not None
        assert (crowd.answer, empty.answer) == ("above", "below")
    elif crowd is not None:  # else its complex alone speaks
        early = place < min(first for first, _ in spans)
        late = place > over
        expected = "does not matter yet" if early else "no longer matters" if late else None
        assert crowd.answer == (expected or "no threshold")
        assert why_text(crowd)
        assert crowd.mean_per_set == CROWD, "the count is kept"


def test_why_stink_bugs_do_not_matter_before_there_are_flowers() -> None:
    """The answer says at which stages they can hurt, and what they hurt."""
    found = one(alone("stink-bugs", (30,) * 4), stage="V4")
    assert found.answer == "does not matter yet"
    assert "R1-R7" in why_text(found)
    assert "pods" in why_text(found)
    north_carolina = one(alone("stink-bugs", (30,) * 4), stage="R1", region="NC")
    assert north_carolina.answer == "does not matter yet"
    assert "North Carolina is for R3-R7" in why_text(north_carolina)
    assert one(alone("stink-bugs", (30,) * 4), stage="R8").answer == "no longer matters"


# --- leaf loss ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("region", "stage", "percent", "answer"),
    [
        ("IA", "V3", 17, "below"), ("IA", "V3", 29, "near"), ("IA", "V3", 30, "above"),
        ("IA", "R2", 11.9, "below"), ("IA", "R2", 19.9, "near"), ("IA", "R2", 20, "above"),
        ("NE", "V4", 29, "near"), ("NE", "R4", 21, "above"), ("NE", "R6", 19, "near"),
        ("DE", "R5", 15, "above"), ("DE", "R6", 45, "near"), ("DE", "R6", 50, "above"),
        ("MS", "R3", 20, "above"), ("MS", "R7", 90, "no longer matters"),
        ("NC", "V4", 29, "near"), ("NC", "R1", 16, "above"), ("NC", "R6", 14, "near"),
        ("IA", "R8", 100, "no longer matters"), ("IA", "VE", 50, "does not matter yet"),
        ("DE", "V4", 9, "below"), ("DE", "V4", 30, "above"),
    ],
)  # fmt: skip
def test_leaf_loss_before_and_after_bloom(
    region: str, stage: str, percent: float, answer: str
) -> None:
    """The published thresholds of leaf loss, at their edges and outside of their stages."""
    found = assessed(region=region, stage=stage, leaf_loss=percent).defoliation
    assert found is not None
    assert found.answer == answer
    if answer in ("above", "near", "below"):
        when = "before bloom" if stage.startswith("V") else "from bloom on"
        assert when in leaf_loss_text(found)
    assert ("guess too high" in leaf_loss_text(found)) == (answer == "above")


def test_leaf_loss_of_a_stage_without_own_threshold_names_whose_it_is() -> None:
    """Were North Carolina's 30 percent the only one: a neighbor's holds, one from afar does not."""
    leaves = KNOWLEDGE.pests["leaf-feeders"]
    only = tuple(t for t in leaves.thresholds if t.region == "NC" and t.leaf_loss)
    pests = {**KNOWLEDGE.pests, leaves.id: leaves.model_copy(update={"thresholds": only})}
    knowledge = KNOWLEDGE.model_copy(update={"pests": pests})
    near, far = (
        assessed(region=region, stage="V4", leaf_loss=35, knowledge=knowledge).defoliation
        for region in ("SC", "IA")
    )
    assert near is not None
    assert far is not None
    assert near.answer == "above"
    assert "neighbor North Carolina" in leaf_loss_text(near)
    assert far.answer == "no threshold"
    assert "elsewhere, North Carolina in the Southeast coast" in leaf_loss_text(far)


def test_pods_hurt_are_no_leaf_loss() -> None:
    """Mississippi's 50 percent of plants is for pods; its 20 percent is for leaves alone."""
    judged = alone("bean-leaf-beetle", (10,), size=1, unit="percent")
    found = one(judged, region="MS", stage="R5")
    assert found.threshold is not None
    assert found.threshold.threshold.share_of == "plants"
    assert (found.threshold_per_set, found.answer) == (50, "below")


def test_leaf_loss_shows_the_other_condition_too() -> None:
    """North Carolina's 15 and 25 percent after bloom: 20 is above the one and near the other."""
    found = assessed(region="NC", stage="R3", leaf_loss=20).defoliation
    assert found is not None
    assert found.answer == "above"
    assert [answer for _, answer in found.otherwise] == ["near"]


# --- pressure -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("counts", "leaf_loss", "pressure"),
    [
        ((2, 1, 2, 3), None, "some"),  # 2 of 9, below
        ((6, 5, 5, 5), None, "some"),  # nobody would call it over
        ((8, 7, 9, 8), None, "near threshold"),
        ((30, 40, 35, 30), None, "near threshold"),
        ((10, 12), None, "near threshold"),  # over 9, in too few sets
        ((0,) * 4, None, "virtually none"),
        ((1, 0, 0, 0), None, "virtually none"),
        ((2, 2, 1, 2), None, "some"),  # 1.75 of 9: a fifth
        ((0,) * 3, None, "some"),  # a set is missing
        ((0,) * 4, 12, "near threshold"),  # 12 of Mississippi's 20 percent
        ((0,) * 4, 8, "some"),
        ((0,) * 4, 4, "virtually none"),  # a fifth: nothing out of the ordinary
    ],
)
def test_pressure_for_the_next_visit(
    counts: Sequence[float], leaf_loss: float | None, pressure: str
) -> None:
    """Near or over is near; empty sets, or a sure mean under 15 percent, are quiet."""
    assert assessed(alone("stink-bugs", counts), leaf_loss=leaf_loss).pressure == pressure


def test_pressure_is_that_of_the_worst_pest_that_matters() -> None:
    """Any pest near its threshold makes the field so; one that does not matter yet does not."""
    rows = [[("stink-bugs", "", 0), ("corn-earworm", "", 6)]] * 4
    assert assessed(sets(rows)).pressure == "near threshold"
    assert assessed(alone("stink-bugs", (50,) * 4), stage="V4").pressure is None
    both = [[("stink-bugs", "", 50), ("threecornered-alfalfa-hopper", "", 0)]] * 20
    assert assessed(sets(both), stage="V4").pressure == "virtually none"
    unknown = [[("stink-bugs", "", 0), ("mexican-bean-beetle", "", 5)]] * 4
    assert assessed(sets(unknown)).pressure == "some", "found, can hurt, and no threshold says more"


# --- properties -----------------------------------------------------------------------------

numbers = st.lists(st.integers(0, 60), min_size=1, max_size=12)
ORDER = ("below", "near", "above")


@settings(max_examples=60)
@given(
    st.lists(st.integers(0, 60), min_size=4, max_size=12), st.integers(0, 11), st.integers(1, 30)
)
def test_more_bugs_never_lower_the_answer(counts: list[int], at: int, more: int) -> None:
    """One set with more in it, and the answer does not fall."""
    added = [n + more * (i == at % len(counts)) for i, n in enumerate(counts)]
    before, after = one(alone("stink-bugs", counts)), one(alone("stink-bugs", added))
    assert ORDER.index(after.answer) >= ORDER.index(before.answer)


@settings(max_examples=40)
@given(st.permutations(list(enumerate([0, 3, 9, 2, 14, 1]))))
def test_the_order_of_sets_says_nothing(order: list[tuple[int, int]]) -> None:
    """Whichever set is written down first, everything is answered alike."""
    rows = alone("stink-bugs", [0, 3, 9, 2, 14, 1])
    shuffled = tuple(rows[i] for i, _ in order)
    assert assessed(shuffled).pests == assessed(rows).pests


@settings(max_examples=40)
@given(numbers, st.integers(1, 5))
def test_empty_sets_lower_the_mean(counts: list[int], empty: int) -> None:
    """A set in which the pest was looked for and not found counts."""
    before = one(alone("stink-bugs", counts))
    after = one(alone("stink-bugs", counts + [0] * empty))
    assert after.mean_per_set == pytest.approx(sum(counts) / (len(counts) + empty))
    assert after.mean_per_set < before.mean_per_set or sum(counts) == 0


@settings(max_examples=40)
@given(numbers, st.sampled_from(["TN", "NC", "GA", "MN", "LA"]), st.sampled_from(STAGE_ORDER))
def test_the_answer_agrees_with_the_numbers_beside_it(
    counts: list[int], region: str, stage: str
) -> None:
    """The range is in order; a mean over its threshold is never below, and chances part answers."""
    rule = KNOWLEDGE.decisions.counting
    for found in assessed(alone("stink-bugs", counts), region=region, stage=stage).pests:
        assert found.low is not None
        assert found.high is not None
        assert 0 <= found.low < found.high
        if found.answer not in ORDER:
            assert found.answer != "too few" or found.more_sets == 4 - len(counts)
            continue
        assert len(counts) >= 4
        assert found.p_above is not None
        assert (found.answer == "above") == (found.p_above >= float(rule.above))
        assert found.answer != "below" or not found.over
        assert found.answer == "below" or found.p_above > float(rule.below) or found.over


# --- the visit ------------------------------------------------------------------------------


def test_the_last_visit_with_counts_up_to_a_day() -> None:
    """Visits without sets or leaf loss are passed over, and what lies ahead is not known."""

    def visit(day: int, **what: Any) -> LoggedVisit:
        return LoggedVisit(f"v{day}", "F1", dt.date(2026, 7, day), **what)

    counted = alone("stink-bugs", (1,))
    log = standing(
        [visit(1, sets=counted), visit(8, defoliation_percent=0.0), visit(15, stage="R3"),
         visit(20, sets=counted)], ()
    )  # fmt: skip
    found = [last_counted(log, "F1", dt.date(2026, 7, day)) for day in (0 + 1, 7, 8, 19, 20)]
    assert [v.visit_id if v else None for v in found] == ["v1", "v1", "v8", "v8", "v20"]
    assert last_counted(log, "F2", DAY) is None
    assert last_counted(log, "F1", dt.date(2026, 6, 30)) is None


def test_two_visits_of_one_day_count_as_one() -> None:
    """Four sets by one scout and one by another are five; leaf loss and stage are the later's.

    A second visit, from the phone say after the desk, never makes the first unseen.
    """
    bugs = [LoggedSet(i, 25, "sweeps", (LoggedCount("stink-bugs", "", n),)) for i, n in
            enumerate((12, 15, 20, 9), start=1)]  # fmt: skip
    one = LoggedSet(1, 25, "sweeps", (LoggedCount("stink-bugs", "", 1),))
    log = standing(
        [
            LoggedVisit("v1", "F1", DAY, stage="R3", share=0.6, sets=tuple(bugs)),
            LoggedVisit("v2", "F1", DAY, defoliation_percent=5.0, sets=(one,)),
        ],
        [],
    )
    found = last_counted(log, "F1", DAY)
    assert found is not None
    assert [s.number for s in found.sets] == [1, 2, 3, 4, 5]
    assert [s.counts[0].number for s in found.sets] == [12, 15, 20, 9, 1]
    assert (found.stage, found.share, found.defoliation_percent) == ("R3", 0.6, 5.0)


def test_a_stage_seen_goes_before_the_forecast() -> None:
    """That of the visit, else one noted for the same field and day; under half is not reached."""
    plain = LoggedVisit("v", "F1", DAY)
    seen = LoggedVisit("v", "F1", DAY, stage="R3", share=0.5)
    few = LoggedVisit("v", "F1", DAY, stage="R3", share=0.4)
    other = [Visit("F1", DAY, None, 2, "R4"), Visit("F2", DAY, None, 3, "R6")]
    assert stage_of_visit(seen, other, None) == ("R3", True)
    assert stage_of_visit(plain, other, None) == ("R4", True)
    assert stage_of_visit(plain, [], None) is None
    assert stage_of_visit(few, [], None) is None


def test_a_stage_of_few_plants_was_not_reached_also_where_it_is_the_first() -> None:
    """Where the forecast has the beans up as well, they are not: what comes before it stands."""
    forecast: Any = SimpleNamespace(lessons=(), stage_on=lambda day: "VE")
    few = LoggedVisit("v", "F1", DAY, stage="VE", share=0.4)
    assert stage_of_visit(few, [], forecast) == ("planting", False)
    assert stage_of_visit(LoggedVisit("v", "F1", DAY), [], forecast) == ("VE", False)


def test_only_what_was_found_and_does_not_matter_yet_is_held_against_a_stage_to_come() -> None:
    """Stink bugs before there are flowers: found, at R1; searched in vain or at R4, not again."""

    def coming(stage: str, *counts: int) -> list[str]:
        visit = LoggedVisit("v", "F1", DAY, sets=alone("stink-bugs", counts))
        asked = {"stage": stage, "stage_seen": True, "region": "TN", "knowledge": KNOWLEDGE}
        return [one.pest for one in assess(visit, **asked, coming_stage="R3").coming]

    assert coming("V4", 3, 0, 0, 0) == ["stink-bugs"]
    assert coming("V4", 0, 0, 0, 0) == []
    assert coming("R2", 3, 0, 0, 0) == []


# --- economic injury level ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("prices", "pest", "unit", "level"),
    [
        # South Dakota, pod fill: $8/ac, $5/bu, 45 bu/ac gave 6 per row-foot, 0.593 percent each.
        (Prices(5, 8, loss_percent=0.593, crop_yield=45), "bean-leaf-beetle", "row-feet", 6.0),
        # South Dakota, cotyledons: 1.25 percent a beetle; $10, $4 and $2/ac at $5 and 40 bu/ac.
        (Prices(5, 10, loss_percent=1.25, crop_yield=40), "bean-leaf-beetle", "plants", 4.0),
        (Prices(5, 4, loss_percent=1.25, crop_yield=40), "bean-leaf-beetle", "plants", 1.6),
        (Prices(5, 2, loss_percent=1.25, crop_yield=40), "bean-leaf-beetle", "plants", 0.8),
        # Nebraska, V1: $7.50/bu and $11/ac gave 6.08 a plant; then $12/bu and $14/ac.
        (Prices(7.5, 11, loss=0.2412), "bean-leaf-beetle", "plants", 6.08),
        (Prices(12, 14, loss=0.2412), "bean-leaf-beetle", "plants", 4.84),
        # Half of the injury prevented: twice the level.
        (Prices(12, 14, loss=0.2412, control_percent=50), "bean-leaf-beetle", "plants", 9.67),
    ],
)
def test_published_injury_levels(prices: Prices, pest: str, unit: SampleUnit, level: float) -> None:
    """The worked examples of the extension texts, from money and loss to pests per unit."""
    pests = assessed(alone(pest, (2, 3), size=1, unit=unit), stage="V1").pests
    found = injury_level_of(prices, pests, knowledge=KNOWLEDGE)
    assert found.level == pytest.approx(level, rel=2e-3)
    assert (found.per, found.mean) == (1, 2.5)


def test_an_injury_level_per_25_sweeps_is_held_against_sets_of_any_size() -> None:
    """Loss per pest in 25 sweeps, counts in sets of 15: the same chance as in its own unit."""
    taken = alone("stink-bugs", (5, 7, 6), size=15)
    pests = assessed(taken, region="NC").pests
    (found,) = pests
    level = injury_level_of(Prices(10, 10, loss=0.12), pests, knowledge=KNOWLEDGE)
    assert (level.per, level.level) == (25, pytest.approx(25 / 3))
    assert level.mean == pytest.approx(10)
    assert level.p_above == pytest.approx(found.p_above), "the threshold is 5 per 15, the same"
    small = injury_level_of(Prices(10, 6, loss=0.12, per=15), pests, knowledge=KNOWLEDGE)
    assert (small.level, small.p_above) == (pytest.approx(5), pytest.approx(found.p_above))


@pytest.mark.parametrize(
    ("prices", "option"),
    [
        (Prices(0, 10, loss=1), "--price"),
        (Prices(10, -1, loss=1), "--cost"),
        (Prices(10, 1), "--loss-per-pest"),
        (Prices(10, 1, loss=1, loss_percent=1, crop_yield=50), "--loss-per-pest"),
        (Prices(10, 1, loss_percent=1), "--loss-percent"),
        (Prices(10, 1, loss_percent=101, crop_yield=50), "--loss-percent"),
        (Prices(10, 1, loss=1, control_percent=0), "--control-percent"),
        (Prices(10, 1, loss=1, per=0), "--per"),
        (Prices(float("nan"), 1, loss=1), "--price"),
        (Prices(1e-300, 1e300, loss=1), "--price"),
        (Prices(1e300, 1e-300, loss=1), "--price"),
        (Prices(10, 1, loss=1, pest="corn earworm"), "--pest"),
    ],
)
def test_prices_that_cannot_be_are_refused_by_option(prices: Prices, option: str) -> None:
    """Each is told with the option it was given by."""
    pests = assessed(alone("stink-bugs", (5, 7))).pests
    with pytest.raises(SeasonProblems) as refused:
        injury_level_of(prices, pests, knowledge=KNOWLEDGE)
    assert [problem.file for problem in refused.value.problems] == [option]


def test_which_pest_the_loss_is_for_has_to_be_said_where_several_were_counted() -> None:
    """One alone is meant; of several none is guessed."""
    rows = [[("stink-bugs", "", 1), ("corn-earworm", "", 2)]] * 2
    pests = assessed(sets(rows)).pests
    with pytest.raises(SeasonProblems, match="which pest"):
        injury_level_of(Prices(10, 10, loss=1), pests, knowledge=KNOWLEDGE)
    named = Prices(10, 10, loss=1, pest="earworm")
    found = injury_level_of(named, pests, knowledge=KNOWLEDGE)
    assert found.counted.pest == "corn-earworm"


def test_eggs_alone_are_not_a_search_for_the_insect() -> None:
    """A pest of which only eggs were counted was not looked for, which is not zero."""
    eggs = LoggedSet(1, 25.0, "sweeps", (LoggedCount("green_stink_bug", "eggs", 40.0),))
    weights = {"green_stink_bug": 1.0}
    assert pool([eggs], unit="sweeps", weights=weights, wanted=Wanted()) is None


# --- in words -------------------------------------------------------------------------------


def test_numbers_in_words_have_no_exponent_and_no_false_zero() -> None:
    """A threshold is told as it is, a chance that is nearly none as that, a sum of sets roundly."""
    assert [limit_text(value) for value in (9.0, 0.33, 0.0025, 1e-7)] == [
        "9", "0.33", "0.0025", "0.0000001",
    ]  # fmt: skip
    assert [percent_text(chance) for chance in (5.6e-5, 0.0, 0.12, 0.997)] == [
        "under 1%", "0%", "12%", "over 99%",
    ]  # fmt: skip
    assert (sets_text(8.97), sets_text(1.0), sets_text(2.4)) == ("9 sets", "1 set", "2.4 sets")
    many = published("stink-bugs", "TN").model_copy(update={"value": 1e7, "per": 25})
    shown = ShownThreshold("here", "Tennessee", many, 25)
    assert "10000000 bugs" in threshold_text(shown)


def published(pest: str, region: str) -> Threshold:
    """The first threshold by sweeps of a pest in a region."""
    every = KNOWLEDGE.pests[pest].thresholds
    return next(t for t in every if t.region == region and t.unit == "sweeps")


@pytest.mark.parametrize(
    ("sizes", "unit", "told"),
    [
        ((25, 25, 25, 25), "sweeps", "4 x 25 sweeps"),
        ((1, 1, 1, 1), "plants", "4 x 1 plant"),
        ((3, 6, 3, 3), "row-feet", "3 x 3 and 1 x 6 row-feet"),
        ((1, 3, 6), "row-feet", "1 x 1, 1 x 3 and 1 x 6 row-feet"),
        ((1,), "percent", "judged once"),
    ],
)
def test_the_sets_that_were_taken(sizes: Sequence[float], unit: SampleUnit, told: str) -> None:
    """Sets of several sizes are told apart, and one of one is no plural."""
    taken = tuple(
        LoggedSet(i, size, unit, (LoggedCount("stink-bugs", "", 1.0),))
        for i, size in enumerate(sizes, 1)
    )
    found = one(taken)
    assert taken_text(found) == told
    assert (" of " in why_text(found).split(", chance")[0]) == (
        len(set(sizes)) == 1 and found.sampled is not None and found.p_above is not None
    )


@pytest.mark.parametrize(
    ("stage", "told"), [("V2", "beans at V2"), ("not planted", "beans not planted")]
)
def test_beans_are_not_at_a_stage_that_is_none(stage: str, told: str) -> None:
    """A field that is not planted yet is at no stage."""
    assert beans_text(stage) == told
    held = assessed(alone("stink-bugs", (1, 0, 0, 0)), stage=stage)
    assert why_text(held.pests[0]).startswith(told)
