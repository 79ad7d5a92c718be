"""One good season folder and many ways to break it, each in exactly one place.

Everything here is invented. ``Case.place`` is how the one sentence begins, up to its colon;
``Case.words`` stand in it. The cases do not depend on the exact limits in force.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from season_builder import StationFile, write_weather

from stagecast.knowledge import load

Content = str | bytes | None

KNOWLEDGE = load()

HEADER = (
    "field_id,grower,field_name,latitude,longitude,area_acres,"
    "planting_date,maturity_group,growth_habit,notes,emergence_date"
)

GOOD: dict[str, str] = {
    "season.toml": """\
year = 2026
units = "us"
region = "TN"
working_days = ["mon", "wed", "fri"]

[home]
latitude = 36.10
longitude = -89.25

[weather]
source = "station csv"
gap_policy = "bridge"
bridge_days = 3
""",
    "fields.csv": f"""\
{HEADER}
F1,Grower A,North Bottom,36.1101,-89.2611,80,2026-04-20,4.7,indeterminate,,2026-04-30
F2,Grower A,South Bottom,36.1202,-89.2722,45.5,2026-05-04,late IV,,behind the shop,
F3,Grower B,Church,36.1303,-89.2833,120,2026-05-20,V,determinate,,
""",
    "visits.csv": """\
field_id,date,pressure
F1,2026-06-10,some
F2,2026-06-10,near threshold
F1,2026-06-17,virtually none
""",
}


@dataclass(frozen=True)
class Case:
    """A good folder with one fault: which files change, and what must be said."""

    name: str
    changes: Mapping[str, Content]
    place: str
    words: tuple[str, ...]


def swap(file: str, old: str, new: str) -> dict[str, Content]:
    """Change the one occurrence of ``old`` in a good file."""
    assert GOOD[file].count(old) == 1, f"{old!r} must stand once in {file}"
    return {file: GOOD[file].replace(old, new)}


def build(folder: Path, changes: Mapping[str, Content] | None = None) -> Path:
    """Write the good season with ``changes``; None leaves a file out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in {**GOOD, **(changes or {})}.items():
        if isinstance(content, bytes):
            (folder / name).write_bytes(content)
        elif content is not None:
            (folder / name).write_text(content, encoding="utf-8", newline="")
    return folder


STATION = StationFile(
    latitude=36.15, longitude=-89.3, first=dt.date(2025, 1, 1), last=dt.date(2026, 6, 20)
)


def refusing_season(folder: Path, *, chosen: dict[str, str], without: tuple[str, ...] = ()) -> Path:
    """The good season, its fields naming stations, some of them left out with their visits."""
    _, *fields = GOOD["fields.csv"].splitlines()
    named = [f"{HEADER},station"]
    named += [f"{row},{chosen.get(row[:2], '')}" for row in fields if row[:2] not in without]
    visits = [row for row in GOOD["visits.csv"].splitlines() if row[:2] not in without]
    tables = {"fields.csv": named, "visits.csv": visits}
    changes = {file: "\n".join([*lines, ""]) for file, lines in tables.items()}
    write_weather(build(folder, changes), [STATION])
    return folder


def _toml(name: str, old: str, new: str, place: str, *words: str) -> Case:
    return Case(name, swap("season.toml", old, new), f"season.toml{place}", words)


def _fields(name: str, old: str, new: str, place: str, *words: str) -> Case:
    return Case(name, swap("fields.csv", old, new), f"fields.csv{place}", words)


def _visits(name: str, old: str, new: str, place: str, *words: str) -> Case:
    return Case(name, swap("visits.csv", old, new), f"visits.csv{place}", words)


