"""Which station speaks for which field, and what a person should know about that."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from stagecast.base.errors import Problem, WeatherGap
from stagecast.base.units import beyond_text, distance_text, height_text
from stagecast.knowledge.rules import WeatherLimits
from stagecast.season.folder import SeasonFolder
from stagecast.season.rules import days_bridged
from stagecast.season.tables.fields import FIELDS_FILE, Field
from stagecast.weather.ahead import ForecastError
from stagecast.weather.nearest import PassedOver, StationMatch, great_circle_km, match
from stagecast.weather.records import FieldSite, Station, StationRecord
from stagecast.weather.seasons import SeasonSpan, SeasonWeather, season_weather

NAMED, REASONS = 5, 3
ONE_DAY = dt.timedelta(days=1)


# --- why a station is not used, and why a field has none ----------------------------------------


@dataclass(frozen=True, slots=True)
class NoPastSeason:
    """Nothing can stand for these days ahead."""

    first: dt.date
    last: dt.date
    reason: str

    def __str__(self) -> str:
        return f"{self.reason} ({self.first} to {self.last})"


@dataclass(frozen=True, slots=True)
class DaysMissing:
    """The field needs these days, and the gap bridge_days does not bridge them."""

    first: dt.date
    last: dt.date

    def __str__(self) -> str:
        return f"{self.first} to {self.last} missing, not bridged by the gap policy"


@dataclass(frozen=True, slots=True)
class Behind:
    """The record ends this many days before that of another station; better than none."""

    last: dt.date | None
    days: int

    def __str__(self) -> str:
        return f"its record ends {self.last}, {self.days} days before that of another station"


Unusable = NoPastSeason | DaysMissing | Behind


@dataclass(frozen=True, slots=True)
class NoSuchStation:
    """The station column of fields.csv names a station without temperatures."""

    asked: str


@dataclass(frozen=True, slots=True)
class TooFar:
    """No station is within reach; the nearest is this far away."""

    nearest_km: int


@dataclass(frozen=True, slots=True)
class NoneUsable:
    """Why each of the nearest stations cannot be used."""

    why: tuple[tuple[str, Unusable], ...]
    past_seasons_help: bool


NoStation = NoSuchStation | TooFar | NoneUsable


# --- what comes of it ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FieldWeather:
    """The season's temperatures that stand for one field, and where they are from."""

    season: SeasonWeather
    match: StationMatch
    passed_over: tuple[PassedOver[Unusable], ...]


@dataclass(frozen=True, slots=True)
class AssignedStations:
    """A station for every field that can have one.

    Attributes
    ----------
    weather: field_id -> its station and season.
    refused: one per cause, with the fields that share it.
    doubts: what is weak about the stations in use.
    """

    weather: Mapping[str, FieldWeather]
    refused: tuple[Problem, ...]
    doubts: tuple[Problem, ...]


def assign_stations(
    records: Sequence[StationRecord], folder: SeasonFolder, *, span: SeasonSpan, as_of: dt.date
) -> AssignedStations:
    """Give every field the nearest station that can speak for it.

    Parameters
    ----------
    records: screened; at least one where there are fields.
    """
    stations = _Stations.of(records, folder, span, as_of)
    weather: dict[str, FieldWeather] = {}
    without: dict[NoStation, list[Field]] = {}
    for field in folder.fields:
        found = stations.for_field(field)
        if isinstance(found, FieldWeather):
            weather[field.field_id] = found
        else:
            without.setdefault(found, []).append(field)
    refused = tuple(stations.refusal(cause, fields) for cause, fields in without.items())
    return AssignedStations(weather, refused, tuple(_doubts(weather, folder, span, as_of)))


