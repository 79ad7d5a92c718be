"""The scouting log as a table: one row per count, read all or nothing and written as it was.

A visit is the rows of one ``visit_id``; where that is blank, the rows of one field and day. What a
visit says once need not stand on each of its rows. A visit without counts is one row, so is a set
without counts, and so is a treatment.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from stagecast.errors import Problem
from stagecast.savefile import save_file
from stagecast.season.cells import RowCells, header_problems
from stagecast.season.log_cells import COLUMNS, LogNames
from stagecast.season.log_entries import LoggedSet, LoggedVisit, ScoutingLog, Treatment
from stagecast.season.log_rows import RowsOfLog
from stagecast.textfiles import fold_repeats, read_rows

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
    rows = read_rows(path, label=label)
    problems = list(rows.problems)
    if rows.header:
        optional = [name for name in COLUMNS if name not in REQUIRED_COLUMNS]
        header = header_problems(rows, label=label, required=REQUIRED_COLUMNS, optional=optional)
        problems += header
        # Without these columns each row has the same fault, told once.
        if any(not problem.doubtful for problem in header):
            return LogTable((), (), fold_repeats(problems), {}, False)
    entries = RowsOfLog(names)
    us_order = False
    for line, cells in rows.rows:
        row = RowCells(label, line, cells, rows.decimal_comma)
        entries.take(row)
        us_order |= row.us_order
        problems += row.problems
    problems += entries.close()
    problems.sort(key=lambda problem: problem.line or 0)
    us_order |= entries.us_order
    visits, treatments = tuple(entries.visits), tuple(entries.treatments)
    return LogTable(visits, treatments, fold_repeats(problems), entries.lines, us_order)


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
        size = {"set": str(one.number), "size": _number(one.size), "of": one.of}
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
