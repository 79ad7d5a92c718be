"""The second command of a morning says what it says without anything kept, byte for byte."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from commands import Ran, run_command

from stagecast.visits.season_day import SeasonDay

DAY = ("--as-of", "2026-07-07")
COMMANDS = (
    ("today",), ("today", "--format", "json"), ("plan",), ("plan", "--all", "--notes"),
    ("plan", "--format", "json"), ("week",), ("week", "--explain", "--looks", "--notes"),
    ("week", "--format", "json"), ("week", "--off", "2026-07-08"), ("check",), ("stages",),
    ("windows", "--format", "csv"), ("revisit",), ("alerts", "--all", "--format", "json"),
    ("assess", "F07"), ("history", "F07"), ("stages", "--field", "F07"),
)  # fmt: skip


def _ran(season: Path, command: tuple[str, ...], environment: dict[str, str]) -> Ran:
    name, *options = command
    return run_command(name, season, *DAY, *options, screen=environment)


def _at(place: Path) -> dict[str, str]:
    """The environment of somebody whose caches lie there."""
    return {"STAGECAST_CACHE": "", "XDG_CACHE_HOME": str(place)}


def test_what_is_kept_changes_no_byte(
    own_logged: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command prints the same with nothing kept, as the first and as a later one."""
    without = {command: _ran(own_logged, command, {}) for command in COMMANDS}
    assert {ran.code for ran in without.values()} == {0}
    caches = _at(tmp_path / "caches")
    assert _ran(own_logged, COMMANDS[0], caches) == without[COMMANDS[0]]

    def read_again(*_: object, **__: Any) -> SeasonDay:
        raise AssertionError("the season was read again")

    monkeypatch.setattr(SeasonDay, "open", read_again)
    for command in COMMANDS:
        assert _ran(own_logged, command, caches) == without[command], command


def test_a_cache_that_cannot_be_used_changes_no_byte(own_logged: Path, tmp_path: Path) -> None:
    """A place for caches that is a file, or garbage in it: the same screen and no other word."""
    plain = _ran(own_logged, ("today",), {})
    taken = tmp_path / "a file"
    taken.touch()
    assert _ran(own_logged, ("today",), _at(taken)) == plain
    caches = tmp_path / "caches"
    assert _ran(own_logged, ("today",), _at(caches)) == plain
    (kept,) = (caches / "stagecast").iterdir()
    kept.write_bytes(kept.read_bytes()[:-1])
    assert _ran(own_logged, ("today",), _at(caches)) == plain


def test_a_morning_that_is_off_keeps_nothing(own_logged: Path, tmp_path: Path) -> None:
    """With STAGECAST_CACHE=off no folder is made and no file written."""
    environment = {**_at(tmp_path / "caches"), "STAGECAST_CACHE": "off"}
    assert _ran(own_logged, ("today",), environment).code == 0
    assert not (tmp_path / "caches").exists()
