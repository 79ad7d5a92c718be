"""Scouting windows per field: when each opens and closes, as ranges, and why it matters."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.knowledge import Knowledge
from stagecast.knowledge.models import Window, WindowEnd
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.ranges import DateRange, date_range
from stagecast.weather.seasons import SeasonSpan

FloatArray = NDArray[np.float64]
Timing = Literal["crop", "heat", "catch", "calendar", "host stages", "heat unknown"]
State = Literal["open", "coming", "later", "past", "not this season"]


@dataclass(frozen=True, slots=True, eq=False)
class ScoutingWindow:
    """One window of one field.

    Attributes
    ----------
    field_id : str
    window : str
        Id of the window, or of the pest's activity.
    title, short : str
        In full, and for a narrow column.
    pest : str or None
        Pest id for a window of a pest.
    opens, closes : DateRange
    open_times, close_times, weights : ndarray, shape (members,)
        The same in every possible season, inf where it never comes; and how much each counts.
    why : str
    look_for : tuple of str
    sample : str
        Id of the sampling method.
    critical : bool
        Whether missing it costs yield.
    rank : int
        Place among the pests to look for; 0 for a window of the crop itself.
    timing : {"crop", "heat", "catch", "calendar", "host stages", "heat unknown"}
        What the dates rest on: the crop's own stages; a heat sum; the scout's own catches; days
        on which a source saw the pest arrive; the host stages of a pest that nothing times; or
        those of one whose heat the station's record does not reach.
    unverified : bool
        Whether the dates rest on a value from memory.
    """

    field_id: str
    window: str
    title: str
    short: str
    pest: str | None
    opens: DateRange
    closes: DateRange
    open_times: FloatArray
    close_times: FloatArray
    weights: FloatArray
    why: str
    look_for: tuple[str, ...]
    sample: str
    critical: bool
    rank: int
    timing: Timing
    unverified: bool

    def open_share(self, now: float) -> float:
        """Share of possible seasons in which the window is open at a time."""
        is_open = (self.open_times <= now) & (self.close_times > now)
        return float(self.weights @ is_open / self.weights.sum())

    def state(self, as_of: dt.date, *, entering_days: int) -> State:
        """Where the window stands on a day, by its middle dates."""
        opens, closes = self.opens.p50, self.closes.p50
        if opens is None:
            return "not this season"
        if closes is not None and closes < as_of:
            return "past"
        if opens <= as_of:
            return "open"
        return "coming" if (opens - as_of).days <= entering_days else "later"


def crop_windows(forecast: FieldForecast, knowledge: Knowledge) -> list[ScoutingWindow]:
    """The windows that follow from crop stages alone, as ``windows.toml`` declares them."""
    return [_crop_window(forecast, window) for window in knowledge.windows]


def _crop_window(forecast: FieldForecast, window: Window) -> ScoutingWindow:
    opens = _end_time(forecast, window.opens)
    closes = _end_time(forecast, window.closes)
    return make_window(
        forecast.field.field_id,
        opens,
        closes,
        forecast.weights,
        forecast.span,
        window=window.id,
        title=window.title,
        short=window.short,
        pest=None,
        why=window.why,
        look_for=window.look_for,
        sample=window.sample,
        critical=window.critical,
        rank=0,
        timing="crop",
    )


def _end_time(forecast: FieldForecast, end: WindowEnd) -> FloatArray:
    moved = forecast.stage_time(end.stage) + end.plus_days
    # A window of the crop cannot open before there is a crop.
    return np.maximum(moved, forecast.stage_time("VE"))


def make_window(
    field_id: str,
    open_times: FloatArray,
    close_times: FloatArray,
    weights: FloatArray,
    span: SeasonSpan,
    *,
    window: str,
    title: str,
    short: str,
    pest: str | None,
    why: str,
    look_for: tuple[str, ...],
    sample: str,
    critical: bool,
    rank: int,
    timing: Timing,
    unverified: bool = False,
) -> ScoutingWindow:
    """Build a window from its times in every member."""
    return ScoutingWindow(
        field_id=field_id,
        window=window,
        title=title,
        short=short,
        pest=pest,
        opens=date_range(open_times, span, weights),
        closes=date_range(close_times, span, weights),
        open_times=open_times,
        close_times=close_times,
        weights=weights,
        why=why,
        look_for=look_for,
        sample=sample,
        critical=critical,
        rank=rank,
        timing=timing,
        unverified=unverified,
    )


def in_order(windows: Sequence[ScoutingWindow]) -> list[ScoutingWindow]:
    """Windows of one field by opening date; those that never open come last."""
    never = dt.date.max
    return sorted(windows, key=lambda w: (w.opens.p50 or never, w.pest or "", w.window))
