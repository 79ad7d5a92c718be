"""What a morning says in few words: why a field is walked, what was last found, what comes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.base.dates import said_day
from stagecast.visits.interval import Crossing, SourceSays
from stagecast.visits.pressure import Density, LeafLoss, NoThreshold
from stagecast.visits.reentry import EfficacyCheck
from stagecast.visits.revisit import FirstVisit, NextVisit, PulledForward
from stagecast.visits.season_day import FieldDay
from stagecast.week.morning import (
    Coming,
    EntryEnds,
    News,
    NotWalked,
    NowOver,
    PestComes,
    StageComes,
    StageMoved,
)
from stagecast.words.counts import number_text
from stagecast.words.notes import counted

NAMED = 4
"""How many fields one line names."""


def why_in_short(visit: NextVisit, day: dt.date) -> str:
    """Why a field is walked on a day, in about five words: ``2 days late, near threshold``."""
    late = 0 if visit.due is None else (day - visit.due).days
    told = [f"{counted(late, 'day')} late"] if late > 0 else []
    core = _core(visit)
    return ", ".join([*told, core] if core else told) or _usual(visit)


def _core(visit: NextVisit) -> str:
    for reason in visit.reasons:
        match reason:
            case EfficacyCheck():
                return "did the treatment work"
            case Crossing(day=day):
                return f"may cross by {said_day(day)}"
            case SourceSays():
                return f"{reason.back.pest.short} found"
            case PulledForward():
                return f"{reason.window.short} from {_day_text(reason.window.opens.p50)}"
            case FirstVisit():
                return "first visit"
    return ""


def _usual(visit: NextVisit) -> str:
    if visit.interval_days is None or visit.last_visit is None:
        return ""
    return f"{visit.interval_days} days from {said_day(visit.last_visit)}"


def last_count(field: FieldDay) -> str:
    """What pressed most at the last visit: ``stink bugs 6.5 of 9, near, 2 Jul``."""
    last = field.last_visit
    if last is None:
        return "not seen yet"
    found, on = field.counted, said_day(last.date)
    if found is None:
        return f"{last.pressure or 'seen, nothing counted'}, {on}"
    match found.cause:
        case Density() as one:
            told = f"{one.pest.short} {number_text(one.found_mean)} of {number_text(one.threshold)}"
            return f"{told}, {one.answer}, {on}"
        case LeafLoss(percent, threshold):
            near = "" if not found.cause.near else ", above" if found.cause.above else ", near"
            return f"leaf loss {percent:g} of {threshold:g}%{near}, {on}"
        case NoThreshold(pest, mean):
            return f"{pest.short} {number_text(mean)}, no threshold, {on}"
    return f"none found, {on}"


def coming_text(one: Coming) -> str:
    """One thing that comes: ``R1: F15 12 Jul, F08 12 Jul, 3 more``."""
    match one:
        case EntryEnds(field, until):
            day = f"{until:%a} {said_day(until.date())} {until:%H:%M}"
            return f"{field.field_id}: may be entered again from {day}"
        case StageComes(stage, fields):
            return f"{stage}: {_fields_text(fields)}"
        case PestComes(pest, fields):
            return f"{pest.name}: {_fields_text(fields)}"


def news_text(one: News) -> str:
    """One thing that is new since the last morning."""
    match one:
        case NowOver(field, pest):
            return f"{field.field_id}: {pest.name} now over the threshold"
        case NotWalked(fields):
            return f"no visit noted: {_fields_text(fields)}"
        case StageMoved(stage, fields):
            told = [f"{f.field_id} {_moved(was, now)}" for f, was, now in fields]
            return f"{stage} forecast: {_listed(told)}"
    was, now = one.was, one.to
    if now is None:
        return f"{one.field.field_id}: not walked in these days any more"
    core = _core(one.field.visit)
    why = f": {core}" if core else ""
    if was is None:
        return f"{one.field.field_id}: walk on {said_day(now)}{why}"
    return f"{one.field.field_id}: walk {said_day(now)}, was {said_day(was)}{why}"


def _day_text(day: dt.date | None) -> str:
    return "?" if day is None else said_day(day)


def _moved(was: dt.date, now: dt.date) -> str:
    days = (now - was).days
    return f"{said_day(now)} ({counted(abs(days), 'day')} {'later' if days > 0 else 'sooner'})"


def _fields_text(fields: Sequence[tuple[FieldDay, dt.date]]) -> str:
    return _listed([f"{one.field_id} {said_day(day)}" for one, day in fields])


def _listed(told: Sequence[str]) -> str:
    more = f", {len(told) - NAMED} more" if len(told) > NAMED else ""
    return ", ".join(told[:NAMED]) + more
