"""Models of how a pest's development is timed: heat, biofix, events, rearing figures."""

from __future__ import annotations

import calendar
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from stagecast.knowledge.quantities import Number, Provenance, Quantity
from stagecast.knowledge.stages import CropEvent
from stagecast.knowledge.texts import Name

COMMON_YEAR = 2025
"""A year without a 29 February."""


def check_day(month: int, day: int) -> None:
    """Refuse a day that does not come in every year.

    Raises
    ------
    ValueError
    """
    if day > calendar.monthrange(COMMON_YEAR, month)[1]:
        raise ValueError(f"day {day} of month {month} does not come in every year")


class Biofix(Provenance):
    """Something from which heat is counted.

    A model may name several; the first for which there is a day is taken. ``trap catch`` waits
    for the catches in the season folder, ``seen`` for first eggs or first adults noted there.
    """

    kind: Literal["calendar day", "crop stage", "trap catch", "seen"]
    month: int | None = Field(default=None, ge=1, le=12)
    day: int | None = Field(default=None, ge=1, le=31)
    stage: CropEvent | None = None
    catch: Literal["first", "sustained", "peak"] | None = None
    what: Literal["eggs", "adults"] | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        wanted = {
            "calendar day": ("month", "day"), "crop stage": ("stage",), "trap catch": ("catch",),
            "seen": ("what",),
        }[self.kind]  # fmt: skip
        for name in ("month", "day", "stage", "catch", "what"):
            if (getattr(self, name) is not None) != (name in wanted):
                raise ValueError(f"a {self.kind} biofix has {' and '.join(wanted)}, nothing else")
        if self.month is not None and self.day is not None:
            check_day(self.month, self.day)
        return self


class HeatModel(Provenance):
    """How heat is summed: always the source's own thresholds, method and cutoff."""

    lower_c: Number
    upper_c: Number | None = None
    method: Literal[
        "simple average", "clamped average", "single triangle", "double triangle",
        "single sine", "double sine",
    ]  # fmt: skip
    cutoff: Literal["none", "horizontal", "intermediate", "vertical"]
    method_tag: Literal["READ", "CITED", "MEMORY", "OWN"]
    method_note: str = ""
    spread: Quantity | None = Field(
        default=None, description="Share of a need by which individuals differ, one sd"
    )
    biofix: tuple[Biofix, ...] = Field(min_length=1)

    @field_validator("spread")
    @classmethod
    def _spread_is_a_share(cls, spread: Quantity | None) -> Quantity | None:
        if spread is not None and not 0 <= spread.value <= 1:
            raise ValueError("the spread is a share of a need, from 0 to 1")
        return spread

    @model_validator(mode="after")
    def _cutoff_needs_upper(self) -> Self:
        # As the arithmetic of degree-days has it, which stands above this room.
        if self.method == "clamped average" and self.cutoff not in ("none", "horizontal"):
            raise ValueError(
                f"the clamped average has no {self.cutoff} cutoff: use horizontal, or none"
            )
        if (self.cutoff == "none") != (self.upper_c is None):
            raise ValueError("an upper threshold and a cutoff belong together")
        if self.upper_c is not None and self.upper_c <= self.lower_c:
            raise ValueError("the upper threshold must lie above the lower")
        return self


class Event(Provenance):
    """Something a heat sum is reached for."""

    id: Name = Field(pattern=r"^[a-z][a-z0-9-]*$")
    title: Name
    need_c: Number = Field(gt=0)


class Generation(Provenance):
    """Heat from one generation's event to the same event of the next, and how many there are."""

    need_c: Number = Field(gt=0)
    most: int = Field(ge=1, le=9)


class Development(Provenance):
    """A published figure of development that times nothing by itself; kept for the record.

    ``stage`` names what develops; ``lower_c``, ``upper_c`` and ``need_c`` as far as they were
    read; ``place`` is where the insects came from or what they ate.
    """

    stage: str
    lower_c: Number | None = None
    upper_c: Number | None = None
    need_c: Number | None = None
    place: str = ""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.lower_c is None and self.upper_c is None and self.need_c is None:
            raise ValueError("a figure of development needs a threshold or degree-days")
        return self


class Duration(Provenance):
    """Days that a stage takes, at one temperature where the source gives it."""

    stage: str
    days: Number = Field(gt=0)
    high: Number | None = None
    at_c: Number | None = None
