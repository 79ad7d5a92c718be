"""Stand counts: plants an acre, their range, and the answer, against what is published."""

from __future__ import annotations

import datetime as dt
import math
from random import Random
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stagecast.counts.stand import (
    StandAnswer,
    StandAssessment,
    assess_stand,
    curve_answer,
    estimate_stand,
    kept_percent,
    last_stand,
    nearest_curves,
    planted_percent,
    plants_per_acre,
    student_quantile,
)
from stagecast.knowledge import load
from stagecast.knowledge.stand import PlantingCurve
from stagecast.season.log.entries import LoggedStand, LoggedVisit, StandPlace
from stagecast.season.settings.workday import Money
from stagecast.words.stand import stand_details

KNOWLEDGE = load()
MONEY = Money(price=10.0, crop_yield=60.0, per_km=0.4, per_hour=25.0)
RULES = KNOWLEDGE.stand
IL, PA = RULES.planted
MAY_15, JUNE_10 = dt.date(2026, 5, 15), dt.date(2026, 6, 10)
WORST_FIRST: tuple[StandAnswer, ...] = get_args(StandAnswer)

PLANTS = st.lists(st.integers(0, 400), min_size=1, max_size=12)


def rows(*plants: int, width: float = 15.0, feet: float = 17.4) -> LoggedStand:
    """A stand counted in rows, without a word of gaps."""
    return LoggedStand(tuple(map(StandPlace, plants)), width, feet)


def judged(
    stand: LoggedStand,
    *,
    region: str = "IL",
    planted: dt.date = MAY_15,
    counted: dt.date = dt.date(2026, 6, 3),
) -> StandAssessment:
    """A stand as it is judged: replanted on 10 June unless told otherwise."""
    visit = LoggedVisit("v1", "F1", counted, stand=stand)
    found = assess_stand(visit, planted=planted, region=region, knowledge=KNOWLEDGE)
    assert found is not None
    return found


# --- plants an acre -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "feet", "inches"),
    [(7.5, 69, 9), (15, 34, 10), (30, 17, 5)],
)
def test_a_thousandth_of_an_acre_is_as_long_as_extension_prints_it(
    width: float, feet: int, inches: int
) -> None:
    """Proves the arithmetic of rows: plants in that length of row times 1,000 are plants an acre.

    Ohio State University Extension prints 69 ft 9 in at 7.5, 34 ft 10 in at 15 and 17 ft 5 in at
    30 inches; to the inch.
    """
    stand = rows(100, width=width, feet=feet + inches / 12)
    assert plants_per_acre(stand.places[0], stand) == pytest.approx(100_000, rel=1 / (12 * 17))


@pytest.mark.parametrize(
    ("inside_in", "printed"),
    [(18, 24_662), (21, 18_119), (24, 13_872), (27, 10_961), (30, 8_878), (33, 7_337), (36, 6_165)],
)
def test_a_hoop_counts_as_the_field_guide_prints_it(inside_in: float, printed: int) -> None:
    """Proves the arithmetic of hoops against the factors of Purdue's field guide.

    They are given by Farm Progress (17 March 2021), and take pi for 3.14: 0.05 percent.
    """
    stand = LoggedStand((StandPlace(1),), hoop_in=inside_in)
    assert plants_per_acre(stand.places[0], stand) == pytest.approx(printed * 3.14 / math.pi, 2e-4)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 10, 99, 199])
@pytest.mark.parametrize("probability", [0.6, 0.9, 0.975])
def test_the_quantile_of_student_is_that_of_scipy(probability: float, freedom: int) -> None:
    """Proves the finite series against scipy."""
    wanted = stats.t.ppf(probability, freedom)
    assert student_quantile(probability, freedom) == pytest.approx(wanted, rel=1e-9)


