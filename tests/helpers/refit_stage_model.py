"""Refit a few numbers of the stage model to observations, and say whether it pays.

Run it from the repository's root::

    python tests/refit_stage_model.py [FOLDER]

``FOLDER`` holds CSV tables with a header; the default is ``shared/observations`` beside the
repository. Either of the first two sets may be left out; columns not named here are ignored.

``uniform_trials_odd_years.csv``
    ``year``, ``trial``, ``maturity_group`` (Roman), ``location``, ``latitude`` (degrees north),
    ``planting_date`` (ISO), ``days_planting_to_maturity`` (days to R8). Rows of one year, trial
    and group are sites of one observation: their mean is compared.
``uniform_trials_odd_years_days.csv``
    ``location``, ``date``, ``tmin_c``, ``tmax_c``: degC, from planting to R8.
``illinois_check_plots.csv``
    ``environ``, ``year``, ``strain``, ``planting_date``, ``dap_r1``, ``dap_r8`` (days after
    planting, blank where not seen). Strains named by two letters, the group's digit and three
    more digits are used, such as IA3023 (III); their median over plots is compared.
``stations.csv``, ``station_days/NAME.csv``
    ``station``, ``lat``; ``date``, ``tmin_c``, ``tmax_c`` of :data:`CHECK_STATION`.

Method
------
Penalised least squares around the present values: each candidate of :data:`CANDIDATES` is pulled
back to where it is with the strength of its prior. A candidate is only tried if the data tell it
at least twice as closely as the prior does, given those tried before it. Each year is then left
out in turn, the rest refitted, and the year predicted. Refitting pays if that lowers the pooled
error by more than 3 percent and makes no stage worse by as much; if not, the present values stay.

The present values were themselves fitted to the trials and some of the plots (soybean.toml,
FITTED), so their score is not out of sample: a gain must come on top of that. Nothing is written
to the knowledge; with the same data the same figures come out.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from stagecast.knowledge import load
from stagecast.phenology.daylength import day_length_hours
from stagecast.phenology.ensemble import MemberErrors
from stagecast.phenology.parameters import CropParameters, GroupParameters, group_parameters
from stagecast.phenology.soybean import STAGES, CellRates, FieldInputs, cell_rates, stage_times

FOLDER = Path(__file__).resolve().parents[2].parent / "shared" / "observations"
SOYBEAN = load().soybean
CROP = CropParameters.from_knowledge(SOYBEAN)

LONGEST = 170  # days from planting that every field is run for
LONGEST_HOLE = 3  # days of missing station temperatures that are bridged
CHECK_STATION = "IL_Champaign_9_SW"  # some 15 km from the plots at Urbana
CHECK_NAME = re.compile(r"[A-Z]{2}([1-4])\d{3}")
ROMAN = {"0": 0.0, "I": 1.0, "II": 2.0, "III": 3.0, "IV": 4.0}

ERROR_DAYS = {"R1": 3.0, "R8": 4.0}
"""Errors of an observation and of the model's form together, about the RMSE of a fitted model."""
PAYS = 0.03  # share of the error that has to be gained
TOLD = 0.5  # share of a prior's sd to which the data must narrow a candidate


@dataclass(frozen=True, slots=True)
class Candidate:
    """A number that may move, and how far it may be expected to: sd of its log, or in hours."""

    name: str
    prior_sd: float
    unit: str


CANDIDATES = (
    Candidate("need_ve_r1", 0.05, "x"),
    Candidate("need_after_r1", 0.05, "x"),  # r1_r5 and r5_r7 alike
    Candidate("critical_day_length", 0.25, "h"),
    Candidate("need_r5_r7", 0.05, "x"),  # beyond what need_after_r1 does
)


@dataclass(frozen=True, slots=True)
class Observation:
    """Days from planting to a stage, seen as the mean over some fields or plots."""

    name: str
    year: int
    stage: str
    days: float


