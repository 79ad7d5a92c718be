"""The crop events a window or a threshold may be tied to, in the order in which they come."""

from __future__ import annotations

from typing import Literal

CropEvent = Literal[
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8",
]  # fmt: skip

STAGE_ORDER: tuple[CropEvent, ...] = (
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8",
)  # fmt: skip


def stage_place(stage: str) -> int:
    """Place of a stage among the crop events; V5 and later nodes stand with V4.

    What is not a stage yet (not planted, planted) stands with planting.
    """
    if stage in STAGE_ORDER:
        return STAGE_ORDER.index(stage)
    return STAGE_ORDER.index("V4") if stage.startswith("V") else 0
