"""Bring the weather of a season up to date, source by source."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from stagecast.base.errors import NoWeatherThere, SeasonProblems
from stagecast.base.terminal import console, paragraph
from stagecast.forecast.load import load_season
from stagecast.knowledge.rules import WeatherLimits
from stagecast.screens.screen import day_text
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.weather.doubt import held_problem
from stagecast.weather.past_years import settled, years_missing
from stagecast.weather.records import FieldSite, WeatherRequest
from stagecast.weather.refresh import RefreshReport, refresh
from stagecast.weather.sources import WeatherService, source_named
from stagecast.weather.store import STORE_NAME, WeatherStore
from stagecast.words.notes import counted, weather_notes

if TYPE_CHECKING:
    from rich.console import Console


def run_weather(
    folder: Path,
    *,
    through: dt.date,
    today: dt.date,
    again: int | None = None,
    believe: str | None = None,
    ahead: bool = False,
    screen: Console | None = None,
) -> tuple[RefreshReport, ...]:
    """Refresh the store from a source on a network, or say what files hold; what was fetched.

    With ``ahead`` the days of a weather forecast that follow ``through`` are asked for as well.
    ``again``: a year that is asked for once more, whatever is stored of it. ``believe``: a station
    of which an answer is held back, and which is right.
    """
    season = read_season(folder)
    screen = screen or console()
    connect = source_named(season.settings.weather.source).connect
    if connect is None:
        _nothing_fetched(again, believe)
        loaded = load_season(folder, as_of=through)
        paragraph(screen, "Temperatures come from the station files; nothing is fetched.")
        for note in weather_notes(loaded):
            paragraph(screen, note)
        return ()
    if not season.fields:
        paragraph(screen, "fields.csv has no fields yet, so there is no place to fetch for.")
        return ()
    if believe is not None:
        _believe(season.path, believe, screen)
        return ()
    service = connect(season.knowledge.weather)
    days = int(season.knowledge.weather.forecast_days) if ahead else 0
    return _fetch(
        season, service, screen, through=through, today=today, days_ahead=days, again=again
    )


def _nothing_fetched(again: int | None, believe: str | None) -> None:
    """Refuse what asks for a service, where temperatures come from files."""
    for option, value in (("--again", again), ("--believe", believe)):
        if value is not None:
            message = "temperatures come from the station files, and nothing is fetched"
            raise SeasonProblems.of(option, message, found=str(value), accepted="no value")


def _believe(folder: Path, station: str, screen: Console) -> None:
    store = WeatherStore(folder / STORE_NAME)
    held = sorted({one.doubt.station for one in store.held()})
    if station not in held:
        raise SeasonProblems.of(
            "--believe",
            "nothing is held back of that station",
            found=station,
            accepted=", ".join(held) or "none: no answer is held back",
        )
    days = counted(store.take_held(station), "day")
    paragraph(screen, f"{station}: {days} believed, and stored in place of what stood there.")


def _fetch(
    season: SeasonFolder,
    service: WeatherService,
    screen: Console,
    *,
    through: dt.date,
    today: dt.date,
    again: int | None,
    days_ahead: int,
) -> tuple[RefreshReport, ...]:
    """One request per year, latest first: what has arrived is kept if a later one fails."""
    store = WeatherStore(season.path / STORE_NAME)
    sites = [FieldSite(f.latitude, f.longitude, f.elevation_m) for f in season.fields]
    year = season.settings.year
    past = season.settings.weather.past_seasons
    past = past or int(season.knowledge.weather.past_seasons_fetched)
    limits = season.knowledge.weather
    fetch = _Fetch(store, service, screen, service.cells(sites), through, today, limits)
    _check_again(again, year=year, past=past)
    missing = years_missing(
        store, fetch.sites, year=year, past=past, through=through, limits=limits, again=again
    )
    if dt.date(year, 1, 1) <= through:
        fetch.season(year, through + dt.timedelta(days=days_ahead))
    elif not missing:
        paragraph(screen, _nothing_asked(year, past, through))
    for past_year, cells in missing.items():
        fetch.past_year(past_year, [cell for cell in cells if cell not in fetch.ended])
    fetch.say_notes()
    return tuple(fetch.reports)


def _check_again(again: int | None, *, year: int, past: int) -> None:
    if again is not None and not year - past <= again <= year:
        raise SeasonProblems.of(
            "--again",
            "that year is not among those that are fetched",
            found=str(again),
            accepted=f"{year - past} to {year}",
        )


@dataclass(slots=True)
class _Fetch:
    """Requests of one run of the command, and what came of them."""

    store: WeatherStore
    service: WeatherService
    screen: Console
    sites: dict[str, tuple[FieldSite, ...]]
    through: dt.date
    fetched_on: dt.date
    limits: WeatherLimits
    reports: list[RefreshReport] = field(default_factory=list)
    ended: set[str] = field(default_factory=set)

    def season(self, year: int, last: dt.date) -> None:
        """Ask for the season itself, everywhere; that there is nothing is an error."""
        self._ask(year, list(self.sites), last)

    def past_year(self, year: int, cells: list[str]) -> None:
        """Ask for a past year in some cells; where there is none, older ones are not asked for."""
        if not cells:
            return
        try:
            self._ask(year, cells, self.through)
        except NoWeatherThere as nothing:
            if len(cells) > 1:  # one cell without days must not cost the others theirs
                for cell in cells:
                    self.past_year(year, [cell])
                return
            paragraph(self.screen, f"{nothing.reason}; going back no further there.")
            self.ended.update(cells)
        if settled(year, through=self.through, today=self.fetched_on):
            held = {doubt.station for report in self.reports for doubt in report.held}
            asked = [cell for cell in cells if cell not in held]
            self.store.note_whole_year(asked, year, asked_on=self.fetched_on)

    def _ask(self, year: int, cells: list[str], last: dt.date) -> None:
        first, last = dt.date(year, 1, 1), min(dt.date(year, 12, 31), last)
        some = "" if len(cells) == len(self.sites) else f" for {counted(len(cells), 'cell')}"
        paragraph(self.screen, f"Fetching {first} to {last}{some} ...")
        sites = tuple(site for cell in cells for site in self.sites[cell])
        request = WeatherRequest(sites, first, last)
        report = refresh(
            self.store, self.service, request, fetched_on=self.fetched_on, limits=self.limits
        )
        paragraph(self.screen, f"  {fetched_text(report)}.")
        for doubt in report.held:
            paragraph(self.screen, f"  doubtful: {held_problem(doubt).sentence()}")
        self.reports.append(report)

    def say_notes(self) -> None:
        """What the latest year of each cell had to say, and whom to name for all of them."""
        notes: dict[str, tuple[str, ...]] = {}
        for report in self.reports:
            notes = {cell: own for cell, own in report.notes.items() if own} | notes
        for cell in sorted(notes):
            for note in notes[cell]:
                paragraph(self.screen, f"{cell}: {note}")
        credit = dict.fromkeys(name for report in self.reports for name in report.attribution)
        if credit:
            paragraph(self.screen, "; ".join(credit))


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


def fetched_text(report: RefreshReport) -> str:
    """What one request brought: ``3 cells, 14 new measured days, 10 days of forecast``."""
    days = [day for day in report.last_observed.values() if day is not None]
    until = f", measured to {day_text(max(days))} {max(days).year}" if days else ""
    return (
        f"{counted(report.records, 'cell')}, {report.new_observed_days} new measured days, "
        f"{report.model_days} days of forecast{until}"
    )
