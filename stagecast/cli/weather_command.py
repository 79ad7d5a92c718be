"""Bring the weather of a season up to date, source by source."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from stagecast.errors import NoWeatherThere
from stagecast.knowledge import Knowledge, load
from stagecast.outputs.notes import weather_notes
from stagecast.outputs.screen import console, day_text, paragraph
from stagecast.scouting.load import load_season
from stagecast.scouting.rules import folder_rules
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.weather.meteostat_source import MeteostatSource
from stagecast.weather.refresh import RefreshReport, refresh
from stagecast.weather.source import Place, WeatherRequest
from stagecast.weather.store import STORE_NAME, WeatherStore

if TYPE_CHECKING:
    from rich.console import Console


def run_weather(folder: Path, *, through: dt.date, today: dt.date) -> None:
    """Refresh the store from the network source, or say what the station files hold."""
    knowledge = load()
    season = read_season(folder, rules=folder_rules(knowledge))
    screen = console()
    if season.settings.weather.source == "station csv":
        loaded = load_season(folder, as_of=through, knowledge=knowledge)
        paragraph(screen, "Temperatures come from the station files; nothing is fetched.")
        for note in weather_notes(loaded):
            paragraph(screen, note)
        return
    if not season.fields:
        paragraph(screen, "fields.csv has no fields yet, so there is no place to fetch for.")
        return
    _fetch(season, screen, knowledge, through=through, today=today)


def _fetch(
    season: SeasonFolder,
    screen: Console,
    knowledge: Knowledge,
    *,
    through: dt.date,
    today: dt.date,
) -> None:
    """One request per year, latest first: what has arrived is kept if a later one fails."""
    limits = knowledge.weather
    source = MeteostatSource(
        deadline_s=float(limits.deadline),
        radius_km=float(limits.nearby_radius),
        station_limit=int(limits.nearby_limit),
        cell_deg=float(limits.cell_deg),
    )
    store = WeatherStore(season.path / STORE_NAME)
    places = tuple(Place(f.latitude, f.longitude, f.elevation_m) for f in season.fields)
    wanted = season.settings.weather.past_seasons or int(limits.past_seasons_fetched)
    report = None
    for year in _years(store, season.settings.year, wanted, through):
        last = min(dt.date(year, 12, 31), through)
        request = WeatherRequest(places, dt.date(year, 1, 1), last)
        paragraph(screen, f"Fetching {request.first_day} to {last} ...")
        try:
            report = refresh(store, source, request, fetched_on=today)
        except NoWeatherThere as nothing:
            if year == season.settings.year:
                raise
            paragraph(screen, f"{nothing.reason}; going back no further.")
            break
        paragraph(screen, _said(report))
    if report is not None:
        for note in (*report.notes, report.attribution):
            if note:
                paragraph(screen, note)


def _years(store: WeatherStore, year: int, past: int, through: dt.date) -> list[int]:
    """The season's year always; past years only where the store has none of their days."""
    held: set[int] = set()
    for record in store.load():
        first, last = record.first_day.year, record.last_day.year
        held.update(y for y in range(first, last + 1))
    missing = [y for y in range(year - 1, year - 1 - past, -1) if y not in held]
    return [y for y in (year, *missing) if dt.date(y, 1, 1) <= through]


def _said(report: RefreshReport) -> str:
    days = [day for day in report.last_observed.values() if day is not None]
    until = f", measured to {day_text(max(days))} {max(days).year}" if days else ""
    return (
        f"  {report.records} cell(s), {report.new_observed_days} new measured days, "
        f"{report.model_days} days of forecast{until}."
    )
