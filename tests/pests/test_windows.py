"""Scouting windows: those declared, within the crop's stages, timed by heat when all is known."""

from __future__ import annotations

import datetime as dt
import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from season_builder import (
    ONE_DAY,
    Constant,
    FieldLine,
    PerYear,
    Sinusoidal,
    StationFile,
    build_season,
    day,
)

from stagecast.forecast.ranges import EventTimes, date_range
from stagecast.knowledge import load
from stagecast.knowledge.crop import STAGE_ORDER, CropEvent, stage_place
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import RecordGap
from stagecast.pests.thresholds import lasts_to
from stagecast.pests.windows import Declared, NotByHeat, ScoutingWindow, TimedByHeat
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.weather.seasons import SeasonSpan
from stagecast.words.windows import window_text

AS_OF = day(7, 1)
KNOWLEDGE = load()
DECLARED = tomllib.loads(
    (files("stagecast.knowledge") / "windows.toml").read_text(encoding="utf-8")
)["window"]
TIMED = {p.id for p in KNOWLEDGE.pests.values() if p.heat is not None}
PLANTINGS = (day(4, 12), day(5, 4), day(6, 20))
GROUPS = ("3.4", "4.7", "late V")


def plans(folder: Path, as_of: dt.date = AS_OF) -> tuple[FieldDay, ...]:
    """All field plans of a season."""
    return SeasonDay.open(folder, as_of=as_of).fields


def by_id(plan: FieldDay) -> dict[tuple[str | None, str], ScoutingWindow]:
    """Windows of a field by pest and id."""
    return {(w.pest, w.window): w for w in plan.windows}


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> tuple[FieldDay, ...]:
    """Fields over planting dates and groups, one with a seen emergence."""
    keys = [(planted, group) for planted in PLANTINGS for group in GROUPS]
    fields = [
        FieldLine(f"F{i}", planted, group, latitude=36.0 + i / 100)
        for i, (planted, group) in enumerate(keys)
    ]
    fields.append(FieldLine("F99", day(5, 4), emergence_date=day(5, 15), latitude=36.2))
    return plans(build_season(tmp_path_factory.mktemp("windows"), fields=fields))


# --- windows of the crop ---------------------------------------------------------------------


def test_the_crop_windows_are_those_declared(season: tuple[FieldDay, ...]) -> None:
    """Every field has each window of windows.toml once, with its own texts."""
    for plan in season:
        own = [w for w in plan.windows if w.pest is None]
        assert {w.window for w in own} == {entry["id"] for entry in DECLARED}
        assert len(own) == len(DECLARED)
        for entry in DECLARED:
            window = by_id(plan)[None, entry["id"]]
            assert window.title == entry["title"]
            assert window.why == Declared(entry["why"])
            assert list(window.look_for) == entry["look_for"]
            assert (window.critical, window.sample) == (entry["critical"], entry["sample"])


@pytest.mark.parametrize("entry", DECLARED, ids=lambda entry: entry["id"])
def test_crop_windows_open_and_close_at_their_stages(
    entry: dict[str, dict[str, object]], season: tuple[FieldDay, ...]
) -> None:
    """In every member both ends lie the declared days from their stage, yet not before VE."""
    for plan in season:
        window = by_id(plan)[None, str(entry["id"])]
        emerged = plan.forecast.stage_time("VE")
        for end, times in (("opens", window.open_times), ("closes", window.close_times)):
            stage, plus_days = str(entry[end]["stage"]), entry[end].get("plus_days", 0)
            expected = plan.forecast.stage_time(stage) + plus_days
            np.testing.assert_allclose(times, np.maximum(expected, emerged))


def test_the_seedling_window_lasts_three_weeks(season: tuple[FieldDay, ...]) -> None:
    """It closes 21 days after VE in every member, whatever the group."""
    for plan in season:
        window = by_id(plan)[None, "seedling"]
        np.testing.assert_allclose(window.close_times - window.open_times, 21.0)


def test_the_bloom_window_is_r1_to_r6(season: tuple[FieldDay, ...]) -> None:
    """Its dates are the dates of R1 and R6, all three quantiles of them."""
    for plan in season:
        window = by_id(plan)[None, "bloom-to-full-seed"]
        assert window.opens == plan.forecast.stages["R1"]
        assert window.closes == plan.forecast.stages["R6"]


def test_windows_are_listed_by_opening_date(season: tuple[FieldDay, ...]) -> None:
    """The list of a field runs in time, with what never opens at its end."""
    for plan in season:
        opens = [w.opens.p50 or dt.date.max for w in plan.windows]
        assert opens == sorted(opens)


# --- windows of pests ------------------------------------------------------------------------


