"""How good past forecasts were, against the stages that were seen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from stagecast.base.errors import SeasonProblems
from stagecast.base.units import FloatArray
from stagecast.forecast.load import LoadedSeason, ReadFolder, as_it_stood, read_folder
from stagecast.forecast.members import FieldMembers, season_members
from stagecast.forecast.observations import Learnt, alike, learn, learn_the_rest, stage_ends
from stagecast.forecast.ranges import PROBABILITIES
from stagecast.forecast.water import field_water, opened
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import Averages, Learning, Skill
from stagecast.phenology.learning import half_time
from stagecast.phenology.spread import quantile_days
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit

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
    lead_days: how long before the visit the forecast was made.
    seen: when the stage began, by what the visit saw.
    p10, p50, p90: forecast of that beginning; inf where it was not expected this season.
    planting_line, average: the two plain rules; None where there was nothing to draw a line
        through.
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
    loaded: the season as it stood on the day asked for, with the fields refused.
    hindcasts: by visit, in order of date, and lead time.
    left_out: visits with a stage that could not be judged, in order of date.
    """

    loaded: LoadedSeason
    hindcasts: tuple[Hindcast, ...]
    left_out: tuple[LeftOut, ...]


def hindcast(path: Path, *, as_of: dt.date) -> Hindsight:
    """Forecast every stage seen up to a day again, as of some days before it was seen.

    A forecast learns from what had been seen by its own day, and from nothing later. Visits come
    by date, whatever their order in the file.

    Raises
    ------
    SeasonProblems
        When the folder has errors, or when not one field can be forecast on the day.
    """
    read = read_folder(path)
    knowledge = read.season.knowledge
    loaded = as_it_stood(read, as_of=as_of)
    seen = [v for v in read.season.visits if v.stage is not None and v.date <= as_of]
    seen.sort(key=lambda visit: (visit.date, visit.field_id))
    fields = {field.field_id: field for field in read.season.fields}
    leads = [int(lead) for lead in knowledge.soybean.skill.leads.values]
    ranges: dict[tuple[Visit, int], FloatArray] = {}
    starts: dict[Visit, float] = {}
    partly: set[Visit] = set()
    unreasonable: set[Visit] = set()
    for made, visits in _by_day(seen, leads, fields).items():
        past = _past_day(read, made, {visit.field_id for visit in visits})
        for visit in visits:
            if past is None or visit.field_id not in past.members:
                partly.add(visit)
                continue
            ranges[visit, (visit.date - made).days], believed = past.range_of(visit)
            if visit.date == made and visit.share != 0.0:
                if believed:
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


# --- a past day -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _PastDay:
    """What could be known on a day: fields that were seen later, those like them, and visits."""

    loaded: LoadedSeason
    members: dict[str, FieldMembers]
    visits: tuple[Visit, ...]
    learning: Learning
    known: dict[str, Learnt]

    def range_of(self, visit: Visit) -> tuple[FloatArray, bool]:
        """The 10, 50 and 90 percent times of the stage that a visit saw, and if it is believed.

        What the visit itself taught is not in the forecast that it judges. A stage that was not
        expected this season at all is a miss of the forecast, and counts.
        """
        members, stage = self.members[visit.field_id], visit.stage or ""
        if visit.date == self.loaded.as_of:
            learnt, used = learn_the_rest(
                visit,
                members,
                list(self.members.values()),
                self.visits,
                span=self.loaded.span,
                learning=self.learning,
            )
        else:
            learnt, used = self._all_learnt(members), True
        times = opened(
            learnt.members.times,
            learnt.weights,
            field_water(members, self.loaded),
            now=self.loaded.span.index(self.loaded.as_of) + 1.0,
            drought=self.loaded.knowledge.water.drought,
        )
        begins, _ = stage_ends(times, stage)
        expected = np.isfinite(stage_ends(members.times, stage)[0]).all()
        return quantile_days(begins, PROBABILITIES, learnt.weights), used or not expected

    def _all_learnt(self, members: FieldMembers) -> Learnt:
        """By all visits up to the day, once for all of a field's later visits."""
        field_id = members.field.field_id
        if field_id not in self.known:
            everyone = list(self.members.values())
            self.known[field_id] = learn(
                members, everyone, self.visits, span=self.loaded.span, learning=self.learning
            )
        return self.known[field_id]

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


def _past_day(read: ReadFolder, day: dt.date, field_ids: set[str]) -> _PastDay | None:
    """Some fields as they stood on a day; None where the weather did not reach back that far.

    The stage model takes time, so only these fields are computed, and those they learn from.
    """
    try:
        loaded = as_it_stood(read, as_of=day)
    except SeasonProblems:
        return None
    learning = loaded.knowledge.soybean.learning
    visits = tuple(v for v in loaded.season.visits if v.stage is not None and v.date <= day)
    needed = _with_siblings(field_ids, {v.field_id for v in visits}, loaded, learning)
    weather = {i: w for i, w in loaded.weather.items() if i in needed}
    members = season_members(replace(loaded, weather=weather))
    return _PastDay(loaded, {m.field.field_id: m for m in members}, visits, learning, {})


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


# --- beside two plain rules -----------------------------------------------------------------------


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


