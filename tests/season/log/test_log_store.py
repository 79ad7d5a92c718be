"""The scouting log: what was acknowledged is there, and what is there is never changed."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import spoilt_file
from commands import as_nobody, process_environment
from hypothesis import given, settings
from hypothesis import strategies as st
from season_builder import FieldLine, VisitLine, build_season, day, snapshot

from stagecast.base.errors import SeasonProblems, StoreError
from stagecast.knowledge import load
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.log.entries import (
    LOG_FILE,
    LONGEST_TEXT,
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
)
from stagecast.season.log.schema import MIGRATIONS, TABLES
from stagecast.season.log.store import LogStore, in_rings

NOW = dt.datetime(2026, 7, 6, 15, 0)
NET = LoggedSet(1, 25.0, "sweeps", (LoggedCount("stink-bugs", "adults", 3.0),))
VISIT = LoggedVisit("v1", "F1", day(7, 6), "Ann", "R3", 0.6, sets=(NET,))
SECOND = replace(VISIT, visit_id="v2", date=day(7, 9))
SPRAY = Treatment("t1", "F1", "something", dt.datetime(2026, 7, 7, 14, 30), 12.0, 30.0)


@pytest.fixture
def store(tmp_path: Path) -> LogStore:
    """An empty log in a season folder."""
    return LogStore(tmp_path / LOG_FILE)


def dump(path: Path) -> list[str]:
    """Every statement that would make the file again."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


# --- adding and reading ---------------------------------------------------------------------


def test_what_was_added_is_read(store: LogStore) -> None:
    """A visit and a treatment with all they hold come back as they were."""
    visit = LoggedVisit(
        "v2", "F2", day(7, 5), "Ann", "R3", 0.6, "thin", 12.5, "net", "a\nb", (
            LoggedSet(1, 25.0, "sweeps", (
                LoggedCount("stink-bugs", "nymphs", 1.0), LoggedCount("corn-earworm", "", 0.0))),
            LoggedSet(2, 3.5, "row-feet", ()),
        ),
    )  # fmt: skip
    report = store.add([VISIT, visit], [SPRAY], entered_at=NOW)
    assert (report.new, report.known) == (("v1", "v2", "t1"), ())
    assert store.all_entries() == ScoutingLog((VISIT, visit), (SPRAY,))
    assert store.read() == ScoutingLog((visit, VISIT), (SPRAY,))


def test_a_log_without_a_file_is_empty_and_stays_without(store: LogStore) -> None:
    """Reading, and adding nothing, make no file."""
    assert store.read() == ScoutingLog()
    assert store.add(entered_at=NOW).new == ()
    assert not store.path.exists()


def test_entries_are_settled(store: LogStore) -> None:
    """Blanks around texts, capitals of life stages and the order of sets make no difference."""
    loose = replace(
        VISIT,
        visit_id="",
        notes="  wet ",
        share=0.1 + 0.2,
        sets=(
            replace(NET, number=2),
            LoggedSet(1, 25, "sweeps", (LoggedCount("stink-bugs", " Adults", -0.0),)),
        ),
    )
    (name,) = store.add([loose], entered_at=NOW).new
    (visit,) = store.read().visits
    assert (visit.visit_id, visit.notes, visit.share) == (name, "wet", 0.3)
    assert [one.number for one in visit.sets] == [1, 2]
    assert visit.sets[0].counts == (LoggedCount("stink-bugs", "adults", 0.0),)
    assert store.add([visit, replace(visit, visit_id="")], entered_at=NOW).known == (name,)


def test_an_id_follows_from_what_an_entry_says(store: LogStore) -> None:
    """The same entry without an id is one entry; any word that differs makes another."""
    visits = [replace(VISIT, visit_id="", notes=text) for text in ("a", "b", "a ")]
    assert len(store.add(visits, entered_at=NOW).new) == 2
    turned = replace(NET, counts=(LoggedCount("corn-earworm", "", 0.0), *NET.counts))
    back = replace(turned, counts=turned.counts[::-1])
    ids = [
        store.add([replace(VISIT, visit_id="", sets=(s,))], entered_at=NOW) for s in (turned, back)
    ]
    assert ids[0].new == ids[1].known


def test_ids_stay_what_they_were(store: LogStore) -> None:
    """A visit logged by an earlier version has the same id today, so that old tables stay known.

    The id was made by the version that first kept a log.
    """
    counts = (LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("corn-earworm", "", 0.0))
    sets = (LoggedSet(1, 25.0, "sweeps", counts),)
    visit = LoggedVisit("", "F07", day(7, 8), "A", "R3", 0.6, sets=sets)
    assert store.add([visit], entered_at=NOW).new == ("vb132c501b3",)


def test_an_id_that_is_taken_is_a_problem(store: LogStore) -> None:
    """The same id with other words, or of the other kind, is refused with all beside it."""
    store.add([VISIT], [SPRAY], entered_at=NOW)
    before = store.all_entries()
    other = replace(VISIT, visit_id="v2")
    for wrong in (replace(VISIT, stage="R4"), replace(VISIT, visit_id="t1")):
        with pytest.raises(SeasonProblems) as caught:
            store.add([other, wrong], entered_at=NOW, label="x.csv", lines={wrong.visit_id: 7})
        (problem,) = caught.value.problems
        assert (problem.file, problem.line, problem.column) == ("x.csv", 7, "visit_id")
        assert problem.found == wrong.visit_id
    with pytest.raises(SeasonProblems):
        store.add([other, replace(other, stage="R4")], entered_at=NOW)
    with pytest.raises(SeasonProblems):
        store.add(
            [replace(VISIT, visit_id="x")], [replace(SPRAY, treatment_id="x")], entered_at=NOW
        )
    assert store.all_entries() == before


