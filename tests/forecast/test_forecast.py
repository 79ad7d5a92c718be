"""The growth-stage forecast of a season folder: ordered, honest, blind to what comes later."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from season_builder import (
    ONE_DAY,
    Constant,
    FieldLine,
    From,
    Sinusoidal,
    StationFile,
    build_season,
    day,
    write_weather,
)

from stagecast.forecast.forecast import NOT_PLANTED, PLANTED, FieldForecast, forecast_season
from stagecast.forecast.load import load_season
from stagecast.knowledge import load
from stagecast.phenology.soybean import STAGES

AS_OF = day(7, 1)
SOYBEAN = load().soybean
PLANTINGS = [day(3, 20) + 7 * i * ONE_DAY for i in range(18)]
GROUPS = ("1", "3.4", "4.7", "late V", "VIII")


def forecasts(folder: Path, as_of: dt.date = AS_OF) -> dict[str, FieldForecast]:
    """Every field's forecast, by field_id."""
    season = load_season(folder, as_of=as_of)
    return {f.field.field_id: f for f in forecast_season(season)}


def only(folder: Path, as_of: dt.date = AS_OF) -> FieldForecast:
    """The forecast of a season with one field."""
    (forecast,) = forecasts(folder, as_of).values()
    return forecast


def or_never(date: dt.date | None) -> dt.date:
    """A date to compare with: not this season is after every day."""
    return date or dt.date.max


def test_a_bare_group_viii_is_forecast_as_its_middle(tmp_path: Path) -> None:
    """The last group needs no decimal: its middle dates are within a day of 8.5's, less sure."""
    groups = ("VII", "8.4", "VIII", "8.5", "8.9")
    fields = [FieldLine(group, maturity_group=group) for group in groups]
    found = forecasts(build_season(tmp_path, fields=fields))
    bare, middle = found["VIII"].stages, found["8.5"].stages
    for stage in STAGES:
        assert abs(bare[stage].p50 - middle[stage].p50).days <= 1
        assert or_never(bare[stage].p10) <= or_never(middle[stage].p10)
        assert or_never(bare[stage].p90) >= or_never(middle[stage].p90)
    assert np.std(found["VIII"].stage_time("R1")) > np.std(found["8.5"].stage_time("R1"))
    for stage in ("R1", "R5", "R7"):
        dates = [or_never(found[group].stages[stage].p50) for group in groups if group != "VIII"]
        assert dates == sorted(dates)
        assert dates[0] < dates[-1]


@pytest.fixture(scope="module")
def grid(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, dt.date], FieldForecast]:
    """Forecasts over planting dates from March to July and groups from I to VIII."""
    keys = [(group, planted) for group in GROUPS for planted in PLANTINGS]
    fields = [
        FieldLine(f"F{i}", planted, group, latitude=36.0 + i / 1000)
        for i, (group, planted) in enumerate(keys)
    ]
    found = forecasts(build_season(tmp_path_factory.mktemp("grid"), fields=fields))
    return dict(zip(keys, found.values(), strict=True))


def test_the_same_folder_gives_the_same_forecast(tmp_path: Path) -> None:
    """Reading and forecasting twice agrees in every date and to the last bit of every time."""
    fields = (FieldLine("F2"), FieldLine("F1", day(6, 10), "V", latitude=36.3))
    folder = build_season(
        tmp_path, fields=fields, stations=(StationFile(), StationFile("S2", latitude=36.3))
    )
    first, second = forecasts(folder), forecasts(folder)
    assert list(first) == list(second) == ["F2", "F1"]
    for field_id in first:
        assert first[field_id].stages == second[field_id].stages
        assert first[field_id].stage_now == second[field_id].stage_now
        np.testing.assert_array_equal(first[field_id].times, second[field_id].times)


def test_a_field_does_not_depend_on_its_company(tmp_path: Path) -> None:
    """A field alone in a folder gets the forecast it has among others of several stations."""
    fields = [
        FieldLine(f"F{i}", day(4, 20) + 9 * i * ONE_DAY, group, latitude=36.0 + 0.15 * (i % 3))
        for i, group in enumerate(["3.0", "V", "4.2", "IV", "6.0"])
    ]
    stations = (StationFile(), StationFile("S2", latitude=36.3, weather=Sinusoidal(16.0)))
    together = forecasts(build_season(tmp_path / "all", fields=fields, stations=stations))
    for field in fields:
        alone = only(build_season(tmp_path / field.field_id, fields=(field,), stations=stations))
        assert alone.stages == together[field.field_id].stages


