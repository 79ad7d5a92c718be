"""fields.csv: one row per field, read without guessing."""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path
from typing import get_args

from stagecast.base.errors import Problem
from stagecast.base.tables import Table, TableRow, open_table
from stagecast.knowledge import Knowledge
from stagecast.season.rules import place_limits
from stagecast.season.tables.cells import read_place
from stagecast.season.tables.maturity import (
    ACCEPTED_MATURITY,
    GrowthHabit,
    MaturityGroup,
    default_habit,
    parse_maturity_group,
)
from stagecast.weather.sources.station_csv import ELEVATIONS_M

FIELDS_FILE = "fields.csv"
COLUMNS = (
    "field_id",
    "grower",
    "field_name",
    "latitude",
    "longitude",
    "area_acres",
    "planting_date",
    "maturity_group",
    "growth_habit",
    "notes",
)
OPTIONAL_COLUMNS = ("emergence_date", "station", "elevation_m")
HECTARES = "area_ha"
LONGEST_ID = 64
"""A field_id has to fit a line of a plan."""

# One hectare is 10,000 m2, one international acre 4046.8564224 m2 (both exact).
ACRES_PER_HECTARE = 10_000 / 4046.8564224

_THOUSANDS = re.compile(r"[0-9]{1,3}(,[0-9]{3})+")

_HABITS: dict[str, GrowthHabit] = {habit: habit for habit in get_args(GrowthHabit)}


@dataclass(frozen=True, slots=True)
class Field:
    """A soybean field in one season.

    Attributes
    ----------
    field_id, grower, field_name, notes: as typed.
    latitude, longitude: decimal degrees, north and east positive.
    area_acres: acres, whatever unit the file uses.
    growth_habit : {"indeterminate", "determinate"}
    habit_defaulted: true when the cell was blank and the habit follows from the maturity group.
    station: weather station chosen by the person.
    elevation_m: naN where not given.
    line: line in fields.csv.
    """

    field_id: str
    grower: str
    field_name: str
    latitude: float
    longitude: float
    area_acres: float
    planting_date: dt.date
    maturity: MaturityGroup
    growth_habit: GrowthHabit
    habit_defaulted: bool
    notes: str
    emergence_date: dt.date | None
    station: str | None
    elevation_m: float
    line: int


@dataclass(frozen=True, slots=True)
class FieldsFile:
    """What could be read of fields.csv.

    Attributes
    ----------
    fields: the faultless rows, in file order.
    problems: errors and doubts, in file order.
    us_order: whether any date was read as month/day/year.
    field_ids: every field_id in the file, rows with other faults included; None when any is in
        doubt.
    """

    fields: tuple[Field, ...]
    problems: tuple[Problem, ...]
    us_order: bool
    field_ids: frozenset[str] | None


def read_fields(folder: Path, *, year: int | None, knowledge: Knowledge) -> FieldsFile:
    """Read fields.csv; every problem in one pass.

    Parameters
    ----------
    year: the season's year; None leaves years unchecked, when the season's is not known.

    Returns
    -------
    FieldsFile
        A file with a header and no rows is valid and empty.
    """
    path = folder / FIELDS_FILE
    if not path.exists() and not path.is_symlink():
        step = "make a season folder with `stagecast new DIR` and copy the file from it"
        missing = Problem(FIELDS_FILE, "there is no such file", next_step=step)
        return FieldsFile((), (missing,), False, None)
    table = open_table(path, label=FIELDS_FILE)
    _check_header(table)
    fields: list[Field] = []
    ids = _FieldIds(LONGEST_ID)
    seen_places: dict[tuple[float, float], int] = {}
    for row in table.rows():
        ids.check(row)
        field = _field(row, year=year, knowledge=knowledge)
        if field is not None:
            _doubt_same_place(row, field, seen_places)
            fields.append(field)
    # A row or an id that could not be read may be the one a visit names.
    unsure = table.torn or any(_of_an_id(problem) for problem in table.problems)
    known_ids = None if unsure else frozenset(ids.lines)
    return FieldsFile(tuple(fields), table.told(), table.us_order, known_ids)


def _of_an_id(problem: Problem) -> bool:
    return problem.column == "field_id" and not problem.doubtful


def _check_header(table: Table) -> None:
    """Check the columns, with the area in either unit but not in both."""
    area = HECTARES if HECTARES in table.header else "area_acres"
    required = [area if name == "area_acres" else name for name in COLUMNS]
    table.check_header(required, (*OPTIONAL_COLUMNS, "area_acres"))
    message = "the area is given twice, in acres and in hectares"
    table.refuse_both("area_acres", HECTARES, message=message)


@dataclass(slots=True)
class _FieldIds:
    """The ids met so far in fields.csv.

    Attributes
    ----------
    longest: longest id accepted, in characters.
    lines: every id, also one that was refused -> the first line it stands on.
    """

    longest: int
    lines: dict[str, int] = field(default_factory=dict)
    _alike: dict[str, int] = field(default_factory=dict)

    def check(self, row: TableRow) -> None:
        """Check the field_id and remember its line; a good one is named in the row's problems."""
        accepted = (
            f"a short name of your own, up to {self.longest} characters, different in every row"
        )
        field_id = row.name("field_id", accepted=accepted, longest=self.longest)
        if field_id is not None and field_id in self.lines:
            first = self.lines[field_id]
            message = f"the same field_id stands on line {first} and line {row.line}"
            row.fault("field_id", message, accepted=accepted)
        elif field_id is not None:
            row.field_id = field_id
            self._doubt_alike(row, field_id)
        if row.text("field_id"):
            self.lines.setdefault(row.text("field_id"), row.line)

    def _doubt_alike(self, row: TableRow, field_id: str) -> None:
        """Doubt an id that reads like another one."""
        read = "".join(unicodedata.normalize("NFKC", field_id).casefold().split())
        first = self._alike.setdefault(read, row.line)
        if first != row.line:
            message = f"reads like the field_id on line {first}: the same field twice?"
            row.fault("field_id", message, doubtful=True)