@pytest.mark.parametrize(
    "wrong",
    [
        replace(VISIT, notes="a\0b"),
        replace(VISIT, notes="\ud800"),
        replace(VISIT, notes="x" * (LONGEST_TEXT + 1)),
        replace(VISIT, field_id=" "),
        replace(VISIT, share=1.5),
        replace(VISIT, stage=None),
        replace(VISIT, defoliation_percent=float("nan")),
        replace(VISIT, sets=(NET, NET)),
        replace(VISIT, sets=(replace(NET, size=0.0),)),
        replace(VISIT, sets=(replace(NET, number=0),)),
        replace(VISIT, sets=(replace(NET, counts=NET.counts * 2),)),
        replace(VISIT, sets=(replace(NET, counts=(LoggedCount("x", "", -1.0),)),)),
        replace(SPRAY, product=""),
        replace(SPRAY, reentry_hours=float("inf")),
        replace(SPRAY, applied_at=dt.datetime(2026, 7, 7, tzinfo=dt.UTC)),
    ],
)
def test_what_no_log_can_hold_is_refused(store: LogStore, wrong: LoggedVisit | Treatment) -> None:
    """A fault of the caller is a ValueError, and nothing beside it is logged."""
    of_visit = isinstance(wrong, LoggedVisit)
    with pytest.raises(ValueError, match=r"\w"):
        store.add([wrong] if of_visit else [VISIT], [] if of_visit else [wrong], entered_at=NOW)
    assert store.all_entries() == ScoutingLog()


# --- corrections ----------------------------------------------------------------------------


def test_a_correction_takes_the_place_of_what_it_corrects(store: LogStore) -> None:
    """The last of a chain stands, and every one of them is kept."""
    store.add([VISIT], [SPRAY], entered_at=NOW)
    second = replace(VISIT, visit_id="v2", stage="R4", corrects="v1")
    third = replace(VISIT, visit_id="v3", stage="R5", corrects="v2")
    spray = replace(SPRAY, treatment_id="t2", reentry_hours=24.0, corrects="t1")
    store.add([third, second], [spray], entered_at=NOW)  # in any order
    assert store.read() == ScoutingLog((third,), (spray,))
    assert store.all_entries() == ScoutingLog((VISIT, third, second), (SPRAY, spray))


def test_a_visit_corrected_to_nothing_is_taken_back(store: LogStore) -> None:
    """A tap by mistake, sent and undone: nobody was there, and both entries are kept."""
    store.add([VISIT], [], entered_at=NOW)
    nothing = LoggedVisit("v2", VISIT.field_id, VISIT.date, who="A", corrects="v1")
    store.add([nothing], [], entered_at=NOW)
    assert store.read().visits == ()
    assert store.all_entries().visits == (VISIT, nothing)
    noted = replace(nothing, visit_id="v3", notes="gate was locked", corrects="v2")
    store.add([noted], [], entered_at=NOW)
    assert store.read().visits == (noted,)


@pytest.mark.parametrize(
    ("new", "sentence"),
    [
        ([replace(VISIT, visit_id="v2", corrects="v9")], "no visit of this id"),
        ([replace(VISIT, visit_id="v2", corrects="t1")], "no visit of this id"),
        ([replace(VISIT, visit_id="v2", corrects="v0")], "corrected by v1 already"),
        ([replace(VISIT, visit_id="v2", corrects="v2")], "correct itself"),
        (
            [
                replace(VISIT, visit_id="v2", corrects="v3"),
                replace(VISIT, visit_id="v3", corrects="v2"),
            ],
            "correct itself",
        ),
        (
            [
                replace(VISIT, visit_id="v2", corrects="v1"),
                replace(VISIT, visit_id="v3", corrects="v1"),
            ],
            "corrected by v2 already",
        ),
    ],
)
def test_a_correction_that_would_hide_an_entry_is_refused(
    store: LogStore, new: list[LoggedVisit], sentence: str
) -> None:
    """Of what is not there, of what is corrected already, or in a ring: told, and not logged."""
    first = replace(VISIT, visit_id="v0", stage="R2")
    store.add([first, replace(VISIT, corrects="v0")], [SPRAY], entered_at=NOW)
    before = store.all_entries()
    with pytest.raises(SeasonProblems, match=sentence):
        store.add(new, entered_at=NOW)
    assert store.all_entries() == before


class Counted(dict[str, str]):
    """A dictionary that counts how often it is asked."""

    asked = 0

    def get(self, *args: Any) -> Any:
        """The same, counted."""
        self.asked += 1
        return super().get(*args)


def test_a_long_chain_of_corrections_is_gone_through_once() -> None:
    """Each correction is looked up once, however long the chain: asking is counted, not time."""
    chain = Counted({f"c{n}": f"c{n - 1}" for n in range(1, 400)})
    assert in_rings(chain) == set()
    assert chain.asked == len(chain) + 1, "and the first visit, which corrects nothing"


@given(st.dictionaries(st.integers(0, 9), st.integers(0, 12), max_size=10))
def test_rings_are_those_from_which_one_comes_back(corrections: dict[int, int]) -> None:
    """Whatever corrects what, an entry is in a ring where following it leads back to it."""
    said = {str(one): str(other) for one, other in corrections.items()}
    rings = set()
    for start in said:
        place = said[start]
        for _ in said:
            if place == start:
                rings.add(start)
            place = said.get(place, place)
    assert in_rings(said) == rings


