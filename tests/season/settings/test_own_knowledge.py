"""A consultant's own pests and thresholds: merged, shown everywhere, and told when wrong."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import shutil
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest
from broken import GOOD, build
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from own_pest import MINER

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.forecast.skill import hindcast
from stagecast.knowledge import load
from stagecast.knowledge.pest import HeatModel, Pest
from stagecast.knowledge.quantities import Strict
from stagecast.knowledge.threshold import MonthDay, Threshold
from stagecast.phenology.degree_days import Cutoff, Method, daily_degree_days
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.rules import place_limits
from stagecast.season.settings.own_knowledge import MOST_FILES, read_own_knowledge
from stagecast.season.settings.own_words import threshold_with_keys, with_keys
from stagecast.season.settings.pest_names import PestNames
from stagecast.season.settings.sections import accepted_text
from stagecast.season.settings.settings import read_settings
from stagecast.season.settings.toml import key_lines
from stagecast.visits.season_day import SeasonDay

KNOWLEDGE = load()
SHIPPED = Path(str(files("stagecast.knowledge"))) / "pests"
SETTINGS = GOOD["season.toml"]
THRESHOLD = """
[[thresholds]]
pest = "stink-bugs"
first = "R3"
last = "R6"
value = 5
what = "bugs"
per = 15
of = "sweeps"
"""


def folder(path: Path, pests: dict[str, str | bytes] | None = None, thresholds: str = "") -> Path:
    """A good season folder with pests and thresholds of its own."""
    build(path, {"season.toml": SETTINGS + thresholds})
    if pests is not None:
        (path / "pests").mkdir()
    for name, content in (pests or {}).items():
        raw = content if isinstance(content, bytes) else content.encode()
        (path / "pests" / name).write_bytes(raw)
    return path


def good(path: Path) -> SeasonFolder:
    """Read a folder in which nothing is wrong."""
    return read_season(path, shipped=KNOWLEDGE)


def faults(path: Path) -> tuple[Problem, ...]:
    """Everything wrong in a folder."""
    with pytest.raises(SeasonProblems) as caught:
        good(path)
    return caught.value.problems


def places(problems: tuple[Problem, ...]) -> list[tuple[str, int | None, str | None]]:
    """File, line and column of each."""
    return [(problem.file, problem.line, problem.column) for problem in problems]


def line(text: str, start: str, nth: int = 0) -> int:
    """Number of the nth line that starts so."""
    return [i for i, row in enumerate(text.split("\n"), 1) if row.startswith(start)][nth]


# --- merged ---------------------------------------------------------------------------------


def test_a_folder_without_its_own_has_what_ships(tmp_path: Path) -> None:
    """Neither pests nor thresholds of one's own: the pests are the shipped ones, in order."""
    season = good(folder(tmp_path))
    assert list(season.knowledge.pests.items()) == list(KNOWLEDGE.pests.items())


def test_an_own_pest_comes_after_those_that_ship(tmp_path: Path) -> None:
    """It brings its own source, and nothing that ships is changed."""
    season = good(folder(tmp_path, {"leaf-miner.toml": MINER}))
    assert list(season.knowledge.pests) == [*KNOWLEDGE.pests, "leaf-miner"]
    assert type(season.knowledge.pests["leaf-miner"]) is Pest
    assert season.knowledge.sources["county-trial"].publisher == "nobody"
    assert season.doubts == ()
    assert "leaf-miner" not in load().pests
    assert "county-trial" not in load().sources


@pytest.mark.parametrize("file", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.stem)
def test_every_pest_that_ships_would_do_as_ones_own(file: Path, tmp_path: Path) -> None:
    """Copied into a season folder it replaces itself, and that is told as a doubt."""
    text = file.read_text("utf-8")
    season = good(folder(tmp_path, {"mine.toml": text}))
    names = PestNames.of(KNOWLEDGE.pests)
    read = {file.stem: with_keys(KNOWLEDGE.pests[file.stem], names)}
    assert season.knowledge.pests == KNOWLEDGE.pests | read
    (doubt,) = season.doubts
    assert places((doubt,)) == [("pests/mine.toml", line(text, "id ="), "id")]
    assert "takes the place of" in doubt.message


def test_a_replaced_pest_keeps_its_place(tmp_path: Path) -> None:
    """A changed copy stands where the shipped one stood."""
    text = (SHIPPED / "dectes-stem-borer.toml").read_text("utf-8")
    changed = text.replace('short = "Dectes"', 'short = "my Dectes"')
    assert changed != text
    season = good(folder(tmp_path, {"dectes-stem-borer.toml": changed}))
    assert list(season.knowledge.pests) == list(KNOWLEDGE.pests)
    assert season.knowledge.pests["dectes-stem-borer"].short == "my Dectes"


