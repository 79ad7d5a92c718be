"""fields.csv: values are kept as typed, slips are refused, oddities are doubted."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from broken import HEADER, KNOWLEDGE
from hypothesis import example, given
from hypothesis import strategies as st

from stagecast.season.tables.fields import Field, FieldsFile, read_fields

COLUMNS = (*HEADER.split(","), "station", "elevation_m")
USUAL = {
    "field_id": "F1",
    "latitude": "36.1",
    "longitude": "-89.2",
    "area_acres": "80",
    "planting_date": "2026-05-04",
    "maturity_group": "4.7",
}
HOSTILE = [
    "<script>alert(1)</script>",
    "=\"cmd\"|' /C calc'!A0",
    "=1+1",
    "+1;2",
    "@SUM(A1)",
    'say "hi"',
    "a, b; c",
    "\N{EAR OF MAIZE}\N{BEETLE}",
    "\u202eesrever",
    "\u0641\u0648\u0644",
    "%s {0} ${x}",
    "../../etc",
    "NULL",
]


def write(folder: Path, rows: Sequence[dict[str, str]], columns: Sequence[str] = COLUMNS) -> Path:
    """Write a plain fields.csv; cells not given are blank."""
    # The writer leaves a lone carriage return unquoted, which ends a row for every reader.
    returns = any("\r" in cell for row in rows for cell in row.values())
    quoting = csv.QUOTE_ALL if returns else csv.QUOTE_MINIMAL
    with (folder / "fields.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n", quoting=quoting)
        writer.writeheader()
        writer.writerows(rows)
    return folder


def read(folder: Path, *rows: dict[str, str], year: int | None = 2026) -> FieldsFile:
    """Write rows that differ from the usual one and read them."""
    return read_fields(write(folder, [USUAL | row for row in rows]), year=year, knowledge=KNOWLEDGE)


def one(folder: Path, **cells: str) -> Field:
    """Read one field that must be free of errors and doubts."""
    file = read(folder, cells)
    assert file.problems == ()
    return file.fields[0]


def test_a_header_without_rows_is_valid_and_empty(tmp_path: Path) -> None:
    """A season starts with no fields; that is not a fault."""
    file = read(tmp_path)
    assert file == FieldsFile((), (), (), False, frozenset())


def test_blank_cells_take_their_stated_meaning(tmp_path: Path) -> None:
    """Blank optional cells become empty text, None or NaN, and the habit says it was assumed."""
    field = one(tmp_path)
    assert (field.grower, field.field_name, field.notes) == ("", "", "")
    assert (field.emergence_date, field.station) == (None, None)
    assert math.isnan(field.elevation_m)
    assert (field.growth_habit, field.habit_defaulted) == ("indeterminate", True)
    assert field.line == 2


def test_given_cells_are_kept(tmp_path: Path) -> None:
    """Every optional cell that says something arrives as that value."""
    field = one(
        tmp_path,
        maturity_group="late V",
        growth_habit="Indeterminate",
        emergence_date="2026-05-12",
        station="S1",
        elevation_m="91.5",
    )
    assert (field.maturity.group, field.maturity.number) == ("V", 5.8)
    assert (field.growth_habit, field.habit_defaulted) == ("indeterminate", False)
    assert field.emergence_date == dt.date(2026, 5, 12)
    assert (field.station, field.elevation_m) == ("S1", 91.5)


def test_a_late_group_without_habit_is_determinate(tmp_path: Path) -> None:
    """A blank habit follows the maturity group and is marked as assumed."""
    field = one(tmp_path, maturity_group="V")
    assert (field.growth_habit, field.habit_defaulted) == ("determinate", True)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_kept_verbatim(text: str, tmp_path: Path) -> None:
    """Markup, formulas, quotes, emoji and right-to-left text stay what they are: text.

    Of what turns the writing round a mark is read; the file stays as it was typed.
    """
    field = one(tmp_path, grower=text, field_name=text, notes=text, station=text)
    assert {field.grower, field.field_name, field.notes} == {text.replace("\u202e", "\ufffd")}
    assert field.station == text


@pytest.mark.parametrize("text", [text for text in HOSTILE if "\u202e" not in text])
def test_a_field_id_may_be_any_text_that_can_be_seen(text: str, tmp_path: Path) -> None:
    """Formulas, paths, emoji and other alphabets are names too, kept as typed."""
    assert one(tmp_path, field_id=text).field_id == text


@example("\r")
@given(st.characters(categories=("Cc", "Cf", "Cn", "Co", "Zl", "Zp")))
def test_an_id_with_anything_unseen_in_it_is_refused(
    tmp_path_factory: pytest.TempPathFactory, char: str
) -> None:
    """Two ids that look the same on any screen cannot be two: the sentence names the character."""
    folder = tmp_path_factory.mktemp("unseen")
    problems = read(folder, {"field_id": f"F{char}1"}).problems
    if char == "\0":
        assert [problem.message for problem in problems] == ["this is not text"]
    else:
        (problem,) = problems
        assert not problem.doubtful
        assert f"U+{ord(char):04X}" in problem.message


@pytest.mark.parametrize("twin", ["f1", "F 1", "F\u00a01", "\uff261", " f  1 "])
def test_ids_that_read_alike_are_doubted_and_kept(twin: str, tmp_path: Path) -> None:
    """A name that differs only in capitals or blanks is told, and visits can still be checked."""
    file = read(tmp_path, {}, {"field_id": twin, "latitude": "36.2"})
    (problem,) = file.problems
    assert problem.doubtful
    assert (problem.line, problem.column, problem.field_id) == (3, "field_id", twin.strip())
    assert "line 2" in problem.message
    assert file.field_ids == {"F1", twin.strip()}


def test_one_id_on_two_thousand_lines_is_a_handful_of_sentences(tmp_path: Path) -> None:
    """The same slip on every line is folded though each sentence names another line."""
    problems = read(tmp_path, *[{"latitude": f"36.{n:04}"} for n in range(2000)]).problems
    assert len(problems) <= 6
    assert "1994 more" in problems[-1].message
    assert "line 2001" in problems[-1].message


@pytest.mark.parametrize(("text", "good"), [("-500", True), ("9000", True), ("-500.1", False)])
def test_a_height_is_one_that_land_can_have(text: str, good: bool, tmp_path: Path) -> None:
    """Heights are taken from below the lowest shore to above the highest summit, and no others."""
    file = read(tmp_path, {"elevation_m": text})
    assert [problem.column for problem in file.problems] == ([] if good else ["elevation_m"])
    assert len(file.fields) == good


def test_a_table_without_ids_is_told_once_and_its_cells_are_checked(tmp_path: Path) -> None:
    """Without the field_id column there are no fields, one sentence on it, and no crash."""
    rows = [
        {name: text for name, text in USUAL.items() if name != "field_id"} | {"latitude": text}
        for text in ("36.1", "x")
    ]
    columns = [name for name in COLUMNS if name != "field_id"]
    file = read_fields(write(tmp_path, rows, columns), year=2026, knowledge=KNOWLEDGE)
    told = [(problem.line, problem.column) for problem in file.problems]
    assert told == [(None, "field_id"), (3, "latitude")]
    assert file.fields == ()
    assert file.field_ids is None


def test_notes_may_run_over_lines_and_later_lines_stay_right(tmp_path: Path) -> None:
    """A line break inside a quoted note is kept, and the next row's line number is the true one."""
    file = read(tmp_path, {"notes": "one\ntwo"}, {"field_id": "F2", "latitude": "36.2"})
    assert [(field.notes, field.line) for field in file.fields] == [("one\ntwo", 2), ("", 4)]