@dataclass(frozen=True, slots=True)
class _Stations:
    """Each station's season, laid out once.

    Attributes
    ----------
    seasons, gaps: station -> its season, or why it has none.
    freshest: the last day that any station knows.
    """

    stations: Sequence[Station]
    seasons: Mapping[str, SeasonWeather]
    gaps: Mapping[str, WeatherGap]
    freshest: dt.date
    as_of: dt.date
    limits: WeatherLimits

    @classmethod
    def of(
        cls,
        records: Sequence[StationRecord],
        folder: SeasonFolder,
        span: SeasonSpan,
        as_of: dt.date,
    ) -> _Stations:
        settings = folder.settings.weather
        bridged = days_bridged(settings, folder.knowledge)
        needed_from = min((heat_from(f, as_of) for f in folder.fields), default=span.first_day)
        seasons: dict[str, SeasonWeather] = {}
        gaps: dict[str, WeatherGap] = {}
        for record in records:
            try:
                seasons[record.station.station] = season_weather(
                    record,
                    span,
                    as_of=as_of,
                    bridge_days=bridged,
                    needed_from=needed_from,
                    past_seasons=settings.past_seasons,
                    error=forecast_error(folder.knowledge.weather),
                )
            except WeatherGap as gap:
                gaps[record.station.station] = gap
        known = [s.last_known for s in seasons.values() if s.last_known is not None]
        freshest = min(max(known, default=span.first_day), as_of)
        stations = [record.station for record in records]
        return cls(stations, seasons, gaps, freshest, as_of, folder.knowledge.weather)

    def for_field(self, field: Field) -> FieldWeather | NoStation:
        """The field's station: one that is behind others only where there is no other."""
        site = FieldSite(field.latitude, field.longitude, field.elevation_m)
        stations = self._candidates(field)
        if isinstance(stations, NoSuchStation | TooFar):
            return stations
        passed: tuple[PassedOver[Unusable], ...] = ()
        for why_not in (self._broken_or_behind, self._broken):
            found, passed = match(
                site,
                stations,
                why_not=partial(why_not, field),
                far_km=float(self.limits.distance_doubtful),
                high_m=float(self.limits.elevation_doubtful),
            )
            if found is not None:
                return FieldWeather(self.seasons[found.station.station], found, passed)
        why = tuple((p.station, p.reason) for p in passed[:REASONS])
        return NoneUsable(why, any(p.station in self.gaps for p in passed))

    def _candidates(self, field: Field) -> list[Station] | NoSuchStation | TooFar:
        """The station a person chose, or all within reach."""
        if field.station is not None:
            chosen = [s for s in self.stations if s.station == field.station]
            return chosen or NoSuchStation(field.station)
        distances = great_circle_km(
            field.latitude,
            field.longitude,
            np.array([s.latitude for s in self.stations]),
            np.array([s.longitude for s in self.stations]),
        )
        limit_km = float(self.limits.distance_limit)
        near = [s for s, d in zip(self.stations, distances.tolist(), strict=True) if d <= limit_km]
        return near or TooFar(round(float(distances.min())))

    def _broken(self, field: Field, station: Station) -> NoPastSeason | DaysMissing | None:
        gap = self.gaps.get(station.station)
        if gap is not None:
            return NoPastSeason(gap.first_missing, gap.last_missing, gap.reason)
        season = self.seasons[station.station]
        last = season.last_known
        hole = None if last is None else season.hole_between(heat_from(field, self.as_of), last)
        return None if hole is None else DaysMissing(*hole)

    def _broken_or_behind(self, field: Field, station: Station) -> Unusable | None:
        broken = self._broken(field, station)
        if broken is not None:
            return broken
        last = self.seasons[station.station].last_known
        behind = 0 if last is None else (self.freshest - last).days
        needed = heat_from(field, self.as_of) <= self.freshest
        return Behind(last, behind) if needed and behind > int(self.limits.stale_days) else None

    def refusal(self, cause: NoStation, fields: Sequence[Field]) -> Problem:
        """One problem for all fields that have no station for the same cause."""
        column = found = accepted = step = None
        if isinstance(cause, NoSuchStation):
            message, column = "there is no such station with temperatures", "station"
            found, accepted = cause.asked, ", ".join(sorted(s.station for s in self.stations))
        elif isinstance(cause, TooFar):
            message = (
                f"no station lies within {float(self.limits.distance_limit):.0f} km of this field; "
                f"the nearest is {cause.nearest_km} km away"
            )
            step = (
                "add a nearer station, name one in the station column, or check latitude and "
                "longitude"
            )
        else:
            reasons = "; ".join(f"{station}: {reason}" for station, reason in cause.why)
            message = f"no station near enough can be used ({reasons})"
            step = "fill these days in the station's record, or add another station"
            if cause.past_seasons_help:
                step = next(iter(self.gaps.values())).next_step
        others = [field.field_id for field in fields[1:]]
        if others:
            more = f" and {len(others) - NAMED} more" if len(others) > NAMED else ""
            message += f"; the same for {', '.join(others[:NAMED])}{more}"
        first = fields[0]
        return Problem(
            FIELDS_FILE, message, first.line, column, found, accepted, step, field_id=first.field_id
        )


