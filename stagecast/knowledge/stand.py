"""Models of ``stand.toml``: what stands keep of their yield, and what planting days bring."""

from __future__ import annotations

import itertools
from typing import Literal, Self

from pydantic import Field, model_validator

from stagecast.knowledge.quantities import Count, Number, Provenance, Quantity, Statement, Strict
from stagecast.knowledge.threshold import check_day


class StandCounting(Strict):
    """How places are counted and their mean is told."""

    interval: Quantity
    places: Count
    least_gap: Quantity


class StandDecision(Strict):
    """When a stand is kept, close, or can be replanted, and what waiting with that costs."""

    close: Quantity
    keep: Quantity
    lead: Count
    delay: Quantity
    delay_june: Quantity
    caution: Statement
    add_seed: Count


class KeptYield(Provenance):
    """Percent of its yield that an even stand keeps."""

    plants: int = Field(gt=0)
    percent: Number = Field(gt=0, lt=100)


class FullStand(Provenance):
    """Plants an acre that keep all their yield, in rows of ``row_in`` inches or wider."""

    row_in: Number = Field(ge=0)
    plants: int = Field(gt=0)


class GapLoss(Provenance):
    """Percent of its yield that a stand of so many plants keeps with so much row in gaps."""

    plants: int = Field(gt=0)
    gap_percent: Number = Field(gt=0, le=100)
    percent: Number = Field(gt=0, lt=100)


class PlantingPoint(Strict):
    """Percent of the best yield when planted on a day of the year."""

    month: int = Field(ge=1, le=12)
    day: int = Field(ge=1, le=31)
    percent: Number = Field(gt=0, le=100)

    @model_validator(mode="after")
    def _is_a_day(self) -> Self:
        check_day(self.month, self.day)
        return self


class PlantingCurve(Provenance):
    """Yield by planting day, as one region's trials have it."""

    region: str
    points: tuple[PlantingPoint, ...] = Field(min_length=2)

    @model_validator(mode="after")
    def _later_is_worse(self) -> Self:
        for one, later in itertools.pairwise(self.points):
            if (one.month, one.day) >= (later.month, later.day) or one.percent < later.percent:
                raise ValueError("points go by day, and no later one yields more")
        return self


class StandGuide(Provenance):
    """Plants an acre that a state's own guide names."""

    region: str
    says: Literal["keep", "full yield"]
    plants: int = Field(gt=0)
    to_plants: int | None = None


class StandRules(Strict):
    """All of ``stand.toml``."""

    counting: StandCounting
    decision: StandDecision
    kept: tuple[KeptYield, ...] = Field(min_length=1)
    full: tuple[FullStand, ...] = Field(min_length=1)
    gaps: GapLoss
    planted: tuple[PlantingCurve, ...] = Field(min_length=1)
    guides: tuple[StandGuide, ...]

    @model_validator(mode="after")
    def _more_plants_keep_more(self) -> Self:
        for one, more in itertools.pairwise(self.kept):
            if one.plants >= more.plants or one.percent > more.percent:
                raise ValueError("kept goes by plants, and more plants keep no less")
        if self.kept[-1].plants >= min(one.plants for one in self.full):
            raise ValueError("a full stand has more plants than any that keeps less")
        for one_row, wider in itertools.pairwise(self.full):
            if one_row.row_in >= wider.row_in:
                raise ValueError("full goes by row width")
        if self.full[0].row_in > 0:
            raise ValueError("full begins with rows of any width")
        return self
