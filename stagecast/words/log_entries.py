"""An entry of the scouting log in a line."""

from __future__ import annotations

from stagecast.season.log.entries import AnyEntry, LoggedVisit, Treatment
from stagecast.visits.reentry import entry_from, whole_minute
from stagecast.words.notes import counted


def entry_text(entry: AnyEntry) -> str:
    """An entry in a line, its kind and id first."""
    if isinstance(entry, LoggedVisit):
        return f"visit {entry.visit_id}: {_visit_text(entry)}"
    return f"treatment {entry.treatment_id}: {_treatment_text(entry)}"


def _visit_text(visit: LoggedVisit) -> str:
    """A visit in a line: field, day, stage and what was counted."""
    said = [visit.field_id, visit.date.isoformat()]
    if visit.arrived is not None or visit.left is not None:
        came = "" if visit.arrived is None else f"from {visit.arrived:%H:%M}"
        went = "" if visit.left is None else f"to {visit.left:%H:%M}"
        said.append(f"{came} {went}".strip())
    if visit.stage is not None:
        share = "" if visit.share is None else f" ({100 * visit.share:g} percent of plants)"
        said.append(f"{visit.stage}{share}")
    if visit.defoliation_percent is not None:
        said.append(f"{visit.defoliation_percent:g} percent leaf loss")
    if visit.stand is not None:
        said.append(f"stand counted at {counted(len(visit.stand.places), 'place')}")
    if visit.sets:
        counts = sum(len(one.counts) for one in visit.sets)
        said.append(f"{counted(len(visit.sets), 'set')} with {counted(counts, 'count')}")
    if visit.corrects:
        said.append(f"in place of {visit.corrects}")
    return ", ".join(said)


def _treatment_text(treatment: Treatment) -> str:
    """A treatment in a line: field, time, product and its two intervals."""
    until = whole_minute(entry_from(treatment))
    said = [
        treatment.field_id,
        f"{treatment.applied_at:%Y-%m-%d %H:%M}",
        treatment.product,
        f"re-entry after {treatment.reentry_hours:g} hours (closed until {until:%Y-%m-%d %H:%M})",
    ]
    if treatment.preharvest_days is not None:
        said.append(f"harvest after {treatment.preharvest_days:g} days")
    if treatment.corrects:
        said.append(f"in place of {treatment.corrects}")
    return ", ".join(said)
