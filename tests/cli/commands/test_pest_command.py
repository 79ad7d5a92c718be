"""``stagecast pest``: the library, one pest in a season, its curve and chart, and refusals."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from chart_reader import chart_lines, read_chart
from commands import ROOT, WIDE, printed, run_command, said
from documents import keys_said
from rich.cells import cell_len
from season_builder import Constant, FieldLine, PerYear, StationFile, build_season, day

from stagecast.base.errors import SeasonProblems
from stagecast.base.terminal import console
from stagecast.files.pest import season_document
from stagecast.files.season import to_json
from stagecast.forecast.load import read_folder
from stagecast.knowledge import load
from stagecast.pests.thresholds import best, thresholds_at
from stagecast.screens.pest import show_pest
from stagecast.screens.pest_page import show_page
from stagecast.season.settings.pest_names import find_pest, joined
from stagecast.visits import pest_season
from stagecast.words.pests import from_text
from stagecast.words.thresholds import threshold_text

KNOWLEDGE = load()
PESTS = sorted(KNOWLEDGE.pests)
DEMO_DAY = ("--as-of", "2026-07-07")
SPRING = ("--as-of", "2026-03-01")
MAGGOT = "seedcorn-maggot"
F_PER_C = 1.8
UNSAFE = set("\x00\x07\x08\x1b\x7f\x9b\u2028\u2029\u202e\u200b\ufeff")


def plain(text: str) -> str:
    """The words of a text, wherever its lines were broken."""
    return " ".join(text.split())


def document(*arguments: str | Path) -> dict[str, Any]:
    """What the command prints as JSON."""
    found: dict[str, Any] = json.loads(said("pest", *arguments, "--format", "json"))
    return found


def assert_fits(text: str, columns: int) -> None:
    """No line is wider than the screen."""
    assert [line for line in text.splitlines() if cell_len(line) > columns] == []


# --- the library ----------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [80, 120])
def test_without_a_name_all_pests_are_listed(columns: int) -> None:
    """Each with its id in one piece, so that it can be typed back, and whether heat times it."""
    text = said("pest", columns=columns)
    assert_fits(text, columns)
    ids = [line.split()[0] for line in text.splitlines() if line.rstrip().endswith((" yes", " no"))]
    assert ids == PESTS
    for pest in document()["pests"]:
        known = KNOWLEDGE.pests[pest["id"]]
        assert pest["timed_by_heat"] == (known.heat is not None)
        assert (pest["host_first"], pest["host_last"]) == (known.host.first, known.host.last)


@pytest.mark.parametrize("pest_id", PESTS)
def test_a_page_tells_all_that_the_library_holds(pest_id: str) -> None:
    """Damage, marks, look-alikes, enemies, winter, timing, thresholds, sampling and cautions."""
    pest = KNOWLEDGE.pests[pest_id]
    text = plain(said("pest", pest_id, columns=WIDE))
    told = [pest.damage, pest.presence.text, *pest.scientific, *pest.also, *pest.marks]
    told += [part for like in pest.look_alikes for part in (like.name, like.differs)]
    told += [*pest.enemies, pest.not_timed, pest.caution]
    told += [event.title for event in pest.events] + [a.look_for for a in pest.activities]
    told += [f.stage for f in (*pest.development, *pest.durations)]
    told += [t.note for t in pest.thresholds]
    told += [KNOWLEDGE.sampling[a.sample].how for a in pest.activities]
    assert [words for words in told if plain(words) not in text] == []
    assert ("not timed by heat" in text) == (pest.heat is None)
    assert "says consider, never spray" in text
    for columns in (80, 120):
        page = printed(lambda: show_page(console(), pest, KNOWLEDGE), columns=columns)
        assert_fits(page, columns)


@pytest.mark.parametrize("pest_id", PESTS)
def test_a_page_as_json_is_the_pest_as_its_file_has_it(pest_id: str) -> None:
    """Nothing is lost or changed, key by key; leaf loss of all feeders stands beside its own."""
    found = document(pest_id)
    whole = json.loads(KNOWLEDGE.pests[pest_id].model_dump_json(by_alias=True))
    assert found["pest"].keys() == whole.keys()
    assert [key for key in whole if found["pest"][key] != whole[key]] == []
    own = [t["value"] for t in found["pest"]["thresholds"]]
    if own:
        told = Counter(t["value"] for t in found["thresholds"])
        pooled = KNOWLEDGE.pests[pest_id].counted_with == KNOWLEDGE.decisions.leaf_loss.pest
        assert Counter(own) <= told
        assert pooled or Counter(own) == told


def test_what_is_from_memory_is_marked() -> None:
    """Were a pest's winter recalled, the words that name its source would say so."""
    read = KNOWLEDGE.pests["thrips"].presence
    assert "unverified" not in from_text(read)
    assert "unverified" in from_text(read.model_copy(update={"tag": "MEMORY"}))


