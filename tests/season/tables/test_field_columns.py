"""Fields as they come: no date yet, an expected one, replanted, and what else is known of them."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from commands import run_command
from log_builder import KNOWLEDGE, log_of, planned, sets_of, treatment, visit
from observations import needs_observations, rows
from season_builder import FieldLine, VisitLine, build_season, day, set_cells
from test_fields import read, write

from stagecast.base.errors import SeasonProblems
from stagecast.knowledge.borders import nearest_neighbors
from stagecast.pests.thresholds import FieldFacts, thresholds_at
from stagecast.season.folder import read_season
from stagecast.season.tables.fields import read_fields, usual_group
from stagecast.season.tables.maturity import parse_maturity_group
from stagecast.visits.history import field_history
from stagecast.visits.reentry import EfficacyCheck
from stagecast.visits.season_day import SeasonDay

AS_OF = day(7, 7)
PAIR = (FieldLine("F1"), FieldLine("F2", latitude=36.01))


def told(folder: Path, *command: str, columns: int = 200) -> str:
    """What a command says of the day, on one line."""
    ran = run_command(*command[:1], folder, *command[1:], "--as-of", str(AS_OF), columns=columns)
    assert (ran.code, ran.err) == (0, "")
    return " ".join(ran.out.split())


# --- no date yet -----------------------------------------------------------------------------


@pytest.fixture
def undated(tmp_path: Path) -> Path:
    """Two fields, of which the second waits for its date, and for its variety too."""
    folder = build_season(tmp_path, fields=PAIR)
    return set_cells(folder, "F2", planting_date="", maturity_group="", field_name="North")


@pytest.mark.parametrize("command", ["check", "stages", "windows", "revisit", "plan"])
def test_a_field_without_a_date_is_listed_and_all_others_forecast(
    undated: Path, command: str
) -> None:
    """It stands on every list with what it waits for; nothing is wrong with the season."""
    assert "1 field waits for its planting date: F2 North." in told(undated, command)


def test_the_route_and_the_pest_tell_of_it_too(undated: Path) -> None:
    """The week's screen and a pest's, which list fields or stations of fields."""
    told_week = told(undated, "week", "--starting", str(AS_OF))
    assert "F2 North" in told_week
    assert "F1" in told_week
    ran = run_command("pest", "stink bugs", undated, "--as-of", str(AS_OF))
    assert "waits for its planting date" in ran.out


@pytest.mark.parametrize("command", ["stages", "windows", "revisit", "plan", "week"])
def test_documents_have_it_beside_what_they_list(undated: Path, command: str) -> None:
    """``undated`` names it, and no list of forecasts does."""
    more = ("--starting", str(AS_OF)) if command == "week" else ()
    document = json.loads(told(undated, command, *more, "--format", "json"))
    waits = document.pop("undated")
    assert waits == [{"field_id": "F2", "field_name": "North", "grower": "Grower A"}]
    assert "F1" in json.dumps(document)
    assert '"F2"' not in json.dumps(document)


@pytest.mark.parametrize(
    "command",
    [
        ("plan", "--field", "f2"),
        ("assess", "F2"),
        ("history", "F2"),
        ("brief", "F2", "-o", "x.html"),
    ],
)
def test_asked_for_by_name_it_says_what_it_waits_for(
    undated: Path, command: tuple[str, ...], tmp_path: Path
) -> None:
    """Not that there is no such field: its line, its column and the next step."""
    ran = run_command(*command[:1], undated, *command[1:], "--as-of", str(AS_OF))
    assert ran.code == 2
    assert "fields.csv line 3, planting_date (field F2): waits for its planting date" in ran.err
    assert "into the column planned" in ran.err


def test_the_pages_list_it(undated: Path, tmp_path: Path) -> None:
    """The overview, and the index of growers' pages."""
    page, index = tmp_path / "season.html", tmp_path / "pages"
    assert run_command("overview", undated, "-o", page, "--as-of", str(AS_OF)).code == 0
    ran = run_command("brief", undated, "--all", "-o", index, "--as-of", str(AS_OF))
    assert ran.code == 0
    for text in (page.read_text("utf-8"), (index / "index.html").read_text("utf-8")):
        assert "1 field waits for its planting date: F2 North." in text


def test_a_season_may_wait_as_a_whole(tmp_path: Path) -> None:
    """In March no field has a date: every command says so, and none refuses."""
    folder = set_cells(build_season(tmp_path / "season"), "F1", planting_date="")
    for command in ("check", "stages", "plan", "revisit", "windows"):
        assert "waits for its planting date: F1" in told(folder, command)
    page = tmp_path / "season.html"
    assert run_command("overview", folder, "-o", page, "--as-of", str(AS_OF)).code == 0
    assert "waits for its planting date" in page.read_text("utf-8")


