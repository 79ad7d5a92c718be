"""travel.csv: ways by road between fields, home and scouts."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken import GOOD, build
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.errors import SeasonProblems
from stagecast.season.folder import read_season
from stagecast.season.tables.travel import Leg, TravelFile, read_travel

HEADER = "from,to,minutes,km\n"
IDS = ("F1", "F2", "F3")
SCOUTS = ("Scout A",)
PLACES = (*IDS, *SCOUTS, "home")
QUICK = settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)


def read(folder: Path, rows: str | bytes, *, header: str = HEADER) -> TravelFile:
    """Write a travel.csv and read it."""
    raw = rows if isinstance(rows, bytes) else (header + rows).encode()
    (folder / "travel.csv").write_bytes(raw)
    return read_travel(folder, field_ids=IDS, scouts=SCOUTS)


def test_no_file_means_no_legs(tmp_path: Path) -> None:
    """The file is optional: without it all ways are left to an estimate."""
    assert read_travel(tmp_path, field_ids=IDS, scouts=SCOUTS) == TravelFile({}, ())


def test_a_file_with_nearly_the_name_is_doubted(tmp_path: Path) -> None:
    """Distances saved as a workbook are not passed over in silence."""
    (tmp_path / "Travel times.xlsx").write_bytes(b"PK")
    (problem,) = read_travel(tmp_path, field_ids=IDS, scouts=SCOUTS).problems
    assert problem.doubtful
    assert problem.found == "Travel times.xlsx"


def test_a_leg_holds_both_ways_unless_the_way_back_has_its_own(tmp_path: Path) -> None:
    """One line fills two directions; two lines are each their own, in whichever order."""
    file = read(tmp_path, "home,F1,12,14.5\nF2,F1,5,3\nF1,F2,6,4\n")
    assert file.problems == ()
    assert file.legs == {
        ("home", "F1"): Leg(14.5, 12), ("F1", "home"): Leg(14.5, 12),
        ("F2", "F1"): Leg(3, 5), ("F1", "F2"): Leg(4, 6),
    }  # fmt: skip


def test_places_are_fields_home_and_scouts(tmp_path: Path) -> None:
    """Home in any case, a scout's name with any blanks within; keys are as the season has them."""
    file = read(tmp_path, "HOME,Scout  A,2,1\nScout A,F3,4,2\n")
    assert file.problems == ()
    assert set(file.legs) == {
        ("home", "Scout A"), ("Scout A", "home"), ("Scout A", "F3"), ("F3", "Scout A"),
    }  # fmt: skip


def test_miles_are_exact(tmp_path: Path) -> None:
    """A mile is 1.609344 km by definition."""
    file = read(tmp_path, "home,F1,12,10\n", header="from,to,minutes,miles\n")
    assert file.legs["F1", "home"] == Leg(pytest.approx(16.09344), 12)


def test_the_same_line_twice_and_a_place_to_itself_do_no_harm(tmp_path: Path) -> None:
    """A whole matrix written out, diagonal and all, is read."""
    rows = "".join(f"{a},{b},{0 if a == b else 9},{0 if a == b else 7}\n" for a in IDS for b in IDS)
    file = read(tmp_path, rows + rows)
    assert file.problems == ()
    assert len(file.legs) == len(IDS) * (len(IDS) - 1)


WAYS = st.tuples(st.sampled_from(PLACES), st.sampled_from(PLACES)).filter(lambda w: w[0] != w[1])
LEGS = st.tuples(st.integers(0, 2_000_000), st.integers(0, 14_400)).filter(
    lambda leg: leg[0] / 1000 * 60 <= 130 * leg[1] / 10
)
"""Metres, and tenths of minutes."""


