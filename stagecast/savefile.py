"""Write a file whole or not at all, and never over what is somebody else's."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from stagecast.errors import StoreError, write_step

LOOKED_AT = 4096
USUAL_MODE = 0o644


def check_target(path: Path, *, is_ours: Callable[[bytes], bool]) -> None:
    """Refuse a place at which something of another kind stands.

    Parameters
    ----------
    path : Path
        Where it is a link, what it leads to counts.
    is_ours : callable
        Whether a file that begins with these bytes may be written over.

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
    path : Path
    data : bytes
    is_ours : callable
        As in :func:`check_target`.

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
