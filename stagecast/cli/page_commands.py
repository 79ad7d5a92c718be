"""Commands that write pages: brief, letter, overview and pack."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import (
    AsOf,
    Days,
    Folder,
    Text,
    a_field,
    argument,
    check_days,
    day,
    now,
    open_season,
    option,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stagecast.base.errors import SeasonProblems
    from stagecast.pages.growers.brief import Brief
    from stagecast.visits.season_day import SeasonDay
    from stagecast.week.days import ScoutDay
    from stagecast.week.week import WeekRoute

OneField = Annotated[
    Text, argument("FIELD", "Id of the field; without it, --all.", completed=a_field)
]
BriefOutput = Annotated[
    Path, option("--output", "PATH", "The page: HTML; with --all, a folder.", short="-o")
]
All = Annotated[bool, typer.Option("--all", help="A page for every field, and an index.")]
Pdf = Annotated[bool, typer.Option("--pdf", help="PDF instead of HTML; needs the extra pdf.")]


def brief(
    folder: Folder,
    output: BriefOutput,
    field: OneField = None,
    every: All = False,
    as_of: AsOf = None,
    pdf: Pdf = False,
) -> None:
    """One page on a field, for its grower.

    Where the beans are, why we look, what was found, what is next.
    """
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.textfiles import clean
    from stagecast.pages.growers.brief import brief_of
    from stagecast.pages.pdf import need_pdf
    from stagecast.pages.render import make_folder, save_pages
    from stagecast.screens.screen import long_day
    from stagecast.words.notes import counted

    if (field is None) != every:
        if every:
            message, step = "a field and --all do not go together", "leave out one of them"
        else:
            message, step = "which field is not said", "name one field, or ask for every one: --all"
        raise SeasonProblems.of("FIELD", message, found=field, next_step=step)
    if pdf:
        need_pdf()
    season = open_season(folder, as_of=day(as_of), routed=True)
    made = f"as of {long_day(season.as_of)}"
    if field is not None:
        one = brief_of(season.field(field))
        _save(output, one, pdf=pdf)
        typer.echo(f"field {clean(one.field_id)} {made}: {output}")
        return
    briefs = [brief_of(one) for one in season.fields]
    make_folder(output)
    save_pages(brief_pages(output, season, briefs, pdf=pdf))
    typer.echo(f"{counted(len(briefs), 'field')} {made}: {output / 'index.html'}")
    if season.loaded.refused:
        raise SeasonProblems(season.loaded.refused)


def _save(path: Path, brief: Brief, *, pdf: bool) -> None:
    from stagecast.pages.growers.brief import brief_html
    from stagecast.pages.render import save_page, save_pdf

    html = brief_html(brief)
    if pdf:
        save_pdf(path, html)
    else:
        save_page(path, html)


def brief_pages(
    folder: Path, season: SeasonDay, briefs: Sequence[Brief], *, pdf: bool
) -> dict[Path, str]:
    """A page for each field, and an index, as they go into a folder."""
    from stagecast.pages.growers.brief import brief_html, index_html
    from stagecast.pages.render import file_name

    ending = "pdf" if pdf else "html"
    names = {one.field_id: file_name(one.field_id, ending) for one in briefs}
    pages = {folder / names[one.field_id]: brief_html(one) for one in briefs}
    return pages | {folder / "index.html": index_html(season, briefs, names)}


Grower = Annotated[
    Text, argument("GROWER", "Name of the grower, as in fields.csv; without it, --all.")
]
LetterOutput = Annotated[
    Path | None, option("--output", "PATH", "The page: HTML; with --all, a folder.", short="-o")
]
AllGrowers = Annotated[bool, typer.Option("--all", help="A letter for every grower.")]
AsText = Annotated[bool, typer.Option("--text", help="Print it as a text for a message.")]


def letter(
    folder: Folder,
    grower: Grower = None,
    output: LetterOutput = None,
    every: AllGrowers = False,
    text: AsText = False,
    as_of: AsOf = None,
    pdf: Pdf = False,
) -> None:
    """A letter to a grower, all fields on one page.

    What was found, decided and comes, and when we are in each.
    """
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.textfiles import clean
    from stagecast.pages.growers.letter import (
        fields_without_grower,
        letter_html,
        letter_of,
        letter_text,
        letters_of,
        save_letters,
    )
    from stagecast.pages.pdf import need_pdf
    from stagecast.pages.render import save_page, save_pdf
    from stagecast.screens.screen import long_day
    from stagecast.words.notes import counted

    problem = _letter_asked(grower, output, every=every, text=text, pdf=pdf)
    if problem is not None:
        raise problem
    if pdf:
        need_pdf()
    season = open_season(folder, as_of=day(as_of), routed=True)
    made = f"as of {long_day(season.as_of)}"
    if grower is not None:
        one = letter_of(season, grower)
        if output is not None:
            (save_pdf if pdf else save_page)(output, letter_html(one))
        said = f"letter to {clean(one.grower)} {made}: {output}\n"
        typer.echo(letter_text(one) if text else said, nl=False)
        return
    assert output is not None
    paths = save_letters(output, letters_of(season), pdf=pdf)
    typer.echo(f"{counted(len(paths), 'letter')} {made}: {output}")
    left = fields_without_grower(season)
    if left:
        typer.echo(f"in no letter, since they name no grower: {', '.join(left)}")
    if season.loaded.refused:
        raise SeasonProblems(season.loaded.refused)


def _letter_asked(
    grower: str | None, output: Path | None, *, every: bool, text: bool, pdf: bool
) -> SeasonProblems | None:
    """What does not fit together in what was asked."""
    from stagecast.base.errors import SeasonProblems

    if grower is None and not every:
        message, step = "which grower is not said", "name one, or ask for every one: --all"
        return SeasonProblems.of("GROWER", message, next_step=step)
    if grower is not None and every:
        message, step = "a grower and --all do not go together", "leave out one of them"
        return SeasonProblems.of("GROWER", message, found=grower, next_step=step)
    if every and text:
        message, step = "a text is of one grower", "name the grower instead of --all"
        return SeasonProblems.of("--text", message, next_step=step)
    if output is None and (pdf or not text):
        message, step = "where the page goes is not said", "-o PATH, or --text to print a text"
        return SeasonProblems.of("--output", message, next_step=step)
    return None


def sheet_pages(
    folder: Path, route: WeekRoute, date: dt.date
) -> tuple[dict[Path, str], list[Path]]:
    """A page for the phone of every scout who walks on a day; those of others, which are to go."""
    from stagecast.pages.phone.sheet import sheet_html
    from stagecast.pages.render import file_name

    pages: dict[Path, str] = {}
    gone: list[Path] = []
    walked = {day.scout: day for day in route.days if day.date == date and day.stops}
    for scout in [one.name for one in route.season.settings.scouts] or [""]:
        name = file_name(scout, "html").removeprefix("field-") if scout else ""
        path = folder / (f"day-{name}" if name else "day.html")
        if scout in walked:
            pages[path] = sheet_html(route, walked[scout])
        elif path.is_file() and b'content="stagecast' in path.read_bytes()[:1024]:
            gone.append(path)
    return pages, gone


OverviewStarting = Annotated[
    Text, option("--starting", "DATE", "First day of the route. Default: the day of the forecast.")
]
OverviewOutput = Annotated[Path, option("--output", "FILE", "The page: HTML.", short="-o")]


def overview(
    folder: Folder,
    output: OverviewOutput,
    as_of: AsOf = None,
    starting: OverviewStarting = None,
    days: Days = 7,
) -> None:
    """The whole season on one page.

    A timeline, a map, the week's route, a table, the heat of pests.
    """
    from stagecast.base.errors import SeasonProblems
    from stagecast.pages.overview import overview, overview_html
    from stagecast.pages.render import save_page
    from stagecast.week.problem import WeekRequest
    from stagecast.week.week import route_week
    from stagecast.words.notes import counted

    check_days(days)
    known = day(as_of)
    first = known if starting is None else day(starting, option="--starting")
    if as_of is None:
        known = min(first, known)
    asked = WeekRequest(first_day=first, days=days)
    season = open_season(folder, as_of=known, routed=asked == WeekRequest(first_day=known))
    week = route_week(season, asked)
    save_page(output, overview_html(overview(week)))
    typer.echo(f"{counted(len(season.fields), 'field')} on the page {output}")
    if season.loaded.refused:
        raise SeasonProblems(season.loaded.refused)


Day = Annotated[Text, option("--day", "DATE", "The day. Default: that of the forecast.")]
SheetStarting = Annotated[
    Text,
    option(
        "--starting",
        "DATE",
        "First day of the route to take the day from. Default: the route of `plan`.",
    ),
]
SheetOutput = Annotated[Path, option("--output", "FILE", "The page.", short="-o")]
Scout = Annotated[Text, option("--scout", "NAME", "Whose day, where there are several.")]
Paper = Annotated[bool, typer.Option("--paper", help="A sheet to print, with boxes to tally.")]


def pack(
    folder: Folder,
    output: SheetOutput,
    day_: Day = None,
    starting: SheetStarting = None,
    scout: Scout = None,
    as_of: AsOf = None,
    paper: Paper = False,
) -> None:
    """A day's stops as one page for the phone.

    To count, judge and send without a network.
    """
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.terminal import console, paragraph
    from stagecast.pages.day_paper import paper_html
    from stagecast.pages.phone.sheet import sheet_html
    from stagecast.pages.render import save_page
    from stagecast.week.problem import WeekRequest
    from stagecast.week.week import route_week
    from stagecast.words.notes import counted

    date = day(as_of) if day_ is None else day(day_, option="--day")
    first = None if starting is None else day(starting, option="--starting")
    known = min(first or date, now().date()) if as_of is None else day(as_of)
    if first is None:  # the season's route, where it has that day
        first = known if date in WeekRequest(first_day=known).dates else date
    asked = WeekRequest(first_day=first)
    if date not in asked.dates:
        message = f"this is no day of the route that starts on {first}"
        accepted = f"a day from {asked.dates[0]} to {asked.dates[-1]}"
        raise SeasonProblems.of("--day", message, found=date.isoformat(), accepted=accepted)
    try:
        season = open_season(folder, as_of=known, routed=first == known)
        route = route_week(season, asked)
    except SeasonProblems as error:
        raise _as_asked(error, given=starting is not None) from error
    found = _day_of(route, date, scout)
    loaded = route.season.loaded
    save_page(output, paper_html(found, loaded) if paper else sheet_html(route, found))
    whose = f", {found.scout}" if found.scout else ""
    said = f"{output.name}: {counted(len(found.stops), 'stop')} on {date.isoformat()}{whose}"
    paragraph(console(), said)
    of = "this day; for the day of another route, --starting" if first == date else f"{first}"
    paragraph(console(), f"Stops of the route that starts on {of}.")
    send = (
        "Send it to the phone and open it there; what it saves is a table for "
        f"stagecast log import {folder} FILE."
    )
    paragraph(console(), "Print it; its counts go into the log at the desk." if paper else send)


def _as_asked(error: SeasonProblems, *, given: bool) -> SeasonProblems:
    """The problems under the name of the option that was really given."""
    from stagecast.base.errors import SeasonProblems

    if given:
        return error
    named = [replace(one, file="--day") if one.file == "--starting" else one
             for one in error.problems]  # fmt: skip
    return SeasonProblems(named)


def _day_of(route: WeekRoute, date: dt.date, scout: str | None) -> ScoutDay:
    """The day of the scout who was named, or of the only one."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.forecast.field_names import one_named

    days = [one for one in route.days if one.date == date]
    if not days:
        message, step = "nobody works on this day", "see working_days in season.toml"
        raise SeasonProblems.of("--day", message, found=date.isoformat(), next_step=step)
    names = [one.scout for one in days]
    found = days[0]
    if scout is not None:
        none = "nobody of this name works on this day"
        several = "several names differ from this in case alone"
        named = one_named(scout, names, option="--scout", none=none, several=several)
        found = days[names.index(named)]
    elif len(days) > 1:
        message, accepted = (
            "several people work on this day",
            f"--scout with one of {', '.join(names)}",
        )
        raise SeasonProblems.of("--scout", message, accepted=accepted)
    if not found.stops:
        message = "no field is walked on this day"
        step = "`stagecast week DIR` shows the days on which fields are"
        raise SeasonProblems.of("--day", message, found=date.isoformat(), next_step=step)
    return found
