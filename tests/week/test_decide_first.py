"""Fields that wait for a decision: every mean at its threshold or over it, until a treatment."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from log_builder import at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, StationFile, build_season, day

from stagecast.season.log.entries import LoggedVisit, Treatment
from stagecast.week.week import above_of
from stagecast.words.week import above_texts

SEEN = day(7, 20)
BUGS = "stink-bugs"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field in pods in late July."""
    return build_season(
        tmp_path_factory.mktemp("decide"), stations=(StationFile(first=dt.date(2023, 1, 1)),)
    )


def waiting(folder: Path, *entries: LoggedVisit | Treatment) -> list[str]:
    """What is told under Decide first."""
    season = planned(folder, log_of(*entries), SEEN + ONE_DAY)
    return [text for _, found in above_texts(above_of(season)) for text in found]


@pytest.mark.parametrize(
    ("counts", "answer"),
    [([40] * 4, "above"), ([9, 14, 5, 11], "near"), ([0, 0, 0, 60], "near"), ([12, 15], "too few")],
)
def test_a_mean_over_its_threshold_waits_for_a_decision(
    folder: Path, counts: list[float], answer: str
) -> None:
    """However sure the sets are, and however few: with its chance, and its answer."""
    (told,) = waiting(folder, visit(SEEN, sets_of(BUGS, counts), stage="R4"))
    assert told.startswith("stink bugs ")
    assert re.search(rf" of 9 per 25 sweeps .*, (over )?\d+%, {answer} ", told)


def test_a_mean_under_its_threshold_waits_for_none(folder: Path) -> None:
    """Near but under is looked at again, and asks for no decision; nor does an empty field."""
    for counts in ([10, 5, 8, 4], [0] * 4):
        assert waiting(folder, visit(SEEN, sets_of(BUGS, counts), stage="R4")) == []


def test_a_treatment_ends_the_waiting(folder: Path) -> None:
    """What was counted before it is not there any more."""
    over = visit(SEEN, sets_of(BUGS, [40] * 4), stage="R4")
    assert waiting(folder, over, treatment(at(7, 21, 7), 4)) == []
