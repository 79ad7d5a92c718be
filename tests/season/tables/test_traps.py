"""traps.csv as people write it, and the events of a flight by the declared rules."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from documents import GUIDE
from hypothesis import given
from hypothesis import strategies as st
from season_builder import build_season

from stagecast.base.errors import SeasonProblems
from stagecast.knowledge import load
from stagecast.knowledge.texts import LONGEST_NAME
from stagecast.pests.traps.rules import EVENTS, Check, catch_day, flight
from stagecast.season.folder import read_season
from stagecast.season.rules import place_limits
from stagecast.season.settings.pest_names import PestNames
from stagecast.season.tables import traps as trap_columns
from stagecast.season.tables.traps import Catch, TrapsFile, read_traps

KNOWLEDGE = load()
RULES = KNOWLEDGE.traps
HEADER = "trap,date,pest,catch\n"
FULL = "trap,date,pest,catch,what,latitude,longitude\n"


def read(folder: Path, rows: str, header: str = HEADER) -> TrapsFile:
    """Write a traps.csv and read it as of the season of 2026."""
    (folder / "traps.csv").write_text(header + rows, encoding="utf-8")
    return read_traps(folder, year=2026, pests=KNOWLEDGE.pests, places=place_limits(KNOWLEDGE))


def told(file: TrapsFile) -> list[tuple[int | None, str | None]]:
    """Line and column of every problem."""
    return [(problem.line, problem.column) for problem in file.problems]


# --- the file ---------------------------------------------------------------------------------


def test_no_file_means_no_catches(tmp_path: Path) -> None:
    """The file is optional: without it there are no catches and no problems."""
    assert read_traps(tmp_path, year=2026, pests=None) == TrapsFile((), (), False)


@pytest.mark.parametrize("name", ["Traps.csv", "traps.xlsx", "trap.csv", "Trap catches.csv"])
def test_a_file_with_nearly_the_name_is_doubted(name: str, tmp_path: Path) -> None:
    """Catches saved under another name are not passed over in silence."""
    (tmp_path / name).write_text(HEADER, encoding="utf-8")
    if (tmp_path / "traps.csv").exists():
        pytest.skip("this file system does not tell capitals apart")
    (problem,) = read_traps(tmp_path, year=2026, pests=None).problems
    assert problem.doubtful
    assert (problem.file, problem.found) == ("traps.csv", name)


def test_a_check_is_read_as_it_stands(tmp_path: Path) -> None:
    """Trap, day in either order, pest, catch and place; and the screen can tell the order."""
    file = read(tmp_path, "Home,7/14/2026,corn-earworm,37.5,,36.1,-89.2\n", FULL)
    expected = Catch("Home", dt.date(2026, 7, 14), "corn-earworm", 37.5, "catch", 36.1, -89.2, 2)
    assert file == TrapsFile((expected,), (), True)


def test_the_guide_names_the_columns() -> None:
    """Every column of traps.csv stands in the table of files."""
    (line,) = re.findall(r"^\| `traps.csv` \| (.*)$", GUIDE["files"], re.MULTILINE)
    assert f"`{', '.join(trap_columns.COLUMNS)}`" in line
    assert all(f"`{column}`" in line for column in trap_columns.OPTIONAL_COLUMNS)
    assert f"first of {int(RULES.sustained_checks)} checks in a row" in line


def names_of(pest_id: str) -> tuple[str, ...]:
    """Everything a pest of the library is called."""
    pest = KNOWLEDGE.pests[pest_id]
    return (pest.id, pest.name, pest.short, *pest.also, *pest.scientific)


@pytest.mark.parametrize("pest_id", KNOWLEDGE.pests)
def test_a_pest_may_be_called_by_any_of_its_names(pest_id: str) -> None:
    """In capitals, with hyphens or doubled blanks: a name of one pest alone always means it.

    A Latin name that a complex shares with its species means the species.
    """
    names = PestNames.of(KNOWLEDGE.pests)
    pest = KNOWLEDGE.pests[pest_id]
    for name in names_of(pest_id):
        typed = f" {name.upper().replace(' ', '  ')} "
        narrower = [
            other
            for other, its in KNOWLEDGE.pests.items()
            if name in names_of(other) and len(its.scientific) < len(pest.scientific)
        ]
        bearers = [other for other in KNOWLEDGE.pests if name in KNOWLEDGE.pests[other].also]
        shared = tuple(bearers) if len(bearers) > 1 else ()
        assert names.find(typed) == (shared or tuple(narrower) or (pest_id,))


def test_a_name_of_two_pests_is_refused_with_both(tmp_path: Path) -> None:
    """Which of two is meant is never guessed."""
    one = KNOWLEDGE.pests["corn-earworm"]
    twin = one.model_copy(update={"id": "twin", "name": "twin worm"})
    (tmp_path / "traps.csv").write_text(HEADER + f"A,2026-07-01,{one.short},1\n", "utf-8")
    (problem,) = read_traps(tmp_path, year=2026, pests={one.id: one, "twin": twin}).problems
    assert (problem.column, problem.found) == ("pest", one.short)
    assert problem.accepted == "corn-earworm, twin"


def test_an_unknown_pest_is_refused_with_those_known(tmp_path: Path) -> None:
    """The person sees what could have been written."""
    (problem,) = read(tmp_path, "A,2026-07-01,corn earwig,1\n").problems
    assert (problem.line, problem.column, problem.found) == (2, "pest", "corn earwig")
    assert "corn-earworm" in str(problem.accepted)


def test_a_near_miss_is_told_what_was_probably_meant(tmp_path: Path) -> None:
    """A misspelt name is refused with the nearest; one that is like nothing is left at the list."""
    misspelt, strange = read(tmp_path, "A,2026-07-01,corn erworm,1\nA,2026-07-02,zzz,1\n").problems
    assert str(misspelt.next_step).startswith("did you mean corn-earworm")
    assert strange.next_step is None


def test_singular_and_plural_are_the_same_pest(tmp_path: Path) -> None:
    """Whichever the library has, a person may write the other."""
    names = ["looper", "stink bug", "aphid", "mite", "Corn Earworms"]
    rows = "".join(f"A,2026-07-0{n},{name},1\n" for n, name in enumerate(names, start=1))
    file = read(tmp_path, rows)
    assert file.problems == ()
    assert [catch.pest for catch in file.catches] == [
        "soybean-looper", "stink-bugs", "soybean-aphid", "twospotted-spider-mite", "corn-earworm",
    ]  # fmt: skip


def test_pests_are_left_unchecked_when_they_are_not_known(tmp_path: Path) -> None:
    """Where the pests could not be read, not every catch is wrong as well."""
    (tmp_path / "traps.csv").write_text(HEADER + "A,2026-07-01,No Such,1\n", "utf-8")
    file = read_traps(tmp_path, year=2026, pests=None)
    assert file.problems == ()
    assert [catch.pest for catch in file.catches] == ["no such"]


def test_past_years_are_read_and_later_ones_are_not(tmp_path: Path) -> None:
    """History may reach back; a day after the season's year cannot have been seen."""
    rows = "A,2009-07-01,earworm,1\nA,2026-12-31,earworm,1\nA,2027-01-01,earworm,1\n"
    file = read(tmp_path, rows)
    assert [catch.date.year for catch in file.catches] == [2009, 2026]
    assert told(file) == [(4, "date")]


