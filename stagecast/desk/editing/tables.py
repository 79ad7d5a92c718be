"""The tables that are edited at the desk: their columns, as a person reads them."""

from __future__ import annotations

from dataclasses import dataclass

from stagecast.season.tables.blocked import BLOCKED_FILE
from stagecast.season.tables.fields import FIELDS_FILE, HECTARES
from stagecast.season.tables.traps import OLD_NAME, TRAPS_FILE
from stagecast.season.tables.travel import KM, MILES, TRAVEL_FILE


@dataclass(frozen=True, slots=True)
class EditColumn:
    """One column.

    Attributes
    ----------
    also: what a file may call it instead.
    """

    name: str
    label: str
    hint: str = ""
    also: str = ""
    long: bool = False


@dataclass(frozen=True, slots=True)
class EditTable:
    """One table.

    Attributes
    ----------
    named: how many of its first columns name a row in a list.
    """

    id: str
    file: str
    title: str
    row: str
    columns: tuple[EditColumn, ...]
    named: int = 1
    remark: str = ""

    def in_file(self, header: tuple[str, ...]) -> dict[str, str]:
        """Column -> what the file calls it."""
        return {
            one.name: one.also if one.also in header and one.name not in header else one.name
            for one in self.columns
        }

    def shown(self, header: tuple[str, ...]) -> list[EditColumn]:
        """The columns to offer: of two for one thing only the one that the file has."""
        instead = {"area_acres": HECTARES, MILES: KM}
        gone = {a if b in header else b for a, b in instead.items()}
        return [one for one in self.columns if one.name not in gone]


_YES = "yes, no, or blank."
_DAY = "Such as 2026-05-04 or 5/4/2026."

TABLES = (
    EditTable(
        "fields",
        FIELDS_FILE,
        "Fields",
        "field",
        (
            EditColumn("field_id", "Field", "A short name of your own."),
            EditColumn("field_name", "Its name"),
            EditColumn("grower", "Grower"),
            EditColumn("planting_date", "Planted", f"{_DAY} Blank: not planted yet."),
            EditColumn("replanted", "Replanted", "The day, where the first stand failed."),
            EditColumn("planned", "Expected to be planted", "The day, while it is not planted."),
            EditColumn("maturity_group", "Maturity group", "Such as 4.7.", also="mg"),
            EditColumn("emergence_date", "Emerged", "The day, if you saw it."),
            EditColumn("latitude", "Latitude", "Decimal degrees."),
            EditColumn("longitude", "Longitude", "Decimal degrees; west is negative."),
            EditColumn("area_acres", "Acres"),
            EditColumn(HECTARES, "Hectares"),
            EditColumn("growth_habit", "Growth habit", "Blank: as usual for its group."),
            EditColumn("row_width_in", "Row width", "Inches."),
            EditColumn("irrigated", "Irrigated", _YES),
            EditColumn("no_till", "No-till", _YES),
            EditColumn("wooded_edge", "Wooded edge", _YES),
            EditColumn("use", "Grown for", "grain, seed or food; blank: not said."),
            EditColumn("longest_gap_days", "Longest without a look", "Days; blank: the season's."),
            EditColumn("state", "State", "Blank: the season's."),
            EditColumn("station", "Weather station", "Blank: the nearest that can speak for it."),
            EditColumn("elevation_m", "Elevation", "Metres."),
            EditColumn("notes", "Notes", long=True),
        ),
        named=3,
    ),
    EditTable(
        "blocked",
        BLOCKED_FILE,
        "Blocked times",
        "blocked time",
        (
            EditColumn("field_id", "Field"),
            EditColumn("first_date", "First day", _DAY),
            EditColumn("last_date", "Last day", "Blank: that day alone."),
            EditColumn("from_time", "From", "Such as 9:00; both times blank: the whole day."),
            EditColumn("to_time", "To"),
            EditColumn("why", "Why"),
        ),
        named=3,
    ),
    EditTable(
        "traps",
        TRAPS_FILE,
        "Traps",
        "check of a trap",
        (
            EditColumn("trap", "Trap", "A name of your own.", also=OLD_NAME),
            EditColumn("date", "Day", _DAY),
            EditColumn("pest", "Pest"),
            EditColumn("catch", "Catch", "Insects since the check before."),
            EditColumn("what", "What", "Blank: a catch; or first eggs, or first adults."),
            EditColumn("latitude", "Latitude", "Decimal degrees."),
            EditColumn("longitude", "Longitude", "Decimal degrees; west is negative."),
        ),
        named=4,
    ),
    EditTable(
        "travel",
        TRAVEL_FILE,
        "Ways",
        "way",
        (
            EditColumn("from", "From", "home, a field, or a scout."),
            EditColumn("to", "To"),
            EditColumn("minutes", "Minutes of driving"),
            EditColumn(MILES, "Miles"),
            EditColumn(KM, "Kilometres"),
        ),
        named=3,
    ),
)
