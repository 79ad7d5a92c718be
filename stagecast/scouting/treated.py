"""What a treatment asks of the next visit: an efficacy check, and nobody in the field too soon."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.dates import said_day
from stagecast.knowledge.decisions import Treated
from stagecast.scouting.reentry import ONE_DAY, first_free_day, no_entry_on, no_entry_text
from stagecast.season.log_entries import ScoutingLog, Treatment


@dataclass(frozen=True, slots=True)
class EfficacyCheck:
    """The days between which a treatment is looked at.

    Attributes
    ----------
    treatment : Treatment
    soonest, latest : datetime.date
        Neither lies inside a restricted-entry interval.
    why : str
    """

    treatment: Treatment
    soonest: dt.date
    latest: dt.date
    why: str


def efficacy_check(
    log: ScoutingLog, last_visit: dt.date | None, *, as_of: dt.date, rule: Treated
) -> EfficacyCheck | None:
    """The check that the last treatment of a field still waits for, if any.

    Parameters
    ----------
    log : ScoutingLog
        Of one field; treatments after ``as_of`` ask for nothing yet.
    last_visit : datetime.date or None
        A visit sooner than the soonest day for a check is none.
    as_of : datetime.date
    rule : Treated
        How many days after a treatment (common practice, no source). Where the field may not be
        entered then, the check comes on the first day that is free.
    """
    treatments = log.up_to(as_of).treatments
    if not treatments:
        return None
    treatment = treatments[-1]
    treated = treatment.applied_at.date()
    first = treated + int(rule.check_soonest) * ONE_DAY
    last = treated + int(rule.check_latest) * ONE_DAY
    if last_visit is not None and last_visit >= first:
        return None
    soonest = first_free_day(log, treatment.field_id, first)
    latest = first_free_day(log, treatment.field_id, max(last, soonest))
    why = (
        f"efficacy check {int(rule.check_soonest)} to {int(rule.check_latest)} days after "
        f"{treatment.product} on {said_day(treated)}: {said_day(soonest)}"
    )
    if latest > soonest:
        why += f" to {said_day(latest)}"
    held = no_entry_on(log, treatment.field_id, first)
    if soonest > first and held is not None:
        why += f", not sooner: {no_entry_text(held, rule.entry_rule)}"
    return EfficacyCheck(treatment, soonest, latest, why)


def first_entry(
    log: ScoutingLog, field_id: str, day: dt.date, *, rule: Treated
) -> tuple[dt.date, list[str]]:
    """The first day from a day on that may be planned for, and why it is another one."""
    held = no_entry_on(log, field_id, day)
    if held is None:
        return day, []
    return first_free_day(log, field_id, day), [no_entry_text(held, rule.entry_rule)]
