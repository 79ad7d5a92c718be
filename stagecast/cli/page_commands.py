"""Commands that write pages: brief, overview and pack."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import AsOf, Folder, argument, day, now, option
from stagecast.cli.week_command import LONGEST, Days

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from stagecast.pages.brief import Brief
    from stagecast.visits.plan import FieldPlan, SeasonPlan

Asked = Annotated[str | None, argument(metavar="[FIELD]", help="Id of the field.")]
BriefOutput = Annotated[
    Path,
    option("--output", "-o", metavar="PATH", help="The page: HTML; with --all, a folder."),
]
All = Annotated[bool, typer.Option("--all", help="Every field, and an index of them.")]
Pdf = Annotated[bool, typer.Option("--pdf", help="PDF instead of HTML; needs WeasyPrint.")]


def register_brief(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(brief)


def brief(
    folder: Folder,
    output: BriefOutput,
    field: Asked = None,
    every: All = False,
    as_of: AsOf = None,
    pdf: Pdf = False,
) -> None:
    """One page for the grower: where the beans are, why we look, what was found, what is next."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.textfiles import clean
    from stagecast.pages.pdf import need_pdf
    from stagecast.screens.screen import day_text
    from stagecast.words.notes import counted

    _asked(field, every=every)
    if pdf:
        need_pdf()
    season, briefs = _briefs(folder, field, day(as_of, option="--as-of"))
    made = f"as of {day_text(season.loaded.as_of, weekday=True)} {season.loaded.as_of.year}"
    if not every:
        _save(output, briefs[0], pdf=pdf)
        typer.echo(f"field {clean(briefs[0].field_id)} {made}: {output}")
        return
    _save_all(output, season, briefs, pdf=pdf)
    typer.echo(f"{counted(len(briefs), 'field')} {made}: {output / 'index.html'}")
    if season.loaded.refused:
        raise SeasonProblems(season.loaded.refused)


def _asked(field: str | None, *, every: bool) -> None:
    """Either one field or all of them."""
    from stagecast.base.errors import Problem, SeasonProblems

    if (field is None) == every:
        return
    if every:
        message, step = "with --all no field is named", "leave out FIELD, or --all"
    else:
        message, step = "which field is not said", "name one field, or ask for every one: --all"
    raise SeasonProblems([Problem("FIELD", message, found=field, next_step=step)])


def _briefs(folder: Path, field: str | None, as_of: dt.date) -> tuple[SeasonPlan, Sequence[Brief]]:
    from stagecast.forecast.load import read_folder
    from stagecast.pages.brief import brief_of
    from stagecast.visits.plan import plan_read

    read = read_folder(folder)
    season = plan_read(read, as_of=as_of)
    chosen = season.fields if field is None else (_chosen(season, field),)
    return season, [brief_of(season, plan) for plan in chosen]


