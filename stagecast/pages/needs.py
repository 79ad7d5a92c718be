"""How pressing a field is, in a word, and the mark that goes with it."""

from __future__ import annotations

from typing import Literal

from markupsafe import Markup

from stagecast.pages.svg import chevrons, diamond, element, path
from stagecast.visits.season_day import FieldDay
from stagecast.week.week import over_threshold

Need = Literal["closed", "above", "overdue", "today", "week", "later", "none"]

NEEDS: dict[Need, str] = {
    "above": "over a threshold: decide",
    "closed": "do not enter",
    "overdue": "overdue",
    "today": "due today",
    "week": "due within a week",
    "later": "due later",
    "none": "no visit due",
}
"""Each need in words, what waits for a decision first, as the page has it everywhere."""

WEEK_DAYS = 7


def need_of(field: FieldDay) -> Need:
    """How pressing a field is; one that may not be entered is that before all.

    A count over a threshold that waits for a decision goes before any due day.
    """
    due, as_of = field.due_on, field.season.as_of
    if field.closed:
        return "closed"
    if field.field_id in over_threshold(field.season):
        return "above"
    if due is None:
        return "none"
    if due < as_of:
        return "overdue"
    if due == as_of:
        return "today"
    return "week" if (due - as_of).days < WEEK_DAYS else "later"


def need_marks() -> Markup:
    """A mark for each need, of its own shape, drawn once; ``<use>`` shows it anywhere."""
    shapes: dict[Need, Markup] = {
        "closed": Markup("").join(
            [
                element("rect", x=-6, y=-6, width=12, height=12),
                path([(-3, -3), (3, 3)], class_="cut"),
                path([(3, -3), (-3, 3)], class_="cut"),
            ]
        ),
        "above": chevrons(7),
        "overdue": path([(0, -7), (7, 6), (-7, 6)], closed=True),
        "today": diamond(7),
        "week": element("circle", r=5),
        "later": element("circle", r=4),
        "none": path([(-4, 0), (4, 0)]),
    }
    return Markup("").join(
        element("g", shape, id=f"n-{need}", class_=f"n-{need}") for need, shape in shapes.items()
    )


def need_key(need: Need) -> Markup:
    """The mark of a need, beside its word in a line of text."""
    mark = element("use", href=f"#n-{need}")
    return element("svg", mark, viewBox="-8 -8 16 16", class_="mark", aria_hidden="true")


def above_mark() -> Markup:
    """The mark of a field over a threshold, on a page that has no others; its words stand by it."""
    shape = chevrons(7)
    return element("svg", shape, viewBox="-8 -8 16 17", class_="above-mark", aria_hidden="true")
