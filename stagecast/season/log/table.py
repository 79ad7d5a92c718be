"""The scouting log as a table, read and written."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from stagecast.base.dates import parse_date
from stagecast.base.errors import Problem
from stagecast.base.savefile import save_file
from stagecast.base.tables import TableRow, blank_like, open_table
from stagecast.base.textfiles import unseen_character
from stagecast.knowledge.units import UNITS, SampleUnit
from stagecast.season.log.entries import (
    ACCEPTED_COUNT,
    ACCEPTED_SIZE,
    LARGEST_SET,
    LONGEST_PREHARVEST_DAYS,
    LONGEST_REENTRY_HOURS,
    MOST_COUNTED,
    SMALLEST_SET,
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    life_stage_of,
    settled_treatment,
    settled_visit,
    why_no_text,
)
from stagecast.season.settings.pest_names import PestNames, folded
from stagecast.season.tables.cells import ACCEPTED_FIELD, read_pest, read_stage

VISIT_COLUMNS = ("who", "stage", "share_percent", "stand_notes", "defoliation_percent", "method")
SET_COLUMNS = ("set", "size", "of")
COUNT_COLUMNS = ("pest", "life_stage", "count")
TREATMENT_COLUMNS = ("product", "time", "reentry_hours", "preharvest_days")
COLUMNS = (
    "visit_id", "kind", "field_id", "date", "who", "stage", "share_percent", "stand_notes",
    "defoliation_percent", "method", "notes", "corrects", *SET_COLUMNS, *COUNT_COLUMNS,
    *TREATMENT_COLUMNS,
)  # fmt: skip
NUMBER_COLUMNS = {
    "share_percent", "defoliation_percent", "set", "size", "count", "reentry_hours",
    "preharvest_days",
}  # fmt: skip

LONGEST_ID = 64
ACCEPTED_UNITS = ", ".join(UNITS)
_ACCEPTED_ID = f"a name without invisible characters, up to {LONGEST_ID} characters, or blank"
_MOST_SETS = 10_000
_ACCEPTED_SET = f"the number of the set, 1 to {_MOST_SETS:,}"
_ACCEPTED_TIME = "hours and minutes such as 14:30 or 2:30 pm"

_TIME = re.compile(r"([0-9]{1,2})(?::([0-9]{2}))?(?::([0-9]{2}))? ?(am|pm)?")


@dataclass(frozen=True, slots=True)
class LogNames:
    """What entries of a season's log may name.

    Attributes
    ----------
    year : int or None
        The season's year; None leaves years unchecked, when season.toml could not be read.
    field_ids : collection of str or None
        The ids in fields.csv; None leaves ids unchecked, likewise.
    pests : PestNames
    """

    year: int | None
    field_ids: Collection[str] | None
    pests: PestNames


def visit_of(row: TableRow, sets: tuple[LoggedSet, ...], names: LogNames) -> LoggedVisit | None:
    """A visit of its cells and sets; None, and faults in the row, when anything is wrong."""
    visit_id, field_id, date, corrects = _common(row, names, accepted_day="the day of the visit")
    stage, share = read_stage(row)
    accepted = "leaf loss of the whole canopy in percent, 0 to 100"
    defoliation_percent = _amount(row, "defoliation_percent", accepted=accepted, most=100)
    _check_sets(row, sets)
    _not_here(row, TREATMENT_COLUMNS, "a visit", "log the treatment as an entry of its own")
    if row.refused or field_id is None or date is None:
        return None
    return LoggedVisit(
        visit_id,
        field_id,
        date,
        who=row.text("who"),
        stage=stage,
        share=share,
        stand_notes=row.text("stand_notes"),
        defoliation_percent=defoliation_percent,
        method=row.text("method"),
        notes=row.text("notes"),
        sets=sets,
        corrects=corrects,
    )


def treatment_of(row: TableRow, names: LogNames) -> Treatment | None:
    """A treatment of its cells; None, and faults in the row, when anything is wrong."""
    treatment_id, field_id, date, corrects = _common(row, names, accepted_day="the day of it")
    product = _needed(row, "product", accepted="what was applied, in your words")
    time = _time(row)
    accepted = (
        f"the restricted-entry interval of the label in hours, 0 to {LONGEST_REENTRY_HOURS:,.0f}"
    )
    _needed(row, "reentry_hours", accepted=accepted)
    reentry_hours = _amount(row, "reentry_hours", accepted=accepted, most=LONGEST_REENTRY_HOURS)
    most = LONGEST_PREHARVEST_DAYS
    accepted = f"the pre-harvest interval of the label in days, 0 to {most:,.0f}, or blank"
    preharvest_days = _amount(row, "preharvest_days", accepted=accepted, most=most)
    others = (*VISIT_COLUMNS, *SET_COLUMNS, *COUNT_COLUMNS)
    _not_here(
        row, others, "a treatment", "put it into notes, or log the visit as an entry of its own"
    )
    if row.refused or field_id is None or date is None:
        return None
    if product is None or time is None or reentry_hours is None:
        return None
    return Treatment(
        treatment_id,
        field_id,
        product,
        dt.datetime.combine(date, time),
        reentry_hours,
        preharvest_days,
        notes=row.text("notes"),
        corrects=corrects,
    )


def count_of(row: TableRow, names: PestNames) -> LoggedCount | None:
    """A count of its cells; a row without a pest holds none."""
    if not row.text("pest"):
        step = "fill in the pest, or clear this cell"
        _not_here(row, ("life_stage", "count"), "a row without a pest", step)
        return None
    pest = read_pest(row, names)
    accepted = f"how many there were in the set, {ACCEPTED_COUNT}"
    if not row.text("count"):
        row.fault("count", "a pest needs its count", accepted=accepted)
    number = _amount(row, "count", accepted=accepted, most=MOST_COUNTED)
    reason = why_no_text(row.text("life_stage"))
    if reason is not None:
        row.fault("life_stage", reason, next_step="type it anew")
        return None
    if pest is None or number is None:
        return None
    return LoggedCount(pest, life_stage_of(row.text("life_stage")), number)


def set_number(row: TableRow) -> int | None:
    """Number of the set that a row tells of; None where it tells of none, or is wrong."""
    if not row.text("set"):
        message = "a row without the number of a set"
        step = "number the sets of a visit 1, 2 and on in the column set"
        _not_here(row, ("size", "of", *COUNT_COLUMNS), message, step)
        return None
    number = row.number("set", accepted=_ACCEPTED_SET)
    if number is None:
        return None
    if not (1 <= number <= _MOST_SETS and number == int(number)):
        row.fault("set", "this is not the number of a set", accepted=_ACCEPTED_SET)
        return None
    return int(number)


def set_size(row: TableRow) -> float | None:
    """Size of a set, from its cell."""
    accepted = f"how many sweeps, row-feet or plants the set had, {ACCEPTED_SIZE}"
    if _needed(row, "size", accepted=accepted) is None:
        return None
    size = row.number("size", accepted=accepted)
    if size is not None and not SMALLEST_SET <= size <= LARGEST_SET:
        row.fault("size", "a set cannot have this size", accepted=accepted)
        return None
    return size


def set_unit(row: TableRow) -> SampleUnit | None:
    """Unit of a set's size, from its cell."""
    text = _needed(row, "of", accepted=ACCEPTED_UNITS)
    unit = None if text is None else unit_called(text)
    if text is not None and unit is None:
        row.fault("of", "not a unit that sets are taken in", accepted=ACCEPTED_UNITS)
    return unit


