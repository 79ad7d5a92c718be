"""How good the route is for a week of 6 days: ``python tests/bench/bench_week.py --sites 100``.

Prints what the route costs beside a minute's search, and beside two rules of thumb. The minute is
a minute of this machine; all else comes out the same everywhere.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

from route_problems import METRE_CENTS, random_problem

from stagecast.week.route import insertion, with_pyvrp
from stagecast.week.route.insertion import due_first, nearest_first
from stagecast.week.route.problem import Route, RouteProblem, cost, is_possible
from stagecast.week.route.solve import best_route

SEEDS = (1, 2, 3)
LONG_SEED, TRIAL_STEPS = 99, 3_000


def row(problem: RouteProblem, name: str, route: Route, seconds: float) -> None:
    """One line of the table."""
    assert is_possible(problem, route)
    found = cost(problem, route)
    print(
        f"{name:<22}{seconds:>6.1f} s{len(route.walked):>6}{len(found.missed):>7}"
        f"{found.drive / METRE_CENTS / 1000:>8.0f}{found.drive / 100:>9.0f}"
        f"{(found.wait + found.skip) / 100:>10.0f}{found.total / 100:>10.0f}"
    )


def bench(problem: RouteProblem, long_s: float) -> None:
    """The table for one problem."""
    print(f"{'':<22}{'CPU':>8}{'walked':>7}{'missed':>7}{'km':>7}{'drive $':>9}"
          f"{'waiting $':>10}{'total $':>10}")  # fmt: skip
    for rule in (nearest_first, due_first, insertion.solve):
        began = time.process_time()
        route = rule(problem)
        name = "insertion" if rule is insertion.solve else rule.__name__.replace("_", " ")
        row(problem, name, route, time.process_time() - began)
    totals = []
    for seed in SEEDS:
        began = time.process_time()
        route, solver = best_route(problem, seed=seed)
        row(problem, f"{solver}, seed {seed}", route, time.process_time() - began)
        totals.append(cost(problem, route).total)
    if not with_pyvrp.available() or long_s <= 0:
        return
    # Steps are counted, so how many a minute has is tried first; later ones are a little faster.
    began = time.process_time()
    best_route(problem, seed=LONG_SEED, iterations=TRIAL_STEPS)
    a_step_s = (time.process_time() - began) / TRIAL_STEPS
    began = time.process_time()
    route, _ = best_route(problem, seed=LONG_SEED, iterations=int(1.2 * long_s / a_step_s))
    row(problem, f"{long_s:.0f} seconds' search", route, time.process_time() - began)
    long = cost(problem, route).total
    gaps = ", ".join(f"{100 * (total / long - 1):.2f} %" for total in totals)
    print(f"what a plan has is above the long search by {gaps}")


def main() -> None:
    """Read what to run, and run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--long", type=float, default=60.0, help="seconds of the long search")
    parser.add_argument("--seed", type=int, default=0, help="of the invented week")
    parser.add_argument("--sites", type=int, default=400, help="fields of the invented week")
    parser.add_argument("--scouts", type=int, default=1)
    parser.add_argument(
        "--dollars", type=float, default=4.0, help="median waiting, a field and day"
    )
    asked = parser.parse_args()
    bench(
        random_problem(
            asked.seed, sites=asked.sites, days=6, scouts=asked.scouts, dollars_a_day=asked.dollars
        ),
        asked.long,
    )


if __name__ == "__main__":
    main()
