"""A number line draws a count, its range and its threshold in order, inside its box, with words."""

from __future__ import annotations

import math
import re
from typing import get_args
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.counts.assessment import Answer
from stagecast.pages.number_line import (
    HEIGHT,
    LEFT,
    RIGHT,
    WIDTH,
    LineMark,
    NumberLine,
    line_picture,
    mark_of,
    number_line,
    scale_top,
)

COUNTS = st.floats(0.0, 1e6) | st.sampled_from([0.0, 1e-9, 1e12, math.nan, math.inf])
MARKS = st.sampled_from(get_args(LineMark))


@st.composite
def lines(draw: st.DrawFn) -> NumberLine:
    """A mean with or without a range round it and a threshold; any of them may be no number."""
    mean, limit = draw(COUNTS), draw(st.none() | COUNTS)
    if draw(st.booleans()):
        return NumberLine(mean, "w", draw(MARKS), limit)
    low, high = mean * draw(st.floats(0.0, 1.0)), mean * draw(st.floats(1.0, 9.0))
    return NumberLine(mean, "w", draw(MARKS), limit, low, high)


def parts(line: NumberLine) -> dict[str, list[ElementTree.Element]]:
    """What is drawn, by class."""
    found: dict[str, list[ElementTree.Element]] = {}
    for one in ElementTree.fromstring(line_picture(line)).iter():
        found.setdefault(one.get("class", ""), []).append(one)
    return found


def mean_x(line: NumberLine) -> float | None:
    """Where the mean stands; None where it is not drawn."""
    marks = parts(line).get(line.mark)
    if not marks:
        return None
    found = re.fullmatch(r"translate\((\S+) 14\)", marks[0].get("transform", ""))
    assert found is not None
    return float(found[1])


def tick_x(line: NumberLine) -> float | None:
    """Where the threshold stands."""
    ticks = parts(line).get("tick")
    return None if not ticks else float(ticks[0].get("d", "")[1:].split()[0])


def ends(line: NumberLine) -> list[float]:
    """Where the range begins and ends."""
    return [float(one.get("d", "")[1:].split()[0]) for one in parts(line).get("end", [])]


def numbers(*values: float | None) -> bool:
    """Whether all of them are numbers that can be drawn."""
    return all(value is not None and math.isfinite(value) for value in values)


# --- places ---------------------------------------------------------------------------------


@given(lines())
def test_marks_stand_in_the_order_of_their_numbers(line: NumberLine) -> None:
    """Proves that nothing left of another is more, to the tenth of a pixel that is drawn."""
    mean, tick, (low, high) = mean_x(line), tick_x(line), ends(line) or (None, None)
    if mean is not None and tick is not None and line.threshold is not None:
        assert mean <= tick if line.mean <= line.threshold else mean >= tick
    if mean is not None and low is not None and high is not None:
        assert low <= mean <= high


@given(lines())
def test_everything_lies_inside_the_box(line: NumberLine) -> None:
    """Proves that no number, however large, small or missing, draws outside or breaks the page."""
    picture = line_picture(line)
    assert not re.search(r"nan|inf|e[+-]", picture)
    for x in (mean_x(line), tick_x(line), *ends(line)):
        assert x is None or LEFT <= x <= RIGHT
    for number in parts(line).get("limit", []):
        assert float(number.get("x", "")) + 6 * len(number.text or "") <= WIDTH
    for part in ElementTree.fromstring(picture):
        moved = re.fullmatch(r"translate\((\S+) (\S+)\)", part.get("transform", ""))
        x0, y0 = (0.0, 0.0) if moved is None else map(float, moved.groups())
        for one in part.iter():
            for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", one.get("d", "")):
                assert 0 <= x0 + float(x) <= WIDTH
                assert 0 <= y0 + float(y) <= HEIGHT


@given(lines())
def test_what_is_no_number_is_not_drawn(line: NumberLine) -> None:
    """Proves that a missing mean, range or threshold leaves its mark out, and is no zero."""
    assert (mean_x(line) is None) == (not math.isfinite(line.mean))
    assert (tick_x(line) is None) == (not numbers(line.threshold))
    assert bool(ends(line)) == numbers(line.low, line.high)


@given(st.floats(1e-12, 1e15))
def test_the_scale_ends_a_quarter_further_at_a_round_number(most: float) -> None:
    """Proves that the right end is 1, 2 or 5 times a power of ten, and the least that is enough."""
    top = scale_top(most)
    assert top >= 1.25 * most * (1 - 1e-12)
    assert top <= 2.5 * 1.25 * most * (1 + 1e-12)
    first = float(f"{top:e}".partition("e")[0])
    assert first in (1.0, 2.0, 5.0)


@pytest.mark.parametrize(
    ("most", "top"),
    [(0.0, 1.0), (0.8, 1.0), (0.81, 2.0), (4.0, 5.0), (9.0, 20.0), (16.8, 50.0), (160.0, 200.0)],
)
def test_scales_worked_out_by_hand(most: float, top: float) -> None:
    """Proves the rule on numbers that anybody can check: a quarter more, then up."""
    assert scale_top(most) == top


def test_the_threshold_stands_where_one_measures_it() -> None:
    """Proves by hand that 9 on a scale to 20 is 8 + 224 * 0.45 = 108.8 from the left."""
    line = NumberLine(3.0, "3 of 9 per 25 sweeps, below", "below", 9.0, 1.7, 5.1)
    assert tick_x(line) == 108.8
    assert mean_x(line) == pytest.approx(8 + 224 * 0.15, abs=0.05)
    (number,) = parts(line)["limit"]
    assert number.text == "9"


def test_a_number_without_room_is_left_out() -> None:
    """Proves that a threshold of many digits near the end keeps its flag and loses its number."""
    drawn = parts(NumberLine(0.0, "", "below", 0.00008))
    assert "flag" in drawn
    assert "limit" not in drawn


# --- shapes and words -----------------------------------------------------------------------


def test_every_answer_has_a_shape_of_its_own() -> None:
    """Proves that below, near and above differ in shape, not in colour alone."""
    shapes = {
        mark: re.sub(r'^<g [^>]*>', "", str(line_picture(NumberLine(1, "", mark))).split("<g ")[1])
        .partition(">")[2] for mark in ("below", "near", "above")
    }  # fmt: skip
    assert len(set(shapes.values())) == 3


def test_what_has_no_answer_is_a_hollow_circle() -> None:
    """Proves that too few sets, or no threshold, look like none of the three answers."""
    answers = set(get_args(Answer))
    assert {a for a in answers if mark_of(a) != "open"} == {"below", "near", "above"}


def test_the_words_stand_beside_and_the_drawing_is_silent() -> None:
    """Proves that a screen reader hears the words once and no drawing, and that text is escaped."""
    html = number_line(NumberLine(3.0, "3 of 9 <b>", "below", 9.0))
    picture, _, words = html.partition("</svg>")
    assert 'aria-hidden="true"' in picture
    assert words == ' <span class="numline-words">3 of 9 &lt;b&gt;</span>'
    noted = number_line(NumberLine(3.0, "3 of 9", "below", 9.0), note="Jul 6")
    assert noted.endswith('3 of 9 <span class="quiet">(Jul 6)</span></span>')
