"""The one table of sample units."""

from __future__ import annotations

import pytest

from stagecast.knowledge.units import JUDGED, UNITS, SampleUnit, per_unit
from stagecast.season.log.cells import unit_called


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_is_read_by_every_word_it_has_and_written_after_per(unit: SampleUnit) -> None:
    """The table of units is all that a new one needs: its words are read back as that unit."""
    terms = UNITS[unit]
    words = (unit, unit.upper(), unit.replace("-", " "), terms.one, *terms.also)
    assert {unit_called(word) for word in words} == {unit}
    assert (per_unit(unit, 1), per_unit(unit, 2.5)) == (terms.one, f"2.5 {unit}")


def test_what_is_judged_by_eye_is_no_count() -> None:
    """Shares of a canopy and ratings are held against thresholds as they are."""
    assert JUDGED == ("percent", "rating")