def test_hectares_become_acres(tmp_path: Path) -> None:
    """An acre is 43,560 square feet of 0.3048 m (international foot), a hectare 10,000 m2."""
    columns = [name.replace("area_acres", "area_ha") for name in COLUMNS]
    row = {name: text for name, text in USUAL.items() if name != "area_acres"}
    file = read_fields(
        write(tmp_path, [row | {"area_ha": "40"}], columns), year=2026, knowledge=KNOWLEDGE
    )
    assert file.problems == ()
    expected = 40 * 10_000 / (43_560 * 0.3048**2)
    assert file.fields[0].area_acres == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "delimiter", "acres"),
    [
        ("25,000", ";", None),
        ("1,250", ";", None),
        ("1,250,000", ";", None),
        ("25,0", ";", 25.0),
        ("25,00", ";", 25.0),
        ("25,0000", ";", 25.0),
        ("15000", ";", 15_000.0),
        ("25.000", ",", 25.0),
    ],
)
def test_an_area_whose_comma_may_mean_thousands_is_refused(
    text: str, delimiter: str, acres: float | None, tmp_path: Path
) -> None:
    """Beside semicolons a comma is decimal, yet three digits after it may be thousands: ask."""
    cells = dict.fromkeys(COLUMNS, "") | USUAL | {"area_acres": text}
    lines = [delimiter.join(row) for row in (cells, cells.values())]
    (tmp_path / "fields.csv").write_text("\n".join([*lines, ""]), "utf-8")
    file = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE)
    errors = [problem for problem in file.problems if not problem.doubtful]
    assert [field.area_acres for field in file.fields] == ([] if acres is None else [acres])
    assert [(p.column, p.found) for p in errors] == [("area_acres", text)] * (acres is None)
    assert all("thousands or decimals" in problem.message for problem in errors)


