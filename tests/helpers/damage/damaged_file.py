"""Our SQLite files with damage in them: bytes changed, blocks lost, letters that are none."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
from log_builder import sets_of, visit

from stagecast.base.errors import StoreError
from stagecast.season.log.store import LogStore
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.store import WeatherStore

DAY = dt.date(2026, 7, 1)


def make_log(path: Path) -> None:
    """A log of thirty visits."""
    visits = [visit(DAY, sets_of("stink-bugs", (1, 2)), field_id=f"F{n:02}") for n in range(30)]
    LogStore(path).add(visits, entered_at=dt.datetime(2026, 7, 2, 8))


def make_store(path: Path) -> None:
    """Two stations with a year of invented days, the last of them a forecast."""
    kind = np.full(400, DayKind.OBSERVED, dtype=np.int8)
    kind[-8:] = DayKind.MODEL
    low = np.linspace(0.0, 20.0, 400)
    made = [StationRecord(Station(s, 35.0, -90.0), DAY, low, low + 10, kind) for s in "ab"]
    WeatherStore(path).save(made, fetched_on=DAY + dt.timedelta(days=390), source="invented")


def read_log(path: Path) -> object:
    """All of a log."""
    return LogStore(path).all_entries()


def read_store(path: Path) -> object:
    """All of a weather store."""
    return WeatherStore(path).load()


KINDS = {"log": (make_log, read_log), "weather": (make_store, read_store)}


def damaged(data: bytes, draw: random.Random) -> bytes:
    """Some bytes changed, a block overwritten, the end cut off, or a letter that is none."""
    found = bytearray(data)
    place = draw.randrange(len(found))
    match draw.choice(["bytes", "bit", "block", "cut", "text"]):
        case "bytes":
            for _ in range(draw.choice([1, 3, 10])):
                found[draw.randrange(len(found))] = draw.randrange(256)
        case "bit":
            found[place] ^= 1 << draw.randrange(8)
        case "block":
            length = len(found[place : place + draw.choice([16, 512, 4096])])
            found[place : place + length] = draw.randbytes(length)
        case "cut":
            del found[place:]
        case "text":
            letters = [i for i, byte in enumerate(found) if 48 <= byte < 123]
            found[draw.choice(letters)] = draw.choice([0xFF, 0xC3, 0x30, 0x39, 0x00])
    return bytes(found)


def refused(read: Callable[[Path], object], path: Path) -> str | None:
    """The sentence in which a file is refused; None where it is read."""
    try:
        read(path)
    except StoreError as error:
        return error.sentences()[0]
    return None