# --- append-only ----------------------------------------------------------------------------


@pytest.mark.parametrize("table", sorted(TABLES))
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {0} SET {1} = {1}",
        "DELETE FROM {0}",
        "INSERT OR REPLACE INTO {0} SELECT * FROM {0}",
        "REPLACE INTO {0} SELECT * FROM {0} LIMIT 1",
    ],
)
def test_no_program_changes_a_row(store: LogStore, table: str, statement: str) -> None:
    """SQLite itself refuses to change, delete or replace what was logged."""
    store.add([VISIT], [SPRAY], entered_at=NOW)
    before = dump(store.path)
    column = "treatment_id" if table == "treatment" else "visit_id"
    with (
        contextlib.closing(sqlite3.connect(store.path)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="the scouting log"),
    ):
        connection.execute(statement.format(table, column))
    assert dump(store.path) == before


def test_a_second_correction_is_refused_by_the_file_itself(store: LogStore) -> None:
    """Also a program that knows nothing of ours cannot hide a correction behind another."""
    store.add([VISIT, replace(VISIT, visit_id="v2", corrects="v1")], entered_at=NOW)
    with (
        contextlib.closing(sqlite3.connect(store.path)) as connection,
        pytest.raises(sqlite3.IntegrityError),
    ):
        connection.execute(
            "INSERT OR REPLACE INTO visit SELECT 9, 'v9', field_id, date, who, stage, share, "
            "stand_notes, defoliation_percent, method, notes, 'v1', entered_at FROM visit LIMIT 1"
        )


def test_the_file_is_durable_by_its_settings(store: LogStore) -> None:
    """Strict tables, a version, a rollback journal that outlives a power cut, one file after.

    EXTRA (3) is FULL and the end of the journal on the disk:
    https://www.sqlite.org/pragma.html#pragma_synchronous
    """
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
        listed = connection.execute("SELECT name, strict FROM pragma_table_list").fetchall()
    assert {(table, 1) for table in TABLES} <= set(listed)
    with store._file.writing() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone() == (3,)
        assert connection.execute("PRAGMA foreign_keys").fetchone() == (1,)
    assert [path.name for path in store.path.parent.iterdir()] == [LOG_FILE]


# --- one file --------------------------------------------------------------------------------


def test_one_file_is_the_whole_log(store: LogStore, tmp_path: Path) -> None:
    """After each entry the folder holds the log and nothing else; a copy of it has all of it."""
    for number in range(3):
        store.add([replace(VISIT, visit_id=f"v{number}")], entered_at=NOW)
        assert [path.name for path in tmp_path.iterdir()] == [LOG_FILE]
    copy = tmp_path / "elsewhere" / "copy.sqlite"
    copy.parent.mkdir()
    shutil.copyfile(store.path, copy)
    assert LogStore(copy).all_entries() == store.all_entries()
    assert len(LogStore(copy).all_entries().visits) == 3


def write_ahead(path: Path, *, killed: bool = False) -> None:
    """Turn a log into one with a write-ahead log, as older versions made; or leave it unmerged."""
    script = (
        "import os, sqlite3, sys; c = sqlite3.connect(sys.argv[1], isolation_level=None); "
        "c.execute('PRAGMA journal_mode = WAL'); "
        "c.execute(\"INSERT INTO visit SELECT 9, 'v9', field_id, date, who, stage, share, "
        'stand_notes, defoliation_percent, method, notes, NULL, entered_at FROM visit"); '
        + ("os._exit(0)" if killed else "c.close()")
    )
    subprocess.run([sys.executable, "-c", script, str(path)], check=True, timeout=600)


@pytest.mark.parametrize("killed", [False, True])
def test_a_log_with_a_write_ahead_log_becomes_one_file(store: LogStore, killed: bool) -> None:
    """It is read as it is; the next entry merges all of it, after a copy, and leaves one file."""
    store.add([VISIT], entered_at=NOW)
    write_ahead(store.path, killed=killed)
    side = store.path.with_name(f"{LOG_FILE}-wal")
    assert side.exists() == killed
    before = store.path.read_bytes()
    assert [v.visit_id for v in store.read().visits] == ["v1", "v9"]
    assert store.path.read_bytes() == before
    store.add([SECOND], entered_at=NOW)
    assert {v.visit_id for v in store.read().visits} == {"v1", "v9", "v2"}
    copy = store.path.with_name(f"{LOG_FILE}.v{len(MIGRATIONS)}.bak")
    assert sorted(p.name for p in store.path.parent.iterdir()) == [LOG_FILE, copy.name]
    assert [v.visit_id for v in LogStore(copy).read().visits] == ["v1", "v9"]
    store.add([replace(SECOND, visit_id="v3")], entered_at=NOW)
    assert len(list(store.path.parent.iterdir())) == 2
    assert_whole(store.path)


def test_an_older_log_with_a_write_ahead_log_leaves_one_copy(store: LogStore) -> None:
    """Merged and brought up to date at one entry: one copy, of the version that it had."""
    version_1(store.path)
    write_ahead(store.path, killed=True)
    store.add([SECOND], entered_at=NOW)
    copy = store.path.with_name(f"{LOG_FILE}.v1.bak")
    assert sorted(p.name for p in store.path.parent.iterdir()) == [LOG_FILE, copy.name]
    assert [v.visit_id for v in LogStore(copy).read().visits] == ["v1", "v9"]
    assert {v.visit_id for v in store.read().visits} == {"v1", "v9", "v2"}