def unit_called(text: str) -> SampleUnit | None:
    """The unit that a text names, in singular or plural; None when it names none."""
    name = folded(text)
    for unit, terms in UNITS.items():
        if name in map(folded, (unit, terms.one, *terms.also)):
            return unit
    return None


def parse_time(text: str) -> dt.time:
    """A time of day; ValueError with a reason when it is none."""
    found = _TIME.fullmatch(" ".join(text.lower().replace(".", "").split()))
    if found is None or (found[2] is None and found[4] is None):
        raise ValueError("not a time of day")
    hour, minute, second = (int(part or 0) for part in found.groups()[:3])
    if found[4] is not None:
        if not 1 <= hour <= 12:
            raise ValueError(f"there is no hour {hour} {found[4]}")
        hour = hour % 12 + (12 if found[4] == "pm" else 0)
    try:
        return dt.time(hour, minute, second)
    except ValueError:
        raise ValueError("there is no such time of day") from None


def _common(
    row: TableRow, names: LogNames, *, accepted_day: str
) -> tuple[str, str | None, dt.date | None, str | None]:
    """Id, field, day, and the id of what is corrected."""
    for column in (*VISIT_COLUMNS, "notes", "product", "life_stage"):
        reason = why_no_text(row.text(column))
        if reason is not None:
            row.fault(column, reason, next_step="shorten it, or type it anew")
    field_id = _needed(row, "field_id", accepted=ACCEPTED_FIELD)
    if field_id and names.field_ids is not None and field_id not in names.field_ids:
        row.fault("field_id", "there is no such field in fields.csv", accepted=ACCEPTED_FIELD)
    _needed(row, "date", accepted=accepted_day)
    date = row.date("date", year=names.year)
    for column in ("visit_id", "corrects"):
        text = row.text(column)
        if unseen_character(text) is not None or len(text) > LONGEST_ID:
            row.fault(column, "this cannot be an id", accepted=_ACCEPTED_ID)
    return row.text("visit_id"), field_id, date, row.text("corrects") or None