def test_own_thresholds_stand_first_with_the_region_yours(tmp_path: Path) -> None:
    """In the order written, before the published ones; other pests keep what they had."""
    second = THRESHOLD.replace('"R3"', '"R1"').replace('"R6"', '"R2"').replace("= 5", "= 2.5")
    season = good(folder(tmp_path, thresholds=THRESHOLD + second + "high = 4\n"))
    published = KNOWLEDGE.pests["stink-bugs"].thresholds
    first, then, *rest = season.knowledge.pests["stink-bugs"].thresholds
    assert tuple(rest) == published
    assert (first.region, first.value, first.high, first.per) == ("yours", 5, None, 15)
    assert (then.first, then.last, then.value, then.high) == ("R1", "R2", 2.5, 4)
    assert {first.source, then.source} == {"yours"} <= season.knowledge.sources.keys()
    assert season.knowledge.pests["kudzu-bug"] == KNOWLEDGE.pests["kudzu-bug"]


def test_a_threshold_may_be_set_for_a_pest_of_ones_own(tmp_path: Path) -> None:
    """The pests of the folder are known by the time thresholds are looked at."""
    own = THRESHOLD.replace("stink-bugs", "leaf-miner")
    season = good(folder(tmp_path, {"leaf-miner.toml": MINER}, own))
    regions = [t.region for t in season.knowledge.pests["leaf-miner"].thresholds]
    assert regions == ["yours", "TN", "TN"]


def test_hidden_files_and_other_files_are_left_alone(tmp_path: Path) -> None:
    """What a computer leaves behind is no pest; a second ending is told as a doubt."""
    others = {"._leaf-miner.toml": b"\x00\x05", "notes.md": "", "leaf-miner.TOML": MINER}
    season = good(folder(tmp_path, {**others, "b.toml.txt": MINER}))
    assert "leaf-miner" in season.knowledge.pests
    (doubt,) = season.doubts
    assert doubt.file == "pests/b.toml.txt"
    assert "not read" in doubt.message


# --- wrong ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "start", "column", "words"),
    [
        ("damage =", "damge =", "damge", "damge", "did you mean damage?"),
        ('damage = "winding', 'damage = 5 #"', "damage", "damage", "text in quotes"),
        ("rank = 1", "rank = 10", "rank", "activities.rank", "from 1 to 9"),
        ("rank = 1\n", "", "[[activities]]", "activities.rank", "required"),
        ("value = 9", 'value = "9"', "value = \"", "thresholds.value", "above 0"),
        ('last = "R7"\nvalue', 'last = "R9"\nvalue', 'last = "R9', "thresholds.last", '"R8"'),
        ('of = "plants"', 'of = "plant"', "of = \"plant\"", "thresholds.of", '"row-feet"'),
        ("sweep-net", "sweepnet", "sample", "activities.sample", "did you mean sweep-net?"),
        ('"PRACTICE" }', '"GUESS" }', "host", "activities.host.tag", '"MEMORY"'),
        ('region = "TN"', 'region = "Tenn"', "region", "thresholds.region", "TN, TX, US"),
        ('tag = "READ"\n\n[host', 'tag = "READ"\nregions = ["XX"]\n\n[host', "regions",
         "presence.regions", "no such region"),
        ("value = 9", "value = 1e300", "value = 1e", "thresholds.value", "too large a number"),
        ('kind = "extension"', 'kind = "hearsay"', "kind = \"hear", "sources.county-trial.kind",
         '"extension"'),
        ('id = "leaf-miner"', 'id = "Leaf Miner"', "id =", "id", "lower-case"),
        ('id = "leaf-miner"', 'id = "leaf-miner"\ncounted_with = "leaf-miner"', "counted_with",
         "counted_with", "no such pest"),
        ('not_timed = "it was invented for a test"\n', "", None, None, "say either how heat"),
        ('id = "mines"', 'id = "mines"\nopens = "hatch"', None, None, "unknown event hatch"),
        ('[presence]\n', '[[arrivals]]\nregion = "TN"\nfirst_month = 2\nfirst_day = 30\n'
         'last_month = 6\nlast_day = 1\nsource = "own"\ntag = "OWN"\n\n[presence]\n',
         "[[arrivals]]", "arrivals", "does not come in every year"),
        ('region = "TN"', 'region = "yours"', "region", "thresholds.region", "in season.toml"),
        ("value = 7", "value = 7\nper = 1e-300", "per", "thresholds.per", "too small a number"),
        ('name = "invented', 'name = "\\u001b[31minvented', "name =", "name", "U+001B"),
        ('name = "invented', 'name = "\\u202einvented', "name =", "name", "U+202E"),
        ('damage = "winding', 'damage = "\\u001b]0;winding', "damage", "damage", "U+001B"),
        ('damage = "winding', 'damage = "\\u0007winding', "damage", "damage", "U+0007"),
        ('marks = ["', 'marks = ["\\u200e', "marks", "marks", "U+200E"),
        ('title = "Leaf', 'title = "\\u0085Leaf', 'title = "\\', "sources.county-trial.title",
         "U+0085"),
        ('name = "invented leaf miner"', 'name = " "', "name =", "name", "must not be blank"),
        ('short = "leaf miner"', 'short = ""', "short", "short", "must not be blank"),
        ('"pale winding lines in a leaf"', '"",', "marks", "marks", "must not be blank"),
        ('what = "mines"', 'what = ""', "what", "thresholds.what", "must not be blank"),
        ('name = "invented', 'name = "in\\nvented', "name =", "name", "line break"),
        ('short = "leaf miner"', f'short = "{"x" * 81}"', "short", "short", "81 characters"),
        ('short = "leaf miner"', f'short = "miner"\nalso = ["{"x" * 81}"]', "also", "also",
         "81 characters"),
        ("rank = 1", 'rank = 1\nlasts = { value = 0, unit = "d", source = "own", tag = "OWN" }',
         "lasts", "activities.lasts", "above 0"),
        ("rank = 1", 'rank = 1\nbefore = { value = -1, unit = "", source = "own", tag = "OWN" }',
         "before", "activities.before", "above 0"),
        ("rank = 1", 'rank = 1\nbefore = { value = 1.2, unit = "", source = "own", tag = "OWN" }\n'
         'after = { value = 1.1, unit = "", source = "own", tag = "OWN" }',
         "[[activities]]", "activities", "must not be larger"),
    ],
)  # fmt: skip
def test_one_thing_wrong_is_one_sentence_with_its_place(
    old: str, new: str, start: str | None, column: str | None, words: str, tmp_path: Path
) -> None:
    """The line it stands on, the key, what is accepted or what to do."""
    text = MINER.replace(old, new, 1)
    assert text != MINER
    (problem,) = faults(folder(tmp_path, {"leaf-miner.toml": text}))
    at = None if start is None else line(text, start)
    assert places((problem,)) == [("pests/leaf-miner.toml", at, column)]
    assert words in problem.sentence()


