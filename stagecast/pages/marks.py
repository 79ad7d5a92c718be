"""Shapes of marks, each round 0, 0: what they mean is said where they are used."""

from __future__ import annotations

from markupsafe import Markup

from stagecast.pages.svg import path


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