def test_quantiles_and_stages_are_in_order(
    grid: dict[tuple[str, dt.date], FieldForecast],
) -> None:
    """10, 50 and 90 per cent never cross; V stages, and VE to R8, come in their order."""
    reproductive = ["VE", *(s for s in STAGES if s.startswith("R"))]
    vegetative = [s for s in STAGES if s.startswith("V")]
    for forecast in grid.values():
        for stage in STAGES:
            dates = forecast.stages[stage]
            low, middle, high = map(or_never, (dates.p10, dates.p50, dates.p90))
            assert low <= middle <= high
        for chain in (vegetative, reproductive):
            for quantile in ("p10", "p50", "p90"):
                dates_of = [or_never(getattr(forecast.stages[s], quantile)) for s in chain]
                assert dates_of == sorted(dates_of)


def test_no_stage_comes_before_the_day_after_planting(
    grid: dict[tuple[str, dt.date], FieldForecast],
) -> None:
    """However early the model's error allows, a seed does not emerge on its planting day."""
    for (_, planted), forecast in grid.items():
        assert or_never(forecast.stages["VE"].p10) > planted


def test_later_planting_never_means_an_earlier_stage(
    grid: dict[tuple[str, dt.date], FieldForecast],
) -> None:
    """Planting a week later leaves no stage's middle date earlier, in any group."""
    for group in GROUPS:
        for sooner, later in pairwise(PLANTINGS):
            for stage in STAGES:
                first = grid[group, sooner].stages[stage].p50
                assert or_never(first) <= or_never(grid[group, later].stages[stage].p50)


def test_planting_a_day_later_never_means_an_earlier_stage(tmp_path: Path) -> None:
    """The same from one day to the next, through the weeks in which cold soil is less sure."""
    fields = [
        FieldLine(f"F{i}", day(4, 5) + i * ONE_DAY, latitude=36.0 + i / 1e6) for i in range(45)
    ]
    found = list(forecasts(build_season(tmp_path, fields=fields)).values())
    for sooner, later in pairwise(found):
        for stage in STAGES:
            first, second = sooner.stages[stage].p50, later.stages[stage].p50
            assert or_never(first) <= or_never(second), (sooner.field.planting_date, stage)


# --- emergence -------------------------------------------------------------------------------


def test_a_seen_emergence_fixes_ve(tmp_path: Path) -> None:
    """VE is then that day at 10, 50 and 90 per cent, and R1 is surer than without it."""
    field = FieldLine(planting_date=day(5, 4), emergence_date=day(5, 16))
    seen = only(build_season(tmp_path / "a", fields=(field,)))
    ve = seen.stages["VE"]
    assert (ve.p10, ve.p50, ve.p90) == (day(5, 16),) * 3
    unseen = only(build_season(tmp_path / "b", fields=(replace(field, emergence_date=None),)))
    assert np.ptp(seen.stage_time("R1")) < np.ptp(unseen.stage_time("R1"))


def test_later_emergence_means_later_flowers(tmp_path: Path) -> None:
    """The seen day takes part in all that follows: ten days later moves R1."""
    r1 = [
        or_never(
            only(build_season(tmp_path / f"{late}", fields=(FieldLine(emergence_date=late),)))
            .stages["R1"]
            .p50
        )
        for late in (day(5, 10), day(5, 20))
    ]
    assert r1[0] < r1[1]


def test_emergence_is_unknown_before_its_day(tmp_path: Path) -> None:
    """As of the day before, the written emergence has not been seen; on the day it has."""
    field = FieldLine(emergence_date=day(5, 20))
    told = build_season(tmp_path / "a", fields=(field,))
    untold = build_season(tmp_path / "b", fields=(replace(field, emergence_date=None),))
    eve = day(5, 19)
    assert only(told, eve).stages == only(untold, eve).stages
    assert only(told, day(5, 20)).stages["VE"].p90 == day(5, 20)


# --- as of a day -----------------------------------------------------------------------------

LATER = From(day(6, 16), Sinusoidal(), Sinusoidal(mean_c=24.0))


def stuck_from(first: dt.date, days: int) -> Callable[[dt.date], tuple[float, float]]:
    """The usual weather, but a sensor that shows the same from a day on."""

    def weather(this: dt.date) -> tuple[float, float]:
        stuck = 0 <= (this - first).days < days
        return Sinusoidal()(first if stuck else this)

    return weather


