"""The command line: commands, and the one place where errors become sentences.

Only typer is imported here. A command's module is imported when the command is asked for, and what
it needs when it runs, so that ``stagecast --help`` answers at once.
"""

from __future__ import annotations

import atexit
import gc
import io
import os
import shutil
import sys
import textwrap
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Annotated

import typer

import stagecast

COMPLETION = "_STAGECAST_COMPLETE"
"""Set by a shell that asks what may come next."""

HELP = "--help"

_COUNTS, _FORECASTS = "count_commands", "forecast_commands"
_PAGES, _PESTS, _SEASON = "page_commands", "pest_commands", "season_commands"

COMMANDS = {
    "new": _SEASON, "fields": _SEASON, "check": _SEASON, "weather": _SEASON, "demo": _SEASON,
    "today": _FORECASTS, "alerts": "alert_commands", "daily": "daily_command",
    "stages": _FORECASTS, "windows": _FORECASTS, "revisit": _FORECASTS, "plan": _FORECASTS,
    "skill": _FORECASTS, "pest": _PESTS, "sources": _PESTS, "assess": _COUNTS,
    "log": "log_commands", "history": _COUNTS, "week": "week_command",
    "pack": _PAGES, "brief": _PAGES, "letter": _PAGES, "desk": "desk_command",
    "overview": _PAGES, "region": "region_command", "guide": _PESTS,
}  # fmt: skip
"""Every command and its module here, in the order of the help."""


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"stagecast {stagecast.__version__}")
        raise typer.Exit


Version = Annotated[
    bool,
    typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit."),
]


def main(version: Version = False) -> None:
    """Which soybean fields to walk, on which day, and what to look for there.

    Without a command: what to do next in the folder where you stand; in a season under way, what
    to do this morning.
    """


def alone() -> None:
    """Say what to do next where one stands; in a season under way, this morning."""
    from stagecast.cli.options import now
    from stagecast.guide.next_steps import next_steps

    steps = next_steps(Path(), year=now().year)
    if not steps:
        from stagecast.cli.forecast_commands import today

        today(Path())
    width = shutil.get_terminal_size().columns
    for step in steps:
        typer.echo(textwrap.fill(step, width, subsequent_indent="   "))


@cache
def command_line(asked: str | None = None) -> typer.Typer:
    """The parser: of all commands, or of the one asked for, as all take longer than many an answer.

    Where ``asked`` is ``--help``, all are there by name, without their options.
    """
    app = typer.Typer(
        name="stagecast",
        help="Which soybean fields to walk, on which day, and what to look for there.",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(main)
    for name in (asked,) if asked in COMMANDS else COMMANDS:
        module = import_module(f"stagecast.cli.{COMMANDS[name]}")
        if name == "log":
            app.add_typer(module.app, name=name)
        else:
            command = getattr(module, name)
            app.command()(_listed(command) if asked == HELP else command)
    return app


def _listed(command: Callable[..., None]) -> Callable[[], None]:
    """A command as the list of all shows it, by its name and its first sentence."""

    def listed() -> None:
        raise AssertionError("help runs no command")

    listed.__name__, listed.__doc__ = command.__name__, command.__doc__
    return listed


SELDOM = 100_000
"""Objects made between two looks for garbage: a command makes many that stay, and then ends."""


def run(arguments: list[str] | None = None) -> None:
    """Run the command line; every expected failure is one sentence and an exit code.

    Exit codes: 0 done, 2 something in the input is wrong, 3 a weather service failed; 1, without
    a word, when whoever read our output stopped reading, as ``| head`` may.
    """
    from stagecast.base.errors import StagecastError

    gc.set_threshold(SELDOM)
    words = sys.argv[1:] if arguments is None else arguments
    atexit.register(gc.freeze)  # what is made is given back at once, not looked through first
    _write_utf8()
    try:
        if COMPLETION in os.environ:
            command_line()(args=words, standalone_mode=True)
        elif words:
            asked = words[0] if words[0] in COMMANDS or words == [HELP] else None
            command_line(asked)(args=words, standalone_mode=True)
        else:  # the parser would take longer than the answer
            alone()
    except StagecastError as error:
        for sentence in error.sentences():
            _say(sentence)
        sys.exit(error.exit_code)
    except OSError as error:
        _say(_told(error))
        sys.exit(2)


def _told(error: OSError) -> str:
    """Say what failed: an error without a file's name comes from the output."""
    from stagecast.base.errors import write_step

    reason = error.strerror or str(error)
    if error.filename is not None:
        return f"{error.filename}: {reason}; check that it exists and may be read"
    step = write_step(error, otherwise="send it somewhere else")
    return f"the output could not be written: {reason}; {step}"


def _write_utf8() -> None:
    """Files and pipes get UTF-8 on every system; a terminal keeps its own encoding.

    A character that cannot be shown becomes a question mark, never a crash.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            encoding = None if stream.isatty() else "utf-8"
            stream.reconfigure(encoding=encoding, errors="replace")


def _say(sentence: str) -> None:
    from stagecast.base.textfiles import clean

    print(clean(sentence), file=sys.stderr)
