"""A morning as a document with stable keys."""

from __future__ import annotations

from typing import Any

from stagecast.files.season import keys_of, minute_text, undated_keys
from stagecast.files.week import day_keys, left_out_keys
from stagecast.week.days import WeekStop
from stagecast.week.morning import (
    Coming,
    EntryEnds,
    LookComes,
    NearCounts,
    PestComes,
    StageComes,
    Today,
    since_when,
)
from stagecast.week.week import over_threshold
from stagecast.words.morning import coming_text, last_count, news_text, why_in_short
from stagecast.words.waiting import found_text

Document = dict[str, Any]


def today_document(told: Today) -> Document:
    """What to decide, walk, expect, and what is new; nothing is cut short.

    Notes
    -----
    Times are local and have no zone.
    """
    return {
        "as_of": told.season.as_of.isoformat(),
        "decide": [
            {"field_id": one.plan.field_id, **keys_of(one, "pest", "name"),
             "found": found_text(one.seen), "since": since_when(one).isoformat()}
            for one in told.decide
        ],
        "days": [{**day_keys(day), "stops": list(map(_stop, day.stops))} for day in told.days],
        "next_day": None if told.next_day is None else told.next_day.isoformat(),
        "left_out": [left_out_keys(left) for left in told.route.left_out],
        "coming": list(map(_coming, told.coming)),
        "since": None if told.since is None else told.since.isoformat(),
        "news": list(map(news_text, told.news)),
        **undated_keys(told.season.read.season),
    }  # fmt: skip


def _stop(stop: WeekStop) -> Document:
    return {
        "field_id": stop.field_id,
        "over_threshold": stop.field_id in over_threshold(stop.plan.season),
        "arrive": minute_text(stop.arrive),
        "leave": minute_text(stop.leave),
        "why": why_in_short(stop.plan.visit, days_late=stop.days_late),
        "last_count": last_count(stop.plan),
    }


def _coming(one: Coming) -> Document:
    told = {"text": coming_text(one)}
    match one:
        case EntryEnds(field, until):
            return {
                "kind": "re-entry",
                "what": None,
                **told,
                "fields": [{"field_id": field.field_id, "day": minute_text(until)}],
                "looks": [],
            }
        case PestComes(pest, _):
            kind, what = "pest", pest.id
        case LookComes(look, _):
            kind, what = "look", look.id
        case NearCounts():
            kind, what = "near", ""
        case StageComes(stage, _, _):
            kind, what = "stage", stage
    looks = [look.id for look in one.looks] if isinstance(one, StageComes) else []
    days = [{"field_id": field.field_id, "day": day.isoformat()} for field, day in one.fields]
    return {"kind": kind, "what": what, **told, "fields": days, "looks": looks}
