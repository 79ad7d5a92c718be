"""The field sheet without a browser: what it holds, and the command that writes it."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from commands import run_command
from log_builder import at, log_of, sets_of, treatment, visit
from season_builder import FieldLine, build_season
from week_builder import (
    HOSTILE,
    MONDAY,
    ONE_DAY,
    build_week,
    field_ids,
    plan_week,
    renamed,
    season_of,
)

from stagecast.knowledge import load
from stagecast.pages.phone.rules import STAGE_MARK, sheet_rules
from stagecast.pages.phone.sheet import page_json, sheet_data, sheet_html
from stagecast.pests.thresholds import FieldFacts, thresholds_at
from stagecast.season.log.cells import COLUMNS
from stagecast.season.log.entries import LOG_FILE, Treatment
from stagecast.season.log.store import LogStore
from stagecast.visits.season_day import SeasonDay
from stagecast.week.problem import WeekRequest
from stagecast.week.week import WeekRoute, season_route

pytestmark = pytest.mark.usefixtures("rules_once")

DAY = "2026-07-07"


def route_of(demo: Path, *, scout: str = "", stops: int = 4, skip: int = 0) -> WeekRoute:
    """A day of some stops of the demo."""
    season = season_of(demo)
    return build_week(season, {(MONDAY, scout): field_ids(season)[skip : skip + stops]})


def treated(folder: Path, applied: Treatment) -> SeasonDay:
    """The plan of a season in whose log one treatment stands."""
    LogStore(folder / LOG_FILE).add((), [applied], entered_at=applied.applied_at)
    return SeasonDay.open(folder, as_of=MONDAY)


def html_of(route: WeekRoute) -> str:
    """The page of its first day."""
    return sheet_html(route, route.days[0])


def data_in(html: str) -> dict[str, object]:
    """What the page's script reads."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    read = json.loads(found[1])
    assert isinstance(read, dict)
    return read


def test_the_same_day_gives_the_same_page(demo: Path) -> None:
    """No clock and no order of chance is in a page: twice made it is twice the same."""
    assert html_of(route_of(demo)) == html_of(route_of(demo))
    knowledge = season_of(demo).loaded.knowledge
    rules = [sheet_rules(region="TN", knowledge=knowledge) for _ in range(2)]
    assert json.dumps(rules[0]) == json.dumps(rules[1])


def test_the_key_is_of_the_day_and_the_digest_of_the_content(demo: Path) -> None:
    """A replanned day goes on under its key with another digest; other days and scouts do not."""
    season = season_of(demo).loaded
    one = sheet_data(route_of(demo, scout="Ann").days[0], season)
    again = sheet_data(route_of(demo, scout="Ann", skip=1).days[0], season)
    assert one["key"] == again["key"]
    assert one["digest"] != again["digest"]
    other_scout = sheet_data(route_of(demo, scout="Bo").days[0], season)
    later = build_week(season_of(demo), {(MONDAY + ONE_DAY, "Ann"): field_ids(season_of(demo))})
    other_day = sheet_data(later.days[0], season)
    settings = season.season.settings.model_copy(update={"year": 2025})
    last_year = sheet_data(
        route_of(demo, scout="Ann").days[0],
        replace(season, season=replace(season.season, settings=settings)),
    )
    keys = {d["key"] for d in (one, other_scout, other_day, last_year)}
    assert len(keys) == 4
    moved = replace(season, season=replace(season.season, path=season.season.path / "other"))
    assert sheet_data(route_of(demo, scout="Ann").days[0], moved)["key"] == one["key"]


def test_a_page_holds_no_path_and_asks_for_nothing(demo: Path) -> None:
    """Nothing of the computer it was made on is in it, and no address of another one."""
    html = html_of(route_of(demo))
    assert str(demo) not in html
    assert str(Path.home()) not in html
    # the hash of the script may hold slashes of its own
    said = re.sub(r"'sha256-[^']*'|&#39;sha256-.*?&#39;", "", html)
    assert not re.search(r"(https?:)?//[a-z]", said.replace("// ", ""))
    assert "src=" not in html


