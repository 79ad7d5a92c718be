"""Commands that read a season folder and say what it means: stages, windows, revisit, plan."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stagecast.cli.options import As, AsOf, Folder, Format, On, Only, day

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from stagecast.knowledge import Knowledge
    from stagecast.visits.plan import FieldPlan, SeasonPlan

    Show = Callable[..., None]

Pests = Annotated[
    bool,
    typer.Option(
        "--pests",
        help="Instead: heat against the mean date, for the catches of past years in traps.csv.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    app.command()(stages)
    app.command()(windows)
    app.command()(revisit)
    app.command()(plan)
    app.command()(skill)


def stages(
    folder: Folder,
    as_of: AsOf = None,
    on: On = None,
    format_: As = Format.table,
    field: Only = None,
) -> None:
    """Growth stage of every field now and next, VE to R8, with honest ranges."""
    from functools import partial

    from stagecast.files import season as documents
    from stagecast.screens import stages as stage_tables

    season, fields, knowledge = _plan(folder, as_of, field, by_need=False)
    chances_on = season.loaded.as_of if on is None else _in_season(season, day(on, option="--on"))
    if format_ is Format.table:
        show = partial(stage_tables.show_stages, on=chances_on)
        _show(show, season, fields, knowledge, in_detail=bool(field))
    else:
        document = documents.stages_document(season, fields, chances_on)
        _print(document, documents.stage_rows(document), documents.STAGE_COLUMNS, format_)
    _refuse(season, field)


def _in_season(season: SeasonPlan, on: dt.date) -> dt.date:
    """The day itself; an error when it lies in another year than the season."""
    from stagecast.base.errors import Problem, SeasonProblems

    year = season.loaded.season.settings.year
    if on.year == year:
        return on
    message = "not in the season's year"
    accepted = f"a date in {year}"
    raise SeasonProblems([Problem("--on", message, found=on.isoformat(), accepted=accepted)])


def windows(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """Scouting windows: when each opens and closes, for the crop and for its pests, and why."""
    from stagecast.files import season as documents
    from stagecast.screens import plan as tables

    season, fields, knowledge = _plan(folder, as_of, field, by_need=False)
    if format_ is Format.table:
        _show(tables.show_windows, season, fields, knowledge, in_detail=bool(field))
    else:
        document = documents.windows_document(season, fields)
        _print(document, documents.window_rows(document), documents.WINDOW_COLUMNS, format_)
    _refuse(season, field)


def revisit(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """When to be back in every field, why, and what to look for there."""
    from stagecast.files import season as documents
    from stagecast.screens import plan as tables

    season, fields, knowledge = _plan(folder, as_of, field, by_need=True)
    if format_ is Format.table:
        _show(tables.show_revisit, season, fields, knowledge, in_detail=bool(field))
    else:
        document = documents.revisit_document(season, fields, knowledge)
        _print(document, documents.revisit_rows(document), documents.REVISIT_COLUMNS, format_)
    _refuse(season, field)


def plan(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """The main job: fields by need, what to look for in each, and the coming week."""
    from stagecast.files import season as documents
    from stagecast.screens import plan as tables

    season, fields, knowledge = _plan(folder, as_of, field, by_need=True)
    if format_ is Format.table:
        _show(tables.show_plan, season, fields, knowledge, in_detail=bool(field))
    else:
        document = documents.plan_document(season, fields, knowledge)
        _print(document, documents.plan_rows(document), documents.PLAN_COLUMNS, format_)
    _refuse(season, field)


def skill(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, pests: Pests = False
) -> None:
    """How good past forecasts were: every stage seen, as it was forecast days before."""
    if pests:
        _pest_skill(folder, day(as_of, option="--as-of"), format_)
        return
    from stagecast.base.errors import SeasonProblems
    from stagecast.files.skill import STAGE_COLUMNS, skill_document
    from stagecast.forecast.skill import hindcast, summarise
    from stagecast.screens.screen import console
    from stagecast.screens.skill import show_skill

    found = hindcast(folder, as_of=day(as_of, option="--as-of"))
    rows = summarise(found.hindcasts)
    if format_ is Format.table:
        show_skill(console(), found, rows, found.loaded.knowledge)
    else:
        document = skill_document(found, rows)
        _print(document, document["rows"], STAGE_COLUMNS, format_)
    if found.loaded.refused:
        raise SeasonProblems(found.loaded.refused)


def _pest_skill(folder: Path, as_of: dt.date, form: Format) -> None:
    from stagecast.files.skill import TRAP_COLUMNS, trap_skill_document, trap_skill_rows
    from stagecast.forecast.load import read_folder
    from stagecast.pests.traps.history import season_histories
    from stagecast.screens.screen import console
    from stagecast.screens.trap_skill import show_trap_skill

    read = read_folder(folder)
    histories = list(season_histories(read, as_of=as_of).values())
    if form is Format.table:
        show_trap_skill(console(), histories, read.season, as_of=as_of)
        return
    year = read.season.settings.year
    document = trap_skill_document(histories, as_of=as_of, year=year)
    _print(document, trap_skill_rows(document), TRAP_COLUMNS, form)


def _plan(
    folder: Path, as_of: str | None, only: list[str] | None, *, by_need: bool
) -> tuple[SeasonPlan, Sequence[FieldPlan], Knowledge]:
    from stagecast.visits.plan import plan_season

    season = plan_season(folder, as_of=day(as_of, option="--as-of"))
    fields = season.by_need if by_need else season.fields
    return season, _chosen(season, fields, only), season.loaded.knowledge


def _chosen(
    season: SeasonPlan, fields: Sequence[FieldPlan], only: list[str] | None
) -> Sequence[FieldPlan]:
    """The fields asked for, or all; ids may be given in any case."""
    from stagecast.base.errors import Problem, SeasonProblems

    if not only:
        return fields
    ids = [f.field_id for f in season.loaded.season.fields]
    # Two ids may differ in case alone; then only the one typed is meant.
    named = {
        asked: {i for i in ids if i == asked}
        or {i for i in ids if i.casefold() == asked.casefold()}
        for asked in only
    }
    shown = ", ".join(ids[:12]) + (", ..." if len(ids) > 12 else "")
    unknown = [asked for asked, found in named.items() if not found]
    if unknown:
        message = "there is no such field in fields.csv"
        raise SeasonProblems(
            [Problem("--field", message, found=i, accepted=shown) for i in unknown]
        )
    wanted = set().union(*named.values())
    refused = wanted - {f.field_id for f in fields}
    if refused:
        raise SeasonProblems(season.loaded.refused)
    return [f for f in fields if f.field_id in wanted]


def _show(
    show: Show,
    season: SeasonPlan,
    fields: Sequence[FieldPlan],
    knowledge: Knowledge,
    *,
    in_detail: bool,
) -> None:
    from stagecast.screens.screen import console

    show(console(), season, fields, knowledge, in_detail=in_detail)


def _print(
    document: dict[str, Any], rows: Iterable[dict[str, Any]], columns: Sequence[str], form: Format
) -> None:
    from stagecast.files.season import to_csv, to_json

    text = to_json(document) if form is Format.json else to_csv(rows, columns)
    typer.echo(text, nl=False)


def _refuse(season: SeasonPlan, only: list[str] | None) -> None:
    """After what could be forecast has been shown, say which fields could not, and fail."""
    from stagecast.base.errors import SeasonProblems

    if season.loaded.refused and not only:
        raise SeasonProblems(season.loaded.refused)


def show_plan(folder: Path, as_of: dt.date) -> None:
    """Print the plan of a folder; used by the demo."""
    plan(folder, as_of.isoformat(), Format.table, None)
