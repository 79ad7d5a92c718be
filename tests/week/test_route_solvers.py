"""Ways of making the route: against all routes there are, each other, and rules of thumb."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
import pytest
from commands import process_environment
from hypothesis import given, settings
from hypothesis import strategies as st
from route_problems import random_problem

from stagecast.cli.season_commands import DEMO_DAY, write_demo
from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import TooLong, never_fits
from stagecast.week.problem import WeekRequest, week_problem
from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route import solve as solving
from stagecast.week.route.cross import crossed
from stagecast.week.route.insertion import due_first, nearest_first
from stagecast.week.route.part import worth_trying
from stagecast.week.route.problem import (
    Route,
    RouteField,
    RouteProblem,
    Span,
    cost,
    is_possible,
    late_cents,
    nowhere,
)
from stagecast.week.route.solve import best_route, steps

needs_pyvrp = pytest.mark.skipif(
    not with_pyvrp.available(), reason="PyVRP is not installed (extra: route)"
)

INSERTION_GAP = 1.35
"""Insertion may cost this much of the optimum on five fields, where one field is a lot."""

Rule = Callable[[RouteProblem], Route]


def small(seed: int) -> RouteProblem:
    """Five fields, most of them closed at times, and two short days: not all can be walked."""
    return random_problem(
        seed, sites=5, days=2, musts=0.5, narrow=0.8, side_km=60, ends_s=10 * 3600 + 1800
    )


def rank(problem: RouteProblem, route: Route) -> tuple[int, int]:
    """Must-visits missed, then what it costs."""
    found = cost(problem, route)
    return len(found.missed), found.total


def all_routes(problem: RouteProblem) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Every way of sharing any of the sites out to two shifts, in any order."""
    for count in range(len(problem.sites) + 1):
        for chosen in combinations(range(len(problem.sites)), count):
            for order in permutations(chosen):
                for cut in range(count + 1):
                    yield order[:cut], order[cut:]


def told(problem: RouteProblem, orders: tuple[tuple[int, ...], ...]) -> tuple[int, int] | None:
    """Must-visits missed and cents of a route, reckoned from the definition; None if impossible."""
    cents = 0
    for shift, order in zip(problem.shifts, orders, strict=True):
        clock, at = shift.starts_s, shift.home
        for number in order:
            site = problem.sites[number]
            clock += problem.drive_s[at, site.place]
            moments = [clock, *(span.first_s for span in site.spans if span.first_s > clock)]
            open_at = [m for m in moments if any(s.first_s <= m <= s.last_s for s in site.spans)]
            if not open_at:
                return None
            clock = min(open_at) + site.service_s
            cents += problem.drive_cents[at, site.place] + site.wait_cents[shift.day]
            at = site.place
        if clock + problem.drive_s[at, shift.home] > shift.ends_s:
            return None
        cents += problem.drive_cents[at, shift.home]
    out = [site for number, site in enumerate(problem.sites) if number not in sum(orders, ())]
    return sum(site.must for site in out), int(cents) + sum(site.skip_cents for site in out)


@pytest.fixture(scope="module")
def optima() -> dict[int, tuple[int, int]]:
    """The best of all routes for each seed."""
    found = {}
    for seed in range(24):
        problem = small(seed)
        found[seed] = min(
            worth for orders in all_routes(problem) if (worth := told(problem, orders)) is not None
        )
    return found


def test_small_weeks_leave_something_to_decide(optima: dict[int, tuple[int, int]]) -> None:
    """The enumerated weeks have must-visits missed and kept, split spans, and fields left out."""
    problems = [small(seed) for seed in optima]
    assert any(missed for missed, _ in optima.values())
    assert any(site.must for p in problems for site in p.sites)
    assert any(len(site.spans) > 1 for p in problems for site in p.sites)
    routes = [insertion.solve(problem) for problem in problems]
    assert any(0 < len(route.walked) < 5 for route in routes)


@needs_pyvrp
def test_pyvrp_finds_the_best_of_all_routes(optima: dict[int, tuple[int, int]]) -> None:
    """On every small week PyVRP's route costs what the best of all enumerated routes costs."""
    for seed, best in optima.items():
        problem = small(seed)
        route, solver = best_route(problem, seed=1)
        assert solver == "pyvrp"
        assert rank(problem, route) == best, seed
        assert told(problem, route.orders) == best, seed


