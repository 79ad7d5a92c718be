"""Rows of the log's table, gathered into the visits and treatments that they tell of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from stagecast.errors import Problem
from stagecast.season.cells import RowCells
from stagecast.season.log_cells import (
    COUNT_COLUMNS,
    SET_COLUMNS,
    VISIT_COLUMNS,
    LogNames,
    count_of,
    set_number,
    set_size,
    set_unit,
    treatment_of,
    visit_of,
)
from stagecast.season.log_content import settled_treatment, settled_visit
from stagecast.season.log_entries import LoggedCount, LoggedSet, LoggedVisit, Treatment

_HEAD = ("visit_id", "field_id", "date", *VISIT_COLUMNS, "notes", "corrects")
_OF_A_VISIT = {*_HEAD, *SET_COLUMNS, *COUNT_COLUMNS, "kind"}
_ACCEPTED_KIND = "visit or treatment; blank is a visit"


@dataclass(slots=True)
class _SetRows:
    """What the rows of one set say."""

    row: RowCells
    counts: dict[tuple[str, str], LoggedCount] = field(default_factory=dict)


@dataclass(slots=True)
class _VisitRows:
    """What the rows of one visit say; where each cell was said first."""

    row: RowCells
    lines: dict[str, int] = field(default_factory=dict)
    sets: dict[int, _SetRows] = field(default_factory=dict)

    def take(self, row: RowCells, names: LogNames) -> None:
        """Add a row; what contradicts an earlier one is a fault of the later."""
        self._say(row, _HEAD, self.row, "the same visit")
        number = set_number(row)
        if number is None:
            return
        if number not in self.sets:
            self.sets[number] = _SetRows(_blank_like(row))
        one = self.sets[number]
        self._say(row, ("size", "of"), one.row, "the same set")
        count = count_of(row, names.pests)
        if count is None:
            return
        key = count.pest, count.life_stage
        if key in one.counts:
            step = "keep one of the two, or number the sets of the visit 1, 2 and on"
            row.fault("pest", "this pest and life stage stand twice in the set", next_step=step)
        one.counts[key] = count

    def _say(self, row: RowCells, columns: Iterable[str], into: RowCells, what: str) -> None:
        for column in columns:
            text, before = row.cells.get(column, ""), into.cells.get(column)
            if text and before is None:
                into.cells[column] = text
                self.lines.setdefault(column, row.line)
            elif text and text != before and not (column == "date" and self._by_day):
                message = f"line {into.line} says otherwise of {what}"
                step = "write it once, or give each visit of the day a visit_id of its own"
                row.fault(column, message, next_step=step)

    @property
    def _by_day(self) -> bool:
        """Whether the rows are held together by field and day, however the day is written."""
        return "visit_id" not in self.row.cells

    def visit(self, names: LogNames) -> LoggedVisit | None:
        """The visit; None, and faults at the lines that said it, when anything is wrong."""
        sets = []
        for number, one in sorted(self.sets.items()):
            size, unit = set_size(one.row), set_unit(one.row)
            if size is not None and unit is not None:
                sets.append(LoggedSet(number, size, unit, tuple(one.counts.values())))
        return visit_of(self.row, tuple(sets), names)

    def problems(self) -> Iterator[Problem]:
        """What :meth:`visit` found, each at the line of its cell."""
        for problem in self.row.problems:
            yield replace(problem, line=self.lines.get(problem.column or "", problem.line))
        for one in self.sets.values():
            yield from one.row.problems


class RowsOfLog:
    """Rows gathered into visits and treatments.

    Attributes
    ----------
    visits, treatments : list
        The faultless ones, each with its id; visits once the table is at its end.
    lines : dict
        Id -> first line.
    us_order : bool
        Whether a date of a visit was read as month/day/year.
    """

    def __init__(self, names: LogNames) -> None:
        self.names = names
        self.visits: list[LoggedVisit] = []
        self.treatments: list[Treatment] = []
        self.lines: dict[str, int] = {}
        self.us_order = False
        self._open: dict[tuple[str, ...], _VisitRows] = {}

    def take(self, row: RowCells) -> None:
        """Add one row of the table."""
        kind = row.cells.get("kind", "").strip().lower() or "visit"
        if kind == "treatment":
            self._treatment(row)
        elif kind == "visit":
            key = self._key(row)
            visit = self._open.setdefault(key, _VisitRows(_blank_like(row)))
            # what belongs to a treatment is told with the visit
            for column, text in row.cells.items():
                if column not in _OF_A_VISIT and text:
                    visit.row.cells.setdefault(column, text)
                    visit.lines.setdefault(column, row.line)
            visit.take(row, self.names)
        else:
            row.fault("kind", "not a kind of entry", accepted=_ACCEPTED_KIND)

    def close(self) -> list[Problem]:
        """Make the visits at the end of the table; what is wrong with them."""
        problems: list[Problem] = []
        for rows in self._open.values():
            visit = rows.visit(self.names)
            self.us_order |= rows.row.us_order
            problems += rows.problems()
            if visit is not None:
                settled = settled_visit(visit)
                self.visits.append(settled)
                self.lines[settled.visit_id] = rows.row.line
        return problems

    def _key(self, row: RowCells) -> tuple[str, ...]:
        """What holds the rows of a visit together."""
        if row.cells.get("visit_id"):
            return (row.cells["visit_id"],)
        asked = RowCells(row.file, row.line, row.cells, row.decimal_comma)
        day = asked.date("date", year=None)
        text = row.cells.get("date", "") if day is None else day.isoformat()
        return row.cells.get("field_id", ""), text

    def _treatment(self, row: RowCells) -> None:
        treatment = treatment_of(row, self.names)
        if treatment is None:
            return
        settled = settled_treatment(treatment)
        first = self.lines.setdefault(settled.treatment_id, row.line)
        if first == row.line:
            self.treatments.append(settled)
        elif row.cells.get("visit_id"):
            step = "each treatment needs an id of its own, or a blank one"
            row.fault("visit_id", f"this id stands on line {first} already", next_step=step)
        else:
            message = f"the same treatment as on line {first}: logged once"
            row.fault("product", message, doubtful=True)


def _blank_like(row: RowCells) -> RowCells:
    """A row of no cells in the place of another."""
    return RowCells(row.file, row.line, {}, row.decimal_comma)