def _field(row: TableRow, *, year: int | None, knowledge: Knowledge) -> Field | None:
    """Read the whole row, collecting faults; None when any is more than a doubt."""
    place = read_place(row, place_limits(knowledge))
    area_acres = _area_acres(row, knowledge)
    planted, emerged = _dates(row, year=year, knowledge=knowledge)
    maturity = _maturity(row, knowledge)
    habit = _habit(row)
    elevation_m = _elevation_m(row)
    field_id = row.field_id
    if row.refused or field_id is None:
        return None
    if place is None or area_acres is None or planted is None or maturity is None:
        return None
    determinate_from = float(knowledge.soybean.groups.determinate_from)
    return Field(
        field_id=field_id,
        grower=row.text("grower"),
        field_name=row.text("field_name"),
        latitude=place[0],
        longitude=place[1],
        area_acres=area_acres,
        planting_date=planted,
        maturity=maturity,
        growth_habit=habit or default_habit(maturity.number, determinate_from=determinate_from),
        habit_defaulted=habit is None,
        notes=row.text("notes"),
        emergence_date=emerged,
        station=row.cells.get("station") or None,
        elevation_m=elevation_m,
        line=row.line,
    )


def _area_acres(row: TableRow, knowledge: Knowledge) -> float | None:
    """Read the area in either unit and return acres."""
    column = HECTARES if HECTARES in row.cells else "area_acres"
    per_unit, unit = (ACRES_PER_HECTARE, "hectares") if column == HECTARES else (1.0, "acres")
    limit = float(knowledge.fields.area_limit) / per_unit
    accepted = f"{unit} above 0, up to {limit:,.0f}"
    row.required(column, accepted=accepted)
    text = row.text(column)
    if row.decimal_comma and _THOUSANDS.fullmatch(text.strip()):
        message = "three digits after a comma may mean thousands or decimals"
        row.fault(column, message, accepted=accepted)
        return None
    area = row.number(column, accepted=accepted)
    if area is None:
        return None
    if not 0 < area <= limit:
        row.fault(column, "this cannot be the area of a field", accepted=accepted)
        return None
    doubtful = float(knowledge.fields.area_doubtful) / per_unit
    if area > doubtful:
        message = f"larger than {doubtful:,.0f} {unit}: one field, or a farm?"
        row.fault(column, message, doubtful=True)
    return area * per_unit


def _dates(
    row: TableRow, *, year: int | None, knowledge: Knowledge
) -> tuple[dt.date | None, dt.date | None]:
    """Read planting and emergence and compare them."""
    row.required("planting_date", accepted="the day the field was planted")
    planted = row.date("planting_date", year=year)
    emerged = row.date("emergence_date", year=year)
    limits, usual = knowledge.fields, knowledge.soybean.emergence
    first, last = int(limits.planting_usual_first_month), int(limits.planting_usual_last_month)
    if planted is not None and not first <= planted.month <= last:
        message = "an unusual month for planting soybeans"
        row.fault("planting_date", message, doubtful=True)
    if planted is None or emerged is None:
        return planted, emerged
    days = (emerged - planted).days
    if days <= 0:
        row.fault("emergence_date", f"not after planting on {planted}", accepted="a later day")
    elif days < float(usual.quickest):
        message = f"{days} day(s) after planting is very quick"
        row.fault("emergence_date", message, doubtful=True)
    elif days > float(usual.slowest):
        message = f"{days} days after planting is very slow; replanted?"
        row.fault("emergence_date", message, doubtful=True)
    return planted, emerged


def _maturity(row: TableRow, knowledge: Knowledge) -> MaturityGroup | None:
    text = row.required("maturity_group", accepted=ACCEPTED_MATURITY)
    if text is None:
        return None
    groups = knowledge.soybean.groups
    try:
        return parse_maturity_group(
            text,
            offsets={place: float(at) for place, at in groups.offsets.items()},
            lowest=float(groups.lowest),
            highest=float(groups.highest),
        )
    except ValueError as error:
        row.fault("maturity_group", str(error), accepted=ACCEPTED_MATURITY)
        return None


def _elevation_m(row: TableRow) -> float:
    """Height above sea level; NaN when blank, absent or wrong."""
    lowest, highest = ELEVATIONS_M
    accepted = f"metres above sea level, {lowest:g} to {highest:g}, or blank"
    elevation_m = row.number("elevation_m", accepted=accepted)
    if elevation_m is None:
        return math.nan
    if not lowest <= elevation_m <= highest:
        row.fault("elevation_m", "there is no field at this height", accepted=accepted)
    return elevation_m


def _habit(row: TableRow) -> GrowthHabit | None:
    """Read the growth habit; None when blank, or wrong and told."""
    text = row.text("growth_habit")
    habit = _HABITS.get(text.lower())
    if text and habit is None:
        accepted = "indeterminate, determinate, or blank"
        row.fault("growth_habit", "not a growth habit", accepted=accepted)
    return habit


def _doubt_same_place(row: TableRow, field: Field, seen: dict[tuple[float, float], int]) -> None:
    """Doubt a field that lies exactly where another one does."""
    place = field.latitude, field.longitude
    if place in seen:
        message = f"the same latitude and longitude as line {seen[place]}"
        row.fault("latitude", message, doubtful=True)
    seen.setdefault(place, row.line)
