"""fields.csv: one row per field, read without guessing."""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from bisect import bisect
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import get_args

from stagecast.base.errors import Problem
from stagecast.base.tables import Table, TableRow, open_table
from stagecast.knowledge import Knowledge
from stagecast.knowledge.borders import nearest_neighbors
from stagecast.knowledge.groups import group_at
from stagecast.knowledge.rules import FieldLimits
from stagecast.knowledge.threshold import Use
from stagecast.season.rules import place_limits
from stagecast.season.settings.work import ACCEPTED_GAP, LONGEST_GAP_DAYS, SHORTEST_GAP_DAYS
from stagecast.season.tables.cells import read_place
from stagecast.season.tables.maturity import (
    ACCEPTED_MATURITY,
    GrowthHabit,
    MaturityGroup,
    default_habit,
    parse_maturity_group,
)
from stagecast.season.tables.places import state_code
from stagecast.weather.sources.station_csv import ELEVATIONS_M

FIELDS_FILE = "fields.csv"
COLUMNS = (
    "field_id", "grower", "field_name", "latitude", "longitude", "area_acres", "planting_date",
    "maturity_group", "growth_habit", "notes",
)  # fmt: skip
OPTIONAL_COLUMNS = (
    "emergence_date", "station", "elevation_m", "planned", "replanted", "state", "use",
    "row_width_in", "irrigated", "no_till", "longest_gap_days", "wooded_edge",
)  # fmt: skip
HECTARES = "area_ha"
LONGEST_ID = 64
"""A field_id has to fit a line of a plan."""

# One hectare is 10,000 m2, one international acre 4046.8564224 m2 (both exact).
ACRES_PER_HECTARE = 10_000 / 4046.8564224

_THOUSANDS = re.compile(r"[0-9]{1,3}(,[0-9]{3})+")

_USES: dict[str, Use] = {use: use for use in get_args(Use)}
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
    planting_date: of the plants that stand: the day of replanting where there was one.
    emergence_date: as typed; of a field that was replanted it may be that of the first plants.
    line: line in fields.csv.
    planned: true when nobody has planted yet and planting_date is the day it is expected.
    first_planted: the planting that failed, where the field was replanted.
    region: two-letter code of the state where it lies; that of season.toml where not given.
    near: the states that touch it, the nearest to the field first.
    group: id of the group of regions in which it lies, by its place.
    use : {"grain", "seed", "food"} or None
        None where not given; so for all that follow.
    row_width_in: inches.
    longest_gap_days: most days without a look, in place of the season's.
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
    planned: bool = False
    first_planted: dt.date | None = None
    region: str = ""
    near: tuple[str, ...] = ()
    group: str = ""
    use: Use | None = None
    row_width_in: float | None = None
    irrigated: bool | None = None
    no_till: bool | None = None
    longest_gap_days: int | None = None
    wooded_edge: bool | None = None

    def as_it_stood(self, day: dt.date) -> Field:
        """The field as it was known on a day: before replanting nobody knew of it."""
        if self.first_planted is None or day >= self.planting_date:
            return self
        return replace(self, planting_date=self.first_planted, first_planted=None)

    def of_these_plants(self, day: dt.date) -> bool:
        """Whether what was seen on a day was seen on the plants that stand, not on earlier ones."""
        return self.first_planted is None or day > self.planting_date


@dataclass(frozen=True, slots=True)
class UndatedField:
    """A field that waits for its planting date: nothing can be forecast for it yet."""

    field_id: str
    grower: str
    field_name: str
    latitude: float
    longitude: float
    area_acres: float
    notes: str
    line: int


@dataclass(frozen=True, slots=True)
class FieldsFile:
    """What could be read of fields.csv.

    Attributes
    ----------
    fields: the faultless rows with a planting date, in file order.
    undated: those without one, likewise.
    problems: errors and doubts, in file order.
    us_order: whether any date was read as month/day/year.
    field_ids: every field_id in the file, rows with other faults included; None when any is in
        doubt.
    """

    fields: tuple[Field, ...]
    undated: tuple[UndatedField, ...]
    problems: tuple[Problem, ...]
    us_order: bool
    field_ids: frozenset[str] | None


