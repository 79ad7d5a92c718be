"""Scouting windows: when each opens and closes, as ranges, and why it matters."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.base.dates import said_day
from stagecast.base.units import Units, heat_text, temperature_text
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange, date_range
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Activity, Arrival, Event, HeatModel, Pest
from stagecast.knowledge.rules import Window, WindowEnd
from stagecast.pests.clock import NotTimed, PestClock, PestTiming, RecordGap, Start
from stagecast.pests.traps.near import NearTrap
from stagecast.pests.traps.said import foretold_text, near_text, not_timed_text, since_text
from stagecast.phenology.spread import unrelated_order
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


def pest_windows(
    forecast: FieldForecast, clock: PestClock, pests: Iterable[Pest] | None = None
) -> list[ScoutingWindow]:
    """The windows of some pests in a field, by default of all.

    Left out are activities that never meet their host stages, and pests that the region has not.
    """
    region = clock.loaded.season.settings.region
    found: list[ScoutingWindow] = []
    for pest in clock.knowledge.pests.values() if pests is None else pests:
        if pest.presence.regions and region not in pest.presence.regions:
            continue
        timing = clock.timing(forecast, pest)
        untimed: set[tuple[str, str]] = set()
        for activity in pest.activities:
            window = _window(forecast, clock, pest, activity, timing)
            host = (activity.host.first, activity.host.last)
            # Generations that only heat tells apart are one window where heat is unknown.
            if window is None or (window.timing != "heat" and host in untimed):
                continue
            found.append(window)
            if window.timing != "heat":
                untimed.add(host)
    return found


def _window(
    forecast: FieldForecast,
    clock: PestClock,
    pest: Pest,
    activity: Activity,
    timing: PestTiming | NotTimed,
) -> ScoutingWindow | None:
    """The window of an activity, or None when it hardly ever meets its host stages."""
    opens, closes, kind, why = _bounds(forecast, clock, pest, activity, timing)
    meet = opens < closes
    if forecast.weights @ meet < float(clock.knowledge.revisit.overlap_share):
        return None
    return make_window(
        forecast.field.field_id,
        opens[meet],
        closes[meet],
        forecast.weights[meet],
        forecast.span,
        window=activity.id,
        title=activity.title,
        short=pest.short,
        pest=pest.id,
        why=why,
        look_for=(activity.look_for,),
        sample=activity.sample,
        critical=False,
        rank=activity.rank,
        timing=kind,
        unverified=kind == "heat" and "unverified" in why,
    )


def _bounds(
    forecast: FieldForecast,
    clock: PestClock,
    pest: Pest,
    activity: Activity,
    timing: PestTiming | NotTimed,
) -> tuple[FloatArray, FloatArray, Timing, str]:
    """Opening and closing in every member, what they rest on, and why."""
    opens = forecast.stage_time(activity.host.first)
    closes = forecast.stage_time(activity.host.last)
    beans = f"beans at {_host(activity)}"
    if activity.opens is None and pest.heat is not None:
        return opens, closes, "host stages", f"{pest.name}: follows the crop, not heat; {beans}"
    if isinstance(timing, PestTiming) and activity.opens is not None:
        event = pest.event(activity.opens)
        first, last = _active(pest, activity, event, timing)
        if not (np.isnan(first).any() or np.isnan(last).any()):
            heat = _heat_why(forecast, clock, pest, event, timing)
            why = f"{heat}, where beans are {_host(activity)}"
            return np.maximum(opens, first), np.minimum(closes, last), "heat", why
        timing = RecordGap(forecast.weather.season.station.station)
    return _without_heat(forecast, clock, pest, (opens, closes), timing, beans)


def _active(
    pest: Pest, activity: Activity, event: Event, timing: PestTiming
) -> tuple[FloatArray, FloatArray]:
    """First and last time of an activity in every member, whatever the crop."""
    before = 1.0 if activity.before is None else float(activity.before)
    first = timing.reached(event.need_c, share=before)
    if activity.closes is not None:
        after = 1.0 if activity.after is None else float(activity.after)
        return first, timing.reached(pest.event(activity.closes).need_c, share=after)
    if activity.lasts is not None:
        return first, first + float(activity.lasts)
    return first, np.where(np.isnan(first), np.nan, np.inf)


def _without_heat(
    forecast: FieldForecast,
    clock: PestClock,
    pest: Pest,
    host: tuple[FloatArray, FloatArray],
    timing: PestTiming | NotTimed,
    beans: str,
) -> tuple[FloatArray, FloatArray, Timing, str]:
    """Where heat tells nothing: the host stages, from catches or a calendar of arrival on."""
    opens, closes = host
    units = clock.loaded.season.settings.units
    reason = not_timed_text(timing, units) if isinstance(timing, NotTimed) else ""
    kind: Timing = "host stages"
    if isinstance(timing, RecordGap):
        kind = "heat unknown"
    why = f"{pest.name}: not timed by heat here ({reason}); {beans}"
    caught = _caught(clock.near(forecast, pest), units, forecast)
    if caught is not None:
        day, said, any_caught = caught
        if any_caught:
            seen = np.full(opens.shape, float(forecast.span.index(day)))
            return np.maximum(opens, seen), closes, "catch", f"{why}; caught since {said}"
        why = f"{why}; {said}"
    foretold = clock.foretold(forecast, pest, "first")
    if foretold is not None:
        why = f"{why}; {foretold_text(foretold, units)}"
        return np.maximum(opens, foretold.times), closes, "catch", why
    if caught is not None:
        return opens, closes, kind, why
    region = clock.loaded.season.settings.region
    for arrival in pest.arrivals:
        if arrival.region == region:
            comes, text = _arrival(arrival, forecast)
            return np.maximum(opens, comes), closes, "calendar", f"{why}; {text}"
    return opens, closes, kind, why


def _caught(
    near: Sequence[NearTrap], units: Units, forecast: FieldForecast
) -> tuple[dt.date, str, bool] | None:
    """First catch or sighting of the season at the nearest trap, or that there was none."""
    for trap in near:
        ours = trap.in_year(forecast.span.year)
        days = [c.date for c in ours if c.what != "catch" or (c.count or 0) > 0]
        if days:
            return min(days), f"{said_day(min(days))} ({near_text(trap, units)})", True
        if ours:
            last = max(c.date for c in ours)
            return last, f"nothing caught up to {said_day(last)} ({near_text(trap, units)})", False
    return None


def _arrival(arrival: Arrival, forecast: FieldForecast) -> tuple[FloatArray, str]:
    """Any day between the first and last on which a source saw it come, all alike."""
    year, span = forecast.span.year, forecast.span
    first = dt.date(year, arrival.first_month, arrival.first_day)
    last = dt.date(year, arrival.last_month, arrival.last_day)
    unverified = ", unverified" if arrival.unverified else ""
    text = f"seen to come to {arrival.region} {said_day(first)} to {said_day(last)}{unverified}"
    draws = forecast.draws
    share = (unrelated_order(draws) + 0.5) / draws
    days = span.index(first) + share * (span.index(last) + 1 - span.index(first))
    return np.tile(days, len(forecast.times) // draws), text


def _heat_why(
    forecast: FieldForecast, clock: PestClock, pest: Pest, event: Event, timing: PestTiming
) -> str:
    units: Units = clock.loaded.season.settings.units
    model = timing.heat.model
    method = f"{method_text(model, units)}{_weak(model, event, timing.start)}"
    if clock.tested(forecast, pest) is None:
        method += "; untested here"
    since = since_text(timing.start.since, units)
    return (
        f"{pest.name}: {event.title} at {heat_text(event.need_c, units)} {since}, "
        f"{heat_text(timing.so_far_c, units)} so far ({method})"
    )


def _host(activity: Activity) -> str:
    return f"{activity.host.first} to {activity.host.last}"


def method_text(model: HeatModel, units: Units) -> str:
    """How heat is summed: ``single sine above 55 F, intermediate cutoff at 92 F``."""
    limits = f"above {temperature_text(model.lower_c, units)}"
    if model.upper_c is not None:
        limits += f", {model.cutoff} cutoff at {temperature_text(model.upper_c, units)}"
    return f"{model.method} {limits}"


def _weak(model: HeatModel, event: Event, start: Start) -> str:
    """What a person must know before trusting the numbers."""
    if "MEMORY" in {model.tag, model.method_tag, start.biofix.tag, event.tag}:
        return "; unverified"
    if model.method_tag == "OWN":
        return "; method assumed"
    return ""