def test_a_write_ahead_log_in_use_is_added_to_and_left(store: LogStore) -> None:
    """While another program has the log open its form stays; the entry is in, no copy remains."""
    store.add([VISIT], entered_at=NOW)
    write_ahead(store.path)
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        assert other.execute("SELECT count(*) FROM visit").fetchone() == (2,)
        assert store.add([SECOND], entered_at=NOW).new == ("v2",)
        assert not list(store.path.parent.glob("*.bak"))
        assert len(store.read().visits) == 3
    store.add([replace(SECOND, visit_id="v3")], entered_at=NOW)
    assert len(list(store.path.parent.glob("*.bak"))) == 1
    assert len(list(store.path.parent.iterdir())) == 2


def test_a_reader_waits_for_a_writer_that_finishes(store: LogStore) -> None:
    """An entry on its way to the disk keeps readers waiting, and none of them fails."""
    store.add([VISIT], entered_at=NOW)
    other = sqlite3.connect(store.path, isolation_level=None, check_same_thread=False)
    other.execute("BEGIN EXCLUSIVE")
    ending = threading.Event()

    def end() -> None:
        ending.set()
        other.execute("COMMIT")

    timer = threading.Timer(0.3, end)
    timer.start()
    assert store.read().visits == (VISIT,)
    assert ending.is_set()
    timer.join()
    other.close()


def test_readers_beside_a_busy_writer_never_fail(tmp_path: Path) -> None:
    """Two readers at once, while a process makes the log and adds to it as fast as it can."""
    store = LogStore(tmp_path / LOG_FILE)
    process = writer(store.path, "Ann", 40)
    seen: list[int] = []
    failures: list[BaseException] = []

    def look() -> None:
        try:
            while process.poll() is None:
                seen.append(len(store.read().visits))
        except BaseException as error:
            failures.append(error)

    readers = [threading.Thread(target=look) for _ in range(2)]
    for reader in readers:
        reader.start()
    ids = process.communicate(timeout=600)[0].split()[1:]
    for reader in readers:
        reader.join()
    assert failures == []
    assert len(ids) == len(store.read().visits) == 40
    assert len(seen) > 2


# --- reading leaves no trace ----------------------------------------------------------------


def test_reading_changes_nothing_in_the_folder(store: LogStore) -> None:
    """Neither the file nor the folder around it is touched by reading."""
    store.add([VISIT], entered_at=NOW)
    before = snapshot(store.path.parent)
    assert store.read().visits == (VISIT,)
    assert snapshot(store.path.parent) == before


def test_reading_beside_a_writer_sees_what_is_committed(store: LogStore) -> None:
    """While another program has the file open, and has added to it, its entries are read."""
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute(
            "INSERT INTO visit SELECT 9, 'v9', field_id, date, who, stage, share, stand_notes, "
            "defoliation_percent, method, notes, NULL, entered_at FROM visit"
        )
        assert [v.visit_id for v in store.read().visits] == ["v1", "v9"]
        other.execute("BEGIN IMMEDIATE")
        assert len(store.read().visits) == 2


@pytest.fixture
def read_only() -> Iterator[LogStore]:
    """A log of one visit in a folder where nobody may write."""
    folder = Path(tempfile.mkdtemp())
    store = LogStore(folder / LOG_FILE)
    store.add([VISIT], entered_at=NOW)
    store.path.chmod(0o444)
    folder.chmod(0o555)
    with as_nobody():
        yield store
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_read_only_folder_can_be_read_and_not_written(read_only: LogStore) -> None:
    """The log is there, an entry is refused with a way out, and the log is whole after it."""
    assert read_only.read().visits == (VISIT,)
    with pytest.raises(StoreError, match="place you may write to"):
        read_only.add([replace(VISIT, visit_id="v2")], entered_at=NOW)
    assert read_only.read().visits == (VISIT,)
    assert len(list(read_only.path.parent.iterdir())) == 1


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_entries_in_a_side_file_are_not_silently_left_out(read_only: LogStore, ending: str) -> None:
    """Where the last entries stand in a file that cannot be merged, that is an error."""
    euid = os.geteuid()
    if os.getuid() == 0:
        os.seteuid(0)
    folder = read_only.path.parent
    folder.chmod(0o755)
    side = folder / f"{LOG_FILE}{ending}"
    # a journal counts only when it begins as one
    side.write_bytes(
        bytes.fromhex("d9d505f920a163d7") + bytes(504) if ending == "-journal" else b"\1" * 64
    )
    side.chmod(0o444)
    folder.chmod(0o555)
    os.seteuid(euid)
    for use in (read_only.read, lambda: read_only.add([SECOND], entered_at=NOW)):
        with pytest.raises(StoreError, match=f"still in {side.name}.*; copy the season folder"):
            use()


@pytest.mark.skipif(os.name == "nt", reason="rights of files are others there")
@pytest.mark.parametrize(("umask", "mode"), [(0o002, 0o664), (0o077, 0o600)])
def test_a_new_log_has_the_rights_that_its_owner_gives_new_files(
    umask: int, mode: int, store: LogStore
) -> None:
    """Two scouts of a group can log into one folder; what is private stays so."""
    before = os.umask(umask)
    try:
        store.add([VISIT], entered_at=NOW)
    finally:
        os.umask(before)
    assert store.path.stat().st_mode & 0o777 == mode


# --- versions -------------------------------------------------------------------------------

