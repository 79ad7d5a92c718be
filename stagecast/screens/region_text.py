"""What is said of a region's run."""

from __future__ import annotations

from collections.abc import Sequence

_CELLS_NAMED = 5
_SLOW_S, _LONG_S = 90.0, 5400.0


def progress_text(done: int, fields: int, *, seconds: float, begun: int = 0) -> str:
    """How far a run is: fields, how many a second, and how long the rest takes.

    ``begun`` of the fields were done before the seconds began to count: a rate needs a beginning.
    """
    text = f"{done:,} of {fields:,} fields"
    if done <= begun or seconds <= 0.0:
        return text
    rate = (done - begun) / seconds
    return f"{text}, {rate:,.0f} a second, {span_text((fields - done) / rate)} left"


def span_text(seconds: float) -> str:
    """How long something takes: ``40 s``, ``12 min``, ``3 h``."""
    if seconds < _SLOW_S:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < _LONG_S else f"{seconds / 3600:.1f} h"


def done_text(fields: int, parts: int, done_before: int) -> str:
    """What a run came to."""
    text = f"{fields:,} fields in {parts:,} {'file' if parts == 1 else 'files'}"
    if not done_before:
        return text
    if done_before == parts:
        return f"{text}; all were there already"
    return f"{text}; {done_before:,} {'was' if done_before == 1 else 'were'} there already"


def without_weather_text(cells: Sequence[str]) -> str:
    """Cells of which nothing can be forecast; empty where there is none."""
    if not cells:
        return ""
    named = ", ".join(cells[:_CELLS_NAMED])
    more = len(cells) - _CELLS_NAMED
    named += f" and {more} more" if more > 0 else ""
    which = "cell" if len(cells) == 1 else "cells"
    return f"No past season is whole in {which} {named}: their fields have no days."


def unsighted_text(names: Sequence[str]) -> str:
    """Pests whose heat waits for a catch, and the column that would start it."""
    if not names:
        return ""
    return f"Not timed, for want of a first catch or eggs: columns {', '.join(names)} give it."


def stateless_text() -> str:
    """What it means that the fields name no state."""
    return "The fields name no state: pests that are not met everywhere are left out."
