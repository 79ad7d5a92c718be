"""The other looks of a field: what its stages call for besides insects, and when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import WindowEnd, stage_place
from stagecast.knowledge.looks import Look, WaterLeft
from stagecast.season.log.entries import ScoutingLog


@dataclass(frozen=True, slots=True)
class FieldLook:
    """A look at one field.

    Attributes
    ----------
    chance: of a killing frost in its range; None where the look is not about frost.
    water: what the crop still needs on the day asked for; None where irrigation is not in question.
    """

    look: Look
    opens: DateRange
    closes: DateRange
    chance: float | None = None
    water: WaterLeft | None = None

    @property
    def first(self) -> dt.date:
        """The middle of the days on which it begins; a look that never does is left out."""
        assert self.opens.p50 is not None, "only looks that begin are kept"
        return self.opens.p50

    def open_on(self, day: dt.date) -> bool:
        """Whether its range holds a day, by the middle dates; the day it closes is out of it."""
        return self.first <= day and not self.over(day)

    def over(self, day: dt.date) -> bool:
        """Whether it is closed by a day."""
        return self.closes.p50 is not None and self.closes.p50 <= day


def field_looks(
    forecast: FieldForecast,
    log: ScoutingLog,
    *,
    as_of: dt.date,
    off: Collection[str],
    next_freeze: FloatArray,
    knowledge: Knowledge,
) -> tuple[FieldLook, ...]:
    """The looks at a field that lie ahead or are open, by the day on which they begin.

    Parameters
    ----------
    log: of the field.
    off: switches that the season turned off.
    next_freeze: see :func:`freezes`, of the field's station.
    """
    seen = log.up_to(as_of)
    found = (
        one
        for look in knowledge.looks.look
        if look.setting not in off
        and (one := _field_look(look, forecast, seen, as_of, next_freeze, knowledge)) is not None
    )
    return tuple(sorted(found, key=lambda one: one.first))


def opened_since(
    looks: Collection[FieldLook], last: dt.date | None, day: dt.date
) -> Iterator[FieldLook]:
    """Looks that are open on the day of a visit and were not at the one before; none at frost."""
    for one in looks:
        new = last is None or one.first > last
        if new and one.open_on(day) and not one.look.frost:
            yield one


def freezes(forecast: FieldForecast, knowledge: Knowledge) -> FloatArray:
    """The next day that is cold enough to kill the crop, of each day of each possible season.

    Returns
    -------
    ndarray, shape (seasons, days + 1)
        Index of that day, the day itself included; inf where none follows.
    """
    tmin = forecast.weather.season.tmin_c
    cold = tmin <= float(knowledge.looks.frost.kills)
    days = np.where(cold, np.arange(tmin.shape[1], dtype=np.float64), np.inf)
    never = np.full((len(days), 1), np.inf)
    padded = np.concatenate((days, never), axis=1)
    found: FloatArray = np.minimum.accumulate(padded[:, ::-1], axis=1)[:, ::-1]
    return found


def frost_chance(
    forecast: FieldForecast, opens: WindowEnd, closes: WindowEnd, next_freeze: FloatArray
) -> float:
    """Probability of a killing frost between two stages, over the possible seasons."""
    first, last = _time(forecast, opens), _time(forecast, closes)
    soonest = int(min(first.min(), next_freeze.shape[1] - 1))
    if next_freeze[:, soonest].min() >= last.max():
        return 0.0
    begins = np.minimum(np.ceil(first), next_freeze.shape[1] - 1).astype(np.intp)
    season: NDArray[np.intp] = np.arange(len(first)) // forecast.draws
    return float(forecast.weights @ (next_freeze[season, begins] < last))


def water_left(stage: str, knowledge: Knowledge) -> WaterLeft | None:
    """What the crop still needs from a stage on: the row of the last stage that it has come to."""
    place = stage_place(stage)
    return max(
        (row for row in knowledge.looks.water if stage_place(row.stage) <= place),
        key=lambda row: stage_place(row.stage),
        default=None,
    )


def _field_look(
    look: Look,
    forecast: FieldForecast,
    log: ScoutingLog,
    as_of: dt.date,
    next_freeze: FloatArray,
    knowledge: Knowledge,
) -> FieldLook | None:
    """A look at a field; None where it is over, done, or not for this field or season.

    ``log`` is what was logged of it up to the day.
    """
    if look.irrigated and not forecast.field.irrigated:
        return None
    if look.found is not None and look.found not in log.found:
        return None
    if look.setting == STAND and any(v.stand is not None for v in log.visits):
        return None
    opens, closes = _range(forecast, look.opens), _range(forecast, look.closes)
    if opens.p50 is None or (closes.p50 is not None and closes.p50 <= as_of):
        return None
    if not look.frost:
        water = water_left(forecast.stage_by(as_of), knowledge) if look.irrigated else None
        return FieldLook(look, opens, closes, water=water)
    chance = frost_chance(forecast, look.opens, look.closes, next_freeze)
    if chance < float(knowledge.looks.frost.least_chance):
        return None
    return FieldLook(look, opens, closes, chance)


STAND = "stand"
"""The look that a stand count answers."""


def _range(forecast: FieldForecast, end: WindowEnd) -> DateRange:
    """The range of a crop event moved by some days: so many days later in every season."""
    dates = forecast.dates_of(end.stage)
    moved = (_moved(day, end.plus_days, forecast.span.last_day) for day in
             (dates.p10, dates.p50, dates.p90))  # fmt: skip
    return DateRange(*moved)


def _moved(day: dt.date | None, days: int, last_day: dt.date) -> dt.date | None:
    """None stays None, and so is what lies beyond the season."""
    if day is None:
        return None
    later = day + dt.timedelta(days=days)
    return later if later <= last_day else None


def _time(forecast: FieldForecast, end: WindowEnd) -> FloatArray:
    return forecast.stage_time(end.stage) + end.plus_days