def _check_sets(row: TableRow, sets: Iterable[LoggedSet]) -> None:
    """Fault what an old entry may hold and a new one, which takes its place, may not."""
    for one in sets:
        if not SMALLEST_SET <= one.size <= LARGEST_SET:
            message = f"set {one.number} of {one.size:g} {one.unit} cannot be"
            row.fault("size", message, accepted=ACCEPTED_SIZE)
        for count in one.counts:
            if not 0 <= count.number <= MOST_COUNTED:
                message = f"set {one.number} counts {count.number:g} of {count.pest}"
                row.fault("count", message, accepted=ACCEPTED_COUNT)
            reason = why_no_text(count.life_stage)
            if reason is not None:
                row.fault("life_stage", reason, next_step="type it anew")


def _time(row: TableRow) -> dt.time | None:
    text = _needed(row, "time", accepted=_ACCEPTED_TIME)
    if text is None:
        return None
    try:
        return parse_time(text)
    except ValueError as error:
        row.fault("time", str(error), accepted=_ACCEPTED_TIME)
        return None


def _amount(
    row: TableRow, column: str, *, accepted: str, most: float = float("inf")
) -> float | None:
    """Number of a cell from 0 on; None when blank or wrong."""
    number = row.number(column, accepted=accepted)
    if number is not None and not 0 <= number <= most:
        row.fault(column, "this number cannot be", accepted=accepted)
        return None
    return number


def _needed(row: TableRow, column: str, *, accepted: str) -> str | None:
    """Text of a cell that must say something, also where its whole column is not there."""
    if not row.text(column):
        row.fault(column, "this cell must not be blank", accepted=accepted)
        return None
    return row.text(column)


def _not_here(row: TableRow, columns: Collection[str], where: str, step: str) -> None:
    """Fault cells that have no meaning here, so that nothing typed is dropped in silence."""
    for column in columns:
        if row.text(column):
            row.fault(column, f"{where} has no {column}", next_step=step)


_HEAD = ("visit_id", "field_id", "date", *VISIT_COLUMNS, "notes", "corrects")
_OF_A_VISIT = {*_HEAD, *SET_COLUMNS, *COUNT_COLUMNS, "kind"}
_ACCEPTED_KIND = "visit or treatment; blank is a visit"


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


REQUIRED_COLUMNS = ("field_id", "date")
HEADER = ",".join(COLUMNS)

_TOLD_ONCE = ("stand_notes", "notes")
_DECIMALS_OF_PERCENT = 10


