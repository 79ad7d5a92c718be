"""One field over the season: what was seen and counted, what it meant then, what was done."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from stagecast.counts.assess import stage_of_visit
from stagecast.counts.assessment import FieldAssessment
from stagecast.counts.stand import StandAssessment
from stagecast.forecast.forecast import FieldForecast
from stagecast.forecast.load import LoadedSeason
from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.reentry import NoEntry, no_entry_as_of
from stagecast.visits.season_day import FieldDay


@dataclass(frozen=True, slots=True)
class PastVisit:
    """A visit, and what it meant.

    Attributes
    ----------
    date : datetime.date
    logged : LoggedVisit or None
        None for a line of visits.csv alone.
    stage : str
        Seen then, else what is now thought of that day; "" where nobody noted that of plants that
        are gone.
    stage_seen : bool
    share : float or None
        Of plants in the stage noted, 0 to 1, where it was counted.
    found : FieldAssessment or None
        None where nothing was counted.
    noted : {"near threshold", "some", "virtually none"} or None
        The word in visits.csv for the day.
    stand : StandAssessment or None
    of_these_plants : bool
        False for what was seen before the field was replanted.
    """

    date: dt.date
    logged: LoggedVisit | None
    stage: str
    stage_seen: bool
    share: float | None
    found: FieldAssessment | None
    noted: Pressure | None
    stand: StandAssessment | None = None
    of_these_plants: bool = True

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


def field_history(one: FieldDay) -> FieldHistory:
    """Tell the season of a field up to the day."""
    loaded, as_of = one.season.loaded, one.season.as_of
    every = one.season.read.season  # plants that are gone are history too
    log = every.log.of_field(one.field_id).up_to(as_of)
    noted = {v.date: v for v in every.visits if v.field_id == one.field_id}
    noted = {day: visit for day, visit in noted.items() if day <= as_of}
    logged = {visit.date for visit in log.visits}
    visits = [_past(one, v.date, v, noted.get(v.date)) for v in log.visits]
    visits += [_past(one, day, None, v) for day, v in noted.items() if day not in logged]
    return FieldHistory(
        loaded=loaded,
        forecast=one.forecast,
        visits=tuple(sorted(visits, key=lambda visit: visit.date)),
        treatments=log.treatments,
        no_entry=no_entry_as_of(log, one.field_id, as_of),
    )


def _past(
    one: FieldDay, date: dt.date, logged: LoggedVisit | None, noted: Visit | None
) -> PastVisit:
    """A visit of the log, of visits.csv, or of both on the same day."""
    asked = LoggedVisit("", one.field_id, date) if logged is None else logged
    these = one.forecast.field.of_these_plants(date)
    forecast = one.forecast if these else None
    told = stage_of_visit(asked, one.season.read.season.visits_of(one.field_id), forecast)
    stage, seen = ("", False) if told is None else told
    share = asked.share
    if asked.stage is None and noted is not None:
        share = noted.share
    judged = asked if these else replace(asked, stage=stage, share=None)
    counted = asked.sets or asked.defoliation_percent is not None
    return PastVisit(
        date=date,
        logged=logged,
        stage=stage,
        stage_seen=seen,
        share=share,
        found=one.season.assess(judged, forecast) if counted and told is not None else None,
        noted=None if noted is None else noted.pressure,
        stand=one.season.assess_stand(one.forecast.field.as_it_stood(date), asked),
        of_these_plants=these,
    )
