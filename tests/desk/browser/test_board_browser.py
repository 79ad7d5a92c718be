"""The week as a board in a real browser: by keyboard, by dragging, narrow and dark."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import DESK, OpenPage, axe_violations
from desk_season import AS_OF, build, with_scouts

from stagecast.season.locks import read_locks
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import season_route

pytestmark = [pytest.mark.browser, pytest.mark.allow_hosts(["127.0.0.1"])]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season with two scouts, which tests copy."""
    return with_scouts(build(tmp_path_factory.mktemp("built") / "season"), "Ann", "Kim")


def test_a_field_is_moved_by_keyboard(address: str, season: Path, open_page: OpenPage) -> None:
    """From the board to its place and back; the board then has it there, and so does the route."""
    opened = open_page(f"{address}board", offline=False)
    page = opened.page
    page.locator(".board a", has_text="F1").focus()
    page.keyboard.press("Enter")
    place = page.get_by_role("radio", name="Thu 9 Jul, Kim")
    place.focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    shift = page.locator('[data-to="2026-07-09 Kim"]')
    shift.get_by_text("put here").wait_for()
    assert read_locks(season)["F1"].scout == "Kim"
    found = season_route(SeasonDay.open(season, as_of=AS_OF))
    assert [d.scout for d in found.days for s in d.stops if s.field_id == "F1"] == ["Kim"]
    assert opened.complaints == []


def test_dragging_asks_before_it_moves(address: str, season: Path, open_page: OpenPage) -> None:
    """A field dropped on a day opens what that comes to, with the day chosen; nothing is moved."""
    opened = open_page(f"{address}board", offline=False)
    page = opened.page
    page.locator('[data-field="F1"]').drag_to(page.locator('[data-to="2026-07-09 Kim"]'))
    page.wait_for_url("**/board/move?field=F1&to=2026-07-09+Kim")
    assert page.get_by_role("radio", name="Thu 9 Jul, Kim").is_checked()
    assert read_locks(season) == {}
    assert opened.complaints == []


@pytest.mark.parametrize(("size", "dark"), [(DESK, False), ((320, 640), True)])
def test_the_board_is_for_anybody(
    address: str, open_page: OpenPage, size: tuple[int, int], dark: bool
) -> None:
    """The checker finds nothing, and nothing is wider than the window."""
    for name in ("board", "board/move?field=F1"):
        opened = open_page(address + name, offline=False, size=size, dark=dark)
        assert axe_violations(opened.page) == [], name
        assert opened.sideways <= 0, name
        assert opened.complaints == []
