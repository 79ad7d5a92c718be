"""Damaged SQLite files of ours: one sentence with what to do, never a traceback."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from damaged_file import KINDS, damaged, make_log, make_store, refused

from stagecast.base.errors import StoreError
from stagecast.season.log.store import LogStore
from stagecast.weather.store import WeatherStore

DAMAGES = 250


@pytest.mark.parametrize("kind", KINDS)
def test_damage_is_told_in_a_sentence_or_does_no_harm(kind: str, tmp_path: Path) -> None:
    """However a file is damaged, it is read or refused as ours are; most damage is found."""
    make, read = KINDS[kind]
    whole = tmp_path / "whole.sqlite"
    make(whole)
    data, told = whole.read_bytes(), 0
    for seed in range(DAMAGES):
        path = tmp_path / "damaged.sqlite"
        path.write_bytes(damaged(data, random.Random(seed)))
        sentence = refused(read, path)
        told += sentence is not None
        assert sentence is None or str(path) in sentence
        path.unlink()
    assert told > DAMAGES / 3


def in_place(old: bytes, new: bytes) -> Callable[[Path], None]:
    """Overwrite the first place of some bytes with as many others."""

    def change(path: Path) -> None:
        data = path.read_bytes()
        assert old in data
        path.write_bytes(data.replace(old, new))

    return change


def test_the_copy_to_go_back_to_is_named(tmp_path: Path) -> None:
    """A damaged log with copies beside it: the newest of them is the step."""
    path = tmp_path / "scouting.sqlite"
    make_log(path)
    for number in (1, 2):
        shutil.copy(path, tmp_path / f"scouting.sqlite.v{number}.bak")
    in_place(b"F07", b"\xff07")(path)
    with pytest.raises(
        StoreError, match=r"decode to UTF-8.*the newest is scouting\.sqlite\.v2\.bak"
    ):
        LogStore(path).read()


def test_days_out_of_order_are_no_record(tmp_path: Path) -> None:
    """A date that damage made another one would lay days on the wrong place; it is refused."""
    path = tmp_path / "weather.sqlite"
    make_store(path)
    in_place(b"2026-07-15", b"0026-07-15")(path)
    with pytest.raises(StoreError, match="damaged"):
        WeatherStore(path).load()
