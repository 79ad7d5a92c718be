"""The desk: what it shows and takes, and that nothing typed is lost or does anything."""

from __future__ import annotations

import contextlib
import datetime as dt
import html
import os
import re
import sqlite3
import threading
from pathlib import Path

import pytest
from commands import run_command
from desk_season import AS_OF, NOW, Parsed, TestClient, client_of, desk_of, log_of, read, sent
from hypothesis import given, settings
from hypothesis import strategies as st
from season_builder import FieldLine, StationFile, build_season, day, snapshot

from stagecast.desk.guard import HEADERS
from stagecast.desk.season import log_without
from stagecast.screens.screen import day_text, range_text
from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedCount,
    LoggedSet,
    LoggedStand,
    StandPlace,
    why_no_text,
)
from stagecast.visits.assess_season import assess_field
from stagecast.visits.look_for import PestSign
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import fields_by_need, walk_of
from stagecast.words.counts import line_text
from stagecast.words.week import walk_text

PAGES = (
    "/", "/week", "/field?field=F1", "/visit?field=F1", "/treatment?field=F1", "/brief?field=F1",
    "/overview",
)  # fmt: skip
SETS = "25 sweeps: stink bugs adults 3, nymphs 1; corn earworm 0\r\n25 sweeps: stink bugs 0"
HOSTILE = "<script>alert(1)</script> \"'> <img src=x onerror=alert(1)> & {{ 7*7 }} \U0001f41b"


def logged(client: TestClient, **typed: str) -> str:
    """Send a visit that must be taken, and return its id."""
    answer = client.post("/visit?field=F1", data=sent(**typed))
    assert answer.status_code == 303, Parsed(answer.text).text
    return str(answer.headers["location"]).removeprefix("/entry?entry=")


# --- pages ----------------------------------------------------------------------------------


