"""Minutes in a field and sets to take."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, log_of, planned, sets_of, visit
from season_builder import FieldLine, build_season, day

from stagecast.week.fields import sets_to_take
from stagecast.week.minutes import Pace, field_minutes, pace_of, sweeps_in_set, usual_pace
from stagecast.words.week import pace_text

METHODS = sorted(KNOWLEDGE.sampling)
USUAL = usual_pace(KNOWLEDGE)


def test_minutes_of_a_set_agree_with_the_published_difference() -> None:
    """A set of 25 sweeps took 3.6 minutes more than one of 10 (Crop Protection 157:105986)."""
    per_set = int(KNOWLEDGE.workday.field.per_set)
    assert per_set * (1 - 10 / 25) == pytest.approx(3.6)


def test_minutes_of_a_field_are_worked_out_by_hand() -> None:
    """160 acres are a quarter section, half a mile square: 1.609 km in and back, 24.1 minutes.

    With 8 minutes fixed, four sets of 25 sweeps at 6 minutes make 56.1, five places at 2 minutes
    42.1, two sets of 150 sweeps at 36 minutes 104.1; all rounded up.
    """
    assert field_minutes(160, "sweep-net", 4, KNOWLEDGE, USUAL) == 57
    assert field_minutes(160, "stand-look", 5, KNOWLEDGE, USUAL) == 43
    assert field_minutes(160, "long-sweep", 2, KNOWLEDGE, USUAL) == 105
    assert field_minutes(160, "", 0, KNOWLEDGE, USUAL) == 33


def test_nobody_walks_a_very_large_field_from_end_to_end() -> None:
    """The walk ends at 40 minutes: 8 + 24 + 40, however large the field."""
    assert field_minutes(5_000, "sweep-net", 4, KNOWLEDGE, USUAL) == 72
    assert field_minutes(50_000, "sweep-net", 4, KNOWLEDGE, USUAL) == 72


@given(
    acres=st.floats(0.1, 2000),
    more=st.floats(0, 2000),
    method=st.sampled_from(METHODS),
    number=st.integers(0, 20),
    extra=st.integers(0, 20),
)
def test_more_sets_and_acres_never_take_less_time(
    acres: float, more: float, method: str, number: int, extra: int
) -> None:
    """Minutes grow with sets and acres, are whole, and hold the fixed part."""
    less = field_minutes(acres, method, number, KNOWLEDGE, USUAL)
    assert int(KNOWLEDGE.workday.field.fixed) < less
    assert less <= field_minutes(acres + more, method, number + extra, KNOWLEDGE, USUAL)


def test_only_sweeps_come_in_sets() -> None:
    """The size of a set is read from the unit of every method that is swept, and of no other."""
    swept = {m: size for m in METHODS if (size := sweeps_in_set(m, KNOWLEDGE)) is not None}
    assert swept == {"sweep-net": 25, "long-sweep": 150, "inside-sweeps": 15}


@pytest.mark.parametrize("method", METHODS)
def test_a_visit_takes_the_methods_own_number(method: str) -> None:
    """Every method is planned with its declared number of sets, whatever was counted last."""
    assert sets_to_take(method, KNOWLEDGE) == int(KNOWLEDGE.sampling[method].sets)


def test_without_a_method_there_are_no_sets() -> None:
    """Where no window is open nothing is taken."""
    assert sets_to_take("", KNOWLEDGE) == 0


USUAL_MIN = field_minutes(40, "sweep-net", 4, KNOWLEDGE, USUAL)
"""Of four sets in a field of 40 acres, as the season below has it."""


PAIR = (FieldLine("F1"), FieldLine("F2"))
"""Two fields at one place, so that the drive takes no time."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of two fields."""
    return build_season(tmp_path_factory.mktemp("minutes"), fields=PAIR)


def pace(folder: Path, minutes: Sequence[int], *, tapped_late_min: int = 0, pause: int = 0) -> Pace:
    """The pace that one visit a day teaches, each with four sets of 25 sweeps, then another field.

    Both first taps come late by some minutes, and the last set is done that much before driving
    off; after a pause the scout drives.
    """
    begin, late = dt.datetime(2026, 6, 1, 8, 5), dt.timedelta(minutes=tapped_late_min)
    visits = []
    for number, took in enumerate(minutes):
        date, sets = day(6, 1 + number), sets_of("stink-bugs", (0, 1, 0, 2))
        leaves = begin + dt.timedelta(minutes=took)
        first = replace(
            visit(date, sets), arrived=(begin + late).time(),
            left=None if took < 2 * tapped_late_min else (leaves - late).time(),
        )  # fmt: skip
        there = (leaves + late + dt.timedelta(minutes=pause)).time()
        visits += [first, replace(visit(date, field_id="F2", stage="R2"), arrived=there)]
    return pace_of(planned(folder, log_of(*visits), day(7, 7)).loaded)