def test_other_dates_need_the_planting_date(tmp_path: Path) -> None:
    """Emergence or replanting without planting is told; a group is needed once a date stands."""
    for column in ("emergence_date", "replanted"):
        row = {"planting_date": "", column: "2026-05-20"}
        write(tmp_path, [{**ROW, **row}], columns=USUAL_COLUMNS)
        (problem,) = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE).problems
        assert (problem.column, problem.doubtful) == (column, False)
    write(tmp_path, [{**ROW, "maturity_group": ""}], columns=USUAL_COLUMNS)
    (problem,) = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE).problems
    assert problem.column == "maturity_group"


ROW = {
    "field_id": "F1", "latitude": "36.1", "longitude": "-89.2", "area_acres": "80",
    "planting_date": "2026-05-04", "maturity_group": "4.7",
}  # fmt: skip
USUAL_COLUMNS = (
    "field_id", "grower", "field_name", "latitude", "longitude", "area_acres", "planting_date",
    "maturity_group", "growth_habit", "notes", "emergence_date", "replanted", "planned", "state",
    "use", "row_width_in", "irrigated", "no_till", "longest_gap_days",
    "wooded_edge",
)  # fmt: skip


# --- an expected date ------------------------------------------------------------------------


def test_an_expected_date_is_forecast_from_and_shown_as_planned(tmp_path: Path) -> None:
    """Same stages as if planted on that day, and every screen says that nobody has planted yet."""
    planted = SeasonDay.open(build_season(tmp_path / "a"), as_of=day(4, 20))
    folder = set_cells(build_season(tmp_path / "b"), "F1", planting_date="", planned="2026-05-04")
    season = SeasonDay.open(folder, as_of=day(4, 20))
    assert season.fields[0].forecast.stages == planted.fields[0].forecast.stages
    ran = run_command("plan", folder, "--as-of", "2026-04-20", columns=200)
    assert "1 field not planted yet, forecast from the planned day: F1." in ran.out
    ran = run_command("revisit", folder, "--as-of", "2026-04-20", "--field", "F1", columns=200)
    assert "is planned for 4 May" in " ".join(ran.out.split())


def test_a_planned_day_that_has_gone_by_is_doubted(tmp_path: Path) -> None:
    """On the day itself all is well; on the next the date of planting is asked for."""
    folder = set_cells(build_season(tmp_path), "F1", planting_date="", planned="2026-05-04")

    def asked(on: dt.date) -> list[str]:
        doubts = SeasonDay.open(folder, as_of=on).doubts
        return [d.next_step or "" for d in doubts if d.column == "planned"]

    assert asked(day(5, 4)) == []
    assert asked(day(5, 5)) == ["write the day into planting_date, or a later one into planned"]


def test_a_planting_date_goes_before_the_planned_one(tmp_path: Path) -> None:
    """What was planned is kept in the file and says nothing any more."""
    folder = set_cells(build_season(tmp_path), "F1", planned="2026-04-20")
    (field,) = read_season(folder).fields
    assert (field.planting_date, field.planned) == (day(5, 4), False)


# --- replanted -------------------------------------------------------------------------------


@pytest.fixture
def replanted(tmp_path: Path) -> Path:
    """A field with a stage seen and a word noted in May, replanted on 2 June."""
    visits = (VisitLine("F1", day(5, 25), "near threshold", "V2"),)
    folder = build_season(tmp_path, fields=PAIR, visits=visits)
    return set_cells(folder, "F1", replanted="2026-06-02", emergence_date="2026-05-12")


def test_replanting_begins_anew_and_forgets_nothing(replanted: Path, tmp_path: Path) -> None:
    """Stages are those of the second planting, unlearnt; history has what came before, marked."""
    plain = build_season(
        tmp_path / "plain", fields=(FieldLine("F1", day(6, 2)), FieldLine("F2", latitude=36.01))
    )
    fresh = SeasonDay.open(plain, as_of=AS_OF).fields[0]
    one = SeasonDay.open(replanted, as_of=AS_OF).fields[0]
    assert one.forecast.stages == fresh.forecast.stages
    assert one.forecast.lessons == ()
    assert one.last_visit is None
    assert one.visit == fresh.visit
    (before,) = field_history(one).visits
    assert (before.date, before.stage, before.of_these_plants) == (day(5, 25), "V2", False)
    text = told(replanted, "history", "F1")
    assert "planted 4 May, replanted 2 Jun" in text
    assert "before replanting" in text


