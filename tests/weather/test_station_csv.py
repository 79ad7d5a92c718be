"""Station files: what a person may write in ``weather/``, and what is said about the rest.

All stations and temperatures in here are invented, apart from the observed records that the last
test reads where they are present.
"""

import csv
import datetime as dt
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stagecast.base.errors import Problem
from stagecast.weather.records import DayKind
from stagecast.weather.sources import Readings
from stagecast.weather.sources.station_csv import read_station_folder

OBSERVATIONS = Path(__file__).resolve().parents[2].parent / "shared" / "observations"

STATIONS = "station,latitude,longitude,elevation_m\nDEMO01,40.1,-89.2,210\n"
DAYS = "date,tmin_c,tmax_c\n2026-05-04,9.5,21\n2026-05-05,10,22.5\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A weather folder with one sound station."""
    weather = tmp_path / "weather"
    weather.mkdir()
    write(weather, STATIONS, DAYS)
    return weather


def write(weather: Path, stations: str, days: str | bytes, *, name: str = "DEMO01.csv") -> None:
    """Write the list of stations and one station file."""
    (weather / "stations.csv").write_text(stations, encoding="utf-8")
    raw = days if isinstance(days, bytes) else days.encode()
    (weather / name).write_bytes(raw)


def read(weather: Path, days: str | bytes) -> Readings:
    """Read the folder with these days in its one station file."""
    write(weather, STATIONS, days)
    return read_station_folder(weather)


def only(result: Readings) -> Problem:
    """The one problem there is."""
    assert len(result.problems) == 1, result.problems
    return result.problems[0]


def test_a_sound_folder(folder: Path) -> None:
    """Station, place and days arrive as written, without a problem."""
    result = read_station_folder(folder)
    (record,) = result.records
    assert result.problems == ()
    assert result.us_order_files == ()
    assert record.station.station == "DEMO01"
    assert (record.station.latitude, record.station.longitude) == (40.1, -89.2)
    assert record.station.elevation_m == 210
    assert record.first_day == dt.date(2026, 5, 4)
    assert record.tmin_c.tolist() == [9.5, 10.0]
    assert record.tmax_c.tolist() == [21.0, 22.5]
    assert record.kind.tolist() == [DayKind.OBSERVED] * 2


@pytest.mark.parametrize(
    "days",
    [
        b"\xef\xbb\xbf" + DAYS.encode(),
        DAYS.replace("\n", "\r\n"),
        DAYS.replace(",", ";"),
        DAYS.replace(",", ";").replace(".", ","),
        DAYS + "\n\n,,\n",
        'DATE,TMIN_C,TMAX_C\n"2026-05-04","9.5","21"\n2026-05-05,10,22.5\n',
        "sun_h,tmax_c,date,tmin_c\n0,21,2026-05-04,9.5\nx,22.5,2026-5-5,10\n",
        "date,tmin_c,tmax_c\n2026-05-05,10,22.5\n2026-05-04,9.5,21\n",
    ],
    ids=["bom", "crlf", "semicolon", "comma", "tail", "case", "columns", "row order"],
)
def test_spreadsheet_habits_change_nothing(folder: Path, days: str | bytes) -> None:
    """However a spreadsheet dresses or orders the same two days, the record is the same."""
    result = read(folder, days)
    (record,) = result.records
    assert result.problems == ()
    assert record.first_day == dt.date(2026, 5, 4)
    assert record.tmin_c.tolist() == [9.5, 10.0]
    assert record.tmax_c.tolist() == [21.0, 22.5]


def test_us_order_is_read_and_reported(folder: Path) -> None:
    """Month/day/year is read as such, and the file is named for the screen."""
    result = read(folder, "date,tmin_c,tmax_c\n5/4/2026,9.5,21\n05/05/2026,10,22.5\n")
    assert result.problems == ()
    assert result.us_order_files == ("weather/DEMO01.csv",)
    assert result.records[0].first_day == dt.date(2026, 5, 4)


