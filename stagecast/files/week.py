"""The week's route as a document with stable keys."""

from __future__ import annotations

from typing import Any

from stagecast.files.season import keys_of, minute_text, plain, undated_keys
from stagecast.knowledge import Knowledge
from stagecast.week.changes import Moved
from stagecast.week.days import FieldLeftOut, HotDay, ScoutDay, WeekStop
from stagecast.week.minutes import pace_of
from stagecast.week.waiting import WaitingCost, WaitingTerm
from stagecast.week.week import RuleResult, WeekRoute, over_threshold
from stagecast.words.visits import look_for_texts
from stagecast.words.waiting import found_text, risk_text, term_name
from stagecast.words.week import late_text, left_out_text, moved_text, sets_of

Document = dict[str, Any]


def week_document(week: WeekRoute, *, explain: bool) -> Document:
    """Days with their stops, what is left out, and the numbers behind them.

    ``explain`` adds what each field loses by waiting, day by day and term by term.

    Notes
    -----
    Times are local and have no zone. Distances are km to a tenth, times whole minutes, money
    dollars to the cent. ``beside`` and ``waiting`` are there only where they were asked for.
    """
    timed = pace_of(week.season.loaded).timed
    made: Document = {
        "as_of": week.season.as_of.isoformat(),
        **keys_of(week, "first_day", "last_day", "solver"),
        "legs_estimated": week.ways_estimated > 0,
        **keys_of(week, "ways", "ways_estimated"),
        "above": [
            {"field_id": one.plan.field_id, **keys_of(one, "pest", "name"),
             "found": found_text(one.seen)}
            for one in week.above
        ],
        "days": [_day(day, week) for day in week.days],
        "left_out": [left_out_keys(left) for left in week.left_out],
        "late": [
            {"field_id": one.field_id, "limit": plain(one.limit), "why": late_text(one)}
            for one in week.late
        ],
        **keys_of(week, "not_due", "done", "walked_today"),
        "moved": [_moved(moved) for moved in week.moved],
        "own_minutes": timed and keys_of(timed, "visits", "own_min", "usual_min"),
        **undated_keys(week.season.read.season),
    }  # fmt: skip
    if week.beside:
        made["beside"] = [_beside(result) for result in week.beside]
    if explain:
        knowledge = week.season.knowledge
        costs = [one.waiting for fields in (week.stops, week.left_out) for one in fields]
        made["waiting"] = [_waiting(cost, knowledge) for cost in costs]
    return made


def _day(day: ScoutDay, week: WeekRoute) -> Document:
    return {
        **day_keys(day),
        "starts_at": None if day.starts_at is None else day.starts_at.field_id,
        "home": {"latitude": day.home[0], "longitude": day.home[1]},
        "stops": [stop_keys(stop, day, week) for stop in day.stops],
        "lunch": day.lunch and dict(zip(("from", "to"), map(minute_text, day.lunch), strict=True)),
        "heat": None if day.hot is None else _heat(day.hot),
    }


def day_keys(day: ScoutDay) -> Document:
    """One scout's day without its stops."""
    return {
        **keys_of(day, "date", "scout"),
        "leave_home": minute_text(day.leave_home),
        "back_home": minute_text(day.back_home),
        **_drive(day.drive_km, day.drive_min),
        "work_min": round(day.work_min),
    }


def stop_keys(stop: WeekStop, day: ScoutDay, week: WeekRoute) -> Document:
    """One stop; its cost of waiting is what was lost until its day."""
    visit = stop.plan.visit
    sampling = week.season.knowledge.sampling.get(stop.sampling)
    place = ("field_id", "field_name", "grower", "latitude", "longitude")
    return {
        **keys_of(stop.plan.forecast.field, *place),
        "over_threshold": stop.field_id in over_threshold(week.season),
        "arrive": minute_text(stop.arrive),
        "leave": minute_text(stop.leave),
        "due": plain(visit.due),
        "days_late": None if visit.due is None else stop.days_late,
        "last_visit": plain(visit.last_visit),
        "efficacy_check": stop.efficacy_check,
        "look_for": look_for_texts(stop.look_for),
        "sampling": None if sampling is None else sampling.title,
        "sets": stop.sets,
        "sets_of": None if sampling is None else sets_of(sampling, stop.sets),
        **_drive(stop.drive_km, stop.drive_min),
        "cost_of_waiting": _dollars(stop.waiting.until(day.date)),
    }


def left_out_keys(left: FieldLeftOut) -> Document:
    """One field that is due and not walked."""
    return {
        "field_id": left.field_id,
        "over_threshold": left.field_id in over_threshold(left.plan.season),
        "why": left_out_text(left.why),
        "cost_of_waiting": _dollars(left.waiting.left_out),
    }


def _drive(km: float, minutes: float) -> Document:
    return {"drive_km": round(km, 1), "drive_min": round(minutes)}


def _dollars(amount: float) -> float:
    return round(float(amount), 2)


def _heat(hot: HotDay) -> Document:
    return {
        "high_c": round(hot.high_c, 1),
        "chance": round(hot.chance, 2),
        "limit_c": round(hot.limit_c, 1),
        "caution": hot.caution,
    }


def _moved(moved: Moved) -> Document:
    was, now = (
        None if at is None else {"date": at[0].isoformat(), "scout": at[1]}
        for at in (moved.was, moved.to)
    )
    return {"field_id": moved.field_id, "was": was, "now": now, "why": moved_text(moved)}


def _beside(result: RuleResult) -> Document:
    return {
        **keys_of(result, "rule", "walked"),
        **keys_of(result, "drive_km", digits=1),
        **keys_of(result, "drive_cost", "waiting_cost", digits=2),
        "missed": result.missed,
    }


def _waiting(waiting: WaitingCost, knowledge: Knowledge) -> Document:
    return {
        **keys_of(waiting, "field_id", "first_day"),
        "by_day": [_dollars(amount) for amount in waiting.by_day],
        "left_out": _dollars(waiting.left_out),
        "terms": [_term(term, knowledge) for term in waiting.terms],
    }


def _term(term: WaitingTerm, knowledge: Knowledge) -> Document:
    return {
        "name": term_name(term, knowledge),
        "pest": term.pest,
        "dollars": _dollars(term.dollars),
        **keys_of(term, "chance", "per_acre", digits=4),
        "why": risk_text(term.risk, knowledge),
    }
