"""Every limit that reading a season folder needs, in one value.

The numbers live in ``knowledge/``; whoever reads a folder fills this in from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.season.settings.settings import WeatherSettings
from stagecast.season.tables.places import PlaceLimits
from stagecast.weather.gaps import GapPolicy
from stagecast.weather.seasons import SeasonSpan


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderRules:
    """What is refused and what is doubted in a season folder.

    Attributes
    ----------
    regions : mapping
        State code -> state name.
    places : PlaceLimits
        Where fields and home may lie.
    area_doubtful_acres, area_limit_acres : float
        Above the first a field is doubted, above the second refused.
    planting_usual_first_month, planting_usual_last_month : int
        Planting in another month is doubted.
    emergence_soonest_days, emergence_latest_days : int
        Days from planting to emergence outside which an emergence date is doubted.
    maturity_offsets : mapping
        Places of ``whole``, ``early``, ``mid`` and ``late`` in a maturity group.
    maturity_lowest, maturity_highest : float
        Accepted range on the continuous maturity scale, ends included.
    determinate_from : float
        First place on that scale where a blank growth habit means determinate.
    field_id_longest : int
        Longest field_id, in characters: it has to fit a line of a plan.
    elevation_lowest_m, elevation_highest_m : float
        Accepted heights above sea level, ends included.
    pests : mapping of str to Pest, or None
        The pests that a trap may catch; None leaves their names unchecked.
    """

    regions: Mapping[str, str]
    places: PlaceLimits
    area_doubtful_acres: float
    area_limit_acres: float
    planting_usual_first_month: int
    planting_usual_last_month: int
    emergence_soonest_days: int
    emergence_latest_days: int
    maturity_offsets: Mapping[str, float]
    maturity_lowest: float
    maturity_highest: float
    determinate_from: float
    field_id_longest: int = 64
    elevation_lowest_m: float = -500.0
    elevation_highest_m: float = 9000.0
    pests: Mapping[str, Pest] | None = None


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
