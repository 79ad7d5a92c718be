"""Heat of this season against past ones, as curves to draw."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import ReadFolder
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import NotTimed, PestClock, PestTiming, Since
from stagecast.pests.curves import PestCurve
from stagecast.pests.traps.history import Trial, season_histories
from stagecast.pests.windows import ScoutingWindow
from stagecast.visits.pest_season import PestEvent, curve_at, events_of, heat_begins
from stagecast.visits.plan import SeasonPlan


@dataclass(frozen=True, slots=True, eq=False)
class WindowHeat:
    """The heat that opens a window.

    Attributes
    ----------
    pest : Pest
    window : ScoutingWindow
    title : str
        What the pest does from then on.
    need_c : float
        Degree-days C from the biofix at which the window opens.
    curve : PestCurve
    tested : bool
        Whether heat timed the pest in past years of catches near the field.
    """

    pest: Pest
    window: ScoutingWindow
    title: str
    need_c: float
    curve: PestCurve
    tested: bool


class FieldHeat:
    """Tells the heat behind windows; fields of a station whose heat begins alike share a curve."""

    def __init__(self, season: SeasonPlan, read: ReadFolder) -> None:
        loaded = season.loaded
        histories = season_histories(read, as_of=loaded.as_of)
        self._clock = PestClock(loaded, histories)
        self._read = read
        self._curves: dict[tuple[str, str, float], PestCurve | None] = {}

    def of(self, forecast: FieldForecast, window: ScoutingWindow) -> WindowHeat | None:
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
        return WindowHeat(
            pest=pest,
            window=window,
            title=event.title,
            need_c=share * event.need_c,
            curve=curve,
            tested=self._clock.tested(forecast, pest) is not None,
        )

    def _curve(self, forecast: FieldForecast, timing: PestTiming) -> PestCurve | None:
        station = forecast.weather.season.station.station
        key = station, timing.pest.id, heat_begins(forecast, timing)
        if key not in self._curves:
            clock = self._clock
            self._curves[key] = curve_at(forecast, timing, self._read, clock.as_of)
        return self._curves[key]


@dataclass(frozen=True, slots=True, eq=False)
class StationCurve:
    """A pest's heat at a station.

    Attributes
    ----------
    station : str
    pest : Pest
    field_id : str
        The field whose biofix it is told for: the first whose heat begins.
    since : Since
    tested : Trial or None
        How well heat timed it here in past years; None where nobody tested it.
    events : tuple of PestEvent
    curve : PestCurve
    """

    station: str
    pest: Pest
    field_id: str
    since: Since
    tested: Trial | None
    events: tuple[PestEvent, ...]
    curve: PestCurve


def season_curves(season: SeasonPlan, read: ReadFolder) -> tuple[StationCurve, ...]:
    """Every curve of a season, by station and then by the pest's name.

    Parameters
    ----------
    season : SeasonPlan
    read : ReadFolder
        The folder that the season was planned from.
    """
    loaded = season.loaded
    knowledge, as_of = loaded.knowledge, loaded.as_of
    clock = PestClock(loaded, season_histories(read, as_of=as_of))
    groups: dict[str, list[FieldForecast]] = {}
    for plan in season.fields:
        station = plan.forecast.weather.season.station.station
        groups.setdefault(station, []).append(plan.forecast)
    region = loaded.season.settings.region
    pests = [
        pest
        for pest in sorted(knowledge.pests.values(), key=lambda pest: pest.name)
        if pest.heat is not None and (not pest.presence.regions or region in pest.presence.regions)
    ]
    found = (
        _curve(groups[station], pest, clock, read, as_of)
        for station in sorted(groups)
        for pest in pests
    )
    return tuple(curve for curve in found if curve is not None)


def _curve(
    fields: list[FieldForecast], pest: Pest, clock: PestClock, read: ReadFolder, as_of: dt.date
) -> StationCurve | None:
    """The curve of a pest at the station of some fields; None where heat does not time it."""
    timings = [(forecast, clock.timing(forecast, pest)) for forecast in fields]
    forecast, timing = min(timings, key=lambda pair: heat_begins(*pair))
    if isinstance(timing, NotTimed):
        return None
    curve = curve_at(forecast, timing, read, as_of)
    if curve is None:
        return None
    return StationCurve(
        station=forecast.weather.season.station.station,
        pest=pest,
        field_id=forecast.field.field_id,
        since=timing.start.since,
        tested=clock.tested(forecast, pest),
        events=events_of(forecast, timing, clock),
        curve=curve,
    )
