"""The command that tells one field's season so far."""

from __future__ import annotations

import typer

from stagecast.cli.options import As, AsOf, FieldId, Folder, Format, day


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(history)


def history(folder: Folder, field: FieldId, as_of: AsOf = None, format_: As = Format.table) -> None:
    """One field over the season: stages, counts, thresholds, answers and treatments."""
    from stagecast.knowledge import load
    from stagecast.outputs import history_document as documents
    from stagecast.outputs.documents import to_csv, to_json
    from stagecast.outputs.history_view import show_history
    from stagecast.outputs.screen import console
    from stagecast.scouting.history import field_history

    found = field_history(folder, field, as_of=day(as_of, option="--as-of"), knowledge=load())
    if format_ is Format.table:
        show_history(console(), found)
        return
    document = documents.history_document(found)
    if format_ is Format.json:
        typer.echo(to_json(document), nl=False)
    else:
        rows = documents.history_rows(document)
        typer.echo(to_csv(rows, documents.COLUMNS), nl=False)
