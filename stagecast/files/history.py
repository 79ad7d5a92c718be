"""The season of a field as a document, and as rows of a table."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from stagecast.counts.assessment import PestAssessment
from stagecast.files.season import no_entry_keys
from stagecast.knowledge.rules import Counting
from stagecast.season.log.entries import Treatment
from stagecast.visits.history import FieldHistory, PastVisit
from stagecast.visits.reentry import entry_from, whole_minute
from stagecast.words.counts import why_text
from stagecast.words.thresholds import threshold_text

Document = dict[str, Any]

COLUMNS = (
    "date", "kind", "stage", "stage_seen", "pressure", "defoliation_percent", "pest", "of",
    "set_size", "sets", "mean_per_set", "mean_per_25_sweeps", "mean_per_100_sweeps",
    "threshold_per_set", "probability_above", "answer", "product", "applied_at", "reentry_hours",
    "preharvest_days",
)  # fmt: skip
_OF_VISIT = ("date", "stage", "stage_seen", "pressure", "defoliation_percent")


def history_document(history: FieldHistory) -> Document:
    """Visits with their counts and what they meant, treatments, and whether one may go in."""
    rule = history.loaded.knowledge.decisions.counting
    return {
        "as_of": history.loaded.as_of.isoformat(),
        "field_id": history.forecast.field.field_id,
        "stage_now": history.forecast.stage_now,
        "visits": [_visit(visit, rule) for visit in history.visits],
        "treatments": [_treatment(treatment) for treatment in history.treatments],
        **no_entry_keys(history.no_entry, history.loaded.knowledge),
    }


def history_rows(document: Document) -> Iterable[Document]:
    """One row per visit and pest, or per visit without counts; then one per treatment."""
    blank = dict.fromkeys(COLUMNS)
    for visit in document["visits"]:
        told = {**blank, "kind": "visit", **{key: visit[key] for key in _OF_VISIT}}
        pests: list[Document] = visit["pests"] or [{}]
        for pest in pests:
            yield {**told, **{key: value for key, value in pest.items() if key in COLUMNS}}
    for treatment in document["treatments"]:
        known = {key: value for key, value in treatment.items() if key in COLUMNS}
        yield {**blank, "kind": "treatment", "date": treatment["applied_at"][:10], **known}


def _visit(visit: PastVisit, rule: Counting) -> Document:
    logged, found = visit.logged, visit.found
    leaf_loss = None if found is None else found.defoliation
    return {
        "date": visit.date.isoformat(),
        "visit_id": None if logged is None else logged.visit_id,
        "who": None if logged is None else logged.who or None,
        "stage": visit.stage,
        "stage_seen": visit.stage_seen,
        "share": visit.share,
        "pressure": visit.pressure,
        "pressure_noted": visit.noted,
        "defoliation_percent": None if leaf_loss is None else leaf_loss.percent,
        "defoliation_answer": None if leaf_loss is None else leaf_loss.answer,
        "pests": [] if found is None else [_pest(one, rule) for one in found.pests],
    }


def _pest(one: PestAssessment, rule: Counting) -> Document:
    in_sweeps = one.unit == "sweeps"
    return {
        "pest": one.pest,
        "of": one.unit,
        "set_size": one.set_size,
        "sets": one.sets,
        "mean_per_set": _rounded(one.mean_per_set),
        "low": _rounded(one.low),
        "high": _rounded(one.high),
        "mean_per_25_sweeps": _rounded(one.mean_per(25.0)) if in_sweeps else None,
        "mean_per_100_sweeps": _rounded(one.per_100_sweeps),
        "threshold_per_set": _rounded(one.threshold_per_set),
        "threshold": None if one.threshold is None else threshold_text(one.threshold),
        "probability_above": _rounded(one.p_above),
        "answer": one.answer,
        "why": why_text(one, rule),
    }


def _treatment(treatment: Treatment) -> Document:
    return {
        "treatment_id": treatment.treatment_id,
        "product": treatment.product,
        "applied_at": treatment.applied_at.isoformat(timespec="minutes"),
        "reentry_hours": treatment.reentry_hours,
        "entry_from": whole_minute(entry_from(treatment)).isoformat(timespec="minutes"),
        "preharvest_days": treatment.preharvest_days,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
