"""The letter in a real browser: for every eye, on every width, on one sheet, and unharmed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from browser import DESK, PHONE, OpenPage, axe_violations
from log_builder import at, log_of, sets_of, treatment, visit

from stagecast.pages.growers.letter import Letter, letter_html, letter_of
from stagecast.season.settings.settings import ConsultantSettings
from stagecast.visits.season_day import SeasonDay

pytestmark = pytest.mark.browser

AS_OF = dt.date(2026, 7, 7)
TABLET = (768, 1024)
HOSTILE = '"><script>window.hacked = 1</script><img src=x onerror="window.hacked = 1"> </title>'
LONG = "W" * 10_000


@pytest.fixture(scope="module")
def letter(demo: Path) -> Letter:
    """Five fields: one above its threshold, two closed, and a treatment ahead."""
    counted = visit(dt.date(2026, 7, 6), sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05")
    log = log_of(
        replace(counted, stage="R3", defoliation_percent=12.0),
        treatment(at(7, 6, 16), 48, field_id="F06", product="an invented product"),
        treatment(at(7, 9, 16), 48, field_id="F07", product="an invented product"),
    )
    made = letter_of(SeasonDay.open(demo, as_of=AS_OF, log=log), "Grower B")
    by = ConsultantSettings(name="Consultant A", phone="555-0100")
    five = (*made.fields, replace(made.fields[2], field="F99 Far End"))
    assert (len(five), len(made.waiting), len(made.closed)) == (5, 1, 1)
    return replace(made, fields=five, consultant=by)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", [(320, 640), PHONE, TABLET, DESK])
def test_everybody_can_use_it(
    size: tuple[int, int], dark: bool, letter: Letter, open_page: OpenPage
) -> None:
    """Proves that the checker finds no fault, nothing scrolls sideways, nothing is asked for."""
    opened = open_page(letter_html(letter), size=size, dark=dark)
    assert axe_violations(opened.page) == []
    assert opened.sideways == 0
    assert opened.requests == []
    assert opened.complaints == []


@pytest.mark.parametrize("font", ["serif", "sans-serif", "monospace"])
def test_five_fields_print_on_one_sheet(font: str, letter: Letter, open_page: OpenPage) -> None:
    """Proves that one sheet holds five fields in any font."""
    in_font = f"* {{ font-family: {font} !important; }}</style>"
    opened = open_page(letter_html(letter).replace("</style>", in_font, 1))
    assert opened.printed().count(b"/Type /Page\n") == 1


def test_what_matters_is_on_the_first_screen(letter: Letter, open_page: OpenPage) -> None:
    """Proves that a phone shows what to decide, what is closed and each visit without scrolling."""
    opened = open_page(letter_html(letter), size=PHONE)
    below = opened.page.locator(".visits").bounding_box()
    assert below is not None
    assert below["y"] + below["height"] <= PHONE[1]


def test_hostile_text_does_nothing(letter: Letter, open_page: OpenPage) -> None:
    """Proves that scripts, quotes and endless text are shown and nothing else happens."""
    one = replace(letter.fields[0], field=HOSTILE, found=LONG, closed=HOSTILE, decided=(HOSTILE,))
    page = letter_html(replace(letter, grower=HOSTILE, fields=(one,)))
    opened = open_page(page, size=PHONE)
    assert opened.page.evaluate("window.hacked") is None
    assert opened.page.locator("img, script").count() == 0
    assert "<script>window.hacked = 1</script>" in opened.page.inner_text("h1")
    assert opened.sideways == 0
    assert opened.complaints == []
