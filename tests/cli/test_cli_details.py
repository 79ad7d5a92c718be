"""Tables in detail: --field, the week and its room, pests in order, notes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from commands import WIDE, run_command, said
from season_builder import FieldLine, StationFile, VisitLine, build_season, day

from stagecast.knowledge import load
from stagecast.knowledge.crop import STAGE_ORDER
from stagecast.visits.season_day import FieldDay, SeasonDay

pytestmark = pytest.mark.usefixtures("planned_once")

FORECASTS = ("stages", "windows", "revisit", "plan")
DEMO_DAY = ("--as-of", "2026-07-07")
ON_THE_DAY = ("--as-of", "2026-07-01")
KNOWLEDGE = load()
NEAR = ("open", "coming")


def plain(text: str) -> str:
    """The words of a text, wherever its lines were broken."""
    return " ".join(text.split())


def visit_of(field_id: str, folder: Path, *day_: str) -> dict[str, Any]:
    """What JSON says of the next visit to a field."""
    document = json.loads(said("revisit", folder, *day_, "--format", "json"))
    (visit,) = (v for v in document["visits"] if v["field_id"] == field_id)
    return visit


# --- --field --------------------------------------------------------------------------------


@pytest.mark.parametrize("command", FORECASTS)
def test_a_field_may_be_asked_for_in_any_case(command: str, demo: Path) -> None:
    """f01 is F01, also beside other fields and named twice."""
    exact = said(command, demo, *DEMO_DAY, "--field", "F01", "--field", "F17")
    loose = said(command, demo, *DEMO_DAY, *(f"--field={i}" for i in ("f17", "f01", "F01")))
    assert loose == exact


def test_ids_that_differ_in_case_alone_can_both_be_asked_for(tmp_path: Path) -> None:
    """The id as typed wins; written in a third way it means both."""
    fields = (FieldLine("Ab"), FieldLine("AB", latitude=36.01))
    folder = build_season(tmp_path, fields=fields)
    for asked, found in (("Ab", ["Ab"]), ("AB", ["AB"]), ("ab", ["Ab", "AB"])):
        text = said("stages", folder, *ON_THE_DAY, "--format", "json", "--field", asked)
        assert [field["field_id"] for field in json.loads(text)["fields"]] == found


@pytest.mark.parametrize("columns", [80, WIDE])
@pytest.mark.parametrize("command", ["revisit", "plan"])
def test_one_field_is_told_why_how_and_what_to_look_for(
    command: str, columns: int, demo: Path
) -> None:
    """With --field nothing of the visit is left out, thresholds and reasons included."""
    visit = visit_of("F01", demo, *DEMO_DAY)
    assert len(visit["look_for"]) > 2
    assert any("threshold" in item for item in visit["look_for"])
    text = plain(said(command, demo, *DEMO_DAY, "--field", "F01", columns=columns))
    assert f"why {'; '.join(visit['reasons'])}" in text
    assert f"how {visit['sampling']}" in text
    for item in visit["look_for"]:
        assert f"look for {item}" in text
    assert "1 of 11 fields" in text


@pytest.mark.parametrize("command", ["revisit", "plan"])
def test_without_a_choice_the_tables_stay_short_and_say_how_to_ask(
    command: str, demo: Path
) -> None:
    """All fields in detail would be no table; the note names the option."""
    text = plain(said(command, demo, *DEMO_DAY, "--notes"))
    assert "look for shield" not in text
    assert visit_of("F01", demo, *DEMO_DAY)["sampling"] not in text
    assert "add --field ID" in text


@pytest.mark.parametrize("command", ["revisit", "plan"])
def test_the_only_field_of_a_season_can_be_asked_for_too(command: str, tmp_path: Path) -> None:
    """Details depend on having asked, not on other fields being left out."""
    folder = build_season(tmp_path)
    sampling = visit_of("F1", folder, *ON_THE_DAY)["sampling"]
    assert sampling not in plain(said(command, folder, *ON_THE_DAY))
    assert sampling in plain(said(command, folder, *ON_THE_DAY, "--field", "F1"))


def test_notes_speak_of_the_stations_of_the_fields_shown(demo: Path) -> None:
    """A field's table does not report on stations that are not its own."""
    assert len(re.findall("Station DEMO", said("stages", demo, *DEMO_DAY, "--notes"))) == 3
    one = said("stages", demo, *DEMO_DAY, "--field", "F01", "--notes").partition("Station")
    one = "".join(one[1:])
    assert re.findall("Station (DEMO[0-9]+)", one) == ["DEMO01"]
    assert "; 1 field up to" in plain(one)


