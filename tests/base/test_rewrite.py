"""Cells changed in place: what is not named stays byte for byte, and reads back as before."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.rewrite import NoPlace, rewritten
from stagecast.base.tables import table_of

AS_TYPED = (
    b'\xef\xbb\xbfField_ID ;  grower;"my, own; column";Area\r\n'
    b"\r\n"
    b'F1;  Ann ;"two\r\nlines; ""so""";80\r\n'
    b";;;\r\n"
    b"F2;Bob;x;12,5;;\r\n"
    b"F3;;;7"
)


def test_one_cell_is_changed_and_nothing_else() -> None:
    """Marks, blanks, quotes, blank lines and line ends stay as the person has them."""
    found = rewritten(AS_TYPED, changed={6: {"grower": 'Bob "B"; Jr'}})
    assert found == AS_TYPED.replace(b"F2;Bob;", b'F2;"Bob ""B""; Jr";')


def test_a_quoted_cell_over_two_lines_is_one_cell() -> None:
    """The line numbers are those of the reader, whose rows may be of several lines."""
    assert [line for line, _ in table_of(AS_TYPED, label="x").lines] == [3, 6, 7]
    found = rewritten(AS_TYPED, changed={3: {"my, own; column": ""}})
    assert found == AS_TYPED.replace(b'"two\r\nlines; ""so"""', b"")


def test_a_new_column_ends_the_header() -> None:
    """Every row gets the place of the new column; one that has a blank cell there uses it."""
    found = rewritten(b"a,b\n1,2\n3,4,\n", changed={3: {"c": "x"}})
    assert found == b"a,b,c\n1,2,\n3,4,x\n"
    assert rewritten(b"a,b\n1,2\n", changed={2: {"c": ""}}) == b"a,b\n1,2\n"


def test_rows_are_added_and_removed() -> None:
    """A row goes with its line end; a new one follows the last, also where that has no line end."""
    found = rewritten(AS_TYPED, added=[{"field_id": "F4", "area": "1,5"}], removed=[3])
    gone = AS_TYPED.replace(b'F1;  Ann ;"two\r\nlines; ""so""";80\r\n', b"")
    assert found == gone + b"\r\nF4;;;1,5\r\n"


@pytest.mark.parametrize(
    ("raw", "line"), [(b"a\n1\n", 3), (b"", 1), (b'a\n"1\n', 2), (b"a\n\xff\n", 2), (b"a\n1\n", 1)]
)
def test_a_row_that_is_not_there_is_refused(raw: bytes, line: int) -> None:
    """Nothing is written where the row is not, or the table cannot be read."""
    with pytest.raises(NoPlace):
        rewritten(raw, changed={line: {"a": "2"}})


cells = st.text(st.sampled_from('ab1 ,;"\t\r\n\u00e9'), max_size=6)
tables = st.lists(st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=4)


@given(
    tables,
    st.integers(0, 3),
    st.sampled_from(["x", "y", "z", "new"]),
    cells,
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_only_the_named_cell_reads_otherwise(
    rows: list[list[str]], row: int, column: str, value: str, delimiter: str, ends: str
) -> None:
    """For any table as a spreadsheet writes it: one cell is another, all others as they were.

    The reference is Python's own csv module, which writes the table.
    """
    made = io.StringIO(newline="")
    writer = csv.writer(made, delimiter=delimiter, lineterminator=ends, quoting=csv.QUOTE_ALL)
    writer.writerows([["x", "y", "z"], *rows])
    raw = made.getvalue().encode()
    before = table_of(raw, label="x").lines
    if row >= len(before):
        return
    line = before[row][0]
    after = table_of(rewritten(raw, changed={line: {column: value}}), label="x")
    assert not after.problems
    gone = not any([*(c for n, c in before[row][1].items() if n != column), value.strip()])
    wanted = [dict(told) for _, told in before]
    if column != "new" or value:
        wanted = [{**one, column: one.get(column, "")} for one in wanted]
        wanted[row][column] = value.strip()
    if gone:
        del wanted[row]
    assert [told for _, told in after.lines] == wanted
