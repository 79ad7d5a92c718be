"""``stagecast`` alone, and what a shell completes: answered from a glance at the folder."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import pytest
from commands import process_environment, run_command
from hypothesis import given
from hypothesis import strategies as st
from season_builder import FieldLine, StationFile, build_season, day

from stagecast.cli import options
from stagecast.cli.main import SELDOM
from stagecast.guide.next_steps import next_steps
from stagecast.guide.topics import ORDER
from stagecast.knowledge import load
from stagecast.season import glance as at_a_glance
from stagecast.season.glance import Glance, glance, pest_ids
from stagecast.season.settings.settings import LAST_YEAR
from stagecast.season.settings.work import SETTINGS_FILE
from stagecast.season.tables.fields import FIELDS_FILE
from stagecast.weather.member_files import WEATHER_FOLDER
from stagecast.weather.sources import DEFAULT
from stagecast.weather.sources.station_csv import STATIONS_FILE
from stagecast.weather.store import STORE_NAME

YEAR = 2026


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """A season with two fields and some weather."""
    fields = (FieldLine("F1"), FieldLine("F2"))
    return build_season(tmp_path / "season", fields=fields, stations=[StationFile(last=day(6, 20))])


def told(folder: Path, *, year: int = YEAR) -> str:
    """What is said, in one line."""
    return " ".join(next_steps(folder, year=year))


def rewrite(file: Path, pattern: str, by: str) -> None:
    """Change a file in place; something must change."""
    text = file.read_text("utf-8")
    changed = re.sub(pattern, by, text)
    assert changed != text
    file.write_text(changed, "utf-8")


# --- what to do next --------------------------------------------------------------------------


def test_a_season_under_way_lacks_nothing(season: Path) -> None:
    """With a field that has a date, and temperatures, the morning counts."""
    assert next_steps(season, year=YEAR) == ()


def test_outside_of_a_season_a_newcomer_is_shown_in(tmp_path: Path) -> None:
    """Nothing here: the demo, a season of one's own, the guide."""
    text = told(tmp_path)
    for command in ("stagecast demo", "stagecast new FOLDER", "stagecast guide"):
        assert command in text


def test_a_season_right_below_is_named(season: Path) -> None:
    """One who stands beside a season is told how to reach it."""
    assert "stagecast today season" in told(season.parent)
    season.rename(season.parent / "my season")
    assert 'stagecast today "my season"' in told(season.parent)


def test_a_new_season_is_told_all_that_it_lacks(tmp_path: Path) -> None:
    """Fields and temperatures, with the command for each; nothing of it is forecast."""
    run_command("new", tmp_path / "new", "--year", str(YEAR))
    text = told(tmp_path / "new")
    assert "stagecast fields . FILE" in text
    assert "stagecast weather ." in text
    assert "stagecast check ." in text


def test_fields_that_all_wait_for_a_date_are_told(season: Path) -> None:
    """One field with a date, or an expected one, is enough to go on."""
    rewrite(season / FIELDS_FILE, r"2026-\d\d-\d\d", "")
    assert "planting_date" in told(season)
    rewrite(season / FIELDS_FILE, r"(?m)^(F1,.*)$", r"\1,2026-05-04")
    rewrite(season / FIELDS_FILE, r"(?m)^(field_id.*)$", r"\1,planned")
    rewrite(season / FIELDS_FILE, r"(?m)^(F2,.*)$", r"\1,")
    assert told(season) == ""


def test_a_service_that_was_never_asked_is_named(season: Path) -> None:
    """Where temperatures come from a service, its command is what is missing."""
    rewrite(season / SETTINGS_FILE, r"(?s)\[weather\].*", '[weather]\nsource = "meteostat"\n')
    assert "No temperatures: stagecast weather ." in told(season)
    (season / STORE_NAME).touch()
    assert told(season) == ""


def test_last_years_season_leads_to_the_next(season: Path) -> None:
    """In a later year the folder is over, and the next one is made from it."""
    assert "stagecast new ../FOLDER --from ." in told(season, year=YEAR + 1)


def test_settings_that_cannot_be_read_lead_to_the_check(season: Path) -> None:
    """What is wrong is told by the command that tells all of it."""
    (season / SETTINGS_FILE).write_text("year = ", "utf-8")
    assert "stagecast check ." in told(season)


def test_alone_nothing_heavy_is_loaded(tmp_path: Path) -> None:
    """Without a season under way no model, no table of numbers and no screen is imported."""
    run_command("new", tmp_path / "new", "--year", str(LAST_YEAR))
    script = "import sys; from stagecast.cli.main import run; run([]); print(*sys.modules)"
    ran = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path / "new", env=process_environment(),
        capture_output=True, check=True, text=True, timeout=600,
    )  # fmt: skip
    loaded = {name.partition(".")[0] for name in ran.stdout.splitlines()[-1].split()}
    assert loaded & {"numpy", "pydantic", "rich", "sqlite3"} == set()
    assert "not ready yet" in ran.stdout


