"""Which station speaks for which field, and what a person should know about that."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from stagecast.base.errors import Problem, WeatherGap
from stagecast.base.units import distance_text, height_text
from stagecast.season.folder import SeasonFolder
from stagecast.season.rules import gap_policy
from stagecast.season.tables.fields import FIELDS_FILE, Field
from stagecast.weather.nearest import PassedOver, StationMatch, great_circle_km, match
from stagecast.weather.records import Site, Station, StationRecord
from stagecast.weather.seasons import SeasonSpan, SeasonWeather, season_weather

NAMED = 5
ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class FieldWeather:
    """The season's temperatures that stand for one field, and where they are from."""

    season: SeasonWeather
    match: StationMatch
    passed_over: tuple[PassedOver, ...]


class StationDesk:
    """Lays out each station's season once, and assigns stations to fields."""

    def __init__(
        self,
        records: Sequence[StationRecord],
        folder: SeasonFolder,
        *,
        span: SeasonSpan,
        as_of: dt.date,
    ) -> None:
        knowledge = folder.knowledge
        self._folder = folder
        self._span = span
        self._as_of = as_of
        self._limits = knowledge.weather
        self._pests = tuple(knowledge.pests.values())
        self._seasons: dict[str, SeasonWeather] = {}
        self._gaps: dict[str, WeatherGap] = {}
        self._stations = [record.station for record in records]
        settings = folder.settings.weather
        starts = [heat_from(field, as_of) for field in folder.fields]
        for record in records:
            try:
                self._seasons[record.station.station] = season_weather(
                    record,
                    span,
                    as_of=as_of,
                    policy=gap_policy(settings, knowledge),
                    needed_from=min(starts, default=span.first_day),
                    past_seasons=settings.past_seasons,
                )
            except WeatherGap as gap:
                self._gaps[record.station.station] = gap
        known = [s.last_known for s in self._seasons.values() if s.last_known is not None]
        self._freshest = min(max(known, default=span.first_day), as_of)

    def assign(self) -> tuple[dict[str, FieldWeather], list[Problem]]:
        """Give every field its station; a field without one is a problem."""
        assigned: dict[str, FieldWeather] = {}
        problems: list[Problem] = []
        for field in self._folder.fields:
            result = self._for_field(field)
            if isinstance(result, Problem):
                problems.append(result)
            else:
                assigned[field.field_id] = result
        return assigned, _one_per_cause(problems)

    def doubts(self, assigned: dict[str, FieldWeather]) -> list[Problem]:
        """Say what is weak about the stations in use."""
        doubts = []
        lines = {field.field_id: field.line for field in self._folder.fields}
        for field_id, weather in assigned.items():
            for message in self._field_doubts(weather):
                doubts.append(
                    Problem(FIELDS_FILE, message, lines[field_id], field_id=field_id, doubtful=True)
                )
        used = {w.season.station.station: w.season for w in assigned.values()}
        for station in sorted(used):
            doubts += self._station_doubts(used[station])
        return doubts

    def _for_field(self, field: Field) -> FieldWeather | Problem:
        place = Site(field.latitude, field.longitude, field.elevation_m)
        stations = self._candidates(field)
        if isinstance(stations, Problem):
            return stations
        broken: tuple[PassedOver, ...] = ()
        for why_not in (self._broken_or_stale, self._broken):
            found, broken = match(
                place,
                stations,
                why_not=partial(why_not, field),
                far_km=float(self._limits.distance_doubtful),
                high_m=float(self._limits.elevation_doubtful),
            )
            if found is not None:
                return FieldWeather(self._seasons[found.station.station], found, broken)
        return self._no_station(field, broken)

    def _candidates(self, field: Field) -> list[Station] | Problem:
        """The station a person chose, or all within reach."""
        if field.station is not None:
            chosen = [s for s in self._stations if s.station == field.station]
            if chosen:
                return chosen
            return Problem(
                FIELDS_FILE,
                "there is no such station with temperatures",
                field.line,
                "station",
                found=field.station,
                accepted=", ".join(sorted(s.station for s in self._stations)),
                field_id=field.field_id,
            )
        distances = great_circle_km(
            field.latitude,
            field.longitude,
            np.array([s.latitude for s in self._stations]),
            np.array([s.longitude for s in self._stations]),
        )
        limit = float(self._limits.distance_limit)
        near = [s for s, d in zip(self._stations, distances.tolist(), strict=True) if d <= limit]
        if near:
            return near
        return Problem(
            FIELDS_FILE,
            f"no station lies within {limit:.0f} km of this field; the nearest is "
            f"{distances.min():.0f} km away",
            field.line,
            field_id=field.field_id,
            next_step="add a nearer station, name one in the station column, or check latitude "
            "and longitude",
        )

    def _broken(self, field: Field, station: Station) -> str | None:
        """Why a station lacks days that the field needs."""
        gap = self._gaps.get(station.station)
        if gap is not None:
            return f"{gap.reason} ({gap.first_missing} to {gap.last_missing})"
        season = self._seasons[station.station]
        last = season.last_known
        if last is None:
            return None
        hole = season.hole_between(heat_from(field, self._as_of), last)
        if hole is not None:
            days = (hole[1] - hole[0]).days + 1
            return f"{days} day(s) missing, {hole[0]} to {hole[1]}, not bridged by the gap policy"
        return None

    def _broken_or_stale(self, field: Field, station: Station) -> str | None:
        """Why a station is not the first choice: a stale one is better than none."""
        broken = self._broken(field, station)
        if broken is not None:
            return broken
        last = self._seasons[station.station].last_known
        behind = 0 if last is None else (self._freshest - last).days
        needed = heat_from(field, self._as_of) <= self._freshest
        if needed and behind > int(self._limits.stale_days):
            return f"its record ends {last}, {behind} days before that of another station"
        return None

    def _no_station(self, field: Field, passed: Sequence[PassedOver]) -> Problem:
        reasons = "; ".join(f"{p.station}: {p.reason}" for p in passed[:3])
        names = [p.station for p in passed]
        gaps = [self._gaps[name] for name in names if name in self._gaps]
        step = (
            gaps[0].next_step
            if gaps
            else "fill these days in the station's record, or add another station"
        )
        return Problem(
            FIELDS_FILE,
            f"no station near enough can be used ({reasons})",
            field.line,
            field_id=field.field_id,
            next_step=step,
        )

    def _field_doubts(self, weather: FieldWeather) -> list[str]:
        found = weather.match
        name = found.station.station
        units = self._folder.settings.units
        doubts = [
            f"station {p.station} is nearer ({distance_text(p.distance_km, units)}) but was passed "
            f"over: {p.reason}; {name} is used"
            for p in weather.passed_over
        ]
        if found.far:
            doubts.append(
                f"the station used, {name}, is {distance_text(found.distance_km, units)} away; "
                f"beyond {distance_text(float(self._limits.distance_doubtful), units)} "
                "temperatures may differ"
            )
        if found.high:
            doubts.append(
                f"station {name} differs by {height_text(found.elevation_difference_m, units)} in "
                f"elevation; beyond {height_text(float(self._limits.elevation_doubtful), units)} "
                "it is about 1 degC (2 F) off"
            )
        return doubts

    def _station_doubts(self, season: SeasonWeather) -> list[Problem]:
        file = f"weather for {season.station.station}"
        doubts = []
        wanted = int(self._limits.past_seasons_wanted)
        if season.member_years and len(season.member_years) < wanted:
            doubts.append(
                f"only {len(season.member_years)} whole past season(s) can stand for the days "
                f"ahead; with fewer than {wanted} the ranges are too narrow"
            )
        last = season.last_known
        until = min(self._as_of, self._span.last_day)
        if last is not None and (until - last).days > int(self._limits.stale_days):
            doubts.append(
                f"the record ends {last}, {(until - last).days} days before {until}; past "
                "seasons stand for the days since"
            )
        untimed = self._untimed(season)
        if untimed:
            doubts.append(
                f"days are missing since 1 January, so these are not timed by heat: {untimed}; "
                "give the station's record from 1 January on"
            )
        return [Problem(file, message, doubtful=True) for message in doubts]

    def _untimed(self, season: SeasonWeather) -> str:
        """Pests whose heat is counted from a calendar day that the record does not reach."""
        if season.last_known is None:
            return ""
        names = []
        for pest in self._pests:
            # What has another biofix to hope for may still be timed.
            if pest.heat is None or len(pest.heat.biofix) > 1:
                continue
            biofix = pest.heat.biofix[0]
            if biofix.kind != "calendar day":
                continue
            start = dt.date(self._span.year, biofix.month or 1, biofix.day or 1)
            if season.hole_between(start, season.last_known) is not None:
                names.append(pest.name)
        return ", ".join(names)


def _one_per_cause(problems: Sequence[Problem]) -> list[Problem]:
    """Fields refused for the same reason are one problem that names them."""
    by_cause: dict[tuple[str, str | None], list[Problem]] = {}
    for problem in problems:
        key = (problem.message, problem.next_step if problem.found is None else problem.found)
        by_cause.setdefault(key, []).append(problem)
    told = []
    for same in by_cause.values():
        others = [p.field_id or "" for p in same[1:]]
        text = same[0].message
        if others:
            more = f" and {len(others) - NAMED} more" if len(others) > NAMED else ""
            text += f"; the same for {', '.join(others[:NAMED])}{more}"
        told.append(replace(same[0], message=text))
    return told


def emergence_seen(field: Field, as_of: dt.date) -> dt.date | None:
    """The day of emergence; one still ahead of the day asked for is unknown."""
    day = field.emergence_date
    return day if day is not None and day <= as_of else None


def heat_from(field: Field, as_of: dt.date) -> dt.date:
    """First day whose heat the crop needs: what came before a seen emergence has been used."""
    return emergence_seen(field, as_of) or field.planting_date + ONE_DAY
