"""The assess command: what a person sees and a program reads of one field's counts."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest
from commands import Ran, run_command
from documents import keys_said
from log_builder import at, log_of, logged, treatment
from season_builder import FieldLine, VisitLine, build_season, day, write_visits

from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedCount,
    LoggedSet,
    LoggedStand,
    LoggedVisit,
    ScoutingLog,
    StandPlace,
)
from stagecast.season.log.store import LogStore

AS_OF = "2026-07-21"

ROWS = ((3, 2, 0), (9, 0, 1), (2, 1, 0), (6, 4, 2))
"""Brown and green stink bugs, and large earworms, in four sets."""


def counted(rows: tuple[tuple[int, int, int], ...] = ROWS) -> tuple[LoggedSet, ...]:
    """Sets of 25 sweeps with three pests."""
    names = (("brown-stink-bug", "adults"), ("green-stink-bug", "nymphs"),
             ("corn-earworm", "large larvae"))  # fmt: skip
    return tuple(
        LoggedSet(
            i, 25.0, "sweeps",
            tuple(LoggedCount(*name, float(n)) for name, n in zip(names, row, strict=True)),
        )
        for i, row in enumerate(rows, 1)
    )  # fmt: skip


def visit(
    date: dt.date, *, stage: str | None = "R3", sets: tuple[LoggedSet, ...] | None = None,
    leaf_loss: float | None = 22.0,
) -> LoggedVisit:  # fmt: skip
    """A visit to F1."""
    taken = counted() if sets is None else sets
    return LoggedVisit(
        f"v-{date}", "F1", date, stage=stage, defoliation_percent=leaf_loss, sets=taken
    )


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season folder in Tennessee with one field."""
    return build_season(tmp_path_factory.mktemp("season"))


FULL = log_of(visit(day(7, 20)))
PLACES = tuple(map(StandPlace, (4, 6, 5, 3, 5)))
THIN = LoggedVisit("v-stand", "F1", day(5, 29), stand=LoggedStand(PLACES, hoop_in=30.0))
MONEY = ("--price", "10", "--cost", "14", "--loss-per-pest", "0.25", "--pest", "stink bugs")


def assess(
    season: Path, *more: str, log: ScoutingLog = FULL, as_of: str = AS_OF, columns: int = 80,
    field: str = "F1",
) -> Ran:  # fmt: skip
    """Run the command on a log."""
    with logged(log):
        return run_command("assess", season, field, "--as-of", as_of, *more, columns=columns)


def document(season: Path, *more: str, **where: Any) -> dict[str, Any]:
    """What the command prints for programs."""
    ran = assess(season, "--format", "json", *more, **where)
    assert (ran.code, ran.err) == (0, "")
    found = json.loads(ran.out)
    assert isinstance(found, dict)
    return found


# --- the screen -----------------------------------------------------------------------------


@pytest.mark.parametrize("columns", [80, 120])
def test_the_screen_fits_and_says_what_matters(season: Path, columns: int) -> None:
    """Counts, range, threshold, chance, answer and cautions, within the width of the screen."""
    ran = assess(season, *MONEY, columns=columns)
    assert (ran.code, ran.err) == (0, "")
    assert max(map(len, ran.out.splitlines())) <= columns
    text = " ".join(ran.out.split())
    for said in (
        "F1, counted Mon 20 Jul 2026", "beans at R3 (seen), region Tennessee",
        "stink bugs: near", "4 x 25 sweeps", "6.8 per 25 sweeps, 27 per 100",
        "threshold 9 bugs per 25 sweeps (Tennessee, R1-R6)", "brown stink bugs 20",
        "leaf loss: above", "guess too high", "Economic injury level",
        "pressure, for when to be back: above its", "which is not zero",
        "Up to 12%, before rounding, the answer is below", "consider, never spray",
    ):  # fmt: skip
        assert said in text, said
    assert text.index("consider, never spray") > text.index("leaf loss: above")


def test_the_answer_stands_in_the_row_of_its_pest(season: Path) -> None:
    """One row per pest or complex: mean, threshold and range, chance, answer."""
    out = assess(season, columns=120).out
    (row,) = [line for line in out.splitlines() if line.startswith("stink bugs  ")
              or line.startswith("stink bugs 6")]  # fmt: skip
    assert re.fullmatch(r"stink bugs +6\.8 of 9 per 25 sweeps \([\d.]+-[\d.]+\) +\d+% +near *", row)