@pytest.mark.parametrize(
    "station",
    [
        pytest.param(StationFile(weather=LATER), id="warmer afterwards"),
        pytest.param(StationFile(last=day(6, 15)), id="nothing afterwards"),
        pytest.param(StationFile(holes=((day(6, 16), day(7, 20)),)), id="a hole afterwards"),
    ],
)
def test_nothing_measured_later_takes_part(station: StationFile, tmp_path: Path) -> None:
    """Whatever the file says after the day asked for, the forecast of that day is the same."""
    folder = build_season(tmp_path)
    as_of = day(6, 15)
    expected, now = only(folder, as_of).times, only(folder, AS_OF).times
    assert not np.array_equal(expected, now)
    write_weather(folder, (station,))
    np.testing.assert_array_equal(only(folder, as_of).times, expected)


def test_a_sensor_is_not_found_stuck_by_later_days(tmp_path: Path) -> None:
    """Days that look stuck only with those after the day asked for are still measurements."""
    short = int(load().weather.stuck_days) - 1
    start = day(6, 15) - (short - 1) * ONE_DAY
    stations = [StationFile(weather=stuck_from(start, days)) for days in (short, 12)]
    first, second = (
        only(build_season(tmp_path / str(i), stations=(station,)), day(6, 15))
        for i, station in enumerate(stations)
    )
    np.testing.assert_array_equal(first.times, second.times)


def test_a_forecast_is_less_sure_before_planting_than_in_august(tmp_path: Path) -> None:
    """While the weather is unknown the times of R5 scatter more, on the average of many fields."""
    fields = [
        FieldLine(f"F{i}", day(4, 15) + 5 * i * ONE_DAY, latitude=36.0 + i / 100) for i in range(12)
    ]
    station = StationFile(weather=Sinusoidal(years_differ_c=3.0))
    folder = build_season(tmp_path, fields=fields, stations=(station,))
    before, after = (
        np.mean([np.std(f.stage_time("R5")) for f in forecasts(folder, as_of).values()])
        for as_of in (day(4, 1), day(8, 15))
    )
    assert before > after


def test_with_all_weather_known_only_the_models_error_is_left(tmp_path: Path) -> None:
    """After the season there is one member per draw, whatever past seasons were like."""
    folder = build_season(tmp_path)
    ensemble = SOYBEAN.ensemble
    draws = int(ensemble.levels) * int(ensemble.per_level)
    forecast, early = only(folder, day(12, 31)), only(folder, day(4, 1))
    assert (len(forecast.times), forecast.draws) == (draws, draws)
    assert (len(early.times), early.draws) == (10 * draws, draws)
    other = From(day(1, 1), Constant(20.0), Sinusoidal())
    write_weather(folder, (StationFile(weather=other),))
    assert not np.array_equal(only(folder, day(4, 1)).times, early.times)
    np.testing.assert_array_equal(only(folder, day(12, 31)).times, forecast.times)


def test_the_models_error_is_the_one_declared(tmp_path: Path) -> None:
    """Phases that day length does not touch scatter as soybean.toml says, in constant warmth.

    A need of e^(s z) times its usual size takes days whose logarithm has the deviation s.
    """
    station = StationFile(first=dt.date(2024, 1, 1), weather=Constant(27.0, 1.0))
    field = FieldLine(planting_date=day(5, 25))
    forecast = only(build_season(tmp_path, fields=(field,), stations=(station,)), day(12, 31))
    ve, v4, r7, r8 = map(forecast.stage_time, ("VE", "V4", "R7", "R8"))
    sown = forecast.span.index(field.planting_date) + 1.0
    ensemble = SOYBEAN.ensemble
    assert np.std(np.log(ve - sown)) == pytest.approx(float(ensemble.emergence), rel=0.05)
    assert np.std(np.log(v4 - ve)) == pytest.approx(float(ensemble.nodes), rel=0.05)
    assert np.std(r8 - r7) == pytest.approx(float(ensemble.r8_days), rel=0.05)


def test_a_bare_group_is_less_sure_than_one_with_a_decimal(tmp_path: Path) -> None:
    """What may be any cultivar of a group flowers within a wider range than a rated one."""
    groups = ("4.5", "IV mid", "IV")
    fields = [FieldLine(f"F{i}", maturity_group=group) for i, group in enumerate(groups)]
    found = forecasts(build_season(tmp_path, fields=fields)).values()
    spreads = [float(np.std(forecast.stage_time("R5"))) for forecast in found]
    assert spreads == sorted(spreads)
    assert spreads[0] < spreads[-1]
    middles = [or_never(forecast.stages["R5"].p50) for forecast in found]
    assert max(middles) - min(middles) <= ONE_DAY


