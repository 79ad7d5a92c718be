"""What a region costs: ``python tests/bench/bench_region.py`` (``--fields``, ``--members``, ...).

Makes up fields and temperatures, runs the whole command in processes of its own and prints CPU,
wall and peak memory of all of them together, 12 pests timed by heat (those that ship, and copies
of them with other thresholds); then the degree-day loop beside other ways, as ratios in one run;
and how fast memory is, which is the roof. Times are of this machine, and of what else it does: read
CPU seconds, and ratios of one run.
"""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pyarrow as pa
import pyarrow.parquet as pq

from stagecast.knowledge import Knowledge
from stagecast.knowledge.loader import load
from stagecast.phenology.degree_days import Cutoff, Method, daily_degree_days
from stagecast.region.daily import pest_sums
from stagecast.region.fields import read_fields
from stagecast.region.numbers import TimedPest, pest_numbers, records, timed_pests
from stagecast.region.part import RegionAsked
from stagecast.region.run import PARTS, crew_for, run_region
from stagecast.region.weather import ParquetWeather

YEAR = 2026
AS_OF = dt.date(YEAR, 3, 1)  # before any day is known: every season has its own temperatures
PESTS = 12
FIELDS_A_CELL = 200
MB = 1e6


# --- what is made up ------------------------------------------------------------------------------


def make_tables(folder: Path, *, fields: int, cells: int, years: int) -> None:
    """Fields that are all different, strewn over cells, and whole past years of each cell."""
    random = np.random.default_rng(1)
    latitude = random.uniform(34.0, 45.0, cells)
    names = [f"c{n:05d}" for n in range(cells)]
    _write_weather(folder / "weather.parquet", names, latitude, years, random)
    cell = random.integers(0, cells, fields)
    planted = (dt.date(YEAR, 1, 1) - dt.date(1970, 1, 1)).days + random.integers(105, 175, fields)
    group = np.clip((46.0 - latitude[cell]) * 0.4 + random.normal(0.0, 0.4, fields), 0.0, 5.5)
    table = pa.table(
        {
            "field_id": [f"f{n:07d}" for n in range(fields)],
            "latitude": np.round(latitude[cell] + random.uniform(-0.1, 0.1, fields), 4),
            "longitude": np.round(random.uniform(-97.0, -83.0, fields), 4),
            "planting_date": pa.array(planted.astype(np.int32)).cast(pa.date32()),
            "maturity_group": [f"{one:.1f}" for one in group],
            "growth_habit": pa.nulls(fields, pa.string()),
            "cell": np.array(names)[cell],
        }
    )
    pq.write_table(table, folder / "fields.parquet")


def _write_weather(
    path: Path, names: list[str], latitude: np.ndarray, years: int, random: np.random.Generator
) -> None:
    first = dt.date(YEAR - years, 1, 1)
    days = np.arange(np.datetime64(first), np.datetime64(dt.date(YEAR, 1, 1)))
    season = np.sin(2 * np.pi * (days.astype(np.int64) % 365.25 - 110) / 365.25)
    schema = pa.schema(
        [
            ("cell", pa.dictionary(pa.int32(), pa.string())),
            ("date", pa.date32()),
            ("tmin_c", pa.float32()),
            ("tmax_c", pa.float32()),
        ]
    )
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for start in range(0, len(names), 10):
            some = names[start : start + 10]
            mean = 32.0 - 0.5 * latitude[start : start + len(some), None] + 13.5 * season
            mean = mean + random.normal(0.0, 3.5, mean.shape)
            half = random.uniform(4.0, 8.0, mean.shape)
            codes = pa.array(np.repeat(np.arange(len(some), dtype=np.int32), len(days)))
            columns = [
                pa.DictionaryArray.from_arrays(codes, pa.array(some)),
                pa.array(np.tile(days, len(some))).cast(pa.date32()),
                pa.array(np.round(mean - half, 1).astype(np.float32).ravel()),
                pa.array(np.round(mean + half, 1).astype(np.float32).ravel()),
            ]
            writer.write_table(pa.table(columns, schema=schema), row_group_size=mean.size)


def twelve_pests() -> Knowledge:
    """What ships, with copies of its pests that a day or a stage starts, at other thresholds."""
    shipped = load()
    timed = timed_pests(shipped, RegionAsked(AS_OF).span)
    pests = dict(shipped.pests)
    for number in range(PESTS - len(timed)):
        one = timed[number % len(timed)]
        copied = f"{one.pest.id}-{number}"
        heat = one.model.model_copy(update={"lower_c": one.model.lower_c + 0.5 + 0.1 * number})
        pests[copied] = one.pest.model_copy(update={"id": copied, "heat": heat})
    return shipped.model_copy(update={"pests": pests})


# --- a run, and what it takes ---------------------------------------------------------------------


