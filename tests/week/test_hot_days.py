"""Days on which a scout is warned of heat."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE
from season_builder import ONE_DAY, YEAR, day

from stagecast.weather.records import DayKind, Station
from stagecast.weather.seasons import SeasonSpan, SeasonWeather
from stagecast.week.days import hot_day

SPAN = SeasonSpan.of(YEAR, end_month=12, end_day=31)
TODAY = day(7, 7)
LIMIT = float(KNOWLEDGE.workday.heat.high)
NAN = float("nan")


def weather(highs: Sequence[float]) -> SeasonWeather:
    """A season with these highs on one day, one for every possible season; cool otherwise."""
    tmax = np.full((len(highs), SPAN.days), 20.0)
    tmax[:, SPAN.index(TODAY)] = highs
    kind = np.full(SPAN.days, DayKind.PAST_SEASON, dtype=np.uint8)
    station = Station("S1", 36.0, -89.0, 100.0)
    return SeasonWeather(station, SPAN, tmax - 10, tmax, kind, None, None, (2020,) * len(highs))


def test_the_limit_is_91_degrees_fahrenheit() -> None:
    """The moderate risk of the heat index begins at 91 F, to the tenth of a degree C."""
    assert pytest.approx((91 - 32) / 1.8, abs=0.05) == LIMIT


@pytest.mark.parametrize("high", [LIMIT, LIMIT + 5])
def test_a_known_hot_day_is_certain(high: float) -> None:
    """All possible seasons alike: chance 1, the high itself, and what to do about it."""
    found = hot_day(weather([high] * 5), TODAY, KNOWLEDGE)
    assert found is not None
    assert (found.chance, found.high_c, found.limit_c) == (1.0, high, LIMIT)
    assert "water" in found.caution


def test_a_known_cool_day_and_days_outside_the_season_are_none() -> None:
    """A tenth of a degree below the limit is no hot day; nor is one without weather."""
    season = weather([LIMIT - 0.1] * 5)
    assert hot_day(season, TODAY, KNOWLEDGE) is None
    assert hot_day(weather([40.0]), TODAY + ONE_DAY, KNOWLEDGE) is None
    assert hot_day(weather([40.0]), TODAY.replace(year=YEAR + 1), KNOWLEDGE) is None


@given(st.lists(st.floats(-10, 45), min_size=1, max_size=30))
def test_the_chance_is_the_share_of_possible_seasons(highs: list[float]) -> None:
    """Told from the declared chance on, as the share that reaches the limit."""
    hot = sum(high >= LIMIT for high in highs) / len(highs)
    found = hot_day(weather(highs), TODAY, KNOWLEDGE)
    assert (found is not None) == (hot >= float(KNOWLEDGE.workday.heat.chance))
    if found is not None:
        assert found.chance == pytest.approx(hot)


def test_missing_highs_are_neither_hot_nor_cool() -> None:
    """Only what is known counts; where nothing is known nothing is said."""
    assert hot_day(weather([NAN, NAN]), TODAY, KNOWLEDGE) is None
    found = hot_day(weather([NAN, NAN, 35.0]), TODAY, KNOWLEDGE)
    assert found is not None
    assert found.chance == 1.0
    assert hot_day(weather([NAN, 20.0]), TODAY, KNOWLEDGE) is None
