"""The only place that touches meteostat: one JSON request in, one JSON answer out.

Run as ``python -m stagecast.weather.sources._meteostat_worker`` by
:mod:`stagecast.weather.sources.meteostat`, in a process that can be killed, because

* meteostat swallows every download error, corrupt files included, and answers with less data:
  its log is the only witness, so any WARNING there makes the whole answer an outage;
* a server that never answers would block it for good;
* its cache serves month-old files and a failed refresh empties it, so it stays off.

Request: ``places`` (each ``latitude``, ``longitude``, ``elevation_m`` or null), ``first_day``,
``last_day`` (ISO dates), ``radius_km``, ``station_limit``, ``socket_timeout_s``,
``largest_answer_mb``; on one line, after which the parent keeps the pipe open for as long as it
lives: when that ends the worker ends too.

Answer: ``outcome`` ("ok", "outage" or "no_station") and ``reason``; if ok also ``attribution``
and ``places``, each with ``elevation_m``, ``stations``, ``notes`` and ``days``: rows of date,
tmin in degC, tmax in degC, "observed" or "model", and measured rain in mm or null.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import logging
import math
import os
import re
import socket
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.error import URLError

from stagecast.base.unfinished import workplace
from stagecast.weather.sources._answer_size import limit_answers

_STATIONS_PER_CALL = 10  # meteostat refuses more
_YEARS_PER_CALL = 30  # meteostat refuses more
_NEARBY_SPARE = 5  # stations looked at per station wanted: many have closed
_CHUNK = 65_536
_CLOSED_FOR_DAYS = 400  # the station list lags behind the data by weeks, never by a year

Json = dict[str, Any]


class NoAnswer(Exception):
    """No usable answer: ``outcome`` and ``reason`` go back to the parent."""

    def __init__(self, outcome: str, reason: str) -> None:
        self.answer = {"outcome": outcome, "reason": reason}
        super().__init__(reason)


class Witness(logging.Handler):
    """Collects what meteostat only says in its log."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep a warning with its cause; a file that does not exist is a missing year."""
        error = record.exc_info[1] if record.exc_info else None
        if isinstance(error, URLError) and isinstance(error.reason, FileNotFoundError):
            return  # file:// has no 404
        cause = f" ({type(error).__name__}: {error})" if error else ""
        self.messages.append(record.getMessage() + cause)

    def check(self) -> None:
        """Refuse to go on once anything was reported."""
        if self.messages:
            more = f" (and {len(self.messages) - 1} more)" if len(self.messages) > 1 else ""
            raise NoAnswer("outage", self.messages[0] + more)


def configure(socket_timeout_s: float) -> None:
    """Set what meteostat reads at import; the addresses stay as the environment has them."""
    os.environ["MS_CACHE_ENABLE"] = "false"
    os.environ["MS_INCLUDE_MODEL_DATA"] = "true"
    os.environ.setdefault("MS_NETWORK_MAX_RETRIES", "0")
    os.environ.setdefault("MS_NETWORK_TIMEOUT", str(math.ceil(socket_timeout_s)))
    # the daily files come through urllib, which knows no other timeout
    socket.setdefaulttimeout(socket_timeout_s)


def answer(request: Json) -> Json:
    """Serve one request."""
    configure(request["socket_timeout_s"])
    limit_answers(request["largest_answer_mb"])
    witness = Witness()
    logging.getLogger("meteostat").addHandler(witness)
    try:
        import meteostat as ms

        witness.check()  # an MS_ variable it could not read
        first, last = (dt.date.fromisoformat(request[key]) for key in ("first_day", "last_day"))
        near = _stations(ms, request, first, last)
        stations = {s["id"]: s for found in near for s in found}
        frame, providers = _daily(ms, list(stations.values()), first, last, witness)
        places = [
            _at_place(ms, place, found, frame, first, last)
            for place, found in zip(request["places"], near, strict=True)
        ]
        witness.check()
    except NoAnswer as refused:
        return refused.answer
    return {
        "outcome": "ok",
        "reason": "",
        "attribution": _attribution(providers),
        "places": places,
    }


def _stations(ms: Any, request: Json, first: dt.date, last: dt.date) -> list[list[Json]]:
    """Stations around every place, in order; errors by their cause, as pandas quotes queries."""
    try:
        _ensure_station_list(ms)
    except Exception as error:
        raise NoAnswer("outage", f"no usable station list ({error.__cause__ or error})") from error
    try:
        return [_nearby(ms, place, request, first, last) for place in request["places"]]
    except NoAnswer:
        raise
    except Exception as error:
        damaged = f"{ms.config.stations_db_file} cannot be used ({error.__cause__ or error})"
        step = "delete that file, and a new list is fetched"
        raise NoAnswer("outage", f"no usable station list: {damaged}; {step}") from error


