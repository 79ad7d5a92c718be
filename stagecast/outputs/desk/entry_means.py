"""What an entry means at once: counts against thresholds, or until when a field is closed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.knowledge import load
from stagecast.outputs.desk.field_view import plan_of_field
from stagecast.outputs.screen import day_text
from stagecast.scouting.assessment import PestAssessment
from stagecast.scouting.counts_say import assess_day, unit_text
from stagecast.scouting.judge_counts import number_text
from stagecast.scouting.plan import SeasonPlan
from stagecast.scouting.reentry import no_entry_until, until_text
from stagecast.scouting.treated import EfficacyCheck, efficacy_check
from stagecast.season.log_entries import LoggedVisit, ScoutingLog, Treatment


@dataclass(frozen=True, slots=True)
class Meaning:
    """The short of it, and why."""

    head: str
    why: str = ""
    above: bool = False


def visit_means(visit: LoggedVisit, plan: SeasonPlan) -> list[Meaning]:
    """Each pest counted on the day, and the leaf loss, against its threshold: those above first."""
    field = plan_of_field(plan, visit.field_id)
    counted = visit.sets or visit.defoliation_percent is not None
    if field is None or not counted:
        return []
    found = assess_day(field.forecast, visit.date, field.log, plan.loaded)
    if found is None:
        return []
    pests = plan.loaded.knowledge.pests
    told = [_pest(one, pests[one.pest].name) for one in found.pests]
    leaf = found.defoliation
    if leaf is not None:
        head = f"Leaf loss: {leaf.answer}"
        told.append(Meaning(head, leaf.why, leaf.answer == "above"))
    return sorted(told, key=lambda one: not one.above)


def _pest(one: PestAssessment, name: str) -> Meaning:
    mean = f"{number_text(one.mean_per_set)} {unit_text(one.of, one.set_size)}".rstrip()
    if one.threshold_per_set is not None:
        mean += f", threshold {number_text(one.threshold_per_set)}"
    head = f"{name[:1].upper()}{name[1:]}: {one.answer}"
    return Meaning(head, f"{mean}; {one.why}", one.answer == "above")


def treatment_means(
    treatment: Treatment, log: ScoutingLog, plan: SeasonPlan | None
) -> list[Meaning]:
    """Until when the field is closed by it, and when to see whether it worked.

    Parameters
    ----------
    treatment : Treatment
    log : ScoutingLog
        What stands of the field.
    plan : SeasonPlan or None
        Says what was visited since; None where there is none just now.
    """
    return [Meaning("; ".join(_said(treatment, log, plan)))]


def _said(treatment: Treatment, log: ScoutingLog, plan: SeasonPlan | None) -> Iterator[str]:
    held = no_entry_until(log, treatment.field_id, treatment.applied_at)
    yield "The field is not closed" if held is None else f"Closed until {until_text(held)}"
    check = _check(treatment, log, plan)
    if check is not None:
        latest = f" to {day_text(check.latest)}" if check.latest > check.soonest else ""
        yield f"efficacy check {day_text(check.soonest)}{latest}"


def _check(treatment: Treatment, log: ScoutingLog, plan: SeasonPlan | None) -> EfficacyCheck | None:
    """The check that it still waits for; none where a later treatment has one of its own."""
    field = None if plan is None else plan_of_field(plan, treatment.field_id)
    last = None if field is None else field.visit.last_visit
    day = treatment.applied_at.date()
    as_of = day if plan is None else max(day, plan.loaded.as_of)
    check = efficacy_check(log, last, as_of=as_of, rule=load().decisions.treated)
    mine = check is not None and check.treatment.treatment_id == treatment.treatment_id
    return check if mine else None
