"""The heat curves of every pest that heat times, for each station of a planned season."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.knowledge.pest import Pest
from stagecast.scouting.forecast import FieldForecast
from stagecast.scouting.load import ReadFolder
from stagecast.scouting.pest_clock import NotTimed, PestClock
from stagecast.scouting.pest_curves import PestCurve
from stagecast.scouting.pest_season import PestEvent, curve_at, events_of, heat_begins
from stagecast.scouting.plan import SeasonPlan
from stagecast.scouting.trap_history import season_histories


@dataclass(frozen=True, slots=True, eq=False)
class StationCurve:
    """A pest's heat at a station.

    Attributes
    ----------
    station : str
    pest : Pest
    field_id : str
        The field whose biofix it is told for: the first whose heat begins.
    since : str
        What heat is counted from, in words.
    by_crop : bool
        Whether that is a stage of the crop, which every field reaches on a day of its own.
    tested : str
        How well heat timed it here in past years, or that nobody tested it.
    events : tuple of PestEvent
    curve : PestCurve
    """

    station: str
    pest: Pest
    field_id: str
    since: str
    by_crop: bool
    tested: str
    events: tuple[PestEvent, ...]
    curve: PestCurve


def season_curves(season: SeasonPlan, read: ReadFolder) -> tuple[StationCurve, ...]:
    """Every curve of a season, by station and then by the pest's name.

    Parameters
    ----------
    season : SeasonPlan
    read : ReadFolder
        The folder that the season was planned from.
    """
    loaded = season.loaded
    knowledge, as_of = loaded.knowledge, loaded.as_of
    clock = PestClock(loaded, knowledge, season_histories(read, as_of=as_of, knowledge=knowledge))
    groups: dict[str, list[FieldForecast]] = {}
    for plan in season.fields:
        station = plan.forecast.weather.season.station.station
        groups.setdefault(station, []).append(plan.forecast)
    region = loaded.season.settings.region
    pests = [
        pest
        for pest in sorted(knowledge.pests.values(), key=lambda pest: pest.name)
        if pest.heat is not None and (not pest.presence.regions or region in pest.presence.regions)
    ]
    found = (
        _curve(groups[station], pest, clock, read, as_of)
        for station in sorted(groups)
        for pest in pests
    )
    return tuple(curve for curve in found if curve is not None)


def _curve(
    fields: list[FieldForecast], pest: Pest, clock: PestClock, read: ReadFolder, as_of: dt.date
) -> StationCurve | None:
    """The curve of a pest at the station of some fields; None where heat does not time it."""
    timings = [(forecast, clock.timing(forecast, pest)) for forecast in fields]
    forecast, timing = min(timings, key=lambda pair: heat_begins(*pair))
    if isinstance(timing, NotTimed):
        return None
    curve = curve_at(forecast, timing, read, as_of, clock.knowledge)
    if curve is None:
        return None
    return StationCurve(
        station=forecast.weather.season.station.station,
        pest=pest,
        field_id=forecast.field.field_id,
        since=timing.start.since,
        by_crop=timing.start.rests_on == "crop stage",
        tested=clock.tested(forecast, pest),
        events=events_of(forecast, timing, clock),
        curve=curve,
    )