def _ensure_station_list(ms: Any) -> None:
    """Fetch the station list when it is absent or old, and put it in place only when whole.

    meteostat writes straight into the final file: a process killed half-way would leave a
    broken list that counts as fresh for a month.
    """
    from meteostat.core.cache import cache_service

    config = ms.config
    target = Path(config.stations_db_file)
    if target.exists() and not cache_service.is_stale(str(target), config.stations_db_ttl):
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    with workplace(target.parent) as place:
        part = place / target.name
        config.stations_db_file = str(part)
        try:
            ms.stations.query("SELECT count(*) FROM stations")
            part.replace(target)
        finally:
            config.stations_db_file = str(target)


def _nearby(ms: Any, place: Json, request: Json, first: dt.date, last: dt.date) -> list[Json]:
    """Stations around a place, nearest first, without those known to have nothing then."""
    radius_m, limit = round(request["radius_km"] * 1000), request["station_limit"]
    point = ms.Point(place["latitude"], place["longitude"])
    frame = ms.stations.nearby(point, radius=radius_m, limit=limit * _NEARBY_SPARE)
    found = [{"id": str(i), **row} for i, row in frame.to_dict("index").items()]
    inventory = ms.stations.inventory([s["id"] for s in found]).df if found else None
    rows = [] if inventory is None else inventory.reset_index().to_dict("records")
    useful = [s for s in found if _may_have_days(s["id"], rows, first, last)][:limit]
    if not useful:
        where = f"{place['latitude']:.2f}, {place['longitude']:.2f}"
        raise NoAnswer(
            "no_station",
            f"no station with temperatures within {request['radius_km']:g} km of {where}",
        )
    return [{**s, "elevation": _known(s["elevation"])} for s in useful]


def _may_have_days(station: str, rows: list[Json], first: dt.date, last: dt.date) -> bool:
    """False only when the inventory says: no temperatures, or none near these days."""
    own = [row for row in rows if row["station"] == station]
    since = (first - dt.timedelta(days=_CLOSED_FOR_DAYS)).isoformat()
    return not own or any(
        row["parameter"] in ("temp", "tmin", "tmax")
        and not (isinstance(row["start"], str) and row["start"] > last.isoformat())
        and not (isinstance(row["end"], str) and row["end"] < since)
        for row in own
    )


def _daily(
    ms: Any, stations: list[Json], first: dt.date, last: dt.date, witness: Witness
) -> tuple[Any, list[Any]]:
    """Daily rows of all stations (index: station, time, source; None: no row), and providers."""
    import pandas as pd
    from meteostat.providers.index import DEFAULT_PROVIDERS

    fields = ("id", "name", "country", "latitude", "longitude", "elevation", "timezone")
    wanted = [ms.Station(**{key: s[key] for key in fields}) for s in stations]
    frames, seen = [], set()
    for i in range(0, len(wanted), _STATIONS_PER_CALL):
        for start, end in _spans(first, last):
            frame, names = _series(ms, wanted[i : i + _STATIONS_PER_CALL], start, end, witness)
            seen.update(names)
            frames.append(frame)
    frames = [frame for frame in frames if frame is not None]
    providers = [provider for provider in DEFAULT_PROVIDERS if str(provider.id) in seen]
    return (pd.concat(frames).sort_index() if frames else None), providers


def _series(
    ms: Any, stations: list[Any], start: dt.date, end: dt.date, witness: Witness
) -> tuple[Any, list[Any]]:
    """One call to meteostat, which stumbles over text among the temperatures: say in which file."""
    parameters = [ms.Parameter.TMIN, ms.Parameter.TMAX, ms.Parameter.PRCP]
    try:
        series = ms.daily(stations, start, end, parameters=parameters)
        witness.check()
        return series.fetch(squash=False), series.providers
    except NoAnswer:
        raise
    except Exception as error:
        if len(stations) > 1:
            for station in stations:
                _series(ms, [station], start, end, witness)
        names = ", ".join(f'"{s.id}" ({s.name})' for s in stations)
        file = f"the file of station {names} for {start} to {end}"
        raise NoAnswer("outage", f"{file} cannot be read as temperatures ({error})") from error


def _spans(first: dt.date, last: dt.date) -> Iterator[tuple[dt.date, dt.date]]:
    """Split a period into pieces of whole years that meteostat accepts."""
    for year in range(first.year, last.year + 1, _YEARS_PER_CALL):
        end = dt.date(year + _YEARS_PER_CALL - 1, 12, 31)
        yield max(first, dt.date(year, 1, 1)), min(last, end)


