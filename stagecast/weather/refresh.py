"""Bring the weather store up to date: all of it, or not at all."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from stagecast.weather.records import DayKind, StationRecord, WeatherRequest, WeatherSource
from stagecast.weather.store import WeatherStore


@runtime_checkable
class Credited(Protocol):
    """A source that says who it is, whom to name for its data, and what it had to assume."""

    service: str
    attribution: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RefreshReport:
    """What a refresh did.

    Attributes
    ----------
    records : int
        Station records fetched.
    new_observed_days : int
        Days stored as observed now that were not before.
    model_days : int
        Forecast days among those fetched.
    last_observed : dict
        Station -> date of its last observed day in the store, None if it has none yet.
    attribution : str
        Whom to name for the data, with licences; empty when the source does not say.
    notes : tuple of str
        What the source had to assume.
    """

    records: int
    new_observed_days: int
    model_days: int
    last_observed: dict[str, dt.date | None]
    attribution: str
    notes: tuple[str, ...]


def refresh(
    store: WeatherStore, source: WeatherSource, request: WeatherRequest, *, fetched_on: dt.date
) -> RefreshReport:
    """Fetch, then store in one transaction.

    Parameters
    ----------
    store : WeatherStore
        Where the days go.
    source : WeatherSource
        Where they come from.
    request : WeatherRequest
        Which places and days.
    fetched_on : date
        Today, as the caller knows it.

    Returns
    -------
    RefreshReport

    Raises
    ------
    WeatherOutage
        From the source; the store has not been touched.
    StoreError
        The answer could not be stored; nothing of it was.

    Notes
    -----
    An "observed" day after ``fetched_on`` has not happened yet: it is stored as model.
    """
    records = [_not_from_the_future(record, fetched_on) for record in source.fetch(request)]
    credited = source if isinstance(source, Credited) else None
    service = credited.service if credited else type(source).__name__
    gained = store.save(records, fetched_on=fetched_on, source=service)
    last = store.last_observed()
    return RefreshReport(
        records=len(records),
        new_observed_days=gained,
        model_days=sum(int((record.kind == DayKind.MODEL).sum()) for record in records),
        last_observed={r.station.station: last.get(r.station.station) for r in records},
        attribution=credited.attribution if credited else "",
        notes=credited.notes if credited else (),
    )


def _not_from_the_future(record: StationRecord, today: dt.date) -> StationRecord:
    """Call every observed day after ``today`` what it must be: a forecast."""
    ahead = np.arange(record.days) > (today - record.first_day).days
    kind = record.kind.copy()
    kind[ahead & (kind == DayKind.OBSERVED)] = DayKind.MODEL
    return dataclasses.replace(record, kind=kind)
