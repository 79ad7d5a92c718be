"""Fields about to be closed, due after the route's days, or sampled otherwise on another day."""

from __future__ import annotations

from pathlib import Path

import pytest
from season_builder import FieldLine, VisitLine, build_season, day

from stagecast.visits.season_day import SeasonDay
from stagecast.week.fields import first_open_day, sets_to_take, work_on
from stagecast.week.problem import WeekRequest
from stagecast.week.week import WeekRoute, route_week, season_route, walk_of
from stagecast.words.morning import why_in_short
from stagecast.words.week import late_text

TODAY = day(7, 7)
"""A Tuesday."""
FIELDS = [FieldLine(f"F{i}", latitude=36.0 + i / 100) for i in range(1, 7)]
HEADER = "field_id,first_date,last_date,from_time,to_time,why"


def opened(folder: Path, *shut: str, seen: int = 3, gap: int = 8) -> SeasonDay:
    """Six fields in bloom seen early in July, some of them blocked on days of the week."""
    visits = [VisitLine(one.field_id, day(7, seen), "some") for one in FIELDS]
    weather = f"\n[money]\nbean_price = 0.05\n[visits]\nlongest_gap_critical_days = {gap}\n"
    build_season(folder, fields=FIELDS, visits=visits, weather=weather)
    (folder / "blocked.csv").write_text("\n".join([HEADER, *shut, ""]), encoding="utf-8")
    return SeasonDay.open(folder, as_of=TODAY)


@pytest.mark.parametrize(
    ("shut", "last"),
    [
        (("2026-07-09", "2026-07-12"), day(7, 8)),
        (("2026-07-08", "2026-07-11"), day(7, 7)),
        (("2026-07-10", "2026-07-20"), day(7, 9)),
    ],
)
def test_a_field_about_to_be_blocked_is_walked_on_its_last_free_day(
    shut: tuple[str, str], last: object, tmp_path: Path
) -> None:
    """Blocked up to its limit or past it, it is walked before, though driving there pays little."""
    season = opened(tmp_path, f"F3,{shut[0]},{shut[1]},,,sprayed next door")
    field = season.field("F3")
    assert field.visit.limit == day(7, 11)
    walked = walk_of(field).on
    assert walked is not None
    assert walked <= last  # type: ignore[operator]
    route = season_route(season)
    assert "F3" not in {one.field_id for one in (*route.late, *route.left_out)}


def test_no_room_is_not_said_of_a_field_that_was_closed(tmp_path: Path) -> None:
    """Closed on every day of work up to its limit it is walked after it, and not called crowded."""
    season = opened(tmp_path, "F3,2026-07-07,2026-07-12,,,sprayed next door")
    route = season_route(season)
    assert walk_of(season.field("F3")).on == day(7, 13)
    assert not [late_text(one) for one in route.late if one.field_id == "F3"]


def test_what_is_due_after_the_last_day_is_not_left_out(tmp_path: Path) -> None:
    """Due on the Saturday at the end of the route it is due on Monday: that is its date."""
    season = opened(tmp_path, seen=4, gap=14)
    route = route_week(season, WeekRequest(first_day=TODAY, days=6))
    for field in season.fields:
        assert (field.visit.due, field.due_on) == (day(7, 11), day(7, 13))
    assert not route.left_out
    idle = [field for field in season.fields if route.walk_of(field).on is None]
    assert idle, "at this price nobody drives there sooner"
    for field in idle:
        walk = route.walk_of(field)
        assert (walk.day, walk.why) == (day(7, 13), "no work")


def test_no_date_shown_lies_on_a_day_without_work(tmp_path: Path) -> None:
    """The first open day of a field is one on which somebody works."""
    season = opened(tmp_path, "F3,2026-07-13,2026-07-13,,,sprayed next door")
    assert first_open_day(season.field("F3"), day(7, 11)) == day(7, 14)
    assert first_open_day(season.field("F2"), day(7, 11)) == day(7, 13)


def _stops_belong(route: WeekRoute) -> None:
    for stop in route.stops:
        on, loaded = stop.arrive.date(), route.season.loaded
        sampling = work_on(stop.plan, on, loaded)[1] or stop.sampling
        assert stop.sampling == sampling
        assert stop.sets == sets_to_take(sampling, loaded.knowledge)


def test_the_sets_of_a_stop_are_those_of_its_method(demo: Path) -> None:
    """Through the season of the demo number and method are of the same way of sampling."""
    methods = set()
    for on in (day(6, 2), day(6, 9), day(6, 23), day(7, 7), day(7, 28)):
        route = season_route(SeasonDay.open(demo, as_of=on))
        _stops_belong(route)
        methods |= {stop.sampling for stop in route.stops}
    assert len(methods) > 1


def test_walked_sooner_than_due_the_due_day_is_said(tmp_path: Path) -> None:
    """Days since the last visit explain no other day than the due one."""
    visit = opened(tmp_path).field("F1").visit
    assert visit.due == day(7, 10)
    assert why_in_short(visit, days_late=0) == "7 days from 3 Jul"
    assert why_in_short(visit, days_late=-2) == "due 10 Jul"
