"""A table dropped on the desk in a real browser: by the mouse, by the keyboard, by anybody."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import DESK, OpenPage, axe_violations
from desk_season import log_of

pytestmark = [pytest.mark.browser, pytest.mark.allow_hosts(["127.0.0.1"])]

HEAD = "visit_id,field_id,date,stage,notes\n"
TABLE = HEAD + "p1,F1,2026-07-06,R3,\np2,F2,2026-07-06,R2,\n"
DROPPED = """(text) => {
  const data = new DataTransfer();
  data.items.add(new File([text], 'phone.csv', { type: 'text/csv' }));
  const how = { dataTransfer: data, bubbles: true, cancelable: true };
  const event = (kind) => new DragEvent(kind, how);
  document.body.dispatchEvent(event('dragover'));
  document.body.dispatchEvent(event('drop'));
}"""
ANOTHER_READ = """() => new Promise((done) => {
  const reader = new FileReader();
  reader.addEventListener('load', () => setTimeout(done));
  reader.readAsDataURL(new Blob(['x']));
})"""  # files are read one after another: what was dropped before would be read by then


def test_a_table_is_dropped_looked_at_and_logged(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """Dropped anywhere on the page a table is shown; the button logs it; again it is known."""
    opened = open_page(f"{address}drop", offline=False)
    page = opened.page
    page.evaluate(DROPPED, TABLE)
    page.get_by_text("2 entries: 2 new.").wait_for()
    assert not log_of(season).visits
    page.get_by_role("button", name="Log them").click()
    page.get_by_text("2 visits and 0 treatments logged").wait_for()
    assert [v.visit_id for v in log_of(season).visits] == ["p1", "p2"]
    page.get_by_role("link", name="Take in another table").click()
    page.evaluate(DROPPED, TABLE)
    page.get_by_text("the log has all of it").wait_for()
    assert opened.complaints == []


def test_a_table_is_dropped_on_any_page(address: str, season: Path, open_page: OpenPage) -> None:
    """Dropped on the week it is looked at on its own page, byte for byte; not over a form."""
    opened = open_page(f"{address}week", offline=False)
    page = opened.page
    page.evaluate(DROPPED, TABLE.replace("R3,", "R3,\u00fc"))
    page.get_by_text("2 entries: 2 new.").wait_for()
    page.get_by_role("button", name="Log them").click()
    page.get_by_text("2 visits and 0 treatments logged").wait_for()
    assert log_of(season).visits[0].notes == "\u00fc"
    page.goto(f"{address}visit?field=F1")
    page.evaluate(DROPPED, TABLE)
    page.evaluate(ANOTHER_READ)
    assert page.url.endswith("/visit?field=F1")
    page.goto(f"{address}drop")
    assert page.locator("#log").count() == 0
    assert opened.complaints == []


@pytest.mark.parametrize("size", [DESK, (320, 640)])
@pytest.mark.parametrize("dark", [False, True])
def test_a_changed_row_is_taken_by_keyboard(
    address: str, season: Path, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """Paste, look, choose and log without a mouse; the checker finds nothing; nothing is wider."""
    opened = open_page(f"{address}drop", offline=False, size=size, dark=dark)
    page = opened.page
    assert axe_violations(page) == []
    for text in (TABLE, TABLE.replace("R3", "R4")):
        page.locator("#i-pasted").focus()
        page.keyboard.insert_text(text)
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        button = page.get_by_role("button", name="Log")
        button.wait_for()
        if "R4" in text:
            page.locator("input[type=radio]").first.focus()
            page.keyboard.press("Space")
        assert axe_violations(page) == []
        assert opened.sideways <= 0
        button.focus()
        page.keyboard.press("Enter")
        page.get_by_role("link", name="Take in another table").focus()
        page.keyboard.press("Enter")
        page.locator("#i-pasted").wait_for()
    assert [(v.stage, v.corrects) for v in log_of(season).visits] == [
        ("R3", None), ("R2", None), ("R4", "p1"),
    ]  # fmt: skip
    assert opened.complaints == []
