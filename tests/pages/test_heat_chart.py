"""The charts of pests' heat: one for each pest that matters now, with all stations, to scale."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pytest
from browser import PHONE, OpenPage, assert_words_apart
from hypothesis import given
from hypothesis import strategies as st
from season_builder import day
from week_builder import season_of

from stagecast.pages.heat_chart import (
    BOTTOM,
    LEFT,
    RIGHT,
    STYLES,
    TOP,
    PestPanel,
    heat_charts,
    heat_drawing,
    ticks,
)
from stagecast.pages.render import asset
from stagecast.visits.heat_lines import StationLine
from stagecast.visits.season_day import SeasonDay
from stagecast.words.heat import span_said

DAYS = [day(4, 20), day(6, 1), day(7, 6), day(8, 12), day(10, 1)]


@pytest.fixture(scope="module")
def seasons(demo: Path) -> dict[dt.date, SeasonDay]:
    """The demo season on days from planting to harvest."""
    return {as_of: SeasonDay.open(demo, as_of=as_of) for as_of in DAYS}


@pytest.fixture(scope="module")
def panels(demo: Path) -> tuple[PestPanel, ...]:
    """The charts of a day in July."""
    return heat_charts(season_of(demo))


@pytest.mark.parametrize("as_of", DAYS, ids=str)
def test_each_pest_that_heat_brings_has_one_chart_and_no_other_has(
    as_of: dt.date, seasons: dict[dt.date, SeasonDay]
) -> None:
    """Proves it against the windows: open, or opening within days, and timed by heat."""
    season = seasons[as_of]
    soon = as_of + dt.timedelta(days=int(season.knowledge.revisit.entering_days))
    about, over = set(), set()
    for window in (one for field in season.fields for one in field.windows):
        opens, closes = window.opens.p50, window.closes.p50
        if window.timing != "heat" or window.pest is None or opens is None:
            continue
        name = season.knowledge.pests[window.pest].name
        (over if closes is not None and closes < as_of else set()).add(name)
        if opens <= soon and (closes is None or closes >= as_of):
            about.add(name)
    shown = [panel.pest for panel in heat_charts(season)]
    assert sorted(shown) == sorted(about)
    assert not set(shown) & (over - about)


def test_all_stations_of_a_pest_are_on_its_chart(demo: Path, panels: tuple[PestPanel, ...]) -> None:
    """Proves that no station with such a field is left out, and that each is named and told."""
    season = season_of(demo)
    stations = {one.forecast.weather.season.station.station for one in season.fields}
    assert len(stations) == 3
    for panel in panels:
        assert set(panel.stations) <= stations
        assert {line.station for line in panel.chart.lines} == set(panel.stations)
        for station in panel.stations:
            assert f">{station}<" in heat_drawing(panel)
            assert any(text.startswith(f"{station}: By ") for text in panel.told)
    assert max(len(panel.stations) for panel in panels) == 3


def test_a_line_passes_through_the_numbers_of_its_table(panels: tuple[PestPanel, ...]) -> None:
    """Proves that every week's number of a station stands where the axes say, to the pixel."""
    checked = 0
    for panel in panels:
        chart = panel.chart
        weeks = {row[0]: row[1:] for row in panel.weeks}
        drawn = re.findall(r'<path d="M([^"]*)" class="heat-this', str(heat_drawing(panel)))
        for line, points in zip(chart.lines, drawn, strict=False):
            column = panel.stations.index(line.station)
            places = dict(tuple(map(float, p.split())) for p in points.split("L"))
            for on, heat in line.points:
                told = weeks.get(f"{on.day} {on:%b}", ())
                if told and told[column] != "-":
                    assert round(heat) == int(told[column].partition(" ")[0])
                    checked += 1
                share = (on - chart.first) / (chart.last - chart.first)
                y = places[round(LEFT + share * (RIGHT - LEFT), 1)]
                up = (BOTTOM - y) / (BOTTOM - TOP)
                assert up * (chart.top - chart.bottom) + chart.bottom == pytest.approx(
                    heat, abs=(chart.top - chart.bottom) / (BOTTOM - TOP) / 10
                )
    assert checked > 20


def test_everything_drawn_lies_on_the_chart(seasons: dict[dt.date, SeasonDay]) -> None:
    """Proves that curves, spread and events stay between foot and head, and hold today."""
    for season in seasons.values():
        for panel in heat_charts(season):
            chart = panel.chart
            heats = [heat for line in chart.lines for _, heat in line.points]
            heats += [heat for _, p in chart.past for heat in (p.p10, p.p50, p.p90)]
            assert chart.bottom <= min(heats) <= max(heats) < chart.top
            assert chart.first <= season.as_of <= chart.last
            for on, spread in chart.past:
                assert chart.first <= on <= chart.last
                assert spread.p10 <= spread.p50 <= spread.p90


def test_stations_differ_by_more_than_colour(panels: tuple[PestPanel, ...]) -> None:
    """Proves that each line has a pattern of its own, and that many stations stay readable."""
    panel = panels[0]
    rules = {line for line in asset("heat.css").splitlines() if ".line-" in line}
    assert len({rule.partition("{")[2] for rule in rules}) == len(STYLES)  # the first is whole
    line = panel.chart.lines[0]
    for count, named in ((2, 2), (4, 4), (9, 3)):
        lines = tuple(StationLine(f"S{i}", line.points) for i in range(count))
        drawing = str(heat_drawing(replace(panel, chart=replace(panel.chart, lines=lines))))
        classes = re.findall(r'class="heat-this ([\w-]+)"', drawing)
        assert len(classes) == count + named
        assert ("7 others" in drawing) == (count == 9)


def test_events_are_named_on_their_line_with_their_days(panels: tuple[PestPanel, ...]) -> None:
    """Proves that the chart says what comes and when, next to come first, as its table does."""
    panel = next(one for one in panels if one.pest == "corn earworm")
    drawing = str(heat_drawing(panel))
    worms = next(one for one in panel.chart.events if "size that counts" in one.event.title)
    days = [one.p50 for one in worms.dates if one.p50 is not None]
    assert "worms reach the size that counts" in drawing
    assert f">{span_said(min(days), max(days))}<" in drawing
    row = next(one for one in panel.events if "size that counts" in one.title)
    for told, on in zip(row.comes, days, strict=True):
        assert told.startswith(f"{on.day} {on:%b}")


@given(st.floats(1.0, 20_000.0))
def test_degrees_at_the_left_are_round_and_few(top: float) -> None:
    """From 0 up to the top, in steps of 1, 2 or 5 with noughts; three to six of them."""
    made = ticks(top)
    assert made[0] == 0
    assert made[-1] <= top
    assert 2 <= len(made) <= 6
    step = f"{made[1]:.0e}"
    assert step[0] in "125"
    assert float(step) == made[1]


@pytest.mark.browser
def test_words_of_the_charts_do_not_meet(
    seasons: dict[dt.date, SeasonDay], open_page: OpenPage
) -> None:
    """Proves that on a phone no two words of a chart cover each other, and none is cut off."""
    drawn = "".join(heat_drawing(p) for season in seasons.values() for p in heat_charts(season))
    style = asset("style.css") + asset("heat.css")
    opened = open_page(f"<!doctype html><title>t</title><style>{style}</style>{drawn}", size=PHONE)
    assert assert_words_apart(opened.page) > 5
