"""Next year's folder from the last one: what lasts is taken, and last year stays last year."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest
from commands import run_command
from log_builder import at, sets_of, visit
from season_builder import FieldLine, VisitLine, build_season, day, set_cells, snapshot

from stagecast.season.folder import read_season
from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore

NOTED = "we found stink bugs at"
"""What the grower's page says of the last visit of the old season."""


def rows(folder: Path) -> list[dict[str, str]]:
    """The rows of fields.csv."""
    return list(csv.DictReader((folder / "fields.csv").read_text("utf-8").splitlines()))


@pytest.fixture
def last(tmp_path: Path) -> Path:
    """A season at its end: replanted, visited, logged, with traps, travel and an own threshold."""
    folder = build_season(
        tmp_path / "last",
        fields=(FieldLine("F1"), FieldLine("F2", latitude=36.01)),
        visits=(VisitLine("F1", day(7, 6), "near threshold", "R3"),),
    )
    set_cells(folder, "F1", notes="wet corner", state="KY", emergence_date="2026-05-12")
    (folder / "traps.csv").write_text("trap,date,pest,catch\nT1,2026-07-01,corn earworm,3\n")
    (folder / "travel.csv").write_text("from,to,minutes\nhome,F1,12\n")
    toml = (folder / "season.toml").read_text("utf-8")
    own = '[[thresholds]]\npest = "stink-bugs"\nfirst = "R3"\nlast = "R6"\nvalue = 5\n'
    own += 'what = "bugs"\nper = 15\nof = "sweeps"\n'
    (folder / "season.toml").write_text(f"# my remark\n{toml}{own}", encoding="utf-8")
    seen = visit(day(7, 7), sets_of("stink-bugs", (30, 40, 35, 38)), stage="R3")
    LogStore(folder / LOG_FILE).add([seen], entered_at=at(7, 7, 12))
    return folder


def test_what_lasts_is_taken_and_nothing_of_the_year(last: Path, tmp_path: Path) -> None:
    """Dates and varieties are blank, the rest as it was; visits and log stay in the old folder."""
    before = snapshot(last)
    ran = run_command("new", tmp_path / "next", "--from", last)
    assert (ran.code, ran.err) == (0, "")
    assert snapshot(last) == before
    for was, now in zip(rows(last), rows(tmp_path / "next"), strict=True):
        blank = ("planting_date", "emergence_date", "maturity_group", "growth_habit")
        assert {k: v for k, v in now.items() if v} == {
            k: v for k, v in was.items() if v and k not in blank
        }
    season = read_season(tmp_path / "next")
    assert season.settings.year == 2027
    assert season.settings.thresholds == read_season(last).settings.thresholds
    assert [field.field_id for field in season.undated] == ["F1", "F2"]
    assert (season.visits, season.log.visits, season.doubts) == ((), (), ())
    assert [catch.date.year for catch in season.catches] == [2026]
    assert ("home", "F1") in season.legs
    assert (tmp_path / "next" / "season.toml").read_text("utf-8").startswith("# my remark")
    names = {path.name for path in (tmp_path / "next").iterdir()}
    assert "visits.csv" not in names
    assert LOG_FILE not in names
    assert (tmp_path / "next" / "weather" / "S1.csv").read_bytes() == (
        last / "weather" / "S1.csv"
    ).read_bytes()


def test_the_new_folder_says_what_it_waits_for(last: Path, tmp_path: Path) -> None:
    """It is valid at once, and its fields wait for their dates on every list."""
    assert run_command("new", tmp_path / "next", "--from", last, "--year", "2028").code == 0
    for command in ("check", "plan"):
        ran = run_command(command, tmp_path / "next", "--as-of", "2028-03-01", columns=200)
        assert (ran.code, ran.err) == (0, "")
        assert "2 fields wait for their planting dates: F1, F2." in ran.out


def test_a_copy_of_last_years_log_counts_for_nothing(last: Path, tmp_path: Path) -> None:
    """The page of a field planted this year says nothing of last year's stink bugs."""
    folder = tmp_path / "next"
    assert run_command("new", folder, "--from", last).code == 0
    set_cells(folder, "F1", planting_date="2027-05-04", maturity_group="4.5")
    shutil.copyfile(last / LOG_FILE, folder / LOG_FILE)
    page = tmp_path / "page.html"
    asked = ("--as-of", "2027-07-07")
    old = tmp_path / "old.html"
    assert run_command("brief", last, "F1", "-o", old, "--as-of", "2026-07-07").code == 0
    assert NOTED in old.read_text("utf-8")
    assert run_command("brief", folder, "F1", "-o", page, *asked).code == 0
    assert NOTED not in page.read_text("utf-8")
    for command in (("assess", folder, "F1"), ("history", folder, "F1"), ("plan", folder)):
        ran = run_command(*command, *asked, columns=200)
        assert ran.code == 0
        assert "35.8" not in ran.out  # the mean of last year's counts
        assert "above" not in ran.out
    ran = run_command("check", folder, *asked, columns=300)
    assert "1 entry of 2026 is kept and not used in the season 2027" in ran.out


@pytest.mark.parametrize(("year", "words"), [("2026", "a year after 2026"), ("2025", "not after")])
def test_a_year_that_is_not_after_is_refused(
    year: str, words: str, last: Path, tmp_path: Path
) -> None:
    """The catches that are taken along would lie ahead of it."""
    ran = run_command("new", tmp_path / "next", "--from", last, "--year", year)
    assert ran.code == 2
    assert words in ran.err
    assert not (tmp_path / "next").exists()


def test_a_folder_with_faults_is_not_carried_on(last: Path, tmp_path: Path) -> None:
    """A wrong setting or a torn table is told, and no folder is made."""
    toml = (last / "season.toml").read_text("utf-8").replace('"us"', '"imperial"')
    (last / "season.toml").write_text(toml, encoding="utf-8")
    with (last / "fields.csv").open("a") as stream:
        stream.write("F3,too,few\n")
    ran = run_command("new", tmp_path / "next", "--from", last)
    assert ran.code == 2
    assert "season.toml line 3, units" in ran.err
    assert "fields.csv line 4: wrong number of cells" in ran.err
    assert not (tmp_path / "next").exists()