def test_area_in_both_units_is_refused(tmp_path: Path) -> None:
    """Two areas for one field cannot both be right, so neither is taken."""
    columns = [*COLUMNS, "area_ha"]
    file = read_fields(
        write(tmp_path, [USUAL | {"area_ha": "32"}], columns), year=2026, knowledge=KNOWLEDGE
    )
    assert any("twice" in p.message and not p.doubtful for p in file.problems)


def test_an_unknown_column_is_doubted_and_ignored(tmp_path: Path) -> None:
    """A further column is told as ignored, and the field is read all the same."""
    file = read_fields(
        write(tmp_path, [USUAL], [*COLUMNS, "variety"]), year=2026, knowledge=KNOWLEDGE
    )
    (problem,) = file.problems
    assert problem.doubtful
    assert problem.found == "variety"
    assert len(file.fields) == 1


def test_rows_are_checked_even_when_a_column_is_missing(tmp_path: Path) -> None:
    """A missing column is told once, not on every line, and other cells are still checked."""
    columns = [name for name in COLUMNS if name != "maturity_group"]
    rows = [
        {name: text for name, text in (USUAL | {"field_id": f"F{n}", "area_acres": "0"}).items()}
        for n in range(3)
    ]
    for row in rows:
        del row["maturity_group"]
    file = read_fields(write(tmp_path, rows, columns), year=2026, knowledge=KNOWLEDGE)
    columns_told = [problem.column for problem in file.problems]
    assert columns_told == ["maturity_group", "area_acres", "area_acres", "area_acres"]


@pytest.mark.parametrize(
    ("cells", "column", "word"),
    [
        ({"area_acres": "641"}, "area_acres", "640"),
        ({"planting_date": "2026-02-27"}, "planting_date", "month"),
        ({"planting_date": "2026-08-01"}, "planting_date", "month"),
        ({"emergence_date": "2026-05-06"}, "emergence_date", "quick"),
        ({"emergence_date": "2026-06-04"}, "emergence_date", "slow"),
    ],
)
def test_unlikely_values_are_doubted_and_kept(
    cells: dict[str, str], column: str, word: str, tmp_path: Path
) -> None:
    """A value that is possible but unlikely is told, and the field is read with it."""
    file = read(tmp_path, cells)
    (problem,) = file.problems
    assert problem.doubtful
    assert (problem.column, problem.field_id, problem.line) == (column, "F1", 2)
    assert word in problem.message
    assert len(file.fields) == 1


@pytest.mark.parametrize(
    "cells",
    [
        {"area_acres": "640"},
        {"planting_date": "2026-03-01"},
        {"planting_date": "2026-07-31"},
        {"emergence_date": "2026-05-08"},
        {"emergence_date": "2026-06-03"},
        {"latitude": "25", "maturity_group": "7"},
        {"latitude": "50", "maturity_group": "0"},
        {"field_id": "F" * 64},
        {"longitude": "\u221289.2"},
    ],
)
def test_values_on_the_edge_are_accepted(cells: dict[str, str], tmp_path: Path) -> None:
    """The last accepted value of every limit is accepted without a doubt."""
    one(tmp_path, **cells)


def test_two_fields_at_one_point_are_doubted(tmp_path: Path) -> None:
    """Copied coordinates are told at the second field, naming the first one's line."""
    file = read(tmp_path, {}, {"field_id": "F2"})
    (problem,) = file.problems
    assert problem.doubtful
    assert (problem.line, problem.field_id) == (3, "F2")
    assert "line 2" in problem.message
    assert len(file.fields) == 2


def test_month_first_dates_are_read_and_told(tmp_path: Path) -> None:
    """A date in US order is read as such and the file says so; ISO dates do not set the flag."""
    file = read(tmp_path, {"planting_date": "5/4/2026"})
    assert file.fields[0].planting_date == dt.date(2026, 5, 4)
    assert file.us_order
    assert not read(tmp_path, {}).us_order


def test_years_are_left_unchecked_when_the_season_is_not_known(tmp_path: Path) -> None:
    """A season.toml without a usable year does not make every date wrong as well."""
    assert read(tmp_path, {"planting_date": "2019-05-04"}, year=None).problems == ()
    assert len(read(tmp_path, {"planting_date": "2019-05-04"}).problems) == 1


