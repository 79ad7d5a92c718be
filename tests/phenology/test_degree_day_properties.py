"""Degree-days: what must hold for any day, the edges of the definitions, what is refused."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stagecast.base.units import c_to_f, f_to_c
from stagecast.phenology.degree_days import (
    Cutoff,
    Method,
    Shape,
    area_above,
    daily_degree_days,
    share_above,
)

CURVED = [m for m in Method if m not in (Method.CLAMPED_AVERAGE, Method.CAPPED_AVERAGE)]
ALLOWED = [
    (method, cutoff)
    for method, cutoff in itertools.product(Method, Cutoff)
    if method in CURVED or cutoff in (Cutoff.NONE, Cutoff.HORIZONTAL)
]
RISING = [(m, c) for m, c in ALLOWED if c in (Cutoff.NONE, Cutoff.HORIZONTAL)]
temperature = st.integers(-200, 500).map(lambda tenths: tenths / 10)
warming = st.integers(0, 150).map(lambda tenths: tenths / 10)


@st.composite
def weeks(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Minima and maxima of seven days in tenths of a degree."""
    low = np.array(draw(st.lists(temperature, min_size=7, max_size=7)))
    spread = np.array(draw(st.lists(st.integers(0, 250), min_size=7, max_size=7))) / 10
    return low, np.round(low + spread, 1)


few_weeks = settings(max_examples=40)  # days by the hundred, and every method by itself


def heat(low: Any, high: Any, method: Method, cutoff: Cutoff, **changed: Any) -> np.ndarray:
    """Degree-days with thresholds 10 and 30 unless told otherwise."""
    arguments = {"lower_c": 10.0, "upper_c": 30.0} | changed
    return daily_degree_days(low, high, method=method, cutoff=cutoff, **arguments)


@pytest.mark.parametrize(("method", "cutoff"), RISING)
@few_weeks
@given(week=weeks(), day=st.integers(0, 6), more=warming)
def test_more_warmth_is_never_less_heat(
    method: Method, cutoff: Cutoff, week: tuple[np.ndarray, np.ndarray], day: int, more: float
) -> None:
    """With no cutoff or a horizontal one, raising any minimum or maximum lowers no day."""
    low, high = week
    before = heat(low, high, method, cutoff)
    warmer_high, warmer_low = high.copy(), low.copy()
    warmer_high[day] += more
    warmer_low[day] = min(low[day] + more, high[day])
    assert (heat(low, warmer_high, method, cutoff) >= before - 1e-12).all()
    assert (heat(warmer_low, high, method, cutoff) >= before - 1e-12).all()


@pytest.mark.parametrize("method", CURVED)
@few_weeks
@given(week=weeks())
def test_cutoffs_are_ordered(method: Method, week: tuple[np.ndarray, np.ndarray]) -> None:
    """None >= horizontal >= intermediate >= 0 and horizontal >= vertical >= 0 on every day."""
    none, horizontal, intermediate, vertical = (heat(*week, method, c) for c in Cutoff)
    rounding = 1e-12
    assert (none >= horizontal - rounding).all()
    assert (horizontal >= intermediate - rounding).all()
    assert (horizontal >= vertical - rounding).all()
    assert (intermediate >= 0).all()
    assert (vertical >= 0).all()


@pytest.mark.parametrize(("method", "cutoff"), ALLOWED)
@few_weeks
@given(week=weeks())
def test_fahrenheit_and_celsius_agree(
    method: Method, cutoff: Cutoff, week: tuple[np.ndarray, np.ndarray]
) -> None:
    """The same days and thresholds in degF give 1.8 times the degC-days, without an offset."""
    low, high = week
    # The vertical rate jumps at the threshold: a curve that touches it may fall either way.
    assume(cutoff is not Cutoff.VERTICAL or not np.isin(30.0, [low, high, (low + high) / 2]))
    in_f = heat(
        c_to_f(low), c_to_f(high), method, cutoff, lower_c=c_to_f(10.0), upper_c=c_to_f(30.0)
    )
    in_c = heat(low, high, method, cutoff)
    np.testing.assert_allclose(in_f, 1.8 * in_c, atol=1e-9)


def test_temperature_units_have_an_offset() -> None:
    """Freezing and boiling of water and body temperature convert."""
    assert (f_to_c(32.0), f_to_c(212.0)) == (0.0, 100.0)
    assert c_to_f(37.0) == pytest.approx(98.6)


@pytest.mark.parametrize(("method", "cutoff"), ALLOWED)
def test_missing_days_stay_missing(method: Method, cutoff: Cutoff) -> None:
    """A day without minimum or maximum is NaN, warm or cold, and leaves its neighbours whole."""
    low = np.array([12.0, np.nan, 12.0, 12.0, -9.0, np.nan])
    high = np.array([25.0, 25.0, np.nan, 25.0, np.nan, -5.0])
    result = heat(low, high, method, cutoff)
    np.testing.assert_array_equal(np.isnan(result), [False, True, True, False, True, True])


