"""The pest library as a whole: who is in it, and that every file stands on its own."""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from stagecast.knowledge import load
from stagecast.knowledge.loader import provenances
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import Provenance
from stagecast.knowledge.threshold import ByPrice

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted((ROOT / "stagecast" / "knowledge" / "pests").glob("*.toml"))
HANDBOOK = ROOT.parent / "shared" / "handbook" / "pests.csv"

KNOWLEDGE = load()
PESTS = KNOWLEDGE.pests
every_pest = pytest.mark.parametrize("pest", PESTS.values(), ids=lambda pest: pest.id)

ENTRIES = {
    1: ("stink-bugs", "Nezara viridula", "Chinavia hilaris", "Euschistus servus",
        "Halyomorpha halys", "Piezodorus guildinii"),
    2: ("corn-earworm", "Helicoverpa zea"),
    3: ("soybean-looper", "Chrysodeixis includens"),
    4: ("green-cloverworm", "Hypena scabra"),
    5: ("velvetbean-caterpillar", "Anticarsia gemmatalis"),
    6: ("fall-armyworm", "Spodoptera frugiperda"),
    7: ("beet-armyworm", "Spodoptera exigua"),
    8: ("japanese-beetle", "Popillia japonica"),
    9: ("bean-leaf-beetle", "Cerotoma trifurcata"),
    10: ("kudzu-bug", "Megacopta cribraria"),
    11: ("soybean-aphid", "Aphis glycines"),
    12: ("twospotted-spider-mite", "Tetranychus urticae"),
    13: ("threecornered-alfalfa-hopper", "Spissistilus festinus"),
    14: ("potato-leafhopper", "Empoasca fabae"),
    15: ("thrips", "Frankliniella fusca", "Neohydatothrips variabilis"),
    16: ("seedcorn-maggot", "Delia platura"),
    17: ("dectes-stem-borer", "Dectes texanus"),
    18: ("grasshoppers", "Melanoplus spp."),
    19: ("slugs", "Deroceras reticulatum"),
    20: ("soybean-gall-midge", "Resseliella maxima"),
    21: ("mexican-bean-beetle", "Epilachna varivestis"),
}  # fmt: skip
"""The handbook's entries: the file that answers each, and the species in it."""

COMPLEXES = {
    "stink bug complex": "stink-bugs",
    "stink bug complex (native)": "stink-bugs",
    "caterpillar complex": "leaf-feeders",
    "foliage-feeding caterpillars": "leaf-feeders",
    "defoliator complex": "leaf-feeders",
}
"""Groups that the handbook's table names, and the file that counts them together."""

ALSO_CALLED = {"D. laeve": "Deroceras laeve"}


def table(file: Path) -> dict[str, Any]:
    """A pest file as it was written."""
    return tomllib.loads(file.read_text("utf-8"))


def species_covered() -> set[str]:
    """Scientific names of all pests, alone or in a complex."""
    return {species for pest in PESTS.values() for species in pest.scientific}


# --- who is in it --------------------------------------------------------------------------------


@pytest.mark.parametrize("number", ENTRIES)
def test_every_entry_of_the_handbook_has_its_file(number: int) -> None:
    """Each of the 21 entries is answered by a file, and each of its species is in the library."""
    file, *species = ENTRIES[number]
    assert file in PESTS
    assert set(species) <= species_covered()
    assert set(species) & set(PESTS[file].scientific)


def test_there_are_twenty_one_entries() -> None:
    """The list above is whole: 1 to 21, no file twice, no species twice."""
    assert list(ENTRIES) == list(range(1, 22))
    names = [name for entry in ENTRIES.values() for name in entry]
    assert len(names) == len(set(names))


@pytest.mark.skipif(
    not HANDBOOK.is_file(), reason="no handbook in shared/handbook beside the repository"
)
def test_every_pest_of_the_handbooks_table_is_covered() -> None:
    """Every name in the table is a pest here, or a group that one file counts together."""
    with HANDBOOK.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) > 100
    names = {pest.name.casefold() for pest in PESTS.values()}
    missing = {row["pest"] for row in rows if row["pest"].casefold() not in names}
    assert {name for name in missing if COMPLEXES.get(name) not in PESTS} == set()
    species = {
        ALSO_CALLED.get(name.strip(), name.strip())
        for row in rows
        if row["pest"] not in COMPLEXES
        for name in row["scientific_name"].split(";")
    }
    assert species <= species_covered()


def test_a_complex_holds_the_species_that_are_counted_with_it() -> None:
    """Who is counted with others names a file there is, which names it in turn and is no part."""
    together = [pest for pest in PESTS.values() if pest.counted_with is not None]
    assert together
    for pest in together:
        assert pest.counted_with in PESTS, pest.id
        assert PESTS[str(pest.counted_with)].counted_with is None, pest.id


# --- every file stands on its own ----------------------------------------------------------------


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_file_loads_alone(file: Path) -> None:
    """A pest file needs no other file to be a valid pest, and its id is its name."""
    pest = Pest.model_validate_json(json.dumps(table(file)))
    assert pest.id == file.stem
    assert pest == PESTS[file.stem]


