"""The scouting log of a season: one SQLite file, only ever added to.

What :meth:`LogStore.add` has returned from is on the disk, whatever happens to the program or to
the power afterwards; what it refused or failed at is not in the log at all.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.base.sqlitefile import SqliteFile
from stagecast.season.log.entries import (
    LOG_FILE,
    AnyEntry,
    Entry,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    entry_id,
    kind_of_entry,
    same,
    settled_treatment,
    settled_visit,
    standing,
)
from stagecast.season.log.schema import (
    MIGRATIONS,
    TABLES,
    corrected_in,
    insert,
    treatments_in,
    visits_in,
)

_NOT_OURS = (
    "if this was your scouting log, put a copy of it in its place, such as the .bak beside it; "
    "otherwise move the file out of the season folder"
)
_ELSEWHERE = "copy the season folder to a place you may write to, or allow writing"
_NEXT_STEPS = {
    "SQLITE_FULL": "free some disk space and repeat; what was logged before is unchanged",
    "SQLITE_IOERR": "check the disk and its free space and repeat; nothing was half logged",
    "SQLITE_READONLY": _ELSEWHERE,
    "SQLITE_CANTOPEN": "check that the season folder exists, and that you may read and write it",
    "SQLITE_BUSY": "another program is writing to it: let it finish, then repeat",
    "SQLITE_LOCKED": "another program is writing to it: let it finish, then repeat",
}
_NO_LINES: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class AddedReport:
    """Entries that are in the log now, in order of entry.

    Attributes
    ----------
    new, known: ids of those that came into it, and of those that were in it before.
    visits, treatments: all that were given, as they are stored, each with its id.
    """

    new: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    visits: tuple[LoggedVisit, ...] = ()
    treatments: tuple[Treatment, ...] = ()


class LogStore:
    """Visits and treatments in one file; every call opens and closes its own connection.

    Parameters
    ----------
    path: the file itself, usually ``<season folder>/scouting.sqlite``; made at the first entry.
    migrations: the steps to the present version of the file; a copy ``<file>.vN.bak`` is left
        before the steps from version N on are taken.
    busy_timeout_s: how long to wait for another writer, in seconds.

    Raises
    ------
    StoreError
        From every method: not a scouting log, written by a newer version, damaged, not
        writable, disk full, locked.
    """

    def __init__(
        self,
        path: Path,
        *,
        migrations: Sequence[Sequence[str]] = MIGRATIONS,
        busy_timeout_s: float = 10.0,
    ) -> None:
        self.path = Path(path)
        self._file = SqliteFile(
            path,
            what="a scouting log",
            steps=migrations,
            tables=TABLES,
            not_ours=_NOT_OURS,
            next_steps=_NEXT_STEPS,
            busy_timeout_s=busy_timeout_s,
            keeps_copies=True,
        )

    def add(
        self,
        visits: Iterable[LoggedVisit] = (),
        treatments: Iterable[Treatment] = (),
        *,
        entered_at: dt.datetime,
        label: str = LOG_FILE,
        lines: Mapping[str, int] = _NO_LINES,
    ) -> AddedReport:
        """Add entries in one transaction: all of them, or none.

        Parameters
        ----------
        visits, treatments: an entry without an id gets one that follows from what it says; one that
            is in the log already, with this id and saying the same, is not added again.
        entered_at: when they were entered, local time; kept beside each.
        label: where they come from, for problems.
        lines: id -> line there.

        Raises
        ------
        SeasonProblems
            An id that is taken by another entry, or a correction of what is not there, of what
            is corrected already, or of itself.
        StoreError
            See the class.
        ValueError
            An entry that no log can hold; see :mod:`stagecast.season.log.entries`.
        """
        settled = tuple(settled_visit(v) for v in visits)
        applied = tuple(settled_treatment(t) for t in treatments)
        if not settled and not applied:
            return AddedReport()
        with self._file.writing() as connection:
            addition = _Addition(connection, label, lines)
            new_visits = addition.new(settled)
            new_treatments = addition.new(applied)
            if addition.problems:
                raise SeasonProblems(addition.problems)
            insert(connection, new_visits, new_treatments, entered_at=entered_at)
        new = dict.fromkeys((*map(entry_id, new_visits), *map(entry_id, new_treatments)))
        given = dict.fromkeys((*map(entry_id, settled), *map(entry_id, applied)))
        known = tuple(one for one in given if one not in new)
        return AddedReport(tuple(new), known, settled, applied)

    def read(self) -> ScoutingLog:
        """What stands of the log after corrections; empty when there is no file yet.

        Nothing is ever written: an older file is read as the next entry will make it.
        """
        every = self.all_entries()
        return standing(every.visits, every.treatments)

    def all_entries(self) -> ScoutingLog:
        """Every entry, also corrected ones, in the order of entry."""
        return self._file.read(
            lambda connection: ScoutingLog(visits_in(connection), treatments_in(connection)),
            empty=ScoutingLog(),
        )

    def count(self) -> int:
        """How many entries there are, corrected ones among them."""
        tables = ("visit", "treatment")
        query = " + ".join(f"(SELECT count(*) FROM {table})" for table in tables)
        return self._file.read(
            lambda connection: int(connection.execute(f"SELECT {query}").fetchone()[0]), empty=0
        )


class _Addition:
    """Entries held against what the log has, inside the transaction that adds them."""

    def __init__(
        self, connection: sqlite3.Connection, label: str, lines: Mapping[str, int]
    ) -> None:
        self.connection = connection
        self.label = label
        self.lines = lines
        self.problems: list[Problem] = []
        self._kinds: dict[str, str] = {}

    def new(self, entries: Sequence[Entry]) -> list[Entry]:
        """The entries that the log does not have yet, each once; what is wrong with others."""
        if not entries:
            return []
        asked: set[str] = {entry_id(e) for e in entries}
        asked |= {e.corrects for e in entries if e.corrects}
        found: list[AnyEntry] = [*visits_in(self.connection, asked)]
        found += treatments_in(self.connection, asked)
        stored = {entry_id(e): e for e in found}
        kept: dict[str, Entry] = {}
        for entry in entries:
            before = stored.get(entry_id(entry)) or kept.get(entry_id(entry))
            kind = self._kinds.setdefault(entry_id(entry), kind_of_entry(entry))
            if before is None and kind == kind_of_entry(entry):
                kept[entry_id(entry)] = entry
            elif before is None or not same(before, entry):
                self._taken(entry)
        self._check_corrections(kept, stored)
        return list(kept.values())

    def _check_corrections(
        self, kept: Mapping[str, AnyEntry], stored: Mapping[str, AnyEntry]
    ) -> None:
        corrections = {name: e.corrects for name, e in kept.items() if e.corrects}
        if not corrections:
            return
        kind = kind_of_entry(next(iter(kept.values())))
        corrected = corrected_in(self.connection, kind)
        rings = in_rings(corrections)
        for name, old in corrections.items():
            target = kept.get(old) or stored.get(old)
            by = corrected.setdefault(old, name)
            if target is None or kind_of_entry(target) != kind:
                step = "`stagecast log export DIR` lists what is in it"
                self._wrong(kept[name], old, f"the log has no {kind} of this id", step)
            elif by != name:
                message = f"this {kind} is corrected by {by} already"
                self._wrong(kept[name], old, message, f"correct {by} instead")
            elif name in rings:
                step = "leave corrects blank in the first one"
                self._wrong(kept[name], old, f"this {kind} would correct itself", step)

    def _taken(self, entry: AnyEntry) -> None:
        message = f"this id is taken by another {kind_of_entry(entry)} or says something else there"
        step = (
            f"nothing in the log is ever changed: give this one an id of its own, and put "
            f"{entry_id(entry)} into corrects if it is to take its place"
        )
        self._told(entry, message, column="visit_id", found=entry_id(entry), next_step=step)

    def _wrong(self, entry: AnyEntry, old: str, message: str, step: str) -> None:
        self._told(entry, message, column="corrects", found=old, next_step=step)

    def _told(
        self,
        entry: AnyEntry,
        message: str,
        *,
        column: str,
        found: str,
        next_step: str,
    ) -> None:
        self.problems.append(
            Problem(
                self.label,
                message,
                self.lines.get(entry_id(entry)),
                column,
                found=found,
                next_step=next_step,
                field_id=entry.field_id,
            )
        )


def in_rings(corrections: Mapping[str, str]) -> set[str]:
    """Ids from which following corrections leads back to themselves; each is gone through once."""
    found: set[str] = set()
    passed: set[str] = set()
    for start in corrections:
        way: dict[str, int] = {}
        place: str | None = start
        while place is not None and place not in passed:
            passed.add(place)
            way[place] = len(way)
            place = corrections.get(place)
        if place in way:
            found.update(list(way)[way[place] :])
    return found