_SETTINGS = [
    Case(
        "no settings file", {"season.toml": None}, "season.toml", ("no such file", "stagecast new")
    ),
    Case(
        "settings in UTF-16",
        {"season.toml": GOOD["season.toml"].encode("utf-16")},
        "season.toml",
        ("UTF-8",),
    ),
    _toml(
        "no room on a day",
        'units = "us"',
        "fields_per_day = 0",
        " line 2, fields_per_day",
        "'0'",
        "a whole number from 1",
    ),
    _toml(
        "room for half a field",
        'units = "us"',
        "fields_per_day = 7.5",
        " line 2, fields_per_day",
        "a whole number from 1",
    ),
    _toml("quotes forgotten", '"TN"', "TN", " line 3", "TOML", "region = TN", "quotes"),
    _toml("curly quotes", '"TN"', "“TN”", " line 3", "straight quotes"),
    _toml("quote not closed", '"TN"', '"TN', " line 3", "quotation mark", "partner"),
    _toml("colon for equals", "year = ", "year: ", " line 1", "equals sign"),
    _toml("setting twice", 'units = "us"', "year = 2025", " line 2", "written twice"),
    _toml("section twice", "[weather]", "[home]", " line 10", "written twice"),
    _toml("misspelt setting", "working_days", "workdays", " line 4, workdays", "no such setting"),
    _toml("misspelt required", "region", "regoin", " line 3, regoin", "did you mean region?"),
    _toml(
        "unknown in section", "bridge_days", "bridge", " line 13, weather.bridge", "bridge_days?"
    ),
    _toml("year as text", "2026", '"2026"', " line 1, year", "text in quotes", "whole number"),
    _toml("year far off", "2026", "206", " line 1, year", "'206'", "1950 to 2100"),
    _toml("no year", "year = 2026\n", "", ", year", "required", "missing"),
    _toml("units unknown", '"us"', '"imperial"', " line 2, units", "'imperial'", '"metric"'),
    _toml("state unknown", '"TN"', '"XX"', " line 3, region", "'XX'", "TN"),
    _toml("day unknown", '"wed"', '"wensday"', " line 4, working_days", "'wensday'", '"wed"'),
    _toml("day twice", '"wed"', '"mon"', " line 4, working_days", "twice"),
    _toml(
        "no day is a weekday",
        '"mon", "wed", "fri"',
        '"someday"',
        " line 4, working_days",
        "'someday'",
    ),
    _toml(
        "year in endless hex",
        "2026",
        "0x" + "F" * 5000,
        " line 1, year",
        "more than 4300 digits",
        "1950 to 2100",
    ),
    _toml(
        "home in endless hex",
        "36.10",
        "0x" + "F" * 5000,
        " line 7, home.latitude",
        "more than 4300 digits",
    ),
    _toml(
        "too many past seasons",
        "bridge_days = 3",
        "past_seasons = 61",
        " line 13, weather.past_seasons",
        "'61'",
        "1 to 60",
    ),
    Case(
        "settings without end",
        {"season.toml": GOOD["season.toml"] + "#" * 1_000_000},
        "season.toml",
        ("larger than 1 MB",),
    ),
    _toml("no day", '"mon", "wed", "fri"', "", " line 4, working_days", "at least one"),
    _toml(
        "home swapped",
        "36.10\nlongitude = -89.25",
        "-89.25\nlongitude = 36.10",
        " line 7, home.latitude",
        "swapped",
    ),
    _toml("home without minus", "-89.25", "89.25", " line 8, home.longitude", "minus sign"),
    _toml(
        "home is text", "36.10", '"36.10 N"', " line 7, home.latitude", "text in quotes", "decimal"
    ),
    _toml("home half given", "longitude = -89.25\n", "", " line 6, home.longitude", "missing"),
    _toml("home not a number", "36.10", "nan", " line 7, home.latitude", "'nan'", "decimal"),
    _toml("gap policy unknown", '"bridge"', '"guess"', " line 12, weather.gap_policy", '"refuse"'),
    _toml(
        "bridge too long", "days = 3", "days = 8", " line 13, weather.bridge_days", "'8'", "0 to 7"
    ),
    _toml(
        "bridge in tenths", "days = 3", "days = 3.5", " line 13, weather.bridge_days", "decimals"
    ),
]

