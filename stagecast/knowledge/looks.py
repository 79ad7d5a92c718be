"""The other looks of a season, what frost takes and what water the crop still needs."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stagecast.knowledge.crop import CropEvent, WindowEnd
from stagecast.knowledge.quantities import Count, Number, Provenance, Quantity, Statement, Strict


class Look(Provenance):
    """What a stage calls for besides insects.

    Attributes
    ----------
    setting: its switch in ``[looks]`` of season.toml.
    sends: whether a visit is moved to be in time for it.
    dated: the end of its range that matters.
    irrigated: only in fields that are.
    frost: told with the chance of a killing frost in its range, and only where there is one.
    found: only where this pest was found.
    facts: what else sources say of it.
    """

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    title: str
    setting: str
    opens: WindowEnd
    closes: WindowEnd
    reason: str
    caution: str
    sends: bool = False
    dated: Literal["opens", "closes"] = "opens"
    irrigated: bool = False
    frost: bool = False
    found: str | None = None
    facts: tuple[Statement, ...] = ()


class WaterLeft(Provenance):
    """Days and inches of water to R7, from when the crop comes to a stage."""

    stage: CropEvent
    days: int = Field(ge=0)
    inches: Number


class FrostLoss(Provenance):
    """Yield that a killing frost takes at a stage; one figure where both are alike."""

    stage: CropEvent
    least_percent: int
    most_percent: int


class Frost(Strict):
    """When a frost kills, and what it takes."""

    kills: Quantity
    least_chance: Quantity
    losses: tuple[FrostLoss, ...]


class Looks(Strict):
    """All of ``looks.toml``."""

    ahead_days: Count
    look: tuple[Look, ...]
    water: tuple[WaterLeft, ...]
    frost: Frost
