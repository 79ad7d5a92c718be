"""The README and the guide are read as a person would, and every command in them is run."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from commands import Ran, run_command
from documents import FOR_PEOPLE, GUIDE, README, ROOT, fences, quoted
from region_builder import region_fields, region_weather, write_region

from stagecast.cli import options
from stagecast.guide.topics import ORDER

FARM = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [longitude, 36.4]},
            "properties": {"field_id": name, "grower": "Grower B", "area_acres": 40},
        }
        for name, longitude in (("F07", -88.9), ("F09", -88.8))
    ],
}
"""Two invented fields as a map tool may hand them over."""

DAYS = {
    "March": dt.datetime(2026, 3, 10, 8),
    "May": dt.datetime(2026, 5, 20, 17),
    "July": dt.datetime(2026, 7, 7, 5, 10),
    "A rain day": dt.datetime(2026, 7, 8, 12),
    "Friday": dt.datetime(2026, 7, 10, 16),
    "Next year": dt.datetime(2027, 3, 1, 8),
}
"""When the README's ten commands are typed, by the first words of the comment over them."""

NAMES = re.compile(r"stagecast( [a-z]+)?( (add|import|export))?")
"""A command that is only named in a sentence."""


def set_clock(monkeypatch: pytest.MonkeyPatch, moment: dt.datetime) -> None:
    """Let the one place that reads the clock read this."""
    clock = SimpleNamespace(datetime=SimpleNamespace(now=lambda: moment), date=dt.date)
    monkeypatch.setattr(options, "dt", clock)


def typed(line: str) -> Ran:
    """Run a line as it stands in a document."""
    program, *words = shlex.split(line, comments=True)
    assert program == "stagecast"
    return run_command(*words)


@pytest.fixture
def served_for_no_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A desk that ends at once; how it serves is tested with the desk."""
    from stagecast.desk import serve

    idle = SimpleNamespace(run=lambda **sockets: None)
    monkeypatch.setattr(serve, "server_of", lambda app, **others: idle)


# --- the README's season ----------------------------------------------------------------------


def by_hand(when: str, season: Path) -> None:
    """What the README says a person does between its commands."""
    if when != "May":
        return
    for file in (ROOT / "weather_fixtures").glob("*.csv"):
        shutil.copy(file, season / "weather" / file.name)
    fields = season / "fields.csv"
    with fields.open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    with fields.open("w", encoding="utf-8", newline="") as table:
        writer = csv.DictWriter(table, list(rows[0]))
        writer.writeheader()
        writer.writerows(
            {**row, "planting_date": "2026-05-04", "maturity_group": "4.7"} for row in rows
        )


def season_of_the_readme() -> Iterator[tuple[str, str]]:
    """When, and what is typed then."""
    block = fences("sh", README)[2]
    when = ""
    for line in filter(None, block.splitlines()):
        if line.startswith("#"):
            when = next(day for day in DAYS if line.startswith(f"# {day}"))
        else:
            yield when, line


def test_the_season_in_ten_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From an empty folder in March to next year's, typed as the README has it, on its days."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "farm.geojson").write_text(json.dumps(FARM), "utf-8")
    said: dict[str, str] = {}
    last = ""
    for when, line in season_of_the_readme():
        if when != last:
            by_hand(when, tmp_path / "my-season")
        set_clock(monkeypatch, DAYS[when])
        ran = typed(line)
        assert ran.code == 0, (line, ran.out, ran.err)
        said[line.split()[1]] = ran.out
        last = when
    assert len(list(season_of_the_readme())) == 10
    assert "2 fields added" in said["fields"]
    assert "F07" in said["today"]
    assert not re.search(r"Wed 8 Jul.*\b(0?[7-9]|1[0-2]):\d\d", said["week"])
    (letter,) = (tmp_path / "letters").glob("*grower-b.html")
    assert "stink bug" in letter.read_text("utf-8")
    fields = (tmp_path / "next-season" / "fields.csv").read_text("utf-8")
    assert "F07" in fields
    assert "2026-05-04" not in fields


# --- every command of the README and the guide --------------------------------------------------


def commands(document: str) -> list[str]:
    """The lines that can be typed: those of blocks, and whole ones within the text.

    A name alone is no such line, nor one with a word in capitals to be filled in, nor what writes
    into the shell's own files.
    """
    page = FOR_PEOPLE[document]
    lines = [line for block in fences("sh", page) for line in block.splitlines()]
    found = [*lines, *sorted(quoted(page))]
    return [
        line
        for line in dict.fromkeys(re.sub(r"\s+#.*", "", one) for one in found)
        if line.startswith("stagecast ")
        and not NAMES.fullmatch(line)
        and "--install-completion" not in line
        and not re.search(r"\b(DIR|FIELDS?|FILE|TOPIC|NAME|GROWER)\b", line)
    ]


@pytest.fixture
def beside_a_season(logged_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a season, a map, a log and a region, on 7 July."""
    shutil.copytree(logged_once, tmp_path / "my-season")
    shutil.copy(logged_once / "log.csv", tmp_path / "log.csv")
    (tmp_path / "farm.geojson").write_text(json.dumps(FARM), "utf-8")
    monkeypatch.chdir(tmp_path)
    set_clock(monkeypatch, DAYS["July"])
    return tmp_path


