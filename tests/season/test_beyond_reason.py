"""What no season has: so many rows, so small a field, such a stage; each is one sentence."""

from __future__ import annotations

from pathlib import Path, PureWindowsPath

import pytest
from broken import GOOD, build
from season_builder import build_season

from stagecast.base.errors import SeasonProblems
from stagecast.base.sqlitefile import sqlite_address
from stagecast.base.textfiles import reserved_name
from stagecast.knowledge import load
from stagecast.season.folder import read_season
from stagecast.weather.sources.station_csv import read_station_folder

KNOWLEDGE = load()


def sentences(folder: Path) -> list[str]:
    """What reading a faulty folder says."""
    with pytest.raises(SeasonProblems) as caught:
        read_season(folder)
    return caught.value.sentences()


@pytest.mark.parametrize(
    ("file", "most"),
    [
        ("fields.csv", int(KNOWLEDGE.fields.most_fields)),
        ("traps.csv", int(KNOWLEDGE.traps.most_checks)),
    ],
)
def test_more_rows_than_make_sense_are_one_sentence(file: str, most: int, tmp_path: Path) -> None:
    """A whole state's fields, or a sensor's log of catches: told at once, not row by row."""
    if file == "fields.csv":
        header, row, *_ = GOOD[file].splitlines()
    else:
        header, row = "trap,date,pest,catch", "T1,2026-06-01,corn earworm,1"
    rows = "".join(f"{row}\n" for _ in range(most + 1))
    told = [one for one in sentences(build(tmp_path, {file: f"{header}\n{rows}"})) if file in one]
    assert len(told) == 1
    assert f"{most + 1:,} rows are more than make sense here" in told[0]
    assert f"accepted: up to {most:,}" in told[0]


@pytest.mark.parametrize("area", ["1e-300", "0", "0.001", "-5"])
def test_an_area_smaller_than_any_plot_is_refused(area: str, tmp_path: Path) -> None:
    """A number that is above zero and no area: with its line and what is accepted."""
    folder = build_season(tmp_path)
    fields = folder / "fields.csv"
    lines = fields.read_text("utf-8").splitlines()
    at = lines[0].split(",").index("area_acres")
    cells = lines[1].split(",")
    cells[at] = area
    fields.write_text("\n".join([lines[0], ",".join(cells), ""]), "utf-8")
    (told,) = sentences(folder)
    assert told.startswith("fields.csv line 2, area_acres (field F1)")
    assert "acres from 0.01 up to 20,000" in told


@pytest.mark.parametrize(("stage", "refused"), [("V99", True), ("V31", True), ("V30", False)])
def test_a_stage_of_more_nodes_than_any_plant_has_is_refused(
    stage: str, *, refused: bool, tmp_path: Path
) -> None:
    """Two digits typed twice: the line, and how far V stages go."""
    folder = build_season(tmp_path)
    (folder / "visits.csv").write_text(
        f"field_id,date,pressure,stage\nF1,2026-07-01,some,{stage}\n", "utf-8"
    )
    if not refused:
        read_season(folder)
        return
    (told,) = sentences(folder)
    assert told.startswith("visits.csv line 2, stage")
    assert f"found '{stage}'; accepted: VE, VC, V1 to V30, R1 to R8" in told


@pytest.mark.parametrize(
    ("id_", "place", "told"),
    [
        ("S1", "0,0", "0, 0 lies in the sea"),
        ("S1", "0.0,-0.0", "0, 0 lies in the sea"),
        ("CON", "36,-89", "cannot be a file name"),
        ("nul.x", "36,-89", "cannot be a file name"),
        ("COM1", "36,-89", "cannot be a file name"),
        ("S1.", "36,-89", "cannot be a file name"),
    ],
)
def test_a_station_that_can_be_nowhere_or_in_no_file_is_refused(
    id_: str, place: str, told: str, tmp_path: Path
) -> None:
    """At 0, 0, or named as Windows names its devices: with the line of stations.csv."""
    folder = tmp_path / "weather"
    folder.mkdir()
    rows = f"station,latitude,longitude,elevation_m\n{id_},{place},100\n"
    (folder / "stations.csv").write_text(rows, "utf-8")
    problems = [one.sentence() for one in read_station_folder(folder).problems]
    assert any(one.startswith("weather/stations.csv line 2") and told in one for one in problems)


def test_a_day_of_another_century_is_refused_with_its_line(tmp_path: Path) -> None:
    """A row of 2150 is a slip of the keyboard, and no day of the record."""
    folder = build_season(tmp_path)
    station = folder / "weather" / "S1.csv"
    text = station.read_text("utf-8")
    station.write_text(f"{text}2150-07-01,15,30\n", "utf-8")
    problems = [one.sentence() for one in read_station_folder(folder / "weather").problems]
    line = text.count("\n") + 1
    (told,) = [one for one in problems if "2150" in one]
    assert told.startswith(f"weather/S1.csv line {line}, date")


@pytest.mark.parametrize("name", ["CON", "con", "nul.csv", "COM1", "LPT\u00b2", "a.", "a "])
def test_names_that_windows_keeps_are_known(name: str) -> None:
    """Microsoft, "Naming Files, Paths, and Namespaces"."""
    assert reserved_name(name)
    assert not reserved_name(f"field-{name.rstrip('. ')}-x")


def test_a_log_on_a_share_has_an_address_that_sqlite_reads() -> None:
    """A server's share has four slashes (sqlite.org/uri.html, "The URI Path")."""
    share = PureWindowsPath(r"\\server\share\my season\scouting.sqlite")
    assert sqlite_address(share) == "file:////server/share/my%20season/scouting.sqlite"
    disk = PureWindowsPath(r"C:\seasons\scouting.sqlite")
    assert sqlite_address(disk) == "file:///C:/seasons/scouting.sqlite"
