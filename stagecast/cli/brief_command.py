"""The command that writes the grower's page of one field, or of all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import AsOf, Folder, day

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from stagecast.outputs.pages.brief import Brief
    from stagecast.scouting.plan import FieldPlan, SeasonPlan

Asked = Annotated[
    str | None, typer.Argument(metavar="[FIELD]", help="Id of the field.", show_default=False)
]
Output = Annotated[
    Path,
    typer.Option(
        "--output",
        "-o",
        metavar="PATH",
        help="The page: HTML; with --all, a folder.",
        show_default=False,
    ),
]
All = Annotated[bool, typer.Option("--all", help="Every field, and an index of them.")]
Pdf = Annotated[bool, typer.Option("--pdf", help="PDF instead of HTML; needs WeasyPrint.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(brief)


def brief(
    folder: Folder,
    output: Output,
    field: Asked = None,
    every: All = False,
    as_of: AsOf = None,
    pdf: Pdf = False,
) -> None:
    """One page for the grower: where the beans are, why we look, what was found, what is next."""
    from stagecast.errors import SeasonProblems
    from stagecast.outputs.notes import counted
    from stagecast.outputs.pages.pdf import need_pdf
    from stagecast.outputs.screen import clean, day_text

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
    from stagecast.errors import Problem, SeasonProblems

    if (field is None) == every:
        return
    if every:
        message, step = "with --all no field is named", "leave out FIELD, or --all"
    else:
        message, step = "which field is not said", "name one field, or ask for every one: --all"
    raise SeasonProblems([Problem("FIELD", message, found=field, next_step=step)])


def _briefs(folder: Path, field: str | None, as_of: dt.date) -> tuple[SeasonPlan, Sequence[Brief]]:
    from stagecast.knowledge import load
    from stagecast.outputs.pages.brief import brief_of
    from stagecast.scouting.field_heat import FieldHeat
    from stagecast.scouting.load import read_folder
    from stagecast.scouting.plan import plan_read

    knowledge = load()
    read = read_folder(folder, knowledge)
    season = plan_read(read, as_of=as_of, knowledge=knowledge)
    chosen = season.fields if field is None else (_chosen(season, field),)
    heat = FieldHeat(season, read)
    return season, [brief_of(season, plan, heat) for plan in chosen]


def _chosen(season: SeasonPlan, field: str) -> FieldPlan:
    """The field with an id, in any case; one that was refused says why."""
    from stagecast.errors import SeasonProblems
    from stagecast.scouting.field_names import field_named

    field_id = field_named(field, season.loaded.season.fields, option="FIELD").field_id
    for plan in season.fields:
        if plan.field_id == field_id:
            return plan
    refused = season.loaded.refused
    own = [problem for problem in refused if problem.field_id == field_id]
    raise SeasonProblems(own or refused)


def _save(path: Path, brief: Brief, *, pdf: bool) -> None:
    from stagecast.outputs.pages.brief import brief_html
    from stagecast.outputs.pages.saved import save_page, save_pdf

    html = brief_html(brief)
    if pdf:
        save_pdf(path, html)
    else:
        save_page(path, html)


def _save_all(folder: Path, season: SeasonPlan, briefs: Sequence[Brief], *, pdf: bool) -> None:
    """A page for each field, and an index; all of them or none, where something is in the way."""
    from stagecast.errors import Problem, SeasonProblems, StoreError
    from stagecast.outputs.pages.brief import brief_html
    from stagecast.outputs.pages.brief_index import index_html
    from stagecast.outputs.pages.saved import check_page, file_name, make_folder, save_page

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