def test_every_page_is_there_and_nothing_is_written(season: Path, client: TestClient) -> None:
    """All pages answer with the headers that keep browsers in, and the folder stays as it is."""
    before = snapshot(season)
    for address in PAGES:
        answer = client.get(address)
        assert answer.status_code == 200, address
        for name, value in HEADERS.items():
            if name != "Content-Security-Policy":
                assert answer.headers[name] == value
        (own,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', answer.text)
        policy = answer.headers["content-security-policy"]
        assert policy == f"{html.unescape(own)}; frame-ancestors 'none'"
        assert "default-src 'none'" in policy
    assert snapshot(season) == before


def test_fields_stand_by_need_as_in_the_plan(season: Path, client: TestClient) -> None:
    """The list has every field once, in the order of the plan, with its day and stage."""
    plan = SeasonDay.open(season, as_of=AS_OF)
    page = read(client, "/")
    listed = page.elements[page.elements.index(("div", {"id": "lines"})) :]
    links = [a["href"] for tag, a in listed if tag == "a" and "/field" in str(a["href"])]
    assert links == [f"/field?field={p.forecast.field.field_id}" for p in fields_by_need(plan)]
    for field in plan.by_need:
        walk = walk_of(field)
        assert walk.day is not None
        beside = "" if walk.day == walk.due else " (due"
        later = f"walk {day_text(walk.day, weekday=True)}{beside}"
        assert ("today " if walk.day == AS_OF else later) in page.text


def test_a_field_may_be_asked_for_in_any_case(client: TestClient) -> None:
    """As in the commands."""
    assert "F1" in read(client, "/visit?field=f1").text


def test_the_days_sheet_is_sent_as_a_file(season: Path, client: TestClient) -> None:
    """Every day of the week with a stop leads to its sheet; a day without one has none."""
    page = read(client, "/week")
    links = [str(a["href"]) for tag, a in page.elements if tag == "a" and "sheet" in str(a["href"])]
    route = desk_of(season).route()
    assert len(links) == sum(bool(one.stops) for one in route.days) > 0
    for address in links:
        answer = client.get(address)
        assert answer.headers["content-disposition"] == (
            f'attachment; filename="sheet-{address.partition("day=")[2][:10]}.html"'
        )
        assert "script-src 'sha256-" in answer.headers["content-security-policy"]
    assert client.get("/sheet?day=2026-07-05").status_code == 404
    assert client.get('/sheet?day="; x').status_code == 404


@pytest.mark.parametrize(
    "address",
    ["/nothing", "/field", "/field?field=F9", "/field?field=../../season.toml", "/entry?entry=v0",
     "/correct?entry=", "/../season.toml", "/%2e%2e/season.toml", "/season.toml",
     "/static/style.css", "/field?field=%00", "/brief?field=%EF%BF%BD"],
)  # fmt: skip
def test_what_is_not_there_is_said_so(client: TestClient, address: str) -> None:
    """A page of ours with a sentence, whatever was asked for; no file is ever sent."""
    answer = client.get(address)
    assert answer.status_code == 404
    page = Parsed(answer.text)
    assert "Not here" in page.text
    assert "latitude" not in answer.text


def test_other_methods_are_refused(client: TestClient) -> None:
    """Nothing but reading and sending a form."""
    for method in ("PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"):
        answer = client.request(method, "/visit?field=F1")
        assert (answer.status_code, "Not here" in answer.text) == (405, True)
    assert client.post("/week").status_code == 405


def test_a_mistake_of_ours_shows_no_code(
    season: Path, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What nobody foresaw is a page of ours without a trace of the program."""

    def fails(self: object) -> None:
        raise RuntimeError("inner secret")

    monkeypatch.setattr("stagecast.desk.season.DeskSeason.latest", fails)
    answer = client.get("/")
    assert answer.status_code == 500
    assert "The desk made a mistake" in answer.text
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["cache-control"] == "no-store"


# --- logging --------------------------------------------------------------------------------


def test_a_visit_is_in_the_log_as_the_command_logs_it(season: Path, client: TestClient) -> None:
    """The same words make the same entry, with the same id, entered at the clock's time."""
    name = logged(
        client, who="Ann", stage="r3", share_percent="60", set=SETS, defoliation_percent="12.5",
        stand_notes="thin", method="15-inch net", notes="first\r\nsecond",
    )  # fmt: skip
    (visit,) = log_of(season).visits
    assert (visit.visit_id, visit.date, visit.stage, visit.share) == (name, AS_OF, "R3", 0.6)
    assert visit.notes == "first\nsecond"
    assert visit.sets == (
        LoggedSet(1, 25.0, "sweeps", (
            LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("stink-bugs", "nymphs", 1.0),
            LoggedCount("corn-earworm", "", 0.0))),
        LoggedSet(2, 25.0, "sweeps", (LoggedCount("stink-bugs", "", 0.0),)),
    )  # fmt: skip
    sets = [part for text in SETS.split("\r\n") for part in ("--set", text)]
    ran = run_command(
        "log", "add", season, "F1", "--date", AS_OF.isoformat(), "--who", "Ann", "--stage", "R3",
        "--share", "60", "--defoliation", "12.5", "--stand", "thin", "--method", "15-inch net",
        "--notes", "first\nsecond", *sets, columns=200,
    )  # fmt: skip
    assert f" visit {name}:" in ran.out
    assert len(log_of(season).visits) == 1


def test_a_stand_count_is_logged_and_judged(season: Path, client: TestClient) -> None:
    """What was typed is in the log; its page and the field's say plants an acre and the answer."""
    name = logged(client, date="2026-06-03", stand_count="30-inch hoop: 14, 12, 15, 11, 13")
    (visit,) = log_of(season).visits
    assert visit.stand == LoggedStand(tuple(map(StandPlace, (14, 12, 15, 11, 13))), hoop_in=30.0)
    page = read(client, f"/entry?entry={name}").text
    assert "Stand: keep" in page
    assert "115,400 plants/acre" in page
    assert "stand: 115,400 plants/acre" in read(client, "/field?field=F1").text


def test_the_forecast_before_and_after_stands_side_by_side(
    built: Path, season: Path, client: TestClient
) -> None:
    """Both columns are what the plan says of the folder without the entry and with it."""
    name = logged(client, stage="R4")
    page = read(client, f"/entry?entry={name}")
    plans = [SeasonDay.open(f, as_of=AS_OF) for f in (built, season)]
    before, after = (p.fields[0] for p in plans)
    assert before.forecast.stages["R5"] != after.forecast.stages["R5"]
    for stage in ("R5", "R6", "R7", "R8"):
        old, new = (range_text(f.forecast.stages[stage]) for f in (before, after))
        days = (after.forecast.stages[stage].p50 - before.forecast.stages[stage].p50).days
        assert f"{stage} {old} {new} {abs(days)} day{'s' * (abs(days) != 1)} " in page.text
    walks = [
        walk_text(walk_of(f), day_text=lambda day: day_text(day, weekday=True))
        for f in (before, after)
    ]
    assert f"Next visit {walks[0]} {walks[1]} " in page.text


def test_an_entry_of_a_later_day_moves_nothing_yet(season: Path, client: TestClient) -> None:
    """It is asked about first; its page says that it takes no part, the field lists it apart."""
    typed = {"stage": "R4", "date": "2026-07-09"}
    answer = client.post("/visit?field=F1", data=sent(**typed))
    assert answer.status_code == 422
    page = Parsed(answer.text)
    assert "The visit is of Thu 9 Jul, after Tue 7 Jul, the day of the forecast" in page.text
    assert {name: page.inputs[name] for name in typed} == typed
    assert not (season / LOG_FILE).exists()
    name = logged(client, **page.inputs)
    page = read(client, f"/entry?entry={name}")
    assert "takes no part in it yet" in page.text
    assert " earlier" not in page.text
    assert (
        "Logged for later days These take no part in the forecast yet. Thu 9 Jul visit, in full"
        in (read(client, "/field?field=F1").text)
    )


def test_a_treatment_closes_the_field(season: Path, client: TestClient) -> None:
    """It is logged with its two intervals, and the field's page and the list say until when."""
    typed = {"product": "something", "time": "2:30 pm", "reentry_hours": "48"}
    answer = client.post("/treatment?field=F1", data=sent(**typed))
    assert answer.status_code == 303
    (treatment,) = log_of(season).treatments
    assert treatment.applied_at == dt.datetime(2026, 7, 7, 14, 30)
    assert (treatment.reentry_hours, treatment.preharvest_days) == (48.0, None)
    assert log_of(season).visits == ()
    assert "until Thu 9 Jul 14:30" in read(client, "/field?field=F1").text
    assert "until Thu 9 Jul 14:30" in read(client, "/").text
    page = read(client, answer.headers["location"])
    first = page.text.partition("What it moved")[0]
    assert "Closed until Thu 9 Jul 14:30; efficacy check 10 Jul to 12 Jul" in first
    assert "Hours before entry 48" in page.text
    assert "May be entered yes not until Thu 9 Jul 14:30 closed" in page.text
    assert "Nothing in this field" not in page.text


def test_a_check_after_earworm_waits_as_its_source_says(season: Path, client: TestClient) -> None:
    """Tennessee's source checks 4 to 5 days after a treatment made near the threshold, not 3."""
    logged(client, stage="R4", set="\n".join(["25 sweeps: corn earworm large 30"] * 4))
    typed = {"product": "something", "time": "2:30 pm", "reentry_hours": "12"}
    answer = client.post("/treatment?field=F1", data=sent(**typed))
    first = read(client, answer.headers["location"]).text.partition("What it moved")[0]
    assert "efficacy check 11 Jul to 12 Jul" in first


def test_everything_wrong_is_told_at_once_and_kept(season: Path, client: TestClient) -> None:
    """Each input says what is wrong with it, holds what was typed, and nothing is logged."""
    typed = {
        "date": "7/7/26", "who": "Ann", "stage": "R9", "share_percent": "140",
        "defoliation_percent": "many", "set": "25 sweeps: stink bigs 3\n25: x", "notes": HOSTILE,
    }  # fmt: skip
    answer = client.post("/visit?field=F1", data=sent(**typed))
    assert answer.status_code == 422
    page = Parsed(answer.text)
    wrong = {a["name"] for _, a in page.elements if a.get("aria-invalid")}
    assert wrong == {"date", "stage", "share_percent", "defoliation_percent", "set"}
    assert {name: page.inputs[name] for name in typed} == typed
    assert "did you mean stink-bugs" in page.text
    assert "a set begins with its size and unit" in page.text
    assert not (season / LOG_FILE).exists()


def test_a_blank_form_is_told_what_it_lacks(season: Path, client: TestClient) -> None:
    """A visit of which nothing was noted, and a treatment without its product, are refused."""
    answer = client.post("/visit?field=F1", data=sent())
    assert (answer.status_code, "nothing was noted" in answer.text) == (422, True)
    answer = client.post("/treatment?field=F1", data=sent(time="8:00"))
    page = Parsed(answer.text)
    assert "Product: this is needed" in page.text
    assert "Hours before entry: this is needed" in page.text
    assert not (season / LOG_FILE).exists()


def test_too_many_sets_are_refused_before_they_are_read(client: TestClient) -> None:
    """A form takes so many lines, and says what to do with more."""
    answer = client.post("/visit?field=F1", data=sent(set="25 sweeps: stinkbug 1\n" * 60_000))
    assert answer.status_code == 422
    assert "60,000 sets of one visit" in answer.text


def test_the_same_again_adds_nothing(season: Path, client: TestClient) -> None:
    """Sending a form twice logs it once, and the page says so."""
    name = logged(client, stage="R3")
    answer = client.post("/visit?field=F1", data=sent(stage="R3"))
    assert answer.headers["location"] == f"/entry?entry={name}&again=1"
    assert "nothing was added" in read(client, answer.headers["location"]).text
    assert len(log_of(season).visits) == 1


def test_a_second_visit_of_a_day_is_doubted(client: TestClient) -> None:
    """Both are kept, and the page of the second names the first."""
    first = logged(client, stage="R3")
    second = logged(client, notes="again")
    assert f"the log has another visit to this field on 2026-07-07, {first}" in (
        read(client, f"/entry?entry={second}").text
    )


# --- what is asked, and said first ----------------------------------------------------------

FAR_ABOVE = "\n".join(["25 sweeps: stink bugs 60"] * 6)


def test_the_answers_of_the_counts_come_first(season: Path, client: TestClient) -> None:
    """After a visit the page says of each pest what its counts are worth, as assess does."""
    lines = f"{FAR_ABOVE}\n25 sweeps: corn earworm 0"
    name = logged(client, stage="R4", set=lines, defoliation_percent="50")
    first = read(client, f"/entry?entry={name}").text.partition("What it moved")[0]
    found = assess_field(SeasonDay.open(season, as_of=AS_OF), "F1").found
    answers = {one.pest: one.answer for one in found.pests}
    assert answers["stink-bugs"] == "above"
    assert f"Stink bugs {line_text(found.pests[0])}" in first
    assert f"Corn earworm {line_text(found.pests[1])}" in first
    assert answers["corn-earworm"] == "too few"  # in one set of six
    assert f"Leaf loss 50 of 20 percent, {found.defoliation.answer}" in first
    assert "consider, never spray" in first
    assert name not in first


def test_what_waits_for_a_decision_stands_first(client: TestClient) -> None:
    """Above its threshold a field is named before all on three pages, until it is treated."""
    pages = ("/", "/week", "/field?field=F1")
    assert not any("Decide first" in read(client, address).text for address in pages)
    logged(client, stage="R4", set=FAR_ABOVE)
    for address in pages:
        text = read(client, address).text
        assert "nothing applied since in the log" in text
        assert "stink bugs 60 of 9 per 25 sweeps (" in text
        assert "), over 95%, above (7 Jul)" in text
    assert "Decide first" not in read(client, "/field?field=F2").text
    typed = {"product": "something", "time": "14:30", "reentry_hours": "12"}
    client.post("/treatment?field=F1", data=sent(**typed))
    assert not any("Decide first" in read(client, address).text for address in pages)


def test_many_in_a_set_are_asked_about(season: Path, client: TestClient) -> None:
    """200 of a pest in a set need a yes, which holds for these very counts and no others."""
    typed = {"stage": "R4", "set": "25 sweeps: stink bugs 199\n25 sweeps: stink bugs nymphs 200"}
    answer = client.post("/visit?field=F1", data=sent(**typed))
    assert answer.status_code == 422
    page = Parsed(answer.text)
    assert "A set has 200 stink bugs nymphs." in page.text
    assert "has 199" not in page.text
    other = page.inputs | {"set": "25 sweeps: stink bugs 2000"}
    assert client.post("/visit?field=F1", data=other).status_code == 422
    assert not (season / LOG_FILE).exists()
    name = logged(client, **page.inputs)
    form = read(client, f"/correct?entry={name}").inputs | {"notes": "yes, so many"}
    assert client.post(f"/correct?entry={name}", data=form).status_code == 303


def test_rows_of_counts_are_sets(season: Path, client: TestClient) -> None:
    """Numbers by pest and set make the sets that the same words make; blank was not looked for."""
    form = read(client, "/visit?field=F1").inputs
    assert (form["set_size"], form["set_unit"]) == ("25", "sweeps")
    plan = SeasonDay.open(season, as_of=AS_OF)
    look_for = plan.fields[0].visit.look_for
    signs = [one.pest.id for one in look_for if isinstance(one, PestSign)]
    counted = [pest for pest in signs if pest != "leaf-feeders"]  # leaf loss has its own input
    picked = [form[f"pest_{row}"] for row in range(4)]
    assert picked[: len(counted)] == counted[:4]
    rows = {"pest_0": "stink-bugs", "count_0_0": "3", "count_0_1": "0", "count_0_3": " 5 ",
            "pest_1": "corn-earworm", "count_1_0": "0", "set": "9 sweeps: kudzu bug 1"}  # fmt: skip
    logged(client, **{**form, **rows})
    (visit,) = log_of(season).visits
    bugs = [LoggedCount("stink-bugs", "", number) for number in (3.0, 0.0, 5.0)]
    assert visit.sets == (
        LoggedSet(1, 25.0, "sweeps", (bugs[0], LoggedCount("corn-earworm", "", 0.0))),
        LoggedSet(2, 25.0, "sweeps", (bugs[1],)),
        LoggedSet(3, 25.0, "sweeps", (bugs[2],)),
        LoggedSet(4, 9.0, "sweeps", (LoggedCount("kudzu-bug", "", 1.0),)),
    )


def test_what_is_wrong_in_rows_is_told_and_kept(season: Path, client: TestClient) -> None:
    """Numbers without a pest, what is no number, and what else is wrong, all at once."""
    rows = {"set_size": "25", "set_unit": "sweeps", "pest_0": "", "count_0_0": "3",
            "pest_1": "corn-earworm", "count_1_2": "3; stink bugs 9", "stage": "R9"}  # fmt: skip
    answer = client.post("/visit?field=F1", data=sent(**rows))
    assert answer.status_code == 422
    page = Parsed(answer.text)
    assert "Pest 1: the row has numbers and no pest" in page.text
    assert "Pest 2, set 3: not a number" in page.text
    assert "not a growth stage" in page.text
    assert {name: page.inputs[name] for name in rows} == rows
    wrong = {a["name"] for _, a in page.elements if a.get("aria-invalid")}
    assert wrong == {"pest_0", "count_1_2", "stage"}
    for size, count, at in (
        ("", "3", "set_size"), ("25", "three", "count_0_0"), ("25", "-1", "count_0_0"),
    ):  # fmt: skip
        one = {"set_size": size, "set_unit": "sweeps", "pest_0": "stink-bugs", "count_0_0": count}
        answer = client.post("/visit?field=F1", data=sent(**one))
        page = Parsed(answer.text)
        wrong = {a["name"] for _, a in page.elements if a.get("aria-invalid")}
        assert (answer.status_code, wrong) == (422, {at})
    assert not (season / LOG_FILE).exists()


@pytest.mark.parametrize(
    ("as_of", "said"),
    [(day(12, 20), "The season is over since"), (dt.date(2025, 12, 5), "The season begins on")],
)
def test_outside_the_season_pages_stand_without_a_route(
    season: Path, as_of: dt.date, said: str
) -> None:
    """Fields, week and overview answer before and after the season; only the route is missing."""
    client = client_of(season, as_of=as_of)
    for address in ("/", "/field?field=F1", "/overview"):
        assert "F1" in read(client, address).text
    assert said in read(client, "/week").text


def test_pages_for_others_lead_back(client: TestClient) -> None:
    """The grower's page and the overview, served here, have a way back that is not printed."""
    for address, back in (("/brief?field=F1", "/field?field=F1"), ("/overview", "/")):
        elements = read(client, address).elements
        place = elements.index(("a", {"href": back}))
        assert elements[place - 1] == (
            "nav",
            {"class": "no-print", "aria-label": "Desk", "style": "margin-bottom: .75rem"},
        )


# --- corrections ----------------------------------------------------------------------------


def test_a_correction_takes_the_place_of_an_entry(season: Path, client: TestClient) -> None:
    """The form holds what stands in the log; what is cleared is gone, what is left stays."""
    old = logged(client, stage="R3", share_percent="60", set=SETS, notes="wrong field?")
    form = read(client, f"/correct?entry={old}").inputs
    assert (form["stage"], form["share_percent"], form["notes"]) == ("R3", "60", "wrong field?")
    typed = {**form, "stage": "R4", "share_percent": "", "notes": ""}
    answer = client.post(f"/correct?entry={old}", data=typed)
    assert answer.status_code == 303, Parsed(answer.text).text
    first, second = log_of(season).visits
    assert (second.corrects, second.stage, second.share, second.notes) == (old, "R4", None, "")
    assert second.sets == first.sets
    assert f"in place of {old}" in read(client, answer.headers["location"]).text
    page = read(client, f"/entry?entry={old}")
    assert f"its place taken by {second.visit_id}" in page.text
    assert "Correct this entry" not in page.text
    assert "R3 seen" not in read(client, "/field?field=F1").text


def test_what_a_correction_moved_is_against_what_it_corrects(client: TestClient) -> None:
    """Without it the old entry stands again, so the left column has the old forecast."""
    old = logged(client, stage="R4")
    rows = re.findall(r"R6 (\d+ \w+ \([^)]*\)) (\d+ \w+ \([^)]*\))", read(
        client, f"/entry?entry={old}").text)  # fmt: skip
    form = read(client, f"/correct?entry={old}").inputs | {"stage": "R2"}
    answer = client.post(f"/correct?entry={old}", data=form)
    page = read(client, answer.headers["location"])
    found = re.findall(r"R6 (\d+ \w+ \([^)]*\)) (\d+ \w+ \([^)]*\))", page.text)
    assert found[0][0] == rows[0][1]
    assert found[0][0] != found[0][1]


def test_sets_can_be_taken_away_by_a_correction(season: Path, client: TestClient) -> None:
    """A form without a line of counts is a visit without sets, unlike the command's silence."""
    old = logged(client, stage="R3", set=SETS)
    form = read(client, f"/correct?entry={old}").inputs
    form |= {name: "" for name in form if name == "set" or name.startswith("count_")}
    assert client.post(f"/correct?entry={old}", data=form).status_code == 303
    assert log_of(season).visits[-1].sets == ()


def test_a_treatment_is_corrected_likewise(season: Path, client: TestClient) -> None:
    """The form of a treatment comes back filled in, and its blank interval goes."""
    typed = {"product": "x", "time": "8:00", "reentry_hours": "12", "preharvest_days": "30"}
    client.post("/treatment?field=F1", data=sent(**typed))
    (old,) = log_of(season).treatments
    form = read(client, f"/correct?entry={old.treatment_id}").inputs
    answer = client.post(
        f"/correct?entry={old.treatment_id}", data={**form, "preharvest_days": "", "time": "9 am"}
    )
    assert answer.status_code == 303
    new = log_of(season).treatments[-1]
    assert (new.corrects, new.preharvest_days) == (old.treatment_id, None)
    assert new.applied_at == dt.datetime(2026, 7, 7, 9)


def test_the_log_without_an_entry_has_again_what_it_corrected(
    season: Path, client: TestClient
) -> None:
    """What an entry moved is told against the log had it never been made."""
    old = logged(client, stage="R3")
    form = read(client, f"/correct?entry={old}").inputs | {"stage": "R4"}
    client.post(f"/correct?entry={old}", data=form)
    every = log_of(season)
    assert log_without(every, every.visits[1]).visits == every.visits[:1]
    assert log_without(every, every.visits[0]).visits == every.visits[1:]


# --- two tabs -------------------------------------------------------------------------------


def test_two_tabs_cannot_correct_the_same_entry(season: Path, client: TestClient) -> None:
    """The second is told which one came first, and keeps what was typed."""
    old = logged(client, stage="R3")
    form = read(client, f"/correct?entry={old}").inputs
    assert client.post(f"/correct?entry={old}", data={**form, "stage": "R4"}).status_code == 303
    answer = client.post(f"/correct?entry={old}", data={**form, "stage": "R2"})
    assert answer.status_code == 422
    page = Parsed(answer.text)
    assert "is corrected by" in page.text
    assert page.inputs["stage"] == "R2"
    assert len(log_of(season).visits) == 2


def test_tabs_that_send_at_once_lose_nothing(season: Path, client: TestClient) -> None:
    """Visits sent at the same moment are all in the log, the same one once."""
    notes = ["one", "two", "three", "the same", "the same", "the same"]
    start = threading.Barrier(len(notes))
    statuses: list[int] = []

    def sends(text: str) -> None:
        tab = client_of(season)
        start.wait()
        statuses.append(tab.post("/visit?field=F1", data=sent(notes=text)).status_code)

    tabs = [threading.Thread(target=sends, args=(text,)) for text in notes]
    for tab in tabs:
        tab.start()
    for tab in tabs:
        tab.join()
    assert statuses == [303] * len(notes)
    assert sorted(v.notes for v in log_of(season).visits) == sorted(set(notes))


# --- hostile text ---------------------------------------------------------------------------


def test_hostile_notes_are_shown_and_do_nothing(season: Path, client: TestClient) -> None:
    """The log has what was typed to the letter, and the pages the same elements as ever."""
    plain = logged(client, notes="plain", who="Ann")
    hostile = logged(client, notes=HOSTILE, who=HOSTILE, date="2026-07-06")
    assert log_of(season).visits[1].notes == HOSTILE
    page, known = (read(client, f"/entry?entry={name}") for name in (hostile, plain))
    assert [shape for shape in page.shape if shape not in known.shape] == []
    assert HOSTILE in page.text
    assert read(client, f"/correct?entry={hostile}").inputs["notes"] == HOSTILE
    assert "49" not in read(client, "/field?field=F1").text.partition("notes:")[2][:80]


@pytest.fixture(scope="module")
def still(built: Path) -> TestClient:
    """The desk of a season into which nothing is logged."""
    return client_of(built)


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=200))
def test_whatever_is_typed_comes_back(still: TestClient, text: str) -> None:
    """Any text in any input of a refused form stands in it again, and adds no element."""
    plain, answer = (
        still.post("/visit?field=F1", data=sent(date="none", stage="R3", notes=typed, who=typed))
        for typed in ("x", text)
    )
    page = Parsed(answer.text)
    kept = text.replace("\r\n", "\n")
    assert answer.status_code == 422
    if why_no_text(text) is None:
        assert page.shape == Parsed(plain.text).shape
    assert page.inputs["who"] == kept
    assert page.inputs["notes"] == kept


