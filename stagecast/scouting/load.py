"""Open a season folder for work: read it, read its weather, give every field a station.

Everything wrong, in all files, is told at once; nothing is ever written.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from stagecast.errors import Problem, SeasonProblems
from stagecast.knowledge import Knowledge
from stagecast.scouting.rules import folder_rules, season_span
from stagecast.scouting.station_records import WEATHER_FOLDER, read_records, screen_records
from stagecast.scouting.stations import FieldWeather, StationDesk
from stagecast.scouting.traps_near import lost_traps
from stagecast.season.fields import FIELDS_FILE
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.log_entries import ScoutingLog
from stagecast.weather.records import Station, StationRecord
from stagecast.weather.seasons import SeasonSpan
from stagecast.weather.station_csv import StationFolder
from stagecast.weather.store import STORE_NAME


@dataclass(frozen=True, slots=True)
class LoadedSeason:
    """A season folder without errors, as it stood on a day.

    Attributes
    ----------
    season : SeasonFolder
    as_of : datetime.date
        Nothing measured or seen after this day takes part.
    span : SeasonSpan
    weather : dict
        field_id -> the station that speaks for the field, and its season.
    refused : tuple of Problem
        Fields that no station can speak for; they are left out of ``weather``.
    doubts : tuple of Problem
        What is possible but unlikely, or worth knowing, in file order.
    us_order : tuple of str
        Files in which dates were read as month/day/year.
    stations : mapping
        Every weather station by name, also those that speak for no field.
    """

    season: SeasonFolder
    as_of: dt.date
    span: SeasonSpan
    weather: dict[str, FieldWeather]
    refused: tuple[Problem, ...]
    doubts: tuple[Problem, ...]
    us_order: tuple[str, ...]
    stations: Mapping[str, Station]

    @property
    def knowledge(self) -> Knowledge:
        """What ships with stagecast, with the folder's own pests and thresholds over it."""
        return self.season.knowledge


@dataclass(frozen=True, slots=True)
class ReadFolder:
    """A season folder as it was read once; :func:`as_it_stood` cuts it at a day.

    Attributes
    ----------
    season : SeasonFolder
    stations : StationFolder
        Every station record, unscreened.
    stored : bool
        Whether temperatures come from the store.
    """

    season: SeasonFolder
    stations: StationFolder
    stored: bool


def load_season(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> LoadedSeason:
    """Read a season folder and its weather as they stood on a day.

    Raises
    ------
    SeasonProblems
        With every error of every file, in one pass; or when not one field can be forecast.
    StoreError
        When the weather store cannot be read.
    """
    return as_it_stood(read_folder(path, knowledge), as_of=as_of, knowledge=knowledge)


def read_folder(path: Path, knowledge: Knowledge, *, log: ScoutingLog | None = None) -> ReadFolder:
    """Read a season folder and its weather, once for any number of days.

    A log that is given is taken in place of the folder's own.

    Raises
    ------
    SeasonProblems
        With every error of every file, in one pass.
    StoreError
        When the weather store cannot be read.
    """
    season, problems = _read(path, knowledge, log)
    stored = season is not None and season.settings.weather.source == "meteostat"
    stations = read_records(path, stored=stored)
    if season is not None and not season.fields:
        stations = _not_needed(stations)
    problems += [problem for problem in stations.problems if not problem.doubtful]
    if season is None or problems:
        raise SeasonProblems(problems)
    return ReadFolder(season, stations, stored)


def as_it_stood(read: ReadFolder, *, as_of: dt.date, knowledge: Knowledge) -> LoadedSeason:
    """A season folder as it stood on a day.

    Raises
    ------
    SeasonProblems
        When not one field can be forecast.
    """
    season = read.season
    found = screen_records(
        read.stations.records, as_of=as_of, stored=read.stored, knowledge=knowledge
    )
    if season.fields and not found.records:
        raise SeasonProblems([no_weather(read.stored)])
    doubtful = [*read.stations.problems, *found.doubts]
    span = season_span(season.settings.year, knowledge)
    desk = StationDesk(found.records, season, span=span, as_of=as_of, knowledge=knowledge)
    weather, refused = desk.assign()
    doubts = [*season.doubts, *_in_use(doubtful, found.records, weather), *desk.doubts(weather)]
    doubts += _other_year(season, as_of)
    if refused and not weather:
        raise SeasonProblems(refused, doubts=[*season.doubts, *doubtful])
    us_order = season.us_order + read.stations.us_order_files
    stations = {record.station.station: record.station for record in read.stations.records}
    doubts += lost_traps(season.catches, stations)
    return LoadedSeason(
        season, as_of, span, weather, tuple(refused), tuple(doubts), us_order, stations
    )


def _in_use(
    doubts: Sequence[Problem],
    records: Sequence[StationRecord],
    weather: dict[str, FieldWeather],
) -> list[Problem]:
    """Doubts of stations that speak for a field; those of other stations change nothing."""
    used = {w.season.station.station for w in weather.values()}
    ids = {record.station.station for record in records}
    idle = {f"{WEATHER_FOLDER}/{station}.csv" for station in ids - used}
    return [doubt for doubt in doubts if doubt.doubtful and doubt.file not in idle]


def _other_year(season: SeasonFolder, as_of: dt.date) -> list[Problem]:
    year = season.settings.year
    if as_of.year == year or not season.fields:
        return []
    message = f"this is the season of {year}, and the day asked for is {as_of}"
    step = f"ask for a day of the season with --as-of, such as --as-of {year}-07-01"
    return [Problem("season.toml", message, column="year", next_step=step, doubtful=True)]


def _read(
    path: Path, knowledge: Knowledge, log: ScoutingLog | None
) -> tuple[SeasonFolder | None, list[Problem]]:
    try:
        rules = folder_rules(knowledge)
        return read_season(path, rules=rules, knowledge=knowledge, log=log), []
    except SeasonProblems as error:
        return None, list(error.problems)


def _not_needed(stations: StationFolder) -> StationFolder:
    """Where no field needs temperatures yet, what is wrong with them is only worth knowing."""
    told = tuple(replace(problem, doubtful=True) for problem in stations.problems)
    return replace(stations, problems=told)


def no_weather(stored: bool) -> Problem:
    """Why nothing can be forecast where no station has temperatures, and what to do."""
    if stored:
        return Problem(
            STORE_NAME,
            "no temperatures are stored yet",
            next_step="fetch them with `stagecast weather DIR --through DATE`",
        )
    return Problem(
        f"{WEATHER_FOLDER}/stations.csv",
        f"no station has temperatures, and {FIELDS_FILE} has fields that need them",
        next_step=f"put stations.csv and one STATION.csv per station into {WEATHER_FOLDER}/",
    )