def planting_line_day(
    planted: float, others: Sequence[tuple[float, float]], *, fewest: int
) -> float | None:
    """Day of a stage by a straight line on planting day through the other fields.

    Parameters
    ----------
    planted: planting day of the field.
    others: what was seen in other fields, at any time of the season: the line has hindsight that
        the forecast had not.
    fewest: with fewer other fields, or all planted on one day, there is no line.

    """
    days = np.array(others, dtype=np.float64).reshape(-1, 2)
    if len(days) < fewest or np.ptp(days[:, 0]) == 0.0:
        return None
    slope, level = np.polyfit(days[:, 0], days[:, 1], 1)
    return float(level + slope * planted)


ORDER = ("planting", "VE", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""The stages that the averages lead through, in order."""


def average_day(
    stage: str, planted: float, before: Sequence[tuple[str, float]], *, averages: Averages
) -> float | None:
    """Day of a stage by average days between stages, from planting or the last stage seen.

    Parameters
    ----------
    planted: planting day of the field.
    before: what had been seen in the field when the forecast was made.

    Returns
    -------
    float or None
        None for V stages, to which the averages do not lead one by one.
    """
    if stage not in ORDER:
        return None
    days = _days_from_planting(averages)
    start, since = "planting", planted
    for seen, day in before:
        if seen in days and days[start] < days[seen] < days[stage]:
            start, since = seen, day
    return since + days[stage] - days[start]


def _days_from_planting(averages: Averages) -> dict[str, float]:
    steps = (
        averages.planting_ve, averages.ve_r1, averages.r1_r2, averages.r2_r3, averages.r3_r4,
        averages.r4_r5, averages.r5_r6, averages.r6_r7, averages.r7_r8,
    )  # fmt: skip
    sums = np.concatenate([[0.0], np.cumsum([float(step) for step in steps])])
    return dict(zip(ORDER, sums.tolist(), strict=True))


# --- how far off it usually is -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class UsualError:
    """How far off dates named so many days ahead usually were.

    Attributes
    ----------
    half_days, most_days: half of the visits were off by no more, and nine in ten; inf where the
        stage had not been expected this season.
    """

    lead_days: int
    visits: int
    half_days: float
    most_days: float


def usual_error(hindcasts: Sequence[Hindcast], rules: Skill) -> UsualError | None:
    """That of all stages together, told ahead by the first of some leads with enough visits."""
    for lead in rules.told.values:
        off = [abs(h.error_days) for h in hindcasts if h.lead_days == lead]
        if len(off) >= int(rules.enough):
            half, most = quantile_days(np.array(off), (0.5, 0.9)).tolist()
            return UsualError(int(lead), len(off), half, most)
    return None


# --- summary --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SkillRow:
    """Hindcasts of one stage and lead time, together.

    ``stage`` is None for all stages. A stage that was seen and had not been expected this season
    has no error in days: ``never_expected`` counts such visits, and ``coverage`` counts them as
    outside of the range. All else is of the others: bias and RMSE in days; and for each rule its
    RMSE on the visits that it could date, with the forecast's own on those same visits beside it.
    None where there are none.
    """

    stage: str | None
    lead_days: int
    visits: int
    never_expected: int
    bias_days: float | None
    rmse_days: float | None
    coverage: float
    planting_line_rmse: float | None
    planting_line_ours: float | None
    average_rmse: float | None
    average_ours: float | None


def summarise(hindcasts: Sequence[Hindcast]) -> list[SkillRow]:
    """Rows by stage and lead time, then all stages together."""
    rows = []
    leads = sorted({h.lead_days for h in hindcasts})
    stages = sorted({h.stage for h in hindcasts}, key=_stage_order)
    for stage in (*stages, None):
        for lead in leads:
            chosen = [h for h in hindcasts if h.lead_days == lead and stage in (None, h.stage)]
            if chosen:
                rows.append(_row(stage, lead, chosen))
    return rows


def _stage_order(stage: str) -> tuple[bool, int]:
    number = {"VE": -1, "VC": 0}.get(stage)
    return stage.startswith("R"), int(stage[1:]) if number is None else number


def _row(stage: str | None, lead: int, chosen: Sequence[Hindcast]) -> SkillRow:
    expected = [h for h in chosen if h.expected]
    errors = [h.error_days for h in expected]
    line = [(h.planting_line, h) for h in expected if h.planting_line is not None]
    mean = [(h.average, h) for h in expected if h.average is not None]
    return SkillRow(
        stage=stage,
        lead_days=lead,
        visits=len(chosen),
        never_expected=len(chosen) - len(expected),
        bias_days=float(np.mean(errors)) if errors else None,
        rmse_days=_rmse(errors),
        coverage=float(np.mean([h.covered for h in chosen])),
        planting_line_rmse=_rmse([day - h.seen for day, h in line]),
        planting_line_ours=_rmse([h.error_days for _, h in line]),
        average_rmse=_rmse([day - h.seen for day, h in mean]),
        average_ours=_rmse([h.error_days for _, h in mean]),
    )


def _rmse(errors: Sequence[float]) -> float | None:
    return float(np.sqrt(np.mean(np.square(errors)))) if errors else None
