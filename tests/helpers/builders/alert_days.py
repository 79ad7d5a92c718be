"""A season of mornings, each with its alerts, in which fields are walked as the route says."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from commands import run_command

from stagecast.season.log.entries import LoggedVisit, ScoutingLog
from stagecast.season.told import ToldAlerts
from stagecast.visits.season_day import SeasonDay
from stagecast.week.alerts import NearBloom, alerts_of, telling
from stagecast.week.week import season_route

YEAR = 2025
"""The last year of which the demo's stations have every day."""


@dataclass(frozen=True, slots=True)
class AlertDays:
    """What was told.

    Attributes
    ----------
    told: day and kind of every alert that was new.
    bloom_leads: field -> days from its first bloom alert to R2.
    bloom_again: fields told of bloom on more than one day.
    """

    first: dt.date
    fields: int
    told: tuple[tuple[dt.date, str], ...]
    bloom_leads: dict[str, int]
    bloom_again: tuple[str, ...]


def whole_year(folder: Path) -> Path:
    """The demo's fields in a year whose weather is whole, without visits."""
    assert run_command("demo", folder).code == 0
    (folder / "visits.csv").unlink()
    traps = (folder / "traps.csv").read_text("utf-8").splitlines(keepends=True)
    (folder / "traps.csv").write_text("".join(row for row in traps if "2026" not in row), "utf-8")
    for name in ("season.toml", "fields.csv"):
        text = (folder / name).read_text("utf-8")
        (folder / name).write_text(text.replace("2026", str(YEAR)), "utf-8")
    return folder


def alert_days(folder: Path, *, first: dt.date, days: int) -> AlertDays:
    """Ask for the alerts of every morning from a day on; nothing is written to the folder."""
    log, told = ScoutingLog(), ToldAlerts()
    said: list[tuple[dt.date, str]] = []
    bloom: dict[str, list[dt.date]] = {}
    season = SeasonDay.open(folder, as_of=first, log=log)
    for number in range(days):
        day = first + dt.timedelta(days=number)
        season = SeasonDay.open(folder, as_of=day, log=log)
        new = [alert for alert in alerts_of(season, told) if told.is_new(alert, day)]
        told = telling(told, season, new)
        for alert in new:
            said.append((day, type(alert.what).__name__))
            if alert.field is not None and isinstance(alert.what, NearBloom):
                bloom.setdefault(alert.field.field_id, []).append(day)
        log = ScoutingLog((*log.visits, *_walked(season, day)))
    over = season.fields
    r2 = {one.field_id: one.forecast.stages["R2"].p50 for one in over}
    leads = {
        field: (at - bloom[field][0]).days for field, at in r2.items() if at and field in bloom
    }
    again = tuple(field for field, mornings in bloom.items() if len(mornings) > 1)
    return AlertDays(first, len(over), tuple(said), leads, again)


def _walked(season: SeasonDay, day: dt.date) -> list[LoggedVisit]:
    """One visit without pests to each field that the route walks on a day."""
    stops = (stop for one in season_route(season).days if one.date == day for stop in one.stops)
    return [
        LoggedVisit(field_id=stop.field_id, date=day, visit_id=f"{stop.field_id}-{day}")
        for stop in stops
    ]
