"""Pest development: published totals, constant-temperature times, and heat counted fairly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.errors import MixedModel, StagecastError
from stagecast.base.units import F_PER_C, f_to_c
from stagecast.knowledge import load
from stagecast.knowledge.pest import Biofix, HeatModel
from stagecast.phenology.pests import event_time, heat_since, heat_sums

PESTS = load().pests
EARWORM = PESTS["corn-earworm"].heat
BIOFIX = Biofix(kind="calendar day", month=1, day=1, source="test", tag="OWN")


def model(lower_c: float, **changed: object) -> HeatModel:
    """A heat model above one threshold: single sine without a cutoff, unless said otherwise."""
    fields: dict[str, object] = {
        "lower_c": lower_c,
        "method": "single sine",
        "cutoff": "none",
        "method_tag": "OWN",
        "biofix": (BIOFIX,),
        "source": "test",
        "tag": "OWN",
    }
    return HeatModel.model_validate(fields | changed)


def days_at(temperature_c: float, heat: HeatModel, need_c: float) -> float:
    """Days from a biofix at the start of day 3 to an event at a constant temperature."""
    flat = np.full((1, 400), temperature_c)
    sums = heat_sums(flat, flat, model=heat)
    return float(event_time(sums, np.array([3.0]), model=heat, need_c=need_c)[0]) - 3.0


# --- published numbers ---------------------------------------------------------------------------

# Requirement (degree-days C) and threshold: corn earworm Hartstack et al. 1976, USDA ARS-S-127
# (CITED via a Univ. California literature page); kudzu bug Maryland thesis 2016 (READ); bean
# leaf beetle Ontario, 581 above 10.3 (READ); spider mite Egypt, 146.48 above 12.50 (READ); beet
# armyworm on soybean Maharjan et al. 2022, Insects 13:747 (READ). Days at constant temperature
# are need / (T - threshold), worked out beside the sources and rounded to a tenth.
GENERATIONS = [
    ("corn earworm, egg to adult", 422.3, 12.6, (57.1, 34.1, 24.3)),
    ("corn earworm, adult to adult", 484.9, 12.6, (65.5, 39.1, 27.9)),
    ("kudzu bug", 625.0, 16.0, (156.3, 69.4, 44.6)),
    ("bean leaf beetle", 581.0, 10.3, (59.9, 39.5, 29.5)),
    ("spider mite", 146.48, 12.5, (19.5, 11.7, 8.4)),
    ("beet armyworm on soybean", 397.27, 11.9, (49.0, 30.3, 21.9)),
]


@pytest.mark.parametrize(("pest", "need_c", "lower_c", "days"), GENERATIONS)
def test_generations_at_constant_temperature(
    pest: str, need_c: float, lower_c: float, days: tuple[float, float, float]
) -> None:
    """At 20, 25 and 30 degC a generation takes the days worked out from the published total.

    On a flat day the single sine is the temperature itself, so no curve comes in between.
    """
    found = [days_at(t, model(lower_c), need_c) for t in (20.0, 25.0, 30.0)]
    assert found == pytest.approx(list(days), abs=0.05 + 1e-6), pest


def test_corn_earworm_as_it_is_shipped() -> None:
    """The pest file's own model and total give 57.1, 34.1 and 24.3 days, egg to adult."""
    assert EARWORM is not None
    need = PESTS["corn-earworm"].event("adult").need_c
    found = [days_at(t, EARWORM, need) for t in (20.0, 25.0, 30.0)]
    assert found == pytest.approx([57.1, 34.1, 24.3], abs=0.05)


def test_corn_earworm_slows_down_above_its_upper_threshold() -> None:
    """At 36 degC, 2.7 above the upper threshold, a day counts 33.3 - 12.6 - 2.7 = 18.0.

    Intermediate cutoff, as Hartstack's totals were counted (CITED).
    """
    assert EARWORM is not None
    assert days_at(36.0, EARWORM, 180.0) == pytest.approx(10.0)


