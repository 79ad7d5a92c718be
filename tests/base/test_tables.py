"""Tables as spreadsheets save them."""

import csv
import io
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.errors import Problem, fold_repeats
from stagecast.base.tables import Table, open_table, parse_number

PLAIN = b"Date,tmin_c,Tmax_C\n2026-05-04,9.5,21\n2026-05-05,,NA\n"
PLAIN_ROWS = [
    {"date": "2026-05-04", "tmin_c": "9.5", "tmax_c": "21"},
    {"date": "2026-05-05", "tmin_c": "", "tmax_c": "NA"},
]


def read(folder: Path, raw: bytes) -> Table:
    """Write bytes to a file and read them as a table."""
    path = folder / "table.csv"
    path.write_bytes(raw)
    return open_table(path, label="table.csv")


def sentences(rows: Table) -> str:
    """All problems as one text."""
    return "\n".join(problem.sentence() for problem in rows.told())


@pytest.mark.parametrize(
    "raw",
    [
        PLAIN,
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN.replace(b"\n", b"\r\n"),
        PLAIN.replace(b"\n", b"\r"),
        PLAIN.replace(b",", b";"),
        PLAIN.replace(b",", b"\t"),
        PLAIN + b"\n\n,,\n  \n",
        b"\n" + PLAIN.replace(b"\n", b"\n\n"),
        PLAIN.replace(b",", b", ").replace(b"2026", b" 2026"),
        PLAIN.replace(b"21", b'"21"').replace(b"Date", b'"Date"'),
        PLAIN.replace(b"\n", b",,\n"),
        PLAIN.rstrip(b"\n"),
    ],
)
def test_one_table_in_every_dress(tmp_path: Path, raw: bytes) -> None:
    """The same table in any form a spreadsheet saves gives the same header and cells."""
    rows = read(tmp_path, raw)
    assert rows.header == ("date", "tmin_c", "tmax_c")
    assert [row for _, row in rows.lines] == PLAIN_ROWS
    assert rows.told() == ()


def test_line_numbers_are_those_of_an_editor(tmp_path: Path) -> None:
    """Blank lines and a cell with a line break inside do not shift the line numbers."""
    rows = read(tmp_path, b'a,b\n\n1,"two\nlines"\n,\n3,4\n')
    assert [line for line, _ in rows.lines] == [3, 6]


def test_decimal_comma_only_beside_semicolons(tmp_path: Path) -> None:
    """The comma is offered as a decimal sign only where it separates nothing."""
    (row,) = read(tmp_path, b"a;b\n1,5;2\n").rows()
    assert row.number("a", accepted="") == 1.5
    (row,) = read(tmp_path, b'a,b\n"1,5",2\n').rows()
    assert row.number("a", accepted="") is None
    assert row.refused


def test_separator_inside_quotes_does_not_count(tmp_path: Path) -> None:
    """Semicolons inside a quoted column name do not turn a comma file into a semicolon file."""
    rows = read(tmp_path, b'"a;b;c",d\n1,2\n')
    assert rows.lines == [(2, {"a;b;c": "1", "d": "2"})]


@pytest.mark.parametrize(
    ("raw", "line", "words"),
    [
        (b"", None, "is empty"),
        (b"\xef\xbb\xbf", None, "is empty"),
        (b"\n ,,\n\n", None, "is empty"),
        (b"a,b\n1\n", 2, "wrong number of cells; found '1'; accepted: 2"),
        (b"a,b\n1,2\n1,2,3\n", 3, "wrong number of cells; found '3'; accepted: 2"),
        (b'a,b\n1,2\n3,"4\n5,6\n', 3, "quotation mark without its partner"),
        (b'a,b\n"x"y,2\n', 2, "quotation mark without its partner"),
        (b"a,A\n1,2\n", 1, "stands twice"),
        (b"a,b\nZo\xeb,2\n", 2, "not UTF-8; found 'byte 0xEB'; save it as 'CSV UTF-8'"),
        (b"\xef\xbb\xbfa,b\n1,2\n3,\xb0\n", 3, "found 'byte 0xB0'"),
        ("a,b\n1,2\n".encode("utf-16"), None, "UTF-16"),
        (b"PK\x03\x04rest of a workbook", None, "workbook"),
        (b"a,b\n1,\x00\n", 2, "not text"),
    ],
)
def test_what_cannot_be_read_is_a_problem(
    tmp_path: Path, raw: bytes, line: int | None, words: str
) -> None:
    """Every unreadable form yields one problem with its line and what to do, no exception."""
    rows = read(tmp_path, raw)
    assert len(rows.problems) == 1
    assert rows.problems[0].line == line
    assert words in sentences(rows)


