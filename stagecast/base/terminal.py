"""Text on a terminal: readable at 60 columns without colour, never by colour alone."""

from __future__ import annotations

import os
import pydoc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.table import Table
from rich.text import Text

from stagecast.base.textfiles import clean

NARROWEST, PHONE = 60, 36

# Blue, orange and grey: told apart by every common kind of colour vision, and always
# accompanied by a mark or a word.
STYLES = {"late": "bold color(208)", "now": "color(208)", "soon": "color(39)", "quiet": "dim"}


def console(*, narrowest: int = NARROWEST) -> Console:
    """The terminal: its own width, or COLUMNS, and colour only where it is a terminal."""
    made = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    if made.width < narrowest:
        made.width = narrowest
    return made


@contextmanager
def paged(console: Console) -> Iterator[None]:
    """Print at the end what is printed within; longer than the terminal, through the pager.

    The pager is the system's own (``PAGER``).
    """
    with console.capture() as held:
        yield
    text = held.get()
    if console.is_terminal and text.count("\n") >= console.height:
        os.environ.setdefault("LESS", "-FRX")
        pydoc.pager(text)
    else:
        console.file.write(text)
        console.file.flush()


def cell(text: str, style: str = "") -> Text:
    """A table cell: no markup is read in it; the only line breaks are those of our own text."""
    lines = (clean(line) for line in text.split("\n"))
    return Text("\n".join(lines), style=STYLES.get(style, style))


def table(*columns: str) -> Table:
    """An open table: a header, no frame, so that narrow screens keep their columns."""
    made = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for column in columns:
        made.add_column(column, overflow="fold")
    return made


def paragraph(console: Console, text: str, style: str = "") -> None:
    """Print text wrapped to the screen, without reading markup in it."""
    console.print(Text(clean(text), style=STYLES.get(style, style)), soft_wrap=False)


def show_pairs(console: Console, pairs: Iterable[tuple[str, str]], *, title: str = "") -> None:
    """Two columns: what is spoken of, once where it comes again, and what is said of it."""
    if title:
        paragraph(console, title, "bold")
    made = table("", "")
    made.show_header = False
    said = ""
    for what, text in pairs:
        made.add_row(cell(what if what != said else ""), cell(text))
        said = what
    console.print(made)


def fitted(text: str, width: int) -> str:
    """Text in just so many characters; ``~`` stands where it was cut."""
    told = clean(text)
    return (told if len(told) <= width else told[: width - 1] + "~").ljust(width)
