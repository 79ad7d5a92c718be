"""The season's page says what the plan says, each thing in its place."""

from __future__ import annotations

import datetime as dt
import math
import re
from html import unescape
from itertools import pairwise
from pathlib import Path

import log_builder as entries
import pytest
from broken import refusing_season
from changed import changed
from commands import run_command
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from overview_builder import html_of, many, page_of
from season_builder import FieldLine, StationFile, build_season, day
from week_builder import HOSTILE, MONDAY, field_ids, full_week, renamed, season_of

from stagecast.pages.field_map import Crowd, around, place_label, projection, scale_bar
from stagecast.pages.overview import Overview, overview, overview_html
from stagecast.pages.timeline import DAY_PX, LETTER_PX, TIMED, row_picture
from stagecast.screens.screen import range_text
from stagecast.season.tables.travel import KM_PER_MILE
from stagecast.visits.season_day import SeasonDay
from stagecast.weather.nearest import great_circle_km
from stagecast.week.problem import WeekRequest
from stagecast.week.week import fields_by_need, route_week

AS_OF = ("--as-of", "2026-07-06")
MOST_BYTES = 3_000_000


@pytest.fixture(scope="module")
def season(demo: Path) -> SeasonDay:
    """Eleven fields of the demo season."""
    return season_of(demo)


@pytest.fixture(scope="module")
def page(demo: Path, season: SeasonDay) -> Overview:
    """Their overview."""
    return page_of(season)


@pytest.fixture(scope="module")
def html(page: Overview) -> str:
    """Their page."""
    return overview_html(page)


# --- fields ---------------------------------------------------------------------------------


def test_every_field_is_in_every_part_by_need(season: SeasonDay, page: Overview, html: str) -> None:
    """Timeline, windows, map and table hold all fields; lists run in the order of the plan."""
    ids = [plan.forecast.field.field_id for plan in fields_by_need(season)]
    assert [row.field_id for row in page.rows] == ids
    numbers = [str(i + 1) for i in range(len(ids))]
    assert re.findall(r'<li class="row" data-n="(\d+)"', html) == numbers
    assert re.findall(r'<tbody data-n="(\d+)"', html) == numbers
    assert re.findall(r'<tr id="f(\d+)"', html) == numbers
    assert sorted(re.findall(r'<a href="#f(\d+)" aria-label', html), key=int) == numbers


def test_the_need_of_a_field_follows_from_its_due_day(season: SeasonDay, page: Overview) -> None:
    """Overdue, today, within a week, later: by the working day on which it is due."""
    words = {"overdue": range(-400, 0), "today": range(1), "week": range(1, 7)}
    for row, plan in zip(page.rows, fields_by_need(season), strict=True):
        if plan.due_on is not None and row.need in words:
            assert (plan.due_on - MONDAY).days in words[row.need]
    assert sum(page.needs.values()) == len(season.fields)
    assert {"overdue", "today", "week"} & set(page.needs)


def test_a_field_tells_the_same_in_the_table_as_the_plan(season: SeasonDay, page: Overview) -> None:
    """Stage, the day of the route, last visit and pests are those of the plan."""
    week = full_week(season)
    for row, plan in zip(page.rows, fields_by_need(season), strict=True):
        assert row.stage.startswith(plan.forecast.stage_now)
        assert row.day == week.walk_of(plan).day
        assert row.last_visit == plan.visit.last_visit
        assert plan.forecast.field.field_name in row.name


