"""Seasons of 200 fields with a known truth, visited by the rule day by day.

    python tests/bench/simulated_counts.py [--fields 200] [--seasons 5]

What the fields are is told in tests/helpers/builders/simulated_season.py.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

from simulated_season import EARLY_DAYS, Season, by_the_rule, fields_of, walked

from stagecast.knowledge import load


def table_row(season: Season) -> str:
    """The numbers of a table's line."""
    late = np.array(season.late_days, dtype=np.float64)
    crossed = max(season.crossed, 1)
    gaps = sum(season.gaps.values())
    shares = ", ".join(
        f"{days} d {100 * number / gaps:.0f}%" for days, number in sorted(season.gaps.items())
    )
    fields = season.fields
    return (
        f"days late: mean {late.mean():.2f}, over 5 days {100 * (late > EARLY_DAYS).mean():.0f}%, "
        f"never {100 * season.missed / crossed:.1f}%; visits a field {season.visits / fields:.2f} "
        f"(below half {season.low_visits / fields:.2f}); extra sets a field "
        f"{season.extra_sets / fields:.2f}, needless {season.needless_sets / fields:.2f}; "
        f"next visit: {shares}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=200)
    parser.add_argument("--seasons", type=int, default=5)
    asked = parser.parse_args()
    rule = by_the_rule(load())
    for number in range(asked.seasons):
        fields = fields_of(asked.fields, np.random.default_rng(number))
        print(f"season {number}: {table_row(walked(rule, fields, seed=number))}")


if __name__ == "__main__":
    main()
