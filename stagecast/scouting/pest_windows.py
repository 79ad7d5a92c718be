"""Windows of pests: where their heat-timed activity meets the stages at which they can hurt."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from stagecast.dates import said_day
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Activity, Pest
from stagecast.knowledge.pest_heat import Event, HeatModel
from stagecast.knowledge.quantities import Quantity
from stagecast.phenology.pests import HeatSums, event_time, heat_since, heat_sums
from stagecast.phenology.spread import normal_draws, quantile_days, unrelated_order
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.units import Units, heat_text, temperature_text
from stagecast.scouting.windows import ScoutingWindow, Timing, make_window
from stagecast.season.settings import Settings
from stagecast.weather.seasons import SeasonWeather

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Timing:
    """Heat of a pest in every member of a field, from its biofix on.

    ``needs`` is each member's share of a published need: sources agree to about ten per cent.
    """

    heat: HeatSums
    biofix: FloatArray
    needs: FloatArray
    since: str


class PestClock:
    """Sums each pest's heat once per station, and times its activity in every field."""

    def __init__(self, settings: Settings, knowledge: Knowledge, *, as_of: dt.date) -> None:
        self._settings = settings
        self._knowledge = knowledge
        self._as_of = as_of
        self._sums: dict[tuple[str, str, int], HeatSums] = {}

    def windows(self, forecast: FieldForecast) -> list[ScoutingWindow]:
        """The pest windows of a field; an activity that never meets its host stages is left out."""
        found: list[ScoutingWindow] = []
        for pest in self._knowledge.pests.values():
            untimed: set[tuple[str, str]] = set()
            for activity in pest.activities:
                window = self._window(forecast, pest, activity)
                host = (activity.host.first, activity.host.last)
                # Generations that only heat tells apart are one window where heat is unknown.
                if window is None or (window.timing != "heat" and host in untimed):
                    continue
                found.append(window)
                if window.timing != "heat":
                    untimed.add(host)
        return found

    def _window(
        self, forecast: FieldForecast, pest: Pest, activity: Activity
    ) -> ScoutingWindow | None:
        """The window of an activity, or None when it hardly ever meets its host stages."""
        timing: Timing = "host stages"
        host_open = forecast.stage_time(activity.host.first)
        host_close = forecast.stage_time(activity.host.last)
        opens, closes, why = host_open, host_close, self._host_only(pest, activity)
        if pest.heat is not None and activity.opens is not None:
            clock = self._timing(forecast, pest.id, pest.heat)
            event = pest.event(activity.opens)
            first, last = self._active(pest, activity, event, clock)
            if np.isnan(first).any() or np.isnan(last).any():
                timing = "heat unknown"
                why = self._heat_unknown(forecast, pest, activity)
            else:
                timing = "heat"
                opens = np.maximum(host_open, first)
                closes = np.minimum(host_close, last)
                why = self._heat_why(forecast, pest, activity, event, clock)
        meet = opens < closes
        if forecast.weights @ meet < float(self._knowledge.revisit.overlap_share):
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
            timing=timing,
        )

    def _timing(self, forecast: FieldForecast, pest_id: str, model: HeatModel) -> _Timing:
        season = forecast.weather.season
        members = len(forecast.times)
        biofix = model.biofix[0]
        if biofix.kind == "calendar day":
            day = dt.date(forecast.span.year, biofix.month or 1, biofix.day or 1)
            index = forecast.span.index(day)
            start = np.full(members, float(index))
            since = f"since {said_day(day)}"
        else:
            start = forecast.stage_time(biofix.stage or "planting")
            finite = start[np.isfinite(start)]
            index = int(finite.min()) if finite.size else forecast.span.days
            since = f"since {biofix.stage}"
        heat = self._station_sums(season, pest_id, model, min(index, forecast.span.days))
        by_season = start.reshape(-1, forecast.draws)
        return _Timing(heat, by_season, self._need_shares(forecast.draws), since)

    def _need_shares(self, draws: int) -> FloatArray:
        """One share of the need per draw, shuffled so that pest and crop errors are unrelated."""
        z = normal_draws(draws)
        spread = float(self._knowledge.timing.heat_tolerance) / NormalDist().inv_cdf(0.9)
        return 1.0 + spread * z[unrelated_order(draws)]

    def _station_sums(
        self, season: SeasonWeather, pest_id: str, model: HeatModel, index: int
    ) -> HeatSums:
        key = (season.station.station, pest_id, index)
        if key not in self._sums:
            self._sums[key] = heat_sums(
                season.tmin_c, season.tmax_c, model=model, first_index=index
            )
        return self._sums[key]

    def _active(
        self, pest: Pest, activity: Activity, event: Event, timing: _Timing
    ) -> tuple[FloatArray, FloatArray]:
        """First and last time of an activity in every member, whatever the crop."""

        def reached(what: Event, share: Quantity | None) -> FloatArray:
            return event_time(
                timing.heat,
                timing.biofix,
                model=timing.heat.model,
                need_c=what.need_c,
                share=timing.needs * (1.0 if share is None else float(share)),
            ).ravel()

        first = reached(event, activity.before)
        if activity.closes is not None:
            return first, reached(pest.event(activity.closes), activity.after)
        if activity.lasts is not None:
            return first, first + float(activity.lasts)
        return first, np.where(np.isnan(first), np.nan, np.inf)

    def _heat_why(
        self,
        forecast: FieldForecast,
        pest: Pest,
        activity: Activity,
        event: Event,
        timing: _Timing,
    ) -> str:
        now = min(forecast.span.index(self._as_of) + 1.0, float(forecast.span.days))
        since = heat_since(timing.heat, timing.biofix, at=now).ravel()
        so_far = float(quantile_days(since, (0.5,), forecast.weights)[0])
        units, model = self._settings.units, timing.heat.model
        return (
            f"{pest.name}: {event.title} at {heat_text(event.need_c, units)} {timing.since}, "
            f"{heat_text(so_far, units)} so far ({_method(model, units)}{_weak(model)}), "
            f"where beans are {_host(activity)}"
        )

    def _host_only(self, pest: Pest, activity: Activity) -> str:
        if pest.not_timed:
            return f"{pest.name}: not timed by heat ({pest.not_timed})"
        return f"{pest.name}: follows the crop, not heat; beans at {_host(activity)}"

    def _heat_unknown(self, forecast: FieldForecast, pest: Pest, activity: Activity) -> str:
        station = forecast.weather.season.station.station
        return (
            f"{pest.name}: not timed by heat here (station {station} lacks days its heat sum "
            f"needs); beans at {_host(activity)}"
        )


def _host(activity: Activity) -> str:
    return f"{activity.host.first} to {activity.host.last}"


def _method(model: HeatModel, units: Units) -> str:
    limits = f"above {temperature_text(model.lower_c, units)}"
    if model.upper_c is not None:
        limits += f", {model.cutoff} cutoff at {temperature_text(model.upper_c, units)}"
    return f"{model.method} {limits}"


def _weak(model: HeatModel) -> str:
    """What a person must know before trusting the numbers."""
    if "MEMORY" in {model.tag, model.method_tag, model.biofix[0].tag}:
        return "; unverified"
    if model.method_tag == "OWN":
        return "; method assumed"
    if model.biofix[0].tag == "PRACTICE":
        return "; if moths are about: check your traps"
    return ""
