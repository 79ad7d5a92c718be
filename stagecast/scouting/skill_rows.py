"""How good past forecasts were, by stage and lead time, beside two plain rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stagecast.scouting.skill import Hindcast


@dataclass(frozen=True, slots=True)
class SkillRow:
    """Hindcasts of one stage and lead time, together.

    ``stage`` is None for all stages. A stage that was seen and had not been expected this season
    has no error in days: ``never_expected`` counts such visits, and ``coverage`` counts them as
    outside of the range. All else is of the others: bias and RMSE in days; and for each rule its
    RMSE on the visits that it could date, with the forecast's own on those same visits beside it.
    None where there are none.
    """

    stage: str | None
    lead_days: int
    visits: int
    never_expected: int
    bias_days: float | None
    rmse_days: float | None
    coverage: float
    planting_line_rmse: float | None
    planting_line_ours: float | None
    average_rmse: float | None
    average_ours: float | None


def summarise(hindcasts: Sequence[Hindcast]) -> list[SkillRow]:
    """Rows by stage and lead time, then all stages together."""
    rows = []
    leads = sorted({h.lead_days for h in hindcasts})
    stages = sorted({h.stage for h in hindcasts}, key=_stage_order)
    for stage in (*stages, None):
        for lead in leads:
            chosen = [h for h in hindcasts if h.lead_days == lead and stage in (None, h.stage)]
            if chosen:
                rows.append(_row(stage, lead, chosen))
    return rows


def _stage_order(stage: str) -> tuple[bool, int]:
    number = {"VE": -1, "VC": 0}.get(stage)
    return stage.startswith("R"), int(stage[1:]) if number is None else number


def _row(stage: str | None, lead: int, chosen: Sequence[Hindcast]) -> SkillRow:
    expected = [h for h in chosen if h.expected]
    errors = [h.error_days for h in expected]
    line = [(h.planting_line, h) for h in expected if h.planting_line is not None]
    mean = [(h.average, h) for h in expected if h.average is not None]
    return SkillRow(
        stage=stage,
        lead_days=lead,
        visits=len(chosen),
        never_expected=len(chosen) - len(expected),
        bias_days=float(np.mean(errors)) if errors else None,
        rmse_days=_rmse(errors),
        coverage=float(np.mean([h.covered for h in chosen])),
        planting_line_rmse=_rmse([day - h.seen for day, h in line]),
        planting_line_ours=_rmse([h.error_days for _, h in line]),
        average_rmse=_rmse([day - h.seen for day, h in mean]),
        average_ours=_rmse([h.error_days for _, h in mean]),
    )


def _rmse(errors: Sequence[float]) -> float | None:
    return float(np.sqrt(np.mean(np.square(errors)))) if errors else None