def test_hostile_names_stay_text(demo: Path) -> None:
    """No name of a field or scout ends the data or becomes an element, and none steers a screen."""
    season = season_of(demo)
    ids = field_ids(season)
    names = [name for name in HOSTILE.values() if "\ud800" not in name]
    for some, walked in ((names[:10], ids[:10]), (names[10:], ids[:10])):
        of_hostile = renamed(season, dict(zip(walked, some, strict=False)))
        html = html_of(build_week(of_hostile, {(MONDAY, some[1]): walked}))
        assert "<script>alert" not in html
        assert not set("\u202e\x1b\x7f\x9b\x00") & set(html)
        stops = data_in(html)["stops"]
        assert isinstance(stops, list)
        assert [stop["field_id"] for stop in stops] == walked


def test_the_buttons_are_for_the_pests_that_the_visit_is_for(demo: Path) -> None:
    """Every pest with a button is described among what to look for, and leaf loss has none."""
    asked = WeekRequest(first_day=MONDAY + ONE_DAY)
    route = plan_week(demo, as_of=asked.first_day, asked=asked)
    stops = sheet_data(route.days[0], route.season.loaded)["stops"]
    pests = load().pests
    assert any(stop["pests"] for stop in stops)
    for stop in stops:
        assert "leaf-feeders" not in (*stop["pests"], *stop["others"])
        assert not set(stop["pests"]) & set(stop["others"])
        assert {*stop["pests"], *stop["others"], "leaf-feeders"} == set(pests)
        for pest in stop["pests"]:
            assert any(text.startswith(f"{pests[pest].name}: ") for text in stop["look_for"])


def test_a_pest_says_what_its_threshold_is_counted_in(demo: Path) -> None:
    """At its stage, for each pest with a button: the units of the thresholds that hold there."""
    season = season_of(demo).loaded
    found = set()
    for stop in sheet_data(route_of(demo, stops=10).days[0], season)["stops"]:
        assert list(stop["units"]) == stop["pests"]
        for pest in stop["pests"]:
            held = thresholds_at(
                season.knowledge.pests[pest],
                region=season.season.settings.region,
                stage=stop["stage"],
                knowledge=season.knowledge,
            )
            assert set(stop["units"][pest]) == {shown.threshold.unit for shown in held}
            found.update(stop["units"][pest])
    assert "sweeps" in found


def test_a_stop_says_when_it_is_due_what_was_seen_and_what_is_checked(tmp_path: Path) -> None:
    """Due and late, the last visit, and the product whose work is looked at."""
    folder = build_season(tmp_path, fields=[FieldLine("F1"), FieldLine("F2")])
    season = treated(folder, treatment(at(7, 3, 16), 24, product="Product A"))
    route = build_week(season, {(MONDAY, ""): ["F1", "F2"]})
    one, two = sheet_data(route.days[0], season.loaded)["stops"]
    assert one["due"].startswith("Efficacy check")
    assert "Product A" in one["due"]
    assert "Efficacy" not in two["due"]
    assert two["last"]
    assert "Product A" in html_of(route)


def test_a_stop_says_since_when_a_treated_field_may_be_entered(tmp_path: Path) -> None:
    """The last treatment, the end of its interval, and the product as text."""
    folder = build_season(tmp_path, fields=[FieldLine("F1"), FieldLine("F2")])
    season = treated(folder, treatment(at(7, 4, 16), 24, product="<b>A</b>"))
    route = build_week(season, {(MONDAY, ""): ["F1", "F2"]})
    one, two = sheet_data(route.days[0], season.loaded)["stops"]
    (said,) = one["entry"]
    assert said.startswith("Treated 4 Jul with <b>A</b>")
    assert "entry since 5 Jul 16:00" in said
    assert two["entry"] == []
    assert "&lt;b&gt;A&lt;/b&gt;" in html_of(route)


def test_a_stop_says_until_when_a_field_may_not_be_entered(tmp_path: Path) -> None:
    """A field that is closed for a part of the day says so, before anything else."""
    folder = build_season(tmp_path)
    season = treated(folder, treatment(at(7, 5, 16), 24))
    route = build_week(season, {(MONDAY, ""): ["F1"]})
    (stop,) = sheet_data(route.days[0], season.loaded)["stops"]
    (said,) = stop["entry"]
    assert "Mon 6 Jul 16:00" in said


