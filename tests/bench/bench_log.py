"""What taking a table into the log costs: ``python tests/bench/bench_log.py``.

CPU seconds of ``stagecast log import`` with an invented table into an empty log, and once more with
all of it in the log already, for visits of a row and of four; then of a chain in which each visit
corrects the one before it, short and eight times as long: the cost of a row should be the same.
The first line is a loop that is always the same, to tell a busy machine by.
"""

from __future__ import annotations

import argparse
import csv
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from stagecast.season.log.cells import COLUMNS

FIELDS = 24
SEASON = """year = 2026
units = "us"
region = "IA"
[home]
latitude = 42.0
longitude = -93.6
"""


def season(folder: Path) -> None:
    """An invented season without weather: the log asks for none."""
    (folder / "season.toml").write_text(SEASON)
    rows = [f"F{n:02d},42.{n:02d},-93.5,80,2026-05-05,2.4" for n in range(1, FIELDS + 1)]
    header = "field_id,latitude,longitude,area_acres,planting_date,maturity_group"
    (folder / "fields.csv").write_text("\n".join([header, *rows, ""]))


def visits(rows: int, *, sets: int) -> Iterator[dict[str, str]]:
    """Rows of visits with so many sets each, a count in each set."""
    for row in range(rows):
        visit, number = divmod(row, sets)
        yield {
            "visit_id": f"v{visit}",
            "field_id": f"F{visit % FIELDS + 1:02d}",
            "date": f"2026-0{6 + visit % 3}-{1 + visit // 3 % 28:02d}",
            "stage": "R2",
            "set": str(number + 1),
            "size": "25",
            "of": "sweeps",
            "pest": "bean leaf beetle",
            "life_stage": "adults",
            "count": str(row % 7),
        }


def chain(rows: int) -> Iterator[dict[str, str]]:
    """Visits of which each corrects the one before it."""
    for row in range(rows):
        before = f"c{row - 1}" if row else ""
        said = {"field_id": "F01", "date": "2026-07-01", "notes": f"note {row}"}
        yield {"visit_id": f"c{row}", "corrects": before} | said


def taken_in(folder: Path, table: Path) -> float:
    """CPU seconds of an import, those of its start among them."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "stagecast", "log", "import", str(folder), str(table)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=os.environ)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def measured(place: Path, name: str, rows: Iterator[dict[str, str]]) -> tuple[float, float]:
    """CPU seconds of a first import and of a second one; the log is empty before."""
    table = place / f"{name}.csv"
    with table.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, COLUMNS, restval="")
        writer.writeheader()
        writer.writerows(rows)
    folder = place / name
    folder.mkdir()
    season(folder)
    return taken_in(folder, table), taken_in(folder, table)


def loop() -> float:
    """CPU seconds of five million sums."""
    start, total = time.process_time(), 0
    for number in range(5_000_000):
        total += number
    return time.process_time() - start


def main() -> None:
    """Read what to run, and run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=50_000)
    parser.add_argument("--chain", type=int, default=4_000, help="rows of the short chain")
    asked = parser.parse_args()
    print(f"five million sums: {loop():.2f} s (about 0.2 on an idle machine)")
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        start, _ = measured(place, "start", visits(1, sets=1))
        print(f"{'start, one row':<34}{start:>7.2f} s")
        for sets in (4, 1):
            title = f"{asked.rows:,} rows, {sets} a visit"
            first, again = measured(place, f"of-{sets}", visits(asked.rows, sets=sets))
            print(f"{title:<34}{first:>7.2f} s   again {again:>6.2f} s")
        for rows in (asked.chain, 8 * asked.chain):
            first, again = measured(place, f"chain-{rows}", chain(rows))
            each = 1e6 * (first - start) / rows
            title = f"chain of {rows:,} corrections"
            print(f"{title:<34}{first:>7.2f} s   again {again:>6.2f} s   {each:>6.0f} us a row")


if __name__ == "__main__":
    main()
