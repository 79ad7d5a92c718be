"""How fields are answered after four sets: ``python tests/bench/operating_characteristic.py``.

Prints the share of simulated fields (negative binomial, one mean and k each) that are called below,
near and above, by the true mean as a multiple of the threshold. Same numbers on every machine.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

from answers import ANSWERS, shares_answered

MEANS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
THRESHOLDS, KS = (4.0, 9.0, 37.5), (0.5, 1.0, 2.0)
FIELDS = 1000


def table(thresholds: tuple[float, ...], ks: tuple[float, ...], *, sets: int, fields: int) -> None:
    """One line per threshold and k."""
    print(f"{sets} sets: percent of {fields} fields below/near/above at a true mean of")
    print(f"{'threshold':>9}{'k':>5}" + "".join(f"{f'{times:g} x':>10}" for times in MEANS))
    for threshold in thresholds:
        for k in ks:
            line = f"{threshold:>9g}{k:>5g}"
            for seed, times in enumerate(MEANS):
                mean = times * threshold
                found = shares_answered(
                    mean, k, threshold=threshold, sets=sets, fields=fields, seed=seed
                )
                line += f"{'/'.join(f'{100 * found[one]:.0f}' for one in ANSWERS):>10}"
            print(line, flush=True)


def main() -> None:
    """The table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--sets", type=int, default=4)
    asked.add_argument("--fields", type=int, default=FIELDS)
    asked.add_argument("--threshold", type=float, action="append")
    asked.add_argument("--k", type=float, action="append")
    given = asked.parse_args()
    table(
        tuple(given.threshold or THRESHOLDS),
        tuple(given.k or KS),
        sets=given.sets,
        fields=given.fields,
    )


if __name__ == "__main__":
    main()
