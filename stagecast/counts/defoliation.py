"""Leaf loss of the whole canopy against the region's thresholds before and after bloom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.pest import Pest
from stagecast.pests.thresholds import (
    OWN_KINDS,
    UNKNOWN,
    FieldFacts,
    ShownThreshold,
    best,
    lasts_to,
    thresholds_at,
)

LeafAnswer = Literal[
    "below", "near", "above", "does not matter yet", "no longer matters", "no threshold"
]


@dataclass(frozen=True, slots=True)
class DefoliationAssessment:
    """Leaf loss of the whole canopy by all feeders, as the scout judged it, and what it means.

    ``threshold`` is the one that usually holds, ``otherwise`` others at the stage, of another
    condition or state, each with its own answer; ``held`` are those of other stages where none is.
    """

    percent: float
    stage: str
    answer: LeafAnswer
    threshold: ShownThreshold | None = None
    otherwise: tuple[tuple[ShownThreshold, LeafAnswer], ...] = ()
    held: tuple[ShownThreshold, ...] = ()

    @property
    def share(self) -> float | None:
        """Leaf loss as a share of the threshold; None where there is none, or it is 0."""
        if self.threshold is None or not self.threshold.threshold.value:
            return None
        return self.percent / self.threshold.threshold.value


def assess_defoliation(
    percent: float,
    *,
    stage: str,
    region: str,
    knowledge: Knowledge,
    facts: FieldFacts = UNKNOWN,
) -> DefoliationAssessment:
    """Hold leaf loss in percent against the threshold at a stage, those of ``region`` first.

    Where none of the region's own holds at a stage before the last of them, the next best that
    does is taken: leaves are lost at any stage, and what another state says then is worth more
    than nothing. After the last stage of its own, leaf loss no longer matters there.

    One number judged by eye has no interval: it is held against the threshold as it is. People
    guess too high, so a loss just above the threshold is worth judging again.
    """
    pest = knowledge.pests.get(knowledge.decisions.leaf_loss.pest)
    held = [] if pest is None else _leaf_loss(pest, None, region, knowledge, facts)
    if pest is None or not held:
        return DefoliationAssessment(percent, stage, "no threshold")
    now = _leaf_loss(pest, stage, region, knowledge, facts)
    last = lasts_to(pest, region=region, knowledge=knowledge, facts=facts)
    over = stage_place(stage) > stage_place(last)
    if not now or (over and now[0].kind not in OWN_KINDS):
        silent = "no longer matters" if over else _silent(pest, stage)
        return DefoliationAssessment(percent, stage, silent, held=best(held))
    deciding = [s for s in now if s.kind == now[0].kind and s.decides]
    if not deciding:
        return DefoliationAssessment(percent, stage, "no threshold", held=best(now))
    first, *rest = deciding
    near = float(knowledge.decisions.pressure.near_share)
    otherwise = tuple((other, _answer(percent, other, near)) for other in rest)
    return DefoliationAssessment(percent, stage, _answer(percent, first, near), first, otherwise)


def _leaf_loss(
    pest: Pest, stage: str | None, region: str, knowledge: Knowledge, facts: FieldFacts
) -> list[ShownThreshold]:
    """Thresholds of leaf loss, the best first; those of the pest that are counts are left out."""
    found = thresholds_at(pest, region=region, stage=stage, knowledge=knowledge, facts=facts)
    return [shown for shown in found if shown.threshold.leaf_loss]


def _answer(percent: float, shown: ShownThreshold, near_share: float) -> LeafAnswer:
    if percent >= shown.threshold.value and percent > 0:
        return "above"
    return "near" if 0 < near_share * shown.threshold.value <= percent else "below"


def _silent(pest: Pest, stage: str) -> LeafAnswer:
    """What it means that no threshold of leaf loss holds at a stage at which leaves still count."""
    early = stage_place(stage) < stage_place(pest.host.first)
    return "does not matter yet" if early else "no threshold"
