"""A table held against the log before anything of it is logged.

An entry is new, in the log already, changed, or a second one of its field and day. What the log has
is never changed: an entry that takes another's place is logged as its correction.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from stagecast.season.log.book import NewEntries
from stagecast.season.log.entries import (
    AnyEntry,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    day_of_entry,
    entry_id,
    kind_of_entry,
    same,
    settled_treatment,
    settled_visit,
    standing,
)
from stagecast.season.log.table import LogTable

Kind = Literal["new", "known", "changed", "second"]
"""``second``: the log has another visit to the field on the day, and nobody knows if both count."""

Choice = Literal["instead", "beside", "leave"]
"""Log it in the place of what the log has, beside it, or not at all."""


@dataclass(frozen=True, slots=True)
class Incoming:
    """One entry of a table beside the log.

    Attributes
    ----------
    entry: as the table has it, with its id.
    line: its first line in the table.
    before: what stands in the log in its place, or of its field and day; None for a new one.
    """

    entry: AnyEntry
    line: int
    kind: Kind
    before: AnyEntry | None = None

    @property
    def id(self) -> str:
        """Its id in the table."""
        return entry_id(self.entry)

    @property
    def choices(self) -> tuple[Choice, ...]:
        """What a person may say of it, the likely one first; nothing to choose for most."""
        if self.kind == "changed":  # its id is taken: it cannot stand beside
            return ("instead", "leave")
        return ("instead", "beside", "leave") if self.kind == "second" else ()


def held_against(table: LogTable, every: ScoutingLog) -> tuple[Incoming, ...]:
    """Each entry of a table beside the log, visits first, in file order.

    ``every``: all entries, corrected ones among them.
    """
    entries: list[AnyEntry] = [*every.visits, *every.treatments]
    stored = {entry_id(e): e for e in entries}
    by = {e.corrects: entry_id(e) for e in entries if e.corrects}
    newest = _newest(by)
    by_day = {(v.field_id, v.date): v for v in standing(every.visits, ()).visits}
    of_day: dict[tuple[str, dt.date], list[LoggedVisit]] = {}
    for visit in every.visits:
        of_day.setdefault((visit.field_id, visit.date), []).append(visit)
    incoming: list[AnyEntry] = [*table.visits, *table.treatments]
    found = []
    for entry in incoming:
        before = stored.get(entry_id(entry))
        here = entry.field_id, day_of_entry(entry)
        kind: Kind = "new"
        if before is not None:
            known = any(_alike(version, entry) for version in _versions(before, stored, by))
            before = stored[newest.get(entry_id(before), entry_id(before))]
            kind = "known" if known else "changed"
        elif isinstance(entry, LoggedVisit) and not entry.corrects:
            before = next((one for one in of_day.get(here, ()) if _alike(one, entry)), None)
            kind = "new" if before is None else "known"
            if before is None and here in by_day:
                before, kind = by_day[here], "second"
        found.append(Incoming(entry, table.lines[entry_id(entry)], kind, before))
    return tuple(found)


def entries_to_log(
    incoming: tuple[Incoming, ...], chosen: Mapping[str, Choice]
) -> tuple[NewEntries, dict[str, int], list[Incoming]]:
    """What is to be logged, its lines in the table by id, and entries of which nobody said how.

    ``chosen``: id in the table -> what a person said.
    """
    visits: list[LoggedVisit] = []
    treatments: list[Treatment] = []
    open_: list[Incoming] = []
    lines: dict[str, int] = {}
    for one in incoming:
        choice = chosen.get(one.id)
        if one.choices and choice not in one.choices:
            open_.append(one)
        if one.kind == "known" or choice == "leave" or (one.choices and choice is None):
            continue
        entry = _instead(one) if choice == "instead" and one.choices else one.entry
        lines[entry_id(entry)] = one.line
        if isinstance(entry, LoggedVisit):
            visits.append(entry)
        else:
            treatments.append(entry)
    return NewEntries(tuple(visits), tuple(treatments)), lines, open_


def _instead(one: Incoming) -> AnyEntry:
    """The entry as a correction of what the log has; where its id is taken, with another one."""
    assert one.before is not None
    corrects = entry_id(one.before)
    id_ = "" if one.kind == "changed" else one.id
    if isinstance(one.entry, LoggedVisit):
        return settled_visit(dataclasses.replace(one.entry, visit_id=id_, corrects=corrects))
    return settled_treatment(dataclasses.replace(one.entry, treatment_id=id_, corrects=corrects))


def _versions(
    entry: AnyEntry, stored: Mapping[str, AnyEntry], by: Mapping[str, str]
) -> Iterator[AnyEntry]:
    """An entry and what came in its place, one after another; the log keeps it from going round."""
    yield entry
    while (next_ := by.get(entry_id(entry))) is not None:
        entry = stored[next_]
        yield entry


def _newest(by: Mapping[str, str]) -> dict[str, str]:
    """Id of a corrected entry -> id of what stands in its place now; each is gone through once."""
    newest: dict[str, str] = {}
    for start in by:
        way, place = [], start
        while place in by and place not in newest:
            way.append(place)
            place = by[place]
        newest.update(dict.fromkeys(way, newest.get(place, place)))
    return newest


def _alike(one: AnyEntry, other: AnyEntry) -> bool:
    """Whether two entries say the same, whatever they were to take the place of."""
    if kind_of_entry(one) != kind_of_entry(other):
        return False
    plain = (dataclasses.replace(e, corrects=None) for e in (one, other))
    return same(*plain)
