"""The command that writes the season on one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stagecast.cli.options import AsOf, Folder, day, now
from stagecast.cli.week_command import LONGEST, Days

Starting = Annotated[
    str | None,
    typer.Option(
        "--starting",
        metavar="DATE",
        help="First day of the route. Default: the day of the forecast.",
        show_default=False,
    ),
]
Output = Annotated[
    Path,
    typer.Option("--output", "-o", metavar="FILE", help="The page: HTML.", show_default=False),
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(overview)


def overview(
    folder: Folder,
    output: Output,
    as_of: AsOf = None,
    starting: Starting = None,
    days: Days = 7,
) -> None:
    """All fields on one page: a timeline, a map, the week's route, a table, heat of pests."""
    from stagecast.errors import Problem, SeasonProblems
    from stagecast.knowledge import load
    from stagecast.outputs.notes import counted
    from stagecast.outputs.pages.overview import overview, overview_html
    from stagecast.outputs.pages.saved import save_page
    from stagecast.scouting.load import read_folder
    from stagecast.scouting.plan import plan_read
    from stagecast.scouting.season_curves import season_curves
    from stagecast.scouting.week import route_week
    from stagecast.scouting.week_problem import Asked

    if not 1 <= days <= LONGEST:
        accepted = f"a whole number from 1 to {LONGEST}"
        message = "not a number of days one plans a route for"
        raise SeasonProblems([Problem("--days", message, found=str(days), accepted=accepted)])
    known = now().date() if as_of is None else day(as_of, option="--as-of")
    first = known if starting is None else day(starting, option="--starting")
    if as_of is None:
        known = min(first, known)
    knowledge = load()
    read = read_folder(folder, knowledge)
    season = plan_read(read, as_of=known, knowledge=knowledge)
    week = route_week(season, Asked(first_day=first, days=days))
    curves = season_curves(season, read)
    save_page(output, overview_html(overview(week, curves)))
    typer.echo(f"{counted(len(week.season.fields), 'field')} on the page {output}")
    if week.season.loaded.refused:
        raise SeasonProblems(week.season.loaded.refused)