@pytest.mark.parametrize(
    "typed", ["-1", "nan", "inf", "many", "3 moths", "1,200", "", "1e308", "1000000001"]
)
def test_what_is_no_catch_is_refused_at_its_column(typed: str, tmp_path: Path) -> None:
    """Negative, beyond all reason, no number or blank: one fault, and never an empty trap."""
    file = read(tmp_path, f'A,2026-07-01,earworm,"{typed}"\n')
    assert told(file) == [(2, "catch")]
    assert file.problems[0].found == (typed or None)
    assert file.catches == ()


def test_an_empty_trap_is_a_catch_of_nothing(tmp_path: Path) -> None:
    """0 is an answer; so is a mean of several traps."""
    file = read(tmp_path, "A,2026-07-01,earworm,0\nA,2026-07-08,earworm,0.25\n")
    assert [catch.count for catch in file.catches] == [0.0, 0.25]


@pytest.mark.parametrize(
    ("typed", "what"),
    [("", "catch"), ("Catch", "catch"), ("First  Eggs", "eggs"), ("first adult", "adults")],
)
def test_what_was_seen_is_read_in_any_case(typed: str, what: str, tmp_path: Path) -> None:
    """A line is a catch unless it says that a person saw the first eggs or adults."""
    (catch,) = read(tmp_path, f"A,2026-07-01,earworm,2,{typed},,\n", FULL).catches
    assert catch.what == what