def _chosen(season: SeasonPlan, field: str) -> FieldPlan:
    """The field with an id, in any case; one that was refused says why."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.forecast.field_names import field_named

    field_id = field_named(field, season.loaded.season.fields, option="FIELD").field_id
    for plan in season.fields:
        if plan.field_id == field_id:
            return plan
    refused = season.loaded.refused
    own = [problem for problem in refused if problem.field_id == field_id]
    raise SeasonProblems(own or refused)


def _save(path: Path, brief: Brief, *, pdf: bool) -> None:
    from stagecast.pages.brief import brief_html
    from stagecast.pages.render import save_page, save_pdf

    html = brief_html(brief)
    if pdf:
        save_pdf(path, html)
    else:
        save_page(path, html)


def _save_all(folder: Path, season: SeasonPlan, briefs: Sequence[Brief], *, pdf: bool) -> None:
    """A page for each field, and an index; all of them or none, where something is in the way."""
    from stagecast.base.errors import Problem, SeasonProblems, StoreError
    from stagecast.pages.brief import brief_html, index_html
    from stagecast.pages.render import check_page, file_name, make_folder, save_page

    make_folder(folder)
    ending = "pdf" if pdf else "html"
    names = {one.field_id: file_name(one.field_id, ending) for one in briefs}
    pages = {} if pdf else {folder / names[one.field_id]: brief_html(one) for one in briefs}
    pages[folder / "index.html"] = index_html(season, briefs, names)
    problems = []
    for path, html in pages.items():
        try:
            check_page(path, html)
        except StoreError as error:
            problems.append(Problem(error.path, error.reason, next_step=error.next_step))
    if problems:
        raise SeasonProblems(problems)
    for one in briefs if pdf else ():
        _save(folder / names[one.field_id], one, pdf=True)
    for path, html in pages.items():
        save_page(path, html)


OverviewStarting = Annotated[
    str | None,
    option(
        "--starting",
        metavar="DATE",
        help="First day of the route. Default: the day of the forecast.",
    ),
]
OverviewOutput = Annotated[
    Path,
    option("--output", "-o", metavar="FILE", help="The page: HTML."),
]


def register_overview(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(overview)


def overview(
    folder: Folder,
    output: OverviewOutput,
    as_of: AsOf = None,
    starting: OverviewStarting = None,
    days: Days = 7,
) -> None:
    """All fields on one page: a timeline, a map, the week's route, a table, heat of pests."""
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.forecast.load import read_folder
    from stagecast.pages.overview import overview, overview_html
    from stagecast.pages.render import save_page
    from stagecast.visits.plan import plan_read
    from stagecast.week.problem import WeekRequest
    from stagecast.week.week import route_week
    from stagecast.words.notes import counted

    if not 1 <= days <= LONGEST:
        accepted = f"a whole number from 1 to {LONGEST}"
        message = "not a number of days one plans a route for"
        raise SeasonProblems([Problem("--days", message, found=str(days), accepted=accepted)])
    known = now().date() if as_of is None else day(as_of, option="--as-of")
    first = known if starting is None else day(starting, option="--starting")
    if as_of is None:
        known = min(first, known)
    read = read_folder(folder)
    season = plan_read(read, as_of=known)
    week = route_week(season, WeekRequest(first_day=first, days=days))
    heats = season.heat.stations(one.forecast for one in season.fields)
    save_page(output, overview_html(overview(week, heats)))
    typer.echo(f"{counted(len(week.season.fields), 'field')} on the page {output}")
    if week.season.loaded.refused:
        raise SeasonProblems(week.season.loaded.refused)


if TYPE_CHECKING:
    from stagecast.base.errors import SeasonProblems
    from stagecast.week.days import ScoutDay
    from stagecast.week.week import WeekRoute

Day = Annotated[
    str | None,
    option("--day", metavar="DATE", help="The day. Default: today."),
]
SheetStarting = Annotated[
    str | None,
    option(
        "--starting",
        metavar="DATE",
        help="First day of the route whose day this is, as of `week`. Default: the day itself.",
    ),
]
SheetOutput = Annotated[Path, option("--output", "-o", metavar="FILE", help="The page.")]
Who = Annotated[
    str | None,
    option("--scout", metavar="NAME", help="Whose day, where there are several."),
]


def register_pack(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(pack)


def pack(
    folder: Folder,
    output: SheetOutput,
    day_: Day = None,
    starting: SheetStarting = None,
    scout: Who = None,
    as_of: AsOf = None,
) -> None:
    """A day's stops as one page for the phone: count, judge and send without a network."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.pages.render import save_page
    from stagecast.pages.sheet import sheet_html
    from stagecast.screens.screen import console, paragraph
    from stagecast.week.problem import WeekRequest
    from stagecast.week.week import plan_week
    from stagecast.words.notes import counted

    date = day(day_, option="--day")
    first = date if starting is None else day(starting, option="--starting")
    known = min(first, now().date()) if as_of is None else day(as_of, option="--as-of")
    _check_days(first, date)
    try:
        route = plan_week(folder, as_of=known, asked=WeekRequest(first_day=first))
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
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.week.problem import WeekRequest

    dates = WeekRequest(first_day=first).dates
    if date not in dates:
        message = f"this is no day of the route that starts on {first}"
        accepted = f"a day from {dates[0]} to {dates[-1]}"
        problem = Problem("--day", message, found=date.isoformat(), accepted=accepted)
        raise SeasonProblems([problem])


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
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.forecast.field_names import one_named

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
