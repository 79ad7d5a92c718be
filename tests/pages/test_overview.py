"""The season's page says what the plan says, each thing in its place."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import shutil
from html import unescape
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
from stagecast.pages.needs import NEEDS
from stagecast.pages.overview import Overview, overview, overview_html
from stagecast.pages.ribbon import shown_windows
from stagecast.pages.week_grid import small_maps
from stagecast.screens.screen import range_text
from stagecast.season.tables.travel import KM_PER_MILE
from stagecast.visits.season_day import SeasonDay
from stagecast.weather.nearest import great_circle_km
from stagecast.week.problem import WeekRequest
from stagecast.week.week import fields_by_need, route_week

AS_OF = ("--as-of", "2026-07-06")
MOST_BYTES = 1_035_000
"""Half of the 2.07 MB that the page of 400 fields took before there were ribbons."""


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
    """Ribbons, both maps and the table hold all fields; lists run in the order of the plan."""
    ids = [plan.forecast.field.field_id for plan in fields_by_need(season)]
    assert [row.field_id for row in page.rows] == ids
    numbers = [str(i + 1) for i in range(len(ids))]
    assert re.findall(r"<details id=f(\d+)>", html) == numbers
    assert re.findall(r'<th scope=row><a href="#f(\d+)">', html) == numbers
    for size in ("wide", "narrow"):
        drawn = html.partition(f'<div class="{size}">')[2].partition("</div>")[0]
        assert sorted(re.findall(r'href="#f(\d+)"', drawn), key=int) == numbers
        assert {unescape(name) for name in re.findall(r">(F\d+)</text>", drawn)} == set(ids)


def test_nobody_reads_the_place_in_the_list(page: Overview, html: str) -> None:
    """Fields are called by their ids: no rank stands beside an id or a stop."""
    body = html.partition("<main")[2].partition("<script")[0]
    assert 'scope="col">no.' not in body
    for row in page.rows:
        assert f"{row.number} {row.field_id}" not in body
        assert f">{row.number}<" not in body.partition('id="ribbons"')[2].partition('id="heat"')[0]


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
        assert row.stage == plan.forecast.stage_now
        assert row.said.startswith(plan.forecast.stage_now)
        assert row.day == week.walk_of(plan).day
        assert row.last_visit == plan.visit.last_visit
        assert row.name == plan.forecast.field.field_name


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
        first = [
            one.number for group in told.first if group.need == "above" for one in group.fields
        ]
        assert first == ([row.number] if decided else [])
        assert (row.need == "above") == decided
        assert (row.number == 1) == decided
        made = overview_html(told)
        assert ("<b>Over a threshold: decide</b>" in made) == decided
        if decided:
            assert made.index("Over a threshold: decide</b>") < made.index('id="route"')
            assert "stink bugs 19.5 of 9 per 25 sweeps (15.1-26.8), over 95%, above (6 Jul)" in made


def test_what_a_scout_asks_first_stands_first(html: str) -> None:
    """What to do first, then the week, the ribbons, the map, the table, and heat at the end."""
    parts = ("first", "route", "season", "map", "fields", "heat")
    places = [html.index(f'<h2 id="{part}"') for part in parts]
    assert places == sorted(places)
    heads = re.findall(r'<th scope="col"[^>]*>([^<]*)</th>', html.partition('id="table"')[2])
    assert heads[:6] == ["field", "need", "walk", "last finding", "stage", "look for"]


def test_needs_are_counted_in_words(page: Overview, html: str) -> None:
    """On top stands how many fields there are of each need, with its mark; they add up."""
    counted = re.findall(r"</svg> (\d+) ([a-z :]+)</li>", html.partition("</ul>")[0])
    assert [(words, int(count)) for count, words in counted] == [
        (NEEDS[need], count) for need, count in page.needs.items()
    ]
    assert sum(int(count) for count, _ in counted) == len(page.rows)


def test_overdue_fields_are_named_by_delay_and_the_rest_counted(
    demo: Path, season: SeasonDay
) -> None:
    """The three longest overdue are named, the longest first, and the others are counted."""
    for told in (page_of(season), page_of(many(season, 60))):
        late = [row for row in told.rows if row.need == "overdue"]
        group = next(group for group in told.first if group.need == "overdue")
        assert len(group.fields) + group.more == len(late)
        assert len(group.fields) == min(3, len(late))
        by_number = {row.number: row for row in told.rows}
        named = [by_number[one.number].late for one in group.fields]
        assert named == sorted(named, reverse=True)
        left = {row.number for row in late} - {one.number for one in group.fields}
        assert min(named) >= max((by_number[one].late for one in left), default=0)


# --- lanes ----------------------------------------------------------------------------------


def test_a_lane_tells_the_windows_of_its_field(season: SeasonDay, page: Overview) -> None:
    """Open windows and those of the next weeks with their dates, later ones by name, none over."""
    told = 0
    for row, plan in zip(page.rows, fields_by_need(season), strict=True):
        states = [(w, w.state(MONDAY, entering_days=21)) for w in shown_windows(plan)]
        soon = [w for w, state in states if state in ("open", "coming")]
        assert len(row.windows) == len(soon)
        for lane, window in zip(row.windows, soon, strict=True):
            assert lane.title.endswith(window.title)
            assert lane.when.endswith(range_text(window.closes))
            opened = window.opens.p50 is not None and window.opens.p50 <= MONDAY
            assert lane.when.startswith("open to" if opened else range_text(window.opens))
        later = [w.short for w, state in states if state == "later"]
        assert [text.rpartition(" ")[0].rpartition(" ")[0] for text in row.later] == later
        told += len(soon) + len(later)
    assert told > len(page.rows)


def test_a_lane_leads_a_phone_to_its_field(season: SeasonDay, html: str) -> None:
    """A link says latitude and longitude, as RFC 5870 (2010) writes a place on earth."""
    ways = re.findall(r'href="geo:(-?\d+\.\d+),(-?\d+\.\d+)">Way there', html)
    places = [(p.forecast.field.latitude, p.forecast.field.longitude)
              for p in fields_by_need(season)]  # fmt: skip
    assert len(ways) == len(places)
    for (latitude, longitude), place in zip(ways, places, strict=True):
        assert (float(latitude), float(longitude)) == pytest.approx(place, abs=1e-4)


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


def test_the_week_is_a_grid_of_days_and_scouts(season: SeasonDay, page: Overview) -> None:
    """Each day in the column of its date and the row of its scout; stops in order."""
    placed = {day.title: (day.column, day.row) for day in page.week.days}
    assert placed["Mon 6 Jul, Ann"] == (1, 1)
    assert placed["Mon 6 Jul, Bo"] == (1, 2)
    assert placed["Tue 7 Jul, Ann"] == (2, 1)
    assert page.week.columns == 3
    ids = field_ids(season)
    assert [stop.field_id for stop in page.week.days[0].stops] == ids[:3]
    by_id = {row.field_id: row for row in page.rows}
    assert by_id[ids[1]].route == "Mon 6 Jul, stop 2, Ann"
    for one in page.week.days:
        for stop in one.stops:
            assert page.rows[stop.number - 1].field_id == stop.field_id
    assert page.week_told.endswith("and leaves out 2 fields that are due.")
    assert sorted(one.name.split()[0] for one in page.left_out) == ids[-2:]


def test_small_maps_have_one_scale(page: Overview, html: str) -> None:
    """Every day is drawn on the same stretch of country: as wide, as tall, with one scale bar."""
    week = html.partition('<ol class="week"')[2].partition("<form")[0]
    sizes = set(re.findall(r'viewBox="(0 0 236 [0-9.]+)"', week))
    assert len(sizes) == 1
    bars = re.findall(r'<path d="(M10 [^"]*)" class="rule"/>', week)
    assert len(bars) == sum(bool(day.stops) for day in page.week.days) > 1
    assert len(set(bars)) == 1
    shown = small_maps(page.week, [row.place for row in page.rows])
    assert all(shown.holds(row.place) for row in page.rows)


def test_boundaries_are_drawn_where_there_are_some(demo: Path, tmp_path: Path) -> None:
    """A field's outline lies round its mark; one that is no boundary is left out, and no more."""
    folder = Path(shutil.copytree(demo, tmp_path / "season"))
    field = SeasonDay.open(demo, as_of=MONDAY).fields[0].forecast.field
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    ring = [[field.longitude + 0.004 * x, field.latitude + 0.004 * y] for x, y in corners]
    features = [
        {"type": "Feature", "properties": {"field_id": field.field_id},
         "geometry": {"type": "Polygon", "coordinates": [ring]}},
        {"type": "Feature", "properties": {"field_id": "F02"},
         "geometry": {"type": "Polygon", "coordinates": [[["a", 1]]]}},
        {"type": "Feature", "properties": {"field_id": "F03"},
         "geometry": {"type": "Polygon", "coordinates": [[[10**400, 1]] * 4]}},
    ]  # fmt: skip
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (folder / "boundaries.geojson").write_text(text, encoding="utf-8")
    told = page_of(season_of(folder))
    drawn = {row.field_id: row.outline for row in told.rows if row.outline}
    assert list(drawn) == [field.field_id]
    made = overview_html(told)
    wide = made.partition('<div class="wide">')[2].partition("</div>")[0]
    shape = re.search(r'<path d="M([^"]*)Z" class="bounds"', wide)
    assert shape is not None
    points = [tuple(map(float, point.split())) for point in shape[1].split("L")]
    named = rf'x="([0-9.]+)" y="([0-9.]+)"/><text[^>]*>{field.field_id}</text>'
    mark = re.search(named, wide)
    assert mark is not None
    x, y = float(mark[1]), float(mark[2])
    assert min(p[0] for p in points) < x < max(p[0] for p in points)
    assert min(p[1] for p in points) < y < max(p[1] for p in points)
    assert 'class="bounds"' not in html_of(season_of(demo))


# --- seasons of all kinds -------------------------------------------------------------------


def test_a_page_of_four_hundred_fields_is_half_of_what_it_was(
    demo: Path, season: SeasonDay
) -> None:
    """It holds all of them, and fits."""
    made = html_of(many(season, 400))
    assert made.count("<details id=f") == 400
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
    assert made.count('href="#f1"') >= 3
    assert made.count("<details id=f1>") == 1
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
