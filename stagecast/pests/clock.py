"""When pests develop: a biofix per field, heat per station, events as ranges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from statistics import NormalDist
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.pest import Biofix, HeatModel, Pest
from stagecast.knowledge.rules import TrapRules
from stagecast.pests.thresholds import FieldFacts, facts_that_matter
from stagecast.pests.traps.history import CatchForetold, Histories, Trial, catch_foretold
from stagecast.pests.traps.near import NearTrap, OutOfReach, Traps
from stagecast.pests.traps.rules import Event, catch_day
from stagecast.phenology.pests import (
    HeatSums,
    cohort_needs,
    daily_heat,
    event_times,
    heat_since,
    summed_from,
)
from stagecast.phenology.spread import normal_draws, quantile_days, unrelated_order
from stagecast.weather.seasons import SeasonSpan

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OnDay:
    """A day of the calendar."""

    day: dt.date


@dataclass(frozen=True, slots=True)
class AtStage:
    """A stage of the field's crop, or planting, which every member reaches on a day of its own."""

    stage: str


@dataclass(frozen=True, slots=True)
class AtTrap:
    """A catch or a sighting of this season, at a trap near the field."""

    what: Event | Literal["eggs", "adults"]
    day: dt.date
    near: NearTrap


Since = OnDay | AtStage | AtTrap | CatchForetold
"""From what heat is counted."""


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """The biofix of a pest in a field.

    Attributes
    ----------
    times : ndarray, shape (members,)
        Fractional days; inf where it does not come.
    """

    times: FloatArray
    since: Since
    biofix: Biofix


def _observed(
    forecast: FieldForecast, biofix: Biofix, near: Sequence[NearTrap], rules: TrapRules
) -> Start | None:
    span, members = forecast.span, len(forecast.times)
    if biofix.kind == "calendar day":
        day = dt.date(span.year, biofix.month or 1, biofix.day or 1)
        times = np.full(members, float(span.index(day)))
        return Start(times, OnDay(day), biofix)
    if biofix.kind == "crop stage":
        stage = biofix.stage or "planting"
        return Start(forecast.stage_time(stage), AtStage(stage), biofix)
    for trap in near:
        day_seen = _day_of(trap, biofix, span, rules)
        if day_seen is not None:
            times = np.full(members, span.index(day_seen) + 0.5)
            what = biofix.catch or biofix.what or "first"
            return Start(times, AtTrap(what, day_seen, trap), biofix)
    return None


def _day_of(trap: NearTrap, biofix: Biofix, span: SeasonSpan, rules: TrapRules) -> dt.date | None:
    """The day that one trap, or one person, gives for a biofix in the season."""
    ours = trap.in_year(span.year)
    if biofix.kind == "seen":
        return min((c.date for c in ours if c.what == biofix.what), default=None)
    checks = [(c.date, c.count) for c in ours if c.what == "catch" and c.count is not None]
    return catch_day(checks, biofix.catch or "first", rules=rules)


@dataclass(frozen=True, slots=True, eq=False)
class HeatCourse:
    """What the heat of a pest comes to from given biofixes on.

    Attributes
    ----------
    heat : HeatSums
        Of a station, per past season.
    biofix : ndarray, shape (past seasons, draws)
    z : ndarray, shape (draws,)
        Error of the cohort in each draw.
    spread : float
        Share of a need by which individuals differ, one sd.
    so_far : ndarray, shape (members,)
        Degree-days C from the biofix up to the end of the day asked for; NaN where unknown.
    """

    pest: Pest
    heat: HeatSums
    biofix: FloatArray
    z: FloatArray
    spread: float
    so_far: FloatArray
    _times: dict[_Need, FloatArray] = field(default_factory=dict)

    @property
    def unknown(self) -> bool:
        """Whether days are missing that it needs."""
        return bool(np.isnan(self.so_far).any())

    def reached(self, need_c: float, *, share: float = 1.0, generation: int = 1) -> FloatArray:
        """Time of an event in every member; inf where not this season, NaN where unknown.

        Parameters
        ----------
        need_c : float
            Degree-days C from the biofix, in the first generation.
        share : float
            Part of it, for the edges of a window round a peak.
        """
        asked = _Need(need_c, share, generation)
        if asked not in self._times:
            # What its windows will ask for is found in the same search.
            needs = dict.fromkeys([asked, *_window_needs(self.pest)])
            self._work_out([need for need in needs if need not in self._times])
        return self._times[asked]

    def _work_out(self, needs: Sequence[_Need]) -> None:
        whole = self.pest.generation.need_c if self.pest.generation is not None else 0.0
        needs_c = [
            cohort_needs(
                self.z,
                need_c=need.share * need.need_c,
                spread=self.spread,
                generation_c=whole,
                earlier=need.generation - 1,
            )
            for need in needs
        ]
        found = event_times(self.heat, self.biofix, model=self.heat.model, needs_c=needs_c)
        for need, times in zip(needs, found, strict=True):
            self._times[need] = _shared(times.ravel())


