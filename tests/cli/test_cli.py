"""The commands from outside: what each does, refuses and leaves alone."""

from __future__ import annotations

import datetime as dt
import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from broken import build
from commands import process_environment, run_command, run_process, said
from pytest_socket import SocketBlockedError
from season_builder import snapshot

FORECASTS = ("stages", "windows", "revisit", "plan")
READERS = ("check", *FORECASTS)
AS_OF = "2026-07-07"
DATE_OPTION = {**dict.fromkeys((*READERS, "demo"), "--as-of"), "weather": "--through"}


def refusal(*arguments: str | Path) -> str:
    """The one sentence with which a command refuses; nothing is printed beside it."""
    ran = run_command(*arguments)
    assert ran.code == 2
    told = ran.err if arguments[0] != "check" else ran.out or ran.err
    assert ran.out + ran.err == told
    assert told.count("\n") == 1
    assert "Traceback" not in told
    return told.rstrip("\n")


def plain(text: str) -> str:
    """The words of a text, wherever its lines were broken."""
    return " ".join(text.split())


# --- what works -----------------------------------------------------------------------------


@pytest.mark.parametrize("command", READERS)
def test_every_reading_command_works_on_the_demo_and_changes_no_file(
    command: str, demo: Path
) -> None:
    """Exit code 0, words on the screen, nothing on the error stream, and not a byte written."""
    before = snapshot(demo)
    ran = run_command(command, demo, "--as-of", AS_OF)
    assert (ran.code, ran.err) == (0, "")
    assert "F19" in ran.out
    assert snapshot(demo) == before