# --- what is weak about the stations in use -----------------------------------------------------


def _doubts(
    weather: Mapping[str, FieldWeather], folder: SeasonFolder, span: SeasonSpan, as_of: dt.date
) -> Iterator[Problem]:
    for field in folder.fields:
        used = weather.get(field.field_id)
        for message in _field_doubts(used, folder) if used is not None else ():
            yield Problem(FIELDS_FILE, message, field.line, field_id=field.field_id, doubtful=True)
    seasons = {w.season.station.station: w.season for w in weather.values()}
    for station in sorted(seasons):
        for message in _station_doubts(seasons[station], folder, min(as_of, span.last_day)):
            yield Problem(f"weather for {station}", message, doubtful=True)


def _field_doubts(weather: FieldWeather, folder: SeasonFolder) -> Iterator[str]:
    found, limits, units = weather.match, folder.knowledge.weather, folder.settings.units
    name = found.station.station
    for passed in weather.passed_over:
        yield (
            f"station {passed.station} is nearer ({distance_text(passed.distance_km, units)}) but "
            f"was passed over: {passed.reason}; {name} is used"
        )
    if found.far:
        far, limit = beyond_text(found.distance_km, float(limits.distance_doubtful), units)
        yield (f"the station used, {name}, is {far} away; beyond {limit} temperatures may differ")
    if found.high:
        yield (
            f"station {name} differs by {height_text(found.elevation_difference_m, units)} in "
            f"elevation; beyond {height_text(float(limits.elevation_doubtful), units)} "
            "it is about 1 degC (2 F) off"
        )


def _station_doubts(season: SeasonWeather, folder: SeasonFolder, until: dt.date) -> Iterator[str]:
    limits, last = folder.knowledge.weather, season.last_known
    wanted = int(limits.past_seasons_wanted)
    if season.member_years and len(season.member_years) < wanted:
        yield (
            f"only {len(season.member_years)} of the past seasons can stand for the days ahead; "
            f"with fewer than {wanted} the ranges are too narrow"
        )
    if last is not None and (until - last).days > int(limits.stale_days):
        yield (
            f"the record ends {last}, {(until - last).days} days before {until}; past seasons "
            "stand for the days since"
        )
    untimed = ", ".join(_untimed(season, folder))
    if untimed:
        yield (
            f"days are missing since 1 January, so these are not timed by heat: {untimed}; "
            "give the station's record from 1 January on"
        )


def _untimed(season: SeasonWeather, folder: SeasonFolder) -> Iterator[str]:
    """Pests whose heat is counted from a calendar day that the record does not reach."""
    if season.last_known is None:
        return
    for pest in folder.knowledge.pests.values():
        # What has another biofix to hope for may still be timed.
        if pest.heat is None or len(pest.heat.biofix) > 1:
            continue
        biofix = pest.heat.biofix[0]
        if biofix.kind != "calendar day":
            continue
        start = dt.date(season.span.year, biofix.month or 1, biofix.day or 1)
        if season.hole_between(start, season.last_known) is not None:
            yield pest.name


def forecast_error(limits: WeatherLimits) -> ForecastError:
    """How far a weather forecast is off."""
    return ForecastError(
        first_day_c=float(limits.forecast_first_day),
        late_share=float(limits.forecast_late_share),
        late_days=float(int(limits.forecast_late_days)),
    )


def emergence_seen(field: Field, as_of: dt.date) -> dt.date | None:
    """The day on which the plants that stand emerged; one still ahead of ``as_of`` is unknown."""
    day = field.emergence_date
    return day if day is not None and field.planting_date < day <= as_of else None


def heat_from(field: Field, as_of: dt.date) -> dt.date:
    """First day whose heat the crop needs: what came before a seen emergence has been used."""
    return emergence_seen(field, as_of) or field.planting_date + ONE_DAY
