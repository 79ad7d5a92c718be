"""The tables of the scouting log, version by version, and how entries lie in their rows.

Rows are only ever added: triggers refuse to change, delete or replace one, whichever program asks.
A correction is a new row that points at the old one, and an entry is corrected at most once.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import sqlite3
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from stagecast.base.sqlitefile import NewerValue
from stagecast.knowledge.units import UNITS
from stagecast.season.log.entries import (
    LoggedCount,
    LoggedSet,
    LoggedStand,
    LoggedVisit,
    StandPlace,
    Treatment,
    settled_stand,
)

_NAME = re.compile(r"[a-z]{3,}(-[a-z]{2,})*")

# Which rows an INSERT OR REPLACE would take away.
_ALIKE = {
    "visit": "entry = new.entry OR visit_id = new.visit_id OR corrects = new.corrects",
    "sample_set": "visit_id = new.visit_id AND number = new.number",
    "pest_count": "entry = new.entry OR (visit_id = new.visit_id AND number = new.number "
    "AND pest = new.pest AND life_stage = new.life_stage)",
    "treatment": "entry = new.entry OR treatment_id = new.treatment_id OR corrects = new.corrects",
}
TABLES = frozenset(_ALIKE)
"""Those of the first version, which every later one has too."""

_ALIKE_STANDS = {
    "stand_count": "visit_id = new.visit_id",
    "stand_place": "visit_id = new.visit_id AND number = new.number",
}
_ALIKE_TIMES = {"visit_time": "visit_id = new.visit_id"}


def _guards(tables: Mapping[str, str]) -> Iterator[str]:
    """Triggers that keep every row as it was written."""
    for table in sorted(tables):
        for what in ("UPDATE", "DELETE"):
            yield (
                f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} BEGIN "
                "SELECT RAISE(ABORT, 'the scouting log is only added to: log a correction'); END"
            )
    # INSERT OR REPLACE deletes without asking those triggers
    for table, alike in tables.items():
        yield (
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {alike}) BEGIN "
            "SELECT RAISE(ABORT, 'the scouting log has this row already'); END"
        )


# One entry per version of the file: the statements that lead to it from the version before.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE visit (
            entry INTEGER PRIMARY KEY, visit_id TEXT NOT NULL UNIQUE CHECK (visit_id <> ''),
            field_id TEXT NOT NULL, date TEXT NOT NULL, who TEXT NOT NULL, stage TEXT,
            share REAL CHECK (share BETWEEN 0 AND 1), stand_notes TEXT NOT NULL,
            defoliation_percent REAL CHECK (defoliation_percent BETWEEN 0 AND 100),
            method TEXT NOT NULL, notes TEXT NOT NULL,
            corrects TEXT UNIQUE REFERENCES visit (visit_id) DEFERRABLE INITIALLY DEFERRED,
            entered_at TEXT NOT NULL) STRICT""",
        """CREATE TABLE sample_set (
            visit_id TEXT NOT NULL REFERENCES visit (visit_id), number INTEGER NOT NULL
            CHECK (number > 0), size REAL NOT NULL CHECK (size > 0), of TEXT NOT NULL,
            PRIMARY KEY (visit_id, number)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE pest_count (
            entry INTEGER PRIMARY KEY, visit_id TEXT NOT NULL, number INTEGER NOT NULL,
            pest TEXT NOT NULL, life_stage TEXT NOT NULL,
            counted REAL NOT NULL CHECK (counted >= 0),
            UNIQUE (visit_id, number, pest, life_stage),
            FOREIGN KEY (visit_id, number) REFERENCES sample_set (visit_id, number)) STRICT""",
        """CREATE TABLE treatment (
            entry INTEGER PRIMARY KEY,
            treatment_id TEXT NOT NULL UNIQUE CHECK (treatment_id <> ''),
            field_id TEXT NOT NULL, product TEXT NOT NULL, applied_at TEXT NOT NULL,
            reentry_hours REAL NOT NULL CHECK (reentry_hours >= 0),
            preharvest_days REAL CHECK (preharvest_days >= 0), notes TEXT NOT NULL,
            corrects TEXT UNIQUE REFERENCES treatment (treatment_id)
            DEFERRABLE INITIALLY DEFERRED, entered_at TEXT NOT NULL) STRICT""",
        *_guards(_ALIKE),
    ),
    (
        """CREATE TABLE stand_count (
            visit_id TEXT NOT NULL PRIMARY KEY REFERENCES visit (visit_id),
            row_width_in REAL CHECK (row_width_in > 0), row_ft REAL CHECK (row_ft > 0),
            hoop_in REAL CHECK (hoop_in > 0)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE stand_place (
            visit_id TEXT NOT NULL REFERENCES stand_count (visit_id), number INTEGER NOT NULL
            CHECK (number > 0), plants INTEGER NOT NULL CHECK (plants >= 0),
            gap_ft REAL CHECK (gap_ft >= 0),
            PRIMARY KEY (visit_id, number)) STRICT, WITHOUT ROWID""",
        *_guards(_ALIKE_STANDS),
    ),
    (
        """CREATE TABLE visit_time (
            visit_id TEXT NOT NULL PRIMARY KEY REFERENCES visit (visit_id),
            arrived_at TEXT, left_at TEXT) STRICT, WITHOUT ROWID""",
        *_guards(_ALIKE_TIMES),
    ),
)

