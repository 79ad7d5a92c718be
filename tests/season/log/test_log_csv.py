"""The scouting log as a table: all or nothing, the same twice as once, and back as it was."""

from __future__ import annotations

import datetime as dt
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from season_builder import day

from stagecast.base.errors import StoreError
from stagecast.knowledge import load
from stagecast.season.log.cells import COLUMNS, LogNames, time_of, unit_called
from stagecast.season.log.entries import (
    LARGEST_SET,
    LOG_FILE,
    LONGEST_TEXT,
    SMALLEST_SET,
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    settled_treatment,
    settled_visit,
    why_no_text,
)
from stagecast.season.log.sets import parse_set, set_text
from stagecast.season.log.store import LogStore
from stagecast.season.log.table import (
    HEADER,
    LogTable,
    read_log_csv,
    save_log_csv,
    write_log_csv,
)
from stagecast.season.settings.pest_names import PestNames

PESTS = PestNames.of(load().pests)
FIELDS = frozenset({"F1", "F2", "Feld ä"})
NAMES = LogNames(2026, FIELDS, PESTS)
NOW = dt.datetime(2026, 7, 6, 15, 0)

TYPED = """\
field_id,date,stage,share_percent,who,set,size,of,pest,life_stage,count
F1,7/6/2026,r3,60,Ann,1,25,sweeps,stink bugs,Adults,3
F1,2026-07-06,,,,1,25,sweeps,Helicoverpa zea,,0
F1,2026-07-06,,,,2,25,sweeps,stink bug,nymphs,1.5
F2,2026-07-06,V5,,,,,,,,
F2,2026-07-07,,,,1,3,row feet,,,
"""


def read(folder: Path, text: str | bytes) -> LogTable:
    """Read a table from its text."""
    path = folder / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_log_csv(path, names=NAMES)


def rows(*lines: dict[str, str]) -> str:
    """A table with all columns, of rows that give only some cells."""
    body = (",".join(line.get(name, "") for name in COLUMNS) for line in lines)
    return "\n".join([HEADER, *body, ""])


def seen(**cells: str) -> dict[str, str]:
    """A row of a visit."""
    return {"field_id": "F1", "date": "2026-07-06", **cells}


def done(**cells: str) -> dict[str, str]:
    """A row of a treatment."""
    known = {"kind": "treatment", "product": "x", "time": "14:30", "reentry_hours": "12"}
    return seen(**{**known, **cells})


# --- what is read ---------------------------------------------------------------------------


def test_a_table_as_a_person_types_it(tmp_path: Path) -> None:
    """Rows of a field and day are one visit; what it says once need not stand on every row."""
    table = read(tmp_path, TYPED)
    assert table.problems == ()
    assert table.us_order
    first, second, third = table.visits
    assert (first.field_id, first.date, first.who) == ("F1", day(7, 6), "Ann")
    assert (first.stage, first.share) == ("R3", 0.6)
    assert first.sets == (
        LoggedSet(1, 25.0, "sweeps", (
            LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("corn-earworm", "", 0.0))),
        LoggedSet(2, 25.0, "sweeps", (LoggedCount("stink-bugs", "nymphs", 1.5),)),
    )  # fmt: skip
    assert (second.stage, second.sets) == ("V5", ())
    assert third.sets == (LoggedSet(1, 3.0, "row-feet", ()),)
    assert [table.lines[visit.visit_id] for visit in table.visits] == [2, 5, 6]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", ";").replace("1.5", "1,5"),
        lambda text: text.replace(",", "\t"),
        lambda text: text + "\n\n,,,,,,,,,,\n",
        lambda text: text.replace("field_id,date", "Field_ID , DATE"),
    ],
)
def test_how_a_spreadsheet_saved_it_makes_no_difference(tmp_path: Path, change: object) -> None:
    """Byte order mark, line ends, separators, decimal commas, blank lines: the same entries."""
    table = read(tmp_path, change(TYPED))  # type: ignore[operator]
    assert table.problems == ()
    assert table.visits == read(tmp_path, TYPED).visits