def test_a_sighting_needs_no_catch_but_cannot_be_of_nothing(tmp_path: Path) -> None:
    """Blank is not known how many; 0 says that none were there."""
    rows = "A,2026-07-01,earworm,,first eggs,,\nA,2026-07-02,earworm,0,first eggs,,\n"
    file = read(tmp_path, rows, FULL)
    assert [(catch.count, catch.what) for catch in file.catches] == [(None, "eggs")]
    assert told(file) == [(3, "catch")]


def test_another_word_for_what_is_refused(tmp_path: Path) -> None:
    """Larvae are no biofix that is known here."""
    file = read(tmp_path, "A,2026-07-01,earworm,2,larvae,,\n", FULL)
    assert told(file) == [(2, "what")]
    assert "first eggs" in str(file.problems[0].accepted)


def test_the_same_check_twice_is_refused(tmp_path: Path) -> None:
    """Also when the pest goes by another name; a sighting beside a catch is something else."""
    rows = (
        "A,2026-07-01,corn earworm,1,,,\nA,7/1/2026,Helicoverpa zea,2,,,\n"
        "A,2026-07-01,earworm,,first eggs,,\nB,2026-07-01,earworm,1,,,\n"
    )
    file = read(tmp_path, rows, FULL)
    assert told(file) == [(3, "date")]
    assert "line 2" in file.problems[0].message
    assert [catch.line for catch in file.catches] == [2, 4, 5]


@pytest.mark.parametrize(
    ("place", "column"),
    [
        ("36.1,", "longitude"), (",-89.2", "latitude"), ("36.1,89.2", "longitude"),
        ("-89.2,36.1", "latitude"), ("36 06 N,-89.2", "latitude"), ("here,-89.2", "latitude"),
    ],
)  # fmt: skip
def test_half_a_place_or_a_wrong_one_is_refused(place: str, column: str, tmp_path: Path) -> None:
    """A missing half, a lost minus sign, a swap or minutes: one fault at its column."""
    file = read(tmp_path, f"A,2026-07-01,earworm,1,,{place}\n", FULL)
    assert told(file) == [(2, column)]
    assert file.catches == ()


def test_a_trap_stands_in_one_place(tmp_path: Path) -> None:
    """A second place for one name is refused; the place may be left out after it was told."""
    rows = (
        "A,2026-07-01,earworm,1,,36.1,-89.2\nA,2026-07-08,earworm,1,,,\n"
        "A,2026-07-15,earworm,1,,36.10,-89.20\nA,2026-07-22,earworm,1,,36.2,-89.2\n"
    )
    file = read(tmp_path, rows, FULL)
    assert told(file) == [(5, "latitude")]
    assert "line 2" in file.problems[0].message


def test_a_trap_spelled_in_two_ways_is_doubted(tmp_path: Path) -> None:
    """Two names that read alike may split one trap's history, so both are kept and told."""
    file = read(tmp_path, "Home Barn,2026-07-01,earworm,1\nhome barn,2026-07-08,earworm,1\n")
    (problem,) = file.problems
    assert problem.doubtful
    assert (problem.line, problem.column) == (3, "trap")
    assert len(file.catches) == 2


def test_all_faults_are_told_in_one_pass(tmp_path: Path) -> None:
    """Every cell of a row that is wrong, and an invisible character in a name."""
    file = read(tmp_path, ",2026-02-30,wolf,-3\nA\u200bB,2026-07-01,earworm,1\n")
    expected = [(2, "trap"), (2, "date"), (2, "pest"), (2, "catch"), (3, "trap")]
    assert told(file) == expected


def test_a_missing_column_is_told_once(tmp_path: Path) -> None:
    """A header without the catch is one problem, not one on every line."""
    rows = "".join(f"A,2026-07-{day:02},earworm\n" for day in range(1, 20))
    file = read(tmp_path, rows, "trap,date,pest\n")
    assert [problem.column for problem in file.problems] == ["catch"]
    assert file.catches == ()


def test_the_same_fault_on_many_lines_is_folded(tmp_path: Path) -> None:
    """A few are told in full, and then how many more there are."""
    file = read(tmp_path, "".join(f"A,2026-07-{day:02},wolf,1\n" for day in range(1, 32)))
    assert len(file.problems) < 8
    assert "26 more" in file.problems[-1].message


