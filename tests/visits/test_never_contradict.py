"""Windows, thresholds and the next visit say the same of every pest, stage and region."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import pytest
from season_builder import ONE_DAY, FieldLine, StationFile, build_season, day

from stagecast.counts.defoliation import assess_defoliation
from stagecast.counts.lines import count_lines
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, as_it_stood, read_folder
from stagecast.knowledge import load
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.units import UNITS
from stagecast.pests.clock import PestClock
from stagecast.pests.thresholds import lasts_to
from stagecast.pests.windows import ScoutingWindow, crop_windows, pest_windows
from stagecast.visits.revisit import InsectsOver, Ripe, RipeBefore, SeasonOver, next_visit

KNOWLEDGE = load()
REGIONS = sorted({
    *(t.region for p in KNOWLEDGE.pests.values() for t in p.thresholds
      if t.region in KNOWLEDGE.regions),
    *(e.region for p in KNOWLEDGE.pests.values() for e in p.ends), "FL", "KY", "MI",
})  # fmt: skip
LEAVES = KNOWLEDGE.decisions.leaf_loss.pest


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> LoadedSeason:
    """A season of one field that ripens well before frost."""
    folder = build_season(
        tmp_path_factory.mktemp("walk"), fields=(FieldLine("F1", day(4, 25), "3.4"),),
        stations=(StationFile(first=dt.date(2024, 1, 1)),),
    )  # fmt: skip
    return as_it_stood(read_folder(folder), as_of=day(7, 1))


@cache
def answers(region: str, stage: str) -> dict[str, set[str]]:
    """Of every pest of a region, what counts of it by any unit would be told at a stage."""
    told: dict[str, set[str]] = {}
    for pest in KNOWLEDGE.pests.values():
        if pest.presence.regions and region not in pest.presence.regions:
            continue
        for unit in UNITS:
            lines = count_lines(
                (pest.id,), unit=unit, stage=stage, region=region, knowledge=KNOWLEDGE
            )
            for line in lines:
                words = told.setdefault(line.pest.id, set())
                words.add("threshold" if line.silence is None else line.silence.answer)
    leaves = assess_defoliation(10, stage=stage, region=region, knowledge=KNOWLEDGE)
    held = leaves.threshold is not None
    told.setdefault(LEAVES, set()).add("threshold" if held else leaves.answer)
    return told


def last_days(windows: list[ScoutingWindow]) -> dict[str, dt.date]:
    """The last day of each pest's windows that heat does not close."""
    found: dict[str, dt.date] = {}
    for window in windows:
        if window.pest is not None and window.closes.p50 is not None:
            found[window.pest] = max(window.closes.p50, found.get(window.pest, dt.date.min))
    return found


def in_every_season(window: ScoutingWindow, forecast: FieldForecast) -> bool:
    """Whether a window comes in every possible season, so that its dates are the stages' own."""
    return len(window.close_times) == len(forecast.times)


