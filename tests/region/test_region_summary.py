"""Shares of the area by stage and week: worked by hand, as CSV, and on a page."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from browser import PHONE, Opened
from commands import run_command
from region_builder import YEAR, region_fields, region_weather, write_region

from stagecast.base.errors import SeasonProblems, StoreError
from stagecast.pages.region_page import region_html, region_page
from stagecast.phenology.soybean import STAGES
from stagecast.region.part import QUANTILES, RegionAsked
from stagecast.region.run import PARTS
from stagecast.region.summary import RegionSummary, summarize
from stagecast.screens.region import ProgressLine

AS_OF = dt.date(YEAR, 6, 3)
SPAN = RegionAsked(AS_OF).span


def day(month: int, number: int) -> int:
    """A day of the season as the day of the year."""
    return dt.date(YEAR, month, number).timetuple().tm_yday


def written(folder: Path, rows: list[dict[str, Any]]) -> Path:
    """Results of fields that come to every stage on one day, R1 aside, of which it is given."""
    (folder / PARTS).mkdir()
    every = {f"{s.lower()}_{q}": day(7, 1) for s in STAGES for q in QUANTILES}
    table = pa.Table.from_pylist([every | row for row in rows])
    for number, part in enumerate((table.slice(0, 2), table.slice(2))):
        pq.write_table(part, folder / PARTS / f"part-{number:05d}.parquet")
    return folder


def r1(early: int | None, middle: int | None, late: int | None) -> dict[str, int | None]:
    """The three days of R1."""
    return {"r1_p10": early, "r1_p50": middle, "r1_p90": late}


@pytest.fixture
def summary(tmp_path: Path) -> RegionSummary:
    """Four fields of two counties: one that never flowers, one of which nothing is known."""
    rows = [
        {"county": "B", "area_ha": 10.0, **r1(day(6, 1), day(6, 3), day(6, 4))},
        {"county": "A", "area_ha": 20.0, **r1(day(6, 4), day(6, 10), day(6, 11))},
        {"county": "B", "area_ha": 30.0, **r1(day(6, 20), 999, 999)},
        {"county": "B", "area_ha": 40.0, **r1(None, None, None)},
    ]
    return summarize(written(tmp_path, rows), by="county", span=SPAN, as_of=AS_OF)


@pytest.mark.parametrize("whole", [True, False])
def test_a_part_that_is_damaged_is_named(tmp_path: Path, whole: bool) -> None:
    """Zeros within its data, or an end that is missing: which file it is, and what to do."""
    rows = [{"cell": f"c{n}", **r1(day(6, n), day(6, 8), day(6, 9))} for n in (1, 2, 3)]
    folder = written(tmp_path, rows)
    part = folder / PARTS / "part-00001.parquet"
    raw = part.read_bytes()
    part.write_bytes(
        raw[:4] + bytes(len(raw) // 2) + raw[4 + len(raw) // 2 :] if whole else b"PAR1"
    )
    with pytest.raises(StoreError, match=r"part-00001\.parquet: this part is damaged; delete it"):
        summarize(folder, by="cell", span=SPAN, as_of=AS_OF)


def test_shares_are_those_worked_by_hand(summary: RegionSummary) -> None:
    """By 3 June 10 of 60 known hectares flower, by 10 June 30; 30 never do, 40 are not known."""
    whole, a, b = (one for one in summary.shares if one.stage == "R1")
    assert [one.group for one in (whole, a, b)] == ["", "A", "B"]
    third, tenth = (summary.dates.index(dt.date(YEAR, 6, d)) for d in (3, 10))
    assert AS_OF in summary.dates
    assert (whole.area, a.area, b.area) == (60.0, 20.0, 40.0)
    assert whole.middle[third - 1] == 0.0
    assert whole.middle[third] == pytest.approx(10 / 60)
    assert whole.middle[tenth] == pytest.approx(30 / 60)
    assert whole.middle[-1] == pytest.approx(30 / 60)
    assert whole.early[tenth] == pytest.approx(30 / 60)
    assert whole.early[-1] == 1.0
    assert whole.late[third] == 0.0
    assert whole.late[tenth] == pytest.approx(10 / 60)
    assert (a.middle[tenth], b.middle[tenth]) == (1.0, 0.25)
    assert summary.reached(whole.middle, 0.5) == dt.date(YEAR, 6, 10)
    assert summary.reached(whole.late, 0.9) is None


def test_without_counties_a_summary_by_them_is_refused(tmp_path: Path) -> None:
    """The next step is said; by cell it is as possible as before."""
    rows = [{"cell": cell, **r1(150, 151, 152)} for cell in ("c1", "c2", "c2")]
    folder = written(tmp_path, rows)
    with pytest.raises(SeasonProblems, match="county"):
        summarize(folder, by="county", span=SPAN, as_of=AS_OF)
    found = summarize(folder, by="cell", span=SPAN, as_of=AS_OF)
    assert not found.in_hectares
    assert {one.group for one in found.shares} == {"", "c1", "c2"}


def test_the_page_has_the_dates_of_every_group(summary: RegionSummary) -> None:
    """Beside the chart stands a table with the same: half of the area, early and late."""
    html = region_html(region_page(summary, fields=4, as_of=AS_OF))
    assert "10 Jun (10 Jun to 17 Jun)" in html  # county A: p10 4 June, p90 11 June
    assert html.count("<tr>") == 1 + 3


@pytest.mark.browser
def test_the_page_fits_a_phone(summary: RegionSummary, open_page: Any, tmp_path: Path) -> None:
    """Its table scrolls by itself, and the browser complains of nothing."""
    (tmp_path / "page.html").write_text(
        region_html(region_page(summary, fields=4, as_of=AS_OF)), "utf-8"
    )
    opened: Opened = open_page(tmp_path / "page.html", size=PHONE)
    assert opened.sideways == 0
    assert opened.complaints == []


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def region(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two tables of a small region."""
    cells = ["c1", "c2", "c3"]
    states = ["IA", "TN", "IL"] * 20
    fields = region_fields(60, cells=cells, county=["X", "Y"] * 30, state=states)
    folder = tmp_path_factory.mktemp("region")
    return write_region(folder, fields, region_weather(cells))


