"""The grower's page in a real browser: for every eye, on every width, on paper, and unharmed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from browser import DESK, PHONE, OpenPage, assert_words_apart, axe_violations
from changed import changed
from log_builder import at, log_of, sets_of, treatment, visit

from stagecast.pages.growers.brief import brief_html, brief_of, index_html
from stagecast.visits.season_day import SeasonDay

pytestmark = pytest.mark.browser

AS_OF = dt.date(2026, 7, 7)
HOSTILE = (
    '"><script>window.hacked = 1</script><img src=x onerror="window.hacked = 1">'
    "' onload='window.hacked = 1' {{ 7*7 }} \u202egnp.exe \U0001f33e </title></style></svg> "
)
PAPER = (725, 960)
"""Letter without its margins, in pixels."""

LONG = "W" * 10_000
OPEN_ALL = "document.querySelectorAll('details').forEach(d => { d.open = true })"


@pytest.fixture(scope="module")
def pages(demo: Path) -> dict[str, str]:
    """The fullest page, one full of hostile text, and the index with hostile names."""
    counted = visit(dt.date(2026, 7, 6), sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F06")
    log = log_of(
        replace(counted, notes=HOSTILE, who=HOSTILE, stage="R3", defoliation_percent=12.0),
        treatment(at(7, 6, 16), 48, field_id="F06", product=HOSTILE + LONG),
    )
    season = SeasonDay.open(demo, as_of=AS_OF, log=log)
    plan = next(p for p in season.fields if p.forecast.field.field_id == "F06")
    brief = brief_of(plan)
    assert brief.heat is not None
    field = replace(
        plan.forecast.field, field_id=HOSTILE, field_name=LONG, grower=HOSTILE, notes=HOSTILE + LONG
    )
    forecast = replace(plan.forecast, field=field)
    hostile = replace(brief_of(changed(plan, forecast=forecast)), found=brief.found)
    names = {hostile.field_id: "field-x.html", brief.field_id: "field-F06.html"}
    unseen = next(p for p in season.fields if p.visit.last_visit is None)
    return {
        "page": brief_html(brief),
        "plain": brief_html(brief_of(unseen)),
        "hostile": brief_html(hostile),
        "index": index_html(season, [brief, hostile], names),
    }


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_use_it(
    size: tuple[int, int], dark: bool, pages: dict[str, str], open_page: OpenPage
) -> None:
    """Proves that the checker finds no fault, nothing scrolls sideways, nothing is asked for."""
    opened = open_page(pages["page"], size=size, dark=dark)
    opened.page.evaluate(OPEN_ALL)
    assert axe_violations(opened.page) == []
    assert opened.sideways == 0
    assert opened.requests == []
    assert opened.complaints == []


def test_labels_of_the_charts_do_not_meet(pages: dict[str, str], open_page: OpenPage) -> None:
    """Proves that on a phone no two words of a chart cover each other, and none is cut off."""
    opened = open_page(pages["page"], size=PHONE)
    assert assert_words_apart(opened.page) == 2


@pytest.mark.parametrize("font", ["Georgia", "serif", "sans-serif", "monospace"])
def test_it_prints_on_one_sheet(font: str, pages: dict[str, str], open_page: OpenPage) -> None:
    """Proves that paper has the text and the charts, and that one sheet holds them in any font."""
    in_font = f"* {{ font-family: {font} !important; }}</style>"
    opened = open_page(pages["page"].replace("</style>", in_font, 1))
    printed = opened.printed()
    assert printed.startswith(b"%PDF")
    assert printed.count(b"/Type /Page\n") == 1
    opened.page.emulate_media(media="print")
    assert opened.page.locator("h1").is_visible()
    assert opened.page.locator("svg.chart").count() == 2
    assert opened.page.locator("svg.numline").count() == 2
    assert not opened.page.locator("summary").first.is_visible()


@pytest.mark.parametrize("page", ["page", "plain"])
def test_no_heading_is_left_alone(page: str, pages: dict[str, str], open_page: OpenPage) -> None:
    """Proves that in the two columns of paper every heading stands above what it heads."""
    shown = open_page(pages[page], size=PAPER).page
    shown.emulate_media(media="print")
    told = shown.evaluate(
        """() => [...document.querySelectorAll('main h2, main h3')].map(h => {
            const below = h.nextElementSibling.getClientRects()[0];
            return [h.textContent, h.getBoundingClientRect().top, below.top];
        })"""
    )
    assert len(told) > 5
    assert not [words for words, heading, below in told if below < heading]


def test_the_keyboard_reaches_the_numbers(pages: dict[str, str], open_page: OpenPage) -> None:
    """Proves that the table behind the first chart opens without a mouse."""
    opened = open_page(pages["page"], size=PHONE)
    for _ in range(2):  # past the way to the text
        opened.page.keyboard.press("Tab")
    opened.page.keyboard.press("Enter")
    assert opened.page.locator("details").first.locator("table").first.is_visible()


@pytest.mark.parametrize("page", ["hostile", "index"])
def test_hostile_text_does_nothing(page: str, pages: dict[str, str], open_page: OpenPage) -> None:
    """Proves that scripts, quotes, turned and endless text are shown and nothing else happens."""
    opened = open_page(pages[page], size=PHONE)
    opened.page.evaluate(OPEN_ALL)
    assert opened.page.evaluate("window.hacked") is None
    assert opened.page.locator("img").count() == 0
    assert opened.page.locator("script").count() == 0
    text = opened.page.inner_text("body")
    assert "<script>window.hacked = 1</script>" in text
    assert "49" not in opened.page.locator("h1, a bdi").first.inner_text()
    assert "\u202e" not in text
    assert "W" * 200 not in text
    assert opened.sideways == 0
    assert opened.requests == []
    assert opened.complaints == []
    assert axe_violations(opened.page) == []