def test_corn_earworm_stages_add_up() -> None:
    """Egg 40.5, larva 81.7 and 120.6, pupa 179.5 add up to the events' sums and to 422.3.

    Hartstack et al. 1976, USDA ARS-S-127 (CITED); the same in degF-days: 72.9, 147.1, 217.1,
    323.1, together 760.1.
    """
    stages_c, stages_f = [40.5, 81.7, 120.6, 179.5], [72.9, 147.1, 217.1, 323.1]
    pest = PESTS["corn-earworm"]
    sums = [pest.event(e).need_c for e in ("egg-hatch", "countable", "pupation", "adult")]
    assert sums == pytest.approx(np.cumsum(stages_c).tolist())
    assert sums[-1] == pytest.approx(422.3)
    assert [f / F_PER_C for f in stages_f] == pytest.approx(stages_c, abs=0.05)
    assert pytest.approx(422.3, abs=0.05) == 760.1 / F_PER_C


# Published in degF-days: bean leaf beetle Iowa State, 1212 above 46 F (READ); Japanese beetle Iowa
# State 2013, about 1030 and 2150 above 50 F (READ); seedcorn maggot South Dakota State, peaks at
# 360, 1080 and 1800 above 39 F (READ); Dectes stem borer Nebraska 2013-14, about 1250 above 50 F
# (READ). The second bean leaf beetle peak is one more generation of the same heat.
PUBLISHED_F = [
    ("bean-leaf-beetle", "first-generation-peak", 1212.0),
    ("bean-leaf-beetle", "second-generation-peak", 2 * 1212.0),
    ("japanese-beetle", "first-adults", 1030.0),
    ("japanese-beetle", "emergence-ends", 2150.0),
    ("seedcorn-maggot", "first-peak", 360.0),
    ("seedcorn-maggot", "second-peak", 1080.0),
    ("seedcorn-maggot", "third-peak", 1800.0),
    ("dectes-stem-borer", "first-adults", 1250.0),
]


@pytest.mark.parametrize(("pest", "event", "need_f"), PUBLISHED_F)
def test_totals_published_in_fahrenheit(pest: str, event: str, need_f: float) -> None:
    """The total in the pest file is the published degF total over 1.8, to its last digit."""
    published = need_f / F_PER_C
    assert PESTS[pest].event(event).need_c == pytest.approx(published, abs=0.1)


@pytest.mark.parametrize(
    ("pest", "lower_f", "upper_f"),
    [
        ("bean-leaf-beetle", 46.0, None),
        ("japanese-beetle", 50.0, 86.0),
        ("seedcorn-maggot", 39.0, 84.0),
        ("dectes-stem-borer", 50.0, None),
        ("corn-earworm", 54.7, 91.9),
    ],
)
def test_thresholds_published_in_fahrenheit(
    pest: str, lower_f: float, upper_f: float | None
) -> None:
    """The thresholds in the pest file are the published ones, to a tenth of a degree.

    Sources as for the totals; corn earworm 54.7 and 91.9 F (CITED).
    """
    heat = PESTS[pest].heat
    assert heat is not None
    assert heat.lower_c == pytest.approx(float(f_to_c(lower_f)), abs=0.06)
    if upper_f is None:
        assert heat.upper_c is None
    else:
        assert heat.upper_c == pytest.approx(float(f_to_c(upper_f)), abs=0.06)


# --- how heat is counted -------------------------------------------------------------------------


def two_years(seed: int, days: int = 200) -> tuple[np.ndarray, np.ndarray]:
    """Two members of plain noisy warm days."""
    rng = np.random.default_rng(seed)
    low = rng.uniform(8.0, 20.0, (2, days))
    return low, low + rng.uniform(2.0, 18.0, (2, days))


def test_a_foreign_model_is_refused() -> None:
    """Heat summed by one model cannot meet a need of another: one error, in the one tree."""
    low, high = two_years(1)
    sums = heat_sums(low, high, model=model(10.0))
    for other in (
        model(10.1),
        model(10.0, method="simple average"),
        model(10.0, upper_c=30.0, cutoff="horizontal"),
    ):
        with pytest.raises(MixedModel, match="own source's method") as refused:
            event_time(sums, np.zeros(2), model=other, need_c=100.0)
        assert isinstance(refused.value, StagecastError)
    assert np.isfinite(event_time(sums, np.zeros(2), model=model(10.0), need_c=100.0)).all()


