"""Learning from a stage seen: members move towards it, none scatters, later stages gain."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stage_helpers import (
    DRAWS,
    LEARNING,
    Crop,
    at,
    crops,
    invented_years,
    run_drawn,
    weather_years,
)

from stagecast.phenology.learning import (
    StageSeen,
    credible,
    drifting,
    in_order,
    likelihood,
    moved,
    no_surer,
)
from stagecast.phenology.soybean import STAGES
from stagecast.phenology.spread import (
    normal_draws,
    quantile_days,
    unrelated_normals,
    unrelated_order,
)

Years = tuple[np.ndarray, np.ndarray]
RANGE = (0.1, 0.5, 0.9)
STAGING_SD, PLANT_SD = float(LEARNING.staging_sd), float(LEARNING.plant_sd)
LEAST_FIT, BEYOND_REASON = float(LEARNING.least_fit), float(LEARNING.beyond_reason)
LATER = ("R5", "R6", "R7", "R8")

days = st.floats(0.0, 365.0)
days_or_never = st.one_of(days, st.just(math.inf))
shares = st.one_of(st.none(), st.floats(0.0, 1.0))


def seen_at(time: float, share: float | None = None, sd_days: float = STAGING_SD) -> StageSeen:
    """A stage seen with the usual error of staging."""
    return StageSeen(time, share, sd_days)


def fit_of(seen: StageSeen, begins: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Likelihood with the usual difference between plants."""
    return likelihood(seen, begins, ends, plant_sd_days=PLANT_SD)


def read(
    seen: StageSeen, weights: np.ndarray, begins: np.ndarray, ends: np.ndarray
) -> np.ndarray | None:
    """Fit as a forecast reads it: None beyond reason, a larger error where unlikely."""
    return credible(
        seen,
        weights,
        begins,
        ends,
        plant_sd_days=PLANT_SD,
        least=LEAST_FIT,
        largest_sd_days=BEYOND_REASON,
    )


def even(count: int) -> np.ndarray:
    """Weights before anything was seen."""
    return np.full(count, 1.0 / count)


def width(times: np.ndarray, weights: np.ndarray) -> float:
    """Days from the 10 to the 90 per cent; endless where the latter is never."""
    first, last = quantile_days(times, (0.1, 0.9), weights)
    return float(last - first) if np.isfinite(last) else math.inf


# --- likelihood ----------------------------------------------------------------------------------


@given(
    time=days,
    share=shares,
    sd=st.floats(0.1, 10.0),
    members=st.lists(st.tuples(days_or_never, st.floats(0.0, 60.0)), min_size=1, max_size=20),
)
def test_a_likelihood_is_between_none_and_one(
    time: float, share: float | None, sd: float, members: list[tuple[float, float]]
) -> None:
    """Whatever is seen and whatever a member says, even never, its likelihood is in 0 to 1."""
    begins, length = np.array(members).T
    fit = fit_of(seen_at(time, share, sd), begins, begins + length)
    assert ((fit >= 0.0) & (fit <= 1.0)).all()
    assert (fit[np.isposinf(begins)] == (1.0 if share == 0.0 else 0.0)).all()


@given(time=st.floats(100.0, 250.0), begins=st.floats(-15.0, 15.0), length=st.floats(0.5, 30.0))
def test_the_formula_without_a_share(time: float, begins: float, length: float) -> None:
    """The stage had come and the next had not: a difference of two normal probabilities."""
    start = time + begins

    def below(z: float) -> float:
        return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))

    expected = below((time - start) / 2.0) - below((time - start - length) / 2.0)
    got = fit_of(seen_at(time, sd_days=2.0), np.array([start]), np.array([start + length]))
    assert got[0] == pytest.approx(expected, abs=1e-12)


@given(time=st.floats(100.0, 250.0), length=st.floats(1.0, 30.0))
def test_a_stage_fits_best_when_seen_in_its_middle(time: float, length: float) -> None:
    """Of members with stages equally long, the one half way through it fits best."""
    offset = np.linspace(-1.0, 1.0, 41) * length
    begins = time - length / 2.0 + offset
    fit = fit_of(seen_at(time), begins, begins + length)
    assert fit[20] >= fit.max() - 1e-12
    assert (np.diff(fit[:21]) >= -1e-12).all()
    assert (np.diff(fit[20:]) <= 1e-12).all()
    np.testing.assert_allclose(fit, fit[::-1], atol=1e-12)


