"""``stagecast log``: every word that was typed is in the log, or told and given back."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import re
import shlex
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from commands import Ran, as_nobody, run_command, run_process
from documents import GUIDE, fences
from season_builder import FieldLine, StationFile, VisitLine, build_season, day, snapshot

from stagecast.cli import log_commands
from stagecast.season.log.cells import COLUMNS
from stagecast.season.log.entries import LOG_FILE, LoggedCount, LoggedSet, LoggedVisit
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import HEADER

DATE = ("--date", "2026-07-06")
SPRAYED = (
    "--product", "something", "--time", "2:30 pm", "--reentry-hours", "12",
    "--preharvest-days", "30",
)  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of two fields and one station."""
    folder = tmp_path_factory.mktemp("built") / "season"
    fields = [FieldLine("F1", day(5, 4)), FieldLine("F2", day(5, 4), latitude=36.01)]
    stations = [StationFile(first=dt.date(2024, 1, 1), last=day(7, 7))]
    return build_season(folder, fields=fields, stations=stations)


@pytest.fixture
def season(built: Path, tmp_path: Path) -> Path:
    """A copy of it to log into."""
    return Path(shutil.copytree(built, tmp_path / "season"))


def store(season: Path) -> LogStore:
    """The log of a season."""
    return LogStore(season / LOG_FILE)


def add(season: Path, *arguments: str, field: str = "F1") -> Ran:
    """Log something with options, on a screen wide enough for a line."""
    return run_command("log", "add", season, field, *arguments, columns=200)


def added(season: Path, *arguments: str, field: str = "F1") -> str:
    """Log something that must be taken, and return the id of the first entry acknowledged."""
    ran = add(season, *arguments, field=field)
    assert (ran.code, ran.err) == (0, "")
    found = re.match(r"(?:logged|in the log already:) (?:visit|treatment) (\S+): ", ran.out)
    assert found is not None, ran.out
    return found[1]


# --- add ------------------------------------------------------------------------------------


def test_a_visit_with_options(season: Path) -> None:
    """Everything given stands in the log under the id that was acknowledged."""
    name = added(
        season, *DATE, "--who", "Ann", "--stage", "r3", "--share", "60", "--defoliation", "12.5",
        "--stand", "thin", "--method", "15-inch net", "--notes", "=1+1",
        "--set", "25 sweeps: stink bugs adults 3, nymphs 1; corn earworm 0",
        "--set", "25 sweeps: stink bugs 0", field="f1",
    )  # fmt: skip
    (visit,) = store(season).read().visits
    assert visit == LoggedVisit(
        name, "F1", day(7, 6), "Ann", "R3", 0.6, "thin", 12.5, "15-inch net", "=1+1", (
            LoggedSet(1, 25.0, "sweeps", (
                LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("stink-bugs", "nymphs", 1.0),
                LoggedCount("corn-earworm", "", 0.0))),
            LoggedSet(2, 25.0, "sweeps", (LoggedCount("stink-bugs", "", 0.0),)),
        ),
    )  # fmt: skip


