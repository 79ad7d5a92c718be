"""The season's page in a real browser: read, sorted, filtered, scrolled and printed."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import DESK, PHONE, OpenPage, axe_violations, chromium, open_page
from changed import changed
from overview_builder import html_of, many
from week_builder import HOSTILE, field_ids, renamed, season_of

pytestmark = pytest.mark.browser
__all__ = ["chromium", "open_page"]

STEPS = 20
LONG_TASK_S = 0.05
"""From here on a task is called long: W3C, Long Tasks API."""

FEW = 6
REGIONS = ".scroll"

SCROLL = """
async ([selector, steps]) => {
  const box = document.querySelector(selector);
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  for (let step = 1; step <= steps; step++) {
    box.scrollTop = (box.scrollHeight - box.clientHeight) * step / steps;
    await frame();
  }
  await frame();
  return { height: box.scrollHeight, end: box.scrollTop + box.clientHeight };
}
"""
SHORTENED = """
document.querySelectorAll("tbody").forEach((body) => {
  [...body.rows].slice(6).forEach((row) => row.remove());
});
"""
SHOWN = """
() => [...document.querySelectorAll("#table tbody tr")]
  .filter((row) => !row.hidden).map((row) => row.dataset.n)
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
    ("size", "dark"), [(PHONE, True), (DESK, False)], ids=["phone, dark", "desk, light"]
)
def test_the_page_is_clean(
    page: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """Nothing is fetched or complained of, nothing runs off sideways, axe finds no fault.

    Axe sees six rows of each table: the others are made alike, and each cell takes it long.
    """
    opened = open_page(page, size=size, dark=dark)
    opened.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert opened.sideways <= 0
    opened.page.evaluate(SHORTENED)
    assert axe_violations(opened.page) == []
    assert opened.complaints == []
    assert opened.requests == []


def test_whatever_scrolls_can_be_reached_by_keyboard(page: str, open_page: OpenPage) -> None:
    """Timeline, map and tables stand in named regions that take the focus; arrows move them."""
    shown = open_page(page, size=PHONE).page
    regions = shown.locator(REGIONS)
    for i in range(regions.count()):
        region = regions.nth(i)
        assert region.get_attribute("tabindex") == "0"
        assert region.get_attribute("aria-label")
    days = shown.locator("#days")
    days.focus()
    before = days.evaluate("(box) => box.scrollLeft")
    shown.keyboard.press("ArrowRight")
    shown.wait_for_function("(x) => document.querySelector('#days').scrollLeft > x", arg=before)


def test_the_timeline_opens_at_today(page: str, open_page: OpenPage) -> None:
    """On a phone today's line lies within what is seen, beside the names of the fields."""
    shown = open_page(page, size=PHONE).page
    box = shown.locator("#days").bounding_box()
    word = shown.locator("#days .today-word").bounding_box()
    names = shown.locator("#days .months .who").bounding_box()
    assert box is not None
    assert word is not None
    assert names is not None
    assert names["x"] + names["width"] <= word["x"] <= box["x"] + box["width"]


def test_columns_are_sorted_by_keyboard(page: str, open_page: OpenPage) -> None:
    """Enter on a head sorts by it, again the other way; blanks are last; the timeline follows."""
    shown = open_page(page).page
    head = shown.get_by_role("columnheader", name="last visit")
    head.get_by_role("button").focus()
    keys = (
        "() => [...document.querySelectorAll('#table tbody tr')].map((r) => r.cells[6].dataset.k)"
    )
    for direction, reverse in (("ascending", False), ("descending", True)):
        shown.keyboard.press("Enter")
        assert head.get_attribute("aria-sort") == direction
        found = shown.evaluate(keys)
        dated = [key for key in found if key]
        assert dated == sorted(dated, reverse=reverse)
        assert found == dated + [""] * (len(found) - len(dated))
        rows = shown.evaluate(
            "() => [...document.querySelectorAll('.row')].map((r) => r.dataset.n)"
        )
        assert rows == shown.evaluate(SHOWN)
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
    assert shown.evaluate(SHOWN) == ["1"]
    assert shown.locator(".row:visible").count() == 1
    assert shown.locator(".map a:visible").count() == 1
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
    assert opened.page.locator("#table tbody tr:visible").count() == page.count('<tr id="f')
    assert opened.page.locator("button:visible, input:visible, select:visible").count() == 0


def test_a_mark_on_the_map_leads_to_its_row(page: str, open_page: OpenPage) -> None:
    """Marks can be focused, say what they are, and Enter goes to the field in the table."""
    shown = open_page(page).page
    mark = shown.locator(".map a[href='#f3']")
    assert mark.get_attribute("aria-label") == mark.locator("title").text_content()
    mark.focus()
    shown.keyboard.press("Enter")
    shown.locator("#f3:target").wait_for()


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


def test_four_hundred_fields_scroll_smoothly(crowded: str, open_page: OpenPage) -> None:
    """From top to bottom nothing is laid out anew, and a step costs the processor no long task.

    The page's own time on the processor is measured, which is the same on a busy machine.
    """
    opened = open_page(crowded)
    browser = opened.page.context.new_cdp_session(opened.page)
    browser.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent() -> dict[str, float]:
        return {m["name"]: m["value"] for m in browser.send("Performance.getMetrics")["metrics"]}

    for selector in ("#days", ".scroll:has(#table)"):
        opened.page.evaluate(SCROLL, [selector, 1])
        before = spent()
        way = opened.page.evaluate(SCROLL, [selector, STEPS])
        after = spent()
        assert way["end"] == pytest.approx(way["height"], abs=2)
        assert after["LayoutCount"] == before["LayoutCount"]
        assert 0 < (after["TaskDuration"] - before["TaskDuration"]) / STEPS < LONG_TASK_S
    assert opened.complaints == []


def test_print_shows_all_of_it(page: str, open_page: OpenPage) -> None:
    """On paper nothing is cut off in a region that scrolls, and no control is printed."""
    opened = open_page(page)
    opened.page.emulate_media(media="print")
    cut = "(boxes) => boxes.filter((b) => b.scrollHeight > b.clientHeight + 1).length"
    assert opened.page.locator(".scroll:visible").evaluate_all(cut) == 0
    assert opened.page.locator("input:visible, select:visible, nav:visible").count() == 0
    assert opened.page.locator("#table thead th").first.inner_text().strip() == "no."
    assert "worms reach the size" in str(opened.page.locator(".heats svg").first.text_content())
    assert opened.printed().startswith(b"%PDF")
