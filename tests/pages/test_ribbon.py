"""The ribbon draws a field's dates where they lie, and what was found by its mark."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape
from itertools import accumulate, combinations
from pathlib import Path

import log_builder as entries
import pytest
from hypothesis import given
from hypothesis import strategies as st
from week_builder import MONDAY, season_of

from stagecast.forecast.ranges import DateRange
from stagecast.pages.ribbon import (
    BAND,
    CROP,
    HEIGHT,
    LEFT,
    LETTER,
    NAMES,
    PHASES,
    RIGHT,
    WIDTH,
    Phase,
    Ribbon,
    SeasonDays,
    Stretch,
    axis_picture,
    field_picture,
    leaning,
    mark_of,
    merged,
    ribbon_of,
    row_picture,
    season_days,
    shared_marks,
)
from stagecast.visits.season_day import SeasonDay

FIRST = dt.date(2026, 4, 1)
DAYS = SeasonDays(FIRST, dt.date(2026, 10, 31))


@pytest.fixture(scope="module")
def season(demo: Path) -> SeasonDay:
    """Eleven fields of the demo season."""
    return season_of(demo)


def _days_after(count: int | None) -> dt.date | None:
    return None if count is None else FIRST + dt.timedelta(days=count)


@st.composite
def ranges(draw: st.DrawFn) -> DateRange:
    """Any range of dates, the later ones perhaps not this season."""
    days: list[int | None] = sorted(draw(st.lists(st.integers(0, 200), min_size=3, max_size=3)))
    never = draw(st.integers(0, 3))
    days[3 - never :] = [None] * never
    return DateRange(*map(_days_after, days))


@st.composite
def ribbons(draw: st.DrawFn) -> Ribbon:
    """Ribbons of any dates in order, some stages perhaps not this season, with any visits."""
    middles = sorted(draw(st.lists(st.integers(5, 190), min_size=7, max_size=7)))
    wide = draw(st.integers(0, 12))
    dates = [DateRange(*(_days_after(max(m + d, 0)) for d in (-wide, 0, wide))) for m in middles]
    come = draw(st.integers(0, 7))
    never = DateRange(None, None, None)
    dates = [*dates[:come], *[never] * (7 - come)]
    phases = tuple(
        Phase(stage, Stretch(dates[i], dates[i + 1]))
        for i, stage in enumerate(PHASES)
        if dates[i].p10 is not None
    )
    as_of = FIRST + dt.timedelta(days=draw(st.integers(0, 210)))
    marks = st.sampled_from(["above", "near", "below", "seen"])
    seen = draw(st.lists(st.tuples(st.integers(0, 210), marks), max_size=12))
    visits = tuple((FIRST + dt.timedelta(days=d), mark) for d, mark in sorted(seen))
    return Ribbon(as_of, FIRST, phases, dates[6], (Stretch(dates[0], dates[3]),), (), visits, None)


def _points(drawn: str) -> list[tuple[float, float]]:
    """The points of a line, written in full, or each after the first from the one before."""
    if "L" in drawn:
        return [(float(x), float(y)) for x, y in (p.split() for p in drawn.strip("MZ").split("L"))]
    start, _, steps = drawn.strip("Mz").partition("l")
    numbers = list(map(float, (*start.split(), *steps.split())))
    xs, ys = accumulate(numbers[::2]), accumulate(numbers[1::2])
    return list(zip(xs, ys, strict=True))


# --- shapes ---------------------------------------------------------------------------------


@given(ranges(), ranges())
def test_an_edge_stands_on_its_dates_from_early_at_the_top_to_late_at_the_bottom(
    opens: DateRange, closes: DateRange
) -> None:
    """Top, middle and bottom of an edge are the tenth, middle and ninetieth dates; never: last."""
    points = leaning(Stretch(opens, closes), DAYS, BAND, fades=False)
    left, right = points[:3], list(reversed(points[3:]))
    for edge, dates in ((left, opens), (right, closes)):
        expected = [
            DAYS.count if day is None else (day - FIRST).days
            for day in (dates.p10, dates.p50, dates.p90)
        ]
        assert [x for x, _ in edge] == expected
        assert [y for _, y in edge] == [BAND[0], sum(BAND) / 2, BAND[1]]


@given(ranges(), ranges())
def test_a_window_ends_at_the_height_of_the_seasons_that_have_it(
    opens: DateRange, closes: DateRange
) -> None:
    """Of a window that opens in half of the seasons only, the lower half is not drawn."""
    points = leaning(Stretch(opens, closes), DAYS, CROP, fades=True)
    known = [day for day in (opens.p10, opens.p50, opens.p90) if day is not None]
    assert len(points) == 2 * len(known)
    assert all(CROP[0] <= y <= CROP[1] for _, y in points)


def _edges(drawn: str) -> list[list[float]]:
    """Where the edges of a row's phases stand at the top, in the middle and at the bottom."""
    found = re.findall(r'<path d="M([-0-9.]+) [0-9.]+l([-0-9.]+) [56] ([-0-9.]+) [56]H', drawn)
    return [[float(a), float(a) + float(b), float(a) + float(b) + float(c)] for a, b, c in found]


