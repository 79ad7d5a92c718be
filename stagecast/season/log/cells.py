"""Entries of the log as cells of a row: read with all that is wrong, and written again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from stagecast.base.dates import ACCEPTED_TIME, DAY_S, parse_time
from stagecast.base.tables import TableRow
from stagecast.base.textfiles import unseen_character
from stagecast.knowledge.units import UNITS, SampleUnit
from stagecast.season.log.entries import (
    ACCEPTED_COUNT,
    ACCEPTED_SIZE,
    LARGEST_SET,
    LEFT_TOO_SOON,
    LONGEST_PREHARVEST_DAYS,
    LONGEST_REENTRY_HOURS,
    MOST_COUNTED,
    SMALLEST_SET,
    LoggedCount,
    LoggedSet,
    LoggedStand,
    LoggedVisit,
    Treatment,
    life_stage_of,
    number_as_typed,
    why_no_text,
)
from stagecast.season.log.stands import HOOP_EXAMPLE, STAND_EXAMPLE, parse_stand, stand_text
from stagecast.season.settings.pest_names import PestNames, joined
from stagecast.season.tables.cells import ACCEPTED_FIELD, read_pest, read_stage

VISIT_COLUMNS = (
    "who", "stage", "share_percent", "stand_notes", "defoliation_percent", "method", "stand_count",
    "arrived", "left",
)  # fmt: skip
SET_COLUMNS = ("set", "size", "of")
COUNT_COLUMNS = ("pest", "life_stage", "count")
TREATMENT_COLUMNS = ("product", "time", "reentry_hours", "preharvest_days")
COLUMNS = (
    "visit_id", "kind", "field_id", "date", "who", "stage", "share_percent", "stand_notes",
    "defoliation_percent", "method", "notes", "corrects", *SET_COLUMNS, *COUNT_COLUMNS,
    *TREATMENT_COLUMNS, "stand_count", "arrived", "left",
)  # fmt: skip
"""In the order in which they came to be: a table of an earlier version begins like ours."""

_TEXTS = (*VISIT_COLUMNS, "notes", "product", "life_stage")

LONGEST_ID = 64
ACCEPTED_UNITS = ", ".join(UNITS)
_UNITS_CALLED: dict[str, SampleUnit] = {
    joined(name): unit
    for unit, terms in reversed(UNITS.items())
    for name in (unit, terms.one, *terms.also)
}
"""Any name of a unit, joined; of two units that share one, the first."""
WHOLE_SCALES = (("percent", 100.0), ("rating", 10.0))
"""Sizes that earlier logs gave to what is judged: of the whole scale."""
JUDGED_SIZE = (
    "a percentage or a rating is judged, not counted, so it has no size: write "
    "`percent: bean leaf beetle 10` for the share of plants or pods hurt; leaf loss is entered "
    "as leaf loss"
)
_ACCEPTED_ID = f"a name without invisible characters, up to {LONGEST_ID} characters, or blank"
_MOST_SETS = 10_000
_ACCEPTED_SET = f"the number of the set, 1 to {_MOST_SETS:,}"

_DECIMALS_OF_PERCENT = 10


@dataclass(frozen=True, slots=True)
class LogNames:
    """What entries of a season's log may name.

    Attributes
    ----------
    year: the season's year; None leaves years unchecked, when season.toml could not be read.
    field_ids: the ids in fields.csv; None leaves ids unchecked, likewise.
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
    stand = _stand(row)
    arrived, left = _clock(row, "arrived"), _clock(row, "left")
    if arrived is not None and left is not None and left < arrived:
        row.fault("left", LEFT_TOO_SOON, accepted=f"a time after {arrived:%H:%M}, that of arriving")
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
        stand=stand,
        arrived=arrived,
        left=left,
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
        row.fault("life_stage", reason, next_step="type it again")
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
    return _UNITS_CALLED.get(joined(text))


