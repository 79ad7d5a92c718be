"""Minutes in a field and sets to take."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, StationFile, build_season, day

from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.week.fields import field_minutes, sets_to_take, sweeps_in_set

SEEN = day(7, 20)
METHODS = sorted(KNOWLEDGE.sampling)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field in pods in late July."""
    return build_season(
        tmp_path_factory.mktemp("minutes"), stations=(StationFile(first=dt.date(2023, 1, 1)),)
    )


def sets(folder: Path, method: str, *entries: LoggedVisit | Treatment) -> int:
    """Sets of the next visit, with these entries in the log."""
    season = planned(folder, log_of(*entries), SEEN + ONE_DAY)
    return sets_to_take(season.fields[0], method, season.loaded)


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
def test_without_counts_a_visit_takes_the_methods_own_number(folder: Path, method: str) -> None:
    """Nothing counted leaves every method at its declared number."""
    assert sets(folder, method) == int(KNOWLEDGE.sampling[method].sets)


def test_counts_left_open_ask_for_more_sets_up_to_a_limit(folder: Path) -> None:
    """Near the threshold of 9 the sets are more than usual; places of a stand look are not."""
    near = visit(SEEN, sets_of("stink-bugs", [9, 14, 5, 11]), stage="R4")
    most = int(KNOWLEDGE.workday.field.most_sets)
    assert 4 < sets(folder, "sweep-net", near) <= most
    assert sets(folder, "stand-look", near) == int(KNOWLEDGE.sampling["stand-look"].sets)


def test_settled_or_treated_counts_ask_for_no_more_sets(folder: Path) -> None:
    """Far above the threshold, or treated since, the usual four sets are enough."""
    above = visit(SEEN, sets_of("stink-bugs", [40] * 4), stage="R4")
    near = visit(SEEN, sets_of("stink-bugs", [9, 14, 5, 11]), stage="R4")
    assert sets(folder, "sweep-net", above) == 4
    assert sets(folder, "sweep-net", near, treatment(at(7, 21, 7), 4)) == 4


def test_without_a_method_there_are_no_sets(folder: Path) -> None:
    """Where no window is open nothing is taken."""
    assert sets(folder, "") == 0
