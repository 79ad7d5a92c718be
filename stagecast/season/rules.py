"""Limits that the knowledge sets for reading a season folder."""

from __future__ import annotations

from stagecast.knowledge import Knowledge
from stagecast.season.settings.settings import WeatherSettings
from stagecast.season.tables.places import PlaceLimits
from stagecast.weather.seasons import SeasonSpan


def place_limits(knowledge: Knowledge) -> PlaceLimits:
    """Where fields, traps and homes may lie."""
    limits = knowledge.fields
    return PlaceLimits(float(limits.latitude_low), float(limits.latitude_high))


def days_bridged(settings: WeatherSettings, knowledge: Knowledge) -> int:
    """Longest hole of a record that is bridged, in days."""
    if settings.gap_policy == "refuse":
        return 0
    return (
        int(knowledge.weather.bridge_days) if settings.bridge_days is None else settings.bridge_days
    )


def season_span(year: int, knowledge: Knowledge) -> SeasonSpan:
    """The days of a season that are looked at."""
    limits = knowledge.weather
    return SeasonSpan.of(
        year, end_month=int(limits.season_end_month), end_day=int(limits.season_end_day)
    )