def test_a_treatment_is_one_row(tmp_path: Path) -> None:
    """With its time, its two intervals and its notes; the second may be blank."""
    table = read(tmp_path, rows(done(notes="wind", time="2:30 pm"), done(preharvest_days="30")))
    assert table.problems == ()
    first, second = table.treatments
    assert first.applied_at == dt.datetime(2026, 7, 6, 14, 30)
    assert (first.reentry_hours, first.preharvest_days, first.notes) == (12.0, None, "wind")
    assert (second.preharvest_days, second.product) == (30.0, "x")


def test_visits_of_one_day_are_told_apart_by_their_ids(tmp_path: Path) -> None:
    """With a visit_id each, two people may walk the same field on the same day."""
    table = read(tmp_path, rows(seen(visit_id="a", stage="R3"), seen(visit_id="b", stage="R4")))
    assert table.problems == ()
    assert [(v.visit_id, v.stage) for v in table.visits] == [("a", "R3"), ("b", "R4")]


COUNT = {"set": "1", "size": "25", "of": "sweeps", "pest": "stink bugs", "count": "3"}


@pytest.mark.parametrize(
    ("line", "column"),
    [
        (seen(field_id="F9"), "field_id"),
        (seen(field_id=""), "field_id"),
        (seen(date=""), "date"),
        (seen(date="5-4-2026"), "date"),
        (seen(date="2025-07-06"), "date"),
        (seen(kind="look"), "kind"),
        (seen(stage="R9"), "stage"),
        (seen(stage="R3", share_percent="120"), "share_percent"),
        (seen(share_percent="50"), "share_percent"),
        (seen(defoliation_percent="101"), "defoliation_percent"),
        (seen(defoliation_percent="some"), "defoliation_percent"),
        (seen(visit_id="a\u202eb"), "visit_id"),
        (seen(corrects="x" * 65), "corrects"),
        (seen(notes="x" * (LONGEST_TEXT + 1)), "notes"),
        (seen(product="y"), "product"),
        (seen(**COUNT, time="14:30"), "time"),
        (seen(**{**COUNT, "set": ""}), "size"),
        (seen(**{**COUNT, "set": "0"}), "set"),
        (seen(**{**COUNT, "set": "1.5"}), "set"),
        (seen(**{**COUNT, "set": "first"}), "set"),
        (seen(**{**COUNT, "size": ""}), "size"),
        (seen(**{**COUNT, "size": "0"}), "size"),
        (seen(**{**COUNT, "size": "nan"}), "size"),
        (seen(**{**COUNT, "of": ""}), "of"),
        (seen(**{**COUNT, "of": "swipes"}), "of"),
        (seen(**{**COUNT, "pest": "gobblers"}), "pest"),
        (seen(**{**COUNT, "pest": ""}), "count"),
        (seen(**{**COUNT, "count": ""}), "count"),
        (seen(**{**COUNT, "count": "-1"}), "count"),
        (seen(**{**COUNT, "count": "many"}), "count"),
        (done(product=""), "product"),
        (done(time=""), "time"),
        (done(time="25:00"), "time"),
        (done(reentry_hours=""), "reentry_hours"),
        (done(reentry_hours="-1"), "reentry_hours"),
        (done(preharvest_days="soon"), "preharvest_days"),
        (done(who="Ann"), "who"),
        (done(pest="stink bugs"), "pest"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(
    tmp_path: Path, line: dict[str, str], column: str
) -> None:
    """Line, column, what stands there, and what is accepted or to be done about it."""
    table = read(tmp_path, rows(seen(field_id="F2", stage="R3"), line))
    problem = next(p for p in table.problems if p.column == column)
    assert (problem.file, problem.line, problem.doubtful) == ("log.csv", 3, False)
    assert problem.found == (line.get(column) or None)
    assert problem.accepted or problem.next_step


def test_every_problem_of_every_row_is_told(tmp_path: Path) -> None:
    """One pass tells all of them, in the order of the file."""
    table = read(
        tmp_path,
        rows(
            seen(stage="R9", date="2025-01-01"),
            done(time="late"),
            seen(field_id="F2", **{**COUNT, "pest": "gobblers"}),
            seen(field_id="F2", **{**COUNT, "count": "few"}),
        )
        + "short,row\n",
    )
    told = [(problem.line, problem.column) for problem in table.problems]
    assert sorted(told, key=str) == sorted(
        [(2, "stage"), (2, "date"), (3, "time"), (4, "pest"), (5, "count"), (6, None)], key=str
    )
    assert [line for line, _ in told] == sorted(line for line, _ in told if line)


@pytest.mark.parametrize(
    ("second", "column"),
    [
        (seen(**COUNT, stage="R4"), "stage"),
        (seen(**COUNT, notes="other"), "notes"),
        (seen(**{**COUNT, "pest": "corn-earworm", "size": "10"}), "size"),
        (seen(**{**COUNT, "pest": "corn-earworm", "of": "plants"}), "of"),
        (seen(**COUNT), "pest"),
    ],
)
def test_rows_that_contradict_one_another_are_told(
    tmp_path: Path, second: dict[str, str], column: str
) -> None:
    """Which of two is right is never guessed."""
    table = read(tmp_path, rows(seen(**COUNT, stage="R3", notes="one"), second))
    assert (3, column) in [(p.line, p.column) for p in table.problems]


def test_a_fault_on_a_later_row_of_a_visit_has_its_own_line(tmp_path: Path) -> None:
    """A cell that a visit says only once is told where it stands."""
    table = read(tmp_path, rows(seen(**COUNT), seen(**{**COUNT, "set": "2"}, stage="R9")))
    (problem,) = table.problems
    assert (problem.line, problem.column, problem.found) == (3, "stage", "R9")


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("", None),
        ("date,stage\n2026-07-06,R3\n", "field_id"),
        ("field,date\nF1,2026-07-06\n", "field_id"),
    ],
)
def test_a_table_without_its_columns_is_told_once(
    tmp_path: Path, text: str, column: str | None
) -> None:
    """A file that is none of this kind has one problem, not one for every row."""
    errors = [p for p in read(tmp_path, text).problems if not p.doubtful]
    assert [problem.column for problem in errors] == [column]


def test_a_treatment_typed_twice_is_logged_once(tmp_path: Path) -> None:
    """Without ids it is doubted; with the same id twice it is refused."""
    table = read(tmp_path, rows(done(), done()))
    (doubt,) = table.problems
    assert (doubt.line, doubt.doubtful, len(table.treatments)) == (3, True, 1)
    table = read(tmp_path, rows(done(visit_id="t1"), done(visit_id="t1", product="y")))
    assert [(p.line, p.column, p.doubtful) for p in table.problems] == [(3, "visit_id", False)]


def test_names_that_cannot_be_checked_are_taken(tmp_path: Path) -> None:
    """Where fields.csv or the year could not be read, nothing is refused for their sake."""
    path = tmp_path / "log.csv"
    path.write_text(rows(seen(field_id="F9", date="2025-07-06")), encoding="utf-8")
    assert read_log_csv(path, names=LogNames(None, None, PESTS)).problems == ()


# --- there and back -------------------------------------------------------------------------


def test_the_table_of_a_log_is_documented_column_by_column() -> None:
    """One header, whose columns are those that are read."""
    assert write_log_csv(ScoutingLog()) == HEADER + "\n"
    assert HEADER.split(",") == list(COLUMNS)


def test_what_a_person_typed_comes_back_settled_and_stays(tmp_path: Path) -> None:
    """Export of what was imported reads back as the same entries and the same bytes."""
    first = read(tmp_path, TYPED)
    text = write_log_csv(ScoutingLog(first.visits, first.treatments))
    second = read(tmp_path, text)
    assert second.problems == ()
    assert second.visits == first.visits
    assert write_log_csv(ScoutingLog(second.visits, second.treatments)) == text


HOSTILE = [
    '"', '""', "a,b", "a;b", "a\tb", "a\nb", "a\r\nb", "a\rb", "=1+1", "'=1+1", "-5 plants", "@x",
    "\u202eevil\u202c", "مرحبا", "👩‍🌾🌱", "x" * 10_000, "\x0b", "a\x85b", "\u2028", "\ufeffx",
    "NULL", "\\n", "'; DROP TABLE visit; --", "%s{}", "visit", "\x1b[31mred",
]  # fmt: skip
TEXTS = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=20),
).filter(lambda text: why_no_text(text) is None)
NUMBERS = st.one_of(
    st.integers(0, 500).map(float), st.floats(0, 1e6, allow_subnormal=False), st.just(1e6)
)
COUNTS = st.builds(
    LoggedCount, st.sampled_from(["stink-bugs", "corn-earworm", "soybean-aphid"]), TEXTS, NUMBERS
)
SETS = st.builds(
    LoggedSet,
    st.integers(1, 10_000),
    NUMBERS.filter(lambda size: SMALLEST_SET <= size <= LARGEST_SET),
    st.sampled_from(
        ["sweeps", "row-feet", "row-metres", "plants", "leaflets", "square-yards", "minutes"]
    ),
    st.lists(
        COUNTS, max_size=3, unique_by=lambda c: (c.pest, " ".join(c.life_stage.lower().split()))
    ).map(tuple),
)
PERCENTS = st.integers(100, 10_000).map(lambda hundredths: hundredths / 10_000)
STAGES = st.one_of(
    st.tuples(st.none(), st.none()),
    st.tuples(st.sampled_from(["VE", "V12", "R3"]), st.none() | st.just(0.0) | PERCENTS),
)
DAYS = st.dates(dt.date(2026, 1, 1), dt.date(2026, 12, 31))


