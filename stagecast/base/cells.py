"""Cells of the tables that we write: what a spreadsheet would run as a formula stays text.

A spreadsheet runs a cell that begins with one of these characters (OWASP, "CSV Injection",
owasp.org/www-community/attacks/CSV_Injection). Its own way to say that a cell is text is an
apostrophe before it; we write it so, and take one off where we read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

_RUN = re.compile(r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_KEPT = re.compile(r"'+[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")


def harmless(text: str) -> str:
    """A cell that no spreadsheet runs; a number stays as it is, whatever its sign.

    Blanks around it, which no reader of ours keeps, go.
    """
    text = text.strip()
    return f"'{text}" if _RUN.match(text) and not _NUMBER.fullmatch(text) else text


def as_it_was(cell: str) -> str:
    """What :func:`harmless` was given; a person's own apostrophe before a formula goes too."""
    return cell[1:] if _KEPT.match(cell) else cell


def cell_of(text: str, *, apart: str = ",;\t") -> str:
    """A text as a harmless cell, between quotation marks where a reader could split or cut it.

    ``apart``: what may stand between cells. A lone carriage return is quoted too, which the csv
    module may leave bare.
    """
    cell = harmless(text)
    if any(char in cell for char in f'{apart}"\r\n'):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def table_text(rows: Iterable[Iterable[str]], *, delimiter: str = ",") -> str:
    """A table of harmless cells, the header first; each row ends in a line feed."""
    return "".join(f"{delimiter.join(map(cell_of, row))}\n" for row in rows)
