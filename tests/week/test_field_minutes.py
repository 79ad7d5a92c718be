"""Minutes in a field and sets to take."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE

from stagecast.week.fields import field_minutes, sets_to_take, sweeps_in_set

METHODS = sorted(KNOWLEDGE.sampling)


def test_minutes_of_a_set_agree_with_the_published_difference() -> None:
    """A set of 25 sweeps took 3.6 minutes more than one of 10 (Crop Protection 157:105986)."""
    per_set = int(KNOWLEDGE.workday.field.per_set)
    assert per_set * (1 - 10 / 25) == pytest.approx(3.6)


def test_minutes_of_a_field_are_worked_out_by_hand() -> None:
    """160 acres are a quarter section, half a mile square: 1.609 km in and back, 24.1 minutes.

    With 8 minutes fixed, four sets of 25 sweeps at 6 minutes make 56.1, five places at 2 minutes
    42.1, two sets of 150 sweeps at 36 minutes 104.1; all rounded up.
    """
    assert field_minutes(160, "sweep-net", 4, KNOWLEDGE) == 57
    assert field_minutes(160, "stand-look", 5, KNOWLEDGE) == 43
    assert field_minutes(160, "long-sweep", 2, KNOWLEDGE) == 105
    assert field_minutes(160, "", 0, KNOWLEDGE) == 33


def test_nobody_walks_a_very_large_field_from_end_to_end() -> None:
    """The walk ends at 40 minutes: 8 + 24 + 40, however large the field."""
    assert field_minutes(5_000, "sweep-net", 4, KNOWLEDGE) == 72
    assert field_minutes(50_000, "sweep-net", 4, KNOWLEDGE) == 72


@given(
    acres=st.floats(0.1, 2000),
    more=st.floats(0, 2000),
    method=st.sampled_from(METHODS),
    number=st.integers(0, 20),
    extra=st.integers(0, 20),
)
def test_more_sets_and_acres_never_take_less_time(
    acres: float, more: float, method: str, number: int, extra: int
) -> None:
    """Minutes grow with sets and acres, are whole, and hold the fixed part."""
    less = field_minutes(acres, method, number, KNOWLEDGE)
    assert int(KNOWLEDGE.workday.field.fixed) < less
    assert less <= field_minutes(acres + more, method, number + extra, KNOWLEDGE)


def test_only_sweeps_come_in_sets() -> None:
    """The size of a set is read from the unit of every method that is swept, and of no other."""
    swept = {m: size for m in METHODS if (size := sweeps_in_set(m, KNOWLEDGE)) is not None}
    assert swept == {"sweep-net": 25, "long-sweep": 150, "inside-sweeps": 15}


@pytest.mark.parametrize("method", METHODS)
def test_a_visit_takes_the_methods_own_number(method: str) -> None:
    """Every method is planned with its declared number of sets, whatever was counted last."""
    assert sets_to_take(method, KNOWLEDGE) == int(KNOWLEDGE.sampling[method].sets)


def test_without_a_method_there_are_no_sets() -> None:
    """Where no window is open nothing is taken."""
    assert sets_to_take("", KNOWLEDGE) == 0
