"""The season's page in a real browser: read, sorted, filtered, scrolled and printed."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from browser import DESK, PHONE, Opened, OpenPage, axe_violations, chromium, open_page
from changed import changed
from overview_builder import html_of, many, routed
from week_builder import HOSTILE, field_ids, renamed, season_of

from stagecast.pages.overview import overview, overview_html

pytestmark = pytest.mark.browser
__all__ = ["chromium", "open_page"]

STEPS = 20
LONG_TASK_S = 0.05
"""From here on a task is called long: W3C, Long Tasks API."""

FEW = 6

SCROLL = """
async ([steps]) => {
  const box = document.scrollingElement;
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  for (let step = 1; step <= steps; step++) {
    box.scrollTop = (box.scrollHeight - box.clientHeight) * step / steps;
    await frame();
  }
  await frame();
  return { height: box.scrollHeight, end: box.scrollTop + box.clientHeight };
}
"""
SHOWN = """
() => [...document.querySelectorAll("#table tbody tr")]
  .filter((row) => !row.hidden).map((row) => row.querySelector("a").getAttribute("href").slice(1))
"""


@pytest.fixture(scope="module")
def page(demo: Path) -> str:
    """The page of six fields."""
    season = season_of(demo)
    some = season.fields[:FEW]
    season = changed(season, fields=some, by_need=tuple(f for f in season.by_need if f in some))
    return html_of(season)


@pytest.fixture(scope="module")
def crowded(demo: Path) -> str:
    """The page of four hundred fields."""
    return html_of(many(season_of(demo), 400))


@pytest.mark.parametrize(
    ("size", "dark"),
    [(PHONE, True), ((320, 640), False), ((640, 450), True), (DESK, False)],
    ids=["phone, dark", "narrowest", "twice as large", "desk, light"],
)
def test_the_page_is_clean(
    page: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """Nothing is fetched or complained of, nothing runs off sideways, axe finds no fault."""
    opened = open_page(page, size=size, dark=dark)
    opened.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert opened.sideways <= 0
    assert axe_violations(opened.page) == []
    assert opened.complaints == []
    assert opened.requests == []


@pytest.mark.parametrize("width", [320, 360, 768, 959, 1280])
def test_nothing_is_wider_than_its_place(page: str, open_page: OpenPage, width: int) -> None:
    """Neither the table nor a ribbon nor a map leaves the page or is cut, and it opens on top."""
    shown = open_page(page, size=(width, 800)).page
    wide = """() => [...document.querySelectorAll('table.fields, .ribbons, .mappart .map, .week')]
      .filter((part) => part.getClientRects().length)
      .map((part) => [part.scrollWidth - part.clientWidth, part.getBoundingClientRect().right])"""
    for over, right in shown.evaluate(wide):
        assert over <= 1
        assert right <= width
    assert shown.evaluate("[scrollX, scrollY]") == [0, 0]


def test_the_small_maps_show_their_whole_scale(page: str, open_page: OpenPage) -> None:
    """The words of every scale bar begin inside their map: 10 mi cut short would read 0 mi."""
    opened = open_page(page, size=DESK)
    rooms = opened.page.evaluate(
        """() => [...document.querySelectorAll(".week .map .scale")].map((words) =>
        words.getBoundingClientRect().left - words.closest("svg").getBoundingClientRect().left)"""
    )
    assert rooms
    assert min(rooms) >= 0


def test_the_first_screen_says_what_to_do(page: str, open_page: OpenPage) -> None:
    """At a desk the counted needs, what is overdue and today's stops are seen without scrolling."""
    shown = open_page(page, size=DESK).page
    for part in (".needs", ".first", ".week .now"):
        box = shown.locator(part).first.bounding_box()
        assert box is not None
        assert box["y"] < DESK[1] - 200


@pytest.mark.parametrize(("size", "tallest"), [(DESK, 28), (PHONE, 60)], ids=["desk", "phone"])
def test_a_ribbon_is_a_row_and_the_whole_season(
    page: str, open_page: OpenPage, size: tuple[int, int], tallest: int
) -> None:
    """A row is 20 to 28 pixels at a desk, and a name over its ribbon on a phone, as wide as it."""
    shown = open_page(page, size=size).page
    for i in range(shown.locator("#lanes summary").count()):
        row = shown.locator("#lanes summary").nth(i).bounding_box()
        drawn = shown.locator("#lanes summary > svg").nth(i).bounding_box()
        assert row is not None
        assert drawn is not None
        assert 20 <= row["height"] <= tallest
        assert drawn["x"] + drawn["width"] <= size[0]
        assert drawn["width"] > size[0] / 2


