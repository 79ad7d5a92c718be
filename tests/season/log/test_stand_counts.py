"""Stand counts in the log: in words, in the table, in the file, and back as they were."""

from __future__ import annotations

import contextlib
import datetime as dt
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from season_builder import day

from stagecast.base.errors import StoreError
from stagecast.knowledge import load
from stagecast.season.log.cells import COLUMNS, LogNames
from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedStand,
    LoggedVisit,
    ScoutingLog,
    StandPlace,
    settled_visit,
    standing,
)
from stagecast.season.log.schema import MIGRATIONS
from stagecast.season.log.stands import HOOP_EXAMPLE, STAND_EXAMPLE, parse_stand, stand_text
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import HEADER, read_log_csv, save_log_csv, write_log_csv
from stagecast.season.settings.pest_names import PestNames

NOW = dt.datetime(2026, 6, 3, 15, 0)
NAMES = LogNames(2026, {"F1"}, PestNames.of(load().pests))
ROWS = LoggedStand(
    tuple(map(StandPlace, (118, 104, 121, 99, 110), (None, 3.0, None, None, None))), 15.0, 17.4
)
HOOP = LoggedStand(tuple(map(StandPlace, (14, 12, 15, 11, 13))), hoop_in=30.0)
VISIT = LoggedVisit("v1", "F1", day(6, 3), stand=ROWS)

HUNDREDTHS = st.integers(0, 100_000).map(lambda n: n / 100)
STANDS = st.one_of(
    st.builds(
        LoggedStand,
        st.lists(
            st.builds(StandPlace, st.integers(0, 9_999), st.none() | st.floats(0.0, 0.5)),
            min_size=1,
        ).map(tuple),
        st.floats(3.0, 60.0),
        st.floats(0.5, 1_000.0),
    ),
    st.builds(
        LoggedStand,
        st.lists(st.builds(StandPlace, st.integers(0, 9_999)), min_size=1).map(tuple),
        hoop_in=st.floats(6.0, 120.0),
    ),
)


@pytest.mark.parametrize(
    ("text", "stand"),
    [
        (STAND_EXAMPLE, ROWS),
        (HOOP_EXAMPLE, HOOP),
        ('15" rows, 17.4 feet: 118,104 gap 3 ft,121, 99,110', ROWS),
        ("15 in rows, 17.4ft: 118, 104 Gaps 3, 121, 99, 110,", ROWS),
        ("30 in. hoop: 14,12,15,11,13", HOOP),
    ],
)
def test_a_stand_count_is_read_as_people_write_it(text: str, stand: LoggedStand) -> None:
    """Proves the plain forms that a person may type."""
    assert parse_stand(text) == stand


@given(STANDS)
def test_a_stand_count_in_words_reads_back(stand: LoggedStand) -> None:
    """Proves that what is shown of any stand count is what would be typed for it."""
    assert parse_stand(stand_text(stand)) == stand


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("15-inch rows, 17.4 ft", "a colon"),
        ("15 rows: 4", "begins with the row width"),
        ("15-inch rows, 17.4 ft:", "1 to 200 places"),
        ("15-inch rows, 17.4 ft: 12.5", "whole number"),
        ("15-inch rows, 17.4 ft: -3", "whole number, 0 to"),
        ("15-inch rows, 17.4 ft: 100 gap 18", "gaps at a place"),
        ("15-inch rows, 17.4 ft: 100 3", "is not plants at a place"),
        ("150-inch rows, 17.4 ft: 100", "a row width"),
        ("15-inch rows, 0 ft: 100", "row at a place"),
        ("2-inch hoop: 4", "a hoop of 2 inches"),
        ("30-inch hoop: 4 gap 1", "a hoop has none"),
        ("x-inch rows, 17.4 ft: 100", "'x'"),
        ("nan-inch rows, 17.4 ft: 100", "nan"),
    ],
)
def test_a_slip_is_told_with_its_reason(text: str, reason: str) -> None:
    """Proves that nothing out of reason gets into the log."""
    with pytest.raises(ValueError, match=reason):
        parse_stand(text)


@given(st.text(max_size=60))
def test_no_text_does_more_than_be_refused(text: str) -> None:
    """Proves that whatever is typed is read or refused with a reason."""
    with contextlib.suppress(ValueError):
        parse_stand(text)


