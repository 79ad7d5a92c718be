"""How dry a field is, and how that opens the range of R7 and R8.

The soil is full at emergence, rain fills it, the crop empties it
(:mod:`stagecast.phenology.water`).
A drought may hasten maturity or delay it, so the middle of the range stays.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from stagecast.base.units import FloatArray
from stagecast.forecast.load import LoadedSeason
from stagecast.forecast.members import FieldMembers
from stagecast.knowledge.crop import Drought, Water
from stagecast.phenology.soybean import STAGES, IntArray
from stagecast.phenology.spread import quantile_days
from stagecast.phenology.water import crop_share, missing_mm, reference_evaporation_mm, sun_mm
from stagecast.weather.seasons import SeasonWeather

R5, R7, R8 = (STAGES.index(stage) for stage in ("R5", "R7", "R8"))


@dataclass(frozen=True, slots=True)
class FieldWater:
    """Water in the soil of a field, as far as rain was measured.

    Attributes
    ----------
    until: the last day with a reading of rain.
    dry_since: first day of the days on end that it is dry; None where it is not.
    dry_days: days since emergence on which it was dry.
    drought: how much of a whole drought these are, 0 to 1.
    """

    until: dt.date
    dry_since: dt.date | None
    dry_days: int
    drought: float


def field_water(members: FieldMembers, loaded: LoadedSeason) -> FieldWater | None:
    """The water of a field up to the last reading of rain.

    None where it is irrigated and kept full, has not emerged, or too little is known of rain.
    """
    field, season = members.field, loaded.weather[members.field.field_id].season
    rules = loaded.knowledge.water
    if field.irrigated or season.rain_mm is None:
        return None
    read = np.flatnonzero(np.isfinite(season.rain_mm))
    (emerged,) = quantile_days(members.times[:, STAGES.index("VE")], (0.5,))
    if not read.size or not np.isfinite(emerged) or read[-1] < np.floor(emerged):
        return None
    days = np.arange(int(np.floor(emerged)), int(read[-1]) + 1)
    rain = season.rain_mm[days]
    if np.isnan(rain).mean() > float(rules.soil.most_missing):
        return None
    planted = loaded.span.index(field.planting_date)
    (mature,) = quantile_days(members.times[:, R8], (0.5,))
    whole = min(float(mature), float(loaded.span.days)) - planted
    demand = _demand_mm(season, days, field.latitude, planted, whole, rules)
    lack = missing_mm(
        rain, demand, holds_mm=float(rules.soil.holds), easy_share=float(rules.soil.easy)
    )
    dry = lack > float(rules.soil.easy) * float(rules.soil.holds)
    wet = np.flatnonzero(~dry)
    first_dry = int(wet[-1]) + 1 if wet.size else 0
    dry_days = int(dry.sum())
    return FieldWater(
        until=loaded.span.first_day + dt.timedelta(days=int(days[-1])),
        dry_since=loaded.span.date(float(days[first_dry])) if dry[-1] else None,
        dry_days=dry_days,
        drought=min(dry_days / int(rules.drought.whole_after), 1.0),
    )


def _demand_mm(
    season: SeasonWeather,
    days: IntArray,
    latitude: float,
    planted: int,
    whole_days: float,
    rules: Water,
) -> FloatArray:
    evaporation = reference_evaporation_mm(
        season.tmin_c[0, days],
        season.tmax_c[0, days],
        sun_mm(latitude, np.asarray(days + 1.0)),
        factor=float(rules.evaporation.factor),
        offset_c=float(rules.evaporation.offset),
    )
    share = crop_share(
        np.asarray(days - float(planted)),
        whole_days,
        lengths=rules.crop.lengths.values,
        factors=rules.crop.factors.values,
    )
    return np.asarray(evaporation * share)


def opened(
    times: FloatArray,
    weights: FloatArray,
    water: FieldWater | None,
    *,
    now: float,
    drought: Drought,
) -> FloatArray:
    """Stage times in which R7 and R8 are less sure where the field was dry.

    Each member is moved away from the middle of its stage: one at the 10 percent end by the whole
    of the early days, one at the 90 percent end by the late ones. What of R5 to R7 lies behind is
    not moved any more, so R7 never comes before ``now`` by this, and R8 stays after it.

    Parameters
    ----------
    times : ndarray, shape (members, stages)
    weights : ndarray, shape (members,)
        Sum to 1.
    now: fractional day.
    """
    if water is None or water.drought == 0.0:
        return times
    r5, r7 = times[:, R5], times[:, R7]
    ahead = np.zeros(len(r7))
    ripens = np.isfinite(r7)
    filling = np.maximum(r7[ripens] - r5[ripens], 1.0)
    ahead[ripens] = np.clip((r7[ripens] - now) / filling, 0.0, 1.0)
    moved = times.copy(order="K")
    for stage in (R7, R8):
        moved[:, stage] += water.drought * ahead * _apart(times[:, stage], weights, drought)
    moved[:, R8] = np.maximum(moved[:, R8], np.minimum(moved[:, R7] + 1.0, times[:, R8]))
    return moved


def _apart(times: FloatArray, weights: FloatArray, drought: Drought) -> FloatArray:
    """Days by which a whole drought moves each member away from the middle."""
    order = times.argsort(kind="stable")
    rank = np.empty(len(times))
    rank[order] = np.cumsum(weights[order]) - weights[order] / 2.0
    days = np.where(rank < 0.5, float(drought.early), float(drought.late))
    return np.asarray(days * (rank - 0.5) / 0.4)