def test_the_range_is_students_as_printed_tables_have_it() -> None:
    """Proves the range by hand: t of 90 percent with 4 degrees is 1.533 in every table.

    118, 104, 121, 99, 110: mean 110.4, standard deviation 9.236, so half the range is 6.332.
    """
    stand = rows(118, 104, 121, 99, 110, width=12.0, feet=43.56)
    found = estimate_stand(stand, interval=0.8)
    assert found.mean == pytest.approx(110_400)
    assert (found.low, found.high) == pytest.approx((104_068, 116_732), abs=5)


@given(st.lists(st.integers(0, 400), min_size=2, max_size=12).filter(lambda p: len(set(p)) > 1))
def test_the_range_is_that_of_scipy(plants: list[int]) -> None:
    """Proves mean and range against scipy's interval of a mean, cut at no plants."""
    found = estimate_stand(rows(*plants), interval=0.8)
    low, high = stats.t.interval(
        0.8, len(plants) - 1, loc=found.mean, scale=stats.sem(found.by_place)
    )
    assert (found.low, found.high) == pytest.approx((max(0.0, low), high), rel=1e-9)


def test_one_place_has_no_range() -> None:
    """Proves that a single place says nothing of how places vary."""
    found = judged(rows(110))
    assert (found.estimate.low, found.estimate.high) == (None, None)
    assert (found.answer_low, found.answer_high, found.more_places) == (None, None, 4)


def test_gaps_are_a_share_of_the_row_that_was_counted() -> None:
    """Proves that a place beside others with gaps had none, and that blank is not zero."""
    places = (StandPlace(58, 4.0), StandPlace(60), StandPlace(60, 1.0))
    found = estimate_stand(LoggedStand(places, 15.0, 20.0), interval=0.8)
    assert found.gap_share == pytest.approx(5 / 60)
    assert estimate_stand(rows(58, 60), interval=0.8).gap_share is None


# --- yield ----------------------------------------------------------------------------------


def test_stands_keep_what_the_trials_found() -> None:
    """Proves the table of yield kept, with its sources beside each."""
    kept = {
        n: kept_percent(n, None, row_in=15.0, rules=RULES)
        for n in (0, 46_000, 50_000, 55_000, 70_000, 75_000, 80_000, 100_000, 130_000)
    }
    assert kept[46_000] == 83  # Purdue, 66 against 79 bu: 83.5 percent, via Penn State
    assert 85 <= kept[50_000] <= kept[55_000] <= 87  # Ohio State: 85 to 87 percent
    assert 90 <= kept[70_000] <= 95  # Penn State
    assert 90 <= kept[75_000] < 98  # Minnesota: about 1 bu less than a full stand
    assert kept[80_000] > 92  # Penn State: keep it
    assert kept[100_000] == kept[130_000] == 100  # Ohio State, Minnesota, Iowa State
    assert kept[0] == 0
    assert kept_percent(90_000, None, row_in=30.0, rules=RULES) == 100  # Ohio State: 80-90,000
    assert kept_percent(90_000, None, row_in=None, rules=RULES) < 100


def test_gaps_cost_what_the_educator_estimates() -> None:
    """Proves 83 percent for 70,000 plants with 40 percent gaps (Penn State, 2019)."""
    assert kept_percent(70_000, 0.4, row_in=15.0, rules=RULES) == pytest.approx(83)


@pytest.mark.parametrize(
    ("curve", "day", "percent"),
    [
        (IL, dt.date(2026, 4, 10), 100.0),
        (IL, dt.date(2026, 5, 31), 87.0),
        (IL, JUNE_10, 87 - 8 * 10 / 15),
        (IL, dt.date(2026, 6, 20), 76.0),
        (PA, MAY_15, 99.0),
        (PA, JUNE_10, 88.0),
        (PA, dt.date(2026, 7, 4), 76.0),
    ],
)
def test_yield_by_planting_day_is_on_straight_lines(
    curve: PlantingCurve, day: dt.date, percent: float
) -> None:
    """Proves both states' trials at their days and between (Illinois handbook, Penn State)."""
    assert planted_percent(curve, day) == pytest.approx(percent)


