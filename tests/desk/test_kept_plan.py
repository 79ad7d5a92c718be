"""The desk begins with what a command of the morning kept, and only with that."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from log_builder import sets_of, visit
from season_builder import StationFile, build_season, day

from stagecast.base.shelf import Shelf
from stagecast.desk.season import DeskSeason
from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore
from stagecast.visits.season_day import SeasonDay
from stagecast.week.kept import season_on

TODAY = day(7, 7)
NOW = dt.datetime.combine(TODAY, dt.time(5))


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A season of one field with a visit in its log."""
    station = StationFile(first=dt.date(2024, 1, 1), last=TODAY)
    folder = build_season(tmp_path / "season", stations=[station])
    logged = visit(day(7, 2), sets_of("bean-leaf-beetle", [3, 5, 4]), stage="R2")
    LogStore(folder / LOG_FILE).add([logged], entered_at=NOW)
    return folder


@pytest.fixture
def shelf(season: Path, tmp_path: Path) -> Shelf:
    """A shelf on which a command kept the season."""
    shelf = Shelf(tmp_path / "shelf")
    season_on(season, as_of=TODAY, shelf=shelf, routed=True)
    return shelf


@pytest.fixture
def opened(shelf: Shelf, opened: list[Path]) -> list[Path]:
    """The folders that were read once the season was on the shelf."""
    assert shelf.folder.exists()
    opened.clear()
    return opened


def _told(season: SeasonDay) -> list[str]:
    return [f"{one.field_id} {one.visit!r}" for one in season.fields]


def test_the_first_plan_is_the_one_kept(season: Path, shelf: Shelf, opened: list[Path]) -> None:
    """Nothing is planned again, and the plan says what one made anew says."""
    kept = DeskSeason(season, clock=lambda: NOW, shelf=shelf).plan()
    assert opened == []
    assert _told(kept) == _told(DeskSeason(season, clock=lambda: NOW).plan())
    assert opened == [season]


def test_an_entry_more_is_planned(season: Path, shelf: Shelf, opened: list[Path]) -> None:
    """After an entry the desk's plan has it; what was kept without it is not shown."""
    desk = DeskSeason(season, clock=lambda: NOW, shelf=shelf)
    before = _told(desk.plan())
    more = visit(TODAY, sets_of("bean-leaf-beetle", [0, 0]))
    LogStore(season / LOG_FILE).add([more], entered_at=NOW)
    assert _told(desk.plan()) != before
    assert opened == [season]


def test_a_plan_without_an_entry_is_never_the_one_kept(
    season: Path, shelf: Shelf, opened: list[Path]
) -> None:
    """What had been planned had an entry never been made is worked out for itself."""
    desk = DeskSeason(season, clock=lambda: NOW, shelf=shelf, patience_s=120.0)
    desk.plan()
    (entry,) = desk.every_entry().visits
    without = desk.without(entry)
    assert without is not None
    assert without.loaded.season.log.visits == ()
    assert opened == [season]


def test_a_log_that_grew_meanwhile_is_not_taken_for_the_old_one(
    season: Path, shelf: Shelf, opened: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plan kept of more entries than were asked for is not shown under the older ones."""
    desk = DeskSeason(season, clock=lambda: NOW, shelf=shelf)
    asked = desk.standing_log()
    more = visit(TODAY, sets_of("bean-leaf-beetle", [0, 0]))
    LogStore(season / LOG_FILE).add([more], entered_at=NOW)
    season_on(season, as_of=TODAY, shelf=shelf, routed=True)
    opened.clear()
    with monkeypatch.context() as patch:
        patch.setattr(DeskSeason, "_key", lambda *_: (TODAY, (), asked))
        assert desk.plan().loaded.season.log.visits == asked.visits
    assert opened == [season]