@dataclass(frozen=True, slots=True)
class LogTable:
    """What could be read of a table of log entries.

    Attributes
    ----------
    visits : tuple of LoggedVisit
        The faultless ones in file order, each with its id.
    treatments : tuple of Treatment
        Likewise.
    problems : tuple of Problem
        Of every row, in file order, doubts among them; with any error nothing is to be logged.
    lines : dict
        Id of each entry -> its first line.
    us_order : bool
        Whether any date was read as month/day/year.
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
    path : Path
        As a spreadsheet saves it: byte-order mark, semicolons, any line ends.
    names : LogNames
        What its rows may name.
    label : str, optional
        The file's name for problems; default its last part.

    Returns
    -------
    LogTable

    Notes
    -----
    A blank ``visit_id`` becomes one that follows from what the entry says, so that reading the
    same table again gives the same ids.
    """
    label = path.name if label is None else label
    table = open_table(path, label=label)
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


def write_log_csv(log: ScoutingLog) -> str:
    """A log as a table that reads back as the same entries in the same order.

    Corrected entries belong in it too, so pass all of them.
    """
    rows = [row for visit in log.visits for row in _visit_rows(visit)]
    rows += [treatment_cells(treatment) for treatment in log.treatments]
    lines = (",".join(_quoted(row.get(name, "")) for name in COLUMNS) for row in rows)
    return "".join(f"{line}\n" for line in (HEADER, *lines))


def visit_cells(visit: LoggedVisit) -> dict[str, str]:
    """Cells that a visit has once, whatever its sets hold."""
    return {
        "visit_id": visit.visit_id,
        "kind": "visit",
        "field_id": visit.field_id,
        "date": visit.date.isoformat(),
        "who": visit.who,
        "stage": visit.stage or "",
        "share_percent": "" if visit.share is None else _percent(visit.share),
        "stand_notes": visit.stand_notes,
        "defoliation_percent": _number(visit.defoliation_percent),
        "method": visit.method,
        "notes": visit.notes,
        "corrects": visit.corrects or "",
    }


def treatment_cells(treatment: Treatment) -> dict[str, str]:
    """The one row of a treatment."""
    time = treatment.applied_at.time()
    return {
        "visit_id": treatment.treatment_id,
        "kind": "treatment",
        "field_id": treatment.field_id,
        "date": treatment.applied_at.date().isoformat(),
        "notes": treatment.notes,
        "corrects": treatment.corrects or "",
        "product": treatment.product,
        "time": time.isoformat(timespec="seconds" if time.second else "minutes"),
        "reentry_hours": _number(treatment.reentry_hours),
        "preharvest_days": _number(treatment.preharvest_days),
    }


def _visit_rows(visit: LoggedVisit) -> Iterator[dict[str, str]]:
    head = visit_cells(visit)
    for i, part in enumerate(list(_set_rows(visit.sets)) or [{}]):
        said = head if i == 0 else {k: t for k, t in head.items() if k not in _TOLD_ONCE}
        yield said | part


def _set_rows(sets: Iterable[LoggedSet]) -> Iterator[dict[str, str]]:
    for one in sets:
        size = {"set": str(one.number), "size": _number(one.size), "of": one.unit}
        if not one.counts:
            yield size
        for count in one.counts:
            number = _number(count.number)
            yield size | {"pest": count.pest, "life_stage": count.life_stage, "count": number}


def _percent(share: float) -> str:
    return _number(round(100 * share, _DECIMALS_OF_PERCENT))


def _number(value: float | None) -> str:
    """The shortest text that reads back as this number."""
    if value is None:
        return ""
    return repr(value).removesuffix(".0")


def _quoted(text: str) -> str:
    """A cell; also a lone carriage return is quoted, which the csv module may leave bare."""
    if any(char in text for char in '",;\t\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text


def save_log_csv(path: Path, text: str) -> None:
    """Write a table to a file; only a table of the log may be there already.

    Raises
    ------
    StoreError
        Something else is there, or writing failed; what was there is as it was.
    """
    header = HEADER.encode("ascii")
    save_file(path, text.encode("utf-8"), is_ours=lambda there: there.startswith(header))