def test_all_faults_of_a_row_are_told_and_the_others_kept(tmp_path: Path) -> None:
    """One bad row gives all its problems at once and does not hide the good rows."""
    bad = {
        "field_id": "F2",
        "latitude": "abc",
        "area_acres": "",
        "planting_date": "soon",
        "maturity_group": "IIII",
        "growth_habit": "tall",
        "elevation_m": "300 ft",
    }
    file = read(tmp_path, {}, bad, {"field_id": "F3", "latitude": "36.3"})
    assert {problem.column for problem in file.problems} == set(bad) - {"field_id"}
    assert {(problem.line, problem.field_id) for problem in file.problems} == {(3, "F2")}
    assert [field.field_id for field in file.fields] == ["F1", "F3"]
    assert file.field_ids == {"F1", "F2", "F3"}


def test_the_same_fault_on_every_line_is_folded(tmp_path: Path) -> None:
    """Forty rows with one slip do not bury other faults: the rest are counted in one sentence."""
    rows = [{"field_id": f"F{n}", "latitude": "36,1"} for n in range(40)]
    problems = read(tmp_path, *rows).problems
    assert 1 < len(problems) < 10
    assert "more of the kind" in problems[-1].message


SAFE_TEXT = st.text(
    st.characters(exclude_categories=("Cc", "Cs")) | st.sampled_from(",;\"'=+@"), max_size=12
).map(str.strip)
ROWS = st.fixed_dictionaries(
    {
        "grower": SAFE_TEXT,
        "notes": SAFE_TEXT | st.sampled_from(HOSTILE),
        "latitude": st.decimals(25, 50, places=4).map(str),
        "longitude": st.decimals(-125, -66, places=4).map(str),
        "area_acres": st.decimals("0.1", 640, places=1).map(str),
        "planting_date": st.dates(dt.date(2026, 3, 1), dt.date(2026, 7, 31)).map(str),
        "maturity_group": st.sampled_from(["IV", "00.5", "late V", "MG 3.1", "4.0"]),
        "growth_habit": st.sampled_from(["", "determinate", "Indeterminate"]),
        "elevation_m": st.integers(0, 900).map(str),
    }
)
NUMBERS = ("latitude", "longitude", "area_acres")


def spelled(
    rows: Sequence[dict[str, str]], *, columns: Sequence[str], delimiter: str, ending: str
) -> str:
    """Write the rows as one kind of spreadsheet does; the comma is decimal beside semicolons."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, restval="", delimiter=delimiter, lineterminator=ending)
    writer.writerow({name: name.upper() for name in columns})
    for row in rows:
        decimal = {name: row[name].replace(".", ",") for name in NUMBERS}
        writer.writerow(row | decimal if delimiter == ";" else row)
        stream.write(ending)
        stream.write(delimiter * (len(columns) - 1) + ending)
    return stream.getvalue()


@given(
    rows=st.lists(ROWS, max_size=4),
    columns=st.permutations(COLUMNS),
    delimiter=st.sampled_from([",", ";", "\t"]),
    ending=st.sampled_from(["\n", "\r\n"]),
    mark=st.booleans(),
)
@example(rows=[], columns=COLUMNS, delimiter=";", ending="\r\n", mark=True)
def test_the_way_a_spreadsheet_saves_does_not_change_the_fields(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[dict[str, str]],
    columns: Sequence[str],
    delimiter: str,
    ending: str,
    mark: bool,
) -> None:
    """Byte-order mark, line ends, separator, blank lines, column order, capitals: same fields."""
    named = [row | {"field_id": f"F{n}"} for n, row in enumerate(rows)]
    plain = read_fields(
        write(tmp_path_factory.mktemp("plain"), named), year=2026, knowledge=KNOWLEDGE
    )
    assert len(plain.fields) == len(rows)
    text = spelled(named, columns=columns, delimiter=delimiter, ending=ending)
    folder = tmp_path_factory.mktemp("spelled")
    (folder / "fields.csv").write_bytes(text.encode("utf-8-sig" if mark else "utf-8"))
    other = read_fields(folder, year=2026, knowledge=KNOWLEDGE)
    assert [replace(field, line=0) for field in other.fields] == [
        replace(field, line=0) for field in plain.fields
    ]
    assert other.field_ids == plain.field_ids


@given(
    st.binary(max_size=300)
    | st.text(max_size=300).map(lambda t: (HEADER + "\n" + t).encode("utf-8", "surrogatepass"))
)
def test_any_bytes_give_fields_or_problems(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    """Whatever the file holds, reading it never crashes and every sentence is one line."""
    folder = tmp_path_factory.mktemp("any")
    (folder / "fields.csv").write_bytes(raw)
    file = read_fields(folder, year=2026, knowledge=KNOWLEDGE)
    assert not any("\n" in problem.sentence() for problem in file.problems)
    assert len(file.fields) <= raw.count(b"\n") + raw.count(b"\r") + 1
