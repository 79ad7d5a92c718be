"""Where things are written before they have their place, and what a killed program left of it.

A workplace is a hidden folder beside what is to be, whose lock its program holds as long as it
lives. The next run that writes there sweeps what nobody holds any more: files that were all ready
and on their way to their places are put there, so that of a set all are new or none; anything else
goes. Only folders of our name with our lock in them are touched.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from stagecast.base.errors import StoreError
from stagecast.base.lock import held

PREFIX = ".stagecast-unfinished-"
_OWNER, _READY, _FILES, _BEFORE = "owner", "ready.json", "files", "before"
_TRIES = 5


@contextmanager
def workplace(folder: Path) -> Iterator[Path]:
    """A new empty folder in another, to write into; gone at the end, like those of killed programs.

    Raises
    ------
    OSError
        None can be made there.
    """
    sweep(folder)
    with contextlib.ExitStack() as stack:
        place = _claimed(folder, stack)
        try:
            files = place / _FILES
            files.mkdir()
            yield files
        finally:
            stack.close()  # where a file that is open cannot be deleted
            shutil.rmtree(place, ignore_errors=True)


def put_in_place(files: Path, names: Sequence[str]) -> None:
    """Move what stands in a workplace to where that is, over what is there: all of it, or none.

    A program that is killed on the way has moved all of it after the next sweep.

    Raises
    ------
    OSError
        Something cannot be moved; all is as it was.
    """
    place = files.parent
    if len(names) == 1:
        os.replace(files / names[0], place.parent / names[0])
        return
    before = place / _BEFORE
    before.mkdir()
    _write_ready(place, names)
    done: list[str] = []
    try:
        for name in names:
            target = place.parent / name
            done.append(name)
            if target.exists():
                os.replace(target, before / name)
            os.replace(files / name, target)
    except BaseException:
        (place / _READY).unlink()
        for name in done:
            with contextlib.suppress(OSError):
                _put_back(place, name)
        raise


def sweep(folder: Path) -> None:
    """Finish or take away what programs that live no more left in a folder; never an error."""
    with contextlib.suppress(OSError):
        for place in sorted(folder.glob(f"{PREFIX}*")):
            if place.is_dir() and not place.is_symlink():
                _sweep(place)


def _sweep(place: Path) -> None:
    if not (place / _OWNER).is_file():
        with contextlib.suppress(OSError):
            place.rmdir()  # only an empty one: it was made a moment ago
        return
    # what a living program holds is left alone
    with contextlib.suppress(StoreError, OSError):
        with held(place / _OWNER, busy="in use"):
            for name in _ready(place):
                os.replace(place / _FILES / name, place.parent / name)
            shutil.rmtree(place, ignore_errors=True)
        shutil.rmtree(place, ignore_errors=True)  # where a file that is open cannot be deleted


def _claimed(folder: Path, stack: contextlib.ExitStack) -> Path:
    """A new workplace that is locked; made anew where another program swept it in that moment."""
    for _ in range(_TRIES):
        place = Path(tempfile.mkdtemp(prefix=PREFIX, dir=folder))
        try:
            lock = stack.enter_context(contextlib.ExitStack())
            lock.enter_context(held(place / _OWNER, busy="in use"))
        except StoreError:
            if place.exists():
                shutil.rmtree(place, ignore_errors=True)
            continue
        if (place / _OWNER).exists():
            return place
        lock.close()
    raise OSError(None, "no place to write in can be kept there", str(folder))


def _write_ready(place: Path, names: Sequence[str]) -> None:
    """Say on the disk that all is written, and what is on its way."""
    part = place / f"{_READY}.part"
    with part.open("x", encoding="utf-8") as stream:
        json.dump(list(names), stream)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(part, place / _READY)


def _ready(place: Path) -> list[str]:
    """Names of what was on its way and is not there yet; none that leads out of the folder."""
    try:
        names = json.loads((place / _READY).read_text("utf-8"))
    except (OSError, ValueError):
        return []
    if not isinstance(names, list):
        return []
    plain = [one for one in names if isinstance(one, str) and Path(one).name == one]
    return [one for one in plain if one not in ("", "..") and (place / _FILES / one).exists()]


def _put_back(place: Path, name: str) -> None:
    """What was at a name before, or nothing, in the place of what was moved there."""
    target, was = place.parent / name, place / _BEFORE / name
    if was.exists():
        os.replace(was, target)
    elif not (place / _FILES / name).exists():
        os.replace(target, place / _FILES / name)
