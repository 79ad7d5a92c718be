"""A season folder made ready for work: read, its weather screened, a station for every field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.forecast.stations import FieldWeather, assign_stations
from stagecast.knowledge import Knowledge
from stagecast.knowledge.rules import WeatherLimits
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.replanting import planned_and_past, season_as_it_stood
from stagecast.season.rules import season_span
from stagecast.weather.doubt import drift_problem, drifts
from stagecast.weather.quality import (
    doubtful_units,
    fetched_station,
    flags_as_problems,
    screen,
    station_file,
)
from stagecast.weather.records import Station, StationRecord
from stagecast.weather.seasons import SeasonSpan, known_until
from stagecast.weather.sources import DEFAULT, Readings, WeatherSource, source_named

FLAGS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class ReadFolder:
    """A season folder as it was read once; :func:`as_it_stood` cuts it at a day.

    ``stations`` are not screened.
    """

    season: SeasonFolder
    stations: Readings
    source: WeatherSource

    def __reduce__(self) -> tuple[Callable[..., ReadFolder], tuple[SeasonFolder, Readings]]:
        """Pickle by its source's name: functions are found again, never stored."""
        return _from_source, (self.season, self.stations)

    def place(self, station: str) -> str:
        """Where a person finds the days of a station: his file, or the station itself."""
        return (station_file if self.source.connect is None else fetched_station)(station)


@dataclass(frozen=True, slots=True)
class LoadedSeason:
    """A season folder without errors, as it stood on a day.

    Attributes
    ----------
    season: with the plants that stood on the day, and what was seen of them.
    as_of: nothing measured or seen after this day takes part.
    weather: field_id -> the station that speaks for the field, and its season.
    refused: fields that no station can speak for; they are left out of ``weather``.
    doubts: what is possible but unlikely, or worth knowing, in file order.
    us_order: files in which dates were read as month/day/year.
    stations: every weather station by name, also those that speak for no field.
    """

    season: SeasonFolder
    as_of: dt.date
    span: SeasonSpan
    weather: Mapping[str, FieldWeather]
    refused: tuple[Problem, ...]
    doubts: tuple[Problem, ...]
    us_order: tuple[str, ...]
    stations: Mapping[str, Station]

    @property
    def knowledge(self) -> Knowledge:
        """What ships with stagecast, with the folder's own pests and thresholds over it."""
        return self.season.knowledge


def load_season(path: Path, *, as_of: dt.date, shipped: Knowledge | None = None) -> LoadedSeason:
    """:func:`read_folder`, then :func:`as_it_stood`."""
    return as_it_stood(read_folder(path, shipped=shipped), as_of=as_of)


def read_folder(
    path: Path, *, log: ScoutingLog | None = None, shipped: Knowledge | None = None
) -> ReadFolder:
    """Read a season folder and its weather, once for any number of days.

    Parameters
    ----------
    log: optional; taken in place of what stands of the folder's own.
    shipped: optional; what the folder's own pests and thresholds are laid over; default what ships.
        From here on the season's own knowledge is the only one.

    Raises
    ------
    SeasonProblems
        With every error of every file, in one pass.
    StoreError
        When the weather store cannot be read.
    """
    season, problems = None, []
    try:
        season = read_season(path, shipped=shipped, log=log)
    except SeasonProblems as error:
        problems = list(error.problems)
    source = source_named(DEFAULT if season is None else season.settings.weather.source)
    stations = source.read(path)
    if season is not None and not season.fields:
        stations = _not_needed(stations)
    problems += [problem for problem in stations.problems if not problem.doubtful]
    if season is None or problems:
        raise SeasonProblems(problems)
    return ReadFolder(season, stations, source)


def _from_source(season: SeasonFolder, stations: Readings) -> ReadFolder:
    return ReadFolder(season, stations, source_named(season.settings.weather.source))


def _not_needed(stations: Readings) -> Readings:
    """Where no field needs temperatures yet, what is wrong with them is only worth knowing."""
    told = tuple(replace(problem, doubtful=True) for problem in stations.problems)
    return replace(stations, problems=told)


