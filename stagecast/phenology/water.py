"""Water in a soil under a crop: reference evaporation from temperatures, and a bucket.

Everything is an array over days; nothing here knows of files or dates.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stagecast.base.units import FloatArray

# The sun above the air, FAO-56 equations 21 to 25.
_SOLAR_CONSTANT_MJ_M2_MIN: Final = 0.0820
_MINUTES: Final = 24.0 * 60.0
_MM_PER_MJ_M2: Final = 0.408


def sun_mm(latitude_deg: float, day_of_year: FloatArray) -> FloatArray:
    """Water that the sun above the air could evaporate in a day, mm.

    Parameters
    ----------
    latitude_deg: degrees north, between the polar circles.
    day_of_year : ndarray
        1 for 1 January.

    References
    ----------
    Allen, R.G., Pereira, L.S., Raes, D., Smith, M. 1998. Crop evapotranspiration. FAO Irrigation
    and drainage paper 56, equations 20 to 25.
    """
    angle = 2.0 * np.pi / 365.0 * day_of_year
    latitude = np.radians(latitude_deg)
    distance = 1.0 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    sunset = np.arccos(-np.tan(latitude) * np.tan(declination))
    both = np.sin(latitude) * np.sin(declination)
    across = np.cos(latitude) * np.cos(declination)
    daily = sunset * both + across * np.sin(sunset)
    energy = _MINUTES / np.pi * _SOLAR_CONSTANT_MJ_M2_MIN * distance * daily
    return np.asarray(_MM_PER_MJ_M2 * energy)


def reference_evaporation_mm(
    tmin_c: FloatArray, tmax_c: FloatArray, sun: FloatArray, *, factor: float, offset_c: float
) -> FloatArray:
    """Evaporation of a short green grass from a day's temperatures, mm; NaN where one is missing.

    Parameters
    ----------
    sun: of :func:`sun_mm`.

    References
    ----------
    Hargreaves, G.H., Samani, Z.A. 1985. Reference crop evapotranspiration from temperature.
    Applied Engineering in Agriculture 1: 96-99; FAO-56 equation 52.
    """
    mean = (tmin_c + tmax_c) / 2.0
    swing = np.sqrt(np.maximum(tmax_c - tmin_c, 0.0))
    return np.asarray(np.maximum(factor * (mean + offset_c) * swing * sun, 0.0))


def crop_share(
    days_since_planting: FloatArray,
    season_days: float,
    *,
    lengths: tuple[float, ...],
    factors: tuple[float, ...],
) -> FloatArray:
    """Share of the reference evaporation that a crop takes which never lacks water.

    Parameters
    ----------
    season_days: planting to full maturity; the parts are stretched to it.
    lengths: of the slow start, the growing, the full cover and the ripening, days.
    factors: the share at the start, at full cover and at the end.

    References
    ----------
    FAO-56, chapter 6: even at the start, rising, even at full cover, falling.
    """
    start, full, end = factors
    ends = np.cumsum(lengths) * season_days / sum(lengths)
    return np.asarray(np.interp(days_since_planting, ends, (start, full, full, end)))


def missing_mm(
    rain_mm: FloatArray, demand_mm: FloatArray, *, holds_mm: float, easy_share: float
) -> FloatArray:
    """Water that a full soil lacks at the end of each day, mm.

    Rain on a full soil runs off. Once more than the easy share is gone, the crop takes less of
    what it wants, in step with what is left.

    Parameters
    ----------
    rain_mm, demand_mm : ndarray, shape (days,)
        Where one of the two is unknown the day changes nothing.

    References
    ----------
    FAO-56 equations 84 and 85.
    """
    lack, easy_mm = 0.0, easy_share * holds_mm
    found = np.empty(len(rain_mm))
    for day, (rain, demand) in enumerate(zip(rain_mm.tolist(), demand_mm.tolist(), strict=True)):
        if rain == rain and demand == demand:
            left = min((holds_mm - lack) / (holds_mm - easy_mm), 1.0)
            lack = min(max(lack + demand * left - rain, 0.0), holds_mm)
        found[day] = lack
    return found