# --- names ----------------------------------------------------------------------------------


@pytest.mark.parametrize("pest_id", PESTS)
def test_a_pest_is_found_by_its_names_in_any_case(pest_id: str) -> None:
    """Id and name, shouted, with blanks for hyphens and at both ends; so the command does."""
    pest = KNOWLEDGE.pests[pest_id]
    padded = f"  {pest.name.title()}  "
    for name in (pest.id, pest.name, pest.id.upper(), padded, pest.id.replace("-", " ")):
        assert find_pest(name, KNOWLEDGE.pests) is pest
    assert document(padded)["pest"]["id"] == pest_id


def test_other_names_find_the_pest_or_name_those_that_share_it() -> None:
    """A short, other or scientific name leads to its pest; a shared one to all that have it."""
    for pest in KNOWLEDGE.pests.values():
        for name in (pest.short, *pest.also, *pest.scientific):
            try:
                found = find_pest(name, KNOWLEDGE.pests)
            except SeasonProblems as shared:
                (told,) = shared.sentences()
                assert "several pests have this name" in told
                assert pest.id in told
                continue
            names = (found.id, found.name, found.short, *found.also, *found.scientific)
            assert joined(name) in map(joined, names)


def test_a_species_of_a_complex_is_found_by_its_scientific_name() -> None:
    """The species' own file is meant, not that of the complex, which names it too."""
    for pest in KNOWLEDGE.pests.values():
        if pest.counted_with == "stink-bugs":
            assert document(pest.scientific[0])["pest"]["id"] == pest.id


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("corn erworm", "corn-earworm"), ("seedcornmagot", MAGGOT), ("stinkbgu", "stink-bugs"),
     ("worms", "corn-earworm"),
     ("Popilia japonica", "japanese-beetle")],
)  # fmt: skip
def test_a_near_miss_is_told_what_was_probably_meant(typed: str, meant: str) -> None:
    """One sentence, with the pest's id and how to see them all."""
    ran = run_command("pest", typed)
    assert (ran.code, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert re.search(rf"did you mean [^?]*\b{meant}\b", ran.err)
    assert "`stagecast pest` lists them all" in ran.err


@pytest.mark.parametrize(
    "name",
    ["", " ", "zzz", "\x1b[2J\x1b[31mred", "[bold]x[/]", "x" * 100_000, "a\u202eb\u2028c", "%s{0}",
     "../../etc", "\x00"],
)  # fmt: skip
def test_a_hostile_name_is_one_short_safe_sentence(name: str, demo: Path) -> None:
    """With a season folder or without, nothing is printed but that there is no such pest."""
    for folder in ((), (demo,)):
        ran = run_command("pest", name, *folder)
        assert (ran.code, ran.out) == (2, "")
        assert ran.err.startswith("NAME: there is no such pest")
        assert len(ran.err.splitlines()) == 1
        assert len(ran.err) < 400
        assert not UNSAFE & set(ran.err)


def test_a_folder_in_place_of_the_name_is_recognised(demo: Path) -> None:
    """Who leaves out the name is told where it belongs."""
    ran = run_command("pest", demo)
    assert ran.code == 2
    assert "name the pest first" in ran.err


# --- refusals -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "option", [("--field", "F01"), ("--station", "DEMO01"), DEMO_DAY, ("--numbers",)]
)
def test_options_of_a_season_need_its_folder(option: tuple[str, ...]) -> None:
    """Without a folder they would be ignored in silence."""
    for name in ((), (MAGGOT,)):
        ran = run_command("pest", *name, *option)
        assert (ran.code, ran.out) == (2, "")
        assert ran.err.startswith(f"{option[0]}: this needs a season folder")