def test_insertion_is_near_the_best_of_all_routes(optima: dict[int, tuple[int, int]]) -> None:
    """Insertion is never below the optimum, which would be an error, and within a stated gap."""
    for seed, (missed, total) in optima.items():
        problem = small(seed)
        route = insertion.solve(problem)
        assert told(problem, route.orders) == rank(problem, route)
        assert rank(problem, route) >= (missed, total)
        if not missed and not cost(problem, route).missed:
            assert cost(problem, route).total <= INSERTION_GAP * total, seed


WEEKS = [
    pytest.param({"sites": 12, "days": 2}, 1, id="12 fields"),
    pytest.param({"sites": 40, "days": 4, "musts": 0.3}, 2, id="40 fields"),
    pytest.param({"sites": 40, "days": 3, "scouts": 2, "narrow": 0.8}, 3, id="two scouts"),
    pytest.param({"sites": 90, "days": 3, "scouts": 1}, 4, id="90 fields"),
]


@needs_pyvrp
@pytest.mark.parametrize(("size", "seed"), WEEKS)
def test_pyvrp_betters_its_start_and_repeats_itself(size: dict[str, int], seed: int) -> None:
    """PyVRP's route is possible, better than its start, as good as insertion's to a thousandth,
    and the same for the same seed.
    """  # noqa: D205
    problem = random_problem(seed, **size)
    route, _ = best_route(problem, seed=seed)
    assert is_possible(problem, route)
    assert rank(problem, route) < rank(problem, insertion.quick(problem))
    missed, cents = rank(problem, insertion.solve(problem))
    assert rank(problem, route) <= (missed, 1.001 * cents)
    assert best_route(problem, seed=seed)[0] == route


@pytest.mark.parametrize(("size", "seed"), WEEKS)
def test_insertion_is_possible_and_leaves_no_cheap_change(size: dict[str, int], seed: int) -> None:
    """Insertion's route can be done, repeats itself, and taking any one field out costs more."""
    problem = random_problem(seed, **size)
    route = insertion.solve(problem)
    assert is_possible(problem, route)
    assert insertion.solve(problem) == route
    for shift, order in enumerate(route.orders):
        for site in order:
            orders = list(route.orders)
            orders[shift] = tuple(other for other in order if other != site)
            assert rank(problem, Route(tuple(orders))) >= rank(problem, route)


@needs_pyvrp
def test_even_no_steps_give_the_start() -> None:
    """Where the search finds nothing better the route that it began with is returned."""
    problem = random_problem(5, sites=30, days=3)
    start = insertion.solve(problem)
    assert with_pyvrp.solve(problem, start=start, seed=1, iterations=0) is start


@pytest.mark.parametrize("rule", [nearest_first, due_first])
@pytest.mark.parametrize(("size", "seed"), WEEKS)
def test_both_beat_the_rules_of_thumb(rule: Rule, size: dict[str, int], seed: int) -> None:
    """Insertion and the best route cost less than rules of thumb, and where hours are scarce
    they leave less waiting on the table; elsewhere the rules drive where it does not pay.
    """  # noqa: D205
    problem = random_problem(seed, **size)
    simple = rule(problem)
    assert is_possible(problem, simple)
    theirs = cost(problem, simple)
    for route in (insertion.solve(problem), best_route(problem, seed=seed)[0]):
        ours = cost(problem, route)
        assert len(ours.missed) <= len(theirs.missed)
        assert ours.total < theirs.total
        if size["sites"] == 90:
            assert ours.wait + ours.skip < theirs.wait + theirs.skip


@pytest.mark.parametrize("rule", [nearest_first, due_first, insertion.solve])
def test_must_visits_come_before_money(rule: Rule) -> None:
    """A must-visit that gains nothing is walked before fields that lose a lot by waiting."""
    problem = random_problem(6, sites=30, days=2, musts=0.0, narrow=0.0)
    idle = replace(problem.sites[7], must=True, wait_cents=(0, 0), skip_cents=0, due_day=9)
    problem = replace(problem, sites=(*problem.sites[:7], idle, *problem.sites[8:]))
    assert 7 in rule(problem).walked


