"""Writers killed at any moment: what they acknowledged is there, and each file is whole."""

from __future__ import annotations

import contextlib
import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import killed
import numpy as np
import pytest
from killed import Writers
from slow_tier import Told

from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore
from stagecast.weather.store import WeatherStore

pytestmark = [pytest.mark.slow, pytest.mark.skipif("sys.platform == 'win32'", reason="forks")]
KILLS = 100
MOST_VISITS = 300
"""Longer logs are begun anew: reading a long one after every kill shows nothing more."""


@pytest.fixture(scope="module")
def writers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Writers]:
    """One program for all kills."""
    with killed.writers(tmp_path_factory.mktemp("told")) as program:
        yield program


def assert_whole(path: Path) -> None:
    """The file passes SQLite's own checks, rows and references."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_killed_log_has_all_it_acknowledged(
    tmp_path: Path, writers: Writers, chance: random.Random, figure: Told
) -> None:
    """Proves that no entry is lost that was acknowledged, by one who logs or by two at once."""
    path = tmp_path / LOG_FILE
    acknowledged: set[str] = set()
    journals = acked = 0
    for number in range(KILLS):
        who = (f"Ann {number}", f"Ben {number}")[: chance.choice((1, 1, 2))]
        told = set(writers.killed("logs", path, who, draw=chance))
        acked += len(told)
        acknowledged |= told
        journals += path.with_name(f"{LOG_FILE}-journal").exists()
        every = LogStore(path).all_entries() if path.exists() else None
        visits = () if every is None else every.visits
        assert acknowledged <= {visit.visit_id for visit in visits}
        assert all(len(visit.sets) == 4 for visit in visits)
        if number % 10 == 0 and path.exists():
            assert_whole(path)
        if len(visits) > MOST_VISITS:
            path.unlink()
            acknowledged.clear()
    assert_whole(path)
    figure(
        f"log: {KILLS} kills, {journals} within a write, {acked} entries acknowledged, none lost"
    )


def test_a_killed_weather_store_has_whole_fetches(
    tmp_path: Path, writers: Writers, chance: random.Random, figure: Told
) -> None:
    """Proves that a station's days are of one fetch, the last acknowledged or a later one."""
    path = tmp_path / "weather.sqlite"
    fetches = 0
    for _ in range(KILLS):
        told = writers.killed("stores", path, ("S1",), draw=chance)
        fetches += len(told)
        if not path.exists():
            assert not told
            continue
        for record in WeatherStore(path).load():
            assert len(np.unique(record.tmax_c)) == 1
            assert len(record.tmax_c) == 200
            assert not told or record.tmax_c[0] >= int(told[-1]) / 100.0
    assert_whole(path)
    figure(f"weather store: {KILLS} kills, {fetches} fetches acknowledged, none torn or lost")


def test_a_killed_save_leaves_a_whole_file(
    tmp_path: Path, writers: Writers, chance: random.Random, figure: Told
) -> None:
    """Proves that a file is of one save, never older than the last that was acknowledged."""
    path = tmp_path / "fields.csv"
    saves = 0
    for number in range(KILLS):
        told = writers.killed("saves", path, (f"round {number}",), draw=chance)
        saves += len(told)
        lines = path.read_text("utf-8").splitlines() if path.exists() else []
        assert len(lines) in (0, 5_000)
        assert len(set(lines)) <= 1
        if told:
            assert lines[0].startswith(f"round {number} ")
            assert int(lines[0].split()[2]) >= int(told[-1])
    figure(f"saved file: {KILLS} kills, {saves} saves acknowledged, none torn or lost")