def test_a_row_has_every_stage_of_the_forecast(season: SeasonDay) -> None:
    """Each phase begins on the early, middle and late dates of its stage, in their order."""
    days = season_days(season)
    for plan in season.fields:
        stages = plan.forecast.stages
        comes = [stages[s] for s in (*PHASES, "R8") if stages[s].p10 is not None]
        expected = [
            [days.count if day is None else (day - days.first).days
             for day in (dates.p10, dates.p50, dates.p90)]
            for dates in comes
        ]  # fmt: skip
        assert _edges(str(row_picture(ribbon_of(plan), days))) == expected


@given(st.lists(st.tuples(st.integers(0, 150), st.integers(0, 40)), min_size=1, max_size=8))
def test_windows_that_meet_are_one_and_no_day_is_lost(spans: list[tuple[int, int]]) -> None:
    """What is drawn covers the days of all windows, and no others, at every height."""
    certain = [
        Stretch(DateRange(*[_days_after(first)] * 3), DateRange(*[_days_after(first + long)] * 3))
        for first, long in spans
    ]
    covered = {day for first, long in spans for day in range(first, first + long + 1)}
    drawn = merged(certain)
    assert len(drawn) <= len(certain)
    shown: set[int] = set()
    for one in drawn:
        assert one.opens.p50 is not None
        assert one.closes.p50 is not None
        shown |= set(range((one.opens.p50 - FIRST).days, (one.closes.p50 - FIRST).days + 1))
    assert shown == covered


# --- visits and today -----------------------------------------------------------------------


def test_visits_are_marked_on_their_days(season: SeasonDay) -> None:
    """A mark for each day of a visit up to today, and a hollow one for the next."""
    days = season_days(season)
    dates = [v for v in season.loaded.season.visits if v.date <= MONDAY]
    assert dates
    drawn = {p.field_id: str(row_picture(ribbon_of(p, walk=MONDAY), days)) for p in season.fields}
    for visit in dates:
        assert f'href="#rv" x="{days.percent(visit.date)}"' in drawn[visit.field_id]
    for one in drawn.values():
        assert f'href="#rw" x="{days.percent(MONDAY)}"' in one


@pytest.mark.parametrize(
    ("counts", "mark"),
    [((19, 21, 18, 20), "above"), ((8, 9, 7, 8), "near"), ((0, 1, 0, 1), "below")],
)
def test_a_count_is_marked_by_its_answer(demo: Path, counts: tuple[int, ...], mark: str) -> None:
    """Stink bugs over, near and below 9 per 25 sweeps: three shapes, as on the number line."""
    counted = entries.visit(
        MONDAY, entries.sets_of("stink-bugs", counts), field_id="F05", stage="R3"
    )
    plan = SeasonDay.open(demo, as_of=MONDAY, log=entries.log_of(counted)).field("F05")
    assert mark_of(plan, MONDAY) == mark
    assert f'class="c-{mark}"' in str(field_picture(ribbon_of(plan)))


def test_today_and_the_months_stand_where_they_begin(season: SeasonDay) -> None:
    """The line of today lies on its day in every row, and its word above them."""
    days = season_days(season)
    assert days.first.day == 1
    assert (days.last + dt.timedelta(days=1)).day == 1
    shared = str(shared_marks(days, MONDAY))
    place = 100 * (MONDAY - days.first).days / days.count
    found = re.search(r'<line x1="([0-9.]+)%"[^>]*class="today"', shared)
    assert found is not None
    assert float(found[1]) == pytest.approx(place, abs=0.06)
    axis = str(axis_picture(days, MONDAY))
    assert "today, 6 Jul" in axis
    assert [m for m in re.findall(r">(\w{3})<", axis)] == [f"{m:%b}" for m in days.months()]


# --- one field ------------------------------------------------------------------------------


@given(ribbons())
def test_a_field_by_itself_stays_in_its_box_and_its_words_do_not_meet(ribbon: Ribbon) -> None:
    """Whatever the dates: everything lies on the drawing, and no name covers another."""
    drawn = str(field_picture(ribbon))
    placed = re.sub(r"<g transform.*?</g>", "", drawn)
    for points in re.findall(r'd="(M[^"]*)"', placed):
        for area in filter(None, points.split("M")):
            for x, y in _points(area):
                assert 0 <= x <= WIDTH
                assert 0 <= y <= HEIGHT
    for x, y in re.findall(r'transform="translate\(([0-9.]+) ([0-9.]+)\)"', drawn):
        assert LEFT <= float(x) <= RIGHT
        assert 0 <= float(y) <= HEIGHT
    rows: dict[str, list[tuple[float, float]]] = {}
    named = r'<text x="([0-9.]+)" y="([0-9.]+)" class="(?:words|today-text)">([^<]*)<'
    for x, y, words in re.findall(named, drawn):
        half = LETTER * len(unescape(words)) / 2
        assert float(x) - half >= LEFT - 0.1
        assert float(x) + half <= RIGHT + 0.1
        rows.setdefault(y, []).append((float(x) - half, float(x) + half))
    for spans in rows.values():
        for one, other in combinations(sorted(spans), 2):
            assert one[1] <= other[0] + 0.1


def test_a_field_by_itself_names_its_stages_with_their_dates(season: SeasonDay) -> None:
    """Each stage stands there by what it brings and its middle date, and no code alone."""
    for plan in season.fields:
        drawn = str(field_picture(ribbon_of(plan)))
        for stage, words in NAMES.items():
            day = plan.forecast.stages[stage].p50
            assert day is not None
            assert f">{words} {day:%b} {day.day}<" in drawn
        assert not re.search(r">R[1-8]\b", drawn)
