"""What the documents promise, held against the code."""

from __future__ import annotations

import importlib
import json
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from typing import Any, get_args

import pytest
import typer
from commands import process_environment, said
from documents import DEVELOPERS, FOR_PEOPLE, GUIDE, README, ROOT, fences, keys_said, quoted

import stagecast.base.errors
from stagecast.base.errors import StagecastError
from stagecast.cli.main import command_line
from stagecast.knowledge.quantities import Tag
from stagecast.season.tables import visits as visit_columns
from stagecast.season.tables.fields import COLUMNS, OPTIONAL_COLUMNS
from stagecast.season.tables.visits import VISITS_FILE

CI = (ROOT / ".ci" / "run").read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def leaves(commands: dict[str, Any], above: str = "") -> dict[str, Any]:
    """Every command by its whole name, those below another included."""
    found: dict[str, Any] = {}
    for name, command in commands.items():
        below = getattr(command, "commands", None)
        found |= leaves(below, f"{above}{name} ") if below else {f"{above}{name}": command}
    return found


MAIN = typer.main.get_command(command_line())
COMMANDS = leaves(MAIN.commands)  # type: ignore[attr-defined]
JSON_COMMANDS = ("stages", "windows", "revisit")
ROOMS = (
    "base", "knowledge", "phenology", "weather", "season", "forecast", "pests", "counts", "visits",
    "week", "words", "guide", "screens", "files", "pages", "desk", "cli",
)  # fmt: skip


# --- commands -------------------------------------------------------------------------------


def test_the_first_two_commands_run_the_demo_and_the_tests() -> None:
    """A visitor who copies the first two blocks sees the main job done, and the tests pass."""
    first, second, *_ = fences("sh", README)
    assert first.count("\n") == second.count("\n") == 1
    assert first.rstrip().endswith("-m stagecast demo")
    assert "-m pytest" in second


def test_ci_tests_as_the_readme_says() -> None:
    """The test command of .ci/run is the README's, and both install what the pins name."""
    first, second, *_ = fences("sh", README)
    assert second.strip() in [line.strip() for line in CI.splitlines()]
    assert '-e ".[dev]" -c .ci/pins.txt' in first
    assert "--require-hashes -r .ci/constraints.txt" in CI
    assert "-m ruff check ." in CI
    assert "-m mypy" in CI


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_guide_with_its_options(command: str) -> None:
    """The table has a line for each command, and each of its options is explained."""
    folder = r"(\[NAME\] )?(DIR|\[DIR\]|FIELDS|\[TOPIC\])( FIELD| \[(FIELD|GROWER)\]| FILE)?"
    row = rf"^\| `stagecast {command} {folder}` \| \S"
    assert re.search(row, GUIDE["commands"], re.MULTILINE)
    options = [o for p in COMMANDS[command].params for o in p.opts if o.startswith("--")]
    for option in options:
        if option != "--help":
            assert re.search(rf"`{option}( \S|`)", "".join(GUIDE.values())), option


@pytest.mark.parametrize("document", FOR_PEOPLE)
def test_no_command_or_option_is_named_that_is_not_there(document: str) -> None:
    """What a person can copy from the README and the guide exists."""
    known = {o for c in (MAIN, *COMMANDS.values()) for p in c.params for o in p.opts}
    page = FOR_PEOPLE[document]
    for text in quoted(page) | set(" ".join(fences("sh", page)).split("\n")):
        for option in re.findall(r"(?<!\S)--[a-z-]+", text):
            assert option in known, option
        for command in re.findall(r"\bstagecast ([a-z]+)", text):
            assert command in {name.partition(" ")[0] for name in COMMANDS}, command


def test_exit_codes_are_documented() -> None:
    """The guide gives every exit code an error of ours can have, and 1 for a reader gone."""
    kinds = [v for v in vars(stagecast.base.errors).values() if isinstance(v, type)]
    codes = {k.exit_code for k in kinds if issubclass(k, StagecastError)}
    (text,) = re.findall(r"Exit codes: (.*?)\.\n", GUIDE["commands"], re.DOTALL)
    assert {int(code) for code in re.findall(r"\b\d\b", text)} == {0, 1, *codes}


