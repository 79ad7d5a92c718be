"""The sheet of paper for a day: stops in order, a box for each set, one page."""

from __future__ import annotations

import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

import pytest
from browser import OpenPage, axe_violations, chromium, open_page
from commands import run_command
from log_builder import log_of, sets_of, visit
from overview_builder import many, routed
from week_builder import MONDAY, season_of

from stagecast.pages.day_paper import MOST_PESTS, day_paper, paper_html
from stagecast.visits.look_for import PestSign
from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import season_route

__all__ = ["chromium", "open_page"]


@pytest.fixture(scope="module")
def day(demo: Path) -> ScoutDay:
    """The first day of the demo's route with stops."""
    return next(day for day in season_route(season_of(demo)).days if day.stops)


def test_stops_stand_in_order_with_a_box_for_each_set(demo: Path, day: ScoutDay) -> None:
    """Names and times are those of the route; each pest has as many boxes as there are sets."""
    told = day_paper(day, season_of(demo).loaded)
    assert [stop.name.split()[0] for stop in told.stops] == [stop.field_id for stop in day.stops]
    assert [stop.at for stop in told.stops] == [f"{s.arrive:%-H:%M}" for s in day.stops]
    for paper, stop in zip(told.stops, day.stops, strict=True):
        pests = [one.pest.name for one in stop.look_for if isinstance(one, PestSign)]
        named = [row.name for row in paper.rows if row.name]
        assert named[: len(pests)] == pests[:MOST_PESTS]
        assert paper.rows[-1].name == ""
        assert {row.boxes for row in paper.rows} == {stop.sets}


def test_the_stage_to_expect_has_its_nodes_as_the_plan_says_them(demo: Path, day: ScoutDay) -> None:
    """Where the plan says V9, the paper does not say V4, which stands for all nodes from 4 on."""
    season = season_of(demo)
    found = next(one for one in season_route(season).days if one.stops)
    told = {
        stop.field_id: (paper.stage, stop.plan.forecast.stage_now)
        for paper, stop in zip(day_paper(found, season.loaded).stops, found.stops, strict=True)
    }
    many_nodes = {name: both for name, both in told.items() if re.match(r"V([5-9]|1\d)", both[1])}
    assert many_nodes
    assert all(said == now or said.startswith("R") for said, now in many_nodes.values()), told


def test_a_field_over_a_threshold_has_its_mark(demo: Path) -> None:
    """Of all stops of the week only the one that waits for a decision says so, with the mark."""
    over = visit(MONDAY, sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05", stage="R3")
    season = SeasonDay.open(demo, as_of=MONDAY, log=log_of(over))
    days = [day for day in season_route(season).days if day.stops]
    papers = [day_paper(day, season.loaded) for day in days]
    decided = [stop.name.split()[0] for paper in papers for stop in paper.stops if stop.decide]
    assert decided == ["F05"]
    pages = "".join(paper_html(day, season.loaded) for day in days)
    assert pages.count("Over a threshold: decide.") == pages.count('class="above-mark"') == 1


def test_a_threshold_stands_beside_its_pest(demo: Path, day: ScoutDay) -> None:
    """The number is one of those that the route's stop has for the pest."""
    told = day_paper(day, season_of(demo).loaded)
    seen = 0
    for paper, stop in zip(told.stops, day.stops, strict=True):
        signs = {one.pest.name: one for one in stop.look_for if isinstance(one, PestSign)}
        for row in paper.rows:
            if row.threshold:
                values = [one.threshold.value for one in signs[row.name].thresholds]
                number = float(re.match(r"[0-9.]+", row.threshold)[0])  # type: ignore[index]
                per_sweep = [one.threshold.value * one.usual_set / one.threshold.per
                             for one in signs[row.name].thresholds]  # fmt: skip
                assert any(number == pytest.approx(v, rel=0.02) for v in (*values, *per_sweep))
                seen += 1
    assert seen > 0


def test_pack_writes_paper_where_it_is_asked_for(demo: Path, day: ScoutDay, tmp_path: Path) -> None:
    """The page has every stop and a box for each set, and no script; it takes no sheet's place."""
    page = tmp_path / "monday.html"
    asked = ("--day", day.date.isoformat(), "--as-of", MONDAY.isoformat(), "-o", page)
    for _ in range(2):
        ran = run_command("pack", demo, "--paper", *asked)
        assert (ran.code, ran.err) == (0, "")
    made = page.read_text("utf-8")
    papers = day_paper(day, season_of(demo).loaded).stops
    boxes = sum(s.sets * len(p.rows) for s, p in zip(day.stops, papers, strict=True))
    assert made.count("<td></td>") == boxes
    assert "<script" not in made
    assert all(stop.field_id in unescape(made) for stop in day.stops)
    assert run_command("pack", demo, *asked).code == 2


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_day_of_eight_stops_is_one_page(demo: Path, open_page: OpenPage, paper: str) -> None:
    """Eight stops with all their boxes fit on one sheet; axe finds no fault on the screen."""
    if shutil.which("pdfinfo") is None:
        pytest.skip("no pdfinfo on this computer")
    season = season_of(demo)
    found = routed(many(season, 40), a_day=8).days[0]
    assert len(found.stops) == 8
    opened = open_page(paper_html(found, season.loaded), size=(320, 640))
    assert opened.sideways <= 0
    assert axe_violations(opened.page) == []
    made = opened.page.pdf(format=paper, prefer_css_page_size=True)
    told = subprocess.run(["pdfinfo", "-"], input=made, capture_output=True, check=True).stdout
    assert re.search(rb"^Pages: +1$", told, re.MULTILINE)
