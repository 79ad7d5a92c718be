"""The chart in plain text: every mark can be read back, whatever the values and the screen."""

from __future__ import annotations

import math

import pytest
from chart_reader import read_chart
from hypothesis import given
from hypothesis import strategies as st

from stagecast.screens.chart import ChartBand, Level, Line, draw, nice_step

HEATS = st.one_of(st.none(), st.floats(0, 5000))
TOPS = st.floats(1, 5000)
WIDTHS = st.integers(60, 160)


@given(st.lists(HEATS, min_size=1, max_size=53), TOPS, WIDTHS, st.integers(1, 30))
def test_every_value_is_read_back_to_half_a_step(
    values: list[float | None], top: float, width: int, rows: int
) -> None:
    """One mark stands in each column that has a value, in the row nearest to it; no other does."""
    labels = [""] * len(values)
    drawn = draw(labels, lines=[Line("#", values)], top=top, width=width, rows=rows)
    chart = read_chart(drawn, columns=len(values))
    edge = chart.highest + chart.step / 2
    for column, value in enumerate(values):
        marked = chart.rows_with("#", column)
        if value is None or value > edge * (1 + 1e-9):
            assert marked == []
        elif value < edge * (1 - 1e-9):
            (row,) = marked
            assert abs(row - value) <= chart.step / 2 * (1 + 1e-9)


@given(TOPS, st.integers(1, 40))
def test_a_step_is_even_and_reaches_the_top(top: float, rows: int) -> None:
    """The step is 1, 2, 2.5 or 5 times a power of ten, large enough, and never 2.5 times that."""
    step = nice_step(top, rows)
    digit = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(digit - even) for even in (1, 2, 2.5, 5)) < 1e-9
    assert top * (1 - 1e-9) <= step * rows <= 2.5 * top * (1 + 1e-9)


@given(st.integers(1, 400), st.integers(20, 160), TOPS)
def test_no_line_is_longer_than_the_screen(columns: int, width: int, top: float) -> None:
    """Also where columns do not fit, and with names at the right end; no line ends in a blank."""
    values = [top * i / columns for i in range(columns)]
    drawn = draw(
        ["Jan"] * columns,
        lines=[Line("#", values)],
        levels=[Level("abc", top / 2)],
        top=top,
        width=width,
    )
    assert max(map(len, drawn)) <= width
    assert drawn == [line.rstrip() for line in drawn]


def test_columns_that_do_not_fit_are_thinned_evenly() -> None:
    """Of 100 columns on 56 characters every second is drawn, the first among them."""
    values = [float(i) for i in range(100)]
    drawn = draw([""] * 100, lines=[Line("#", values)], top=100, width=56, rows=10)
    chart = read_chart(drawn, columns=50)
    for column in range(50):
        (row,) = chart.rows_with("#", column)
        assert abs(row - 2 * column) <= chart.step / 2


def test_a_band_covers_all_between_its_ends() -> None:
    """Marks stand in every row from the low to the high value, and in no other."""
    drawn = draw(["", ""], bands=[ChartBand(".", [10, None], [40, 20])], top=50, width=60, rows=5)
    chart = read_chart(drawn, columns=2)
    assert chart.step == 10
    assert chart.rows_with(".", 0) == [10, 20, 30, 40]
    assert chart.rows_with(".", 1) == []


def test_what_is_drawn_later_covers_what_was_drawn_before() -> None:
    """A line hides the band, the last line the others; the level stands where nothing else does."""
    drawn = draw(
        ["", "", ""],
        bands=[ChartBand(".", [0, 0, 0], [20, 20, 20])],
        lines=[Line("o", [10, 10, None]), Line("#", [10, None, None])],
        levels=[Level("a", 10), Level("b", 30)],
        top=30,
        width=60,
        rows=3,
    )
    chart = read_chart(drawn, columns=3)
    assert [chart.mark(10, column) for column in range(3)] == ["#", "o", "."]
    assert [chart.mark(30, column) for column in range(3)] == ["-", "-", "-"]
    assert chart.names == {10: "a", 30: "b"}


def test_levels_of_one_row_share_its_end_and_those_outside_are_left_out() -> None:
    """Names stand side by side in their order; a level above the chart is not drawn at all."""
    levels = [Level("a", 20), Level("b", 22), Level("c", 1000)]
    drawn = draw([""], levels=levels, top=40, width=60, rows=4)
    assert read_chart(drawn, columns=1).names == {20: "ab"}


@pytest.mark.parametrize(
    ("labels", "shown"),
    [
        (["Jan", "", "", "", "Feb", "", "", ""], "Jan Feb"),
        (["Jan", "Feb", "", "", "Mar", "", ""], "Jan Mar"),
        (["", "", "", "", "", "Dec"], ""),
        (["", "", "", "Dec", "", ""], "   Dec"),
    ],
)
def test_labels_stand_below_their_columns_and_never_touch(labels: list[str], shown: str) -> None:
    """A label that would run into the next one, or over the end, is left out."""
    width = 4 + len(labels)  # so that a column is one character wide
    drawn = draw(labels, lines=[Line("#", [0.0] * len(labels))], top=1, width=width, rows=1)
    assert drawn[-1] == (f"   {shown}" if shown else "")
