"""A real browser for the tests of pages: what it shows, says, asks for and complains about.

A test module is marked ``pytestmark = pytest.mark.browser`` and takes ``open_page``; one browser
runs per module. Where there is no Chromium, or no Playwright to drive it, its tests are skipped.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

PATIENCE_MS = 60_000
"""Far more than anything takes, so that a busy machine fails nothing."""

PHONE, DESK = (360, 740), (1280, 900)
NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass
class Opened:
    """A page in the browser, and what happened on it.

    Attributes
    ----------
    page : Page
    url : str
    complaints : list of str
        Errors and warnings of the console, errors of scripts, and dialogs that a page opened.
    requests : list of str
        Addresses that were asked for, but for the page itself.
    """

    page: Page
    url: str
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    @property
    def sideways(self) -> int:
        """By how many pixels the page is wider than the window."""
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        return int(self.page.evaluate(wide))

    def printed(self) -> bytes:
        """The page as the browser prints it: PDF."""
        return self.page.pdf(format="Letter")


OpenPage = Callable[..., Opened]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """The system's Chromium, or Playwright's own."""
    api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    system = next(filter(None, map(shutil.which, NAMES)), None)
    with api.sync_playwright() as started:
        program = system or started.chromium.executable_path
        if not Path(program).exists():
            pytest.skip("no Chromium on this computer")
        running = started.chromium.launch(executable_path=program, args=list(FLAGS))
        yield running
        running.close()


@pytest.fixture
def open_page(chromium: Browser, tmp_path: Path) -> Iterator[OpenPage]:
    """A function that opens a page: ``open_page(html, size=PHONE, dark=True)``.

    ``html`` is text, which is put into a file; a file; or a ``http://127.0.0.1`` address. Without
    ``offline=False`` the network is off. ``context=opened.page.context`` opens a page in the same
    profile again, with what it keeps; everything is closed at the end of the test.
    """
    contexts: list[BrowserContext] = []

    def opens(
        html: str | Path,
        *,
        size: tuple[int, int] = DESK,
        dark: bool = False,
        offline: bool = True,
        context: BrowserContext | None = None,
        **options: Any,
    ) -> Opened:
        if context is None:
            width, height = size
            context = chromium.new_context(
                viewport={"width": width, "height": height},
                color_scheme="dark" if dark else "light",
                offline=offline,
                **options,
            )
            contexts.append(context)
        return _open(context, _address(html, tmp_path))

    yield opens
    for context in contexts:
        context.close()


def _address(html: str | Path, folder: Path) -> str:
    if isinstance(html, str) and html.startswith("http://127.0.0.1"):
        return html
    if isinstance(html, str):
        path = folder / "page.html"
        path.write_text(html, encoding="utf-8")
        return path.as_uri()
    return html.resolve().as_uri()


def _open(context: BrowserContext, url: str) -> Opened:
    context.set_default_timeout(PATIENCE_MS)
    opened = Opened(context.new_page(), url)
    page, complaints = opened.page, opened.complaints
    page.on("console", lambda m: complaints.append(m.text) if m.type in _BAD else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda asked: opened.requests.append(asked.url))
    page.goto(url)
    opened.requests.remove(page.url)
    return opened


_BAD = ("error", "warning", "assert")


@cache
def _axe() -> str:
    pytest.importorskip("axe_playwright_python", reason="axe is not installed")
    return (files("axe_playwright_python") / "axe.min.js").read_text("utf-8")


def axe_violations(page: Page) -> list[str]:
    """What the accessibility checker finds wrong: rule, why, and where; nothing when clean.

    References
    ----------
    axe-core, rules for WCAG 2.x levels A and AA and its best practices.
    """
    page.evaluate(_axe())
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{rule['id']}: {rule['help']}: {' | '.join(node['html'][:160] for node in rule['nodes'])}"
        for rule in found["violations"]
    ]


WORDS = """() => [...document.querySelectorAll('svg.chart')].map(svg => {
    const all = svg.getBoundingClientRect();
    return [...svg.querySelectorAll('text')].map(t => {
        const b = t.getBoundingClientRect();
        return [t.textContent, b.left - all.left, b.top - all.top,
                b.right - all.left, b.bottom - all.top, all.width, all.height];
    });
})"""


def assert_words_apart(page: Page) -> int:
    """No two words of a chart cover each other, and none is cut off; returns how many charts."""
    charts = page.evaluate(WORDS)
    for chart in charts:
        for words, left, top, right, bottom, width, height in chart:
            assert left >= -1, words
            assert top >= -1, words
            assert right <= width + 1, words
            assert bottom <= height + 1, words
        for i, (one, left, top, right, bottom, *_) in enumerate(chart):
            for other, left2, top2, right2, bottom2, *_ in chart[i + 1 :]:
                apart = right <= left2 + 1 or right2 <= left + 1
                above = bottom <= top2 + 4 or bottom2 <= top + 4
                assert apart or above, (one, other)
    return len(charts)
