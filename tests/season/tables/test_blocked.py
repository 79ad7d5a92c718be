"""blocked.csv: the days and hours in which a field must not be entered."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from broken import build
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.errors import SeasonProblems
from stagecast.season.folder import read_season
from stagecast.season.tables.blocked import Blocked, BlockedFile, read_blocked

HEADER = "field_id,first_date,last_date,from_time,to_time,why\n"
IDS = frozenset({"F1", "F2"})
ALL_DAY = (0, 86_400)
QUICK = settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)


def read(folder: Path, rows: str | bytes, *, header: str = HEADER) -> BlockedFile:
    """Write a blocked.csv and read it."""
    raw = rows if isinstance(rows, bytes) else (header + rows).encode()
    (folder / "blocked.csv").write_bytes(raw)
    return read_blocked(folder, year=2026, field_ids=IDS)


def one(folder: Path, row: str) -> Blocked:
    """The only time there is, without a problem."""
    file = read(folder, row + "\n")
    assert file.problems == ()
    (blocked,) = file.blocked
    return blocked


def test_no_file_means_nothing_is_blocked(tmp_path: Path) -> None:
    """The file is optional: without it there are no times and no problems."""
    assert read_blocked(tmp_path, year=2026, field_ids=IDS) == BlockedFile((), (), False)


@pytest.mark.parametrize("name", ["blocked.xlsx", "Blocked times.csv", "blocked.csv.txt"])
def test_a_file_with_nearly_the_name_is_doubted(name: str, tmp_path: Path) -> None:
    """Times saved under another name are not passed over in silence."""
    (tmp_path / name).write_text(HEADER, "utf-8")
    (problem,) = read_blocked(tmp_path, year=2026, field_ids=IDS).problems
    assert problem.doubtful
    assert (problem.file, problem.found) == ("blocked.csv", name)


def test_blank_cells_mean_one_whole_day(tmp_path: Path) -> None:
    """Without a last day and without times it is the first day, from midnight to midnight."""
    blocked = one(tmp_path, "F1,2026-06-10,,,,")
    assert (blocked.first, blocked.last) == (dt.date(2026, 6, 10), dt.date(2026, 6, 10))
    assert (blocked.from_s, blocked.to_s, blocked.why) == (*ALL_DAY, "")


def test_why_may_be_left_out_and_is_one_line(tmp_path: Path) -> None:
    """The column need not be there; line breaks of a spreadsheet's cell become blanks."""
    file = read(tmp_path, "F1,2026-06-10,,,\n", header=HEADER.replace(",why", ""))
    assert (file.problems, file.blocked[0].why) == ((), "")
    assert one(tmp_path, 'F1,2026-06-10,,,,"hay,\n then   cattle"').why == "hay, then cattle"


@QUICK
@given(
    first=st.dates(dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
    days=st.integers(0, 40),
    times=st.none() | st.tuples(st.integers(0, 1440), st.integers(0, 1440)).filter(
        lambda pair: pair[0] < pair[1]),
    why=st.text(st.characters(codec="utf-8", exclude_categories=("C", "Zl", "Zp")), max_size=30),
    us_order=st.booleans(), padded=st.booleans(), semicolons=st.booleans(), windows=st.booleans(),
)  # fmt: skip
def test_any_valid_form_reads_back_the_same(
    tmp_path: Path, first: dt.date, days: int, times: tuple[int, int] | None, why: str,
    us_order: bool, padded: bool, semicolons: bool, windows: bool,
) -> None:  # fmt: skip
    """Dates of both orders, times padded or not, marks and separators of any spreadsheet."""
    last = min(first + dt.timedelta(days=days), dt.date(2026, 12, 31))
    written = [f"{d.month}/{d.day}/{d.year}" if us_order else str(d) for d in (first, last)]
    clock = [f"{m // 60:{'02' if padded else ''}d}:{m % 60:02d}" for m in times or ()]
    quoted = '"' + why.replace('"', '""') + '"'
    text = HEADER + ",".join(["F2", *written, *(clock or ["", ""])])
    end = "\r\n" if windows else "\n"
    separator = ";" if semicolons else ","
    raw = (text.replace(",", separator) + separator + quoted + "\n").replace("\n", end)
    file = read(tmp_path, b"\xef\xbb\xbf" * windows + raw.encode())
    assert file.problems == ()
    assert file.us_order == us_order
    from_s, to_s = ALL_DAY if times is None else (times[0] * 60, times[1] * 60)
    meant = " ".join(why.split())
    assert file.blocked == (Blocked("F2", first, last, from_s, to_s, meant, 2),)


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (",2026-06-10,,,,", "field_id", "blank"),
        ("F9,2026-06-10,,,,", "field_id", "no such field"),
        ("F1,,,,,", "first_date", "blank"),
        ("F1,2025-06-10,,,,", "first_date", "season's year"),
        ("F1,2026-06-31,,,,", "first_date", "no day 31"),
        ("F1,10.06.2026,,,,", "first_date", "month first or day first"),
        ("F1,2026-06-10,2027-01-02,,,", "last_date", "season's year"),
        ("F1,2026-06-10,2026-06-09,,,", "last_date", "before the first_date 2026-06-10"),
        ("F1,2026-06-10,,13 pm,14:00,", "from_time", "no hour 13"),
        ("F1,2026-06-10,,8:00:99,9:00,", "from_time", "no such time"),
        ("F1,2026-06-10,,8:00,9.00,", "to_time", "not a time of day"),
        ("F1,2026-06-10,,nan,9:00,", "from_time", "not a time of day"),
        ("F1,2026-06-10,,8:00,25:00,", "to_time", "no such time"),
        ("F1,2026-06-10,,8:00,,", "to_time", "blank beside a from_time"),
        ("F1,2026-06-10,,,8:00,", "from_time", "blank beside a to_time"),
        ("F1,2026-06-10,,8:00,8:00,", "to_time", "not after the from_time 8:00"),
        ("F1,2026-06-10,,20:00,6:00,", "to_time", "a line for each of its two days"),
        ("F1,2026-06-10,,,,\u202espray", "why", "U+202E"),
        ("F1,2026-06-10,,,,a\x1b[31m", "why", "U+001B"),
        ("F1,2026-06-10,,,," + "x" * 201, "why", "201 characters"),
    ],
)
def test_one_fault_is_one_sentence_at_its_cell(
    row: str, column: str, words: str, tmp_path: Path
) -> None:
    """Each is refused once, with its line, and the row says nothing then."""
    file = read(tmp_path, f"F2,2026-06-01,,,,\n{row}\n")
    (problem,) = file.problems
    assert (problem.line, problem.column, problem.doubtful) == (3, column, False)
    assert words in problem.sentence()
    assert "\n" not in problem.sentence()
    assert [blocked.line for blocked in file.blocked] == [2]