VERSION_1 = """
CREATE TABLE visit (
    entry INTEGER PRIMARY KEY, visit_id TEXT NOT NULL UNIQUE CHECK (visit_id <> ''),
    field_id TEXT NOT NULL, date TEXT NOT NULL, who TEXT NOT NULL, stage TEXT,
    share REAL CHECK (share BETWEEN 0 AND 1), stand_notes TEXT NOT NULL,
    defoliation_percent REAL CHECK (defoliation_percent BETWEEN 0 AND 100),
    method TEXT NOT NULL, notes TEXT NOT NULL,
    corrects TEXT UNIQUE REFERENCES visit (visit_id) DEFERRABLE INITIALLY DEFERRED,
    entered_at TEXT NOT NULL) STRICT;
CREATE TABLE sample_set (
    visit_id TEXT NOT NULL REFERENCES visit (visit_id), number INTEGER NOT NULL
    CHECK (number > 0), size REAL NOT NULL CHECK (size > 0), of TEXT NOT NULL,
    PRIMARY KEY (visit_id, number)) STRICT, WITHOUT ROWID;
CREATE TABLE pest_count (
    entry INTEGER PRIMARY KEY, visit_id TEXT NOT NULL, number INTEGER NOT NULL,
    pest TEXT NOT NULL, life_stage TEXT NOT NULL, counted REAL NOT NULL CHECK (counted >= 0),
    UNIQUE (visit_id, number, pest, life_stage),
    FOREIGN KEY (visit_id, number) REFERENCES sample_set (visit_id, number)) STRICT;
CREATE TABLE treatment (
    entry INTEGER PRIMARY KEY, treatment_id TEXT NOT NULL UNIQUE CHECK (treatment_id <> ''),
    field_id TEXT NOT NULL, product TEXT NOT NULL, applied_at TEXT NOT NULL,
    reentry_hours REAL NOT NULL CHECK (reentry_hours >= 0),
    preharvest_days REAL CHECK (preharvest_days >= 0), notes TEXT NOT NULL,
    corrects TEXT UNIQUE REFERENCES treatment (treatment_id) DEFERRABLE INITIALLY DEFERRED,
    entered_at TEXT NOT NULL) STRICT;
INSERT INTO visit VALUES (1, 'v1', 'F1', '2026-07-06', 'Ann', 'R3', 0.6, '', NULL, '', '', NULL,
    '2026-07-06 15:00:00');
INSERT INTO sample_set VALUES ('v1', 1, 25.0, 'sweeps');
INSERT INTO pest_count VALUES (1, 'v1', 1, 'stink-bugs', 'adults', 3.0);
INSERT INTO treatment VALUES (1, 't1', 'F1', 'something', '2026-07-07 14:30:00', 12.0, 30.0, '',
    NULL, '2026-07-06 15:00:00');
PRAGMA user_version = 1;
"""
"""A file of the first version, written out so that no later change of the code can change it."""

STEP = (
    "CREATE TABLE later (x TEXT) STRICT",
    "ALTER TABLE treatment ADD COLUMN told TEXT NOT NULL DEFAULT ''",
)


