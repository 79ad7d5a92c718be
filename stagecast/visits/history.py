"""One field over the season: what was seen and counted, what it meant then, what was done."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.errors import SeasonProblems
from stagecast.counts.assess import assess_visit, stage_of_visit
from stagecast.counts.assessment import FieldAssessment
from stagecast.forecast.field_names import field_named
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, load_season
from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.reentry import NoEntry, no_entry_as_of


@dataclass(frozen=True, slots=True)
class PastVisit:
    """A visit, and what it meant.

    Attributes
    ----------
    date : datetime.date
    logged : LoggedVisit or None
        None for a line of visits.csv alone.
    stage : str
        Seen then, else what is now thought of that day.
    stage_seen : bool
    share : float or None
        Of plants in the stage noted, 0 to 1, where it was counted.
    found : FieldAssessment or None
        None where nothing was counted.
    noted : {"near threshold", "some", "virtually none"} or None
        The word in visits.csv for the day.
    """

    date: dt.date
    logged: LoggedVisit | None
    stage: str
    stage_seen: bool
    share: float | None
    found: FieldAssessment | None
    noted: Pressure | None

    @property
    def pressure(self) -> Pressure | None:
        """By the counts; by the word where nothing counted has a threshold."""
        counted = None if self.found is None else self.found.pressure
        return self.noted if counted is None else counted


@dataclass(frozen=True, slots=True)
class FieldHistory:
    """A field from planting to a day.

    Attributes
    ----------
    loaded : LoadedSeason
    forecast : FieldForecast
    visits : tuple of PastVisit
        By date; those of a day in the order of entry.
    treatments : tuple of Treatment
        By time.
    no_entry : NoEntry or None
    """

    loaded: LoadedSeason
    forecast: FieldForecast
    visits: tuple[PastVisit, ...]
    treatments: tuple[Treatment, ...]
    no_entry: NoEntry | None


def field_history(path: Path, field: str, *, as_of: dt.date) -> FieldHistory:
    """Tell the season of a field up to a day.

    Parameters
    ----------
    path : Path
        The season folder.
    field : str
        Id of the field, in any case.
    as_of : datetime.date
        Nothing seen or done after it is told.

    Raises
    ------
    SeasonProblems
        With every error of every file; or when there is no such field, or no station can speak
        for it.
    """
    loaded = load_season(path, as_of=as_of)
    field_id = field_named(field, loaded.season.fields, option="FIELD").field_id
    every = forecast_season(loaded)
    forecast = next((f for f in every if f.field.field_id == field_id), None)
    if forecast is None:
        raise SeasonProblems(loaded.refused)
    return told_history(forecast, loaded)


def told_history(forecast: FieldForecast, loaded: LoadedSeason) -> FieldHistory:
    """The season of a field that is forecast already, up to the day of the forecast."""
    field_id, as_of = forecast.field.field_id, loaded.as_of
    log = loaded.season.log.of_field(field_id).up_to(as_of)
    noted = {v.date: v for v in loaded.season.visits if v.field_id == field_id and v.date <= as_of}
    visits = [_past(v.date, v, noted.get(v.date), forecast, loaded) for v in log.visits]
    logged = {visit.date for visit in log.visits}
    visits += [_past(d, None, v, forecast, loaded) for d, v in noted.items() if d not in logged]
    return FieldHistory(
        loaded=loaded,
        forecast=forecast,
        visits=tuple(sorted(visits, key=lambda visit: visit.date)),
        treatments=log.treatments,
        no_entry=no_entry_as_of(log, field_id, as_of),
    )


def _past(
    date: dt.date,
    logged: LoggedVisit | None,
    noted: Visit | None,
    forecast: FieldForecast,
    loaded: LoadedSeason,
) -> PastVisit:
    """A visit of the log, of visits.csv, or of both on the same day."""
    field_id = forecast.field.field_id
    asked = LoggedVisit("", field_id, date) if logged is None else logged
    told = stage_of_visit(asked, loaded.season.visits, forecast)
    stage, seen = (forecast.stage_on(date), False) if told is None else told
    counted = asked.sets or asked.defoliation_percent is not None
    share = asked.share
    if asked.stage is None and noted is not None:
        share = noted.share
    return PastVisit(
        date=date,
        logged=logged,
        stage=stage,
        stage_seen=seen,
        share=share,
        found=assess_visit(asked, forecast, loaded) if counted else None,
        noted=None if noted is None else noted.pressure,
    )