def test_neither_colour_nor_markup_is_needed(season: Path) -> None:
    """Words carry the answer; nothing of a terminal's codes goes to a file."""
    assert "\x1b" not in assess(season).out


def test_a_field_without_counts_says_so_and_what_to_do(season: Path) -> None:
    """Nothing counted is no error; later visits are not known yet."""
    for log in (log_of(), log_of(visit(day(7, 22)))):
        ran = assess(season, log=log)
        assert (ran.code, ran.err) == (0, "")
        assert "nothing was counted up to 21 Jul" in ran.out
        assert "stagecast log add" in ran.out
    found = document(season, log=log_of())
    assert (found["visit"], found["pests"], found["pressure"]) == (None, [], None)


def test_a_field_under_restricted_entry_is_told_first(season: Path) -> None:
    """Until when, after what and by which rule; and that the counts may be from before."""
    log = log_of(visit(day(7, 20)), treatment(at(7, 20, 16, 30), 48))
    out = " ".join(assess(season, log=log).out.split())
    assert re.match(r"F1: [^.]*until Wed 22 Jul 16:30 \(Product A, 48 h", out)
    assert "40 CFR part 170" in out
    assert "Product A was applied 20 Jul 16:30: the counts may be from before it" in out
    found = document(season, log=log)
    assert found["no_entry_until"] == "2026-07-22T16:30"
    assert found["treated_since"] == [{"product": "Product A", "applied_at": "2026-07-20T16:30"}]
    earlier = log_of(visit(day(7, 20)), treatment(at(7, 10), 12))
    assert document(season, log=earlier)["treated_since"] == []


# --- which visit, which stage ---------------------------------------------------------------


def test_as_of_goes_back_to_the_visit_before(season: Path) -> None:
    """The last visit up to the day counts, and what was entered for later does not."""
    log = log_of(visit(day(7, 20)), visit(day(7, 13), stage="R2"))
    assert document(season, log=log)["visit"]["date"] == "2026-07-20"
    assert document(season, log=log, as_of="2026-07-19")["visit"]["date"] == "2026-07-13"


def test_the_stage_is_the_forecast_of_the_day_of_the_visit(season: Path) -> None:
    """Where nobody noted it: the stage of that day, not of the day asked for, and it is said."""
    log = log_of(visit(day(6, 10), stage=None))
    stages = run_command("stages", season, "--as-of", AS_OF, "--format", "json")
    dates = json.loads(stages.out)["fields"][0]["stages"]
    reached = [s for s, d in dates.items() if d["p50"] is not None and d["p50"] <= "2026-06-10"]
    found = document(season, log=log)
    assert (found["visit"]["stage"], found["visit"]["stage_seen"]) == (reached[-1], False)
    assert "(forecast for that day)" in assess(season, log=log).out
    bugs = next(pest for pest in found["pests"] if pest["pest"] == "stink-bugs")
    assert bugs["answer"] == "does not matter yet"
    assert bugs["mean_per_100_sweeps"] == 27


def test_a_stage_in_visits_csv_of_the_same_day_is_seen(tmp_path: Path) -> None:
    """A stage noted in the other file counts as seen."""
    season = build_season(tmp_path / "s")
    write_visits(season, [VisitLine("F1", day(7, 20), stage="R5")])
    found = document(season, log=log_of(visit(day(7, 20), stage=None)))
    assert (found["visit"]["stage"], found["visit"]["stage_seen"]) == ("R5", True)
    bugs = next(pest for pest in found["pests"] if pest["pest"] == "stink-bugs")
    assert bugs["threshold_per_set"] == 9


def test_less_than_half_of_the_plants_do_not_make_a_stage(season: Path) -> None:
    """R6 in 30 percent of plants: the field is not in R6 yet, whatever the forecast."""
    few = LoggedVisit("v", "F1", day(9, 20), stage="R6", share=0.3, sets=counted())
    found = document(season, log=log_of(few), as_of="2026-09-21")
    assert (found["visit"]["stage"], found["visit"]["stage_seen"]) == ("R5", False)


def test_fields_are_found_in_any_case_and_others_refused(tmp_path: Path) -> None:
    """f1 is F1; an unknown field is told with those there are."""
    season = build_season(tmp_path / "s", fields=[FieldLine("F1"), FieldLine("F2")])
    assert assess(season, field="f1").code == 0
    unknown = assess(season, field="F9")
    assert (unknown.code, unknown.out) == (2, "")
    assert unknown.err.strip().endswith("found 'F9'; accepted: F1, F2")


