"""When somebody came to a field and left it: in the table, in the log, and of no older entry."""

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

from stagecast.knowledge import load
from stagecast.season.log.cells import LogNames
from stagecast.season.log.entries import LOG_FILE, LoggedVisit, ScoutingLog, settled_visit
from stagecast.season.log.schema import MIGRATIONS
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import HEADER, read_log_csv, save_log_csv, write_log_csv
from stagecast.season.settings.pest_names import PestNames

NAMES = LogNames(2026, {"F1"}, PestNames.of(load().pests))
NOW = dt.datetime(2026, 7, 7, 18)
PLAIN = settled_visit(LoggedVisit("", "F1", day(7, 7), stage="R2"))
TIMES = st.one_of(st.none(), st.times())


def table(folder: Path, text: str) -> Path:
    """A table of the log."""
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("arrived", "left", "minutes"),
    [("8:05", "8:40", 35), ("1:30 pm", "2:02PM", 32), ("8:05", "", None)],
)  # fmt: skip
def test_times_are_read_as_people_write_them(
    tmp_path: Path, arrived: str, left: str, minutes: int | None
) -> None:
    """24 hours or am and pm, as everywhere; one of the two may be blank."""
    text = f"field_id,date,stage,arrived,left\nF1,2026-07-07,R2,{arrived},{left}\n"
    (visit,) = read_log_csv(table(tmp_path, text), names=NAMES).visits
    assert visit.minutes == minutes
    assert visit.arrived is not None


@pytest.mark.parametrize(
    ("arrived", "left", "column"), [("25:00", "", "arrived"), ("8", "9:00", "arrived"),
                                    ("8:05", "soon", "left"), ("8:05", "8:04", "left")],
)  # fmt: skip
def test_a_time_that_cannot_be_is_told_at_its_cell(
    tmp_path: Path, arrived: str, left: str, column: str
) -> None:
    """No such hour, no time at all, and a visit that ends before it begins."""
    text = f"field_id,date,stage,arrived,left\nF1,2026-07-07,R2,{arrived},{left}\n"
    (problem,) = read_log_csv(table(tmp_path, text), names=NAMES).problems
    assert (problem.line, problem.column) == (2, column)


def test_an_entry_without_times_has_the_id_that_it_always_had() -> None:
    """The id was written down before visits had times; with times it is another."""
    assert PLAIN.visit_id == "v333845bc15"
    timed = settled_visit(replace(PLAIN, visit_id="", arrived=dt.time(8, 5)))
    assert timed.visit_id != PLAIN.visit_id


@given(one=TIMES, other=TIMES)
def test_times_come_back_from_the_log_and_from_its_table(
    tmp_path_factory: pytest.TempPathFactory, one: dt.time | None, other: dt.time | None
) -> None:
    """To the minute, with the same id; a table of the version before may be written over."""
    if one is not None and other is not None:
        one, other = min(one, other), max(one, other)
    visit = settled_visit(replace(PLAIN, visit_id="", arrived=one, left=other))
    folder = tmp_path_factory.mktemp("times")
    store = LogStore(folder / LOG_FILE)
    store.add([visit], entered_at=NOW)
    assert store.read().visits == (visit,)
    path = table(folder, HEADER.removesuffix(",arrived,left") + "\n")
    save_log_csv(path, write_log_csv(ScoutingLog((visit,))))
    assert read_log_csv(path, names=NAMES).visits == (visit,)


def test_a_log_of_the_version_before_is_read_and_takes_times(tmp_path: Path) -> None:
    """An old log is read as it is, and changed at the first entry."""
    path = tmp_path / LOG_FILE
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as old:
        for statement in (*MIGRATIONS[0], *MIGRATIONS[1]):
            old.execute(statement)
        old.execute(
            "INSERT INTO visit VALUES (1, 'v0', 'F1', '2026-06-01', '', 'V1', NULL, '', NULL, '', "
            "'', NULL, '2026-06-01 12:00:00')"
        )
        old.execute("PRAGMA user_version = 2")
    store = LogStore(path)
    assert [visit.minutes for visit in store.read().visits] == [None]
    timed = replace(PLAIN, visit_id="", arrived=dt.time(8, 5), left=dt.time(8, 40))
    store.add([timed], entered_at=NOW)
    assert [visit.minutes for visit in store.read().visits] == [None, 35]