@QUICK
@given(st.dictionaries(WAYS, LEGS, max_size=8), st.booleans(), st.booleans())
def test_any_valid_form_reads_back_the_same(
    tmp_path: Path,
    ways: dict[tuple[str, str], tuple[int, int]],
    semicolons: bool,
    windows: bool,
) -> None:
    """Marks, separators, line ends and decimal signs of any spreadsheet give the same legs."""
    legs = {way: Leg(metres / 1000, tenths / 10) for way, (metres, tenths) in ways.items()}
    rows = [f"{a},{b},{leg.minutes:.1f},{leg.km:.3f}\n" for (a, b), leg in legs.items()]
    text = HEADER + "".join(rows)
    if semicolons:
        text = text.replace(",", ";").replace(".", ",")
    raw = b"\xef\xbb\xbf" * windows + text.replace("\n", "\r\n" if windows else "\n").encode()
    file = read(tmp_path, raw)
    assert file.problems == ()
    for (a, b), leg in legs.items():
        assert file.legs[a, b] == leg
        assert file.legs[b, a] == legs.get((b, a), leg)
    assert set(file.legs) == {*ways, *((b, a) for a, b in ways)}


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (",F1,5,3", "from", "blank"),
        ("home,F9,5,3", "to", "no such place"),
        ("f1,F2,5,3", "from", "name of a scout"),
        ("home,F1,,3", "minutes", "blank"),
        ("home,F1,-5,3", "minutes", "negative"),
        ("home,F1,5,\u22123", "km", "negative"),
        ("home,F1,1441,3", "minutes", "0 to 1,440"),
        ("home,F1,1440,2001", "km", "0 to 2,000"),
        ("home,F1,5,nan", "km", "not a number"),
        ("home,F1,inf,3", "minutes", "not a number"),
        ("home,F1,5,1e999", "km", "too large"),
        ('home,F1,5,"3,5"', "km", "decimal comma"),
        ("home,F1,0:05,3", "minutes", "not a number"),
        ("F1,F1,5,0", "to", "to itself"),
        ("F1,F1,5,3", "to", "to itself"),
        ("F2,home,8,7", "to", "line 2 and line 3"),
        ("F\u202e2,home,8,7", "from", "no such place"),
    ],
)
def test_one_fault_is_one_sentence_at_its_cell(
    row: str, column: str, words: str, tmp_path: Path
) -> None:
    """Each is refused once, with its line, and the first line stands."""
    file = read(tmp_path, f"F2,home,9,7\n{row}\n")
    (problem,) = file.problems
    assert (problem.line, problem.column, problem.doubtful) == (3, column, False)
    assert words in problem.sentence()
    assert file.legs == {("F2", "home"): Leg(7, 9), ("home", "F2"): Leg(7, 9)}