def time_of(text: str) -> dt.time:
    """A time of day; ValueError with a reason when it is none."""
    seconds = parse_time(text)
    if seconds == DAY_S:
        raise ValueError("there is no such time of day")
    return (dt.datetime.min + dt.timedelta(seconds=seconds)).time()


def _common(
    row: TableRow, names: LogNames, *, accepted_day: str
) -> tuple[str, str | None, dt.date | None, str | None]:
    """Id, field, day, and the id of what is corrected."""
    for column in _TEXTS:
        reason = why_no_text(row.text(column))
        if reason is not None:
            row.fault(column, reason, next_step="shorten it, or type it again")
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


def _stand(row: TableRow) -> LoggedStand | None:
    """The stand count of a cell; None when blank or wrong."""
    text = row.text("stand_count")
    if not text:
        return None
    try:
        return parse_stand(text)
    except ValueError as error:
        accepted = f'such as "{STAND_EXAMPLE}" or "{HOOP_EXAMPLE}"'
        row.fault("stand_count", str(error), accepted=accepted)
        return None


def _check_sets(row: TableRow, sets: Iterable[LoggedSet]) -> None:
    """Fault what an old entry may hold and a new one, which takes its place, may not."""
    for one in sets:
        if not SMALLEST_SET <= one.size <= LARGEST_SET:
            message = f"set {one.number} of {one.size:g} {one.unit} is out of range"
            row.fault("size", message, accepted=ACCEPTED_SIZE)
        for count in one.counts:
            if not 0 <= count.number <= MOST_COUNTED:
                message = f"set {one.number} counts {count.number:g} of {count.pest}"
                row.fault("count", message, accepted=ACCEPTED_COUNT)
            reason = why_no_text(count.life_stage)
            if reason is not None:
                row.fault("life_stage", reason, next_step="type it again")


def _time(row: TableRow) -> dt.time | None:
    return None if _needed(row, "time", accepted=ACCEPTED_TIME) is None else _clock(row, "time")


def _clock(row: TableRow, column: str) -> dt.time | None:
    """Time of day of a cell; None when blank or wrong."""
    text = row.text(column)
    try:
        return time_of(text) if text else None
    except ValueError as error:
        row.fault(column, str(error), accepted=ACCEPTED_TIME)
        return None


def _amount(
    row: TableRow, column: str, *, accepted: str, most: float = float("inf")
) -> float | None:
    """Number of a cell from 0 on; None when blank or wrong."""
    number = row.number(column, accepted=accepted)
    if number is not None and not 0 <= number <= most:
        row.fault(column, "this number is out of range", accepted=accepted)
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


def visit_cells(visit: LoggedVisit) -> dict[str, str]:
    """Cells that a visit has once, whatever its sets hold."""
    return {
        "visit_id": visit.visit_id,
        "kind": "visit",
        "field_id": visit.field_id,
        "date": visit.date.isoformat(),
        "who": visit.who,
        "stage": visit.stage or "",
        "share_percent": number_as_typed(
            None if visit.share is None else round(100 * visit.share, _DECIMALS_OF_PERCENT)
        ),
        "stand_notes": visit.stand_notes,
        "defoliation_percent": number_as_typed(visit.defoliation_percent),
        "method": visit.method,
        "notes": visit.notes,
        "corrects": visit.corrects or "",
        "stand_count": "" if visit.stand is None else stand_text(visit.stand),
        "arrived": "" if visit.arrived is None else visit.arrived.isoformat("minutes"),
        "left": "" if visit.left is None else visit.left.isoformat("minutes"),
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
        "reentry_hours": number_as_typed(treatment.reentry_hours),
        "preharvest_days": number_as_typed(treatment.preharvest_days),
    }


def count_cells(one: LoggedSet, count: LoggedCount | None) -> dict[str, str]:
    """Cells of a count and its set; see :func:`count_rows`."""
    cells = {"set": str(one.number), "size": number_as_typed(one.size), "of": one.unit}
    if count is None:
        return cells
    number = number_as_typed(count.number)
    return cells | {"pest": count.pest, "life_stage": count.life_stage, "count": number}
