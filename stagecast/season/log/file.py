"""One SQLite file that is only ever added to: opened, brought up to date, read without a trace.

:class:`LogFile` knows nothing of visits; :mod:`stagecast.season.log.store` does.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from stagecast.base.errors import StoreError
from stagecast.base.sqlitefile import SqliteFile, error_name

_QUIET_READS = 3
_NOT_OURS = (
    "if this was your scouting log, put a copy of it in its place, such as the .bak beside it; "
    "otherwise move the file out of the season folder"
)
_ELSEWHERE = "copy the season folder to a place you may write to, or allow writing"
_NEXT_STEPS = {
    "SQLITE_FULL": "free some disk space and repeat; what was logged before is unchanged",
    "SQLITE_IOERR": "check the disk and its free space and repeat; nothing was half logged",
    "SQLITE_READONLY": _ELSEWHERE,
    "SQLITE_CANTOPEN": "check that the season folder exists and that you may write to it",
    "SQLITE_BUSY": "another program is writing to it: let it finish, then repeat",
    "SQLITE_LOCKED": "another program is writing to it: let it finish, then repeat",
}

T = TypeVar("T")


class LogFile(SqliteFile):
    """A log: an older file is copied before it is changed, and reading leaves nothing behind.

    Parameters
    ----------
    path : Path
        Made at the first write.
    steps : sequence of sequences of str
        One per version of the file.
    tables : collection of str
        Names by which a file of ours is known.
    busy_timeout_s : float
        How long to wait for another writer, in seconds.
    """

    def __init__(
        self,
        path: Path,
        *,
        steps: Sequence[Sequence[str]],
        tables: frozenset[str],
        busy_timeout_s: float,
    ) -> None:
        super().__init__(
            path,
            what="a scouting log",
            steps=steps,
            tables=tables,
            not_ours=_NOT_OURS,
            next_steps=_NEXT_STEPS,
            busy_timeout_s=busy_timeout_s,
        )

    def _bring_up_to_date(self, connection: sqlite3.Connection) -> None:
        """Run the missing steps in the caller's transaction; an older file is copied before."""
        version = self._version(connection)
        if 0 < version < len(self.steps):
            self._back_up(version)
        super()._bring_up_to_date(connection)

    def _back_up(self, version: int) -> None:
        """Copy the file as it stands beside itself; an earlier copy is never replaced."""
        names = (f"{self.path.name}.v{version}{again}.bak" for again in _again())
        target = next(p for n in names if not (p := self.path.with_name(n)).exists())
        unfinished = target.with_name(f"{target.name}.part")
        unfinished.unlink(missing_ok=True)
        with (
            contextlib.closing(self._connect("ro")) as source,
            contextlib.closing(sqlite3.connect(unfinished, isolation_level=None)) as copy,
        ):
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # the copy is one file, without others
        os.replace(unfinished, target)

    # -- reading -------------------------------------------------------------------------

    def read(self, query: Callable[[sqlite3.Connection], T], *, empty: T) -> T:
        """Answer of ``query`` to the file as it stands, which is never written to.

        Parameters
        ----------
        query : callable
            Asks a connection in one read transaction.
        empty : object
            The answer where there is no file yet, or none with a table in it.
        """
        if not self._is_file():
            return empty
        with self._translated():
            for _ in range(_QUIET_READS):
                before = self._marks()
                mode = self._quiet_mode()
                try:
                    answer = self._ask(mode, query, empty)
                except sqlite3.Error:
                    if "immutable" not in mode or self._marks() == before:
                        raise
                else:
                    if "immutable" not in mode or self._marks() == before:
                        return answer
            return self._ask("ro", query, empty)

    def _quiet_mode(self) -> str:
        """How to open the file for reading so that nothing is left behind.

        In WAL mode a plain reader leaves side files; ``immutable`` makes none, and looks at no
        side file either, so it is right only where none holds anything. A rollback journal is
        what a killed first write leaves: it has to be undone before anything can be read.
        """
        if self._size("-journal"):
            return "rw"
        return "ro" if self._size("-wal") else "ro&immutable=1"

    def _marks(self) -> tuple[int, ...]:
        """What changes when somebody writes while ``immutable`` trusts that nobody does."""
        now = self.path.stat()
        return now.st_mtime_ns, now.st_size, now.st_ino, self._size("-wal"), self._size("-journal")

    def _size(self, ending: str) -> int:
        """Bytes of a side file, which lies beside the file that a link leads to."""
        try:
            return os.stat(os.path.realpath(self.path) + ending).st_size
        except OSError:
            return 0

    def _ask(self, mode: str, query: Callable[[sqlite3.Connection], T], empty: T) -> T:
        try:
            connection = self._connect(mode)
        except sqlite3.Error as error:
            raise self._unmerged(error) from error
        with contextlib.closing(connection):
            try:
                connection.execute("PRAGMA query_only = ON")
                version = self._version(connection)
            except sqlite3.Error as error:
                raise self._unmerged(error) from error
            if version == 0:
                return empty
            if version < len(self.steps):
                return self._ask_newer(connection, version, query)
            connection.execute("BEGIN")
            return self._believed(query, connection)

    def _believed(
        self, query: Callable[[sqlite3.Connection], T], connection: sqlite3.Connection
    ) -> T:
        """The answer; a value we never store makes the file one that is not ours to read."""
        try:
            return query(connection)
        except (ValueError, TypeError) as error:
            raise StoreError(str(self.path), str(error), next_step=_NOT_OURS) from error

    def _ask_newer(
        self, old: sqlite3.Connection, version: int, query: Callable[[sqlite3.Connection], T]
    ) -> T:
        """Ask an older file as the next write will make it, in memory."""
        with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as copy:
            old.backup(copy)
            self._run_steps(copy, version)
            return self._believed(query, copy)

    def _unmerged(self, error: sqlite3.Error) -> Exception:
        """The error itself, or what it means where the last entries stand in a side file."""
        cannot_open = error_name(error).startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY"))
        side = next((e for e in ("-wal", "-journal") if self._size(e)), None)
        if side is None or not cannot_open:
            return error
        reason = f"the last entries still stand in {self.path.name}{side}, unreadable here"
        return StoreError(str(self.path), reason, next_step=_ELSEWHERE)


def _again() -> Iterator[str]:
    """Nothing, then -2, -3 and so on."""
    yield ""
    number = 2
    while True:
        yield f"-{number}"
        number += 1
