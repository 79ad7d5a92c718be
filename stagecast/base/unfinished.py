"""Where things are written before they have their place, and what a killed program left of it.

A workplace is a hidden folder beside what is to be, whose lock its program holds as long as it
lives. The next run that writes there sweeps what nobody holds any more: files that were all ready
and on their way to their places are put there, and older ones that were to go are taken away, so
that of a set all is new or all is old; anything else goes. Only folders of our name with our lock
in them are touched.
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
            _empty(place)
            stack.close()  # where a file that is open cannot be deleted
            _take_away(place)


def put_in_place(files: Path, names: Sequence[str], *, gone: Sequence[str] = ()) -> None:
    """Move what stands in a workplace to where that is, over what is there: all of it, or none.

    What is named ``gone`` is taken away from there with it. A program that is killed on the way
    has done all of it after the next sweep.

    Raises
    ------
    OSError
        Something cannot be moved; all is as it was.
    """
    place = files.parent
    if len(names) == 1 and not gone:
        os.replace(files / names[0], place.parent / names[0])
        return
    before = place / _BEFORE
    before.mkdir()
    _write_ready(place, names, gone)
    done: list[str] = []
    try:
        for name in (*gone, *names):
            target = place.parent / name
            done.append(name)
            if target.exists():
                os.replace(target, before / name)
            if name in names:
                os.replace(files / name, target)
    except BaseException:
        (place / _READY).unlink()
        for name in done:
            with contextlib.suppress(OSError):
                _put_back(place, name)
        raise
    (place / _READY).unlink()


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
            for name in _ready(place, "new"):
                if (place / _FILES / name).exists():
                    os.replace(place / _FILES / name, place.parent / name)
            for name in _ready(place, "gone"):
                if not (place / _BEFORE / name).exists():
                    (place.parent / name).unlink(missing_ok=True)
            _empty(place)
        _take_away(place)  # where a file that is open cannot be deleted


def _empty(place: Path) -> None:
    """Take away all but the owner, without whom nobody knows that it is ours."""
    with contextlib.suppress(OSError):
        (place / _READY).unlink(missing_ok=True)
        for name in {one.name for one in place.iterdir()} - {_OWNER, f"{_OWNER}-journal"}:
            shutil.rmtree(place / name, ignore_errors=True)
            with contextlib.suppress(OSError):
                (place / name).unlink(missing_ok=True)


def _take_away(place: Path) -> None:
    """Take away a workplace in which nothing is left but its owner."""
    with contextlib.suppress(OSError):
        if {one.name for one in place.iterdir()} <= {_OWNER}:
            (place / _OWNER).unlink(missing_ok=True)
            place.rmdir()


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


def _write_ready(place: Path, names: Sequence[str], gone: Sequence[str]) -> None:
    """Say on the disk that all is written, what is on its way, and what goes."""
    part = place / f"{_READY}.part"
    with part.open("x", encoding="utf-8") as stream:
        json.dump({"new": list(names), "gone": list(gone)}, stream)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(part, place / _READY)


def _ready(place: Path, what: str) -> list[str]:
    """Names of what is ``new`` or ``gone`` in a set; none that leads out of the folder."""
    try:
        names = json.loads((place / _READY).read_text("utf-8"))[what]
    except (OSError, ValueError, LookupError, TypeError):
        return []
    if not isinstance(names, list):
        return []
    plain = [one for one in names if isinstance(one, str) and Path(one).name == one]
    return [one for one in plain if one not in ("", "..")]


def _put_back(place: Path, name: str) -> None:
    """What was at a name before, or nothing, in the place of what was moved there."""
    target, was = place.parent / name, place / _BEFORE / name
    if was.exists():
        os.replace(was, target)
    elif not (place / _FILES / name).exists():
        os.replace(target, place / _FILES / name)
