"""One field of a season folder: its last counted visit, assessed, and what came after it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.counts.assess import last_counted
from stagecast.counts.assessment import FieldAssessment
from stagecast.counts.economics import InjuryLevel, Prices, injury_level_of
from stagecast.counts.stand import StandAssessment
from stagecast.forecast.field_names import field_named
from stagecast.forecast.load import LoadedSeason
from stagecast.season.log.entries import Treatment
from stagecast.season.tables.fields import Field
from stagecast.visits.pressure import CountedPressure, counted_pressure
from stagecast.visits.reentry import EfficacyCheck, NoEntry, no_entry_as_of
from stagecast.visits.season_day import FieldDay, SeasonDay


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
    plan : FieldDay or None
        Of the next visit by the rule.
    stand : StandAssessment or None
        The last stand count.
    counted : CountedPressure or None
        What the counts say of the next visit.
    """

    loaded: LoadedSeason
    field: Field
    found: FieldAssessment | None
    injury: InjuryLevel | None
    treated: tuple[Treatment, ...]
    no_entry: NoEntry | None
    plan: FieldDay | None = None
    stand: StandAssessment | None = None
    counted: CountedPressure | None = None


def check_days(field: FieldDay, counted_on: dt.date) -> tuple[dt.date, dt.date] | None:
    """The days of an efficacy check that a treatment since the counts waits for.

    None is before the day asked for.
    """
    for one in field.visit.reasons:
        if isinstance(one, EfficacyCheck) and one.treatment.applied_at.date() >= counted_on:
            first = max(one.soonest, field.season.as_of)
            return first, max(one.latest, first)
    return None


def assess_field(season: SeasonDay, field: str, *, prices: Prices | None = None) -> AssessedField:
    """Assess the last counts of a field.

    Parameters
    ----------
    season : SeasonDay
    field : str
        Id of the field, in any case.
    prices : Prices, optional
        For an economic injury level.

    Raises
    ------
    SeasonProblems
        When there is no such field, nobody noted the stage and none can be forecast, or prices are
        incomplete.
    """
    loaded, as_of = season.loaded, season.as_of
    one = field_named(field, loaded.season, option="FIELD")
    log = loaded.season.log.of_field(one.field_id).up_to(as_of)
    visit = last_counted(log, one.field_id, as_of)
    # A field that no station can speak for is assessed at the stage that was noted.
    field_day = next((f for f in season.fields if visit and f.field_id == one.field_id), None)
    forecast = None if field_day is None else field_day.forecast
    found = None if visit is None else season.assess(visit, forecast)
    injury = None
    if prices is not None:
        pests = () if found is None else found.pests
        injury = injury_level_of(prices, pests, knowledge=season.knowledge)
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
        plan=field_day,
        stand=season.assess_stand(one),
        counted=None if found is None else counted_pressure(found, season.knowledge),
    )