def test_demo_is_written_and_planned_where_the_person_stands(tmp_path: Path) -> None:
    """`python -m stagecast demo` alone makes the folder, plans its week and says it is invented."""
    ran = run_process("demo", cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert [path.name for path in tmp_path.iterdir()] == ["stagecast-demo"]
    text = ran.stdout.decode("utf-8")
    assert "invented" in text.splitlines()[0]
    assert "The week" in text
    assert f"stagecast today stagecast-demo --as-of {AS_OF}\n" in text  # the job, before all else
    assert all(f" F{number:02d} " in text for number in range(1, 25))


@pytest.mark.usefixtures("socket_disabled")
@pytest.mark.filterwarnings("ignore:A test tried to use socket")
def test_demo_plan_and_station_files_need_no_network(tmp_path: Path) -> None:
    """With sockets forbidden the demo is written and planned, and its weather looked at."""
    with pytest.raises(SocketBlockedError):
        socket.socket()
    assert run_command("demo", tmp_path / "demo").code == 0
    assert run_command("weather", tmp_path / "demo", "--through", AS_OF).code == 0


def test_demo_twice_leaves_what_a_person_changed(tmp_path: Path) -> None:
    """A second run plans the edited season and touches none of its files."""
    folder = tmp_path / "demo"
    assert run_command("demo", folder).code == 0
    fields = folder / "fields.csv"
    fields.write_text(fields.read_text("utf-8").replace("Levee 80", "My Own Name"), "utf-8")
    before = snapshot(folder)
    again = run_command("demo", folder)
    assert again.code == 0
    assert "left as it is" in plain(again.out)
    assert "My Own Name" in again.out
    assert snapshot(folder) == before


def test_weather_of_station_files_explains_itself(demo: Path) -> None:
    """Nothing is fetched, and every station in use says until when it measured."""
    ran = run_command("weather", demo, "--through", AS_OF)
    assert (ran.code, ran.err) == (0, "")
    assert "nothing is fetched" in ran.out
    for station in ("DEMO01", "DEMO02", "DEMO03"):
        assert f"Station {station}: measured to 7 Jul" in ran.out


@pytest.mark.usefixtures("socket_disabled")
def test_weather_without_fields_says_why_nothing_is_fetched(tmp_path: Path) -> None:
    """A season on the network source that has no fields yet asks for nothing."""
    folder = tmp_path / "season"
    assert run_command("new", folder, "--year", "2026").code == 0
    settings = folder / "season.toml"
    text = settings.read_text("utf-8").replace('source = "station csv"', 'source = "meteostat"')
    settings.write_text(text, "utf-8")
    ran = run_command("weather", folder, "--through", AS_OF)
    assert ran.code == 0
    assert "no fields yet" in ran.out


def test_check_tells_the_doubt_that_the_demo_holds(demo: Path) -> None:
    """The emergence two days after planting is found at its place, and is not an error."""
    ran = run_command("check", demo, "--as-of", AS_OF)
    assert ran.code == 0
    assert "doubtful: fields.csv line 12, emergence_date (field F19)" in plain(ran.out)
    assert "11 fields, nothing wrong" in plain(ran.out)


# --- new ------------------------------------------------------------------------------------


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """A season as `new` writes it."""
    folder = tmp_path / "season"
    assert run_command("new", folder, "--year", "2027").code == 0
    return folder


def test_new_season_is_valid_for_the_year_asked_for(empty: Path) -> None:
    """`check` finds nothing wrong in it, and it is of the year given."""
    ran = run_command("check", empty, "--as-of", "2027-06-01")
    assert (ran.code, ran.err) == (0, "")
    assert "0 fields, nothing wrong" in plain(ran.out)
    assert "\nyear = 2027\n" in (empty / "season.toml").read_text("utf-8")


@pytest.mark.parametrize("command", FORECASTS)
def test_forecasts_run_on_an_empty_season(command: str, empty: Path) -> None:
    """Without fields there is a table without rows, a document without items, a bare CSV header."""
    options = (command, empty, "--as-of", "2027-06-01")
    assert run_command(*options).code == 0
    document = json.loads(said(*options, "--format", "json"))
    items = {"stages": "fields", "windows": "windows", "revisit": "visits", "plan": "fields"}
    assert document[items[command]] == []
    assert said(*options, "--format", "csv").count("\n") == 1


def test_new_refuses_a_folder_with_anything_in_it(tmp_path: Path) -> None:
    """Somebody's file is reason enough: one sentence, and nothing is added or changed."""
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    before = snapshot(tmp_path)
    assert "something is there already" in refusal("new", tmp_path)
    assert snapshot(tmp_path) == before


def test_demo_refuses_a_folder_that_is_no_season(tmp_path: Path) -> None:
    """Somebody's folder is not filled with a demo, nor is a file replaced."""
    (tmp_path / "notes.txt").write_text("mine", "utf-8")
    before = snapshot(tmp_path)
    refusal("demo", tmp_path)
    refusal("demo", tmp_path / "notes.txt")
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize("year", ["7", "1949", "2101", "-3"])
def test_new_refuses_a_year_no_season_has(year: str, tmp_path: Path) -> None:
    """A slip of the keyboard is told with what is accepted, and nothing is written."""
    told = refusal("new", tmp_path / "season", f"--year={year}")
    assert told.startswith("--year: ")
    assert f"'{year}'" in told
    assert "1950 to 2100" in told
    assert list(tmp_path.iterdir()) == []


# --- dates ----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", READERS)
def test_both_ways_to_write_a_date_are_the_same_day(command: str, demo: Path) -> None:
    """2026-07-07 and 7/7/2026 give the same bytes, and another day gives others."""
    first, second, other = (
        said(command, demo, "--as-of", text) for text in (AS_OF, "7/7/2026", "2026-06-20")
    )
    assert first == second
    assert first != other


@pytest.mark.parametrize("command", DATE_OPTION)
@pytest.mark.parametrize("text", ["7-6-2026", "2026-07-32", "7/7/26", "soon", "", "\x1b[31m"])
def test_a_bad_date_is_one_sentence(command: str, text: str, demo: Path, tmp_path: Path) -> None:
    """Every command names its own option, repeats what was typed and says what is accepted."""
    option = DATE_OPTION[command]
    folder = tmp_path / "new" if command == "demo" else demo
    told = refusal(command, folder, option, text)
    assert told.startswith(f"{option}: ")
    assert f"found {text!r}" in told
    assert "accepted: 2026-05-04" in told
    assert list(tmp_path.iterdir()) == []


def test_nothing_seen_after_the_day_asked_for_takes_part(demo: Path) -> None:
    """As of 20 June, later visits do not exist: no field was last visited after that day."""
    document = json.loads(said("revisit", demo, "--as-of", "2026-06-20", "--format", "json"))
    last = [dt.date.fromisoformat(v["last_visit"]) for v in document["visits"] if v["last_visit"]]
    assert max(last) == dt.date(2026, 6, 18)


@pytest.mark.parametrize("command", FORECASTS)
def test_a_season_planned_anew_gives_the_same_bytes(command: str, demo: Path) -> None:
    """A second run reads, plans and prints all of it again, and says the same."""
    options = (command, demo, "--as-of", AS_OF, "--format", "json")
    assert run_command(*options).out == said(*options)


# --- fields and folders ---------------------------------------------------------------------


@pytest.mark.parametrize("command", FORECASTS)
def test_field_option_picks_fields_and_can_be_repeated(command: str, demo: Path) -> None:
    """Only the fields named come out, with the same content as among all."""
    options = (command, demo, "--as-of", AS_OF, "--format", "csv")
    header, *rows = said(*options).splitlines()
    chosen = said(*options, "--field", "F03", "--field", "F17").splitlines()
    assert chosen == [header, *(row for row in rows if row.startswith(("F03,", "F17,")))]
    assert len(chosen) >= 3


@pytest.mark.parametrize("command", FORECASTS)
def test_an_unknown_field_is_named_with_those_there_are(command: str, demo: Path) -> None:
    """A good id beside it does not hide it."""
    told = refusal(command, demo, "--as-of", AS_OF, "--field", "F01", "--field", "F99")
    assert told.startswith("--field: ")
    assert "'F99'" in told
    assert "F01" in told.partition("accepted:")[2]


@pytest.mark.parametrize("command", [*READERS, "weather"])
def test_a_path_that_is_no_season_folder_is_one_sentence(
    command: str, demo: Path, tmp_path: Path
) -> None:
    """Nothing there, and a file in place of the folder: each says what to do."""
    assert "there is no such folder; make one with" in refusal(command, tmp_path / "none")
    assert "this is a file, not a season folder" in refusal(command, demo / "fields.csv")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [*READERS, "weather", "new"])
