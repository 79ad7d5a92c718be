"""The compiled arithmetic beside numpy's, and what becomes of missing days."""

from __future__ import annotations

import datetime as dt
import itertools
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from region_builder import YEAR, region_fields, region_weather, write_region

from stagecast.knowledge.loader import load
from stagecast.phenology.daylength import day_length_hours, declination_rad
from stagecast.phenology.degree_days import Cutoff, Method, daily_degree_days
from stagecast.phenology.spread import quantile_days
from stagecast.region.daily import next_missing, pest_sums
from stagecast.region.fields import read_fields
from stagecast.region.numbers import Records, members_of, pest_numbers, records, timed_pests
from stagecast.region.part import RegionAsked
from stagecast.region.run import PARTS, run_region
from stagecast.region.sun import SunNumbers, day_hours
from stagecast.region.weather import CellRecord, Layout, ParquetWeather

AS_OF = dt.date(YEAR, 3, 1)
METHODS = [
    (method, cutoff)
    for method, cutoff in itertools.product(Method, Cutoff)
    if method not in (Method.CLAMPED_AVERAGE, Method.CAPPED_AVERAGE)
    or cutoff in (Cutoff.NONE, Cutoff.HORIZONTAL)
]


def temperatures(seasons: int, days: int, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Cold, mild and hot days, some of them flat."""
    random = np.random.default_rng(seed)
    mean = random.uniform(-5.0, 38.0, (seasons, days))
    half = random.uniform(0.0, 12.0, (seasons, days)) * random.integers(0, 2, (seasons, days))
    return mean - half, mean + half


def counted_by(method: Method, cutoff: Cutoff) -> Records:
    """The numbers of one pest, with another way to count its heat."""
    timed = timed_pests(load(), RegionAsked(AS_OF).span)[:1]
    model = timed[0].model.model_copy(
        update={
            "lower_c": 10.0,
            "upper_c": None if cutoff is Cutoff.NONE else 30.0,
            "method": method.value,
            "cutoff": cutoff.value,
        }
    )
    pest = type(timed[0])(timed[0].pest, model, *_start_of(timed[0]), timed[0].activities)
    return records(pest_numbers([pest], load()))


def _start_of(timed: Any) -> tuple[int, int]:
    return timed.biofix, timed.starts


@pytest.mark.parametrize(("method", "cutoff"), METHODS)
def test_compiled_degree_days_are_those_of_numpy(method: Method, cutoff: Cutoff) -> None:
    """Every method with every cutoff it can have, on days of all kinds."""
    tmin, tmax = temperatures(4, 300)
    numbers = counted_by(method, cutoff)
    sums = pest_sums(tmin, tmax, 0, 20, numbers, 0)
    upper = None if cutoff is Cutoff.NONE else 30.0
    daily = daily_degree_days(tmin, tmax, lower_c=10.0, upper_c=upper, method=method, cutoff=cutoff)
    np.testing.assert_allclose(np.diff(sums)[:, 20:], daily[:, 20:], rtol=0, atol=1e-9)
    assert (sums[:, :21] == 0.0).all()


@pytest.mark.parametrize("method", [Method.SINGLE_SINE, Method.DOUBLE_SINE])
def test_days_that_all_seasons_share_are_summed_once(method: Method) -> None:
    """Up to the last known day one season stands for all, whatever tomorrow the last day has."""
    tmin, tmax = temperatures(5, 200)
    tmin[:, :120], tmax[:, :120] = tmin[0, :120], tmax[0, :120]
    numbers = counted_by(method, Cutoff.HORIZONTAL)
    apart = pest_sums(tmin, tmax, 0, 10, numbers, 0)
    np.testing.assert_array_equal(pest_sums(tmin, tmax, 120, 10, numbers, 0), apart)


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 33.3, 46.9, 49.5, 55.0, 67.0])
def test_compiled_day_lengths_are_those_of_numpy(latitude: float) -> None:
    """Also where days are so long that the short form of the arcsine does not hold."""
    days = np.arange(1.0, 335.0)
    declination = declination_rad(days)
    sun = SunNumbers(np.sin(declination), np.cos(declination))
    angle = float(load().soybean.photoperiod.sun_angle)
    hours = np.zeros(len(days))
    day_hours(float(np.radians(latitude)), float(np.radians(angle)), sun, hours)
    wanted = day_length_hours(latitude, days, sun_angle_deg=angle)
    np.testing.assert_allclose(hours, wanted, rtol=0, atol=1e-11)


# --- members --------------------------------------------------------------------------------------


def test_thirty_members_with_a_draw_each_tell_as_wide_a_range_as_the_plan() -> None:
    """Their factors have the mean and the spread of the plan's, unrelated to years and pests."""
    soybean = load().soybean
    few, plan = members_of(30, 1, soybean), members_of(1, 45, soybean)
    for name in ("emergence", "nodes", "before_r1", "r1_r5", "r5_r7", "r8_days"):
        one, other = getattr(few, name), getattr(plan, name)
        assert abs(one.mean() - other.mean()) < 0.1 * other.std(), name
        assert 0.85 < one.std() / other.std() < 1.15, name
        years = np.corrcoef(one, np.arange(30))[0, 1]
        assert abs(years) < 0.2, name
        assert abs(np.corrcoef(one, few.z)[0, 1]) < 0.5, name
    assert sorted(few.level) == sorted(np.repeat(np.arange(5), 6))
    assert few.season.tolist() == list(range(30))


def test_thirty_members_come_within_a_day_or_two_of_the_plans_range(tmp_path: Path) -> None:
    """R1 and R8 of 30 seasons with a draw each beside all 45 draws of each, field by field."""
    cells = ["a", "b", "c"]
    folder = write_region(
        tmp_path,
        region_fields(150, cells=cells, maturity_group=["3.1"] * 150),
        region_weather(cells, first_year=1996),
    )
    found = {}
    for draws in (1, 45):
        asked = RegionAsked(AS_OF, draws)
        out = tmp_path / f"out{draws}"
        fields = read_fields(folder / "fields.parquet", span=asked.span, knowledge=asked.knowledge)
        run_region(fields, ParquetWeather.open(folder / "weather.parquet"), out, asked=asked)
        found[draws] = pq.read_table(out / PARTS)
    for name in ("r1_p10", "r1_p50", "r1_p90", "r8_p50"):
        few, many = (np.asarray(found[draws][name].to_numpy(), float) for draws in (1, 45))
        both = (few < 900) & (many < 900)
        assert both.sum() > 100
        off = np.abs(few - many)[both]
        assert np.mean(off <= 2.0) > 0.9, (name, off.max())


def test_quantiles_are_members_as_in_the_plan() -> None:
    """Ranks of 10, 50 and 90 percent for every number of members, by ``quantile_days``."""
    for count in range(1, 80):
        ranks = [max(int(np.ceil((p - 1e-12) * count)), 1) for p in (0.1, 0.5, 0.9)]
        times = np.random.default_rng(count).permutation(np.arange(count) + 0.5)
        wanted = quantile_days(times, (0.1, 0.5, 0.9))
        assert [rank - 0.5 for rank in ranks] == wanted.tolist()


# --- missing days ---------------------------------------------------------------------------------


def test_holes_are_found_before_every_day() -> None:
    """The first missing day at or after each; the number of days where there is none."""
    tmin, tmax = temperatures(2, 10)
    tmax[0, 4] = tmin[0, 8] = np.nan
    assert next_missing(tmin, tmax).tolist() == [[4] * 5 + [8] * 4 + [10] * 2, [10] * 11]


def test_a_missing_day_is_never_a_day_without_heat(tmp_path: Path) -> None:
    """What comes after a hole of the past season is unknown, what came before it is as without."""
    cells = ["whole", "hole"]
    last = dt.date(YEAR, 12, 31)
    weather = region_weather(["whole"], first_year=YEAR, last=last).to_pandas()
    other = weather.assign(cell="hole")
    days = [dt.date(YEAR, 7, 8) + dt.timedelta(days=n) for n in range(6)]
    other = other[~other["date"].isin(days)]
    table = pa.concat_tables(
        [pa.Table.from_pandas(t, preserve_index=False) for t in (weather, other)]
    )
    fields = region_fields(
        2,
        cells=cells,
        cell=cells,
        latitude=[38.0, 38.0],
        planting_date=[dt.date(YEAR, 5, 5)] * 2,
        maturity_group=["3.1"] * 2,
        growth_habit=[""] * 2,
    )
    folder = write_region(tmp_path, fields, table)
    asked = RegionAsked(last, 45)
    run_region(
        read_fields(folder / "fields.parquet", span=asked.span, knowledge=asked.knowledge),
        ParquetWeather.open(folder / "weather.parquet"),
        tmp_path / "out",
        asked=asked,
    )
    rows = {row["cell"]: row for row in pq.read_table(tmp_path / "out" / PARTS).to_pylist()}
    whole, hole = rows["whole"], rows["hole"]
    assert hole["ve_p90"] == whole["ve_p90"] < 189
    assert hole["v2_p50"] == whole["v2_p50"]
    assert whole["r5_p50"] > 194
    assert hole["r5_p50"] is None
    assert hole["r8_p10"] is None
    assert hole["bloom_to_full_seed_closes_p50"] is None


def test_a_whole_record_is_laid_out_as_the_plan_would() -> None:
    """The quick way and the plan's own give the same seasons, as of any day of several years."""
    weather = region_weather(["c"], first_year=2019, last=dt.date(YEAR, 12, 31)).to_pydict()
    record = CellRecord(
        dt.date(2019, 1, 1), np.array(weather["tmin_c"]), np.array(weather["tmax_c"])
    )
    span, limits = RegionAsked(AS_OF).span, load().weather
    for as_of in (dt.date(YEAR - 1, 12, 31), AS_OF, dt.date(YEAR, 8, 9), dt.date(YEAR, 12, 20)):
        layout = Layout(span, as_of=as_of, limits=limits)
        quick = layout.seasons("c", record, needed_from=dt.date(YEAR, 5, 1))
        layout._sound = lambda low, high: False  # type: ignore[method-assign]
        planned = layout.seasons("c", record, needed_from=dt.date(YEAR, 5, 1))
        np.testing.assert_array_equal(quick.tmin_c, planned.tmin_c)
        np.testing.assert_array_equal(quick.tmax_c, planned.tmax_c)
        assert quick.shared == planned.shared


@pytest.mark.parametrize("fault", ["short hole", "sensor", "reversed"])
def test_a_doubtful_day_is_treated_as_in_the_plan(fault: str) -> None:
    """A hole of two days is bridged; days of a stopped sensor and reversed ones are not used."""
    weather = region_weather(["c"], first_year=2019).to_pydict()
    low, high = np.array(weather["tmin_c"]), np.array(weather["tmax_c"])
    day = (dt.date(2023, 7, 1) - dt.date(2019, 1, 1)).days
    if fault == "short hole":
        low[day : day + 2] = high[day : day + 2] = np.nan
    elif fault == "sensor":
        low[day : day + 9], high[day : day + 9] = low[day], high[day]
    else:
        low[day : day + 9], high[day : day + 9] = high[day : day + 9], low[day : day + 9] - 1.0
    span = RegionAsked(AS_OF).span
    layout = Layout(span, as_of=AS_OF, limits=load().weather)
    record = CellRecord(dt.date(2019, 1, 1), low, high)
    seasons = layout.seasons("c", record, needed_from=dt.date(YEAR, 5, 1))
    years = 7 if fault == "short hole" else 6
    assert len(seasons.tmin_c) == years
    assert not np.isnan(seasons.tmin_c[:, 121:]).any()