# --- files and JSON ------ -----------------------------------------------------------------


def test_season_files_are_described_with_their_columns() -> None:
    """Every column of fields.csv and visits.csv stands in the table of files."""
    (fields,) = re.findall(r"^\| `fields.csv` \| (.*)$", GUIDE["files"], re.MULTILINE)
    assert f"`{', '.join(COLUMNS)}`" in fields
    assert all(f"`{column}`" in fields for column in OPTIONAL_COLUMNS)
    (visits,) = re.findall(rf"^\| `{VISITS_FILE}` \| (.*)$", GUIDE["files"], re.MULTILINE)
    assert f"`{', '.join(visit_columns.COLUMNS)}`" in visits
    assert all(f"`{column}`" in visits for column in visit_columns.OPTIONAL_COLUMNS)


def shape(value: Any) -> Any:
    """Keys of a document at every depth, with one item standing for a list."""
    if isinstance(value, dict):
        return {key: shape(item) for key, item in value.items()}
    if isinstance(value, list):
        return [shape(value[0])] if value else []
    return None


@pytest.mark.parametrize("command", JSON_COMMANDS)
def test_documented_json_has_the_keys_that_are_printed(command: str, demo: Path) -> None:
    """The guide's example and the real output have the same keys, in the same order."""
    example = json.loads(fences("json", GUIDE["json"])[JSON_COMMANDS.index(command)])
    real = json.loads(said(command, demo, "--as-of", "2026-07-07", "--format", "json"))
    if command == "stages":
        for key in ("stages", "stages_before_seen"):
            stages = example["fields"][0][key]
            (shown,) = stages.values()
            for dates in real["fields"][0][key].values():
                assert list(dates) == list(shown)
            real["fields"][0][key] = {
                name: dates for name, dates in real["fields"][0][key].items() if name in stages
            }
    assert json.dumps(shape(real)) == json.dumps(shape(example))
    order = ", by need" if command == "revisit" else ""
    heading = f"`{command}`{order}:\n\n```json\n"
    assert GUIDE["json"].count(heading) == 1


def holds(real: Any, example: Any) -> bool:
    """Whether an example is part of what was printed; a list may be shortened."""
    if isinstance(example, dict):
        return all(holds(real[key], part) for key, part in example.items())
    if isinstance(example, list):
        return all(any(holds(item, part) for item in real) for part in example)
    if isinstance(example, str):
        return str(real).startswith(example)
    return bool(real == example)


@pytest.mark.parametrize("command", JSON_COMMANDS)
def test_documented_json_is_that_of_the_demo(command: str, demo: Path) -> None:
    """Every date and number of the guide's example is what the demo prints; texts are cut."""
    example = json.loads(fences("json", GUIDE["json"])[JSON_COMMANDS.index(command)])
    real = json.loads(said(command, demo, "--as-of", "2026-07-07", "--format", "json"))
    assert holds(real, example)


def test_documented_json_stages_are_those_printed(demo: Path) -> None:
    """The guide says which stages there are."""
    real = json.loads(said("stages", demo, "--as-of", "2026-07-07", "--format", "json"))
    assert "`stages` has VE, VC, V1 to V4 and R1 to R8" in GUIDE["json"]
    expected = ["VE", "VC", *(f"V{i}" for i in range(1, 5)), *(f"R{i}" for i in range(1, 9))]
    assert list(real["fields"][0]["stages"]) == expected