def test_long_text_is_kept_or_refused_whole(season: Path, client: TestClient) -> None:
    """Ten thousand characters of any script are logged; more than a text may hold is said."""
    logged(client, notes="\U0001f33f" * 10_000)
    assert log_of(season).visits[0].notes == "\U0001f33f" * 10_000
    answer = client.post("/visit?field=F1", data=sent(notes="x" * 100_001))
    assert (answer.status_code, "100,001 characters" in answer.text) == (422, True)


# --- a folder that changes while the desk runs ----------------------------------------------


def test_the_plan_is_worked_out_once_for_each_state(season: Path) -> None:
    """As long as no file changes it is the same plan; after any change it is a new one."""
    desk = desk_of(season)
    first = desk.plan()
    assert desk.plan() is first
    client_of(season).post("/visit?field=F1", data=sent(stage="R3"))
    second = desk.plan()
    assert second is not first
    assert desk.without(log_of(season).visits[0]) is first
    assert desk.plan() is second
    weather = season / "weather" / "S1.csv"
    os.utime(weather, ns=(1, weather.stat().st_mtime_ns + 1))
    assert desk.plan() is not second


def test_without_a_day_the_clock_gives_it(season: Path) -> None:
    """The forecast is of today, and moves on at midnight."""
    desk = desk_of(season, as_of=None)
    assert desk.as_of == desk.plan().loaded.as_of == NOW.date()
    desk.clock = lambda: NOW + dt.timedelta(days=1)
    assert desk.plan().loaded.as_of == day(7, 8)