def test_the_day_is_today_unless_given(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock gives the day of a visit, and of every entry when it was entered."""
    now = dt.datetime(2026, 7, 9, 17, 5)
    monkeypatch.setattr(log_commands, "now", lambda: now)
    monkeypatch.setattr(log_commands, "day", lambda text, option: now.date())
    added(season, "--stage", "R3")
    assert store(season).read().visits[0].date == now.date()
    with contextlib.closing(sqlite3.connect(season / LOG_FILE)) as connection:
        assert connection.execute("SELECT entered_at FROM visit").fetchall() == [
            ("2026-07-09 17:05:00",)
        ]


def test_a_treatment_with_options(season: Path) -> None:
    """Its time and the two intervals of its label; no visit is logged beside it."""
    name = added(season, *DATE, *SPRAYED, "--notes", "wind")
    log = store(season).read()
    (treatment,) = log.treatments
    assert log.visits == ()
    assert (treatment.treatment_id, treatment.product, treatment.notes) == (
        name,
        "something",
        "wind",
    )
    assert treatment.applied_at == dt.datetime(2026, 7, 6, 14, 30)
    assert (treatment.reentry_hours, treatment.preharvest_days) == (12.0, 30.0)


def test_a_treatment_says_until_when_the_field_is_closed(season: Path) -> None:
    """Date and time are those of the application and the label's interval, 12 hours here."""
    told = add(season, *DATE, *SPRAYED).out
    assert "re-entry after 12 hours (closed until 2026-07-07 02:30)" in told


def test_a_visit_and_a_treatment_at_once(season: Path) -> None:
    """Both are logged and each is acknowledged; notes and name belong to the visit."""
    ran = add(season, *DATE, "--stage", "R3", "--who", "Ann", "--notes", "n", *SPRAYED)
    log = store(season).read()
    assert (log.visits[0].who, log.visits[0].notes, log.treatments[0].notes) == ("Ann", "n", "")
    lines = ran.out.splitlines()
    assert lines[0].startswith(f"logged visit {log.visits[0].visit_id}: F1, 2026-07-06, R3")
    assert lines[1].startswith(f"logged treatment {log.treatments[0].treatment_id}: F1, ")


def test_the_same_again_is_acknowledged_and_not_logged_twice(season: Path) -> None:
    """A person who is not sure may repeat the command."""
    first = added(season, *DATE, "--stage", "R3")
    ran = add(season, *DATE, "--stage", "R3")
    assert ran.out.startswith(f"in the log already: visit {first}: ")
    assert len(store(season).all_entries().visits) == 1


def test_a_second_visit_on_a_day_is_doubted(season: Path) -> None:
    """It is logged, and the doubt names the first, in case it was meant as a correction."""
    first = added(season, *DATE, "--stage", "R3")
    ran = add(season, *DATE, "--stage", "R4")
    assert ran.code == 0
    assert f"doubtful: {LOG_FILE} (field F1): the log has another visit" in ran.out
    assert first in ran.out.splitlines()[-1]
    assert len(store(season).read().visits) == 2


@pytest.mark.parametrize(
    ("arguments", "options"),
    [
        ((), ["log add"]),
        (DATE, ["log add"]),
        (("--stage", "R9", "--share", "120", "--date", "5-4-2026", "--set", "25 sweeps: x 1"),
         ["--date", "--stage", "--share", "--set"]),
        (("--date", "2025-07-06", "--stage", "R3"), ["--date"]),
        (("--stage", "R3", "--defoliation", "half"), ["--defoliation"]),
        (("--set", "25 swipes", "--set", "sweeps"), ["--set", "--set"]),
        (("--product", "x"), ["--time", "--reentry-hours"]),
        (("--time", "14:30"), ["--product", "--reentry-hours"]),
        ((*SPRAYED, "--who", "Ann"), ["--who"]),
        (("--corrects", "nothing", "--stage", "R3"), ["--corrects"]),
    ],
)  # fmt: skip
def test_what_cannot_be_logged_is_told_by_its_option(
    season: Path, arguments: tuple[str, ...], options: list[str]
) -> None:
    """Without a terminal nothing is asked: every fault is a line, and nothing is logged."""
    ran = add(season, *arguments)
    assert (ran.code, ran.out) == (2, "")
    assert sorted(line.partition(":")[0] for line in ran.err.splitlines()) == sorted(options)
    assert not (season / LOG_FILE).exists()


def test_an_unknown_field_is_told_with_those_there_are(season: Path) -> None:
    """A slip in the name of a field never becomes a visit to no field."""
    ran = add(season, "--stage", "R3", field="F9")
    assert ran.code == 2
    assert "'F9'; accepted: F1, F2" in ran.err


def test_a_season_with_faults_can_be_logged_into(season: Path) -> None:
    """What is broken elsewhere keeps nobody from writing down what was seen."""
    (season / "fields.csv").write_bytes(b"PK\x03\x04")
    with (season / "season.toml").open("a", encoding="utf-8") as stream:
        stream.write("\nnonsense\n")
    added(season, *DATE, "--stage", "R3", field="F77")
    assert store(season).read().visits[0].field_id == "F77"


def test_a_folder_that_is_no_season_gets_no_log(tmp_path: Path) -> None:
    """A mistyped folder is told, and nothing is made in it."""
    assert add(tmp_path, "--stage", "R3").code == 2
    assert add(tmp_path / "nowhere", "--stage", "R3").code == 2
    assert list(tmp_path.iterdir()) == []


# --- corrections ----------------------------------------------------------------------------


def test_a_correction_keeps_what_it_does_not_name(season: Path) -> None:
    """Only what is given changes, "" takes it away, and a share goes with its stage."""
    counts = ("--set", "25 sweeps: stink bugs 3")
    old = added(season, *DATE, "--stage", "R3", "--share", "60", "--notes", "wet", *counts)
    new = added(season, "--corrects", old, "--stage", "R4", "--notes", "")
    before, after = store(season).all_entries().visits
    assert store(season).read().visits == (after,)
    assert (after.visit_id, after.corrects) == (new, old)
    assert (after.stage, after.share, after.notes) == ("R4", None, "")
    assert (after.date, after.sets) == (before.date, before.sets)
    recounted = added(season, "--corrects", new, "--set", "25 sweeps: stink bugs 5", field="F2")
    (visit,) = store(season).read().visits
    assert (visit.visit_id, visit.field_id, visit.stage) == (recounted, "F2", "R4")
    assert visit.sets[0].counts[0].number == 5


def test_a_treatment_can_be_corrected(season: Path) -> None:
    """A longer interval read late on the label takes the place of the first."""
    old = added(season, *DATE, *SPRAYED)
    added(season, "--corrects", old, "--reentry-hours", "24")
    (treatment,) = store(season).read().treatments
    assert (treatment.reentry_hours, treatment.preharvest_days, treatment.corrects) == (24, 30, old)
    ran = add(season, "--corrects", treatment.treatment_id, "--set", "25 sweeps: stink bugs 3")
    assert (ran.code, ran.err.startswith("--set: a treatment has no set")) == (2, True)


def test_what_is_corrected_already_is_told(season: Path) -> None:
    """A second correction of the same entry names the one to correct instead."""
    old = added(season, *DATE, "--stage", "R3")
    new = added(season, "--corrects", old, "--stage", "R4")
    ran = add(season, "--corrects", old, "--stage", "R5")
    assert ran.code == 2
    assert f"correct {new} instead" in ran.err


# --- step by step ---------------------------------------------------------------------------


class Typed(io.StringIO):
    """Answers of a person at a terminal, one a line."""

    def isatty(self) -> bool:
        """It is a terminal."""
        return True


def asked(season: Path, *answers: str, monkeypatch: pytest.MonkeyPatch) -> Ran:
    """Log into F1 without options, at a terminal."""
    monkeypatch.setattr("sys.stdin", Typed("".join(f"{answer}\n" for answer in answers)))
    return add(season)


ANSWERS = (
    "2026-07-06", "Ann", "R3", "60", "", "", "", "net", "25 sweeps: stink bugs 3", "", "it's wet",
    "",
)  # fmt: skip


def test_it_asks_step_by_step(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The answers are logged as the options would be."""
    ran = asked(season, *ANSWERS, monkeypatch=monkeypatch)
    assert (ran.code, ran.err) == (0, "")
    (visit,) = store(season).read().visits
    assert f"logged visit {visit.visit_id}: " in ran.out
    same = added(
        season, *DATE, "--who", "Ann", "--stage", "R3", "--share", "60", "--method", "net",
        "--set", "25 sweeps: stink bugs 3", "--notes", "it's wet",
    )  # fmt: skip
    assert same == visit.visit_id


def test_an_answer_that_cannot_be_logged_is_asked_again(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is told at once, and what was answered before it is kept."""
    answers = [
        "5-4-2026", "2026-07-06", "", "R9", "R3", "700", "60", "lots", "", "a few", "", "", "",
        "25 swipes", "25 sweeps: stinkbugz 1", "25 sweeps: stink bugs 1", "", "", "something",
        "late", "14:30", "", "12", "",
    ]  # fmt: skip
    ran = asked(season, *answers, monkeypatch=monkeypatch)
    assert ran.code == 0
    assert [line.partition(";")[0] for line in ran.err.splitlines()] == [
        "could be month first or day first", "not a growth stage", "not a share of plants",
        "not a number", "a colon stands before the plants of the places",
        "'swipes' is not a unit that sets are taken in (sweeps, row-feet, "
        "row-metres, plants, leaflets, square-yards, percent, rating, minutes)",
        "no pest of the name 'stinkbugz' is known", "not a time of day", "this is needed",
    ]  # fmt: skip
    log = store(season).read()
    assert (log.visits[0].stage, log.visits[0].share, len(log.visits[0].sets)) == ("R3", 0.6, 1)
    assert (log.treatments[0].product, log.treatments[0].reentry_hours) == ("something", 12.0)


@pytest.mark.parametrize("until", range(2, len(ANSWERS)))
def test_answers_cut_short_are_given_back(
    season: Path, until: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a person stops halfway, the command that is printed logs all that was typed."""
    ran = asked(season, *ANSWERS[:until], monkeypatch=monkeypatch)
    assert ran.code == 2
    assert not (season / LOG_FILE).exists()
    command = ran.err.splitlines()[-1]
    for answer in filter(None, ANSWERS[1:until]):
        assert shlex.quote(answer) in command
    program, *words = shlex.split(command)
    assert program == "stagecast"
    assert run_command(*words).code == 0
    assert store(season).read().visits[0].who == "Ann"


def test_a_log_that_cannot_be_written_gives_the_answers_back(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After all answers, a file that is no log costs no word that was typed."""
    (season / LOG_FILE).write_text("no log " * 100, encoding="ascii")
    ran = asked(season, *ANSWERS, monkeypatch=monkeypatch)
    assert ran.code == 2
    assert "--notes 'it'\"'\"'s wet'" in ran.err
    assert f"{LOG_FILE}: damaged: file is not a database" in ran.err


def test_blank_answers_are_nothing_to_log(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person who looked at nothing leaves no visit behind."""
    ran = asked(season, *[""] * 10, monkeypatch=monkeypatch)
    assert (ran.code, (season / LOG_FILE).exists()) == (2, False)
    assert "nothing was given that could be logged" in ran.err


# --- import and export ------------------------------------------------------------------------

TABLE = """\
field_id,date,stage,set,size,of,pest,count,kind,product,time,reentry_hours
F1,7/6/2026,R3,1,25,sweeps,stink bugs,3,,,,
F1,7/6/2026,,2,25,sweeps,stink bugs,1,,,,
F2,7/6/2026,R2,,,,,,,,,
F2,7/6/2026,,,,,,,treatment,something,14:30,12
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A table as a person types it."""
    path = tmp_path / "typed.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_a_table_is_logged_once(season: Path, table: Path) -> None:
    """The first import logs it, the second finds all of it there and changes nothing."""
    ran = run_command("log", "import", season, table, columns=200)
    assert (ran.code, ran.err) == (0, "")
    assert "typed.csv: 2 visits and 1 treatment logged, 0 in the log already" in ran.out
    assert "read as month/day/year in typed.csv" in ran.out
    before = snapshot(season)[LOG_FILE][1]
    ran = run_command("log", "import", season, table, columns=200)
    assert "typed.csv: 0 visits and 0 treatments logged, 3 in the log already" in ran.out
    assert snapshot(season)[LOG_FILE][1] == before


def test_a_table_with_a_fault_logs_nothing(season: Path, table: Path) -> None:
    """All faults are told with their lines, and the rows without fault wait for them."""
    table.write_text(TABLE + "F9,7/6/2026,R9,,,,,,,,,\nF1,late,,,,,,,,,,\n", encoding="utf-8")
    ran = run_command("log", "import", season, table)
    assert (ran.code, ran.out) == (2, "")
    told = [line.partition(":")[0] for line in ran.err.splitlines()]
    assert told == [
        "typed.csv line 6, field_id", "typed.csv line 6, stage", "typed.csv line 7, date",
        "typed.csv",
    ]  # fmt: skip
    assert not (season / LOG_FILE).exists()


def test_a_clash_with_the_log_is_told_with_its_line(season: Path, table: Path) -> None:
    """An id that says something else in the log refuses the whole table."""
    table.write_text(
        "field_id,date,visit_id,stage\nF2,2026-07-01,b,R1\nF1,2026-07-06,a,R3\n", "utf-8"
    )
    assert run_command("log", "import", season, table).code == 0
    table.write_text(
        "field_id,date,visit_id,stage\nF2,2026-07-02,c,R1\nF1,2026-07-06,a,R4\n", "utf-8"
    )
    ran = run_command("log", "import", season, table)
    assert ran.code == 2
    assert ran.err.startswith("typed.csv line 3, visit_id (field F1): this id is taken")
    assert [visit.visit_id for visit in store(season).read().visits] == ["b", "a"]


def test_a_day_that_has_not_come_is_doubted(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is dated tomorrow is taken, and doubted with how to mend it; what is of today is not."""
    monkeypatch.setattr(log_commands, "now", lambda: dt.datetime(2026, 7, 7, 18))
    applied = "--product", "invented", "--time", "9:00", "--reentry-hours", "12"
    for what in (("--stage", "R2"), applied):
        ran = add(season, "--date", "2026-07-07", *what)
        assert ran.out.startswith("logged ")
        assert "has not come" not in ran.out
        ran = add(season, "--date", "2026-07-08", *what, field="F2")
        assert (ran.code, ran.err) == (0, "")
        assert "2026-07-08 has not come yet" in ran.out
        assert "if the day is wrong, correct " in ran.out


def test_a_changed_copy_of_a_table_is_doubted(season: Path, table: Path) -> None:
    """Without ids a changed row is another visit to the same field on the same day: told."""
    run_command("log", "import", season, table)
    table.write_text(TABLE.replace("F2,7/6/2026,R2", "F2,7/6/2026,R1"), encoding="utf-8")
    ran = run_command("log", "import", season, table, columns=200)
    assert ran.code == 0
    assert "the log has another visit to this field on 2026-07-06" in ran.out


def test_export_gives_back_what_import_takes(season: Path, table: Path, tmp_path: Path) -> None:
    """Into an empty log it makes the same log, whose export has the same bytes."""
    run_command("log", "import", season, table)
    name = added(season, *DATE, "--stage", "R3", "--notes", 'a "b",\n=c')
    added(season, "--corrects", name, "--stage", "R4")
    out = tmp_path / "out.csv"
    assert run_command("log", "export", season, "-o", out).code == 0
    printed = run_process("log", "export", season).stdout
    assert printed == out.read_bytes()
    entries = store(season).all_entries()
    (season / LOG_FILE).unlink()
    assert run_command("log", "import", season, out).code == 0
    assert store(season).all_entries() == entries
    assert run_command("log", "export", season).out == out.read_text("utf-8")


def test_an_export_overwrites_nothing_else(season: Path) -> None:
    """A slip that names another file of the season is refused."""
    before = snapshot(season)
    ran = run_command("log", "export", season, "-o", season / "fields.csv")
    assert (ran.code, "fields.csv" in ran.err) == (2, True)
    assert snapshot(season) == before


def test_an_empty_log_exports_its_columns(season: Path) -> None:
    """A table to fill in; nothing is made in the folder."""
    before = snapshot(season)
    assert run_command("log", "export", season).out == HEADER + "\n"
    assert snapshot(season) == before


def test_the_columns_are_documented() -> None:
    """Every column of the table stands in the guide's list of them."""
    cells = " ".join(re.findall(r"^\| (`.*?) \|", GUIDE["log"], re.MULTILINE))
    assert sorted(re.findall(r"`([a-z_]+)`", cells)) == sorted(COLUMNS)


def test_the_examples_of_the_guide_can_be_run(season: Path) -> None:
    """Each command of its page on the log logs, imports or exports something."""
    (block,) = fences("sh", GUIDE["log"])
    today = dt.date.today().isoformat()
    settings = season / "season.toml"
    text = settings.read_text("utf-8").replace("year = 2026", f"year = {today[:4]}")
    settings.write_text(text, encoding="utf-8")
    commands = [shlex.split(line, comments=True) for line in block.splitlines()]
    given = [
        words
        for words in commands
        if words[2] != "add" or {"--stage", "--set", "--product", "--stand-count"} & set(words)
    ]
    assert len(given) == len(commands) - 1
    run_command("log", "export", season, "-o", season / "log.csv")
    for words in given:
        words = [str(season) if word == "my-season" else word for word in words[1:]]
        words = ["F1" if word == "F07" else word for word in words]
        words = [str(season / "log.csv") if word == "log.csv" else word for word in words]
        ran = run_command(*words)
        assert ran.code == 0, ran.err
    log = store(season).read()
    assert (len(log.visits), len(log.treatments)) == (3, 1)


# --- other commands ---------------------------------------------------------------------------


def test_a_logged_stage_is_learnt_from(season: Path) -> None:
    """``stages`` lists it as seen, and moves its forecast as a stage in visits.csv would."""
    options = ("stages", season, "--as-of", "2026-07-07", "--format", "json")
    before = json.loads(run_command(*options).out)["fields"][0]
    added(season, *DATE, "--stage", "R2", "--share", "60")
    logged = json.loads(run_command(*options).out)["fields"][0]
    (season / LOG_FILE).unlink()
    text = "field_id,date,pressure,stage,share_percent\nF1,2026-07-06,some,R2,60\n"
    (season / "visits.csv").write_text(text, encoding="utf-8")
    in_table = json.loads(run_command(*options).out)["fields"][0]
    assert before["seen"] == []
    assert [(s["date"], s["stage"], s["share"]) for s in logged["seen"]] == [
        ("2026-07-06", "R2", 0.6)
    ]
    assert logged["stages"] == in_table["stages"] != before["stages"]


def test_check_tells_what_is_doubtful_in_the_log(season: Path) -> None:
    """A field that left fields.csv, and a visit in both files, are doubts and not errors."""
    added(season, *DATE, "--stage", "R2")
    added(season, *DATE, "--stage", "R2", field="F2")
    text = (season / "fields.csv").read_text("utf-8").replace("\nF2,", "\nF3,")
    (season / "fields.csv").write_text(text, encoding="utf-8")
    line = VisitLine("F1", day(7, 6))
    (season / "visits.csv").write_text(
        f"field_id,date,pressure\n{line.field_id},{line.date},{line.pressure}\n", encoding="utf-8"
    )
    ran = run_command("check", season, "--as-of", "2026-07-07", columns=400)
    assert (ran.code, ran.err) == (0, "")
    assert "visits.csv line 2 (field F1): scouting.sqlite has a visit" in ran.out
    assert re.search(
        r"scouting.sqlite \(field F2\): visit \S+ names no field of fields.csv", ran.out
    )


def test_commands_that_read_leave_the_folder_as_it_is(season: Path) -> None:
    """No command that only reads the log touches it or anything beside it."""
    added(season, *DATE, "--stage", "R2", "--set", "25 sweeps: stink bugs 3")
    before = snapshot(season)
    for command in ("check", "stages", "plan"):
        assert run_command(command, season, "--as-of", "2026-07-07").code == 0
    assert snapshot(season) == before


@pytest.fixture
def read_only(built: Path) -> Iterator[Path]:
    """A season with one visit in a folder where nobody may write."""
    above = Path(tempfile.mkdtemp())
    season = Path(shutil.copytree(built, above / "season"))
    added(season, *DATE, "--stage", "R2")
    (season / LOG_FILE).chmod(0o444)
    season.chmod(0o555)
    above.chmod(0o755)
    with as_nobody():
        yield season
    season.chmod(0o755)
    shutil.rmtree(above)


def test_a_read_only_folder_is_told_in_a_sentence(read_only: Path) -> None:
    """Nothing is logged, the way out is named, and the log is whole."""
    ran = add(read_only, *DATE, "--stage", "R3")
    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1
    assert "copy the season folder to a place you may write to" in ran.err
    assert [visit.stage for visit in store(read_only).read().visits] == ["R2"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--set", "25 sweeps: green stink bug 1000001"), "accepted 0 to 1,000,000"),
        (("--set", "1e-300 sweeps: green stink bug 1"), "accepted 0.01 to 100,000"),
        ((*SPRAYED, "--reentry-hours", "8761"), "0 to 8,760"),
        ((*SPRAYED, "--preharvest-days", "3651"), "0 to 3,650"),
        (("--notes", "a\x1b[31mb"), "U+001B"),
        (("--notes", "a\u202eb"), "U+202E"),
    ],
)
def test_what_cannot_be_true_or_seen_is_refused(
    season: Path, options: tuple[str, ...], words: str
) -> None:
    """A number beyond all sense, or a text that steers the screen, logs nothing and is told."""
    ran = add(season, *DATE, *options)
    assert ran.code != 0
    assert words in " ".join(ran.err.split())
    assert not (season / LOG_FILE).exists()


def test_a_correction_that_changes_the_field_is_doubted(season: Path) -> None:
    """A correction may move a visit to another field, and says that it does."""
    name = added(season, *DATE, "--notes", "seen")
    ran = add(season, "--corrects", name, field="F2")
    assert "corrects a visit of another field, F1" in " ".join((ran.out + ran.err).split())


def test_an_export_to_the_screen_leaves_nothing_out(season: Path) -> None:
    """What an old log holds goes out byte for byte, also what looks like a colour."""
    added(season, *DATE, "--notes", "plain")
    with contextlib.closing(sqlite3.connect(season / LOG_FILE)) as connection, connection:
        columns = "visit_id, field_id, date, who, stand_notes, method, notes, entered_at"
        row = ("old", "F1", "2026-07-07", "", "", "", "\x1b[31mred", "2026-07-07 12:00:00")
        connection.execute(f"INSERT INTO visit ({columns}) VALUES (?,?,?,?,?,?,?,?)", row)
    assert b"\x1b[31mred" in run_process("log", "export", str(season)).stdout