def run_one(folder: Path, out: Path, workers: int, draws: int | None, pests: int) -> None:
    """The whole run, as the command does it; in a process of its own."""
    own = None if pests < PESTS else twelve_pests()
    asked = RegionAsked(AS_OF, draws, own=own)
    table = folder / "fields.parquet"
    with crew_for(table, workers=workers) as crew:
        fields = read_fields(table, span=asked.span, knowledge=asked.knowledge)
        weather = ParquetWeather.open(folder / "weather.parquet")
        run_region(fields, weather, out, asked=asked, crew=crew)


class Measured:
    """Peak memory of a process and all that it started, looked at ten times a second."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.peak = 0
        self._process = psutil.Process(process.pid)
        self._watch = threading.Thread(target=self._look, daemon=True)
        self._watch.start()

    def _look(self) -> None:
        while True:
            try:
                every = [self._process, *self._process.children(recursive=True)]
                self.peak = max(self.peak, sum(_own_memory(one) for one in every))
            except psutil.Error:
                return
            time.sleep(0.1)


def _own_memory(process: psutil.Process) -> int:
    """Resident memory, what processes share counted once for all of them."""
    try:
        return int(process.memory_full_info().pss)
    except psutil.Error:
        return 0


def measured(folder: Path, out: Path, *, workers: int, draws: int | None) -> dict[str, float]:
    """CPU seconds, wall seconds and peak megabytes of a run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.monotonic()
    process = subprocess.Popen(_command(folder, out, workers, draws))
    watched = Measured(process)
    assert process.wait() == 0
    wall = time.monotonic() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"cpu": cpu, "wall": wall, "mb": watched.peak / MB}


def _command(folder: Path, out: Path, workers: int, draws: int | None) -> list[str]:
    words = [sys.executable, __file__, "--run", str(folder), "--out", str(out)]
    return [*words, "--workers", str(workers), "--draws", str(draws or 0)]


