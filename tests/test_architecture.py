"""The shape of the project: rooms, words, clock, sizes, provenance, what the repository holds."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest

from stagecast.knowledge.loader import load, provenances
from stagecast.knowledge.quantities import UNVERIFIED, Tag

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "stagecast"
KNOWLEDGE = PACKAGE / "knowledge"

ROOMS = (
    "base", "knowledge", "phenology", "weather", "season", "forecast", "pests", "counts", "visits",
    "week", "region", "words", "guide", "screens", "files", "pages", "desk", "cli",
)  # fmt: skip
"""From the ground up: a room may import those before it."""

LONGEST_MODULE = 500
CLOCK = {"today", "now", "utcnow", "localtime", "gmtime", "ctime", "time_ns"}
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml",
    "stagecast", "tests", "weather_fixtures", "demo",
}  # fmt: skip

MODULES = sorted(PACKAGE.rglob("*.py"))


@cache
def tree(module: Path) -> ast.Module:
    """The syntax tree of a module."""
    return ast.parse(module.read_text("utf-8"), str(module))


def name(module: Path) -> str:
    """A module as people call it: weather/gaps.py."""
    return module.relative_to(PACKAGE).as_posix()


def imports(nodes: Iterator[ast.AST]) -> set[str]:
    """Dotted names of all modules that are imported."""
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            assert node.module is not None
            found.add(node.module)
            if node.module == "stagecast":
                found.update(f"stagecast.{alias.name}" for alias in node.names)
    return found


def ours(names: set[str]) -> set[str]:
    """Rooms and base modules among imported names."""
    return {n.split(".")[1] for n in names if n.startswith("stagecast.")}


def foreign(names: set[str]) -> set[str]:
    """Top-level names that are neither ours nor in the standard library."""
    tops = {n.partition(".")[0] for n in names}
    return tops - {"stagecast"} - set(sys.stdlib_module_names)


def in_rooms(*rooms: str) -> list[Path]:
    """The modules of some rooms."""
    return [m for m in MODULES if m.relative_to(PACKAGE).parts[0] in rooms]


# --- imports --------------------------------------------------------------------------------


def test_every_module_lives_in_a_known_room_or_at_the_base() -> None:
    """A new room has to be given its place in the order before it can be imported."""
    folders = {p.name for p in PACKAGE.iterdir() if p.is_dir() and p.name != "__pycache__"}
    assert folders == set(ROOMS)
    assert {p.stem for p in PACKAGE.glob("*.py")} == {"__init__", "__main__"}


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_import_downwards_only(room: str) -> None:
    """Anywhere in a module, also inside functions, only the room itself and lower ones."""
    allowed = {*ROOMS[: ROOMS.index(room) + 1]}
    wrong = {
        f"{name(m)} -> {target}"
        for m in in_rooms(room)
        for target in ours(imports(ast.walk(tree(m)))) - allowed
    }
    assert wrong == set()


def test_phenology_is_pure_numpy() -> None:
    """The science needs numpy, the standard library, its parameters and the errors, no more."""
    for module in in_rooms("phenology"):
        found = imports(ast.walk(tree(module)))
        assert foreign(found) <= {"numpy"}, name(module)
        assert ours(found) <= {"phenology", "knowledge", "base"}, name(module)
        assert not found & {"os", "pathlib", "time", "io", "sqlite3", "socket"}, name(module)


def test_commands_import_only_typer_at_the_top() -> None:
    """What is heavy comes in when a command runs; types may be imported for checking."""
    for module in in_rooms("cli"):
        assert foreign(imports(iter(tree(module).body))) <= {"typer"}, name(module)


def test_pandas_stays_in_the_worker() -> None:
    """Data frames and the weather library are imported by one module, which runs apart."""
    users = {name(m) for m in MODULES if {"pandas", "meteostat"} & foreign(
        imports(ast.walk(tree(m))))}  # fmt: skip
    assert users == {"weather/sources/_meteostat_worker.py"}


# --- words ----------------------------------------------------------------------------------

BELOW_WORDS = ROOMS[: ROOMS.index("words")]
TAKES_APART = {
    "startswith", "endswith", "removeprefix", "removesuffix", "partition", "rpartition", "split",
    "rsplit", "find", "rfind", "index", "match", "search", "fullmatch", "findall", "finditer",
    "sub",
}  # fmt: skip
"""Methods of text, and of regular expressions, that look into it."""


READS = ("base/", "season/", "weather/", "knowledge/loader.py", "knowledge/texts.py")
"""Where text of people, of their files and of services is read: it is taken apart there, and only
there. Sentences of ours are compared in none of them."""

CODES = {"stage", "STAGE_ORDER", "STAGES"}
"""Growth stages are codes (V4, R3), whose letter tells the phase; they are no sentences."""

TYPED_BY_PEOPLE = {
    "week/asked.py: name.split(',')": "fields that a person names in one option",
    "pests/thresholds.py: threshold.what.removesuffix('s')": "one bug where a file says bugs",
}
"""Calls elsewhere, and whose text they look into."""


def typed_values() -> set[str]:
    """All texts that a type of ours lists, as ``Literal["below", "no threshold"]``."""
    return {
        part.value
        for module in MODULES
        for node in ast.walk(tree(module))
        if isinstance(node, ast.Subscript) and ast.unparse(node.value).endswith("Literal")
        for part in ast.walk(node.slice)
        if isinstance(part, ast.Constant) and isinstance(part.value, str)
    }


def texts(node: ast.AST) -> set[str]:
    """All texts that stand in a piece of code."""
    constants = (n.value for n in ast.walk(node) if isinstance(n, ast.Constant))
    return {value for value in constants if isinstance(value, str)}


def compared(module: Path) -> Iterator[tuple[int, str]]:
    """Texts with a blank that are compared, looked for, or looked into for; with their lines."""
    for node in ast.walk(tree(module)):
        parts: list[ast.expr] = []
        if isinstance(node, ast.Compare):
            parts = [node.left, *node.comparators]
        elif isinstance(node, ast.Match):
            parts = [n.value for n in ast.walk(node) if isinstance(n, ast.MatchValue)]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            parts = node.args if node.func.attr in TAKES_APART else []
        for part in parts:
            if isinstance(part, (ast.Constant, ast.Tuple, ast.Set, ast.List)):
                yield from ((part.lineno, text) for text in texts(part) if " " in text.strip())


@pytest.mark.parametrize("room", BELOW_WORDS)
def test_no_sentence_is_compared_below_the_words(room: str) -> None:
    """Nothing is decided by a sentence: what is compared is a value that a type lists."""
    known = typed_values() | OTHERS_WORDS
    found = {f"{name(m)}: {text}" for m in in_rooms(room) for _, text in compared(m)}
    assert {one for one in found if one.partition(": ")[2] not in known} == set()


OTHERS_WORDS = {
    "Cannot overwrite", "Cannot declare", "Cannot mutate",  # what Python's TOML reader says
}  # fmt: skip


def taken_apart(module: Path) -> Iterator[str]:
    """Calls that look into a text of which the code does not know that it is a code."""
    for node in ast.walk(tree(module)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        of = ast.unparse(node.func.value).rpartition(".")[2]
        if node.func.attr in TAKES_APART and any(map(texts, node.args)) and of not in CODES:
            yield f"{name(module)}: {ast.unparse(node)}"


@pytest.mark.parametrize("room", BELOW_WORDS)
def test_no_text_is_taken_apart_but_where_it_is_read(room: str) -> None:
    """Text of people and of files is understood where it comes in; from there on it has a type."""
    modules = [m for m in in_rooms(room) if not name(m).startswith(READS)]
    calls = {call for m in modules for call in taken_apart(m)}
    assert calls - TYPED_BY_PEOPLE.keys() == set()


# --- clock and size -------------------------------------------------------------------------


def clock_reads(module: Path) -> list[int]:
    """Lines on which the wall clock is read or could be."""
    lines = []
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Attribute):
            of_time = isinstance(node.value, ast.Name) and node.value.id == "time"
            if node.attr in CLOCK or (of_time and node.attr == "time"):
                lines.append(node.lineno)
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            lines += [node.lineno for a in node.names if a.name in {"time", *CLOCK}]
    return lines


def test_the_clock_is_read_in_one_place() -> None:
    """Below the commands nothing knows what day it is; there, one function asks."""
    reads = {name(m): len(lines) for m in MODULES if (lines := clock_reads(m))}
    assert reads == {"cli/options.py": 1}


@pytest.mark.parametrize("module", MODULES, ids=name)
def test_modules_are_short(module: Path) -> None:
    """One concept each: what grows beyond this length holds two."""
    assert len(module.read_text("utf-8").splitlines()) <= LONGEST_MODULE


MOST_MODULES = 16


def test_a_folder_is_seen_at_a_glance() -> None:
    """No room has more modules than a reader keeps in mind, and none is made for one alone."""
    sizes = Counter(m.parent for m in MODULES if m.name != "__init__.py" and m.parent != PACKAGE)
    assert {name(f): n for f, n in sizes.items() if not 2 <= n <= MOST_MODULES} == {}


def test_a_class_has_a_name_of_its_own() -> None:
    """A public class is called as no other is, so that its name says which is meant."""
    classes = Counter(
        node.name
        for module in MODULES
        for node in ast.walk(tree(module))
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    )
    assert [one for one, times in classes.items() if times > 1] == []


# --- dead code ------------------------------------------------------------------------------

CALLED_BY_OTHERS = {
    "Witness.emit": "logging calls it on its handlers",
    "_Packer.persistent_id": "pickle calls it on its own kind",
    "_Packer.reducer_override": "pickle calls it on its own kind",
    **dict.fromkeys(
        (
            "Door.connection_made",
            "Door.connection_lost",
            "Door.data_received",
            "Door.pause_writing",
            "Door.resume_writing",
            "Door.send_400_response",
            "Door.shutdown",
        ),
        "asyncio and uvicorn call them on a connection",
    ),
}
"""What no line of ours names, and who calls it."""


def public(module: Path) -> Iterator[tuple[str, ast.AST]]:
    """Public functions and classes of a module with their methods; decorators register the rest."""
    for node in tree(module).body:
        inner = node.body if isinstance(node, ast.ClassDef) else []
        for one, whose in ((node, ""), *((n, f"{node.name}.") for n in inner)):
            if not isinstance(one, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
                continue
            if not one.name.startswith("_") and not set(map(decorator, one.decorator_list)) - KNOWN:
                yield f"{whose}{one.name}", one


KNOWN = {"property", "cached_property", "classmethod", "staticmethod", "dataclass", "cache"}
KNOWN |= {"lru_cache", "contextmanager", "override", "runtime_checkable", "total_ordering"}
"""Decorators that hand a function to nobody who would call it."""


def decorator(node: ast.expr) -> str:
    """Its bare name."""
    called = node.func if isinstance(node, ast.Call) else node
    return ast.unparse(called).rpartition(".")[2]


def named(node: ast.AST) -> Iterator[str]:
    """All names that are read in a piece of code, and texts that could be a name."""
    for one in ast.walk(node):
        if isinstance(one, ast.Name):
            yield one.id
        elif isinstance(one, ast.Attribute):
            yield one.attr
        elif isinstance(one, ast.Constant) and str(one.value).isidentifier():
            yield str(one.value)


def test_what_is_public_is_used() -> None:
    """No function, class or method is there for tests alone: code or a page's template names it."""
    used = Counter(word for module in MODULES for word in named(tree(module)))
    for template in (PACKAGE / "pages" / "templates").glob("*.html"):
        used.update(re.findall(r"\w+", template.read_text("utf-8")))
    unused = {
        f"{name(module)}: {called}"
        for module in MODULES
        for called, node in public(module)
        if called not in CALLED_BY_OTHERS
        and used[called.rpartition(".")[2]] <= Counter(named(node))[called.rpartition(".")[2]]
    }
    assert unused == set()