@pytest.mark.parametrize(
    ("option", "accepted"), [("--field", "F01, F02"), ("--station", "DEMO01, DEMO02, DEMO03")]
)
def test_an_unknown_field_or_station_is_told_with_those_there_are(
    option: str, accepted: str, demo: Path
) -> None:
    """The ids are listed, and what was typed is shown without its tricks."""
    ran = run_command("pest", MAGGOT, demo, *DEMO_DAY, option, "\x1b[2Jnone")
    assert (ran.code, ran.out) == (2, "")
    assert f"accepted: {accepted}" in ran.err
    assert "\x1b" not in ran.err


def test_a_field_and_a_station_at_once_are_refused(demo: Path) -> None:
    """They might contradict each other."""
    ran = run_command("pest", MAGGOT, demo, *DEMO_DAY, "--field=F01", "--station=DEMO01")
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith("--station: a field was named too")


def test_fields_without_weather_are_told_after_the_others(tmp_path: Path) -> None:
    """A field that no station speaks for fails the command, but not the other fields."""
    fields = (FieldLine("F1"), FieldLine("FAR", latitude=45.0))
    folder = build_season(tmp_path, fields=fields)
    ran = run_command("pest", MAGGOT, folder, *DEMO_DAY)
    assert ran.code == 2
    assert "Station S1, 1 field" in ran.out
    assert "FAR" in ran.err
    assert run_command("pest", MAGGOT, folder, *DEMO_DAY, "--field", "F1").code == 0
    alone = run_command("pest", MAGGOT, folder, *DEMO_DAY, "--field", "FAR")
    assert (alone.code, alone.out) == (2, "")
    assert "FAR" in alone.err


# --- a pest in a season ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def read_once(demo: Path) -> Iterator[None]:
    """The demo's files are read once for all pests: they stay as they are."""
    read = cache(lambda folder: read_folder(folder))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pest_season, "read_folder", read)
        yield


@cache
def in_season(demo: Path, pest_id: str, as_of: str, **place: str) -> pest_season.PestSeason:
    """A pest as the command finds it, for several screens and documents."""
    date = dt.date.fromisoformat(as_of)
    return pest_season.pest_season(demo, pest_id, as_of=date, **place)


def on_screen(found: pest_season.PestSeason, *, columns: int, one_field: bool = False) -> str:
    """What the command prints of it with --numbers."""
    return printed(
        lambda: show_pest(console(), found, numbers=True, one_field=one_field), columns=columns
    )


def as_document(found: pest_season.PestSeason) -> dict[str, Any]:
    """What the command prints of it as JSON, read again."""
    read: dict[str, Any] = json.loads(to_json(season_document(found)))
    return read


@pytest.mark.parametrize("columns", [80, 120])
def test_the_command_prints_what_its_parts_do(columns: int, demo: Path) -> None:
    """So that the tests of every pest need not read the whole season for each of them."""
    for pest_id in ("corn-earworm", "stink-bugs"):
        pest = KNOWLEDGE.pests[pest_id]
        page = printed(lambda pest=pest: show_page(console(), pest, KNOWLEDGE), columns=columns)
        assert page == said("pest", pest_id, columns=columns)
        found = in_season(demo, pest_id, DEMO_DAY[1])
        shown = said("pest", pest_id, demo, *DEMO_DAY, "--numbers", columns=columns)
        assert on_screen(found, columns=columns) == shown
        assert as_document(found) == document(pest_id, demo, *DEMO_DAY)
        field = in_season(demo, pest_id, DEMO_DAY[1], field="F01")
        options = (pest_id, demo, *DEMO_DAY, "--field", "F01")
        shown = said("pest", *options, "--numbers", columns=columns)
        assert on_screen(field, columns=columns, one_field=True) == shown
        assert as_document(field) == document(*options)


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize("pest_id", PESTS)
def test_every_pest_can_be_shown_in_a_season(pest_id: str, demo: Path) -> None:
    """Names, thresholds and sampling here, and the cautions; no line is too long."""
    pest = KNOWLEDGE.pests[pest_id]
    found = in_season(demo, pest_id, DEMO_DAY[1])
    for columns in (80, 120):
        text = on_screen(found, columns=columns)
        assert_fits(text, columns)
        words = plain(text)
        assert "Thresholds in Tennessee" in words
        assert "says consider, never spray" in words
        absent = bool(pest.presence.regions) and "TN" not in pest.presence.regions
        assert ("Not known from Tennessee" in words) == absent
        if absent:
            assert chart_lines(text) == []
            assert not re.search("No window|[Hh]eat is counted|timed by heat:", words)
            assert as_document(found)["places"] == []
        elif pest.heat is None:
            assert f"Not timed by heat: {plain(pest.not_timed).rstrip('.')}" in words
            assert chart_lines(text) == []