def run_region(folder: Path, out: Path, *more: str, weather: str = "weather.parquet") -> Any:
    """The command over such tables."""
    return run_command(
        "region", folder / "fields.parquet", "--weather", folder / weather, "--out", out,
        "--as-of", "2026-03-01", "--workers", "1", *more,
    )  # fmt: skip


def test_the_command_writes_what_it_says_and_says_what_it_wrote(
    region: Path, tmp_path: Path
) -> None:
    """The table of fields, the summary as CSV and as a page; shares of the CSV rise to one."""
    out = tmp_path / "out"
    ran = run_region(region, out, "--summary", "county")
    assert (ran.code, ran.err) == (0, "")
    assert "60 fields in 1 file" in ran.out
    assert "seen_corn_earworm" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80
    assert sorted(path.name for path in out.iterdir()) == [
        ".stagecast-run", "fields", "region.json", "summary.csv", "summary.html",
    ]  # fmt: skip
    rows = list(csv.DictReader((out / "summary.csv").read_text().splitlines()))
    assert {row["group"] for row in rows} == {"all", "X", "Y"}
    frame = pd.read_csv(out / "summary.csv")
    r3 = frame[(frame["group"] == "all") & (frame["stage"] == "R3")]
    assert (np.diff(r3["share"]) >= 0.0).all()
    assert (r3["share_late"] <= r3["share"]).all()
    assert (r3["share"] <= r3["share_early"]).all()
    fields = pd.read_parquet(out / PARTS)
    met = fields[fields["state"] == "TN"]["kudzu_bug_new_adults_opens_p50"]
    assert met.notna().all()
    assert fields[fields["state"] == "IA"]["kudzu_bug_new_adults_opens_p50"].isna().all()
    assert "60 fields in 1 file; all were there" in run_region(region, out).out


def test_a_day_given_for_a_pest_times_it(region: Path, tmp_path: Path) -> None:
    """Where a field has a catch its window has days, sooner or later with it; else it has none."""
    table = pq.read_table(region / "fields.parquet")
    days = [dt.date(YEAR, 7, 4), dt.date(YEAR, 7, 25), None] * 20
    table = table.append_column("seen_corn_earworm", pa.array(days, pa.date32()))
    table = table.set_column(table.column_names.index("state"), "state", pa.array(["TN"] * 60))
    folder = write_region(tmp_path / "in", table, region_weather(["c1", "c2", "c3"]))
    ran = run_region(folder, tmp_path / "out")
    assert "seen_corn_earworm" not in ran.out
    found = pd.read_parquet(tmp_path / "out" / PARTS).sort_values("field_id", ignore_index=True)
    opens = found["corn_earworm_pod_worms_opens_p50"]
    assert opens[2::3].isna().all()
    known = found[opens.notna() & (opens != 999)]
    assert len(known) > 20
    seen = known["field_id"].str[1:].astype(int) % 3
    column = "corn_earworm_pod_worms_opens_p50"
    assert (known[seen == 0][column] >= day(7, 4)).all()
    assert (known[seen == 1][column] >= day(7, 25)).all()


