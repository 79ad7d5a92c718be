"""visits.csv: a word for the pressure, and stages that were seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from stagecast.base.errors import Problem
from stagecast.base.tables import TableRow, open_optional
from stagecast.season.log.entries import LOG_FILE
from stagecast.season.tables.cells import read_field_id, read_stage
from stagecast.season.tables.fields import FIELDS_FILE, Field

VISITS_FILE = "visits.csv"
COLUMNS = ("field_id", "date", "pressure")
OPTIONAL_COLUMNS = ("stage", "share_percent")

Pressure = Literal["near threshold", "some", "virtually none"]

_PRESSURES: dict[str, Pressure] = {word: word for word in get_args(Pressure)}
_ACCEPTED_PRESSURE = ", ".join(_PRESSURES)


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit to one field.

    Attributes
    ----------
    pressure : {"near threshold", "some", "virtually none"} or None
        None where only a stage was noted, or counts that nobody has judged yet.
    line: line in visits.csv; None for a visit of the scouting log.
    stage: growth stage of the field, as Fehr and Caviness name it: half of the plants or more.
    share: share of plants in that stage or beyond, 0 to 1, where it was counted.
    entry: id in the scouting log, for a visit that stands there.
    """

    field_id: str
    date: dt.date
    pressure: Pressure | None
    line: int | None
    stage: str | None = None
    share: float | None = None
    entry: str | None = None

    @property
    def file(self) -> str:
        """The file it stands in, for problems."""
        return VISITS_FILE if self.entry is None else LOG_FILE

    @property
    def place(self) -> str:
        """Where it stands in that file: ``line 3`` or ``visit v2c96ef1c38``."""
        return f"line {self.line}" if self.entry is None else f"visit {self.entry}"

    def stage_fault(self, message: str, *, in_the_table: str, doubtful: bool) -> Problem:
        """A problem of its stage, mended in the table or by a correction in the log."""
        step = in_the_table
        if self.entry is not None:
            command = f"stagecast log add DIR {self.field_id} --corrects {self.entry}"
            step = f"if it is wrong: `{command}`"
        return Problem(
            self.file,
            f"{self.stage} on {self.date} {message}",
            self.line,
            "stage",
            next_step=step,
            field_id=self.field_id,
            date=self.date,
            doubtful=doubtful,
        )


@dataclass(frozen=True, slots=True)
class VisitsFile:
    """What could be read of visits.csv: faultless rows, problems, and the order of dates."""

    visits: tuple[Visit, ...]
    problems: tuple[Problem, ...]
    us_order: bool


def read_visits(folder: Path, *, year: int | None, field_ids: Collection[str] | None) -> VisitsFile:
    """Read visits.csv when there is one; every problem in one pass.

    Parameters
    ----------
    year: the season's year; None leaves years unchecked.
    field_ids: the ids in fields.csv; None leaves ids unchecked, when fields.csv could not be read.
    """
    table = open_optional(folder, file=VISITS_FILE, starts="visit", holds="your visits")
    table.check_header(COLUMNS, OPTIONAL_COLUMNS)
    visits: list[Visit] = []
    seen: dict[tuple[str, dt.date], int] = {}
    for row in table.rows():
        visit = _visit(row, year=year, field_ids=field_ids)
        if visit is None:
            continue
        first = seen.setdefault((visit.field_id, visit.date), row.line)
        if first == row.line:
            visits.append(visit)
        else:
            message = f"the same field and day stand on line {first} and line {row.line}"
            row.fault("date", message, next_step="keep one of the two lines")
    return VisitsFile(tuple(visits), table.told(), table.us_order)


def last_visits(visits: Iterable[Visit], as_of: dt.date) -> dict[str, Visit]:
    """Return the last visit to every field that has one, up to and on ``as_of``.

    Parameters
    ----------
    as_of: later visits are left out.

    Returns
    -------
    dict
        field_id -> Visit, in the order of field_id.
    """
    last: dict[str, Visit] = {}
    for visit in visits:
        known = last.get(visit.field_id)
        if visit.date <= as_of and (known is None or known.date < visit.date):
            last[visit.field_id] = visit
    return dict(sorted(last.items()))


