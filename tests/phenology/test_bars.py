"""Bars that the forecast has to clear on real observations: plain rules, ranges, learning.

Run with ``-s -n 0`` to see the scores; they are also recorded as properties of the tests.
Everything here skips where the observations are absent. The model was fitted to the odd-year
trials and to some of the plots, so the first checks guard against damage; the weekly reports it
never saw.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from observations import OBSERVATIONS, needs_observations, rows, station_record, year_rows
from refit_stage_model import CHECK_NAME, CHECK_STATION, Data, Runner, checks, trials
from simulated_stages import field_members
from stage_helpers import CROP, SOYBEAN, Crop, at, run

from stagecast.forecast.observations import learn
from stagecast.phenology.daylength import day_length_hours
from stagecast.phenology.ensemble import Draws, MemberErrors, make_draws, member_errors
from stagecast.phenology.parameters import GroupParameters, group_parameters
from stagecast.phenology.soybean import FieldInputs, cell_rates, stage_times
from stagecast.phenology.spread import quantile_days
from stagecast.season.tables.visits import Visit
from stagecast.weather.seasons import SeasonSpan

pytestmark = needs_observations

RANGE = (0.1, 0.5, 0.9)  # the ends and the middle of the 80% range
RecordProperty = Callable[[str, object], None]


@cache
def draws() -> Draws:
    """The draws of errors that every forecast has."""
    ensemble = SOYBEAN.ensemble
    return make_draws(
        levels=int(ensemble.levels),
        per_level=int(ensemble.per_level),
        shared=float(ensemble.shared),
        seed=int(ensemble.seed),
    )


def cultivars(number: np.ndarray, written: str, *, year: np.ndarray) -> GroupParameters:
    """Parameters of the cultivars that a field may hold, by how closely its group is known."""
    spread = float(SOYBEAN.ensemble.group_sd[written]) * draws().group
    return group_parameters(
        number[:, None] + spread,
        indeterminate=np.zeros((len(number), 1), bool),
        soybean=SOYBEAN,
        year=year[:, None],
    )


def errors() -> MemberErrors:
    """Errors of the draws."""
    return member_errors(draws(), ensemble=SOYBEAN.ensemble)


def rmse(error: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(error))))


def tell(record_property: RecordProperty, what: str, scores: dict[str, object]) -> None:
    """Record scores, and print them for ``-s``."""
    for name, score in scores.items():
        record_property(name, score)
    print(f"\n{what}: {scores}")


# --- maturity in the uniform trials --------------------------------------------------------------
#
# USDA-ARS Northern Uniform Soybean Tests, odd years 1989-2019, with NASA POWER temperatures,
# compiled by Krause et al. 2022 (bioRxiv 10.1101/2022.04.11.487885). Only the group, II or III, is
# known. A date is the mean over the sites of a trial, so forecasts are averaged likewise.


@cache
def trial_data() -> tuple[Data, Runner]:
    """The trials, laid out for the model."""
    data = trials(OBSERVATIONS)
    return data, Runner.of(data)


@cache
def trial_ranges(written: str) -> np.ndarray:
    """Ends and middle of the 80% range of days to R8, shape (trial means, 3)."""
    data, runner = trial_data()
    number = np.array([site.number for site in data.sites])
    year = np.array([float(site.planted.year) for site in data.sites])
    times = runner.members(groups=cultivars(number, written, year=year), errors=errors())
    per_site = np.array([np.floor(quantile_days(members, RANGE)) for members in times])
    return np.column_stack([data.mean(column) for column in per_site.T])


def test_the_range_of_maturity_holds_what_it_says(record_property: RecordProperty) -> None:
    """The 80% range of R8 holds 72 to 90% of the trial means: neither too narrow nor too wide.

    As wide as for a decimal, since the mean of a trial's many strains lies near the middle of its
    group. The range of a bare group, told beside it, has to hold any cultivar of the group: it is
    wider, and holds more of such means than of fields. 72-90% is what 80% may come to by chance
    in some hundred means, of which those of a year share their weather (own judgement, no source).
    """
    seen = trial_data()[0].seen
    held = {}
    for written in ("decimal", "whole"):
        low, _, high = trial_ranges(written).T
        held[written] = float(np.mean((low <= seen) & (seen <= high)))
        width = round(float(np.mean(high - low)), 1)
        scores = {"held": round(held[written], 3), "trial_means": len(seen), "width_days": width}
        tell(record_property, f"80% range of R8, group as {written}", scores)
    assert len(seen) >= 75
    assert 0.72 <= held["decimal"] <= 0.90
    assert held["whole"] >= held["decimal"]


def test_maturity_beats_the_plain_rules(record_property: RecordProperty) -> None:
    """R8 of the trial means is met more closely than by either plain rule.

    The rules: days to R8 on a line over planting day, fitted to the other years of these same
    trials; and the average days between stages (Fehr & Caviness 1977; soybean.toml, averages).
    """
    data, _ = trial_data()
    planted = data.mean(np.array([float(s.planted.timetuple().tm_yday) for s in data.sites]))
    line = np.empty(len(data.seen))
    for year in np.unique(data.years):
        out = data.years == year
        rule = np.polynomial.Polynomial.fit(planted[~out], data.seen[~out], 1)
        line[out] = rule(planted[out])
    averages = sum(float(quantity) for _, quantity in SOYBEAN.averages)
    middle = trial_ranges("whole")[:, 1]
    scores = {
        "model": round(rmse(middle - data.seen), 2),
        "line_on_planting_day": round(rmse(line - data.seen), 2),
        "averages": round(rmse(averages - data.seen), 2),
    }
    tell(record_property, "RMSE of R8, days", scores)
    assert scores["model"] < scores["line_on_planting_day"]
    assert scores["model"] < scores["averages"]


def test_maturity_does_not_drift(record_property: RecordProperty) -> None:
    """R8 of the trial means is within a day of the forecast in each decade, on average.

    Cultivars of a group fill seed longer than they did (soybean.toml, era); without it the 1990s
    came 2.4 days before the forecast and the 2010s 0.8 days after it.
    """
    data, _ = trial_data()
    error = trial_ranges("decimal")[:, 1] - data.seen
    decades = {
        f"{first}s": round(float(error[(data.years // 10 * 10) == first].mean()), 2)
        for first in (1990, 2000, 2010)
    }
    tell(record_property, "bias of R8 by decade, days", dict(decades))
    assert all(abs(bias) <= 1.0 for bias in decades.values())


# --- plots at Urbana -----------------------------------------------------------------------------
#
# SoyNAM project (Diers et al. 2018, G3; Xavier et al. 2018): days to R1 and R8 of plots at Urbana,
# Illinois. Temperatures are those of a station some 15 km off.

URBANA_LATITUDE = 40.05
PLOT_YEARS = (2012, 2013)


def urbana_members(planted: dt.date, number: float, *, known_until: dt.date) -> np.ndarray:
    """Possible seasons as days from planting, shape (members, stages); the group is given bare.

    Temperatures are those of the year up to a day and those of every other year after it.
    """
    season = {"first": (3, 1), "last": (11, 30)}
    record = station_record(CHECK_STATION)
    years = [y for y in range(2003, 2024) if y != planted.year]
    this = year_rows(record, range(planted.year, planted.year + 1), **season)
    others = year_rows(record, years, **season)
    march = dt.date(planted.year, 3, 1)
    until = (known_until - march).days + 1
    known = np.arange(this[0].shape[1]) < until
    spliced = np.array([np.where(known, a, b) for a, b in zip(this, others, strict=True)])
    low, high = spliced[:, np.isfinite(spliced).all(axis=(0, 2))]
    day = (planted - march).days
    days_of_year = march.timetuple().tm_yday + np.arange(len(known))
    field = FieldInputs(
        cell=np.zeros(1, np.intp),
        planting_day=np.array([day]),
        emerged_time=np.array([np.nan]),
        determinate=np.zeros(1, bool),
        groups=cultivars(np.array([number]), "whole", year=np.array([float(planted.year)])),
        day_length_h=day_length_hours(np.array([[URBANA_LATITUDE]]), days_of_year[None]),
    )
    times = stage_times(
        cell_rates(low[None], high[None], crop=CROP),
        field,
        crop=CROP,
        nodes_at=0.0,
        errors=errors(),
    )
    return times.times[0] - day


@pytest.mark.parametrize("year", PLOT_YEARS)
def test_first_flower_falls_within_the_range(year: int, record_property: RecordProperty) -> None:
    """The median R1 of some 6400 plots lies in the 80% range, the year's temperatures known.

    The plots are groups II to IV: 3.3 stands for them, as for the check of R1 elsewhere, and the
    range is that of a bare group.
    """
    plots = next(r for r in rows("illinois_plots_summary.csv") if r["year"] == str(year))
    planted = dt.date.fromisoformat(plots["planting_date"])
    members = urbana_members(planted, 3.3, known_until=dt.date(year, 11, 30))
    low, middle, high = np.floor(quantile_days(at(members, "R1"), RANGE)).tolist()
    seen = float(plots["r1_median"])
    tell(record_property, f"R1 {year}", {"range": (low, middle, high), "seen": seen})
    assert low <= seen <= high


def test_a_flower_seen_does_not_worsen_maturity(record_property: RecordProperty) -> None:
    """After R1 has been seen once, R8 of the check strains is met no worse than before, pooled.

    Strains whose names tell their group (IA2094 is II, IA3023 and NE3001 are III; names read from
    memory), with their own median R1 as the day on which half of the plants flower. The forecast
    is of that day: later temperatures are those of other years, with and without the lesson.
    """
    learning = SOYBEAN.learning
    data = checks(OBSERVATIONS)
    seen = {(o.name, o.year, o.stage): o.days for o in data.observations}
    places = {
        (data.observations[unit].name, data.observations[unit].year): site
        for unit, site in zip(data.unit, data.sites, strict=True)
    }
    before, after, told, widths = [], [], [], []
    for (strain, year), site in places.items():
        if (strain, year, "R1") not in seen:
            continue
        flower = np.floor(seen[strain, year, "R1"])
        visit = site.planted + dt.timedelta(days=int(flower))
        members = urbana_members(site.planted, site.number, known_until=visit)
        season = SeasonSpan(year_of := site.planted.year, dt.date(year_of, 12, 31))
        sown = season.index(site.planted)
        field = field_members(members + sown, planted=site.planted, number=site.number)
        note = Visit("F1", visit, None, 2, stage="R1", share=0.5)
        taught = learn(field, [field], [note], span=season, learning=learning)
        ends_before = quantile_days(at(members, "R8"), RANGE)
        ends_after = quantile_days(at(taught.members.times, "R8") - sown, RANGE, taught.weights)
        for errors_of, ends in ((before, ends_before), (after, ends_after)):
            errors_of.append(float(np.floor(ends[1]) - seen[strain, year, "R8"]))
        widths.append((ends_before[2] - ends_before[0], ends_after[2] - ends_after[0]))
        told.append(f"{strain} {year}: {before[-1]:+.1f} -> {after[-1]:+.1f}")
    scores = {
        "rmse_before": round(rmse(np.array(before)), 2),
        "rmse_after": round(rmse(np.array(after)), 2),
        "width_before, after": tuple(np.round(np.mean(widths, axis=0), 1).tolist()),
        "errors": told,
    }
    tell(record_property, "R8 of check strains, days", scores)
    assert len(told) >= 4
    assert all(CHECK_NAME.fullmatch(line.split()[0]) for line in told)
    assert rmse(np.array(after)) <= rmse(np.array(before))


# --- weekly reports of 18 states -----------------------------------------------------------------

REPORT_YEARS = range(2018, 2024)  # both the reports and the stations have them
STAGE_OF = {"blooming": "R1", "setting_pods": "R3", "dropping_leaves": "R7"}

# Station -> usual maturity group there, and soybean area it stands for in million acres. Groups
# follow latitude; areas of the states nearest it are rounded (both MEMORY). Virginia is not among
# the 18 states.
STANDS_FOR = {
    "MN_Sandstone_6_W": (1.0, 17.5),  # MN, ND, WI, MI
    "IA_Des_Moines_17_E": (2.5, 20.5),  # IA, NE, SD
    "IL_Champaign_9_SW": (3.0, 21.0),  # IL, IN, OH
    "MO_Salem_10_W": (4.0, 10.5),  # MO, KS
    "KY_Versailles_3_NNW": (4.0, 1.9),
    "TN_Crossville_7_NW": (4.8, 1.6),
    "NC_Durham_11_W": (5.5, 1.6),
    "MS_Newton_5_ENE": (4.8, 6.5),  # MS, AR, LA
}


def weekly(year: int, stage: str) -> tuple[np.ndarray, np.ndarray]:
    """Days of the year on which weeks end, and percent of the area by then."""
    found = sorted(
        (dt.date.fromisoformat(row["week_ending"]).timetuple().tm_yday, float(row["pct"]))
        for row in rows("progress_us.csv")
        if row["year"] == str(year) and row["stage"] == stage
    )
    days, percent = np.array(found).T
    return days, percent


@cache
def cohort_times(station: str) -> dict[int, np.ndarray]:
    """Year -> days of the year of the stages of every week's planting, shape (weeks, stages).

    A week's increase is planted in its middle. Holes in the station's record longer than three
    days get each day's mean of 2008-2023, so that all years have the same stations.
    """
    years = range(2008, 2024)
    record = year_rows(station_record(station), years, first=(3, 1), last=(11, 30))
    low, high = (np.where(np.isnan(t), np.nanmean(t, axis=0), t) for t in record)
    place = next(row for row in rows("stations.csv") if row["station"] == station)
    times = {}
    for year in REPORT_YEARS:
        march = dt.date(year, 3, 1).timetuple().tm_yday
        fields = [
            Crop(
                int(day) - 3 - march,
                STANDS_FOR[station][0],
                latitude=float(place["lat"]),
                year=year,
            )
            for day in weekly(year, "planted")[0]
        ]
        i = years.index(year)
        found = run(low[i], high[i], fields, first_day_of_year=march).times[:, 0]
        times[year] = found + march
    return times


def modelled_half(year: int, stage: str, weights: dict[str, float]) -> float:
    """Day of the year on which half of all cohorts at all stations have reached a stage."""
    percent = weekly(year, "planted")[1]
    increase = np.diff(percent, prepend=0.0)
    days = np.concatenate([at(cohort_times(station)[year], stage) for station in weights])
    area = np.concatenate([weight * increase for weight in weights.values()])
    order = np.argsort(days)
    reached = np.cumsum(area[order]) / area.sum()
    return float(np.interp(0.5, reached, days[order]))


@pytest.mark.parametrize("weighting", ["equal", "area"])
def test_early_and_late_years_of_the_weekly_reports(
    weighting: str, record_property: RecordProperty
) -> None:
    """The model tells early from late years better than the date of planting and a fixed lag do.

    USDA NASS weekly progress of 18 states together, 2018-2023. The weekly planted area is grown
    at eight stations, and the dates are compared on which half of the area blooms (R1), sets pods
    (R3) and drops leaves (R7; R8 follows it by fixed days and has the same anomalies). The
    reports come weekly and lag the first flower by a week or more, and one national curve of
    planting is spread over all latitudes: so each stage's mean over years is taken out of model,
    rule and report alike, and only the anomalies are held against each other. The rule is the
    date by which half was planted plus days fixed by stage. The model must also beat a line on
    that date fitted to the other five years, its own mean error then likewise being that of the
    other years. Stages are pooled; each stage's scores are told.
    """
    weights = {
        station: 1.0 if weighting == "equal" else area for station, (_, area) in STANDS_FOR.items()
    }
    planted = np.array([half(*weekly(year, "planted")) for year in REPORT_YEARS])
    model, rule, line = {}, {}, {}
    scores: dict[str, object] = {}
    for reported, stage in STAGE_OF.items():
        seen = np.array([half(*weekly(year, reported)) for year in REPORT_YEARS])
        days = np.array([modelled_half(year, stage, weights) for year in REPORT_YEARS])
        assert np.isfinite(days).all()
        model[reported] = anomalies(days) - anomalies(seen)
        rule[reported] = anomalies(planted) - anomalies(seen)
        line[reported] = line_from_other_years(planted, seen) - seen
        scores[reported] = {
            "model": round(rmse(model[reported]), 2),
            "fixed_lag": round(rmse(rule[reported]), 2),
            "line": round(rmse(line[reported]), 2),
            "bias_of_model": round(float(np.mean(days - seen)), 1),
        }
    of_model, of_rule, of_line = (
        rmse(np.concatenate(list(each.values()))) for each in (model, rule, line)
    )
    scores["pooled"] = tuple(round(each, 2) for each in (of_model, of_rule, of_line))
    tell(record_property, f"RMSE of anomalies, days, stations weighted by {weighting}", scores)
    assert of_model < of_rule
    # A year's anomaly from the mean of the others is larger by n / (n - 1).
    assert of_model * len(planted) / (len(planted) - 1) < of_line


def half(days: np.ndarray, percent: np.ndarray) -> float:
    """Day of the year on which a curve passes 50 percent."""
    assert percent[0] < 50.0 < percent[-1]
    return float(np.interp(50.0, percent, days))


def anomalies(values: np.ndarray) -> np.ndarray:
    """Differences from the mean over years."""
    return values - values.mean()


def line_from_other_years(planted: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Dates from a line on the date of planting, fitted without the year itself."""
    others = [np.arange(len(seen)) != i for i in range(len(seen))]
    return np.array(
        [
            np.polynomial.Polynomial.fit(planted[kept], seen[kept], 1)(planted[i])
            for i, kept in enumerate(others)
        ]
    )
