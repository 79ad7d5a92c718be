"""One SQLite file of ours: known by its tables, brought up to date, written all or nothing.

What a weather store and a scouting log have in common; neither's days or visits are known here.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from stagecast.base.errors import StoreError


class SqliteFile:
    """A file of some tables, made by a list of steps; every call has its own connection.

    Parameters
    ----------
    path : Path
        Made at the first write.
    what : str
        What it is, for a person: ``a scouting log``.
    steps : sequence of sequences of str
        One per version of the file: the statements that lead to it from the version before.
    tables : collection of str
        Names by which a file of ours is known.
    not_ours : str
        What to do about a file that is something else, or damaged.
    next_steps : mapping
        Start of SQLite's name of an error -> what to do about it.
    busy_timeout_s : float
        How long to wait for another writer, in seconds.

    Raises
    ------
    StoreError
        From every method: not ours, written by a newer version, damaged, not writable, disk
        full, locked.
    """

    def __init__(
        self,
        path: Path,
        *,
        what: str,
        steps: Sequence[Sequence[str]],
        tables: frozenset[str],
        not_ours: str,
        next_steps: Mapping[str, str],
        busy_timeout_s: float,
    ) -> None:
        self.path = Path(path)
        self.what = what
        self.steps = steps
        self.tables = tables
        self.not_ours = not_ours
        self.next_steps = next_steps
        self.busy_timeout_s = busy_timeout_s

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One write transaction: when the block ends all of it is on the disk, or none of it."""
        self._is_file()
        with self._translated(), contextlib.closing(self._connect("rwc")) as connection:
            # looked at before anything is changed: the file may be another program's
            self._version(connection)
            _use_wal(connection)
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("BEGIN IMMEDIATE")
            try:
                self._bring_up_to_date(connection)
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # a full disk has already rolled back by itself
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    def _bring_up_to_date(self, connection: sqlite3.Connection) -> None:
        """Run the missing steps in the caller's transaction."""
        version = self._version(connection)
        if version < len(self.steps):
            self._run_steps(connection, version)

    def _run_steps(self, connection: sqlite3.Connection, version: int) -> None:
        for statements in self.steps[version:]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {len(self.steps)}")

    def _version(self, connection: sqlite3.Connection) -> int:
        """Version of the file; 0 for a new one; StoreError when it is not for us to read."""
        # one statement, so that another writer's first write cannot fall between the answers
        version, names = connection.execute(
            "SELECT user_version, (SELECT group_concat(name) FROM sqlite_schema) "
            "FROM pragma_user_version"
        ).fetchone()
        if version > len(self.steps):
            raise StoreError(
                str(self.path),
                f"written by a newer stagecast (file version {version}, "
                f"this one reads up to {len(self.steps)})",
                next_step="update stagecast",
            )
        ours = set((names or "").split(",")) >= self.tables if version else not names
        if not ours or version < 0:
            raise StoreError(str(self.path), f"not {self.what}", next_step=self.not_ours)
        return int(version)

    def _is_file(self) -> bool:
        """False when nothing is there yet; StoreError when what is there is no regular file."""
        try:
            regular = stat.S_ISREG(self.path.stat().st_mode)
        except OSError as error:
            regular = False
            if not os.path.islink(self.path):  # else a link to nothing, or to itself
                if isinstance(error, FileNotFoundError | NotADirectoryError):
                    return False
                reason, step = error.strerror or "unreadable", self.next_steps["SQLITE_CANTOPEN"]
                raise StoreError(str(self.path), reason, next_step=step) from error
        if not regular:
            raise StoreError(str(self.path), "not a regular file", next_step=self.not_ours)
        return True

    def _connect(self, mode: str) -> sqlite3.Connection:
        return sqlite3.connect(
            f"{self.path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=self.busy_timeout_s,  # sqlite3's name for PRAGMA busy_timeout
            isolation_level=None,
        )

    @contextlib.contextmanager
    def _translated(self) -> Iterator[None]:
        """Turn SQLite's errors into ours, with what to do next."""
        try:
            yield
        except sqlite3.Error as error:
            name = error_name(error)
            step = next(
                (s for code, s in self.next_steps.items() if name.startswith(code)), self.not_ours
            )
            raise StoreError(str(self.path), str(error), next_step=step) from error


def _use_wal(connection: sqlite3.Connection) -> None:
    """Switch the file to a write-ahead log, which stays so.

    SQLite does not wait here: a refusal means another writer is at it, who switches as well,
    and a transaction is as safe in the mode before.
    """
    try:
        connection.execute("PRAGMA journal_mode = WAL")
    except sqlite3.OperationalError as error:
        if not error_name(error).startswith("SQLITE_BUSY"):
            raise


def error_name(error: sqlite3.Error) -> str:
    """SQLite's own name of an error, such as SQLITE_FULL; empty when Python made it."""
    return getattr(error, "sqlite_errorname", "")