def lies_within(window: ScoutingWindow, first: np.ndarray, last: np.ndarray) -> bool:
    """Whether the window's members, in order, can be those of the crop that hold them."""
    member = 0
    for opens, closes in zip(window.open_times, window.close_times, strict=True):
        while member < len(first) and not first[member] <= opens < closes <= last[member]:
            member += 1
        if member == len(first):
            return False
        member += 1
    return True


def host_end(plan: FieldDay, pest: Pest, last: CropEvent) -> np.ndarray:
    """When a host stage ends and the next begins; the last one of a pest as Tennessee has it."""
    over = lasts_to(pest, region="TN", knowledge=KNOWLEDGE)
    if last == max((a.host.last for a in pest.activities), key=stage_place):
        last = over
    after = STAGE_ORDER[min(stage_place(last), stage_place(over)) + 1]
    return plan.forecast.stage_time(after)


def test_pest_windows_lie_within_their_host_stages(season: tuple[FieldDay, ...]) -> None:
    """No pest window opens before its first host stage or closes after its last."""
    seen = set()
    for plan in season:
        for window in (w for w in plan.windows if w.pest is not None):
            pest = KNOWLEDGE.pests[window.pest]
            (host,) = [a.host for a in pest.activities if a.id == window.window]
            first, last = plan.forecast.stage_time(host.first), host_end(plan, pest, host.last)
            assert lies_within(window, first, last), (plan.forecast.field.field_id, window.window)
            if len(window.open_times) == len(first):
                assert (window.open_times >= first).all()
                assert (window.close_times <= last).all()
            seen.add(window.pest)
    assert seen >= {"stink-bugs", "soybean-looper", "corn-earworm", "bean-leaf-beetle"}


def test_pests_not_timed_by_heat_say_so_and_follow_the_crop(season: tuple[FieldDay, ...]) -> None:
    """Their windows are the host stages themselves, in every field, and no heat is named."""
    untimed = [p for p in KNOWLEDGE.pests.values() if p.heat is None]
    assert {p.id for p in untimed} >= {"stink-bugs", "soybean-looper"}
    for plan in season:
        for pest in untimed:
            for activity in pest.activities:
                window = by_id(plan).get((pest.id, activity.id))
                if window is None:
                    assert pest.presence.regions
                    assert "TN" not in pest.presence.regions
                    continue
                assert isinstance(window.why, NotByHeat)
                assert " F d" not in window_text(window.why, "us")
                first = plan.forecast.stage_time(activity.host.first)
                last = host_end(plan, pest, activity.host.last)
                if activity.lasts is not None:
                    last = np.minimum(last, first + float(activity.lasts))
                meet = first < last
                np.testing.assert_array_equal(window.open_times, first[meet])
                np.testing.assert_array_equal(window.close_times, last[meet])


def test_a_window_says_what_its_dates_rest_on(season: tuple[FieldDay, ...]) -> None:
    """The crop's own stages, a heat sum that has a day to count from, or the host stages."""
    seen = set()
    for plan in season:
        for window in plan.windows:
            expected = "crop"
            if window.pest is not None:
                pest = KNOWLEDGE.pests[window.pest]
                (activity,) = [a for a in pest.activities if a.id == window.window]
                counted = pest.heat is not None and any(
                    biofix.kind in ("calendar day", "crop stage") for biofix in pest.heat.biofix
                )
                expected = "heat" if counted and activity.opens is not None else "host stages"
            assert window.timing == expected
            seen.add(expected)
    assert seen == {"crop", "heat", "host stages"}


def test_heat_timed_windows_name_need_heat_so_far_and_method(
    season: tuple[FieldDay, ...],
) -> None:
    """A window timed by heat says how much is needed, from when, by which method."""
    for plan in season:
        for window in plan.windows:
            if window.pest in TIMED and isinstance(window.why, TimedByHeat):
                told = window_text(window.why, "us")
                assert told.count(" F d") == 2
                model = KNOWLEDGE.pests[window.pest].heat
                assert model is not None
                assert model.method in told


def test_earworms_without_catches_follow_the_flowers(season: tuple[FieldDay, ...]) -> None:
    """Nobody caught moths: no date is made up for worms, they may be there from R1 on."""
    for plan in season:
        window = by_id(plan)["corn-earworm", "pod-worms"]
        assert window.opens == plan.forecast.stages["R1"]
        assert "no catches in traps.csv" in window_text(window.why, "us")


def test_heat_is_told_in_the_units_chosen(tmp_path: Path) -> None:
    """Metric units change the words of a window, never its dates."""
    us, metric = (
        by_id(plans(build_season(tmp_path / units, units=units))[0]) for units in ("us", "metric")
    )
    assert us.keys() == metric.keys()
    for key, window in us.items():
        assert (window.opens, window.closes) == (metric[key].opens, metric[key].closes)
    told = window_text(metric["japanese-beetle", "adults"].why, "metric")
    assert " C d" in told
    assert " F d" not in told