def _visit(row: TableRow, *, year: int | None, field_ids: Collection[str] | None) -> Visit | None:
    """Read one row; None when anything in it is wrong."""
    field_id = read_field_id(row, field_ids)
    row.required("date", accepted="the day of the visit")
    date = row.date("date", year=year)
    stage, share = read_stage(row)
    pressure = _pressure(row, needed=stage is None)
    if row.refused or not field_id or date is None:
        return None
    return Visit(field_id, date, pressure, row.line, stage, share)


def _pressure(row: TableRow, *, needed: bool) -> Pressure | None:
    """Read the pressure; a visit that noted a stage may leave it blank."""
    text = row.text("pressure")
    if needed:
        row.required("pressure", accepted=_ACCEPTED_PRESSURE)
    pressure = _PRESSURES.get(" ".join(text.lower().split()))
    if text and pressure is None:
        row.fault("pressure", "not a word for the pressure", accepted=_ACCEPTED_PRESSURE)
    return pressure


def order_problems(visits: Iterable[Visit], fields: Iterable[Field]) -> tuple[Problem, ...]:
    """A stage before there was a crop is an error; one that goes backwards is doubtful.

    A visit that found no plant in its stage yet says nothing against any order. What stands in
    the scouting log is never changed, so that there everything is a doubt.
    """
    by_id = {field.field_id: field for field in fields}
    seen = [v for v in visits if v.stage is not None and v.share != 0.0 and v.field_id in by_id]
    last: dict[str, Visit] = {}
    problems: list[Problem] = []
    for visit in sorted(seen, key=lambda v: (v.date, v.line or 0)):
        problems += _against_field(visit, by_id[visit.field_id])
        before = last.get(visit.field_id)
        field = by_id[visit.field_id]
        if before is not None and field.of_these_plants(before.date) != field.of_these_plants(
            visit.date
        ):
            before = None
        if before is not None and _backwards(before.stage or "", visit.stage or ""):
            problems.append(_went_back(visit, before))
        last[visit.field_id] = visit
    return tuple(sorted(problems, key=lambda problem: problem.line or 0))


def _against_field(visit: Visit, field: Field) -> Iterator[Problem]:
    line = f"({FIELDS_FILE} line {field.line})"
    if not after_planting(visit, field):
        message = f"is not after planting, {field.first_planted or field.planting_date} {line}"
        step, doubtful = "correct the date, or clear the stage", visit.entry is not None
        yield visit.stage_fault(message, in_the_table=step, doubtful=doubtful)
    elif (
        field.emergence_date is not None
        and visit.date < field.emergence_date
        and field.of_these_plants(visit.date)
    ):
        message = f"is before the emergence_date {field.emergence_date} {line}"
        yield visit.stage_fault(message, in_the_table="check both dates", doubtful=True)


def after_planting(visit: Visit, field: Field) -> bool:
    """Whether there can have been a crop to see, also one that was replanted since."""
    return visit.date > (field.first_planted or field.planting_date)


def _went_back(visit: Visit, before: Visit) -> Problem:
    there = f"{before.stage} on {before.date} ({before.place})"
    message = f"comes after {there}: stages do not go backwards"
    step = "check both stages; both are kept"
    return visit.stage_fault(message, in_the_table=step, doubtful=True)


def _backwards(before: str, after: str) -> bool:
    """Whether the later stage is an earlier one of its kind; V and R run side by side."""
    both_known = before[0] == after[0] or after in ("VE", "VC")
    return both_known and _place(after) < _place(before)


def _place(stage: str) -> float:
    number = {"VE": -1, "VC": 0}.get(stage)
    return float(stage[1:]) if number is None else number
