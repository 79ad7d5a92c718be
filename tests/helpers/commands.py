"""Run commands as a person would, and keep what they printed."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from unittest.mock import patch

import typer.main

from stagecast.cli.main import run

ROOT = Path(__file__).resolve().parents[2]
WIDE = 240
"""Columns of a screen on which no cell of the demo is wrapped."""

# The parser is made from the same functions every time, which a process need do only once.
typer.main.get_command = cache(typer.main.get_command)

_SCREEN_SETTINGS = ("COLUMNS", "LINES", "FORCE_COLOR", "NO_COLOR", "TERM", "COLORTERM")


@dataclass(frozen=True)
class Ran:
    """Exit code and what stood on each stream."""

    code: int
    out: str
    err: str


def run_command(
    *arguments: str | Path, columns: int = 80, screen: Mapping[str, str] | None = None
) -> Ran:
    """Run one command in this process, on a screen of known width and kind."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with (
        patch.dict(os.environ, _screen(columns, screen), clear=True),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            run([str(argument) for argument in arguments])
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
    return Ran(code, out.getvalue(), err.getvalue())


@cache
def said(*arguments: str | Path, columns: int = 80) -> str:
    """What a command that must succeed prints; kept, so only for folders that stay as they are."""
    ran = run_command(*arguments, columns=columns)
    assert ran.code == 0, ran.err
    assert ran.err == ""
    return ran.out


def printed(show: Callable[[], None], *, columns: int = 80) -> str:
    """What a function prints on a screen of a width."""
    out = io.StringIO()
    with (
        patch.dict(os.environ, _screen(columns, None), clear=True),
        contextlib.redirect_stdout(out),
    ):
        show()
    return out.getvalue()


def run_process(
    *arguments: str | Path, cwd: Path = ROOT, environment: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Run ``python -m stagecast`` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "stagecast", *map(str, arguments)],
        cwd=cwd,
        env=process_environment(environment),
        capture_output=True,
        timeout=600,
        check=False,
    )


def process_environment(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """The environment of this process, with a known screen and stagecast within reach."""
    return _screen(80, {"PYTHONPATH": str(ROOT), **(more or {})})


def _screen(columns: int, more: Mapping[str, str] | None) -> dict[str, str]:
    kept = {name: text for name, text in os.environ.items() if name not in _SCREEN_SETTINGS}
    return {**kept, "STAGECAST_CACHE": "off", "COLUMNS": str(columns), **(more or {})}


@contextlib.contextmanager
def as_nobody() -> Iterator[None]:
    """Without the superuser's pass through every permission, if we are the superuser."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