def read_fields(
    folder: Path, *, year: int | None, knowledge: Knowledge, region: str = ""
) -> FieldsFile:
    """Read fields.csv; every problem in one pass.

    Parameters
    ----------
    year: the season's year; None leaves years unchecked, when the season's is not known.
    region: the season's state, for fields that name none.

    Returns
    -------
    FieldsFile
        A file with a header and no rows is valid and empty.
    """
    path = folder / FIELDS_FILE
    if not path.exists() and not path.is_symlink():
        step = "make a season folder with `stagecast new DIR` and copy the file from it"
        missing = Problem(FIELDS_FILE, "there is no such file", next_step=step)
        return FieldsFile((), (), (missing,), False, None)
    table = open_table(path, label=FIELDS_FILE)
    _check_header(table)
    step = "for a whole region there is `stagecast region`"
    table.refuse_beyond(int(knowledge.fields.most_fields), next_step=step)
    fields: list[Field] = []
    undated: list[UndatedField] = []
    ids = _FieldIds(LONGEST_ID)
    seen_places: dict[tuple[float, float], int] = {}
    for row in table.rows():
        ids.check(row)
        field = _field(row, year=year, knowledge=knowledge, region=region)
        if field is None:
            continue
        _doubt_same_place(row, field, seen_places)
        if isinstance(field, Field):
            fields.append(field)
        else:
            undated.append(field)
    # A row or an id that could not be read may be the one a visit names.
    unsure = table.torn or any(_of_an_id(problem) for problem in table.problems)
    known_ids = None if unsure else frozenset(ids.lines)
    return FieldsFile(tuple(fields), tuple(undated), table.told(), table.us_order, known_ids)


def _of_an_id(problem: Problem) -> bool:
    return problem.column == "field_id" and not problem.doubtful


def _check_header(table: Table) -> None:
    """Check the columns, with the area in either unit but not in both."""
    table.also_called("maturity_group", "mg")
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
            step = f"{accepted}; a field that was replanted has one row, with the day in replanted"
            row.fault("field_id", message, accepted=step)
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


def _field(
    row: TableRow, *, year: int | None, knowledge: Knowledge, region: str
) -> Field | UndatedField | None:
    """Read the whole row, collecting faults; None when any is more than a doubt."""
    place = read_place(row, place_limits(knowledge))
    area_acres = _area_acres(row, knowledge)
    dates = _dates(row, year=year, knowledge=knowledge)
    maturity = _maturity(row, knowledge, place, needed=dates is not None)
    habit = _habit(row)
    elevation_m = _elevation_m(row)
    state = _state(row, knowledge)
    use = _use(row)
    row_width_in = _row_width_in(row, knowledge)
    longest_gap_days = _longest_gap_days(row)
    irrigated, no_till = row.yes_or_no("irrigated"), row.yes_or_no("no_till")
    wooded_edge = row.yes_or_no("wooded_edge")
    field_id = row.field_id
    if row.refused or field_id is None or place is None or area_acres is None:
        return None
    if dates is None:
        return UndatedField(
            field_id, row.plain_text("grower"), row.plain_text("field_name"), *place, area_acres,
            row.plain_text("notes"), row.line,
        )  # fmt: skip
    if maturity is None:
        return None
    determinate_from = float(knowledge.soybean.groups.determinate_from)
    return Field(
        field_id=field_id,
        grower=row.plain_text("grower"),
        field_name=row.plain_text("field_name"),
        latitude=place[0],
        longitude=place[1],
        area_acres=area_acres,
        planting_date=dates.planting,
        maturity=maturity,
        growth_habit=habit or default_habit(maturity.number, determinate_from=determinate_from),
        habit_defaulted=habit is None,
        notes=row.plain_text("notes"),
        emergence_date=dates.emergence,
        station=row.cells.get("station") or None,
        elevation_m=elevation_m,
        line=row.line,
        planned=dates.planned,
        first_planted=dates.first_planting,
        region=state or region,
        near=nearest_neighbors(state or region, *place, knowledge),
        group=group_at(state or region, *place, knowledge.groups),
        use=use,
        row_width_in=row_width_in,
        irrigated=irrigated,
        no_till=no_till,
        longest_gap_days=longest_gap_days,
        wooded_edge=wooded_edge,
    )


