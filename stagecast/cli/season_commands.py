"""Commands on a season folder: new, check, weather, demo."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Annotated

import typer

import stagecast
from stagecast.cli.options import AsOf, Folder, day, open_season, option

Through = Annotated[
    str | None,
    option(
        "--through",
        "DATE",
        "Last day wanted. Default: today and the ten days of forecast after it.",
    ),
]
Again = Annotated[
    int | None,
    option("--again", "YEAR", "Ask for a past year once more, whatever is stored of it."),
]
Believe = Annotated[
    str | None,
    option("--believe", "STATION", "Take an answer that was held back, and fetch nothing."),
]
Last = Annotated[
    Path | None,
    option("--from", "DIR", "Last year's folder: its fields, traps, weather and settings."),
]
Boundaries = Annotated[
    Path, typer.Argument(metavar="FILE", help="A GeoJSON file of boundaries or points.")
]
Year = Annotated[
    int | None, option("--year", None, "Season year. Default: this year, or the one after --from.")
]
DemoFolder = Annotated[
    Path, typer.Argument(metavar="DIR", help="Where the demo season is written.")
]
DEMO_DAY = "2026-07-07"
DemoDay = Annotated[
    str | None,
    option("--as-of", "DATE", f"Plan as it stood on this day. Default: {DEMO_DAY}."),
]


def new(folder: Folder, year: Year = None, last: Last = None) -> None:
    """Write an empty season folder, explained line by line.

    With --from: next year's, with the fields, traps and settings of the last one.
    """
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.textfiles import clean
    from stagecast.season.new import write_new_season
    from stagecast.season.settings.settings import FIRST_YEAR, LAST_YEAR

    if last is not None:
        _new_from(folder, last, year)
        return
    chosen = day(None, option="--year").year if year is None else year
    if not FIRST_YEAR <= chosen <= LAST_YEAR:
        message, accepted = "a season cannot be in this year", f"{FIRST_YEAR} to {LAST_YEAR}"
        raise SeasonProblems.of("--year", message, found=str(chosen), accepted=accepted)
    for path in write_new_season(folder, year=chosen):
        typer.echo(clean(f"wrote {path}"))
    step = (
        "Fill in season.toml (state, home, where temperatures come from) and fields.csv, then run: "
        f"stagecast check {folder}"
    )
    typer.echo(clean(step))


def _new_from(folder: Path, last: Path, year: int | None) -> None:
    from stagecast.base.textfiles import clean
    from stagecast.season.next_year import write_next_season

    for path in write_next_season(folder, last, year=year):
        typer.echo(clean(f"wrote {path}"))
    typer.echo(
        clean(
            f"Visits and the log stay in {last}. Fill in planting_date, or planned, and "
            f"maturity_group of each field, then run: stagecast check {folder}"
        )
    )


def fields(folder: Folder, file: Boundaries) -> None:
    """Take fields over from a map (GeoJSON).

    Boundaries or points; their properties are the columns of fields.csv.
    """
    from stagecast.base.textfiles import clean
    from stagecast.season.boundaries import add_fields
    from stagecast.words.notes import counted

    added = add_fields(folder, file)
    for doubt in added.doubts:
        typer.echo(clean(f"doubtful: {doubt.sentence()}"))
    typer.echo(
        clean(
            f"{folder}: {counted(len(added.new), 'field')} added, "
            f"{counted(len(added.known), 'field')} known, "
            f"{added.boundaries} with a boundary"
        )
    )


def check(folder: Folder, as_of: AsOf = None) -> None:
    """Tell all that is wrong or doubtful in a season.

    Each with its file and line; exit code 2 if anything is wrong.
    """
    from stagecast.base.errors import SeasonProblems, StagecastError
    from stagecast.base.terminal import console, paragraph
    from stagecast.base.textfiles import clean
    from stagecast.forecast.load import drifting
    from stagecast.screens.screen import date_notes, entry_notes
    from stagecast.week.minutes import pace_of
    from stagecast.words.notes import assumption_notes, counted, threshold_note, weather_notes
    from stagecast.words.week import pace_text

    screen = console()  # the report is what was asked for, so all of it is printed here
    try:
        season = open_season(folder, as_of=day(as_of))
    except StagecastError as error:
        for doubt in error.doubts if isinstance(error, SeasonProblems) else ():
            if doubt.doubtful:
                paragraph(screen, f"doubtful: {doubt.sentence()}")
        for sentence in error.sentences():
            typer.echo(clean(sentence))
        raise typer.Exit(error.exit_code) from error
    loaded = season.loaded
    doubts = (*season.doubts, *drifting(season.read, as_of=season.as_of))
    for note in (
        *entry_notes(season.fields),
        *date_notes(season),
        *(f"doubtful: {doubt.sentence()}" for doubt in doubts),
        *assumption_notes(loaded, season.knowledge),
        *weather_notes(loaded),
        threshold_note(loaded, season.knowledge),
        pace_text(pace_of(loaded)),
    ):
        if note:
            paragraph(screen, note)
    fields = counted(len(loaded.season.field_ids), "field")
    wrong = f"{len(loaded.refused)} wrong" if loaded.refused else "nothing wrong"
    paragraph(screen, f"{folder}: {fields}, {wrong}, {len(doubts)} doubtful")
    for problem in loaded.refused:
        typer.echo(clean(problem.sentence()))
    if loaded.refused:
        raise typer.Exit(SeasonProblems.exit_code)


def weather(
    folder: Folder, through: Through = None, again: Again = None, believe: Believe = None
) -> None:
    """Bring the season's temperatures up to date.

    Only this command and daily use the network.
    """
    from stagecast.cli.weather_command import run_weather

    run_weather(
        folder,
        through=day(through, option="--through"),
        today=day(None, option="today"),
        ahead=through is None,
        again=again,
        believe=believe,
    )


def demo(folder: DemoFolder = Path("stagecast-demo"), as_of: DemoDay = None) -> None:
    """Write an invented season and plan its week.

    It needs no network.
    """
    from stagecast.base.textfiles import clean
    from stagecast.cli.forecast_commands import plan

    shown = day(DEMO_DAY if as_of is None else as_of)
    typer.echo(clean(write_demo(folder)))
    today = f"Its day is {shown}; what to do then: stagecast today {folder} --as-of {shown}"
    why = f"Why a field is due: stagecast revisit {folder} --as-of {shown} --field F21"
    typer.echo(f"{clean(today)}\n{clean(why)}\n")
    plan(folder, shown.isoformat())


_SEASON_FILES = ("fields.csv", "visits.csv", "traps.csv", "log.csv", "README.md", "season.toml")


def write_demo(folder: Path) -> str:
    """Copy the demo season and its weather; leave an existing folder as it is.

    Returns
    -------
    str
        What was done, in one sentence.

    Raises
    ------
    StoreError
        When the folder cannot be written, or the demo files are not installed.
    """
    from stagecast.base.errors import StoreError
    from stagecast.base.savefile import new_folder

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        if (folder / "season.toml").exists():
            return f"{folder} is there already and was left as it is."
        raise StoreError(
            str(folder), "something else is there already", next_step="name another folder"
        )
    demo, weather = _shipped("demo"), _shipped("weather_fixtures")
    with new_folder(folder) as made:
        (made / "weather").mkdir()
        for file in sorted(weather.glob("*.csv")):
            shutil.copyfile(file, made / "weather" / file.name)
        for name in _SEASON_FILES:
            shutil.copyfile(demo / name, made / name)
    return f"Wrote an invented season to {folder}: places, growers and weather are made up."


def _shipped(name: str) -> Path:
    """The folder in an installed wheel, else in the repository."""
    from stagecast.base.errors import StoreError

    package = Path(stagecast.__file__).parent
    for folder in (package / f"_{name}", package.parent / name):
        if folder.is_dir():
            return folder
    raise StoreError(name, "the demo files are not installed", next_step="install stagecast anew")