def test_a_forgotten_folder_is_asked_for(command: str) -> None:
    """Without DIR the usage is shown, with exit code 2."""
    ran = run_command(command)
    assert ran.code == 2
    assert "Missing argument 'DIR'" in ran.err


@pytest.mark.parametrize("name", ["bad\nname", "\x1b[31mred", "\u202eevil", "x" * 5000])
def test_a_hostile_path_stays_one_line_without_its_tricks(name: str, tmp_path: Path) -> None:
    """Line breaks, escapes and direction marks in a path reach the screen as marks only."""
    told = refusal("check", tmp_path / name)
    assert not set(told) & set("\x1b\u202e")


# --- processes ------------------------------------------------------------------------------


def test_a_process_gives_the_same_bytes_on_any_system(demo: Path) -> None:
    """Hash seed and a narrow system encoding change nothing: JSON is UTF-8, byte for byte."""
    options = ("plan", demo, "--as-of", AS_OF, "--format", "json")
    environment = {"PYTHONHASHSEED": "4321", "PYTHONIOENCODING": "cp1252", "LC_ALL": "C"}
    ran = run_process(*options, environment=environment)
    assert ran.returncode == 0
    assert ran.stdout == said(*options).replace("\n", os.linesep).encode("utf-8")


def test_names_outside_the_system_encoding_are_printed(tmp_path: Path) -> None:
    """A Greek letter goes into a pipe as UTF-8 even where the system would have refused it."""
    folder = tmp_path / "season"
    assert run_command("new", folder, "--year", "2026").code == 0
    (folder / "season.toml").write_bytes(b"\xcf\x80 = 1")
    ran = run_process("check", folder, environment={"PYTHONIOENCODING": "ascii"})
    assert ran.returncode == 2
    assert "season.toml line 1: " in ran.stdout.decode("utf-8")
    assert "π = 1" in ran.stdout.decode("utf-8")


def test_a_broken_season_fails_quietly_in_a_process(tmp_path: Path) -> None:
    """The shell sees exit code 2 and the person one sentence, without a traceback."""
    ran = run_process("plan", build(tmp_path, {"fields.csv": None}), "--as-of", "2026-06-20")
    assert (ran.returncode, ran.stdout) == (2, b"")
    told = [line for line in ran.stderr.decode("utf-8").splitlines() if "fields.csv" in line]
    assert told[0].startswith("fields.csv: there is no such file")
    assert b"Traceback" not in ran.stderr


@pytest.mark.skipif(os.name != "posix", reason="pipes without a reader are a POSIX matter")
def test_a_reader_that_stops_is_no_reason_to_complain(demo: Path) -> None:
    """Where nobody reads the output any more, as after `| head`, nothing is said."""
    reading, writing = os.pipe()
    os.close(reading)
    arguments = [sys.executable, "-m", "stagecast", "windows", str(demo), "--as-of", AS_OF]
    ran = subprocess.run(
        arguments, stdout=writing, stderr=subprocess.PIPE, env=process_environment(), check=False
    )
    os.close(writing)
    assert ran.stderr == b""
    assert ran.returncode == 1