def test_the_rules_name_every_pest_unit_and_stage() -> None:
    """Every pest has lines in every unit and at every stage, and they point at what is there."""
    knowledge = load()
    rules = sheet_rules(region="TN", knowledge=knowledge)
    assert rules["columns"] == list(COLUMNS)
    for by_pest in rules["held"].values():
        assert by_pest.keys() == knowledge.pests.keys()
        for places in by_pest.values():
            assert len(places) == len(rules["order"]) == len(rules["leaf"])
            for place in places:
                for line in rules["told"][place]:
                    assert ("silence" in line) != ("threshold" in line)
                    assert "threshold" not in line or rules["thresholds"][line["threshold"]]
    whys = [line["why"] for lines in rules["told"] for line in lines if "why" in line]
    assert any(STAGE_MARK in why for why in whys)
    assert not any(re.search(r"beans at [VR]\d,", why) for why in whys)


def test_every_stage_of_the_crop_can_be_picked_with_its_definition(demo: Path) -> None:
    """VE to R8, each with its name and what it is; what only people read is not said twice."""
    data = sheet_data(route_of(demo).days[0], season_of(demo).loaded)
    codes = [stage["code"] for stage in data["rules"]["stages"]]
    assert codes == ["VE", "VC", "V1", "Vn", *(f"R{n}" for n in range(1, 9))]
    assert all(stage["name"] and stage["definition"] for stage in data["rules"]["stages"])
    assert "look_for" not in page_json(data)["stops"][0]


# --- the command -------------------------------------------------------------------------------


def test_pack_writes_the_day_and_writes_over_its_own_pages_only(demo: Path, tmp_path: Path) -> None:
    """The same command twice gives the same bytes; what is no page of ours stays as it is."""
    page = tmp_path / "sheet.html"
    for _ in range(2):
        ran = run_command("pack", demo, "--day", DAY, "--as-of", DAY, "-o", page)
        assert ran.code == 0, ran.err
        assert "sheet.html: " in ran.out
        first = page.read_bytes()
    assert page.read_bytes() == first
    assert data_in(first.decode())["day"] == DAY
    page.write_text("mine", encoding="utf-8")
    ran = run_command("pack", demo, "--day", DAY, "--as-of", DAY, "-o", page)
    assert ran.code == 2
    assert page.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--day", "2026-07-11"), "nobody works on this day"),  # a Saturday
        (("--day", "never"), "--day"),
        (("--day", "2025-07-07"), "--day: the route starts before"),
        (("--day", "2026-07-20", "--starting", DAY), "no day of the route"),
        (("--day", DAY, "--starting", "2026-07-02"), "--starting: the route starts before"),
        (("--day", DAY, "--scout", "Nobody"), "nobody of this name"),
    ],
)
def test_a_day_that_cannot_be_packed_is_refused_in_words(
    demo: Path, tmp_path: Path, options: tuple[str, ...], told: str
) -> None:
    """No such day, no such person: a sentence, exit code 2, and no file."""
    page = tmp_path / "sheet.html"
    ran = run_command("pack", demo, *options, "--as-of", DAY, "-o", page)
    assert ran.code == 2
    assert told in ran.err
    assert not page.exists()


def test_a_day_of_a_longer_route_has_the_stops_that_the_week_shows(
    demo: Path, tmp_path: Path
) -> None:
    """The sheet of Friday has Friday's stops of the week as of its day, with --starting or not."""
    page, friday = tmp_path / "sheet.html", "2026-07-10"
    options = ("--day", friday, "--as-of", DAY, "-o", page)
    ran = run_command("pack", demo, *options, "--starting", DAY, columns=200)
    assert ran.code == 0, ran.err
    assert f"the route that starts on {DAY}" in ran.out
    stops = data_in(page.read_text("utf-8"))["stops"]
    assert isinstance(stops, list)
    asked = WeekRequest(first_day=MONDAY + ONE_DAY)
    week = plan_week(demo, as_of=asked.first_day, asked=asked)
    (day,) = (one for one in week.days if one.date.isoformat() == friday)
    assert [stop["field_id"] for stop in stops] == [stop.field_id for stop in day.stops]
    ran = run_command("pack", demo, *options, columns=200)
    assert data_in(page.read_text("utf-8"))["stops"] == stops


