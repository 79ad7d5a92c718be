"""Bring the weather store up to date: all of an answer that can be right, or nothing."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stagecast.knowledge.rules import WeatherLimits
from stagecast.weather.doubt import Doubt, doubts
from stagecast.weather.records import DayKind, StationRecord, WeatherRequest
from stagecast.weather.sources import WeatherService
from stagecast.weather.store import WeatherStore


@dataclass(frozen=True, slots=True)
class RefreshReport:
    """What a refresh did.

    Attributes
    ----------
    records: station records fetched.
    held: why those of them that are not believed are held back; the others are stored.
    new_observed_days: days stored as observed now that were not before.
    model_days: forecast days among those fetched.
    last_observed: station -> date of its last observed day in the store, None if it has none yet.
    attribution, notes
        As the service has them.
    """

    records: int
    held: tuple[Doubt, ...]
    new_observed_days: int
    model_days: int
    last_observed: dict[str, dt.date | None]
    attribution: tuple[str, ...]
    notes: Mapping[str, tuple[str, ...]]


def refresh(
    store: WeatherStore,
    service: WeatherService,
    request: WeatherRequest,
    *,
    fetched_on: dt.date,
    limits: WeatherLimits,
) -> RefreshReport:
    """Fetch, then store in one transaction.

    Raises
    ------
    WeatherOutage
        From the service; the store has not been touched.
    StoreError
        The answer could not be stored; nothing of it was, but for what is held back.

    Notes
    -----
    An "observed" day after ``fetched_on`` has not happened yet: it is stored as model.
    """
    records = [_not_from_the_future(record, fetched_on) for record in service.fetch(request)]
    stored = {record.station.station: record for record in store.load()}
    held = doubts(records, stored, limits=limits)
    sound = [record for record in records if record.station.station not in held]
    if held:
        doubtful = [(r, held[r.station.station]) for r in records if r.station.station in held]
        store.hold(doubtful, fetched_on=fetched_on, source=service.service)
    gained = store.save(sound, fetched_on=fetched_on, source=service.service)
    last = store.last_observed()
    return RefreshReport(
        records=len(records),
        held=tuple(held.values()),
        new_observed_days=gained,
        model_days=sum(int((record.kind == DayKind.MODEL).sum()) for record in records),
        last_observed={r.station.station: last.get(r.station.station) for r in records},
        attribution=service.attribution,
        notes=service.notes,
    )


def _not_from_the_future(record: StationRecord, today: dt.date) -> StationRecord:
    """Call every observed day after ``today`` what it must be: a forecast."""
    ahead = np.arange(record.days) > (today - record.first_day).days
    kind = record.kind.copy()
    kind[ahead & (kind == DayKind.OBSERVED)] = DayKind.MODEL
    return dataclasses.replace(record, kind=kind)
