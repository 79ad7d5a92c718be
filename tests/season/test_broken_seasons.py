"""Broken season folders: one sentence per fault, at the right place, and nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken import BROKEN, GOOD, Case, build

from stagecast.base.errors import SeasonProblems
from stagecast.season.folder import read_season


def contents(folder: Path) -> dict[str, bytes]:
    """Every file in a folder with its bytes."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def sentences(folder: Path) -> list[str]:
    """What reading a faulty folder says."""
    with pytest.raises(SeasonProblems) as caught:
        read_season(folder)
    return caught.value.sentences()


def test_good_season_is_read_without_a_doubt(tmp_path: Path) -> None:
    """The folder that all cases mutate is itself free of errors and doubts."""
    season = read_season(build(tmp_path))
    assert [field.field_id for field in season.fields] == ["F1", "F2", "F3"]
    assert len(season.visits) == 3
    assert season.doubts == ()
    assert season.settings.year == 2026


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.name)
def test_one_fault_gives_one_sentence_at_its_place(case: Case, tmp_path: Path) -> None:
    """Each mutation is told once, names its file, line and column, and writes nothing."""
    folder = build(tmp_path, case.changes)
    before = contents(folder)
    told = sentences(folder)
    assert len(told) == 1, told
    place, _, rest = told[0].partition(": ")
    assert place == case.place
    for word in case.words:
        assert word in rest
    assert "\n" not in told[0]
    assert contents(folder) == before


def test_every_case_has_its_own_name_and_there_are_many() -> None:
    """The table is not diluted by repeats: names and mutations are all different."""
    assert len(BROKEN) >= 30
    assert len({case.name for case in BROKEN}) == len(BROKEN)
    assert len({repr(sorted(case.changes.items())) for case in BROKEN}) == len(BROKEN)


def test_all_faults_of_all_files_are_told_in_one_pass_in_file_order(tmp_path: Path) -> None:
    """Faults in three files come out together: settings, then fields, then visits, by line."""
    changes = {
        "season.toml": GOOD["season.toml"]
        .replace('"us"', '"imperial"')
        .replace('"TN"', '"XX"')
        .replace("days = 3", "days = 99"),
        "fields.csv": GOOD["fields.csv"]
        .replace("36.1101", "x")
        .replace(",80,", ",-1,")
        .replace("2026-05-04", "2025-05-04")
        .replace("F3", "F1"),
        "visits.csv": GOOD["visits.csv"].replace("some", "lots").replace("06-17", "06-31"),
    }
    places = [told.partition(": ")[0] for told in sentences(build(tmp_path, changes))]
    assert places == [
        "season.toml line 2, units",
        "season.toml line 3, region",
        "season.toml line 13, weather.bridge_days",
        "fields.csv line 2, latitude (field F1)",
        "fields.csv line 2, area_acres (field F1)",
        "fields.csv line 3, planting_date (field F2)",
        "fields.csv line 4, field_id",
        "visits.csv line 2, pressure",
        "visits.csv line 4, date",
    ]


def test_a_doubt_is_kept_beside_a_good_season_and_out_of_errors(tmp_path: Path) -> None:
    """An unlikely value alone is reported as a doubt; beside an error only the error is raised."""
    big = {"fields.csv": GOOD["fields.csv"].replace(",80,", ",800,")}
    season = read_season(build(tmp_path / "a", big))
    assert [(doubt.line, doubt.column) for doubt in season.doubts] == [(2, "area_acres")]
    both = {"fields.csv": big["fields.csv"].replace("36.1202", "")}
    assert len(sentences(build(tmp_path / "b", both))) == 1


def test_missing_folder_names_the_command_that_makes_one(tmp_path: Path) -> None:
    """A path with nothing at it is one sentence with the next step."""
    (told,) = sentences(tmp_path / "no such")
    assert "there is no such folder" in told
    assert "stagecast new" in told


def test_a_file_in_place_of_the_folder_is_told_as_such(tmp_path: Path) -> None:
    """Giving fields.csv instead of the folder that holds it is one clear sentence."""
    (told,) = sentences(build(tmp_path) / "fields.csv")
    assert "a file, not a season folder" in told


def test_an_empty_folder_says_what_to_do_for_each_missing_file(tmp_path: Path) -> None:
    """Both required files are named, each with the command that makes one."""
    told = sentences(tmp_path)
    assert [line.partition(": ")[0] for line in told] == ["season.toml", "fields.csv"]
    assert all("stagecast new" in line for line in told)


def test_files_with_month_first_dates_are_named(tmp_path: Path) -> None:
    """The folder says in which files dates were read as month/day/year."""
    changes = {"visits.csv": GOOD["visits.csv"].replace("2026-06-17", "6/17/2026")}
    assert read_season(build(tmp_path, changes)).us_order == ("visits.csv",)


def test_reading_twice_gives_the_same_season(tmp_path: Path) -> None:
    """The same folder reads the same: settings, visits and field ids compare equal."""
    folder = build(tmp_path)
    first, second = (read_season(folder) for _ in range(2))
    assert first.settings == second.settings
    assert first.visits == second.visits
    assert [f.field_id for f in first.fields] == [f.field_id for f in second.fields]
