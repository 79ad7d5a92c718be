"""Fields put on a day and a scout by a person: walked there, by any solver, until that lapses."""

from __future__ import annotations

import datetime as dt
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from commands import run_command
from hypothesis import given, settings
from hypothesis import strategies as st
from route_problems import random_problem
from season_builder import FieldLine, StationFile, build_season, day

from stagecast.base.dates import DAY_S
from stagecast.base.errors import StoreError
from stagecast.base.lock import held
from stagecast.season.locks import FILE, GUARD, Lock, keep_locks, put, read_locks
from stagecast.visits.season_day import SeasonDay
from stagecast.week.problem import WeekRequest
from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.problem import RouteProblem, Span, is_possible
from stagecast.week.route.solve import best_route
from stagecast.week.week import WeekRoute, route_week, season_route, walk_of
from stagecast.words.week import held_texts

MONDAY, TUESDAY, WEDNESDAY = day(7, 6), day(7, 7), day(7, 8)
"""6 July 2026 is a Monday."""


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """Three fields and two scouts."""
    fields = [FieldLine(f"F{n}", day(5, 4), latitude=36.0 + n / 50) for n in (1, 2, 3)]
    folder = build_season(
        tmp_path / "season", fields=fields,
        stations=[StationFile(first=dt.date(2024, 1, 1), last=day(7, 5))],
    )  # fmt: skip
    with (folder / "season.toml").open("a") as stream:
        stream.write('\n[[scouts]]\nname = "Ann"\n[[scouts]]\nname = "Kim"\n')
    return folder


def route(folder: Path, as_of: dt.date = MONDAY) -> WeekRoute:
    """The route of a folder on a day."""
    return season_route(SeasonDay.open(folder, as_of=as_of))


def where(found: WeekRoute) -> dict[str, tuple[dt.date, str]]:
    """Day and scout of every field that is walked."""
    return {stop.field_id: (one.date, one.scout) for one in found.days for stop in one.stops}


def lock(folder: Path, **locks: Lock) -> None:
    """Keep locks."""
    keep_locks(folder, {**read_locks(folder), **locks}, as_of=MONDAY)


@pytest.mark.parametrize("scout", ["Ann", "Kim"])
def test_a_field_is_walked_where_it_was_put(season: Path, scout: str) -> None:
    """The one route of the season has it there, so plan, week and today say the same day."""
    lock(season, F2=Lock(day=WEDNESDAY, scout=scout))
    found = route(season)
    assert where(found)["F2"] == (WEDNESDAY, scout)
    field = found.season.find("F2")
    assert field is not None
    assert (walk_of(field).day, walk_of(field).why) == (WEDNESDAY, "put there")
    again = route_week(found.season, WeekRequest(first_day=MONDAY, off=(("Ann", TUESDAY),)))
    assert where(again)["F2"] == (WEDNESDAY, scout)


@pytest.mark.parametrize(
    ("held", "as_of"),
    [
        (Lock(day=MONDAY, scout="Ann"), TUESDAY),  # its day is past
        (Lock(day=WEDNESDAY, scout="Lee"), MONDAY),  # nobody of that name
        (Lock(day=day(7, 11), scout="Ann"), MONDAY),  # a Saturday
        (Lock(day=WEDNESDAY, scout="Ann", seen=TUESDAY), MONDAY),  # made after that day
    ],
)
def test_what_cannot_be_kept_changes_nothing(season: Path, held: Lock, as_of: dt.date) -> None:
    """A lock that has lapsed, or that nobody can keep, leaves the route as it is without it."""
    before = where(route(season, as_of))
    lock(season, F2=held)
    found = route(season, as_of)
    assert where(found) == before
    assert not found.held


@pytest.mark.parametrize(
    ("last_visit", "holds"),
    [(day(7, 1), True), (day(6, 30), True), (None, True), (day(7, 2), False)],
)
def test_only_a_later_walk_ends_a_lock(last_visit: dt.date | None, holds: bool) -> None:
    """A visit put right to an earlier day, or taken back, leaves the field where it was put."""
    made = Lock(day=WEDNESDAY, scout="Ann", seen=day(7, 1))
    assert made.holds(MONDAY, last_visit) is holds


def test_a_lock_on_a_closed_day_is_told(season: Path) -> None:
    """The field is walked on another day, and the lock stands among those that cannot be kept."""
    lock(season, F2=Lock(day=WEDNESDAY, scout="Ann"))
    (season / "blocked.csv").write_text(
        "field_id,first_date,last_date,from_time,to_time\nF2,2026-07-08,2026-07-08,,\n"
    )
    found = route(season)
    assert where(found)["F2"][0] != WEDNESDAY
    assert list(found.void) == ["F2"]


