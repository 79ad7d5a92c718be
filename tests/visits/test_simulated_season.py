"""The rule of the days in a season with a known truth; the bench prints the whole table."""

from __future__ import annotations

import numpy as np
from simulated_season import SETS, THRESHOLD, by_the_rule, fields_of, walked

from stagecast.knowledge import load


def test_fields_that_cross_are_told_soon_with_few_visits_and_no_extra_sets() -> None:
    """Of 90 fields those that cross are told within two days on average, at under 7 visits each.

    The rule before needed 8 visits and 11 extra sets a field (DEVELOPERS has the command).
    """
    fields = fields_of(90, np.random.default_rng(3))
    season = walked(by_the_rule(load()), fields, seed=3)
    assert len(season.late_days) + season.missed == season.crossed >= 20
    assert np.mean(season.late_days) <= 2.0
    assert season.missed <= 1
    assert season.visits / season.fields < 7.0
    assert season.extra_sets == 0
    assert set(season.gaps) <= {3, 5, 7, 10}


def test_empty_fields_are_seen_every_ten_days_and_full_ones_called_at_once() -> None:
    """No insect in the usual sets is ten days; three times the threshold is late on the day."""
    rule = by_the_rule(load())
    empty, full = rule([0] * SETS), rule([int(3 * THRESHOLD)] * SETS)
    assert (empty.late, empty.days) == (False, 10)
    assert (full.late, full.days) == (True, 5)
