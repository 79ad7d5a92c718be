"""Past forecasts held against what was then seen in the fields, visit by visit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stagecast.errors import SeasonProblems
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import Learning
from stagecast.phenology.learning import half_time
from stagecast.phenology.spread import quantile_days
from stagecast.scouting.load import LoadedSeason, ReadFolder, as_it_stood, read_folder
from stagecast.scouting.members import FieldMembers, season_members
from stagecast.scouting.observations import alike, learn, stage_ends
from stagecast.scouting.plain_rules import average_day, planting_line_day
from stagecast.scouting.ranges import PROBABILITIES
from stagecast.season.fields import Field
from stagecast.season.visits import Visit

FloatArray = NDArray[np.float64]

NO_WEATHER = "no station could speak for the field on that day"
NOT_IN_IT = "no plant was in the stage, which tells no day for it"
BEYOND_REASON = "it contradicts the forecast of its own day beyond reason"
NOT_ALWAYS = "only from rows for days on which no station could speak for the field"


@dataclass(frozen=True, slots=True)
class Hindcast:
    """One visit, as it was forecast some days before.

    All days are fractional days since 1 January of the season.

    Attributes
    ----------
    field_id, stage : str
    lead_days : int
        How long before the visit the forecast was made.
    seen : float
        When the stage began, by what the visit saw.
    p10, p50, p90 : float
        Forecast of that beginning; inf where it was not expected this season.
    planting_line, average : float or None
        The two plain rules; None where there was nothing to draw a line through.
    """

    field_id: str
    stage: str
    lead_days: int
    seen: float
    p10: float
    p50: float
    p90: float
    planting_line: float | None
    average: float | None

    @property
    def error_days(self) -> float:
        """Forecast minus seen, days; positive when the forecast was late, inf when never."""
        return self.p50 - self.seen

    @property
    def expected(self) -> bool:
        """Whether the stage had been expected this season."""
        return bool(np.isfinite(self.p50))

    @property
    def covered(self) -> bool:
        """Whether the range held what was seen."""
        return self.p10 <= self.seen <= self.p90


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A visit that could not be judged, or not at every lead time, and why."""

    visit: Visit
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Hindsight:
    """A season's visits held against their forecasts.

    Attributes
    ----------
    loaded : LoadedSeason
        The season as it stood on the day asked for, with the fields refused.
    hindcasts : tuple of Hindcast
        By visit, in order of date, and lead time.
    left_out : tuple of LeftOut
        Visits with a stage that could not be judged, in order of date.
    """

    loaded: LoadedSeason
    hindcasts: tuple[Hindcast, ...]
    left_out: tuple[LeftOut, ...]


