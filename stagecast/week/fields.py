"""Which fields may be walked, on which days, and how long each takes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.base.dates import DAY_S, MINUTE_S
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.pests.thresholds import FieldFacts
from stagecast.season.tables.blocked import Blocked
from stagecast.visits.look_for import LookFor, what_to_look_for
from stagecast.visits.reentry import ONE_DAY, EfficacyCheck, NoEntry, no_entry_on
from stagecast.visits.season_day import FieldDay
from stagecast.week.minutes import Pace, field_minutes, pace_of
from stagecast.week.route.clock import WorkingClock
from stagecast.week.route.problem import Span


@dataclass(frozen=True, slots=True)
class TooSoon:
    """A visit makes no sense before a day that comes after the route's last, or last of work."""

    first: dt.date
    ends: Literal["route", "work"] = "route"


@dataclass(frozen=True, slots=True)
class NoGap:
    """The minutes of a visit fit between none of the field's blocked times."""

    minutes: int


Closed = TooSoon | NoEntry | Blocked | NoGap
"""What keeps one out of a field on some of the days, or on all."""


@dataclass(frozen=True, slots=True, eq=False)
class WeekField:
    """A field that is due, or must be walked.

    ``first`` is the soonest day on which a visit makes sense; ``sets`` are sets, places or plants
    of the method ``sampling``; work may begin within ``spans``.
    """

    plan: FieldDay
    first: dt.date
    must: bool
    minutes: int
    sets: int
    sampling: str
    spans: tuple[Span, ...]
    closed: Closed | None

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id


def week_fields(
    plans: Sequence[FieldDay],
    days: Sequence[dt.date],
    loaded: LoadedSeason,
    *,
    workdays: Sequence[dt.date],
    must: frozenset[str],
    done: frozenset[str],
    clocks: Sequence[WorkingClock],
) -> list[WeekField]:
    """The fields due by the last day, or that must be walked, in the order given.

    ``days`` are those of the route, in a row; on ``workdays`` somebody works. ``must`` and
    ``done`` are ids of fields that must be walked, and of those that need no visit any more.
    """
    rule = loaded.knowledge.revisit
    least_days, soon_days = int(rule.near_threshold_days), int(rule.soon_days)
    pace = pace_of(loaded)
    found = []
    for plan in plans:
        field_id, due = plan.field_id, plan.visit.due
        asked = field_id in must
        is_due = due is not None and due <= days[-1]
        if field_id in done or not (asked or is_due):
            continue
        # An efficacy check that is late tells nothing any more, so it must be made.
        checks = plan.visit.not_before is not None and is_due
        first = first_day(
            plan, days, workdays, least_days=least_days, soon_days=soon_days, asked=asked
        )
        limit = _last_open(plan, days[0])
        needed = asked or checks or (limit is not None and limit <= days[-1])
        last = _last_day(plan, days, workdays)
        found.append(
            _week_field(
                plan, days, loaded, pace, first=first, last=last, must=needed, clocks=clocks
            )
        )
    return found


def _last_open(plan: FieldDay, first: dt.date) -> dt.date | None:
    """The last day of work up to its limit on which a field may be entered, else the limit."""
    day = limit = plan.visit.limit
    while day is not None and day > first and not _open_at_work(plan, day):
        day -= ONE_DAY
    return day if day is not None and _open_at_work(plan, day) else limit


def _open_at_work(plan: FieldDay, day: dt.date) -> bool:
    return plan.season.workday(day) == day and closed_on(plan, day) is None


def _last_day(
    plan: FieldDay, days: Sequence[dt.date], workdays: Sequence[dt.date]
) -> dt.date | None:
    """The last day on which an efficacy check still tells; None where nobody works by then."""
    check = next((why for why in plan.visit.reasons if isinstance(why, EfficacyCheck)), None)
    if check is None:
        return None
    soonest = max(days[0], check.soonest)
    return check.latest if any(soonest <= day <= check.latest for day in workdays) else None


def _week_field(
    plan: FieldDay,
    days: Sequence[dt.date],
    loaded: LoadedSeason,
    pace: Pace,
    *,
    first: dt.date,
    last: dt.date | None,
    must: bool,
    clocks: Sequence[WorkingClock],
) -> WeekField:
    field = plan.forecast.field
    sampling = work_on(plan, first, loaded)[1]
    sets = sets_to_take(sampling, loaded.knowledge)
    minutes = field_minutes(field.area_acres, sampling, sets, loaded.knowledge, pace)
    blocked = [b for b in loaded.season.blocked if b.field_id == field.field_id]
    free, closed = _free(plan, days, first, blocked, clocks)
    if last is not None:
        end = ((last - days[0]).days + 1) * DAY_S
        free = [(a, min(b, end)) for a, b in free if a < end] or free
    work_s = MINUTE_S * minutes
    spans = [Span(begin, end - work_s) for begin, end in free if end - begin >= work_s]
    if free and not spans:
        closed = NoGap(minutes)
    return WeekField(plan, first, must, minutes, sets, sampling, tuple(spans), closed)


