"""Commands that read a season folder and say what it means: stages, windows, revisit, plan."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from stagecast.cli.options import As, AsOf, Folder, Format, Only, day

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console

    from stagecast.knowledge import Knowledge
    from stagecast.scouting.plan import FieldPlan, SeasonPlan

    Show = Callable[[Console, SeasonPlan, Sequence[FieldPlan], Knowledge], None]


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    app.command()(stages)
    app.command()(windows)
    app.command()(revisit)
    app.command()(plan)


def stages(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """Growth stage of every field now and next, VE to R8, with honest ranges."""
    from stagecast.outputs import documents, tables

    season, fields, knowledge = _plan(folder, as_of, field)
    if format_ is Format.table:
        return _show(tables.show_stages, season, fields, knowledge)
    document = documents.stages_document(season, fields)
    rows, columns = documents.stage_rows(document), documents.STAGE_COLUMNS
    return _print(
        documents.to_json(document) if format_ is Format.json else documents.to_csv(rows, columns)
    )


def windows(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """Scouting windows: when each opens and closes, for the crop and for its pests, and why."""
    from stagecast.outputs import documents, tables

    season, fields, knowledge = _plan(folder, as_of, field)
    if format_ is Format.table:
        return _show(tables.show_windows, season, fields, knowledge)
    document = documents.windows_document(season, fields)
    rows, columns = documents.window_rows(document), documents.WINDOW_COLUMNS
    return _print(
        documents.to_json(document) if format_ is Format.json else documents.to_csv(rows, columns)
    )


def revisit(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """When to be back in every field, why, and what to look for there."""
    from stagecast.outputs import documents, tables

    season, fields, knowledge = _plan(folder, as_of, field)
    if format_ is Format.table:
        return _show(tables.show_revisit, season, fields, knowledge)
    document = documents.revisit_document(season, fields, knowledge)
    rows, columns = documents.revisit_rows(document), documents.REVISIT_COLUMNS
    return _print(
        documents.to_json(document) if format_ is Format.json else documents.to_csv(rows, columns)
    )


def plan(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, field: Only = None
) -> None:
    """The main job: fields by need, what to look for in each, and the coming week."""
    from stagecast.outputs import documents, tables

    season, fields, knowledge = _plan(folder, as_of, field, by_need=True)
    if format_ is Format.table:
        return _show(tables.show_plan, season, fields, knowledge)
    document = documents.plan_document(season, fields, knowledge)
    rows, columns = documents.plan_rows(document), documents.PLAN_COLUMNS
    return _print(
        documents.to_json(document) if format_ is Format.json else documents.to_csv(rows, columns)
    )


def _plan(
    folder: Path, as_of: str | None, only: list[str] | None, *, by_need: bool = False
) -> tuple[SeasonPlan, Sequence[FieldPlan], Knowledge]:
    from stagecast.knowledge import load
    from stagecast.scouting.plan import plan_season

    knowledge = load()
    season = plan_season(folder, as_of=day(as_of, option="--as-of"), knowledge=knowledge)
    fields = season.by_need if by_need else season.fields
    return season, _chosen(fields, only), knowledge


def _chosen(fields: Sequence[FieldPlan], only: list[str] | None) -> Sequence[FieldPlan]:
    from stagecast.errors import Problem, SeasonProblems

    if not only:
        return fields
    known = [f.forecast.field.field_id for f in fields]
    unknown = [i for i in only if i not in known]
    if unknown:
        raise SeasonProblems(
            [
                Problem(
                    "--field",
                    "there is no such field in fields.csv",
                    found=i,
                    accepted=", ".join(sorted(known)[:12]) + (", ..." if len(known) > 12 else ""),
                )
                for i in unknown
            ]
        )
    return [f for f in fields if f.forecast.field.field_id in only]


def _show(
    show: Show, season: SeasonPlan, fields: Sequence[FieldPlan], knowledge: Knowledge
) -> None:
    from stagecast.outputs.screen import console

    show(console(), season, fields, knowledge)


def _print(text: str) -> None:
    typer.echo(text, nl=False)


def show_plan(folder: Path, as_of: dt.date) -> None:
    """Print the plan of a folder; used by the demo."""
    plan(folder, as_of.isoformat(), Format.table, None)