# --- the answer -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("curve", "plants", "planted", "standing", "replanted", "answer"),
    [
        (IL, 70_000, MAY_15, 83.7, 81.7, "keep"),
        (IL, 46_000, MAY_15, 77.2, 81.7, "look closer"),
        (IL, 46_000, dt.date(2026, 4, 30), 83.0, 81.7, "keep"),
        (PA, 46_000, MAY_15, 82.2, 88.0, "consider adding seed"),
    ],
)
def test_the_worked_examples_come_out(
    curve: PlantingCurve,
    plants: int,
    planted: dt.date,
    standing: float,
    replanted: float,
    answer: str,
) -> None:
    """Proves the rule on worked examples, replanting on 10 June.

    They are computed by hand from the Illinois agronomy handbook's and Penn State's planting
    dates, and the yields kept of Penn State (70,000 plants) and Purdue (46,000).
    """
    kept = kept_percent(plants, None, row_in=15.0, rules=RULES)
    found = curve_answer(
        curve,
        kept,
        planted=planted,
        replant_day=JUNE_10,
        rules=RULES,
    )
    assert (round(found.standing, 1), round(found.replanted, 1)) == (standing, replanted)
    assert found.answer == answer


def test_past_the_last_day_of_trials_nobody_is_told_to_add_seed() -> None:
    """Proves that a thin stand is looked at closer then (Wisconsin advises through 20 June)."""
    found = judged(rows(2, 3, 2), counted=dt.date(2026, 6, 20))
    assert found.late
    assert found.answer == "look closer"
    assert judged(rows(60, 61, 64), counted=dt.date(2026, 6, 20)).answer == "keep"


@pytest.mark.parametrize("planted", [MAY_15, dt.date(2026, 6, 15), dt.date(2026, 6, 22)])
@pytest.mark.parametrize("counted", [dt.date(2026, 6, 25), dt.date(2026, 7, 7)])
def test_a_full_stand_is_kept_whatever_the_day(planted: dt.date, counted: dt.date) -> None:
    """Proves that 200,000 plants, and 100,000 with a few gaps, are no question in July.

    Ohio State University Extension has 100,000 to 120,000 plants as a full stand.
    """
    assert judged(rows(100, 101, 99), planted=planted, counted=counted).answer == "keep"
    gappy = LoggedStand(tuple(StandPlace(52, 0.8) for _ in range(5)), 15.0, 17.4)
    found = judged(gappy, planted=planted, counted=counted)
    assert 95 < found.kept < 100
    assert found.answer == "keep"


def test_replanting_later_than_the_trials_is_credited_with_nothing() -> None:
    """Proves that a thin stand in July is told no yield of replanting, and no gain."""
    found = judged(rows(20, 22, 21), planted=dt.date(2026, 6, 22), counted=dt.date(2026, 7, 7))
    told = dict(stand_details(found, KNOWLEDGE, MONEY))
    assert "later than the trials in Illinois: keep unless the stand is lost" in told["why"]
    assert found.answer == "look closer"
    assert "gain" not in told


def test_each_answer_has_its_edge() -> None:
    """Keep from the declared share on, or where replanting brings just as much, not more.

    Else look closer up to the declared difference.
    """
    keep, close = float(RULES.decision.keep), float(RULES.decision.close)

    def answer(kept: float, *, replanted: float) -> str:
        ends = ((5, 15, 100.0), (6, 10, replanted))
        points = tuple({"month": month, "day": day, "percent": at} for month, day, at in ends)
        curve = PlantingCurve.model_validate({**IL.model_dump(), "points": points})
        days = {"planted": MAY_15, "replant_day": JUNE_10}
        return curve_answer(curve, kept, **days, rules=RULES).answer

    assert answer(keep, replanted=100.0) == "keep"
    assert answer(keep - 1, replanted=100.0) != "keep"
    assert answer(50.0, replanted=50.0) == "keep"
    assert answer(50.0, replanted=50.0 + close) == "look closer"
    assert answer(50.0, replanted=50.5 + close) == "consider adding seed"