def test_of_several_scouts_one_is_asked_for(tmp_path: Path) -> None:
    """Without a name the command lists who works; with one, in any case, it is his sheet."""
    folder = build_season(tmp_path / "season", fields=[FieldLine("F1"), FieldLine("F2")])
    settings = folder / "season.toml"
    scouts = '[[scouts]]\nname = "Ann"\n[[scouts]]\nname = "Bo"\n'
    settings.write_text(settings.read_text("utf-8") + scouts, encoding="utf-8")
    page = tmp_path / "sheet.html"
    options = ("--day", DAY, "--as-of", DAY, "-o", page)
    ran = run_command("pack", folder, *options, columns=200)
    assert ran.code == 2
    assert "Ann, Bo" in ran.err
    days = [run_command("pack", folder, *options, "--scout", name) for name in ("ann", "bo")]
    assert [ran.code for ran in days].count(0) >= 1
    assert all(ran.code == 0 or "no field is walked" in ran.err for ran in days)
    assert dt.date.fromisoformat(str(data_in(page.read_text("utf-8"))["day"])) == MONDAY + ONE_DAY


def test_a_field_has_its_own_rules_on_the_phone_where_they_differ() -> None:
    """North Carolina's leaf loss goes by the day of planting; seed beans in Ohio have their own."""
    knowledge = load()
    early, late = (FieldFacts(planting_date=dt.date(2026, *day)) for day in ((5, 20), (6, 10)))
    fields = {"early": early, "late": late, "seed": FieldFacts(use="seed")}
    rules = sheet_rules(region="OH", knowledge=knowledge, fields=_in("OH", fields))
    at = rules["order"].index("R4")
    of_seed = _apart(rules, "seed")["held"]["sweeps"]["stink-bugs"][at]
    (line,) = rules["told"][of_seed]
    assert rules["thresholds"][line["threshold"]]["value"] == 2
    for home in ("NC", "OH"):  # thresholds of its own state, wherever the rules are made for
        rules = sheet_rules(region=home, knowledge=knowledge, fields=_in("NC", fields))
        leaf = [_apart(rules, name)["leaf"][at]["value"] for name in ("early", "late")]
        assert leaf == [25, 15]


def test_fields_that_are_alike_share_what_is_otherwise_there() -> None:
    """Three hundred fields of two kinds are told two things, and not three hundred."""
    days = (dt.date(2026, 5, 20), dt.date(2026, 6, 10))
    fields = {f"F{i}": FieldFacts(planting_date=days[i % 2]) for i in range(300)}
    rules = sheet_rules(region="OH", knowledge=load(), fields=_in("NC", fields))
    assert len(rules["aparts"]) == 2
    assert [rules["apart"][name] for name in fields] == [0, 1] * 150


def _apart(rules: dict[str, Any], field_id: str) -> Any:
    return rules["aparts"][rules["apart"][field_id]]


def _in(region: str, fields: dict[str, FieldFacts]) -> dict[str, tuple[str, FieldFacts]]:
    return {name: (region, facts) for name, facts in fields.items()}


def test_a_field_over_a_threshold_has_its_mark_in_the_list_of_stops(demo: Path) -> None:
    """Of all stops of the week only the one that waits for a decision says so, with the mark."""
    over = visit(MONDAY, sets_of("stink-bugs", (19, 21, 18, 20)), field_id="F05", stage="R3")
    route = season_route(SeasonDay.open(demo, as_of=MONDAY, log=log_of(over)))
    days = [day for day in route.days if day.stops]
    pages = [sheet_html(route, day) for day in days]
    marked = [page for page in pages if 'class="above-mark"' in page]
    assert len(marked) == 1
    stop = next(part for part in marked[0].split("<li>") if 'class="above-mark"' in part)
    assert "F05" in stop
    assert "Over a threshold: decide." in stop