@dataclass(frozen=True, slots=True)
class Site:
    """A field to run: its temperatures of shape (LONGEST, 2), tmin and tmax, from planting on."""

    planted: dt.date
    latitude: float
    number: float
    temperatures_c: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Data:
    """Observations and the sites behind each; ``unit[i]`` is the observation of site i."""

    observations: tuple[Observation, ...]
    sites: tuple[Site, ...]
    unit: np.ndarray

    @property
    def seen(self) -> np.ndarray:
        """Days seen, one per observation."""
        return np.array([o.days for o in self.observations])

    @property
    def error_days(self) -> np.ndarray:
        """Expected error of each observation."""
        return np.array([ERROR_DAYS[o.stage] for o in self.observations])

    @property
    def years(self) -> np.ndarray:
        """Year of each observation."""
        return np.array([o.year for o in self.observations])

    def of_stage(self, stage: str) -> np.ndarray:
        """Which observations are of a stage."""
        return np.array([o.stage == stage for o in self.observations])

    def mean(self, per_site: np.ndarray) -> np.ndarray:
        """Mean over the sites of each observation."""
        count = len(self.observations)
        return np.bincount(self.unit, per_site, count) / np.bincount(self.unit, minlength=count)

    @classmethod
    def of(cls, entries: Sequence[tuple[Observation, Sequence[Site]]]) -> Data:
        """Put observations and their sites together."""
        sites = [site for _, group in entries for site in group]
        unit = np.repeat(np.arange(len(entries)), [len(group) for _, group in entries])
        return cls(tuple(o for o, _ in entries), tuple(sites), unit)


# --- reading -------------------------------------------------------------------------------------


def _rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _daily(rows: Sequence[dict[str, str]]) -> dict[dt.date, tuple[float, float]]:
    return {
        dt.date.fromisoformat(row["date"]): (float(row["tmin_c"]), float(row["tmax_c"]))
        for row in rows
        if row["tmin_c"] and row["tmax_c"]
    }


def _from_planting(days: dict[dt.date, tuple[float, float]], planted: dt.date) -> np.ndarray:
    """Temperatures from planting on, shape (LONGEST, 2).

    Short holes are bridged along a line. A record that ends early, as at a trial's R8, goes on
    with the mean of its last ten days, so that a date too late can be told how late. The planting
    day itself counts for nothing and may be missing; longer holes stay NaN.
    """
    dates = [planted + dt.timedelta(days=i) for i in range(LONGEST)]
    values = np.array([days.get(day, (np.nan, np.nan)) for day in dates])
    known = np.flatnonzero(np.isfinite(values[:, 0]))
    if not len(known):
        return values
    end = known[-1] + 1
    for first, last in pairwise(known):
        if 1 < last - first <= LONGEST_HOLE + 1:
            share = np.arange(1, last - first)[:, None] / (last - first)
            values[first + 1 : last] = values[first] + share * (values[last] - values[first])
    values[end:] = values[end - 10 : end].mean(axis=0)
    return values


def _whole(site: Site) -> bool:
    return bool(np.isfinite(site.temperatures_c[1:]).all())


def trials(folder: Path) -> Data:
    """Means of days to R8 of the uniform trials; sites without all temperatures are left out."""
    file = folder / "uniform_trials_odd_years.csv"
    if not file.is_file():
        return Data.of([])
    by_place: dict[str, list[dict[str, str]]] = defaultdict(list)
    for row in _rows(folder / "uniform_trials_odd_years_days.csv"):
        by_place[row["location"]].append(row)
    weather = {place: _daily(rows) for place, rows in by_place.items()}
    middle = float(SOYBEAN.groups.offsets["whole"])
    sites: dict[tuple[str, str, str], list[Site]] = defaultdict(list)
    days: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for row in _rows(file):
        planted = dt.date.fromisoformat(row["planting_date"])
        site = Site(
            planted,
            float(row["latitude"]),
            ROMAN[row["maturity_group"]] + middle,
            _from_planting(weather[row["location"]], planted),
        )
        if _whole(site):
            key = row["year"], row["trial"], row["maturity_group"]
            sites[key].append(site)
            days[key].append(float(row["days_planting_to_maturity"]))
    return Data.of(
        [
            (Observation(" ".join(key), int(key[0]), "R8", float(np.mean(days[key]))), group)
            for key, group in sites.items()
        ]
    )


def checks(folder: Path) -> Data:
    """Medians of days to R1 and R8 of check strains whose name tells their group."""
    file = folder / "illinois_check_plots.csv"
    if not file.is_file():
        return Data.of([])
    stations = {row["station"]: float(row["lat"]) for row in _rows(folder / "stations.csv")}
    weather = _daily(_rows(folder / "station_days" / f"{CHECK_STATION}.csv"))
    middle = float(SOYBEAN.groups.offsets["whole"])
    plots: dict[tuple[str, str, str], list[dict[str, str]]] = defaultdict(list)
    for row in _rows(file):
        if CHECK_NAME.fullmatch(row["strain"]):
            plots[row["strain"], row["year"], row["planting_date"]].append(row)
    entries = []
    for (strain, year, day), group in sorted(plots.items()):
        planted = dt.date.fromisoformat(day)
        number = float(CHECK_NAME.fullmatch(strain)[1]) + middle  # type: ignore[index]
        temperatures = _from_planting(weather, planted)
        site = Site(planted, stations[CHECK_STATION], number, temperatures)
        for stage, column in (("R1", "dap_r1"), ("R8", "dap_r8")):
            seen = [float(row[column]) for row in group if row[column]]
            if seen and _whole(site):
                median = float(np.median(seen))
                entries.append((Observation(strain, int(year), stage, median), [site]))
    return Data.of(entries)


