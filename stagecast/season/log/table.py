"""The scouting log as a CSV table: rows gathered into entries, and entries written as rows."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from stagecast.base.cells import table_text
from stagecast.base.dates import parse_date
from stagecast.base.errors import Problem
from stagecast.base.savefile import save_file
from stagecast.base.tables import Table, TableRow, blank_like, open_table, table_of
from stagecast.knowledge.units import JUDGED
from stagecast.season.log.cells import (
    COLUMNS,
    COUNT_COLUMNS,
    JUDGED_SIZE,
    SET_COLUMNS,
    VISIT_COLUMNS,
    WHOLE_SCALES,
    LogNames,
    count_cells,
    count_of,
    set_number,
    set_size,
    set_unit,
    treatment_cells,
    treatment_of,
    visit_cells,
    visit_of,
)
from stagecast.season.log.entries import (
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    count_rows,
    settled_treatment,
    settled_visit,
)

REQUIRED_COLUMNS = ("field_id", "date")
HEADER = ",".join(COLUMNS)
_FIRST_HEADER = ",".join(COLUMNS[: COLUMNS.index("stand_count")])
"""That of the first version, with which every later one begins."""

_TOLD_ONCE = ("stand_notes", "stand_count", "notes")
_HEAD = ("visit_id", "field_id", "date", *VISIT_COLUMNS, "notes", "corrects")
_OF_A_VISIT = {*_HEAD, *SET_COLUMNS, *COUNT_COLUMNS, "kind"}
_ACCEPTED_KIND = "visit or treatment; blank is a visit"


@dataclass(frozen=True, slots=True)
class LogTable:
    """What could be read of a table of log entries.

    Attributes
    ----------
    visits: the faultless ones in file order, each with its id.
    treatments: likewise.
    problems: of every row, in file order, doubts among them; with any error nothing is to be
        logged.
    lines: id of each entry -> its first line.
    us_order: whether any date was read as month/day/year.
    """

    visits: tuple[LoggedVisit, ...]
    treatments: tuple[Treatment, ...]
    problems: tuple[Problem, ...]
    lines: Mapping[str, int]
    us_order: bool


def read_log_csv(path: Path, *, names: LogNames, label: str | None = None) -> LogTable:
    """Read a table of visits and treatments; every row's problem in one pass.

    Parameters
    ----------
    path: as a spreadsheet saves it: byte-order mark, semicolons, any line ends.
    names: what its rows may name.
    label: optional; the file's name for problems; default its last part.

    Notes
    -----
    A blank ``visit_id`` becomes one that follows from what the entry says, so that reading the
    same table again gives the same ids.
    """
    return _read(open_table(path, label=path.name if label is None else label), names)


def read_log_bytes(raw: bytes, *, names: LogNames, label: str) -> LogTable:
    """The same of what a file holds."""
    return _read(table_of(raw, label=label), names)


def _read(table: Table, names: LogNames) -> LogTable:
    table.check_header(REQUIRED_COLUMNS, COLUMNS)
    # Without its columns each row has the same fault, told once.
    if any(not problem.doubtful and problem.line is None for problem in table.problems):
        return LogTable((), (), table.told(), {}, False)
    entries = RowsOfLog(names)
    for row in table.rows():
        entries.take(row)
    table.problems += entries.close()
    visits, treatments = tuple(entries.visits), tuple(entries.treatments)
    us_order = table.us_order or entries.us_order
    return LogTable(visits, treatments, table.told(), entries.lines, us_order)


@dataclass(slots=True)
class _SetRows:
    """What the rows of one set say."""

    row: TableRow
    counts: dict[tuple[str, str], LoggedCount] = field(default_factory=dict)


@dataclass(slots=True)
class _VisitRows:
    """What the rows of one visit say; where each cell was said first."""

    row: TableRow
    lines: dict[str, int] = field(default_factory=dict)
    sets: dict[int, _SetRows] = field(default_factory=dict)

    def take(self, row: TableRow, names: LogNames) -> None:
        """Add a row; what contradicts an earlier one is a fault of the later."""
        self._say(row, _HEAD, self.row, "the same visit")
        number = set_number(row)
        if number is None:
            return
        if number not in self.sets:
            self.sets[number] = _SetRows(blank_like(row))
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

    def _say(self, row: TableRow, columns: Iterable[str], into: TableRow, what: str) -> None:
        for column in columns:
            text = row.text(column)
            if not text:
                continue
            before = into.cells.get(column)
            if before is None:
                into.cells[column] = text
                self.lines.setdefault(column, row.line)
            elif text != before and not (column == "date" and self._by_day):
                message = f"line {into.line} says something else of {what}"
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
            if unit in JUDGED and size not in (1, None) and (unit, size) not in WHOLE_SCALES:
                one.row.fault("size", JUDGED_SIZE, doubtful=bool(one.counts))
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
    visits, treatments: the faultless ones, each with its id; visits once the table is at its end.
    lines: id -> first line.
    us_order: whether a date of a visit was read as month/day/year.
    """

    def __init__(self, names: LogNames) -> None:
        self.names = names
        self.visits: list[LoggedVisit] = []
        self.treatments: list[Treatment] = []
        self.lines: dict[str, int] = {}
        self.us_order = False
        self._open: dict[tuple[str, ...], _VisitRows] = {}

    def take(self, row: TableRow) -> None:
        """Add one row of the table."""
        kind = row.text("kind").lower() or "visit"
        if kind == "treatment":
            self._treatment(row)
        elif kind == "visit":
            key = self._key(row)
            visit = self._open.setdefault(key, _VisitRows(blank_like(row)))
            # what belongs to a treatment is told with the visit
            for column, text in row.cells.items():
                if text and column not in _OF_A_VISIT:
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

    def _key(self, row: TableRow) -> tuple[str, ...]:
        """What holds the rows of a visit together."""
        if row.cells.get("visit_id"):
            return (row.cells["visit_id"],)
        day = row.text("date")
        with contextlib.suppress(ValueError):
            day = parse_date(day)[0].isoformat()
        return row.text("field_id"), day

    def _treatment(self, row: TableRow) -> None:
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


def write_log_csv(log: ScoutingLog) -> str:
    """A log as a table that reads back as the same entries in the same order.

    Corrected entries belong in it too, so pass all of them.
    """
    rows = [row for visit in log.visits for row in _visit_rows(visit)]
    rows += [treatment_cells(treatment) for treatment in log.treatments]
    return table_text([COLUMNS, *([row.get(name, "") for name in COLUMNS] for row in rows)])


def _visit_rows(visit: LoggedVisit) -> Iterator[dict[str, str]]:
    head = visit_cells(visit)
    parts = [count_cells(one, count) for one, count in count_rows(visit.sets)] or [{}]
    for i, part in enumerate(parts):
        said = head if i == 0 else {k: t for k, t in head.items() if k not in _TOLD_ONCE}
        yield said | part


def save_log_csv(path: Path, text: str) -> None:
    """Write a table to a file; only a table of the log may be there already.

    Raises
    ------
    StoreError
        Something else is there, or writing failed; what was there is as it was.
    """
    header = _FIRST_HEADER.encode("ascii")
    save_file(path, text.encode("utf-8"), is_ours=lambda there: there.startswith(header))
