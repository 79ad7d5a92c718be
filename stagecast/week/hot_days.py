"""Days on which the heat itself is a danger to the scout."""

from __future__ import annotations

import datetime as dt

import numpy as np

from stagecast.knowledge import Knowledge
from stagecast.weather.seasons import SeasonWeather
from stagecast.week.types import HotDay


def hot_day(weather: SeasonWeather, day: dt.date, knowledge: Knowledge) -> HotDay | None:
    """A day that is as likely hot as ``workday.toml`` asks for; None for any other.

    Parameters
    ----------
    weather : SeasonWeather
        Of the station that speaks for the day's fields.
    day : datetime.date
    knowledge : Knowledge

    Returns
    -------
    HotDay or None
        None also where nothing is known of the day: missing temperatures are neither hot nor cool.

    Notes
    -----
    The chance is the share of possible seasons whose high reaches the limit. Up to
    ``last_known`` all are alike, so that a measured or forecast day has a chance of 1 or 0. The
    limit is one of the heat index; the air's temperature alone stands for it here, and humid air
    feels hotter.

    References
    ----------
    US Occupational Safety and Health Administration, Using the heat index: a guide for employers.
    """
    index = weather.span.index(day)
    if not 0 <= index < weather.span.days:
        return None
    highs = weather.tmax_c[:, index]
    known = highs[~np.isnan(highs)]
    if not known.size:
        return None
    rule = knowledge.workday.heat
    chance = float(np.mean(known >= float(rule.high)))
    if chance < float(rule.chance):
        return None
    return HotDay(float(np.median(known)), chance, float(rule.high), rule.caution.text)