def test_each_of_several_sections_has_its_own_line(tmp_path: Path) -> None:
    """A fault in the second [[thresholds]] is not told as one in the first."""
    text = MINER.replace("value = 9", "value = -9")
    (problem,) = faults(folder(tmp_path, {"leaf-miner.toml": text}))
    assert problem.line == line(text, "value", 1)


def test_all_faults_of_all_files_come_in_one_pass(tmp_path: Path) -> None:
    """Settings, every pest file and the tables are told together, files in order of name."""
    bad = MINER.replace("rank = 1", "rank = 0").replace('short = "leaf miner"\n', "")
    other = bad.replace("leaf-miner", "other").replace("county-trial", "nowhere", 1)
    path = folder(tmp_path, {"b.toml": other, "a.toml": bad}, THRESHOLD.replace("R6", "R2"))
    (path / "fields.csv").write_text(GOOD["fields.csv"].replace("4.7", "47"), encoding="utf-8")
    told = places(faults(path))
    assert [file for file, *_ in told] == [
        "season.toml", *["pests/a.toml"] * 2, *["pests/b.toml"] * 3, "fields.csv",
    ]  # fmt: skip
    assert {column for _, _, column in told[1:3]} == {"short", "activities.rank"}
    assert {column for _, _, column in told[3:6]} == {"short", "activities.rank", "presence.source"}


def test_two_files_of_one_id_are_told(tmp_path: Path) -> None:
    """Which of two would count is not guessed."""
    path = folder(tmp_path, {"a.toml": MINER, "b.toml": MINER})
    (problem,) = faults(path)
    assert problem.file == "pests/b.toml"
    assert "pests/a.toml is a pest of this id already" in problem.sentence()


def test_an_id_of_another_source_is_taken(tmp_path: Path) -> None:
    """A reference that ships is never replaced under the values that cite it."""
    text = MINER.replace("county-trial", "own")
    (problem,) = faults(folder(tmp_path, {"a.toml": text}))
    at = line(text, "[sources.own]")
    assert places((problem,)) == [("pests/a.toml", at, "sources.own")]
    assert "another source of this id already" in problem.message


def test_two_files_may_share_a_source(tmp_path: Path) -> None:
    """The same reference, described alike in both."""
    other = MINER.replace('id = "leaf-miner"', 'id = "other"').replace("leaf miner", "twig miner")
    season = good(folder(tmp_path, {"a.toml": MINER, "b.toml": other}))
    assert {"leaf-miner", "other"} <= season.knowledge.pests.keys()


