"""A day at the desk in a real browser: counts are answered at once, and the list follows."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser import DESK, PHONE, OpenPage, axe_violations
from desk_season import desk_of, log_of
from desk_server import served

from stagecast.desk.frame import Frame, framed
from stagecast.desk.listing import FieldLine, list_html
from stagecast.desk.planner import Job
from stagecast.desk.season import DeskSeason
from stagecast.visits.season_day import SeasonDay

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.allow_hosts(["127.0.0.1"])]


class Held:
    """Plans of a season are not ready before they are let go."""

    def __init__(self, season: DeskSeason, patch: pytest.MonkeyPatch) -> None:
        self.free = threading.Event()
        self.free.set()
        made: Callable[..., SeasonDay] = DeskSeason._made

        def waits(desk: DeskSeason, job: Job[SeasonDay], *rest: Any) -> SeasonDay:
            job.of, job.done = 2, 1
            assert self.free.wait(60)
            return made(desk, job, *rest)

        patch.setattr(DeskSeason, "_made", waits)


@pytest.fixture
def desk(season: Path) -> DeskSeason:
    """The season behind the desk, as it is served: no page waits for a plan."""
    return desk_of(season, patience_s=0.0)


@pytest.fixture
def held(desk: DeskSeason, monkeypatch: pytest.MonkeyPatch) -> Held:
    """Its plans, which can be held back."""
    return Held(desk, monkeypatch)


@pytest.fixture
def address(desk: DeskSeason, held: Held) -> Iterator[str]:
    """Where the desk of that copy is; its first plan is ready."""
    desk.plan()
    with served(desk) as found:
        yield found
        held.free.set()


def focused(page: Page) -> str:
    """What has the focus: its id, else its text."""
    return str(page.evaluate("document.activeElement.id || document.activeElement.innerText"))


def test_a_day_at_the_desk(
    address: str, season: Path, desk: DeskSeason, held: Held, open_page: OpenPage
) -> None:
    """By keyboard alone: found, counted, answered at once, and the list follows by itself."""
    opened = open_page(address, offline=False)
    page = opened.page
    assert "Over a threshold" not in page.locator("#list").inner_text()
    page.keyboard.press("/")
    assert focused(page) == "find"
    page.keyboard.type("f1")
    assert page.locator("#found").inner_text() == "1 of 2 fields"
    page.keyboard.press("Enter")
    page.wait_for_url("**/field?field=F1")
    assert page.locator("#list a[aria-current]").inner_text() == "F1"
    assert page.locator("#find").input_value() == "f1"
    page.keyboard.press("v")
    page.wait_for_url("**/visit?field=F1")
    page.get_by_label("Growth stage").select_option("R4")
    page.locator("#i-pest_0").select_option("stink-bugs")
    page.locator("#i-pest_1").select_option("corn-earworm")
    for row in range(2, page.locator(".row").count()):
        page.locator(f"#i-pest_{row}").select_option("")
    page.locator("#i-count_0_0").focus()
    for number in ("21", "0", "18", "1", "25", "0", "19", "0"):
        page.keyboard.type(number)
        page.keyboard.press("Enter")
    assert focused(page) == "i-set"
    held.free.clear()
    page.keyboard.press("Control+Enter")
    page.wait_for_url("**/entry?entry=*")
    first = page.locator("main").inner_text()
    assert "Stink bugs 20.8 of 9 per 25 sweeps" in first
    assert "above" in first
    assert "Held against the thresholds for beans at R4, as it was seen." in first
    far = "Replanning, 1 of 2 fields, then the week's route. What stands here is from before it."
    page.locator("#waits", has_text=far).wait_for()
    assert "Over a threshold" not in page.locator("#list").inner_text()
    assert axe_violations(page) == []
    (visit,) = log_of(season).visits
    assert [[c.number for c in one.counts] for one in visit.sets] == [
        [21.0, 0.0], [18.0, 1.0], [25.0, 0.0], [19.0, 0.0],
    ]  # fmt: skip
    held.free.set()
    page.get_by_role("heading", name="Over a threshold: decide (1)").wait_for()
    page.locator("table.moved").first.wait_for()
    assert page.locator("#waits").inner_text() == ""
    assert page.locator("#list section li").first.inner_text().startswith("F1")
    assert axe_violations(page) == []
    page.keyboard.press("n")
    page.wait_for_url("**/field?field=*")
    assert opened.complaints == []


def test_the_list_is_as_old_as_it_says(
    address: str, season: Path, desk: DeskSeason, held: Held, open_page: OpenPage
) -> None:
    """What another program logs makes an open page say so, then the page shows it."""
    page = open_page(address, offline=False).page
    other = open_page(f"{address}visit?field=F1", offline=False).page
    held.free.clear()
    other.get_by_label("Notes").fill("seen by another")
    other.get_by_role("button", name="Log a visit").click()
    other.wait_for_url("**/entry?entry=*")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.locator("#waits", has_text="Replanning, 1 of 2 fields").wait_for()
    held.free.set()
    page.locator("#waits:empty").wait_for(state="attached")
    page.goto(f"{address}field?field=F1")
    assert "seen by another" in page.locator("main").inner_text()


def test_a_page_waits_for_the_first_plan_and_goes_on(
    season: Path, monkeypatch: pytest.MonkeyPatch, open_page: OpenPage
) -> None:
    """Before there is a plan the page says how far it is, and then is the page that was asked."""
    desk = desk_of(season, patience_s=0.0)
    held = Held(desk, monkeypatch)
    held.free.clear()
    with served(desk) as address:
        opened = open_page(f"{address}brief?field=F1", offline=False, size=PHONE)
        page = opened.page
        assert "Planning, reading the folder." in page.locator("main").inner_text() or (
            "Planning, 1 of 2 fields" in page.locator("main").inner_text()
        )
        assert axe_violations(page) == []
        held.free.set()
        page.get_by_role("heading", name="F1").first.wait_for()
        assert opened.complaints == []


# --- the form -------------------------------------------------------------------------------


def paste(page: Page, at: str, text: str) -> None:
    """Paste a text into an input, as from a spreadsheet."""
    page.locator(at).evaluate(
        """(input, text) => {
          const data = new DataTransfer();
          data.setData("text/plain", text);
          input.focus();
          const how = { clipboardData: data, bubbles: true, cancelable: true };
          input.dispatchEvent(new ClipboardEvent("paste", how));
        }""",
        text,
    )


def numbers(page: Page, row: int) -> list[str]:
    """What stands in the cells of a row."""
    cells = page.locator(".row").nth(row).locator(".cell input")
    return [cells.nth(one).input_value() for one in range(cells.count())]


def test_a_table_is_pasted_into_the_cells(address: str, open_page: OpenPage) -> None:
    """Numbers fill cells from where they are put; names pick rows, down or across; rest is told."""
    opened = open_page(f"{address}visit?field=F1", offline=False)
    page = opened.page
    paste(page, "#i-count_0_1", "3\t4\n5\t\n")
    assert (numbers(page, 0), numbers(page, 1)) == (["", "3", "4", ""], ["", "5", "", ""])
    page.goto(f"{address}visit?field=F2")
    page.locator("#i-pest_0").select_option("stink-bugs")
    paste(page, "#i-count_0_0", "\tSet 1\tSet 2\nstink bugs\t1\t2\nkudzu bug\t3\t0\nno bug\t9\t9\n")
    assert numbers(page, 0)[:2] == ["1", "2"]
    picks = page.locator(".row select")
    kudzu = [picks.nth(n).input_value() for n in range(picks.count())].index("kudzu-bug")
    assert numbers(page, kudzu)[:2] == ["3", "0"]
    assert "No room or no pest for: no bug 9, no bug 9." in page.locator("#pasted").inner_text()
    page.goto(f"{address}treatment?field=F2")
    page.goto(f"{address}visit?field=F2")
    page.get_by_role("button", name="Throw it away").click()
    across = "stink bugs\tkudzu bug\n" + "\n".join(f"{n}\t{n + 1}" for n in range(6))
    page.locator("#i-pest_0").select_option("stink-bugs")
    paste(page, "#i-count_0_0", across)
    assert numbers(page, 0) == ["0", "1", "2", "3", "4", "5"]
    assert opened.complaints == []


def test_back_never_loses_a_form(address: str, season: Path, open_page: OpenPage) -> None:
    """What was typed is put back on the way back, offered on a new way, gone once it is logged."""
    opened = open_page(f"{address}visit?field=F1", offline=False)
    page = opened.page
    page.get_by_label("Notes").fill("a long story")
    page.get_by_role("button", name="One more set").click()
    page.locator("#i-count_0_4").fill("7")
    page.keyboard.press("Escape")
    page.get_by_role("link", name="F1").first.click()
    page.wait_for_url("**/field?field=F1")
    page.go_back()
    page.locator("#draft").wait_for()
    assert page.get_by_label("Notes").input_value() == "a long story"
    assert page.locator("#i-count_0_4").input_value() == "7"
    assert axe_violations(page) == []
    page.goto(address)
    page.goto(f"{address}visit?field=F1")
    assert page.get_by_label("Notes").input_value() == ""
    page.get_by_role("button", name="Put it back").click()
    assert page.get_by_label("Notes").input_value() == "a long story"
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_url("**/entry?entry=*")
    assert log_of(season).visits[0].notes == "a long story"
    page.goto(f"{address}visit?field=F1")
    assert page.locator("#draft").is_hidden()
    assert page.get_by_label("Notes").input_value() == ""
    assert opened.complaints == []


def test_a_wrong_cell_is_told_at_its_cell_and_a_correction_has_rows(
    address: str, season: Path, open_page: OpenPage
) -> None:
    """The problem leads to the cell, which names it; the logged counts come back as rows."""
    page = open_page(f"{address}visit?field=F1", offline=False, size=PHONE).page
    page.locator("#i-pest_1").select_option("stink-bugs")
    page.locator("#i-count_1_2").fill("many")
    page.get_by_role("button", name="Log a visit").click()
    page.get_by_role("link", name="Pest 2, set 3").click()
    cell = page.locator("#i-count_1_2")
    assert focused(page) == "i-count_1_2"
    described = cell.get_attribute("aria-describedby")
    assert "Pest 2, set 3" in page.locator(f"#{described}").inner_text()
    assert axe_violations(page) == []
    cell.fill("8")
    page.get_by_role("button", name="Log a visit").click()
    page.wait_for_url("**/entry?entry=*")
    page.get_by_role("link", name="Correct this entry").click()
    page.wait_for_url("**/correct?entry=*")
    assert page.locator("#i-pest_0").input_value() == "stink-bugs"
    assert numbers(page, 0) == ["8", "", "", ""]


# --- the list -------------------------------------------------------------------------------

KEYSTROKE_MS = 50
TYPED = """async (text) => {
  const find = document.getElementById("find"), took = [];
  for (let end = 1; end <= text.length; end++) {
    const began = performance.now();
    find.value = text.slice(0, end);
    find.dispatchEvent(new InputEvent("input", { bubbles: true }));
    document.body.offsetHeight;
    took.push(performance.now() - began);
  }
  return took.sort((a, b) => a - b)[Math.floor(took.length / 2)];
}"""


def many_fields(open_page: OpenPage) -> Page:
    """The list of four hundred fields."""
    lines = [
        FieldLine(
            f"F{n:03}", f"F{n:03} Field {n}", f"Grower {n % 12}", "Tue 7 Jul", "R3", "R4 15 Jul",
            "bloom-R6", "stink bugs, earworm" if n % 2 else "leaf feeders", "", n if n < 9 else 0,
        )
        for n in range(1, 401)
    ]  # fmt: skip
    groups = [("overdue", lines[:100]), ("week", lines[100:])]
    return open_page(framed("desk_wait.html", Frame(list_html(groups)), title="Many")).page


@pytest.mark.slow  # a clock of the page's: not for a busy machine
def test_four_hundred_fields_are_searched_as_one_types(open_page: OpenPage) -> None:
    """A letter leaves the right fields within the bar."""
    assert many_fields(open_page).evaluate(TYPED, "stink grower 1 f0") <= KEYSTROKE_MS


def test_four_hundred_fields_are_searched(open_page: OpenPage) -> None:
    """Some letters leave the right fields; needs without one go; blank brings all."""
    page = many_fields(open_page)
    find = page.locator("#find")
    find.fill("leaf f39")
    assert page.locator("#found").inner_text() == "5 of 400 fields"
    assert page.locator("#lines li:visible").count() == 5
    assert page.locator("#lines section:visible").count() == 1
    find.fill("")
    assert page.locator("#lines li:visible").count() == 400


# --- the frame ------------------------------------------------------------------------------


def test_keys_have_a_help_and_can_be_put_off(address: str, open_page: OpenPage) -> None:
    """The help opens by its key and its button, closes, and takes the letters out of use."""
    opened = open_page(address, offline=False)
    page = opened.page
    page.keyboard.press("?")
    assert page.locator("#keys").is_visible()
    assert axe_violations(page) == []
    page.get_by_label("Single letters are keys").uncheck()
    page.keyboard.press("Escape")
    page.keyboard.press("n")
    page.keyboard.press("/")
    assert focused(page) != "find"
    page.get_by_role("button", name="Keys").click()
    page.get_by_label("Single letters are keys").check()
    page.get_by_role("button", name="Close").click()
    page.keyboard.press("/")
    assert focused(page) == "find"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    assert focused(page).startswith("F")
    assert opened.complaints == []


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("size", [(320, 640), (640, 450), DESK])
def test_pages_fit_and_are_accessible(
    address: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """At 320 pixels, at 200 percent of 1280 and at 1280, light and dark, nothing is found wrong."""
    opened = open_page(address, offline=False, size=size, dark=dark)
    for name in ("", "week", "field?field=F1", "visit?field=F1"):
        opened.page.goto(f"{address}{name}")
        assert opened.sideways <= 0, name
        assert axe_violations(opened.page) == [], name
        beside = opened.page.locator("#list").is_visible()
        assert beside == (size == DESK or name == ""), name