@pytest.mark.parametrize(("method", "cutoff"), ALLOWED)
def test_a_flat_day_is_the_rate_at_its_temperature(method: Method, cutoff: Cutoff) -> None:
    """With minimum = maximum every method gives the rate itself, on and around the thresholds."""
    flat = np.array([9.0, 10.0, 20.0, 30.0, 32.0])
    above = {"none": 22.0, "horizontal": 20.0, "intermediate": 18.0, "vertical": 0.0}[cutoff]
    for t, expected in zip(flat, [0.0, 0.0, 10.0, 20.0, above], strict=True):
        assert heat([t, t], [t, t], method, cutoff).tolist() == [expected, expected]


def test_simple_average_counts_in_full_at_the_vertical_cutoff() -> None:
    """A mean on the upper threshold keeps its heat; a tenth of a degree above, it has none."""
    result = heat([20.0, 20.2], [40.0, 40.2], Method.SIMPLE_AVERAGE, Cutoff.VERTICAL)
    assert result.tolist() == [20.0, 0.0]


@pytest.mark.parametrize("method", CURVED)
def test_thresholds_on_the_extremes(method: Method) -> None:
    """Lower on the minimum counts the whole day; on the maximum, nothing; upper there is idle."""
    low, high = [10.0, 2.0, 10.0], [20.0, 10.0, 30.0]
    for cutoff in Cutoff:
        single = [heat(m, x, method, cutoff).item() for m, x in zip(low, high, strict=True)]
        assert single == [5.0, 0.0, 10.0]


@pytest.mark.parametrize("shape", Shape)
@few_weeks
@given(week=weeks(), t=temperature)
def test_share_is_the_slope_of_the_area(
    shape: Shape, week: tuple[np.ndarray, np.ndarray], t: float
) -> None:
    """Lowering t by a little adds between p(t) and p(t - little) times as much area."""
    little = 1e-3
    gained = area_above(*week, t - little, shape) - area_above(*week, t, shape)
    assert (gained >= share_above(*week, t, shape) * little - 1e-10).all()
    assert (gained <= share_above(*week, t - little, shape) * little + 1e-10).all()


@pytest.mark.parametrize("method", [Method.DOUBLE_SINE, Method.DOUBLE_TRIANGLE])
def test_day_axis_and_broadcasting(method: Method) -> None:
    """Stations x days, days x stations and one station at a time give the same numbers."""
    low = np.array([[5.0, 9.0, 14.0], [8.0, 2.0, 11.0]])
    high = np.array([[24.0, 33.0, 28.0], [19.0, 36.0, 31.0]])
    rows = heat(low, high, method, Cutoff.VERTICAL)
    columns = heat(low.T, high.T, method, Cutoff.VERTICAL, axis=0)
    alone = [heat(m, x, method, Cutoff.VERTICAL) for m, x in zip(low, high, strict=True)]
    np.testing.assert_array_equal(rows, columns.T)
    np.testing.assert_array_equal(rows, alone)
    lowers = np.array([[[8.0]], [[12.0]]])
    both = heat(low, high, method, Cutoff.VERTICAL, lower_c=lowers)
    assert both.shape == (2, 2, 3)
    np.testing.assert_array_equal(both[1], heat(low, high, method, Cutoff.VERTICAL, lower_c=12.0))


@pytest.mark.parametrize(
    ("low", "high", "changed", "said"),
    [
        ([9.0, 9.0, 5.0], [8.0, 8.0, np.nan], {}, "above the maximum on 2 day"),
        ([-np.inf], [8.0], {}, "finite"),
        ([1.0], [8.0], {"upper_c": 10.0}, "above the lower"),
        ([1.0], [8.0], {"upper_c": np.nan}, "above the lower"),
        ([1.0], [8.0], {"lower_c": np.nan}, "lower threshold must be a finite"),
        ([1.0], [8.0], {"upper_c": None}, "vertical cutoff needs an upper"),
        ([1.0], [8.0], {"cutoff": "horizontally"}, "not a valid Cutoff"),
        ([1.0], [8.0], {"method": Method.CLAMPED_AVERAGE}, "itself a horizontal"),
    ],
)
def test_nonsense_is_refused(low: Any, high: Any, changed: dict[str, Any], said: str) -> None:
    """Bad days, bad thresholds and a cutoff that cannot be are errors that say which."""
    arguments = {"method": Method.SINGLE_SINE, "cutoff": Cutoff.VERTICAL} | changed
    with pytest.raises(ValueError, match=said):
        heat(low, high, **arguments)


def test_a_missing_upper_threshold_is_fine_without_a_cutoff() -> None:
    """Cutoff none needs no upper threshold and ignores one that is given."""
    for method in Method:
        bare = heat(5.0, 45.0, method, Cutoff.NONE, upper_c=None)
        assert bare == heat(5.0, 45.0, method, Cutoff.NONE)