def test_a_misshapen_file_hides_nothing_else_that_is_wrong_in_it(tmp_path: Path) -> None:
    """Unknown regions, sources and sampling methods are told with the fault, in file order."""
    bad = MINER.replace("rank = 1", "rank = 0").replace('region = "TN"', 'region = "Tenn"', 1)
    bad = bad.replace("sweep-net", "sweepnet").replace('"county-trial"', '"nowhere"', 1)
    told = faults(folder(tmp_path, {"a.toml": bad}))
    assert [(problem.line, problem.column) for problem in told] == [
        (line(bad, "source"), "presence.source"),
        (line(bad, "rank"), "activities.rank"),
        (line(bad, "sample"), "activities.sample"),
        (line(bad, "region"), "thresholds.region"),
    ]


def test_an_unknown_pest_is_told_beside_another_wrong_setting(tmp_path: Path) -> None:
    """Whatever else is wrong in season.toml, and in the threshold itself."""
    text = THRESHOLD.replace("stink-bugs", "unicorn").replace("value = 5", "value = -5")
    path = folder(tmp_path, thresholds=text)
    whole = (path / "season.toml").read_text("utf-8").replace("year = ", "year = 9")
    (path / "season.toml").write_text(whole, encoding="utf-8")
    columns = {problem.column for problem in faults(path)}
    assert columns == {"year", "thresholds.value", "thresholds.pest"}


def test_the_names_of_broken_files_are_known(tmp_path: Path) -> None:
    """As far as they can be read; where a file is no TOML nobody can tell."""
    bad = MINER.replace("rank = 1", "rank = 0")
    path = folder(tmp_path, {"mine.toml": bad})
    settings = read_settings(path, regions=KNOWLEDGE.regions, limits=place_limits(KNOWLEDGE))
    own = read_own_knowledge(path, settings=settings, shipped=KNOWLEDGE)
    names = {"mine", "leaf-miner", "invented leaf miner", "leaf miner", "Inventus minor"}
    assert own.unread == names
    (path / "pests" / "other.toml").write_text("id = [", encoding="utf-8")
    own = read_own_knowledge(path, settings=settings, shipped=KNOWLEDGE)
    assert own.unread is None


def heat_of(change: str = "", biofix: str = 'kind = "calendar day"\nmonth = 1\nday = 1') -> str:
    """The invented miner with a heat model of its own."""
    model = (
        '[heat]\nlower_c = 10\nmethod = "simple average"\ncutoff = "none"\nmethod_tag = "OWN"\n'
        f'source = "own"\ntag = "OWN"\n{change}\n[[heat.biofix]]\nsource = "own"\ntag = "OWN"\n'
        f"{biofix}\n\n[presence]"
    )
    text = MINER.replace('not_timed = "it was invented for a test"\n', "")
    return text.replace("[presence]", model, 1)


def test_a_fault_within_a_list_is_told_once(tmp_path: Path) -> None:
    """The list is not called too short because its only section is wrong."""
    assert good(folder(tmp_path / "a", {"x.toml": heat_of()})).knowledge.pests["leaf-miner"].heat
    text = heat_of(biofix='kind = "calendar day"\nmonth = 13\nday = 1')
    (problem,) = faults(folder(tmp_path / "b", {"x.toml": text}))
    assert (problem.column, problem.found) == ("heat.biofix.month", "13")
    (problem,) = faults(folder(tmp_path / "c", {"x.toml": MINER.replace(
        'marks = ["pale winding lines in a leaf"]', "marks = []")}))  # fmt: skip
    assert problem.column == "marks"


@pytest.mark.parametrize("spread", ["-0.1", "1.5"])
def test_a_spread_is_a_share(spread: str, tmp_path: Path) -> None:
    """Below nothing or above the whole need it is refused at its key."""
    change = f'spread = {{ value = {spread}, unit = "", source = "own", tag = "OWN" }}'
    text = heat_of(change)
    (problem,) = faults(folder(tmp_path, {"x.toml": text}))
    assert (problem.line, problem.column) == (line(text, "spread"), "heat.spread")
    assert "from 0 to 1" in problem.message


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize("cutoff", list(Cutoff))
def test_a_heat_model_takes_the_pairs_that_can_be_computed(method: Method, cutoff: Cutoff) -> None:
    """Every method with every cutoff: refused where, and only where, the arithmetic refuses it."""
    upper = None if cutoff is Cutoff.NONE else 30.0
    model = {
        "lower_c": 10.0, "upper_c": upper, "method": str(method), "cutoff": str(cutoff),
        "method_tag": "OWN", "source": "own", "tag": "OWN",
        "biofix": [{"kind": "calendar day", "month": 1, "day": 1, "source": "own", "tag": "OWN"}],
    }  # fmt: skip

    def refused(make: Callable[[], object]) -> bool:
        try:
            make()
        except ValueError:
            return True
        return False

    assert refused(lambda: HeatModel.model_validate_json(json.dumps(model))) == refused(
        lambda: daily_degree_days(
            [8.0], [35.0], lower_c=10.0, upper_c=upper, method=method, cutoff=cutoff
        )
    )


