"""What hands, disks and clocks do to a folder: one sentence that is true, and a next step."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import pytest
from commands import as_nobody, run_command
from season_builder import StationFile, build_season, day

from stagecast.base.errors import StoreError
from stagecast.base.lock import held
from stagecast.season.log.store import LogStore

JULY = ("--as-of", "2026-07-06")
ROOT_ALONE = pytest.mark.skipif("sys.platform == 'win32'", reason="rights of POSIX")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of one field."""
    station = StationFile(first=dt.date(2022, 1, 1), last=day(7, 6))
    return build_season(tmp_path_factory.mktemp("made") / "season", stations=[station])


@pytest.fixture
def season(made: Path, tmp_path: Path) -> Path:
    """A copy of one's own."""
    return Path(shutil.copytree(made, tmp_path / "season"))


def refused(*command: str | Path) -> str:
    """The one sentence in which a command is refused."""
    ran = run_command(*command)
    assert ran.code == 2, ran.out
    (sentence,) = ran.err.splitlines()
    return sentence


def failed(season: Path) -> list[str]:
    """The lines of a morning's steps that failed."""
    ran = run_command("daily", season, *JULY)
    assert ran.code == 5
    return [line for line in ran.out.splitlines() if " FAILED " in line]


# --- the clock ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("as_of", "told"),
    [("2025-07-06", "Is 6 Jul 2025 right? This folder is the season of 2026."),
     ("2027-07-06", "Is 6 Jul 2027 right? For the year after 2026: stagecast new NEXT --from DIR")],
)  # fmt: skip
@pytest.mark.parametrize("command", ["today", "plan", "week"])
def test_a_day_of_another_year_is_asked_about(
    command: str, as_of: str, told: str, season: Path
) -> None:
    """A clock a year off, or last year's folder: not only that there is nothing to walk."""
    ran = run_command(command, season, "--as-of", as_of)
    assert ran.code == 0
    assert told in " ".join(ran.out.split())
    assert told not in " ".join(run_command(command, season, *JULY).out.split())


@pytest.mark.parametrize(
    ("as_of", "told"),
    [("2025-07-06", "The season begins on 1 Jan: there is no route yet."),
     ("2027-07-06", "The season is over since 30 Nov: there is no route.")],
)  # fmt: skip
def test_no_route_outside_the_season_says_so(as_of: str, told: str, season: Path) -> None:
    """Not that none of the days ahead is a working day: those of season.toml are."""
    out = " ".join(run_command("plan", season, "--as-of", as_of).out.split())
    assert told in out
    assert "working day" not in out


def test_the_next_walk_of_another_year_says_its_year(season: Path) -> None:
    """Seen from the year before, the first walk is not one of this week."""
    first = run_command("today", season, "--as-of", "2025-07-06").out.splitlines()[0]
    assert "next on" in first
    assert first.endswith(" 2026")


@pytest.mark.parametrize("command", ["today", "plan", "week", "check"])
def test_a_clock_that_was_never_set_is_told_as_such(command: str, season: Path) -> None:
    """In 1970 no weather is known: that is the clock's fault, not that of a station."""
    ran = run_command(command, season, "--as-of", "1970-01-01")
    assert ran.code == 2
    (sentence,) = (ran.out + ran.err).splitlines()
    assert "more than a year before the season of 2026; found '1970-01-01'" in sentence
    assert "set the date of this computer" in sentence


# --- what lies in the way -------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "step"), [("alerts.json", "alerts"), ("outbox.json", "sent")])
def test_a_folder_in_the_place_of_a_file_of_ours(name: str, step: str, season: Path) -> None:
    """It is called a folder, to be moved away; nobody is sent after its rights."""
    (season / name).mkdir()
    lines = failed(season)
    assert step in {line.split()[2] for line in lines}
    assert all(f"{name}: this is a folder, not a file; move it away" in line for line in lines)


def test_a_link_to_nowhere_in_the_place_of_the_pages(season: Path) -> None:
    """It is called a link; a morning has no other name to choose for its pages."""
    (season / "pages").symlink_to(season / "gone" / "away")
    (line,) = failed(season)
    assert "this is a link that leads to no folder; take the link away" in line


def test_a_page_that_is_not_ours_may_be_moved_away(season: Path) -> None:
    """A scheduled run can choose no name: the step says what else helps, and all pages wait."""
    (season / "pages").mkdir()
    (season / "pages" / "overview.html").write_text("mine", "utf-8")
    (line,) = failed(season)
    assert "something else is there already; choose another name, or move it away" in line
    assert [one.name for one in (season / "pages").iterdir()] == ["overview.html"]


# --- tables that are none -------------------------------------------------------------------------


def test_the_log_itself_is_no_table_to_import(season: Path) -> None:
    """The database is called one, with the command that makes a table of it."""
    assert (
        run_command("log", "add", season, "F1", "--stage", "R3", "--date", "2026-07-01").code == 0
    )
    told = run_command("log", "import", season, season / "scouting.sqlite").err.splitlines()[0]
    assert "this is a database, not CSV; `stagecast log export DIR` makes a table" in told


def test_a_table_of_something_else_is_not_to_be_renamed(season: Path) -> None:
    """No latitude becomes a date; a column that is near by name is still named."""
    told = run_command("log", "import", season, season / "fields.csv").err.splitlines()[0]
    assert "date: this column is missing; add it to the header line" in told
    table = season / "near.csv"
    table.write_text("kind,id,field_id,visit_date\n", "utf-8")
    told = run_command("log", "import", season, table).err
    assert "date: this column is missing; rename the column 'visit_date'" in told


def test_settings_with_the_line_ends_of_old_macs_are_told_as_such(season: Path) -> None:
    """Tables are read with any line ends, settings are not; and every line of it is right."""
    for name in ("fields.csv", "season.toml"):
        file = season / name
        file.write_bytes(file.read_bytes().replace(b"\n", b"\r"))
    told = refused("plan", season, *JULY)
    assert told.startswith("season.toml: its lines end as old Macs ended them (CR); save it with")


# --- disks and rights -----------------------------------------------------------------------------


@ROOT_ALONE
def test_a_folder_that_may_not_be_written_is_not_told_to_delete_a_file(tmp_path: Path) -> None:
    """The lock is not there at all, so nothing is said of deleting it."""
    tmp_path.chmod(0o555)
    with as_nobody(), pytest.raises(StoreError) as error, held(tmp_path / "daily.lock", busy=""):
        pass
    (sentence,) = error.value.sentences()
    assert sentence.endswith("check that the folder may be written to")


def test_a_lock_that_is_no_lock_may_be_deleted(tmp_path: Path) -> None:
    """A text in its place is nothing that we need."""
    (tmp_path / "daily.lock").write_text("a text of somebody's" * 100, "utf-8")
    with (
        pytest.raises(StoreError, match="delete this file"),
        held(tmp_path / "daily.lock", busy=""),
    ):
        pass


@ROOT_ALONE
def test_a_log_that_may_not_be_read_is_told_as_such(season: Path) -> None:
    """A reader is not told of writing alone."""
    log = season / "scouting.sqlite"
    log.write_bytes(b"")
    log.chmod(0)
    for folder in season.parents:
        if folder.stat().st_uid == season.stat().st_uid and folder.name.startswith("pytest"):
            folder.chmod(0o755)
    with as_nobody(), pytest.raises(StoreError, match="that you may read and write it"):
        LogStore(log).read()
