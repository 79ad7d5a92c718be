"""Alerts are told once, and again only for a reason."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import StoreError
from stagecast.season.told import FILE, ToldAlerts, keep_told, read_told

DAY = dt.date(2026, 7, 7)


@dataclass(frozen=True)
class Any:
    """An alert, as far as the telling goes."""

    key: str = "F07.near-R2"
    level: int = 1
    day: dt.date | None = None


def after(days: int) -> dt.date:
    """A day so many days after the first."""
    return DAY + dt.timedelta(days=days)


@given(st.integers(1, 200))
def test_it_is_told_once(days: int) -> None:
    """It is new on the day of its telling, however often one asks, and on no later one."""
    told = ToldAlerts().telling([Any()], DAY, {})
    assert ToldAlerts().is_new(Any(), DAY)
    assert told.is_new(Any(), DAY)
    assert not told.is_new(Any(), after(days))


def test_it_is_told_again_when_it_gets_worse() -> None:
    """A higher level is new, even of what a person was done with; a lower one is not."""
    told = ToldAlerts().telling([Any()], DAY, {}).put_away(Any().key, later=None)
    assert told.is_new(Any(level=2), after(1))
    worse = told.telling([Any(level=2)], after(1), {})
    assert not worse.is_new(Any(level=1), after(2))


def test_it_is_told_again_when_its_day_comes() -> None:
    """On its day, once, not before."""
    alert = Any(day=after(3))
    told = ToldAlerts().telling([alert], DAY, {})
    assert not told.is_new(alert, after(2))
    assert told.is_new(alert, after(3))
    assert not told.telling([alert], after(3), {}).is_new(alert, after(4))


def test_what_is_put_off_comes_back_on_its_day() -> None:
    """It is silent until then, and told once more."""
    told = ToldAlerts().telling([Any()], DAY, {}).put_away(Any().key, later=after(3))
    assert [told.is_new(Any(), after(days)) for days in (0, 1, 2, 3)] == [False, False, False, True]
    assert not told.telling([Any()], after(3), {}).is_new(Any(), after(4))


def test_what_is_done_stays_away() -> None:
    """Not even on its day."""
    alert = Any(day=after(2))
    told = ToldAlerts().telling([alert], DAY, {}).put_away(alert.key, later=None)
    assert not any(told.is_new(alert, after(days)) for days in range(5))


def test_it_is_kept_and_a_damaged_file_is_not_taken_for_an_empty_one(tmp_path: Path) -> None:
    """What was told is read back; a file that is damaged is named, with what to do."""
    told = ToldAlerts().telling([Any()], DAY, {"F07": {"R2": after(9)}})
    assert read_told(tmp_path) == ToldAlerts()
    keep_told(tmp_path, told)
    assert read_told(tmp_path) == told
    (tmp_path / FILE).write_text("{", "utf-8")
    with pytest.raises(StoreError, match="delete it"):
        read_told(tmp_path)
