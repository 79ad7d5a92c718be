"""A folder that appears whole or not at all, whatever interrupts the writing of it."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stagecast.errors import StoreError, write_step


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """Yield a folder to write into; it takes its name once all is written.

    Parameters
    ----------
    path : Path
        A folder that does not exist yet, or is empty.

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