_FIELDS = [
    Case("no fields file", {"fields.csv": None}, "fields.csv", ("no such file", "stagecast new")),
    Case("fields file empty", {"fields.csv": ""}, "fields.csv", ("empty", "column names")),
    Case(
        "fields not UTF-8",
        {"fields.csv": GOOD["fields.csv"].replace("Church", "Caf\xe9").encode("latin-1")},
        "fields.csv line 4",
        ("UTF-8",),
    ),
    Case("a workbook", {"fields.csv": b"PK\x03\x04rest"}, "fields.csv", ("workbook", "CSV")),
    _fields("column missing", "planting_date", "sown", ", planting_date", "missing"),
    _fields("id column missing", "field_id,grower", "name,grower", ", field_id", "missing"),
    _fields("column misspelt", "latitude", "lat", ", latitude", "missing", "rename", "'lat'"),
    _fields("a cell too many", "4.7,", "4.7,,", " line 2", "number of cells"),
    _fields("id blank", "F2,", ",", " line 3, field_id", "blank"),
    _fields("id twice", "F2,", "F1,", " line 3, field_id", "line 2", "line 3"),
    _fields("id too long", "F3,", "F" * 65 + ",", " line 4, field_id", "65 characters", "up to"),
    _fields("id with a line break", "F3,", '"F\n3",', " line 4, field_id", "line break"),
    _fields("id invisible", "F3,", "F\u200b3,", " line 4, field_id", "invisible", "U+200B"),
    _fields("id backwards", "F3,", "F\u202e3,", " line 4, field_id", "invisible", "U+202E"),
    _fields("id of no alphabet", "F3,", "F\u03783,", " line 4, field_id", "U+0378"),
    _fields("latitude blank", "36.1202", "", " line 3, latitude (field F2)", "blank", "decimal"),
    _fields(
        "swapped", "36.1202,-89.2722", "-89.2722,36.1202", " line 3, latitude (field F2)", "swapped"
    ),
    _fields("no such latitude", "36.1202", "136.1202", " line 3, latitude (field F2)", "no such"),
    _fields("south of the model", "36.1202", "-36.1202", " line 3, latitude (field F2)", "covers"),
    _fields("no minus", "-89.2722", "89.2722", " line 3, longitude (field F2)", "minus sign"),
    _fields("longitude too far", "-89.2722", "-892.722", " line 3, longitude (field F2)", "range"),
    _fields(
        "degrees and minutes",
        "36.1202",
        "36°07'",
        " line 3, latitude (field F2)",
        "minutes",
        "decimal degrees",
    ),
    _fields(
        "decimal comma",
        "36.1202",
        '"36,1202"',
        " line 3, latitude (field F2)",
        "decimal comma",
        "'36,1202'",
    ),
    _fields("area zero", "45.5", "0", " line 3, area_acres (field F2)", "area", "from 0.01"),
    _fields("area negative", "45.5", "-45.5", " line 3, area_acres (field F2)", "from 0.01"),
    _fields("area endless", "45.5", "inf", " line 3, area_acres (field F2)", "number", "'inf'"),
    _fields("area absurd", "45.5", "4550000", " line 3, area_acres (field F2)", "up to"),
    _fields("area with its unit", "45.5", "45.5 ac", " line 3, area_acres (field F2)", "number"),
    _fields(
        "another year",
        "2026-05-04",
        "2025-05-04",
        " line 3, planting_date (field F2)",
        "season's year",
        "2026",
    ),
    _fields(
        "date ambiguous",
        "2026-05-04",
        "04.05.2026",
        " line 3, planting_date (field F2)",
        "month first or day first",
    ),
    _fields(
        "two-digit year", "2026-05-04", "5/4/26", " line 3, planting_date (field F2)", "four digits"
    ),
    _fields(
        "no such day", "2026-05-04", "2026-04-31", " line 3, planting_date (field F2)", "no day 31"
    ),
    _fields(
        "no such month",
        "2026-05-04",
        "2026-13-04",
        " line 3, planting_date (field F2)",
        "no month 13",
    ),
    _fields(
        "serial number",
        "2026-05-04",
        "46146",
        " line 3, planting_date (field F2)",
        "serial",
        "2026-05-04",
    ),
    _fields(
        "emerged before planting",
        "2026-04-30",
        "2026-04-19",
        " line 2, emergence_date (field F1)",
        "not after planting",
        "2026-04-20",
    ),
    _fields(
        "emerged on planting",
        "2026-04-30",
        "2026-04-20",
        " line 2, emergence_date (field F1)",
        "not after planting",
    ),
    _fields("group a range", "late IV", "IV-V", " line 3, maturity_group (field F2)", "range"),
    _fields(
        "group with two points",
        "late IV",
        "4..7",
        " line 3, maturity_group (field F2)",
        "not a maturity group",
        "'4..7'",
    ),
    _fields("group too late", "late IV", "IX", " line 3, maturity_group (field F2)", "covers"),
    _fields("group blank", "late IV", "", " line 3, maturity_group (field F2)", "blank", "4.7"),
    _fields(
        "habit unknown",
        "indeterminate",
        "ind",
        " line 2, growth_habit (field F1)",
        "'ind'",
        "determinate, or blank",
    ),
    Case(
        "higher than any field",
        {
            "fields.csv": GOOD["fields.csv"]
            .replace("emergence_date\n", "emergence_date,elevation_m\n")
            .replace("2026-04-30\n", "2026-04-30,9001\n")
            .replace(",\n", ",,\n")
        },
        "fields.csv line 2, elevation_m (field F1)",
        ("height", "'9001'", "-500 to 9000"),
    ),
    _fields("cell not closed", "F3,Grower B", 'F3,"Grower B', " line 4", "quotation mark"),
]

_VISITS = [
    _visits("visits column missing", "pressure", "amount", ", pressure", "missing"),
    _visits("unknown field", "F2,", "F9,", " line 3, field_id", "no such field", "'F9'"),
    _visits(
        "word unknown", "near threshold", "lots", " line 3, pressure", "'lots'", "near threshold"
    ),
    _visits("visit in another year", "2026-06-17", "2025-06-17", " line 4, date", "season's year"),
    _visits("visit date impossible", "2026-06-17", "2026-06-31", " line 4, date", "no day 31"),
    _visits("visit twice", "2026-06-17", "2026-06-10", " line 4, date", "line 2", "line 4"),
    _visits("pressure blank", ",some", ",", " line 2, pressure", "blank"),
]

BROKEN: list[Case] = _SETTINGS + _FIELDS + _VISITS
