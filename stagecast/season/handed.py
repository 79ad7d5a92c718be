"""When letters were handed to growers, as a person noted it, in ``letters.json`` of the folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from pathlib import Path

from pydantic import BaseModel

from stagecast.season.kept import keep, read_kept

FILE = "letters.json"

Handed = Mapping[str, tuple[dt.date, ...]]
"""Grower -> the days on which a letter went to them, the oldest first."""


class _File(BaseModel):
    letters: dict[str, tuple[dt.date, ...]] = {}


def read_handed(folder: Path) -> Handed:
    """What was noted in a folder; nothing where there is no file.

    Raises
    ------
    StoreError
        When the file is damaged.
    """
    step = "delete it: it only says when letters went out"
    return read_kept(folder / FILE, _File, damaged_step=step).letters


def keep_handed(folder: Path, growers: Iterable[str], day: dt.date) -> None:
    """Note that letters went to growers on a day; twice is as good as once.

    Raises
    ------
    StoreError
    """
    known = dict(read_handed(folder))
    for grower in growers:
        known[grower] = tuple(sorted({*known.get(grower, ()), day}))
    keep(folder / FILE, _File(letters=known))