def test_all_faults_of_a_row_and_of_a_file_are_told(tmp_path: Path) -> None:
    """Both places and both numbers of one row are four problems, and the next row's follow."""
    file = read(tmp_path, "A,B,x,-1\nF1,F2,,4\n")
    assert [(problem.line, problem.column) for problem in file.problems] == [
        (2, "from"), (2, "to"), (2, "minutes"), (2, "km"), (3, "minutes"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("header", "row", "said"),
    [
        (HEADER, "F1,F2,60,{}", "130 km an hour"),
        ("from,to,minutes,miles\n", "F1,F2,60,{}", "81 miles an hour"),
    ],
)
@pytest.mark.parametrize(("share", "told"), [(1.0, False), (1.01, True)])
def test_a_way_faster_than_any_road_is_doubted(
    header: str, row: str, said: str, share: float, told: bool, tmp_path: Path
) -> None:
    """130 km in an hour are read without a word, more with a doubt in the file's own unit."""
    distance = 130 * share / (1.609344 if "miles" in header else 1)
    file = read(tmp_path, row.format(f"{distance:.6f}"[:-1]) + "\n", header=header)
    assert [problem.doubtful for problem in file.problems] == [True] * told
    assert all(said in problem.sentence() for problem in file.problems)
    assert len(file.legs) == 2


def test_minutes_alone_are_enough(tmp_path: Path) -> None:
    """The distance may be blank or have no column; it is then estimated, and the time is not."""
    blank = read(tmp_path, "home,F1,12,\n")
    absent = read(tmp_path, "home,F1,12\n", header="from,to,minutes\n")
    for file in (blank, absent):
        assert file.problems == ()
        assert file.legs == {("home", "F1"): Leg(None, 12.0), ("F1", "home"): Leg(None, 12.0)}


@pytest.mark.parametrize(
    ("header", "column", "words"),
    [
        ("from,to,minutes,km,miles\n", "miles", "keep one of km and miles"),
        ("from,to,mins,km\n", "minutes", "rename the column 'mins'"),
        ("from,minutes,km\n", "to", "missing"),
    ],
)
def test_a_header_needs_places_minutes_and_one_distance(
    header: str, column: str, words: str, tmp_path: Path
) -> None:
    """What is missing or said twice is one error, told with the header and not on every line."""
    cells = {"from": "F1", "to": "F2", "km": "3", "miles": "2"}
    row = ",".join(cells.get(name, "5") for name in header.strip().split(","))
    file = read(tmp_path, f"{row}\n", header=header)
    assert [(problem.column, problem.doubtful) for problem in file.problems] == [(column, False)]
    assert words in file.problems[0].sentence()


def test_a_field_named_home_leaves_the_word_in_doubt(tmp_path: Path) -> None:
    """Which of the two is meant cannot be told, so that the line is refused."""
    (tmp_path / "travel.csv").write_text(HEADER + "home,F1,5,3\n", "utf-8")
    file = read_travel(tmp_path, field_ids=("home", "F1"), scouts=())
    assert [problem.column for problem in file.problems] == ["from"]
    assert file.legs == {}


@pytest.mark.parametrize(("ids", "scouts"), [(None, SCOUTS), (IDS, None)])
def test_places_are_left_unchecked_when_not_all_are_known(
    ids: tuple[str, ...] | None, scouts: tuple[str, ...] | None, tmp_path: Path
) -> None:
    """A season.toml or fields.csv that could not be read makes no way wrong as well."""
    (tmp_path / "travel.csv").write_text(HEADER + "home,F9,5,3\n", "utf-8")
    assert read_travel(tmp_path, field_ids=ids, scouts=scouts).problems == ()


@pytest.mark.parametrize("raw", [b"", b"\x00", b"PK\x03\x04", b"\xff\xfea", b"a\xff", b'"'])
def test_files_that_are_no_tables_are_told(raw: bytes, tmp_path: Path) -> None:
    """Workbooks, other encodings, empty files and stray quotes are sentences, never a crash."""
    file = read(tmp_path, raw)
    assert file.legs == {}
    assert file.problems
    assert all(problem.file == "travel.csv" for problem in file.problems)


@QUICK
@given(st.text(max_size=120))
def test_any_text_gives_legs_or_problems(tmp_path: Path, text: str) -> None:
    """Whatever stands below the header, what comes out are legs and sentences of one line."""
    file = read(tmp_path, (HEADER + text).encode("utf-8", "surrogatepass"))
    assert not any("\n" in problem.message for problem in file.problems)
    assert all((end, start) in file.legs for start, end in file.legs)


def test_the_season_has_its_legs_and_their_problems_with_all_others(tmp_path: Path) -> None:
    """A folder reads them with its scouts' names; faults of all files come in one pass."""
    toml = GOOD["season.toml"] + '[[scouts]]\nname = "Scout B"\n'
    rows = HEADER + "Scout B,F3,20,24\n"
    season = read_season(build(tmp_path / "a", {"season.toml": toml, "travel.csv": rows}))
    assert season.legs == {("Scout B", "F3"): Leg(24, 20), ("F3", "Scout B"): Leg(24, 20)}
    broken = {
        "visits.csv": GOOD["visits.csv"].replace("some", "lots"),
        "blocked.csv": "field_id,first_date,last_date,from_time,to_time\nF9,2026-06-10,,,\n",
        "travel.csv": rows,
    }
    with pytest.raises(SeasonProblems) as caught:
        read_season(build(tmp_path / "b", broken))
    assert [s.partition(":")[0] for s in caught.value.sentences()] == [
        "visits.csv line 2, pressure",
        "blocked.csv line 2, field_id",
        "travel.csv line 2, from",
    ]


def test_a_doubt_of_travel_reaches_the_season(tmp_path: Path) -> None:
    """What is unlikely is kept beside a season without errors, where a check tells it."""
    season = read_season(build(tmp_path, {"travel.csv": HEADER + "home,F1,1,9\n"}))
    assert [(doubt.file, doubt.line) for doubt in season.doubts] == [("travel.csv", 2)]
