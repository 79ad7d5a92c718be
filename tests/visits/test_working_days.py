"""Due on a day without work: due on the next working day, and overdue only after it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from season_builder import ONE_DAY, FieldLine, VisitLine, build_season, day

from stagecast.pages.needs import need_of
from stagecast.screens.plan import due_mark
from stagecast.season.settings.work import WEEKDAYS
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import walk_of

SATURDAY, MONDAY = day(7, 11), day(7, 13)


def opened(folder: Path, as_of: dt.date, working: tuple[str, ...] = WEEKDAYS[:5]) -> SeasonDay:
    """One field in bloom, by its rule due on a Saturday."""
    visits = [VisitLine("F1", SATURDAY - 7 * ONE_DAY, "some")]
    build_season(folder, fields=[FieldLine("F1")], visits=visits, working_days=working)
    return SeasonDay.open(folder, as_of=as_of)


@pytest.mark.parametrize(
    ("as_of", "mark", "need"),
    [(day(7, 10), ">", "week"), (SATURDAY, ">", "week"), (MONDAY, "!", "today"),
     (MONDAY + ONE_DAY, "!!", "overdue")],
)  # fmt: skip
def test_a_field_due_on_a_saturday_is_due_on_monday(
    as_of: dt.date, mark: str, need: str, tmp_path: Path
) -> None:
    """With five working days Monday is no delay, on screens and pages; Tuesday is one."""
    field = opened(tmp_path, as_of).field("F1")
    assert (field.visit.due, field.due_on) == (SATURDAY, MONDAY)
    assert (due_mark(field)[0], need_of(field)) == (mark, need)


def test_on_monday_the_route_walks_it_without_calling_it_late(tmp_path: Path) -> None:
    """Nobody worked on its day: that is the reason, and no day late is counted."""
    season = opened(tmp_path, MONDAY)
    field = season.field("F1")
    walk = walk_of(field)
    assert (walk.on, walk.due, walk.why) == (MONDAY, SATURDAY, "no work")


def test_who_works_on_saturdays_is_late_on_monday(tmp_path: Path) -> None:
    """The days that count are those of the crew, not of the calendar."""
    field = opened(tmp_path, MONDAY, working=("mon", "sat")).field("F1")
    assert field.due_on == SATURDAY
    assert due_mark(field)[0] == "!!"


@pytest.fixture(scope="module")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, ...], SeasonDay]:
    """A season for some weeks of work."""
    weeks = (WEEKDAYS, WEEKDAYS[:5], ("mon", "thu"), ("sun",))
    return {week: opened(tmp_path_factory.mktemp("w"), MONDAY, working=week) for week in weeks}


@given(place=st.integers(0, 3), after=st.integers(0, 60))
def test_the_working_day_is_the_first_one_not_before(
    seasons: dict[tuple[str, ...], SeasonDay], place: int, after: int
) -> None:
    """It is a day of work, and none lies between."""
    week, season = list(seasons.items())[place]
    asked = day(7, 1) + after * ONE_DAY
    found = season.workday(asked)
    assert WEEKDAYS[found.weekday()] in week
    between = [asked + n * ONE_DAY for n in range((found - asked).days)]
    assert not [one for one in between if WEEKDAYS[one.weekday()] in week]


@given(place=st.integers(0, 3), after=st.integers(-20, 60))
def test_a_late_field_is_later_by_one_each_day(
    seasons: dict[tuple[str, ...], SeasonDay], place: int, after: int
) -> None:
    """Once it is late it grows later by one a day; before, nothing but days of work makes it late.

    It is late on no day up to the working day on which it is due.
    """
    field = list(seasons.values())[place].field("F1")
    on = MONDAY + after * ONE_DAY
    late, next_day = field.days_late(on), field.days_late(on + ONE_DAY)
    assert field.due_on is not None
    assert (late > 0) == (on > field.due_on)
    if late > 0:
        assert next_day == late + 1
    assert next_day >= late


@pytest.mark.parametrize("seen", [None, day(6, 20)])
def test_without_a_visit_the_due_day_stands_once_it_is_reached(
    seen: dt.date | None, tmp_path: Path
) -> None:
    """Day after day without a look, a field that is due stays due on that day, and grows late.

    Before it is due the day may move with the forecast, though never into the past.
    """
    visits = [] if seen is None else [VisitLine("F1", seen, "some")]
    folder = build_season(tmp_path, visits=visits, working_days=WEEKDAYS)
    first = day(5, 6) if seen is None else seen
    stood: list[dt.date] = []
    for after in range(0, 24, 2):
        on = first + after * ONE_DAY
        field = SeasonDay.open(folder, as_of=on).field("F1")
        due = field.visit.due
        assert due is not None
        if stood:
            assert due == stood[0]
            assert field.days_late(on) == (on - due).days
        elif due <= on:
            assert due > on - 2 * ONE_DAY
            stood.append(due)
    assert stood
