"""visits.csv, and the last visit to each field."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.season.visits import Visit, VisitsFile, last_visits, read_visits

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


VISITS = st.builds(
    Visit,
    field_id=st.sampled_from(["F1", "F2", "F3"]),
    date=st.dates(dt.date(2026, 5, 1), dt.date(2026, 9, 30)),
    pressure=st.sampled_from(["near threshold", "some", "virtually none"]),
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
