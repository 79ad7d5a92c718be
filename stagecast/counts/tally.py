"""A tally of infested plants by a published plan: leave it, look at more plants, or confirm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.rules import TallyRule
from stagecast.knowledge.units import SampleUnit

TallySays = Literal["leave it", "go on", "confirm"]


@dataclass(frozen=True, slots=True)
class Tally:
    """What the plants say by the plan.

    Attributes
    ----------
    infested: plants with as many insects as the plan asks for, of all ``plants``
    """

    infested: int
    plants: int
    says: TallySays
    rule: TallyRule


def tally_of(
    pest: Pest,
    counts: Sequence[float],
    sizes: Sequence[float],
    *,
    unit: SampleUnit,
    knowledge: Knowledge,
) -> Tally | None:
    """The tally of a pest whose way of sampling has one; None where plants were not told apart.

    A tally that says confirm makes a field near its threshold whatever the mean: who counts by the
    plan stops at 40 aphids on a plant, so that the mean says too little.

    The plan's limits are for its first plants, and those of later looks are not on file. So more
    plants than that decide it only where any choice of so many among them would say the same;
    then the order in which they were typed does not matter.

    ``sizes``: plants in each set; each has to be one.
    """
    rule = tally_rule(pest, unit=unit, knowledge=knowledge)
    if rule is None or len(counts) < int(rule.plants) or any(size != 1 for size in sizes):
        return None
    plants = len(counts)
    infested = sum(number >= int(rule.infested) for number in counts)
    says: TallySays = "go on"
    if infested < int(rule.undecided):
        says = "leave it"
    elif infested == plants:
        says = "confirm"
    return Tally(infested, plants, says, rule)


def tally_rule(pest: Pest, *, unit: SampleUnit, knowledge: Knowledge) -> TallyRule | None:
    """The plan of a pest by a unit; None where its way of sampling has none."""
    methods = (knowledge.sampling.get(one.sample) for one in pest.activities)
    return next((m.tally for m in methods if m is not None and m.tally and m.unit == unit), None)
