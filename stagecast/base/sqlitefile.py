"""One SQLite file of ours: known by its tables, brought up to date, written all or nothing.

What a weather store and a scouting log have in common; neither's days or visits are known here.
A season folder is copied, mailed and synced as files, so all that was written stands in the one
file: SQLite's rollback journal is there only while something is being written.
"""

from __future__ import annotations

import contextlib
import glob
import itertools
import os
import shutil
import sqlite3
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path, PurePath
from typing import TypeVar

from stagecast.base.errors import StoreError

T = TypeVar("T")


class NewerValue(ValueError):
    """A value as a newer version may store it, of which this one does not know what it says."""


class SqliteFile:
    """A file of some tables, made by a list of steps; every call has its own connection.

    Parameters
    ----------
    path: made at the first write.
    what: what it is, for a person: ``a scouting log``.
    steps: one per version of the file: the statements that lead to it from the version before.
    tables: names by which a file of ours is known.
    not_ours: what to do about a file that is something else, or damaged.
    next_steps: start of SQLite's name of an error -> what to do about it.
    busy_timeout_s: how long to wait for another program, in seconds.
    keeps_copies: whether a copy ``<file>.vN.bak`` is left before the form of the file is changed.

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
        keeps_copies: bool = False,
    ) -> None:
        self.path = Path(path)
        self.what = what
        self.steps = steps
        self.tables = tables
        self.not_ours = not_ours
        self.next_steps = next_steps
        self.busy_timeout_s = busy_timeout_s
        self.keeps_copies = keeps_copies

    # -- writing -------------------------------------------------------------------------

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One write transaction: when the block ends all of it is on the disk, or none of it."""
        if not self._is_file():
            _make_empty(self.path)
        with self._translated(), contextlib.closing(self._connect("rwc")) as connection:
            # looked at before anything is changed: the file may be another program's
            self._version(connection)
            merged = self._leave_wal(connection)
            # FULL, and the journal's end is on the disk too, not only the entry
            # (sqlite.org/pragma.html#pragma_synchronous)
            connection.execute("PRAGMA synchronous = EXTRA")
            connection.execute("PRAGMA foreign_keys = ON")
            with _transaction(connection):
                version = self._version(connection)
                if version < len(self.steps):
                    if version:
                        self._copy(version, over=merged)
                    self._run_steps(connection, version)
                yield connection

    def _run_steps(self, connection: sqlite3.Connection, version: int) -> None:
        for statements in self.steps[version:]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {len(self.steps)}")

    def _leave_wal(self, connection: sqlite3.Connection) -> Path | None:
        """Turn a file with a write-ahead log, as older versions made, into one file; its copy.

        While another program has it open SQLite refuses, and the next write tries again: a
        transaction is as safe in either form.
        """
        if connection.execute("PRAGMA journal_mode").fetchone() != ("wal",):
            return None
        with _transaction(connection):
            copy = self._copy(self._version(connection))
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.OperationalError as error:
            if not _error_name(error).startswith("SQLITE_BUSY"):
                raise
            if copy is not None:
                copy.unlink()
            return None
        return copy

    def _copy(self, version: int, *, over: Path | None = None) -> Path | None:
        """Copy the file as it stands beside itself; an earlier copy is never replaced.

        ``over``: a copy that was made a moment ago, and whose place it takes.
        """
        if not self.keeps_copies:
            return None
        endings = itertools.chain([""], (f"-{number}" for number in itertools.count(2)))
        names = (f"{self.path.name}.v{version}{ending}.bak" for ending in endings)
        free = (p for name in names if not (p := self.path.with_name(name)).exists())
        target = next(free) if over is None else over
        unfinished = target.with_name(f"{target.name}.part")
        unfinished.unlink(missing_ok=True)
        _make_empty(unfinished)
        shutil.copymode(self.path, unfinished)
        with (
            contextlib.closing(self._connect("ro")) as source,
            contextlib.closing(sqlite3.connect(unfinished, isolation_level=None)) as copy,
        ):
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        os.replace(unfinished, target)
        return target

    # -- reading -------------------------------------------------------------------------

    def read(self, query: Callable[[sqlite3.Connection], T], *, empty: T) -> T:
        """Answer of ``query``; an older file is brought up to date in memory, not on the disk.

        Parameters
        ----------
        query: asks a connection in one read transaction.
        empty: the answer where there is no file yet, or none with a table in it.
        """
        if not self._is_file():
            return empty
        with self._translated():
            # A write-ahead log that holds anything is left to the next write to merge.
            try:
                return self._ask("ro" if self._size("-wal") else "rw", query, empty)
            except sqlite3.Error as error:
                if not _may_not_write(error) or self._side():
                    raise
                # Here nobody may write, also no file that SQLite needs to read.
                return self._ask("ro&immutable=1", query, empty)

    def _ask(self, mode: str, query: Callable[[sqlite3.Connection], T], empty: T) -> T:
        """The answer; a value we never store makes the file one that is not ours to read."""
        with contextlib.ExitStack() as stack:
            connection = stack.enter_context(contextlib.closing(self._connect(mode)))
            connection.execute("PRAGMA query_only = ON")
            version = self._version(connection)
            if version == 0:
                return empty
            if version < len(self.steps):
                memory = sqlite3.connect(":memory:", isolation_level=None)
                stack.enter_context(contextlib.closing(memory))
                connection.backup(memory)
                self._run_steps(memory, version)
                connection = memory
            connection.execute("BEGIN")
            self._check_whole(connection)
            try:
                return query(connection)
            except NewerValue:
                raise
            except UnicodeDecodeError:
                raise self.damaged("what stands in it is not text") from None
            except (ValueError, TypeError, LookupError, OverflowError) as error:
                raise self.damaged(str(error)) from error

    def _check_whole(self, connection: sqlite3.Connection) -> None:
        """Say what SQLite finds wrong with the file as a whole, before any of it is believed."""
        (found,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if found != "ok":
            raise self.damaged(" ".join(str(found).split()))

    def damaged(self, reason: str) -> StoreError:
        """The error of a file that holds what we never stored; it names the newest copy of it."""
        copies = self.path.parent.glob(f"{glob.escape(self.path.name)}.v*.bak")
        newest = max(copies, key=lambda copy: copy.stat().st_mtime, default=None)
        step = self.not_ours if newest is None else f"{self.not_ours}; the newest is {newest.name}"
        return StoreError(str(self.path), f"damaged: {reason}", next_step=step)

    def _newer(self, what: str) -> StoreError:
        """The error of a file that is whole, and of which a newer version knows more."""
        reason = f"written by a newer stagecast ({what})"
        return StoreError(str(self.path), reason, next_step="update stagecast; nothing is lost")

    def _unknown_columns(self) -> list[str]:
        """Columns beyond ours, as ``table.column``; none where one of ours is not there."""
        try:
            with (
                contextlib.closing(self._connect("ro")) as connection,
                contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as ours,
            ):
                self._run_steps(ours, 0)
                found, known = _columns(connection), _columns(ours)
        except sqlite3.Error:
            return []
        return sorted(found - known) if known <= found else []

    def _side(self) -> str | None:
        """Name of a side file in which the last changes are still."""
        ends = (end for end in ("-wal", "-journal") if self._size(end))
        return next((f"{self.path.name}{end}" for end in ends), None)

    def _size(self, ending: str) -> int:
        """Bytes of a side file, which lies beside the file that a link leads to."""
        try:
            return os.stat(os.path.realpath(self.path) + ending).st_size
        except OSError:
            return 0

    # -- both ----------------------------------------------------------------------------

    def _version(self, connection: sqlite3.Connection) -> int:
        """Version of the file; 0 for a new one; StoreError when it is not for us to read."""
        # one statement, so that another writer's first write cannot fall between the answers
        try:
            version, names = connection.execute(
                "SELECT user_version, (SELECT group_concat(name) FROM sqlite_schema) "
                "FROM pragma_user_version"
            ).fetchone()
        except UnicodeDecodeError:
            raise self.damaged("its tables have no names") from None
        if version > len(self.steps):
            raise self._newer(f"file version {version}, this one reads up to {len(self.steps)}")
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
            f"{sqlite_address(self.path.absolute())}?mode={mode}",
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
            if _may_not_write(error) and (side := self._side()) is not None:
                reason = f"the last changes are still in {side}, which nobody may merge here"
                step = self.next_steps["SQLITE_READONLY"]
                raise StoreError(str(self.path), reason, next_step=step) from error
            name = _error_name(error)
            for code, known in self.next_steps.items():
                if name.startswith(code):
                    raise StoreError(str(self.path), str(error), next_step=known) from error
            # what SQLite calls damaged is so, whatever it holds
            broken = name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))
            if not broken and (columns := self._unknown_columns()):
                raise self._newer(f"{', '.join(columns)} is not known here") from error
            raise self.damaged(str(error)) from error
        except NewerValue as error:
            raise self._newer(str(error)) from error


def sqlite_address(path: PurePath) -> str:
    """An absolute path as SQLite's URI: a server's share has four slashes (sqlite.org/uri.html)."""
    address = path.as_uri()
    return address if address.startswith("file:///") else address.replace("file://", "file:////")


def _make_empty(path: Path) -> None:
    """Make a file with the rights that a person's new files have, where SQLite allows fewer.

    Where none can be made SQLite says why.
    """
    with contextlib.suppress(OSError):
        path.open("xb").close()


@contextlib.contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # a full disk has already rolled back by itself
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _columns(connection: sqlite3.Connection) -> set[str]:
    rows = connection.execute(
        "SELECT one.name || '.' || told.name FROM sqlite_schema AS one "
        "JOIN pragma_table_info(one.name) AS told WHERE one.type = 'table'"
    )
    return {name for (name,) in rows}


def _may_not_write(error: sqlite3.Error) -> bool:
    return _error_name(error).startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY"))


def _error_name(error: sqlite3.Error) -> str:
    """SQLite's own name of an error, such as SQLITE_FULL; empty when Python made it."""
    return getattr(error, "sqlite_errorname", "")
