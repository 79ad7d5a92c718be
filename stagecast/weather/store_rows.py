"""Rows of the weather store: made from records, and believed only after a look at every value.

SQLite keeps whatever it is given where a table is not STRICT, and the file may have been edited.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from stagecast.weather.records import DayKind, Station, StationRecord

Row = tuple[Any, ...]

_KINDS = {DayKind.OBSERVED: "observed", DayKind.MODEL: "model"}
_CODES = {text: kind for kind, text in _KINDS.items()}


def station_row(station: Station) -> Row:
    """Row of the table ``station``; an unknown elevation is NULL."""
    elevation_m = station.elevation_m if math.isfinite(station.elevation_m) else None
    return (station.station, station.name, station.latitude, station.longitude, elevation_m)


def day_rows(record: StationRecord, fetched_on: dt.date, source: str) -> Iterator[Row]:
    """Rows of the table ``day``; derived days would pass for history later, so refuse them.

    Raises
    ------
    ValueError
        A day is neither missing, observed nor model, or lacks a finite temperature.
    """
    for i in np.flatnonzero(record.kind != DayKind.MISSING).tolist():
        date = record.first_day + dt.timedelta(days=i)
        kind = _KINDS.get(DayKind(record.kind[i]))
        tmin_c, tmax_c = float(record.tmin_c[i]), float(record.tmax_c[i])
        if kind is None or not (math.isfinite(tmin_c) and math.isfinite(tmax_c)):
            raise ValueError(
                f"station {record.station.station}, {date}: only observed and model days with "
                f"two temperatures are stored, not {DayKind(record.kind[i]).name} "
                f"{tmin_c} {tmax_c}"
            )
        day, fetched = date.isoformat(), record.fetched_on.get(i, fetched_on).isoformat()
        yield (record.station.station, day, tmin_c, tmax_c, kind, source, fetched)


def record_of(rows: Sequence[Row]) -> StationRecord:
    """Lay the stored days of one station on a calendar without holes.

    Parameters
    ----------
    rows : sequence of tuple
        At least one, in date order: station, name, latitude, longitude, elevation in m or None,
        date, tmin and tmax in degC, kind, date of the fetch.

    Raises
    ------
    ValueError
        A value that a store of ours cannot hold, with what it stands for.
    """
    station, name, latitude, longitude, elevation_m = rows[0][:5]
    place = Station(
        text_of(station, "a station"),
        _number(latitude, "a latitude", largest=90.0),
        _number(longitude, "a longitude", largest=180.0),
        math.nan if elevation_m is None else _number(elevation_m, "an elevation"),
        text_of(name, "a station's name"),
    )
    dates = [date_of(row[5]) for row in rows]
    for date, following in itertools.pairwise(dates):
        if date == following:
            raise ValueError(f"{date} stands twice for station {place.station}")
    index = [(date - dates[0]).days for date in dates]
    tmin_c, tmax_c = np.full(index[-1] + 1, np.nan), np.full(index[-1] + 1, np.nan)
    kind = np.full(index[-1] + 1, DayKind.MISSING, dtype=np.int8)
    tmin_c[index] = [_number(row[6], "a minimum temperature") for row in rows]
    tmax_c[index] = [_number(row[7], "a maximum temperature") for row in rows]
    kind[index] = [_kind(row[8]) for row in rows]
    fetched = {i: date_of(row[9]) for i, row in zip(index, rows, strict=True)}
    of_models = {i: day for i, day in fetched.items() if kind[i] == DayKind.MODEL}
    return StationRecord(place, dates[0], tmin_c, tmax_c, kind, of_models)


def date_of(value: object) -> dt.date:
    """A date written as we write it, or ValueError: other ISO forms do not sort as dates do."""
    try:
        date = dt.date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        date = None
    if date is None or date.isoformat() != value:
        raise _misplaced(value, "a date")
    return date


def text_of(value: object, what: str) -> str:
    """A text, or ValueError."""
    if not isinstance(value, str):
        raise _misplaced(value, what)
    return value


def _number(value: object, what: str, *, largest: float = math.inf) -> float:
    """A finite number of at most that size, or ValueError."""
    if not isinstance(value, int | float) or not math.isfinite(value) or abs(value) > largest:
        raise _misplaced(value, what)
    return float(value)


def _kind(value: object) -> DayKind:
    kind = _CODES.get(value) if isinstance(value, str) else None
    if kind is None:
        raise _misplaced(value, "'observed' or 'model'")
    return kind


def _misplaced(value: object, what: str) -> ValueError:
    shown = repr(value)
    shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
    return ValueError(f"{'nothing' if value is None else shown} stands where {what} belongs")