_VISIT = (
    "visit_id, field_id, date, who, stage, share, stand_notes, defoliation_percent, method, notes, "
    "corrects"
)
_COUNT = "visit_id, number, pest, life_stage, counted"
_TREATMENT = (
    "treatment_id, field_id, product, applied_at, reentry_hours, preharvest_days, notes, corrects"
)


def insert(
    connection: sqlite3.Connection,
    visits: Iterable[LoggedVisit],
    treatments: Iterable[Treatment],
    *,
    entered_at: dt.datetime,
) -> None:
    """Add entries in their order."""
    at = entered_at.isoformat(sep=" ", timespec="seconds")
    seen = tuple(visits)
    stood = [(v.visit_id, v.stand) for v in seen if v.stand is not None]
    sets = [(v.visit_id, one) for v in seen for one in v.sets]
    _put(connection, f"visit ({_VISIT}, entered_at)", [
        (v.visit_id, v.field_id, v.date.isoformat(), v.who, v.stage, v.share, v.stand_notes,
         v.defoliation_percent, v.method, v.notes, v.corrects, at)
        for v in seen
    ])  # fmt: skip
    _put(connection, "stand_count", [(v, s.row_width_in, s.row_ft, s.hoop_in) for v, s in stood])
    _put(connection, "stand_place", [
        (v, number, place.plants, place.gap_ft)
        for v, s in stood for number, place in enumerate(s.places, start=1)
    ])  # fmt: skip
    _put(connection, "visit_time", [
        (v.visit_id, _time_text(v.arrived), _time_text(v.left))
        for v in seen if v.arrived is not None or v.left is not None
    ])  # fmt: skip
    _put(connection, "sample_set", [(v, one.number, one.size, one.unit) for v, one in sets])
    _put(connection, f"pest_count ({_COUNT})", [
        (v, one.number, c.pest, c.life_stage, c.number) for v, one in sets for c in one.counts
    ])  # fmt: skip
    _put(connection, f"treatment ({_TREATMENT}, entered_at)", [
        (t.treatment_id, t.field_id, t.product, t.applied_at.isoformat(sep=" "), t.reentry_hours,
         t.preharvest_days, t.notes, t.corrects, at)
        for t in treatments
    ])  # fmt: skip


def visits_in(
    connection: sqlite3.Connection, only: Collection[str] | None = None
) -> tuple[LoggedVisit, ...]:
    """Every visit, or those of some ids, in the order of entry."""
    sets, stands = _sets(connection, only), _stands(connection, only)
    times = _times(connection, only)
    rows = _select(connection, _VISIT, "visit", "visit_id", only, order="entry")
    return tuple(
        LoggedVisit(
            visit_id, field_id, dt.date.fromisoformat(date), who, stage, share, stand_notes,
            defoliation_percent, method, notes, tuple(sets.get(visit_id, ())), corrects,
            stands.get(visit_id), *times.get(visit_id, (None, None)),
        )
        for (visit_id, field_id, date, who, stage, share, stand_notes, defoliation_percent,
             method, notes, corrects) in rows
    )  # fmt: skip


