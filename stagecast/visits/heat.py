"""A pest's heat: this season beside past ones, and the events it leads to.

Heat is told for a station (of its fields, the first whose heat begins) or for one field.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import ReadFolder, screen_records
from stagecast.forecast.ranges import DateRange, date_range
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import NotTimed, PestClock, PestTiming
from stagecast.pests.curves import PestCurve, pest_curve
from stagecast.pests.traps.history import Trial
from stagecast.pests.windows import ScoutingWindow
from stagecast.phenology.spread import quantile_days
from stagecast.season.rules import days_bridged
from stagecast.visits.look_for import pressing


@dataclass(frozen=True, slots=True)
class PestEvent:
    """An event of one generation, the heat it needs from the biofix on, and when it comes."""

    generation: int
    title: str
    need_c: float
    dates: DateRange
    unverified: bool


@dataclass(frozen=True, slots=True, eq=False)
class PestHeat:
    """A pest's heat at a station.

    Attributes
    ----------
    forecast : FieldForecast
        The field whose biofix it is told for.
    events : tuple of PestEvent
        By generation.
    curve : PestCurve or None
        From the middle biofix on; None where that does not come this season.
    tested : Trial or None
        How well heat timed the pest here in past years; None where nobody tested it.
    """

    forecast: FieldForecast
    timing: PestTiming
    events: tuple[PestEvent, ...]
    curve: PestCurve | None
    tested: Trial | None

    @property
    def pest(self) -> Pest:
        """The pest."""
        return self.timing.pest

    @property
    def station(self) -> str:
        """The weather station whose heat it is."""
        return self.forecast.weather.season.station.station

    @property
    def likely_events(self) -> list[PestEvent]:
        """The events up to the last generation of which one may come; at least the first."""
        last = max((e.generation for e in self.events if e.dates.p10 is not None), default=1)
        return [event for event in self.events if event.generation <= last]

    @property
    def first_need_c(self) -> float:
        """Degree-days C of the event that needs least."""
        return min((event.need_c for event in self.events), default=0.0)


@dataclass(frozen=True, slots=True, eq=False)
class WindowHeat:
    """The heat that opens a window.

    Attributes
    ----------
    title : str
        What the pest does from then on.
    need_c : float
        Degree-days C from the biofix at which the window opens.
    tested : bool
        Whether heat timed the pest in past years of catches near the field.
    """

    pest: Pest
    window: ScoutingWindow
    title: str
    need_c: float
    curve: PestCurve
    tested: bool


@dataclass(frozen=True, slots=True, eq=False)
class PestStations:
    """A pest that heat has brought or soon brings to some fields.

    Attributes
    ----------
    windows : tuple of ScoutingWindow
        Those of the fields, open or coming.
    stations : tuple of PestHeat
        Its heat at each station of these fields, all with a curve, stations by name.
    order : tuple
        By which such pests are sorted, the most pressing first.
    """

    pest: Pest
    windows: tuple[ScoutingWindow, ...]
    stations: tuple[PestHeat, ...]
    order: tuple[bool, bool, int, bool, str]

    def opens(self, as_of: dt.date) -> tuple[dt.date, dt.date]:
        """The first and the last day on which it comes to a field, by the middle dates."""
        days = [window.opens.p50 or as_of for window in self.windows]
        return min(days), max(days)


class SeasonHeat:
    """The heat of a season's pests; fields of a station whose heat begins alike share a curve."""

    def __init__(self, read: ReadFolder, clock: PestClock) -> None:
        self._read = read
        self._clock = clock
        self._curves: dict[tuple[str, str, float], PestCurve | None] = {}

    def earliest(self, fields: Iterable[FieldForecast], pest: Pest) -> PestHeat | NotTimed:
        """A pest's heat in that of some fields in which it begins first."""
        timings = [(forecast, self._clock.timing(forecast, pest)) for forecast in fields]
        forecast, timing = min(timings, key=lambda pair: _heat_begins(*pair))
        if not isinstance(timing, PestTiming):
            return timing
        return PestHeat(
            forecast=forecast,
            timing=timing,
            events=events_of(forecast, timing),
            curve=self._curve(forecast, timing),
            tested=self._clock.tested(forecast, pest),
        )

    def about(
        self,
        fields: Iterable[tuple[FieldForecast, Sequence[ScoutingWindow]]],
        *,
        entering_days: int,
    ) -> tuple[PestStations, ...]:
        """Pests of which heat has opened a window, or opens one within some days.

        Parameters
        ----------
        fields: forecasts with their windows
        entering_days: how soon

        Returns
        -------
        tuple of PestStations
            The most pressing first. A pest whose windows are over, or far off, has none.
        """
        as_of = self._clock.as_of
        found: dict[str, list[tuple[FieldForecast, ScoutingWindow]]] = {}
        for forecast, windows in fields:
            for window in windows:
                state = window.state(as_of, entering_days=entering_days)
                if window.timing == "heat" and window.pest and state in ("open", "coming"):
                    found.setdefault(window.pest, []).append((forecast, window))
        told = [self._about(self._clock.knowledge.pests[pest], on) for pest, on in found.items()]
        return tuple(sorted((one for one in told if one.stations), key=lambda one: one.order))

    def _about(
        self, pest: Pest, fields: Sequence[tuple[FieldForecast, ScoutingWindow]]
    ) -> PestStations:
        groups = by_station(dict.fromkeys(forecast for forecast, _ in fields))
        heats = (self.earliest(group, pest) for group in groups.values())
        as_of = self._clock.as_of
        return PestStations(
            pest=pest,
            windows=tuple(window for _, window in fields),
            stations=tuple(
                heat for heat in heats if isinstance(heat, PestHeat) and heat.curve is not None
            ),
            order=min((*pressing(w, w.opens.p50 or as_of), pest.name) for _, w in fields),
        )

    def behind(self, forecast: FieldForecast, window: ScoutingWindow) -> WindowHeat | None:
        """The heat that opens a window of a field; None where heat does not open it."""
        if window.pest is None or window.timing != "heat":
            return None
        pest = self._clock.knowledge.pests[window.pest]
        activity = next(one for one in pest.activities if one.id == window.window)
        timing = self._clock.timing(forecast, pest)
        if activity.opens is None or not isinstance(timing, PestTiming):
            return None
        curve = self._curve(forecast, timing)
        if curve is None:
            return None
        event = pest.event(activity.opens)
        share = 1.0 if activity.before is None else float(activity.before)
        tested = self._clock.tested(forecast, pest) is not None
        return WindowHeat(pest, window, event.title, share * event.need_c, curve, tested)

    def _curve(self, forecast: FieldForecast, timing: PestTiming) -> PestCurve | None:
        season, begins = forecast.weather.season, _heat_begins(forecast, timing)
        if not np.isfinite(begins) or begins >= forecast.span.days:
            return None
        key = season.station.station, timing.pest.id, begins
        if key not in self._curves:
            settings = self._read.season.settings.weather
            as_of, station = self._clock.as_of, season.station.station
            (record,) = screen_records(self._read, as_of=as_of, only=station).records
            self._curves[key] = pest_curve(
                season,
                record,
                model=timing.heat.model,
                biofix=max(begins, 0.0),
                bridge_days=days_bridged(settings, self._clock.knowledge),
                past_seasons=settings.past_seasons,
            )
        return self._curves[key]