def test_a_field_without_room_where_it_was_put_is_not_said_to_stay_there(season: Path) -> None:
    """More fields on one day than its hours hold: who is left out is told so, and only so."""
    settings = (season / "season.toml").read_text()
    short = 'name = "Ann"\nstarts = "7:00"\nends = "8:15"\n'
    (season / "season.toml").write_text(settings.replace('name = "Ann"\n', short))
    lock(season, **{f"F{n}": Lock(day=WEDNESDAY, scout="Ann") for n in (1, 2, 3)})
    found = route(season)
    walked, left = where(found), {one.field_id for one in found.left_out}
    assert left
    assert set(found.held) == walked.keys() == {"F1", "F2", "F3"} - left
    assert all(at == (WEDNESDAY, "Ann") for at in walked.values())
    assert found.crowded_out == left
    told = list(held_texts(found))
    assert all(f"{name} stays on" not in text for name in left for text in told)
    assert all(any(text.startswith(f"{name} was put") for text in told) for name in left)


def test_locks_are_kept_and_days_past_are_not(tmp_path: Path) -> None:
    """One readable file, the same bytes for the same locks; a damaged one is told."""
    locks = {"F2": Lock(day=TUESDAY, scout="Ann"), "F1": Lock(day=MONDAY, seen=day(7, 1))}
    keep_locks(tmp_path, locks, as_of=TUESDAY)
    assert read_locks(tmp_path) == {"F2": locks["F2"]}
    text = (tmp_path / FILE).read_text()
    assert '"day": "2026-07-07"' in text
    keep_locks(tmp_path, read_locks(tmp_path), as_of=TUESDAY)
    assert (tmp_path / FILE).read_text() == text
    (tmp_path / FILE).write_text("{")
    with pytest.raises(StoreError, match="damaged"):
        read_locks(tmp_path)


def test_two_who_put_fields_at_once_lose_nothing(tmp_path: Path) -> None:
    """One waits while another writes, and adds its own to what that one wrote."""
    ann, kim = Lock(day=TUESDAY, scout="Ann"), Lock(day=WEDNESDAY, scout="Kim")
    other = threading.Thread(target=lambda: put(tmp_path, "F1", ann, as_of=MONDAY))
    with held(tmp_path / GUARD, busy="at work"):
        other.start()
        other.join(0.2)
        assert other.is_alive()
        keep_locks(tmp_path, {"F2": kim}, as_of=MONDAY)
    other.join()
    assert read_locks(tmp_path) == {"F1": ann, "F2": kim}
    put(tmp_path, "F2", None, as_of=MONDAY)
    assert read_locks(tmp_path) == {"F1": ann}


def test_a_damaged_file_stops_no_morning(season: Path) -> None:
    """The route is made as though no field had been put anywhere, and the screen says so.

    The file stays as it is, also when somebody would put a field somewhere.
    """
    free = where(route(season))
    (season / FILE).write_text("{")
    found = SeasonDay.open(season, as_of=MONDAY)
    assert where(season_route(found)) == free
    told = [doubt for doubt in found.doubts if doubt.file == FILE]
    assert len(told) == 1
    assert "no field is held" in told[0].sentence()
    ran = run_command("today", season, "--as-of", MONDAY.isoformat())
    assert f"{FILE}: it is damaged: no field is held where you put it" in ran.out
    with pytest.raises(StoreError, match="damaged"):
        put(season, "F1", Lock(day=TUESDAY, scout="Ann"), as_of=MONDAY)
    assert (season / FILE).read_text() == "{"


def bound_problem(seed: int) -> RouteProblem:
    """An invented week in which some fields are bound to a shift in which they fit alone."""
    problem = random_problem(seed, sites=12, days=3, scouts=2, musts=0.2, narrow=0.0)
    sites = list(problem.sites)
    for index in range(0, 4):
        shift = problem.shifts[(index + seed) % len(problem.shifts)]
        span = Span(shift.day * DAY_S, (shift.day + 1) * DAY_S - 1)
        sites[index] = replace(sites[index], spans=(span,), scout=shift.scout, must=True)
    return replace(problem, sites=tuple(sites))


@settings(max_examples=12)
@given(st.integers(0, 10_000))
def test_no_way_of_routing_moves_a_bound_field(seed: int) -> None:
    """PyVRP, insertion and the plain rules: a bound field is walked by its scout or not at all."""
    problem = bound_problem(seed)
    rules = (insertion.solve, insertion.nearest_first, insertion.due_first)
    routes = [rule(problem) for rule in rules]
    if with_pyvrp.available():
        routes.append(best_route(problem, seed=1, iterations=100)[0])
    for found in routes:
        assert is_possible(problem, found)
        for shift, order in zip(problem.shifts, found.orders, strict=True):
            for site in order:
                assert problem.sites[site].scout in (None, shift.scout)
    assert {0, 1, 2, 3} <= routes[0].walked
    assert {0, 1, 2, 3} <= routes[-1].walked
