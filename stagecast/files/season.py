"""Results as plain documents with stable keys, for JSON, CSV and other programs.

Dates are ISO 8601; ``null`` stands for "not this season" or "none". Keys are documented in the
guide and may be added to, never renamed.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from stagecast.base.cells import table_text
from stagecast.forecast.observations import Lesson
from stagecast.knowledge import Knowledge
from stagecast.season.folder import SeasonFolder
from stagecast.visits.other_looks import FieldLook
from stagecast.visits.reentry import NoEntry
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import looked_for, over_threshold, season_route, walk_of
from stagecast.words.visits import blocked_text, look_for_texts, no_entry_text, reason_texts
from stagecast.words.week import left_out_text, other_day_text
from stagecast.words.windows import look_text, window_text

Document = dict[str, Any]
Row = dict[str, Any]

_SUSPECT = re.compile(r"[^\n -~]")
_UNSEEN = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def stages_document(
    season: SeasonDay, fields: Sequence[FieldDay], *, on: dt.date | None = None
) -> Document:
    """Stage now, the range of every stage and its probability on a day, per field."""
    asked = on or season.as_of
    return {
        "as_of": season.as_of.isoformat(),
        "on": asked.isoformat(),
        "fields": [{**_stages_of(field, asked), **entry_keys(field)} for field in fields],
        **undated_keys(season.read.season),
    }


def undated_keys(season: SeasonFolder) -> Document:
    """Fields that wait for their planting date: beside whatever a document lists."""
    waiting = season.undated
    return {"undated": [keys_of(one, "field_id", "field_name", "grower") for one in waiting]}


def _stages_of(field: FieldDay, on: dt.date) -> Document:
    forecast = field.forecast
    match = forecast.weather.match
    difference = match.elevation_difference_m
    unlearnt, water = forecast.unlearnt, forecast.water
    return {
        "field_id": field.field_id,
        **keys_of(forecast.field, "planting_date", "planned", "first_planted"),
        "stage_now": forecast.stage_now,
        "next_stage": forecast.next_stage(field.season.as_of),
        "station": match.station.station,
        "distance_km": round(match.distance_km, 1),
        "elevation_difference_m": None if math.isnan(difference) else round(difference, 1),
        "stages": {stage: dates.as_json() for stage, dates in forecast.stages.items()},
        "probabilities": {
            stage: round(share, 4) for stage, share in forecast.probabilities(on).items()
        },
        "seen": [_lesson(lesson) for lesson in forecast.lessons],
        "stages_before_seen": unlearnt and {s: dates.as_json() for s, dates in unlearnt.items()},
        "dry_since": water and plain(water.dry_since),
    }


def _lesson(lesson: Lesson) -> Document:
    seen = keys_of(lesson.visit, "field_id", "date", "stage", "share")
    return {**seen, "used": lesson.used}


def windows_document(season: SeasonDay, fields: Sequence[FieldDay]) -> Document:
    """Every window of every field."""
    return {
        "as_of": season.as_of.isoformat(),
        "windows": [
            {
                **keys_of(window, "field_id", "window", "title", "pest"),
                "opens": window.opens.as_json(),
                "closes": window.closes.as_json(),
                "why": window_text(window.why, season.settings.units),
                **entry_keys(field),
            }
            for field in fields
            for window in field.windows
        ],
        **undated_keys(season.read.season),
    }


def revisit_document(season: SeasonDay, fields: Sequence[FieldDay]) -> Document:
    """When to be back in every field, and why."""
    return {
        "as_of": season.as_of.isoformat(),
        "visits": [_visit_of(field) for field in fields],
        **undated_keys(season.read.season),
    }


def entry_keys(field: FieldDay) -> Document:
    """Until when a field may not be entered, and why; both null where it may."""
    blocked = "; ".join(map(blocked_text, field.blocked)) or None
    return {**no_entry_keys(field.no_entry, field.season.knowledge), "blocked": blocked}


def no_entry_keys(held: NoEntry | None, knowledge: Knowledge) -> Document:
    """The same keys for a restriction."""
    if held is None:
        return {"no_entry_until": None, "no_entry": None}
    return {
        "no_entry_until": minute_text(held.until_minute),
        "no_entry": no_entry_text(held, knowledge.decisions.treated.entry_rule),
    }


def _visit_of(field: FieldDay) -> Document:
    visit, knowledge = field.visit, field.season.knowledge
    look_for, sample = looked_for(field)
    sampling = knowledge.sampling.get(sample)
    return {
        **keys_of(visit, "field_id", "last_visit", "interval_days", "due"),
        "over_threshold": field.field_id in over_threshold(field.season),
        **walk_keys(field),
        "reasons": reason_texts(visit, knowledge.decisions.treated),
        "look_for": look_for_texts(look_for),
        "sampling": None if sampling is None else sampling.how,
        **keys_of(visit, "not_before"),
        **entry_keys(field),
        "looks": [_look(one, field.season) for one in field.looks],
    }


def _look(one: FieldLook, season: SeasonDay) -> Document:
    """A look besides insects, its days and what is said of it."""
    units = season.settings.units
    told = look_text(one, as_of=season.as_of, knowledge=season.knowledge, units=units)
    return {
        "look": one.look.id,
        **keys_of(one.look, "title"),
        "opens": one.opens.as_json(),
        "closes": one.closes.as_json(),
        "open": one.open_on(season.as_of),
        "text": told,
        **keys_of(one.look, "source"),
        "chance": plain(one.chance, 4),
        "water_in": None if one.water is None else one.water.inches,
    }


def walk_keys(field: FieldDay) -> Document:
    """The day on which a field is walked and why not when due; or why it is left out."""
    walk = walk_of(field)
    left_out = None if walk.left_out is None else left_out_text(walk.left_out)
    why = other_day_text(walk) or None
    return {"walk_on": plain(walk.day), "walk_why": why, "left_out": left_out}


def plan_document(season: SeasonDay, fields: Sequence[FieldDay]) -> Document:
    """Fields by need, with what is open in each, and the week."""
    wanted = {field.field_id for field in fields}
    entering = int(season.knowledge.revisit.entering_days)
    route = season_route(season)
    return {
        "as_of": season.as_of.isoformat(),
        "fields": [
            {
                **_visit_of(field),
                **keys_of(field.forecast.field, "field_name", "grower"),
                "stage_now": field.forecast.stage_now,
                "next_stage": field.forecast.next_stage(season.as_of),
                "windows": [
                    {"window": w.window, "pest": w.pest, "state": state}
                    for w in field.windows
                    if (state := w.state(season.as_of, entering_days=entering))
                    in ("open", "coming")
                ],
            }
            for field in fields
        ],
        "week": [
            {
                "date": day.date.isoformat(),
                "scout": day.scout,
                "field_ids": [stop.field_id for stop in day.stops if stop.field_id in wanted],
            }
            for day in route.days
        ],
        "no_room": [one.field_id for one in route.left_out if one.field_id in wanted],
        **undated_keys(season.read.season),
    }


def keys_of(thing: object, *names: str, digits: int | None = None) -> Document:
    """Attributes under their own names: dates in ISO 8601, lists for tuples.

    ``digits``: to which numbers are rounded; default as they are.
    """
    return {name: plain(getattr(thing, name), digits) for name in names}


def plain(value: Any, digits: int | None = None) -> Any:
    """A value as JSON has it."""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [plain(one, digits) for one in value]
    if digits is not None and isinstance(value, float):
        return round(value, digits) + 0.0  # never -0.0
    return value


def minute_text(moment: dt.datetime | None) -> str | None:
    """A moment of local time to the minute, such as ``2026-07-07T08:10``."""
    return None if moment is None else moment.isoformat(timespec="minutes")


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
    return table_text([columns, *([_cell(row[column]) for column in columns] for row in rows)])


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
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
    "field_id", "over_threshold", "last_visit", "interval_days", "due", "walk_on", "walk_why",
    "left_out", "reasons", "look_for", "sampling", "not_before", "no_entry_until",
)  # fmt: skip
PLAN_COLUMNS = (
    "field_id", "field_name", "grower", "over_threshold", "stage_now", "next_stage", "windows",
    "due", "walk_on", "walk_why", "left_out", "reasons",
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


def plan_rows(document: Document) -> Iterable[Row]:
    """One row per field; windows as ``id (state)``."""
    for field in document["fields"]:
        windows = [f"{w['pest'] or w['window']} ({w['state']})" for w in field["windows"]]
        yield {**field, "windows": windows}


class Listing(NamedTuple):
    """A document of fields, and its table."""

    document: Callable[..., Document]
    rows: Callable[[Document], Iterable[Row]]
    columns: tuple[str, ...]


STAGES = Listing(stages_document, stage_rows, STAGE_COLUMNS)
WINDOWS = Listing(windows_document, window_rows, WINDOW_COLUMNS)
VISITS = Listing(revisit_document, lambda document: document["visits"], REVISIT_COLUMNS)
PLAN = Listing(plan_document, plan_rows, PLAN_COLUMNS)