def version_1(path: Path) -> None:
    """Write a file of the first version."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(VERSION_1)


def test_a_file_of_the_first_version_is_read_and_added_to(store: LogStore) -> None:
    """What was logged with the first version is all there, now and after the next entry."""
    version_1(store.path)
    assert store.read() == ScoutingLog((VISIT,), (SPRAY,))
    later = replace(VISIT, visit_id="v2", date=day(7, 9))
    assert store.add([VISIT, later], [SPRAY], entered_at=NOW).new == ("v2",)
    assert store.read() == ScoutingLog((VISIT, later), (SPRAY,))


def test_migrating_keeps_every_row_and_leaves_a_copy(store: LogStore) -> None:
    """The steps run at the next entry, once; before it the file is read without being changed."""
    version_1(store.path)
    newer = LogStore(store.path, migrations=(*MIGRATIONS, STEP))
    before = snapshot(store.path.parent)
    assert newer.read() == ScoutingLog((VISIT,), (SPRAY,))
    assert snapshot(store.path.parent) == before
    for name in ("v2", "v3"):
        newer.add([replace(VISIT, visit_id=name)], entered_at=NOW)
    assert [v.visit_id for v in newer.read().visits] == ["v1", "v2", "v3"]
    assert newer.read().treatments == (SPRAY,)
    copy = store.path.with_name(f"{LOG_FILE}.v1.bak")
    assert sorted(p.name for p in store.path.parent.iterdir()) == [LOG_FILE, copy.name]
    assert LogStore(copy).all_entries() == ScoutingLog((VISIT,), (SPRAY,))
    with contextlib.closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)


def test_an_earlier_copy_is_never_replaced(store: LogStore) -> None:
    """A copy that is there keeps its bytes; the new one gets another name."""
    version_1(store.path)
    copy = store.path.with_name(f"{LOG_FILE}.v1.bak")
    copy.write_bytes(b"mine")
    LogStore(store.path, migrations=(*MIGRATIONS, STEP)).add([SECOND], entered_at=NOW)
    assert copy.read_bytes() == b"mine"
    assert LogStore(copy.with_name(f"{LOG_FILE}.v1-2.bak")).read().visits == (VISIT,)


def test_a_step_that_fails_leaves_the_file_as_it_was(store: LogStore) -> None:
    """The whole of a migration happens or nothing of it."""
    version_1(store.path)
    broken = LogStore(
        store.path, migrations=(*MIGRATIONS, (STEP[0], "INSERT INTO nowhere VALUES (1)"))
    )
    before = dump(store.path)
    with pytest.raises(StoreError, match="nowhere"):
        broken.add([SECOND], entered_at=NOW)
    assert dump(store.path) == before
    assert store.read() == ScoutingLog((VISIT,), (SPRAY,))


# --- files that are not ours, or not whole --------------------------------------------------


def _loose(path: Path) -> None:
    """As a program might that writes the file anew without its types."""
    path.unlink()
    text = VERSION_1.replace("STRICT", "").replace(", WITHOUT ROWID", "")
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(text.replace("'2026-07-06', 'Ann'", "'yesterday', 'Ann'"))


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (spoilt_file.newer, "newer stagecast.*99.*update stagecast"),
        (spoilt_file.foreign, "not a scouting log; if this was"),
        (spoilt_file.text, "not a database; if this was"),
        (spoilt_file.torn, "malformed; if this was"),
        (_loose, "yesterday.*; if this was"),
    ],
)
def test_an_unreadable_file_is_a_store_error(
    store: LogStore, damage: Callable[[Path], None], sentence: str
) -> None:
    """Damaged, foreign and newer files are named with what to do, and are not written to."""
    store.add([VISIT], entered_at=NOW)
    damage(store.path)
    content = store.path.read_bytes()
    with pytest.raises(StoreError, match=rf"(?s){LOG_FILE}: .*{sentence}"):
        store.read()
    if damage is not _loose:
        with pytest.raises(StoreError):
            store.add([SECOND], entered_at=NOW)
    assert store.path.read_bytes() == content


def _with_unit(unit: str) -> str:
    return (
        "INSERT INTO visit VALUES (9, 'v9', 'F1', '2026-07-06', 'Ann', 'R3', 0.6, '', NULL, '', '',"
        f" NULL, '2026-07-06 15:00:00'); INSERT INTO sample_set VALUES ('v9', 1, 2.0, '{unit}');"
    )


NEWER = {
    "a unit": (_with_unit("drop-cloths"), "the unit 'drop-cloths' is not known here", None),
    "a column that must be given": (
        "ALTER TABLE visit ADD COLUMN sky TEXT NOT NULL DEFAULT ''; "
        "CREATE TRIGGER sky BEFORE INSERT ON visit WHEN new.sky = '' BEGIN "
        "SELECT RAISE(ABORT, 'no sky'); END", "visit.sky is not known here", SECOND,
    ),
    "a column more than we write": (
        "ALTER TABLE sample_set ADD COLUMN net_in REAL", "sample_set.net_in is not known here",
        SECOND,
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", NEWER)
def test_what_a_newer_stagecast_brought_is_not_called_damaged(store: LogStore, what: str) -> None:
    """One sentence says who wrote it and to update; every row is there as it was."""
    made, told, added = NEWER[what]
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        connection.executescript(made)
    before = dump(store.path)
    with pytest.raises(StoreError) as error:
        store.read() if added is None else store.add([added], entered_at=NOW)
    (sentence,) = error.value.sentences()
    assert sentence == (
        f"{store.path}: written by a newer stagecast ({told}); update stagecast; nothing is lost"
    )
    assert dump(store.path) == before


def test_a_correction_of_what_a_newer_stagecast_wrote_says_so(store: LogStore) -> None:
    """Also the entry that is held against it names the newer version, and is not half logged."""
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        connection.executescript(_with_unit("drop-cloths"))
    before = dump(store.path)
    with pytest.raises(StoreError, match=r"newer stagecast.*drop-cloths.*update stagecast"):
        store.add([replace(SECOND, corrects="v9")], entered_at=NOW)
    assert dump(store.path) == before


@pytest.mark.parametrize("unit", ["sweepz", "Sweeps", "", "25", "sw\u00e9eps", "plan\u0000s"])
def test_a_unit_that_nobody_would_bring_is_damage(store: LogStore, unit: str) -> None:
    """A letter changed, or what is no name at all, sends nobody after a newer version."""
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        connection.executescript(_with_unit("sweeps").partition("INSERT INTO sample_set")[0])
        connection.execute("INSERT INTO sample_set VALUES ('v9', 1, 2.0, ?)", (unit,))
        connection.commit()
    with pytest.raises(StoreError, match=r"damaged: .* stands where the unit of a set belongs"):
        store.read()


@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo, lambda path: path.symlink_to("absent")])
def test_what_is_not_a_file_is_a_store_error(store: LogStore, make: Callable[[Path], None]) -> None:
    """A folder, a pipe or a broken link under the log's name is neither read nor written."""
    make(store.path)
    with pytest.raises(StoreError, match="not a regular file"):
        store.read()
    with pytest.raises(StoreError, match="not a regular file"):
        store.add([VISIT], entered_at=NOW)


def test_a_link_to_a_log_is_a_log(store: LogStore, tmp_path: Path) -> None:
    """A season folder may keep its log elsewhere, also with entries not merged yet."""
    store.add([VISIT], entered_at=NOW)
    (tmp_path / "season").mkdir()
    link = LogStore(tmp_path / "season" / "link.sqlite")
    link.path.symlink_to(store.path)
    with contextlib.closing(sqlite3.connect(store.path)):
        assert link.add([SECOND], entered_at=NOW).new == ("v2",)
        assert len(link.read().visits) == 2


# --- disks, crowds and kills ----------------------------------------------------------------


