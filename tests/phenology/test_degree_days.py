"""Degree-days: closed forms against numerical integration, reference tables, properties."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from stagecast.phenology.degree_days import Cutoff, Method, daily_degree_days

CURVED = [m for m in Method if m not in (Method.CLAMPED_AVERAGE, Method.CAPPED_AVERAGE)]
DOUBLE = [Method.DOUBLE_TRIANGLE, Method.DOUBLE_SINE]

# Hundredths of a degree, as a station reports them: threshold touches are hit exactly, and no
# example sits within rounding of a touch, where a share of the day is ill-conditioned.
temperature = st.integers(-2000, 5000).map(lambda hundredths: hundredths / 100)
threshold = st.integers(0, 3800).map(lambda hundredths: hundredths / 100)


@st.composite
def days(draw: st.DrawFn) -> tuple[float, float, float]:
    """A day's minimum and maximum, and tomorrow's minimum (which may be above the maximum)."""
    low, high = sorted((draw(temperature), draw(temperature)))
    return low, high, draw(temperature)


@st.composite
def thresholds(draw: st.DrawFn) -> tuple[float, float]:
    """A lower and a higher threshold."""
    lower, upper = sorted((draw(threshold), draw(threshold)))
    assume(lower < upper)
    return lower, upper


def first_day(
    day: tuple[float, float, float], limits: tuple[float, float], method: Method, cutoff: Cutoff
) -> float:
    """Degree-days of a day that has a tomorrow."""
    low, high, tomorrow = day
    heat = daily_degree_days(
        [low, tomorrow],
        [high, max(high, tomorrow)],
        lower_c=limits[0],
        upper_c=limits[1],
        method=method,
        cutoff=cutoff,
    )
    return float(heat[0])


# --- the oracle: integrate the rate over the curve; shares no code or formula with the module


def rate(t: float, lower: float, upper: float, cutoff: Cutoff) -> float:
    """Development rate at temperature t, degrees above the lower threshold."""
    if t <= lower:
        return 0.0
    if t <= upper or cutoff is Cutoff.NONE:
        return t - lower
    return {
        Cutoff.HORIZONTAL: upper - lower,
        Cutoff.INTERMEDIATE: (upper - lower) - (t - upper),
        Cutoff.VERTICAL: 0.0,
    }[cutoff]


def half_day(
    start: float, end: float, sine: bool
) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """Half a day running from one extreme to the next, v in 0..1, and its inverse."""
    if sine:
        return (
            lambda v: (start + end) / 2 - (end - start) / 2 * math.cos(math.pi * v),
            lambda t: math.acos((start + end - 2 * t) / (end - start)) / math.pi,
        )
    return lambda v: start + (end - start) * v, lambda t: (t - start) / (end - start)


def integrate_half_day(
    start: float, end: float, sine: bool, limits: tuple[float, float], cutoff: Cutoff
) -> float:
    """Integral of the rate over one half day, in degree-days (half a day long)."""
    curve, crossing = half_day(start, end, sine)
    breaks = [crossing(t) for t in limits if min(start, end) < t < max(start, end)]
    value, _ = quad(
        lambda v: rate(curve(v), *limits, cutoff),
        0.0,
        1.0,
        points=sorted(breaks) or None,
        epsabs=1e-11,
        epsrel=1e-11,
        limit=200,
    )
    return value / 2


def integrate_day(
    day: tuple[float, float, float], limits: tuple[float, float], method: Method, cutoff: Cutoff
) -> float:
    """Integral over the two half days of a method's curve; the floor at zero is the day's."""
    low, high, tomorrow = day
    if method is Method.SIMPLE_AVERAGE:
        low = high = tomorrow = (low + high) / 2
    elif method not in DOUBLE:
        tomorrow = low
    sine = method in (Method.SINGLE_SINE, Method.DOUBLE_SINE)
    rise = integrate_half_day(low, high, sine, limits, cutoff)
    fall = integrate_half_day(high, tomorrow, sine, limits, cutoff)
    return max(0.0, rise + fall)


@pytest.mark.parametrize(("method", "cutoff"), list(itertools.product(CURVED, Cutoff)))
@settings(max_examples=100, deadline=None)
@given(day=days(), limits=thresholds())
def test_closed_form_is_the_integral_of_the_rate(
    method: Method,
    cutoff: Cutoff,
    day: tuple[float, float, float],
    limits: tuple[float, float],
) -> None:
    """Every method and cutoff equals quadrature of the rate over its own curve to 1e-9."""
    expected = integrate_day(day, limits, method, cutoff)
    assert first_day(day, limits, method, cutoff) == pytest.approx(expected, abs=1e-9, rel=0)


@pytest.mark.parametrize("method", CURVED)
@settings(max_examples=30, deadline=None)
@given(day=days(), limits=thresholds())
def test_a_day_without_tomorrow_falls_back_to_the_single_method(
    method: Method, day: tuple[float, float, float], limits: tuple[float, float]
) -> None:
    """The last day, and a day before a missing minimum, integrate the symmetric curve."""
    low, high, _ = day
    heat = daily_degree_days(
        [low, np.nan, low],
        [high, high, high],
        lower_c=limits[0],
        method=method,
        cutoff=Cutoff.NONE,
    )
    expected = integrate_day((low, high, low), limits, method, Cutoff.NONE)
    np.testing.assert_allclose(heat, [expected, np.nan, expected], atol=1e-9, rtol=0)


@given(day=days(), limits=thresholds())
def test_clamped_average_is_its_definition(
    day: tuple[float, float, float], limits: tuple[float, float]
) -> None:
    """Clamp, average, subtract, in plain scalar arithmetic; without a cutoff only from below."""
    low, high, _ = day
    lower, upper = limits
    both = [min(max(t, lower), upper) for t in (low, high)]
    below = [max(t, lower) for t in (low, high)]
    for cutoff, clamped in ((Cutoff.HORIZONTAL, both), (Cutoff.NONE, below)):
        heat = first_day(day, limits, Method.CLAMPED_AVERAGE, cutoff)
        assert heat == pytest.approx(sum(clamped) / 2 - lower, abs=1e-9)


@given(day=days(), limits=thresholds())
def test_capped_average_is_its_definition(
    day: tuple[float, float, float], limits: tuple[float, float]
) -> None:
    """The simple average of extremes no higher than the upper threshold; a cold night stays so."""
    low, high, _ = day
    lower, upper = limits
    capped = (min(low, upper) + min(high, upper)) / 2 - lower
    heat = first_day(day, limits, Method.CAPPED_AVERAGE, Cutoff.HORIZONTAL)
    assert heat == pytest.approx(max(0.0, capped), abs=1e-9)
    uncut = first_day(day, limits, Method.CAPPED_AVERAGE, Cutoff.NONE)
    assert uncut == first_day(day, limits, Method.SIMPLE_AVERAGE, Cutoff.NONE)


# --- the handbook's reference tables and published checks

# Pest handbook, section 6, table 1 (COMPUTED there by numerical integration): minimum, maximum,
# lower, upper; then simple average, clamped average, sine x4, triangle x4, each x4 in the order
# none, horizontal, vertical, intermediate. "-": no upper threshold; "=": as without a cutoff.
SINGLE_TABLE = """
60 90 50 -      25.0000 25.0000 25.0000 = = = 25.0000 = = =
40 80 50 -      10.0000 15.0000 12.1800 = = = 11.2500 = = =
45 95 50 86     20.0000 18.0000 20.6780 19.0264 8.9848 17.3748 20.2500 19.4400 12.9600 18.6300
55 100 50 86    27.5000 20.5000 27.5000 24.0706 10.5098 20.6412 27.5000 25.3222 14.1222 23.1444
40 70 50 88     5.0000 10.0000 7.5424 7.5424 7.5424 7.5424 6.6667 6.6667 6.6667 6.6667
35 49 50 88     0.0000 0.0000 0.0000 0.0000 0.0000 0.0000 0.0000 0.0000 0.0000 0.0000
90 104 50 86    47.0000 36.0000 47.0000 36.0000 0.0000 25.0000 47.0000 36.0000 0.0000 25.0000
55 80 50 88     17.5000 17.5000 17.5000 17.5000 17.5000 17.5000 17.5000 17.5000 17.5000 17.5000
30 100 50 86    15.0000 18.0000 19.6806 16.9664 6.3404 14.2523 17.8571 16.4571 9.2571 15.0571
8 24 10 -       6.0000 7.0000 6.3040 = = = 6.1250 = = =
18 34 12.6 33.3 13.4000 13.0500 13.4000 13.3376 10.5607 13.2752 13.4000 13.3847 12.4791 13.3694
6 30 10 30      8.0000 10.0000 8.7053 8.7053 8.7053 8.7053 8.3333 8.3333 8.3333 8.3333
22 38 14 32     16.0000 13.0000 16.0000 14.3735 6.8213 12.7470 16.0000 14.8750 8.1250 13.7500
"""

# Table 2: minimum, maximum, tomorrow's minimum, lower, upper; double sine x4, double triangle x4.
DOUBLE_TABLE = """
45 95 55 50 86    22.8390 21.0852 10.4011 19.3315 22.6250 21.7138 14.4238 20.8025
40 80 48 50 88    13.1968 13.1968 13.1968 13.1968 12.6562 12.6562 12.6562 12.6562
6 30 12 10 30     9.8526 9.8526 9.8526 9.8526 9.6667 9.6667 9.6667 9.6667
18 34 16 12.6 33.3 12.9000 12.8394 10.1430 12.7788 12.9000 12.8855 12.0302 12.8711
"""
TABLE_ORDER = [Cutoff.NONE, Cutoff.HORIZONTAL, Cutoff.VERTICAL, Cutoff.INTERMEDIATE]


@pytest.mark.parametrize("row", SINGLE_TABLE.strip().splitlines())
def test_single_method_reference_table(row: str) -> None:
    """Every cell of the handbook's first table, to its four decimals."""
    low, high, lower, upper, *cells = row.split()
    # Where the table has no upper threshold, one above the day makes every cutoff idle.
    limit = float(high) + 1 if upper == "-" else float(upper)
    columns = [(Method.SIMPLE_AVERAGE, Cutoff.NONE), (Method.CLAMPED_AVERAGE, Cutoff.HORIZONTAL)]
    columns += [(Method.SINGLE_SINE, cutoff) for cutoff in TABLE_ORDER]
    columns += [(Method.SINGLE_TRIANGLE, cutoff) for cutoff in TABLE_ORDER]
    expected = math.nan
    for (method, cutoff), cell in zip(columns, cells, strict=True):
        expected = expected if cell == "=" else float(cell)
        heat = daily_degree_days(
            float(low),
            float(high),
            lower_c=float(lower),
            upper_c=limit,
            method=method,
            cutoff=cutoff,
        )
        assert heat == pytest.approx(expected, abs=5.1e-5), (method, cutoff)