@st.composite
def visits(draw: st.DrawFn) -> LoggedVisit:
    """Any visit that a log of the season can hold, as it is stored."""
    stage, share = draw(STAGES)
    visit = LoggedVisit(
        "",
        draw(st.sampled_from(sorted(FIELDS))),
        draw(DAYS),
        draw(TEXTS),
        stage,
        share,
        draw(TEXTS),
        draw(st.none() | st.integers(0, 1000).map(lambda tenths: tenths / 10)),
        draw(TEXTS),
        draw(TEXTS),
        tuple(draw(st.lists(SETS, max_size=3, unique_by=lambda one: one.number))),
    )
    return settled_visit(visit)


TREATMENTS = st.builds(
    Treatment,
    st.just(""),
    st.sampled_from(sorted(FIELDS)),
    TEXTS.filter(str.strip),
    st.builds(dt.datetime.combine, DAYS, st.times()),
    st.floats(0, 8_760, allow_subnormal=False),
    st.none() | st.integers(0, 3_650).map(float),
    TEXTS,
).map(settled_treatment)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seen=st.lists(visits(), max_size=3, unique_by=lambda v: v.visit_id),
    applied=st.lists(TREATMENTS, max_size=2, unique_by=lambda t: t.treatment_id),
)
def test_any_log_goes_out_and_comes_back(seen: list[LoggedVisit], applied: list[Treatment]) -> None:
    """Through a table and through the file: the same entries, the same bytes, known the next time.

    Texts are hostile: quotes, line ends, right-to-left marks, formulas, ten thousand characters.
    """
    entries = ScoutingLog(tuple(seen), tuple(applied))
    text = write_log_csv(entries)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "log.csv"
        save_log_csv(path, text)
        table = read_log_csv(path, names=NAMES)
        assert [p for p in table.problems if not p.doubtful] == []
        assert (table.visits, table.treatments) == (entries.visits, entries.treatments)
        store = LogStore(folder / LOG_FILE)
        report = store.add(table.visits, table.treatments, entered_at=NOW)
        assert len(report.new) == len(seen) + len(applied)
        assert store.all_entries() == entries
        assert write_log_csv(store.all_entries()) == text
        again = store.add(table.visits, table.treatments, entered_at=NOW)
        assert (again.new, set(again.known)) == ((), set(report.new))