def test_a_season_without_fields_is_told_as_one(tmp_path: Path) -> None:
    """A new folder has nothing to time yet, which is no error."""
    folder = tmp_path / "new"
    assert run_command("new", folder, "--year", "2026").code == 0
    text = said("pest", MAGGOT, folder, *SPRING)
    assert "no field in fields.csv yet" in text
    assert "How to sample it" in text
    assert document(MAGGOT, folder, *SPRING)["places"] == []


def test_each_station_is_shown_once_and_a_field_alone(demo: Path) -> None:
    """By default all stations in use; ids may be typed in any case."""
    places = document(MAGGOT, demo, *DEMO_DAY)["places"]
    assert [place["station"] for place in places] == ["DEMO01", "DEMO02", "DEMO03"]
    fields = sorted(field for place in places for field in place["field_ids"])
    assert len(set(fields)) == len(fields) == 11
    (station,) = document(MAGGOT, demo, *DEMO_DAY, "--station", "demo02")["places"]
    assert station == places[1]
    (field,) = document(MAGGOT, demo, *DEMO_DAY, "--field", "f17")["places"]
    assert field["field_ids"] == [field["field_id"]] == ["F17"]


@pytest.mark.parametrize("as_of", ["2026-06-01", "2026-07-07"])
@pytest.mark.parametrize("pest_id", ["bean-leaf-beetle", MAGGOT, "stink-bugs", "corn-earworm"])
def test_windows_are_those_of_the_windows_command(pest_id: str, as_of: str, demo: Path) -> None:
    """Field by field the same dates and reasons, also of a moth that is only expected yet."""
    on_day = ("--as-of", as_of)
    season = json.loads(said("windows", demo, *on_day, "--format", "json"))["windows"]
    expected = {
        (w["field_id"], w["window"]): (w["opens"], w["closes"], w["why"])
        for w in season
        if w["pest"] == pest_id
    }
    found = {
        (w["field_id"], w["window"]): (w["opens"], w["closes"], w["why"])
        for place in document(pest_id, demo, *on_day)["places"]
        for w in place["windows"]
    }
    assert found.keys() == expected.keys()
    assert [key for key in found if found[key] != expected[key]] == []
    assert found


def test_a_species_counted_with_others_has_the_windows_of_the_complex(demo: Path) -> None:
    """Where it has no window of its own; its thresholds here are theirs too."""
    (species,) = [
        pest.id for pest in KNOWLEDGE.pests.values()
        if pest.id == "green-stink-bug" and not pest.activities
    ]  # fmt: skip
    found = document(species, demo, *DEMO_DAY, "--field", "F01")
    complex_ = document("stink-bugs", demo, *DEMO_DAY, "--field", "F01")
    assert found["places"][0]["windows"] == complex_["places"][0]["windows"] != []
    assert found["sampling"] == complex_["sampling"]


def test_thresholds_here_are_those_of_the_region(demo: Path) -> None:
    """Tennessee's own come first; other states' are printed for stages without one of its own."""
    found = document("stink-bugs", demo, *DEMO_DAY)
    here = [t for t in found["thresholds_here"] if t["kind"] == "here"]
    own = [t for t in KNOWLEDGE.pests["stink-bugs"].thresholds if t.region == "TN"]
    assert sorted(t["value"] for t in here) == sorted(t.value for t in own) != []
    section = said("pest", "stink-bugs", demo, *DEMO_DAY).split("Thresholds in")[1]
    assert "(Tennessee," in section
    others = [t["at"] for t in found["thresholds_here"] if t["kind"] == "neighbor"]
    assert not {at for stages in others for at in stages} & {at for t in here for at in t["at"]}


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize("pest_id", PESTS)
def test_a_field_is_told_the_thresholds_that_a_visit_is(pest_id: str, demo: Path) -> None:
    """Of its stage, from wherever they are; each of JSON stands on the screen with its stage."""
    of_field = (demo, "--as-of", "2026-06-01", "--field", "F18")
    (field,) = json.loads(said("stages", *of_field, "--format", "json"))["fields"]
    stage = field["stage_now"]
    pest = in_season(demo, pest_id, "2026-06-01", field="F18")
    expected = best(
        thresholds_at(KNOWLEDGE.pests[pest_id], region="TN", stage=stage, knowledge=KNOWLEDGE)
    )
    found = as_document(pest)["thresholds_here"]
    section = plain(on_screen(pest, columns=2 * WIDE, one_field=True)).split("Thresholds in")[1]
    assert (f"Stage of the field now: {stage}" in section) == bool(found)
    assert ("none is on file for it" in section) == (bool(found) and not expected)
    if expected:
        assert [(t["region"], t["value"]) for t in found] == [
            (s.threshold.region, s.threshold.value) for s in expected
        ]
        assert {tuple(t["at"]) for t in found} == {(stage,)}
        assert all(plain(threshold_text(s)) in section for s in expected)
    elif not found:
        assert "None is on file, here or elsewhere" in section


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("looper", "soybean-looper"), ("Aphid", "soybean-aphid"), ("mite", "twospotted-spider-mite"),
     ("stink bug", "stink-bugs"), ("grasshopper", "grasshoppers"), ("earworms", "corn-earworm"),
     ("brown-stink-bugs", "brown-stink-bug"), ("slug", "slugs"), ("thrips", "thrips")],
)  # fmt: skip
def test_singular_and_plural_name_the_same_pest(typed: str, meant: str) -> None:
    """People say either; where a name is written out as it stands, that comes first."""
    assert document(typed)["pest"]["id"] == meant


