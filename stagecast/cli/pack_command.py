"""The command that packs a day into one page for the phone."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import AsOf, Folder, day, now

if TYPE_CHECKING:
    from stagecast.errors import SeasonProblems
    from stagecast.scouting.week_types import ScoutDay, WeekRoute

Day = Annotated[
    str | None,
    typer.Option("--day", metavar="DATE", help="The day. Default: today.", show_default=False),
]
Starting = Annotated[
    str | None,
    typer.Option(
        "--starting",
        metavar="DATE",
        help="First day of the route whose day this is, as of `week`. Default: the day itself.",
        show_default=False,
    ),
]
Output = Annotated[
    Path, typer.Option("--output", "-o", metavar="FILE", help="The page.", show_default=False)
]
Who = Annotated[
    str | None,
    typer.Option(
        "--scout", metavar="NAME", help="Whose day, where there are several.", show_default=False
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(pack)


def pack(
    folder: Folder,
    output: Output,
    day_: Day = None,
    starting: Starting = None,
    scout: Who = None,
    as_of: AsOf = None,
) -> None:
    """A day's stops as one page for the phone: count, judge and send without a network."""
    from stagecast.errors import SeasonProblems
    from stagecast.knowledge import load
    from stagecast.outputs.notes import counted
    from stagecast.outputs.pages.saved import save_page
    from stagecast.outputs.pages.sheet import sheet_html
    from stagecast.outputs.screen import console, paragraph
    from stagecast.scouting.week import plan_week
    from stagecast.scouting.week_problem import Asked

    date = day(day_, option="--day")
    first = date if starting is None else day(starting, option="--starting")
    known = min(first, now().date()) if as_of is None else day(as_of, option="--as-of")
    _check_days(first, date)
    try:
        route = plan_week(folder, as_of=known, asked=Asked(first_day=first), knowledge=load())
    except SeasonProblems as error:
        raise _as_asked(error, given=starting is not None) from error
    found = _day_of(route, date, scout)
    html = sheet_html(route, found)
    save_page(output, html)
    whose = f", {found.scout}" if found.scout else ""
    said = f"{output.name}: {counted(len(found.stops), 'stop')} on {date.isoformat()}{whose}"
    paragraph(console(), said)
    of = "this day; for the day of another route, --starting" if first == date else f"{first}"
    paragraph(console(), f"Stops of the route that starts on {of}.")
    paragraph(console(), "Send it to the phone and open it there; what it saves is a table for "
              f"stagecast log import {folder} FILE.")  # fmt: skip


def _check_days(first: dt.date, date: dt.date) -> None:
    """The day must be one of the route's."""
    from stagecast.errors import Problem, SeasonProblems
    from stagecast.scouting.week_problem import Asked

    dates = Asked(first_day=first).dates
    if date not in dates:
        message = f"this is no day of the route that starts on {first}"
        accepted = f"a day from {dates[0]} to {dates[-1]}"
        problem = Problem("--day", message, found=date.isoformat(), accepted=accepted)
        raise SeasonProblems([problem])


def _as_asked(error: SeasonProblems, *, given: bool) -> SeasonProblems:
    """The problems under the name of the option that was really given."""
    from stagecast.errors import SeasonProblems

    if given:
        return error
    named = [replace(one, file="--day") if one.file == "--starting" else one
             for one in error.problems]  # fmt: skip
    return SeasonProblems(named)


def _day_of(route: WeekRoute, date: dt.date, scout: str | None) -> ScoutDay:
    """The day of the scout who was named, or of the only one."""
    from stagecast.errors import Problem, SeasonProblems
    from stagecast.scouting.field_names import one_named

    days = [one for one in route.days if one.date == date]
    if not days:
        message = "nobody works on this day"
        step = "see working_days in season.toml"
        problem = Problem("--day", message, found=date.isoformat(), next_step=step)
        raise SeasonProblems([problem])
    names = [one.scout for one in days]
    if scout is not None:
        named = one_named(
            scout, names, option="--scout",
            none="nobody of this name works on this day",
            several="several names differ from this in case alone",
        )  # fmt: skip
        found = days[names.index(named)]
    elif len(days) > 1:
        message = "several people work on this day"
        accepted = f"--scout with one of {', '.join(names)}"
        raise SeasonProblems([Problem("--scout", message, accepted=accepted)])
    else:
        found = days[0]
    if not found.stops:
        message = "no field is walked on this day"
        step = "`stagecast week DIR` shows the days on which fields are"
        raise SeasonProblems([Problem("--day", message, found=date.isoformat(), next_step=step)])
    return found
