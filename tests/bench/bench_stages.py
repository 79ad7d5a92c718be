"""How often the 80% range of a stage ahead holds: ``python tests/bench/bench_stages.py``.

On invented seasons with every error the forecast says it has (simulated_stages among the builders),
with a stage noted every week and with none: the share of truths within the range, how wide the
range is, how narrow it gets, and how far its middle is off, by days ahead and by stage.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

import numpy as np
from simulated_stages import Met, seasons
from stage_helpers import REPRODUCTIVE

LEADS = ((0, 7), (7, 14), (14, 28), (28, 45), (45, 75), (75, 999))


def row(name: str, met: Iterable[Met]) -> None:
    """One line of the table."""
    chosen = list(met)
    if not chosen:
        return
    width = np.array([one.last - one.first for one in chosen])
    error = np.array([one.middle - one.truth for one in chosen])
    held = 100 * np.mean([one.held for one in chosen])
    finite = np.isfinite(width) & np.isfinite(error)
    rmse = np.sqrt(np.mean(error[finite] ** 2))
    print(
        f"{name:<16}{len(chosen):>8}{held:>8.1f}{width[finite].mean():>8.1f}{width.min():>10.1f}"
        f"{rmse:>8.2f}{error[finite].mean():>+8.2f}"
    )


def table(title: str, met: list[Met]) -> None:
    """By days ahead, then by stage."""
    print(f"\n{title}\n{'':<16}{'cases':>8}{'held %':>8}{'width':>8}{'narrowest':>10}"
          f"{'RMSE':>8}{'bias':>8}")  # fmt: skip

    def within(first: int, last: int) -> Callable[[Met], bool]:
        return lambda one: first <= one.lead < last

    for first, last in LEADS:
        row(f"{first} to {last} d", filter(within(first, last), met))
    for stage in REPRODUCTIVE[1:]:
        row(stage, (one for one in met if one.stage == stage))
    row("all", met)


def main() -> None:
    """Read what to run, and run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument("--fields", type=int, default=4, help="for each place and year")
    parser.add_argument("--every", type=int, default=9, help="days from one forecast to the next")
    asked = parser.parse_args()
    for visited, title in ((False, "nothing noted"), (True, "a stage noted every week")):
        met = seasons(seed=asked.seed, fields=asked.fields, every=asked.every, visited=visited)
        table(title, list(met))


if __name__ == "__main__":
    main()
