"""When insects no longer cost yield in a field, by the texts of its state, and what remains."""

from __future__ import annotations

from dataclasses import dataclass

from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent, stage_after, stage_place
from stagecast.knowledge.pest import Ends, Pest
from stagecast.season.log.entries import ScoutingLog

RIPE: CropEvent = "R7"
"""The end where no text of the state has an earlier one."""


@dataclass(frozen=True, slots=True)
class InsectsEnd:
    """From when on a state treats insects no longer, and how far that is in a field.

    Attributes
    ----------
    stage: with which it is over.
    rule: the state's own text; None where none is on file, and R7 ends it.
    still: pests for which the state has a later end.
    found: those of them that were found in the field: for them it is walked up to R7.
    """

    region: str
    stage: CropEvent
    dates: DateRange
    rule: Ends | None
    still: tuple[Pest, ...]
    found: tuple[Pest, ...]


def insects_end(
    forecast: FieldForecast, log: ScoutingLog, *, region: str, knowledge: Knowledge
) -> InsectsEnd:
    """When insects are over in a field; ``log`` is its own, of these plants, up to the day."""
    rule = next((one for one in knowledge.stops if one.region == region), None)
    stage = RIPE if rule is None else _after(rule.last)
    still = tuple(
        pest
        for pest in knowledge.pests.values()
        if pest.presence.met_in((region,))
        and any(
            one.region == region and stage_place(_after(one.last)) > stage_place(stage)
            for one in pest.ends
        )
    )
    seen = log.found
    found = tuple(pest for pest in still if pest.id in seen)
    return InsectsEnd(region, stage, forecast.dates_of(stage), rule, still, found)


def _after(last: CropEvent) -> CropEvent:
    """The stage that begins when another one ends; R7 at the latest."""
    return min(stage_after(last), RIPE, key=stage_place)