def test_a_full_disk_loses_nothing(store: LogStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """An entry that finds no room is refused in a sentence; what was logged is whole after it."""
    store.add([VISIT], entered_at=NOW)
    before = dump(store.path)
    connect = store._file._connect

    def full(mode: str) -> sqlite3.Connection:
        connection = connect(mode)
        connection.execute("PRAGMA max_page_count = 1")  # no page more than there are
        return connection

    with monkeypatch.context() as patched:
        patched.setattr(store._file, "_connect", full)
        with pytest.raises(StoreError, match="full; free some disk space and repeat"):
            store.add([replace(SECOND, notes="x" * 50_000)], entered_at=NOW)
    assert dump(store.path) == before
    assert store.add([SECOND], entered_at=NOW).new == ("v2",)


def test_a_write_cut_short_by_the_system_loses_nothing(store: LogStore) -> None:
    """Where the system itself refuses to let files grow, the log is whole and goes on after."""
    store.add([VISIT], entered_at=NOW)
    before = dump(store.path)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (64 * 1024, hard))
    try:
        with pytest.raises(StoreError, match="disk"):
            store.add([replace(SECOND, notes="x" * 90_000)], entered_at=NOW)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert dump(store.path) == before
    assert store.add([SECOND], entered_at=NOW).new == ("v2",)


def test_a_writer_that_holds_on_is_named(store: LogStore) -> None:
    """When another program keeps the file locked, the error says so; reading still works."""
    store.add([VISIT], entered_at=NOW)
    impatient = LogStore(store.path, busy_timeout_s=0.05)
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program is writing"):
            impatient.add([SECOND], entered_at=NOW)
        assert impatient.read().visits == (VISIT,)


SCRIPT = """
import datetime as dt, sys
from pathlib import Path
from stagecast.season.log.entries import LoggedCount, LoggedSet, LoggedVisit
from stagecast.season.log.store import LogStore
store, who, most = LogStore(Path(sys.argv[1])), sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
for i in range(most):
    counts = (LoggedCount("stink-bugs", "adults", float(i)),)
    sets = tuple(LoggedSet(n, 25.0, "sweeps", counts) for n in (1, 2, 3, 4))
    visit = LoggedVisit("", "F1", dt.date(2026, 7, 6), who, "R3", notes=str(i), sets=sets)
    print(*store.add([visit], entered_at=dt.datetime(2026, 7, 6, 15)).new, flush=True)
"""


def writer(path: Path, who: str, most: int) -> subprocess.Popen[str]:
    """A process that logs visits one after another and prints each id once it is acknowledged."""
    return subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(path), who, str(most)],
        env=process_environment(),
        stdout=subprocess.PIPE,
        text=True,
    )


def assert_whole(path: Path) -> None:
    """The file passes SQLite's own checks, rows and references."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_kill_loses_no_acknowledged_row(tmp_path: Path) -> None:
    """Killed at any moment, the first write included: every id that was printed is in the log.

    Each round goes on in the same file, so that what a kill left behind is met by the next. Rows
    are waited for, however long they take; the kill comes a moment after one of them.
    """
    chance = random.Random(6)
    store = LogStore(tmp_path / LOG_FILE)
    acknowledged: set[str] = set()
    for number, rows in enumerate([0, 0, 0, 1, 2, 3, 5]):
        process = writer(store.path, f"round {number}", 100_000)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        printed = [process.stdout.readline() for _ in range(rows)]
        time.sleep(chance.uniform(0.0, 0.02))
        process.kill()
        # a last line that was cut off was not acknowledged
        printed += process.stdout.read().splitlines(True)
        acknowledged |= {line[:-1] for line in printed if "\n" in line}
        process.wait()
        process.stdout.close()
        visits = store.read().visits
        assert acknowledged <= {visit.visit_id for visit in visits}
        assert all(len(visit.sets) == 4 for visit in visits)
    assert len(acknowledged) >= 11
    assert_whole(store.path)
    assert acknowledged <= {visit.visit_id for visit in store.read().visits}


HALF_WRITTEN = """
import os, sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA cache_size = 1")
connection.execute("BEGIN")
for i in range(300):
    connection.execute(
        "INSERT INTO treatment SELECT NULL, 't1' || ?, field_id, hex(randomblob(999)), applied_at,"
        "1, 1, '', NULL, entered_at FROM treatment WHERE treatment_id = 't1'", (i,))