def test_a_command_is_not_slowed_by_looking_for_garbage(tmp_path: Path) -> None:
    """It looks through what it made after many objects only, and never as it ends."""
    script = (
        "import atexit, gc\n"
        "atexit.register(lambda: print(gc.get_threshold()[0], gc.get_freeze_count()))\n"
        "from stagecast.cli.main import run; run(['--version'])"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env=process_environment(),
        capture_output=True, check=True, text=True, timeout=600,
    )  # fmt: skip
    threshold, frozen = ran.stdout.splitlines()[-1].split()
    assert int(threshold) == SELDOM
    assert int(frozen) > 0


# --- the glance --------------------------------------------------------------------------------


def test_the_glance_looks_at_the_files_that_are_read() -> None:
    """Its names of files are those of the readers, whose modules are too slow to ask."""
    assert at_a_glance.SETTINGS == SETTINGS_FILE
    assert at_a_glance.FIELDS == FIELDS_FILE
    assert f"{WEATHER_FOLDER}/{STATIONS_FILE}" == at_a_glance.STATIONS
    assert at_a_glance.FETCHED == STORE_NAME
    assert at_a_glance.STATION_FILES == DEFAULT


@given(settings=st.binary(max_size=60), fields=st.binary(max_size=60), toml=st.text(max_size=60))
def test_a_glance_never_fails(
    tmp_path_factory: pytest.TempPathFactory, settings: bytes, fields: bytes, toml: str
) -> None:
    """Whatever bytes stand in the files, something is seen or nothing is."""
    folder = tmp_path_factory.mktemp("odd")
    (folder / FIELDS_FILE).write_bytes(fields)
    for raw in (settings, toml.encode("utf-8", "surrogatepass")):
        (folder / SETTINGS_FILE).write_bytes(raw)
        assert isinstance(glance(folder), Glance)


def test_folders_where_files_should_be_are_nothing(tmp_path: Path) -> None:
    """Nor is a name that no system takes."""
    for name in (SETTINGS_FILE, FIELDS_FILE, STORE_NAME):
        (tmp_path / name).mkdir()
    assert glance(tmp_path).field_ids == ()
    assert glance(Path("a\0b")).field_ids == ()
    assert told(tmp_path / "nowhere").startswith("No season")


# --- what a shell completes ---------------------------------------------------------------------


AS_INSTALLED = "import sys; sys.argv = ['stagecast']; from stagecast.cli.main import run; run()"
"""What the command that pip makes does."""


def completed(*words: str, folder: Path) -> list[str]:
    """What bash is offered for the last word of a line, as typer's own script asks."""
    line = {"COMP_WORDS": " ".join(("stagecast", *words)), "COMP_CWORD": str(len(words))}
    ran = subprocess.run(
        [sys.executable, "-c", AS_INSTALLED],
        cwd=folder,
        env=process_environment({**line, "_STAGECAST_COMPLETE": "complete_bash"}),
        capture_output=True, check=False, text=True, timeout=600,
    )  # fmt: skip
    assert ran.stderr == ""
    return ran.stdout.split()


@pytest.mark.parametrize(
    "words",
    [
        ("assess", "season", "F"), ("history", "season", "F"), ("log", "add", "season", "F"),
        ("plan", "season", "--field", "F"), ("week", "season", "--must", "F"),
        ("pest", "stink-bugs", "season", "--field", "F"), ("brief", "season", "F"),
    ],
)  # fmt: skip
def test_field_ids_are_completed(season: Path, words: tuple[str, ...]) -> None:
    """As arguments and as options, of the season that stands before them on the line."""
    assert completed(*words, folder=season.parent) == ["F1", "F2"]


def test_field_ids_of_no_season_are_none(tmp_path: Path) -> None:
    """Where no such folder is, nothing is offered and nothing is said."""
    assert completed("assess", "nowhere", "F", folder=tmp_path) == []


def test_pests_and_topics_are_completed(season: Path) -> None:
    """Pests that ship and one's own, by id; topics of the guide."""
    (season / "pests").mkdir()
    (season / "pests" / "stilt-bug.toml").touch()
    assert completed("pest", "sti", folder=season) == ["stilt-bug", "stink-bugs"]
    assert completed("guide", "we", folder=season) == [t for t in ORDER if t.startswith("we")]


def test_all_pests_that_ship_can_be_completed(tmp_path: Path) -> None:
    """The names of the files are the ids of the library."""
    assert set(pest_ids(tmp_path)) == set(load().pests)


def test_the_year_is_that_of_the_clock(season: Path) -> None:
    """``stagecast`` alone asks the one clock for the year."""
    import datetime as dt

    later = SimpleNamespace(datetime=SimpleNamespace(now=lambda: dt.datetime(2027, 2, 1)))
    before = Path.cwd()
    os.chdir(season)
    try:
        with patch.object(options, "dt", later):
            assert "is over" in run_command().out
    finally:
        os.chdir(before)