class _Need(NamedTuple):
    """Part of the heat to an event of a generation."""

    need_c: float
    share: float
    generation: int


def _window_needs(pest: Pest) -> Iterator[_Need]:
    """What the windows of a pest ask for."""
    for one in pest.activities:
        for event, share in ((one.opens, one.before), (one.closes, one.after)):
            if one.opens is not None and event is not None:
                part = 1.0 if share is None else float(share)
                yield _Need(pest.event(event).need_c, part, 1)


@dataclass(frozen=True, slots=True, eq=False)
class PestTiming:
    """A pest timed by heat in one field.

    Attributes
    ----------
    course : HeatCourse
        Where it leads; the same for every field whose heat begins at these times.
    weights : ndarray, shape (members,)
        How much each member of the field counts.
    """

    pest: Pest
    start: Start
    course: HeatCourse
    weights: FloatArray

    @property
    def so_far_c(self) -> float:
        """Degree-days C from the biofix to the end of the day asked for, in the middle member."""
        return float(quantile_days(self.course.so_far, (0.5,), self.weights)[0])

    @property
    def heat(self) -> HeatSums:
        """The heat of the field's station, per past season."""
        return self.course.heat

    def reached(self, need_c: float, *, share: float = 1.0, generation: int = 1) -> FloatArray:
        """Time of an event in every member, as :meth:`HeatCourse.reached`."""
        return self.course.reached(need_c, share=share, generation=generation)


@dataclass(frozen=True, slots=True)
class NoModel:
    """A pest without a heat model, and why its file has none."""

    text: str


@dataclass(frozen=True, slots=True)
class NoBiofix:
    """Nothing to count from; ``far`` is the trap that would tell if it were nearer."""

    model: HeatModel
    far: OutOfReach | None


@dataclass(frozen=True, slots=True)
class RecordGap:
    """A station whose record lacks days that the heat sum needs."""

    station: str


NotTimed = NoModel | NoBiofix | RecordGap
"""Why a pest is not timed by heat in a field."""


