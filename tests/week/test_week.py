"""The week's route of a whole season folder: who may be walked when, replanning, scouts, roads."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import numpy as np
import pytest
from log_builder import treatment
from week_builder import plan_week

from stagecast.base.errors import SeasonProblems
from stagecast.knowledge import load
from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore
from stagecast.season.settings.workday import DrivingRules
from stagecast.season.tables.travel import Leg
from stagecast.visits.reentry import NoEntry
from stagecast.weather.nearest import great_circle_km
from stagecast.week.days import ScoutDay
from stagecast.week.fields import soonest_visit
from stagecast.week.problem import WeekRequest
from stagecast.week.route.roads import RoadPlace, roads_between
from stagecast.week.week import WeekRoute
from stagecast.words.week import left_out_text

TUESDAY, WEDNESDAY = dt.date(2026, 7, 7), dt.date(2026, 7, 8)
FRIDAY = dt.date(2026, 7, 10)
ENTERED = dt.datetime(2026, 7, 7, 18)

SCOUTS = """
[[scouts]]
name = "First"

[[scouts]]
name = "Summer"
working_days = ["thu", "fri"]
starts = "06:00"
ends = "11:00"
lunch_min = 0
home = { latitude = 36.45, longitude = -88.98 }
"""


@pytest.fixture
def folder(demo: Path, tmp_path: Path) -> Path:
    """A copy of the demo season that a test may change."""
    return Path(shutil.copytree(demo, tmp_path / "season"))


def week_of(folder: Path, as_of: dt.date = TUESDAY, **asked: object) -> WeekRoute:
    """The route from Wednesday on, as it stood on Tuesday."""
    wanted = WeekRequest(**{"first_day": WEDNESDAY, **asked})  # type: ignore[arg-type]
    return plan_week(folder, as_of=as_of, asked=wanted)


def walked(route: WeekRoute) -> dict[str, ScoutDay]:
    """The day on which each field is walked."""
    return {stop.field_id: day for day in route.days for stop in day.stops}


def test_every_field_that_is_due_is_walked_once_or_left_out_with_a_reason(demo: Path) -> None:
    """Nothing due gets lost between the plan and the route, and nothing is walked twice."""
    route = week_of(demo)
    stops = [stop.field_id for day in route.days for stop in day.stops]
    left = [one.field_id for one in route.left_out]
    due = {
        plan.forecast.field.field_id
        for plan in route.season.fields
        if plan.visit.due is not None and plan.visit.due <= route.last_day
    }
    assert len(stops) == len(set(stops))
    assert {*stops, *left} == due
    assert not set(stops) & set(left)
    assert all(one.why for one in route.left_out)


def test_times_of_a_day_add_up(demo: Path) -> None:
    """Home, drives, fields and lunch follow each other without a gap that is not waiting."""
    route = week_of(demo)
    for day in [d for d in route.days if d.stops]:
        assert day.leave_home is not None
        assert day.back_home is not None
        lunch = dt.timedelta() if day.lunch is None else day.lunch[1] - day.lunch[0]
        busy = dt.timedelta(minutes=day.drive_min + day.work_min) + lunch
        assert day.back_home - day.leave_home == busy
        assert day.leave_home.time() >= dt.time(7)
        assert day.back_home.time() <= dt.time(16)
        for before, after in zip(day.stops, day.stops[1:], strict=False):
            assert after.arrive >= before.leave + dt.timedelta(minutes=after.drive_min)


def test_no_field_is_walked_sooner_than_makes_sense(demo: Path) -> None:
    """Within five days of the last visit only where it is due then, or on days without work.

    Common practice, no source: a week that ends before the due date is no reason to be late.
    """
    route = week_of(demo)
    least = int(load().revisit.near_threshold_days)
    worked = {day.date for day in route.days}
    sooner = []
    for day in route.days:
        for stop in day.stops:
            soonest, due = soonest_visit(stop.plan, least), stop.plan.visit.due
            assert due is not None
            if day.date < soonest:
                sooner.append(stop.field_id)
                assert not any(soonest <= other <= due for other in worked)
                assert day.date == max(other for other in worked if other <= due)
    assert sooner == ["F05"]  # near its threshold on Monday 6 July, due on Saturday


def test_the_same_input_gives_the_same_week(demo: Path) -> None:
    """Two runs agree stop by stop, to the minute."""
    first, second = week_of(demo), week_of(demo)
    for one, other in zip(first.days, second.days, strict=True):
        assert [(s.field_id, s.arrive, s.leave) for s in one.stops] == [
            (s.field_id, s.arrive, s.leave) for s in other.stops
        ]


def test_a_blocked_time_is_kept_and_a_blocked_week_leaves_out(folder: Path) -> None:
    """A grower's own hours are walked round; a field blocked all week is left out with why."""
    free = week_of(folder)
    early = next(day.stops[0] for day in free.days if day.stops)
    other = next(stop for day in free.days for stop in day.stops if stop is not early)
    rows = [
        "field_id,first_date,last_date,from_time,to_time,why",
        f"{early.field_id},2026-07-08,2026-07-14,06:00,13:00,irrigation",
        f"{other.field_id},2026-07-08,2026-07-14,,,family day",
    ]
    (folder / "blocked.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    route = week_of(folder, must=(early.field_id,))
    moved = next(s for day in route.days for s in day.stops if s.field_id == early.field_id)
    assert moved.arrive.time() >= dt.time(13)
    (left,) = [one for one in route.left_out if one.field_id == other.field_id]
    assert left_out_text(left.why) == "blocked: family day"


def test_a_blocked_time_within_lunch_is_kept(folder: Path) -> None:
    """Nobody stands in a field that is blocked for a part of the scout's lunch."""
    lines = (folder / "fields.csv").read_text("utf-8").splitlines()[1:]
    ids = [line.split(",")[0] for line in lines]
    rows = ["field_id,first_date,last_date,from_time,to_time,why"]
    rows += [f"{i},2026-07-08,2026-07-14,12:05,12:25,spraying" for i in ids]
    (folder / "blocked.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for stop in week_of(folder).stops:
        day = dt.datetime.combine(stop.arrive.date(), dt.time())
        begins, ends = (day + dt.timedelta(hours=12, minutes=m) for m in (5, 25))
        assert stop.leave <= begins or stop.arrive >= ends


def test_no_field_is_walked_inside_a_restricted_entry_interval(folder: Path) -> None:
    """A treated field is walked after its interval only (40 CFR part 170), or left out."""
    free = week_of(folder)
    day = next(day for day in free.days if day.stops)
    field_id = day.stops[0].field_id
    noon = dt.datetime(2026, 7, 7, 12)
    store = LogStore(folder / LOG_FILE)
    day_long = treatment(noon, 24.0, field_id=field_id, product="Product A")
    store.add([], [day_long], entered_at=ENTERED, label="test", lines={})
    route = week_of(folder)
    until = dt.datetime(2026, 7, 8, 12)
    assert all(s.arrive >= until for d in route.days for s in d.stops if s.field_id == field_id)
    ten_days = treatment(noon, 240.0, field_id=field_id, product="Product B")
    store.add([], [ten_days], entered_at=ENTERED, label="test", lines={})
    long = week_of(folder, must=(field_id,))
    assert field_id not in walked(long)
    (left,) = [one for one in long.left_out if one.field_id == field_id]
    assert isinstance(left.why, NoEntry)


def test_a_rained_out_day_is_planned_anew_and_says_what_moved(demo: Path) -> None:
    """No one works on a day that is off; every field of it moved, with the day as the reason."""
    free = week_of(demo)
    lost = next(day for day in free.days if day.stops)
    route = week_of(demo, off=((None, lost.date),))
    assert all(day.date != lost.date for day in route.days)
    moved = {one.field_id: one for one in route.moved}
    for stop in lost.stops:
        assert moved[stop.field_id].was == (lost.date, "")
        assert moved[stop.field_id].day_off == stop.arrive.date()
    now = walked(route)
    for field_id, one in moved.items():
        assert one.to == ((now[field_id].date, "") if field_id in now else None)


def test_fields_that_are_done_are_not_walked_again(demo: Path) -> None:
    """--done takes a field off the route, in any case of its id; it counts as neither left out."""
    field_id = next(iter(walked(week_of(demo))))
    route = week_of(demo, done=(field_id.lower(),))
    told = {*walked(route), *(one.field_id for one in route.left_out)}
    assert field_id not in told
    assert field_id not in {*route.not_due, *(one.field_id for one in route.moved)}
    assert route.done == (field_id,)


def test_the_rest_of_a_day_starts_at_the_hour_and_field_given(demo: Path) -> None:
    """After a shower at F06 the day goes on from there at 13:30, and ends at home in time."""
    free = week_of(demo)
    first = next(day for day in free.days if len(day.stops) > 1)
    at = first.stops[0].field_id
    route = week_of(
        demo, first_day=first.date, done=(at,), must=(first.stops[-1].field_id,),
        from_s=((None, 13 * 3600 + 1800),), at=((None, at),),
    )  # fmt: skip
    today = route.days[0]
    assert today.leave_home is not None
    assert today.leave_home.time() >= dt.time(13, 30)
    assert today.back_home is not None
    assert today.back_home.time() <= dt.time(16)
    by_id = {plan.forecast.field.field_id: plan.forecast.field for plan in route.season.fields}
    start, stop = by_id[at], by_id[today.stops[0].field_id]
    straight = float(
        great_circle_km(start.latitude, start.longitude, stop.latitude, stop.longitude)
    )
    factor = float(load().workday.driving.road_factor)
    assert today.stops[0].drive_km == pytest.approx(straight * factor)
    assert today.start == (start.latitude, start.longitude)
    assert all(day.start == day.home for day in route.days[1:])


def test_who_cannot_be_home_in_time_walks_nothing_more_that_day(demo: Path) -> None:
    """A minute before work ends one stands at a field: that day is over, the others are planned."""
    free = week_of(demo)
    first = next(day for day in free.days if day.stops)
    late = ((None, 15 * 3600 + 59 * 60),)
    route = week_of(
        demo, first_day=first.date, from_s=late, at=((None, first.stops[0].field_id),)
    )  # fmt: skip
    over = week_of(demo, first_day=first.date, from_s=((None, 24 * 3600 - 60),))
    orders, others = (
        {day.date: [stop.field_id for stop in day.stops] for day in one.days if day.stops}
        for one in (route, over)
    )
    assert orders == others
    assert min(orders) > first.date


def test_a_must_visit_is_walked_though_it_is_not_due(demo: Path) -> None:
    """A field named with --must is on the route even where no rule asks for it."""
    route = week_of(demo, days=1)
    idle = next(
        plan.forecast.field.field_id
        for plan in route.season.fields
        if plan.visit.due is not None and plan.visit.due > route.last_day
    )
    assert idle not in walked(route)
    assert idle in walked(week_of(demo, days=1, must=(idle,)))


def test_two_scouts_have_their_own_days_hours_and_homes(folder: Path) -> None:
    """A summer scout works on the days and hours of season.toml, from an own home."""
    settings = folder / "season.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + SCOUTS, encoding="utf-8")
    route = week_of(folder)
    summer = [day for day in route.days if day.scout == "Summer"]
    assert {day.date.strftime("%a") for day in summer} == {"Thu", "Fri"}
    assert {day.home for day in summer} == {(36.45, -88.98)}
    assert any(day.stops for day in summer)
    for day in [d for d in summer if d.stops]:
        assert day.lunch is None
        assert day.leave_home is not None
        assert day.leave_home.time() >= dt.time(6)
        assert day.back_home is not None
        assert day.back_home.time() <= dt.time(11)
    assert {day.scout for day in route.days} == {"First", "Summer"}


def test_more_hours_never_cost_more(folder: Path) -> None:
    """With a second scout the route, driving and waiting together, is no dearer."""
    alone = week_of(folder, beside=True).beside[0]
    settings = folder / "season.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + SCOUTS, encoding="utf-8")
    both = week_of(folder, beside=True).beside[0]
    cents = 0.02
    assert both.drive_cost + both.waiting_cost <= alone.drive_cost + alone.waiting_cost + cents


def test_all_that_is_wrong_with_what_was_asked_is_told_at_once(demo: Path) -> None:
    """Unknown fields, days outside the route and a start in the past are one list of sentences."""
    with pytest.raises(SeasonProblems) as told:
        week_of(
            demo,
            as_of=FRIDAY,
            done=("nowhere",),
            must=("nobody",),
            off=((None, dt.date(2026, 8, 1)),),
        )
    assert [p.file for p in told.value.problems] == ["--done", "--must", "--starting", "--off"]


def test_roads_are_the_table_where_it_has_the_way_else_straight_lines_times_a_factor() -> None:
    """Great-circle distance (haversine, tested on its own) times the factor, at the speed given."""
    places = [
        RoadPlace(("Truck", "home"), 36.0, -89.0),
        RoadPlace(("A",), 36.1, -89.0),
        RoadPlace(("B",), 36.0, -88.8),
    ]
    legs = {("home", "A"): Leg(30.0, 25.4), ("A", "home"): Leg(31.0, 26.0)}
    roads = roads_between(places, legs, DrivingRules(60.0, 1.3))
    assert (roads.km[0, 1], roads.minutes[0, 1]) == (30.0, 26)
    assert (roads.km[1, 0], roads.minutes[1, 0]) == (31.0, 26)
    straight = float(great_circle_km(36.1, -89.0, 36.0, -88.8))
    assert roads.km[1, 2] == pytest.approx(1.3 * straight)
    assert roads.minutes[1, 2] == int(np.ceil(1.3 * straight))  # one km a minute
    assert not roads.estimated[0, 1]
    assert roads.estimated[1, 2]
    assert not roads.km.diagonal().any()
