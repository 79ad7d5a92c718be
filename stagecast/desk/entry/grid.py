"""The rows of a visit's form: a pest a row, a set a column, a number in each cell.

A blank cell is a pest that was not looked for in the set; 0 was looked for and not found. What has
no room in the rows goes into the lines below them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from stagecast.base.errors import Problem
from stagecast.knowledge import Knowledge
from stagecast.season.log.entries import LoggedSet, number_as_typed
from stagecast.season.log.sets import parse_set, set_text
from stagecast.season.settings.pest_names import PestNames
from stagecast.visits.look_for import looked_at
from stagecast.visits.season_day import FieldDay

ROWS, SETS = 6, 4
"""How many pests and sets have room at first."""

MOST_ROWS, MOST_COLUMNS = 12, 12
"""And how many at most; what has none goes into the lines below."""

SIZE, UNIT = "set_size", "set_unit"


def pest_input(row: int) -> str:
    """The input that says which pest a row counts; a life stage may follow its id."""
    return f"pest_{row}"


def cell_input(row: int, column: int) -> str:
    """The input of one number."""
    return f"count_{row}_{column}"


_CELLS = [(row, column) for row in range(MOST_ROWS) for column in range(MOST_COLUMNS)]
CALLED_CELLS = {
    SIZE: "Size of a set",
    UNIT: "Counted in",
    **{pest_input(row): f"Pest {row + 1}" for row in range(MOST_ROWS)},
    **{cell_input(row, column): f"Pest {row + 1}, set {column + 1}" for row, column in _CELLS},
}
"""Every input of the rows, as a browser sends it, and what a person calls it."""

_APART = re.compile(r"[\s,;:]")


@dataclass(frozen=True, slots=True)
class CountRows:
    """What the rows offer.

    ``planned`` and ``others``: id and name of pests: those that the visit is for, and all others.
    """

    planned: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str], ...]

    def typed(self, values: Mapping[str, str]) -> list[tuple[str, str]]:
        """What rows count that is not among them, such as a life stage of a pest."""
        named = dict([*self.planned, *self.others])
        picked = (values.get(pest_input(row), "") for row in range(MOST_ROWS))
        return [
            (one, _said(one, named)) for one in dict.fromkeys(picked) if one not in {"", *named}
        ]


def _said(picked: str, named: Mapping[str, str]) -> str:
    pest, _, life_stage = picked.partition(" ")
    return f"{named.get(pest, pest)} {life_stage}".strip()


def count_rows(knowledge: Knowledge, field: FieldDay | None) -> CountRows:
    """The pests of a field's visit first, as its plan has them; leaf loss has its own input."""
    leaf = knowledge.decisions.leaf_loss.pest
    likely: list[str] = []
    if field is not None:
        day = field.season.as_of
        open_then = looked_at(field.windows, day)
        likely = list(dict.fromkeys(w.pest for w in open_then if w.pest and w.pest != leaf))
    planned = likely[: int(knowledge.revisit.planned_pests)]
    rest = sorted(knowledge.pests.values(), key=lambda pest: pest.name)
    others = [pest.id for pest in rest if pest.id not in planned and pest.id != leaf]
    named = {pest.id: pest.name for pest in rest}
    return CountRows(
        tuple((one, named[one]) for one in planned), tuple((one, named[one]) for one in others)
    )


def blank_rows(rows: CountRows, knowledge: Knowledge, field: FieldDay | None) -> dict[str, str]:
    """The rows before anything is typed: the planned pests picked, the usual set."""
    sampling = None if field is None else knowledge.sampling.get(field.visit.sample)
    size = int(knowledge.sweeps.usual_set)
    if sampling is not None and sampling.unit == "sweeps":
        size = sampling.size or size
    picked = {pest_input(row): pest for row, (pest, _) in enumerate(rows.planned[:ROWS])}
    return dict.fromkeys(CALLED_CELLS, "") | {SIZE: str(size), UNIT: "sweeps"} | picked


