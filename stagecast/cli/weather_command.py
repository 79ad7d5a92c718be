"""Bring the weather of a season up to date, source by source."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from stagecast.base.errors import NoWeatherThere
from stagecast.forecast.load import load_season
from stagecast.knowledge import Knowledge, load
from stagecast.screens.screen import console, day_text, paragraph
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.weather.past_years import settled, years_missing
from stagecast.weather.records import Place, WeatherRequest
from stagecast.weather.refresh import RefreshReport, refresh
from stagecast.weather.sources.meteostat import MeteostatSource, cell_at, cells_of
from stagecast.weather.store import STORE_NAME, WeatherStore
from stagecast.words.notes import weather_notes

if TYPE_CHECKING:
    from rich.console import Console


def run_weather(folder: Path, *, through: dt.date, today: dt.date) -> None:
    """Refresh the store from the network source, or say what the station files hold."""
    knowledge = load()
    season = read_season(folder)
    screen = console()
    if season.settings.weather.source == "station csv":
        loaded = load_season(folder, as_of=through)
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
        elevation_doubtful_m=float(limits.elevation_doubtful),
    )
    store = WeatherStore(season.path / STORE_NAME)
    places = [Place(f.latitude, f.longitude, f.elevation_m) for f in season.fields]
    year = season.settings.year
    past = season.settings.weather.past_seasons or int(limits.past_seasons_fetched)
    fetch = _Fetch(store, source, screen, _by_cell(places, source.cell_deg), through, today)
    missing = years_missing(store, fetch.places, year=year, past=past, through=through)
    if dt.date(year, 1, 1) <= through:
        fetch.season(year)
    elif not missing:
        paragraph(screen, _nothing_asked(year, past, through))
    for past_year, cells in missing.items():
        fetch.past_year(past_year, [cell for cell in cells if cell not in fetch.ended])
    fetch.say_notes()


@dataclass(slots=True)
class _Fetch:
    """Requests of one run of the command, and what came of them."""

    store: WeatherStore
    source: MeteostatSource
    screen: Console
    places: dict[str, tuple[Place, ...]]
    through: dt.date
    fetched_on: dt.date
    reports: list[RefreshReport] = field(default_factory=list)
    ended: set[str] = field(default_factory=set)

    def season(self, year: int) -> None:
        """Ask for the season itself, everywhere; that there is nothing is an error."""
        self._ask(year, list(self.places))

    def past_year(self, year: int, cells: list[str]) -> None:
        """Ask for a past year in some cells; where there is none, older ones are not asked for."""
        if not cells:
            return
        try:
            self._ask(year, cells)
        except NoWeatherThere as nothing:
            if len(cells) > 1:  # one cell without days must not cost the others theirs
                for cell in cells:
                    self.past_year(year, [cell])
                return
            paragraph(self.screen, f"{nothing.reason}; going back no further there.")
            self.ended.update(cells)
        if settled(year, through=self.through, today=self.fetched_on):
            self.store.note_whole_year(cells, year, asked_on=self.fetched_on)

    def _ask(self, year: int, cells: list[str]) -> None:
        first, last = dt.date(year, 1, 1), min(dt.date(year, 12, 31), self.through)
        some = "" if len(cells) == len(self.places) else f" for {len(cells)} cell(s)"
        paragraph(self.screen, f"Fetching {first} to {last}{some} ...")
        places = tuple(place for cell in cells for place in self.places[cell])
        request = WeatherRequest(places, first, last)
        report = refresh(self.store, self.source, request, fetched_on=self.fetched_on)
        paragraph(self.screen, _said(report))
        self.reports.append(report)

    def say_notes(self) -> None:
        """What the latest year of each cell had to say, and whom to name for all of them."""
        notes: dict[str, tuple[str, ...]] = {}
        for report in self.reports:
            by_cell: dict[str, tuple[str, ...]] = {}
            for note in report.notes:
                cell = note.partition(":")[0]
                by_cell[cell] = (*by_cell.get(cell, ()), note)
            notes = by_cell | notes
        for note in (note for cell in sorted(notes) for note in notes[cell]):
            paragraph(self.screen, note)
        credit = dict.fromkeys(c for r in self.reports for c in r.attribution.split("; ") if c)
        if credit:
            paragraph(self.screen, "; ".join(credit))


def _by_cell(places: Sequence[Place], cell_deg: float) -> dict[str, tuple[Place, ...]]:
    """Places in each cell, cells sorted by name."""
    cells: dict[str, tuple[Place, ...]] = {c.cell: () for c in cells_of(places, cell_deg=cell_deg)}
    for place in places:
        cell = cell_at(place.latitude, place.longitude, cell_deg=cell_deg).cell
        cells[cell] = (*cells[cell], place)
    return cells


def _nothing_asked(year: int, past: int, through: dt.date) -> str:
    first = max(year - past, dt.MINYEAR)
    if through.year < first:
        return (
            f"Nothing to fetch: neither the season {year} nor its past seasons from {first} on "
            f"have begun by {through}; give a later --through."
        )
    return (
        f"Nothing to fetch: the past seasons up to {through} are stored, and the season {year} "
        "begins after it; give a later --through."
    )


def _said(report: RefreshReport) -> str:
    days = [day for day in report.last_observed.values() if day is not None]
    until = f", measured to {day_text(max(days))} {max(days).year}" if days else ""
    return (
        f"  {report.records} cell(s), {report.new_observed_days} new measured days, "
        f"{report.model_days} days of forecast{until}."
    )
