"""Tables of a person's changed in place: other cells, line ends and marks stay byte for byte."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from stagecast.base.cells import cell_of
from stagecast.base.tables import table_of

_LINE_END = re.compile(r"\r\n|\r|\n")
_BOM = "\ufeff"


@dataclass(frozen=True, slots=True)
class _Record:
    """One row of the text: where it stands, and where each of its cells does.

    Attributes
    ----------
    line: its first line, from 1.
    start, end: in the text, without the line end.
    after: where the next one starts.
    cells: (start, end) of each, quotation marks included.
    """

    line: int
    start: int
    end: int
    after: int
    cells: tuple[tuple[int, int], ...]


class NoPlace(Exception):
    """A row or column that is to be changed is not there: the table is not as it was."""


def rewritten(
    raw: bytes,
    *,
    changed: Mapping[int, Mapping[str, str]] | None = None,
    added: Sequence[Mapping[str, str]] = (),
    removed: Collection[int] = (),
) -> bytes:
    """A table with other cells; what is not named stays byte for byte.

    Parameters
    ----------
    raw: what the file holds, as :func:`stagecast.base.tables.open_table` reads it.
    changed: first line of a row -> column -> its new text. A column that the header does not have
        is added at the end of it.
    added: rows by column, which follow the last one.
    removed: first lines of rows.

    Raises
    ------
    NoPlace
        A row is not there, or the table cannot be read.
    """
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NoPlace from error
    table = table_of(raw, label="")
    records = [one for one in _records(text, table.delimiter) if _says(text, one)]
    if not table.header or not records:
        raise NoPlace
    head, rows = records[0], {one.line: one for one in records[1:]}
    changed = changed or {}
    if {*changed, *removed} - rows.keys():
        raise NoPlace
    names = [_name(text[a:b]) for a, b in head.cells]
    wanted = [name for cells in (*changed.values(), *added) for name, said in cells.items()
              if said and name not in names]  # fmt: skip
    new = list(dict.fromkeys(wanted))
    sep = table.delimiter
    pieces: list[tuple[int, int, str]] = []
    if new:
        pieces.append((head.end, head.end, "".join(sep + cell_of(name, apart=sep) for name in new)))
    for line, row in rows.items():
        if line in removed:
            pieces.append((row.start, row.after, ""))
            continue
        cells = changed.get(line, {})
        there = len(row.cells)
        said = {names.index(name): value for name, value in cells.items() if name in names}
        said |= {len(names) + i: cells[name] for i, name in enumerate(new) if name in cells}
        if new or max(said, default=0) >= there:
            more = len(names) + len(new) - there
            more_cells = [cell_of(said.pop(there + i, ""), apart=sep) for i in range(max(0, more))]
            pieces.append((row.end, row.end, "".join(sep + cell for cell in more_cells)))
        pieces += [(*row.cells[at], cell_of(value, apart=sep)) for at, value in said.items()]
    out = _with(text, pieces)
    if added:
        found = _LINE_END.search(text)
        ends = "\n" if found is None else found[0]
        if not out.endswith(("\n", "\r")):
            out += ends
        for cells in added:
            row_cells = [cells.get(name, "") if name else "" for name in (*names, *new)]
            out += sep.join(cell_of(value, apart=sep) for value in row_cells) + ends
    return out.encode("utf-8")


def _with(text: str, pieces: list[tuple[int, int, str]]) -> str:
    """A text with some of its pieces replaced; none lies in another."""
    parts, at = [], 0
    for start, end, value in sorted(pieces, key=lambda piece: (piece[0], piece[1])):
        parts += [text[at:start], value]
        at = end
    return "".join((*parts, text[at:]))


def _records(text: str, delimiter: str) -> Iterator[_Record]:
    """Every row of a text, as the csv module splits it: quotes count where a cell begins."""
    at, line = len(_BOM) if text.startswith(_BOM) else 0, 1
    while at < len(text):
        start, first, cells = at, line, []
        while True:
            begin = at
            if text.startswith('"', at):
                at = _closing(text, at)
                line += len(_LINE_END.findall(text[begin:at]))
            while at < len(text) and text[at] not in (delimiter, "\r", "\n"):
                at += 1
            cells.append((begin, at))
            if not text.startswith(delimiter, at):
                break
            at += 1
        ends = _LINE_END.match(text, at)
        after = at if ends is None else ends.end()
        yield _Record(first, start, at, after, tuple(cells))
        at, line = after, line + 1


def _closing(text: str, at: int) -> int:
    """The place after the quotation mark that closes the one at a place."""
    at += 1
    while at < len(text):
        if text.startswith('""', at):
            at += 2
        elif text[at] == '"':
            return at + 1
        else:
            at += 1
    raise NoPlace


def _says(text: str, record: _Record) -> bool:
    """Whether any cell of a row has anything in it."""
    return any(_name(text[a:b]) for a, b in record.cells)


def _name(cell: str) -> str:
    """What a cell of the header names."""
    plain = cell[1:-1].replace('""', '"') if cell.startswith('"') else cell
    return " ".join(plain.lower().split())
