"""A season walked day by day as it is planned: nothing forgotten, one date for a field."""

from __future__ import annotations

from pathlib import Path

import pytest
from one_date import dates_that_differ
from walked_season import Morning, Size, build, mornings, truth_of, walk

from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore

SMALL = Size(fields=20, scouts=1, days=40)
COMPARED = 11
"""On each so-manieth morning the dates of all outputs are compared."""


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Morning], list[str]]:
    """A small season, its mornings, and dates that differ between outputs."""
    folder = build(tmp_path_factory.mktemp("walked") / "season", SMALL)
    found, differ = [], []
    for number, (morning, route) in enumerate(walk(folder, SMALL)):
        found.append(morning)
        if number % COMPARED == COMPARED - 1:
            differ += dates_that_differ(folder, route)
    return folder, found, differ


def test_no_field_is_forgotten(walked: tuple[Path, list[Morning], list[str]]) -> None:
    """In a critical window, one unseen past its limit is walked that morning, or named."""
    folder, found, _ = walked
    assert [(one.date, one.forgotten) for one in found if one.forgotten] == []
    emerged = [i for i, field in truth_of(folder, SMALL).items() if field.times[0] < 140]
    log = LogStore(folder / LOG_FILE).read()
    assert len(emerged) > 8
    assert {visit.field_id for visit in log.visits} >= set(emerged)


def test_every_output_has_the_same_date(walked: tuple[Path, list[Morning], list[str]]) -> None:
    """Plan, revisit, week, the overview and the desk, on mornings with a log behind them."""
    _, found, differ = walked
    assert len(found) >= 2 * COMPARED
    assert differ == []


def test_a_season_that_was_left_is_taken_up_again(tmp_path: Path) -> None:
    """In two parts it comes to the same visits and costs as in one."""
    size, half = Size(fields=6, scouts=1, days=18), Size(fields=6, scouts=1, days=9)
    folders = [build(tmp_path / name, size) for name in ("whole", "parts")]
    list(walk(folders[0], size))
    list(walk(folders[1], half))
    list(walk(folders[1], size))
    whole, parts = ([(m.date, m.stops, m.waiting) for m in mornings(one)] for one in folders)
    assert whole == parts
    logs = [LogStore(one / LOG_FILE).read() for one in folders]
    assert logs[0].visits == logs[1].visits
    assert logs[0].visits
