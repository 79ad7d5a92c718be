"""What one morning asks for: what to decide, what to walk, what comes, and what is new."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.knowledge.crop import CropEvent, WindowEnd
from stagecast.knowledge.looks import Look
from stagecast.knowledge.pest import Pest
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.mornings import FieldMorning, Morning
from stagecast.visits.look_for import comes_on, is_open
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import (
    Above,
    WeekRoute,
    fields_by_need,
    over_threshold,
    season_route,
    walk_of,
)

ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True, eq=False)
class StageComes:
    """Fields that come to a stage, each with its middle day, the soonest first.

    ``looks`` are those of every field that begin with the stage.
    """

    stage: CropEvent
    fields: tuple[tuple[FieldDay, dt.date], ...]
    looks: tuple[Look, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class LookComes:
    """Fields to which a look comes, each with the day that dates it, the soonest first."""

    look: Look
    fields: tuple[tuple[FieldDay, dt.date], ...]


@dataclass(frozen=True, slots=True, eq=False)
class PestComes:
    """Fields to which heat or catches bring a pest, each with its day, the soonest first."""

    pest: Pest
    fields: tuple[tuple[FieldDay, dt.date], ...]


@dataclass(frozen=True, slots=True, eq=False)
class EntryEnds:
    """A field that may be entered again from a moment on."""

    field: FieldDay
    until: dt.datetime


@dataclass(frozen=True, slots=True, eq=False)
class NearCounts:
    """Fields counted near a threshold and not treated since, each with its next walk."""

    fields: tuple[tuple[FieldDay, dt.date], ...]


Coming = NearCounts | StageComes | LookComes | PestComes | EntryEnds


@dataclass(frozen=True, slots=True, eq=False)
class NowOver:
    """A pest that was counted at its threshold or over it since."""

    field: FieldDay
    pest: Pest


@dataclass(frozen=True, slots=True, eq=False)
class NotWalked:
    """Fields that were to be walked on a day that is over, and in which no visit is noted since."""

    fields: tuple[tuple[FieldDay, dt.date], ...]


@dataclass(frozen=True, slots=True, eq=False)
class WalkMoved:
    """A field whose walk is on another day than was said; None where it had or has none."""

    field: FieldDay
    was: dt.date | None
    to: dt.date | None


@dataclass(frozen=True, slots=True, eq=False)
class StageMoved:
    """Fields whose forecast of a stage moved, each with the day that was said and that of now."""

    stage: str
    fields: tuple[tuple[FieldDay, dt.date, dt.date], ...]


News = NowOver | NotWalked | WalkMoved | StageMoved


@dataclass(frozen=True, slots=True, eq=False)
class Today:
    """One morning.

    Attributes
    ----------
    days : tuple of ScoutDay
        The scouts' days of this date, those without stops left out.
    next_day : datetime.date or None
        The next day after this one on which a field is walked; None where none is any more.
    since : datetime.date or None
        The morning with which ``news`` compares; None where none is kept.
    """

    season: SeasonDay
    route: WeekRoute
    decide: tuple[Above, ...]
    days: tuple[ScoutDay, ...]
    next_day: dt.date | None
    coming: tuple[Coming, ...]
    news: tuple[News, ...]
    since: dt.date | None


def morning_of(season: SeasonDay, before: tuple[dt.date, Morning] | None) -> Today:
    """A season's morning, beside the last one that was told."""
    route = season_route(season)
    walked = [day for day in route.days if day.stops]
    days = (walk_of(one).day for one in season.fields)
    later = (day for day in days if day is not None and day > season.as_of)
    return Today(
        season=season,
        route=route,
        decide=route.above,
        days=tuple(day for day in walked if day.date == season.as_of),
        next_day=min(later, default=None),
        coming=tuple(_coming(season)),
        news=() if before is None else tuple(_news(season, *before)),
        since=None if before is None else before[0],
    )


def work_out(season: SeasonDay) -> None:
    """All that every screen of a morning asks of its season, so that it can be kept with it."""
    fields_by_need(season)
    for above in morning_of(season, None).decide:
        since_when(above)
    as_told(season)