# --- heat by hand ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mean_c", "half_range_c", "gain_c", "planted"),
    [
        (20.0, 3.0, 10.0, day(1, 2)),
        (16.0, 3.0, 6.0, day(2, 10)),
        (14.0, 3.0, 4.0, day(3, 5)),
        (22.0, 12.0, 10.0, day(1, 2)),  # highs of 34 and more count as 30, lows of 10 as they are
    ],
)
def test_japanese_beetle_opens_on_the_day_counted_by_hand(
    mean_c: float, half_range_c: float, gain_c: float, planted: dt.date, tmp_path: Path
) -> None:
    """At a constant mean, 572.2 C d above 10 degC since 1 January fall on a countable day.

    Need, base, ceiling and biofix: Iowa State University 2013, as cited in the pest's file; lows
    and highs held between 10 and 30 degC before they are averaged.
    """
    station = StationFile(first=dt.date(2015, 1, 1), weather=Constant(mean_c, half_range_c))
    folder = build_season(tmp_path, fields=(FieldLine("F1", planted),), stations=(station,))
    (plan,) = plans(folder, day(1, 1))
    days = 572.2 / gain_c
    assert float(np.max(plan.forecast.stage_time("V1"))) < 0.85 * days  # the host allows it
    window = by_id(plan)["japanese-beetle", "adults"]
    assert window.opens.p50 == day(1, 1) + int(days) * ONE_DAY
    low, high = window.opens.p10, window.opens.p90
    assert low is not None
    assert high is not None
    assert low < window.opens.p50 < high


def test_japanese_beetle_waits_for_its_host(tmp_path: Path) -> None:
    """Where beetles are out before the beans, the window opens with the host stage."""
    station = StationFile(first=dt.date(2015, 1, 1), weather=Constant(20.0))
    (plan,) = plans(build_season(tmp_path, stations=(station,)), day(5, 1))
    assert day(1, 1) + 58 * ONE_DAY < FieldLine().planting_date
    window = by_id(plan).get(("japanese-beetle", "adults"))
    assert window is None  # last adults come 119 days after 1 January, before these beans
    station = StationFile(first=dt.date(2015, 1, 1), weather=Constant(16.0))
    (plan,) = plans(build_season(tmp_path / "b", stations=(station,)), day(5, 1))
    window = by_id(plan)["japanese-beetle", "adults"]
    assert window.opens == plan.forecast.stages["V1"]


def test_dectes_lasts_the_days_its_source_gives(tmp_path: Path) -> None:
    """At a constant 16 degC the window closes 30 days after 694.4 C d above 10 degC."""
    station = StationFile(first=dt.date(2015, 1, 1), weather=Constant(16.0))
    field = FieldLine(planting_date=day(4, 1))
    (plan,) = plans(build_season(tmp_path, fields=(field,), stations=(station,)), day(1, 1))
    window = by_id(plan)["dectes-stem-borer", "adults"]
    first = 694.4 / 6.0
    assert window.closes.p50 == day(1, 1) + int(first + 30.0) * ONE_DAY


def test_a_station_without_its_winter_is_not_counted_from_half_the_heat(tmp_path: Path) -> None:
    """Models from 1 January fall back to the host stages and say so; others are untouched."""
    winter = ((day(1, 1), day(2, 28)),)
    whole, holed = (
        plans(build_season(tmp_path / name, stations=(StationFile(holes=holes),)))[0]
        for name, holes in (("whole", ()), ("holed", winter))
    )
    np.testing.assert_array_equal(whole.forecast.times, holed.forecast.times)
    fallen = set()
    for (pest_id, activity_id), window in by_id(holed).items():
        pest = KNOWLEDGE.pests[pest_id] if pest_id else None
        if pest is None or pest.heat is None:
            continue
        biofix = pest.heat.biofix[0]
        if (biofix.month, biofix.day) != (1, 1):
            assert window.opens == by_id(whole)[pest_id, activity_id].opens
            assert window.timing != "heat unknown"
            continue
        (host,) = [a.host for a in pest.activities if a.id == activity_id]
        assert window.timing == "heat unknown"
        assert isinstance(window.why, NotByHeat)
        assert window.why.cause == RecordGap("S1")
        if host.first != "planting":
            assert window.opens == holed.forecast.stages[host.first]
        ends = host_end(holed, pest, host.last)
        assert window.closes == date_range(ends, holed.forecast.span, holed.forecast.weights)
        fallen.add(pest_id)
    assert fallen >= {"japanese-beetle", "dectes-stem-borer"}
    assert "since 1 Jan" in window_text(by_id(whole)["japanese-beetle", "adults"].why, "us")


