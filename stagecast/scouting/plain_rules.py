"""Two plain rules for dating a stage, which a forecast has to beat to be worth its trouble."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stagecast.knowledge.crop import Averages

ORDER = ("planting", "VE", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""The stages that the averages lead through, in order."""


def planting_line_day(
    planted: float, others: Sequence[tuple[float, float]], *, fewest: int
) -> float | None:
    """Day of a stage by a straight line on planting day through the other fields.

    Parameters
    ----------
    planted : float
        Planting day of the field.
    others : sequence of (planting day, day of the stage)
        What was seen in other fields, at any time of the season: the line has hindsight that
        the forecast had not.
    fewest : int
        With fewer other fields, or all planted on one day, there is no line.

    Returns
    -------
    float or None
    """
    days = np.array(others, dtype=np.float64).reshape(-1, 2)
    if len(days) < fewest or np.ptp(days[:, 0]) == 0.0:
        return None
    slope, level = np.polyfit(days[:, 0], days[:, 1], 1)
    return float(level + slope * planted)


def average_day(
    stage: str, planted: float, before: Sequence[tuple[str, float]], *, averages: Averages
) -> float | None:
    """Day of a stage by average days between stages, from planting or the last stage seen.

    Parameters
    ----------
    stage : str
    planted : float
        Planting day of the field.
    before : sequence of (stage, day)
        What had been seen in the field when the forecast was made.
    averages : Averages

    Returns
    -------
    float or None
        None for V stages, which the averages do not lead to one by one.
    """
    if stage not in ORDER:
        return None
    days = _days_from_planting(averages)
    start, since = "planting", planted
    for seen, day in before:
        if seen in days and days[start] < days[seen] < days[stage]:
            start, since = seen, day
    return since + days[stage] - days[start]


def _days_from_planting(averages: Averages) -> dict[str, float]:
    steps = (
        averages.planting_ve, averages.ve_r1, averages.r1_r2, averages.r2_r3, averages.r3_r4,
        averages.r4_r5, averages.r5_r6, averages.r6_r7, averages.r7_r8,
    )  # fmt: skip
    sums = np.concatenate([[0.0], np.cumsum([float(step) for step in steps])])
    return dict(zip(ORDER, sums.tolist(), strict=True))