def test_documented_plan_keys_are_those_printed(demo: Path) -> None:
    """The plan's document has the keys named in its paragraph besides those of revisit."""
    named = keys_said("`plan` has ") - {"revisit"}
    real = json.loads(said("plan", demo, "--as-of", "2026-07-07", "--format", "json"))
    revisit = json.loads(said("revisit", demo, "--as-of", "2026-07-07", "--format", "json"))
    field = real["fields"][0]
    own = set(field) - set(revisit["visits"][0])
    assert set(revisit["visits"][0]) <= set(field)
    assert named == {*real, *own, *field["windows"][0], *real["week"][0]}


# --- DEVELOPERS -----------------------------------------------------------------------------


@pytest.mark.parametrize("room", ROOMS)
def test_the_map_shows_every_room(room: str) -> None:
    """A newcomer finds each folder of the package in the table."""
    assert re.search(rf"^\| (`\w+/`, )?`{room}/`(, `\w+/`)? \| \S", DEVELOPERS, re.MULTILINE)


def test_files_and_names_in_the_documents_exist() -> None:
    """Every path, module and function in back quotes is there."""
    bases = (ROOT, ROOT / "stagecast", ROOT / "stagecast" / "knowledge")
    for text in quoted(DEVELOPERS):
        path = re.fullmatch(r"[a-z_./-]*\.(py|toml|md|csv)|[a-z_]+/", text)
        if path and not any((base / text).exists() for base in bases):
            pytest.fail(f"there is no {text}")
        if re.fullmatch(rf"({'|'.join(ROOMS)})(\.[A-Za-z_]+)+", text) and not path:
            resolve(text)


def resolve(dotted: str) -> object:
    """The object behind weather.quality.screen; fails when there is none."""
    parts = dotted.split(".")
    found: object = importlib.import_module(f"stagecast.{parts[0]}")
    for i, part in enumerate(parts[1:], start=2):
        try:
            found = importlib.import_module(f"stagecast.{'.'.join(parts[:i])}")
        except ModuleNotFoundError:
            assert hasattr(found, part), dotted
            found = getattr(found, part)
    return found


@pytest.mark.parametrize("tag", get_args(Tag))
def test_developers_know_every_tag(tag: str) -> None:
    """Each provenance tag is named where numbers are spoken of."""
    assert re.search(rf"\b{tag}\b", DEVELOPERS)


def test_every_short_how_to_is_there() -> None:
    """Pests, units, weather sources and outputs: how to add each is said once."""
    headings = re.findall(r"^## (.*)$", DEVELOPERS, re.MULTILINE)
    for thing in ("a pest", "a unit", "a weather source", "an output"):
        assert headings.count(f"How to add {thing}") == 1


# --- what is installed ----------------------------------------------------------------------


def test_the_version_is_said_once_alike() -> None:
    """The package and its metadata name the same version."""
    assert stagecast.__version__ == PROJECT["project"]["version"]


def test_a_wheel_holds_the_knowledge_and_the_demo(tmp_path: Path) -> None:
    """What is installed elsewhere finds its numbers, its types, the guide and the demo season.

    The wheel is unpacked and the demo runs from it, out of reach of the repository.
    """
    pytest.importorskip("hatchling", reason="the build backend is not installed here")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=600)
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        archive.extractall(tmp_path / "site")
    package = ROOT / "stagecast"
    tables = {str(p.relative_to(ROOT).as_posix()) for p in package.rglob("*.toml")}
    modules = {str(p.relative_to(ROOT).as_posix()) for p in package.rglob("*.py")}
    guide = {str(p.relative_to(ROOT).as_posix()) for p in package.rglob("*.md")}
    assert tables | modules | guide | {"stagecast/py.typed"} <= names
    assert not any(n.startswith(("tests/", ".")) or "__pycache__" in n for n in names)
    ran = subprocess.run(
        [sys.executable, "-c", "from stagecast.cli.main import run; run(['demo', 'season'])"],
        cwd=tmp_path,
        env=process_environment({"PYTHONPATH": str(tmp_path / "site")}),
        capture_output=True,
        timeout=600,
        check=False,
    )
    assert ran.stderr == b""
    assert b"The week" in ran.stdout