@pytest.mark.parametrize("stand", [ROWS, HOOP])
def test_the_log_and_its_table_give_it_back(stand: LoggedStand, tmp_path: Path) -> None:
    """Proves the way into the file, out to a table, and into another log, ids unchanged."""
    store, other = LogStore(tmp_path / LOG_FILE), LogStore(tmp_path / "other.sqlite")
    visit = replace(VISIT, visit_id="", stand=stand)
    store.add([visit], entered_at=NOW)
    (kept,) = store.read().visits
    assert kept == settled_visit(visit)
    table = tmp_path / "log.csv"
    save_log_csv(table, write_log_csv(store.all_entries()))
    read = read_log_csv(table, names=NAMES)
    assert (read.problems, read.visits) == ((), (kept,))
    other.add(read.visits, entered_at=NOW)
    assert other.read() == store.read()
    without = replace(kept, visit_id="", stand=None)
    assert settled_visit(without).visit_id != kept.visit_id


def test_a_wrong_cell_is_told_at_its_column(tmp_path: Path) -> None:
    """Proves that a table with a slip in a stand count is refused at its place."""
    table = tmp_path / "log.csv"
    table.write_text("field_id,date,stand_count\nF1,2026-06-03,plenty\n", "utf-8")
    (problem,) = read_log_csv(table, names=NAMES).problems
    assert (problem.line, problem.column, problem.found) == (2, "stand_count", "plenty")


def test_a_table_of_an_earlier_version_may_be_replaced(tmp_path: Path) -> None:
    """Proves that an export over one of an earlier version is no foreign file."""
    table = tmp_path / "log.csv"
    table.write_text(HEADER.partition(",stand_count")[0] + "\n", "utf-8")
    save_log_csv(table, write_log_csv(ScoutingLog((VISIT,))))
    assert read_log_csv(table, names=NAMES).visits == (VISIT,)
    table.write_text("something,else\n", "utf-8")
    with pytest.raises(StoreError):
        save_log_csv(table, HEADER)


def test_a_log_of_an_earlier_version_takes_a_stand_count(tmp_path: Path) -> None:
    """Proves that an old log is read as it is, and changed at the first entry, after a copy."""
    path = tmp_path / LOG_FILE
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as old:
        for statement in MIGRATIONS[0]:
            old.execute(statement)
        old.execute(
            "INSERT INTO visit VALUES (1, 'v0', 'F1', '2026-06-01', '', 'V1', NULL, '', NULL, '', "
            "'', NULL, '2026-06-01 12:00:00')"
        )
        old.execute("PRAGMA user_version = 1")
    before = path.read_bytes()
    store = LogStore(path)
    assert [visit.visit_id for visit in store.read().visits] == ["v0"]
    assert path.read_bytes() == before
    store.add([VISIT], entered_at=NOW)
    assert [visit.stand for visit in store.read().visits] == [None, ROWS]
    copy = path.with_name(f"{LOG_FILE}.v1.bak")
    assert copy.read_bytes()[:16] == before[:16]
    assert [visit.visit_id for visit in LogStore(copy).read().visits] == ["v0"]


@pytest.mark.parametrize("table", ["stand_count", "stand_place"])
def test_stand_counts_are_only_added_to(tmp_path: Path, table: str) -> None:
    """Proves that no program changes, deletes or replaces a row of them."""
    store = LogStore(tmp_path / LOG_FILE)
    store.add([VISIT], entered_at=NOW)
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        for statement in (
            f"UPDATE {table} SET visit_id = 'x'",
            f"DELETE FROM {table}",
            f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="the scouting log"):
                connection.execute(statement)


def test_a_correction_keeps_the_count_and_can_take_it_back() -> None:
    """Proves that a visit with a stand count alone stands, and an empty one is taken back."""
    emptied = LoggedVisit("v2", "F1", day(6, 3), corrects="v1")
    counted = replace(emptied, stand=HOOP)
    assert standing([VISIT, emptied], []).visits == ()
    assert standing([VISIT, counted], []).visits == (counted,)


def test_newer_columns_come_last() -> None:
    """Proves that a table of an earlier version begins like ours."""
    assert COLUMNS[-3:] == ("stand_count", "arrived", "left")
