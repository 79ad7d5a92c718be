"""What the phone must know of one field on a day to count in it and to judge the counts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stagecast.base.units import Units
from stagecast.counts.assess import stage_of_visit
from stagecast.counts.stand import BEST, curve_answer, nearest_curves
from stagecast.forecast.forecast import LAST_V, LATE
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.rules import Sampling
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.pages.phone.rules import LEAF_LOSS, Table
from stagecast.pests.thresholds import FieldFacts, best, thresholds_at
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.log.entries import LoggedVisit
from stagecast.visits.look_for import looked_at
from stagecast.visits.season_day import FieldDay

STAND_LOOK, WHOLE_PLANT = "stand-look", "whole-plant"
"""The ways of sampling that count plants standing, and that judge leaf loss place by place."""

RATED: SampleUnit = "rating"

_ROW: dict[Units, Table] = {
    "us": {"length": 10, "unit": "ft"},
    "metric": {"length": 3, "unit": "m"},
}
"""The length of row that a place begins with; the scout writes the one that he measured."""


@dataclass(frozen=True, slots=True)
class FieldVisit:
    """A field that is to be walked on a day.

    ``sampling`` is the method's id, "" for none; ``sets`` are the sets, places or plants to take.
    """

    plan: FieldDay
    day: dt.date
    sampling: str
    sets: int


def counting_of(visit: FieldVisit, loaded: LoadedSeason) -> Table:
    """All that counting and judging need.

    ``form`` is what the visit is for: a stand, leaf loss by places, or sets; ``home`` has for each
    pest the unit in which the phone asks for it, so that aphids on plants are never swept for.
    """
    stage, seen = _stage(visit, loaded)
    windows = _windows(visit)
    planned, others = _pests(windows, loaded)
    units = {pest: _units(pest, stage, loaded, visit.plan) for pest in planned}
    of, size = _set(visit, planned, stage, loaded)
    method = loaded.knowledge.sampling.get(visit.sampling)
    stand = visit.sampling == STAND_LOOK
    return {
        "method": "" if method is None else method.title,
        "form": _form(visit.sampling),
        "wanted_sets": visit.sets,
        "of": of,
        "size": size,
        "pests": planned,
        "units": units,
        "home": {pest: _home(windows[pest], units[pest], of, loaded) for pest in planned},
        "others": others,
        "stage": stage,
        "stage_seen": seen,
        "forecast": visit.plan.forecast.stage_on(visit.day),
        "around": _around(visit),
        "row": _ROW[loaded.season.settings.units],
        "curves": _curves(visit, loaded) if stand else [],
    }


def _form(sampling: str) -> str:
    return {STAND_LOOK: "stand", WHOLE_PLANT: "leaf"}.get(sampling, "sets")


def _around(visit: FieldVisit) -> str:
    """The stage of the forecast as one writes it: with its nodes, and R6 for late R6."""
    forecast = visit.plan.forecast
    stage = forecast.stage_on(visit.day)
    if stage == LAST_V and forecast.stage_now.startswith("V"):
        return forecast.stage_now if stage_place(forecast.stage_now) else stage
    return "R6" if stage == LATE else stage


def _stage(visit: FieldVisit, loaded: LoadedSeason) -> tuple[str, bool]:
    """The stage that counts are held against while the scout notes none."""
    blank = LoggedVisit("", visit.plan.field_id, visit.day)
    found = stage_of_visit(blank, loaded.season.visits_of(blank.field_id), visit.plan.forecast)
    assert found is not None  # there is a forecast
    return found


def _windows(visit: FieldVisit) -> dict[str, ScoutingWindow]:
    """The first open window of each pest, the most pressing first."""
    found: dict[str, ScoutingWindow] = {}
    for window in looked_at(visit.plan.windows, visit.day):
        if window.pest is not None:
            found.setdefault(window.pest, window)
    return found


def _pests(likely: Mapping[str, object], loaded: LoadedSeason) -> tuple[list[str], list[str]]:
    """Ids of those the visit is for, as its plan has it; and of all others, the likely first.

    Leaf loss is judged for the whole canopy, so it has no button.
    """
    knowledge = loaded.knowledge
    leaf = knowledge.decisions.leaf_loss.pest
    planned = list(likely)[: int(knowledge.revisit.planned_pests)]
    rest = sorted(knowledge.pests.values(), key=lambda pest: pest.name)
    others = dict.fromkeys([*likely, *(pest.id for pest in rest)])
    return (
        [pest for pest in planned if pest != leaf],
        [pest for pest in others if pest not in planned and pest != leaf],
    )


def _units(pest: str, stage: str, loaded: LoadedSeason, plan: FieldDay) -> list[SampleUnit]:
    """What the thresholds of a pest are counted in at a stage, those that hold here first."""
    field = plan.forecast.field
    found = thresholds_at(
        loaded.knowledge.pests[pest],
        region=field.region,
        stage=stage if stage_place(stage) else None,
        knowledge=loaded.knowledge,
        facts=FieldFacts.of(field),
    )
    return list(dict.fromkeys(shown.threshold.unit for shown in found))


def _home(
    window: ScoutingWindow, units: Sequence[SampleUnit], of: SampleUnit, loaded: LoadedSeason
) -> SampleUnit:
    """The unit in which a pest is asked for: that of the visit where a threshold is in it."""
    method = loaded.knowledge.sampling.get(window.sample)
    if method is not None and method.scale is not None:
        return RATED
    counted = [unit for unit in units if unit != LEAF_LOSS]
    if counted:
        return of if of in counted else counted[0]
    return _swept(method, loaded)[0] if of == RATED else of


def _swept(method: Sampling | None, loaded: LoadedSeason) -> tuple[SampleUnit, float]:
    """A set of a method that is by sweeps, else the usual one."""
    size = None if method is None else method.size
    return "sweeps", float(size or int(loaded.knowledge.sweeps.usual_set))


def _set(
    visit: FieldVisit, pests: Sequence[str], stage: str, loaded: LoadedSeason
) -> tuple[SampleUnit, float]:
    """What a set is, unless the scout says otherwise.

    A rating where the way of sampling is one, sweeps where it is by sweeps; else what the first
    threshold of the pests that are planned for is counted in.
    """
    knowledge, field = loaded.knowledge, visit.plan.forecast.field
    method = knowledge.sampling.get(visit.sampling)
    if method is not None and method.scale is not None:
        return RATED, 1.0
    if method is not None and method.unit == "sweeps":
        return _swept(method, loaded)
    for pest in pests:
        found = thresholds_at(
            knowledge.pests[pest],
            region=field.region,
            stage=stage if stage_place(stage) else None,
            knowledge=knowledge,
            facts=FieldFacts.of(field),
        )
        for shown in best(found):
            unit = shown.threshold.unit
            if unit not in JUDGED:
                return _swept(None, loaded) if unit == "sweeps" else (unit, shown.threshold.per)
    return _swept(None, loaded)


def _curves(visit: FieldVisit, loaded: LoadedSeason) -> list[Table]:
    """Yield of the planting day and of replanting after the visit, by the trials that are near."""
    knowledge, planted = loaded.knowledge, visit.plan.forecast.field.planting_date
    rules = knowledge.stand
    replant_day = visit.day + dt.timedelta(days=int(rules.decision.lead))
    return [
        {"planted": one.planted, "replanted": one.replanted, "late": one.late}
        for curve in nearest_curves(loaded.season.settings.region, knowledge)
        for one in [
            curve_answer(curve, BEST, planted=planted, replant_day=replant_day, rules=rules)
        ]
    ]
