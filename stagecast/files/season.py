"""Results as plain documents with stable keys, for JSON, CSV and other programs.

Dates are ISO 8601; ``null`` stands for "not this season" or "none". Keys are documented in the
README and may be added to, never renamed.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from stagecast.forecast.observations import Lesson
from stagecast.knowledge import Knowledge
from stagecast.visits.plan import FieldPlan, SeasonPlan
from stagecast.visits.reentry import NoEntry
from stagecast.words.visits import look_for_texts, no_entry_text, reason_texts
from stagecast.words.windows import window_text

Document = dict[str, Any]
Row = dict[str, Any]

_SUSPECT = re.compile(r"[^\n -~]")
_UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def stages_document(plan: SeasonPlan, fields: Sequence[FieldPlan], on: dt.date) -> Document:
    """Stage now, the range of every stage and its probability on a day, per field."""
    return {
        "as_of": plan.loaded.as_of.isoformat(),
        "on": on.isoformat(),
        "fields": [{**_stages_of(field, plan, on), **entry_keys(field, plan)} for field in fields],
    }


def _stages_of(plan: FieldPlan, season: SeasonPlan, on: dt.date) -> Document:
    forecast = plan.forecast
    match = forecast.weather.match
    difference = match.elevation_difference_m
    return {
        "field_id": forecast.field.field_id,
        "stage_now": forecast.stage_now,
        "next_stage": forecast.next_stage(season.loaded.as_of),
        "station": match.station.station,
        "distance_km": round(match.distance_km, 1),
        "elevation_difference_m": None if math.isnan(difference) else round(difference, 1),
        "stages": {stage: dates.as_json() for stage, dates in forecast.stages.items()},
        "probabilities": {
            stage: round(share, 4) for stage, share in forecast.probabilities(on).items()
        },
        "seen": [_lesson(lesson) for lesson in forecast.lessons],
        "stages_before_seen": None
        if forecast.unlearnt is None
        else {stage: dates.as_json() for stage, dates in forecast.unlearnt.items()},
    }


def _lesson(lesson: Lesson) -> Document:
    return {
        "field_id": lesson.visit.field_id,
        "date": lesson.visit.date.isoformat(),
        "stage": lesson.visit.stage,
        "share": lesson.visit.share,
        "used": lesson.used,
    }


def windows_document(plan: SeasonPlan, fields: Sequence[FieldPlan]) -> Document:
    """Every window of every field."""
    return {
        "as_of": plan.loaded.as_of.isoformat(),
        "windows": [
            {
                "field_id": window.field_id,
                "window": window.window,
                "title": window.title,
                "pest": window.pest,
                "opens": window.opens.as_json(),
                "closes": window.closes.as_json(),
                "why": window_text(window.why, plan.loaded.season.settings.units),
                **entry_keys(field, plan),
            }
            for field in fields
            for window in field.windows
        ],
    }


def revisit_document(
    plan: SeasonPlan, fields: Sequence[FieldPlan], knowledge: Knowledge
) -> Document:
    """When to be back in every field, and why."""
    return {
        "as_of": plan.loaded.as_of.isoformat(),
        "visits": [{**_visit_of(field, knowledge), **entry_keys(field, plan)} for field in fields],
    }


def entry_keys(field: FieldPlan, plan: SeasonPlan) -> Document:
    """Until when a field may not be entered, and why; both null where it may."""
    return no_entry_keys(field.no_entry, plan.loaded.knowledge)


def no_entry_keys(held: NoEntry | None, knowledge: Knowledge) -> Document:
    """The same keys for a restriction."""
    if held is None:
        return {"no_entry_until": None, "no_entry": None}
    return {
        "no_entry_until": held.until_minute.isoformat(timespec="minutes"),
        "no_entry": no_entry_text(held, knowledge.decisions.treated.entry_rule),
    }


def _visit_of(plan: FieldPlan, knowledge: Knowledge) -> Document:
    visit = plan.visit
    sampling = knowledge.sampling.get(visit.sample)
    return {
        "field_id": visit.field_id,
        "last_visit": _iso(visit.last_visit),
        "interval_days": visit.interval_days,
        "due": _iso(visit.due),
        "reasons": reason_texts(visit, knowledge.decisions.treated),
        "look_for": look_for_texts(visit.look_for),
        "sampling": None if sampling is None else sampling.how,
        "not_before": _iso(visit.not_before),
    }


def _iso(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def plan_document(plan: SeasonPlan, fields: Sequence[FieldPlan], knowledge: Knowledge) -> Document:
    """Fields by need, with what is open in each, and the week."""
    as_of = plan.loaded.as_of
    wanted = {field.forecast.field.field_id for field in fields}
    entering = int(knowledge.revisit.entering_days)
    return {
        "as_of": as_of.isoformat(),
        "fields": [
            {
                **_visit_of(field, knowledge),
                **entry_keys(field, plan),
                "field_name": field.forecast.field.field_name,
                "grower": field.forecast.field.grower,
                "stage_now": field.forecast.stage_now,
                "next_stage": field.forecast.next_stage(as_of),
                "windows": [
                    {"window": w.window, "pest": w.pest, "state": state}
                    for w in field.windows
                    if (state := w.state(as_of, entering_days=entering)) in ("open", "coming")
                ],
            }
            for field in fields
        ],
        "week": [
            {"date": day.date.isoformat(), "field_ids": [i for i in day.field_ids if i in wanted]}
            for day in plan.week
        ],
        "no_room": [i for i in plan.no_room if i in wanted],
    }


def to_json(document: Mapping[str, Any]) -> str:
    """JSON text, indented, one trailing newline; the same document gives the same bytes.

    What no screen shows, such as a mark of direction, is written as a code for the same character.
    """
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    return _SUSPECT.sub(_shown, text) + "\n"


def _shown(match: re.Match[str]) -> str:
    char = match[0]
    if unicodedata.category(char) not in _UNSEEN:
        return char
    units = char.encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{units[i : i + 4]}" for i in range(0, len(units), 4))


def to_csv(rows: Iterable[Row], columns: Sequence[str]) -> str:
    """CSV text with a header; None is an empty cell, lists are joined with ``; ``."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(columns), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({column: _cell(row[column]) for column in columns})
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return "; ".join(str(item) for item in value)
    return str(value)


