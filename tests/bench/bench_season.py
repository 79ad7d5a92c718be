"""A season walked day by day as the product plans it, held against its bars.

    python tests/bench/bench_season.py [--fields 200] [--scouts 3] [--days 150] [--folder DIR]

Each working morning without rain is planned, walked and logged, as
tests/helpers/builders/walked_season.py says; with ``--folder`` a season that was left is taken up
again. To hold the cost of waiting against another version, run it with that version's tree in
PYTHONPATH and the same options.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

import numpy as np
from one_date import dates_that_differ
from walked_season import YEAR, Morning, Size, build, days_to_find, mornings, walk

from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import season_route

EVERY = 12
"""On each so-manieth morning the dates of all screens are compared."""


def plan_seconds(fields: int) -> float:
    """CPU of a plan with its route, in a season without a log."""
    with tempfile.TemporaryDirectory() as made:
        folder = build(Path(made) / "season", Size(fields, 1, 0))
        began = time.process_time()
        season_route(SeasonDay.open(folder, as_of=dt.date(YEAR, 7, 7)))
        return time.process_time() - began


def report(found: list[Morning], differ: int, folder: Path, size: Size) -> None:
    """The bars, each with its figure."""

    def fields_in(kind: str) -> str:
        cases = [name for one in found for name in getattr(one, kind)]
        return f"{len(cases)} mornings of fields ({len(set(cases))} fields)"

    late, missed = days_to_find(folder, size)
    stops = sum(one.stops for one in found)
    print(f"{len(found)} mornings, {stops} visits, {stops / size.fields:.1f} a field")
    print(f"in a critical window past the limit, not walked, not named: {fields_in('forgotten')}")
    print(f"  named as not fitting or closed: {fields_in('named')}")
    print(f"  walked that morning, after the limit: {fields_in('late')}")
    print(f"dates that differ between outputs: {differ}")
    print(f"lost by waiting, all fields: {np.mean([m.waiting for m in found]):.1f} $ a morning")
    print(f"  from crossing a threshold to finding it: {np.mean(late or [0]):.1f} d in {len(late)} "
          f"fields, {missed} not found; {sum(m.drive for m in found):.0f} km driven")  # fmt: skip
    cpu = [one.cpu_s for one in found]
    print(f"CPU of a morning's plan: {np.mean(cpu):.1f} s, at most {max(cpu):.1f} s")


def main() -> None:
    """Read what to run, and run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--scouts", type=int, default=3)
    parser.add_argument("--days", type=int, default=150)
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument(
        "--folder", type=Path, help="where the season is kept, to be taken up again"
    )
    asked = parser.parse_args()
    size = Size(asked.fields, asked.scouts, asked.days, asked.seed)
    with tempfile.TemporaryDirectory() as made:
        folder = asked.folder or Path(made) / "season"
        if not folder.exists():
            build(folder, size)
        differ = 0
        for number, (morning, route) in enumerate(walk(folder, size)):
            if number % EVERY == 0:
                wrong = dates_that_differ(folder, route)
                differ += len(wrong)
                for line in wrong:
                    print(f"{morning.date}: {line}")
            if morning.forgotten:
                print(f"{morning.date}: forgotten {', '.join(morning.forgotten)}", flush=True)
        report(mornings(folder), differ, folder, size)
    for fields in (24, 400):
        print(f"CPU of a plan of {fields} fields without a log: {plan_seconds(fields):.1f} s")


if __name__ == "__main__":
    main()
