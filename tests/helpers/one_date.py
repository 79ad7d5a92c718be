"""Where outputs of one morning name another day for a field than the route does."""

from __future__ import annotations

import json
from pathlib import Path

from commands import run_command

from stagecast.base.dates import said_day
from stagecast.desk.listing import lines_by_need
from stagecast.pages.overview import overview
from stagecast.week.week import WeekRoute


def dates_that_differ(folder: Path, route: WeekRoute) -> list[str]:
    """Plan, revisit, week, overview and desk beside the route: a line for each difference."""
    season = route.season
    expected = {plan.field_id: route.walk_of(plan).day for plan in season.fields}
    as_of = ("--as-of", season.as_of.isoformat(), "--format", "json")
    found: list[str] = []

    def hold(where: str, field_id: str, told: object) -> None:
        day = expected[field_id]
        if told != (None if day is None else day.isoformat()):
            found.append(f"{where} has {told} for {field_id}, the route {day}")

    for one in json.loads(run_command("plan", folder, *as_of).out)["fields"]:
        hold("plan", one["field_id"], one["walk_on"])
    for one in json.loads(run_command("revisit", folder, *as_of).out)["visits"]:
        hold("revisit", one["field_id"], one["walk_on"])
    week = json.loads(run_command("week", folder, *as_of).out)
    for day in week["days"]:
        for stop in day["stops"]:
            hold("week", stop["field_id"], day["date"])
    for row in overview(route).rows:
        hold("overview", row.field_id, None if row.day is None else row.day.isoformat())
    for _, lines in lines_by_need(season):
        for line in lines:
            day = expected[line.field_id]
            if day is not None and said_day(day) not in line.walk:
                found.append(f"the desk has {line.walk!r} for {line.field_id}, the route {day}")
    return found
