"""The week as a board: a field put on another day stays there, in every command, for a while."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from desk_season import AS_OF, Parsed, TestClient, build, read, with_scouts
from hypothesis import given
from hypothesis import strategies as st
from season_builder import snapshot

from stagecast.season.locks import FILE, Lock, read_locks
from stagecast.visits.season_day import SeasonDay
from stagecast.week.route.problem import cost
from stagecast.week.trial import Placing, days_with, trials
from stagecast.week.week import WeekRoute, season_route
from stagecast.words.week import trial_text

MOVE = "/board/move?field=F1"
THURSDAY = dt.date(2026, 7, 9)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season with two scouts, which tests copy."""
    return with_scouts(build(tmp_path_factory.mktemp("built") / "season"), "Ann", "Kim <b>")


def put(client: TestClient, to: str, status: int = 303, **more: str) -> Parsed:
    """Send the form of F1."""
    data = {**read(client, MOVE).inputs, "act": "put", "to": to, **more}
    answer = client.post(MOVE, data=data)
    assert answer.status_code == status, Parsed(answer.text).text
    return Parsed(answer.text)


def route_of(folder: Path) -> WeekRoute:
    """The season's route."""
    return season_route(SeasonDay.open(folder, as_of=AS_OF))


def test_a_field_stays_where_it_was_put(season: Path, client: TestClient) -> None:
    """The board and the season's one route have it there; let go, it goes where it was."""
    before = [(d.date, d.scout) for d in route_of(season).days for s in d.stops]
    put(client, "2026-07-09 Kim <b>")
    assert read_locks(season) == {"F1": Lock(day=THURSDAY, scout="Kim <b>")}
    page = read(client, "/board")
    assert "put here" in page.text
    assert "F1 stays on Thu 9 Jul, Kim <b>, where it was put." in page.text
    found = {s.field_id: (d.date, d.scout) for d in route_of(season).days for s in d.stops}
    assert found["F1"] == (THURSDAY, "Kim <b>")
    put(client, "", act="free")
    assert read_locks(season) == {}
    assert [(d.date, d.scout) for d in route_of(season).days for s in d.stops] == before


def test_the_last_visit_is_that_of_the_log_as_it_is(season: Path, client: TestClient) -> None:
    """A field that was walked today and is put on a later day stays there."""
    visit = {"date": AS_OF.isoformat(), "about": "F1", "stage": "R3"}
    form = read(client, "/visit?field=F1").inputs
    assert client.post("/visit?field=F1", data={**form, **visit}).status_code == 303
    put(client, "2026-07-09 Ann")
    assert read_locks(season)["F1"].seen == AS_OF
    assert "F1" in route_of(season).held


@pytest.mark.parametrize("to", ["", "2026-07-11 Ann", "2026-07-09 Lee", "2026-07-09", "x"])
def test_what_is_no_shift_is_refused(season: Path, client: TestClient, to: str) -> None:
    """A day on which nobody works, or an unknown scout, moves nothing."""
    assert "choose a day first" in put(client, to, 422).text
    assert not (season / FILE).exists()


def test_nothing_is_moved_without_the_token(season: Path, client: TestClient) -> None:
    """What comes without it is not taken, and nothing is written."""
    before = snapshot(season)
    assert "started anew" in put(client, "2026-07-09 Ann", 403, form_token="x").text
    assert snapshot(season) == before


def test_a_damaged_file_is_told(season: Path, client: TestClient) -> None:
    """What a person decided is never taken for nothing: the page says what to do about it."""
    (season / FILE).write_text("{")
    answer = client.get("/board")
    assert answer.status_code == 409
    assert "it is damaged" in Parsed(answer.text).text


def test_a_day_too_soon_for_a_visit_is_not_told_as_closed_alone(demo: Path) -> None:
    """Fields that may be entered are refused on days before they are due, and that is said."""
    season = SeasonDay.open(demo, as_of=dt.date(2026, 7, 7))
    route = season_route(season)
    soon = 0
    for stop in route.stops:
        due = stop.plan.visit.due
        for one in trials(route, stop.field_id):
            if one.closed and not stop.plan.closed and due is not None and one.date < due:
                soon += 1
                assert "too soon for a visit" in trial_text(one)
    assert soon > 0


def test_a_trial_is_what_the_week_then_costs(season: Path) -> None:
    """Minutes and dollars of a trial are those of the days with the field moved, to the cent."""
    route = route_of(season)
    assert route.made_of is not None
    week, made = route.made_of
    now = cost(week.problem, made)
    tried = [one for one in trials(route, "F1") if not (one.closed or one.full)]
    assert sum(one.here for one in tried) == 1
    assert len(tried) > 4
    for one in tried:
        days = days_with(route, {"F1": Lock(day=one.date, scout=one.scout)})
        assert [(d.date, d.scout) for d in days for s in d.stops if s.field_id == "F1"] == [
            (one.date, one.scout)
        ]
        drive_min = sum(d.drive_min for d in days) - sum(d.drive_min for d in route.days)
        assert one.drive_min == pytest.approx(drive_min)
        waits = {s.field_id: s.waiting.until(d.date) for d in days for s in d.stops}
        assert one.waiting_cost == pytest.approx(sum(waits.values()) - now.wait / 100, abs=0.02)
        moved = next(d for d in days if (d.date, d.scout) == (one.date, one.scout))
        assert one.back_home == moved.back_home


@given(st.floats(-500, 500), st.floats(-500, 500), st.floats(-500, 500))
def test_what_a_trial_says(minutes: float, drive: float, waiting: float) -> None:
    """Whether it is more or less is said for each number that is any."""
    told = trial_text(
        Placing(THURSDAY, "", drive_min=minutes, drive_cost=drive, waiting_cost=waiting)
    )
    assert ("min more driving" in told) == (round(abs(minutes)) > 0 and minutes > 0)
    assert ("waiting costs" in told) == (abs(waiting) >= 0.5)
    assert ("driving costs" in told) == (abs(drive) >= 0.5)
    assert told