CELLS = st.sampled_from(
    ["", "F1", "2026-07-06", "7/6/2026", "R3", "60", "1", "25", "sweeps", "stink bugs", "3",
     "treatment", "visit", "x", "14:30", "-1", "nan", '"', "a\nb", "\x1f", "é"]
)  # fmt: skip
ROWS = st.lists(st.lists(CELLS, max_size=24).map(",".join), max_size=6).map("\n".join)


@settings(max_examples=150, deadline=None)
@given(
    data=st.binary(max_size=200)
    | (st.text(max_size=200) | ROWS).map(
        lambda text: f"{HEADER}\n{text}".encode("utf-8", "surrogatepass")
    )
)
def test_no_file_breaks_the_reader(data: bytes) -> None:
    """Whatever stands in it: problems in words, and entries that read back as themselves."""
    with tempfile.TemporaryDirectory() as name:
        table = read(Path(name), data)
        assert all(problem.sentence().startswith("log.csv") for problem in table.problems)
        again = read(Path(name), write_log_csv(ScoutingLog(table.visits, table.treatments)))
        assert again.problems == ()
        assert (again.visits, again.treatments) == (table.visits, table.treatments)


def test_corrections_go_out_and_come_back(tmp_path: Path) -> None:
    """Corrected entries are exported too, and in another log they are corrected again."""
    store = LogStore(tmp_path / LOG_FILE)
    old = settled_visit(LoggedVisit("", "F1", day(7, 6), stage="R3"))
    new = settled_visit(replace(old, visit_id="", stage="R4", corrects=old.visit_id))
    store.add([old, new], entered_at=NOW)
    table = read(tmp_path, write_log_csv(store.all_entries()))
    copy = LogStore(tmp_path / "copy.sqlite")
    copy.add(table.visits, table.treatments, entered_at=NOW)
    assert copy.all_entries() == store.all_entries()
    assert copy.read().visits == (new,)


