"""What was counted in a field at the last counted visit, in words and as rows of a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.knowledge import Knowledge
from stagecast.outputs.pages.plain_words import (
    ANSWERS,
    LONGEST_TEXT,
    explained,
    headed,
    plain_day,
    stage_said,
    threshold_said,
    typed,
)
from stagecast.scouting.assess import assess_visit, last_counted
from stagecast.scouting.assessment import FieldAssessment, PestAssessment
from stagecast.scouting.counts_say import unit_text
from stagecast.scouting.defoliation import DefoliationAssessment
from stagecast.scouting.judge_counts import number_text
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.plan import FieldPlan
from stagecast.season.log_entries import ScoutingLog
from stagecast.season.visits import Visit

NOTED = {
    "near threshold": "pests were close to the threshold",
    "some": "there were some pests",
    "virtually none": "there were almost no pests",
}
MEANS_THRESHOLD = "The threshold is the number from which treating may pay."


@dataclass(frozen=True, slots=True)
class FoundRow:
    """A pest that was looked for: what was found, the threshold, and what that means.

    Attributes
    ----------
    pest, found, threshold, means : str
    share : float or None
        The mean as a share of the threshold.
    above : bool
    """

    pest: str
    found: str
    threshold: str
    means: str
    share: float | None
    above: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What was found in the field last."""

    sentences: tuple[str, ...]
    rows: tuple[FoundRow, ...] = ()


def found_in(plan: FieldPlan, loaded: LoadedSeason) -> Found:
    """Tell the last visit with counts; where none has any, the last one with a word."""
    field_id, as_of = plan.forecast.field.field_id, loaded.as_of
    log = plan.log.up_to(as_of)
    visit = last_counted(log, field_id, as_of)
    noted = _noted(field_id, loaded)
    treated = tuple(_treated(plan, log, since=None if visit is None else visit.date))
    if visit is None:
        return Found((_word(noted, plan), *treated))
    found = assess_visit(visit, plan.forecast, loaded)
    rows = tuple(_rows(found, loaded.knowledge))
    sentences = [f"We counted on {plain_day(visit.date)}, at {stage_said(found.stage)}."]
    if rows:
        sentences.append(MEANS_THRESHOLD)
    if noted is not None and noted.date > visit.date:
        sentences.append(_word(noted, plan))
    return Found((*sentences, *treated), rows)


def _treated(plan: FieldPlan, log: ScoutingLog, *, since: dt.date | None) -> Iterator[str]:
    """The last treatment after the counts, unless the page begins with it."""
    days = [t.applied_at.date() for t in log.treatments]
    if not days or plan.no_entry is not None or (since is not None and days[-1] < since):
        return
    product = headed(typed(log.treatments[-1].product)) or "A product"
    yield f"{product} was applied on {plain_day(days[-1])}."


def _noted(field_id: str, loaded: LoadedSeason) -> Visit | None:
    """The last visit with a word for the pests, up to the day asked for."""
    ours = [
        v
        for v in loaded.season.visits
        if v.field_id == field_id and v.date <= loaded.as_of and v.pressure is not None
    ]
    return max(ours, key=lambda visit: visit.date, default=None)


def _word(noted: Visit | None, plan: FieldPlan) -> str:
    if noted is not None and noted.pressure is not None:
        return f"On {plain_day(noted.date)} {NOTED[noted.pressure]}."
    if plan.visit.last_visit is not None:
        return f"We were there on {plain_day(plan.visit.last_visit)} and counted no pests."
    return "Nobody has looked for pests in this field yet."


def _rows(found: FieldAssessment, knowledge: Knowledge) -> Iterator[FoundRow]:
    for one in found.pests:
        yield _row(one, knowledge)
    if found.defoliation is not None:
        yield _leaf_loss(found.defoliation)


def _row(one: PestAssessment, knowledge: Knowledge) -> FoundRow:
    unit = unit_text(one.of, one.set_size)
    means = ANSWERS[one.answer]
    if one.answer == "not enough sets" and one.more_sets:
        means = f"Too close to call: {one.more_sets} more samples"
    return FoundRow(
        pest=_name(one, knowledge),
        found=f"{number_text(one.mean_per_set)} {unit}".strip(),
        threshold=_threshold(one),
        means=means,
        share=one.share,
        above=one.answer == "above",
    )


def _name(one: PestAssessment, knowledge: Knowledge) -> str:
    return typed(knowledge.pests[one.pest].name)


def _threshold(one: PestAssessment) -> str:
    if one.threshold is None:
        return "none"
    return typed(explained(threshold_said(one.threshold)), most=LONGEST_TEXT)


def _leaf_loss(found: DefoliationAssessment) -> FoundRow:
    shown = found.threshold
    return FoundRow(
        pest="leaf loss",
        found=f"{found.percent:g} percent of all leaf",
        threshold="none" if shown is None else typed(threshold_said(shown), most=LONGEST_TEXT),
        means=ANSWERS[found.answer],
        share=found.share,
        above=found.answer == "above",
    )