def test_thresholds_of_far_regions_are_shown_where_no_nearer_one_is(demo: Path) -> None:
    """Cutworms have none in or around Tennessee: those of others are printed with their names.

    Minnesota, three borders away, stands before North Dakota.
    """
    found = document("cutworms", demo, *DEMO_DAY)["thresholds_here"]
    assert {t["kind"] for t in found} == {"elsewhere"}
    assert [t["region"] for t in found] == ["MN", "ND", "ND"]
    section = said("pest", "cutworms", demo, *DEMO_DAY, columns=2 * WIDE).split("Thresholds in")[1]
    assert "None of these is Tennessee's own" in section
    assert "elsewhere, Minnesota in the northern plains, VE-V3" in section


@pytest.mark.parametrize("pest_id", PESTS)
def test_no_heat_is_left_without_what_it_is(pest_id: str) -> None:
    """Every row of the timing has its figure, also where two need the same heat; F d is told."""
    pest = KNOWLEDGE.pests[pest_id]
    text = plain(said("pest", pest_id, columns=WIDE))
    for event in pest.events:
        assert f"{F_PER_C * event.need_c:.0f} F d: {event.title}" in text
    if pest.generation is not None:
        assert f"{F_PER_C * pest.generation.need_c:.0f} F d from one to the next" in text
    if pest.heat is not None:
        assert "F d: degree-days in degrees Fahrenheit." in text


def test_own_thresholds_come_first(tmp_path: Path) -> None:
    """One that the scout wrote into season.toml stands above the published ones."""
    folder = build_season(tmp_path)
    own = 'pest = "stink-bugs"\nfirst = "R3"\nlast = "R6"\nvalue = 7\nwhat = "bugs"\n'
    with (folder / "season.toml").open("a", encoding="utf-8") as settings:
        settings.write(f'[[thresholds]]\n{own}per = 25\nof = "sweeps"\n')
    found = document("stink bugs", folder, *DEMO_DAY)["thresholds_here"]
    assert [t["kind"] for t in found][:2] == ["yours", "here"]
    assert found[0]["value"] == 7.0
    section = said("pest", "stink bugs", folder, *DEMO_DAY).split("Thresholds in")[1]
    assert section.index("7 bugs per 25 sweeps") < section.index("9 bugs per 25 sweeps")


def test_a_pest_of_ones_own_is_shown_like_any_other(tmp_path: Path) -> None:
    """A file in the folder's pests is found by name there, and its values are listed there."""
    folder = build_season(tmp_path)
    file = ROOT / "stagecast" / "knowledge" / "pests" / f"{MAGGOT}.toml"
    text = file.read_text("utf-8").replace(f'id = "{MAGGOT}"', 'id = "bean-fly"')
    (folder / "pests").mkdir()
    (folder / "pests" / "bean-fly.toml").write_text(
        text.replace('name = "seedcorn maggot"', 'name = "bean fly"')
        .replace('short = "seed maggot"', 'short = "bean fly"')
        .replace('also = ["SCM"]', "also = []"),
        encoding="utf-8",
    )
    assert document("Bean fly", folder, *SPRING)["places"][0]["events"]
    assert run_command("pest", "bean fly").code == 2
    listed = json.loads(said("sources", folder, "--about", "bean-fly", "--format", "json"))
    assert listed["values"]


