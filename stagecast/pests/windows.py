"""Scouting windows: when each opens and closes, as ranges, and what the dates rest on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange, date_range
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent, WindowEnd, stage_after, stage_place
from stagecast.knowledge.pest import Activity, Arrival, Event, HeatModel, HostStages, Pest
from stagecast.knowledge.rules import Window
from stagecast.pests.clock import NotTimed, PestClock, PestTiming, RecordGap, Start
from stagecast.pests.ranks import RankSpan, rank_spans
from stagecast.pests.thresholds import FieldFacts, lasts_to
from stagecast.pests.traps.history import CatchForetold
from stagecast.pests.traps.near import NearTrap
from stagecast.phenology.spread import unrelated_order
from stagecast.weather.seasons import SeasonSpan

FloatArray = NDArray[np.float64]
Timing = Literal["crop", "heat", "catch", "calendar", "host stages", "heat unknown"]
State = Literal["open", "coming", "later", "past", "not this season"]

SEEDLING = "seedling"
"""Id of the window in which the stand is looked at, in windows.toml."""


@dataclass(frozen=True, slots=True)
class Declared:
    """A window of the crop matters for what windows.toml says."""

    text: str


@dataclass(frozen=True, slots=True)
class FollowsCrop:
    """An activity that no heat sum opens, of a pest with a heat model."""

    pest: Pest
    host: HostStages


@dataclass(frozen=True, slots=True, eq=False)
class TimedByHeat:
    """A heat sum opens the window: of which event, by which model, from when, and how far it is.

    ``so_far_c`` is in degree-days C; ``tested`` tells whether past catches near the field did.
    """

    pest: Pest
    host: HostStages
    event: Event
    model: HeatModel
    start: Start
    so_far_c: float
    tested: bool

    @property
    def unverified(self) -> bool:
        """Whether the dates rest on a value from memory."""
        values = self.model.tag, self.model.method_tag, self.start.biofix.tag, self.event.tag
        return "MEMORY" in values


@dataclass(frozen=True, slots=True)
class Caught:
    """The first catch or sighting of the season at the nearest trap with any."""

    day: dt.date
    trap: NearTrap


@dataclass(frozen=True, slots=True)
class NoneCaught:
    """The nearest trap was checked this season, last on a day, and caught nothing."""

    last_check: dt.date
    trap: NearTrap


@dataclass(frozen=True, slots=True)
class SeenToArrive:
    """Days between which a source saw the pest come to the region."""

    arrival: Arrival
    first: dt.date
    last: dt.date


Evidence = tuple[Caught | NoneCaught | CatchForetold | SeenToArrive, ...]


@dataclass(frozen=True, slots=True)
class NotByHeat:
    """The host stages, cut by what catches, past years or a calendar say: heat says nothing."""

    pest: Pest
    host: HostStages
    cause: NotTimed
    evidence: Evidence


WindowReason = Declared | FollowsCrop | TimedByHeat | NotByHeat


@dataclass(frozen=True, eq=False)
class ScoutingWindow:
    """One window of one field.

    Attributes
    ----------
    window : str
        Id of the window, or of the pest's activity.
    title, short : str
        In full, and for a narrow column.
    pest : str or None
        Id, for a window of a pest.
    open_times, close_times, weights : ndarray, shape (members,)
        In every possible season, inf where it never comes; and how much each counts.
    sample : str
        Id of the sampling method.
    critical : bool
        Whether missing it costs yield.
    rank : int
        Place among the pests to look for by the pest's own file; 0 for a window of the crop.
    ranks : tuple of RankSpan or None
        Its places in this field; None where ranks.toml does not know the pest.
    timing : {"crop", "heat", "catch", "calendar", "host stages", "heat unknown"}
        What the dates rest on: the crop's own stages; a heat sum; the scout's own catches; days
        on which a source saw the pest arrive; the host stages of a pest that nothing times; or
        those of one whose heat the station's record does not reach.
    """

    field_id: str
    window: str
    title: str
    short: str
    pest: str | None
    open_times: FloatArray
    close_times: FloatArray
    weights: FloatArray
    span: SeasonSpan
    why: WindowReason
    look_for: tuple[str, ...]
    sample: str
    critical: bool
    rank: int
    timing: Timing
    ranks: tuple[RankSpan, ...] | None = None

    @cached_property
    def opens(self) -> DateRange:
        """Range of the first day."""
        return date_range(self.open_times, self.span, self.weights)

    @cached_property
    def closes(self) -> DateRange:
        """Range of the last day."""
        return date_range(self.close_times, self.span, self.weights)

    @property
    def unverified(self) -> bool:
        """Whether the dates rest on a value from memory."""
        return isinstance(self.why, TimedByHeat) and self.why.unverified

    @property
    def known(self) -> bool:
        """Whether heat or catches say that the pest comes; no heat from memory does."""
        return self.timing in ("heat", "catch") and not self.unverified

    def rank_on(self, day: dt.date) -> int | None:
        """Its place among the pests to look for on a day, 1 first; None where it has none then.

        A pest that the scout's own traps caught has one in any place and season.
        """
        if self.ranks is None:
            return self.rank
        places = [span.rank for span in self.ranks if span.holds(day)]
        return min(places, default=self.rank if self.timing == "catch" else None)

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
    opens, closes = _end_time(forecast, window.opens), _end_time(forecast, window.closes)
    return ScoutingWindow(
        forecast.field.field_id, window.id, window.title, window.short, None,
        opens, closes, forecast.weights, forecast.span,
        Declared(window.why), window.look_for, window.sample, window.critical, 0, "crop",
    )  # fmt: skip


def _end_time(forecast: FieldForecast, end: WindowEnd) -> FloatArray:
    moved = forecast.stage_time(end.stage) + end.plus_days
    # A window of the crop cannot open before there is a crop.
    return np.maximum(moved, forecast.stage_time("VE"))


def in_order(windows: Sequence[ScoutingWindow]) -> list[ScoutingWindow]:
    """Windows of one field by opening date; those that never open come last."""
    never = dt.date.max
    return sorted(windows, key=lambda w: (w.opens.p50 or never, w.pest or "", w.window))


def pest_windows(
    forecast: FieldForecast, clock: PestClock, pests: Iterable[Pest] | None = None
) -> list[ScoutingWindow]:
    """The windows of some pests in a field, by default of all.

    Left out are activities that never meet their host stages, and pests that the field's region has
    not.
    """
    region, knowledge = forecast.field.region, clock.knowledge
    found: list[ScoutingWindow] = []
    for pest in knowledge.pests.values() if pests is None else pests:
        if not pest.presence.met_in((region,)):
            continue
        timing = clock.timing(forecast, pest)
        ranks = rank_spans(pest.id, forecast, knowledge)
        untimed: set[tuple[str, str]] = set()
        for activity in pest.activities:
            window = _window(forecast, clock, pest, activity, timing, ranks)
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
    ranks: tuple[RankSpan, ...] | None,
) -> ScoutingWindow | None:
    """The window of an activity, or None when it hardly ever meets its host stages."""
    opens, closes, kind, why = _bounds(forecast, clock, pest, activity, timing)
    meet = opens < closes
    if forecast.weights @ meet < float(clock.knowledge.revisit.overlap_share):
        return None
    return ScoutingWindow(
        forecast.field.field_id, activity.id, activity.title, pest.short, pest.id,
        opens[meet], closes[meet], forecast.weights[meet], forecast.span,
        why, (activity.look_for,), activity.sample, False, activity.rank, kind, ranks,
    )  # fmt: skip


def _bounds(
    forecast: FieldForecast,
    clock: PestClock,
    pest: Pest,
    activity: Activity,
    timing: PestTiming | NotTimed,
) -> tuple[FloatArray, FloatArray, Timing, WindowReason]:
    """Opening and closing in every member, what they rest on, and why."""
    host = activity.host
    opens = forecast.stage_time(host.first)
    field = forecast.field
    last_stage = last_host_stage(
        pest,
        activity,
        region=field.region,
        facts=FieldFacts.of(field),
        knowledge=clock.knowledge,
    )
    closes = _end_of(forecast, last_stage)
    if activity.opens is None and activity.lasts is not None:
        closes = np.minimum(closes, opens + float(activity.lasts))
    if isinstance(timing, PestTiming):
        if activity.opens is None:
            return opens, closes, "host stages", FollowsCrop(pest, host)
        event = pest.event(activity.opens)
        first, last = _active(pest, activity, event, timing)
        if not (np.isnan(first).any() or np.isnan(last).any()):
            tested = clock.tested(forecast, pest) is not None
            model, so_far_c = timing.heat.model, timing.so_far_c
            why = TimedByHeat(pest, host, event, model, timing.start, so_far_c, tested)
            return np.maximum(opens, first), np.minimum(closes, last), "heat", why
        timing = RecordGap(forecast.weather.season.station.station)
    elif activity.opens is None and pest.heat is not None:
        return opens, closes, "host stages", FollowsCrop(pest, host)
    comes, kind, evidence = _without_heat(forecast, clock, pest)
    if kind == "host stages" and isinstance(timing, RecordGap):
        kind = "heat unknown"
    return np.maximum(opens, comes), closes, kind, NotByHeat(pest, host, timing, evidence)


def last_host_stage(
    pest: Pest, activity: Activity, *, region: str, facts: FieldFacts, knowledge: Knowledge
) -> CropEvent:
    """The last stage of an activity; a pest's last one goes on while a threshold decides."""
    last = lasts_to(pest, region=region, knowledge=knowledge, facts=facts)
    latest = max(stage_place(one.host.last) for one in pest.activities)
    if stage_place(activity.host.last) == latest:
        return last
    return min(activity.host.last, last, key=stage_place)


