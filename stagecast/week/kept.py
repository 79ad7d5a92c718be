"""A season on a day with its route, kept for the next command of the morning.

It is found again by all that it was made of: every file that takes part, byte for byte, the day,
our own code and knowledge, and the libraries that work it out. Whatever differs, it is made anew.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections.abc import Callable, Iterator
from hashlib import blake2b
from importlib.util import find_spec
from pathlib import Path

import stagecast
from stagecast.base.packed import packed, unpacked
from stagecast.base.shelf import Shelf
from stagecast.season import handed, mornings, outbox, told
from stagecast.season.settings.own_knowledge import PESTS_FOLDER
from stagecast.visits.season_day import SeasonDay
from stagecast.weather.member_files import WEATHER_FOLDER

READ = (".toml", ".csv", ".json", ".geojson", ".sqlite", ".sqlite-wal", ".sqlite-journal")
"""Endings of the files of a season folder that may take part, also of what SQLite keeps beside."""

WRITTEN = frozenset({mornings.FILE, told.FILE, outbox.FILE, handed.FILE})
"""What commands write beside the season, and no season is made of."""

FOLDERS = ("", PESTS_FOLDER, WEATHER_FOLDER)
"""The season folder and the folders in it whose files take part."""

PACKAGE = Path(stagecast.__file__).parent
LIBRARIES = ("numpy", "pydantic", "pyvrp")


def season_on(
    path: Path,
    *,
    as_of: dt.date,
    shelf: Shelf | None,
    routed: bool,
    also: Callable[[SeasonDay], object] | None = None,
) -> SeasonDay:
    """A season folder on a day, as :meth:`SeasonDay.open` has it, from the shelf where it is there.

    Parameters
    ----------
    shelf: None where nothing is kept.
    routed: whether the route of the season will be asked for; only with it is the season kept.
    also: optional; what else every screen asks of a season, so that it is kept with it.

    Raises
    ------
    SeasonProblems
        With every error of every file.
    """
    name = None if shelf is None else name_of(path, as_of)
    if shelf is None or name is None:
        return SeasonDay.open(path, as_of=as_of)
    found = _taken(shelf, name)
    if found is not None:
        return found
    season = SeasonDay.open(path, as_of=as_of)
    if routed:
        from stagecast.week.morning import work_out

        work_out(season)
        if also is not None:
            also(season)
        whole = packed(season)
        # A file that was changed while it was read would be kept under the wrong name.
        if whole is not None and name == name_of(path, as_of):
            shelf.write(name, whole)
    return season


def kept_season(path: Path, *, as_of: dt.date, shelf: Shelf | None) -> SeasonDay | None:
    """What a command kept of a season folder on a day, as the folder is now; None without it."""
    name = None if shelf is None else name_of(path, as_of)
    return None if shelf is None or name is None else _taken(shelf, name)


def _taken(shelf: Shelf, name: str) -> SeasonDay | None:
    raw = shelf.read(name)
    found = None if raw is None else unpacked(raw)
    return found if isinstance(found, SeasonDay) else None


def name_of(path: Path, as_of: dt.date, *, package: Path = PACKAGE) -> str | None:
    """The name of all that a season on a day is made of; None where a file cannot be read.

    ``package``: where our own code and knowledge lie.
    """
    name = blake2b(digest_size=24)
    made_by = (sys.version, sys.platform, sys.byteorder, *map(_installed, LIBRARIES))
    name.update(repr((str(path), as_of, made_by)).encode("utf-8", "surrogatepass"))
    try:
        for file, raw in (*_folder_content(path), *_package_content(package)):
            name.update(f"\0{file}\0{len(raw)}\0".encode("utf-8", "surrogatepass"))
            name.update(raw)
    except OSError:
        return None
    return name.hexdigest()


def _folder_content(path: Path) -> Iterator[tuple[str, bytes]]:
    for folder in FOLDERS:
        try:
            names = sorted(os.listdir(path / folder))
        except (FileNotFoundError, NotADirectoryError):
            continue
        for name in names:
            file = path / folder / name
            if name.lower().endswith(READ) and name not in WRITTEN and file.is_file():
                yield os.path.join(folder, name), file.read_bytes()


def _package_content(package: Path) -> Iterator[tuple[str, bytes]]:
    for folder, inner, names in os.walk(package):
        inner[:] = sorted(name for name in inner if name != "__pycache__")
        for file in (Path(folder, name) for name in sorted(names)):
            if file.suffix in {".py", ".toml"}:
                yield str(file), file.read_bytes()


def _installed(library: str) -> tuple[str, ...]:
    """Where a library lies and its version, by its folder's neighbors; nothing where it is not."""
    found = find_spec(library)
    if found is None or found.origin is None:
        return ()
    lies = Path(found.origin).parent.parent
    return (found.origin, *sorted(beside.name for beside in lies.glob(f"{library}-*")))