def test_two_ways_of_writing_dates_are_doubtful(folder: Path) -> None:
    """A file that mixes year-first and US dates is read, with a doubtful problem."""
    result = read(folder, "date,tmin_c,tmax_c\n5/4/2026,9.5,21\n2026-05-05,10,22.5\n")
    assert only(result).doubtful
    assert result.records[0].days == 2


@pytest.mark.parametrize("cell", ["", "NA", "na", "M", '""', " "])
def test_missing_cells(folder: Path, cell: str) -> None:
    """An empty cell, NA or M in both columns makes the day MISSING, without a problem."""
    result = read(folder, f"{DAYS}2026-05-06,{cell},{cell}\n2026-05-07,8,20\n")
    (record,) = result.records
    assert result.problems == ()
    assert record.kind.tolist() == [1, 1, DayKind.MISSING, 1]
    assert np.isnan([record.tmin_c[2], record.tmax_c[2]]).all()


def test_absent_days_are_missing(folder: Path) -> None:
    """Days the file skips are MISSING with NaN, never zero."""
    result = read(folder, "date,tmin_c,tmax_c\n2026-05-04,9,21\n2026-05-08,10,22\n")
    (record,) = result.records
    assert record.kind.tolist() == [1, 0, 0, 0, 1]
    assert np.isnan(record.tmin_c[1:4]).all()
    assert np.isnan(record.tmax_c[1:4]).all()


def test_fahrenheit_by_hand(folder: Path) -> None:
    """50 and 68 degF are 10 and 20 degC; -40 is -40."""
    result = read(folder, "date,tmin_f,tmax_f\n2026-05-04,50,68\n2026-05-05,-40,32\n")
    (record,) = result.records
    assert record.tmin_c.tolist() == pytest.approx([10.0, -40.0], abs=1e-12)
    assert record.tmax_c.tolist() == pytest.approx([20.0, 0.0], abs=1e-12)


tenths = st.integers(-400, 500)


