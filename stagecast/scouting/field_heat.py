"""The heat behind a pest window of one field: what it opens at, and how this season stands."""

from __future__ import annotations

from dataclasses import dataclass

from stagecast.knowledge.pest import Pest
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.load import ReadFolder
from stagecast.scouting.pest_clock import PestClock, PestTiming
from stagecast.scouting.pest_curves import PestCurve
from stagecast.scouting.pest_season import curve_at, heat_begins
from stagecast.scouting.plan import SeasonPlan
from stagecast.scouting.trap_history import NO_HISTORY, season_histories
from stagecast.scouting.windows import ScoutingWindow


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
        histories = season_histories(read, as_of=loaded.as_of, knowledge=loaded.knowledge)
        self._clock = PestClock(loaded, loaded.knowledge, histories)
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
            tested=self._clock.tested(forecast, pest) != NO_HISTORY,
        )

    def _curve(self, forecast: FieldForecast, timing: PestTiming) -> PestCurve | None:
        station = forecast.weather.season.station.station
        key = station, timing.pest.id, heat_begins(forecast, timing)
        if key not in self._curves:
            clock = self._clock
            self._curves[key] = curve_at(forecast, timing, self._read, clock.as_of, clock.knowledge)
        return self._curves[key]
