"""What waiting costs: worked by hand, by definition, and the same way up as common sense."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from changed import changed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from log_builder import KNOWLEDGE, at, log_of, planned, sets_of, treatment, visit
from season_builder import ONE_DAY, StationFile, build_season, day
from week_builder import season_of

from stagecast.counts.economics import gain_threshold, injury_level
from stagecast.forecast.load import LoadedSeason
from stagecast.forecast.ranges import EventTimes
from stagecast.knowledge.quantities import Count, Quantity
from stagecast.pests.windows import Declared, ScoutingWindow, Timing
from stagecast.phenology.soybean import STAGES
from stagecast.season.log.entries import (
    LoggedStand,
    LoggedVisit,
    ScoutingLog,
    StandPlace,
    Treatment,
)
from stagecast.season.settings.workday import Money
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.waiting import ALIKE, WaitingCost, WaitingTerm, waiting_cost
from stagecast.words.waiting import OTHER, formula_words, risk_text, term_name, value_text

SEEN = day(7, 20)
MONEY = Money(10.0, 50.0, 0.0, 0.0)
BUGS = "stink-bugs"
UNSEEN = OTHER
QUICK = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
A_DAY = 1.5 / 14
"""Bushels an acre and day that a pest at its threshold takes, as waiting.toml declares it."""


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> SeasonDay:
    """One field of 40 acres without any visit, on the day it is counted."""
    folder = build_season(
        tmp_path_factory.mktemp("waiting"), stations=(StationFile(first=dt.date(2023, 1, 1)),)
    )
    return planned(folder, ScoutingLog(), SEEN)


def window(
    plan: FieldDay,
    pest: str | None = BUGS,
    *,
    rank: int = 1,
    timing: Timing = "heat",
    opens: float = 0.0,
    closes: float = math.inf,
    share: float = 1.0,
    name: str = "made up",
    critical: bool = False,
) -> ScoutingWindow:
    """A window open from one day to another in a share of the possible seasons, none in others."""
    forecast = plan.forecast
    members = round(share * len(forecast.times))
    weights = forecast.weights[:members]
    opening, closing = (
        EventTimes.of(np.full(members, time), forecast.span, weights) for time in (opens, closes)
    )
    return ScoutingWindow(
        field_id="F1",
        window=name,
        title=name,
        short=name,
        pest=pest,
        opening=opening,
        closing=closing,
        why=Declared(""),
        look_for=("it",),
        sample="sweep-net",
        critical=critical,
        rank=rank,
        timing=timing,
    )


def in_stage(plan: FieldDay, stage: str, *windows: ScoutingWindow) -> FieldDay:
    """The field with all possible seasons in one stage on all days, and these windows only."""
    times = np.full(plan.forecast.times.shape, math.inf)
    reached = [s for s in STAGES if STAGES.index(s) <= STAGES.index(stage)] if stage else []
    times[:, : len(reached)] = 0.0
    weights = np.full(len(times), 1 / len(times))
    forecast = replace(plan.forecast, times=times, weights=weights, stage_now=stage or "planted")
    return changed(plan, forecast=forecast, windows=windows)


def cost(
    plan: FieldDay,
    loaded: LoadedSeason,
    *entries: LoggedVisit | Treatment,
    word: tuple[dt.date, Pressure] | None = None,
    first_day: dt.date = SEEN + ONE_DAY,
    days: int = 14,
    money: Money = MONEY,
) -> WaitingCost:
    """What the field loses, with these visits and treatments only."""
    visits = () if word is None else (Visit("F1", word[0], word[1], None),)
    loaded = replace(loaded, season=replace(loaded.season, visits=visits))
    plan = changed(plan, log=log_of(*entries))
    return waiting_cost(plan, loaded, first_day=first_day, days=days, money=money)


def term(found: WaitingCost, name: str) -> WaitingTerm:
    """The term of a name."""
    return next(one for one in found.terms if name in (term_name(one, KNOWLEDGE), one.pest))


# --- by hand and by definition ---------------------------------------------------------------


def test_counts_near_the_threshold_cost_what_is_worked_out_by_hand(season: SeasonDay) -> None:
    """Four sets of 6 bugs, threshold 9, all possible seasons at R2, two days later.

    40 ac x 10 $/bu x 50/50 = 400; a pest at its threshold takes 1.5/14 = 0.1071 bu/ac a day, of
    which the crop at R2 cannot put back 0.6: 400 x 0.1071 x 0.6 = 25.71 $ a day. The logarithm
    of the mean has a standard error of sqrt((1/6 + 1/k) / 4); at 0.10 +/- 0.05 a day for 2 days
    ln(6/9) + 0.2 = -0.2055 is to be made up by chance. Two days without a look at 0.006 a day
    add a little.
    """
    plan = in_stage(season.fields[0], "R2", window(season.fields[0]))
    counted = visit(SEEN, sets_of(BUGS, [6] * 4), stage="R2")
    found = cost(plan, season.loaded, counted, first_day=SEEN + 2 * ONE_DAY, days=1)
    told = changed(plan, log=log_of(counted)).assess_day(SEEN)
    assert told is not None
    sampled = told.pests[0].sampled
    assert sampled is not None
    k = sampled.k
    spread = math.hypot(math.sqrt((1 / 6 + 1 / k) / 4), 2 * 0.05)
    by_count = NormalDist().cdf(-0.2055 / spread)
    chance = 1 - (1 - by_count) * math.exp(-0.006 * 2)
    one = term(found, BUGS)
    assert one.chance == pytest.approx(chance, abs=1e-4)
    assert one.dollars == pytest.approx(25.714 * chance, abs=1e-2)
    assert found.by_day == (pytest.approx(one.dollars),)


@pytest.mark.parametrize(
    ("word", "share"), [("near threshold", 0.75), ("some", 0.25), ("virtually none", 0.05)]
)
def test_a_word_stands_for_its_share_of_the_threshold(
    season: SeasonDay, word: Pressure, share: float
) -> None:
    """A word four days old costs what the normal distribution says of its declared share."""
    plan = in_stage(season.fields[0], "R3", window(season.fields[0]))
    seen = SEEN - 3 * ONE_DAY
    found = term(cost(plan, season.loaded, word=(seen, word)), BUGS)
    crossed = NormalDist().cdf((math.log(share) + 0.1 * 4) / math.hypot(0.5, 0.05 * 4))
    assert found.chance == pytest.approx(1 - (1 - crossed) * math.exp(-0.006 * 4))
    assert found.dollars == pytest.approx(40 * 10 * A_DAY * found.chance)


def test_a_pest_above_its_threshold_costs_in_the_feeding_days_what_a_treatment_does(
    season: SeasonDay,
) -> None:
    """The economic identity: at the injury level, price x loss is the cost of control.

    15 dollars an acre at 10 dollars a bushel are 1.5 bushels (Virginia Tech 2025), and the
    injury level is the density N at which C = V b N: with b bushels for each pest, N pests take
    V b N = C.
    """
    plan = in_stage(season.fields[0], "R3", window(season.fields[0]))
    above = visit(SEEN, sets_of(BUGS, [30] * 4), stage="R3")
    found = cost(plan, season.loaded, above, days=14)
    assert sum(found.by_day) / 40 == pytest.approx(15.0)
    level = injury_level(gain_threshold(15.0, 10.0), 0.05)
    assert 10.0 * 0.05 * level == pytest.approx(sum(found.by_day) / 40)
    assert found.left_out == pytest.approx(600.0)
    assert found.until(SEEN + ONE_DAY) == 0
    assert found.until(SEEN + 8 * ONE_DAY) == pytest.approx(300.0)


@pytest.mark.parametrize(
    ("rank", "timing", "rate"),
    [(1, "heat", 0.006), (2, "catch", 0.003), (3, "calendar", 0.0015), (7, "heat", 0.0015),
     (1, "host stages", 0.003), (2, "heat unknown", 0.0015)],
)  # fmt: skip
def test_a_field_nobody_looked_at_costs_by_rank_and_timing(
    season: SeasonDay, rank: int, timing: Timing, rate: float
) -> None:
    """A window that has been open for long counts 21 days at most, at the rate of its rank."""
    plan = in_stage(season.fields[0], "R3", window(season.fields[0], rank=rank, timing=timing))
    found = term(cost(plan, season.loaded), BUGS)
    assert found.chance == pytest.approx(1 - math.exp(-rate * 21))


def test_days_before_the_window_opened_do_not_count(season: SeasonDay) -> None:
    """A window that opens on the third day costs nothing on two, then one open day, then two."""
    plan = season.fields[0]
    opens = plan.forecast.span.index(SEEN) + 3
    found = cost(in_stage(plan, "R3", window(plan, opens=opens)), season.loaded, days=4)
    expected = [400 * A_DAY * (1 - math.exp(-0.006 * n)) for n in (0, 0, 1, 2)]
    assert found.by_day == pytest.approx(expected)
    assert found.terms[0].dollars == pytest.approx(expected[2])


def test_a_window_open_in_part_of_the_possible_seasons_costs_its_part(season: SeasonDay) -> None:
    """Open in a third of all seasons: a third of the open days and a third of the loss."""
    plan = in_stage(season.fields[0], "R3")
    members = len(plan.forecast.times)
    third = round(members / 3) / members
    found = cost(changed(plan, windows=(window(plan, share=third),)), season.loaded)
    one = term(found, BUGS)
    assert one.chance == pytest.approx(1 - math.exp(-0.006 * 21 * third))
    assert one.per_acre == pytest.approx(10 * A_DAY * third)


def test_two_windows_of_a_pest_are_one_pest(season: SeasonDay) -> None:
    """Two generations that overlap cost as much as one window that covers both."""
    plan = season.fields[0]
    here = plan.forecast.span.index(SEEN)
    both = (window(plan, closes=here + 5), window(plan, opens=here + 2, rank=3))
    two = cost(in_stage(plan, "R3", *both), season.loaded)
    one = cost(in_stage(plan, "R3", window(plan)), season.loaded)
    assert two.by_day == pytest.approx(one.by_day)
    assert len(two.terms) == 1


def test_the_loss_is_the_mean_over_possible_seasons(season: SeasonDay) -> None:
    """Half of the seasons at R2 and half ripe: half of the response of R2, none of R7."""
    plan = season.fields[0]
    field = in_stage(plan, "R2", window(plan))
    times = field.forecast.times.copy()
    times[: len(times) // 2] = 0.0
    weights = np.where(np.arange(len(times)) < len(times) // 2, 1.0, 2.0)
    weights /= weights.sum()
    field = changed(field, forecast=replace(field.forecast, times=times, weights=weights))
    expected = 10 * A_DAY * 0.6 * weights[len(times) // 2 :].sum()
    assert term(cost(field, season.loaded), BUGS).per_acre == pytest.approx(expected)


@pytest.mark.parametrize(("stage", "share"), [("R1", 0.0), ("R3", 0.4), ("R4", 0.7), ("R5", 1.0)])
def test_leaf_loss_costs_as_much_as_the_stage_says(
    season: SeasonDay, stage: str, share: float
) -> None:
    """Of what it costs at R5; the shares have no source that was read. Bugs cost all at R3."""
    plan = season.fields[0]
    found = cost(in_stage(plan, stage, window(plan, "soybean-looper")), season.loaded)
    if share == 0:
        assert found.left_out == 0
    else:
        (one,) = found.terms
        assert one.per_acre == pytest.approx(10 * A_DAY * share)


def test_outside_the_south_a_pest_comes_ten_times_more_seldom(season: SeasonDay) -> None:
    """Of US soybean hectares about 5 percent got an insecticide before seed treatments.

    Mourtzinis and others 2019, Scientific Reports: over 60 days that is 0.0009 a day for all pests
    together, so a rate of 0.006 for one of them is too high by about ten.
    """
    plan = season.fields[0]
    field = in_stage(plan, "R3", window(plan))
    ours = replace(plan.forecast.field, region="IA")
    there = changed(field, forecast=replace(field.forecast, field=ours))
    rates = [-math.log1p(-term(cost(one, season.loaded), BUGS).chance) for one in (field, there)]
    assert rates[1] == pytest.approx(rates[0] / 10)
    assert -math.log1p(-0.05) / 60 == pytest.approx(0.0009, abs=0.0001)


def test_a_missed_look_at_the_stand_costs_replanting_late(season: SeasonDay) -> None:
    """40 acres at 10 dollars, 3 percent poor stands, half a bushel a day: 6 dollars a day.

    Once somebody was there after emergence a fifth of the chance is left: 1.20 dollars.
    """
    plan = season.fields[0]
    field = in_stage(plan, "V1", window(plan, None, name="seedling"))
    emerged = plan.forecast.stages["VE"].p50
    assert emerged is not None
    unseen = term(cost(field, season.loaded), "the stand")
    assert (unseen.dollars, unseen.chance) == pytest.approx((6.0, 0.03))
    before = term(cost(field, season.loaded, visit(emerged - ONE_DAY)), "the stand")
    assert before.dollars == pytest.approx(6.0)
    after = term(cost(field, season.loaded, visit(emerged)), "the stand")
    assert after.dollars == pytest.approx(1.2)


def test_a_stand_count_is_the_look_at_the_stand(season: SeasonDay) -> None:
    """Who counted plants has seen them, also on a day on which the forecast has none up yet."""
    plan = season.fields[0]
    emerged = plan.forecast.stages["VE"].p50
    assert emerged is not None
    places = LoggedStand((StandPlace(14), StandPlace(12)), hoop_in=30.0)
    count = replace(visit(emerged - ONE_DAY), stand=places)
    counted = planned(season.read.season.path, log_of(count), SEEN)
    field = in_stage(counted.fields[0], "V1", window(plan, None, name="seedling"))
    found = term(cost(field, counted.loaded), "the stand")
    assert found.dollars == pytest.approx(1.2)


def test_what_nobody_foresees_counts_in_critical_windows_since_any_visit(
    season: SeasonDay,
) -> None:
    """Five days after a visit that noted only a stage: 1 - exp(-0.002 x 5), at full response."""
    plan = season.fields[0]
    critical = window(plan, None, name="bloom", critical=True)
    idle = window(plan, None, name="late")
    there = visit(SEEN - 4 * ONE_DAY, stage="R3")
    one = term(cost(in_stage(plan, "R3", critical, idle), season.loaded, there), UNSEEN)
    assert one.chance == pytest.approx(1 - math.exp(-0.002 * 5))
    assert one.dollars == pytest.approx(400 * A_DAY * one.chance)
    assert cost(in_stage(plan, "R3", idle), season.loaded).left_out == 0


# --- what visits say -------------------------------------------------------------------------


def test_a_count_is_a_look_only_for_what_it_names(season: SeasonDay) -> None:
    """Stink bugs counted on the day before leave a looper as unseen as it was."""
    plan = season.fields[0]
    windows = (window(plan), window(plan, "soybean-looper"))
    none = visit(SEEN, sets_of(BUGS, [0] * 4), stage="R3")
    found = cost(in_stage(plan, "R3", *windows), season.loaded, none)
    assert term(found, "soybean-looper").chance == pytest.approx(1 - math.exp(-0.006 * 21))
    assert term(found, BUGS).chance < term(found, "soybean-looper").chance


def test_a_later_visit_that_names_another_pest_does_not_undo_a_count(season: SeasonDay) -> None:
    """Bugs above their threshold stay so though the last visit counted loopers only."""
    plan = season.fields[0]
    field = in_stage(plan, "R3", window(plan), window(plan, "soybean-looper"))
    above = visit(SEEN - ONE_DAY, sets_of(BUGS, [30] * 4), stage="R3")
    other = visit(SEEN, sets_of("soybean-looper", [1] * 4), stage="R3")
    assert term(cost(field, season.loaded, above, other), BUGS).chance == 1


def test_a_treatment_ends_what_was_counted_and_not_the_waiting(season: SeasonDay) -> None:
    """Bugs above the threshold, then treated: what is left is what may have come since.

    The field is closed for days, and still loses by waiting.
    """
    plan = season.fields[0]
    field = in_stage(plan, "R3", window(plan))
    above = visit(SEEN - ONE_DAY, sets_of(BUGS, [30] * 4), stage="R3")
    treated = treatment(at(7, 20, 8), 96)
    found = cost(field, season.loaded, above, treated)
    assert term(found, BUGS).chance == pytest.approx(1 - math.exp(-0.006 * 2))
    assert "before Product A on 20 Jul" in risk_text(term(found, BUGS).risk, KNOWLEDGE)
    assert min(found.by_day) > 0
    later = visit(SEEN, sets_of(BUGS, [30] * 4), stage="R3")
    before = treatment(at(7, 19, 8), 4)
    assert term(cost(field, season.loaded, above, before, later), BUGS).chance == 1


def test_leaf_loss_counts_for_the_leaf_feeders(season: SeasonDay) -> None:
    """Leaf loss above its threshold is certain; a tenth of that is hardly anything."""
    plan = season.fields[0]
    field = in_stage(plan, "R3", window(plan, "leaf-feeders"))
    much = cost(field, season.loaded, visit(SEEN, stage="R3", defoliation_percent=60))
    little = cost(field, season.loaded, visit(SEEN, stage="R3", defoliation_percent=2))
    assert term(much, "leaf-feeders").chance == 1
    assert term(little, "leaf-feeders").chance < 0.01


# --- the same way up as common sense ---------------------------------------------------------


@QUICK
@given(
    acres=st.floats(1, 900), more_acres=st.floats(0, 500), price=st.floats(1, 30),
    dearer=st.floats(0, 20), crop=st.floats(5, 100), better=st.floats(0, 50),
)  # fmt: skip
def test_larger_dearer_and_better_fields_never_cost_less(
    season: SeasonDay, acres: float, more_acres: float, price: float, dearer: float,
    crop: float, better: float,
) -> None:  # fmt: skip
    """Acres, price and yield each raise the cost in proportion, whatever the others are."""
    plan = in_stage(season.fields[0], "R4", window(season.fields[0]))

    def dollars(area: float, money: Money) -> tuple[float, ...]:
        field = replace(plan.forecast.field, area_acres=area)
        sized = changed(plan, forecast=replace(plan.forecast, field=field))
        return cost(sized, season.loaded, money=money, days=3).by_day

    base = dollars(acres, Money(price, crop, 0, 0))
    grown = dollars(acres + more_acres, Money(price + dearer, crop + better, 0, 0))
    factor = (1 + more_acres / acres) * (1 + dearer / price) * (1 + better / crop)
    assert grown == pytest.approx([factor * one for one in base])
    assert min(base) > 0


@QUICK
@given(mean=st.integers(0, 60), added=st.integers(0, 30))
def test_a_denser_pest_never_costs_less(season: SeasonDay, mean: int, added: int) -> None:
    """As many bugs more in every set never make waiting cheaper on any day."""
    plan = in_stage(season.fields[0], "R4", window(season.fields[0]))
    days = [
        cost(plan, season.loaded, visit(SEEN, sets_of(BUGS, [number] * 4), stage="R4")).by_day
        for number in (mean, mean + added)
    ]
    assert all(more >= less - 1e-9 for less, more in zip(*days, strict=True))
    assert min(days[0]) >= 0


@QUICK
@given(
    word=st.sampled_from(["near threshold", "some", "virtually none"]),
    age=st.integers(0, 40),
    older=st.integers(1, 40),
    stage=st.sampled_from(["VE", "V2", "R1", "R3", "R5", "R6"]),
)
def test_an_older_look_is_never_cheaper_to_leave(
    season: SeasonDay, word: Pressure, age: int, older: int, stage: str
) -> None:
    """The same word, noted earlier, costs at least as much on every day."""
    plan = season.fields[0]
    field = in_stage(plan, stage, window(plan), window(plan, "corn-earworm", rank=2))
    days = [
        cost(field, season.loaded, word=(SEEN - back * ONE_DAY, word)).by_day
        for back in (age, age + older)
    ]
    assert all(more >= less - 1e-9 for less, more in zip(*days, strict=True))
    # Nor does any day cost less than the one before it while nothing changes but time.
    assert list(days[0]) == pytest.approx(sorted(days[0]))


@pytest.mark.parametrize("stage", ["R7", "R8", ""])
def test_a_ripe_field_and_one_without_plants_cost_nothing(season: SeasonDay, stage: str) -> None:
    """Before emergence and from R7 on no pest costs yield, whatever the counts said."""
    plan = in_stage(season.fields[0], stage, window(season.fields[0]))
    above = visit(SEEN, sets_of(BUGS, [30] * 4), stage="R5")
    found = cost(plan, season.loaded, above)
    assert set(found.by_day) == {0.0}
    assert found.terms == ()


# --- a whole season --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def costs(demo: Path) -> dict[str, WaitingCost]:
    """What every field of the demo loses from 8 July 2026 on."""
    whole = season_of(demo, dt.date(2026, 7, 7))
    return {
        plan.forecast.field.field_id: waiting_cost(
            plan, whole.loaded, first_day=dt.date(2026, 7, 8), days=9, money=MONEY
        )
        for plan in whole.fields
    }


def test_terms_of_the_demo_add_up_and_say_what_they_rest_on(
    costs: dict[str, WaitingCost],
) -> None:
    """On real windows: terms add up to the first day, the largest first, none without grounds."""
    for found in costs.values():
        assert min(found.by_day) > 0
        assert len(found.by_day) == 9
        assert sum(one.dollars for one in found.terms) == pytest.approx(found.by_day[0])
        dollars = [round(one.dollars, ALIKE) for one in found.terms]
        assert dollars == sorted(dollars, reverse=True)
        assert all("judgement" in risk_text(one.risk, KNOWLEDGE) for one in found.terms)
        assert all(0 < one.chance <= 1 for one in found.terms)


def test_the_demo_puts_hours_where_a_scout_would(costs: dict[str, WaitingCost]) -> None:
    """Near threshold in pods costs most an acre; quiet fields before pods cost least.

    F05 was near threshold at R4 two days before; F02, at R4 as well, had some; F03 at R3 and F07
    at R2 virtually none.
    """
    acres = {"F05": 64, "F02": 46.5, "F03": 112, "F07": 27.5}
    per_acre = [costs[field].by_day[0] / size for field, size in acres.items()]
    assert per_acre == sorted(per_acre, reverse=True)


def test_the_formula_shows_every_declared_value_and_its_grounds() -> None:
    """No value of the cost is hidden, and judgement and memory are named."""
    told = " ".join(formula_words(KNOWLEDGE))
    waiting = KNOWLEDGE.waiting
    for part in (waiting.loss, waiting.arrival, waiting.noted, waiting.stand):
        for name in type(part).model_fields:
            value = getattr(part, name)
            if isinstance(value, Quantity | Count):
                assert value_text(value, KNOWLEDGE) in told
    for curve in (waiting.response, waiting.leaf.response):
        for stage, share in curve.items():
            assert f"{stage} {share.value:g}" in told
    assert ", ".join(waiting.arrival.full.regions) in told
    memory = Quantity(value=2.0, unit="$/bu", source="own", tag="MEMORY")
    assert value_text(memory, KNOWLEDGE) == "2 $/bu (stagecast, unverified)"
    assert value_text(waiting.loss.feeding_days, KNOWLEDGE) == "14 days (judgement)"
    at_threshold = value_text(waiting.loss.at_threshold, KNOWLEDGE)
    assert at_threshold == "1.5 bu/ac (Virginia Tech 2025, computed)"
