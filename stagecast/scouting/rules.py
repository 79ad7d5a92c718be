"""Knowledge, cut to the shapes that the season and weather rooms ask for."""

from __future__ import annotations

from stagecast.knowledge import Knowledge
from stagecast.season.places import PlaceLimits
from stagecast.season.rules import FolderRules
from stagecast.season.settings import WeatherSettings
from stagecast.weather.gaps import GapPolicy
from stagecast.weather.seasons import SeasonSpan


def folder_rules(knowledge: Knowledge) -> FolderRules:
    """What is refused and doubted in a season folder."""
    limits, crop = knowledge.fields, knowledge.soybean
    return FolderRules(
        regions=knowledge.regions,
        places=PlaceLimits(
            latitude_low=float(limits.latitude_low),
            latitude_high=float(limits.latitude_high),
        ),
        area_doubtful_acres=float(limits.area_doubtful),
        area_limit_acres=float(limits.area_limit),
        planting_usual_first_month=int(limits.planting_usual_first_month),
        planting_usual_last_month=int(limits.planting_usual_last_month),
        emergence_soonest_days=int(float(crop.emergence.quickest)),
        emergence_latest_days=int(float(crop.emergence.slowest)),
        maturity_offsets={place: float(at) for place, at in crop.groups.offsets.items()},
        maturity_lowest=float(crop.groups.lowest),
        maturity_highest=float(crop.groups.highest),
        determinate_from=float(crop.groups.determinate_from),
        pests=knowledge.pests,
    )


def gap_policy(settings: WeatherSettings, knowledge: Knowledge) -> GapPolicy:
    """The policy the folder asks for, with the default length where it says none."""
    days = settings.bridge_days
    if days is None:
        days = int(knowledge.weather.bridge_days)
    if settings.gap_policy == "refuse" or days == 0:
        return GapPolicy.refuse()
    return GapPolicy.bridge(days)


def season_span(year: int, knowledge: Knowledge) -> SeasonSpan:
    """The days of a season that are looked at."""
    limits = knowledge.weather
    return SeasonSpan.of(
        year, end_month=int(limits.season_end_month), end_day=int(limits.season_end_day)
    )
