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
        page.locator("main [role=alert], #saved").wait_for()
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


def test_back_never_loses_a_change(address: str, season: Path, open_page: OpenPage) -> None:
    """What was typed about a field is put back on the way back, offered anew, gone once saved."""
    place = f"{address}edit/row?of=fields&field=F1"
    opened = open_page(place, offline=False)
    page = opened.page
    page.get_by_label("Notes").fill("wet at the gate")
    page.get_by_role("link", name="Fields", exact=True).last.click()
    page.wait_for_url("**/edit/table?of=fields")
    page.go_back()
    page.get_by_text("did not save is put back").wait_for()
    assert page.get_by_label("Notes").input_value() == "wet at the gate"
    assert axe_violations(page) == []
    page.goto(address)
    page.goto(f"{address}edit/row?of=fields&line=2")
    assert page.get_by_label("Notes").input_value() == ""
    page.get_by_role("button", name="Put it back").click()
    page.get_by_label("Planted", exact=True).fill("nonsense")
    page.get_by_role("button", name="Save").click()
    page.locator("main [role=alert]").wait_for()
    page.goto(place)
    page.get_by_role("button", name="Put it back").click()
    assert page.get_by_label("Planted", exact=True).input_value() == "nonsense"
    page.get_by_label("Planted", exact=True).fill("2026-05-06")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved in fields.csv").wait_for()
    assert read_season(season).fields[0].notes == "wet at the gate"
    page.goto(place)
    assert page.locator("#draft").is_hidden()
    assert [text for text in opened.complaints if "422" not in text] == []


def test_a_change_put_back_leaves_alone_what_another_changed(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """Only what was typed comes back, under its name: lines moved, and another cell is new."""
    page = open_page(f"{address}edit/settings", offline=False).page
    page.get_by_label("region").fill("AR")
    page.goto(f"{address}edit/row?of=fields&field=F1")
    page.get_by_label("Notes").fill("mine")
    settings, fields = season / "season.toml", season / "fields.csv"
    settings.write_text("# a remark\n\n" + settings.read_text())
    fields.write_text(fields.read_text().replace("2026-05-04", "2026-05-05", 1))
    page.goto(f"{address}edit/settings")
    page.get_by_role("button", name="Put it back").click()
    assert page.get_by_label("region").input_value() == "AR"
    assert page.get_by_label("year").input_value() == "2026"
    page.goto(f"{address}edit/row?of=fields&field=F1")
    page.get_by_role("button", name="Put it back").click()
    assert page.get_by_label("Notes").input_value() == "mine"
    assert page.get_by_label("Planted", exact=True).input_value() == "2026-05-05"
    page.get_by_role("button", name="Throw it away").wait_for(state="hidden")


def test_what_was_taken_out_is_no_draft(address: str, season: Path, open_page: OpenPage) -> None:
    """The list says that the row is gone, and a new row of that name begins blank."""
    page = open_page(f"{address}edit/row?of=fields&field=F2", offline=False).page
    page.get_by_label("Notes").fill("given up")
    page.get_by_text("Take this field out").click()
    page.get_by_role("button", name="Take it out").click()
    page.get_by_text("Taken out of fields.csv").wait_for()
    assert page.evaluate("Object.keys(sessionStorage)") == []
    assert len(read_season(season).fields) == 1