@given(st.lists(st.one_of(st.none(), st.tuples(tenths, tenths)), min_size=1, max_size=12))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_both_scales_give_the_same_record(folder: Path, days: list[tuple[int, int] | None]) -> None:
    """The same days in a degC and a degF file give the same record to 1e-9 degC."""
    start = dt.date(2026, 4, 1)
    lines = {"c": "date,tmin_c,tmax_c\n", "f": "date,tmin_f,tmax_f\n"}
    for i, pair in enumerate(days):
        day = start + dt.timedelta(days=i)
        if pair is None:
            for scale in lines:
                lines[scale] += f"{day},,\n"
            continue
        # Tenths of a degC are hundredths of 1.8 degF: both spellings below are exact decimals.
        f_hundredths = [18 * t + 3200 for t in pair]
        lines["c"] += f"{day},{pair[0] / 10},{pair[1] / 10}\n"
        lines["f"] += f"{day},{f_hundredths[0] / 100},{f_hundredths[1] / 100}\n"
    (celsius,), (fahrenheit,) = (read(folder, text).records for text in lines.values())
    assert celsius.first_day == fahrenheit.first_day
    assert celsius.kind.tolist() == fahrenheit.kind.tolist()
    np.testing.assert_allclose(celsius.tmin_c, fahrenheit.tmin_c, rtol=0, atol=1e-9)
    np.testing.assert_allclose(celsius.tmax_c, fahrenheit.tmax_c, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    ("days", "line", "column", "words"),
    [
        ("", None, None, "empty"),
        ("date,tmin_c,tmax_c\n", None, None, "no days"),
        ("date,tmin_c,tmax_f\n2026-05-04,1,2\n", 1, None, "both degC and degF"),
        ("date,tmin_c,tmax_c,tmin_f\n2026-05-04,1,2,3\n", 1, None, "both degC and degF"),
        ("date,low,high\n2026-05-04,1,2\n", 1, None, "no temperature columns"),
        ("date,tmin_f\n2026-05-04,1\n", 1, None, "no column tmax_f"),
        ("day,tmin_c,tmax_c\n2026-05-04,1,2\n", 1, None, "no column date"),
        (DAYS + "13/5/2026,1,2\n", 4, "date", "no month 13"),
        (DAYS + "2026-02-30,1,2\n", 4, "date", "no day 30"),
        (DAYS + "46148,1,2\n", 4, "date", "serial number"),
        (DAYS + "soon,1,2\n", 4, "date", "not a date"),
        (DAYS + "2026-05-06,mild,20\n", 4, "tmin_c", "not a number; found 'mild'"),
        (DAYS + "2026-05-06,1,nan\n", 4, "tmax_c", "not a number"),
        (DAYS + "2026-05-06,1,inf\n", 4, "tmax_c", "not a number"),
        (DAYS + "2026-05-06,1,1e999\n", 4, "tmax_c", "too large"),
        (DAYS + '2026-05-06,1,"12,5"\n', 4, "tmax_c", "semicolons"),
        (DAYS + "2026-05-06,1\n", 4, None, "wrong number of cells"),
        (DAYS + "2026-05-06,1,2,3\n", 4, None, "wrong number of cells"),
        (DAYS + "2026-05-04,9.5,21.1\n", 4, "date", "different values; found '2026-05-04, also"),
        (DAYS + "2026-05-04,9.5,\n", 4, "date", "different values"),
        (DAYS.encode() + b"\xb0C,1,2\n", 4, None, "byte 0xB0"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(
    folder: Path, days: str | bytes, line: int | None, column: str | None, words: str
) -> None:
    """Each wrong file gives one problem, not a doubtful one, with file, line and column."""
    problem = only(read(folder, days))
    assert problem.file == "weather/DEMO01.csv"
    assert (problem.line, problem.column) == (line, column)
    assert words in problem.sentence()
    assert not problem.doubtful


def test_a_day_twice_with_the_same_values_is_doubtful(folder: Path) -> None:
    """A repeated row changes nothing and is only doubtful, also where both rows are empty."""
    result = read(folder, DAYS + "2026-05-06,,\n5/4/2026,9.50,21.0\n2026-05-06,NA,M\n")
    twice = [p for p in result.problems if "twice" in p.message]
    assert [p.line for p in twice] == [5, 6]
    assert all(p.doubtful for p in result.problems)
    assert result.records[0].kind.tolist() == [1, 1, 0]


def test_problems_of_all_files_arrive_together(folder: Path) -> None:
    """A wrong place, a wrong day, an absent file and a stray file are all said in one pass."""
    write(folder, STATIONS.replace("40.1", "140.1") + "GONE,40,-89,200\n", DAYS + "x,1,2\n")
    (folder / "STRAY.csv").write_text(DAYS)
    result = read_station_folder(folder)
    assert result.records == ()
    assert [(p.file, p.message) for p in result.problems] == [
        ("weather/stations.csv", "out of range"),
        ("weather/DEMO01.csv", "not a date"),
        ("weather/GONE.csv", "there is no such file"),
        ("weather/STRAY.csv", "no row of stations.csv names this station"),
    ]


def test_a_wrong_sign_on_every_line_is_folded(folder: Path) -> None:
    """A decimal comma on 300 lines is six sentences, the last of which counts the rest."""
    start = dt.date(2026, 1, 1)
    lines = [f'{start + dt.timedelta(days=i)},1.5,"12,5"\n' for i in range(300)]
    result = read(folder, "date,tmin_c,tmax_c\n" + "".join(lines))
    assert len(result.problems) == 6
    assert "295 more" in result.problems[-1].message


def test_a_sentinel_is_a_number_here(folder: Path) -> None:
    """-9999 is not silently missing: it stays a value, for the quality screen to reject."""
    result = read(folder, DAYS + "2026-05-06,-9999,-9999\n")
    assert result.problems == ()
    assert result.records[0].tmin_c[2] == -9999


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("DEMO01,90.1,-89,200", "latitude", "out of range; found '90.1'"),
        ("DEMO01,40,-180.5,200", "longitude", "out of range"),
        ("DEMO01,40,-89,-9999", "elevation_m", "out of range"),
        ("DEMO01,,-89,200", "latitude", "no value"),
        ("DEMO01,40,west,200", "longitude", "not a number"),
        ("DEMO01,nan,-89,200", "latitude", "not a number"),
    ],
)
def test_places_off_the_globe(folder: Path, row: str, column: str, words: str) -> None:
    """A place that is not on the globe is a problem, and the station yields no record."""
    write(folder, f"station,latitude,longitude,elevation_m\n{row}\n", DAYS)
    result = read_station_folder(folder)
    problem = only(result)
    assert (problem.file, problem.line, problem.column) == ("weather/stations.csv", 2, column)
    assert words in problem.sentence()
    assert result.records == ()


def test_elevation_may_be_unknown(folder: Path) -> None:
    """An empty elevation is NaN, not sea level."""
    write(folder, STATIONS.replace("210", ""), DAYS)
    result = read_station_folder(folder)
    assert result.problems == ()
    assert np.isnan(result.records[0].station.elevation_m)


def test_stations_in_semicolon_dress_with_names(folder: Path) -> None:
    """A semicolon list with decimal commas and a name column is read."""
    text = "Name;Station;Latitude;Longitude;Elevation_m\nHome;DEMO01;40,1;-89,2;210,5\n"
    write(folder, text, DAYS)
    result = read_station_folder(folder)
    station = result.records[0].station
    assert result.problems == ()
    assert (station.name, station.latitude, station.elevation_m) == ("Home", 40.1, 210.5)


@pytest.mark.parametrize("name", ["../DEMO01", "a/b", "", ".hidden", "a b", "stations", "é", "C:x"])
def test_ids_that_are_no_file_names(folder: Path, name: str) -> None:
    """An id that could leave the folder, hide, or be the list itself is refused."""
    write(folder, f"{STATIONS}{name},40,-89,200\n", DAYS)
    problem = only(read_station_folder(folder))
    assert (problem.line, problem.column) == (3, "station")
    assert "cannot be a file name" in problem.message


@pytest.mark.parametrize("name", ["DEMO01", "demo01"])
def test_a_station_listed_twice(folder: Path, name: str) -> None:
    """An id that stands twice, be it in another case, is refused: the two would share a file."""
    write(folder, f"{STATIONS}{name},41,-88,200\n", DAYS)
    problem = only(read_station_folder(folder))
    assert "twice" in problem.message
    assert problem.line == 3


def test_records_are_sorted_by_id(folder: Path) -> None:
    """The order of rows in the list does not reach the records."""
    header = "station,latitude,longitude,elevation_m\n"
    write(folder, f"{header}Z9,40,-89,1\nA1,41,-89,2\nDEMO01,42,-89,3\n", DAYS)
    for name in ("Z9", "A1"):
        (folder / f"{name}.csv").write_text(DAYS)
    ids = [record.station.station for record in read_station_folder(folder).records]
    assert ids == ["A1", "DEMO01", "Z9"]


def test_folders_and_gaps_where_files_should_be(folder: Path, tmp_path: Path) -> None:
    """A folder named like a file, no list, an empty list are problems; no folder is none."""
    (folder / "DEMO01.csv").unlink()
    (folder / "DEMO01.csv").mkdir()
    assert "a folder, not a file" in only(read_station_folder(folder)).message
    shutil.rmtree(folder / "DEMO01.csv")
    (folder / "stations.csv").write_text("station,latitude,longitude,elevation_m\n")
    assert "no stations" in only(read_station_folder(folder)).message
    (folder / "stations.csv").write_text("latitude,longitude\n40,-89\n")
    columns = [p.message for p in read_station_folder(folder).problems]
    assert columns == ["there is no column station", "there is no column elevation_m"]
    (folder / "stations.csv").unlink()
    assert "no such file" in only(read_station_folder(folder)).message
    assert read_station_folder(tmp_path / "absent") == Readings()


def test_files_of_an_open_spreadsheet_are_left_alone(folder: Path) -> None:
    """Lock files and other kinds of file in the folder are not taken for stations."""
    for name in (".~lock.DEMO01.csv", "~$DEMO01.csv", "notes.txt"):
        (folder / name).write_text("x")
    assert read_station_folder(folder).problems == ()


@given(st.binary(max_size=300))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_bytes_are_survived(folder: Path, raw: bytes) -> None:
    """Arbitrary bytes as a station file never raise, and never pass without a word."""
    result = read(folder, raw)
    assert result.problems
    assert result.records == ()


def test_observed_records_are_read_whole(tmp_path: Path) -> None:
    """Observed records of up to twenty years are read from their first line to their last.

    The files hold March to November only: the winters between must come out MISSING.
    """
    if not OBSERVATIONS.is_dir():
        pytest.skip("no observed station records beside this repository")
    with (OBSERVATIONS / "stations.csv").open(newline="") as file:
        listed = {row["station"]: row for row in csv.DictReader(file)}
    folder = tmp_path / "weather"
    shutil.copytree(OBSERVATIONS / "station_days", folder)
    lines = [f"{name},{row['lat']},{row['lon']},\n" for name, row in listed.items()]
    (folder / "stations.csv").write_text(
        "station,latitude,longitude,elevation_m\n" + "".join(lines)
    )
    result = read_station_folder(folder)
    assert result.problems == ()
    assert {record.station.station for record in result.records} == set(listed)
    for record in result.records:
        lines = (folder / f"{record.station.station}.csv").read_text().split()[1:]
        both = np.isfinite(record.tmin_c) & np.isfinite(record.tmax_c)
        assert int(both.sum()) == sum(all(line.split(",")) for line in lines)
        months = (np.datetime64(record.first_day) + np.flatnonzero(both)).astype("M8[M]")
        assert set(months.astype(int) % 12 + 1) == set(range(3, 12))
        ends = record.first_day.isoformat(), record.last_day.isoformat()
        assert ends == (lines[0].split(",")[0], lines[-1].split(",")[0])


RAINY = "date,tmin_c,tmax_c,{}\n2026-05-04,9.5,21,{}\n2026-05-05,10,22.5,{}\n"


@pytest.mark.parametrize(
    ("column", "cells", "rain"),
    [
        ("rain_mm", ("12.5", "0"), [12.5, 0.0]),
        ("rain_in", ("0.5", "T"), [12.7, 0.0]),
        ("rain_mm", ("", "3"), [float("nan"), 3.0]),
    ],
)
def test_rain_is_read_in_mm_or_inches(
    folder: Path, column: str, cells: tuple[str, str], rain: list[float]
) -> None:
    """An inch is 25.4 mm, a trace is no rain, a blank cell is unknown."""
    result = read(folder, RAINY.format(column, *cells))
    assert result.problems == ()
    found = result.records[0].rain_mm
    assert found is not None
    np.testing.assert_allclose(found, rain)


@pytest.mark.parametrize("cell", ["wet", "-2"])
def test_wrong_rain_is_doubted_and_costs_no_temperature(folder: Path, cell: str) -> None:
    """The day keeps its temperatures, and rain of that day is unknown."""
    result = read(folder, RAINY.format("rain_mm", cell, "4"))
    assert only(result).doubtful
    record = result.records[0]
    assert record.kind.tolist() == [DayKind.OBSERVED] * 2
    assert record.rain_mm is not None
    assert np.isnan(record.rain_mm[0])


def test_rain_in_two_units_is_refused(folder: Path) -> None:
    """Nobody can say which of the two columns holds."""
    text = "date,tmin_c,tmax_c,rain_mm,rain_in\n2026-05-04,9.5,21,1,1\n"
    assert "both mm and inches" in only(read(folder, text)).message


def test_a_station_without_rain_has_none(folder: Path) -> None:
    """No column, or only blank cells: nothing is known of rain, not that none fell."""
    assert read(folder, DAYS).records[0].rain_mm is None
    assert read(folder, RAINY.format("rain_mm", "", "")).records[0].rain_mm is None