def as_told(season: SeasonDay) -> Morning:
    """What a morning says of every field, to compare the next one with."""
    return dict(season.once("as told", lambda: _as_told(season)))


def to_keep(season: SeasonDay, told: Morning | None) -> Morning:
    """What the next morning is compared with; ``told``: what was kept of this one before.

    Once a visit of the day is noted the route fills the day with other fields, to which nobody was
    sent in the morning: walks stay as they were told then.
    """
    now, today = as_told(season), season.as_of
    if told is None or all(
        one.last_visit is None or one.last_visit.date != today for one in season.fields
    ):
        return now
    return {
        name: one.model_copy(update={"walk": told[name].walk}) if name in told else one
        for name, one in now.items()
    }


def _as_told(season: SeasonDay) -> Morning:
    over: dict[str, list[str]] = {}
    for above in season_route(season).above:
        over.setdefault(above.plan.field_id, []).append(above.pest)
    return {
        one.field_id: FieldMorning(
            walk=walk_of(one).day,
            stages=dict(stage_days(one)),
            over=tuple(over.get(one.field_id, ())),
        )
        for one in season.fields
    }


def since_when(above: Above) -> dt.date:
    """The first of the counts in a row that were at the threshold or over it."""
    found = f"{above.plan.field_id}: {above.pest} over it on {above.seen.date}"
    return above.plan.season.once(found, lambda: _since_when(above))


def _since_when(above: Above) -> dt.date:
    first = above.seen.date
    for visit in reversed(above.plan.log.up_to(first).visits):
        earlier = above.plan.assess(visit)
        lines = [one for one in earlier.pests if one.pest == above.pest]
        if lines and not any(one.reached for one in lines):
            break
        if lines:
            first = visit.date
    return first


def leading_pests(one: FieldDay) -> Iterator[tuple[str, ScoutingWindow, dt.date]]:
    """Pests that may be described for a visit: id, window, and when heat or catches bring it."""
    most = int(one.season.knowledge.revisit.planned_pests)
    for window in one.windows:
        opens = comes_on(window, most_rank=most)
        if window.pest is not None and opens is not None:
            yield window.pest, window, opens


def stage_days(one: FieldDay) -> Iterator[tuple[CropEvent, dt.date]]:
    """The stages that are told ahead, each with its middle day."""
    for stage in one.season.knowledge.alerts.coming_stages:
        middle = one.forecast.stages[stage].p50
        if middle is not None:
            yield stage, middle


def _coming(season: SeasonDay) -> Iterator[Coming]:
    for one in season.fields:
        if one.no_entry is not None:
            yield EntryEnds(one, one.no_entry.until_minute)
    near = [(one, walk_of(one).day or season.as_of) for one in season.fields if _is_near(one)]
    if near:
        yield NearCounts(tuple(sorted(near, key=lambda pair: pair[1])))
    yield from _stages_coming(season)
    looks = list(_looks_coming(season))
    yield from (one for one in looks if _in_haste(one.look))
    yield from _pests_coming(season)
    yield from (one for one in looks if not _in_haste(one.look))


def _is_near(one: FieldDay) -> bool:
    """Whether the last counts or the word of the last visit were near a threshold."""
    last = one.last_visit
    if last is None or one.visit.due is None or one.field_id in over_threshold(one.season):
        return False
    if any(treated.applied_at.date() >= last.date for treated in one.log.treatments):
        return False
    found = one.counted
    return last.pressure == "near threshold" if found is None else bool(found.pressing)


def _in_haste(look: Look) -> bool:
    """Whether a look is soon too late: such are told before pests."""
    return look.sends or look.dated == "closes" or look.irrigated


def _last_day(season: SeasonDay) -> dt.date:
    return season.as_of + int(season.knowledge.alerts.coming_days) * ONE_DAY