# --- saving ---------------------------------------------------------------------------------


def test_sets_of_a_whole_scale_go_out_and_come_back(tmp_path: Path) -> None:
    """Earlier logs hold sets of 100 percent and 10 rating: their export is taken, ids and all."""
    sets = (
        LoggedSet(1, 100.0, "percent", (LoggedCount("bean-leaf-beetle", "", 10.0),)),
        LoggedSet(2, 10.0, "rating", (LoggedCount("twospotted-spider-mite", "", 3.0),)),
    )
    visit = settled_visit(LoggedVisit("", "F1", day(7, 6), sets=sets))
    back = read(tmp_path, write_log_csv(ScoutingLog((visit,))))
    assert (back.visits, back.problems) == ((visit,), ())
    again = parse_set(set_text(sets[0]), number=1, names=NAMES.pests)
    assert again == replace(sets[0], size=1.0), "a correction has no size either"
    odd = write_log_csv(ScoutingLog((replace(visit, sets=(replace(sets[0], size=25.0),)),)))
    doubted = read(tmp_path, odd)
    assert len(doubted.visits) == 1
    assert [(p.column, p.doubtful) for p in doubted.problems] == [("size", True)]


def test_an_export_replaces_only_an_export(tmp_path: Path) -> None:
    """A table of the log is written anew; any other file keeps its bytes."""
    ours, other = tmp_path / "log.csv", tmp_path / "fields.csv"
    save_log_csv(ours, HEADER + "\n")
    save_log_csv(ours, HEADER + "\nx\n")
    assert ours.read_text("utf-8") == HEADER + "\nx\n"
    other.write_text("field_id,date\n", encoding="utf-8")
    with pytest.raises(StoreError, match=r"fields\.csv"):
        save_log_csv(other, HEADER + "\n")
    assert other.read_text("utf-8") == "field_id,date\n"
    with pytest.raises(StoreError, match="make the folder first"):
        save_log_csv(tmp_path / "nowhere" / "log.csv", HEADER)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fields.csv", "log.csv"]


# --- sets in words, units and times -----------------------------------------------------------