def test_what_is_folded_comes_after_what_is_told(tmp_path: Path) -> None:
    """Lines of too few cells and lines of a wrong pest: each kind is counted after its cases."""
    rows = "".join(f"A,2026-07-{day:02},wolf,1\nA,B\n" for day in range(1, 21))
    file = read(tmp_path, rows)
    assert [problem.line for problem in file.problems] == list(range(2, 14))
    assert [n for n, p in enumerate(file.problems) if "15 more" in p.message] == [10, 11]


def test_names_longer_than_a_line_are_refused(tmp_path: Path) -> None:
    """Of a trap and of a pest; eighty letters are as many as either may have."""
    long = "x" * (LONGEST_NAME + 1)
    name = "corn earworm" + "m" * LONGEST_NAME
    file = read(tmp_path, f"{long},2026-07-01,earworm,1\nA,2026-07-01,{name},1\n")
    assert told(file) == [(2, "trap"), (3, "pest")]
    assert "81 characters" in file.problems[0].message
    assert read(tmp_path, f"{long[1:]},2026-07-01,earworm,1\n").problems == ()


def test_pests_whose_own_file_is_wrong_are_not_wrong_again(tmp_path: Path) -> None:
    """Under any of their names; another unknown one is told all the same."""
    (tmp_path / "traps.csv").write_text(
        HEADER + "A,2026-07-01,Leaf Miners,1\nA,2026-07-02,unicorn,1\n", "utf-8"
    )
    unread = {"leaf-miner"}
    file = read_traps(tmp_path, year=2026, pests=KNOWLEDGE.pests, unread=unread)
    assert told(file) == [(3, "pest")]
    (catch,) = file.catches
    assert catch.pest == "leaf miner"


def test_the_season_folder_holds_the_catches(tmp_path: Path) -> None:
    """They are read with the rest of the folder, doubts and order of dates included."""
    folder = build_season(tmp_path)
    read(folder, "Home,7/1/2025,earworm,3\nhome,2026-07-01,earworm,4\n")
    season = read_season(folder)
    assert [catch.count for catch in season.catches] == [3.0, 4.0]
    assert season.us_order == ("traps.csv",)
    assert [doubt.file for doubt in season.doubts] == ["traps.csv"]


def test_a_season_with_faulty_catches_is_refused(tmp_path: Path) -> None:
    """Along with what is wrong in the other files."""
    folder = build_season(tmp_path)
    read(folder, "Home,2026-07-01,wolf,3\n")
    (folder / "visits.csv").write_text("field_id,date,pressure\nF9,2026-07-01,some\n", "utf-8")
    with pytest.raises(SeasonProblems) as caught:
        read_season(folder)
    assert [problem.file for problem in caught.value.problems] == ["visits.csv", "traps.csv"]


# --- first, sustained, middle, peak -----------------------------------------------------------


def test_a_flight_worked_by_hand() -> None:
    """Checks of every week: each event can be pointed at.

    Of 40 in all, 20 are caught half-way: 0 + 2 + 0 + 6 by day 28, and 12 of the 24 of the week
    to day 35, so at day 31.5. The 2 of day 14 stand alone; two in a row begin on day 28.
    """
    checks = [(7, 0), (14, 2), (21, 0), (28, 6), (35, 24), (42, 8), (49, 0)]
    found = flight(checks, RULES)
    assert int(RULES.sustained_checks) == 2
    assert (found.first, found.sustained, found.middle, found.peak) == (14, 28, 31.5, 35)
    assert not found.open_start


def test_a_catch_below_the_least_is_nothing() -> None:
    """Half an insect a trap is no first catch, and no part of the middle either."""
    found = flight([(1, 0.5), (2, 0.9), (3, 1.0), (4, 0.5)], RULES)
    assert int(RULES.least_catch) == 1
    assert (found.first, found.middle, found.peak, found.sustained) == (3, 2.5, 3, None)


def test_a_flight_caught_at_once_has_an_open_start() -> None:
    """Nobody knows what flew before the first check, nor over how many days that was caught."""
    found = flight([(10, 8), (17, 1)], RULES)
    assert found.open_start
    assert (found.first, found.middle) == (10, 10)


def test_a_peak_is_one_when_a_later_check_caught_fewer() -> None:
    """The largest catch so far may be the flank of a rising flight."""
    rising = [(1, 2.0), (8, 5.0)]
    assert flight(rising, RULES).peak is None
    assert flight([*rising, (15, 5.0)], RULES).peak is None
    assert flight([*rising, (15, 5.0), (22, 4.0)], RULES).peak == 8
    assert flight([*rising, (15, 4.0), (22, 5.0)], RULES).peak == 8