def test_a_lane_opens_by_keyboard_and_by_a_link(page: str, open_page: OpenPage) -> None:
    """Enter on a row opens its field; so does a link to it from the map, the week or the table."""
    shown = open_page(page).page
    lane = shown.locator("#f2")
    lane.locator("summary").focus()
    shown.keyboard.press("Enter")
    assert lane.locator(".lane").is_visible()
    shown.keyboard.press("Enter")
    assert not lane.locator(".lane").is_visible()
    for place in (".wide a[href='#f3']", "#table a[href='#f1']", "#table a[href='#f3']"):
        link = shown.locator(place)
        link.focus()
        shown.keyboard.press("Enter")
        opened = shown.locator(str(link.get_attribute("href")))
        opened.locator(".lane").wait_for()
        assert shown.evaluate("document.activeElement.parentElement.id") in place


def test_columns_are_sorted_by_keyboard(page: str, open_page: OpenPage) -> None:
    """Enter on a head sorts by it, again the other way; blanks are last; the ribbons follow."""
    shown = open_page(page).page
    head = shown.get_by_role("columnheader", name="last finding")
    head.get_by_role("button").focus()
    keys = (
        "() => [...document.querySelectorAll('#table tbody tr')].map((r) => r.cells[3].dataset.k)"
    )
    for direction, reverse in (("ascending", False), ("descending", True)):
        shown.keyboard.press("Enter")
        assert head.get_attribute("aria-sort") == direction
        found = shown.evaluate(keys)
        dated = [key for key in found if key]
        assert dated == sorted(dated, reverse=reverse)
        assert found == dated + [""] * (len(found) - len(dated))
        # The ribbons follow in a task of their own, so they are waited for.
        shown.wait_for_function(
            "(ids) => [...document.querySelectorAll('#lanes details')]"
            ".every((lane, place) => lane.id === ids[place])",
            arg=shown.evaluate(SHOWN),
        )
    assert shown.locator("[aria-sort]").count() == 1


def test_fields_are_filtered_by_text_and_need(page: str, open_page: OpenPage) -> None:
    """Only the fields that fit stay, on every part of the page, and it says how many."""
    shown = open_page(page).page
    all_rows = shown.evaluate(SHOWN)
    shown.get_by_label("Show fields with this text").focus()
    name = shown.locator("#table th[scope=row]").first.inner_text()
    shown.keyboard.type(name.upper())
    status = shown.get_by_role("status")
    status.get_by_text(f"1 of {len(all_rows)} fields shown", exact=True).wait_for()
    assert shown.evaluate(SHOWN) == ["f1"]
    assert shown.locator("#lanes details:visible").count() == 1
    assert shown.locator(".mappart a[href^='#f']:visible").count() == 1
    shown.get_by_label("Show fields with this text").fill("")
    need = shown.locator("#table tbody tr").last.get_attribute("data-need")
    assert need is not None
    shown.get_by_label("and this need").select_option(need)
    fitting = shown.locator(f"#table tr[data-need={need}]").count()
    status.get_by_text(f"{fitting} of {len(all_rows)} fields shown", exact=True).wait_for()
    assert len(shown.evaluate(SHOWN)) == fitting < len(all_rows)


def test_without_its_script_it_is_a_plain_page(page: str, open_page: OpenPage) -> None:
    """All rows are there, and nothing that does nothing: no button, no filter."""
    opened = open_page(page, java_script_enabled=False)
    assert opened.page.locator("#table tbody tr:visible").count() == page.count("<th scope=row>")
    assert opened.page.locator("button:visible, input:visible, select:visible").count() == 0


def test_a_mark_on_the_map_says_what_it_is(page: str, open_page: OpenPage) -> None:
    """Each mark is a link by the id of its field, and tells its need where one can point."""
    shown = open_page(page).page
    for mark in shown.locator(".wide a[href^='#f']").all():
        name = mark.locator("text").text_content()
        assert name
        assert str(mark.locator("title").text_content()).startswith(f"{name} ")


