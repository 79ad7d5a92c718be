"""A small helper for charts as SVG text: elements, scales and paths, every value escaped."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

Point = tuple[float, float]


def element(tag: str, *children: str, **attributes: str | float | None) -> Markup:
    """An element with its children; ``class_`` and ``stroke_width`` are written as SVG does.

    Children that are plain text are escaped; attributes that are None are left out. For SVG alone:
    in HTML most elements without children must not end so.
    """
    named = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(_text(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    inner = Markup("").join(escape(child) for child in children)
    return Markup(f"<{tag}{named}>{inner}</{tag}>" if inner else f"<{tag}{named}/>")


def picture(*children: str, width: float, height: float, title: str, described: str = "") -> Markup:
    """A chart as a picture with a name that a screen reader says.

    Parameters
    ----------
    width, height: of the drawing; on the page it is as wide as its column
    title: what it shows
    described: what is to be seen in it, in words
    """
    words = [element("title", title)] + ([element("desc", described)] if described else [])
    return element(
        "svg",
        *words,
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_text(width)} {_text(height)}",
        role="img",
        aria_label=title,
        class_="chart",
    )


def path(points: Sequence[Point], *, closed: bool = False, **attributes: str | float) -> Markup:
    """A line through points, or an area round them."""
    if not points:
        return Markup("")
    drawn = "L".join(f"{_text(x)} {_text(y)}" for x, y in points)
    return element("path", d=f"M{drawn}{'Z' if closed else ''}", **attributes)


def band(upper: Sequence[Point], lower: Sequence[Point], **attributes: str | float) -> Markup:
    """The area between two lines that run the same way."""
    return path([*upper, *reversed(lower)], closed=True, **attributes)


def text(words: str, x: float, y: float, **attributes: str | float) -> Markup:
    """Words at a place."""
    return element("text", words, x=x, y=y, **attributes)


def diamond(size: float) -> Markup:
    """A square on its corner, so far from its middle to each corner."""
    return path([(0, -size), (size, 0), (0, size), (-size, 0)], closed=True)


def chevrons(size: float) -> Markup:
    """Two arrowheads that point up, one over the other, so far from the middle to each side."""
    thick, apart = size * 3 / 7, size * 5 / 7
    return Markup("").join(
        path(
            [
                (-size, y), (0, y - size), (size, y),
                (size, y + thick), (0, y - size + thick), (-size, y + thick),
            ],
            closed=True,
        )
        for y in (0, apart)
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight line from values to places on the drawing."""

    first: float
    last: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value stands; values beyond the ends stand at them."""
        if self.last == self.first:
            return self.start
        share = (value - self.first) / (self.last - self.first)
        return self.start + min(1.0, max(0.0, share)) * (self.end - self.start)


@dataclass(frozen=True, slots=True)
class DayScale:
    """The same for days."""

    first: dt.date
    last: dt.date
    start: float
    end: float

    def __call__(self, day: dt.date) -> float:
        """Where a day begins."""
        days = Scale(0.0, float((self.last - self.first).days), self.start, self.end)
        return days(float((day - self.first).days))

    def months(self) -> Iterable[dt.date]:
        """The first of every month among the days."""
        day = self.first.replace(day=1)
        while day <= self.last:
            if day >= self.first:
                yield day
            day = (day + dt.timedelta(days=32)).replace(day=1)


def _text(value: str | float) -> str:
    """A number to a tenth, which is finer than a screen shows; text as it is."""
    if isinstance(value, str):
        return value
    rounded = round(value, 1) + 0.0  # no minus zero
    return f"{rounded:.1f}".removesuffix(".0")