@pytest.mark.parametrize("warm", range(3, 8))
def test_a_pest_is_listed_when_it_meets_the_crop_in_enough_seasons(
    warm: int, tmp_path: Path
) -> None:
    """Of ten past seasons the warm ones bring the beetle to the beans, the cold ones never."""
    years = frozenset(range(2016, 2016 + warm))
    weather = PerYear(years, Constant(16.0, 0.9), Constant(11.0, 0.9))
    station = StationFile(first=dt.date(2016, 1, 1), last=dt.date(2025, 12, 31), weather=weather)
    field = FieldLine(planting_date=day(4, 1))
    (plan,) = plans(build_season(tmp_path, fields=(field,), stations=(station,)), day(1, 1))
    assert len(plan.forecast.weather.season.member_years) == 10
    listed = ("japanese-beetle", "adults") in by_id(plan)
    assert listed == (warm / 10 >= float(KNOWLEDGE.revisit.overlap_share))


# --- where a window stands on a day ----------------------------------------------------------

SPAN = SeasonSpan(2026, day(11, 30))


def hand_made(
    opens: list[float], closes: list[float], weights: list[float] | None = None
) -> ScoutingWindow:
    """A window with the times of a few members, which count alike unless told."""
    each = np.full(len(opens), 1 / len(opens)) if weights is None else np.array(weights)
    ends = (EventTimes.of(np.array(times), SPAN, each) for times in (opens, closes))
    return ScoutingWindow(
        "F1", "w", "Window", "w", None, *ends,
        why=Declared(""), look_for=(), sample="", critical=True, rank=0, timing="crop",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        (day(6, 2), "later"),
        (day(6, 3), "coming"),
        (day(6, 9), "coming"),
        (day(6, 10), "open"),
        (day(6, 20), "open"),
        (day(6, 21), "past"),
    ],
)
def test_a_window_comes_opens_and_is_past(as_of: dt.date, state: str) -> None:
    """Seven days ahead it is coming; it is open from its middle opening to its middle close."""
    opens = [SPAN.index(day(6, 10)) + shift for shift in (-4.0, 0.5, 4.0)]
    closes = [SPAN.index(day(6, 20)) + shift for shift in (-4.0, 0.5, 4.0)]
    window = hand_made(opens, closes)
    assert window.state(as_of, entering_days=7) == state


def test_a_window_that_mostly_never_opens_is_not_this_season() -> None:
    """With no middle opening date the window has no place in the season, on any day."""
    window = hand_made([150.0, np.inf, np.inf], [160.0, np.inf, np.inf])
    assert window.opens.p50 is None
    for as_of in (day(5, 1), day(9, 1)):
        assert window.state(as_of, entering_days=7) == "not this season"


def test_a_window_that_never_closes_stays_open() -> None:
    """No middle closing date means open to the end of the season."""
    assert hand_made([150.0] * 3, [np.inf] * 3).state(day(11, 30), entering_days=7) == "open"


def test_members_count_by_their_weights() -> None:
    """A member that fits what was seen better moves the dates and the share its way."""
    opens, closes = [10.0, 20.0, 30.0], [15.0, 25.0, 35.0]
    alike, early, late = (
        hand_made(opens, closes, weights) for weights in (None, [0.6, 0.3, 0.1], [0.05, 0.15, 0.8])
    )
    days = [SPAN.date(time) for time in opens]
    assert [w.opens.p50 for w in (early, alike, late)] == days
    assert [w.closes.p50 for w in (early, late)] == [SPAN.date(15.0), SPAN.date(35.0)]


def test_states_of_real_windows_only_move_forward(tmp_path: Path) -> None:
    """With the weather fixed, every window passes later, coming, open, past in that order."""
    station = StationFile(first=dt.date(2023, 1, 1), weather=Sinusoidal(years_differ_c=0.0))
    folder = build_season(tmp_path, stations=(station,))
    order = ["later", "coming", "open", "past"]
    seen: dict[tuple[str | None, str], list[int]] = {}
    for as_of in (day(4, 20) + 12 * i * ONE_DAY for i in range(14)):
        (plan,) = plans(folder, as_of)
        for key, window in by_id(plan).items():
            seen.setdefault(key, []).append(order.index(window.state(as_of, entering_days=7)))
    for places in seen.values():
        assert places == sorted(places)
    assert set(seen[None, "bloom-to-full-seed"]) >= {0, 2, 3}
    assert set(seen[None, "seedling"]) >= {2, 3}
