"""One golden file per screen: what every command and page says on part of the demo on a day.

A screen that was meant to change is looked at and then written anew::

    python tests/helpers/golden.py --write          # all of them
    python tests/helpers/golden.py --write plan week

The demo's own log is imported before. Of pages the text is kept, without their marks and scripts.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import sys
import tempfile
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from unittest.mock import patch

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "tests" / "screens" / "golden"
SEASON, PAGE = "season", "page.html"
"""The folder and the page's file where a command runs, named alike on every computer."""

_DAY = ("--as-of", "2026-07-07")
_WEEK = ("week", SEASON, *_DAY, "--starting", "2026-07-08")

SCREENS: dict[str, tuple[str, ...]] = {
    "assess": ("assess", SEASON, "F09", *_DAY),
    "assess_income": (
        "assess", SEASON, "F13", *_DAY, "--price", "11", "--cost", "12", "--loss-per-pest", "0.05",
    ),
    "assess_stand": ("assess", SEASON, "F09", "--as-of", "2026-05-10"),
    "check": ("check", SEASON, *_DAY),
    "help": ("--help",),
    "history": ("history", SEASON, "F09", *_DAY),
    "pest": ("pest", "corn-earworm"),
    "pest_here": ("pest", "stink-bugs", SEASON, *_DAY, "--field", "F13"),
    "pests": ("pest",),
    "plan": ("plan", SEASON, *_DAY),
    "plan_late": ("plan", SEASON, "--as-of", "2026-09-20"),
    "revisit": ("revisit", SEASON, *_DAY),
    "skill": ("skill", SEASON, *_DAY),
    "skill_pests": ("skill", SEASON, "--pests", *_DAY),
    "sources": ("sources", SEASON, "--tag", "MEMORY"),
    "stages": ("stages", SEASON, *_DAY),
    "today": ("today", SEASON, *_DAY),
    "week": _WEEK,
    "week_explained": (*_WEEK, "--explain", "--beside-rules"),
    "windows": ("windows", SEASON, *_DAY),
}  # fmt: skip
"""Name -> command; all run in one folder."""

PAGES: dict[str, tuple[str, ...]] = {
    "page_of_a_field": ("brief", SEASON, "F09", *_DAY, "-o", PAGE),
    "page_of_the_season": ("overview", SEASON, *_DAY, "-o", PAGE),
    "page_of_a_day": (
        "pack", SEASON, *_DAY, "--starting", "2026-07-08", "--day", "2026-07-08", "-o", PAGE,
    ),
}  # fmt: skip
"""Name -> command that writes a page."""

NAMES = (*SCREENS, *PAGES)


@cache
def season(folder: Path) -> None:
    """Put part of the demo, with its log imported, into a folder."""
    from small_demo import logged_demo

    logged_demo(folder / SEASON)


def shown(name: str, folder: Path) -> str:
    """What a screen or a page says now, made in a folder for scratch."""
    from commands import run_command

    season(folder)
    (folder / PAGE).unlink(missing_ok=True)
    program = patch.object(sys, "argv", ["stagecast"])
    no_module = patch.object(sys.modules["__main__"], "__package__", None)
    with contextlib.chdir(folder), program, no_module:
        ran = run_command(*{**SCREENS, **PAGES}[name], columns=100)
    told = text_of((folder / PAGE).read_text("utf-8")) if name in PAGES else ran.out
    lines = f"{told}{ran.err}".splitlines()
    return f"exit {ran.code}\n" + "".join(f"{line.rstrip()}\n" for line in lines)


def kept(name: str) -> str:
    """What its golden file holds; nothing where there is none."""
    file = FOLDER / f"{name}.txt"
    return file.read_text("utf-8") if file.exists() else ""


def difference(name: str, now: str) -> str:
    """Lines that differ from the golden file, and how to keep the new ones; empty where none does.

    >>> difference("plan", kept("plan"))
    ''
    """
    lines = difflib.unified_diff(
        kept(name).splitlines(), now.splitlines(), "golden", "now", lineterm="", n=1
    )
    told = "\n".join(lines)
    command = f"python tests/helpers/golden.py --write {name}"
    return f"{told}\n\nIf that is meant: {command}" if told else ""


class _Text(HTMLParser):
    """Collects the text of a page: one line for each piece that stands alone, cells beside it."""

    INLINE = frozenset(("a", "b", "bdi", "code", "em", "i", "span", "strong", "time", "tspan"))
    CELLS = frozenset(("td", "th", "text"))
    SILENT = frozenset(("script", "style"))

    def __init__(self) -> None:
        super().__init__()
        self.lines = [""]
        self.silent = 0
        self.drawing = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in self.SILENT
        # A drawing that the words beside it tell.
        self.drawing |= tag == "svg" and ("aria-hidden", "true") in attrs
        if self.drawing:
            return
        if tag not in self.INLINE | self.CELLS:
            self.lines.append("")
        if tag in self.CELLS and self.lines[-1].strip():
            self.lines[-1] += " | "

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in self.SILENT
        if self.drawing:
            self.drawing = tag != "svg"
            return
        if tag not in self.INLINE | self.CELLS:
            self.lines.append("")

    def handle_data(self, data: str) -> None:
        if not self.silent and not self.drawing:
            self.lines[-1] += data


def text_of(page: str) -> str:
    """The text of an HTML page as it is read, a line for each paragraph, row, chart and label."""
    reader = _Text()
    reader.feed(page)
    lines = (" ".join(line.split()) for line in reader.lines)
    return "".join(f"{line}\n" for line in lines if line)


def main() -> None:
    """Write golden files anew, or say which differ."""
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("names", nargs="*", choices=[[], *NAMES], help="which; all unless named")
    asked.add_argument("--write", action="store_true", help="write them")
    options = asked.parse_args()
    sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "helpers" / "builders")]
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        for name in options.names or NAMES:
            now = shown(name, Path(scratch))
            if now == kept(name):
                continue
            print(f"{name}: {'written' if options.write else 'differs'}")
            if options.write:
                (FOLDER / f"{name}.txt").write_text(now, encoding="utf-8")


if __name__ == "__main__":
    main()