def test_a_folder_that_breaks_is_told_in_sentences(season: Path, client: TestClient) -> None:
    """Every page says all that is wrong; one can log all the same; repaired, all is as before."""
    assert client.get("/").status_code == 200
    visits = season / "visits.csv"
    good = visits.read_bytes()
    visits.write_bytes(b"field_id,date,pressure\nF9,2026-07-01,some\nF1,2026-07-01,lots\n")
    for address in ("/", "/week", "/field?field=F1", "/brief?field=F1", "/overview"):
        answer = client.get(address)
        text = Parsed(answer.text).text
        assert answer.status_code == 409
        assert "visits.csv line 2" in text
        assert "visits.csv line 3" in text
    assert "visits.csv line 2" in read(client, "/visit?field=F1").text
    name = logged(client, stage="R3")
    assert "No forecast just now" in read(client, f"/entry?entry={name}").text
    visits.write_bytes(good)
    assert client.get("/").status_code == 200


def test_a_log_that_is_none_is_told(season: Path, client: TestClient) -> None:
    """A file in the log's place that is something else is neither read nor written over."""
    (season / LOG_FILE).write_bytes(b"not a log" * 1000)
    taken = client.post("/visit?field=F1", data=sent(notes="kept"))
    for answer in (client.get("/"), taken):
        assert answer.status_code == 409
        assert "if this was your scouting log" in answer.text
    assert Parsed(taken.text).inputs["notes"] == "kept"
    assert (season / LOG_FILE).read_bytes() == b"not a log" * 1000


