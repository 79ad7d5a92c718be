"""``stagecast sources``: every value once, with unit, source and tag, as its file says it."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from commands import ROOT, WIDE, run_command, said
from documents import keys_said
from rich.cells import cell_len
from season_builder import build_season

from stagecast.files.sources import COLUMNS
from stagecast.knowledge import load
from stagecast.knowledge.loader import provenances
from stagecast.words.sources import TAGS, SourceRow, source_rows
from stagecast.words.thresholds import measure_text

KNOWLEDGE = load()
FOLDER = ROOT / "stagecast" / "knowledge"
NO_FACTS = {"rank", "per", "counts_as", "size", "digits"}
"""An order of ours, the number in a unit such as ``bugs per 25 sweeps``, and how a table rounds."""

FILES = [p for p in sorted(FOLDER.rglob("*.toml")) if p.stem not in {"sources", "regions"}]


def rows_of(part: str) -> list[SourceRow]:
    """The rows of one knowledge file."""
    return [row for row in source_rows(KNOWLEDGE) if row.part == part]


def numbers(value: Any, key: str = "") -> Iterator[float]:
    """Every number of a TOML file but those that say no fact."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from numbers(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item, key)
    elif isinstance(value, (int, float)) and not isinstance(value, bool) and key not in NO_FACTS:
        yield float(value)


def listed(rows: list[SourceRow]) -> Iterator[float]:
    """Every number of some rows; a series holds several."""
    for row in rows:
        if row.kind == "number":
            values = row.value if isinstance(row.value, tuple) else (row.value,)
            yield from map(float, values)


def plain(text: str) -> str:
    """The words of a text, wherever its lines were broken."""
    return " ".join(text.split())


def document(*arguments: str | Path) -> dict[str, Any]:
    """What the command prints as JSON."""
    found: dict[str, Any] = json.loads(said("sources", *arguments, "--format", "json"))
    return found


# --- what is listed -------------------------------------------------------------------------


@pytest.mark.parametrize("file", FILES, ids=lambda path: path.stem)
def test_every_number_of_a_file_is_listed_once(file: Path) -> None:
    """The numbers of the TOML text and those listed under its name are the same, none twice."""
    part = f"pests.{file.stem}" if file.parent.name == "pests" else file.stem
    written = Counter(numbers(tomllib.loads(file.read_text("utf-8"))))
    assert Counter(listed(rows_of(part))) == written


def test_no_place_is_listed_twice_and_every_number_has_a_unit() -> None:
    """A place names one value; a number without a unit says nothing."""
    rows = source_rows(KNOWLEDGE)
    assert [p for p, n in Counter(row.place for row in rows).items() if n > 1] == []
    assert [row.place for row in rows if row.kind == "number" and not row.unit] == []


def test_everything_that_names_a_source_is_listed_with_it() -> None:
    """Crop stages, methods and rules too: as often as the models cite a source with a tag."""
    cited = Counter((item.source, item.tag) for _, item in provenances(KNOWLEDGE))
    found = Counter((row.source, row.tag) for row in source_rows(KNOWLEDGE))
    assert {pair: n for pair, n in cited.items() if found[pair] < n} == {}


@pytest.mark.parametrize(
    ("place", "value", "unit", "source", "tag"),
    [
        ("soybean.emergence.quickest", 4.0, "d", "own", "OWN"),
        ("timing.heat_tolerance", 0.1, "share of need, 10th to 50th percent", "practice",
         "PRACTICE"),
        ("pests.bean-leaf-beetle.heat.lower_c", 7.8, "degC", "isu-blb", "READ"),
        ("pests.seedcorn-maggot.events[second-peak].need_c", 600.0, "degree-days C", "sdsu-scm",
         "READ"),
    ],
)  # fmt: skip
def test_a_value_is_told_as_its_file_has_it(
    place: str, value: float, unit: str, source: str, tag: str
) -> None:
    """Place, value, unit, source and tag of a few that were looked up in their files."""
    (row,) = (row for row in document()["values"] if row["place"] == place)
    told = (row["value"], row["unit"], row["source"], row["tag"])
    assert told == (value, unit, source, tag)


def test_a_threshold_has_the_unit_of_its_source() -> None:
    """Of a threshold the count and what it is counted per stand together."""
    rows = rows_of("pests.stink-bugs")
    units = {row.unit for row in rows if ".thresholds[" in row.place or "thresholds[" in row.place}
    thresholds = KNOWLEDGE.pests["stink-bugs"].thresholds
    assert units == {measure_text(threshold) for threshold in thresholds}
    assert any(re.search(r"thresholds\[\d+ TN R1-R6\]\.value$", row.place) for row in rows)


# --- formats --------------------------------------------------------------------------------


