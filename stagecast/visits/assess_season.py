"""One field of a season folder: its last counted visit, assessed, and what came after it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from stagecast.counts.assess import assess_visit, last_counted
from stagecast.counts.assessment import FieldAssessment
from stagecast.counts.economics import InjuryLevel, Prices, injury_level_of
from stagecast.forecast.field_names import field_named
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, load_season
from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.season.tables.fields import Field
from stagecast.visits.reentry import NoEntry, no_entry_as_of


@dataclass(frozen=True, slots=True)
class AssessedField:
    """A field as it stood on a day.

    Attributes
    ----------
    loaded : LoadedSeason
    field : Field
    found : FieldAssessment or None
        Of the last visit with counts or leaf loss; None where there is none yet.
    injury : InjuryLevel or None
        Where prices were given.
    treated : tuple of Treatment
        On the day of that visit or after it: the counts may be from before.
    no_entry : NoEntry or None
    """

    loaded: LoadedSeason
    field: Field
    found: FieldAssessment | None
    injury: InjuryLevel | None
    treated: tuple[Treatment, ...]
    no_entry: NoEntry | None


def assess_season(
    path: Path, field: str, *, as_of: dt.date, prices: Prices | None = None
) -> AssessedField:
    """Assess a field of a season folder.

    Parameters
    ----------
    path : Path
        The season folder.
    field : str
        Id of the field, in any case.
    as_of : datetime.date
        Nothing entered for a later day takes part.
    prices : Prices, optional
        For an economic injury level.

    Raises
    ------
    SeasonProblems
        With every error of every file; or when there is no such field, nobody noted the stage and
        none can be forecast, or prices are incomplete.
    """
    loaded = load_season(path, as_of=as_of)
    one = field_named(field, loaded.season.fields, option="FIELD")
    log = loaded.season.log.of_field(one.field_id).up_to(as_of)
    visit = last_counted(log, one.field_id, as_of)
    found = None
    if visit is not None:
        found = assess_visit(visit, _forecast(visit, loaded), loaded)
    injury = None
    if prices is not None:
        pests = () if found is None else found.pests
        injury = injury_level_of(prices, pests, knowledge=loaded.knowledge)
    return AssessedField(
        loaded=loaded,
        field=one,
        found=found,
        injury=injury,
        treated=tuple(
            treatment
            for treatment in log.treatments
            if visit is not None and treatment.applied_at.date() >= visit.date
        ),
        no_entry=no_entry_as_of(loaded.season.log, one.field_id, as_of),
    )


def _forecast(visit: LoggedVisit, loaded: LoadedSeason) -> FieldForecast | None:
    """The forecast of the visit's field; None where no station can speak for it.

    It is asked for also where somebody noted a stage: it says whether that can be.
    """
    every = forecast_season(loaded)
    return next((f for f in every if f.field.field_id == visit.field_id), None)
