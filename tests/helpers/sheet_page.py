"""A field sheet in the browser: one of the demo, and what a thumb does on it."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from typing import Any

from commands import run_command
from week_builder import MONDAY, build_week, field_ids, renamed, season_of

from stagecast.pages.phone.sheet import sheet_html
from stagecast.season.log.entries import LOG_FILE, LoggedVisit
from stagecast.season.log.store import LogStore

SECOND_TAP_MS = 650
"""A tap on the bar sooner than this after another is the same one."""


@cache
def sheet(demo: Path, *, stops: int = 3, names: tuple[str, ...] = ()) -> str:
    """The sheet of a day of some stops of the demo; ``names`` are put in the fields' place."""
    season = season_of(demo)
    ids = field_ids(season)[:stops]
    season = renamed(season, dict(zip(ids, names, strict=False)))
    route = build_week(season, {(MONDAY, "Ann"): ids})
    return sheet_html(route, route.days[0])


def season_copy(demo: Path, tmp_path: Path) -> Path:
    """A season of one's own to log into."""
    return Path(shutil.copytree(demo, tmp_path / "season"))


def log_of(folder: Path) -> list[LoggedVisit]:
    """Every visit in a season's log, corrected ones too."""
    return list(LogStore(folder / LOG_FILE).all_entries().visits)


def imported(folder: Path, table: Path | str, name: str = "phone.csv") -> str:
    """Import a table with the real command, and what it says."""
    if isinstance(table, str):
        path = folder.parent / name
        path.write_text(table, encoding="utf-8", newline="")
        table = path
    ran = run_command("log", "import", folder, table, columns=200)
    assert ran.code == 0, ran.err
    return ran.out


def sent_text(page: Any) -> str:
    """What the page shows as text to copy."""
    page.click("#bar >> text=Send")
    page.click("#send-text")
    return str(page.input_value("#send-box"))


def saved_file(page: Any) -> Path:
    """What the page saves as a file."""
    page.click("#bar >> text=Send")
    with page.expect_download() as waited:
        page.click("#send-file")
    return Path(waited.value.path())


def tap(page: Any, selector: str, times: int = 1) -> None:
    """Tap a button so many times: once as a finger does, then as fast as the page follows."""
    page.click(selector)
    again = "([selector, times]) => { while (times--) document.querySelector(selector).click(); }"
    page.evaluate(again, [selector, times - 1])


def go(page: Any, stop: int) -> None:
    """Open a stop by the list."""
    page.click("#bar >> text=Stops")
    page.click(f'#list a[href="#stop-{stop}"]')


KEPT = "() => { try { return Object.values(localStorage); } catch { return []; } }"
KEPT_HERE = "(kept) => kept.every((text) => Object.values(localStorage).includes(text))"


def reload(page: Any) -> None:
    """Load the page anew, as a person may a moment after a tap.

    Chromium hands what a page keeps to another process in the background, and now and then (once
    in some 300 times) a new page finds nothing of it as long as it lives. The sheet lives with that
    by what the tab has; tests of what is in storage load the page once more.
    """
    kept = page.evaluate(KEPT)
    page.reload()
    if not page.evaluate(KEPT_HERE, kept):
        page.wait_for_timeout(SECOND_TAP_MS)
    if not page.evaluate(KEPT_HERE, kept):
        page.reload()
    page.wait_for_function(KEPT_HERE, arg=kept)
    page.evaluate("() => new Promise((done) => setTimeout(done))")  # what the page does about it


def count_number(page: Any, index: int) -> str:
    """What a pest's button shows."""
    return str(page.inner_text(f"#count-{index}-plus .number"))


def done(page: Any, times: int = 1) -> None:
    """Tap the main button of the bar, each time as late as no slip of the finger is."""
    for _ in range(times):
        page.wait_for_timeout(SECOND_TAP_MS)
        page.click("#set-done")
