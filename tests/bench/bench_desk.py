"""What the desk takes with many fields, held against its bars.

    python tests/bench/bench_desk.py [--fields 400]

A visit is sent and its answer is read over the real server while nothing else is planned, then
again while a plan is on its way; then the list is searched in Chromium, a letter at a time. The
season is invented (``tests/helpers/builders/walked_season.py``), each field counted twice.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

import httpx
from desk_season import FORM_TOKEN
from desk_server import served
from walked_season import YEAR, Size, build

from stagecast.desk.season import DeskSeason
from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    settled_visit,
)
from stagecast.season.log.store import LogStore

NOW = dt.datetime(YEAR, 7, 7, 5, 0)
ANSWER_S, KEYSTROKE_MS = 0.3, 50.0
"""The bars: from sending a visit to its answer, and from a letter to the list that it leaves."""

TYPE = """async (text) => {
  const find = document.getElementById("find"), took = [];
  for (let end = 1; end <= text.length; end++) {
    const began = performance.now();
    find.value = text.slice(0, end);
    find.dispatchEvent(new InputEvent("input", { bubbles: true }));
    document.body.offsetHeight;  // laid out
    took.push(performance.now() - began);
    await new Promise(requestAnimationFrame);
  }
  return took;
}"""


def build_logged(folder: Path, fields: int) -> Path:
    """An invented season in which every field was counted twice."""
    build(folder, Size(fields, 4, 0))
    drawn = random.Random(3)
    visits = []
    for number in range(2 * fields):
        mean = drawn.choice([0, 1, 2, 4, 8, 20])
        sets = tuple(
            LoggedSet(
                one,
                25.0,
                "sweeps",
                (
                    LoggedCount("stink-bugs", "", float(max(0, mean + drawn.randrange(-2, 3)))),
                    LoggedCount("corn-earworm", "", float(drawn.randrange(2))),
                ),
            )
            for one in range(1, 5)
        )
        date = dt.date(YEAR, 6, 24) + dt.timedelta(days=drawn.randrange(12))
        name = f"F{number % fields + 1:03}"
        visits.append(settled_visit(LoggedVisit("", name, date, who="Scout 1", sets=sets)))
    unique = {visit.visit_id: visit for visit in visits}
    LogStore(folder / LOG_FILE).add(unique.values(), entered_at=NOW)
    return folder


def answer_s(client: httpx.Client, field: int) -> float:
    """Send a visit, read the page of its answer; seconds."""
    typed = {
        "form_token": FORM_TOKEN, "about": f"F{field:03}", "date": NOW.date().isoformat(),
        "stage": "R4", "set_size": "25", "set_unit": "sweeps", "pest_0": "stink-bugs",
        **{f"count_0_{number}": count for number, count in enumerate(("12", "9", "14", "11"))},
    }  # fmt: skip
    began = time.perf_counter()
    answer = client.post(f"/visit?field=F{field:03}", data=typed)
    assert answer.status_code == 303, answer.text
    page = client.get(answer.headers["location"])
    took = time.perf_counter() - began
    assert "Stink bugs 11.5 of 9" in page.text
    return took


def keystrokes_ms(address: str) -> list[float]:
    """Milliseconds of each letter typed into the search of the list."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(address)
        page.locator("#lines section").first.wait_for(timeout=120_000)
        took: list[float] = page.evaluate(TYPE, "stink bugs grower 1 f0")
        browser.close()
    return took


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=400)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = build_logged(Path(made) / "season", asked.fields)
        desk = DeskSeason(folder, clock=lambda: NOW)
        began = time.perf_counter()
        desk.plan()
        print(f"a plan of {asked.fields} fields: {time.perf_counter() - began:.1f} s")
        with served(desk, form_token=FORM_TOKEN) as address:
            client = httpx.Client(base_url=address, timeout=60)
            for warm in ("/", "/visit?field=F001"):
                client.get(warm)
            print(f"machine load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
            cpu = time.process_time()
            alone, behind = answer_s(client, 1), []
            cpu = time.process_time() - cpu
            for field in range(2, 9):
                time.sleep(1)
                behind.append(answer_s(client, field))
            print(f"entry to answer: {alone:.2f} s, {cpu:.2f} s of CPU; while a plan is on its way "
                  f"{statistics.median(behind):.2f} s, at most {max(behind):.2f} s "
                  f"(bar {ANSWER_S} s)")  # fmt: skip
            took = keystrokes_ms(address)
            print(f"a letter in the search: {statistics.median(took):.1f} ms, at most "
                  f"{max(took):.1f} ms (bar {KEYSTROKE_MS:.0f} ms)")  # fmt: skip


if __name__ == "__main__":
    main()
