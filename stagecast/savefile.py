"""Write a file whole or not at all, and never over what is somebody else's."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from stagecast.errors import StoreError, write_step

LOOKED_AT = 4096


def save_file(path: Path, data: bytes, *, is_ours: Callable[[bytes], bool]) -> None:
    """Write a file in the place of an older one of the same kind.

    Parameters
    ----------
    path : Path
    data : bytes
    is_ours : callable
        Whether a file that begins with these bytes may be written over.

    Raises
    ------
    StoreError
        Something else is there, or writing failed; what was there is as it was.
    """
    try:
        taken = path.exists() or path.is_symlink()
        if taken and not (path.is_file() and is_ours(_beginning(path))):
            step = "choose another name"
            raise StoreError(str(path), "something else is there already", next_step=step)
    except OSError as error:
        reason = error.strerror or str(error)
        raise StoreError(str(path), reason, next_step="choose another name") from error
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(path), error.strerror or str(error), next_step=step) from error


def _beginning(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(LOOKED_AT)
