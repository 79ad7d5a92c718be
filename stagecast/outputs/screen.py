"""Text for a terminal: readable at 80 columns without colour, never by colour alone."""

from __future__ import annotations

import datetime as dt
import unicodedata

from rich.console import Console
from rich.table import Table
from rich.text import Text

from stagecast.dates import said_day
from stagecast.scouting.ranges import DateRange

NARROWEST, PHONE = 60, 36
EMOJI_JOINER = "\u200d"

# Blue, orange and grey: told apart by every common kind of colour vision, and always
# accompanied by a mark or a word.
STYLES = {"late": "bold color(208)", "now": "color(208)", "soon": "color(39)", "quiet": "dim"}


def console(*, narrowest: int = NARROWEST) -> Console:
    """The terminal: its own width, or COLUMNS, and colour only where it is a terminal."""
    made = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    if made.width < narrowest:
        made.width = narrowest
    return made


def clean(text: str) -> str:
    """Text a terminal may print: control, line and invisible characters become visible marks.

    The joiner of emoji is left. What a person typed is kept in files as it is; only the screen
    is protected.
    """
    return "".join("\ufffd" if _unsafe(char) else char for char in text)


def _unsafe(char: str) -> bool:
    category = unicodedata.category(char)
    return char != EMOJI_JOINER and (category.startswith("C") or category in ("Zl", "Zp"))


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


def day_text(day: dt.date | None, *, weekday: bool = False) -> str:
    """A day as ``7 Jul`` or ``Tue 7 Jul``; ``never`` when not this season."""
    if day is None:
        return "never"
    text = said_day(day)
    return f"{day:%a} {text}" if weekday else text


def range_text(dates: DateRange) -> str:
    """The middle day with its range: ``11 Jul (4-18)``, ``24 Jul (15 Jul-3 Aug)``."""
    if dates.p50 is None:
        return "not this season" if dates.p10 is None else f"unlikely (from {day_text(dates.p10)})"
    if dates.p10 == dates.p90:
        return day_text(dates.p50)
    if dates.p10 and dates.p90 and dates.p10.month == dates.p50.month == dates.p90.month:
        return f"{day_text(dates.p50)} ({dates.p10.day}-{dates.p90.day})"
    return f"{day_text(dates.p50)} ({day_text(dates.p10)}-{day_text(dates.p90)})"


def paragraph(console: Console, text: str, style: str = "") -> None:
    """Print text wrapped to the screen, without reading markup in it."""
    console.print(Text(clean(text), style=STYLES.get(style, style)), soft_wrap=False)
