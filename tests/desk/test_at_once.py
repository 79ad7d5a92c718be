"""Counts are answered before anything is planned anew, and a page says how old it is."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from desk_season import FORM_TOKEN, HERE, Parsed, TestClient, desk_of, sent

from stagecast.desk.app import desk_app
from stagecast.desk.planner import Job
from stagecast.desk.season import DeskSeason
from stagecast.visits.season_day import SeasonDay

FAR_ABOVE = "\n".join(["25 sweeps: stink bugs 60"] * 4)


@pytest.fixture
def desk(built: Path, tmp_path: Path) -> DeskSeason:
    """The season behind the desk as it is served: no page waits for a plan."""
    return desk_of(Path(shutil.copytree(built, tmp_path / "season")), patience_s=0.0)


@pytest.fixture
def client(desk: DeskSeason) -> TestClient:
    """A browser's side of it."""
    return TestClient(desk_app(desk, form_token=FORM_TOKEN), base_url=HERE, follow_redirects=False)


@pytest.fixture
def plans(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """No plan is made while this is not set."""
    free = threading.Event()
    made: Callable[..., SeasonDay] = DeskSeason._made

    def waits(desk: DeskSeason, job: Job[SeasonDay], *rest: Any) -> SeasonDay:
        assert free.wait(60)
        return made(desk, job, *rest)

    monkeypatch.setattr(DeskSeason, "_made", waits)
    yield free
    free.set()


def answered(client: TestClient, **typed: str) -> str:
    """Log a visit; the text of the page that answers it."""
    taken = client.post("/visit?field=F1", data=sent(**typed))
    assert taken.status_code == 303, Parsed(taken.text).text
    return Parsed(client.get(taken.headers["location"]).text).text


def test_the_answer_is_the_same_before_and_after_the_plan(
    desk: DeskSeason, client: TestClient, plans: threading.Event
) -> None:
    """By the last plan the counts have the answer that the new plan gives them."""
    plans.set()
    desk.plan()
    plans.clear()
    early = answered(client, stage="R4", set=FAR_ABOVE)
    answer = "Stink bugs 60 of 9 per 25 sweeps"
    assert answer in early
    assert "What it moved is being worked out." in early
    assert "Replanning" in early
    before = Parsed(client.get("/").text).text
    assert "Replanning" in before
    assert "Over a threshold" not in before
    plans.set()
    desk.plan()
    later = Parsed(client.get("/").text).text
    assert "Replanning" not in later
    assert "Over a threshold: decide (1)" in later


def test_counts_are_answered_before_there_is_any_plan(
    client: TestClient, plans: threading.Event
) -> None:
    """In the first seconds of the desk the stage seen is enough; without one that is said."""
    assert not plans.is_set()
    told = answered(client, stage="R4", set=FAR_ABOVE)
    assert "Stink bugs 60 of 9 per 25 sweeps" in told
    assert "above" in told
    assert "Held against the thresholds for beans at R4, as it was seen." in told
    told = answered(client, set=FAR_ABOVE, date="2026-07-06")
    assert "No stage was noted, and there is no forecast yet" in told


def test_what_is_sent_to_others_waits_for_the_newest(
    desk: DeskSeason, client: TestClient, plans: threading.Event
) -> None:
    """The grower's page and the season's are never of an older plan; they wait, and say so."""
    plans.set()
    desk.plan()
    plans.clear()
    answered(client, stage="R4", set=FAR_ABOVE)
    for address in ("/brief?field=F1", "/overview"):
        text = Parsed(client.get(address).text).text
        assert "This page goes on by itself." in text
        assert "Replanning" in text
    plans.set()
    desk.plan()
    assert "goes on by itself" not in client.get("/brief?field=F1").text


def test_progress_is_told_to_a_page_that_asks(
    desk: DeskSeason, client: TestClient, plans: threading.Event
) -> None:
    """The version changes with the plan, and words stand as long as a newer one is on its way."""
    first = client.get("/progress").json()
    assert first["version"] == ""
    assert first["waits"].startswith("Planning")
    plans.set()
    desk.plan()
    ready = client.get("/progress").json()
    assert ready["version"]
    assert ready["waits"] == ""
    answered(client, notes="seen")
    desk.plan()
    assert client.get("/progress").json()["version"] != ready["version"]


def test_an_error_of_a_plan_that_nobody_waited_for_is_told(
    desk: DeskSeason, client: TestClient
) -> None:
    """A folder that breaks is told to open pages, then by the next page; mended, all is well."""
    desk.plan()
    visits = desk.folder / "visits.csv"
    good = visits.read_bytes()
    visits.write_bytes(b"field_id,date,pressure\nF9,2026-07-01,some\n")
    told = (client.get("/progress").json() for _ in range(2000))
    assert next(one for one in told if "Replanning" not in one["waits"]) == {
        "version": "", "waits": "The season folder needs a look: there is no newer plan.",
        "broken": True,
    }  # fmt: skip
    answer = client.get("/")
    assert (answer.status_code, "visits.csv line 2" in answer.text) == (409, True)
    visits.write_bytes(good)
    desk.plan()
    assert client.get("/").status_code == 200
