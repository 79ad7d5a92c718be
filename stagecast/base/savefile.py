"""Files and folders that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from stagecast.base.errors import StoreError, write_step

LOOKED_AT = 4096
USUAL_MODE = 0o644


def check_target(path: Path, *, is_ours: Callable[[bytes], bool]) -> None:
    """Refuse a place at which something of another kind stands.

    Parameters
    ----------
    path: where it is a link, what it leads to counts.
    is_ours: whether a file that begins with these bytes may be written over.

    Raises
    ------
    StoreError
    """
    try:
        taken = path.exists() or path.is_symlink()
        if taken and not (path.is_file() and is_ours(_beginning(path))):
            step = "choose another name"
            raise StoreError(str(path), "something else is there already", next_step=step)
        if not path.resolve().parent.is_dir():
            step = "make the folder first, or choose another place"
            raise StoreError(str(path), "there is no such folder", next_step=step)
    except OSError as error:
        reason = error.strerror or str(error)
        raise StoreError(str(path), reason, next_step="choose another name") from error


def save_file(path: Path, data: bytes, *, is_ours: Callable[[bytes], bool]) -> None:
    """Write a file in the place of an older one of the same kind.

    A link stays a link, and a file keeps the rights that it had.

    Parameters
    ----------
    is_ours: as in :func:`check_target`.

    Raises
    ------
    StoreError
        Something else is there, or writing failed; what was there is as it was.
    """
    check_target(path, is_ours=is_ours)
    target = path.resolve()
    part: Path | None = None
    try:
        mode = target.stat().st_mode & 0o7777 if target.exists() else USUAL_MODE
        # A name of its own, so that nobody's file is in its way, nor another run's.
        number, name = tempfile.mkstemp(prefix=".stagecast-", dir=target.parent)
        part = Path(name)
        with os.fdopen(number, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        part.chmod(mode)
        part.replace(target)
    except OSError as error:
        if part is not None:
            part.unlink(missing_ok=True)
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(path), error.strerror or str(error), next_step=step) from error


def _beginning(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(LOOKED_AT)


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """Yield a folder to write into; it takes its name once all is written.

    Parameters
    ----------
    path: A folder that does not exist yet, or is empty.

    Raises
    ------
    StoreError
        When anything is there already, or writing fails. Nothing that was there is touched, and
        of what was written nothing stays.
    """
    try:
        if _taken(path):
            step = "choose a folder that does not exist yet, or an empty one"
            raise StoreError(str(path), "something is there already", next_step=step)
        with _staged(path) as folder:
            yield folder
    except OSError as error:
        reason = f"the folder cannot be written ({error.strerror or error})"
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(path), reason, next_step=step) from error


def _taken(path: Path) -> bool:
    if not path.exists():
        return path.is_symlink()
    return not path.is_dir() or any(path.iterdir())


@contextmanager
def _staged(path: Path) -> Iterator[Path]:
    """Write beside the folder to be, and rename; into an empty one that exists, move piecewise.

    An empty folder keeps its place, since a shell may stand in it.
    """
    exists = path.exists()
    made = [] if exists else [p for p in path.parents if not p.exists()]
    done: list[Path] = []
    try:
        beside = path if exists else path.parent
        beside.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".stagecast-", dir=beside))
        try:
            folder = staging / "season"
            folder.mkdir()
            yield folder
            if exists:
                for entry in sorted(folder.iterdir()):
                    _move(entry, path / entry.name, done)
            else:
                os.rename(folder, path)
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    except BaseException:
        for entry in done:
            shutil.rmtree(entry) if entry.is_dir() else entry.unlink()
        for parent in made:
            with contextlib.suppress(OSError):  # not made, or in use by somebody else
                parent.rmdir()
        raise


def _move(entry: Path, target: Path, done: list[Path]) -> None:
    """Move a file or folder to where nothing is."""
    if target.exists() or target.is_symlink():
        raise FileExistsError(None, "something appeared there", str(target))
    os.rename(entry, target)
    done.append(target)
