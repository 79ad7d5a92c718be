"""Past forecasts held against what was then seen in the fields, and against two plain rules."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from stagecast.errors import SeasonProblems
from stagecast.knowledge import Knowledge
from stagecast.phenology.learning import half_time
from stagecast.phenology.spread import quantile_days
from stagecast.scouting.forecast import FieldForecast, forecast_season
from stagecast.scouting.load import ReadFolder, as_it_stood, read_folder
from stagecast.scouting.observations import stage_ends
from stagecast.scouting.plain_rules import average_day, planting_line_day
from stagecast.scouting.ranges import PROBABILITIES
from stagecast.season.fields import Field
from stagecast.season.visits import Visit


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
        """Forecast minus seen, days; positive when the forecast was late."""
        return self.p50 - self.seen

    @property
    def covered(self) -> bool:
        """Whether the range held what was seen."""
        return self.p10 <= self.seen <= self.p90


@dataclass(frozen=True, slots=True)
class SkillRow:
    """Hindcasts of one stage and lead time, together.

    ``stage`` is None for all stages. Rules are RMSE in days on the visits that they could date,
    with the forecast's own RMSE on those same visits beside them; None where there are none.
    """

    stage: str | None
    lead_days: int
    visits: int
    bias_days: float
    rmse_days: float
    coverage: float
    planting_line_rmse: float | None
    planting_line_ours: float | None
    average_rmse: float | None
    average_ours: float | None


def hindcast(path: Path, *, as_of: dt.date, knowledge: Knowledge) -> list[Hindcast]:
    """Forecast every stage seen up to a day again, as of some days before it was seen.

    A forecast learns from what had been seen by its own day, and from nothing later. Visits come
    by date, whatever their order in the file.

    Raises
    ------
    SeasonProblems
        When the folder has errors, or when not one field can be forecast on the day.
    """
    read = read_folder(path, knowledge)
    as_it_stood(read, as_of=as_of, knowledge=knowledge)
    seen = [v for v in read.season.visits if v.stage is not None and v.date <= as_of]
    seen.sort(key=lambda visit: (visit.date, visit.field_id))
    leads = [int(lead) for lead in knowledge.soybean.skill.leads.values]
    days = {visit.date - dt.timedelta(days=lead) for visit in seen for lead in leads}
    days |= {visit.date for visit in seen}
    forecasts = {day: _forecasts(read, day, knowledge) for day in sorted(days)}
    starts = _starts(seen, forecasts, knowledge)
    fields = {field.field_id: field for field in read.season.fields}
    found = []
    for visit in seen:
        for lead in leads:
            made = visit.date - dt.timedelta(days=lead)
            forecast = forecasts[made].get(visit.field_id)
            # What the visit itself taught must not be in the forecast that it judges.
            if lead == 0:
                forecast = _without(read, visit, made, knowledge)
            if (
                forecast is None
                or visit not in starts
                or made < fields[visit.field_id].planting_date
            ):
                continue
            found.append(_hindcast(visit, lead, forecast, starts, fields, seen, knowledge))
    return found


def _forecasts(read: ReadFolder, day: dt.date, knowledge: Knowledge) -> dict[str, FieldForecast]:
    """Forecasts of a day by field; none where the weather did not reach back that far."""
    try:
        loaded = as_it_stood(read, as_of=day, knowledge=knowledge)
    except SeasonProblems:
        return {}
    return {f.field.field_id: f for f in forecast_season(loaded, knowledge)}


def _without(
    read: ReadFolder, visit: Visit, day: dt.date, knowledge: Knowledge
) -> FieldForecast | None:
    """The forecast of a day as if one visit had not been made."""
    others = tuple(v for v in read.season.visits if v != visit)
    season = replace(read.season, visits=others)
    return _forecasts(replace(read, season=season), day, knowledge).get(visit.field_id)


def _starts(
    seen: Sequence[Visit],
    forecasts: dict[dt.date, dict[str, FieldForecast]],
    knowledge: Knowledge,
) -> dict[Visit, float]:
    """When the stage of each visit began.

    With a share of plants, where half of them stood; else the visit is taken to fall into the
    middle of the stage, as long as the forecast of that day makes it.
    """
    plant_sd = float(knowledge.soybean.learning.plant_sd)
    starts: dict[Visit, float] = {}
    for visit in seen:
        forecast = forecasts[visit.date].get(visit.field_id)
        if forecast is None or visit.stage is None:
            continue
        time = forecast.span.index(visit.date) + 0.5
        if visit.share is not None:
            starts[visit] = half_time(time, visit.share, plant_sd_days=plant_sd)
            continue
        begins, ends = stage_ends(forecast.times, visit.stage)
        both = np.isfinite(begins) & np.isfinite(ends)
        length = float(np.median(ends[both] - begins[both])) if both.any() else 0.0
        starts[visit] = time - length / 2
    return starts


def _hindcast(
    visit: Visit,
    lead: int,
    forecast: FieldForecast,
    starts: dict[Visit, float],
    fields: dict[str, Field],
    seen: Sequence[Visit],
    knowledge: Knowledge,
) -> Hindcast:
    stage = visit.stage or ""
    begins, _ = stage_ends(forecast.times, stage)
    p10, p50, p90 = (float(t) for t in quantile_days(begins, PROBABILITIES, forecast.weights))
    made = visit.date - dt.timedelta(days=lead)
    field, span = fields[visit.field_id], forecast.span
    others = [
        (span.index(fields[v.field_id].planting_date), starts[v])
        for v in seen
        if v.stage == stage and v.field_id != visit.field_id and v in starts
    ]
    before = [
        (v.stage or "", starts[v])
        for v in seen
        if v.field_id == visit.field_id and v in starts and v != visit and v.date <= made
    ]
    planted = span.index(field.planting_date)
    return Hindcast(
        field_id=visit.field_id,
        stage=stage,
        lead_days=lead,
        seen=starts[visit],
        p10=p10,
        p50=p50,
        p90=p90,
        planting_line=planting_line_day(
            planted, others, fewest=int(knowledge.soybean.skill.fewest)
        ),
        average=average_day(stage, planted, before, averages=knowledge.soybean.averages),
    )


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
    errors = np.array([h.error_days for h in chosen])
    line = [(h.planting_line - h.seen, h.error_days) for h in chosen if h.planting_line is not None]
    mean = [(h.average - h.seen, h.error_days) for h in chosen if h.average is not None]
    return SkillRow(
        stage=stage,
        lead_days=lead,
        visits=len(chosen),
        bias_days=float(errors.mean()),
        rmse_days=_rmse(errors),
        coverage=float(np.mean([h.covered for h in chosen])),
        planting_line_rmse=_rmse(np.array([e for e, _ in line])) if line else None,
        planting_line_ours=_rmse(np.array([e for _, e in line])) if line else None,
        average_rmse=_rmse(np.array([e for e, _ in mean])) if mean else None,
        average_ours=_rmse(np.array([e for _, e in mean])) if mean else None,
    )


def _rmse(errors: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    return float(np.sqrt(np.mean(errors**2)))