@pytest.mark.parametrize("region", REGIONS)
def test_window_threshold_and_visit_agree_on_every_day(region: str, loaded: LoadedSeason) -> None:
    """While a threshold decides no window is past and a visit is due; what is over has no window.

    Heat, or days after emergence, may close a window before: that its insects are gone by then,
    or the seedlings grown, is what the window says.
    """
    here = loaded.season.settings.model_copy(update={"region": region})
    fields = tuple(replace(field, region=region) for field in loaded.season.fields)
    moved = replace(loaded, season=replace(loaded.season, settings=here, fields=fields))
    (forecast,) = forecast_season(moved)
    windows = [*crop_windows(forecast, KNOWLEDGE), *pest_windows(forecast, PestClock(moved, {}))]
    by_heat = {w.pest for w in windows if w.timing == "heat"}
    by_days = {p.id for p in KNOWLEDGE.pests.values() if any(a.lasts for a in p.activities)}
    ends, whole = (
        last_days(windows),
        last_days([w for w in windows if in_every_season(w, forecast)]),
    )
    checked = 0
    for today in (day(4, 25) + n * ONE_DAY for n in range(190)):
        stage = forecast.stage_on(today)
        told = answers(region, stage)
        visit = next_visit(
            replace(forecast, stage_now=stage.replace("R6.5", "R6")), windows, None,
            as_of=today, region=region, knowledge=KNOWLEDGE,
        )  # fmt: skip
        holds = {pest for pest, words in told.items() if "threshold" in words}
        for pest in holds - by_heat - by_days:
            if pest in ends:
                assert ends[pest] >= today, (pest, stage, today)
                checked += 1
        for pest, words in told.items():
            if words == {"no longer matters"}:
                assert whole.get(pest, dt.date.min) <= today, (pest, stage, today)
        if visit.due is None and not isinstance(visit.reasons[-1], SeasonOver):
            ripe = [reason for reason in visit.reasons if isinstance(reason, Ripe)]
            said = {pest.id for reason in ripe for pest in reason.still}
            last = visit.reasons[-1]
            over = stage in ("R7", "R8") or isinstance(last, RipeBefore | InsectsOver)
            assert over, (stage, visit.reasons)
            if isinstance(last, InsectsOver) and last.day <= today:
                assert holds <= {pest.id for pest in last.end.still}, (stage, holds)
            if ripe:
                assert holds <= said, (stage, holds)
    assert checked > 100


@pytest.mark.parametrize("region", REGIONS)
def test_thresholds_of_a_region_agree_with_where_it_ends(region: str) -> None:
    """No source's end comes before the last stage of the same region's own threshold."""
    for pest in KNOWLEDGE.pests.values():
        if not any(one.region == region for one in pest.ends):
            continue
        over = stage_place(lasts_to(pest, region=region, knowledge=KNOWLEDGE))
        own = [t for t in pest.thresholds if t.region == region]
        late_r6 = stage_place("R6.5")
        assert all(min(stage_place(t.last), late_r6) <= over for t in own), pest.id


@pytest.mark.parametrize(
    ("pest", "region", "last"),
    [
        ("stink-bugs", "TN", "R6"), ("stink-bugs", "MS", "R6"), ("stink-bugs", "GA", "R6.5"),
        ("redbanded-stink-bug", "MS", "R6.5"), ("soybean-looper", "VA", "R6"),
        ("soybean-looper", "MS", "R6"), ("soybean-looper", "NC", "R6.5"),
        ("leaf-feeders", "TN", "R6"),
        ("leaf-feeders", "GA", "R6.5"), ("leaf-feeders", "DE", "R6.5"),
        ("soybean-aphid", "IA", "R5"),
    ],
)  # fmt: skip
def test_pests_end_where_the_state_says(pest: str, region: str, last: str) -> None:
    """The last stage by the states' texts: to R6 is until R6.5, to R6.5 is until R7.

    Mississippi, Tennessee, Alabama and Virginia stop at R6.5, Georgia and North Carolina at R7
    (Catchot and others 2014, Stewart 2017, Graham 2023, Herbert 2010, Thomas County 2014, NC State
    2017); soybean aphid to the end of R5 (Koch; Iowa).
    """
    assert lasts_to(KNOWLEDGE.pests[pest], region=region, knowledge=KNOWLEDGE) == last


def test_r6_5_parts_r6_seven_to_ten_days_on(loaded: LoadedSeason) -> None:
    """In every possible season R6.5 is 7 to 10 days after R6, or R7 if that is sooner."""
    (forecast,) = forecast_season(loaded)
    r6, late, r7 = (forecast.stage_time(s) for s in ("R6", "R6.5", "R7"))
    assert (late <= r7).all()
    after = late - r6
    assert ((after >= 7) | (late == r7)).all()
    assert (after <= 10).all()
    assert after.min() < 7.5
    assert after.max() > 9.5
    assert [forecast.stage_on(forecast.late.p50 + n * ONE_DAY) for n in (-1, 0)] == ["R6", "R6.5"]