# --- documents ------------------------------------------------------------------------------


def keys(value: Any) -> set[str]:
    """All keys of a document, at every depth."""
    if isinstance(value, dict):
        return set(value) | {key for item in value.values() for key in keys(item)}
    return {key for item in value for key in keys(item)} if isinstance(value, list) else set()


def test_the_guide_names_every_key(tmp_path: Path) -> None:
    """And no other: what is documented is what is printed.

    In Delaware, which has worms by two prices and leaf loss by two conditions.
    """
    season = build_season(tmp_path / "delaware")
    settings = season / "season.toml"
    settings.write_text(settings.read_text("utf-8").replace('"TN"', '"DE"'), "utf-8")
    named = keys_said("`assess` with `--format json` has ") - {"null", "true", "sweeps"}
    rows = tuple(
        LoggedSet(i, 15.0, "sweeps", (LoggedCount("corn-earworm", "", 3.0),)) for i in (1, 2)
    )
    last = visit(day(7, 20), sets=(*counted(), *rows))
    log = log_of(THIN, last, treatment(at(7, 20, 16, 30), 48))
    found = document(season, *MONEY, log=log)
    assert all(found[part] for part in ("pests", "otherwise", "defoliation", "treated_since"))
    assert found["defoliation"]["otherwise"]
    assert keys(found) == named


def test_the_document_holds_the_numbers_of_the_screen(season: Path) -> None:
    """Means, lines and leaf loss of a case that can be worked out by hand."""
    found = document(season)
    bugs = found["pests"][0]
    assert bugs["pest"] == "stink-bugs"
    assert bugs["counted"] == [
        {"pest": "brown-stink-bug", "number": 20, "counts_as": 1},
        {"pest": "green-stink-bug", "number": 7, "counts_as": 1},
    ]
    assert (bugs["sets"], bugs["total"], bugs["mean_per_set"]) == (4, 27, 6.75)
    assert (bugs["mean_per_25_sweeps"], bugs["mean_per_100_sweeps"]) == (6.75, 27)
    assert bugs["threshold"]["region"] == "TN"
    assert bugs["low"] < 6.75 < bugs["high"]
    assert (bugs["answer"], bugs["missing_sets"], bugs["virtually_none"]) == ("near", 0, False)
    assert 0 < bugs["probability_above"] < 0.5
    assert found["defoliation"]["answer"] == "above"
    assert found["pressure"] == "near threshold"
    assert assess(season, "--format", "json").out == assess(season, "--format", "json").out


def test_the_injury_level_by_prices(season: Path) -> None:
    """$14 at $10 a bushel has to save 1.4 bushels; at a quarter bushel each that is 5.6 bugs."""
    level = document(season, *MONEY)["injury_level"]
    assert level["gain_threshold_bu_per_acre"] == 1.4
    assert (level["level"], level["per"], level["of"]) == (5.6, 25, "sweeps")
    percent = ("--price", "10", "--cost", "14", "--loss-percent", "0.5", "--yield", "50")
    assert document(season, *percent, "--pest", "stink bugs")["injury_level"] == level
    assert document(season)["injury_level"] is None


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--price", "10"), "--cost: missing"),
        (("--loss-per-pest", "1"), "--price: missing"),
        (("--pest", "stink bugs"), "--cost: missing"),
        (("--price", "10", "--cost", "5"), "--loss-per-pest: an injury level needs a loss"),
        (("--price", "10", "--cost", "5", "--loss-per-pest", "1"), "--pest: say which pest"),
        (("--price", "-1", "--cost", "5", "--loss-per-pest", "1"), "--price: not above 0"),
        ((*MONEY[:-1], "nonesuch"), "there is no such pest"),
    ],
)
def test_half_given_prices_are_refused_in_a_sentence(
    season: Path, options: tuple[str, ...], said: str
) -> None:
    """By the option that is missing or wrong, without a traceback, with exit code 2."""
    ran = assess(season, *options)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_a_season_folder_is_not_written_to(season: Path) -> None:
    """Asking changes nothing."""
    before = {p: p.stat().st_mtime_ns for p in season.rglob("*")}
    assess(season)
    assert {p: p.stat().st_mtime_ns for p in season.rglob("*")} == before


