"""Cells that a spreadsheet would run as a formula: written so that none is, read as they were."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from stagecast.base.cells import as_it_was, harmless, table_text
from stagecast.base.tables import parse_number, table_of

RUN = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
"""OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection): equals, plus, minus, at,
tab, carriage return, line feed, and the full-width forms of the first four."""

CELLS = st.text(
    st.one_of(st.sampled_from(f"{RUN}'\",;5."), st.characters(exclude_categories=["Cs", "Cc"])),
    max_size=12,
).map(str.strip)


def is_number(text: str) -> bool:
    """Whether the reader of our tables takes a text for a number, with a comma too."""
    try:
        parse_number(text, decimal_comma=True)
    except ValueError:
        return False
    return True


@given(CELLS)
@example("=1+1")
@example("'=1+1")
@example("'")
@example("-5")
@example("@me")
def test_no_cell_is_run_and_each_is_read_as_it_was(text: str) -> None:
    """Any text comes back, and what is written begins like a formula only where it is a number."""
    cell = harmless(text)
    assert as_it_was(cell) == text
    assert not cell.startswith(tuple(RUN)) or cell[1:2].isdigit() or cell[1:2] in ".,"


@pytest.mark.parametrize("text", ["-5", "+5", "-0.5", "-12,5", "-1e-05", "-.5", "5"])
def test_a_number_stays_a_number(text: str) -> None:
    """Degrees below zero and longitudes in the west are summed by a spreadsheet as before."""
    assert is_number(text)
    assert harmless(text) == text


@given(st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=5), st.sampled_from(",;\t"))
def test_a_table_is_read_back_by_us_and_by_the_csv_module(
    rows: list[tuple[str, str, str]], delimiter: str
) -> None:
    """Cells come back through our reader; to any other they are the same with an apostrophe."""
    said = [row for row in rows if any(row)]
    text = table_text([("a", "b", "c"), *said], delimiter=delimiter)
    table = table_of(text.encode("utf-8"), label="t")
    assert table.problems == []
    assert [tuple(cells.values()) for _, cells in table.lines] == said
    other = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    assert other[1:] == [[harmless(cell) for cell in row] for row in said]


def test_a_free_text_steers_nothing_and_keeps_its_lines() -> None:
    """A mark stands for what would turn the writing round or ring a bell; line ends stay."""
    raw = 'field_id,notes\nF1,"a\u202eb\x07\nc"\n'.encode()
    (row,) = table_of(raw, label="fields.csv").rows()
    assert row.plain_text("notes") == "a\ufffdb\ufffd\nc"
    assert row.text("notes") == "a\u202eb\x07\nc"
