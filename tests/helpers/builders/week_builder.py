"""Weeks for tests of outputs: fields of a planned season on days made by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

from changed import changed

from stagecast.counts.assessment import Sampled
from stagecast.knowledge import load
from stagecast.visits.pressure import Density
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.changes import Moved
from stagecast.week.days import FieldLeftOut, HotDay, NoHours, ScoutDay, WeekStop
from stagecast.week.looks import Seen, SeenWhat
from stagecast.week.problem import WeekRequest
from stagecast.week.waiting import Came, OtherRisk, PestRisk, WaitingCost, WaitingTerm
from stagecast.week.week import RuleResult, WeekRoute, route_week

MONDAY = dt.date(2026, 7, 6)
HOME = (35.9254, -89.7012)
ONE_DAY = dt.timedelta(days=1)
FIRST_STOP, VISIT, DRIVE = dt.time(7, 30), dt.timedelta(minutes=40), dt.timedelta(minutes=12)

Walks = Mapping[tuple[dt.date, str], Sequence[str]]
"""Day and scout -> ids of the fields walked, in order."""

HOSTILE = {
    "quotes": '"it\'s" \\ ; , : = `',
    "script": "<script>alert(1)</script>",
    "end of data": "]]> <!-- & &amp; &#0;",
    "emoji": "👨‍👩‍👧‍👦 😀🇺🇸",
    "right to left": "\u202egnp.exe\u202c \u0641\u0648\u0644",
    "line breaks": "a\nb\r\nc\u2028d\u0085e",
    "calendar": "x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:evil",
    "endless": "x" * 10_000,
    "endless wide": "豆" * 3_000,
    "nul": "a\x00b\x1b[31mc\x7f\x9b",
    "half a pair": "a\ud800b\ufffe\uffff",
    "markup": "[red]red[/red] [link=x]y[/link] [/]",
    "blank": "",
}
"""Names of fields that do harm where a format is written carelessly."""


@cache
def season_of(folder: Path, as_of: dt.date = MONDAY) -> SeasonDay:
    """The plan of a season folder; kept, so only for folders that stay as they are."""
    return SeasonDay.open(folder, as_of=as_of)


def plan_week(folder: Path, *, as_of: dt.date, asked: WeekRequest) -> WeekRoute:
    """The week's route of a season folder, as the command works it out."""
    return route_week(SeasonDay.open(folder, as_of=as_of), asked)


def field_ids(season: SeasonDay) -> list[str]:
    """Ids of all fields, in file order."""
    return [plan.forecast.field.field_id for plan in season.fields]


def renamed(season: SeasonDay, names: Mapping[str, str]) -> SeasonDay:
    """The same season with other names of fields."""
    return changed(season, fields=tuple(_renamed(plan, names) for plan in season.fields))


def _renamed(plan: FieldDay, names: Mapping[str, str]) -> FieldDay:
    field = plan.forecast.field
    field = replace(field, field_name=names.get(field.field_id, field.field_name))
    return changed(plan, forecast=replace(plan.forecast, field=field))


def walked_on(season: SeasonDay, field_id: str, day: dt.date | None) -> SeasonDay:
    """The same season in which one field was last walked on a day."""
    return with_visit(season, field_id, last_visit=day)


def with_visit(season: SeasonDay, field_id: str, **changes: object) -> SeasonDay:
    """The same season with another next visit of one field."""
    plans = tuple(
        changed(plan, visit=replace(plan.visit, **changes))
        if plan.forecast.field.field_id == field_id
        else plan
        for plan in season.fields
    )
    return changed(season, fields=plans)


def waits_with(week: WeekRoute, field_id: str, waiting: WaitingCost) -> WeekRoute:
    """The same week in which one field loses something else by waiting."""

    def new(one: WeekStop | FieldLeftOut) -> WeekStop | FieldLeftOut:
        return replace(one, waiting=waiting) if one.field_id == field_id else one

    days = tuple(replace(day, stops=tuple(map(new, day.stops))) for day in week.days)
    return replace(week, days=days, left_out=tuple(map(new, week.left_out)))


def unwalked(season: SeasonDay) -> SeasonDay:
    """The same season in which nothing was walked yet."""
    for field_id in field_ids(season):
        season = walked_on(season, field_id, None)
    return season


def build_week(
    season: SeasonDay,
    walks: Walks,
    *,
    first_day: dt.date = MONDAY,
    days: int = 6,
    left_out: Sequence[str] = (),
    moved: Sequence[Moved] = (),
    beside: Sequence[RuleResult] = (),
    hot: HotDay | None = None,
    estimated: int = 9,
) -> WeekRoute:
    """A week of days whose stops follow each other at the same pace."""
    plans = {plan.forecast.field.field_id: plan for plan in season.fields}
    made = [
        _day(date, scout, [plans[i] for i in walks[date, scout]], first_day, hot)
        for date, scout in sorted(walks)
    ]
    left = [FieldLeftOut(plans[i], NoHours(first_day), waiting(i, first_day)) for i in left_out]
    left.sort(key=lambda one: -one.waiting.left_out)
    last_day = first_day + (days - 1) * ONE_DAY
    return WeekRoute(
        season, first_day, last_day, tuple(made), tuple(left), (), tuple(moved), 9, estimated,
        "insertion",
        tuple(beside),
    )  # fmt: skip


