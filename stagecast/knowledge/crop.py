"""The soybean: its stages in order, and the parameters of the stage model."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from stagecast.knowledge.quantities import (
    Count,
    Number,
    Provenance,
    Quantity,
    Series,
    Strict,
)

CropEvent = Literal[
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R6.5", "R7", "R8",
]  # fmt: skip

STAGE_ORDER: tuple[CropEvent, ...] = (
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R6.5", "R7", "R8",
)  # fmt: skip
"""R6.5 is no stage that a scout notes: it parts R6 some days after it began. What lasts to R6 ends
there, what lasts to R6.5 or R7 when R7 begins."""


_PLACES: dict[str, int] = {stage: place for place, stage in enumerate(STAGE_ORDER)}


def stage_place(stage: str) -> int:
    """Place of a stage among the crop events; V5 and later nodes stand with V4.

    What is not a stage yet (not planted, planted) stands with planting.
    """
    place = _PLACES.get(stage)
    if place is not None:
        return place
    return _PLACES["V4"] if stage.startswith("V") else 0


def stage_after(stage: CropEvent) -> CropEvent:
    """The crop event that begins where a stage ends; V5 and later nodes end with V4.

    Raises
    ------
    IndexError
        After the last.
    """
    return STAGE_ORDER[stage_place(stage) + 1]


class WindowEnd(Strict):
    """A crop event, moved by a number of days."""

    stage: CropEvent
    plus_days: int = 0


class Cardinals(Provenance):
    """Cardinal temperatures of a trapezoid response, in degC."""

    base_c: Number
    optimum_low_c: Number
    optimum_high_c: Number
    ceiling_c: Number

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if not self.base_c < self.optimum_low_c <= self.optimum_high_c < self.ceiling_c:
            raise ValueError("cardinal temperatures must rise: base, optimum low, high, ceiling")
        return self

    def as_tuple(self) -> tuple[float, float, float, float]:
        """The four temperatures in degC, in rising order."""
        return (self.base_c, self.optimum_low_c, self.optimum_high_c, self.ceiling_c)


class Emergence(Strict):
    """Planting to VE by heat of the air."""

    need: Quantity
    base: Quantity
    cap: Quantity
    quickest: Quantity
    slowest: Quantity


class Nodes(Strict):
    """Main-stem nodes after emergence; the unifoliolate node counts as the first."""

    phyllochron: Quantity
    vc_at: Quantity
    v1_at: Quantity
    determinate_stop: Quantity
    determinate_stop_from: Quantity
    response: Cardinals


class Shares(Strict):
    """Where R2, R3, R4 lie between R1 and R5, and R6 between R5 and R7, as shares of the need."""

    r2: Quantity
    r3: Quantity
    r4: Quantity
    r6: Quantity


class Photoperiod(Strict):
    """The short-day ramp and how it changes at R1."""

    floor: Quantity
    post_shift: Quantity
    post_slope_factor: Quantity
    sun_angle: Quantity


class DailyRange(Strict):
    """What wide days, as clear and dry ones are, change of the rate: shares per degC of range."""

    usual: Quantity
    before_r1: Quantity
    after_r5: Quantity


class Era(Strict):
    """How much longer cultivars fill seed with every year; the tables hold for the last year."""

    longer_fill: Quantity
    years: Series

    @model_validator(mode="after")
    def _first_and_last(self) -> Self:
        first, last = self.years.values
        if not first < last:
            raise ValueError("give the first and the last year")
        return self


class Groups(Strict):
    """Parameters at knots of the continuous maturity-group number; linear in between."""

    knots: Series
    critical_day_length: Series
    sensitivity: Series
    need_ve_r1: Series
    need_r1_r5: Series
    need_r5_r7: Series
    days_r7_r8: Quantity
    determinate_step: Quantity
    determinate_ramp: Series
    determinate_from: Quantity
    lowest: Quantity
    highest: Quantity
    offsets: dict[str, Quantity]

    @model_validator(mode="after")
    def _same_length(self) -> Self:
        lengths = {
            len(series.values)
            for series in (
                self.knots,
                self.critical_day_length,
                self.sensitivity,
                self.need_ve_r1,
                self.need_r1_r5,
                self.need_r5_r7,
            )
        }
        if len(lengths) != 1:
            raise ValueError("every group table needs one value per knot")
        if list(self.knots.values) != sorted(self.knots.values):
            raise ValueError("knots must rise")
        return self


class Ensemble(Strict):
    """What the forecast does not know, as standard deviations; and how many draws stand for it.

    Shares are of a phase's need; ``group_sd`` is in group numbers, by how a group was written.
    """

    levels: Count
    per_level: Count
    shared: Quantity
    seed: Count
    group_sd: dict[Literal["decimal", "part", "whole"], Quantity]
    emergence: Quantity
    nodes: Quantity
    before_r1: Quantity
    r1_r5: Quantity
    r5_r7: Quantity
    r8_days: Quantity


class Learning(Strict):
    """How a stage seen in a field is read."""

    staging_sd: Quantity
    lasting_sd: Quantity
    drift: Quantity
    seed: Count
    plant_sd: Quantity
    field_sd: Quantity
    same_week: Quantity
    same_group: Quantity
    least_fit: Quantity
    beyond_reason: Quantity


class Between(Strict):
    """Times between stages that sources count by; the first and the last of some days."""

    r6_5: Series

    @model_validator(mode="after")
    def _first_and_last(self) -> Self:
        first, last = self.r6_5.values
        if not 0 <= first <= last:
            raise ValueError("give the fewest and the most days after R6")
        return self


class Averages(Strict):
    """Average days between stages: the plain rule that a forecast has to beat."""

    planting_ve: Quantity
    ve_r1: Quantity
    r1_r2: Quantity
    r2_r3: Quantity
    r3_r4: Quantity
    r4_r5: Quantity
    r5_r6: Quantity
    r6_r7: Quantity
    r7_r8: Quantity


class Skill(Strict):
    """How forecasts are held against what was seen."""

    leads: Series
    fewest: Count
    told: Series
    enough: Count


class Evaporation(Strict):
    """Reference evaporation from temperatures, after Hargreaves and Samani."""

    factor: Quantity
    offset: Quantity


class CropWater(Strict):
    """How much of the reference evaporation a crop takes, by its season's four parts."""

    lengths: Series
    factors: Series

    @model_validator(mode="after")
    def _four_parts(self) -> Self:
        if len(self.lengths.values) != 4 or len(self.factors.values) != 3:
            raise ValueError("give the lengths of four parts, and factors at start, full and end")
        return self


class Soil(Strict):
    """What the soil holds for the crop."""

    holds: Quantity
    easy: Quantity
    most_missing: Quantity


class Drought(Strict):
    """By how many days the range of R7 and R8 opens."""

    early: Quantity
    late: Quantity
    whole_after: Count


class Water(Strict):
    """All of ``water.toml``: water in the soil of a field, and what a drought does."""

    evaporation: Evaporation
    crop: CropWater
    soil: Soil
    drought: Drought


class StageText(Strict):
    """What a stage is, in our own words after Fehr and Caviness (1977)."""

    name: str
    definition: str
    source: str
    tag: str


class Soybean(Strict):
    """All of ``soybean.toml``."""

    emergence: Emergence
    nodes: Nodes
    response: dict[str, Cardinals]
    photoperiod: Photoperiod
    daily_range: DailyRange
    shares: Shares
    era: Era
    groups: Groups
    ensemble: Ensemble
    learning: Learning
    between: Between
    averages: Averages
    skill: Skill
    stages: dict[str, StageText] = Field(min_length=1)
