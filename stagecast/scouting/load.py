"""Open a season folder for work: read it, read its weather, give every field a station.

Everything wrong, in all files, is told at once; nothing is ever written.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from stagecast.errors import Problem, SeasonProblems
from stagecast.knowledge import Knowledge
from stagecast.scouting.rules import folder_rules, season_span
from stagecast.scouting.stations import FieldWeather, StationDesk
from stagecast.season.fields import FIELDS_FILE
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.weather.quality import doubtful_units, flags_as_problems, screen
from stagecast.weather.records import StationRecord
from stagecast.weather.seasons import SeasonSpan, known_until
from stagecast.weather.station_csv import read_station_folder
from stagecast.weather.store import STORE_NAME, WeatherStore

WEATHER_FOLDER = "weather"
FLAGS_SHOWN = 5


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
    """

    season: SeasonFolder
    as_of: dt.date
    span: SeasonSpan
    weather: dict[str, FieldWeather]
    refused: tuple[Problem, ...]
    doubts: tuple[Problem, ...]
    us_order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Records:
    """Screened station records, with what was found wrong in them."""

    records: tuple[StationRecord, ...]
    problems: tuple[Problem, ...]
    us_order: tuple[str, ...]


def load_season(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> LoadedSeason:
    """Read a season folder and its weather.

    Parameters
    ----------
    path : Path
    as_of : datetime.date
    knowledge : Knowledge

    Raises
    ------
    SeasonProblems
        With every error of every file, in one pass; or when not one field can be forecast.
    StoreError
        When the weather store cannot be read.
    """
    season, problems = _read(path, knowledge)
    stored = season is not None and season.settings.weather.source == "meteostat"
    read = _stored if stored else _station_files
    found = read(path, as_of=as_of, knowledge=knowledge)
    if season is not None and not season.fields:
        found = _not_needed(found)
    problems += [problem for problem in found.problems if not problem.doubtful]
    if season is None or problems:
        raise SeasonProblems(problems)
    if season.fields and not found.records:
        raise SeasonProblems([_no_weather(stored)])
    span = season_span(season.settings.year, knowledge)
    desk = StationDesk(found.records, season, span=span, as_of=as_of, knowledge=knowledge)
    weather, refused = desk.assign()
    doubts = [*season.doubts, *_in_use(found, weather), *desk.doubts(weather)]
    doubts += _other_year(season, as_of)
    if refused and not weather:
        raise SeasonProblems(refused, doubts=[*season.doubts, *found.problems])
    return LoadedSeason(
        season,
        as_of,
        span,
        weather,
        tuple(refused),
        tuple(doubts),
        season.us_order + found.us_order,
    )


def _in_use(found: _Records, weather: dict[str, FieldWeather]) -> list[Problem]:
    """Doubts of stations that speak for a field; those of other stations change nothing."""
    used = {w.season.station.station for w in weather.values()}
    idle = {f"{WEATHER_FOLDER}/{r.station.station}.csv" for r in found.records
            if r.station.station not in used}  # fmt: skip
    return [p for p in found.problems if p.doubtful and p.file not in idle]


def _other_year(season: SeasonFolder, as_of: dt.date) -> list[Problem]:
    year = season.settings.year
    if as_of.year == year or not season.fields:
        return []
    message = f"this is the season of {year}, and the day asked for is {as_of}"
    step = f"ask for a day of the season with --as-of, such as --as-of {year}-07-01"
    return [Problem("season.toml", message, column="year", next_step=step, doubtful=True)]


def _read(path: Path, knowledge: Knowledge) -> tuple[SeasonFolder | None, list[Problem]]:
    try:
        return read_season(path, rules=folder_rules(knowledge)), []
    except SeasonProblems as error:
        return None, list(error.problems)


def _not_needed(found: _Records) -> _Records:
    """Where no field needs temperatures yet, what is wrong with them is only worth knowing."""
    return replace(found, problems=tuple(replace(p, doubtful=True) for p in found.problems))


def _station_files(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> _Records:
    folder = path / WEATHER_FOLDER
    if not folder.is_dir():
        return _Records((), (), ())
    read = read_station_folder(folder)
    records, doubts = _screened(read.records, as_of=as_of, knowledge=knowledge)
    doubts += _units(read.records, as_of=as_of, knowledge=knowledge)
    return _Records(records, read.problems + doubts, read.us_order_files)


def _units(
    records: Sequence[StationRecord], *, as_of: dt.date, knowledge: Knowledge
) -> tuple[Problem, ...]:
    """Stations whose summers can hardly be in the unit that their columns name."""
    limits = knowledge.weather
    doubts = (
        doubtful_units(
            known_until(record, as_of),
            coldest_summer_c=float(limits.units_coldest),
            warmest_summer_c=float(limits.units_warmest),
            months=(int(limits.units_first_month), int(limits.units_last_month)),
            at_least_days=int(limits.units_days),
        )
        for record in records
    )
    return tuple(doubt for doubt in doubts if doubt is not None)


def _stored(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> _Records:
    stored = WeatherStore(path / STORE_NAME).load()
    records, doubts = _screened(stored, as_of=as_of, knowledge=knowledge)
    return _Records(records, doubts, ())


def _screened(
    records: Sequence[StationRecord], *, as_of: dt.date, knowledge: Knowledge
) -> tuple[tuple[StationRecord, ...], tuple[Problem, ...]]:
    limits = knowledge.weather
    screened: list[StationRecord] = []
    doubts: list[Problem] = []
    for record in records:
        # A day's neighbours decide whether a sensor was stuck, so later days must go first.
        clean, flags = screen(
            known_until(record, as_of),
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


def _no_weather(stored: bool) -> Problem:
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