def test_json_csv_and_screen_hold_the_same_values() -> None:
    """As many rows in each form, with the columns that are documented."""
    found = document()
    table = list(csv.DictReader(io.StringIO(said("sources", "--format", "csv"))))
    assert list(table[0]) == list(COLUMNS) == list(found["values"][0])
    assert [row["place"] for row in table] == [row["place"] for row in found["values"]]
    assert len(found["values"]) == len(source_rows(KNOWLEDGE))
    screen = plain(said("sources", columns=WIDE))
    for row in source_rows(KNOWLEDGE):
        assert plain(row.note) in screen
        assert f"{row.place.removeprefix(row.part).removeprefix('.')}: " in screen


def test_every_source_is_listed_with_title_publisher_and_year() -> None:
    """All sources of the list are cited, so without a filter all are printed."""
    found = {source["id"]: source for source in document()["sources"]}
    assert found.keys() == KNOWLEDGE.sources.keys()
    for name, source in KNOWLEDGE.sources.items():
        told = found[name]
        printed = (told["title"], told["publisher"], told["year"])
        assert printed == (source.title, source.publisher, source.year)


def test_values_are_counted_by_tag_at_the_end() -> None:
    """The counts are those of the values printed, for every tag there is."""
    found = document()
    counts = Counter(row["tag"] for row in found["values"])
    assert found["counts"] == {tag: counts[tag] for tag in TAGS}
    end = said("sources", columns=WIDE).split("Sources\n")[-1]
    for tag, count in found["counts"].items():
        assert re.search(rf"^{tag} +{count} ", end, re.MULTILINE)


def test_what_is_from_memory_is_said_to_be_unverified() -> None:
    """Each such value, and only such, bears the words."""
    rows = source_rows(KNOWLEDGE)
    memory = sum(row.tag == "MEMORY" for row in rows)
    assert memory > 0
    words = "unverified, from memory"
    assert plain(said("sources", columns=WIDE)).count(f"({words})") == memory
    assert f"({words})" not in plain(said("sources", "--tag", "READ", columns=WIDE))


@pytest.mark.parametrize("columns", [80, 120])
def test_no_line_is_wider_than_the_screen(columns: int) -> None:
    """Long places and notes are folded."""
    lines = said("sources", columns=columns).splitlines()
    assert [line for line in lines if cell_len(line) > columns] == []


# --- what is asked for ----------------------------------------------------------------------


def test_tags_and_places_narrow_the_list() -> None:
    """--tag may be repeated and typed in any case; --about looks into the place alone."""
    found = document("--tag", "memory", "--tag", "OWN")
    assert {row["tag"] for row in found["values"]} == {"MEMORY", "OWN"}
    about = document("--about", "Corn-Earworm")["values"]
    assert {row["place"].split(".")[1] for row in about} == {"corn-earworm"}
    assert len(about) == len(rows_of("pests.corn-earworm"))
    both = document("--about", "soybean.", "--tag", "READ")
    expected = [row.place for row in rows_of("soybean") if row.tag == "READ"]
    assert [row["place"] for row in both["values"]] == expected
    assert {source["id"] for source in both["sources"]} == {r["source"] for r in both["values"]}


def test_a_text_that_stands_nowhere_gives_an_empty_list() -> None:
    """Nothing found is no error, and says so with its counts."""
    found = document("--about", "[bold]nowhere")
    assert found["values"] == found["sources"] == []
    assert set(found["counts"].values()) == {0}
    text = plain(said("sources", "--about", "[bold]nowhere"))
    assert "0 numbers and 0 statements" in text
    assert "No value fits. --about looks into the places of values" in text
    assert "No value fits" not in said("sources", "--about", "thrips")


@pytest.mark.parametrize("tag", ["", "HEARSAY", "\x1b[2J", "x" * 10_000])
def test_an_unknown_tag_is_one_sentence_with_the_tags_there_are(tag: str) -> None:
    """Whatever was typed, the sentence is short and safe."""
    ran = run_command("sources", f"--tag={tag}")
    assert (ran.code, ran.out) == (2, "")
    assert "accepted: READ, CITED, MEMORY" in ran.err
    assert len(ran.err) < 400
    assert "\x1b" not in ran.err


def test_a_season_folder_is_read_first(tmp_path: Path) -> None:
    """A folder with nothing of its own changes nothing; one that is not there is an error."""
    folder = build_season(tmp_path / "season")
    ours = [row.place for row in source_rows(KNOWLEDGE)]
    assert [row["place"] for row in document(folder)["values"]] == ours
    ran = run_command("sources", tmp_path / "nowhere")
    assert ran.code == 2
    assert "there is no such folder" in ran.err


# --- documents ------------------------------------------------------------------------------


def test_documented_keys_are_those_printed() -> None:
    """The guide names every key of the document."""
    named = keys_said("`sources` has ") - {"number", "statement"}
    found = document()
    assert named == {*found, *found["values"][0], *found["sources"][0]}
