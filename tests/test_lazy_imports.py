"""``--help`` answers at once: what is heavy is imported by the command that needs it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
import typer
from commands import process_environment
from season_builder import StationFile, build_season, day

from stagecast.cli.main import COMMANDS, HELP, command_line

HEAVY = {"pandas", "numpy", "scipy", "meteostat", "rich", "requests", "sqlite3"}
NEVER_FOR_STATION_FILES = {"pandas", "meteostat", "scipy", "requests", "urllib3", "ssl"}

SCRIPT = """
import contextlib, io, json, sys
from stagecast.cli.main import run
for arguments in json.loads(sys.argv[1]):
    with contextlib.redirect_stdout(io.StringIO()):
        try:
            run(arguments)
        except SystemExit as end:
            assert not end.code, arguments
print(json.dumps(sorted(sys.modules)))
"""


def modules(*commands: list[str], **environment: str) -> set[str]:
    """Names of all modules in a fresh process that has run the commands."""
    ran = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps(commands)],
        env={**process_environment(), **environment},
        capture_output=True,
        check=True,
        text=True,
        timeout=600,
    )
    return set(json.loads(ran.stdout))


def loaded(*commands: list[str]) -> set[str]:
    """Top-level names of the same."""
    return {name.partition(".")[0] for name in modules(*commands)}


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A season with one field and two years of one station."""
    station = StationFile(first=day(1, 1).replace(year=2025), last=day(6, 20))
    return str(build_season(tmp_path_factory.mktemp("season"), stations=[station]))


def test_help_imports_nothing_heavy() -> None:
    """No numbers, no models, no tables and no network library are loaded for a help page."""
    names = loaded(["--help"], ["plan", "--help"], ["weather", "--help"])
    assert {"stagecast", "typer"} <= names
    assert names & HEAVY == set()


def test_the_list_of_commands_needs_none_of_their_options() -> None:
    """Where only the list is asked for it has the same lines, and pydantic is not loaded."""
    short, whole = (typer.main.get_command(command_line(asked)) for asked in (HELP, None))
    pages = [one.get_help(typer.Context(one, info_name="stagecast")) for one in (short, whole)]
    assert pages[0] == pages[1]
    assert all(f"\n  {name} " in pages[0] for name in COMMANDS)
    assert loaded([HELP]) & {"pydantic", "pydantic_core"} == set()


def test_a_command_loads_no_other_command() -> None:
    """The help of one command imports its own module of the command line, and what all share."""
    for name in ("guide", "week"):
        here = {one for one in modules([name, HELP]) if one.startswith("stagecast.cli.")}
        assert here == {f"stagecast.cli.{one}" for one in ("main", "options", COMMANDS[name])}


def test_station_files_need_no_data_frame_and_no_network_library(season: str) -> None:
    """check, weather and plan of a season with station files load numpy, and nothing beyond it."""
    as_of = ["--as-of", "2026-06-20"]
    names = loaded(
        ["check", season, *as_of],
        ["weather", season, "--through", "2026-06-20"],
        ["plan", season, *as_of],
    )
    assert "numpy" in names
    assert names & NEVER_FOR_STATION_FILES == set()
