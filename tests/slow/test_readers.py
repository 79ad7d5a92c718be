"""Every reader of a season folder against what hands, spreadsheets and disks do to files."""

from __future__ import annotations

import datetime as dt
import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import run_command
from fuzz import spoilt
from own_pest import MINER
from season_builder import snapshot
from slow_tier import Told

from stagecast.base.errors import SeasonProblems, StagecastError
from stagecast.knowledge import load
from stagecast.season.boundaries import add_fields
from stagecast.season.folder import read_season
from stagecast.season.handed import keep_handed, read_handed
from stagecast.season.locks import Lock, keep_locks, read_locks
from stagecast.season.log.book import LogBook
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.log.table import read_log_csv, write_log_csv
from stagecast.weather.sources.station_csv import read_station_folder

pytestmark = pytest.mark.slow
TIMES = 400
PLANNED = 6
LONGEST_SENTENCE = 2_500
KNOWLEDGE = load()

Read = Callable[[Path], list[str]]
"""Reads a folder; what is wrong in it, in sentences."""

MORE_FILES = {
    "blocked.csv": "field_id,first_date,last_date,from_time,to_time,why\n"
    "F04,2026-07-07,2026-07-07,12:00,16:00,a wedding\nF07,2026-07-10,2026-07-11,,,a ditch\n",
    "travel.csv": "from,to,minutes,km\nhome,F04,12,15\nF04,F05,4,2.5\nF05,F04,5,\n",
    "pests/leaf-miner.toml": MINER,
    "map.geojson": json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {
                        "field_id": "M1", "planting_date": "2026-05-04", "maturity_group": 4.5
                    },
                    "geometry": {
                        "type": "Polygon",
                        "coordinates": [
                            [[-89.02, 36.0], [-89.01, 36.0], [-89.01, 36.008], [-89.02, 36.0]]
                        ],
                    },
                }
            ],
        },
        indent=1,
    ),
}  # fmt: skip


def season(folder: Path) -> list[str]:
    """All that a season folder holds but its weather and its log."""
    read = read_season(folder, shipped=KNOWLEDGE)
    assert all(np.isfinite([one.latitude, one.longitude]).all() for one in read.fields)
    return []


def weather(folder: Path) -> list[str]:
    """The stations of a folder."""
    readings = read_station_folder(folder / "weather")
    for record in readings.records:
        assert not np.isinf([record.tmin_c, record.tmax_c]).any()
    return [problem.sentence() for problem in readings.problems]


def log_table(folder: Path) -> list[str]:
    """A table of visits, from a spreadsheet or a phone: what is read goes out and comes back."""
    names = LogBook.of(folder, called={}).names
    table = read_log_csv(folder / "log.csv", names=names)
    again = folder.parent / "again.csv"
    again.write_text(write_log_csv(ScoutingLog(table.visits, table.treatments)), "utf-8")
    back = read_log_csv(again, names=names)
    assert (back.visits, back.treatments) == (table.visits, table.treatments)
    return [problem.sentence() for problem in table.problems if not problem.doubtful]


def drawn(folder: Path) -> list[str]:
    """A map of fields, added to a copy of the folder: all of it or nothing."""
    copy = folder.parent / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy)
    before = snapshot(copy)
    try:
        add_fields(copy, folder / "map.geojson")
    except SeasonProblems:
        assert snapshot(copy) == before
        raise
    return []


FILES: dict[str, Read] = {
    "season.toml": season, "fields.csv": season, "visits.csv": season, "traps.csv": season,
    "blocked.csv": season, "travel.csv": season, "pests/leaf-miner.toml": season,
    "weather/stations.csv": weather, "weather/DEMO02.csv": weather, "log.csv": log_table,
    "map.geojson": drawn,
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(logged_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with a file of every kind."""
    made = tmp_path_factory.mktemp("fuzz") / "season"
    shutil.copytree(logged_once, made)
    station = made / "weather" / "DEMO02.csv"
    station.write_text("\n".join(station.read_text("utf-8").splitlines()[:400]), "utf-8")
    for name, text in MORE_FILES.items():
        (made / name).parent.mkdir(exist_ok=True)
        (made / name).write_text(text, "utf-8")
    return made


def wrong(read: Read, folder: Path) -> list[str]:
    """What a reader says; anything but an error of ours is a fault."""
    try:
        return read(folder)
    except StagecastError as error:
        return error.sentences() if isinstance(error, SeasonProblems) else [str(error)]


@pytest.mark.parametrize("name", FILES)
def test_a_reader_says_what_is_wrong_or_reads(
    name: str, folder: Path, chance: random.Random, figure: Told
) -> None:
    """Proves that no file ends a reader, that its sentences are short and clean, and it only reads.

    Some of what is read is planned too: what passes the reader ends no plan.
    """
    good = (folder / name).read_bytes()
    told = planned = 0
    assert wrong(FILES[name], folder) == [], "the file is good before it is spoilt"
    try:
        for _ in range(TIMES):
            (folder / name).write_bytes(spoilt(good, chance))
            before = snapshot(folder)
            sentences = wrong(FILES[name], folder)
            assert snapshot(folder) == before
            told += bool(sentences)
            for sentence in sentences:
                assert 0 < len(sentence) < LONGEST_SENTENCE
                assert sentence.isprintable(), sentence
            if not sentences and planned < PLANNED:
                planned += 1
                ran: Any = run_command("plan", folder, "--as-of", "2026-07-07")
                assert ran.code in (0, 2), ran.err
                assert ran.out or ran.err
    finally:
        (folder / name).write_bytes(good)
    figure(
        f"{name}: {TIMES} spoilt, {told} refused, {TIMES - told} read, {planned} of them planned"
    )


DAY = dt.date(2026, 7, 7)
KEPT: dict[str, Callable[[Path], object]] = {"locks.json": read_locks, "letters.json": read_handed}


@pytest.mark.parametrize("name", KEPT)
def test_what_a_person_decided_is_read_whole_or_refused(
    name: str, tmp_path: Path, chance: random.Random, figure: Told
) -> None:
    """Proves that a file of locks or of letters handed over ends no reader and stays as it is."""
    keep_locks(tmp_path, {f"F{n}": Lock(day=DAY, scout="Ann") for n in range(9)}, as_of=DAY)
    keep_handed(tmp_path, [f"Grower {n}" for n in range(9)], DAY)
    good, told = (tmp_path / name).read_bytes(), 0

    def read(folder: Path) -> list[str]:
        KEPT[name](folder)
        return []

    for _ in range(5 * TIMES):
        changed = spoilt(good, chance)
        (tmp_path / name).write_bytes(changed)
        sentences = wrong(read, tmp_path)
        told += bool(sentences)
        assert all(sentence.isprintable() for sentence in sentences)
        assert (tmp_path / name).read_bytes() == changed
    figure(f"{name}: {5 * TIMES} spoilt, {told} refused, {5 * TIMES - told} read")