RANGE = ("p10", "p50", "p90")
STAGE_COLUMNS = ("field_id", "stage_now", "stage", *RANGE, "probability", "no_entry_until")
WINDOW_COLUMNS = (
    "field_id", "window", "pest",
    *(f"opens_{p}" for p in RANGE), *(f"closes_{p}" for p in RANGE), "why",
    "no_entry_until",
)  # fmt: skip
REVISIT_COLUMNS = (
    "field_id", "last_visit", "interval_days", "due", "reasons", "look_for", "sampling",
    "not_before", "no_entry_until",
)  # fmt: skip
PLAN_COLUMNS = (
    "field_id", "field_name", "grower", "stage_now", "next_stage", "windows", "due", "reasons",
    "look_for", "sampling", "not_before", "no_entry_until",
)  # fmt: skip


def stage_rows(document: Document) -> Iterable[Row]:
    """One row per field and stage."""
    for field in document["fields"]:
        for stage, dates in field["stages"].items():
            yield {
                "field_id": field["field_id"],
                "stage_now": field["stage_now"],
                "stage": stage,
                **dates,
                "probability": field["probabilities"][stage],
                "no_entry_until": field["no_entry_until"],
            }


def window_rows(document: Document) -> Iterable[Row]:
    """One row per window."""
    for window in document["windows"]:
        ends = {f"{end}_{p}": window[end][p] for end in ("opens", "closes") for p in RANGE}
        yield {**window, **ends}


def revisit_rows(document: Document) -> Iterable[Row]:
    """One row per field."""
    yield from document["visits"]


def plan_rows(document: Document) -> Iterable[Row]:
    """One row per field; windows as ``id (state)``."""
    for field in document["fields"]:
        windows = [f"{w['pest'] or w['window']} ({w['state']})" for w in field["windows"]]
        yield {**field, "windows": windows}