def test_catches_are_what_a_moth_is_counted_from(demo: Path) -> None:
    """With the demo's trap the earworm is timed; before its first catch of the year it is not."""
    (place,) = document("corn-earworm", demo, *DEMO_DAY, "--station", "DEMO02")["places"]
    assert place["timed_by_heat"]
    assert "catch" in place["since"]
    assert place["curve"]["weeks"]
    text = plain(said("pest", "corn-earworm", demo, *DEMO_DAY, "--station", "DEMO02"))
    assert f"Heat is counted {place['since']}" in text


def test_generations_that_do_not_come_are_left_off_the_screen(demo: Path) -> None:
    """JSON has every generation; the screen ends with the last that may come, and says so."""
    arguments = ("corn-earworm", demo, *DEMO_DAY, "--station", "DEMO02")
    (place,) = document(*arguments)["places"]
    likely = {e["generation"] for e in place["events"] if e["p10"]}
    every = {e["generation"] for e in place["events"]}
    assert max(likely) < max(every)
    text = said("pest", *arguments, columns=WIDE)
    shown = {int(n) for n in re.findall(r"^[a-z] (\d) ", text, re.MULTILINE)}
    assert shown == set(range(1, max(likely) + 1))
    assert "Later generations do not come this season." in text


def test_bees_are_named_where_a_window_meets_the_flowers(demo: Path) -> None:
    """A window within R1 to R5 is marked; one that closed at emergence is not."""
    text = plain(said("pest", "stink-bugs", demo, *DEMO_DAY, "--field", "F01"))
    assert "Bees: its window falls into bloom (R1 to R5) in F01." in text
    found = document("stink-bugs", demo, *DEMO_DAY, "--field", "F01")
    assert any(w["in_bloom"] for w in found["places"][0]["windows"])
    seedlings = document(MAGGOT, demo, *DEMO_DAY)
    windows = [w for place in seedlings["places"] for w in place["windows"]]
    assert windows
    assert not any(w["in_bloom"] for w in windows)
    assert "Bees: its window" not in plain(said("pest", MAGGOT, demo, *DEMO_DAY))


# --- the curve ------------------------------------------------------------------------------

MEAN_C = 20.0
A_DAY = MEAN_C - 3.9
"""Degree-days C of the seedcorn maggot a day: simple average above 39 F, which is 3.9 C."""


def steady(folder: Path, *, this_year_c: float = MEAN_C, **station: Any) -> Path:
    """A season whose every day has one mean, and past seasons with another."""
    weather = PerYear(frozenset({2026}), Constant(this_year_c), Constant(MEAN_C))
    return build_season(folder, stations=[StationFile(weather=weather, **station)])


def curve_of(folder: Path, *arguments: str, pest: str = MAGGOT) -> dict[str, Any]:
    """The curve of the only station."""
    (place,) = document(pest, folder, *arguments)["places"]
    found: dict[str, Any] = place["curve"]
    return found


def test_heat_is_counted_day_by_day_from_the_biofix(tmp_path: Path) -> None:
    """At a steady 20 C each week adds seven times 16.1 degree-days, this season as in the past."""
    curve = curve_of(steady(tmp_path), *SPRING)
    assert curve["biofix"] == "2026-01-01"
    assert curve["last_known"] == "2026-03-01"
    assert curve["degree_days_c"] == pytest.approx(60 * A_DAY, abs=0.06)
    for number, week in enumerate(curve["weeks"], start=1):
        end = day(1, 1) + dt.timedelta(days=7 * number - 1)
        assert week["through"] == end.isoformat()
        heat = 7 * number * A_DAY
        # Of ten past seasons the leap years 2016, 2020 and 2024 have a day more from March on.
        later = A_DAY if end >= day(3, 1) else 0.0
        assert week["past"]["p10"] == pytest.approx(heat, abs=0.06)
        assert week["past"]["p50"] == pytest.approx(heat, abs=0.06)
        assert week["past"]["p90"] == pytest.approx(heat + later, abs=0.06)
        known = end <= day(3, 1)
        assert week["this_season"] == (pytest.approx(heat, abs=0.06) if known else None)


