"""Holes in a record: short ones are bridged, the others stay; none is counted as zero heat."""

from __future__ import annotations

import datetime as dt

import numpy as np
from numpy.typing import NDArray

from stagecast.weather.records import DayKind, StationRecord

Hole = tuple[dt.date, dt.date]


def apply(record: StationRecord, bridge_days: int, first: dt.date, last: dt.date) -> StationRecord:
    """Return the record on ``first..last`` with its short holes bridged.

    Parameters
    ----------
    record: left as it is.
    bridge_days: longest hole that is bridged; with 0 none is.
    first, last: both included. A known day before ``first`` may carry one end of a bridge; nothing
        after ``last`` is looked at, so that a forecast "as of" a day cannot see past it.

    Returns
    -------
    StationRecord
        Bridged days are BRIDGED; everything else is as it was.

    Notes
    -----
    Between the known days (OBSERVED or MODEL) a and b around a hole of n days, day k of 1..n is

        t_k = t_a + (t_b - t_a) k / (n + 1)

    for tmin and tmax alike. A hole without a known day on each side is never bridged.
    """
    # A hole that begins before these days is too long, or lies before the first day.
    whole = record.between(first - dt.timedelta(days=bridge_days + 1), last)
    known = _known(whole)
    if known.all():
        return whole.between(first, last)
    ends = np.isin(whole.kind, (DayKind.OBSERVED, DayKind.MODEL)) & known
    for begin, end in _stretches(~known):
        days = end - begin
        inside = begin > 0 and end < whole.days and ends[begin - 1] and ends[end]
        if days > bridge_days or not inside:
            continue
        share = np.arange(1, days + 1) / (days + 1)
        for values in (whole.tmin_c, whole.tmax_c):
            values[begin:end] = values[begin - 1] + (values[end] - values[begin - 1]) * share
        # Rounding must not leave tmin a last digit above tmax.
        np.maximum(whole.tmin_c[begin:end], whole.tmax_c[begin:end], out=whole.tmax_c[begin:end])
        whole.kind[begin:end] = DayKind.BRIDGED
    return whole.between(first, last)


def holes(record: StationRecord, first: dt.date, last: dt.date) -> list[Hole]:
    """List the runs of days without temperatures in ``first..last``, as (first, last) dates."""
    window = record.between(first, last)
    return [
        (first + dt.timedelta(days=begin), first + dt.timedelta(days=end - 1))
        for begin, end in _stretches(~_known(window))
    ]


def _known(record: StationRecord) -> NDArray[np.bool_]:
    """Days with both temperatures; a NaN is a hole whatever the day's kind says."""
    known: NDArray[np.bool_] = (
        (record.kind != DayKind.MISSING) & ~np.isnan(record.tmin_c) & ~np.isnan(record.tmax_c)
    )
    return known


def _stretches(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open index ranges of consecutive marked days."""
    edges = np.diff(np.concatenate(([0], marked.astype(np.int8), [0])))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return [(int(b), int(e)) for b, e in zip(begins, ends, strict=True)]