def test_a_set_in_words() -> None:
    """Size, unit, then pests by any name; after a comma the same pest goes on."""
    one = parse_set(
        "25 sweeps: stink bugs adults 3, large nymphs 1; Helicoverpa zea 0, aphids 2.5",
        number=2,
        names=PESTS,
    )
    assert one == LoggedSet(2, 25.0, "sweeps", (
        LoggedCount("stink-bugs", "adults", 3.0), LoggedCount("stink-bugs", "large nymphs", 1.0),
        LoggedCount("corn-earworm", "", 0.0), LoggedCount("soybean-aphid", "", 2.5),
    ))  # fmt: skip
    assert parse_set("3 row feet", number=1, names=PESTS) == LoggedSet(1, 3.0, "row-feet", ())


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "size and unit"), ("sweeps", "size and unit"), ("25", "size and unit"),
        ("0 sweeps", "above 0"), ("many sweeps", "not a number"), ("25 swipes", "row-feet"),
        ("25 sweeps: 3", "not a pest"), ("25 sweeps: stink bugs", "not a number"),
        ("25 sweeps: gobblers 3", "gobblers"),
        ("25 sweeps: stinkbugz 3", "did you mean stink-bugs"),
        ("25 sweeps: stink bugs -3", "below 0"),
        ("25 sweeps: stink bugs 3; stink bug 4", "twice"),
        ("25 sweeps: stink bugs 3, corn earwrm 1", "did you mean corn-earworm"),
        ("25 sweeps: stink bugs adults: 3", "colon"),
    ],
)  # fmt: skip
def test_a_set_that_cannot_be_read_says_why(text: str, reason: str) -> None:
    """The reason names what is wrong, and the pest that was probably meant."""
    with pytest.raises(ValueError, match=reason):
        parse_set(text, number=1, names=PESTS)


LIFE_STAGES = st.sampled_from(["", "adults", "nymphs", "large larvae", "eggs"])


@given(
    st.builds(
        LoggedSet,
        st.just(1),
        NUMBERS.filter(lambda size: SMALLEST_SET <= size <= LARGEST_SET),
        st.sampled_from(
            ["sweeps", "row-feet", "row-metres", "plants", "leaflets", "square-yards", "minutes"]
        ),
        st.lists(
            st.builds(
                LoggedCount,
                st.sampled_from(["corn-earworm", "soybean-aphid", "stink-bugs"]),
                LIFE_STAGES,
                NUMBERS,
            ),
            max_size=5,
            unique_by=lambda c: (c.pest, c.life_stage),
        ).map(lambda counts: tuple(sorted(counts, key=lambda c: c.pest))),
    )
)
def test_a_set_and_its_words_are_the_same(one: LoggedSet) -> None:
    """What is written of a set reads back as that set."""
    assert parse_set(set_text(one), number=1, names=PESTS) == one


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("sweeps", "sweeps"), ("Sweep", "sweeps"), ("row-foot", "row-feet"),
        ("row feet", "row-feet"), ("feet of row", "row-feet"), ("row meters", "row-metres"),
        ("plant", "plants"), ("leaflet", "leaflets"), ("minute", "minutes"), ("acres", None),
        ("", None), ("s", None),
    ],
)  # fmt: skip
def test_units_in_any_number_and_spelling(text: str, unit: str | None) -> None:
    """Singular, plural, with or without a hyphen; anything else is no unit."""
    assert unit_called(text) == unit


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("14:30", dt.time(14, 30)), ("2:30 pm", dt.time(14, 30)), ("2:30PM", dt.time(14, 30)),
        ("12:05 a.m.", dt.time(0, 5)), ("12 pm", dt.time(12)), ("0:00", dt.time(0)),
        ("07:05:09", dt.time(7, 5, 9)),
    ],
)  # fmt: skip
def test_times_of_day(text: str, time: dt.time) -> None:
    """By twenty-four hours or with am and pm."""
    assert time_of(text) == time


@pytest.mark.parametrize(
    "text", ["", "14", "24:00", "14:60", "13:00 pm", "0:30 am", "noon", "14h30"]
)
def test_what_is_no_time_is_refused(text: str) -> None:
    """Nothing is guessed of half a time."""
    with pytest.raises(ValueError, match=r"time|hour"):
        time_of(text)