def test_a_pest_of_which_only_eggs_were_counted_was_not_looked_for(tmp_path: Path) -> None:
    """Eggs are no bugs, nor are they none: stink bugs stand among those not looked for."""
    season = build_season(tmp_path / "s", fields=[FieldLine("F1")])
    counts = (LoggedCount("stink-bugs", "eggs", 50.0), LoggedCount("soybean-looper", "", 2.0))
    seen = LoggedVisit(
        "v1", "F1", day(7, 20), stage="R3", sets=(LoggedSet(1, 25.0, "sweeps", counts),)
    )
    with logged(log_of(seen)):
        found = json.loads(run_command("assess", season, "F1", "--format", "json").out)
    assert "stink-bugs" in found["not_looked_for"]
    assert [pest["pest"] for pest in found["pests"]] == ["soybean-looper"]


def test_a_stage_beyond_reason_silences_no_count(tmp_path: Path) -> None:
    """Bugs far above their threshold stay so though a slip says R8 where the forecast says pods."""
    bugs = tuple(
        LoggedSet(i, 25.0, "sweeps", (LoggedCount("stink-bugs", "", 40.0),)) for i in range(1, 7)
    )
    answers = {}
    for stage in ("R3", "R8", "V1"):
        folder = build_season(tmp_path / stage)
        seen = visit(day(7, 20), stage=stage, sets=bugs, leaf_loss=None)
        LogStore(folder / LOG_FILE).add([seen], [], entered_at=at(7, 20, 18))
        ran = run_command("assess", folder, "F1", "--as-of", AS_OF, "--format", "json")
        told = json.loads(ran.out)
        assert told["visit"]["stage_seen"] == (stage == "R3")
        answers[stage] = [one["answer"] for one in told["pests"]]
    assert all(told == ["above"] for told in answers.values())


@pytest.mark.parametrize(
    ("planted", "threshold", "answer"), [(day(5, 20), 25, "near"), (day(6, 10), 15, "above")]
)
def test_the_day_of_planting_picks_the_rule_and_it_stands_alone(
    tmp_path: Path, planted: dt.date, threshold: float, answer: str
) -> None:
    """North Carolina 2025: 25 percent planted before 1 June, 15 after; the other is not shown."""
    folder = build_season(tmp_path, fields=[FieldLine(planting_date=planted)])
    settings = folder / "season.toml"
    settings.write_text(settings.read_text("utf-8").replace('"TN"', '"NC"'), "utf-8")
    log = log_of(visit(day(7, 20), stage="R3", sets=(), leaf_loss=20))
    found = document(folder, log=log)["defoliation"]
    assert (found["threshold"]["value"], found["answer"]) == (threshold, answer)
    assert found["otherwise"] == []
    said = assess(folder, log=log).out
    assert f"{threshold} percent leaf loss" in said
    assert f"{40 - threshold} percent leaf loss" not in said


# --- stand counts ---------------------------------------------------------------------------


def test_a_stand_count_alone_is_assessed(season: Path) -> None:
    """The numbers are those of counts/stand.py, which is held against published examples."""
    told = document(season, log=log_of(THIN))
    screen = assess(season, log=log_of(THIN), columns=200).out
    stand = told["stand"]
    assert told["visit"] is None
    assert (stand["date"], stand["counted"]) == ("2026-05-29", "30-inch hoop: 4, 6, 5, 3, 5")
    assert stand["plants_per_acre"] == pytest.approx(4.6 * 8_874, abs=5)
    assert stand["by_region"][0]["region"] == "IL"
    assert stand["by_region"][0]["replanted_percent"] == pytest.approx(87 - 8 * 5 / 15, abs=0.05)
    assert f"stand counted Fri 29 May 2026: {stand['stand_answer']}" in screen
    assert "below 50,000 plants/acre add seed between the rows" in screen
    assert "40,800 plants/acre" in screen


def test_a_stand_count_stands_beside_counts_and_in_the_history(season: Path) -> None:
    """Insects counted later do not hide it; the history has it on its day."""
    both = log_of(THIN, visit(day(7, 20)))
    told = document(season, log=both)
    assert told["pests"]
    with logged(both):
        past = run_command("history", season, "F1", "--as-of", AS_OF, columns=200).out
        rows = run_command("history", season, "F1", "--as-of", AS_OF, "--format", "csv").out
    assert re.search(rf"stand +40,800 plants/acre .*{told['stand']['stand_answer']}", past)
    assert f"40820.0,{told['stand']['stand_answer']}" in rows
