"""Table, JSON and CSV of one command: documented keys, the same facts, the same bytes twice."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from commands import WIDE, run_command, said

pytestmark = pytest.mark.usefixtures("planned_once")

AS_OF = "2026-07-07"
ON_THE_DAY = ("--as-of", AS_OF)
FORECASTS = ("stages", "windows", "revisit", "plan")
STAGES = [
    "VE", "VC", "V1", "V2", "V3", "V4", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8",
]  # fmt: skip
RANGE = ["p10", "p50", "p90"]
ENTRY = ("no_entry_until", "no_entry", "blocked")

KEYS = {
    "stages": {
        "field_id", "stage_now", "next_stage", "station", "distance_km",
        "elevation_difference_m", "stages", "probabilities", "seen", "stages_before_seen",
        "dry_since", "first_planted", "planned", "planting_date", *ENTRY,
    },
    "windows": {"field_id", "window", "title", "pest", "opens", "closes", "why", *ENTRY},
    "revisit": {
        "field_id", "last_visit", "interval_days", "due", "walk_on", "walk_why", "left_out",
        "reasons", "look_for", "sampling", "not_before", "looks", *ENTRY, "over_threshold",
    },
    "plan": {
        "field_id", "last_visit", "interval_days", "due", "walk_on", "walk_why", "left_out",
        "reasons", "look_for", "sampling", "not_before", "looks", *ENTRY, "field_name", "grower",
        "over_threshold",
        "stage_now", "next_stage", "windows",
    },
}  # fmt: skip
ITEMS = {"stages": "fields", "windows": "windows", "revisit": "visits", "plan": "fields"}
COLUMNS = {
    "stages": ["field_id", "stage_now", "stage", *RANGE, "probability", "no_entry_until"],
    "windows": [
        "field_id", "window", "pest", *(f"opens_{p}" for p in RANGE),
        *(f"closes_{p}" for p in RANGE), "why", "no_entry_until",
    ],
    "revisit": [
        "field_id", "over_threshold", "last_visit", "interval_days", "due", "walk_on", "walk_why",
        "left_out", "reasons", "look_for", "sampling", "not_before", "no_entry_until",
    ],
    "plan": [
        "field_id", "field_name", "grower", "over_threshold", "stage_now", "next_stage", "windows",
        "due", "walk_on", "walk_why", "left_out", "reasons", "look_for", "sampling", "not_before",
        "no_entry_until",
    ],
}  # fmt: skip


def document(command: str, demo: Path) -> dict[str, Any]:
    """What a command says as JSON."""
    return json.loads(said(command, demo, *ON_THE_DAY, "--format", "json"))


def items(command: str, demo: Path) -> list[dict[str, Any]]:
    """The list in a command's document."""
    return document(command, demo)[ITEMS[command]]


def rows(command: str, demo: Path) -> list[dict[str, str]]:
    """What a command says as CSV."""
    text = said(command, demo, *ON_THE_DAY, "--format", "csv")
    return list(csv.DictReader(io.StringIO(text), strict=True))


def field_ids(demo: Path) -> list[str]:
    """The fields of the demo, in file order."""
    with (demo / "fields.csv").open(encoding="utf-8", newline="") as stream:
        return [row["field_id"] for row in csv.DictReader(stream)]


def on_screen(command: str, demo: Path, *options: str) -> list[str]:
    """The lines of a table on a wide screen."""
    return said(command, demo, *ON_THE_DAY, *options, columns=WIDE).splitlines()


def day(text: str) -> str:
    """An ISO date the way a table writes it: 7 Jul."""
    date = dt.date.fromisoformat(text)
    return f"{date.day} {date:%b}"