def test_rows_beside_a_wrong_one_are_kept(tmp_path: Path) -> None:
    """A line with a missing cell is left out; the lines around it are still read."""
    rows = read(tmp_path, b"a,b\n1,2\n3\n5,6\n")
    assert [line for line, _ in rows.lines] == [2, 4]


def test_not_a_file(tmp_path: Path) -> None:
    """A folder that is named like a file, and nothing at all, are problems."""
    (tmp_path / "folder.csv").mkdir()
    assert "a folder, not a file" in sentences(open_table(tmp_path / "folder.csv", label="x"))
    assert "no such file" in sentences(open_table(tmp_path / "absent.csv", label="x"))


def test_a_million_cells_are_no_trouble(tmp_path: Path) -> None:
    """A file far larger than any season is read whole."""
    rows = read(tmp_path, b"a,b,c,d\n" + b"1,2,3,4\n" * 100_000)
    assert len(rows.lines) == 100_000
    assert rows.lines[-1][0] == 100_001


@given(st.binary(max_size=200))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_are_survived(tmp_path: Path, raw: bytes) -> None:
    """Arbitrary bytes never raise, and give a header or a problem."""
    rows = read(tmp_path, raw)
    assert rows.header or rows.problems


cells = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Zs", "Zl", "Zp")),
    min_size=1,
    max_size=8,
)


@given(st.lists(st.tuples(cells, cells), max_size=6), st.sampled_from(",;\t"))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_what_the_csv_module_writes_reads_back(
    tmp_path: Path, table: list[tuple[str, str]], delimiter: str
) -> None:
    """Any cells written by a CSV writer, quotes and separators inside, read back unchanged."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows([("left", "right"), *table])
    rows = read(tmp_path, out.getvalue().encode())
    assert [(row["left"], row["right"]) for _, row in rows.lines] == table
    assert rows.told() == ()


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_read_back(value: float) -> None:
    """Every finite number in its shortest spelling reads back exactly."""
    assert parse_number(repr(value)) == value


@given(st.integers(-999, 999), st.integers(0, 9))
def test_decimal_comma_means_the_same(whole: int, tenth: int) -> None:
    """In a semicolon file 12,5 and 12.5 are the same number."""
    comma = parse_number(f"{whole},{tenth}", decimal_comma=True)
    assert comma == parse_number(f"{whole}.{tenth}", decimal_comma=True)


@pytest.mark.parametrize(
    "text",
    ["", "nan", "NaN", "inf", "-inf", "1e999", "1_000", "12 C", "0x10", "1,234.5", "٣", "--1"],
)
@pytest.mark.parametrize("decimal_comma", [True, False])
def test_not_a_number(text: str, decimal_comma: bool) -> None:
    """Words, units, infinities, NaN and grouped digits are refused, never turned into a value."""
    with pytest.raises(ValueError, match="number"):
        parse_number(text, decimal_comma=decimal_comma)


def test_decimal_comma_refused_with_its_reason() -> None:
    """12,5 in a comma file is refused with a sentence about semicolons, not as mere text."""
    with pytest.raises(ValueError, match="semicolons"):
        parse_number("12,5")


def test_repeats_are_folded_and_counted() -> None:
    """Of 40 equal problems 5 stay and one more counts the other 35; a different one survives.

    The one that counts stands where the sixth would, with its line, so no order puts it first.
    """
    same = [Problem("f.csv", "not a number", line, "tmin_c", "x") for line in range(2, 42)]
    other = Problem("f.csv", "not a number", 50, "tmax_c", "x")
    folded = fold_repeats([*same, other])
    counts = folded[5]
    assert folded == (*same[:5], counts, other)
    assert (counts.line, counts.column) == (same[5].line, "tmin_c")
    assert tuple(sorted(folded, key=lambda problem: problem.line or 0)) == folded
    assert "35 more" in counts.message
    lines = [*range(7, 26), "...", 41]
    assert f"on line {', '.join(map(str, lines))}: not a number" in counts.message
    assert fold_repeats(same[:5]) == tuple(same[:5])


def test_a_number_is_never_infinite() -> None:
    """The largest double is a number; ten times it is refused instead of becoming infinity."""
    assert math.isfinite(parse_number("1.7e308"))
    with pytest.raises(ValueError, match="too large"):
        parse_number("1.8e308")