def test_a_field_above_its_threshold_is_told_first(demo: Path) -> None:
    """It stands on top with its count, and in the table; a treatment takes it away."""
    counted = entries.visit(
        MONDAY, entries.sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05", stage="R3"
    )
    treated = entries.treatment(entries.at(7, 6, 16), 4, field_id="F05")
    logs = entries.log_of(counted), entries.log_of(counted, treated)
    for log, decided in zip(logs, (True, False), strict=True):
        plan = SeasonDay.open(demo, as_of=MONDAY, log=log)
        week = route_week(plan, WeekRequest(first_day=MONDAY, days=1))
        told = overview(week)
        row = next(row for row in told.rows if row.field_id == "F05")
        ending = "above (6 Jul)" if decided else "treated (6 Jul)"
        assert row.found.startswith("stink bugs 19.5 ")
        assert row.found.endswith(ending)
        assert [one.number for one in told.decide] == ([row.number] if decided else [])
        assert (row.need == "above") == decided
        assert (row.number == 1) == decided
        made = overview_html(told)
        assert ("Decide first" in made) == decided
        if decided:
            assert made.index("Decide first") < made.index('id="table"')
            assert "stink bugs 19.5 of 9 per 25 sweeps (15.1-26.8), over 95%, above (6 Jul)" in made


def test_the_table_of_fields_comes_before_timeline_and_map(html: str) -> None:
    """What a scout asks first is seen first: field, stage, need, day, finding."""
    places = [html.index(f'<h2 id="{part}"') for part in ("fields", "timeline", "map", "route")]
    assert places == sorted(places)
    heads = re.findall(r'<th scope="col">([^<]*)</th>', html.partition('id="table"')[2])
    assert heads[:6] == ["no.", "field", "stage", "need", "walk", "last finding"]


# --- timeline -------------------------------------------------------------------------------


def test_bands_begin_and_end_on_their_dates(season: SeasonDay, page: Overview) -> None:
    """Outer and inner edges of every band lie where the tenth, middle and ninetieth dates do."""
    first = page.days.first
    seen = 0

    def x(date: dt.date | None) -> int:
        return page.days.width if date is None else (date - first).days * DAY_PX

    for row, plan in zip(page.rows, fields_by_need(season), strict=True):
        drawn = str(row_picture(row.timeline, page.days))
        groups = re.findall(r'<g class="[cp]">(.*?)</g>', drawn)
        shown = [w for w in plan.windows if w.timing in TIMED and w.opens.p10 is not None]
        expected = set()
        for window in shown:
            edges = [(x(window.opens.p10), x(window.closes.p90))]
            if window.opens.p50 is not None:
                edges.append((x(window.opens.p50), x(window.closes.p50)))
            expected.add((window.short, tuple(edge for edge in edges if edge[0] < edge[1])))
        found = set()
        for group in groups:
            named = re.search(r"<text[^>]*>([^<]*)</text>", group)
            assert named is not None
            boxes = [(int(a), int(a) + int(b)) for a, b in re.findall(r"M(\d+) \d+h(\d+)", group)]
            found.add((unescape(named[1]), tuple(boxes)))
        assert found == expected
        assert len(groups) == len(shown)
        seen += len(shown)
    assert seen > len(page.rows)


def test_bands_and_their_names_never_meet(page: Overview) -> None:
    """In one lane of a row, each band with its name ends before the next begins."""
    for row in page.rows:
        taken: dict[tuple[bool, int], list[tuple[int, int]]] = {}
        for band in row.timeline.bands:
            named = LETTER_PX * len(band.window.short)
            left, right = band.outer
            if band.label < 0:
                left -= named
            else:
                right = band.label + named
            taken.setdefault((band.of_crop, band.lane), []).append((left, right))
        for spans in taken.values():
            spans.sort()
            assert all(before[1] <= after[0] for before, after in pairwise(spans))


def test_the_days_across_are_whole_months_and_hold_today(page: Overview, html: str) -> None:
    """The first day is the first of a month, the last day its last; today's word is there."""
    assert page.days.first.day == 1
    assert (page.days.last + dt.timedelta(days=1)).day == 1
    assert page.days.first <= MONDAY <= page.days.last
    assert "today, 6 Jul" in html
    assert f'data-today="{(MONDAY - page.days.first).days * DAY_PX}"' in html


