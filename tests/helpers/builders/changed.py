"""A season or field on a day with some of what follows from it put there by hand."""

from __future__ import annotations

import copy
from typing import TypeVar

from stagecast.visits.season_day import FieldDay, SeasonDay

Day = TypeVar("Day", SeasonDay, FieldDay)

_FOLLOWS = {
    SeasonDay: ("loaded", "fields", "by_need", "doubts"),
    FieldDay: ("log", "no_entry", "windows", "last_visit", "counted", "visit"),
}


def changed(day: Day, **values: object) -> Day:
    """The same day but for these values; all others stay as they were worked out."""
    for name in _FOLLOWS[type(day)]:
        getattr(day, name)
    made = copy.copy(day)
    if isinstance(made, SeasonDay):
        made.__dict__["_kept"] = {}
    made.__dict__.update(values)
    return made
