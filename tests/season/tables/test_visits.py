"""visits.csv, and the last visit to each field."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.season.tables.visits import Visit, VisitsFile, last_visits, read_visits

HEADER = "field_id,date,pressure\n"
IDS = frozenset({"F1", "F2"})


def read(folder: Path, rows: str, ids: frozenset[str] | None = IDS) -> VisitsFile:
    """Write a visits.csv and read it."""
    (folder / "visits.csv").write_text(HEADER + rows, encoding="utf-8")
    return read_visits(folder, year=2026, field_ids=ids)


def test_no_file_means_no_visits(tmp_path: Path) -> None:
    """The file is optional: without it there are no visits and no problems."""
    assert read_visits(tmp_path, year=2026, field_ids=IDS) == VisitsFile((), (), False)


@pytest.mark.parametrize("name", ["Visits.csv", "visits.csv.txt", "visits.xlsx", "Visits (1).csv"])
def test_a_file_with_nearly_the_name_is_doubted(name: str, tmp_path: Path) -> None:
    """Visits saved under another name are not passed over in silence."""
    (tmp_path / "fields.csv").write_text("", encoding="utf-8")
    (tmp_path / name).write_text(HEADER, encoding="utf-8")
    if (tmp_path / "visits.csv").exists():
        pytest.skip("this file system does not tell capitals apart")
    (problem,) = read_visits(tmp_path, year=2026, field_ids=IDS).problems
    assert problem.doubtful
    assert (problem.file, problem.found) == ("visits.csv", name)


def test_beside_the_right_file_other_names_do_not_matter(tmp_path: Path) -> None:
    """A copy in another format is nobody's mistake where visits.csv is there."""
    (tmp_path / "visits.xlsx").write_bytes(b"PK")
    assert read(tmp_path, "F1,2026-06-10,some\n").problems == ()


@pytest.mark.parametrize("target", ["gone.csv", "visits.csv"])
def test_a_link_that_leads_nowhere_is_an_error(target: str, tmp_path: Path) -> None:
    """A dangling link, or one to itself, is a lost file, not a season without visits."""
    (tmp_path / "visits.csv").symlink_to(tmp_path / target)
    (problem,) = read_visits(tmp_path, year=2026, field_ids=IDS).problems
    assert not problem.doubtful
    assert "link that leads nowhere" in problem.message


def test_words_are_read_in_any_case_and_spacing(tmp_path: Path) -> None:
    """The three words for the pressure are recognised however they are typed."""
    rows = "F1,2026-06-10,Near  Threshold\nF2,6/11/2026,SOME\nF1,2026-06-12,Virtually none\n"
    file = read(tmp_path, rows)
    assert file.problems == ()
    assert [v.pressure for v in file.visits] == ["near threshold", "some", "virtually none"]
    assert [v.line for v in file.visits] == [2, 3, 4]
    assert file.us_order


def test_all_faults_of_a_row_are_told(tmp_path: Path) -> None:
    """An unknown field, a bad date and a bad word in one row are three problems."""
    file = read(tmp_path, "F9,2026-02-30,lots\nF1,2025-06-01,some\n")
    told = [(problem.line, problem.column) for problem in file.problems]
    assert told == [(2, "field_id"), (2, "date"), (2, "pressure"), (3, "date")]
    assert file.visits == ()


def test_the_same_field_and_day_twice_is_refused(tmp_path: Path) -> None:
    """Two rows for one field and day are a problem even when one date is month first."""
    file = read(tmp_path, "F1,2026-06-10,some\nF1,6/10/2026,virtually none\n")
    (problem,) = file.problems
    assert (problem.line, problem.column) == (3, "date")
    assert "line 2" in problem.message


def test_ids_are_left_unchecked_when_the_fields_are_not_known(tmp_path: Path) -> None:
    """A fields.csv that could not be read does not make every visit wrong as well."""
    file = read(tmp_path, "F9,2026-06-10,some\n", ids=None)
    assert file.problems == ()
    assert [visit.field_id for visit in file.visits] == ["F9"]


# --- stages and shares ------------------------------------------------------------------------

STAGE_HEADER = "field_id,date,pressure,stage,share_percent\n"


def read_stage(folder: Path, cells: str, header: str = STAGE_HEADER) -> VisitsFile:
    """Read one visit to F1 on 10 June, whose other cells are given."""
    (folder / "visits.csv").write_text(f"{header}F1,2026-06-10,{cells}\n", encoding="utf-8")
    return read_visits(folder, year=2026, field_ids=IDS)


@pytest.mark.parametrize(
    ("typed", "stage"),
    [
        ("R3", "R3"), ("r3", "R3"), (" r 3 ", "R3"), ("ve", "VE"), ("Vc", "VC"), ("V1", "V1"),
        ("v10", "V10"), ("V21", "V21"), ("R8", "R8"),
    ],
)  # fmt: skip
def test_stages_are_read_in_any_case_and_spacing(typed: str, stage: str, tmp_path: Path) -> None:
    """A growth stage is recognised however it is typed, past V9 as well."""
    file = read_stage(tmp_path, f"some,{typed},")
    assert file.problems == ()
    (visit,) = file.visits
    assert (visit.stage, visit.share, visit.pressure) == (stage, None, "some")


