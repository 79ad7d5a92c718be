"""A season on a day: everything once, and only when asked for."""

from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from pathlib import Path

import pytest
from commands import run_command

from stagecast.visits import season_day
from stagecast.visits.season_day import SeasonDay

AS_OF = dt.date(2026, 7, 8)


@pytest.fixture
def counted(demo: Path, tmp_path: Path) -> Path:
    """A season folder whose log holds counts in two fields."""
    folder = tmp_path / "season"
    shutil.copytree(demo, folder)
    for field_id, count in (("F01", 3), ("F07", 12)):
        sets = [f"--set=25 sweeps: stink bugs {count + i}; corn earworm 0" for i in range(4)]
        assert run_command("log", "add", folder, field_id, "--date=2026-07-07", *sets).code == 0
    return folder


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often visits were assessed and fields forecast."""
    seen: Counter[str] = Counter()
    for name in ("assess_visit", "forecast_season", "next_visit", "season_histories"):
        monkeypatch.setattr(season_day, name, _counting(getattr(season_day, name), name, seen))
    return seen


def _counting(function, name, seen):
    def counts(*args, **others):
        seen[name] += 1
        return function(*args, **others)

    return counts


@pytest.mark.parametrize("command", [("plan",), ("week", "--starting=2026-07-08")])
def test_a_command_assesses_each_visit_once(
    counted: Path, calls: Counter[str], command: tuple[str, ...]
) -> None:
    """A plan or a route holds two counted visits against their thresholds twice, not 4 or 16."""
    ran = run_command(command[0], counted, f"--as-of={AS_OF}", *command[1:])
    assert ran.code == 0
    assert calls["assess_visit"] == 2
    assert calls["forecast_season"] == 1


def test_nothing_is_worked_out_before_it_is_asked_for(counted: Path, calls: Counter[str]) -> None:
    """Opening a season reads it; forecasts, visits and answers wait until somebody asks."""
    day = SeasonDay.open(counted, as_of=AS_OF)
    assert not calls
    field = day.field("f07")
    assert calls == {"forecast_season": 1}
    assert field.assess_day(dt.date(2026, 7, 7)) is field.assess_day(dt.date(2026, 7, 7))
    assert calls == {"forecast_season": 1, "assess_visit": 1}
    assert field.visit.due is not None
    assert calls["next_visit"] == 1