def test_events_come_when_their_heat_is_there(tmp_path: Path) -> None:
    """At a steady 20 C the first peak, at 200 degree-days, comes in the thirteenth day."""
    (place,) = document(MAGGOT, steady(tmp_path), *SPRING)["places"]
    first = place["events"][0]
    assert first["need_c"] == 200.0
    expected = day(1, 1) + dt.timedelta(days=int(200.0 / A_DAY))
    assert first["p50"] == expected.isoformat()
    assert first["p10"] < first["p50"] < first["p90"]


@pytest.mark.parametrize("warmer_c", [2.0, -3.0])
def test_a_warm_season_is_ahead_and_a_cool_one_behind(warmer_c: float, tmp_path: Path) -> None:
    """Sixty days with a share more heat are as far ahead as that share of sixty days."""
    folder = steady(tmp_path, this_year_c=MEAN_C + warmer_c)
    curve = curve_of(folder, *SPRING)
    ahead = 60 * warmer_c / A_DAY
    assert curve["days_ahead"] == pytest.approx(ahead, abs=0.06)
    side = "ahead of" if warmer_c > 0 else "behind"
    text = plain(said("pest", MAGGOT, folder, *SPRING))
    assert f"about {abs(round(ahead))} days {side} the middle of them" in text


def test_nothing_later_than_the_day_takes_part_in_this_season(tmp_path: Path) -> None:
    """Temperatures after --as-of change nothing of the document."""
    cut = build_season(tmp_path / "cut", stations=[StationFile(last=day(3, 1))])
    whole = build_season(tmp_path / "whole", stations=[StationFile()])
    assert curve_of(cut, *SPRING) == curve_of(whole, *SPRING)
    known = [w["through"] for w in curve_of(whole, *SPRING)["weeks"] if w["this_season"]]
    assert max(known) <= "2026-03-01"


def test_a_past_season_with_a_hole_is_left_out_of_the_curve(tmp_path: Path) -> None:
    """Twenty days missing in 2019, after 1 January; before a biofix a hole would not matter."""
    hole = (dt.date(2019, 2, 1), dt.date(2019, 2, 20))
    folder = build_season(tmp_path, stations=[StationFile(holes=(hole,))])
    years = [*range(2016, 2019), *range(2020, 2026)]
    assert curve_of(folder, *SPRING)["past_seasons"] == years
    beetle = curve_of(folder, *DEMO_DAY, pest="bean-leaf-beetle")
    assert beetle["past_seasons"] == list(range(2016, 2026))


def test_a_hole_in_this_season_leaves_no_curve_and_says_why(tmp_path: Path) -> None:
    """Without the days since 1 January nothing is counted, and no date is invented."""
    hole = (day(1, 10), day(1, 30))
    folder = build_season(tmp_path, stations=[StationFile(holes=(hole,))])
    (place,) = document(MAGGOT, folder, *SPRING)["places"]
    assert place["curve"] is None
    assert place["events"] == []
    assert "lacks days" in place["why_not"]
    text = said("pest", MAGGOT, folder, *SPRING)
    assert "Not timed by heat: station S1 lacks days" in plain(text)
    assert chart_lines(text) == []


def test_heat_from_emergence_is_told_for_a_field(demo: Path) -> None:
    """A beetle counted from VE starts on the field's middle VE; a station names its first field."""
    (place,) = document("bean-leaf-beetle", demo, *DEMO_DAY, "--field", "F17")["places"]
    stages = json.loads(said("stages", demo, *DEMO_DAY, "--format", "json", "--field", "F17"))
    assert place["curve"]["biofix"] == stages["fields"][0]["stages"]["VE"]["p50"]
    text = plain(said("pest", "bean-leaf-beetle", demo, *DEMO_DAY, "--station", "DEMO01"))
    assert re.search(r"since VE, told for F\d+ .*, the first of the fields here", text)


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("pest_id", [MAGGOT, "japanese-beetle", "bean-leaf-beetle"])
def test_the_chart_shows_the_numbers(pest_id: str, columns: int, demo: Path) -> None:
    """Read back, every mark lies within half a row of the number that JSON has for its week."""
    arguments = (pest_id, demo, *DEMO_DAY, "--station", "DEMO01")
    (place,) = document(*arguments)["places"]
    (lines,) = chart_lines(said("pest", *arguments, columns=columns))
    chart = read_chart(lines)
    half = chart.step / 2 + 0.1  # JSON is rounded to a tenth
    weeks = place["curve"]["weeks"][: chart.columns]
    shown = 0
    for column, week in enumerate(weeks):
        this = chart.rows_with("#", column)
        assert len(this) <= 1
        for row in this:
            assert abs(row - F_PER_C * week["this_season"]) <= half
            shown += 1
        for row in chart.rows_with("o", column):
            assert abs(row - F_PER_C * week["past"]["p50"]) <= half
        for row in chart.rows_with(".", column):
            assert F_PER_C * week["past"]["p10"] - half <= row
            assert row <= F_PER_C * week["past"]["p90"] + half
    known = [w for w in weeks if w["this_season"] is not None]
    inside = [w for w in known if F_PER_C * w["this_season"] < chart.highest]
    assert shown >= len(inside) > 3