def save_grid(grid: Any, path: Path) -> None:
    """Write a grid by the kind that a file's name ends with."""
    if path.suffix == ".zarr":
        pytest.importorskip("zarr", reason="no zarr to write a grid with")
        grid.to_zarr(path, zarr_format=2)
    else:
        pytest.importorskip("scipy", reason="no scipy to write NetCDF with")
        grid.to_netcdf(path, engine="scipy")


@pytest.mark.parametrize("ending", ["zarr", "nc"])
def test_a_grid_gives_the_days_of_a_table(region: Path, tmp_path: Path, ending: str) -> None:
    """The same temperatures as Zarr or NetCDF over time and cell, or over latitude and longitude.

    The grid is written by xarray from the rows of the table.
    """
    xarray = pytest.importorskip("xarray", reason="no xarray to read a grid with")
    assert run_region(region, tmp_path / "table").code == 0
    frame = pq.read_table(region / "weather.parquet").to_pandas()
    frame["time"] = pd.to_datetime(frame["date"])
    grid = frame.set_index(["time", "cell"])[["tmin_c", "tmax_c"]].to_xarray()
    assert isinstance(grid, xarray.Dataset)
    folder, cells_grid, square_grid = tmp_path / "grid", f"cells.{ending}", f"square.{ending}"
    write_region(folder, pq.read_table(region / "fields.parquet"), region_weather(["c1"]))
    save_grid(grid, folder / cells_grid)
    ran = run_region(folder, tmp_path / "out", weather=cells_grid)
    assert (ran.code, ran.err) == (0, "")
    wanted, found = (pq.read_table(tmp_path / n / PARTS) for n in ("table", "out"))
    assert found.equals(wanted)
    square = grid.assign_coords(cell=[0, 1, 2]).expand_dims(lat=[40.25]).rename(cell="lon")
    square = square.assign_coords(lon=[-93.75, -93.5, -93.25])
    save_grid(square.transpose("time", "lat", "lon"), folder / square_grid)
    named = dict(zip(("c1", "c2", "c3"), ("-93.75", "-93.5", "-93.25"), strict=True))
    table = pq.read_table(folder / "fields.parquet")
    cells = [f"40.25,{named[cell]}" for cell in table["cell"].to_pylist()]
    table = table.set_column(table.column_names.index("cell"), "cell", pa.array(cells))
    pq.write_table(table, folder / "fields.parquet")
    ran = run_region(folder, tmp_path / "square", weather=square_grid)
    assert (ran.code, ran.err) == (0, "")
    found, wanted = (
        pd.read_parquet(tmp_path / name / PARTS)
        .sort_values("field_id", ignore_index=True)
        .drop(columns="cell")
        for name in ("square", "table")
    )
    pd.testing.assert_frame_equal(found, wanted)


def test_a_run_tells_its_rate_and_the_time_that_is_left() -> None:
    """Worked by hand: 2,000 fields in 40 s are 50 a second, so that 7,000 more take 140 s."""
    told, clock = io.StringIO(), iter((0.0, 5.0, 10.0, 45.0))
    line = ProgressLine(lambda: next(clock), told)
    for done in (0, 1000, 1500, 3000):
        line(done, 10_000)
    assert told.getvalue() == "3,000 of 10,000 fields, 50 a second, 2 min left\n"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--draws", "0"], "--draws: too few"),
        (["--workers", "0", "--draws", "-1"], "--draws: too few"),
        (["--summary", "county", "--weather", "none.zarr"], "there is no such file"),
    ],
)
def test_what_cannot_be_is_said_before_anything_is_made(
    region: Path, tmp_path: Path, more: list[str], said: str
) -> None:
    """One sentence, exit code 2, and no folder."""
    ran = run_region(region, tmp_path / "out", *more)
    assert ran.code == 2
    assert said in ran.err
    assert not (tmp_path / "out").exists()
