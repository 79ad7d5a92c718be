"""Station records of a season folder, as they stood on a day: cut there, then screened."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stagecast.errors import Problem
from stagecast.knowledge import Knowledge
from stagecast.weather.quality import doubtful_units, flags_as_problems, screen
from stagecast.weather.records import StationRecord
from stagecast.weather.seasons import known_until
from stagecast.weather.station_csv import StationFolder
from stagecast.weather.station_source import StationCsvSource
from stagecast.weather.store import STORE_NAME, WeatherStore

WEATHER_FOLDER = "weather"
FLAGS_SHOWN = 5


def read_records(path: Path, *, stored: bool) -> StationFolder:
    """Everything a season folder has of temperatures, unscreened.

    Parameters
    ----------
    path : Path
        The season folder.
    stored : bool
        Whether temperatures come from the store, or else from the station files.

    Raises
    ------
    StoreError
        When the store cannot be read.
    """
    if stored:
        return StationFolder(tuple(WeatherStore(path / STORE_NAME).load()), (), ())
    return StationCsvSource(path / WEATHER_FOLDER).read()


@dataclass(frozen=True, slots=True)
class ScreenedRecords:
    """Records without impossible days, and what was doubtful in them."""

    records: tuple[StationRecord, ...]
    doubts: tuple[Problem, ...]


def screen_records(
    records: Sequence[StationRecord], *, as_of: dt.date, stored: bool, knowledge: Knowledge
) -> ScreenedRecords:
    """Cut records at a day and reject their impossible days."""
    # A day's neighbours decide whether a sensor was stuck, so later days must go first.
    stood = [known_until(record, as_of) for record in records]
    kept, doubts = _screened(stood, knowledge)
    if not stored:
        doubts += _units(stood, knowledge)
    return ScreenedRecords(kept, doubts)


def _units(records: Sequence[StationRecord], knowledge: Knowledge) -> tuple[Problem, ...]:
    """Stations whose summers can hardly be in the unit that their columns name."""
    limits = knowledge.weather
    doubts = (
        doubtful_units(
            record,
            coldest_summer_c=float(limits.units_coldest),
            warmest_summer_c=float(limits.units_warmest),
            months=(int(limits.units_first_month), int(limits.units_last_month)),
            at_least_days=int(limits.units_days),
        )
        for record in records
    )
    return tuple(doubt for doubt in doubts if doubt is not None)


def _screened(
    records: Sequence[StationRecord], knowledge: Knowledge
) -> tuple[tuple[StationRecord, ...], tuple[Problem, ...]]:
    limits = knowledge.weather
    screened: list[StationRecord] = []
    doubts: list[Problem] = []
    for record in records:
        clean, flags = screen(
            record,
            tmin_floor_c=float(limits.tmin_floor),
            tmax_ceiling_c=float(limits.tmax_ceiling),
            stuck_days=int(limits.stuck_days),
            max_range_c=float(limits.widest_day),
        )
        screened.append(clean)
        doubts += _folded(flags_as_problems(flags))
    return tuple(screened), tuple(doubts)


def _folded(doubts: Sequence[Problem]) -> list[Problem]:
    """The latest few of one station's doubtful days, and how many more there are."""
    more = len(doubts) - FLAGS_SHOWN
    if more <= 0:
        return list(doubts)
    message = f"{more} more doubtful day(s) or runs of days before these, taken as missing"
    shown = doubts[more:]
    return [*shown, Problem(shown[0].file, message, doubtful=True)]
