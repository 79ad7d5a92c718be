"""What the last mornings were told, kept in ``mornings.json`` of the season folder.

It is there to say what is new. Nothing else rests on it: it may be deleted at any time.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from stagecast.base.errors import StoreError
from stagecast.season.kept import keep, read_kept

FILE = "mornings.json"


class FieldMorning(BaseModel):
    """A field as one morning told it.

    Attributes
    ----------
    stages: the day by which half of the possible seasons are at each stage told ahead.
    over: pests counted at their threshold or over it, by id.
    """

    model_config = ConfigDict(frozen=True)

    walk: dt.date | None = None
    stages: dict[str, dt.date] = {}
    over: tuple[str, ...] = ()


Morning = dict[str, FieldMorning]
"""Fields by id."""


class Mornings(BaseModel):
    """The mornings that are kept, by day."""

    days: dict[dt.date, Morning] = {}

    def before(self, day: dt.date, *, most_days: int) -> tuple[dt.date, Morning] | None:
        """The last morning before a day, at most so many days before it; None without any."""
        soonest = day - dt.timedelta(days=most_days)
        earlier = [one for one in self.days if soonest <= one < day]
        return (max(earlier), self.days[max(earlier)]) if earlier else None


def read_mornings(folder: Path) -> Mornings:
    """The mornings kept in a folder; none where the file is missing or damaged."""
    try:
        return read_kept(folder / FILE, Mornings, damaged_step="delete it")
    except StoreError:
        return Mornings()


def keep_morning(folder: Path, day: dt.date, morning: Morning, *, most: int) -> None:
    """Keep a morning in a folder, in the place of an earlier one of that day; the last ``most``.

    Raises
    ------
    StoreError
        When the folder cannot be written.
    """
    days = {**read_mornings(folder).days, day: morning}
    last = {one: days[one] for one in sorted(days)[-most:]}
    keep(folder / FILE, Mornings(days=last))