def _area_acres(row: TableRow, knowledge: Knowledge) -> float | None:
    """Read the area in either unit and return acres."""
    column = HECTARES if HECTARES in row.cells else "area_acres"
    per_unit, unit = (ACRES_PER_HECTARE, "hectares") if column == HECTARES else (1.0, "acres")
    limit = float(knowledge.fields.area_limit) / per_unit
    least = float(knowledge.fields.area_least) / per_unit
    accepted = f"{unit} from {least:.2g} up to {limit:,.0f}"
    text = row.required(column, accepted=accepted) or ""
    if row.decimal_comma and _THOUSANDS.fullmatch(text.strip()):
        message = "three digits after a comma may mean thousands or decimals"
        row.fault(column, message, accepted=accepted)
        return None
    area = row.number(column, accepted=accepted)
    if area is None:
        return None
    if not least <= area <= limit:
        row.fault(column, "this cannot be the area of a field", accepted=accepted)
        return None
    doubtful = float(knowledge.fields.area_doubtful) / per_unit
    if area > doubtful:
        row.fault(column, f"larger than {doubtful:,.0f} {unit}: a field or a farm?", doubtful=True)
    return area * per_unit


@dataclass(frozen=True, slots=True)
class _Dates:
    """When a field is planted, as :class:`Field` has it."""

    planting: dt.date
    planned: bool
    first_planting: dt.date | None
    emergence: dt.date | None


def _dates(row: TableRow, *, year: int | None, knowledge: Knowledge) -> _Dates | None:
    """Read the dates of planting and emergence and compare them; None where there is none yet."""
    planted, planned, replanted, emerged = (
        row.date(column, year=year)
        for column in ("planting_date", "planned", "replanted", "emergence_date")
    )
    limits = knowledge.fields
    first, last = int(limits.planting_usual_first_month), int(limits.planting_usual_last_month)
    for column, day in (("planting_date", planted), ("planned", planned)):
        if day is not None and not first <= day.month <= last:
            row.fault(column, "an unusual month for planting soybeans", doubtful=True)
    if not row.text("planting_date"):
        for column in ("replanted", "emergence_date"):
            if row.text(column) and "planting_date" in row.cells:
                step = "write the day of the first planting into planting_date"
                row.fault(column, "there is no planting_date beside it", next_step=step)
        return None if planned is None else _Dates(planned, True, None, None)
    if planted is None:
        return None
    if replanted is not None and replanted <= planted:
        row.fault("replanted", f"not after planting on {planted}", accepted="a later day")
    _check_emergence(row, planted, replanted, emerged, knowledge)
    return _Dates(replanted or planted, False, planted if replanted else None, emerged)


def _check_emergence(
    row: TableRow,
    planted: dt.date,
    replanted: dt.date | None,
    emerged: dt.date | None,
    knowledge: Knowledge,
) -> None:
    """Hold emergence against the planting it followed."""
    if emerged is None:
        return
    usual = knowledge.soybean.emergence
    sown = planted if replanted is None or emerged <= replanted else replanted
    days = (emerged - sown).days
    if days <= 0:
        row.fault("emergence_date", f"not after planting on {sown}", accepted="a later day")
    elif days < float(usual.quickest):
        message = f"up on day {days} after planting, which is very quick"
        row.fault("emergence_date", message, doubtful=True)
    elif days > float(usual.slowest):
        message = f"up on day {days} after planting, which is very slow; replanted?"
        row.fault("emergence_date", message, doubtful=True)