def test_what_rests_on_a_broken_file_is_not_told_again(tmp_path: Path) -> None:
    """A threshold, a complex or a catch of a pest whose own file is wrong is no second fault."""
    bad = MINER.replace("rank = 1", "rank = 0")
    other = MINER.replace('id = "leaf-miner"', 'id = "other"\ncounted_with = "leaf-miner"')
    other = other.replace("county-trial", "other-trial")
    own = THRESHOLD.replace("stink-bugs", "leaf-miner")
    path = folder(tmp_path, {"a.toml": bad, "b.toml": other}, own)
    (path / "traps.csv").write_text(
        "trap,date,pest,catch,latitude,longitude\nT,2026-06-01,leaf-miner,3,36,-89\n"
    )
    (problem,) = faults(path)
    assert (problem.file, problem.column) == ("pests/a.toml", "activities.rank")


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ('"stink-bugs"', '"stink-bug"', "pest", "did you mean stink-bugs?"),
        ('"stink-bugs"', '"kudzu bug"', "pest", "did you mean kudzu-bug?"),
        ('"stink-bugs"', '"unicorn"', "pest", "corn-earworm, "),
        ('"R3"', '"R10"', "first", "R1, R2"),
        ('"R3"', '"V6"', "first", "V4 also stands for later nodes"),
        ("value = 5", "value = -5", "value", "above 0"),
        ("value = 5", "value = 0", "value", "smallest mean at which you would consider treating"),
        ("value = 5", "value = true", "value", "above 0"),
        ("value = 5", "value = nan", "value", "above 0"),
        (
            "value = 5",
            "value = 5\nplanted_from = { month = 2, day = 30 }",
            "planted_from",
            "does not come in every year",
        ),
        ("value = 5", 'value = 5\nuse = ["hay"]', "use", '"food"'),
        ("value = 5", "value = 1e300", "value", "too large a number"),
        ("per = 15", "per = 0", "per", "above 0"),
        ("per = 15", "per = 1e-300", "per", "too small a number"),
        ('what = "bugs"', 'what = "\\u001b[2Jbugs"', "what", "U+001B"),
        ('of = "sweeps"', 'of = "sweep"', "of", '"sweeps"'),
        ('what = "bugs"', 'what = " "', "what", "what is counted"),
        ('what = "bugs"\n', "", "what", "required"),
        ("value = 5", "value = 5\nregion = 5", "region", "did you mean region? It belongs above"),
    ],
)
def test_a_wrong_threshold_of_ones_own_is_told(
    old: str, new: str, column: str, words: str, tmp_path: Path
) -> None:
    """Unknown pest, stage or unit: one sentence, with the line in the second of two sections."""
    text = THRESHOLD + THRESHOLD.replace(old, new)
    (problem,) = faults(folder(tmp_path, thresholds=text))
    whole = SETTINGS + text
    above = line(whole, "[[thresholds]]", 1)
    assert (problem.file, problem.column) == ("season.toml", f"thresholds.{column}")
    assert problem.line is not None
    assert problem.line >= above
    assert words in problem.sentence()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('last = "R6"', 'last = "R1"', "must not come after its last"),
        ("value = 5", "value = 5\nhigh = 5", "must lie above its value"),
    ],
)
def test_parts_of_a_threshold_that_do_not_fit_are_told(
    old: str, new: str, words: str, tmp_path: Path
) -> None:
    """Stages in the wrong order and a range that is none, at the section they stand in."""
    text = THRESHOLD.replace(old, new)
    (problem,) = faults(folder(tmp_path, thresholds=text))
    assert problem.line == line(SETTINGS + text, "[[thresholds]]")
    assert words in problem.sentence()


def test_one_bracket_too_few_is_told(tmp_path: Path) -> None:
    """[thresholds] in place of [[thresholds]] is the commonest slip."""
    text = THRESHOLD.replace("[[thresholds]]", "[thresholds]")
    (problem,) = faults(folder(tmp_path, thresholds=text))
    assert "two brackets" in problem.sentence()


# --- hostile --------------------------------------------------------------------------------


def loop(path: Path) -> None:
    """A link to itself."""
    path.symlink_to(path.name)


