"""The names that people write for pests and units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import SeasonProblems
from stagecast.knowledge.loader import load
from stagecast.season.log.cells import unit_called
from stagecast.season.log.sets import parse_set, set_text
from stagecast.season.settings.pest_names import PestNames, find_pest, letters, singular

PESTS = load().pests
NAMES = PestNames.of(PESTS)

# Common practice, no source: abbreviations and spellings in scouts' notes.
WRITTEN = {
    "three-cornered alfalfa hopper": "threecornered-alfalfa-hopper",
    "three cornered alfalfa hoppers": "threecornered-alfalfa-hopper",
    "TCAH": "threecornered-alfalfa-hopper",
    "JB": "japanese-beetle",
    "spider mites": "twospotted-spider-mite",
    "two-spotted spider mite": "twospotted-spider-mite",
    "stinkbugs": "stink-bugs",
    "Stink-Bug": "stink-bugs",
    "red-banded stink bug": "redbanded-stink-bug",
    "Red banded stinkbugs": "redbanded-stink-bug",
    "RBSB": "redbanded-stink-bug",
    "BMSB": "brown-marmorated-stink-bug",
    "b.m.s.b.": "brown-marmorated-stink-bug",
    "BLB": "bean-leaf-beetle",
    "CEW": "corn-earworm",
    "corn ear worm": "corn-earworm",
    "GCW": "green-cloverworm",
    "green clover worms": "green-cloverworm",
    "cabbage looper": "soybean-looper",
    "yellowstriped armyworm": "yellowstriped-armyworm",
    "yellow-striped armyworms": "yellowstriped-armyworm",
    "VBC": "velvetbean-caterpillar",
    "velvet bean caterpillar": "velvetbean-caterpillar",
    "3-cornered alfalfa hopper": "threecornered-alfalfa-hopper",
    "three-cornered": "threecornered-alfalfa-hopper",
    "3-cornered hoppers": "threecornered-alfalfa-hopper",
    "3CAH": "threecornered-alfalfa-hopper",
    "2-spotted spider mites": "twospotted-spider-mite",
    "kudzu": "kudzu-bug",
    "KB": "kudzu-bug",
    "SBA": "soybean-aphid",
    "SB": "stink-bugs",
    "SCM": "seedcorn-maggot",
    "SGM": "soybean-gall-midge",
    "stink bugs red banded": "redbanded-stink-bug",
    "army worms fall": "fall-armyworm",
    "brown marmorated": "brown-marmorated-stink-bug",
}

ASKED = {
    "armyworms": ("beet-armyworm", "fall-armyworm"),
    "hoppers": ("potato-leafhopper", "threecornered-alfalfa-hopper"),
    "bean beetle": ("bean-leaf-beetle", "mexican-bean-beetle"),
    "beetle": ("bean-leaf-beetle", "japanese-beetle", "mexican-bean-beetle"),
    "stink bug green": ("green-stink-bug", "southern-green-stink-bug"),
    "stink bugs brown": ("brown-marmorated-stink-bug", "brown-stink-bug"),
}

UNITS = {
    "row-ft": "row-feet", "row ft": "row-feet", "row ft.": "row-feet", "rowft": "row-feet",
    "ft of row": "row-feet", "Feet of row": "row-feet", "row-foot": "row-feet",
    "Row Feet": "row-feet", "row-m": "row-metres", "row metre": "row-metres",
    "SWEEP": "sweeps", "plant": "plants", "leaflet": "leaflets",
}  # fmt: skip


@pytest.mark.parametrize(("written", "meant"), WRITTEN.items())
def test_a_name_that_people_write_finds_its_pest(written: str, meant: str) -> None:
    """Abbreviations, hyphens, blanks and plurals name the same pest, also in a set."""
    assert find_pest(written, PESTS).id == meant
    counts = parse_set(f"25 sweeps: {written} 3", number=1, names=NAMES).counts
    assert [(one.pest, one.number) for one in counts] == [(meant, 3)]


@pytest.mark.parametrize(("written", "choices"), ASKED.items())
def test_a_name_of_several_pests_is_asked_about(written: str, choices: tuple[str, ...]) -> None:
    """An ambiguous name is refused, and the refusal lists what may be meant."""
    with pytest.raises(SeasonProblems) as refused:
        find_pest(written, PESTS)
    told = refused.value.problems[0]
    assert set(choices) <= set((told.accepted or "").split(", "))
    with pytest.raises(ValueError, match=f"say which: {told.accepted}"):
        parse_set(f"25 sweeps: {written} 3", number=1, names=NAMES)


def test_a_word_of_a_name_before_a_slip_is_no_pest() -> None:
    """Kudzu nymphs are kudzu bugs; corn earwrm is asked about and nothing of corn."""
    (one,) = parse_set("25 sweeps: kudzu large nymphs 3", number=1, names=NAMES).counts
    assert (one.pest, one.life_stage) == ("kudzu-bug", "large nymphs")
    with pytest.raises(ValueError, match="did you mean corn-earworm"):
        parse_set("25 sweeps: corn earwrm 3", number=1, names=NAMES)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("caterpillar", "velvetbean-caterpillar"), ("maggots", "seedcorn-maggot")],
)
def test_what_kind_of_animal_it_is_names_no_pest(written: str, meant: str) -> None:
    """Not every caterpillar is a velvetbean caterpillar: it is asked, also where one is known."""
    assert len(NAMES.find(written)) != 1
    with pytest.raises(SeasonProblems, match=meant):
        find_pest(written, PESTS)


@given(st.sampled_from([(p.id, name) for p in PESTS.values() for name in p.name.split()]))
def test_a_word_of_a_name_finds_its_pest_or_is_asked_about(word: tuple[str, str]) -> None:
    """One word never leads to a pest in whose names it does not stand."""
    _, written = word
    for found in NAMES.find(written):
        pest = PESTS[found]
        named = " ".join((pest.id, pest.name, pest.short, *pest.also, *pest.scientific))
        assert singular(written) in letters(named)


@pytest.mark.parametrize(("written", "unit"), UNITS.items())
def test_a_unit_is_known_however_it_is_written(written: str, unit: str) -> None:
    """Row-feet are row-feet with hyphen, blank, stop or none of them."""
    assert unit_called(written) == unit


@pytest.mark.parametrize(
    ("written", "sentence"),
    [
        ("100 percent: bean leaf beetle 10", "judged, not counted"),
        ("2 rating: spider mites 3", "judged, not counted"),
        ("percent: bean leaf beetle 101", "more than all of it"),
    ],
)
def test_what_is_judged_is_not_a_set_of_so_many(written: str, sentence: str) -> None:
    """A set of 100 percent would make a threshold of 50 percent one of 5000."""
    with pytest.raises(ValueError, match=sentence):
        parse_set(written, number=1, names=NAMES)


@pytest.mark.parametrize(
    ("written", "better"),
    [
        ("25 sweeps stinkbugs 1", "25 sweeps: stinkbugs 1"),
        ("3 feet of row stink bugs adults 2", "3 feet of row: stink bugs adults 2"),
    ],
)
def test_a_forgotten_colon_is_asked_for(written: str, better: str) -> None:
    """The refusal shows the set with its colon, and that set is taken."""
    with pytest.raises(ValueError, match=f"put a colon after the unit: {better}"):
        parse_set(written, number=1, names=NAMES)
    assert parse_set(better, number=1, names=NAMES).counts


@pytest.mark.parametrize("written", ["percent: BLB 10", "1 percent: bean leaf beetle 10"])
def test_a_percentage_is_written_without_a_size(written: str) -> None:
    """Ten percent is ten percent; what is stored reads back as the same."""
    found = parse_set(written, number=1, names=NAMES)
    assert (found.size, found.unit, found.counts[0].number) == (1, "percent", 10)
    assert parse_set(set_text(found), number=1, names=NAMES) == found


@given(
    name=st.sampled_from([name for pest in PESTS.values() for name in (pest.id, pest.name)]),
    seed=st.randoms(use_true_random=False),
)
def test_case_hyphens_and_blanks_never_matter(name: str, seed: object) -> None:
    """A name with capitals, hyphens and blanks put in or left out finds the same pest."""
    chance = seed.random  # type: ignore[attr-defined]
    parts = []
    for letter in name:
        if letter in " -":
            parts.append("" if chance() < 1 / 3 else "-" if chance() < 1 / 2 else "  ")
        else:
            parts.append(letter.upper() if chance() < 1 / 2 else letter)
    assert NAMES.find("".join(parts)) == NAMES.find(name)