def test_names_that_would_do_harm_do_nothing(demo: Path, open_page: OpenPage) -> None:
    """Tags, quotes, right-to-left, emoji and 10,000 characters run no script."""
    season = season_of(demo)
    names = dict(zip(field_ids(season), HOSTILE.values(), strict=False))
    hostile = renamed(season, names)
    opened = open_page(html_of(changed(hostile, by_need=hostile.fields)), size=PHONE)
    assert opened.complaints == []
    assert opened.requests == []
    assert opened.sideways <= 0
    assert opened.page.locator("script").count() == 1
    text = opened.page.get_by_label("Show fields with this text")
    text.fill("<script>alert(1)</script>")
    opened.page.get_by_role("status").get_by_text("1 of 11 fields shown", exact=True).wait_for()
    assert axe_violations(opened.page) == []


def _processor_s(opened: Opened) -> Callable[[], float]:
    """How long the page has kept the processor busy so far, which no busy machine changes much."""
    browser = opened.page.context.new_cdp_session(opened.page)
    browser.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent() -> float:
        told = {m["name"]: m["value"] for m in browser.send("Performance.getMetrics")["metrics"]}
        return float(told["TaskDuration"])

    return spent


SORTED = """(column) => {
  const rows = document.querySelector("#table tbody"), twin = rows.cloneNode(true);
  const took = (work) => {
    const start = performance.now();
    work();
    document.body.getBoundingClientRect();
    return performance.now() - start;
  };
  const press = () => document.querySelectorAll("#table thead button")[column].click();
  const anew = () => {
    rows.replaceWith(twin);
    twin.getBoundingClientRect();
    twin.replaceWith(rows);
  };
  const best = [Infinity, Infinity];
  for (let time = 0; time < 5; time++)
    [press, anew].forEach((work, i) => { best[i] = Math.min(best[i], took(work)); });
  return best;
}"""


@pytest.mark.slow  # a clock of the page's
def test_four_hundred_fields_are_sorted_at_once(crowded: str, open_page: OpenPage) -> None:
    """By any column it takes no longer than to lay the table out four times, each at its best.

    Both are timed in turn, so that a busy machine slows both. The ribbons follow in a task of
    their own.
    """
    shown = open_page(crowded).page
    for column in range(6):
        sorted_ms, twice_anew_ms = shown.evaluate(SORTED, column)
        assert 0 < sorted_ms <= 2 * twice_anew_ms


@pytest.mark.slow  # a clock of the page's: not for a busy machine
def test_four_hundred_fields_scroll_smoothly(crowded: str, open_page: OpenPage) -> None:
    """From top to bottom a step costs the processor no long task."""
    opened = open_page(crowded)
    spent = _processor_s(opened)
    before = spent()
    way = opened.page.evaluate(SCROLL, [STEPS])
    took = spent() - before
    assert way["end"] == pytest.approx(way["height"], abs=2)
    assert 0 < took / STEPS < LONG_TASK_S
    assert opened.complaints == []


def test_print_shows_what_a_day_needs(page: str, open_page: OpenPage) -> None:
    """On paper stand what to do, the week, the map and a ribbon a field, and no control."""
    opened = open_page(page)
    opened.page.emulate_media(media="print")
    for part in (".needs", ".first", ".week", ".wide .map", "#lanes"):
        assert opened.page.locator(part).first.is_visible(), part
    assert opened.page.locator("#lanes summary:visible").count() == FEW
    hidden = "input:visible, select:visible, nav:visible, #table:visible, .lane:visible"
    assert opened.page.locator(hidden).count() == 0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_sixty_fields_print_on_two_pages(demo: Path, open_page: OpenPage, paper: str) -> None:
    """With the season, the day and the page on each, and the ribbons together on the second."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this computer")
    opened = open_page(overview_html(overview(routed(many(season_of(demo), 60)))))
    made = opened.page.pdf(format=paper, prefer_css_page_size=True)
    read = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=made, capture_output=True, check=True
    )
    pages = read.stdout.decode().rstrip("\f").split("\f")
    assert len(pages) == 2
    for number, text in enumerate(pages, start=1):
        head = text.strip().splitlines()[0]
        assert "Season 2026, as of Mon 6 Jul 2026" in head
        assert f"page {number} of 2" in head
    assert "The season" in pages[1]
    assert "The season" not in pages[0]
    assert len(re.findall(r"^ *X\d{3} ", pages[1], re.MULTILINE)) == 60