def test_all_faults_of_a_row_and_of_a_file_are_told(tmp_path: Path) -> None:
    """Field, day and time of one row are three problems, and the next row's come after them."""
    file = read(tmp_path, "F9,2026-02-30,,8,9:00,\nF1,2026-06-10,2026-06-09,9:00,8:00,\n")
    assert [(problem.line, problem.column) for problem in file.problems] == [
        (2, "field_id"), (2, "first_date"), (2, "from_time"), (3, "last_date"), (3, "to_time"),
    ]  # fmt: skip


@pytest.mark.parametrize("column", ["last_date", "from_time", "to_time"])
def test_a_misspelt_column_does_not_widen_or_narrow_a_time(column: str, tmp_path: Path) -> None:
    """Blank cells have a meaning, so that a missing column is an error and not a blank."""
    header = HEADER.replace(column, column.replace("_", ""))
    problems = read(tmp_path, "F1,2026-06-10,,,,\n", header=header).problems
    assert [(p.column, p.doubtful) for p in problems] == [(column, False)]
    assert "rename" in problems[0].sentence()


def test_ids_are_left_unchecked_when_the_fields_are_not_known(tmp_path: Path) -> None:
    """A fields.csv that could not be read does not make every blocked time wrong as well."""
    (tmp_path / "blocked.csv").write_text(HEADER + "F9,2026-06-10,,,,\n", "utf-8")
    file = read_blocked(tmp_path, year=None, field_ids=None)
    assert (file.problems, file.blocked[0].field_id) == ((), "F9")


@pytest.mark.parametrize("raw", [b"", b"\x00", b"PK\x03\x04", b"\xff\xfea", b"a\xff", b'"'])
def test_files_that_are_no_tables_are_told(raw: bytes, tmp_path: Path) -> None:
    """Workbooks, other encodings, empty files and stray quotes are sentences, never a crash."""
    file = read(tmp_path, raw)
    assert file.blocked == ()
    assert file.problems
    assert all(problem.file == "blocked.csv" for problem in file.problems)


@QUICK
@given(st.text(max_size=120))
def test_any_text_gives_rows_or_problems(tmp_path: Path, text: str) -> None:
    """Whatever stands below the header, what comes out are rows and sentences of one line."""
    raw = (HEADER + text).encode("utf-8", "surrogatepass")
    file = read(tmp_path, raw)
    assert not any("\n" in problem.message for problem in file.problems)
    assert all(blocked.from_s < blocked.to_s for blocked in file.blocked)


def test_the_season_has_its_blocked_times_and_their_problems(tmp_path: Path) -> None:
    """A folder reads them beside the rest, says where US order was used, and refuses faults."""
    rows = HEADER + "F3,6/10/2026,,13:00,24:00,hay\n"
    season = read_season(build(tmp_path / "a", {"blocked.csv": rows}))
    day = dt.date(2026, 6, 10)
    assert season.blocked == (Blocked("F3", day, day, 46_800, 86_400, "hay", 2),)
    assert season.us_order == ("blocked.csv",)
    broken = build(tmp_path / "b", {"blocked.csv": rows.replace("F3", "F9")})
    with pytest.raises(SeasonProblems) as caught:
        read_season(broken)
    assert [p.sentence().partition(":")[0] for p in caught.value.problems] == [
        "blocked.csv line 2, field_id"
    ]
