"""The screen of every value of ``knowledge/``, and of the sources behind them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from rich.console import Console
from rich.text import Text

from stagecast.base.terminal import cell, paragraph, table
from stagecast.knowledge import Knowledge
from stagecast.words.notes import counted
from stagecast.words.pests import UNVERIFIED_TEXT
from stagecast.words.sources import SourceRow, Value, cited, tag_counts

NONE_FITS = (
    "No value fits. --about looks into the places of values, such as pests.corn-earworm.heat: try "
    "a pest's id (`stagecast pest` lists them), or soybean, windows, revisit, threshold. Without "
    "--about and --tag all are listed."
)

_MEANINGS = {
    "READ": "seen in the source's own text",
    "CITED": "seen in a text that names the source",
    "MEMORY": UNVERIFIED_TEXT,
    "FITTED": "fitted to observations",
    "COMPUTED": "worked out from other values",
    "PRACTICE": "common practice, no source",
    "OWN": "our own choice, open to change",
}


def chosen(
    rows: Iterable[SourceRow], *, tags: Sequence[str] = (), about: str | None = None
) -> list[SourceRow]:
    """The rows with one of some tags, and with a text in their place; default all."""
    wanted = "" if about is None else about.casefold()
    return [
        row for row in rows
        if (not tags or row.tag in tags) and wanted in row.place.casefold()
    ]  # fmt: skip


def show_sources(console: Console, rows: Sequence[SourceRow], knowledge: Knowledge) -> None:
    """Values file by file, then the sources, then how many values have each tag."""
    console.print(Text("Every value with its source", style="bold"))
    if not rows:
        console.print()
        paragraph(console, NONE_FITS)
    for part, group in groupby(rows, key=lambda row: row.part):
        console.print()
        paragraph(console, part.replace(".", " "), "bold")
        made = table("tag", "source", "value")
        for row in group:
            made.add_row(cell(row.tag), cell(row.source), cell(_told(row, part)))
        console.print(made)
    console.print()
    _show_cited(console, rows, knowledge)
    _show_counts(console, rows)


def _told(row: SourceRow, part: str) -> str:
    """``heat.lower_c: 7.8 degC``, with its note below it."""
    place = row.place.removeprefix(part).removeprefix(".")
    unit = f" {row.unit}" if row.unit else ""
    weak = f" ({UNVERIFIED_TEXT})" if row.unverified else ""
    note = f"\n{row.note}" if row.note else ""
    return f"{place}: {value_text(row.value)}{unit}{weak}{note}"


def value_text(value: Value) -> str:
    """A number without needless digits; several with commas."""
    if isinstance(value, tuple):
        return ", ".join(value_text(item) for item in value)
    return value if isinstance(value, str) else f"{value:.10g}"


def _show_cited(console: Console, rows: Sequence[SourceRow], knowledge: Knowledge) -> None:
    paragraph(console, "Sources", "bold")
    made = table("source", "title, publisher, year")
    for name, source in knowledge.sources.items():
        if name in cited(rows):
            publisher = "" if source.publisher in source.title else source.publisher
            parts = (source.title, publisher, source.year)
            made.add_row(cell(name), cell(". ".join(p for p in parts if p and p != "-")))
    console.print(made)
    console.print()


def _show_counts(console: Console, rows: Sequence[SourceRow]) -> None:
    numbers = sum(row.kind == "number" for row in rows)
    statements = len(rows) - numbers
    text = f"{counted(numbers, 'number')} and {counted(statements, 'statement')}, by tag"
    paragraph(console, text, "bold")
    made = table("tag", "values", "what it says of a value")
    for tag, count in tag_counts(rows).items():
        made.add_row(cell(tag), cell(str(count)), cell(_MEANINGS[tag]))
    console.print(made)