@pytest.mark.parametrize(
    ("share", "days_since"),
    [(0.5, 0.0), (0.8413447, PLANT_SD), (0.1586553, -PLANT_SD), (0.9772499, 2.0 * PLANT_SD)],
)
def test_a_share_tells_how_long_the_stage_has_come(share: float, days_since: float) -> None:
    """Half of the plants in it: it comes that day. A sd more, 84 in 100: a sd of plants ago."""
    begins = 200.0 - np.linspace(-10.0, 10.0, 2001)
    fit = fit_of(seen_at(200.0, share), begins, begins + 4.0)
    assert 200.0 - begins[fit.argmax()] == pytest.approx(days_since, abs=0.01)
    assert fit.max() == pytest.approx(1.0, abs=1e-4)


@given(few=st.floats(0.02, 0.98), more=st.floats(0.02, 0.98))
def test_more_plants_say_an_earlier_stage(few: float, more: float) -> None:
    """The more plants are in the stage, the earlier the member that fits best."""
    assume(more > few + 0.01)
    begins = 200.0 - np.linspace(-10.0, 10.0, 4001)
    best = [begins[fit_of(seen_at(200.0, p), begins, begins).argmax()] for p in (few, more)]
    assert best[1] < best[0]


def test_every_plant_says_that_the_stage_came_days_ago() -> None:
    """All plants in a stage: it came before today, and how long before does not matter."""
    begins = np.linspace(180.0, 220.0, 41)
    fit = fit_of(seen_at(200.0, 1.0), begins, np.full(41, 240.0))
    assert (np.diff(fit) <= 0.0).all()
    assert fit[0] == pytest.approx(1.0)
    assert fit[20] < 0.01


def test_no_plant_says_that_the_stage_is_to_come() -> None:
    """No plant in a stage: the later it comes the better it fits."""
    begins = np.append(np.linspace(180.0, 220.0, 41), math.inf)
    fit = fit_of(seen_at(200.0, 0.0), begins, begins + 4.0)
    assert (np.diff(fit) >= 0.0).all()
    assert fit[20] < 0.01
    assert (fit[0], fit[-1]) == (pytest.approx(0.0), 1.0)


@given(shares=st.lists(st.floats(0.05, 0.95), min_size=2, max_size=2, unique=True))
def test_all_plants_say_an_earlier_stage_than_some(shares: list[float]) -> None:
    """Where a stage was expected only now, the more plants are in it the earlier it is learnt."""
    begins = np.linspace(190.0, 210.0, 201)
    means = []
    for share in (0.0, min(shares), max(shares), 1.0):
        fit = fit_of(seen_at(200.0, share), begins, np.full(201, 240.0))
        means.append(float(fit @ begins / fit.sum()))
    assert means == sorted(means, reverse=True)


# --- members move ---------------------------------------------------------------------------------