def both(one: Data, other: Data) -> Data:
    """Two sets of observations as one."""
    return Data(
        one.observations + other.observations,
        one.sites + other.sites,
        np.concatenate([one.unit, other.unit + len(one.observations)]).astype(np.intp),
    )


# --- running -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Runner:
    """The stage model on the sites of some data; everything that no candidate moves is kept."""

    inputs: FieldInputs
    rates: CellRates
    stage: np.ndarray

    @classmethod
    def of(cls, data: Data) -> Runner:
        """Lay out sites as fields, each planted on day 0 of its own weather."""
        temperatures = np.array([site.temperatures_c for site in data.sites])
        low, high = temperatures[:, None, :, 0], temperatures[:, None, :, 1]
        first = np.array([site.planted.timetuple().tm_yday for site in data.sites])
        latitude = np.array([site.latitude for site in data.sites])
        count = len(data.sites)
        inputs = FieldInputs(
            cell=np.arange(count, dtype=np.intp),
            planting_day=np.zeros(count, dtype=np.intp),
            emerged_time=np.full(count, np.nan),
            determinate=np.zeros(count, dtype=np.bool_),
            groups=_groups(
                np.array([site.number for site in data.sites]),
                np.array([float(site.planted.year) for site in data.sites]),
            ),
            day_length_h=day_length_hours(
                latitude[:, None], np.minimum(first[:, None] + np.arange(LONGEST), 366)
            ),
        )
        index = np.array([STAGES.index(o.stage) for o in data.observations], dtype=np.intp)
        return cls(inputs, cell_rates(low, high, crop=CROP), index[data.unit])

    def members(
        self, *, groups: GroupParameters | None = None, errors: MemberErrors | None = None
    ) -> np.ndarray:
        """Times from planting of each site's own stage, shape (sites, members)."""
        fields = self.inputs if groups is None else replace(self.inputs, groups=groups)
        times = stage_times(self.rates, fields, crop=CROP, nodes_at=0.0, errors=errors).times
        return np.take_along_axis(times, self.stage[:, None, None], axis=2)[..., 0]

    def days(self, values: dict[str, float]) -> np.ndarray:
        """Days to each site's stage with candidates moved, the middle of the day being 0."""
        times = self.members(groups=moved(self.inputs.groups, values))[:, 0]
        return np.minimum(times, LONGEST) - 0.5


def _groups(number: np.ndarray, year: np.ndarray) -> GroupParameters:
    return group_parameters(
        number, indeterminate=np.zeros(number.shape, bool), soybean=SOYBEAN, year=year
    )


def moved(groups: GroupParameters, values: dict[str, float]) -> GroupParameters:
    """Group parameters with candidates moved; 0 leaves a candidate as it is."""
    move = defaultdict(float, values)
    after = move["need_after_r1"]
    return GroupParameters(
        critical_h=groups.critical_h + move["critical_day_length"],
        sensitivity=groups.sensitivity,
        need_ve_r1=groups.need_ve_r1 * np.exp(move["need_ve_r1"]),
        need_r1_r5=groups.need_r1_r5 * np.exp(after),
        need_r5_r7=groups.need_r5_r7 * np.exp(after + move["need_r5_r7"]),
    )


# --- fitting -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Refit:
    """What refitting found.

    Attributes
    ----------
    tried : tuple of Candidate
        Those that the data can tell.
    values : dict
        Candidate -> refitted move: log of a factor, or hours.
    old_errors, new_errors : ndarray
        Errors in days of each observation: at the present values, and refitted without its year.
    """

    data: Data
    tried: tuple[Candidate, ...]
    values: dict[str, float]
    old_errors: np.ndarray
    new_errors: np.ndarray

    def rmse(self, stage: str) -> tuple[float, float]:
        """Old and new RMSE of a stage, days; NaN where it was not seen."""
        chosen = self.data.of_stage(stage)
        if not chosen.any():
            return float("nan"), float("nan")
        return _rms(self.old_errors[chosen]), _rms(self.new_errors[chosen])

    @property
    def gain(self) -> float:
        """Share by which the pooled error, in expected errors, is lower for years left out."""
        old, new = (_rms(e / self.data.error_days) for e in (self.old_errors, self.new_errors))
        return 0.0 if old == 0.0 else 1.0 - new / old

    @property
    def pays(self) -> bool:
        """Whether the refitted values are worth having."""
        pairs = [self.rmse(stage) for stage in ERROR_DAYS]
        return self.gain > PAYS and all(not new > old * (1.0 + PAYS) for old, new in pairs)

    @property
    def recommended(self) -> dict[str, float]:
        """Moves to make: the refitted ones if they pay, else none."""
        return {c.name: self.values.get(c.name, 0.0) if self.pays else 0.0 for c in CANDIDATES}


