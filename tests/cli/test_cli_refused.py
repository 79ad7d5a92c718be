"""Fields that cannot be forecast do not stop the others, and are refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken import refusing_season
from commands import Ran, run_command, said

FORECASTS = ("stages", "windows", "revisit", "plan")
AS_OF = "2026-06-20"
REFUSAL = (
    "fields.csv line 3, station (field F2): there is no such station with temperatures; the same "
    "for F3; found 'S9'; accepted: S1\n"
)


@pytest.fixture(scope="module")
def refusing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season in which F2 and F3 name a station that is not there."""
    folder = tmp_path_factory.mktemp("refusing")
    return refusing_season(folder, chosen={"F2": "S9", "F3": "S9"})


@pytest.fixture(scope="module")
def good_only(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same season without F2 and F3."""
    return refusing_season(tmp_path_factory.mktemp("good"), chosen={}, without=("F2", "F3"))


def ask(command: str, folder: Path, *options: str) -> Ran:
    """Run a forecast as of the day."""
    return run_command(command, folder, "--as-of", AS_OF, *options)


@pytest.mark.parametrize("format_", ["table", "json", "csv"])
@pytest.mark.parametrize("command", FORECASTS)
def test_the_other_fields_are_forecast_as_if_alone(
    command: str, format_: str, refusing: Path, good_only: Path
) -> None:
    """What is printed is that of the season without them; then one sentence and exit code 2."""
    every = ("--all",) if command != "stages" else ()
    ran = ask(command, refusing, "--format", format_, *every)
    assert (ran.code, ran.err) == (2, REFUSAL)
    alone = said(command, good_only, "--as-of", AS_OF, "--format", format_, *every)
    if format_ != "table":
        assert ran.out == alone
        return
    # Notes speak of every field of the file and name the folder.
    table, start = ran.out.partition("\n\n")[2], alone.partition("\n\n")[2]
    assert "F1 North Bottom" in table
    assert table.partition("\n\n")[0] == start.partition("\n\n")[0]
    assert "F2" not in ran.out
    assert "F3" not in ran.out


@pytest.mark.parametrize("command", FORECASTS)
def test_a_good_field_asked_for_alone_is_no_failure(
    command: str, refusing: Path, good_only: Path
) -> None:
    """What is wrong with other fields is not this question's."""
    ran = ask(command, refusing, "--field", "F1", "--format", "json")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == said(command, good_only, "--as-of", AS_OF, "--format", "json")


@pytest.mark.parametrize("asked", [("F2",), ("f3",), ("F1", "F2")])
@pytest.mark.parametrize("command", FORECASTS)
def test_a_refused_field_asked_for_is_refused(
    command: str, asked: tuple[str, ...], refusing: Path
) -> None:
    """Its reason is the answer, and nothing is printed as if it were a result."""
    ran = ask(command, refusing, *(f"--field={name}" for name in asked))
    assert (ran.code, ran.out, ran.err) == (2, "", REFUSAL)


def test_check_counts_what_is_wrong_after_all_that_is_doubtful(refusing: Path) -> None:
    """The summary says how much is wrong; all of it is the report, on standard output."""
    ran = run_command("check", refusing, "--as-of", AS_OF)
    assert (ran.code, ran.err) == (2, "")
    assert ran.out.endswith(REFUSAL)
    told = " ".join(ran.out.removesuffix(REFUSAL).split())
    assert told.startswith("doubtful: weather for S1: only 1 of the past seasons")
    assert told.endswith(": 3 fields, 1 wrong, 1 doubtful")


@pytest.mark.parametrize("command", FORECASTS)
def test_no_field_left_is_a_refusal_and_nothing_else(command: str, tmp_path: Path) -> None:
    """Where not one field can be forecast no empty table is printed."""
    folder = refusing_season(tmp_path, chosen=dict.fromkeys(("F1", "F2", "F3"), "S9"))
    ran = ask(command, folder)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith("fields.csv line 2, station (field F1): ")
    assert "; the same for F2, F3; found 'S9'" in ran.err
    assert ran.err.count("\n") == 1