@st.composite
def odd_members(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Weights, likelihoods and times of members that may be anything, also none that fits."""
    count = draw(st.integers(1, 40))
    size = {"min_size": count, "max_size": count}
    weights = np.array(draw(st.lists(st.floats(0.0, 1.0), **size)))
    weights = weights + 1e-3 if weights.sum() < 1e-3 else weights
    fit = st.one_of(st.just(0.0), st.just(1e-300), st.floats(0.0, 1.0))
    times = draw(st.lists(days_or_never, **size))
    return weights / weights.sum(), np.array(draw(st.lists(fit, **size))), np.array(times)


def spread(times: np.ndarray, weights: np.ndarray) -> float:
    """Weighted standard deviation of the members that come at all."""
    ever = np.isfinite(times)
    share = weights[ever] / weights[ever].sum()
    return float(np.sqrt(share @ (times[ever] - share @ times[ever]) ** 2))


@settings(deadline=None)
@given(members=odd_members())
def test_weights_stay_weights(members: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """Whatever fits or does not, weights are not negative, sum to 1, and none comes from zero."""
    weights, fit, times = members
    state, after = moved(times[:, None], times, weights, fit)
    assert (after >= 0.0).all()
    assert after.sum() == pytest.approx(1.0)
    assert (after[weights == 0.0] == 0.0).all()
    assert (np.isposinf(state[:, 0]) == np.isposinf(times)).all()


@settings(deadline=None)
@given(members=odd_members())
def test_no_observation_scatters_the_stage_it_names(
    members: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """The standard deviation of the stage seen is at most as large as it was."""
    weights, fit, times = members
    assume((weights * np.isfinite(times)).sum() > 0.0)
    state, after = moved(times[:, None], times, weights, fit)
    if (after * np.isfinite(times)).sum() > 0.0:
        assert spread(state[:, 0], after) <= spread(times, weights) + 1e-6


@settings(max_examples=40, deadline=None)
@given(off=st.floats(-6.0, 6.0), error=st.floats(0.5, 8.0), slope=st.floats(-2.0, 2.0))
def test_normal_members_move_as_bayes_says(off: float, error: float, slope: float) -> None:
    """Normal members and a normal error: the textbook's mean and variance, and its line.

    ``1/v = 1/v0 + 1/r`` and ``m = v (m0/v0 + y/r)`` (any book on Kalman's filter); what lies on a
    line with the date seen moves along that line, and what has nothing to do with it stays.
    """
    members, sd = 801, 4.0
    date = 200.0 + sd * normal_draws(members)
    other = normal_draws(members)[unrelated_order(members)]
    state, weights = moved(
        np.column_stack([date, slope * date, other]),
        date,
        even(members),
        np.exp(-0.5 * ((date - 200.0 - off) / error) ** 2),
    )
    variance = 1.0 / (1.0 / sd**2 + 1.0 / error**2)
    np.testing.assert_allclose(weights, even(members))
    assert state[:, 0].mean() == pytest.approx(200.0 + variance * off / error**2, abs=0.05)
    assert state[:, 0].std() == pytest.approx(math.sqrt(variance), rel=0.02)
    np.testing.assert_allclose(state[:, 1], slope * state[:, 0], atol=1e-6)
    np.testing.assert_allclose(state[:, 2], other, atol=0.1)


def test_two_looks_with_one_error_are_worth_one() -> None:
    """Where all of the error lasts, a second look at the same date teaches next to nothing.

    Where none lasts, the second is worth as much as the first: half of what is left.
    """
    members = 4001
    date = 200.0 + 4.0 * normal_draws(members)
    off = 1.6 * normal_draws(members)[unrelated_order(members)]
    for lasts, expected in ((True, 1.0), (False, 0.76)):
        state = np.column_stack([date, off if lasts else np.zeros(members)])
        error = 0.05 if lasts else 1.6
        spreads = []
        for _ in range(2):
            noted = state.sum(axis=1)
            fit = np.exp(-0.5 * ((noted - 203.0) / error) ** 2)
            state, _ = moved(state, noted, even(members), fit)
            spreads.append(float(state[:, 0].std()))
        assert spreads[0] == pytest.approx(1.0 / math.sqrt(1 / 16.0 + 1 / 1.6**2), rel=0.05)
        assert spreads[1] / spreads[0] == pytest.approx(expected, abs=0.03)


def test_what_is_never_reached_loses_its_weight() -> None:
    """A stage seen takes the weight of members that never reach it; no plant in it, of others."""
    times = np.array([195.0, 200.0, 205.0, math.inf])
    ends = times + 10.0
    for share, ever in ((0.5, 1.0), (0.0, 0.0)):
        seen = StageSeen(230.0 if share == 0.0 else 200.0, share, 1.6)
        state, weights = moved(times[:, None], times, even(4), fit_of(seen, times, ends))
        assert weights[:3].sum() == pytest.approx(ever, abs=1e-6)
        assert np.isposinf(state[3, 0])


def test_nothing_that_fits_teaches_nothing() -> None:
    """A likelihood of zero in every member leaves all as it was."""
    weights, times = np.array([0.25, 0.75]), np.array([200.0, 210.0])
    state, after = moved(times[:, None], times, weights, np.zeros(2))
    np.testing.assert_array_equal(after, weights)
    np.testing.assert_array_equal(state[:, 0], times)


@settings(max_examples=60, deadline=None)
@given(
    years=weather_years(),
    field=crops(),
    visits=st.lists(
        st.tuples(st.sampled_from(STAGES), st.floats(-40.0, 40.0), shares), min_size=1, max_size=4
    ),
)
def test_no_visit_scatters_a_real_forecast(
    years: Years, field: Crop, visits: list[tuple[str, float, float | None]]
) -> None:
    """Several stages seen in one field, likely or absurd, none scatters the stage it names."""
    times = run_drawn(*years, [field])[0]
    weights = even(len(times))
    for stage, off, share in visits:
        begins = at(times, stage)
        following = STAGES[STAGES.index(stage) + 1 :][:1]
        ends = at(times, following[0]) if following else np.full(len(times), math.inf)
        middle = float(quantile_days(begins, (0.5,))[0])
        assume(np.isfinite(middle))
        fit = fit_of(seen_at(middle + off, share), begins, ends)
        times, after = moved(times, begins, weights, fit)
        ever = np.isfinite(begins)
        if after[ever].sum() > 0.0:
            assert spread(at(times, stage), after) <= spread(begins, weights) + 1e-6
        assert after.sum() == pytest.approx(1.0)
        weights = after


# --- error that comes along, order, and the floor -----------------------------------------------


@settings(max_examples=40, deadline=None)
@given(years=weather_years(), field=crops(), seed=st.integers(0, 99))
def test_drift_changes_no_range_and_loosens_stages(years: Years, field: Crop, seed: int) -> None:
    """Ranges stay but for chance or grow to the drift alone; R1 tells less of R8; all in order."""
    times = run_drawn(*years, [field])[0]
    assume(np.isfinite(times).all())
    normals = unrelated_normals(len(times), len(STAGES), seed)
    drift = float(LEARNING.drift)
    loose = drifting(times, normals, draws=DRAWS.count, sd_per_root_day=drift)
    for stage in ("R1", "R3", "R5", "R7", "R8"):
        alone = drift * math.sqrt(at(times, stage).mean() - at(times, "VE").mean())
        before, after = at(times, stage).std(), at(loose, stage).std()
        assert 0.75 * before <= after <= 1.25 * max(before, alone)
    assert np.corrcoef(at(loose, "R1"), at(loose, "R8"))[0, 1] < 0.99
    np.testing.assert_array_equal(in_order(loose), loose)
    np.testing.assert_array_equal(at(loose, "VE"), at(times, "VE"))


@settings(max_examples=40, deadline=None)
@given(years=weather_years(), field=crops(), least=st.floats(0.5, 15.0))
def test_no_stage_is_dated_more_closely_than_asked(years: Years, field: Crop, least: float) -> None:
    """No range is narrower than the least, a given date stays, and wider ranges are kept."""
    times = run_drawn(*years, [replace(field, emerged=field.planted + 9.5)])[0]
    assume(np.isfinite(times).all())
    weights = even(len(times))
    wide = no_surer(times, weights, least_days=least, probabilities=RANGE)
    np.testing.assert_array_equal(at(wide, "VE"), at(times, "VE"))
    for stage in ("R1", "R3", "R5", "R7"):
        assert width(at(wide, stage), weights) >= min(least, 6.0) - 1.0
        if width(at(times, stage), weights) > least:
            assert abs(width(at(wide, stage), weights) - width(at(times, stage), weights)) < 2.0


# --- forecasts that learn ------------------------------------------------------------------------


@dataclass(frozen=True)
class Site:
    """A field in known weather, so that all that is unknown are the errors."""

    mean_c: float
    latitude: float
    number: float

    def times(self, planted: int, written: str, *, seed: int = 3) -> np.ndarray:
        """Stage times of every draw, shape (members, stages)."""
        years = invented_years(mean_c=self.mean_c, swing_c=14.0, range_c=11.0, seed=seed, members=1)
        field = Crop(planted, self.number, self.latitude)
        return run_drawn(*years, [field], written=written)[0]


SITES = (Site(8.1, 45.0, 1.2), Site(10.5, 41.0, 3.2), Site(12.9, 37.0, 4.6))
PLANTED = (110, 125, 140)
WRITTEN = ("decimal", "whole")
each_forecast = pytest.mark.parametrize(
    ("site", "written"), list(itertools.product(SITES, WRITTEN))
)


Learnt = tuple[np.ndarray, np.ndarray]
"""Stage times of members, and their weights."""


def after_stage(
    times: np.ndarray, stage: str, seen: StageSeen, weights: np.ndarray | None = None
) -> Learnt:
    """Members after a stage was seen."""
    before = even(len(times)) if weights is None else weights
    begins, ends = at(times, stage), at(times, STAGES[STAGES.index(stage) + 1])
    fit = read(seen, before, begins, ends)
    return (times, before) if fit is None else moved(times, begins, before, fit)


def middles(times: np.ndarray, weights: np.ndarray | None, stages: tuple[str, ...]) -> np.ndarray:
    """The 50 per cent times of some stages."""
    return np.array([quantile_days(at(times, s), (0.5,), weights)[0] for s in stages])


@each_forecast
def test_a_late_flower_puts_later_stages_back(site: Site, written: str) -> None:
    """R1 late for its forecast moves R5 to R8 back in the mean, an early one moves them forward."""
    times = site.times(125, written)
    early, late = quantile_days(at(times, "R1"), (0.1, 0.9))
    in_it = float(np.median(at(times, "R2") - at(times, "R1"))) / 2.0
    for share, wait in ((None, in_it), (0.5, 0.0)):
        sooner, later = (
            after_stage(times, "R1", seen_at(float(time) + wait, share)) for time in (early, late)
        )
        for stage in LATER:
            usual = at(times, stage).mean()
            assert sooner[1] @ at(sooner[0], stage) < usual - 0.5
            assert later[1] @ at(later[0], stage) > usual + 0.5


@each_forecast
def test_what_was_expected_moves_the_middle_little(site: Site, written: str) -> None:
    """R1 seen just when the middle forecast has it moves its date by a day at most."""
    for planted in PLANTED:
        times = site.times(planted, written)
        middle = middles(times, None, ("R1",))
        in_it = float(np.median(at(times, "R2") - at(times, "R1"))) / 2.0
        for share, wait in ((None, in_it), (0.5, 0.0)):
            learnt = after_stage(times, "R1", seen_at(float(middle[0]) + wait, share))
            change = middles(*learnt, ("R1",)) - middle
            assert abs(float(change[0])) <= 1.0


@each_forecast
def test_an_absurd_stage_is_not_read_and_an_expected_one_is(site: Site, written: str) -> None:
    """R5 three weeks after planting is beyond reason; what is expected is read as it stands."""
    times = site.times(125, written)
    weights = even(len(times))

    def as_read(stage: str, time: float) -> np.ndarray | None:
        ends = at(times, STAGES[STAGES.index(stage) + 1])
        return read(seen_at(time), weights, at(times, stage), ends)

    assert as_read("R5", 125.0 + 21.0) is None
    r1, r2, r5, r6 = middles(times, None, ("R1", "R2", "R5", "R6"))
    for stage, time in (("R1", (r1 + r2) / 2.0), ("R5", (r5 + r6) / 2.0)):
        ends = at(times, STAGES[STAGES.index(stage) + 1])
        expected = fit_of(seen_at(time), at(times, stage), ends)
        np.testing.assert_array_equal(as_read(stage, time), expected)


@each_forecast
def test_an_unlikely_stage_is_learnt_from_without_certainty(site: Site, written: str) -> None:
    """R1 a few days past every draw moves the forecast that way, and leaves a range of days."""
    times = site.times(125, written)
    before = even(len(times))
    last = float(at(times, "R1").max())
    learnt, after = after_stage(times, "R1", seen_at(last + 4.0, 0.5))
    assert middles(learnt, after, ("R8",))[0] > middles(times, before, ("R8",))[0]
    np.testing.assert_allclose(after, before)
    assert width(at(learnt, "R8"), after) > 0.25 * width(at(times, "R8"), before)


# --- simulated truth -----------------------------------------------------------------------------

VISITS = 6  # to each simulated field, each a field of its own


def errors_with_each_draw_as_truth(
    times: np.ndarray, visited: tuple[str, ...], random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Errors (days) of the middle dates of R5 to R8 before and after stages were seen.

    Each draw in turn is the field; the forecast is made of the other draws, so that it has never
    seen this one. The scout comes at a random time within a stage and errs by the usual error.
    """
    before, after = [], []
    for own, truth in enumerate(times):
        others = np.delete(times, own, axis=0)
        for _ in range(VISITS):
            learnt = (others, even(len(others)))
            for stage in visited:
                begins, ends = truth[STAGES.index(stage)], truth[STAGES.index(stage) + 1]
                time = random.uniform(begins, ends) + STAGING_SD * random.standard_normal()
                learnt = after_stage(learnt[0], stage, seen_at(time), learnt[1])
            actual = np.array([at(truth, stage) for stage in LATER])
            before.append(middles(others, None, LATER) - actual)
            after.append(middles(*learnt, LATER) - actual)
    return np.array(before), np.array(after)


def rmse(errors: np.ndarray) -> np.ndarray:
    """Root mean square over fields, per stage."""
    return np.sqrt(np.square(errors).mean(axis=0))


def gain(before: np.ndarray, after: np.ndarray) -> float:
    """Share by which the error of R5 to R8 together falls."""
    return float(1.0 - np.sqrt(np.square(after).mean() / np.square(before).mean()))


def best_gain(times: np.ndarray) -> float:
    """What one R1 can teach at most: the best straight line from the date seen to the dates meant.

    Seen is R1 plus the error of staging plus where in R1 the visit fell; the rest is the draws'
    own variances and covariances, ``var - cov^2 / (var R1 + error)``.
    """
    r1 = at(times, "R1")
    noise = STAGING_SD**2 + np.square(at(times, "R2") - r1).mean() / 12.0
    left, whole = 0.0, 0.0
    for stage in LATER:
        covariance = np.cov(at(times, stage), r1, bias=True)
        whole += covariance[0, 0]
        left += covariance[0, 0] - covariance[0, 1] ** 2 / (covariance[1, 1] + noise)
    return float(1.0 - np.sqrt(left / whole))


Simulated = dict[tuple[str, tuple[str, ...]], tuple[np.ndarray, np.ndarray, float]]


@pytest.fixture(scope="module")
def simulated() -> Simulated:
    """Errors before and after, and the best gain, per way of writing a group and stages seen."""
    results = {}
    for written, visited in itertools.product(WRITTEN, (("R1",), ("R1", "R3"))):
        random = np.random.default_rng(20)
        forecasts = [site.times(day, written) for site in SITES for day in PLANTED]
        pairs = [errors_with_each_draw_as_truth(t, visited, random) for t in forecasts]
        before, after = (np.concatenate(part) for part in zip(*pairs, strict=True))
        best = float(np.mean([best_gain(times) for times in forecasts]))
        results[written, visited] = (before, after, best)
        print(f"\n{written} group, {' and '.join(visited)} seen: RMSE before, after, days")
        for stage, b, a in zip(LATER, rmse(before), rmse(after), strict=True):
            print(f"  {stage} {b:.2f} {a:.2f}  -{1.0 - a / b:.0%}")
        print(f"  together -{gain(before, after):.0%}; one R1 can teach -{best:.0%}")
    return results


@pytest.mark.parametrize("written", WRITTEN)
def test_one_flower_helps_every_later_stage(simulated: Simulated, written: str) -> None:
    """After one R1, each of R5 to R8 is nearer the truth by a fifth or more, and R5 by a third."""
    before, after, _ = simulated[written, ("R1",)]
    fall = 1.0 - rmse(after) / rmse(before)
    assert (fall > 0.2).all()
    assert fall[0] > 1.0 / 3.0


@pytest.mark.parametrize("written", WRITTEN)
def test_one_flower_teaches_nearly_all_it_can(simulated: Simulated, written: str) -> None:
    """The error falls by as much as by the best straight line through the draws, less 3 points."""
    before, after, best = simulated[written, ("R1",)]
    assert gain(before, after) >= best - 0.03


@pytest.mark.parametrize("written", WRITTEN)
def test_one_flower_takes_a_third_off(simulated: Simulated, written: str) -> None:
    """One R1 takes a third or more off the error of R5 to R8 together."""
    assert gain(*simulated[written, ("R1",)][:2]) >= 1.0 / 3.0


@pytest.mark.parametrize("written", WRITTEN)
def test_two_stages_take_more_off_than_one(simulated: Simulated, written: str) -> None:
    """R3 seen after R1 takes off more than R1 alone: two fifths or so."""
    one, two = (gain(*simulated[written, seen][:2]) for seen in (("R1",), ("R1", "R3")))
    assert two > one
    assert two >= 2.0 / 5.0