def work_on(plan: FieldDay, day: dt.date, loaded: LoadedSeason) -> tuple[tuple[LookFor, ...], str]:
    """What to look for in a field on a day, and the id of the sampling method."""
    return what_to_look_for(
        plan.windows,
        day,
        stage=plan.forecast.stage_on(day),
        region=plan.forecast.field.region,
        knowledge=loaded.knowledge,
        facts=FieldFacts.of(plan.forecast.field),
    )


def first_day(
    plan: FieldDay,
    days: Sequence[dt.date],
    workdays: Sequence[dt.date],
    *,
    least_days: int,
    soon_days: int,
    asked: bool,
) -> dt.date:
    """The first day of the route on which a field may be walked.

    A field that is asked for may be walked at once, an efficacy check excepted, which would tell
    nothing yet. One whose due date falls on days without work, or that is closed from then to its
    limit, is walked on the last working day before, though not within ``soon_days`` of its last
    visit.
    """
    visit = plan.visit
    soonest = max(days[0], soonest_visit(plan, least_days))
    if visit.not_before is not None and soonest <= days[-1]:
        return soonest
    if asked:
        return days[0]
    if visit.last_visit is None or visit.due is None or visit.pulled or visit.not_before:
        return soonest
    last = _last_open(plan, days[0])
    shut = last is not None and last < soonest
    if not shut and any(soonest <= day <= visit.due for day in workdays):
        return soonest
    floor = visit.last_visit + soon_days * ONE_DAY
    before = [day for day in workdays if floor <= day <= visit.due and closed_on(plan, day) is None]
    return max(before, default=soonest)


def soonest_visit(plan: FieldDay, least_days: int) -> dt.date:
    """The first day on which a visit makes sense.

    Before its due date a field may be walked on the way, though not within ``least_days`` of the
    last visit; not before the window opens that it is due for; and an efficacy check not before
    it can tell anything.
    """
    visit = plan.visit
    if visit.due is None:
        return dt.date.min
    if visit.not_before is not None:
        return visit.not_before
    if visit.last_visit is None or visit.pulled or visit.interval_days is None:
        return visit.due
    return min(visit.due, visit.last_visit + dt.timedelta(days=least_days))


def _free(
    plan: FieldDay,
    days: Sequence[dt.date],
    first: dt.date,
    blocked: Sequence[Blocked],
    clocks: Sequence[WorkingClock],
) -> tuple[list[tuple[int, int]], Closed | None]:
    """Stretches of the working clock in which a field may be walked, and what keeps one out.

    Where scouts have lunch at different hours, a blocked time is cut out for all of them.
    """
    free: list[tuple[int, int]] = []
    closed: Closed | None = TooSoon(first) if first > days[-1] else None
    for index, day in enumerate(days):
        if day < first:
            continue
        held = no_entry_on(plan.log, plan.field_id, day)
        if held is not None:
            closed = held
            continue
        begin = index * DAY_S
        for shut in blocked:
            if shut.first <= day <= shut.last:
                closed = shut
        for start, end in _left_of_day(day, blocked, clocks):
            # Days touch at midnight. Pieces of one day never do, though a blocked time that lies
            # within lunch has no length on the working clock.
            if free and start == 0 and free[-1][1] == begin:
                free[-1] = (free[-1][0], begin + end)
            else:
                free.append((begin + start, begin + end))
    return free, closed


def _left_of_day(
    day: dt.date, blocked: Sequence[Blocked], clocks: Sequence[WorkingClock]
) -> list[tuple[int, int]]:
    """What blocked times leave of a day."""
    left = [(0, DAY_S)]
    for shut in blocked:
        if not shut.first <= day <= shut.last:
            continue
        if shut.from_s <= 0 and shut.to_s >= DAY_S:
            return []
        begin = min(clock.working(shut.from_s) for clock in clocks)
        end = max(clock.working(shut.to_s) for clock in clocks)
        left = [
            piece
            for a, b in left
            for piece in ((a, min(b, begin)), (max(a, end), b))
            if piece[0] < piece[1]
        ]
    return left


def closed_on(plan: FieldDay, day: dt.date) -> NoEntry | Blocked | None:
    """What keeps one out of a field all day; None where one may enter at some hour."""
    held = no_entry_on(plan.log, plan.field_id, day)
    if held is not None:
        return held
    blocked = [b for b in plan.season.loaded.season.blocked if b.field_id == plan.field_id]
    shut = [b for b in blocked if b.first <= day <= b.last]
    return shut[0] if shut and not _left_of_day(day, shut, [NO_LUNCH]) else None


def first_open_day(plan: FieldDay, day: dt.date) -> dt.date:
    """The first day of work from a day on at some hour of which one may enter a field."""
    while not _open_at_work(plan, day):
        day += ONE_DAY
    return day


NO_LUNCH = WorkingClock(0, 0)
"""The clock on the wall."""


def sets_to_take(sampling_id: str, knowledge: Knowledge) -> int:
    """How many sets, places or plants a visit takes: the method's own number, 0 without one."""
    method = knowledge.sampling.get(sampling_id)
    return 0 if method is None else int(method.sets)