def test_a_v_stage_is_defined_with_its_own_number(demo: Path) -> None:
    """V3 has three nodes, not n."""
    text = plain(said("stages", demo, *DEMO_DAY, "--field", "F01", columns=WIDE))
    definition = KNOWLEDGE.soybean.stages["Vn"].definition
    assert definition.startswith("n main-stem")
    assert definition not in text
    assert definition.replace("n main-stem", "3 main-stem", 1) in text


# --- the week -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six fields due 25 June, and two working days with room for two each."""
    visits = [VisitLine(f"F{i}", day(6, 20), "near threshold") for i in range(1, 7)]
    fields = [FieldLine(v.field_id, latitude=36.0 + i / 100) for i, v in enumerate(visits)]
    folder = tmp_path_factory.mktemp("crowded")
    return build_season(
        folder, fields=fields, visits=visits, working_days=("wed", "thu"), fields_per_day=2
    )


def test_the_week_shows_lateness_and_what_is_left_out(crowded: Path) -> None:
    """Each field says since when it is due, and its day; the rest are named with a reason."""
    found = json.loads(said("plan", crowded, *ON_THE_DAY, "--format", "json"))
    fields, _, text = said("plan", crowded, *ON_THE_DAY, columns=WIDE).partition("The week")
    assert text.startswith("'s route")
    for walked in found["week"]:
        on = f"{int(walked['date'][-2:])} Jul"
        for field_id in walked["field_ids"]:
            assert re.search(rf"^!! {on} +25 Jun +{field_id} ", fields, re.MULTILINE)
    for start, walked in zip(("Wed 1 Jul", "Thu 2 Jul"), found["week"], strict=True):
        (line,) = (line for line in text.splitlines() if line.startswith(start))
        first, second = walked["field_ids"]
        assert line.rstrip().endswith(f": {first}, {second}")
    assert len(found["no_room"]) == 2
    for field_id in found["no_room"]:
        assert f"\nleft out: {field_id}, " in text


def test_only_fields_shown_are_said_to_be_left_out(crowded: Path) -> None:
    """Asked for a field left out and one walked, the week names these two and no other."""
    found = json.loads(said("plan", crowded, *ON_THE_DAY, "--format", "json"))
    left, walked = found["no_room"][0], found["week"][0]["field_ids"][0]
    asked = (f"--field={left}", f"--field={walked}")
    text = said("plan", crowded, *ON_THE_DAY, *asked, columns=WIDE)
    week = text.partition("The week")[2].partition("\n\n")[0]
    assert set(re.findall("F[0-9]", week)) == {left, walked}
    assert f"left out: {left}, " in week


def test_a_field_walked_in_time_has_no_late_mark(demo: Path) -> None:
    """Of the demo's fields exactly those walked on another day than the due one carry that day."""
    plan = json.loads(said("plan", demo, *DEMO_DAY, "--format", "json"))
    due = {field["field_id"]: field["due"] for field in plan["fields"]}
    other = {i for d in plan["week"] for i in d["field_ids"] if due[i] != d["date"]}
    text = said("plan", demo, *DEMO_DAY, columns=WIDE).partition("The week")[0]
    assert set(re.findall(r"^\S* +\d+ Jul +\d+ [A-Z].. +(F[0-9]{2}) ", text, re.M)) == other
    assert other


def test_a_week_in_which_nothing_is_due_says_so(tmp_path: Path) -> None:
    """A quiet field seen today is due in ten days: the week is empty and says why."""
    visit = VisitLine("F1", day(6, 5), "virtually none")
    folder = build_season(tmp_path, visits=(visit,))
    as_of = ("--as-of", "2026-06-05")
    assert visit_of("F1", folder, *as_of)["due"] > "2026-06-11"
    assert "no field is due within seven days" in said("plan", folder, *as_of)


# --- pests ----------------------------------------------------------------------------------


def pests_of(planned: FieldDay, folder: Path) -> list[str]:
    """The pests that the field's line of windows names, in its order."""
    name = planned.forecast.field.field_id
    lines = said("windows", folder, *DEMO_DAY, columns=WIDE).splitlines()
    (line,) = (line for line in lines if line.startswith(f"{name} "))
    shorts = {w.short for w in planned.windows if w.pest is not None}
    places = {line.find(short): short for short in shorts if short in line}
    return [places[place] for place in sorted(places)]


