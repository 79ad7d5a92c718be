"""What a region's tables may hold, and what is said of what they may not."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from commands import run_command
from region_builder import YEAR, region_fields, region_weather, write_region

from stagecast.base.errors import SeasonProblems
from stagecast.region import needs
from stagecast.region.fields import RegionFields, read_fields
from stagecast.region.part import RegionAsked
from stagecast.region.weather import ParquetWeather

ASKED = RegionAsked(dt.date(YEAR, 3, 1))


def read(tmp_path: Path, table: Any) -> RegionFields:
    """A table of fields, written and read."""
    pq.write_table(table, tmp_path / "fields.parquet")
    return read_fields(tmp_path / "fields.parquet", span=ASKED.span, knowledge=ASKED.knowledge)


def problems(tmp_path: Path, table: Any) -> list[str]:
    """What is said of a table that is wrong."""
    with pytest.raises(SeasonProblems) as caught:
        read(tmp_path, table)
    return caught.value.sentences()


def test_every_column_that_is_missing_is_named(tmp_path: Path) -> None:
    """All of them at once, with those that are there."""
    told = problems(tmp_path, region_fields(3, cells=["a"]).drop_columns(["cell", "latitude"]))
    assert [one.partition(":")[0] for one in told] == [
        "fields.parquet, latitude", "fields.parquet, cell",
    ]  # fmt: skip
    assert "field_id, longitude, planting_date" in told[0]


def test_everything_wrong_in_the_rows_is_told_at_once(tmp_path: Path) -> None:
    """Row, column, what was found and what would be accepted; thousands alike are folded."""
    count = 40
    table = region_fields(count, cells=["a"]).to_pydict()
    table["field_id"][3] = table["field_id"][4]
    table["latitude"][0] = 95.0
    table["longitude"][1] = None
    table["planting_date"][2] = dt.date(YEAR - 1, 5, 1)
    table["maturity_group"][5] = "XL"
    table["growth_habit"][6] = "bushy"
    table["cell"] = ["", *["a"] * (count - 1)]
    told = "\n".join(problems(tmp_path, pa.table(table)))
    for part in (
        "line 1, latitude", "line 2, longitude", "line 3, planting_date", "line 6, maturity_group",
        "line 7, growth_habit", "line 1, cell", "stands in several rows", "found 'XL'",
        "found '2025-05-01'", "-90 to 90",
    ):  # fmt: skip
        assert part in told, part
    table["planting_date"] = [dt.date(2020, 5, 1)] * count
    assert len(problems(tmp_path, pa.table(table))) < 20


@pytest.mark.parametrize(
    ("column", "written", "number"),
    [
        (["IV", "4", "late II", "00"], ["whole", "whole", "part", "whole"], [4.5, 4.5, 2.8, -0.5]),
        ([4, 2, 3, 1], ["whole"] * 4, [4.5, 2.5, 3.5, 1.5]),
        ([4.0, 2.3, 0.5, -0.2], ["decimal"] * 4, [4.0, 2.3, 0.5, -0.2]),
    ],
)
def test_groups_are_texts_or_numbers(
    tmp_path: Path, column: list[Any], written: list[str], number: list[float]
) -> None:
    """A text is read as in fields.csv, a whole number as a group, a decimal as its place."""
    found = read(tmp_path, region_fields(4, cells=["a"], maturity_group=column))
    np.testing.assert_allclose(found.table["group_number"].to_numpy(), number)
    names = ("decimal", "part", "whole")
    assert [names[code] for code in found.table["written"].to_pylist()] == written


def test_the_order_of_rows_and_kinds_of_columns_change_nothing(tmp_path: Path) -> None:
    """Dates as texts, cells as codes or numbers: the same fields by cell."""
    plain = region_fields(50, cells=["1", "2", "3"])
    found = read(tmp_path, plain)
    other = plain.set_column(3, "planting_date", plain["planting_date"].cast(pa.string()))
    other = other.set_column(6, "cell", other["cell"].cast(pa.int64()))
    assert read(tmp_path, other).table.equals(found.table)
    coded = plain.set_column(6, "cell", plain["cell"].combine_chunks().dictionary_encode())
    assert read(tmp_path, coded).table.equals(found.table)
    cells = found.table["cell"].to_pylist()
    assert cells == sorted(cells)
    assert found.starts[-1] == found.count == 50


def test_weather_in_any_order_is_read_by_cell_and_day(tmp_path: Path) -> None:
    """Rows may stand in any order, and cells in several row groups; a missing day is NaN."""
    table = region_weather(["a", "b", "c"], first_year=2024)
    shuffled = table.take(np.random.default_rng(2).permutation(table.num_rows))
    folder = write_region(tmp_path, region_fields(3, cells=["a"]), shuffled, rows=500)
    weather = ParquetWeather.open(folder / "weather.parquet")
    assert set(weather.cells()) == {"a", "b", "c"}
    plain = table.to_pandas()
    for cell, record in weather.read(["c", "a"]):
        own = plain[plain["cell"] == cell]
        assert record.first_day == dt.date(2024, 1, 1)
        np.testing.assert_array_equal(record.tmin_c, own["tmin_c"])
        np.testing.assert_array_equal(record.tmax_c, own["tmax_c"])


def test_what_is_no_parquet_is_said_in_a_sentence(tmp_path: Path) -> None:
    """A text, and a file that is not there; no traceback, and nothing is written."""
    (tmp_path / "fields.parquet").write_text("field_id,latitude\n")
    words = ["region", str(tmp_path / "fields.parquet"), "--weather", str(tmp_path / "none")]
    ran = run_command(*words, "--out", str(tmp_path / "out"), "--as-of", "2026-03-01")
    assert ran.code == 2
    assert "cannot be read as Parquet" in ran.err
    assert not (tmp_path / "out").exists()


def test_without_the_extra_the_command_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every library that is missing, and one line that brings them all."""
    real = needs.find_spec
    monkeypatch.setattr(
        needs, "find_spec", lambda name: None if name in ("numba", "pyarrow") else real(name)
    )
    words = ["region", "fields.parquet", "--weather", "w.parquet", "--out", str(tmp_path / "out")]
    ran = run_command(*words)
    assert ran.code == 2
    assert "numba, pyarrow not installed" in ran.err
    assert 'pip install "stagecast[region]"' in ran.err