def test_before_replanting_nobody_knew_of_it(replanted: Path) -> None:
    """As of a day in May the first plants stand, with their emergence and the stage seen."""
    one = SeasonDay.open(replanted, as_of=day(5, 26)).fields[0]
    assert one.forecast.field.planting_date == day(5, 4)
    assert one.forecast.stages["VE"].p50 == day(5, 12)
    assert [lesson.visit.stage for lesson in one.forecast.lessons] == ["V2"]
    assert one.last_visit is not None


def test_counts_of_plants_that_are_gone_are_no_answer(replanted: Path) -> None:
    """Nothing is above a threshold after replanting; the counts are judged in history alone."""
    counted = visit(day(5, 25), sets_of("bean-leaf-beetle", (90, 95, 80, 99)), stage="V2")
    one = planned(replanted, log_of(counted), AS_OF).fields[0]
    assert one.assess_day(day(5, 25)) is None
    assert one.counted is None
    (before,) = field_history(one).visits
    assert before.found is not None
    assert before.found.pests[0].mean_per_set == pytest.approx(91)


def test_a_treatment_keeps_people_out_whatever_grows_there(replanted: Path) -> None:
    """Restricted entry outlasts replanting; no efficacy check is asked for of it."""
    log = log_of(treatment(dt.datetime(2026, 6, 1, 18), 72))
    assert planned(replanted, log, day(6, 3)).fields[0].no_entry is not None
    later = planned(replanted, log, AS_OF).fields[0]
    assert not any(isinstance(reason, EfficacyCheck) for reason in later.visit.reasons)


def test_stages_of_both_plantings_are_in_order(replanted: Path) -> None:
    """VE after V2 is no step backwards where the field was replanted between them."""
    with (replanted / "visits.csv").open("a", encoding="utf-8") as stream:
        stream.write("F1,2026-06-10,some,VE,\n")
    assert [d for d in read_season(replanted).doubts if d.column == "stage"] == []


def test_dates_of_replanting_are_checked(tmp_path: Path) -> None:
    """Not before planting; a second row of the field is refused and names the column."""
    folder = set_cells(build_season(tmp_path), "F1", replanted="2026-05-04")
    with pytest.raises(SeasonProblems, match=r"replanted .*not after planting on 2026-05-04"):
        read_season(folder)
    problem = read(tmp_path, {}, {}).problems[0]
    assert "with the day in replanted" in str(problem.accepted)


# --- what else is known ----------------------------------------------------------------------


def test_the_other_columns_are_read_as_people_write_them(tmp_path: Path) -> None:
    """State by code or name in any case, use, inches, and yes or no in several words."""
    cells = {
        "state": "kentucky", "use": "Seed", "row_width_in": "15", "irrigated": "Y", "no_till": "no",
        "longest_gap_days": "6",
    }  # fmt: skip
    write(tmp_path, [{**ROW, **cells}, {**ROW, "field_id": "F2"}], columns=USUAL_COLUMNS)
    read = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE, region="TN")
    one, other = read.fields
    assert (one.region, one.use, one.row_width_in) == ("KY", "seed", 15.0)
    assert (one.irrigated, one.no_till, one.longest_gap_days) == (True, False, 6)
    assert other.longest_gap_days is None
    assert (other.region, other.use, other.row_width_in) == ("TN", None, None)
    assert (other.irrigated, other.no_till) == (None, None)


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("state", "Tenn", "not among those we know"), ("use", "hay", "grain, seed, food"),
        ("row_width_in", "0", "5 to 60"), ("row_width_in", "30in", "not a number"),
        ("longest_gap_days", "2", "3 to 60"), ("longest_gap_days", "7.5", "whole days"),
        ("longest_gap_days", "weekly", "3 to 60"),
        ("irrigated", "maybe", "yes, no, or blank"), ("no_till", "2", "yes, no, or blank"),
    ],
)  # fmt: skip
def test_slips_in_them_are_told(column: str, cell: str, words: str, tmp_path: Path) -> None:
    """Each at its cell, with what is accepted."""
    write(tmp_path, [{**ROW, column: cell}], columns=USUAL_COLUMNS)
    (problem,) = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE).problems
    assert problem.column == column
    assert words in problem.sentence()


def test_a_column_called_mg_and_groups_in_words_are_read(tmp_path: Path) -> None:
    """``MG`` over the column, ``Group 4`` and ``maturity group 4.7`` in its cells."""
    columns = tuple("MG" if name == "maturity_group" else name for name in USUAL_COLUMNS)
    row = {name: text for name, text in ROW.items() if name != "maturity_group"}
    write(tmp_path, [{**row, "MG": "Group 4"}], columns=columns)
    read = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE)
    assert (read.problems, read.fields[0].maturity.number) == ((), 4.5)
    offsets = {k: float(v) for k, v in KNOWLEDGE.soybean.groups.offsets.items()}
    found = parse_maturity_group("maturity group 4.7", offsets=offsets, lowest=-2, highest=8.9)
    assert found.number == 4.7


