"""The rows of a visit's form: what is typed there is what is logged, and comes back as rows."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from stagecast.desk.entry.grid import (
    CALLED_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    cell_input,
    pest_input,
    room,
    rows_of_sets,
    sets_of_rows,
)
from stagecast.knowledge import load
from stagecast.knowledge.units import JUDGED
from stagecast.season.log.entries import LoggedCount, LoggedSet
from stagecast.season.log.sets import parse_set
from stagecast.season.settings.pest_names import PestNames

KNOWN = load()
NAMES = PestNames.of(KNOWN.pests)
UNITS = ("sweeps", "row-feet", "plants")
COUNTS = st.builds(
    LoggedCount,
    pest=st.sampled_from(sorted(KNOWN.pests)),
    life_stage=st.sampled_from(["", "adults", "nymphs", "large", "small"]),
    number=st.integers(0, 300).map(float),
)
SETS = st.builds(
    LoggedSet,
    number=st.just(1),
    size=st.sampled_from([1.0, 10.0, 25.0]),
    unit=st.sampled_from(UNITS),
    counts=st.lists(COUNTS, max_size=5, unique_by=lambda one: (one.pest, one.life_stage)).map(
        tuple
    ),
)


def together(one: LoggedSet) -> tuple[object, ...]:
    """What a set says, whatever the order in which it says it."""
    counts = {(count.pest, count.life_stage): count.number for count in one.counts}
    return one.number, one.size, one.unit, tuple(sorted(counts.items()))


@given(sets=st.lists(SETS, max_size=16))
def test_logged_sets_come_back_as_rows_and_lines(sets: list[LoggedSet]) -> None:
    """Rows and lines of a correction, sent as they are, say what the log says, set by set."""
    logged = [replace(one, number=number) for number, one in enumerate(sets, start=1)]
    values, lines = rows_of_sets(logged)
    texts, problems = sets_of_rows(values, NAMES)
    assert problems == []
    every = enumerate([*texts, *lines], start=1)
    again = [parse_set(text, number=number, names=NAMES) for number, text in every]
    assert list(map(together, again)) == list(map(together, logged))


def test_sets_alike_are_all_rows() -> None:
    """Twelve sets of one size with life stages fill the rows; a set of another size is a line."""
    bugs = (LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("stink-bugs", "nymphs", 0.0))
    sets = [LoggedSet(n, 25.0, "sweeps", bugs) for n in range(1, MOST_COLUMNS + 1)]
    values, lines = rows_of_sets(sets)
    assert lines == []
    assert (values["pest_0"], values["pest_1"]) == ("stink-bugs adults", "stink-bugs nymphs")
    assert values[cell_input(1, MOST_COLUMNS - 1)] == "0"
    assert room(values) == (6, MOST_COLUMNS)
    values, lines = rows_of_sets([*sets[:2], LoggedSet(3, 3.0, "row-feet", bugs)])
    assert lines == ["3 row-feet: stink-bugs adults 3, nymphs 0"]


@given(
    cells=st.dictionaries(
        st.sampled_from(sorted(set(CALLED_CELLS) - {"set_unit"})), st.text(max_size=12), max_size=9
    )
)
def test_whatever_is_in_the_rows_is_taken_or_told_at_its_input(cells: dict[str, str]) -> None:
    """Every text in a cell is a number that is logged, or has a problem at an input of the rows."""
    values = {"set_size": "25", "set_unit": "sweeps", "pest_0": "stink-bugs", **cells}
    lines, problems = sets_of_rows(values, NAMES)
    assert {problem.file for problem in problems} <= set(CALLED_CELLS.values())
    if not problems:
        for number, line in enumerate(lines, start=1):
            parse_set(line, number=number, names=NAMES)


def test_each_wrong_cell_is_told_at_its_cell() -> None:
    """A word, a number below 0, a pest that stands twice and a row without a pest: each by name."""
    values = {
        "set_size": "25", "set_unit": "sweeps",
        "pest_0": "stink-bugs", "count_0_0": "three", "count_0_1": "4",
        "pest_1": "stink-bugs", "count_1_1": "-4",
        "count_2_3": "7",
    }  # fmt: skip
    _, problems = sets_of_rows(values, NAMES)
    assert [problem.file for problem in problems] == [
        "Pest 3", "Pest 1, set 1", "Pest 2, set 2", "Pest 2, set 2",
    ]  # fmt: skip


def test_judged_sets_are_rows_too() -> None:
    """What is judged has a size of one, which the rows show and take back."""
    for unit in JUDGED:
        one = LoggedSet(1, 1.0, unit, (LoggedCount("leaf-feeders", "", 1.0),))
        values, lines = rows_of_sets([one])
        texts, problems = sets_of_rows(values, NAMES)
        assert (lines, problems) == ([], [])
        assert parse_set(texts[0], number=1, names=NAMES) == one


def test_names_of_inputs_are_all_there() -> None:
    """Every row and cell up to the most has an input of its own, with a name of its own."""
    assert len(set(CALLED_CELLS.values())) == len(CALLED_CELLS)
    assert pest_input(MOST_ROWS - 1) in CALLED_CELLS