def test_visits_are_marked_on_their_days(season: SeasonDay, page: Overview) -> None:
    """A mark for each visit up to the day, and one for the day on which the next is due."""
    visits = [v for v in season.loaded.season.visits if v.date <= MONDAY]
    assert visits
    drawn = {r.field_id: str(row_picture(r.timeline, page.days)) for r in page.rows}
    for visit in visits:
        x = (visit.date - page.days.first).days * DAY_PX
        assert f'href="#t-visit" x="{x}"' in drawn[visit.field_id]
    assert sum(text.count("#t-visit") for text in drawn.values()) == len(visits)


def test_the_timeline_and_its_table_hold_the_same_numbers(page: Overview, html: str) -> None:
    """Below the chart, every band has a row with its ranges in words."""
    table = html.partition('<table class="windows">')[2].partition("</table>")[0]
    rows = re.findall(r"<tr><td>(.*?)<td>(.*?)<td>(.*?)<td>", table)
    expected = [
        (b.window.title, range_text(b.window.opens), range_text(b.window.closes))
        for row in page.rows
        for b in row.timeline.bands
    ]
    assert [tuple(unescape(cell) for cell in row) for row in rows] == expected


# --- maps -----------------------------------------------------------------------------------

near = st.tuples(st.floats(35.0, 36.5), st.floats(-90.0, -88.0))


@given(a=near, b=near)
def test_the_map_keeps_distances(a: tuple[float, float], b: tuple[float, float]) -> None:
    """Between two places, pixels are kilometres along the sphere within one in a hundred."""
    truth = float(great_circle_km(*a, *b))
    assume(truth > 1.0)
    shown = projection([a, b], width=2000, tallest=2000, lowest=100, margin=20)
    drawn = math.dist(shown(a), shown(b)) / shown.px_per_km
    assert drawn == pytest.approx(truth, rel=0.01, abs=1.0 / shown.px_per_km)
    assert shown.holds(a)
    assert shown.holds(b)


@given(far=st.floats(0.001, 3.0), units=st.sampled_from(["us", "metric"]))
def test_the_scale_bar_is_as_long_as_it_says(far: float, units: str) -> None:
    """Its pixels are the round distance in its words, and it takes a quarter of the map at most."""
    places = [(36.0, -89.0), (36.0 + far, -89.0)]
    shown = projection(places, width=340, tallest=260, lowest=170, margin=30)
    length, words = scale_bar(shown, units)
    number, unit = words.split()
    km = float(number) * (KM_PER_MILE if unit == "mi" else 1.0)
    assert length == pytest.approx(km * shown.px_per_km, abs=0.26)
    assert 0 < length <= 85.5
    assert unit == {"us": "mi", "metric": "km"}[units]


@settings(max_examples=40)
@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 300)), min_size=2, max_size=60))
def test_names_on_a_map_never_pile_up(places: list[tuple[float, float]]) -> None:
    """No label covers another or a mark, and none leaves the map."""
    crowd, half = Crowd(), 4.0
    for at in places:
        crowd.add(around(at, half))
    found = [
        (label, str(i))
        for i, at in enumerate(places)
        if (label := place_label(crowd, at, str(i), (300, 300), reach=(6, 12))) is not None
    ]
    wide = [(x - 3 * len(w), y - 5, x + 3 * len(w), y + 5) for (x, y), w in found]
    marks = [around(at, half) for at in places]
    for i, box in enumerate(wide):
        assert box[0] >= 0
        assert box[2] <= 300
        for other in (*wide[:i], *marks):
            apart = box[2] <= other[0] or other[2] <= box[0]
            assert apart or box[3] <= other[1] or other[3] <= box[1]


def test_the_route_is_told_day_by_day(season: SeasonDay, page: Overview, html: str) -> None:
    """Each day with stops has its map and list, in the order of the stops; left out is said."""
    assert [day.title for day in page.route] == [
        "Mon 6 Jul, Ann",
        "Mon 6 Jul, Bo",
        "Tue 7 Jul, Ann",
    ]
    ids = field_ids(season)
    told = [stop.words.split()[1].rstrip(",") for stop in page.route[0].stops]
    assert told == ids[:3]
    assert html.count('aria-label="Route of') == 3
    assert page.route_told.endswith(
        "and leaves out 2 fields that are due; the table of fields says why."
    )
    by_id = {row.field_id: row.route for row in page.rows}
    assert by_id[ids[1]] == "Mon 6 Jul, stop 2, Ann"
    assert by_id[ids[-1]].startswith("left out: ")