@pytest.mark.parametrize(
    ("latitude", "group", "doubted"),
    [("36.1", "1.5", True), ("36.1", "2.5", False), ("36.1", "7", True), ("44.9", "4.8", True),
     ("44.9", "1.2", False), ("33.4", "3.9", False)],
)  # fmt: skip
def test_a_group_far_from_the_usual_ones_is_doubted(
    latitude: str, group: str, doubted: bool, tmp_path: Path
) -> None:
    """A slip is asked about; early groups far south of their belt are common and are not."""
    row = {**ROW, "latitude": latitude, "maturity_group": group}
    write(tmp_path, [row], columns=USUAL_COLUMNS)
    found = read_fields(tmp_path, year=2026, knowledge=KNOWLEDGE)
    assert [p.doubtful for p in found.problems] == [True] * doubted
    assert len(found.fields) == 1


@needs_observations
def test_no_place_of_uniform_trials_is_doubted() -> None:
    """Groups II and III were grown at all these places: none is far from what we call usual.

    Source: USDA-ARS Northern Uniform Soybean Tests, odd years 1989-2019 (Krause and others 2022).
    """
    middle = {"II": 2.5, "III": 3.5}
    off = [
        usual_group(float(row["latitude"]), KNOWLEDGE.fields) - middle[row["maturity_group"]]
        for row in rows("uniform_trials_odd_years.csv")
    ]
    assert len(off) > 700
    assert max(map(abs, off)) < float(KNOWLEDGE.fields.group_far)
    assert abs(sum(off) / len(off)) < 0.6


# --- where the field lies --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "region", "latitude", "longitude", "first"),
    [
        ("Fulton", "KY", 36.5, -88.9, {"TN"}), ("Bowling Green", "KY", 37.0, -86.4, {"TN"}),
        ("Maysville", "KY", 38.6, -83.7, {"OH"}), ("Henderson", "KY", 37.8, -87.6, {"IN"}),
        ("Quincy", "IL", 39.9, -91.4, {"MO"}), ("Fargo", "ND", 46.9, -96.8, {"MN"}),
        ("Sioux City", "IA", 42.5, -96.4, {"NE", "SD"}), ("Toledo", "OH", 41.6, -83.6, {"MI"}),
        ("Greenville", "MS", 33.4, -91.1, {"AR"}), ("Texarkana", "AR", 33.4, -94.0, {"TX"}),
    ],
)  # fmt: skip
def test_the_nearest_neighbor_is_the_one_across_the_line(
    place: str, region: str, latitude: float, longitude: float, first: set[str]
) -> None:
    """Towns at a state line, whose neighbor any road map shows (geography, no source)."""
    found = nearest_neighbors(region, latitude, longitude, KNOWLEDGE)
    assert found[0] in first, place
    assert sorted(found) == sorted(KNOWLEDGE.neighbors[region])


def test_a_field_takes_the_nearest_of_its_neighbors_first() -> None:
    """West Virginia, without one for stink bugs: Ohio's at the river, Virginia's at its line."""
    pest = KNOWLEDGE.pests["stink-bugs"]
    assert not any(t.region == "WV" for t in pest.thresholds)

    def first(latitude: float, longitude: float) -> str:
        near = nearest_neighbors("WV", latitude, longitude, KNOWLEDGE)
        facts = FieldFacts(near=near)
        found = thresholds_at(pest, region="WV", stage="R4", knowledge=KNOWLEDGE, facts=facts)
        return found[0].threshold.region

    assert [first(39.3, -81.5), first(38.4, -79.4)] == ["OH", "VA"]


def test_thresholds_follow_the_state_of_the_field(tmp_path: Path) -> None:
    """The same counts in Tennessee and Mississippi are held against each state's own threshold."""
    folder = set_cells(build_season(tmp_path, fields=PAIR), "F2", state="MS")
    sets = sets_of("stink-bugs", (10, 11, 9, 10))
    seen = [visit(AS_OF, sets, field_id=name, stage="R4") for name in ("F1", "F2")]
    season = planned(folder, log_of(*seen), AS_OF)
    found = [one.assess_day(AS_OF) for one in season.fields]
    shown = [one.pests[0].threshold for one in found if one is not None]
    assert [one.threshold.region for one in shown if one is not None] == ["TN", "MS"]
    assert season.loaded.season.regions == ("TN", "MS")
    assert "regions Tennessee, Mississippi" in told(folder, "plan")
