"""One program at a time in a folder, however the last one ended."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from stagecast.base.errors import Busy, StoreError

_WRITABLE = "check that the folder may be written to"
_STEPS = {
    8: _WRITABLE,  # SQLITE_READONLY
    14: _WRITABLE,  # SQLITE_CANTOPEN
    10: "check the disk and its free space, and try again",  # SQLITE_IOERR
    13: "free some space on the disk and try again",  # SQLITE_FULL
}
"""Codes of sqlite.org/rescode.html; SQLite itself is imported only where it is needed."""


@contextlib.contextmanager
def held(path: Path, *, busy: str, wait_s: float = 0.0) -> Iterator[None]:
    """Hold a lock for a while.

    The lock is SQLite's on an empty file: every system lets go of it when its program ends, even
    if it is killed.

    Parameters
    ----------
    path: a file that is made, and stays empty.
    busy: what to say where another program holds it.
    wait_s: for how long the other is waited for; by default not at all.

    Raises
    ------
    Busy
        Another program holds it.
    StoreError
        The file cannot be made.
    """
    import sqlite3  # not at the start: most commands hold nothing

    connection = None
    try:
        connection = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        if connection is not None:
            connection.close()
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
            raise Busy(str(path), busy, next_step="try again in a few minutes") from error
        otherwise = "delete this file: nothing of yours is in it"
        step = _STEPS.get(error.sqlite_errorcode & 0xFF, otherwise)
        raise StoreError(
            str(path), f"this file cannot be locked ({error})", next_step=step
        ) from error
    try:
        yield
    finally:
        connection.close()
