"""A count on a line: what was found, its likely range, and the threshold, with the words beside.

One look wherever a count is shown. From a judged pest, in a template or in Python::

    number_line(line_of(assessment))       # a PestAssessment: drawing and words
    number_line(leaf_line_of(leaf_loss))   # a DefoliationAssessment
    number_line(line, note="Jul 6")        # with a word more, in brackets
    line_picture(line)                     # the drawing alone; the words must then stand beside it

The drawing is 240 by 28 and hidden from screen readers, since ``line.words`` says all of it:
``11.5 of 9 per 25 sweeps, above``. Its look (``.numline``) is in ``templates/style.css``.

From left to right it is a scale from 0 to :func:`scale_top`. The range is a bar with ends, the
threshold a flag on a tick with its number, and the mean a mark with a shape by its answer: a circle
below, a diamond near, two chevrons above, a hollow circle where sets are too few or nothing can be
held against it. What is no number (NaN, or infinite) is left out: it is never drawn as zero.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeGuard, get_args

from markupsafe import Markup

from stagecast.counts.assessment import Answer, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.pages.svg import Scale, chevrons, diamond, element, path, text
from stagecast.words.counts import beside_text, leaf_line_text, limit_text

WIDTH, HEIGHT, LEFT, RIGHT, MIDDLE = 240.0, 28.0, 8.0, 232.0, 14.0
BAR, FLAG, DIGIT = 8.0, (7.0, 5.0), 6.0
"""Height of the bar, width and height of the flag, width of a digit of the threshold."""

BEYOND = 1.25
"""How far the scale reaches, as a share of the largest number on it; then to a round number."""

ROUND = (1.0, 2.0, 5.0)

LEAST, MOST = 1e-300, 1e300
"""Beyond these a number is none that anybody counted, and its place could not be worked out."""

LineMark = Literal["below", "near", "above", "open"]


@dataclass(frozen=True, slots=True)
class NumberLine:
    """A count beside its threshold, all in the unit of ``words``.

    Attributes
    ----------
    mean: of the count; NaN where there is none
    words: mean, threshold, unit and answer
    mark: the shape of the mean
    threshold: None where none speaks
    low, high: the range in which the mean lies 8 times in 10; None where it has none
    """

    mean: float
    words: str
    mark: LineMark = "open"
    threshold: float | None = None
    low: float | None = None
    high: float | None = None


def line_of(one: PestAssessment) -> NumberLine:
    """The line of a pest that was counted."""
    return NumberLine(
        mean=one.mean_per_set,
        words=beside_text(one),
        mark=mark_of(one.answer),
        threshold=one.threshold_per_set,
        low=one.low,
        high=one.high,
    )


def leaf_line_of(found: DefoliationAssessment) -> NumberLine:
    """The line of leaf loss in percent, which is judged by eye and has no range."""
    rule = found.threshold
    return NumberLine(
        mean=found.percent,
        words=leaf_line_text(found),
        mark=mark_of(found.answer),
        threshold=None if rule is None else rule.threshold.value,
    )


def mark_of(answer: Answer) -> LineMark:
    """The mark of an answer."""
    return answer if answer in get_args(LineMark) else "open"  # type: ignore[return-value]


def number_line(line: NumberLine, *, note: str = "") -> Markup:
    """The drawing with its words, and behind them in brackets what else is to be known of it."""
    more = [Markup(" "), element("span", f"({note})", class_="quiet")] if note else []
    words = element("span", line.words, *more, class_="numline-words")
    return line_picture(line) + Markup(" ") + words


def line_picture(line: NumberLine) -> Markup:
    """The drawing alone."""
    values = [line.mean, line.threshold, line.low, line.high]
    most = max((value for value in values if _drawn(value)), default=0.0)
    place = Scale(0.0, scale_top(most), LEFT, RIGHT)
    return element(
        "svg",
        path([(LEFT, MIDDLE), (RIGHT, MIDDLE)], class_="base"),
        *_range(line, place),
        *_threshold(line, place),
        *_mean(line, place),
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}",
        class_="numline",
        aria_hidden="true",
    )


def scale_top(most: float) -> float:
    """The right end: a quarter more than the largest number, up to 1, 2 or 5 times a power of ten.

    Only steps that any floating point does alike are taken, so that a script draws the same.
    """
    wanted, step = BEYOND * most, 1.0
    if wanted < LEAST:
        return step
    while step * 10.0 <= wanted:
        step *= 10.0
    while step > wanted:
        step /= 10.0
    return next((nice * step for nice in ROUND if nice * step >= wanted), 10.0 * step)


def _drawn(value: float | None) -> TypeGuard[float]:
    """Whether it is a number that can stand on the line."""
    return value is not None and math.isfinite(value) and value < MOST


def _range(line: NumberLine, place: Scale) -> Iterator[Markup]:
    if not _drawn(line.low) or not _drawn(line.high):
        return
    left, right = place(line.low), place(line.high)
    top, bottom = MIDDLE - BAR / 2, MIDDLE + BAR / 2
    yield element("rect", x=left, y=top, width=right - left, height=BAR, class_="range")
    for x in (left, right):
        yield path([(x, top), (x, bottom)], class_="end")


def _threshold(line: NumberLine, place: Scale) -> Iterator[Markup]:
    """A tick with a flag, and the number beside it where there is room."""
    if not _drawn(line.threshold):
        return
    x, (wide, high) = place(line.threshold), FLAG
    yield path([(x, 3.0), (x, 25.0)], class_="tick")
    yield path([(x, 3.0), (x + wide, 3.0 + high / 2), (x, 3.0 + high)], closed=True, class_="flag")
    number, start = limit_text(line.threshold), x + wide + 2.0
    if start + DIGIT * len(number) <= RIGHT:
        yield text(number, start, 8.5, class_="limit")


def _mean(line: NumberLine, place: Scale) -> Iterator[Markup]:
    if not _drawn(line.mean):
        return
    match line.mark:
        case "near":
            shape = diamond(6.0)
        case "above":
            shape = chevrons(6.0)
        case _:
            shape = element("circle", r=5)
    here = f"translate({place(line.mean):.1f} {MIDDLE:g})"
    yield element("g", shape, transform=here, class_=line.mark)