@pytest.mark.parametrize("row", DOUBLE_TABLE.strip().splitlines())
def test_double_method_reference_table(row: str) -> None:
    """Every cell of the handbook's second table, to its four decimals."""
    low, high, tomorrow, lower, upper, *cells = map(float, row.split())
    columns = itertools.product((Method.DOUBLE_SINE, Method.DOUBLE_TRIANGLE), TABLE_ORDER)
    for (method, cutoff), expected in zip(columns, cells, strict=True):
        heat = first_day((low, high, tomorrow), (lower, upper), method, cutoff)
        assert heat == pytest.approx(expected, abs=5.1e-5), (method, cutoff)


def test_published_simple_average() -> None:
    """Mean 64 F over 53 F is 11 degF-days (Univ. California extension, scale insects; READ)."""
    heat = daily_degree_days(
        54.0, 74.0, lower_c=53.0, method=Method.SIMPLE_AVERAGE, cutoff=Cutoff.NONE
    )
    assert heat == pytest.approx(11.0)


@pytest.mark.parametrize("method", [Method.SINGLE_SINE, Method.SINGLE_TRIANGLE])
@given(day=days(), base=threshold)
def test_published_four_case_rule_agrees_where_it_is_exact(
    method: Method, day: tuple[float, float, float], base: float
) -> None:
    """The Irish met service rule (READ): exact off the base, within 1/25 of the range across it.

    A comparison of two approximations: at 40/80 F over 50 F the rule gives 12.5, the sine 12.18.
    """
    low, high, _ = day
    mean = (low + high) / 2
    heat = first_day(day, (base, 99.0), method, Cutoff.NONE)
    if low >= base or high <= base:
        assert heat == pytest.approx(max(0.0, mean - base), abs=1e-9)
        return
    rule = (high - base) / 2 - (base - low) / 4 if mean > base else (high - base) / 4
    assert abs(heat - rule) <= (high - low) / 25 + 1e-9