def pipe(path: Path) -> None:
    """Something that never ends and never begins."""
    os.mkfifo(path)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (Path.mkdir, "this is a folder, not a file"),
        (loop, "a link that leads nowhere"),
        (pipe, "not an ordinary file"),
        (lambda path: path.write_bytes(b"\xff\xfe"), "not UTF-8"),
        (lambda path: path.write_bytes(b"id = 1\n" * 200_000), "far too large"),
        (lambda path: path.write_text("a = " + "[" * 10_000), "nested too deeply"),
        (lambda path: path.write_text("[" + "a." * 100_000 + "a]\n"), "a name with too many dots"),
        (lambda path: path.write_text(""), "required"),
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="links and pipes need POSIX")
def test_hostile_files_are_one_clear_sentence_each(
    make: Callable[[Path], object], words: str, tmp_path: Path
) -> None:
    """Whatever stands in place of a pest file, the sentence names it and nothing crashes."""
    path = folder(tmp_path, {})
    make(path / "pests" / "x.toml")
    told = faults(path)
    assert {problem.file for problem in told} == {"pests/x.toml"}
    assert any(words in problem.message for problem in told)
    assert not any("\n" in problem.sentence() for problem in told)


@pytest.mark.parametrize("make", [Path.touch, loop])
@pytest.mark.skipif(os.name == "nt", reason="links need POSIX")
def test_something_else_called_pests_is_told(
    make: Callable[[Path], object], tmp_path: Path
) -> None:
    """A file or a link that leads nowhere in place of the folder."""
    path = folder(tmp_path)
    make(path / "pests")
    (problem,) = faults(path)
    assert (problem.file, problem.message) == ("pests", "this is not a folder")


def test_very_many_files_are_refused_in_one_sentence(tmp_path: Path) -> None:
    """A folder of something else does not fill the screen."""
    (problem,) = faults(folder(tmp_path, {f"{i}.toml": "" for i in range(MOST_FILES + 1)}))
    assert problem.file == "pests"


def test_a_file_of_thousands_of_faults_is_told_in_few_sentences(tmp_path: Path) -> None:
    """After thirty the rest are counted."""
    text = MINER + "".join(f"[x{n}]\n" for n in range(3_000))
    told = faults(folder(tmp_path, {"x.toml": text}))
    assert len(told) <= 31
    assert "more faults" in told[-1].message


@given(text=st.one_of(st.text(max_size=100), st.binary(max_size=100)), where=st.integers(0, 40))
def test_any_content_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, text: str | bytes, where: int
) -> None:
    """Anything put into a good file leaves it good or gives problems, never another error."""
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    lines = MINER.encode().split(b"\n")
    content = b"\n".join([*lines[:where], raw, *lines[where:]])
    path = folder(tmp_path_factory.mktemp("any"), {"x.toml": content})
    files: set[str] = set()
    pests = len(KNOWLEDGE.pests)
    try:
        pests = len(good(path).knowledge.pests)
    except SeasonProblems as error:
        files = {problem.file for problem in error.problems}
    assert (files, pests) in (
        ({"pests/x.toml"}, len(KNOWLEDGE.pests)),
        (set(), len(KNOWLEDGE.pests) + 1),
    )


@pytest.mark.parametrize(
    "change",
    [
        {"lower_c": "-1e9"},
        {"need_c": "1e9"},
        {"need_c": "5e-324"},
        {"lower_c": "1e9"},
        {"month": "2", "day": "28"},
    ],
)
def test_numbers_beyond_reason_crash_nothing(
    change: dict[str, str], demo: Path, tmp_path: Path
) -> None:
    """A heat model of absurd but finite numbers still gives a plan."""
    text = (SHIPPED / "dectes-stem-borer.toml").read_text("utf-8")
    for key, value in change.items():
        text = re.sub(rf"^{key} = .*$", f"{key} = {value}", text, flags=re.MULTILINE)
    path = copied(demo, tmp_path)
    (path / "pests").mkdir()
    (path / "pests" / "x.toml").write_text(text, encoding="utf-8")
    ran = run_command("plan", path, "--as-of", "2026-07-07")
    assert (ran.code, ran.err) == (0, "")


# --- everywhere -----------------------------------------------------------------------------


def copied(demo: Path, tmp_path: Path) -> Path:
    """The demo season, to be changed."""
    return Path(shutil.copytree(demo, tmp_path / "season"))