def as_it_stood(read: ReadFolder, *, as_of: dt.date) -> LoadedSeason:
    """A season folder as it stood on a day.

    Raises
    ------
    SeasonProblems
        When not one field can be forecast.
    """
    season = season_as_it_stood(read.season, as_of)
    found = screen_records(read, as_of=as_of)
    if season.fields and not found.records:
        raise SeasonProblems([read.source.nothing])
    doubtful = [*read.stations.problems, *found.doubts]
    span = season_span(season.settings.year, season.knowledge)
    assigned = assign_stations(found.records, season, span=span, as_of=as_of)
    if assigned.refused and not assigned.weather:
        raise SeasonProblems(assigned.refused, doubts=[*season.doubts, *doubtful])
    used = {w.season.station.station for w in assigned.weather.values()}
    stations = (record.station.station for record in found.records)
    idle = {read.place(station) for station in stations if station not in used}
    return LoadedSeason(
        season=season,
        as_of=as_of,
        span=span,
        weather=assigned.weather,
        refused=assigned.refused,
        doubts=(
            *season.doubts,
            *_without_idle(doubtful, idle),
            *assigned.doubts,
            *planned_and_past(season, as_of),
            *_other_year(season, as_of),
        ),
        us_order=season.us_order + read.stations.us_order_files,
        stations={record.station.station: record.station for record in read.stations.records},
    )


def _without_idle(doubts: Sequence[Problem], idle: Collection[str]) -> list[Problem]:
    """Doubts but those of stations that speak for no field: they change nothing."""
    return [doubt for doubt in doubts if doubt.doubtful and doubt.file not in idle]


def _other_year(season: SeasonFolder, as_of: dt.date) -> list[Problem]:
    year = season.settings.year
    if as_of.year == year or not season.fields:
        return []
    message = f"this is the season of {year}, and the day asked for is {as_of}"
    step = f"ask for a day of the season with --as-of, such as --as-of {year}-07-01"
    return [Problem("season.toml", message, column="year", next_step=step, doubtful=True)]


# --- screening ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ScreenedRecords:
    """Records without impossible days, and what was doubtful in them."""

    records: tuple[StationRecord, ...]
    doubts: tuple[Problem, ...]


def screen_records(read: ReadFolder, *, as_of: dt.date, only: str | None = None) -> ScreenedRecords:
    """Cut every record at a day, or that of one station, and reject its impossible days."""
    limits = read.season.knowledge.weather
    # A day's neighbours decide whether a sensor was stuck, so later days must go first.
    stood = [
        known_until(record, as_of)
        for record in read.stations.records
        if only in (None, record.station.station)
    ]
    records: list[StationRecord] = []
    doubts: list[Problem] = []
    for record in stood:
        clean, flags = screen(
            record,
            tmin_floor_c=float(limits.tmin_floor),
            tmax_ceiling_c=float(limits.tmax_ceiling),
            stuck_days=int(limits.stuck_days),
            max_range_c=float(limits.widest_day),
        )
        records.append(clean)
        doubts += _folded(flags_as_problems(flags, place=read.place))
    if read.source.connect is None:
        doubts += [doubt for record in stood if (doubt := _units(record, limits)) is not None]
    return ScreenedRecords(tuple(records), tuple(doubts))


def drifting(read: ReadFolder, *, as_of: dt.date) -> tuple[Problem, ...]:
    """Stations whose last weeks depart from their neighbors', against what is usual."""
    records = screen_records(read, as_of=as_of).records
    found = drifts(records, as_of=as_of, limits=read.season.knowledge.weather)
    return tuple(drift_problem(one, place=read.place(one.station)) for one in found)


def _units(record: StationRecord, limits: WeatherLimits) -> Problem | None:
    """A station whose summers can hardly be in the unit that its columns name."""
    return doubtful_units(
        record,
        coldest_summer_c=float(limits.units_coldest),
        warmest_summer_c=float(limits.units_warmest),
        months=(int(limits.units_first_month), int(limits.units_last_month)),
        at_least_days=int(limits.units_days),
    )


def _folded(doubts: Sequence[Problem]) -> list[Problem]:
    """The latest few of one station's doubtful days, and how many more there are."""
    more = len(doubts) - FLAGS_SHOWN
    if more <= 0:
        return list(doubts)
    message = f"doubtful days or runs of days before these, taken as missing too: {more}"
    shown = doubts[more:]
    return [*shown, Problem(shown[0].file, message, doubtful=True)]