@given(seed=st.integers(0, 2**32 - 1), first=st.integers(0, 120))
def test_heat_before_the_first_day_does_not_count(seed: int, first: int) -> None:
    """Neither heat nor holes before ``first_index`` change a sum counted from there."""
    low, high = two_years(seed)
    hot, holed = low.copy(), low.copy()
    hot[:, :first] = 30.0
    holed[:, :first] = np.nan
    biofix = np.array([float(first), first + 3.5])
    heat = model(10.0)
    found = [
        event_time(
            heat_sums(tmin, np.maximum(tmin, high), model=heat, first_index=first),
            biofix,
            model=heat,
            need_c=250.0,
        )
        for tmin in (low, hot, holed)
    ]
    assert np.isfinite(found[0]).all()
    np.testing.assert_array_equal(found[0], found[1])
    np.testing.assert_array_equal(found[0], found[2])
    early = heat_sums(low, high, model=heat, first_index=first).sums
    assert (early[:, : first + 1] == 0.0).all()


@given(seed=st.integers(0, 2**32 - 1), hole=st.integers(0, 199))
def test_a_missing_day_is_never_no_heat(seed: int, hole: int) -> None:
    """An event that needs a missing day is NaN; one before it, or in another member, is known."""
    low, high = two_years(seed)
    heat = model(10.0)
    whole = event_time(heat_sums(low, high, model=heat), np.zeros(2), model=heat, need_c=500.0)
    low[0, hole] = np.nan
    sums = heat_sums(low, high, model=heat)
    found = event_time(sums, np.zeros(2), model=heat, need_c=500.0)
    assert found[1] == whole[1]
    if whole[0] <= hole:
        assert found[0] == whole[0]
    else:
        assert np.isnan(found[0])
    since = heat_since(sums, np.zeros(2), at=hole + 0.5)
    assert np.isnan(since).tolist() == [True, False]
    assert np.isfinite(heat_since(sums, np.zeros(2), at=float(hole))).all()


def test_never_unknown_and_not_this_season() -> None:
    """A biofix that never comes gives never, an unknown one unknown, too much heat never."""
    low, high = two_years(3)
    heat = model(10.0)
    sums = heat_sums(low, high, model=heat)
    ends = event_time(sums, np.array([np.inf, np.nan]), model=heat, need_c=50.0)
    assert np.isposinf(ends[0])
    assert np.isnan(ends[1])
    assert np.isposinf(event_time(sums, np.zeros(2), model=heat, need_c=1e6)).all()
    assert heat_since(sums, np.array([np.inf, 60.0]), at=50.0).tolist() == [0.0, 0.0]


@given(
    seed=st.integers(0, 2**32 - 1),
    biofix=st.floats(0.0, 40.0),
    need=st.floats(10.0, 300.0),
    share=st.floats(0.5, 1.5),
)
def test_heat_at_the_event_is_the_need(seed: int, biofix: float, need: float, share: float) -> None:
    """At the time of an event, the heat since its biofix is the share of its need asked for."""
    low, high = two_years(seed)
    heat = model(10.0)
    sums = heat_sums(low, high, model=heat)
    start = np.full(2, biofix)
    shares = np.array([share, 1.0])
    ends = event_time(sums, start, model=heat, need_c=need, share=shares)
    for member in (0, 1):
        since = heat_since(sums, start, at=float(ends[member]))[member]
        assert since == pytest.approx(need * shares[member])


def test_every_pest_with_a_model_runs_on_its_own() -> None:
    """Each pest file's model sums heat, and its events come in the order of their needs."""
    season = 15.0 - 13.0 * np.cos(2.0 * np.pi * (np.arange(365) - 19) / 365)[None]
    for pest in PESTS.values():
        if pest.heat is None:
            assert not pest.events
            continue
        sums = heat_sums(season - 6.0, season + 6.0, model=pest.heat)
        by_need = sorted(pest.events, key=lambda event: event.need_c)
        times = [
            float(event_time(sums, np.array([100.0]), model=pest.heat, need_c=e.need_c)[0])
            for e in by_need
        ]
        assert times == sorted(times)
        assert 100.0 < times[0] < 300.0