def test_the_nearer_state_speaks_and_both_where_both_are_as_near() -> None:
    """Proves the choice by borders; where two differ it is looked at closer."""
    near = {
        code: [c.region for c in nearest_curves(code, KNOWLEDGE)] for code in ("TN", "OH", "MI")
    }
    assert near == {"TN": ["IL"], "OH": ["PA"], "MI": ["IL", "PA"]}
    thin = rows(*[19] * 5, width=15.0, feet=17.4)  # about 38,000
    answers = {region: judged(thin, region=region).answer for region in ("IL", "PA", "MI")}
    assert answers["PA"] == "consider adding seed"
    assert answers["MI"] == (answers["IL"] if answers["IL"] == answers["PA"] else "look closer")


def test_a_state_without_borders_to_any_trial_takes_all_of_them() -> None:
    """Proves that no region is left without a curve."""
    alone = KNOWLEDGE.model_copy(update={"neighbors": dict.fromkeys(KNOWLEDGE.neighbors, ())})
    assert len(nearest_curves("TN", alone)) == 2


def test_a_count_from_before_planting_says_nothing() -> None:
    """Proves that a stand that was planted over is not judged."""
    old = LoggedVisit("v1", "F1", dt.date(2026, 5, 14), stand=rows(50))
    new = LoggedVisit("v2", "F1", dt.date(2026, 5, 30), stand=rows(60))
    assert assess_stand(old, planted=MAY_15, region="IL", knowledge=KNOWLEDGE) is None
    assert last_stand([old, new], planted=MAY_15, as_of=JUNE_10) == new
    assert last_stand([old, new], planted=MAY_15, as_of=dt.date(2026, 5, 29)) is None


@given(
    plants=PLANTS,
    at=st.integers(0, 11),
    more=st.integers(1, 300),
    region=st.sampled_from(sorted(KNOWLEDGE.regions)),
    planted=st.dates(dt.date(2026, 4, 1), dt.date(2026, 6, 30)),
    after=st.integers(0, 40),
    gap=st.none() | st.floats(0.0, 17.0),
)
def test_more_plants_never_worsen_the_answer(
    plants: list[int],
    at: int,
    more: int,
    region: str,
    planted: dt.date,
    after: int,
    gap: float | None,
) -> None:
    """Proves it for every region, planting day and day of the count."""
    places = [StandPlace(n, gap) for n in plants]
    fuller = list(places)
    fuller[at % len(places)] = StandPlace(places[at % len(places)].plants + more, gap)
    before, then = (
        WORST_FIRST.index(
            judged(
                LoggedStand(tuple(counted), 15.0, 17.4),
                region=region,
                planted=planted,
                counted=planted + dt.timedelta(days=after),
            ).answer
        )
        for counted in (places, fuller)
    )
    assert then >= before


@given(plants=PLANTS, seed=st.randoms(use_true_random=False))
def test_the_order_of_places_never_matters(plants: list[int], seed: Random) -> None:
    """Proves that mean, range and answer are those of the places in any order."""
    mixed = list(plants)
    seed.shuffle(mixed)
    one, other = judged(rows(*plants)), judged(rows(*mixed))
    assert (one.answer, one.kept, one.curves) == (other.answer, other.kept, other.curves)
    assert one.estimate.mean == other.estimate.mean
    assert (one.estimate.low, one.estimate.high) == (other.estimate.low, other.estimate.high)


def test_no_value_behind_an_answer_is_from_memory() -> None:
    """Proves that a value nobody looked up decides nothing."""
    values = (*RULES.kept, *RULES.full, *RULES.planted, *RULES.guides, RULES.gaps)
    assert {one.tag for one in values} <= {"READ", "CITED", "COMPUTED"}