@pytest.mark.usefixtures("served_for_no_time")
@pytest.mark.parametrize("document", FOR_PEOPLE)
def test_every_command_can_be_typed(document: str, beside_a_season: Path) -> None:
    """Each ends well on a season in July; one that asks at a terminal has nobody to ask here."""
    if document == "region":
        cells = ("A", "B")
        write_region(beside_a_season, region_fields(20, cells=cells), region_weather(cells))
    for line in commands(document):
        folder = line.split()[2] if line.startswith("stagecast new ") else ""
        if (beside_a_season / folder).exists() and folder == "my-season":
            shutil.move(beside_a_season / folder, beside_a_season / "before")
        ran = typed(line)
        if line == "stagecast log add my-season F07":
            assert "nothing was given" in ran.err
        else:
            assert ran.code == 0, (line, ran.out, ran.err)
        if (beside_a_season / "before").exists():
            shutil.rmtree(beside_a_season / folder)
            shutil.move(beside_a_season / "before", beside_a_season / folder)


def test_most_topics_open_with_commands() -> None:
    """The check above has something to run: every topic but the words has a line to type."""
    assert {name for name in ORDER if not commands(name)} == {"words"}


# --- the guide at a terminal --------------------------------------------------------------------


def test_the_list_has_every_topic_with_a_line() -> None:
    """``guide`` alone names every file of the guide once, with what it is about."""
    out = run_command("guide").out
    assert set(ORDER) == set(GUIDE)
    for name in ORDER:
        assert len(re.findall(rf"^{name} +\S", out, re.MULTILINE)) == 1, name


@pytest.mark.parametrize("topic", ORDER)
def test_a_topic_fits_the_screen(topic: str) -> None:
    """At 80 columns no line is longer, and no word of its text is lost."""
    out = run_command("guide", topic).out
    assert max(map(len, out.splitlines())) <= 80
    shown = re.sub(r"\W+", "", out)
    for paragraph in GUIDE[topic].split("\n\n"):
        if paragraph[0].isalpha() and "](" not in paragraph:
            assert re.sub(r"\W+", "", paragraph) in shown, paragraph


@pytest.mark.parametrize("topic", ORDER)
def test_what_can_be_copied_is_not_broken(topic: str) -> None:
    """Every line of every block, of any kind, fits the screen whole."""
    blocks = fences(r"\w*", GUIDE[topic])
    assert len(blocks) * 2 == GUIDE[topic].count("```")
    shown = run_command("guide", topic).out.splitlines()
    for line in filter(None, "".join(blocks).splitlines()):
        assert len(line) <= 78
        assert f" {line}" in (one.rstrip() for one in shown)


@pytest.mark.parametrize(
    ("asked", "named"), [("cuonts", "counts"), ("Weater", "weather"), ("aphids", "counts")]
)
def test_an_unknown_topic_names_near_ones(asked: str, named: str) -> None:
    """By spelling, and else by which topics speak of the word; in one sentence."""
    ran = run_command("guide", asked)
    assert ran.code == 2
    assert ran.err.count("\n") == 1
    assert named in ran.err.partition("near to it:")[2]


def test_a_topic_that_nothing_is_near_to_leads_to_the_list() -> None:
    """A word that no topic knows is answered with how to see all of them."""
    assert "`stagecast guide`" in run_command("guide", "zzzz").err


# --- help -----------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [("--help",), ("log", "--help")])
def test_no_line_of_the_help_is_cut(words: tuple[str, ...]) -> None:
    """Each command's first sentence is short enough to stand in the list at 80 columns."""
    listed = run_command(*words).out.partition("Commands:\n")[2].splitlines()
    assert len(listed) > 2
    assert all(line.endswith(".") and not line.endswith("...") for line in listed)


# --- how the documents hang together ------------------------------------------------------------


def anchors(page: str) -> set[str]:
    """The anchors of a page's headings, as web pages of repositories make them."""
    found = re.findall(r"^#+ (.*)$", re.sub(r"^```.*?^```", "", page, flags=re.M | re.S), re.M)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in found}


@pytest.mark.parametrize("document", FOR_PEOPLE)
def test_links_lead_somewhere(document: str) -> None:
    """Every link is a file of the repository, and its anchor a heading there."""
    folder = ROOT if document == "README" else ROOT / "stagecast" / "guide"
    for target in re.findall(r"\]\(([^)]+)\)", FOR_PEOPLE[document]):
        path, _, anchor = target.partition("#")
        file = folder / path if path else None
        page = FOR_PEOPLE[document] if file is None else ""
        if file is not None:
            assert file.is_file(), target
            page = file.read_text("utf-8") if file.suffix == ".md" else ""
        assert not anchor or anchor in anchors(page), target


def test_the_readme_is_short_and_leads_to_every_topic() -> None:
    """At most 150 lines; the guide's topics are listed in its own order, with its own lines."""
    assert README.count("\n") <= 150
    listed = re.findall(r"^- \[(\w+)\]\(stagecast/guide/(\w+)\.md\): (.*)$", README, re.MULTILINE)
    lines = {name: GUIDE[name].split("\n")[2] for name in ORDER}
    assert [
        (name, name, f"{line[0].lower()}{line[1:]}".rstrip(".")) for name, line in lines.items()
    ] == listed
