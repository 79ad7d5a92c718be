"""A pest's heat: this season beside past ones, the events it leads to, and what a chart shows.

Heat is told for a station (of its fields, the first whose heat begins) or for one field. Each
chart, on screen or on a page, is drawn from a :class:`HeatChart`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, repeat
from string import ascii_lowercase

import numpy as np

from stagecast.base.units import Units, heat_scale
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import ReadFolder, screen_records
from stagecast.forecast.ranges import DateRange, date_range
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import NotTimed, PestClock, PestTiming
from stagecast.pests.curves import CurveWeek, PestCurve, pest_curve
from stagecast.pests.traps.history import Trial
from stagecast.pests.windows import ScoutingWindow
from stagecast.phenology.spread import quantile_days
from stagecast.season.rules import days_bridged

ABOVE_LAST_EVENT = 1.1
ABOVE_NEED = 1.15
"""How far a chart reaches, as a share of its last event's need, or of the need of a window."""


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

    def stations(self, fields: Iterable[FieldForecast]) -> tuple[PestHeat, ...]:
        """The heat of every pest that has a curve, by station and then by the pest's name."""
        regions = self._read.season.regions
        pests = [
            pest
            for pest in sorted(self._clock.knowledge.pests.values(), key=lambda pest: pest.name)
            if pest.presence.met_in(regions)
        ]
        found = (
            self.earliest(group, pest) for group in by_station(fields).values() for pest in pests
        )
        return tuple(one for one in found if isinstance(one, PestHeat) and one.curve is not None)

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


@dataclass(frozen=True, slots=True)
class Need:
    """A level of a chart: the heat that an event needs, and the letter that stands for it."""

    letter: str
    heat: float


@dataclass(frozen=True, slots=True, eq=False)
class HeatChart:
    """What a chart of a pest's heat shows, in degree-days of the season's unit.

    Attributes
    ----------
    unit : str
        ``F`` or ``C``.
    first : datetime.date
        On which counting begins.
    weeks : tuple of CurveWeek
        Those shown.
    latest : CurveWeek or None
        Up to this season's last known day, which need not end a week.
    needs : tuple of Need
    top : float
        Heat at the top of the chart.
    """

    unit: str
    as_of: dt.date
    first: dt.date
    weeks: tuple[CurveWeek, ...]
    latest: CurveWeek | None
    needs: tuple[Need, ...]
    top: float

    @property
    def last(self) -> dt.date:
        """The last day across the chart."""
        return max([self.first, *(week.through for week in self.weeks)])


def events_chart(heat: PestHeat, curve: PestCurve, *, units: Units, as_of: dt.date) -> HeatChart:
    """A curve up to a little above the last event that is in its reach; events named by letters."""
    needs = [event.need_c for event in heat.likely_events]
    most = _most(curve.weeks)
    last = max((need for need in needs if need <= most), default=most)
    top_c = max(min(most, ABOVE_LAST_EVENT * last), 1.0)
    named = [Need(letter, need) for letter, need in zip(event_letters(), needs, strict=False)]
    return _in_units(curve, _until(curve.weeks, top_c), named, top_c, units=units, as_of=as_of)


def event_letters() -> Iterator[str]:
    """A letter for each event, by which a chart names it; none for those past the alphabet."""
    return chain(ascii_lowercase, repeat(""))


def need_chart(found: WindowHeat, *, units: Units, as_of: dt.date) -> HeatChart:
    """A curve up to a little after the heat that opens a window, or to a week after today."""
    shown_c = ABOVE_NEED * found.need_c
    weeks = _until(found.curve.weeks, shown_c, after=as_of)
    top_c = max(1.0, shown_c, _most(weeks))
    return _in_units(found.curve, weeks, [Need("", found.need_c)], top_c, units=units, as_of=as_of)


def _most(weeks: Sequence[CurveWeek]) -> float:
    heats = [week.past.p90 for week in weeks if week.past is not None]
    heats += [week.this_season for week in weeks if week.this_season is not None]
    return max(heats, default=0.0)


def _until(
    weeks: Sequence[CurveWeek], heat_c: float, *, after: dt.date = dt.date.min
) -> Sequence[CurveWeek]:
    """Weeks up to the one, after a day, in which nearly all past seasons have passed a heat."""
    for i, week in enumerate(weeks):
        if week.past is not None and week.past.p10 > heat_c and week.through > after:
            return weeks[: i + 1]
    return weeks


def _in_units(
    curve: PestCurve,
    weeks: Iterable[CurveWeek],
    needs: Iterable[Need],
    top_c: float,
    *,
    units: Units,
    as_of: dt.date,
) -> HeatChart:
    scale, unit = heat_scale(units)
    latest = None
    if curve.last_known is not None and curve.so_far is not None:
        latest = CurveWeek(curve.last_known, curve.so_far, curve.past_so_far).scaled(scale)
    return HeatChart(
        unit=unit,
        as_of=as_of,
        first=curve.biofix,
        weeks=tuple(week.scaled(scale) for week in weeks),
        latest=latest,
        needs=tuple(replace(need, heat=scale * need.heat) for need in needs),
        top=scale * top_c,
    )