def _maturity(
    row: TableRow, knowledge: Knowledge, place: tuple[float, float] | None, *, needed: bool
) -> MaturityGroup | None:
    """Read the group; a field without a planting date may wait for it too."""
    text = row.text("maturity_group")
    if needed:
        row.required("maturity_group", accepted=ACCEPTED_MATURITY)
    if not text:
        return None
    groups = knowledge.soybean.groups
    try:
        found = parse_maturity_group(
            text,
            offsets={part: float(at) for part, at in groups.offsets.items()},
            lowest=float(groups.lowest),
            highest=float(groups.highest),
        )
    except ValueError as error:
        row.fault("maturity_group", str(error), accepted=ACCEPTED_MATURITY)
        return None
    usual = None if place is None else usual_group(place[0], knowledge.fields)
    if usual is not None and abs(found.number - usual) > float(knowledge.fields.group_far):
        message = (
            f"far from the groups usual at {place[0] if place else 0:.1f} N, about {usual:.0f}"
        )
        row.fault("maturity_group", message, doubtful=True)
    return found


def usual_group(latitude: float, limits: FieldLimits) -> float:
    """The maturity group about which those usual at a latitude lie, on the continuous scale."""
    north, groups = limits.group_latitudes.values, limits.group_usual.values
    at = min(max(bisect(north, latitude), 1), len(north) - 1)
    share = (latitude - north[at - 1]) / (north[at] - north[at - 1])
    return float(groups[at - 1] + share * (groups[at] - groups[at - 1]))


def _state(row: TableRow, knowledge: Knowledge) -> str | None:
    """Read the state; None when blank, or wrong and told."""
    text = row.text("state")
    code = state_code(text, knowledge.regions) if text else None
    if text and code is None:
        accepted = f"one of {', '.join(sorted(knowledge.regions))}, its name, or blank"
        row.fault("state", "this state is not among those we know", accepted=accepted)
    return code


def _use(row: TableRow) -> Use | None:
    """Read what the beans are for; None when blank, or wrong and told."""
    text = row.text("use")
    use = _USES.get(text.casefold())
    if text and use is None:
        row.fault("use", "not a use of soybeans", accepted=f"{', '.join(_USES)}, or blank")
    return use


def _row_width_in(row: TableRow, knowledge: Knowledge) -> float | None:
    """Read the row width, inches; None when blank, absent or wrong."""
    limits = knowledge.fields
    low, high = float(limits.row_width_low), float(limits.row_width_high)
    accepted = f"inches from row to row, {low:g} to {high:g}, or blank"
    width = row.number("row_width_in", accepted=accepted)
    if width is not None and not low <= width <= high:
        row.fault("row_width_in", "no beans are sown in such rows", accepted=accepted)
    return width


def _longest_gap_days(row: TableRow) -> int | None:
    """Read the most days without a look; None when blank, absent or wrong."""
    accepted = f"{ACCEPTED_GAP}, or blank"
    days = row.number("longest_gap_days", accepted=accepted)
    if days is None or (days.is_integer() and SHORTEST_GAP_DAYS <= days <= LONGEST_GAP_DAYS):
        return None if days is None else int(days)
    row.fault("longest_gap_days", "no field is left so long", accepted=accepted)
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


def _doubt_same_place(
    row: TableRow, field: Field | UndatedField, seen: dict[tuple[float, float], int]
) -> None:
    """Doubt a field that lies exactly where another one does."""
    place = field.latitude, field.longitude
    if place in seen:
        message = f"the same latitude and longitude as line {seen[place]}"
        row.fault("latitude", message, doubtful=True)
    seen.setdefault(place, row.line)
