"""A catch still to come, forecast from the catches of past years at traps near a field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stagecast.dates import said_day
from stagecast.phenology.pests import HeatSums, event_time, heat_sums
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.ranges import date_range
from stagecast.scouting.trap_history import DayForetold, HeatForetold, TrapHistory
from stagecast.scouting.trap_rules import Event
from stagecast.scouting.traps_near import NearTrap

FloatArray = NDArray[np.float64]
_LEAST_LEFT = 0.1  # of a distribution, to be taken for one; arithmetic only

Histories = Mapping[tuple[str, str], TrapHistory]


def catch_foretold(
    forecast: FieldForecast,
    near: Sequence[NearTrap],
    histories: Histories,
    *,
    pest: str,
    event: Event,
    z: FloatArray,
) -> tuple[FloatArray, str] | None:
    """Times of an event at the nearest trap with enough past years, and where they come from.

    Parameters
    ----------
    forecast : FieldForecast
    near : sequence of NearTrap
        The nearest first, with their catches up to the day asked for.
    histories : mapping
        (trap, pest) -> what its past years say.
    pest : str
    event : {"first", "sustained", "middle", "peak"}
    z : ndarray, shape (draws,)
        Standard normal errors: how far this year differs from the past ones.

    Returns
    -------
    times : ndarray, shape (members,)
        Of those years in which it came after the last check made this season without it.
    words : str
        None instead of both where no past years tell, or where it should long have come.
    """
    for trap in near:
        history = histories.get((trap.station, pest))
        found = None if history is None else history.foretell(event, forecast.span.year)
        if history is None or found is None:
            continue
        checked = [c.date for c in trap.catches
                   if c.date.year == forecast.span.year and c.what == "catch"]  # fmt: skip
        after = forecast.span.index(max(checked)) + 1.0 if checked else 0.0
        times = _still_to_come(_times(forecast, found, z), after)
        if times is None:
            return None
        dates = date_range(times, forecast.span, forecast.weights)
        words = f"since the {event} catch, {_about(dates.p50)} from past years ({trap.said})"
        return times, f"{words}: {history.sentence(event)}"
    return None


def _still_to_come(times: FloatArray, after: float) -> FloatArray | None:
    """The distribution of what can still come after a day; None where hardly any of it can.

    An event that is overdue is not due tomorrow: past years then say nothing of this one.
    """
    left = np.sort(times[times >= after])
    if len(left) < _LEAST_LEFT * len(times):
        return None
    place = np.argsort(np.argsort(times, kind="stable"), kind="stable")
    return np.asarray(left[place * len(left) // len(times)])


def _times(forecast: FieldForecast, found: DayForetold | HeatForetold, z: FloatArray) -> FloatArray:
    seasons = len(forecast.times) // forecast.draws
    if isinstance(found, DayForetold):
        return np.tile(found.time + found.sd_days * z, seasons)
    sums = _sums(forecast, found)
    start = np.full((seasons, forecast.draws), float(forecast.span.index(found.start)))
    # A need below zero would be reached before the heat began to count.
    needs = np.maximum(found.need_c + found.sd_c * z, 0.0)
    times = event_time(sums, start, model=found.model, need_c=1.0, share=needs).ravel()
    return np.where(np.isnan(times), np.inf, times)


def _sums(forecast: FieldForecast, found: HeatForetold) -> HeatSums:
    season = forecast.weather.season
    first = forecast.span.index(found.start)
    return heat_sums(season.tmin_c, season.tmax_c, model=found.model, first_index=first)


def _about(day: dt.date | None) -> str:
    return "not expected this season" if day is None else f"expected about {said_day(day)}"