# --- the repository -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tracked() -> list[Path]:
    """The files under version control, relative to the root."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, timeout=600
        )
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    names = [Path(n) for n in listed.stdout.decode("utf-8").split("\0") if n]
    if not names:
        pytest.skip("no file is under version control here")
    return [n for n in names if (ROOT / n).is_file()]


def test_the_top_level_holds_only_what_belongs_there(tracked: list[Path]) -> None:
    """A visitor sees a handful of names, and each is known."""
    tops = {path.parts[0] for path in tracked}
    assert {top for top in tops if not top.startswith(".")} == TOP_LEVEL


def test_no_file_names_a_machine_or_a_registry(tracked: list[Path]) -> None:
    """Nothing in the repository works on one computer or from one mirror only."""
    forbidden = [
        "/wo" + "rk/", "/ho" + "me/", "/ro" + "ot/", "/Us" + "ers/", "/t" + "mp/", "C:" + "\\Users",
        "python" + "hosted", "pypi" + ".org", "index" + "-url", "trusted" + "-host",
    ]  # fmt: skip
    found = [
        f"{path}: {word}"
        for path in tracked
        for word in forbidden
        if word.encode("ascii") in (ROOT / path).read_bytes()
    ]
    assert found == []


def test_observations_are_not_committed(tracked: list[Path]) -> None:
    """The tables under version control are the invented ones, each in its folder."""
    tables = {path.parts[0] for path in tracked if path.suffix in {".csv", ".gz", ".db", ".xlsx"}}
    assert tables <= {"demo", "weather_fixtures"}


# --- knowledge ------------------------------------------------------------------------------

UNIT_IN_KEY = (
    "_c",
    "_days",
    "month",
    "day",
    "days",
    "most",
    "counts_as",
    "plants",
    "percent",
    "_in",
    "north_of",
    "south_of",
    "east_of",
    "west_of",
)
UNIT_BESIDE = {"unit", "of", "days", "price_low"}
"""Keys that give a number its unit: in words, as what is counted per so many of, as days, or as a
table of prices, which are $/bu and $/acre."""

ORDINALS = {"rank"}
"""Keys of numbers that say an order of ours, not a fact about crop or pest."""

TABLES = sorted(KNOWLEDGE.rglob("*.toml"))


def numbers(value: Any, key: str, tables: tuple[dict[str, Any], ...]) -> Iterator[tuple]:
    """Every number with its key and the tables around it, the innermost last."""
    if isinstance(value, dict):
        for inner, item in value.items():
            yield from numbers(item, inner, (*tables, value))
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item, key, tables)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield key, tables


@pytest.mark.parametrize("file", TABLES, ids=lambda path: path.stem)
def test_every_number_has_unit_source_and_tag(file: Path) -> None:
    """In every knowledge file: a unit beside the number or in its key, a source and a tag."""
    for key, tables in numbers(tomllib.loads(file.read_text("utf-8")), "", ()):
        if key in ORDINALS:
            continue
        assert UNIT_BESIDE & tables[-1].keys() or key.endswith(UNIT_IN_KEY), key
        assert any({"source", "tag"} <= set(table) for table in tables), key


def values_of(key: str, value: Any) -> Iterator[str]:
    """All texts that stand under a key, at any depth."""
    if isinstance(value, dict):
        for inner, item in value.items():
            if inner == key and isinstance(item, str):
                yield item
            yield from values_of(key, item)
    elif isinstance(value, list):
        for item in value:
            yield from values_of(key, item)


def cited(key: str) -> set[str]:
    """All texts under a key in all knowledge files but the list of sources."""
    tables = [t for t in TABLES if t.name != "sources.toml"]
    return {v for t in tables for v in values_of(key, tomllib.loads(t.read_text("utf-8")))}


def test_sources_resolve_and_each_is_used() -> None:
    """No value cites what is not listed, and no reference is listed that nothing cites."""
    assert cited("source") == set(load().sources)


def test_own_choices_and_practice_are_tagged_as_such() -> None:
    """A number of ours never looks like one that was read or cited."""
    kinds = {"own": {"OWN"}, "practice": {"PRACTICE"}}
    wrong = [
        place
        for place, item in provenances(load())
        if item.source in kinds and item.tag not in kinds[item.source]
    ]
    assert wrong == []


def test_every_tag_is_documented_and_in_the_list() -> None:
    """Each tag is explained beside the list, and the files use no other."""
    module = tree(KNOWLEDGE / "quantities.py")
    texts = [
        node.value.value
        for node in module.body
        if isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    ]
    tags = set(get_args(Tag))
    for tag in tags:
        assert any(f"{tag}: " in text for text in texts), tag
    assert cited("tag") <= tags
    assert tags >= UNVERIFIED == {"MEMORY"}