def test_no_id_is_used_twice() -> None:
    """No pest and no sampling method hides another of the same id."""
    assert len(PESTS) == len(FILES)
    methods = table(ROOT / "stagecast" / "knowledge" / "sampling.toml")["sampling"]
    assert len(KNOWLEDGE.sampling) == len(methods)
    for pest in PESTS.values():
        for ids in ([a.id for a in pest.activities], [e.id for e in pest.events]):
            assert len(ids) == len(set(ids)), pest.id


def numbers(model: BaseModel) -> Iterator[tuple[BaseModel, str]]:
    """Every number below a model, as the model that holds it and its field."""
    for name in type(model).model_fields:
        value = getattr(model, name)
        for item in value if isinstance(value, tuple) else (value,):
            if isinstance(item, BaseModel):
                yield from numbers(item)
            elif isinstance(item, (int, float)) and not isinstance(item, bool):
                yield model, name


@every_pest
def test_every_number_carries_source_and_tag(pest: Pest) -> None:
    """The very table that holds a number says where it is from; only our ranking has no source."""
    for holder, name in numbers(pest):
        # Weights, the days of planting and a table of prices are those of the threshold's source.
        if name in ("rank", "counts_as", "month", "day") or isinstance(holder, ByPrice):
            continue
        assert isinstance(holder, Provenance), f"{type(holder).__name__}.{name}"
        assert holder.source in KNOWLEDGE.sources, name
        assert holder.tag, name


@every_pest
def test_worked_out_and_recalled_values_are_told_apart(pest: Pest) -> None:
    """What is only recalled never passes as read, and practice never as published."""
    for place, item in provenances(pest):
        assert (item.source == "practice") == (item.tag == "PRACTICE"), place
        assert (item.source == "own") == (item.tag == "OWN"), place
        if item.source == "recalled":
            assert item.tag == "MEMORY", place


@every_pest
def test_every_pest_can_be_recognized(pest: Pest) -> None:
    """Each has marks, look-alikes, the damage it does, enemies worth noting and a caution."""
    assert all(len(mark.split()) > 2 for mark in pest.marks)
    assert pest.look_alikes
    assert all(like.name and like.differs for like in pest.look_alikes)
    assert pest.damage
    assert pest.enemies
    assert pest.caution


@every_pest
def test_every_pest_says_where_it_winters_and_what_it_hurts(pest: Pest) -> None:
    """Presence and host stages are told, and no window reaches beyond the crop's own end."""
    assert len(pest.presence.text.split()) > 2
    assert pest.host.source in KNOWLEDGE.sources
    assert pest.host.last != "R8"


@every_pest
def test_what_a_pest_points_at_is_there(pest: Pest) -> None:
    """Sampling methods resolve; regions are codes, or US where a source names no state."""
    assert {activity.sample for activity in pest.activities} <= KNOWLEDGE.sampling.keys()
    codes = set(KNOWLEDGE.regions)
    assert set(pest.presence.regions) <= codes
    assert {arrival.region for arrival in pest.arrivals} <= codes | {"US"}
    assert {threshold.region for threshold in pest.thresholds} <= codes | {"US"}
    for threshold in pest.thresholds:
        assert threshold.region != "US" or threshold.note, "which area, as the source says"


@every_pest
def test_a_pest_is_timed_by_heat_or_says_why_not(pest: Pest) -> None:
    """Without a model there is a reason in words; with one there is a biofix and no excuse."""
    if pest.heat is None:
        assert len(pest.not_timed.split()) >= 5
        assert all(a.opens is None and a.closes is None for a in pest.activities)
    else:
        assert pest.heat.biofix
        assert pest.not_timed == ""


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_file_that_gives_neither_heat_nor_reason_is_refused(file: Path) -> None:
    """Taking the reason away, or the heat, leaves something that is no pest file any more."""
    broken = table(file)
    broken.pop("not_timed", None)
    for key in ("heat", "events", "generation"):
        broken.pop(key, None)
    for activity in broken.get("activities", []):
        activity.pop("opens", None)
        activity.pop("closes", None)
    with pytest.raises(ValidationError, match="say either how heat is counted or why"):
        Pest.model_validate_json(json.dumps(broken))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
@pytest.mark.parametrize("missing", ["marks", "presence", "host", "damage", "scientific"])
def test_a_file_without_a_needed_part_is_refused(file: Path, missing: str) -> None:
    """Marks, presence, host, damage and the scientific name are no options."""
    broken = table(file)
    del broken[missing]
    with pytest.raises(ValidationError, match=missing):
        Pest.model_validate_json(json.dumps(broken))


@every_pest
def test_no_crop_stage_stands_for_the_arrival_of_a_migrant(pest: Pest) -> None:
    """A pest that flies in is timed from catches or what was seen, never from a date of ours."""
    if pest.heat is not None and pest.presence.kind == "arrives":
        assert {b.kind for b in pest.heat.biofix} <= {"trap catch", "seen"}