def test_events_are_named_at_the_right_of_the_chart(demo: Path) -> None:
    """The letter of an event stands in the row of its heat."""
    arguments = (MAGGOT, demo, *DEMO_DAY, "--station", "DEMO01")
    (place,) = document(*arguments)["places"]
    (lines,) = chart_lines(said("pest", *arguments))
    chart = read_chart(lines)
    for letter, event in zip("abc", place["events"], strict=True):
        (row,) = [row for row, name in chart.names.items() if letter in name]
        assert abs(row - F_PER_C * event["need_c"]) <= chart.step / 2 + 0.1


def test_the_numbers_are_printed_when_asked_for(demo: Path) -> None:
    """One line a week with JSON's numbers in the season's unit, and none without --numbers."""
    arguments = (MAGGOT, demo, *DEMO_DAY, "--station", "DEMO01")
    (place,) = document(*arguments)["places"]
    text = said("pest", *arguments, "--numbers")
    rows = re.findall(r"^(\d+ \w+) +([-\d]+) +(\d+) +(\d+) +(\d+) *$", text, re.MULTILINE)
    assert len(rows) == len(place["curve"]["weeks"])
    for row, week in zip(rows, place["curve"]["weeks"], strict=True):
        end = dt.date.fromisoformat(week["through"])
        assert row[0] == f"{end.day} {end:%b}"
        told = [week["this_season"], *week["past"].values()]
        for cell, heat in zip(row[1:], told, strict=True):
            assert (cell == "-") if heat is None else abs(int(cell) - F_PER_C * heat) < 0.7
    assert "week to" not in said("pest", *arguments)


def test_metric_seasons_are_told_in_degrees_celsius(tmp_path: Path) -> None:
    """Chart, events and numbers change their unit together."""
    folder = build_season(tmp_path, units="metric")
    text = said("pest", MAGGOT, folder, *SPRING, columns=WIDE)
    assert "Degree-days C since 1 Jan" in text
    assert "200 C d" in text
    assert " F d" not in text


def test_colour_is_not_needed(demo: Path) -> None:
    """With colour forced, the same text stands under the escapes."""
    arguments = ("pest", MAGGOT, demo, *DEMO_DAY, "--station", "DEMO01")
    coloured = run_command(*arguments, screen={"FORCE_COLOR": "1", "TERM": "xterm-256color"}).out
    assert "\x1b[" in coloured
    bare = re.sub("\x1b\\[[0-9;]*m", "", coloured)
    assert bare.splitlines() == said(*arguments).splitlines()


def test_the_same_question_has_the_same_answer(demo: Path) -> None:
    """Bytes, twice over."""
    arguments = ("pest", MAGGOT, demo, *DEMO_DAY, "--format", "json")
    again = run_command(*arguments).out == run_command(*arguments).out
    assert again


# --- documents ------------------------------------------------------------------------------


def keys(value: Any) -> set[str]:
    """All keys of a document but those of the pest's own file."""
    if isinstance(value, dict):
        return {
            *value, *(key for name, item in value.items() if name != "pest" for key in keys(item)),
        }  # fmt: skip
    return {key for item in value for key in keys(item)} if isinstance(value, list) else set()


def test_documented_keys_are_those_printed(demo: Path) -> None:
    """The guide names every key of the list, the page and the season, and no other."""
    kinds = {"yours", "here", "neighbor", "group", "elsewhere"}
    named = keys_said("`pest` without NAME has ") - kinds - {"null"}
    assert named == keys(document()) | keys(document(MAGGOT, demo, *DEMO_DAY)) | keys(
        document("stink-bugs", demo, *DEMO_DAY)
    )
