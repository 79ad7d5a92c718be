"""What a plan costs: ``python tests/bench/bench_plan.py`` (``--years``, ``--fields``, ``--large``).

Writes invented seasons, plans each in a process of its own as the command does, with nothing kept
from before but the bytecode of a first run, and prints CPU, wall and peak memory. Then the
degree-days of many fields beside other ways, as ratios in one run, and how fast memory is, which is
the roof. Times are of this machine, and of what else it does: read CPU seconds, and ratios of one
run.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

from bench_region import bench_degree_days, memory_roof
from plan_season import AS_OF, build

SIZES, LARGE = (24, 60, 400, 1_000), 5_000
CPU_S, PEAK_GB = 1.5, 0.3
"""The bars for 400 fields."""


LAUNCHER = """
import os, subprocess, sys
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
print(status, used.ru_utime + used.ru_stime, used.ru_maxrss)
"""
"""Starts a command from a small process: the peak of a process counts that of what started it."""


def measured(folder: Path, bytecode: Path) -> tuple[float, float, float]:
    """CPU seconds, wall seconds and peak gigabytes of one plan."""
    words = [sys.executable, "-m", "stagecast", "plan", str(folder), "--as-of", str(AS_OF)]
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(bytecode)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as kept:
        began = time.monotonic()
        ran = subprocess.run(
            [sys.executable, "-c", LAUNCHER, *words],
            env={**environment, "XDG_CACHE_HOME": kept}, check=True, stdout=subprocess.PIPE,
        )  # fmt: skip
        wall = time.monotonic() - began
    status, cpu, peak = ran.stdout.split()
    assert int(status) == 0, words
    return float(cpu), wall, float(peak) / 1e6


def print_sizes(sizes: list[int], years: int) -> None:
    """A line for each size."""
    print(f"plan of invented seasons, {years} past years; bars for 400: {CPU_S} s, {PEAK_GB} GB")
    print(f"{'fields':>8}{'CPU s':>10}{'wall s':>10}{'peak GB':>10}{'ms a field':>12}")
    with tempfile.TemporaryDirectory(prefix="plan-") as scratch:
        bytecode = Path(scratch) / "bytecode"
        measured(build(Path(scratch) / "first", fields=1, past_years=years), bytecode)
        for fields in sizes:
            folder = build(Path(scratch) / f"of-{fields}", fields=fields, past_years=years)
            cpu, wall, peak = measured(folder, bytecode)
            each = 1000.0 * cpu / fields
            print(f"{fields:>8,}{cpu:>10.2f}{wall:>10.2f}{peak:>10.2f}{each:>12.1f}", flush=True)


def print_degree_days() -> None:
    """Beside other ways, as far as they are installed."""
    for name in ("polars", "xclim"):
        if find_spec(name) is None:
            print(f"{name} is not installed, so it is left out")
    bench_degree_days()
    memory_roof()


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, nargs="*", default=list(SIZES))
    parser.add_argument("--years", type=int, default=13)
    parser.add_argument("--large", action="store_true", help=f"also {LARGE:,} fields")
    parser.add_argument("--only", choices=["plans", "heat"])
    asked = parser.parse_args()
    if asked.only in (None, "plans"):
        print_sizes([*asked.fields, *([LARGE] if asked.large else [])], asked.years)
    if asked.only in (None, "heat"):
        print_degree_days()


if __name__ == "__main__":
    main()
