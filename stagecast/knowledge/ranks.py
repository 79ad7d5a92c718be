"""Which pest one looks for first: by group of regions, crop stage, day of the year and field."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from stagecast.knowledge.crop import CropEvent, stage_place
from stagecast.knowledge.quantities import Provenance
from stagecast.knowledge.threshold import MonthDay


class RankRow(Provenance):
    """A pest's place among those to look for, where and when it has it; 1 comes first.

    It holds in ``groups`` of regions, or in ``regions`` alone where they are given; from crop stage
    ``first`` to ``last``; from ``starts`` to ``ends`` of the year where given, both included; and
    where the field says so: ``no_till``, ``wooded_edge``, planted from a day on.
    """

    pest: str
    rank: int = Field(ge=1, le=9)
    groups: tuple[str, ...] = ()
    regions: tuple[str, ...] = ()
    first: CropEvent
    last: CropEvent
    starts: MonthDay | None = None
    ends: MonthDay | None = None
    no_till: bool = False
    wooded_edge: bool = False
    planted_from: MonthDay | None = None

    @model_validator(mode="after")
    def _somewhere_in_order(self) -> Self:
        if bool(self.groups) == bool(self.regions):
            raise ValueError("a rank holds in groups or in regions: give one of them")
        if stage_place(self.first) > stage_place(self.last):
            raise ValueError("the first stage of a rank must not come after its last")
        return self