def test_pests_whose_heat_is_unknown_come_last(tmp_path: Path) -> None:
    """A pest that may be there any day does not stand before one whose time is known."""
    station = StationFile(holes=((day(1, 1), day(2, 28)),))
    fields = [FieldLine(f"F{i}", day(5, 3 * i), "5.2") for i in range(1, 10)]
    folder = build_season(tmp_path, fields=fields, stations=(station,))
    overtaken = 0
    for planned in SeasonDay.open(folder, as_of=day(7, 7)).fields:
        unknown = {w.short for w in planned.windows if w.timing == "heat unknown"}
        near = [w for w in planned.windows if w.state(day(7, 7), entering_days=7) in NEAR]
        placed = [(rank, w) for w in near if w.pest and (rank := w.rank_on(day(7, 7)))]
        ranks = {w.short: rank for rank, w in sorted(placed, key=lambda pair: -pair[0])}
        told = pests_of(planned, folder)
        known = [short not in unknown for short in told]
        assert unknown
        assert known == sorted(known, reverse=True)
        last = max(ranks[short] for short in told)
        overtaken += any(ranks[short] < last for short in unknown & ranks.keys() - set(told))
    assert overtaken > 0


# --- notes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["check", "revisit", "plan"])
def test_pests_without_a_threshold_of_the_state_are_named(command: str, demo: Path) -> None:
    """Each pest for which Tennessee's own do not reach over all its stages is named once."""
    notes = () if command == "check" else ("--notes",)
    text = plain(said(command, demo, *DEMO_DAY, *notes))
    (told,) = re.findall(r"Thresholds of Tennessee's own: (.*?)\. What is shown", text)
    groups = dict(re.split(" (?:for|of) (?!every)", part, maxsplit=1) for part in told.split("; "))
    named = {whose: set(shorts.split(", ")) for whose, shorts in groups.items()}
    stages = list(STAGE_ORDER)
    for pest in KNOWLEDGE.pests.values():
        published = {threshold.region for threshold in pest.thresholds}
        met = not pest.presence.regions or "TN" in pest.presence.regions
        whose = {w for w, shorts in named.items() if pest.short in shorts}
        hurts = range(stages.index(pest.host.first), stages.index(pest.host.last) + 1)
        own = [t for t in pest.thresholds if t.region == "TN"]
        if pest.counted_with == "leaf-feeders" and not any(t.leaf_loss for t in own):
            pooled = KNOWLEDGE.pests["leaf-feeders"].thresholds
            own += [t for t in pooled if t.leaf_loss and t.region == "TN"]
        spans = [(stages.index(t.first), stages.index(t.last)) for t in own]
        covered = all(any(a <= stage <= b for a, b in spans) for stage in hurts)
        if not met or covered or (pest.counted_with and not published):
            assert whose == set(), pest.id
        elif own:
            assert whose == {"not for every stage"}, pest.id
        else:
            expected = "none" if published else "none, nor any from elsewhere,"
            assert whose == {expected}, pest.id
    assert len(named) > 2


def test_the_hint_at_doubts_can_be_run_as_it_stands(demo: Path) -> None:
    """It names the folder and the day, and running it tells as many doubts as it says."""
    text = plain(said("plan", demo, *DEMO_DAY, "--notes", columns=1000))
    hint = r"(\d+) things? looks? doubtful: see stagecast (.*? --as-of \S+)"
    ((count, command),) = re.findall(hint, text)
    ran = run_command(*command.split())
    assert ran.code == 0
    assert command.endswith("--as-of 2026-07-07")
    assert len(re.findall("^doubtful: ", ran.out, re.MULTILINE)) == int(count) > 0


def test_the_demo_tells_a_command_that_works(tmp_path: Path) -> None:
    """The two lines that lead on run as printed."""
    ran = run_command("demo", tmp_path / "season", columns=1000)
    morning, why = re.findall("^.*: stagecast ((?:today|revisit) .*)$", ran.out, re.MULTILINE)[:2]
    for told, words in ((morning, "Walk today"), (why, "look for")):
        again = run_command(*told.split())
        assert (again.code, again.err) == (0, "")
        assert words in again.out