def treatments_in(
    connection: sqlite3.Connection, only: Collection[str] | None = None
) -> tuple[Treatment, ...]:
    """Every treatment, or those of some ids, in the order of entry."""
    rows = _select(connection, _TREATMENT, "treatment", "treatment_id", only, order="entry")
    return tuple(
        Treatment(treatment_id, field_id, product, dt.datetime.fromisoformat(time), *rest)
        for treatment_id, field_id, product, time, *rest in rows
    )


def corrected_in(connection: sqlite3.Connection, table: str) -> dict[str, str]:
    """Id of an entry that was corrected -> id of the correction."""
    query = f"SELECT corrects, {table}_id FROM {table} WHERE corrects IS NOT NULL"
    return dict(connection.execute(query).fetchall())


def _sets(
    connection: sqlite3.Connection, only: Collection[str] | None
) -> dict[str, list[LoggedSet]]:
    """Visit id -> its sets by number, each with its counts in the order of entry."""
    counts: dict[tuple[str, int], list[LoggedCount]] = defaultdict(list)
    for visit_id, number, *count in _select(
        connection, _COUNT, "pest_count", "visit_id", only, order="entry"
    ):
        counts[visit_id, number].append(LoggedCount(*count))
    found: dict[str, list[LoggedSet]] = defaultdict(list)
    for visit_id, number, size, of in _select(
        connection, "visit_id, number, size, of", "sample_set", "visit_id", only, order="number"
    ):
        if of not in UNITS:
            raise _of_no_unit(of)
        found[visit_id].append(LoggedSet(number, size, of, tuple(counts[visit_id, number])))
    return found


def _of_no_unit(text: str) -> ValueError:
    """A unit that a newer version may have brought; a known one with a letter changed is damage."""
    alike = (one for one in UNITS if len(one) == len(text))
    damaged = any(sum(a != b for a, b in zip(text, one, strict=True)) == 1 for one in alike)
    if _NAME.fullmatch(text) and not damaged:
        return NewerValue(f"the unit {text!r} is not known here")
    return ValueError(f"{text!r} stands where the unit of a set belongs")


def _stands(connection: sqlite3.Connection, only: Collection[str] | None) -> dict[str, LoggedStand]:
    """Visit id -> its stand count."""
    places: dict[str, list[StandPlace]] = defaultdict(list)
    for visit_id, plants, gap_ft in _select(
        connection, "visit_id, plants, gap_ft", "stand_place", "visit_id", only, order="number"
    ):
        places[visit_id].append(StandPlace(plants, gap_ft))
    columns = "visit_id, row_width_in, row_ft, hoop_in"
    rows = _select(connection, columns, "stand_count", "visit_id", only, order="visit_id")
    return {
        visit_id: settled_stand(LoggedStand(tuple(places[visit_id]), *measures))
        for visit_id, *measures in rows
    }


def _times(
    connection: sqlite3.Connection, only: Collection[str] | None
) -> dict[str, tuple[dt.time | None, dt.time | None]]:
    """Visit id -> when somebody came to the field and left it."""
    columns = "visit_id, arrived_at, left_at"
    rows = _select(connection, columns, "visit_time", "visit_id", only, order="visit_id")
    return {name: (_time_of(arrived), _time_of(left)) for name, arrived, left in rows}


def _time_of(text: str | None) -> dt.time | None:
    return None if text is None else dt.time.fromisoformat(text)


def _time_text(time: dt.time | None) -> str | None:
    return None if time is None else time.isoformat("minutes")


def _select(
    connection: sqlite3.Connection,
    columns: str,
    table: str,
    key: str,
    only: Collection[str] | None,
    *,
    order: str,
) -> Iterator[tuple[Any, ...]]:
    query = f"SELECT {columns} FROM {table}"
    if only is None:
        return connection.execute(f"{query} ORDER BY {order}")
    ids = json.dumps(list(only))
    query += f" WHERE {key} IN (SELECT value FROM json_each(?)) ORDER BY {order}"
    return connection.execute(query, (ids,))


def _put(
    connection: sqlite3.Connection, table: str, rows: Sequence[tuple[str | float | None, ...]]
) -> None:
    """Add rows to a table, which is named with its columns where not all are given."""
    if rows:
        marks = ", ".join("?" * len(rows[0]))
        connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