def _at_place(
    ms: Any, place: Json, near: list[Json], frame: Any, first: dt.date, last: dt.date
) -> Json:
    """Interpolate the nearby stations to a place; days without both temperatures are left out."""
    import pandas as pd

    elevation_m, notes = _elevation(place["elevation_m"], near)
    result: Json = {"elevation_m": elevation_m, "notes": notes, "stations": [], "days": []}
    if frame is None:
        return result
    own = frame[frame.index.get_level_values("station").isin([s["id"] for s in near])]
    with_days = set(own.index.get_level_values("station"))
    used = [s for s in near if s["id"] in with_days]
    if not used:
        return result
    # a station of unknown height counts as level with the place: meteostat would drop its values
    table = pd.DataFrame(used).set_index("id")
    table["elevation"] = table["elevation"].astype(float).fillna(elevation_m or 0.0)
    midnight = dt.time()
    series = ms.TimeSeries(
        ms.Granularity.DAILY,
        table,
        own,
        start=dt.datetime.combine(first, midnight),
        end=dt.datetime.combine(last, midnight),
        multi_station=True,
    )
    point = ms.Point(place["latitude"], place["longitude"], elevation_m)
    days = ms.interpolate(series, point).fetch(sources=True)
    if days is None:
        return result
    result["days"], crossed = _rows(days)
    if crossed:
        notes.append(f"days with an interpolated minimum above the maximum, left out: {crossed}")
    result["stations"] = [
        {
            "id": s["id"],
            "name": s["name"],
            "distance_km": round(s["distance"] / 1000, 1),
            "elevation_m": s["elevation"],
        }
        for s in used
    ]
    return result


def _elevation(elevation_m: float | None, near: list[Json]) -> tuple[float | None, list[str]]:
    """The place's elevation, or a guess from the stations around it, and a note if guessed."""
    if elevation_m is not None:
        return elevation_m, []
    # a metre keeps a station at the very place from dividing by nothing
    known = [
        (s["elevation"], 1 / max(s["distance"], 1.0)) for s in near if s["elevation"] is not None
    ]
    if not known:
        return None, ["elevation unknown, of the place and of every station: no height correction"]
    guess = math.fsum(e * w for e, w in known) / math.fsum(w for _, w in known)
    return round(guess, 1), [
        f"elevation unknown: taken as {guess:.0f} m, the mean of the stations nearby "
        f"({len(known)}), weighted by inverse distance"
    ]


def _rows(days: Any) -> tuple[list[list[Any]], int]:
    """Rows of the answer, and how many days were left out because min and max crossed."""
    tmin = days["tmin"].to_numpy(dtype=float, na_value=math.nan)
    tmax = days["tmax"].to_numpy(dtype=float, na_value=math.nan)
    observing = _observing_providers()
    rows, crossed = [], 0
    rain = _rain(days, observing)
    columns = (days.index, tmin, tmax, days["tmin_source"], days["tmax_source"], rain)
    for time, low, high, low_source, high_source, rain_mm in zip(*columns, strict=True):
        if low > high:
            crossed += 1
        elif low <= high:  # false for nan
            sources = set(re.split(r"[\s,]+", f"{low_source} {high_source}"))
            kind = "observed" if sources <= observing else "model"
            rows.append([time.date().isoformat(), float(low), float(high), kind, rain_mm])
    return rows, crossed


def _rain(days: Any, observing: set[str]) -> list[float | None]:
    """Rain of each day in mm; None where it was not measured."""
    if "prcp" not in days or "prcp_source" not in days:
        return [None] * len(days)
    amounts = days["prcp"].to_numpy(dtype=float, na_value=math.nan)
    return [
        float(amount)
        if amount >= 0.0 and set(re.split(r"[\s,]+", str(source))) <= observing
        else None
        for amount, source in zip(amounts, days["prcp_source"], strict=True)
    ]


def _observing_providers() -> set[str]:
    """Providers whose grade vouches for a measurement; an unknown one is taken for a model."""
    from meteostat.enumerations import Grade
    from meteostat.providers.index import DEFAULT_PROVIDERS

    grades = (Grade.RECORD, Grade.OBSERVATION)
    return {str(provider.id) for provider in DEFAULT_PROVIDERS if provider.grade in grades}


def _attribution(providers: list[Any]) -> list[str]:
    """Whom to name for the data, with licences, in a stable order."""
    parts = []
    for provider in providers:
        licence = provider.license
        text = provider.name
        if licence is not None:
            owner = f", {licence.attribution}" if licence.attribution else ""
            text += f"{owner} ({licence.name or 'licence not stated'})"
            text += "" if licence.commercial else " NOT FOR COMMERCIAL USE"
        parts.append(text)
    return ["Meteostat (CC BY 4.0)", *sorted(parts)]


def _known(value: Any) -> float | None:
    """A finite number, or None for any way of writing an unknown one."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _line() -> bytes:
    """The request: read from the pipe itself, so that nothing else holds it when we end."""
    line = b""
    while not line.endswith(b"\n") and (more := os.read(0, _CHUNK)):
        line += more
    return line


def _end_with_parent() -> None:
    """End this process when the pipe from its parent does, however that ended."""
    while os.read(0, _CHUNK):
        pass
    os._exit(1)


def main() -> None:
    """Read the request, write the answer; whatever else prints goes to stderr."""
    request = json.loads(_line())
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.redirect_stdout(sys.stderr):
        result = answer(request)
    json.dump(result, sys.stdout, allow_nan=False)


if __name__ == "__main__":
    main()
