"""The assessment of a field as a document with stable keys."""

from __future__ import annotations

from typing import Any

from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.economics import InjuryLevel
from stagecast.counts.judge import real_errors
from stagecast.files.pest import threshold_keys
from stagecast.files.season import no_entry_keys
from stagecast.knowledge import Knowledge
from stagecast.pests.thresholds import ShownThreshold
from stagecast.visits.assess_season import AssessedField
from stagecast.words.counts import k_text, leaf_loss_text, notes_text, why_text

Document = dict[str, Any]


def assess_document(assessed: AssessedField) -> Document:
    """Everything the screen shows, and the numbers behind it."""
    found, knowledge = assessed.found, assessed.loaded.knowledge
    visit = None
    if found is not None:
        visit = {
            "visit_id": found.visit.visit_id,
            "date": found.visit.date.isoformat(),
            "stage": found.stage,
            "stage_seen": found.stage_seen,
            "sets": len(found.visit.sets),
        }
    return {
        "as_of": assessed.loaded.as_of.isoformat(),
        "field_id": assessed.field.field_id,
        "visit": visit,
        "pressure": None if found is None else found.pressure,
        "pests": [] if found is None else [_pest(one, knowledge) for one in found.pests],
        "otherwise": [] if found is None else [_pest(one, knowledge) for one in found.otherwise],
        "defoliation": _leaf_loss(found),
        "not_looked_for": [] if found is None else list(found.not_looked_for),
        "injury_level": None if assessed.injury is None else _injury(assessed.injury),
        "treated_since": [
            {"product": t.product, "applied_at": t.applied_at.isoformat(timespec="minutes")}
            for t in assessed.treated
        ],
        **no_entry_keys(assessed.no_entry, assessed.loaded.knowledge),
    }


def _pest(one: PestAssessment, knowledge: Knowledge) -> Document:
    rule = knowledge.decisions.counting
    stops, sampled, errors = one.stops, one.sampled, real_errors(one, rule)
    told = None
    if stops is not None and sampled is not None:
        told = {
            "below": _rounded(stops.lower(sampled.sets)),
            "above": _rounded(stops.upper(sampled.sets)),
        }
    in_sweeps = one.unit == "sweeps"
    return {
        "pest": one.pest,
        "counted": [
            {"pest": pest, "number": _rounded(number), "counts_as": weight}
            for pest, number, weight in one.parts
        ],
        "of": one.unit,
        "set_size": one.set_size,
        "sets": one.sets,
        "total": None if sampled is None else _rounded(sampled.total),
        "mean_per_set": _rounded(one.mean_per_set),
        "low": _rounded(one.low),
        "high": _rounded(one.high),
        "mean_per_25_sweeps": _rounded(one.mean_per(25.0)) if in_sweeps else None,
        "mean_per_100_sweeps": _rounded(one.per_100_sweeps),
        "k": _rounded(one.k),
        "k_from": None if sampled is None else k_text(sampled, rule),
        "threshold": None if one.threshold is None else _threshold(one.threshold),
        "threshold_per_set": _rounded(one.threshold_per_set),
        "probability_above": _rounded(one.p_above),
        "lines": told,
        "errors": None
        if errors is None
        else {"above": _rounded(errors[0]), "below": _rounded(errors[1])},
        "answer": one.answer,
        "why": why_text(one, rule),
        "more_sets": one.more_sets,
        "notes": list(notes_text(one, knowledge)),
    }


def _threshold(shown: ShownThreshold) -> Document:
    return {"kind": shown.kind, **threshold_keys(shown)}


def _leaf_loss(found: FieldAssessment | None) -> Document | None:
    loss: DefoliationAssessment | None = None if found is None else found.defoliation
    if loss is None:
        return None
    return {
        "percent": loss.percent,
        "threshold": None if loss.threshold is None else _threshold(loss.threshold),
        "answer": loss.answer,
        "why": leaf_loss_text(loss),
        "otherwise": [
            {"threshold": _threshold(shown), "answer": answer} for shown, answer in loss.otherwise
        ],
    }


def _injury(level: InjuryLevel) -> Document:
    return {
        "pest": level.counted.pest,
        "of": level.counted.unit,
        "per": level.per,
        "gain_threshold_bu_per_acre": _rounded(level.gain),
        "loss_bu_per_acre": _rounded(level.loss),
        "level": _rounded(level.level),
        "mean": _rounded(level.mean),
        "probability_above": _rounded(level.p_above),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