# --- the stage on the day --------------------------------------------------------------------


def test_stage_now_before_planting_and_before_emergence(tmp_path: Path) -> None:
    """Not planted up to the eve of planting, planted until the middle VE, then VE."""
    folder = build_season(tmp_path)
    planted = FieldLine().planting_date
    assert only(folder, planted - ONE_DAY).stage_now == NOT_PLANTED
    assert only(folder, planted).stage_now == PLANTED
    emergence = or_never(only(folder, planted + ONE_DAY).stages["VE"].p50)
    for as_of in (planted + i * ONE_DAY for i in range(1, 30)):
        now = only(folder, as_of)
        if as_of < or_never(now.stages["VE"].p50):
            assert now.stage_now == PLANTED
        else:
            assert now.stage_now == "VE"
            break
    assert abs((as_of - emergence).days) <= 7


@pytest.mark.parametrize("after", range(8, 34, 5))
def test_v_stages_go_on_counting_nodes(after: int, tmp_path: Path) -> None:
    """At full rate a node comes every phyllochron, so the V stage can be counted by hand."""
    emerged = day(5, 14)
    as_of = emerged + after * ONE_DAY
    folder = build_season(
        tmp_path,
        fields=(FieldLine(maturity_group="VI", emergence_date=emerged),),
        stations=(StationFile(first=dt.date(2024, 1, 1), weather=Constant(26.0, 1.0)),),
    )
    grown_days = after + 0.5  # from midday of emergence to the end of the day
    phyllochrons = grown_days / float(SOYBEAN.nodes.phyllochron)
    nodes = math.floor(phyllochrons - float(SOYBEAN.nodes.v1_at) + 1)
    assert nodes >= 1
    assert only(folder, as_of).stage_now == f"V{nodes}"


def test_reproductive_stages_follow_their_middle_dates(tmp_path: Path) -> None:
    """Once R1 has come the stage is the last one whose middle date is not ahead."""
    folder = build_season(tmp_path)
    seen = set()
    for as_of in (day(6, 10) + 8 * i * ONE_DAY for i in range(15)):
        now = only(folder, as_of)
        reached = [s for s in STAGES if or_never(now.stages[s].p50) <= as_of]
        if reached[-1].startswith("R"):
            assert now.stage_now == reached[-1]
            assert or_never(now.stages[now.next_stage(as_of) or "R8"].p50) > as_of or (
                now.stage_now == "R8"
            )
        else:
            assert now.stage_now.startswith("V")
        seen.add(now.stage_now)
    assert {"R3", "R5", "R6", "R7", "R8"} <= seen


def test_what_is_not_reached_this_season_has_no_date(tmp_path: Path) -> None:
    """A late group planted in August in the north emerges and never ripens."""
    field = FieldLine(planting_date=day(8, 5), maturity_group="8.0", latitude=45.0)
    station = StationFile(latitude=45.0, weather=Sinusoidal(mean_c=7.0))
    forecast = only(build_season(tmp_path, fields=(field,), stations=(station,)), day(8, 6))
    assert forecast.stages["VE"].p50 is not None
    for stage in ("R5", "R6", "R7", "R8"):
        dates = forecast.stages[stage]
        assert (dates.p10, dates.p50, dates.p90) == (None, None, None)
    assert forecast.next_stage(day(11, 29)) is None


def test_no_date_lies_past_the_last_day_that_counts(
    grid: dict[tuple[str, dt.date], FieldForecast],
) -> None:
    """Dates stop at the end of the season; what would come later is not this season."""
    for forecast in grid.values():
        last = forecast.span.last_day
        for dates in forecast.stages.values():
            assert all(d is None or d <= last for d in (dates.p10, dates.p50, dates.p90))
    assert any(f.stages["R8"].p90 is None for f in grid.values())


def test_units_never_change_a_date(tmp_path: Path) -> None:
    """The preference for US or metric units is for the screen alone."""
    us, metric = (build_season(tmp_path / units, units=units) for units in ("us", "metric"))
    assert only(us).stages == only(metric).stages
    np.testing.assert_array_equal(only(us).times, only(metric).times)