os._exit(9)
"""


def test_a_write_that_was_cut_off_is_undone_by_reading(store: LogStore) -> None:
    """Half a transaction in the file itself, is not read."""
    version_1(store.path)
    command = [sys.executable, "-c", HALF_WRITTEN, str(store.path)]
    assert subprocess.run(command, check=False, timeout=600).returncode == 9
    assert store.path.with_name(f"{LOG_FILE}-journal").stat().st_size > 0
    assert store.read() == ScoutingLog((VISIT,), (SPRAY,))
    assert_whole(store.path)


def test_two_processes_at_once_lose_nothing(tmp_path: Path) -> None:
    """Both log into a file that is not there yet; each entry of either is in it, and whole."""
    store = LogStore(tmp_path / LOG_FILE)
    processes = [writer(store.path, who, 15) for who in ("Ann", "Ben")]
    told = [process.communicate(timeout=600)[0].split()[1:] for process in processes]
    assert [process.returncode for process in processes] == [0, 0]
    assert [len(ids) for ids in told] == [15, 15]
    visits = store.read().visits
    assert {visit.visit_id for visit in visits} == {*told[0], *told[1]}
    assert all(len(visit.sets) == 4 for visit in visits)
    assert_whole(store.path)


@settings(max_examples=25, deadline=None)
@given(
    batches=st.lists(
        st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 3)), max_size=4), max_size=5
    )
)
def test_batches_are_taken_whole_or_not_at_all(batches: list[list[tuple[str, int]]]) -> None:
    """Whatever is added in whatever order, the log is what a plain dictionary would hold."""
    with tempfile.TemporaryDirectory() as folder:
        store = LogStore(Path(folder) / LOG_FILE)
        expected: dict[str, int] = {}
        for batch in batches:
            after = dict(expected)
            clash = any(after.setdefault(name, number) != number for name, number in batch)
            visits = [replace(VISIT, visit_id=n, notes=str(i)) for n, i in batch]
            if clash:
                with pytest.raises(SeasonProblems):
                    store.add(visits, entered_at=NOW)
            else:
                report = store.add(visits, entered_at=NOW)
                assert set(report.new) == after.keys() - expected.keys()
                expected = after
            found = {v.visit_id: int(v.notes) for v in store.all_entries().visits}
            assert found == expected


# --- the season ------------------------------------------------------------------------------


def season(
    folder: Path, *entries: LoggedVisit | Treatment, visits: tuple[VisitLine, ...] = ()
) -> SeasonFolder:
    """A season of one field with these entries in its log."""
    build_season(folder, fields=[FieldLine("F1", day(5, 4))], visits=visits)
    seen = [e for e in entries if isinstance(e, LoggedVisit)]
    done = [e for e in entries if isinstance(e, Treatment)]
    LogStore(folder / LOG_FILE).add(seen, done, entered_at=NOW)
    knowledge = load()
    return read_season(folder, shipped=knowledge)


def test_a_season_holds_its_log_and_its_visits(tmp_path: Path) -> None:
    """A logged visit is a visit of the season, with its stage and without a pressure."""
    read = season(tmp_path, VISIT, SPRAY, visits=(VisitLine("F1", day(6, 20)),))
    assert read.log == ScoutingLog((VISIT,), (SPRAY,))
    assert read.doubts == ()
    first, second = read.visits
    assert (first.date, first.file, first.place) == (day(6, 20), "visits.csv", "line 2")
    assert (second.date, second.stage, second.share, second.pressure) == (
        day(7, 6),
        "R3",
        0.6,
        None,
    )
    assert (second.file, second.place) == (LOG_FILE, "visit v1")


def test_a_visit_of_words_alone_is_no_visit_of_the_season(tmp_path: Path) -> None:
    """A note says nothing of stage or pests, so that the field is still due."""
    read = season(tmp_path, LoggedVisit("v1", "F1", day(7, 6), notes="gate locked"))
    assert (read.visits, len(read.log.visits)) == ((), 1)


def test_the_log_wins_over_the_table_on_the_same_day(tmp_path: Path) -> None:
    """One visit remains, its stage that of the log, and a doubt names both."""
    line = VisitLine("F1", day(7, 6), "near threshold", "R2", "80")
    read = season(tmp_path / "counted", VISIT, visits=(line,))
    (visit,) = read.visits
    assert (visit.stage, visit.share, visit.pressure) == ("R3", 0.6, None)
    (doubt,) = read.doubts
    assert (doubt.file, doubt.line, doubt.doubtful) == ("visits.csv", 2, True)
    assert "v1" in doubt.message
    uncounted = replace(VISIT, sets=(), stage=None, share=None, defoliation_percent=5.0)
    (visit,) = season(tmp_path / "not", uncounted, visits=(line,)).visits
    assert (visit.stage, visit.share, visit.pressure) == ("R2", 0.8, "near threshold")


def test_names_that_nothing_stands_for_are_doubts(tmp_path: Path) -> None:
    """An unknown field or pest and another year are told, kept and not used as visits."""
    odd = (
        replace(VISIT, field_id="F9"),
        replace(VISIT, visit_id="v2", date=dt.date(2025, 7, 6)),
        replace(SPRAY, field_id="F9"),
        replace(VISIT, visit_id="v3", sets=(
            LoggedSet(1, 25.0, "sweeps", (LoggedCount("gobblers", "", 1.0),)),)),
    )  # fmt: skip
    read = season(tmp_path, *odd)
    assert len(read.log.visits) == 2  # that of 2025 is none of the season
    assert [visit.entry for visit in read.visits] == ["v3"]
    assert all(d.file == LOG_FILE and d.doubtful for d in read.doubts)
    found = sorted(str(d.found) for d in read.doubts)
    assert found == ["F9", "F9", "gobblers", "v2"]
    assert all(d.next_step for d in read.doubts)


def test_a_whole_season_of_another_year_is_one_doubt(tmp_path: Path) -> None:
    """A log that goes on from year to year is told of once a year, and none of it takes part."""
    old = [replace(VISIT, visit_id=f"o{n}", date=dt.date(2025, 7, 1 + n)) for n in range(9)]
    spray = replace(SPRAY, applied_at=SPRAY.applied_at.replace(year=2025))
    read = season(tmp_path, *old, spray, VISIT)
    (doubt,) = read.doubts
    assert doubt.message == "10 entries of 2025 are kept and not used in the season 2026"
    assert [visit.visit_id for visit in read.log.visits] == ["v1"]
    assert read.log.treatments == ()


def test_stages_out_of_order_in_the_log_are_doubts(tmp_path: Path) -> None:
    """Before planting, or backwards: told with the id, kept, and of no crop nothing is learnt."""
    read = season(
        tmp_path,
        replace(VISIT, visit_id="early", date=day(5, 1), sets=()),
        VISIT,
        replace(VISIT, visit_id="back", date=day(7, 9), stage="R2"),
    )
    early, backwards = read.doubts
    assert "not after planting" in early.message
    assert "--corrects early" in str(early.next_step)
    assert "(visit v1)" in backwards.message
    assert all(d.doubtful and d.file == LOG_FILE and d.line is None for d in read.doubts)
    assert [(v.entry, v.stage) for v in read.visits] == [
        ("early", None),
        ("v1", "R3"),
        ("back", "R2"),
    ]