def test_a_log_that_another_program_holds_is_told(season: Path) -> None:
    """What was typed is kept, and can be sent again once the log is free."""
    client = client_of(season, busy_timeout_s=0.05)
    name = logged(client, stage="R3")
    form = read(client, f"/correct?entry={name}").inputs | {"stage": "R4"}
    with (
        contextlib.closing(sqlite3.connect(season / LOG_FILE, isolation_level=None)) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        answer = client.post(f"/correct?entry={name}", data=form)
    assert answer.status_code == 409
    assert "let it finish" in answer.text
    assert Parsed(answer.text).inputs["stage"] == "R4"
    assert client.post(f"/correct?entry={name}", data=form).status_code == 303


def test_a_field_without_weather_can_be_logged(tmp_path: Path) -> None:
    """Its page says why nothing is forecast; what is logged stands on the page of its entry."""
    fields = [FieldLine("F1", day(5, 4)), FieldLine("FAR", day(5, 4), latitude=38.9)]
    stations = [StationFile(first=dt.date(2024, 1, 1), last=day(7, 6))]
    client = client_of(build_season(tmp_path / "season", fields=fields, stations=stations))
    page = read(client, "/field?field=FAR")
    assert "FAR" in page.text
    assert "km" in page.text or "mi" in page.text
    answer = client.post("/visit?field=FAR", data=sent(stage="R3") | {"about": "FAR"})
    assert "No forecast just now" in read(client, answer.headers["location"]).text
    assert client.get("/brief?field=FAR").status_code == 409
    assert "No station can speak for these fields" in read(client, "/").text


def test_a_folder_that_goes_is_told(season: Path, client: TestClient) -> None:
    """Moved away while the desk runs, it is missed in a sentence, on every page."""
    season.rename(season.with_name("elsewhere"))
    for address in PAGES:
        answer = client.get(address)
        assert answer.status_code == 409
        assert "there is no such folder" in answer.text