def _day(
    date: dt.date,
    scout: str,
    plans: Sequence[FieldDay],
    first_day: dt.date,
    hot: HotDay | None,
) -> ScoutDay:
    now = dt.datetime.combine(date, FIRST_STOP)
    leave, stops = now - DRIVE, []
    for plan in plans:
        stop = WeekStop(
            plan, now, now + VISIT, plan.visit.look_for, plan.visit.sample, 4, 12.34,
            DRIVE / dt.timedelta(minutes=1), waiting(plan.forecast.field.field_id, first_day),
        )  # fmt: skip
        stops.append(stop)
        now += VISIT + DRIVE
    noon = dt.datetime.combine(date, dt.time(12))
    legs = len(stops) + 1 if stops else 0
    return ScoutDay(
        date,
        scout,
        HOME,
        leave if stops else None,
        now if stops else None,
        tuple(stops),
        legs * 12.34,
        legs * 12.0,
        len(stops) * 40.0,
        (noon, noon + dt.timedelta(minutes=30)) if now > noon else None,
        hot,
    )


def waiting(field_id: str, first_day: dt.date) -> WaitingCost:
    """An invented cost of waiting, which grows by half a dollar a day."""
    start = 3.0 + sum(map(ord, field_id)) % 40
    by_day = tuple(start + 0.5 * day for day in range(9))
    stink = pest_term("stink-bugs", start - 1.0, chance=0.126, per_acre=0.031)
    other = other_term(1.0, chance=0.002, per_acre=0.01)
    return WaitingCost(field_id, first_day, by_day, (stink, other))


def pest_term(
    pest: str,
    dollars: float,
    *,
    chance: float = 0.2,
    per_acre: float = 1.0,
    seen: Sequence[Seen] = (),
    treated: tuple[dt.date, str] | None = None,
) -> WaitingTerm:
    """A pest's part of the cost, with what was last found of it."""
    risk = PestRisk(pest, MONDAY, tuple(seen), treated, CAME, 0.1, 1.0, False)
    return WaitingTerm(risk, dollars, chance, per_acre)


def other_term(dollars: float, *, chance: float = 0.2, per_acre: float = 1.0) -> WaitingTerm:
    """The part of anything else."""
    return WaitingTerm(OtherRisk(CAME, 1.0), dollars, chance, per_acre)


def seen_on(date: dt.date, what: SeenWhat, share: float, *, steady: float | None = None) -> Seen:
    """What was seen of a pest at a share of its threshold."""
    growth = load().decisions.growth
    return Seen(date, what, share, 0.5, growth.per_day, 0.05, 7, steady)


def density(pest: str, mean: float, threshold: float, sets: float) -> Density:
    """Counts per 25 sweeps beside a threshold."""
    knowledge = load()
    rate = knowledge.decisions.growth.per_day
    counts = tuple(mean for _ in range(int(sets)))
    sampled = Sampled(counts, (1.0,) * len(counts), 25.0, 4, True, 1.0, None)
    return Density(knowledge.pests[pest], mean, threshold, "sweeps", 25, rate, sampled)


CAME = Came(load().waiting.arrival.rank_1, 1.0, 8.0, None)


HOT = HotDay(35.0, 0.63, 32.8, "start early, drink water, tell a buddy where you are")


def full_week(season: SeasonDay) -> WeekRoute:
    """A week in which everything that can be told is told: two scouts, a free day, heat."""
    ids = field_ids(season)
    tuesday, wednesday = MONDAY + ONE_DAY, MONDAY + 2 * ONE_DAY
    walks = {
        (MONDAY, "Ann"): ids[:3],
        (MONDAY, "Bo"): ids[3:5],
        (tuesday, "Ann"): ids[5 : len(ids) - 2],
        (wednesday, "Ann"): [],
    }
    moved = [
        Moved(ids[5], (MONDAY, "Ann"), (tuesday, "Ann"), MONDAY),
        Moved(ids[-1], (tuesday, "Bo"), None, None, NoHours(tuesday)),
    ]
    beside = [
        RuleResult("this route", 9, 312.5, 251.4, 410.2),
        RuleResult("nearest field first", 8, 280.1, 220.9, 1533.0),
    ]
    return build_week(season, walks, left_out=ids[-2:], moved=moved, beside=beside, hot=HOT)
