"""Daily temperatures from meteostat, one record per grid cell, behind a deadline.

meteostat and pandas live only in the worker process
(:mod:`stagecast.weather.sources._meteostat_worker`), which this module starts, feeds, waits for
and, at the deadline, kills with everything it started.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import math
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from stagecast.base.errors import NoWeatherThere, WeatherOutage
from stagecast.knowledge.rules import WeatherLimits
from stagecast.weather.records import DayKind, FieldSite, Station, StationRecord, WeatherRequest
from stagecast.weather.sources import network_source
from stagecast.weather.sources.station_csv import ELEVATIONS_M

SERVICE = "meteostat"
_AGAIN = "the stored days remain in use; refresh again later"
_WORKER = ("-P", "-m", "stagecast.weather.sources._meteostat_worker")
_ROOT = Path(__file__).resolve().parents[3]
_KINDS = {"observed": DayKind.OBSERVED, "model": DayKind.MODEL}


@dataclass(frozen=True, slots=True)
class Cell:
    """A square of the weather grid, named after its centre.

    ``elevation_m`` is the mean over the places in it that know theirs, NaN if none does; one
    that no place on earth has counts as unknown.
    """

    cell: str
    latitude: float
    longitude: float
    elevation_m: float = math.nan


def cell_at(latitude: float, longitude: float, *, cell_deg: float) -> Cell:
    """Find the grid cell around a point.

    Its centre is the multiple of ``cell_deg`` nearest to the point; ``cell_deg`` is at least 0.01,
    the precision of a cell's name.
    """
    centre_lat = _clamp(_nearest_multiple(latitude, cell_deg), 90.0)
    centre_lon = _clamp(_nearest_multiple(longitude, cell_deg), 180.0)
    return Cell(f"cell_{centre_lat:.2f}_{centre_lon:.2f}", centre_lat, centre_lon)


def cells_of(places: Sequence[FieldSite], *, cell_deg: float) -> list[Cell]:
    """Return the cells that hold ``places``, each once, sorted by name."""
    heights: dict[str, list[float]] = {}
    cells: dict[str, Cell] = {}
    for place in places:
        cell = cell_at(place.latitude, place.longitude, cell_deg=cell_deg)
        cells[cell.cell] = cell
        known = [place.elevation_m] if _on_earth(place.elevation_m) else []
        heights.setdefault(cell.cell, []).extend(known)
    return [
        Cell(name, cells[name].latitude, cells[name].longitude, _mean(heights[name]))
        for name in sorted(cells)
    ]


class Meteostat:
    """Asks meteostat: a :class:`~stagecast.weather.sources.WeatherService`.

    Parameters
    ----------
    deadline_s: seconds after which the whole fetch is given up.
    radius_km: how far from a cell's centre a station may be.
    station_limit: how many stations a cell is interpolated from at most.
    cell_deg: side of a grid cell in degrees.
    elevation_doubtful_m: from this difference on between a cell and the mean of its stations, in m,
        a note.
    largest_answer_mb: of one answer, as it is sent and as it is unpacked.
    environment: optional; where the ``MS_*`` settings of meteostat come from; the process
        environment if absent.
    python: the interpreter that runs the worker.
    """

    service = SERVICE

    def __init__(
        self,
        *,
        deadline_s: float,
        radius_km: float,
        station_limit: int,
        cell_deg: float,
        elevation_doubtful_m: float,
        largest_answer_mb: float,
        environment: Mapping[str, str] | None = None,
        python: str = sys.executable,
    ) -> None:
        if cell_deg < 0.01:
            raise ValueError("cell_deg must be at least 0.01, or two cells would share a name")
        self.deadline_s = deadline_s
        self.radius_km = radius_km
        self.station_limit = station_limit
        self.cell_deg = cell_deg
        self.elevation_doubtful_m = elevation_doubtful_m
        self.largest_answer_mb = largest_answer_mb
        self.environment = os.environ if environment is None else environment
        self.python = python
        self.attribution: tuple[str, ...] = ()
        self.notes: Mapping[str, tuple[str, ...]] = {}

    @classmethod
    def within(cls, limits: WeatherLimits) -> Meteostat:
        """The service with the usual limits."""
        return cls(
            deadline_s=float(limits.deadline),
            radius_km=float(limits.nearby_radius),
            station_limit=int(limits.nearby_limit),
            cell_deg=float(limits.cell_deg),
            elevation_doubtful_m=float(limits.elevation_doubtful),
            largest_answer_mb=float(limits.largest_answer),
        )

    def cells(self, sites: Sequence[FieldSite]) -> dict[str, tuple[FieldSite, ...]]:
        """Cell that will speak for sites -> these sites, by name."""
        held: dict[str, tuple[FieldSite, ...]] = {}
        for site in sites:
            cell = cell_at(site.latitude, site.longitude, cell_deg=self.cell_deg).cell
            held[cell] = (*held.get(cell, ()), site)
        return dict(sorted(held.items()))

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """Fetch the cells that hold the places asked for.

        Returns
        -------
        list of StationRecord
            One per cell, sorted by station (the cell's name), on exactly the days asked for:
            OBSERVED, MODEL (any forecast or unknown provider took part) or MISSING.

        Raises
        ------
        WeatherOutage
            Deadline passed, worker or service failed, any file unreadable, no station near a
            cell, or a cell without a single day. Never a partial answer.
        """
        cells = cells_of(request.places, cell_deg=self.cell_deg)
        if not cells:
            return []
        answer = self._ask(cells, request)
        try:
            found = list(zip(cells, answer["places"], strict=True))
            records = [_record(cell, place, request) for cell, place in found]
            notes = {
                cell.cell: (
                    *self._unearthly(cell, request.places),
                    *place["notes"],
                    *self._uphill(cell, place["stations"]),
                )
                for cell, place in found
            }
            attribution = tuple(answer["attribution"])
        except (KeyError, TypeError, ValueError) as error:
            raise WeatherOutage(
                SERVICE, f"the answer makes no sense ({error})", next_step=_AGAIN
            ) from error
        for record in records:
            if not record.kind.any():
                raise NoWeatherThere(
                    SERVICE,
                    f"no day with temperatures for {record.station.station} from "
                    f"{request.first_day} to {request.last_day}",
                    next_step=_AGAIN,
                )
        self.attribution, self.notes = attribution, notes
        return records

    def _unearthly(self, cell: Cell, places: Sequence[FieldSite]) -> Iterator[str]:
        """Elevations in a cell that were ignored."""
        for place in places:
            own = cell_at(place.latitude, place.longitude, cell_deg=self.cell_deg)
            if own.cell == cell.cell and not (
                math.isnan(place.elevation_m) or _on_earth(place.elevation_m)
            ):
                low, high = ELEVATIONS_M
                yield (
                    f"an elevation of {place.elevation_m:g} m is outside {low:g} to {high:g} m "
                    "and taken as unknown"
                )

    def _uphill(self, cell: Cell, stations: Sequence[Mapping[str, Any]]) -> Iterator[str]:
        """A cell far above or below its stations: the correction would hide a typing error."""
        known = [float(s["elevation_m"]) for s in stations if s["elevation_m"] is not None]
        apart_m = cell.elevation_m - _mean(known)
        if abs(apart_m) > self.elevation_doubtful_m:  # false for nan
            yield (
                f"the fields lie at {cell.elevation_m:.0f} m, {abs(apart_m):.0f} m "
                f"{'above' if apart_m > 0 else 'below'} the mean of the stations used, and "
                "temperatures are corrected for that; if elevation_m is wrong (feet for metres?), "
                "correct it, move the weather store away and fetch again"
            )

    def _ask(self, cells: Sequence[Cell], request: WeatherRequest) -> dict[str, Any]:
        """One worker run: the answer of outcome "ok", or WeatherOutage."""
        question = {
            "places": [
                {
                    "latitude": cell.latitude,
                    "longitude": cell.longitude,
                    "elevation_m": cell.elevation_m if math.isfinite(cell.elevation_m) else None,
                }
                for cell in cells
            ],
            "first_day": request.first_day.isoformat(),
            "last_day": request.last_day.isoformat(),
            "radius_km": self.radius_km,
            "station_limit": self.station_limit,
            "largest_answer_mb": self.largest_answer_mb,
            # one silent server must leave time to say which file it was
            "socket_timeout_s": self.deadline_s / 2,
        }
        text = self._run(json.dumps(question))
        try:
            answer = json.loads(text)
            outcome, reason = answer["outcome"], str(answer["reason"])
        except (KeyError, TypeError, ValueError) as error:
            raise WeatherOutage(
                SERVICE, f"what it answered is not readable ({error})", next_step=_AGAIN
            ) from error
        if outcome == "no_station":
            step = "widen the search radius or add a station file; the stored days remain in use"
            raise NoWeatherThere(SERVICE, reason, next_step=step)
        if outcome != "ok":
            raise WeatherOutage(SERVICE, reason, next_step=_AGAIN)
        return dict(answer)

    def _run(self, question: str) -> str:
        """Run the worker to its end or to the deadline; return what it printed.

        The pipe by which it is asked stays open until then: where we are killed the system closes
        it, and the worker ends.
        """
        end, ours = os.pipe()
        with os.fdopen(ours, "wb", buffering=0) as pipe:
            try:
                process = self._start(end)
            finally:
                os.close(end)
            asking = threading.Thread(target=_write, args=(pipe, f"{question}\n".encode()))
            with process:
                try:
                    asking.start()
                    out, err = process.communicate(timeout=self.deadline_s)
                except subprocess.TimeoutExpired:
                    _kill(process)
                    raise WeatherOutage(
                        SERVICE, f"no answer within {self.deadline_s:g} seconds", next_step=_AGAIN
                    ) from None
                except BaseException:
                    _kill(process)
                    raise
            asking.join()
        if process.returncode != 0:
            last = (err.strip().splitlines() or ["no message"])[-1]
            raise WeatherOutage(
                SERVICE,
                f"the program that asks it failed (code {process.returncode}: {last})",
                next_step=_AGAIN,
            )
        return out

    def _start(self, stdin: int) -> subprocess.Popen[str]:
        try:
            return subprocess.Popen(
                [self.python, *_WORKER],
                stdin=stdin,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                encoding="utf-8",
                errors="replace",
                env=self._worker_environment(),
                start_new_session=True,
            )
        except OSError as error:
            raise WeatherOutage(
                SERVICE, f"the program that asks it did not start ({error})", next_step=_AGAIN
            ) from error

    def _worker_environment(self) -> dict[str, str]:
        """The process environment with only the ``MS_*`` settings meant for this source."""
        own = {key: value for key, value in os.environ.items() if not key.startswith("MS_")}
        own |= {key: value for key, value in self.environment.items() if key.startswith("MS_")}
        own["PYTHONIOENCODING"] = "utf-8"
        own["PYTHONPATH"] = os.pathsep.join(filter(None, [str(_ROOT), own.get("PYTHONPATH", "")]))
        return own


def _write(pipe: BinaryIO, data: bytes) -> None:
    """Write all of it, unless the reader ended before."""
    with contextlib.suppress(OSError):
        while data:
            data = data[pipe.write(data) :]


def _kill(process: subprocess.Popen[str]) -> None:
    """Kill the worker and its children: whoever keeps the pipes open would keep us waiting."""
    if sys.platform == "win32":
        subprocess.run(["taskkill", "/T", "/F", "/PID", str(process.pid)], check=False)
    else:
        # the worker leads its own session, so its group is its pid
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)


def _record(cell: Cell, place: Mapping[str, Any], request: WeatherRequest) -> StationRecord:
    """Put one cell's days on the calendar asked for; ValueError when they do not belong there."""
    size = (request.last_day - request.first_day).days + 1
    tmin_c, tmax_c = np.full(size, np.nan), np.full(size, np.nan)
    kind = np.full(size, DayKind.MISSING, dtype=np.int8)
    rain_mm = np.full(size, np.nan)
    for date, low, high, what, *rain in place["days"]:
        index = (dt.date.fromisoformat(date) - request.first_day).days
        if not (0 <= index < size and -math.inf < low <= high < math.inf):
            raise ValueError(f"{date}: {low} to {high} degC")
        tmin_c[index], tmax_c[index], kind[index] = low, high, _KINDS[what]
        if rain and rain[0] is not None:
            rain_mm[index] = max(float(rain[0]), 0.0)
    used = [f"{s['name']} ({s['distance_km']:g} km)" for s in place["stations"]]
    height = math.nan if place["elevation_m"] is None else float(place["elevation_m"])
    name = f"interpolated from {', '.join(used)}"
    station = Station(cell.cell, cell.latitude, cell.longitude, height, name)
    known = None if np.isnan(rain_mm).all() else rain_mm
    return StationRecord(station, request.first_day, tmin_c, tmax_c, kind, rain_mm=known)


def _nearest_multiple(value: float, step: float) -> float:
    # rounding drops the noise of the product; adding zero turns -0.0 into 0.0
    return round(math.floor(value / step + 0.5) * step, 6) + 0.0


def _clamp(value: float, limit: float) -> float:
    return max(-limit, min(limit, value))


def _on_earth(elevation_m: float) -> bool:
    return ELEVATIONS_M[0] <= elevation_m <= ELEVATIONS_M[1]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values) if values else math.nan


SOURCE = network_source(Meteostat.within)