@pytest.mark.parametrize(
    "typed", ["R0", "R9", "R10", "V0", "V05", "V100", "V", "R", "VD", "R3.5", "3", "bloom", "R3-R4"]
)
def test_what_is_no_stage_is_refused_at_its_column(typed: str, tmp_path: Path) -> None:
    """Anything else is one fault that quotes it and says which stages there are."""
    file = read_stage(tmp_path, f",{typed},")
    (problem,) = file.problems
    assert (problem.line, problem.column, problem.found) == (2, "stage", typed)
    assert "R1 to R8" in str(problem.accepted)
    assert not problem.doubtful
    assert file.visits == ()


@pytest.mark.parametrize(("typed", "share"), [("0", 0.0), ("60", 0.6), ("12.5", 0.125), ("100", 1)])
def test_a_share_is_a_percent_of_plants(typed: str, share: float, tmp_path: Path) -> None:
    """It is read from 0 to 100, both included, and kept as a part of one."""
    (visit,) = read_stage(tmp_path, f"some,R1,{typed}").visits
    assert visit.share == pytest.approx(share)


def test_a_share_may_have_a_decimal_comma(tmp_path: Path) -> None:
    """Where semicolons separate the cells, 12,5 is twelve and a half."""
    text = STAGE_HEADER + "F1,2026-06-10,some,R1,12.5\n"
    text = text.replace(",", ";").replace(".", ",")
    (tmp_path / "visits.csv").write_text(text, encoding="utf-8")
    (visit,) = read_visits(tmp_path, year=2026, field_ids=IDS).visits
    assert visit.share == pytest.approx(0.125)


@pytest.mark.parametrize("typed", ["-1", "100.5", "250", "half", "nan", "inf", "6O"])
def test_what_is_no_share_is_refused_at_its_column(typed: str, tmp_path: Path) -> None:
    """Below 0, above 100 or no number: one fault that quotes it."""
    file = read_stage(tmp_path, f"some,R1,{typed}")
    (problem,) = file.problems
    assert (problem.line, problem.column, problem.found) == (2, "share_percent", typed)
    assert "0 to 100" in str(problem.accepted)
    assert file.visits == ()


def test_a_share_needs_its_stage(tmp_path: Path) -> None:
    """A share of plants in no stage says nothing: a fault, even where the pressure is given."""
    file = read_stage(tmp_path, "some,,60")
    (problem,) = file.problems
    assert (problem.column, problem.found) == ("share_percent", "60")
    assert "needs its stage" in problem.message
    assert file.visits == ()


def test_pressure_may_be_blank_where_a_stage_was_noted(tmp_path: Path) -> None:
    """A visit that only looked at the stage is a visit, of unknown pressure."""
    (visit,) = read_stage(tmp_path, ",R2,").visits
    assert (visit.pressure, visit.stage) == (None, "R2")


def test_a_visit_must_say_something(tmp_path: Path) -> None:
    """With neither pressure nor stage the pressure is asked for."""
    file = read_stage(tmp_path, ",,")
    (problem,) = file.problems
    assert (problem.line, problem.column) == (2, "pressure")
    assert file.visits == ()


def test_a_wrong_pressure_is_refused_beside_a_stage(tmp_path: Path) -> None:
    """Blank is allowed there, a word that is none of the three is not."""
    (problem,) = read_stage(tmp_path, "lots,R2,").problems
    assert (problem.column, problem.found) == ("pressure", "lots")


@pytest.mark.parametrize(
    "header", ["field_id,date,pressure,stage\n", "field_id,date,pressure,stage,share_percent\n"]
)
def test_the_columns_of_stages_need_not_be_there(header: str, tmp_path: Path) -> None:
    """A file with neither, with one or with both is read, and none of them is doubted."""
    assert read(tmp_path, "F1,2026-06-10,some\n").problems == ()
    cells = "some,R1" + ",40" * ("share" in header)
    file = read_stage(tmp_path, cells, header)
    assert file.problems == ()
    assert file.visits[0].stage == "R1"


def test_the_column_of_the_pressure_must_be_there(tmp_path: Path) -> None:
    """Even where every visit notes a stage, a file without the column is refused once."""
    (tmp_path / "visits.csv").write_text("field_id,date,stage\nF1,2026-06-10,R1\n", "utf-8")
    (problem,) = read_visits(tmp_path, year=2026, field_ids=IDS).problems
    assert problem.column == "pressure"
    assert "missing" in problem.message


# --- the last visit ---------------------------------------------------------------------------

VISITS = st.builds(
    Visit,
    field_id=st.sampled_from(["F1", "F2", "F3"]),
    date=st.dates(dt.date(2026, 5, 1), dt.date(2026, 9, 30)),
    pressure=st.sampled_from(["near threshold", "some", "virtually none", None]),
    line=st.integers(2, 99),
)


@given(
    visits=st.lists(VISITS, unique_by=lambda v: (v.field_id, v.date)),
    as_of=st.dates(dt.date(2026, 4, 1), dt.date(2026, 10, 30)),
)
def test_last_visit_is_the_latest_up_to_the_day(visits: list[Visit], as_of: dt.date) -> None:
    """Each field gets its latest visit not after the day, whatever the order of the rows."""
    last = last_visits(visits, as_of)
    past = [visit for visit in visits if visit.date <= as_of]
    assert set(last) == {visit.field_id for visit in past}
    for field_id, visit in last.items():
        assert visit in past
        assert visit.date == max(v.date for v in past if v.field_id == field_id)
    assert list(last_visits(visits[::-1], as_of).items()) == list(last.items())
