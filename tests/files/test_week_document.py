"""The week as JSON: its keys, its numbers, and names that do harm."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest
from week_builder import (
    HOSTILE,
    MONDAY,
    build_week,
    density,
    field_ids,
    full_week,
    renamed,
    season_of,
    seen_on,
    with_visit,
)

from stagecast.files.season import to_json
from stagecast.files.week import week_document
from stagecast.week.week import Above
from stagecast.words.waiting import found_text


def test_the_promised_keys_are_there(demo: Path) -> None:
    """Programs find days, stops and what is left out under the names that were promised."""
    told = week_document(full_week(season_of(demo)), explain=False)
    assert {"days", "left_out"} <= told.keys()
    day = told["days"][0]
    assert {"date", "scout", "stops", "drive_km", "drive_min", "work_min"} <= day.keys()
    assert {"field_id", "arrive", "leave", "look_for", "sets"} <= day["stops"][0].keys()
    assert {"field_id", "why", "cost_of_waiting"} <= told["left_out"][0].keys()


def test_a_document_is_json_and_the_same_each_time(demo: Path) -> None:
    """The same week is the same text, and reads back as what was written."""
    week = full_week(season_of(demo))
    told = week_document(week, explain=True)
    assert json.loads(to_json(told)) == told
    assert to_json(told) == to_json(week_document(week, explain=True))


def test_times_are_local_and_to_the_minute(demo: Path) -> None:
    """No zone is claimed, and every time reads back as the moment of the week."""
    week = full_week(season_of(demo))
    told = week_document(week, explain=False)
    for day, made in zip(told["days"], week.days, strict=True):
        for stop, source in zip(day["stops"], made.stops, strict=True):
            assert dt.datetime.fromisoformat(stop["arrive"]) == source.arrive
            assert len(stop["leave"]) == len("2026-07-06T07:30")
        assert (day["leave_home"] is None) == (made.stops == ())


def test_costs_of_waiting_are_until_the_visit_and_for_good(demo: Path) -> None:
    """A stop tells what was lost on the days before its own; a field left out tells all days."""
    season = season_of(demo)
    walked, left = field_ids(season)[:2]
    week = build_week(season, {(MONDAY + dt.timedelta(2), ""): [walked]}, left_out=[left])
    told = week_document(week, explain=True)
    by_field = {one["field_id"]: one["by_day"] for one in told["waiting"]}
    assert by_field.keys() == {walked, left}
    (stop,) = told["days"][0]["stops"]
    assert stop["cost_of_waiting"] == pytest.approx(sum(by_field[walked][:2]))
    assert told["left_out"][0]["cost_of_waiting"] == pytest.approx(sum(by_field[left]))


def test_a_stop_tells_its_due_day_and_how_late_it_is(demo: Path) -> None:
    """Due, days late, last visit and efficacy check are those of the plan; null where unknown."""
    late, free = field_ids(season_of(demo))[:2]
    day = MONDAY + dt.timedelta(2)
    season = with_visit(season_of(demo), late, due=MONDAY, last_visit=None, not_before=MONDAY)
    season = with_visit(season, free, due=None, last_visit=MONDAY, not_before=None)
    stops = week_document(build_week(season, {(day, ""): [late, free]}), explain=False)["days"][0]
    keys = ("due", "days_late", "last_visit", "efficacy_check")
    assert [[stop[key] for key in keys] for stop in stops["stops"]] == [
        [MONDAY.isoformat(), 2, None, True],
        [None, None, MONDAY.isoformat(), False],
    ]


def test_fields_above_and_fields_not_due_are_listed(demo: Path) -> None:
    """What is above a threshold is told with its count; all other fields are accounted for."""
    season = season_of(demo)
    first, second, *rest = field_ids(season)
    week = build_week(season, {(MONDAY, ""): [first]}, left_out=[second], estimated=4)
    plan = next(p for p in season.fields if p.forecast.field.field_id == second)
    seen = seen_on(MONDAY, density("stink-bugs", 19.5, 9.0, 4), 19.5 / 9, steady=1)
    week = replace(week, above=(Above(plan, "stink-bugs", "stink bugs", seen),))
    told = week_document(week, explain=False)
    assert told["above"] == [
        {
            "field_id": second,
            "pest": "stink-bugs",
            "name": "stink bugs",
            "found": found_text(seen),
        }
    ]
    assert told["not_due"] == rest
    assert (told["ways"], told["ways_estimated"], told["legs_estimated"]) == (9, 4, True)


def test_terms_are_told_only_when_asked_for(demo: Path) -> None:
    """Without explain there are no terms, without rules no ``beside``; the rest stays."""
    week = full_week(season_of(demo))
    assert "beside" in week_document(week, explain=False)
    assert "beside" not in week_document(replace(week, beside=()), explain=False)
    plain, explained = (week_document(week, explain=explain) for explain in (False, True))
    assert plain == {key: value for key, value in explained.items() if key != "waiting"}
    assert {"dollars", "chance", "per_acre", "why"} <= explained["waiting"][0]["terms"][0].keys()


@pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
def test_names_are_in_json_as_they_were_typed(name: str, demo: Path) -> None:
    """Whatever a field is called, it reads back unchanged."""
    season = season_of(demo)
    first = field_ids(season)[0]
    week = build_week(renamed(season, {first: name}), {(MONDAY, name): [first]})
    day = json.loads(to_json(week_document(week, explain=True)))["days"][0]
    assert (day["scout"], day["stops"][0]["field_name"]) == (name, name)