def test_timed_visits_teach_how_long_the_scouts_own_visits_take(folder: Path) -> None:
    """Five visits of half as long again make every visit half as long again, and it is said."""
    took = 3 * USUAL_MIN // 2
    found = pace(folder, [took] * 5)
    assert found.share == pytest.approx(took / USUAL_MIN, abs=2 / USUAL_MIN)
    planned_min = field_minutes(40, "sweep-net", 4, KNOWLEDGE, found)
    assert abs(planned_min - took) <= 1
    assert str(pace_text(found)).startswith(f"Your own {took} minutes a field from 5 timed visits")


def test_late_taps_and_an_early_end_do_not_make_visits_shorter(folder: Path) -> None:
    """Who taps first at the first set, and drives off after the walk back, takes as long in all."""
    late = pace(folder, [USUAL_MIN] * 5, tapped_late_min=8)
    assert late == pace(folder, [USUAL_MIN] * 5)


def test_a_visit_before_lunch_teaches_nothing(folder: Path) -> None:
    """More than the longest pause between leaving and the drive is no work in the field."""
    longest = int(KNOWLEDGE.workday.timed.longest_pause)
    assert pace(folder, [USUAL_MIN] * 5, pause=longest + 1) == USUAL
    assert pace(folder, [USUAL_MIN] * 5, pause=longest) != USUAL


def test_too_few_timed_visits_teach_nothing(folder: Path) -> None:
    """Four visits leave the usual minutes, and nothing is said."""
    assert pace(folder, [2 * USUAL_MIN] * 4) == USUAL
    assert pace_text(USUAL) is None


@given(
    minutes=st.lists(st.integers(USUAL_MIN // 2, 2 * USUAL_MIN), min_size=5, max_size=9),
    slips=st.lists(st.sampled_from([0, 1, 2, 300, 600]), max_size=4),
)
def test_slips_of_the_clock_teach_nothing(
    folder: Path, minutes: list[int], slips: list[int]
) -> None:
    """The median of what is possible stands, whatever was forgotten to be tapped."""
    found = pace(folder, minutes + slips)
    assert found.timed is not None
    assert found.timed.visits == len(minutes)
    assert found.timed.own_min == median(minutes)
    assert found == pace(folder, minutes)


@pytest.mark.parametrize(
    ("setting", "meant"),
    [
        ("minutes_per_set = 4.5", Pace(USUAL.fixed, 4.5)),
        ("minutes_per_field = 15", Pace(15, USUAL.per_set)),
    ],
)
def test_minutes_of_season_toml_stand_over_what_is_learnt(
    tmp_path: Path, setting: str, meant: Pace
) -> None:
    """What the person wrote holds, and the other number is as usual."""
    folder = build_season(tmp_path, fields=PAIR)
    file = folder / "season.toml"
    file.write_text(f"{file.read_text(encoding='utf-8')}[hours]\n{setting}\n", encoding="utf-8")
    assert pace(folder, [2 * USUAL_MIN] * 6) == meant


def test_the_route_and_check_say_whose_minutes_they_are(tmp_path: Path) -> None:
    """Minutes of a stop are the learnt ones, and `week` and `check` name the visits behind them."""
    folder = build_season(tmp_path, fields=PAIR)
    for number in range(5):
        date = f"2026-06-{20 + number}"
        said = ("--date", date, "--arrived", "8am", "--left", "9:30 am")
        sets = [one for _ in range(4) for one in ("--set", "25 sweeps: stink bugs 0")]
        assert run_command("log", "add", folder, "F1", *said, *sets).code == 0
        there = ("--date", date, "--arrived", "9:30", "--stage", "R1")
        assert run_command("log", "add", folder, "F2", *there).code == 0
    text = "Your own 90 minutes a field from 5 timed visits"
    as_of = ("--as-of", "2026-07-07")
    assert text in " ".join(run_command("check", folder, *as_of).out.split())
    shown = run_command("week", folder, *as_of, "--must", "F1", "--notes")
    assert text in " ".join(shown.out.split())
    told = json.loads(run_command("week", folder, *as_of, "--must", "F1", "--format", "json").out)
    assert told["own_minutes"] == {
        "visits": 5,
        "own_min": 90,
        "usual_min": pytest.approx(44, abs=9),
    }
    (stop,) = [s for one in told["days"] for s in one["stops"] if s["field_id"] == "F1"]
    arrive, leave = (dt.datetime.fromisoformat(stop[key]) for key in ("arrive", "leave"))
    assert leave - arrive > dt.timedelta(minutes=70)
