"""Days of a weather forecast: how far they may be off, one possible future each.

A plain forecast is one row. Its errors take their shape from past seasons: future ``k`` is off
from the forecast as the past season ``k`` was from the mean of them all, but by a share of it only,
which grows with the days ahead. So minimum and maximum, and one day and the next, err together as
weather does, and the last forecast day leads over to the past season that follows.

An ensemble tells its own errors: as many of its members as there are futures are taken, evenly from
the coldest to the warmest.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.phenology.spread import unrelated_order
from stagecast.weather.records import DayKind, MemberDays, StationRecord


@dataclass(frozen=True, slots=True)
class ForecastError:
    """How far a weather forecast is off, by days ahead; one standard deviation.

    Attributes
    ----------
    first_day_c: K, for tomorrow.
    late_share: share of what past seasons differ among each other, ``late_days`` ahead.
    late_days: 2 or more.
    """

    first_day_c: float
    late_share: float
    late_days: float

    def share(self, days_ahead: FloatArray, usual_c: float) -> FloatArray:
        """The error as a share of what past seasons differ among each other, at most 1.

        It grows evenly from tomorrow to ``late_days`` ahead, and so on from there.

        Parameters
        ----------
        days_ahead: 1 for tomorrow; what is less counts as 1.
        usual_c: standard deviation of past seasons in K, above 0.
        """
        first = min(self.first_day_c / usual_c, 1.0)
        late = max(self.late_share, first)
        way = (np.maximum(days_ahead, 1.0) - 1.0) / (self.late_days - 1.0)
        return np.asarray(np.minimum(first + (late - first) * way, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class Deviations:
    """What each future is off from the forecast; shape (futures, days), zero on other days; K."""

    tmin_c: FloatArray
    tmax_c: FloatArray


def with_members(record: StationRecord, *, bridge_days: int) -> StationRecord:
    """The record with the middle of its ensemble as forecast days after the last measured one.

    Days that are measured stay, and so do forecast days that the ensemble does not reach. One that
    begins after a hole of more than ``bridge_days`` is left out: past seasons stand for its days,
    as for those of the hole.
    """
    members = record.members
    if members is None:
        return record
    if _hole_before(members, record) > bridge_days:
        return replace(record, members=None)
    last = members.first_day + dt.timedelta(days=members.tmin_c.shape[1] - 1)
    longer = record.between(min(record.first_day, members.first_day), max(record.last_day, last))
    ahead = _ahead(longer)
    shift = (members.first_day - longer.first_day).days
    within = np.zeros(longer.days, dtype=bool)
    within[shift : shift + members.tmin_c.shape[1]] = True
    told = np.flatnonzero(ahead & within)
    tmin, tmax, kind = longer.tmin_c.copy(), longer.tmax_c.copy(), longer.kind.copy()
    tmin[told] = members.tmin_c.mean(axis=0)[told - shift]
    tmax[told] = members.tmax_c.mean(axis=0)[told - shift]
    kind[told] = DayKind.MODEL
    fetched = longer.fetched_on | dict.fromkeys(told.tolist(), members.made_on)
    return replace(longer, tmin_c=tmin, tmax_c=tmax, kind=kind, fetched_on=fetched)


def deviations(
    current: StationRecord,
    past_tmin_c: FloatArray,
    past_tmax_c: FloatArray,
    error: ForecastError | None,
) -> Deviations:
    """How far each future is off on the forecast days that follow what was measured.

    Parameters
    ----------
    current: the season's own days, those of an ensemble laid in by :func:`with_members`.
    past_tmin_c, past_tmax_c : ndarray, shape (futures, days)
        Past seasons on the same days. A day that one of them lacks is taken from the forecast as
        it is.
    error: how far a plain forecast is off; None for not at all.
    """
    forecast = _ahead(current) & (current.kind == DayKind.MODEL)
    off = np.zeros((2, *past_tmin_c.shape))
    days = np.flatnonzero(forecast)
    plain = days
    if current.members is not None and current.members.tmin_c.shape[0] > 1:
        first = (current.members.first_day - current.first_day).days
        told = days[(days >= first) & (days < first + current.members.tmin_c.shape[1])]
        off[:, :, told] = _of_members(current.members, len(past_tmin_c))[:, :, told - first]
        plain = np.setdiff1d(days, told)
    if error is not None and plain.size and len(past_tmin_c) > 1:
        lead = np.array([_days_ahead(current, int(day)) for day in plain])
        for row, past in zip(off, (past_tmin_c, past_tmax_c), strict=True):
            row[:, plain] = _of_pasts(past[:, plain], lead, error)
    return Deviations(off[0], off[1])


def _hole_before(members: MemberDays, record: StationRecord) -> int:
    """Days that nobody knows right before an ensemble; all since the first where none is known."""
    before = max((members.first_day - record.first_day).days, 0)
    known = np.flatnonzero(np.isfinite(record.tmin_c[:before] + record.tmax_c[:before]))
    return (members.first_day - record.first_day).days - 1 - int(known[-1] if known.size else -1)


def _ahead(record: StationRecord) -> NDArray[np.bool_]:
    """Days after the last measured one."""
    observed = np.flatnonzero(record.kind == DayKind.OBSERVED)
    return np.arange(record.days) > (observed[-1] if observed.size else -1)


def _days_ahead(record: StationRecord, index: int) -> float:
    """How far ahead a forecast day was when its forecast was fetched."""
    day = record.first_day + dt.timedelta(days=index)
    made = record.fetched_on.get(index, day - dt.timedelta(days=1))
    return float((day - made).days)


def _of_pasts(past_c: FloatArray, days_ahead: FloatArray, error: ForecastError) -> FloatArray:
    known = np.isfinite(past_c)
    count = known.sum(axis=0)
    mean = np.where(known, past_c, 0.0).sum(axis=0) / np.maximum(count, 1)
    apart = np.where(known, past_c - mean, 0.0)
    usual_c = float(np.sqrt(np.square(apart).sum() / max(int(count.sum()) - len(count), 1)))
    if usual_c == 0.0:
        return apart
    return np.asarray(apart * error.share(days_ahead, usual_c))


def _of_members(members: MemberDays, futures: int) -> FloatArray:
    """As many members as there are futures, off their mean; shape (2, futures, days)."""
    both = np.array([members.tmin_c, members.tmax_c])
    warmth = both.mean(axis=(0, 2)).argsort(kind="stable")
    count = len(warmth)
    evenly = ((np.arange(futures) + 0.5) / futures * count).astype(np.intp)
    # A warm member must not always meet the same past season after it.
    chosen = warmth[evenly][unrelated_order(futures)]
    return np.asarray((both - both.mean(axis=1, keepdims=True))[:, chosen])