# --- seasons of all kinds -------------------------------------------------------------------


def test_a_page_of_four_hundred_fields_is_under_three_megabytes(
    demo: Path, season: SeasonDay
) -> None:
    """It holds all of them, and fits."""
    made = html_of(many(season, 400))
    assert made.count('<li class="row"') == 400
    assert len(made.encode()) < MOST_BYTES


def test_the_same_season_gives_the_same_bytes(page: Overview, html: str) -> None:
    """Nothing on the page depends on when it was made."""
    assert overview_html(page) == html


def test_hostile_names_stay_text(season: SeasonDay) -> None:
    """Names with tags, quotes and control characters are escaped or made visible, everywhere."""
    ids = field_ids(season)
    names = dict(zip(ids, HOSTILE.values(), strict=False))
    hostile = renamed(season, names)
    made = html_of(changed(hostile, by_need=hostile.fields))
    assert made.count("<script") == 1
    assert "alert(1)" in made
    assert "\x1b" not in made
    assert "\u202e" not in made
    assert "\x00" not in made


def test_a_season_without_fields_says_what_to_do(tmp_path: Path) -> None:
    """No chart is drawn and nothing fails."""
    folder = build_season(tmp_path / "season", fields=(), stations=())
    target = tmp_path / "page.html"
    ran = run_command("overview", folder, "-o", target, *AS_OF)
    assert (ran.code, ran.err) == (0, "")
    made = target.read_text("utf-8")
    assert "There is no field here yet" in made
    assert "<table" not in made


def test_one_field_makes_a_page(tmp_path: Path) -> None:
    """A field at home, where the map has no extent: it is on every part of the page."""
    station = StationFile(first=dt.date(2024, 1, 1), last=day(7, 6))
    folder = build_season(tmp_path / "season", fields=(FieldLine("Only"),), stations=[station])
    target = tmp_path / "page.html"
    ran = run_command("overview", folder, "-o", target, *AS_OF)
    assert (ran.code, ran.err) == (0, "")
    made = target.read_text("utf-8")
    assert made.count('data-n="1"') == 4
    assert not re.search(r"\bnan\b|\binf\b", made.partition("<main")[2].partition("<script")[0])


def test_refused_fields_are_named_and_the_rest_is_written(tmp_path: Path) -> None:
    """The page says which fields have no forecast; the command ends as a plan would."""
    folder = refusing_season(tmp_path, chosen={"F2": "S9", "F3": "S9"})
    target = tmp_path / "page.html"
    ran = run_command("overview", folder, "-o", target, "--as-of", "2026-06-20")
    assert ran.code == 2
    assert "field F2" in ran.err
    made = target.read_text("utf-8")
    assert "Without a forecast" in made
    assert "(field F2)" in made
    assert "there is no such station" in made


def test_what_is_not_ours_is_not_written_over(demo: Path, tmp_path: Path) -> None:
    """A page of ours is made anew; any other file stays as it is."""
    target = tmp_path / "page.html"
    target.write_text("<p>mine</p>", encoding="utf-8")
    ran = run_command("overview", demo, "-o", target, *AS_OF, "--days", "1")
    assert ran.code == 2
    assert target.read_text("utf-8") == "<p>mine</p>"
    target.unlink()
    for _ in range(2):
        assert run_command("overview", demo, "-o", target, *AS_OF, "--days", "1").code == 0


def test_days_out_of_range_are_refused(demo: Path, tmp_path: Path) -> None:
    """No route of no days, nor of a month."""
    for days in ("0", "15"):
        ran = run_command("overview", demo, "-o", tmp_path / "p.html", *AS_OF, "--days", days)
        assert ran.code == 2
        assert "--days" in ran.err
