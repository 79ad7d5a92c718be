"""The command line: commands, and the one place where errors become sentences.

Only typer is imported here; every command imports what it needs when it runs, so that
``stagecast --help`` answers at once.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

import stagecast
from stagecast.cli import (
    alert_commands,
    count_commands,
    daily_command,
    desk_command,
    forecast_commands,
    log_commands,
    page_commands,
    pest_commands,
    region_command,
    season_commands,
    week_command,
)
from stagecast.cli.forecast_commands import today

COMPLETION = "_STAGECAST_COMPLETE"
"""Set by a shell that asks what may come next."""

app = typer.Typer(
    name="stagecast",
    help="Which soybean fields to walk, on which day, and what to look for there.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"stagecast {stagecast.__version__}")
        raise typer.Exit


Version = Annotated[
    bool,
    typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit."),
]


@app.callback()
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
        today(Path())
    width = shutil.get_terminal_size().columns
    for step in steps:
        typer.echo(textwrap.fill(step, width, subsequent_indent="   "))


# In the order of the help.
command: Callable[..., None]
for command in (
    season_commands.new, season_commands.fields, season_commands.check, season_commands.weather,
    season_commands.demo,
    today, alert_commands.alerts, daily_command.daily,
    forecast_commands.stages, forecast_commands.windows, forecast_commands.revisit,
    forecast_commands.plan, forecast_commands.skill, pest_commands.pest, pest_commands.sources,
    count_commands.assess,
):  # fmt: skip
    app.command()(command)
app.add_typer(log_commands.app, name="log")
for command in (
    count_commands.history, week_command.week, page_commands.pack, page_commands.brief,
    page_commands.letter, desk_command.desk, page_commands.overview, region_command.region,
    pest_commands.guide,
):  # fmt: skip
    app.command()(command)


SELDOM = 100_000
"""Objects made between two looks for garbage: a command makes many that stay, and then ends."""


def run(arguments: list[str] | None = None) -> None:
    """Run the command line; every expected failure is one sentence and an exit code.

    Exit codes: 0 done, 2 something in the input is wrong, 3 a weather service failed; 1, without
    a word, when whoever read our output stopped reading, as ``| head`` may.
    """
    from stagecast.base.errors import StagecastError

    words = sys.argv[1:] if arguments is None else arguments
    _write_utf8()
    try:
        if words or COMPLETION in os.environ:
            app(args=words, standalone_mode=True)
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