def refit(data: Data) -> Refit:
    """Choose candidates, fit them to everything, and test them on years left out."""
    runner = Runner.of(data)
    old = data.mean(runner.days({})) - data.seen
    tried = _told(data, runner)
    new = old.copy()
    for year in np.unique(data.years):
        left_out = data.years == year
        values = _fit(data, runner, tried, ~left_out)
        new[left_out] = (data.mean(runner.days(values)) - data.seen)[left_out]
    values = _fit(data, runner, tried, np.ones(len(data.seen), bool))
    return Refit(data, tried, values, old, new)


def _told(data: Data, runner: Runner) -> tuple[Candidate, ...]:
    """Candidates that the data narrow to half of their prior, given those before them."""
    middle = data.mean(runner.days({}))
    tried: list[Candidate] = []
    slopes: list[np.ndarray] = []
    for candidate in CANDIDATES:
        step = 0.1 * candidate.prior_sd
        change = data.mean(runner.days({candidate.name: step})) - middle
        slope = change / (step * data.error_days) * candidate.prior_sd
        matrix = np.column_stack([*slopes, slope])
        narrowed = np.linalg.inv(matrix.T @ matrix + np.eye(matrix.shape[1]))[-1, -1]
        if np.sqrt(narrowed) < TOLD:
            tried.append(candidate)
            slopes.append(slope)
    return tuple(tried)


def _fit(
    data: Data, runner: Runner, tried: tuple[Candidate, ...], used: np.ndarray
) -> dict[str, float]:
    """Penalised least squares on some of the observations."""
    if not tried or not used.any():
        return {}

    def values(z: np.ndarray) -> dict[str, float]:
        return {c.name: float(c.prior_sd * x) for c, x in zip(tried, z, strict=True)}

    def residuals(z: np.ndarray) -> np.ndarray:
        error = (data.mean(runner.days(values(z))) - data.seen) / data.error_days
        return np.concatenate([error[used], z])

    found = least_squares(residuals, np.zeros(len(tried)), method="lm", xtol=1e-4, ftol=1e-6)
    return values(found.x)


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


# --- telling -------------------------------------------------------------------------------------


def report(result: Refit) -> str:
    """The figures as text."""
    data = result.data
    lines = [
        f"{len(data.observations)} observations of {len(np.unique(data.years))} years",
        "",
        f"{'candidate':22}{'prior sd':>10}{'now':>8}{'refitted':>10}",
    ]
    for candidate in CANDIDATES:
        factor = candidate.unit == "x"
        value = result.values.get(candidate.name)
        now = f"{1.0 if factor else 0.0:.3f}"
        told = "held" if value is None else f"{np.exp(value) if factor else value:.3f}"
        name = f"{candidate.name} ({candidate.unit})"
        lines.append(f"{name:22}{candidate.prior_sd:>10.2f}{now:>8}{told:>10}")
    lines += ["", f"{'RMSE, years left out':22}{'n':>10}{'now':>8}{'refitted':>10}{'bias now':>10}"]
    for stage in ERROR_DAYS:
        chosen = data.of_stage(stage)
        if chosen.any():
            old, new = result.rmse(stage)
            bias = result.old_errors[chosen].mean()
            lines.append(
                f"{stage + ' (d)':22}{chosen.sum():>10}{old:>8.2f}{new:>10.2f}{bias:>10.1f}"
            )
    verdict = "pays" if result.pays else "does not pay: keep the present values"
    return "\n".join([*lines, "", f"pooled gain {result.gain:+.1%}: refitting {verdict}"])


def main(arguments: Sequence[str] | None = None) -> int:
    """Read, refit, print."""
    parser = argparse.ArgumentParser(description="Refit the stage model; say whether it pays.")
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    folder = parser.parse_args(arguments).folder
    data = both(trials(folder), checks(folder))
    if not data.observations:
        print(f"no observations in {folder}")
        return 1
    print(report(refit(data)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
