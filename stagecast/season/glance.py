"""A season folder at a glance: read in a moment, nothing checked, never an error.

For what must answer at once: what to do next in a folder, and what a shell completes. Every other
reader tells what is wrong with a file; here it only counts as not there.
"""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import dataclass
from pathlib import Path

import stagecast
from stagecast.base.tables import Table, open_table

SETTINGS, FIELDS, STATIONS, FETCHED = (
    "season.toml", "fields.csv", "weather/stations.csv", "weather.sqlite",
)  # fmt: skip
STATION_FILES = "station csv"
"""The source of temperatures that people keep themselves; any other is a service."""

MOST_ENTRIES = 1000
"""Entries of a folder that are looked at."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What a folder seems to hold.

    Attributes
    ----------
    year: of the season; None where the settings cannot be read.
    field_ids: as typed, in the order of the table.
    undated: how many fields have neither a planting date nor an expected one.
    own_stations: whether temperatures are to come from files of a person's own.
    temperatures: whether there are any of its source.
    """

    year: int | None
    field_ids: tuple[str, ...]
    undated: int
    own_stations: bool
    temperatures: bool


def is_season(folder: Path) -> bool:
    """Whether a season's settings stand in a folder."""
    try:
        return (folder / SETTINGS).is_file()
    except (OSError, ValueError):
        return False


def seasons_in(folder: Path) -> tuple[str, ...]:
    """Names of the season folders right below a folder, by name."""
    return tuple(sorted(one.name for one in _files(folder) if is_season(one)))


def glance(folder: Path) -> Glance:
    """Look at a season folder."""
    settings = _settings(folder)
    year, weather = settings.get("year"), settings.get("weather")
    source = weather.get("source", STATION_FILES) if isinstance(weather, dict) else STATION_FILES
    rows = [cells for _, cells in _table(folder, FIELDS).lines]
    own = source == STATION_FILES
    return Glance(
        year if isinstance(year, int) else None,
        tuple(cells["field_id"] for cells in rows if cells.get("field_id")),
        sum(not (cells.get("planting_date") or cells.get("planned")) for cells in rows),
        own,
        bool(_table(folder, STATIONS).lines) if own else (folder / FETCHED).exists(),
    )


def pest_ids(folder: Path) -> tuple[str, ...]:
    """Ids of the pests that ship and of those in a season folder: the names of their files."""
    shipped = Path(stagecast.__file__).parent / "knowledge" / "pests"
    files = itertools.chain(_files(shipped), _files(folder / "pests"))
    return tuple(sorted({file.stem for file in files if file.suffix == ".toml"}))


def _files(folder: Path) -> list[Path]:
    try:
        return list(itertools.islice(folder.iterdir(), MOST_ENTRIES))
    except OSError:
        return []


def _settings(folder: Path) -> dict[str, object]:
    try:
        return tomllib.loads((folder / SETTINGS).read_text("utf-8-sig"))
    except (OSError, ValueError):
        return {}


def _table(folder: Path, name: str) -> Table:
    try:
        return open_table(folder / name, label=name)
    except (OSError, ValueError):
        return Table(name)