def hindcast(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> Hindsight:
    """Forecast every stage seen up to a day again, as of some days before it was seen.

    A forecast learns from what had been seen by its own day, and from nothing later. Visits come
    by date, whatever their order in the file.

    Raises
    ------
    SeasonProblems
        When the folder has errors, or when not one field can be forecast on the day.
    """
    read = read_folder(path, knowledge)
    knowledge = read.season.knowledge
    loaded = as_it_stood(read, as_of=as_of, knowledge=knowledge)
    seen = [v for v in read.season.visits if v.stage is not None and v.date <= as_of]
    seen.sort(key=lambda visit: (visit.date, visit.field_id))
    fields = {field.field_id: field for field in read.season.fields}
    leads = [int(lead) for lead in knowledge.soybean.skill.leads.values]
    ranges: dict[tuple[Visit, int], FloatArray] = {}
    starts: dict[Visit, float] = {}
    partly: set[Visit] = set()
    unreasonable: set[Visit] = set()
    for made, visits in _by_day(seen, leads, fields).items():
        past = _past_day(read, made, {visit.field_id for visit in visits}, knowledge)
        for visit in visits:
            if past is None or visit.field_id not in past.members:
                partly.add(visit)
                continue
            ranges[visit, (visit.date - made).days] = past.range_of(visit)
            if visit.date == made and visit.share != 0.0:
                if past.learns_from(visit):
                    starts[visit] = past.start_of(visit)
                else:
                    unreasonable.add(visit)
    planted = {i: loaded.span.index(field.planting_date) for i, field in fields.items()}
    log = _Log(starts, planted, knowledge)
    found = [
        log.hindcast(visit, lead, ranges[visit, lead])
        for visit in seen
        for lead in leads
        if visit in starts and (visit, lead) in ranges
    ]
    left_out = [
        LeftOut(visit, why)
        for visit in seen
        if (why := _why_not(visit, starts, partly, unreasonable)) is not None
    ]
    return Hindsight(loaded, tuple(found), tuple(left_out))


def _why_not(
    visit: Visit,
    starts: Collection[Visit],
    partly: Collection[Visit],
    unreasonable: Collection[Visit],
) -> str | None:
    """Why a visit could not be judged, or not at every lead time; None where it was."""
    if visit.share == 0.0:
        return NOT_IN_IT
    if visit in unreasonable:
        return BEYOND_REASON
    if visit not in starts:
        return NO_WEATHER
    return NOT_ALWAYS if visit in partly else None


def _by_day(
    seen: Sequence[Visit], leads: Sequence[int], fields: dict[str, Field]
) -> dict[dt.date, list[Visit]]:
    """The visits to forecast again as of each day: from planting on, and on their own day."""
    by_day: dict[dt.date, list[Visit]] = {}
    for visit in seen:
        for lead in {0, *leads}:
            made = visit.date - dt.timedelta(days=lead)
            if made >= fields[visit.field_id].planting_date:
                by_day.setdefault(made, []).append(visit)
    return dict(sorted(by_day.items()))


@dataclass(frozen=True, slots=True, eq=False)
class _PastDay:
    """What could be known on a day: fields that were seen later, those like them, and visits."""

    loaded: LoadedSeason
    members: dict[str, FieldMembers]
    visits: tuple[Visit, ...]
    learning: Learning

    def range_of(self, visit: Visit) -> FloatArray:
        """The 10, 50 and 90 percent times of the stage that a visit saw.

        What the visit itself taught is not in the forecast that it judges.
        """
        members = self.members[visit.field_id]
        weights, _ = learn(
            members,
            list(self.members.values()),
            [other for other in self.visits if other != visit],
            span=self.loaded.span,
            learning=self.learning,
        )
        begins, _ = stage_ends(members.times, visit.stage or "")
        return quantile_days(begins, PROBABILITIES, weights)

    def learns_from(self, visit: Visit) -> bool:
        """Whether the forecast of the day itself finds a visit within reason.

        A stage that was not expected this season at all is a miss of the forecast, and counts.
        """
        members = self.members[visit.field_id]
        begins, _ = stage_ends(members.times, visit.stage or "")
        if not np.isfinite(begins).all():
            return True
        _, lessons = learn(
            members,
            list(self.members.values()),
            self.visits,
            span=self.loaded.span,
            learning=self.learning,
        )
        return any(lesson.used for lesson in lessons if lesson.visit == visit)

    def start_of(self, visit: Visit) -> float:
        """When the stage of a visit made on this day began.

        With a share of plants, where half of them stood; else the visit is taken to fall into the
        middle of the stage, as long as the possible seasons make it.
        """
        time = self.loaded.span.index(visit.date) + 0.5
        if visit.share is not None and visit.share < 1.0:
            return half_time(time, visit.share, plant_sd_days=float(self.learning.plant_sd))
        begins, ends = stage_ends(self.members[visit.field_id].times, visit.stage or "")
        both = np.isfinite(begins) & np.isfinite(ends)
        length = float(np.median(ends[both] - begins[both])) if both.any() else 0.0
        return time - length / 2


def _past_day(
    read: ReadFolder, day: dt.date, field_ids: set[str], knowledge: Knowledge
) -> _PastDay | None:
    """Some fields as they stood on a day; None where the weather did not reach back that far.

    The stage model is dear, so only these fields are computed, and those they learn from.
    """
    try:
        loaded = as_it_stood(read, as_of=day, knowledge=knowledge)
    except SeasonProblems:
        return None
    learning = knowledge.soybean.learning
    visits = tuple(v for v in loaded.season.visits if v.stage is not None and v.date <= day)
    needed = _with_siblings(field_ids, {v.field_id for v in visits}, loaded, learning)
    weather = {i: w for i, w in loaded.weather.items() if i in needed}
    members = season_members(replace(loaded, weather=weather), knowledge)
    return _PastDay(loaded, {m.field.field_id: m for m in members}, visits, learning)


def _with_siblings(
    field_ids: set[str], seen: set[str], loaded: LoadedSeason, learning: Learning
) -> set[str]:
    """Fields, and those seen by then that they learn from."""
    fields = {f.field_id: f for f in loaded.season.fields if f.field_id in loaded.weather}
    cells = {i: w.season.station.station for i, w in loaded.weather.items()}
    return field_ids | {
        other
        for other in seen & fields.keys()
        for one in field_ids & fields.keys()
        if cells[one] == cells[other] and alike(fields[one], fields[other], learning)
    }


@dataclass(frozen=True, slots=True)
class _Log:
    """When every stage seen began, with the hindsight that the plain rules are given.

    ``starts``, by visit, and ``planted``, by field, are in fractional days since 1 January.
    """

    starts: dict[Visit, float]
    planted: dict[str, int]
    knowledge: Knowledge

    def hindcast(self, visit: Visit, lead: int, found: FloatArray) -> Hindcast:
        """A visit beside its forecast, and beside what the plain rules say of it."""
        stage, soybean = visit.stage or "", self.knowledge.soybean
        p10, p50, p90 = found.tolist()
        made = visit.date - dt.timedelta(days=lead)
        planted = self.planted[visit.field_id]
        others = [
            (self.planted[v.field_id], start)
            for v, start in self.starts.items()
            if v.stage == stage and v.field_id != visit.field_id
        ]
        before = [
            (v.stage or "", start)
            for v, start in self.starts.items()
            if v.field_id == visit.field_id and v != visit and v.date <= made
        ]
        return Hindcast(
            field_id=visit.field_id,
            stage=stage,
            lead_days=lead,
            seen=self.starts[visit],
            p10=p10,
            p50=p50,
            p90=p90,
            planting_line=planting_line_day(planted, others, fewest=int(soybean.skill.fewest)),
            average=average_day(stage, planted, before, averages=soybean.averages),
        )
