"""The counts of a field's last visit against the thresholds at the field's stage on that day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import replace

from stagecast.base.errors import SeasonProblems
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment, assess_defoliation
from stagecast.counts.judge import judge_line, may_be_over
from stagecast.counts.lines import count_lines
from stagecast.counts.pool import looked_for, named_by
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.knowledge.pest import Pest
from stagecast.pests.thresholds import UNKNOWN, FieldFacts, facts_of, facts_that_matter, lasts_to
from stagecast.season.log.entries import LoggedVisit, ScoutingLog
from stagecast.season.tables.visits import Pressure, Visit

HALF = 0.5
"""Share of plants from which on a field is in a stage (Fehr and Caviness 1977)."""


def last_counted(log: ScoutingLog, field_id: str, as_of: dt.date) -> LoggedVisit | None:
    """What was counted on the last day up to one that has sets or leaf loss; None without any.

    Two visits of one day, by two people or to two ends of a field, count as one.
    """
    visits = (v for v in log.of_field(field_id).visits if v.date <= as_of and _counts(v))
    last: list[LoggedVisit] = []
    for visit in visits:
        last = [*last, visit] if last and visit.date == last[0].date else [visit]
    return _together(last) if last else None


def counted_days(visits: Iterable[LoggedVisit]) -> dict[dt.date, LoggedVisit]:
    """What was counted in a field on each day, its visits of a day as one, in their order."""
    found: dict[dt.date, list[LoggedVisit]] = {}
    for visit in visits:
        if _counts(visit):
            found.setdefault(visit.date, []).append(visit)
    return {day: _together(ours) for day, ours in found.items()}


def _counts(visit: LoggedVisit) -> bool:
    return bool(visit.sets) or visit.defoliation_percent is not None


def _together(visits: Sequence[LoggedVisit]) -> LoggedVisit:
    """Visits as one: all sets, and of all else what the last one noted that noted it."""
    *earlier, last = visits
    if not earlier:
        return last
    staged = next((one for one in reversed(visits) if one.stage is not None), visits[0])
    leaf_loss = [v.defoliation_percent for v in visits if v.defoliation_percent is not None]
    sets = enumerate((one for visit in visits for one in visit.sets), start=1)
    return replace(
        last,
        stage=staged.stage,
        share=staged.share,
        defoliation_percent=leaf_loss[-1] if leaf_loss else None,
        sets=tuple(one if one.number == at else replace(one, number=at) for at, one in sets),
    )


def stage_of_visit(
    visit: LoggedVisit, visits: Sequence[Visit], forecast: FieldForecast | None
) -> tuple[str, bool] | None:
    """Crop stage on the day of a visit, and whether somebody saw it.

    ``visits`` are those of the season; one of the same field and day may have the stage. None where
    nobody noted it and nothing was forecast.

    Notes
    -----
    A stage that less than half of the plants were in was not reached: the forecast says which one
    was, but none from that stage on. A stage that contradicts the forecast beyond reason, a slip
    of the thumb say, is taken for no stage: with a late one counts would be said to matter no more.
    """
    noted = [(visit.stage, visit.share)]
    noted += [
        (v.stage, v.share) for v in visits if v.field_id == visit.field_id and v.date == visit.date
    ]
    seen = next(((s, share) for s, share in noted if s is not None), None)
    if forecast is not None and _contradicts(forecast, visit):
        seen = None
    if seen is not None and (seen[1] is None or seen[1] >= HALF):
        return (seen[0] if forecast is None else forecast.parted(seen[0], visit.date)), True
    if forecast is None:
        return None
    stage = forecast.stage_on(visit.date)
    if seen is not None and stage_place(stage) >= stage_place(seen[0]) > 0:
        stage = STAGE_ORDER[stage_place(seen[0]) - 1]
    return stage, False


def _contradicts(forecast: FieldForecast, visit: LoggedVisit) -> bool:
    """Whether the stage noted in a field on a day is one of which the forecast learnt nothing."""
    return any(
        lesson.own and not lesson.used and lesson.visit.date == visit.date
        for lesson in forecast.lessons
        if lesson.visit.field_id == visit.field_id
    )


def assess(
    visit: LoggedVisit,
    *,
    stage: str,
    stage_seen: bool,
    region: str,
    knowledge: Knowledge,
    facts: FieldFacts = UNKNOWN,
    coming_stage: str | None = None,
) -> FieldAssessment:
    """Hold the counts of a visit against the thresholds at the field's stage on its day.

    The answer goes by the chance that the field's mean is over its threshold, with k unknown
    (:mod:`stagecast.counts.posterior`).

    ``coming_stage``: what the field will have reached by the latest day of the next visit. A pest
    that was found and does not matter yet is held against its threshold of then as well.
    """
    usual: list[PestAssessment] = []
    otherwise: list[PestAssessment] = []
    coming: list[PestAssessment] = []
    units = dict.fromkeys(one.unit for one in visit.sets)
    for unit in units:
        ours = [one for one in visit.sets if one.unit == unit]
        named = tuple(
            dict.fromkeys(c.pest for s in ours for c in s.counts if c.pest in looked_for(s))
        )
        lines = count_lines(
            named, unit=unit, stage=stage, region=region, knowledge=knowledge, facts=facts
        )
        for line in lines:
            found = judge_line(ours, line, unit=unit, knowledge=knowledge)
            (usual if line.usual else otherwise).append(found)
        early = {
            part
            for one in usual
            if one.unit == unit and one.answer == "does not matter yet" and one.mean_per_set > 0
            for part, _, _ in one.parts
        }
        if coming_stage is None or not early:
            continue
        then = count_lines(
            named, unit=unit, stage=coming_stage, region=region, knowledge=knowledge, facts=facts
        )
        later = [line for line in then if line.usual and line.shown and early & set(line.weights)]
        coming += [judge_line(ours, line, unit=unit, knowledge=knowledge) for line in later]
    percent = visit.defoliation_percent
    leaf_loss = None
    if percent is not None:
        leaf_loss = assess_defoliation(
            percent, stage=stage, region=region, knowledge=knowledge, facts=facts
        )
    return FieldAssessment(
        visit=visit,
        stage=stage,
        stage_seen=stage_seen,
        region=region,
        pests=tuple(usual),
        otherwise=tuple(otherwise),
        defoliation=leaf_loss,
        coming=tuple(coming),
        coming_stage=coming_stage if coming else None,
        pressure=pressure_of(usual, leaf_loss, coming=coming, knowledge=knowledge),
        not_looked_for=_not_looked_for(visit, stage, region, knowledge, facts),
    )


def assess_visit(
    visit: LoggedVisit, forecast: FieldForecast | None, loaded: LoadedSeason
) -> FieldAssessment:
    """Assess a visit of a season folder at the stage seen then, else at the one forecast.

    Raises
    ------
    SeasonProblems
        When nobody noted the stage and no station can speak for the field.
    """
    season = loaded.season
    stage = stage_of_visit(visit, season.visits_of(visit.field_id), forecast)
    if stage is None:
        raise SeasonProblems(loaded.refused)
    return assess(
        visit,
        stage=stage[0],
        stage_seen=stage[1],
        region=season.region_of(visit.field_id),
        knowledge=loaded.knowledge,
        facts=facts_of(visit.field_id, season.fields),
        coming_stage=None if forecast is None else _coming_stage(visit, stage[0], forecast, loaded),
    )


def _coming_stage(
    visit: LoggedVisit, stage: str, forecast: FieldForecast, loaded: LoadedSeason
) -> str:
    """What a field will have reached by the latest day on which it is seen again by the rule."""
    latest = visit.date + dt.timedelta(days=int(loaded.knowledge.revisit.quiet_days))
    return max(stage, forecast.stage_on(latest), key=stage_place)


def pressure_of(
    pests: Sequence[PestAssessment],
    leaf_loss: DefoliationAssessment | None,
    *,
    coming: Sequence[PestAssessment] = (),
    knowledge: Knowledge,
) -> Pressure | None:
    """The pressure of a field, for when to be back.

    Near where any pest of the usual lines is near its threshold or above it, or too few sets would
    make it so, or where the leaf loss is. Virtually none where every pest that a threshold
    speaks of is quiet, and leaf loss is far from its threshold. A pest that was found, can hurt
    and has no threshold is some pressure, and so is one whose threshold begins before the next
    visit (``coming``), though it is near where the count is near that threshold. None where
    nothing was held against a threshold.
    """
    quiet = float(knowledge.decisions.pressure.leaf_quiet_share)
    leaf = None if leaf_loss is None else leaf_loss.share
    both = (*pests, *coming)
    near = any(one.answer in ("near", "above") or (one.judged and one.over) for one in both)
    if near or any(may_be_over(one, knowledge.decisions) for one in both):
        return "near threshold"
    if leaf_loss is not None and leaf_loss.answer in ("near", "above"):
        return "near threshold"
    if coming or any(one.answer == "no threshold" and one.mean_per_set > 0 for one in pests):
        return "some"
    judged = [one for one in pests if one.judged]
    if not judged and leaf is None:
        return None
    calm = all(one.quiet for one in judged)
    return "virtually none" if calm and (leaf is None or leaf <= quiet) else "some"


def _can_hurt(pest: Pest, stage: str, region: str, knowledge: Knowledge, facts: FieldFacts) -> bool:
    """Whether one has to reckon with a pest at a stage; a species is told with its complex."""
    met = pest.presence.met_in((region,))
    first = pest.host.first
    last = lasts_to(pest, region=region, knowledge=knowledge, facts=facts)
    at = stage_place(stage)
    return pest.counted_with is None and met and stage_place(first) <= at <= stage_place(last)


def _not_looked_for(
    visit: LoggedVisit, stage: str, region: str, knowledge: Knowledge, facts: FieldFacts
) -> tuple[str, ...]:
    """Pests that can hurt at a stage and that a visit named in no way.

    It names one by itself or by a species of it.
    """
    named = named_by(visit, knowledge)
    named |= {p.counted_with for p in knowledge.pests.values() if p.id in named and p.counted_with}
    ours = facts_that_matter(facts, knowledge)
    can_hurt = knowledge.once(
        ("can hurt", stage, region, ours),
        lambda: tuple(
            pest.id
            for pest in knowledge.pests.values()
            if _can_hurt(pest, stage, region, knowledge, ours)
        ),
    )
    return tuple(pest for pest in can_hurt if pest not in named)