@pytest.fixture(scope="module")
def own_demo(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo season with a pest and two thresholds of its own."""
    path = copied(demo, tmp_path_factory.mktemp("own"))
    (path / "pests").mkdir()
    (path / "pests" / "leaf-miner.toml").write_text(MINER, encoding="utf-8")
    miner = THRESHOLD.replace("stink-bugs", "leaf-miner").replace("bugs", "miners")
    with (path / "season.toml").open("a", encoding="utf-8") as stream:
        stream.write(THRESHOLD.replace('"R3"', '"V1"') + miner)
    return path


def test_own_pests_and_thresholds_reach_windows_visits_and_the_plan(own_demo: Path) -> None:
    """The windows of the pest, and in look_for its threshold as yours or as the region's."""
    asked = ("--as-of", "2026-07-07", "--format", "json")
    windows = json.loads(run_command("windows", own_demo, *asked).out)["windows"]
    assert {w["window"] for w in windows if w["pest"] == "leaf-miner"} == {"mines"}
    visits = json.loads(run_command("revisit", own_demo, *asked).out)["visits"]
    told = [item for visit in visits for item in visit["look_for"] if "leaf miner" in item]
    yours = "; threshold 8.3 miners per 25 sweeps (converted from 5 per 15; yours, R3-R6)"
    early = "; threshold 7 mines per plant (Tennessee, V1-R3)"
    assert any(item.endswith(yours) for item in told)
    assert any(item.endswith(early) for item in told)
    plan = json.loads(run_command("plan", own_demo, *asked).out)["fields"]
    assert any(w["pest"] == "leaf-miner" for field in plan for w in field["windows"])
    screen = run_command("windows", own_demo, "--as-of", "2026-07-07", columns=240).out
    assert "leaf miner" in screen


def test_everything_that_loads_a_season_has_its_knowledge(own_demo: Path) -> None:
    """Plan and skill work on the folder's knowledge, not on what ships."""
    as_of = dt.date(2026, 7, 7)
    plan = SeasonDay.open(own_demo, as_of=as_of)
    found = hindcast(own_demo, as_of=as_of)
    for loaded in (plan.loaded, found.loaded):
        assert loaded.knowledge is loaded.season.knowledge
        assert "leaf-miner" in loaded.knowledge.pests


def test_check_validates_own_files(own_demo: Path, tmp_path: Path) -> None:
    """Good ones pass; a bad one is exit code 2 with its sentence; a replacement is doubtful."""
    asked = ("--as-of", "2026-07-07")
    assert run_command("check", own_demo, *asked).code == 0
    path = copied(own_demo, tmp_path)
    shutil.copyfile(SHIPPED / "kudzu-bug.toml", path / "pests" / "kudzu-bug.toml")
    ran = run_command("check", path, *asked, columns=400)
    assert ran.code == 0
    assert "doubtful: pests/kudzu-bug.toml line 1, id: this takes the place of" in ran.out
    (path / "pests" / "bad.toml").write_text(MINER.replace("rank = 1", "rank = 0"))
    ran = run_command("check", path, *asked)
    assert ran.code == 2
    assert "pests/bad.toml line" in ran.out


# --- the pieces -----------------------------------------------------------------------------


def test_lines_of_sections_that_stand_several_times() -> None:
    """Each [[section]] counts from 0, also inside another and with sections of its own."""
    text = "[[a]]\nx = 1\n[[a]]\nx = 2\n[a.b]\ny = 3\n[[a.c]]\nz = 4\n[[a.c]]\nz = 5\n"
    lines = key_lines(text)
    assert lines["a", "x"] == lines["a", "0", "x"] == 2
    assert lines["a", "1", "x"] == 4
    assert lines["a", "1", "b", "y"] == 6
    assert (lines["a", "1", "c", "0", "z"], lines["a", "1", "c", "1", "z"]) == (8, 10)
    assert ("a", "0", "b") not in lines


def test_every_key_of_the_models_says_what_it_takes() -> None:
    """A number with its limits, a choice with its choices, a section as one; at every depth."""
    told = accepted_text(Pest)
    assert {name for name in told if "." not in name} == set(Pest.model_fields)
    assert told["name"] == "text in quotes"
    assert told["also"] == "a list, each text in quotes"
    assert told["activities"] == "[[activities]] sections"
    assert told["heat"] == "a [heat] section"
    assert told["heat.biofix"] == "[[heat.biofix]] sections"
    assert told["heat.biofix.month"] == "a whole number from 1 to 12"
    assert told["thresholds.per"] == "a number above 0"
    assert '"VE"' in told["host.first"]
    assert issubclass(Pest, Strict)


def test_an_own_threshold_may_be_for_some_fields(tmp_path: Path) -> None:
    """Planting date, use and row width are keys of [[thresholds]] in season.toml too."""
    keys = """planted_from = { month = 6, day = 1 }
planted_before = { month = 7, day = 1 }
use = ["seed", "food"]
row_width_least_in = 15
row_width_most_in = 30
condition = "near woods"
"""
    season = good(folder(tmp_path, thresholds=THRESHOLD + keys))
    own = season.knowledge.pests["stink-bugs"].thresholds[0]
    assert own.for_some_fields
    assert (own.planted_from, own.planted_before) == (
        MonthDay(month=6, day=1), MonthDay(month=7, day=1),
    )  # fmt: skip
    assert (own.use, own.row_width_least_in, own.row_width_most_in, own.condition) == (
        ("seed", "food"), 15, 30, "near woods",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("note", "keys", "left"),
    [
        ("full-season beans planted before 1 June; mine",
         {"planted_before": MonthDay(month=6, day=1)}, "full-season beans"),
        ("planted after May 31", {"planted_from": MonthDay(month=6, day=1)}, ""),
        ("planted from 1 June on, rows of 15 inches or less",
         {"planted_from": MonthDay(month=6, day=1), "row_width_most_in": 15}, ""),
        ("Seed or food beans", {"use": ("seed", "food")}, ""),
        ("rows of 30-inches or more, by the river", {"row_width_least_in": 30}, "by the river"),
        ("planted before 99 June", {}, "planted before 99 June"),
        ("native species", {}, "native species"),
    ],
)  # fmt: skip
def test_for_which_fields_an_own_threshold_holds_is_read_from_its_words(
    note: str, keys: dict[str, object], left: str
) -> None:
    """The old form, a condition before a semicolon, gives the keys; what is left is told."""
    plain = Threshold(
        region="TN", first="R1", last="R6", value=9, what="bugs", per=25, of="sweeps", note=note,
        source="own", tag="OWN",
    )  # fmt: skip
    found = threshold_with_keys(plain, PestNames.of(KNOWLEDGE.pests))
    names = ("planted_from", "planted_before", "use", "row_width_least_in", "row_width_most_in")
    assert {name: getattr(found, name) for name in names if getattr(found, name)} == keys
    assert found.condition == left


def test_a_name_of_another_pest_is_refused(tmp_path: Path) -> None:
    """A pest of ones own that is called like one that ships would take over its counts."""
    text = MINER.replace('short = "leaf miner"', 'short = "Stink-Bugs"\nalso = ["miner", "CEW"]')
    problems = faults(folder(tmp_path, {"leaf-miner.toml": text}))
    assert [(p.column, p.found) for p in problems] == [("short", "Stink-Bugs"), ("also", "CEW")]
    assert "stink bugs (stink-bugs)" in problems[0].sentence()
    twin = MINER.replace('id = "leaf-miner"', 'id = "leaf-miner-too"')
    two = folder(tmp_path / "two", {"a.toml": MINER, "b.toml": twin})
    assert {p.file for p in faults(two)} == {"pests/b.toml"}


def test_heat_that_never_comes_is_doubted(tmp_path: Path) -> None:
    """A lower threshold of 45 is most likely degrees F: 7.2 degC is what is asked for."""
    text = (SHIPPED / "dectes-stem-borer.toml").read_text("utf-8")
    text = re.sub(r"^lower_c = .*$", "lower_c = 45", text, flags=re.MULTILINE)
    text = re.sub(r"^upper_c = .*$", "upper_c = 60", text, flags=re.MULTILINE)
    season = good(folder(tmp_path, {"x.toml": text}))
    (told,) = [p for p in season.doubts if p.column == "heat.lower_c"]
    assert "7.2" in told.sentence()


def test_the_words_of_an_own_threshold_are_read_where_it_gives_no_keys(tmp_path: Path) -> None:
    """Conditions, sizes and weights that a person wrote as words hold as keys do; keys go first."""
    text = (SHIPPED / "soybean-looper.toml").read_text("utf-8")
    words = """
[[thresholds]]
region = "TN"
first = "R1"
last = "R6"
value = 38
what = "{what}"
per = 25
of = "sweeps"
source = "own"
tag = "OWN"
"""
    what = "large worms, each looper counted twice,"
    read = words.format(what=what) + 'note = "seed beans; mine"'
    keyed = words.format(what="large worms") + 'large_only = false\ncondition = ""\nnote = "a; b"'
    season = good(folder(tmp_path, {"mine.toml": text + read + keyed}))
    *_, one, other = season.knowledge.pests["soybean-looper"].thresholds
    assert (one.life_stage, one.large_only, one.use, one.condition, one.note) == (
        "larvae", True, ("seed",), "", "mine",
    )  # fmt: skip
    assert [(w.pest, w.counts_as) for w in one.weights] == [("soybean-looper", 2.0)]
    assert (other.life_stage, other.large_only, other.condition, other.note) == (
        "larvae", False, "", "a; b",
    )  # fmt: skip
