"""The desk in a real browser: a visit logged by keyboard, on a phone and on a desk, by anybody."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from browser import DESK, PHONE, OpenPage, axe_violations
from desk_season import AS_OF, log_of
from desk_server import served

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.allow_hosts(["127.0.0.1"])]

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(1)> \"'` \u05d0\u05d1 \U0001f41b"
PAGES = ("", "week", "field?field=F1", "visit?field=F1", "treatment?field=F1", "nothing")


def test_the_token_opens_the_desk_to_a_browser(season: Path, open_page: OpenPage) -> None:
    """The address with the token leads on to the page without it; then forms can be sent."""
    with served(season, token="a-secret") as found:
        opened = open_page(f"{found}visit?field=F1&token=a-secret", offline=False)
        page = opened.page
        page.wait_for_url(f"{found}visit?field=F1")
        page.get_by_label("Growth stage").select_option("R3")
        page.get_by_role("button", name="Log a visit").click()
        page.wait_for_url("**/entry?entry=*")
        assert page.evaluate("document.cookie") == ""
        assert opened.complaints == []
    assert log_of(season).visits[0].stage == "R3"


def go_to(page: Page, name: str) -> None:
    """Press the tabulator until something of a name has the focus, as a person would."""
    focused = "document.activeElement.id || document.activeElement.innerText"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate(focused) == name:
            return
    raise AssertionError(f"the keyboard does not reach {name}")


def test_a_visit_is_logged_by_keyboard(address: str, season: Path, open_page: OpenPage) -> None:
    """From the list to the moved forecast without a mouse; then the entry is corrected."""
    opened = open_page(address, offline=False)
    page = opened.page
    for name in ("F1", "Log a visit"):
        go_to(page, name)
        with page.expect_navigation():
            page.keyboard.press("Enter")
    typed = {"i-stage": "R4", "i-count_0_0": "2", "i-count_0_1": "0"}
    typed["i-set"] = "25 sweeps: stink bugs 3"
    for name, text in typed.items():
        go_to(page, name)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.keyboard.type("25 sweeps: stink bugs 0")
    for name, text in {"i-who": "Ann", "i-notes": HOSTILE}.items():
        go_to(page, name)
        page.keyboard.type(text)
    go_to(page, "Log a visit")
    page.keyboard.press("Enter")
    page.wait_for_url("**/entry?entry=*")
    (visit,) = log_of(season).visits
    assert (visit.date, visit.who, visit.stage, len(visit.sets)) == (AS_OF, "Ann", "R4", 4)
    assert visit.notes == HOSTILE
    assert page.locator("tr.changed").count() > 3
    go_to(page, "Correct this entry")
    page.keyboard.press("Enter")
    page.wait_for_url("**/correct?entry=*")
    go_to(page, "i-stage")
    page.keyboard.type("R3")
    go_to(page, "Correct a visit")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "/entry?" in url and visit.visit_id not in url)
    assert [v.stage for v in log_of(season).visits] == ["R4", "R3"]
    assert opened.complaints == []


def test_the_first_count_is_a_few_keys_away(address: str, open_page: OpenPage) -> None:
    """The second link of the page leads to it; from the day on nothing stands between but the rows.

    WCAG 2.2, 2.4.1: blocks may be bypassed. How few keys are few is common practice, no source.
    """
    page = open_page(f"{address}visit?field=F1", offline=False).page
    for key in ("Tab", "Tab", "Enter"):
        page.keyboard.press(key)
    assert page.evaluate("document.activeElement.id") == "i-count_0_0"
    page.keyboard.type("7")
    assert page.locator("#i-count_0_0").input_value() == "7"
    page.locator("#i-date").focus()
    passed = 0
    while page.evaluate("document.activeElement.id") != "i-count_0_0":
        page.keyboard.press("Tab")
        passed += 1
        assert passed <= 6


def test_what_is_wrong_has_the_focus_and_leads_to_its_input(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """After a refused form the problems come first; each leads to where it is mended."""
    page = open_page(f"{address}visit?field=F1", offline=False, size=PHONE).page
    page.get_by_label("Share of plants").fill("140")
    page.get_by_label("Notes").fill("two\nlines")
    page.get_by_role("button", name="Log a visit").click()
    assert page.evaluate("document.activeElement.getAttribute('role')") == "alert"
    assert axe_violations(page) == []
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "i-share_percent"
    page.get_by_label("Share of plants").fill("60")
    assert page.get_by_label("Notes").input_value() == "two\nlines"
    page.get_by_label("Growth stage").select_option("R3")
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_url("**/entry?entry=*")
    assert log_of(season).visits[0].notes == "two\nlines"


@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)])
def test_pages_are_accessible_and_fit(
    address: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """No page is wider than a phone, and the accessibility checker finds nothing wrong."""
    opened = open_page(address, offline=False, size=size, dark=dark)
    for name in PAGES:
        opened.page.goto(f"{address}{name}")
        assert opened.sideways <= 0, name
        assert axe_violations(opened.page) == [], name


def test_an_entry_with_long_words_fits_a_phone(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """The table of what moved, and ten thousand letters without a blank, stay within the screen."""
    opened = open_page(f"{address}visit?field=F1", offline=False, size=PHONE)
    page = opened.page
    page.get_by_label("Growth stage").select_option("R4")
    page.get_by_label("Notes").fill("W" * 10_000)
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_url("**/entry?entry=*")
    for name in ("", "field?field=F1"):
        assert opened.sideways <= 0
        assert axe_violations(page) == []
        page.goto(f"{address}{name}")
    assert opened.complaints == []


def test_what_looks_like_a_slip_is_asked_and_answered(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """On a phone the question has the focus, fits, keeps the numbers, and a yes logs them."""
    opened = open_page(f"{address}visit?field=F1", offline=False, size=PHONE)
    page = opened.page
    page.get_by_label("Growth stage").select_option("R4")
    page.get_by_label("Set 1").first.fill("260")
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_function("document.activeElement.getAttribute('role') === 'alert'")
    assert page.get_by_label("Set 1").first.input_value() == "260"
    assert (opened.sideways, axe_violations(page)) == (0, [])
    page.get_by_label("Yes, it is so").check()
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_url("**/entry?entry=*")
    assert [c.number for c in log_of(season).visits[0].sets[0].counts] == [260.0]
    for name in ("", "week", "field?field=F1", "overview", "brief?field=F1"):
        page.goto(f"{address}{name}")
        assert (opened.sideways, axe_violations(page)) == (0, []), name
    assert [one for one in opened.complaints if "422" not in one] == []