def bench_sizes(folder: Path, sizes: list[int], years: int, workers: int) -> None:
    """A table of sizes; microseconds of CPU a field without what a run of no size takes."""
    print(f"{years} seasons with a draw each, {PESTS} pests, {workers} workers")
    header = ("fields", 10), ("cells", 7), ("CPU s", 9), ("wall s", 9), ("MB", 7)
    print("".join(f"{name:>{wide}}" for name, wide in header), " us a field  out MB")
    small: tuple[int, float] | None = None
    for fields in sizes:
        tables = folder / f"in{fields}"
        tables.mkdir()
        cells = max(fields // FIELDS_A_CELL, 1)
        make_tables(tables, fields=fields, cells=cells, years=years)
        out = folder / f"out{fields}"
        one = measured(tables, out, workers=workers, draws=1)
        written = sum(path.stat().st_size for path in (out / PARTS).iterdir()) / MB
        more = ""
        if small is not None:
            more = f"{(one['cpu'] - small[1]) / (fields - small[0]) * 1e6:.1f}"
        print(
            f"{fields:>10,}{cells:>7,}{one['cpu']:>9.1f}{one['wall']:>9.1f}{one['mb']:>7.0f}"
            f"{more:>12}{written:>8.1f}"
        )
        small = small or (fields, one["cpu"])


def bench_members(folder: Path, workers: int) -> None:
    """10,000 fields under 13 seasons with 45 draws each."""
    tables = folder / "members"
    tables.mkdir()
    make_tables(tables, fields=10_000, cells=50, years=13)
    one = measured(tables, folder / "out-members", workers=workers, draws=45)
    print(f"10,000 fields of 585 members: {one['cpu']:.1f} s CPU, {one['wall']:.1f} s wall")


def bench_kills(folder: Path, times: int) -> None:
    """A run killed again and again: what is lost each time, and whether the end is the same."""
    tables = folder / "kills"
    tables.mkdir()
    make_tables(tables, fields=100_000, cells=500, years=30)
    assert subprocess.run(_command(tables, folder / "unkilled", 1, 1)).returncode == 0
    out, done, lost = folder / "killed", 0, []
    for _ in range(times):
        process = subprocess.Popen(_command(tables, out, 1, 1))
        while process.poll() is None and len(_parts(out)) < done + 2:
            time.sleep(0.01)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        there = len(_parts(out))
        lost.append(there - done)
        done = there
    assert subprocess.run(_command(tables, out, 1, 1)).returncode == 0
    alike = _digest(out) == _digest(folder / "unkilled")
    print(
        f"killed {times} times after {lost} more parts, each kept: same bytes at the end: {alike}"
    )


def _parts(out: Path) -> list[Path]:
    return sorted((out / PARTS).glob("part-*.parquet"))


def _digest(out: Path) -> str:
    return hashlib.sha256(b"".join(path.read_bytes() for path in _parts(out))).hexdigest()


# --- degree-days ----------------------------------------------------------------------------------


def rate(count: int, work: Callable[[], Any]) -> float:
    """Million field-days a second of CPU, the best of some tries."""
    work()
    best = np.inf
    for _ in range(3):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return count / best / 1e6


def bench_degree_days() -> None:
    """Single sine with a horizontal cutoff, a season's sum for each field, each way."""
    fields, days = 3000, 334
    random = np.random.default_rng(4)
    mean = random.normal(18.0, 7.0, (fields, days))
    half = random.uniform(3.0, 8.0, (fields, days))
    tmin, tmax = mean - half, mean + half
    timed = timed_pests(load(), RegionAsked(AS_OF).span)[0]
    update = {
        "method": "single sine", "cutoff": "horizontal", "lower_c": 10.0, "upper_c": 30.0,
    }  # fmt: skip
    model = timed.model.model_copy(update=update)
    numbers = records(pest_numbers([TimedPest(timed.pest, model, 0, 0, timed.activities)], load()))

    def by_numpy(low: Any, high: Any) -> Any:
        return daily_degree_days(
            low, high, lower_c=10.0, upper_c=30.0, method=Method.SINGLE_SINE,
            cutoff=Cutoff.HORIZONTAL,
        )  # fmt: skip

    count = fields * days
    ways: list[tuple[str, float]] = [
        ("compiled loop", rate(count, lambda: pest_sums(tmin, tmax, 0, 0, numbers, 0))),
        ("numpy", rate(count, lambda: by_numpy(tmin, tmax).cumsum(axis=1))),
        *_pandas_ways(tmin, tmax, by_numpy),
        *_other_ways(tmin, tmax),
    ]
    first = ways[0][1]
    print("degree-days, million field-days a second of CPU, and the compiled loop's times that")
    for name, found in ways:
        print(f"  {name:<46}{found:>9.2f}{first / found:>9.1f}")


def _pandas_ways(tmin: Any, tmax: Any, by_numpy: Callable[[Any, Any], Any]) -> list[Any]:
    import pandas as pd

    fields, days = tmin.shape
    few = 60
    frame = pd.DataFrame(
        {
            "field": np.repeat(np.arange(fields), days),
            "tmin": tmin.ravel(),
            "tmax": tmax.ravel(),
        }
    )

    def loop() -> None:
        for _, one in frame[: few * days].groupby("field"):
            pd.Series(by_numpy(one["tmin"].to_numpy(), one["tmax"].to_numpy())).cumsum()

    def grouped() -> None:
        frame["heat"] = by_numpy(frame["tmin"].to_numpy(), frame["tmax"].to_numpy())
        frame.groupby("field")["heat"].cumsum()

    return [
        ("pandas, a frame a field", rate(few * days, loop)),
        ("pandas, one long frame and groupby", rate(fields * days, grouped)),
    ]


def _other_ways(tmin: Any, tmax: Any) -> list[Any]:
    """Simple averages without a cutoff, which is less work: what other libraries offer."""
    fields, days = tmin.shape
    found = []
    if find_spec("polars"):
        import polars as pl

        frame = pl.DataFrame(
            {
                "field": np.repeat(np.arange(fields), days),
                "mean": ((tmin + tmax) / 2.0).ravel(),
            }
        )
        heat = (pl.col("mean") - 10.0).clip(lower_bound=0.0).cum_sum().over("field")
        work = rate(fields * days, lambda: frame.lazy().with_columns(heat).collect())
        found.append(("polars, simple average, one long frame", work))
    if find_spec("xclim"):
        import xarray as xr
        from xclim.indices import growing_degree_days

        time_ = np.arange(np.datetime64("2025-01-01"), np.datetime64("2025-12-01"))[:days]
        means = xr.DataArray(
            ((tmin + tmax) / 2.0).T, dims=("time", "field"), coords={"time": time_},
            attrs={"units": "degC"},
        )  # fmt: skip
        work = rate(fields * days, lambda: growing_degree_days(means, thresh="10 degC").values)
        found.append(("xclim, simple average, a sum a year", work))
    return found


def memory_roof() -> None:
    """How fast a large array is read and written once: what no loop over it can pass."""
    values = np.ones(20_000_000)
    target = np.empty_like(values)
    best = min(_timed(lambda: np.copyto(target, values)) for _ in range(5))
    gigabytes = 2 * values.nbytes / 1e9 / best
    days = gigabytes * 1e9 / (3 * values.itemsize) / 1e6
    print(f"memory: {gigabytes:.1f} GB/s, {days:,.0f} million field-days a second, two in, one out")


def _timed(work: Callable[[], Any]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def main() -> None:
    """Make tables in a folder that is thrown away, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, nargs="*", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--years", type=int, default=30)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", choices=["sizes", "members", "kills", "heat"])
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--run", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--out", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--draws", type=int, default=0, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.run is not None:
        run_one(asked.run, asked.out, asked.workers, asked.draws or None, PESTS)
        return
    folder = Path(tempfile.mkdtemp(prefix="region-"))
    try:
        if asked.only in (None, "heat"):
            bench_degree_days()
            memory_roof()
        if asked.only in (None, "sizes"):
            bench_sizes(folder, asked.fields, asked.years, asked.workers)
        if asked.only in (None, "members"):
            bench_members(folder, asked.workers)
        if asked.only in (None, "kills"):
            bench_kills(folder, asked.kills)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