class PestClock:
    """Sums each pest's heat once per station, and finds its biofix in every field.

    Fields of a station whose heat begins at the same times share all that follows from it.
    """

    def __init__(self, loaded: LoadedSeason, histories: Histories | None = None) -> None:
        self.loaded = loaded
        self._histories = histories or {}
        self.knowledge = loaded.knowledge
        self._host_ends: dict[tuple[str, FieldFacts], dict[tuple[str, str], CropEvent]] = {}
        self._daily: dict[tuple[str, str], FloatArray] = {}
        self._sums: dict[tuple[str, str, int], HeatSums] = {}
        self._courses: dict[tuple[str, str, bytes], HeatCourse] = {}
        self._traps = Traps(
            loaded.season.catches,
            as_of=loaded.as_of,
            stations=loaded.stations,
            reach_km=float(self.knowledge.traps.reach),
        )

    @property
    def as_of(self) -> dt.date:
        """The day asked for."""
        return self.loaded.as_of

    def host_ends(self, region: str, facts: FieldFacts) -> dict[tuple[str, str], CropEvent]:
        """Where the last host stage of an activity ends, by pest and activity, as far as asked for.

        Kept here for all fields of a region that no threshold tells apart.
        """
        ours = facts_that_matter(facts, self.knowledge)
        return self._host_ends.setdefault((region, ours), {})

    def timing(self, forecast: FieldForecast, pest: Pest) -> PestTiming | NotTimed:
        """How heat times a pest in a field, or why it does not."""
        if pest.heat is None:
            return NoModel(pest.not_timed)
        start = self._start(forecast, pest, pest.heat)
        if start is None:
            year = forecast.span.year
            far = self._traps.out_of_reach(forecast.field, pest.id, year=year)
            return NoBiofix(pest.heat, far)
        course = self._course(forecast, pest, pest.heat, start)
        if course.unknown:
            return RecordGap(forecast.weather.season.station.station)
        return PestTiming(pest, start, course, forecast.weights)

    def _start(self, forecast: FieldForecast, pest: Pest, model: HeatModel) -> Start | None:
        """The first biofix for which there is a day; what past years foretell is asked last."""
        near, rules = self.near(forecast, pest), self.knowledge.traps
        for biofix in model.biofix:
            start = _observed(forecast, biofix, near, rules)
            if start is not None:
                return start
        for biofix in model.biofix:
            found = biofix.catch and self.foretold(forecast, pest, biofix.catch)
            if found:
                return Start(found.times, found, biofix)
        return None

    def foretold(self, forecast: FieldForecast, pest: Pest, event: Event) -> CatchForetold | None:
        """When a catch is to be expected by past years' catches near a field, and by what rule."""
        near = self.near(forecast, pest)
        if not near:
            return None
        # Another order than that of the cohorts: a late year has nothing to do with late worms.
        z = _errors(forecast.draws)[::-1]
        return catch_foretold(forecast, near, self._histories, pest=pest.id, event=event, z=z)

    def tested(self, forecast: FieldForecast, pest: Pest) -> Trial | None:
        """How well heat timed the pest in past years near a field; None where nobody tested it."""
        biofix = pest.heat.biofix if pest.heat is not None else ()
        event: Event = next((b.catch for b in biofix if b.catch is not None), "first")
        for trap in self.near(forecast, pest):
            history = self._histories.get((trap.name, pest.id))
            if history is not None and history.events[event].calendar_rmse is not None:
                return Trial(history, event)
        return None

    def near(self, forecast: FieldForecast, pest: Pest) -> tuple[NearTrap, ...]:
        """The traps that speak for a field."""
        return self._traps.near(forecast.field, pest.id)

    def spread(self, model: HeatModel) -> float:
        """Share of a need by which individuals differ, one sd: the source's, or the usual one."""
        if model.spread is not None:
            return float(model.spread)
        return float(self.knowledge.timing.heat_tolerance) / NormalDist().inv_cdf(0.9)

    def _course(
        self, forecast: FieldForecast, pest: Pest, model: HeatModel, start: Start
    ) -> HeatCourse:
        key = forecast.weather.season.station.station, pest.id, start.times.tobytes()
        if key not in self._courses:
            heat = self._sums_from(start, forecast, pest.id, model)
            biofix = start.times.reshape(-1, forecast.draws)
            now = min(forecast.span.index(self.as_of) + 1.0, float(forecast.span.days))
            so_far = heat_since(heat, biofix, at=now).ravel()
            self._courses[key] = HeatCourse(
                pest, heat, biofix, _errors(forecast.draws), self.spread(model), _shared(so_far)
            )
        return self._courses[key]

    def _sums_from(
        self, start: Start, forecast: FieldForecast, pest_id: str, model: HeatModel
    ) -> HeatSums:
        """Heat of the field's station from the first day of any biofix on."""
        season, days = forecast.weather.season, forecast.span.days
        first = start.times.min()
        index = min(max(int(first), 0), days) if np.isfinite(first) else days
        station = season.station.station, pest_id
        if (*station, index) not in self._sums:
            if station not in self._daily:
                self._daily[station] = daily_heat(season.tmin_c, season.tmax_c, model=model)
            self._sums[*station, index] = summed_from(self._daily[station], model, index)
        return self._sums[*station, index]


@cache
def _errors(draws: int) -> FloatArray:
    """One error per draw, shuffled so that those of pest and crop are unrelated."""
    return _shared(normal_draws(draws)[unrelated_order(draws)])


def _shared(values: FloatArray) -> FloatArray:
    """The same values, which many fields share and none may change."""
    values.flags.writeable = False
    return values
