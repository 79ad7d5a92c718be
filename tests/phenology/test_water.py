"""Water under a crop: evaporation against worked examples, the bucket against its balance."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pvlib.irradiance import get_extra_radiation
from pvlib.solarposition import get_solarposition

from stagecast.knowledge import load
from stagecast.phenology.water import crop_share, missing_mm, reference_evaporation_mm, sun_mm

WATER = load().water
MM_PER_MJ = 0.408
HOLDS, EASY = float(WATER.soil.holds), float(WATER.soil.easy)


def evaporation(tmin_c: float, tmax_c: float, latitude: float, day: int) -> float:
    """Reference evaporation of one day, mm."""
    rules = WATER.evaporation
    return float(
        reference_evaporation_mm(
            np.array([tmin_c]), np.array([tmax_c]), sun_mm(latitude, np.array([float(day)])),
            factor=float(rules.factor), offset_c=float(rules.offset),
        )[0]
    )  # fmt: skip


def bucket(rain: list[float], demand: list[float]) -> np.ndarray:
    """What the soil lacks after each day, mm."""
    return missing_mm(np.array(rain), np.array(demand), holds_mm=HOLDS, easy_share=EASY)


# --- evaporation ----------------------------------------------------------------------------------


def test_sun_above_the_air_as_in_a_worked_example() -> None:
    """FAO-56, Example 8 (from memory): 32.2 MJ/m2 on 3 September at 20 degrees south."""
    assert sun_mm(-20.0, np.array([246.0]))[0] / MM_PER_MJ == pytest.approx(32.2, abs=0.1)


@pytest.mark.parametrize("latitude", [30.0, 36.0, 41.6, 48.0])
def test_sun_above_the_air_as_an_independent_library_has_it(latitude: float) -> None:
    """Radiation and sun of pvlib, by the minute, give a day within 5 percent, worst in October."""
    for day in (100, 150, 200, 250, 290):
        first = pd.Timestamp("2026-01-01", tz="UTC") + pd.Timedelta(days=day - 1)
        minutes = pd.date_range(first, periods=1440, freq="min")
        sun = get_solarposition(minutes, latitude, 0.0)
        height = np.cos(np.radians(sun["zenith"].to_numpy())).clip(min=0.0)
        energy = float(get_extra_radiation(day)) * height.sum() * 60.0 / 1e6
        assert sun_mm(latitude, np.array([float(day)]))[0] == pytest.approx(
            MM_PER_MJ * energy, rel=0.05
        )


def test_evaporation_as_in_a_worked_example() -> None:
    """FAO-56, Example 20 (Hargreaves from memory): Lyon in July, 14.8 to 26.6 C, 5.0 mm."""
    assert evaporation(14.8, 26.6, 45.72, 196) == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize("tmin_c", [20.0, 20.5])
def test_a_day_as_warm_as_its_night_takes_no_water(tmin_c: float) -> None:
    """By the root of the swing; a minimum above the maximum is no swing either."""
    assert evaporation(tmin_c, 20.0, 40.0, 200) == 0.0


def test_a_day_without_temperatures_has_no_evaporation_not_none() -> None:
    """A missing temperature leaves the evaporation unknown."""
    assert np.isnan(evaporation(float("nan"), 30.0, 40.0, 200))


# --- the crop's share -----------------------------------------------------------------------------


def test_a_crop_takes_most_at_full_cover() -> None:
    """FAO-56, Tables 11 and 12: 0.5 for 20 of 140 days, 1.15 from day 55 to 115, 0.5 at the end."""
    days = np.array([0.0, 20.0, 37.5, 55.0, 115.0, 140.0, 160.0])
    share = crop_share(days, 140.0, lengths=WATER.crop.lengths.values,
                       factors=WATER.crop.factors.values)  # fmt: skip
    np.testing.assert_allclose(share, [0.5, 0.5, 0.825, 1.15, 1.15, 0.5, 0.5])


# --- the bucket -----------------------------------------------------------------------------------

amounts = st.floats(0.0, 80.0)


@given(days=st.lists(st.tuples(amounts, amounts), min_size=1, max_size=60))
def test_a_bucket_lacks_no_more_than_it_holds_and_no_less_than_nothing(
    days: list[tuple[float, float]],
) -> None:
    """Whatever falls and whatever is wanted, it is between full and empty."""
    lack = bucket([rain for rain, _ in days], [demand for _, demand in days])
    assert ((lack >= 0.0) & (lack <= HOLDS)).all()


@given(days=st.lists(st.tuples(amounts, st.floats(0.0, 10.0)), min_size=1, max_size=60),
       more=st.floats(0.0, 50.0))  # fmt: skip
def test_more_rain_never_leaves_it_drier(days: list[tuple[float, float]], more: float) -> None:
    """Rain added to the first day leaves every later day as dry or wetter."""
    demand = [want for _, want in days]
    rain = [fell for fell, _ in days]
    drier = bucket(rain, demand)
    wetter = bucket([rain[0] + more, *rain[1:]], demand)
    assert (wetter <= drier + 1e-9).all()


def test_water_is_taken_in_full_while_it_is_easy_then_less() -> None:
    """FAO-56 equation 84: at three quarters gone, half of what the crop wants is taken."""
    wanted = HOLDS / 4
    lack = bucket([0.0] * 4, [wanted] * 4)
    np.testing.assert_allclose(lack, [wanted, 2 * wanted, 3 * wanted, 3.5 * wanted])


def test_a_day_of_which_nothing_is_known_changes_nothing() -> None:
    """Unknown rain is neither a dry day nor a wet one."""
    lack = bucket([0.0, float("nan"), 0.0], [5.0, 5.0, float("nan")])
    assert lack.tolist() == [5.0, 5.0, 5.0]
