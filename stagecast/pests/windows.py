"""Scouting windows: when each opens and closes, as ranges, and what the dates rest on."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange, EventTimes, date_ranges
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent, WindowEnd, stage_after, stage_place
from stagecast.knowledge.pest import Activity, Arrival, Event, HeatModel, HostStages, Pest
from stagecast.pests.clock import NotTimed, PestClock, PestTiming, RecordGap, Start
from stagecast.pests.ranks import RankSpan, rank_spans
from stagecast.pests.thresholds import FieldFacts, lasts_to
from stagecast.pests.traps.history import CatchForetold
from stagecast.pests.traps.near import NearTrap
from stagecast.phenology.spread import unrelated_order

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
    """A heat sum opens the window: of which event, and how the pest is timed.

    ``tested`` tells whether past catches near the field did.
    """

    pest: Pest
    host: HostStages
    event: Event
    timing: PestTiming
    tested: bool

    @property
    def model(self) -> HeatModel:
        """By which heat is summed."""
        return self.timing.heat.model

    @property
    def start(self) -> Start:
        """From when on."""
        return self.timing.start

    @property
    def so_far_c(self) -> float:
        """How far it is, degree-days C."""
        return self.timing.so_far_c

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


@dataclass(frozen=True, slots=True, eq=False)
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
    opening, closing : EventTimes
        In every possible season in which it opens before it closes.
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
    opening: EventTimes
    closing: EventTimes
    why: WindowReason
    look_for: tuple[str, ...]
    sample: str
    critical: bool
    rank: int
    timing: Timing
    ranks: tuple[RankSpan, ...] | None = None

    @property
    def opens(self) -> DateRange:
        """Range of the first day."""
        return self.opening.dates

    @property
    def closes(self) -> DateRange:
        """Range of the last day."""
        return self.closing.dates

    @property
    def open_times(self) -> FloatArray:
        """When it opens in every possible season, inf where it never does; shape (members,)."""
        return self.opening.times

    @property
    def close_times(self) -> FloatArray:
        """The same of its end."""
        return self.closing.times

    @property
    def weights(self) -> FloatArray:
        """How much each of these seasons counts; shape (members,)."""
        return self.opening.weights

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
    windows = knowledge.windows
    ends = [_end_time(forecast, end) for one in windows for end in (one.opens, one.closes)]
    events = forecast.events(ends)
    return [
        ScoutingWindow(
            forecast.field.field_id, one.id, one.title, one.short, None,
            events[2 * place], events[2 * place + 1],
            Declared(one.why), one.look_for, one.sample, one.critical, 0, "crop",
        )
        for place, one in enumerate(windows)
    ]  # fmt: skip


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
    crop = _Host(forecast, clock)
    drafts = [
        draft
        for pest in (knowledge.pests.values() if pests is None else pests)
        if pest.presence.met_in((region,))
        for draft in _drafts(pest, clock, crop)
    ]
    met = _meeting(drafts, forecast, least=float(knowledge.revisit.overlap_share))
    return _windows(list(_told_apart(met)), forecast, knowledge)


class _Host:
    """The crop of a field as a host: when its stages begin, each made once, and what ends there."""

    def __init__(self, forecast: FieldForecast, clock: PestClock) -> None:
        self.forecast = forecast
        self._begins: dict[CropEvent, EventTimes] = {}
        self._knowledge, facts = clock.knowledge, FieldFacts.of(forecast.field)
        self._facts = facts
        self._ends = clock.host_ends(forecast.field.region, facts)

    def begins(self, stage: CropEvent) -> EventTimes:
        """When a stage begins."""
        if stage not in self._begins:
            self._begins[stage] = self.forecast.event(stage)
        return self._begins[stage]

    def ends(self, pest: Pest, activity: Activity) -> EventTimes:
        """When the last stage of an activity ends and the next one begins."""
        key = pest.id, activity.id
        if key not in self._ends or self._knowledge.pests.get(pest.id) is not pest:
            last = last_host_stage(
                pest,
                activity,
                region=self.forecast.field.region,
                facts=self._facts,
                knowledge=self._knowledge,
            )
            self._ends[key] = stage_after(last)
        return self.begins(self._ends[key])


@dataclass(slots=True, eq=False)
class _Draft:
    """A window whose ends may have no dates yet: of those there are times alone."""

    pest: Pest
    activity: Activity
    opens: EventTimes | FloatArray
    closes: EventTimes | FloatArray
    timing: Timing
    why: WindowReason


def _windows(
    drafts: Sequence[_Draft], forecast: FieldForecast, knowledge: Knowledge
) -> list[ScoutingWindow]:
    """Date the ends of all drafts together."""
    ends = [end for draft in drafts for end in (draft.opens, draft.closes)]
    loose = iter(forecast.events([end for end in ends if not isinstance(end, EventTimes)]))
    dated = iter([end if isinstance(end, EventTimes) else next(loose) for end in ends])
    ranks = rank_spans(dict.fromkeys(one.pest.id for one in drafts), forecast, knowledge)
    return [
        ScoutingWindow(
            forecast.field.field_id, one.activity.id, one.activity.title, one.pest.short,
            one.pest.id, next(dated), next(dated), one.why, (one.activity.look_for,),
            one.activity.sample, False, one.activity.rank, one.timing, ranks[one.pest.id],
        )
        for one in drafts
    ]  # fmt: skip


def _drafts(pest: Pest, clock: PestClock, crop: _Host) -> Iterator[_Draft]:
    """The windows of a pest, whether or not they meet their host stages."""
    timing = clock.timing(crop.forecast, pest)
    for activity in pest.activities:
        yield _bounds(clock, pest, activity, timing, crop)


def _meeting(
    drafts: Sequence[_Draft], forecast: FieldForecast, *, least: float
) -> Iterator[_Draft]:
    """Windows in the seasons in which they open before they close; none where hardly any."""
    if not drafts:
        return
    opens, closes = (
        np.array([end.times if isinstance(end, EventTimes) else end for end in ends])
        for ends in ([one.opens for one in drafts], [one.closes for one in drafts])
    )
    meet = opens < closes
    always = np.all(meet, axis=1)
    for row, draft in enumerate(drafts):
        if always[row]:
            yield draft
        elif forecast.weights @ meet[row] >= least:
            ours = meet[row]
            weights, times = forecast.weights[ours], (opens[row, ours], closes[row, ours])
            dates = date_ranges(times, forecast.span, weights)
            first, last = (
                EventTimes(each, weights, dated) for each, dated in zip(times, dates, strict=True)
            )
            yield _Draft(draft.pest, draft.activity, first, last, draft.timing, draft.why)


def _told_apart(drafts: Iterable[_Draft]) -> Iterator[_Draft]:
    """Generations that only heat tells apart are one window where heat is unknown."""
    untimed: set[tuple[str, str, str]] = set()
    for draft in drafts:
        host = draft.pest.id, draft.activity.host.first, draft.activity.host.last
        if draft.timing == "heat" or host not in untimed:
            yield draft
        if draft.timing != "heat":
            untimed.add(host)


def _bounds(
    clock: PestClock, pest: Pest, activity: Activity, timing: PestTiming | NotTimed, crop: _Host
) -> _Draft:
    """Opening and closing in every member, what they rest on, and why."""
    host, forecast = activity.host, crop.forecast
    opens, closes = crop.begins(host.first), crop.ends(pest, activity)
    ends: EventTimes | FloatArray = closes
    if activity.opens is None and activity.lasts is not None:
        ends = np.minimum(closes.times, opens.times + float(activity.lasts))
    if isinstance(timing, PestTiming):
        if activity.opens is None:
            return _Draft(pest, activity, opens, ends, "host stages", FollowsCrop(pest, host))
        event = pest.event(activity.opens)
        first, last = _active(pest, activity, event, timing)
        if not (np.isnan(first).any() or np.isnan(last).any()):
            tested = clock.tested(forecast, pest) is not None
            why = TimedByHeat(pest, host, event, timing, tested)
            begins, ends = np.maximum(opens.times, first), np.minimum(closes.times, last)
            return _Draft(pest, activity, begins, ends, "heat", why)
        timing = RecordGap(forecast.weather.season.station.station)
    elif activity.opens is None and pest.heat is not None:
        return _Draft(pest, activity, opens, ends, "host stages", FollowsCrop(pest, host))
    comes, kind, evidence = _without_heat(forecast, clock, pest)
    if kind == "host stages" and isinstance(timing, RecordGap):
        kind = "heat unknown"
    begin = opens if comes is None else np.maximum(opens.times, comes)
    return _Draft(pest, activity, begin, ends, kind, NotByHeat(pest, host, timing, evidence))


def last_host_stage(
    pest: Pest, activity: Activity, *, region: str, facts: FieldFacts, knowledge: Knowledge
) -> CropEvent:
    """The last stage of an activity; a pest's last one goes on while a threshold decides."""
    last = lasts_to(pest, region=region, knowledge=knowledge, facts=facts)
    latest = max(stage_place(one.host.last) for one in pest.activities)
    if stage_place(activity.host.last) == latest:
        return last
    return min(activity.host.last, last, key=stage_place)


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
) -> tuple[FloatArray | float | None, Timing, Evidence]:
    """From when catches or a calendar of arrival bring a pest; None where neither is known."""
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
        return None, "host stages", seen
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