def _stages_coming(season: SeasonDay) -> Iterator[StageComes]:
    found: dict[CropEvent, list[tuple[FieldDay, dt.date]]] = {}
    for one in season.fields:
        for stage, day in stage_days(one):
            if season.as_of < day <= _last_day(season):
                found.setdefault(stage, []).append((one, day))
    for stage in season.knowledge.alerts.coming_stages:
        if stage in found:
            fields = tuple(sorted(found[stage], key=lambda pair: pair[1]))
            yield StageComes(stage, fields, tuple(_with_stage(season, stage)))


def _with_stage(season: SeasonDay, stage: CropEvent) -> Iterator[Look]:
    """The looks of every field that begin with a stage that is told as coming."""
    off = season.settings.looks.off
    told = season.knowledge.alerts.coming_stages
    for look in season.knowledge.looks.look:
        for_all = not (look.irrigated or look.frost or look.found) and look.dated == "opens"
        begins = look.opens == WindowEnd(stage=stage) and stage in told
        if begins and for_all and look.setting not in off:
            yield look


def _looks_coming(season: SeasonDay) -> Iterator[LookComes]:
    """Looks that begin soon, and those dated by an end that have begun."""
    found: dict[str, list[tuple[FieldDay, dt.date]]] = {}
    for one in season.fields:
        for at in one.looks:
            day = at.first if at.look.dated == "opens" else at.closes.p50
            soon = at.first <= _last_day(season)
            if soon and day is not None and day > season.as_of:
                found.setdefault(at.look.id, []).append((one, day))
    for look in season.knowledge.looks.look:
        if look.id in found and look not in _with_stage(season, look.opens.stage):
            yield LookComes(look, tuple(sorted(found[look.id], key=lambda pair: pair[1])))


def _pests_coming(season: SeasonDay) -> Iterator[PestComes]:
    """What heat or catches bring soon, where it is not about already; nothing from memory."""
    found: dict[str, list[tuple[FieldDay, dt.date]]] = {}
    for one in season.fields:
        here = {w.pest for w in one.windows if is_open(w, season.as_of)}
        for pest, _, opens in leading_pests(one):
            if pest not in here and season.as_of < opens <= _last_day(season):
                found.setdefault(pest, []).append((one, opens))
    for pest, fields in sorted(found.items(), key=lambda item: min(day for _, day in item[1])):
        yield PestComes(season.knowledge.pests[pest], tuple(sorted(fields, key=lambda f: f[1])))


def _news(season: SeasonDay, since: dt.date, told: Morning) -> Iterator[News]:
    """What changed since a morning, what asks for something first."""
    now = as_told(season)
    known = [one for one in season.fields if one.field_id in told]
    for one in known:
        for pest in now[one.field_id].over:
            if pest not in told[one.field_id].over:
                yield NowOver(one, season.knowledge.pests[pest])
    missed = [one for one in known if _missed(one, told[one.field_id].walk, since)]
    if missed:
        days = ((one, told[one.field_id].walk or since) for one in missed)
        yield NotWalked(tuple(sorted(days, key=lambda pair: pair[1])))
    least = int(season.knowledge.alerts.moved_days)
    for one in known:
        was, walk = told[one.field_id].walk, now[one.field_id].walk
        seen = one.last_visit is not None and one.last_visit.date >= since
        far = was is None or walk is None or abs((walk - was).days) >= least
        if was != walk and far and not seen and one not in missed:
            yield WalkMoved(one, was, walk)
    moved: dict[str, list[tuple[FieldDay, dt.date, dt.date]]] = {}
    for one in known:
        for stage, day in now[one.field_id].stages.items():
            before = told[one.field_id].stages.get(stage)
            if before is not None and day >= since and abs((day - before).days) >= least:
                moved.setdefault(stage, []).append((one, before, day))
    for stage, fields in moved.items():
        yield StageMoved(stage, tuple(fields))


def _missed(one: FieldDay, walk: dt.date | None, since: dt.date) -> bool:
    """Whether a field was to be walked between two mornings and nobody noted a visit."""
    if walk is None or not since <= walk < one.season.as_of:
        return False
    return one.last_visit is None or one.last_visit.date < since
