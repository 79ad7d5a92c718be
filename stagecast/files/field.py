"""One field: its last counts held against thresholds, and its season so far."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.economics import InjuryLevel
from stagecast.counts.stand import StandAssessment
from stagecast.files.pest import threshold_keys
from stagecast.files.season import keys_of, minute_text, no_entry_keys, plain
from stagecast.knowledge import Knowledge
from stagecast.pests.thresholds import ShownThreshold
from stagecast.season.log.entries import Treatment
from stagecast.season.log.stands import stand_text
from stagecast.visits.assess_season import AssessedField
from stagecast.visits.history import FieldHistory, PastVisit
from stagecast.visits.reentry import entry_from, whole_minute
from stagecast.words.counts import k_text, leaf_loss_text, notes_text, tally_text, why_text
from stagecast.words.thresholds import threshold_text

Document = dict[str, Any]

COLUMNS = (
    "date", "kind", "stage", "stage_seen", "pressure", "defoliation_percent", "pest", "of",
    "set_size", "sets", "mean_per_set", "mean_per_25_sweeps", "mean_per_100_sweeps",
    "threshold_per_set", "probability_above", "answer", "product", "applied_at", "reentry_hours",
    "preharvest_days", "plants_per_acre", "stand_answer",
)  # fmt: skip
_OF_VISIT = ("date", "stage", "stage_seen", "pressure", "defoliation_percent")


def assess_document(assessed: AssessedField) -> Document:
    """Everything the screen shows, and the numbers behind it."""
    found, knowledge = assessed.found, assessed.loaded.knowledge
    return {
        "as_of": assessed.loaded.as_of.isoformat(),
        "field_id": assessed.field.field_id,
        "visit": found
        and {
            **keys_of(found.visit, "visit_id", "date"),
            **keys_of(found, "stage", "stage_seen"),
            "sets": len(found.visit.sets),
        },
        "pressure": None if found is None else found.pressure,
        "pests": [] if found is None else [_assessed(one, knowledge) for one in found.pests],
        "otherwise": [] if found is None else [_assessed(o, knowledge) for o in found.otherwise],
        "defoliation": _leaf_loss(found),
        "stand": _stand(assessed.stand),
        "not_looked_for": [] if found is None else list(found.not_looked_for),
        "injury_level": None if assessed.injury is None else _injury(assessed.injury),
        "treated_since": [
            {"product": t.product, "applied_at": minute_text(t.applied_at)}
            for t in assessed.treated
        ],
        **no_entry_keys(assessed.no_entry, knowledge),
    }


def _assessed(one: PestAssessment, knowledge: Knowledge) -> Document:
    sampled = one.sampled
    counted = _counted(one)
    return {
        "pest": counted.pop("pest"),
        "counted": [
            {"pest": pest, "number": plain(number, 4), "counts_as": weight}
            for pest, number, weight in one.parts
        ],
        **{key: counted.pop(key) for key in ("of", "set_size", "sets")},
        "total": None if sampled is None else plain(sampled.total, 4),
        **counted,
        "k": None if sampled is None else plain(sampled.k, 4),
        "k_from": None if sampled is None else k_text(sampled),
        "threshold": None if one.threshold is None else _threshold(one.threshold),
        **keys_of(one, "threshold_per_set", digits=4),
        "probability_above": plain(one.p_above, 4),
        "lines": None,
        "errors": None,
        "answer": one.answer,
        "why": why_text(one),
        "more_sets": one.more_sets,
        "missing_sets": None if sampled is None else sampled.missing,
        "settles_of_10": one.settles,
        "virtually_none": one.quiet,
        "tally": None if one.tally is None else tally_text(one.tally),
        "notes": list(notes_text(one, knowledge)),
    }


def _counted(one: PestAssessment) -> Document:
    """What was counted, per set and by the sweep."""
    return {
        "pest": one.pest,
        "of": one.unit,
        **keys_of(one, "set_size", "sets"),
        **keys_of(one, "mean_per_set", "low", "high", digits=4),
        "mean_per_25_sweeps": plain(one.mean_per(25.0), 4) if one.unit == "sweeps" else None,
        "mean_per_100_sweeps": plain(one.per_100_sweeps, 4),
    }


def _threshold(shown: ShownThreshold) -> Document:
    return {"kind": shown.kind, **threshold_keys(shown)}


def _leaf_loss(found: FieldAssessment | None) -> Document | None:
    loss = None if found is None else found.defoliation
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


def _stand(found: StandAssessment | None) -> Document | None:
    if found is None:
        return None
    share = found.estimate.gap_share
    return {
        "date": found.date.isoformat(),
        "counted": stand_text(found.stand),
        "plants_per_acre": plain(found.estimate.mean, 0),
        **keys_of(found.estimate, "low", "high", digits=0),
        "by_place": [plain(one, 0) for one in found.estimate.by_place],
        "gap_percent": None if share is None else plain(100 * share, 1),
        "kept_percent": plain(found.kept, 1),
        "planted_on": found.planted_on.isoformat(),
        "replant_day": found.replant_day.isoformat(),
        "by_region": [
            {
                "region": curve.region,
                "planted_percent": plain(curve.planted, 1),
                "standing_percent": plain(curve.standing, 1),
                "replanted_percent": plain(curve.replanted, 1),
                **keys_of(curve, "late", "answer"),
            }
            for curve in found.curves
        ],
        "stand_answer": found.answer,
        **keys_of(found, "answer_low", "answer_high", "more_places"),
    }


def _injury(level: InjuryLevel) -> Document:
    return {
        "pest": level.counted.pest,
        "of": level.counted.unit,
        "per": level.per,
        "gain_threshold_bu_per_acre": plain(level.gain, 4),
        "loss_bu_per_acre": plain(level.loss, 4),
        **keys_of(level, "level", "mean", digits=4),
        "probability_above": plain(level.p_above, 4),
    }


def history_document(history: FieldHistory) -> Document:
    """Visits with their counts and what they meant, treatments, and whether one may go in."""
    return {
        "as_of": history.loaded.as_of.isoformat(),
        "field_id": history.forecast.field.field_id,
        "stage_now": history.forecast.stage_now,
        "visits": [_visit(visit) for visit in history.visits],
        "treatments": [_treatment(treatment) for treatment in history.treatments],
        **no_entry_keys(history.no_entry, history.loaded.knowledge),
    }


def history_rows(document: Document) -> Iterable[Document]:
    """One row per visit and pest, or per visit without counts; then one per treatment."""
    blank = dict.fromkeys(COLUMNS)
    for visit in document["visits"]:
        told = {**blank, "kind": "visit", **{key: visit[key] for key in _OF_VISIT}}
        pests: list[Document] = visit["pests"] or [{}]
        stand = visit["stand"]
        if stand is not None:
            told |= {key: stand[key] for key in ("plants_per_acre", "stand_answer")}
        for pest in pests:
            yield {**told, **{key: value for key, value in pest.items() if key in COLUMNS}}
    for treatment in document["treatments"]:
        known = {key: value for key, value in treatment.items() if key in COLUMNS}
        yield {**blank, "kind": "treatment", "date": treatment["applied_at"][:10], **known}


def _visit(visit: PastVisit) -> Document:
    logged, found = visit.logged, visit.found
    leaf_loss = None if found is None else found.defoliation
    return {
        "date": visit.date.isoformat(),
        "visit_id": None if logged is None else logged.visit_id,
        "who": None if logged is None else logged.who or None,
        **keys_of(visit, "stage", "stage_seen", "share", "pressure", "of_these_plants"),
        "pressure_noted": visit.noted,
        "defoliation_percent": None if leaf_loss is None else leaf_loss.percent,
        "defoliation_answer": None if leaf_loss is None else leaf_loss.answer,
        "pests": [] if found is None else [_pest(one) for one in found.pests],
        "stand": _stand(visit.stand),
    }


def _pest(one: PestAssessment) -> Document:
    return {
        **_counted(one),
        **keys_of(one, "threshold_per_set", digits=4),
        "threshold": None if one.threshold is None else threshold_text(one.threshold),
        "probability_above": plain(one.p_above, 4),
        "answer": one.answer,
        "why": why_text(one),
    }


def _treatment(treatment: Treatment) -> Document:
    return {
        **keys_of(treatment, "treatment_id", "product"),
        "applied_at": minute_text(treatment.applied_at),
        "reentry_hours": treatment.reentry_hours,
        "entry_from": minute_text(whole_minute(entry_from(treatment))),
        "preharvest_days": treatment.preharvest_days,
    }
