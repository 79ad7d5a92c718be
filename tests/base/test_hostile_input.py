"""Files and names that do harm: pipes, devices, links, endless text, and what no screen shows."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from broken import GOOD, build
from commands import process_environment, run_command, run_process, said
from hypothesis import given
from hypothesis import strategies as st
from season_builder import StationFile, build_season, day, snapshot

from stagecast.base.errors import Problem, SeasonProblems, StoreError
from stagecast.base.textfiles import clean, read_bytes
from stagecast.files.season import to_json
from stagecast.season.folder import read_season

POSIX = pytest.mark.skipif(os.name != "posix", reason="pipes and devices are a POSIX matter")
FILES = ("season.toml", "fields.csv", "visits.csv")
HUGE = "a" * 100_000
LONGEST_SENTENCE = 2_000


def sentences(folder: Path) -> list[str]:
    """What reading a faulty folder says."""
    with pytest.raises(SeasonProblems) as caught:
        read_season(folder)
    return caught.value.sentences()


# --- files that are none --------------------------------------------------------------------


@POSIX
@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_only_ordinary_files_are_opened(kind: str, tmp_path: Path) -> None:
    """Pipes that never begin and devices that never end are one sentence each, at once."""
    folder = build(tmp_path, dict.fromkeys(FILES))
    for name in FILES:
        if kind == "pipe":
            os.mkfifo(folder / name)
        else:
            (folder / name).symlink_to("/dev/zero")
    ran = run_process("check", folder, "--as-of", "2026-06-20")
    told = [line for line in ran.stdout.decode("utf-8").splitlines() if line.startswith(FILES)]
    assert ran.returncode == 2
    assert sorted(told) == sorted(f"{name}: this is not an ordinary file" for name in FILES)


@pytest.mark.parametrize("name", FILES)
def test_a_link_that_leads_nowhere_is_told_as_one(name: str, tmp_path: Path) -> None:
    """A dangling link is not the same as no file: the file is somewhere else."""
    folder = build(tmp_path, {name: None})
    (folder / name).symlink_to(folder / "gone")
    (told,) = sentences(folder)
    assert told.startswith(f"{name}: this is a link that leads nowhere")


def test_a_file_is_read_up_to_its_limit_and_no_further(tmp_path: Path) -> None:
    """The last accepted size is read whole; one byte more is refused, and named in MB."""
    file = tmp_path / "x"
    file.write_bytes(b"x" * 1_500_001)
    assert read_bytes(file, label="x", largest_bytes=1_500_001) == (b"x" * 1_500_001, None)
    raw, problem = read_bytes(file, label="x", largest_bytes=1_500_000)
    assert raw == b""
    assert problem is not None
    assert "larger than 1.5 MB" in problem.message


def test_a_table_of_terabytes_is_refused_at_once(tmp_path: Path) -> None:
    """A file with a hole, far larger than memory, is one sentence."""
    folder = build(tmp_path)
    try:
        with (folder / "fields.csv").open("r+b") as stream:
            stream.truncate(2**40)
    except OSError:
        pytest.skip("this file system holds no files that large")
    assert ["larger than 50 MB" in told for told in sentences(folder)] == [True]


# --- endless text ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "changes",
    [
        {"season.toml": f"{HUGE} = 1\n" + GOOD["season.toml"]},
        {"season.toml": f"x = {{ {HUGE} = 1, {HUGE} = 2 }}\n"},
        {"season.toml": GOOD["season.toml"].replace('"TN"', f'"{HUGE}"')},
        {"fields.csv": GOOD["fields.csv"].replace("F1,", f"{HUGE},", 1)},
        {"fields.csv": GOOD["fields.csv"].replace("notes", f"{HUGE},{HUGE}")},
        {"visits.csv": GOOD["visits.csv"].replace("some", HUGE)},
    ],
)
def test_a_sentence_is_short_whatever_was_typed(changes: dict[str, str], tmp_path: Path) -> None:
    """Names, settings, columns and values of 100,000 letters are shortened in every part."""
    told = sentences(build(tmp_path, changes))
    assert told
    assert max(map(len, told)) < LONGEST_SENTENCE


def test_every_part_of_a_problem_and_a_path_is_shortened() -> None:
    """File, column, value, what is accepted, next step, field and message: none runs on."""
    problem = Problem(HUGE, HUGE, 1, HUGE, HUGE, HUGE, HUGE, HUGE)
    assert len(problem.sentence()) < 2 * LONGEST_SENTENCE
    assert len(str(StoreError(HUGE, "no", next_step="none"))) < LONGEST_SENTENCE


# --- what no screen shows -------------------------------------------------------------------


@given(st.text(st.characters(categories=("Cc", "Cf", "Zl", "Zp", "L", "So")), max_size=20))
def test_cleaned_text_has_no_unseen_character_but_the_joiner(text: str) -> None:
    """A screen gets a mark for each, so that zero-width and direction characters are seen."""
    shown = clean(text)
    assert len(shown) == len(text)
    for typed, printed in zip(text, shown, strict=True):
        hidden = unicodedata.category(typed) in ("Cc", "Cf", "Zl", "Zp") and typed != "\u200d"
        assert printed == ("\ufffd" if hidden else typed)


@given(st.text(st.characters(), max_size=20) | st.text("\x7f\x85\x9b\u202e\u2028\U000e0041é"))
def test_json_is_the_same_value_without_unseen_characters(text: str) -> None:
    """Control, format and line characters are codes in the text, and themselves once read."""
    written = to_json({"name": text, text: 1})
    assert json.loads(written) == {"name": text, text: 1}
    raw = {char for char in written if unicodedata.category(char)[0] == "C"} - {"\n"}
    assert {char for char in raw if unicodedata.category(char) not in ("Cn", "Co")} == set()
    assert not set("\u2028\u2029") & set(written)


def test_letters_stay_letters_in_json() -> None:
    """What can be read is not written as a code."""
    assert "大豆 é 😀" in to_json({"name": "大豆 é 😀"})


@POSIX
@pytest.mark.parametrize("command", ["new", "demo"])
def test_a_folder_name_with_tricks_is_echoed_without_them(command: str, tmp_path: Path) -> None:
    """The folder is made under the name asked for; the screen sees marks."""
    folder = tmp_path / "\x1b[31mred\u202e"
    ran = run_command(command, folder)
    assert ran.code == 0
    assert (folder / "season.toml").is_file()
    assert not set("\x1b\u202e") & set(ran.out)


# --- writing --------------------------------------------------------------------------------


@POSIX
@pytest.mark.parametrize("command", [("new",), ("demo",)])
def test_a_command_that_cannot_write_its_files_leaves_nothing(
    command: tuple[str, ...], tmp_path: Path
) -> None:
    """Where files may not grow, writing fails half way: one sentence, and no half folder."""
    import resource

    limit = 1_000
    ran = subprocess.run(
        [sys.executable, "-B", "-m", "stagecast", *command, "season"],
        cwd=tmp_path,
        env=process_environment(),
        capture_output=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
        timeout=600,
        check=False,
    )
    assert ran.returncode == 2
    assert ran.stderr.startswith(b"season: the folder cannot be written")
    assert ran.stderr.count(b"\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("options", [("--help",), ("plan", "--format", "json"), ("plan",)])
def test_output_that_cannot_be_written_is_told_as_such(
    options: tuple[str, ...], demo: Path
) -> None:
    """A full disk behind the output is no fault of a file we read."""
    more = (str(demo), "--as-of", "2026-07-07") if "plan" in options else ()
    arguments = [sys.executable, "-m", "stagecast", *options, *more]
    with Path("/dev/full").open("wb") as full:
        ran = subprocess.run(
            arguments,
            stdout=full,
            stderr=subprocess.PIPE,
            env=process_environment(),
            timeout=600,
            check=False,
        )
    assert ran.returncode == 2
    told = ran.stderr.decode("utf-8")
    assert told.startswith("the output could not be written: ")
    assert "free some space" in told
    assert told.count("\n") == 1


# --- notes ----------------------------------------------------------------------------------


def test_a_record_that_ends_in_another_year_says_which(tmp_path: Path) -> None:
    """Measured to 31 Dec means the season's own December; an earlier one carries its year."""
    early, late = tmp_path / "early", tmp_path / "late"
    build_season(early, stations=[StationFile(last=day(1, 1).replace(year=2025, month=12))])
    build_season(late, stations=[StationFile(last=day(6, 20))])
    for folder, as_of, words in (
        (early, "2026-01-02", "measured to 1 Dec 2025"),
        (late, "2026-06-20", "measured to 20 Jun, then"),
    ):
        before = snapshot(folder)
        assert words in " ".join(said("check", folder, "--as-of", as_of, columns=200).split())
        assert snapshot(folder) == before