@pytest.mark.parametrize("checks", [[], [(1, 0)], [(1, 0), (2, 0.5)]])
def test_without_a_catch_there_is_no_event(checks: list[Check]) -> None:
    """Never is None, not a day."""
    found = flight(checks, RULES)
    assert [found.day(event) for event in EVENTS] == [None] * 4


def test_an_event_has_a_calendar_day() -> None:
    """Dated checks give a date: the middle is the day on which half is passed."""
    start = dt.date(2026, 7, 1)
    checks = [(start, 0.0), (start + dt.timedelta(7), 4.0), (start + dt.timedelta(14), 3.0)]
    assert catch_day(checks, "first", rules=RULES) == dt.date(2026, 7, 8)
    # 3.5 of the 4 of seven days: 6.125 days after 1 July.
    assert catch_day(checks, "middle", rules=RULES) == dt.date(2026, 7, 7)
    assert catch_day(checks[:1], "first", rules=RULES) is None


CHECKS = st.lists(
    st.tuples(st.integers(0, 300), st.floats(0, 1000) | st.just(0.0)),
    max_size=25,
    unique_by=lambda check: check[0],
)


@given(CHECKS)
def test_events_come_in_their_order_and_within_the_checks(checks: list[Check]) -> None:
    """First is neither after sustained nor after the peak; all lie between the checks.

    The middle can lie before the first check that caught something, whose insects flew in
    the days before it, yet never before the check before that one.
    """
    found = flight(checks, RULES)
    days = sorted(day for day, _ in checks)
    for event in EVENTS:
        day = found.day(event)
        assert (day is None) or days[0] <= day <= days[-1]
    if found.first is None:
        assert [found.day(event) for event in EVENTS] == [None] * 4
        return
    assert found.sustained is None or found.first <= found.sustained
    assert found.peak is None or found.first <= found.peak
    assert found.middle is not None
    before = [day for day in days if day < found.first]
    assert (before[-1] if before else found.first) <= found.middle


@given(CHECKS, st.randoms(use_true_random=False))
def test_the_order_of_lines_does_not_matter(checks: list[Check], random: object) -> None:
    """A file sorted otherwise tells the same flight."""
    shuffled = list(checks)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert flight(shuffled, RULES) == flight(checks, RULES)


@given(CHECKS, st.integers(-400, 400))
def test_a_flight_later_by_some_days_is_the_same_flight_later(
    checks: list[Check], shift: int
) -> None:
    """No event knows the calendar."""
    found = flight(checks, RULES)
    later = flight([(day + shift, count) for day, count in checks], RULES)
    for event in EVENTS:
        day = found.day(event)
        expected = None if day is None else pytest.approx(day + shift)
        assert later.day(event) == expected


@given(CHECKS)
def test_half_is_caught_by_the_middle(checks: list[Check]) -> None:
    """Spreading each catch over the days before its check, half of all lies on either side."""
    counted = [(day, count if count >= 1 else 0.0) for day, count in sorted(checks)]
    middle = flight(checks, RULES).middle
    total = sum(count for _, count in counted)
    if middle is None:
        assert total == 0
        return
    by_then, before = 0.0, counted[0][0]
    for day, count in counted:
        length = day - before
        share = min(max((middle - before) / length, 0.0), 1.0) if length else float(day <= middle)
        by_then, before = by_then + share * count, day
    if middle > counted[0][0]:
        assert by_then == pytest.approx(total / 2)
    else:  # the first check alone was half or more
        assert counted[0][1] >= total / 2 or by_then == pytest.approx(total / 2)


def test_a_column_called_station_is_read_and_named_in_its_faults(tmp_path: Path) -> None:
    """Tables from before the column was called trap read the same; faults name their column."""
    rows = "A,2026-07-01,corn-earworm,3\n,2026-07-02,corn-earworm,3\n"
    old = read(tmp_path, rows, "station,date,pest,catch\n")
    assert [catch.trap for catch in old.catches] == ["A"]
    assert told(old) == [(3, "station")]
    assert told(read(tmp_path, rows)) == [(3, "trap")]


def test_a_trap_named_under_two_columns_is_refused(tmp_path: Path) -> None:
    """With trap and station both there, nobody can know which is meant; both are named."""
    file = read(tmp_path, "A,B,2026-07-01,corn-earworm,3\n", "trap,station,date,pest,catch\n")
    (problem,) = file.problems
    assert not problem.doubtful
    assert "trap and under station" in problem.message