@pytest.mark.parametrize("solver", [insertion.solve, lambda p: best_route(p, seed=1)[0]])
def test_must_visits_are_walked_by_their_last_day(solver: Rule) -> None:
    """Those that lose nothing by waiting are walked by their day, though money would have others.

    Where more must be walked by the first day than fit, fewer days are lost than without it.
    """

    def asked(seed: int, count: int, *, days: int) -> RouteProblem:
        problem = random_problem(20 + seed, sites=30, days=3, musts=0.0, narrow=0.0)
        idle = {"must": True, "wait_cents": (0, 0, 0), "skip_cents": 0}
        sites = [
            replace(one, **idle, last_day=number % days) if number < count else one
            for number, one in enumerate(problem.sites)
        ]
        late = late_cents(sites, problem.drive_cents)
        return replace(problem, sites=tuple(sites), late_cents=late)

    def late(problem: RouteProblem) -> int:
        found = cost(problem, solver(problem))
        assert not found.missed
        return found.late

    few, many = (
        [asked(seed, count, days=days) for seed in range(4)] for count, days in ((9, 3), (14, 1))
    )
    assert [late(problem) for problem in few] == [0] * 4
    for some in (few, many):
        free = [replace(problem, late_cents=0) for problem in some]
        assert sum(map(late, some)) < sum(map(late, free))


def test_nearest_first_goes_to_the_nearest() -> None:
    """With all fields open and equal, the first stop is the one nearest to home."""
    problem = random_problem(7, sites=20, days=1, musts=0.0, narrow=0.0)
    first = nearest_first(problem).orders[0][0]
    assert first == problem.drive_s[0, 1:].argmin()


def test_due_first_takes_the_most_overdue() -> None:
    """With all fields open, the first stop is one that is most overdue."""
    problem = random_problem(8, sites=20, days=1, musts=0.0, narrow=0.0)
    first = due_first(problem).orders[0][0]
    assert problem.sites[first].due_day == min(site.due_day for site in problem.sites)


def test_without_pyvrp_insertion_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyVRP is not installed the route is insertion's, and says so."""
    monkeypatch.setattr(with_pyvrp, "available", lambda: False)
    problem = random_problem(9, sites=20, days=2)
    assert best_route(problem, seed=1) == (insertion.solve(problem), "insertion")


def test_pyvrp_is_imported_by_the_search_only() -> None:
    """Importing the solvers does not import it."""
    code = (
        "import sys; from stagecast.week.route import solve, with_pyvrp; "
        "sys.exit('pyvrp' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], env=process_environment(), check=True, timeout=600)


def test_a_broken_pyvrp_is_as_good_as_none(tmp_path: Path) -> None:
    """An install that cannot be loaded, for want of a library, leaves it to insertion."""
    (tmp_path / "pyvrp").mkdir()
    (tmp_path / "pyvrp" / "__init__.py").write_text("raise ImportError('no such library')\n")
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); "
        "from stagecast.week.route import with_pyvrp; sys.exit(with_pyvrp.available())"
    )
    subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        env=process_environment(), check=True, timeout=600,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_insertion_is_never_worse_than_a_plain_rule(seed: int) -> None:
    """Also on small weeks with narrow hours, must-visits first and then by cost."""
    problem = random_problem(seed, sites=3 + seed % 9, days=1 + seed % 3, musts=0.4, narrow=0.9)
    ours = insertion.rank(problem, insertion.solve(problem))
    assert ours <= insertion.rank(problem, nearest_first(problem))
    assert ours <= insertion.rank(problem, due_first(problem))