def room(values: Mapping[str, str]) -> tuple[int, int]:
    """How many rows and sets to show: the usual ones, and all that something stands in."""
    rows, columns = ROWS, SETS
    for row, column in _CELLS:
        if values.get(cell_input(row, column), "").strip():
            rows, columns = max(rows, row + 1), max(columns, column + 1)
        if values.get(pest_input(row), "").strip():
            rows = max(rows, row + 1)
    return rows, columns


def rows_of_sets(sets: Sequence[LoggedSet]) -> tuple[dict[str, str], list[str]]:
    """Logged sets as the rows show them, and as lines those that have no room there.

    The first sets go into the rows, as long as they are of one size and unit: the rows come before
    the lines, so all keep their order.
    """
    values = dict.fromkeys(CALLED_CELLS, "")
    kinds: list[str] = []
    taken = 0
    for column, one in enumerate(sets[:MOST_COLUMNS]):
        counts = {f"{c.pest} {c.life_stage}".strip(): c.number for c in one.counts}
        more = [kind for kind in counts if kind not in kinds]
        alike = (one.size, one.unit) == (sets[0].size, sets[0].unit)
        if not counts or not alike or len(kinds) + len(more) > MOST_ROWS:
            break
        kinds += more
        for kind, number in counts.items():
            values[cell_input(kinds.index(kind), column)] = number_as_typed(number)
        taken += 1
    values |= {pest_input(row): kind for row, kind in enumerate(kinds)}
    if taken:
        values |= {SIZE: number_as_typed(sets[0].size), UNIT: sets[0].unit}
    return values, [set_text(one) for one in sets[taken:]]


def sets_of_rows(values: Mapping[str, str], names: PestNames) -> tuple[list[str], list[Problem]]:
    """The sets as the lines of the form have them, and what is wrong, each at its input.

    ``values``: input -> text.
    """
    columns = [_column(values, column) for column in range(MOST_COLUMNS)]
    if not any(columns):
        return [], []
    size = f"{values.get(SIZE, '').strip()} {values.get(UNIT, '').strip()}".strip()
    problems = list(_of_size(size))
    shown = "1 minutes" if problems else size
    problems += _without_pest(values)
    for column, cells in enumerate(columns):
        problems += _of_column(column, cells, shown, names)
    lines = [
        f"{size}: {'; '.join(f'{pest} {count}' for _, pest, count in cells)}"
        for cells in columns
        if cells
    ]
    return lines, problems


Cell = tuple[int, str, str]
"""Row, pest and number, as typed."""


def _column(values: Mapping[str, str], column: int) -> list[Cell]:
    """What one set holds."""
    cells = (
        (
            row,
            values.get(pest_input(row), "").strip(),
            values.get(cell_input(row, column), "").strip(),
        )
        for row in range(MOST_ROWS)
    )
    return [cell for cell in cells if cell[2]]


def _without_pest(values: Mapping[str, str]) -> Iterator[Problem]:
    for row in range(MOST_ROWS):
        counts = [values.get(cell_input(row, c), "").strip() for c in range(MOST_COLUMNS)]
        found = ", ".join(filter(None, counts))
        if found and not values.get(pest_input(row), "").strip():
            called = CALLED_CELLS[pest_input(row)]
            yield Problem(
                called, "the row has numbers and no pest", found=found, next_step="pick it"
            )


def _of_size(size: str) -> Iterator[Problem]:
    try:
        parse_set(f"{size}:", number=1, names=PestNames.of({}))
    except ValueError as error:
        yield Problem(CALLED_CELLS[SIZE], str(error), found=size)


def _of_column(
    column: int, cells: Sequence[Cell], size: str, names: PestNames
) -> Iterator[Problem]:
    """What is wrong with the numbers of a set, each at its cell."""
    counted: set[str] = set()
    for row, pest, count in cells:
        called = CALLED_CELLS[cell_input(row, column)]
        if _APART.search(count):
            yield Problem(called, "not a number", found=count)
        elif pest:
            try:
                parse_set(f"{size}: {pest} {count}", number=1, names=names)
            except ValueError as error:
                yield Problem(called, str(error))
        if pest and pest in counted:
            yield Problem(called, "a row above counts the same pest in this set", found=count)
        counted.add(pest)
