"""A stand that was counted and is poor: when to be back, what a morning says, the alert."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from log_builder import KNOWLEDGE, log_of, planned, sets_of, visit
from season_builder import ONE_DAY, FieldLine, StationFile, build_season, day

from stagecast.season.log.entries import LoggedStand, LoggedVisit, StandPlace
from stagecast.season.told import ToldAlerts
from stagecast.visits.interval import PoorStand
from stagecast.visits.season_day import FieldDay
from stagecast.week.alerts import StandPoor, alerts_of
from stagecast.words.morning import alert_text, last_count, why_in_short
from stagecast.words.visits import pressure_text, reason_texts

SEEN = day(5, 26)
ROW_FT, ROW_IN = 10.0, 30.0
PLANTS_PER_ACRE = 43_560 / (ROW_FT * ROW_IN / 12)
"""Of one plant at every place, by the definition of an acre."""


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One field planted on 4 May, in its seedling weeks in late May."""
    station = StationFile(first=dt.date(2023, 1, 1))
    return build_season(tmp_path_factory.mktemp("stand"), stations=(station,))


def stand_of(plants: int, *, on: dt.date = SEEN) -> LoggedVisit:
    """A visit that counted as many plants at each of five places."""
    places = tuple(StandPlace(plants) for _ in range(5))
    return replace(visit(on), stand=LoggedStand(places, ROW_FT, ROW_IN))


def field(folder: Path, *visits: LoggedVisit, as_of: dt.date = SEEN + ONE_DAY) -> FieldDay:
    """The plan of the field with a log of some visits."""
    return planned(folder, log_of(*visits), as_of).fields[0]


def test_a_poor_stand_is_looked_at_again_within_the_short_interval(season: Path) -> None:
    """The next visit comes in 5 days and says why, as after a count near its threshold.

    Five days close to a threshold: common practice, no source.
    """
    poor = field(season, stand_of(20))
    assert poor.stand is not None
    assert poor.stand.answer != "keep"
    (why,) = [one for one in poor.visit.reasons if isinstance(one, PoorStand)]
    assert why.days == int(KNOWLEDGE.revisit.near_threshold_days) == 5
    assert poor.visit.due == SEEN + 5 * ONE_DAY
    told = f"plants/acre (34,800-34,800): {poor.stand.answer}, counted 26 May"
    assert any(told in text for text in reason_texts(poor.visit, KNOWLEDGE.decisions.treated))
    assert why_in_short(poor.visit, days_late=0) == "poor stand"
    full = field(season, stand_of(70))
    assert full.visit.due == field(season, visit(SEEN)).visit.due
    assert full.visit.due is not None
    assert full.visit.due > SEEN + 5 * ONE_DAY


def test_the_next_look_settles_it(season: Path) -> None:
    """A visit after the count, with a stand that is kept or none, makes no short interval."""
    for after in (stand_of(70, on=day(6, 1)), visit(day(6, 1))):
        later = field(season, stand_of(20), after, as_of=day(6, 2))
        assert not [one for one in later.visit.reasons if isinstance(one, PoorStand)]
        assert not [a for a in alerts_of(later.season, ToldAlerts()) if "stand" in a.key]


def test_a_stand_too_old_to_replant_moves_no_visit(season: Path) -> None:
    """Planted in early May and counted in late July it is past replanting and its seedling weeks.

    The last planting day of all trials on file is in June.
    """
    old = field(season, stand_of(20, on=day(7, 21)), as_of=day(7, 22))
    assert old.stand is not None
    assert old.stand.late
    assert not [one for one in old.visit.reasons if isinstance(one, PoorStand)]
    assert last_count(old) == f"stand 34,800, {old.stand.answer}, 21 Jul"


def test_a_morning_says_the_stand_where_nothing_counted_presses_more(season: Path) -> None:
    """Beside empty sets the stand is told; a pest near its threshold goes before it."""
    assert round(20 * PLANTS_PER_ACRE, -2) == 34_800
    poor = stand_of(20)
    answer = field(season, poor).stand
    assert answer is not None
    told = f"stand 34,800, {answer.answer}, 26 May"
    none = sets_of("bean-leaf-beetle", (0,) * 4)
    for sets in ((), none):
        assert last_count(field(season, replace(poor, sets=sets))) == told
    eaten = field(season, replace(poor, defoliation_percent=60.0))
    assert eaten.counted is not None
    assert eaten.counted.pressing
    assert "leaf loss" in last_count(eaten)
    assert last_count(field(season, replace(stand_of(70), sets=none))).startswith("none found")


def test_what_was_found_too_early_is_not_called_none_found(season: Path) -> None:
    """Stink bugs on seedlings hurt nothing yet, and were found: the morning names them."""
    walked = replace(visit(SEEN), sets=sets_of("stink-bugs", (2, 2, 0, 1)))
    assert last_count(field(season, walked)) == "stink bugs 1.2, too early, 26 May"
    judged = tuple(
        replace(one, counts=(*one.counts, *other.counts))
        for one, other in zip(walked.sets, sets_of("bean-leaf-beetle", (0,) * 4), strict=True)
    )
    both = field(season, replace(walked, sets=judged)).counted
    assert both is not None
    assert "nothing was found" not in pressure_text(both)
    assert "stink bugs 1.2 per 25 sweeps, which does not matter yet" in pressure_text(both)
    empty = replace(walked, sets=sets_of("stink-bugs", (0,) * 4))
    assert last_count(field(season, empty)) == "none found, 26 May"


def test_a_poor_stand_is_told_once(season: Path) -> None:
    """One alert with the count and its answer, whose key stays the same the day after."""
    (one,) = [
        a
        for a in alerts_of(field(season, stand_of(20)).season, ToldAlerts())
        if isinstance(a.what, StandPoor)
    ]
    assert one.key == "F1.stand.2026-05-26"
    assert alert_text(one).startswith("poor stand: 34,800 plants/acre")
    next_day = field(season, stand_of(20), as_of=SEEN + 2 * ONE_DAY).season
    assert one.key in {a.key for a in alerts_of(next_day, ToldAlerts())}
    full = field(season, stand_of(70)).season
    assert not [a for a in alerts_of(full, ToldAlerts()) if isinstance(a.what, StandPoor)]


def test_late_beans_are_young_though_it_is_late_to_replant(tmp_path: Path) -> None:
    """Planted on 20 June and counted on 6 July: past all trials, yet in its seedling weeks."""
    station = StationFile(first=dt.date(2023, 1, 1))
    line = FieldLine(planting_date=day(6, 20))
    folder = build_season(tmp_path, fields=(line,), stations=(station,))
    young = field(folder, stand_of(20, on=day(7, 6)), as_of=day(7, 7))
    assert young.stand is not None
    assert (young.stand.late, young.stand.answer) == (True, "look closer")
    assert young.visit.due == day(7, 11)
    assert [one for one in young.visit.reasons if isinstance(one, PoorStand)]