@given(st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_what_is_tried_holds_the_first_route_and_musts_and_leads_back(seed: int) -> None:
    """A part keeps every field that is walked or must be; a route costs the same there and back."""
    problem = random_problem(seed, sites=90, days=2, musts=0.05)
    first = insertion.quick(problem)
    part = worth_trying(problem, first)
    musts = {number for number, site in enumerate(problem.sites) if site.must}
    assert musts | first.walked <= set(part.sites)
    assert len(part.sites) < len(problem.sites)
    inner = part.inner(first)
    assert part.outer(inner) == first
    outside = set(range(90)) - set(part.sites)
    lost = sum(problem.sites[number].skip_cents for number in outside)
    assert cost(part.problem, inner).total + lost == cost(problem, first).total


@given(st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_polishing_and_crossing_never_make_a_route_worse(seed: int) -> None:
    """Both give a route that can be done, no dearer than the best one they began with."""
    problem = random_problem(seed, sites=25, days=3, scouts=1 + seed % 2, narrow=0.5)
    routes = [due_first(problem), nearest_first(problem), insertion.quick(problem)]
    best = min(insertion.rank(problem, route) for route in routes)
    better = [insertion.polished(problem, route) for route in routes]
    for before, after in zip(routes, better, strict=True):
        assert is_possible(problem, after)
        assert insertion.rank(problem, after) <= insertion.rank(problem, before)
    both = crossed(problem, routes)
    assert is_possible(problem, both)
    assert insertion.rank(problem, both) <= best


def test_whole_days_are_exchanged() -> None:
    """Two days of one field each, the dearer one walked last: they change places."""
    problem = random_problem(3, sites=2, days=2, musts=0.0, narrow=0.0)
    dear, cheap = (
        replace(site, wait_cents=(0, cents), skip_cents=100_000)
        for site, cents in zip(problem.sites, (5_000, 100), strict=True)
    )
    problem = replace(problem, sites=(dear, cheap))
    orders = [[1], [0]]
    insertion.exchange_days(insertion.Ground(problem), orders)
    assert orders == [[0], [1]]


@given(st.integers(0, 1000))
@settings(max_examples=20, deadline=None)
def test_of_two_ways_alike_what_is_due_sooner_comes_first(seed: int) -> None:
    """A route keeps its fields, days and cost; on no day would the way back be due sooner first."""
    problem = random_problem(seed, sites=12, days=2, musts=0.0, narrow=0.3)
    due = np.random.default_rng(seed).integers(-40, 10, len(problem.sites)).tolist()
    sites = (replace(one, due_day=day) for one, day in zip(problem.sites, due, strict=True))
    problem = replace(problem, sites=tuple(sites))
    route = insertion.solve(problem)
    turned = solving.overdue_first(problem, route)
    assert insertion.rank(problem, turned) == insertion.rank(problem, route)
    for shift, (order, was) in enumerate(zip(turned.orders, route.orders, strict=True)):
        assert order in (was, was[::-1])
        back = Route((*turned.orders[:shift], order[::-1], *turned.orders[shift + 1 :]))
        if is_possible(problem, back) and cost(problem, back).total <= cost(problem, turned).total:
            days = [due[site] for site in order]
            assert np.dot(range(len(days)), days) >= np.dot(range(len(days)), days[::-1])


def test_steps_depend_on_size_only() -> None:
    """Usual weeks get the same steps; a week beyond all measure gets fewer, down to a floor."""
    day = random_problem(1, sites=30, days=1)
    usual, large, vast = (
        steps(replace(day, sites=day.sites * times)) for times in (1, 2_000, 200_000)
    )
    assert usual == solving.STEPS > large > vast == solving.LEAST_STEPS


def test_no_sites_no_shifts_and_all_closed_stay_at_home() -> None:
    """With nothing to walk, nobody to walk it, or everything closed, the route is empty."""
    problem = random_problem(10, sites=4, days=2, musts=0.5)
    closed = tuple(replace(site, spans=()) for site in problem.sites)
    for empty in (
        replace(problem, sites=()),
        replace(problem, shifts=()),
        replace(problem, sites=closed),
    ):
        for rule in (nearest_first, due_first, insertion.solve):
            assert rule(empty) == nowhere(empty)
        assert best_route(empty, seed=1)[0] == nowhere(empty)


@needs_pyvrp
def test_days_that_last_no_time_are_searched_all_the_same() -> None:
    """Work that begins as it ends has no seconds to be worth anything, and is no error."""
    problem = random_problem(10, sites=3, days=2, narrow=0.0, side_km=0.0)
    begun = replace(
        problem,
        sites=tuple(replace(site, service_s=0, must=False) for site in problem.sites),
        shifts=tuple(replace(shift, ends_s=shift.starts_s) for shift in problem.shifts),
    )
    route, _ = best_route(begun, seed=1)
    assert is_possible(begun, route)
    assert route.walked == {0, 1, 2}


ODD: dict[str, Callable[[RouteField], RouteField]] = {
    "bound": lambda site: replace(site, scout=f"S{site.place % 3}"),  # S2 works nowhere
    "late": lambda site: replace(site, must=True, last_day=-3),
    "no time": lambda site: replace(site, service_s=0),
    "closed": lambda site: replace(site, spans=()) if site.place % 3 else site,
}


@given(st.integers(0, 1000), st.sampled_from([*ODD]), st.sampled_from([0.0, 60.0, 400.0]))
@settings(max_examples=30, deadline=None)
def test_odd_weeks_have_one_route_that_can_be_done(seed: int, odd: str, side_km: float) -> None:
    """All at one place or far apart, two stops a day: possible, no worse than its start, again."""
    problem = random_problem(seed, sites=2 + seed % 70, days=3, scouts=2, side_km=side_km)
    shifts = tuple(replace(shift, most_stops=2 + seed % 5) for shift in problem.shifts)
    problem = replace(problem, sites=tuple(map(ODD[odd], problem.sites)), shifts=shifts)
    problem = replace(problem, late_cents=late_cents(problem.sites, problem.drive_cents))
    route, _ = best_route(problem, seed=seed, iterations=30)
    assert is_possible(problem, route)
    assert insertion.rank(problem, route) <= insertion.rank(problem, insertion.quick(problem))
    assert best_route(problem, seed=seed, iterations=30)[0] == route


def musts_of(problem: RouteProblem) -> RouteProblem:
    """The same week with every field a must-visit, open all the time."""
    last = problem.shifts[-1].ends_s
    return replace(
        problem,
        sites=tuple(replace(site, must=True, spans=(Span(0, last),)) for site in problem.sites),
    )


def test_must_visits_that_cannot_be_done_are_named() -> None:
    """What is closed, too long, shut at work's hours or too much is missed; two are told apart."""
    problem = musts_of(random_problem(11, sites=40, days=2, narrow=0.0))
    closed, long, shut = problem.sites[:3]
    night = Span(problem.shifts[0].ends_s + 1, problem.shifts[1].starts_s - 1)
    problem = replace(
        problem,
        sites=(
            replace(closed, spans=()),
            replace(long, service_s=9 * 3600),
            replace(shut, spans=(night,)),
            *problem.sites[3:],
        ),
    )
    missed = cost(problem, best_route(problem, seed=1)[0]).missed
    assert {0, 1, 2} < set(missed)
    drive_s = 2 * int(problem.drive_s[0, long.place])
    assert never_fits(problem, 1) == TooLong(9 * 3600 + drive_s, 8 * 3600 + 1800)
    assert never_fits(problem, 2) == "never open at work"


def test_of_several_scouts_the_nearest_to_a_long_field_is_told() -> None:
    """One lives near and works short days, one far and long ones: the numbers are of one scout."""
    problem = random_problem(11, sites=1, days=1, scouts=2)
    near, far = problem.shifts
    (site,) = problem.sites
    drive_s = problem.drive_s.copy()
    drive_s[near.home, site.place] = drive_s[site.place, near.home] = 600
    drive_s[far.home, site.place] = drive_s[site.place, far.home] = 4 * 3600
    shifts = (
        replace(near, ends_s=near.starts_s + 3600),
        replace(far, ends_s=far.starts_s + 10 * 3600),
    )
    long = replace(problem, sites=(replace(site, service_s=3600 * 3),), shifts=shifts,
                   drive_s=drive_s)  # fmt: skip
    assert never_fits(long, 0) == TooLong(11 * 3600, 10 * 3600)


@needs_pyvrp
def test_as_many_must_visits_as_possible_are_kept() -> None:
    """With more must-visits than hours PyVRP keeps at least as many as insertion, and finds a
    route; with enough hours none is missed.
    """  # noqa: D205
    crowded = musts_of(random_problem(12, sites=30, days=2))
    start = insertion.solve(crowded)
    route, _ = best_route(crowded, seed=1)
    assert is_possible(crowded, route)
    assert 0 < len(cost(crowded, route).missed) <= len(cost(crowded, start).missed)
    roomy = musts_of(random_problem(12, sites=14, days=2))
    assert cost(roomy, best_route(roomy, seed=1)[0]).missed == ()


@needs_pyvrp
@pytest.mark.parametrize("later", [0, 3, 7, 13])
def test_a_week_of_few_fields_is_searched_long_enough(tmp_path: Path, later: int) -> None:
    """Where many fields of the demo are late, a search four times as long saves hardly more."""
    write_demo(tmp_path / "demo")
    first = dt.date.fromisoformat(DEMO_DAY) + dt.timedelta(days=later)
    asked = WeekRequest(first_day=first)
    season = SeasonDay.open(tmp_path / "demo", as_of=asked.first_day)
    problem = week_problem(season, asked).problem
    assert len(problem.sites) <= solving.FEW_SITES
    route, _ = best_route(problem, seed=asked.seed)
    longer, _ = best_route(problem, seed=asked.seed, iterations=8 * steps(problem))
    (missed, cents), (least, best) = (insertion.rank(problem, one) for one in (route, longer))
    assert missed <= least
    assert cents <= 1.04 * best