def by_station(forecasts: Iterable[FieldForecast]) -> dict[str, list[FieldForecast]]:
    """Fields by the weather station that speaks for them, stations by name."""
    groups: dict[str, list[FieldForecast]] = {}
    for forecast in forecasts:
        groups.setdefault(forecast.weather.season.station.station, []).append(forecast)
    return dict(sorted(groups.items()))


def _heat_begins(forecast: FieldForecast, timing: PestTiming | NotTimed) -> float:
    """Middle day on which heat begins to be counted; a field that is not timed comes last."""
    if not isinstance(timing, PestTiming):
        return float("inf")
    return float(quantile_days(timing.start.times, (0.5,), forecast.weights)[0])


def events_of(forecast: FieldForecast, timing: PestTiming) -> tuple[PestEvent, ...]:
    """Every event of every generation of a pest in a field this season."""
    again = timing.pest.generation
    found = []
    for generation in range(1, (1 if again is None else again.most) + 1):
        earlier_c = 0.0 if again is None else (generation - 1) * again.need_c
        doubted = again is not None and generation > 1 and again.unverified
        for event in timing.pest.events:
            times = timing.reached(event.need_c, generation=generation)
            dates = date_range(times, forecast.span, forecast.weights)
            need_c, unverified = event.need_c + earlier_c, event.unverified or doubted
            found.append(PestEvent(generation, event.title, need_c, dates, unverified))
    return tuple(found)
