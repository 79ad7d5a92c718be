"""The last visit: where a state stops treating insects, and what remains."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from log_builder import log_of, sets_of, treatment, visit
from season_builder import ONE_DAY, FieldLine, build_season, day

from stagecast.knowledge import load
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.tables.visits import Visit
from stagecast.visits.last_look import insects_end
from stagecast.visits.revisit import InsectsOver, NextVisit, next_visit
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.words.visits import insects_end_text

KNOWLEDGE = load()


@pytest.fixture(scope="module")
def ripening(tmp_path_factory: pytest.TempPathFactory) -> FieldDay:
    """A field on the day after R6.5, well before R7."""
    folder = build_season(tmp_path_factory.mktemp("last"), fields=[FieldLine("F1", day(5, 4))])
    late = SeasonDay.open(folder, as_of=day(7, 1)).field("F1").forecast.late.p50
    assert late is not None
    return SeasonDay.open(folder, as_of=late + ONE_DAY).field("F1")


@pytest.mark.parametrize(
    ("region", "stage"),
    [
        ("MS", "R6.5"),  # Mississippi State 2014: all sprays end at R6.5
        ("TN", "R6.5"),  # University of Tennessee 2017: walked until 7 to 10 days after R6
        ("GA", "R7"),  # University of Georgia 2014: all insects R7
        ("NC", "R7"),  # NC State: leaves are protected until R7, stink bugs relaxed in R7
        ("IA", "R7"),  # no text of its own read: pests no longer cost yield from R7 on
    ],
)
def test_a_state_stops_where_its_own_text_says(ripening: FieldDay, region: str, stage: str) -> None:
    """The last stage of states_south's table of where treatment stops."""
    end = insects_end(ripening.forecast, ScoutingLog(), region=region, knowledge=KNOWLEDGE)
    assert end.stage == stage
    assert (end.rule is None) == (region in ("NC", "IA"))


@pytest.mark.parametrize("region", ["MS", "TN"])
def test_the_redbanded_stink_bug_remains_to_r7(ripening: FieldDay, region: str) -> None:
    """Mississippi 2017 and Tennessee 2017 go on for it through, or at least to, R7."""
    end = insects_end(ripening.forecast, ScoutingLog(), region=region, knowledge=KNOWLEDGE)
    assert "redbanded-stink-bug" in {pest.id for pest in end.still}
    assert "still for" in insects_end_text(end)


def due_in(field: FieldDay, region: str, log: ScoutingLog, last: dt.date) -> NextVisit:
    """The next visit if the field lay in a region and had a log."""
    forecast = replace(field.forecast, stage_now="R6")
    return next_visit(
        forecast,
        (),
        Visit("F1", last, "some", 2),
        as_of=field.season.as_of,
        region=region,
        knowledge=KNOWLEDGE,
        log=log,
    )


def test_no_visit_is_due_once_the_state_stops(ripening: FieldDay) -> None:
    """After R6.5 Mississippi and Tennessee ask for none; Georgia still does, up to R7."""
    last = ripening.season.as_of - 7 * ONE_DAY
    for region, over in (("MS", True), ("TN", True), ("GA", False)):
        told = due_in(ripening, region, ScoutingLog(), last)
        assert (told.due is None) == over
        assert isinstance(told.reasons[-1], InsectsOver) == over


def test_what_was_found_and_still_matters_is_walked_for(ripening: FieldDay) -> None:
    """Redbanded stink bugs found in the field keep the visits; other stink bugs do not."""
    last = ripening.season.as_of - 7 * ONE_DAY
    for pest, due in (("redbanded-stink-bug", True), ("green-stink-bug", False)):
        log = log_of(visit(last, sets_of(pest, [2, 1, 0, 1])))
        assert (due_in(ripening, "TN", log, last).due is not None) == due


def test_a_treatment_is_checked_all_the_same(ripening: FieldDay) -> None:
    """A field treated at R6 is due for its efficacy check; own choice, no source."""
    as_of = ripening.season.as_of
    applied = dt.datetime.combine(as_of - 2 * ONE_DAY, dt.time(8))
    told = due_in(ripening, "TN", log_of(treatment(applied, 12)), as_of - 7 * ONE_DAY)
    assert told.due is not None