def cell(value: object) -> str:
    """A JSON value the way CSV writes it."""
    if isinstance(value, list):
        return "; ".join(map(str, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


# --- documents ------------------------------------------------------------------------------


@pytest.mark.parametrize("command", FORECASTS)
def test_json_has_exactly_the_documented_keys(command: str, demo: Path) -> None:
    """Nothing is missing and nothing undocumented is added; the day asked for is said."""
    found = document(command, demo)
    assert set(found) == {
        "as_of",
        "undated",
        ITEMS[command],
        *({"plan": ["week", "no_room"], "stages": ["on"]}.get(command, [])),
    }
    assert found["as_of"] == AS_OF
    assert found[ITEMS[command]]
    assert {frozenset(item) for item in found[ITEMS[command]]} == {frozenset(KEYS[command])}


@pytest.mark.parametrize("command", FORECASTS)
def test_json_speaks_of_every_field(command: str, demo: Path) -> None:
    """No field is lost; stages and windows keep the order of the file, the others go by need."""
    told = list(dict.fromkeys(item["field_id"] for item in items(command, demo)))
    by_need = command in ("revisit", "plan")
    assert (sorted(told) if by_need else told) == field_ids(demo)
    assert (told != field_ids(demo)) == by_need


def test_visits_come_in_the_order_of_the_plan(demo: Path) -> None:
    """Both begin with what is to be walked first, and agree field by field."""
    revisit, plan = (items(command, demo) for command in ("revisit", "plan"))
    assert [v["field_id"] for v in revisit] == [f["field_id"] for f in plan]
    walked = [max(v["due"], AS_OF) for v in revisit]
    assert walked == sorted(walked)
    assert len(set(walked)) > 3


def test_stages_come_in_order_with_rising_ranges(demo: Path) -> None:
    """VE to R8, each a range of ISO dates that rises, none before the stage before it."""
    for field in items("stages", demo):
        assert list(field["stages"]) == STAGES
        for dates in field["stages"].values():
            assert list(dates) == RANGE
            known = [dt.date.fromisoformat(dates[p]) for p in RANGE if dates[p] is not None]
            assert known == sorted(known)
            assert [dates[p] is None for p in RANGE] == sorted(dates[p] is None for p in RANGE)
        middles = [d["p50"] for d in field["stages"].values() if d["p50"] is not None]
        assert middles == sorted(middles)


def test_stage_now_is_the_last_one_reached(demo: Path) -> None:
    """A reproductive stage now is the last whose middle date has come; the next is ahead."""
    for field in items("stages", demo):
        reached = [s for s, d in field["stages"].items() if d["p50"] and d["p50"] <= AS_OF]
        ahead = [s for s, d in field["stages"].items() if d["p50"] and d["p50"] > AS_OF]
        assert field["next_stage"] == (ahead[0] if ahead else None)
        if reached[-1].startswith("R"):
            assert field["stage_now"] == reached[-1]
        else:
            assert field["stage_now"].startswith("V")


def test_windows_say_why_and_open_before_they_close(demo: Path) -> None:
    """Every window has both ends as ranges of ISO dates and a reason in words."""
    for window in items("windows", demo):
        assert list(window["opens"]) == list(window["closes"]) == RANGE
        assert len(window["why"].split()) > 3
        opens, closes = window["opens"]["p50"], window["closes"]["p50"]
        if opens is not None and closes is not None:
            assert dt.date.fromisoformat(opens) <= dt.date.fromisoformat(closes)


def test_due_dates_lie_an_interval_after_the_last_visit(demo: Path) -> None:
    """Where nothing pulls it forward, due is the last visit plus the interval given."""
    plain = 0
    for visit in items("revisit", demo):
        assert visit["reasons"]
        if visit["last_visit"] is None or "pulled forward" in " ".join(visit["reasons"]):
            continue
        plain += 1
        due = dt.date.fromisoformat(visit["due"]) - dt.date.fromisoformat(visit["last_visit"])
        assert due.days == visit["interval_days"]
    assert plain >= 3


def test_plan_gives_each_field_due_this_week_one_working_day(demo: Path) -> None:
    """The days of the route and what is left out hold the fields due before it ends, each once."""
    plan = document("plan", demo)
    walked = {i: day_["date"] for day_ in plan["week"] for i in day_["field_ids"]}
    end = dt.date.fromisoformat(AS_OF) + dt.timedelta(days=6)
    due = [f["field_id"] for f in plan["fields"] if f["due"] and f["due"] <= end.isoformat()]
    told = [i for day_ in plan["week"] for i in day_["field_ids"]] + plan["no_room"]
    assert sorted(told) == sorted(due)
    dates = [dt.date.fromisoformat(day_["date"]) for day_ in plan["week"]]
    assert all(0 <= (date - dt.date.fromisoformat(AS_OF)).days < 7 for date in dates)
    assert all(date.weekday() < 5 for date in dates)
    for field in plan["fields"]:
        left = field["field_id"] in plan["no_room"]
        assert (field["left_out"] is not None) == left
        later = field["due"] and field["due"] > end.isoformat()
        assert field["walk_on"] == (field["due"] if later else walked.get(field["field_id"]))


# --- CSV and table against JSON -------------------------------------------------------------


@pytest.mark.parametrize("command", FORECASTS)
def test_csv_has_the_documented_columns_and_a_row_per_item(command: str, demo: Path) -> None:
    """The header is the documented one; rows are as many as the document has things to say."""
    found = rows(command, demo)
    assert list(found[0]) == COLUMNS[command]
    count = len(items(command, demo)) * (len(STAGES) if command == "stages" else 1)
    assert len(found) == count


def test_csv_of_stages_and_windows_says_what_json_says(demo: Path) -> None:
    """Every date and probability is the same in both, null being an empty cell."""
    expected = [
        {"field_id": f["field_id"], "stage_now": f["stage_now"], "stage": stage}
        | {p: cell(dates[p]) for p in RANGE}
        | {"probability": cell(f["probabilities"][stage])}
        | {"no_entry_until": cell(f["no_entry_until"])}
        for f in items("stages", demo)
        for stage, dates in f["stages"].items()
    ]
    assert rows("stages", demo) == expected
    ends = [
        {"field_id": w["field_id"], "window": w["window"], "pest": cell(w["pest"])}
        | {f"{end}_{p}": cell(w[end][p]) for end in ("opens", "closes") for p in RANGE}
        | {"why": w["why"], "no_entry_until": cell(w["no_entry_until"])}
        for w in items("windows", demo)
    ]
    assert rows("windows", demo) == ends


@pytest.mark.parametrize("command", ["revisit", "plan"])
def test_csv_of_visits_says_what_json_says(command: str, demo: Path) -> None:
    """Every cell is the document's value; the windows of the plan are named with their state."""
    for row, item in zip(rows(command, demo), items(command, demo), strict=True):
        for column in set(COLUMNS[command]) - {"windows"}:
            assert row[column] == cell(item[column])
        if command == "plan":
            named = [f"{w['pest'] or w['window']} ({w['state']})" for w in item["windows"]]
            assert row["windows"] == "; ".join(named)


def test_table_of_stages_says_what_json_says(demo: Path) -> None:
    """One line per field: stage, the next one and its middle day, chances."""
    lines = on_screen("stages", demo)
    for field in items("stages", demo):
        (line,) = (text for text in lines if text.startswith(field["field_id"] + " "))
        likely = [
            f"{stage}{'+' if stage == 'V4' else ''} {100 * share:.0f}%"
            for stage, share in field["probabilities"].items()
            if share >= 0.1
        ]
        assert f" {', '.join(likely)} " in f"{line} "
        following = field["stages"][field["next_stage"]]
        words = line.split()
        assert field["stage_now"] in words
        assert field["next_stage"] in words
        assert f" {field['next_stage']} {day(following['p50'])} (" in " ".join(words)


def test_table_of_one_field_lists_every_stage_and_window(demo: Path) -> None:
    """With --field the dates of all stages and of all windows stand in the table."""
    lines = on_screen("stages", demo, "--field", "F01")
    (field,) = (f for f in items("stages", demo) if f["field_id"] == "F01")
    for stage, dates in field["stages"].items():
        assert any(t.startswith(stage + " ") and f" {day(dates['p50'])} " in t for t in lines)
    lines = on_screen("windows", demo, "--field", "F01")
    own = [w for w in items("windows", demo) if w["field_id"] == "F01" and w["opens"]["p50"]]
    assert len(own) > 5
    for window in own:
        opens, closes = (f" {day(window[end]['p50'])} " for end in ("opens", "closes"))
        found = [t for t in lines if window["title"] in t]
        assert any(opens in t and closes in t for t in found), window


@pytest.mark.parametrize("command", ["revisit", "plan"])
def test_table_of_visits_says_what_json_says_and_marks_it(command: str, demo: Path) -> None:
    """Days are those of the document, and what is pressing carries a mark, not a colour only.

    Overdue is ``!!``, due today ``!``, within a week ``>``, and later nothing.
    """
    lines = on_screen(command, demo, "--all")
    marks = set()
    for item in items(command, demo):
        due = dt.date.fromisoformat(item["due"])
        due += dt.timedelta(max(0, due.isoweekday() - 5) and 8 - due.isoweekday())  # to Monday
        days = (due - dt.date.fromisoformat(AS_OF)).days
        mark = "!!" if days < 0 else "!" if days == 0 else ">" if days < 7 else ""
        marks.add(mark)
        walk = day(item["walk_on"]) if item["walk_on"] else "left out"
        beside = "" if item["walk_on"] == item["due"] else rf" +{day(item['due'])}"
        start = re.compile(f"{mark:2} {walk}{beside} +{item['field_id']} ")
        assert sum(start.match(line) is not None for line in lines) == 1, start
    assert {"!!", ">"} <= marks


def test_table_of_visits_comes_in_the_documents_order(demo: Path) -> None:
    """The table of revisit has a line per field, by need as in JSON."""
    ids = [item["field_id"] for item in items("revisit", demo)]
    lines = on_screen("revisit", demo, "--all")
    assert [w for line in lines for w in line.split()[:7] if w in ids] == ids


def test_table_of_the_plan_comes_in_the_documents_order(demo: Path) -> None:
    """Fields stand by need in both, and every field of the week stands under its day."""
    plan = document("plan", demo)
    lines = on_screen("plan", demo, "--all")
    week = lines.index("The week's route")
    ids = [item["field_id"] for item in plan["fields"]]
    told = [word for line in lines[:week] for word in line.split()[:7] if word in ids]
    assert told == ids
    for day_ in plan["week"]:
        date = dt.date.fromisoformat(day_["date"])
        start = next(
            i for i, t in enumerate(lines) if t.startswith(f"{date:%a} {date.day} ") and i > week
        )
        block = lines[start]
        for line in lines[start + 1 :]:
            if not line.startswith(" "):
                break
            block += line
        told = re.findall(r"\w+", block)
        assert set(day_["field_ids"]) <= set(told)


# --- the same twice -------------------------------------------------------------------------


@pytest.mark.parametrize("command", FORECASTS)
@pytest.mark.parametrize("format_", ["table", "json", "csv"])
def test_the_same_input_gives_the_same_bytes_twice(command: str, format_: str, demo: Path) -> None:
    """One plan is printed alike twice; that it is planned alike twice is for test_cli.py."""
    options = (command, demo, *ON_THE_DAY, "--format", format_)
    assert run_command(*options).out == said(*options)