def _end_of(forecast: FieldForecast, stage: CropEvent) -> FloatArray:
    """When a stage ends and the next one begins, in every member."""
    return forecast.stage_time(stage_after(stage))


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
    forecast: FieldForecast, clock: PestClock, pest: Pest
) -> tuple[FloatArray | float, Timing, Evidence]:
    """From when catches or a calendar of arrival bring a pest; -inf where neither is known."""
    caught = _caught(clock.near(forecast, pest), forecast)
    if isinstance(caught, Caught):
        return float(forecast.span.index(caught.day)), "catch", (caught,)
    seen: Evidence = () if caught is None else (caught,)
    foretold = clock.foretold(forecast, pest, "first")
    if foretold is not None:
        return foretold.times, "catch", (*seen, foretold)
    region = forecast.field.region
    arrival = next((one for one in pest.arrivals if one.region == region), None)
    if arrival is None or caught is not None:
        return -np.inf, "host stages", seen
    times, arrives = _arrival(arrival, forecast)
    return times, "calendar", (arrives,)


def _caught(near: Sequence[NearTrap], forecast: FieldForecast) -> Caught | NoneCaught | None:
    """What the nearest trap that was checked this season tells."""
    for trap in near:
        ours = trap.in_year(forecast.span.year)
        days = [c.date for c in ours if c.what != "catch" or (c.count or 0) > 0]
        if days:
            return Caught(min(days), trap)
        if ours:
            return NoneCaught(max(c.date for c in ours), trap)
    return None


def _arrival(arrival: Arrival, forecast: FieldForecast) -> tuple[FloatArray, SeenToArrive]:
    """Any day between the first and last on which a source saw it come, all alike."""
    year, span = forecast.span.year, forecast.span
    first = dt.date(year, arrival.first_month, arrival.first_day)
    last = dt.date(year, arrival.last_month, arrival.last_day)
    draws = forecast.draws
    share = (unrelated_order(draws) + 0.5) / draws
    days = span.index(first) + share * (span.index(last) + 1 - span.index(first))
    return np.tile(days, len(forecast.times) // draws), SeenToArrive(arrival, first, last)
