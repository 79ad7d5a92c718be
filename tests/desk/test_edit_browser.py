"""A season's files changed at the desk in a real browser, by keyboard, narrow and dark too."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import DESK, OpenPage, axe_violations

from stagecast.season.folder import read_season

pytestmark = [pytest.mark.browser, pytest.mark.allow_hosts(["127.0.0.1"])]
PAGES = ("edit", "edit/table?of=fields", "edit/row?of=fields&field=F1", "edit/settings",
         "edit/row?of=blocked&line=new")  # fmt: skip


def test_a_planting_date_is_changed_by_keyboard(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """From a wrong date, told beside its box, to a right one that is saved."""
    opened = open_page(f"{address}edit/row?of=fields&field=F1", offline=False)
    page = opened.page
    for typed in ("2026-13-40", "2026-05-09"):
        page.get_by_label("Planted", exact=True).focus()
        page.keyboard.press("ControlOrMeta+A")
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
        page.locator("main [role=alert], main [role=status]").wait_for()
        if typed == "2026-13-40":
            assert page.locator("#w-planting_date").is_visible()
            assert axe_violations(page) == []
    page.get_by_text("Saved in fields.csv").wait_for()
    assert read_season(season).fields[0].planting_date.isoformat() == "2026-05-09"
    assert [text for text in opened.complaints if "422" not in text] == []


@pytest.mark.parametrize(("size", "dark"), [(DESK, True), ((320, 640), False)])
def test_every_page_is_for_anybody(
    address: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """The checker finds nothing, and nothing is wider than the window."""
    for name in PAGES:
        opened = open_page(address + name, offline=False, size=size, dark=dark)
        assert axe_violations(opened.page) == [], name
        assert opened.sideways <= 0, name
        assert opened.complaints == []
