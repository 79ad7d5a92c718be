"""Heat against the calendar on past catches: whichever truth was put in is found again.

All weather and all catches here are invented, so the rule that made the flights is known.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import WIDE, run_command
from hypothesis import given
from hypothesis import strategies as st
from season_builder import YEAR, Constant, StationFile, build_season, day, snapshot
from stage_helpers import invented_years

from stagecast.files.season import plain
from stagecast.forecast.load import read_folder
from stagecast.knowledge import load
from stagecast.pests.traps.history import (
    BothForetold,
    DayForetold,
    TrapHistory,
    Trial,
    season_histories,
)
from stagecast.pests.traps.rules import EVENTS, Event
from stagecast.pests.traps.skill import (
    TooFewYears,
    calendar_errors,
    event_skill,
    heat_errors,
    heat_share,
)
from stagecast.phenology.pests import HeatSums, event_time, heat_sums
from stagecast.words.traps import no_heat_text, trial_text

KNOWLEDGE = load()
FEWEST = int(KNOWLEDGE.traps.history_years)
HALF_KNOWN = float(KNOWLEDGE.traps.half_known)
SPRING = int(KNOWLEDGE.traps.spring_month), int(KNOWLEDGE.traps.spring_day)
EARWORM = KNOWLEDGE.pests["corn-earworm"]
UNTIMED = next(pest for pest in KNOWLEDGE.pests.values() if pest.heat is None)
PAST = range(2016, YEAR)
AS_OF = day(7, 1)
PEAK = (1, 4, 9, 20, 9, 4, 1, 0)
"""What eight daily checks catch round a peak on the fourth; half of it by then."""


class Years:
    """Every year at its own temperature, the same all year: warm years run ahead."""

    def __call__(self, date: dt.date) -> tuple[float, float]:
        """Minimum and maximum of a day, degC; ranges alternate, or the sensor looks stuck."""
        mean_c = 20.0 + 3.0 * np.sin(2.4 * date.year)
        return Constant(round(float(mean_c), 1))(date)


STATION = StationFile(weather=Years())


def spring(year: int) -> dt.date:
    """The day from which heat is summed."""
    return dt.date(year, *SPRING)


def earworm_heat(year: int) -> HeatSums:
    """Heat of the invented year by the earworm's own model, from spring to the end of October."""
    assert EARWORM.heat is not None
    days = (dt.date(year, 10, 31) - spring(year)).days + 1
    both = np.round([Years()(spring(year) + dt.timedelta(i)) for i in range(days)], 2)
    return heat_sums(both[None, :, 0], both[None, :, 1], model=EARWORM.heat)


def reached(year: int, need_c: float) -> dt.date:
    """The day on which so much heat has been summed since spring."""
    heat = earworm_heat(year)
    time = event_time(heat, np.zeros(1), model=heat.model, need_c=need_c)[0]
    return spring(year) + dt.timedelta(int(time))


def flights(peaks: Mapping[int, dt.date], trap: str = "S1", pest: str = "earworm") -> list[str]:
    """Lines of traps.csv: a flight a year round its peak, checked daily."""
    return [
        f"{trap},{peak + dt.timedelta(i - 3)},{pest},{count}"
        for peak in peaks.values()
        for i, count in enumerate(PEAK)
    ]


BY_HEAT = {year: reached(year, 700.0) for year in PAST}
BY_DATE = {year: dt.date(year, 7, 12) + dt.timedelta((year * 7) % 5 - 2) for year in PAST}


def season(
    folder: Path,
    lines: Sequence[str],
    *,
    stations: Sequence[StationFile] = (STATION,),
    header: str = "trap,date,pest,catch",
    weather: str = "",
) -> Path:
    """A season folder with catches."""
    build_season(folder, stations=stations, weather=weather)
    (folder / "traps.csv").write_text("\n".join([header, *lines, ""]), "utf-8")
    return folder


def histories(folder: Path, as_of: dt.date = AS_OF) -> dict[tuple[str, str], TrapHistory]:
    """The histories of a folder."""
    return season_histories(read_folder(folder), as_of=as_of)


def only(folder: Path, as_of: dt.date = AS_OF) -> TrapHistory:
    """The one history of a folder."""
    (found,) = histories(folder, as_of).values()
    return found


# --- the truth is found again -----------------------------------------------------------------


def test_where_heat_makes_the_flight_heat_wins(tmp_path: Path) -> None:
    """Peaks at 700 degree-days by the pest's own model: heat misses by less than a day.

    Only rounding to whole checks is left to it, while the years differ by weeks in date.
    """
    history = only(season(tmp_path, flights(BY_HEAT)))
    assert history.weather == "S1"
    assert history.weather_km == pytest.approx(0.0)
    for event in ("middle", "peak"):
        skill = history.events[event]
        assert skill.years == tuple(PAST)
        assert skill.better == "heat"
        assert skill.heat_rmse is not None
        assert skill.calendar_rmse is not None
        assert skill.heat_rmse < 1.0 < 5.0 < skill.calendar_rmse
        assert skill.better_by_days == pytest.approx(skill.calendar_rmse - skill.heat_rmse)
        assert skill.heat_share > 0.9
        assert skill.both_rmse is not None
        assert skill.both_rmse < 1.5
    both = history.foretell("peak", YEAR)
    assert isinstance(both, BothForetold)
    assert both.sd_days == history.events["peak"].both_rmse
    found = both.heat
    assert (found.start, found.model) == (spring(YEAR), EARWORM.heat)
    # A check at noon is up to half a day of heat off the moment at which 700 was reached.
    warmest = max(np.diff(earworm_heat(year).sums).max() for year in PAST)
    assert found.need_c == pytest.approx(700.0, abs=warmest / 2)
    assert found.sd_c < warmest


def test_where_the_date_makes_the_flight_the_date_wins(tmp_path: Path) -> None:
    """Peaks within two days of 12 July in warm years and cold: the mean date is the better rule.

    Its error is that of the mean of the other years; its day lies within those seen.
    """
    history = only(season(tmp_path, flights(BY_DATE)))
    for event in EVENTS:
        skill = history.events[event]
        assert skill.better == "calendar"
        assert skill.calendar_rmse is not None
        assert skill.heat_rmse is not None
        assert skill.calendar_rmse < 2.5 < skill.heat_rmse
        assert skill.heat_share < 0.2
        assert skill.both_rmse is not None
        assert skill.both_rmse < skill.heat_rmse
    both = history.foretell("peak", YEAR)
    assert isinstance(both, BothForetold)
    found = both.date
    offsets = [(peak - dt.date(year, 7, 12)).days for year, peak in BY_DATE.items()]
    noon = (day(7, 12) - day(1, 1)).days + 0.5
    assert found.time == pytest.approx(noon + float(np.mean(offsets)))
    n = len(offsets)
    assert found.sd_days == pytest.approx(np.std(offsets, ddof=1) * np.sqrt(1 + 1 / n))
    # Leaving a year out moves its error by n / (n - 1), a textbook identity.
    assert history.events["peak"].calendar_rmse == pytest.approx(n / (n - 1) * np.std(offsets))


def test_a_leap_year_does_not_move_the_mean_date(tmp_path: Path) -> None:
    """The same calendar day every year, leap years among them, leaves no error at all."""
    same = {year: dt.date(year, 7, 12) for year in PAST}
    skill = only(season(tmp_path, flights(same))).events["peak"]
    assert any(year % 4 == 0 for year in PAST)
    assert skill.calendar_rmse == pytest.approx(0.0, abs=1e-9)


def test_errors_worked_by_hand() -> None:
    """Three years with 10, 10 and 20 degree-days a day; flights on days 30, 36 and 18.

    Dates: the others' means are 27, 24 and 33, so the errors are -3, -12 and +15. Heat at the
    flights: 300, 360, 360; the others' means 360, 330, 330 are reached on days 36, 33 and 16.5,
    so the errors are +6, -3 and -1.5.
    """
    assert EARWORM.heat is not None
    days = {1: 30.0, 2: 36.0, 3: 18.0}
    rates = {1: 10.0, 2: 10.0, 3: 20.0}
    sums = {y: HeatSums(EARWORM.heat, np.arange(101.0)[None] * rate) for y, rate in rates.items()}
    assert calendar_errors(days) == pytest.approx({1: -3.0, 2: -12.0, 3: 15.0})
    heat = {year: days[year] * rates[year] for year in days}
    assert heat_errors(days, heat, sums) == pytest.approx({1: 6.0, 2: -3.0, 3: -1.5})
    skill = event_skill("peak", days, sums, fewest=3, no_heat=None, half_known=HALF_KNOWN)
    assert skill.calendar_rmse == pytest.approx(np.sqrt((9 + 144 + 225) / 3))
    assert skill.heat_rmse == pytest.approx(np.sqrt((36 + 9 + 2.25) / 3))
    assert skill.better == "heat"


def test_a_share_worked_by_hand() -> None:
    """Unrelated errors of 2 and 1 days: inverse variances give heat 4/5, four years make it 2/3.

    With half of the weight known, the ratio of variances, 4, counts as its root, 2. An error that
    both share says nothing for either.
    """
    date = dict(enumerate([2.0, -2.0, 2.0, -2.0]))
    heat = dict(enumerate([1.0, 1.0, -1.0, -1.0]))
    assert heat_share(date, heat, half_known=0.0) == pytest.approx(4 / 5)
    assert heat_share(date, heat, half_known=4.0) == pytest.approx(2 / 3)
    assert heat_share(heat, date, half_known=4.0) == pytest.approx(1 / 3)
    nothing = dict.fromkeys(range(4), 0.0)
    assert heat_share(nothing, nothing, half_known=4.0) == 0.5
    assert heat_share(date, nothing, half_known=4.0) == 1.0
    shared = {year: error + 5.0 * heat[year] for year, error in date.items()}
    assert heat_share(shared, {y: 5.0 * e for y, e in heat.items()}, half_known=4.0) == 1.0


@pytest.mark.parametrize(
    ("truth", "years", "date", "heat", "both"),
    [
        ("heat", 5, 9.7, 5.5, 6.2),
        ("heat", 12, 9.5, 5.1, 5.4),
        ("half", 5, 6.7, 6.8, 5.9),
        ("half", 12, 6.6, 6.1, 5.3),
        ("date", 5, 5.4, 9.8, 6.0),
        ("date", 12, 5.1, 8.9, 5.3),
    ],
)
def test_both_together_are_never_much_worse_than_the_better(
    truth: str, years: int, date: float, heat: float, both: float
) -> None:
    """Mean absolute errors over left-out years of 150 invented traps, each with its own weather.

    A flight follows heat, the calendar or half and half of each, and is off by 6 days (one sd).
    Both together are less than a day worse than the rule that made the flights, which nobody knows
    beforehand (a third of a day with 12 years), and better than each where both play in. Choosing
    the rule that was better in the other years gives 6.1, 5.2, 6.8, 6.3, 5.9 and 5.3.
    """
    found = _simulated(truth, years)
    assert found == pytest.approx({"date": date, "heat": heat, "both": both}, abs=0.15)
    assert found["both"] < min(found["date"], found["heat"]) + (0.8 if years < 8 else 0.4)
    assert found["both"] < max(found["date"], found["heat"])


def _simulated(truth: str, years: int) -> dict[str, float]:
    """Mean absolute error in days of the mean date, of heat, and of both."""
    assert EARWORM.heat is not None
    random = np.random.default_rng(37)
    off: dict[str, list[float]] = {"date": [], "heat": [], "both": []}
    for trap in range(150):
        low, high = invented_years(
            mean_c=15.0, swing_c=11.0, range_c=11.0, seed=trap, members=years
        )
        warmer = random.normal(0.0, 1.2, (years, 1))
        since = slice(59, 304)
        heat = heat_sums((low + warmer)[:, since], (high + warmer)[:, since], model=EARWORM.heat)
        reached = event_time(heat, np.zeros(years), model=EARWORM.heat, need_c=700.0)
        follows = {"heat": 1.0, "half": 0.5, "date": 0.0}[truth]
        flight = follows * reached + (1.0 - follows) * reached.mean()
        flight += random.normal(0.0, 6.0, years)
        sums = {y: HeatSums(heat.model, heat.sums[y : y + 1]) for y in range(years)}
        days = dict(enumerate(flight.tolist()))
        skill = event_skill("peak", days, sums, fewest=4, no_heat=None, half_known=HALF_KNOWN)
        for name, errors in (("date", skill.calendar_errors), ("heat", skill.heat_errors),
                             ("both", skill.both_errors)):  # fmt: skip
            off[name] += errors.values()
    return {name: float(np.abs(errors).mean()) for name, errors in off.items()}


def test_a_heat_that_a_year_never_reaches_is_late_by_what_is_left() -> None:
    """A cold year of 100 days in which the others' mean is not reached: as on its last day."""
    assert EARWORM.heat is not None
    sums = {
        year: HeatSums(EARWORM.heat, np.arange(101.0)[None] * rate)
        for year, rate in {1: 10.0, 2: 10.0, 3: 1.0}.items()
    }
    days = dict.fromkeys(sums, 50.0)
    errors = heat_errors(days, {1: 500.0, 2: 500.0, 3: 50.0}, sums)
    assert errors[3] == 50.0


DAYS = st.dictionaries(st.integers(2000, 2025), st.floats(20, 200), min_size=4, max_size=12)


@given(days=DAYS, shift=st.floats(-15, 15))
def test_a_shift_of_all_flights_changes_no_error_of_the_date(
    days: dict[int, float], shift: float
) -> None:
    """The mean date knows no date: only the scatter counts."""
    later = {year: day + shift for year, day in days.items()}
    assert calendar_errors(later) == pytest.approx(calendar_errors(days), abs=1e-9)


@given(days=DAYS, rate=st.floats(1, 30))
def test_with_the_same_heat_every_day_both_rules_are_one(
    days: dict[int, float], rate: float
) -> None:
    """Where every year has the same steady heat it is a calendar; a tie goes to the date."""
    assert EARWORM.heat is not None
    sums = {year: HeatSums(EARWORM.heat, np.arange(246.0)[None] * rate) for year in days}
    skill = event_skill("peak", days, sums, fewest=4, no_heat=None, half_known=HALF_KNOWN)
    assert skill.heat_errors == pytest.approx(skill.calendar_errors, abs=1e-6)
    assert skill.better_by_days == pytest.approx(0.0, abs=1e-6)


@given(days=DAYS, seed=st.randoms(use_true_random=False))
def test_the_order_of_years_does_not_matter(days: dict[int, float], seed: Any) -> None:
    """A history told backwards has the same errors, in the order of years."""
    shuffled = list(days)
    seed.shuffle(shuffled)
    one = event_skill("peak", days, {}, fewest=4, no_heat="no station", half_known=HALF_KNOWN)
    other = event_skill(
        "peak",
        {y: days[y] for y in shuffled},
        {},
        fewest=4,
        no_heat="no station",
        half_known=HALF_KNOWN,
    )
    assert one == other
    assert list(other.days) == sorted(days)


# --- which years and which weather count ------------------------------------------------------


def test_too_few_years_are_untested(tmp_path: Path) -> None:
    """One year short of those declared there is no rule, no forecast, and the reason is told."""
    few = dict(list(BY_DATE.items())[-(FEWEST - 1) :])
    history = only(season(tmp_path, flights(few)))
    for event in EVENTS:
        skill = history.events[event]
        assert (skill.better, skill.calendar_errors, skill.heat_errors) == (None, {}, {})
        assert skill.untested == TooFewYears("event", FEWEST - 1, FEWEST)
        assert history.foretell(event, YEAR) is None
    enough = dict(list(BY_DATE.items())[-FEWEST:])
    assert only(season(tmp_path / "b", flights(enough))).events["peak"].better is not None


def test_the_season_itself_and_what_lies_ahead_do_not_count(tmp_path: Path) -> None:
    """A forecast never learns from its own flight, and as of a past year not from later ones."""
    with_own = flights({**BY_DATE, YEAR: day(9, 30)})
    folder = season(tmp_path, with_own)
    assert only(folder, day(12, 31)).years == tuple(PAST)
    past = only(folder, dt.date(2023, 7, 1))
    assert past.years == tuple(year for year in PAST if year < 2023)
    assert set(past.events["peak"].days) == set(past.years)


def test_both_rules_are_tried_on_the_same_years(tmp_path: Path) -> None:
    """A year whose record has a hole too long to bridge counts for neither error.

    The mean date that is forecast still rests on all years; a hole before spring is no matter,
    nor is one that was bridged.
    """
    holes = (
        (dt.date(2018, 5, 1), dt.date(2018, 5, 20)),
        (dt.date(2019, 1, 5), dt.date(2019, 2, 5)),
        (dt.date(2020, 6, 1), dt.date(2020, 6, 2)),
    )
    folder = season(tmp_path, flights(BY_DATE), stations=[replace(STATION, holes=holes)])
    skill = only(folder).events["peak"]
    assert skill.years == tuple(skill.heat_errors) == tuple(y for y in PAST if y != 2018)
    assert set(skill.days) == set(PAST)
    strict = season(
        tmp_path / "strict",
        flights(BY_DATE),
        stations=[replace(STATION, holes=holes)],
        weather='gap_policy = "refuse"',
    )
    assert only(strict).events["peak"].years == tuple(y for y in PAST if y not in (2018, 2020))


def test_with_too_little_whole_weather_only_the_date_is_tried(tmp_path: Path) -> None:
    """All years of catches then count for the date, and the reason is told."""
    holes = tuple((dt.date(year, 5, 1), dt.date(year, 5, 20)) for year in range(2016, 2023))
    history = only(season(tmp_path, flights(BY_DATE), stations=[replace(STATION, holes=holes)]))
    skill = history.events["peak"]
    assert (skill.no_heat, skill.heat_rmse, skill.better) == ("no station", None, "calendar")
    assert skill.years == tuple(PAST)
    assert skill.better_by_days is None
    assert no_heat_text("no station") in trial_text(Trial(history, "peak"))


def test_the_nearest_station_with_enough_years_speaks_for_the_trap(tmp_path: Path) -> None:
    """A nearer one that is too young is passed over; one out of reach is never taken."""
    young = replace(STATION, station="YOUNG", latitude=36.05, first=dt.date(2023, 1, 1))
    near = replace(STATION, station="NEAR", latitude=36.1)
    lines = [f"{line},36.06,-89.0" for line in flights(BY_DATE, trap="Barn")]
    header = "trap,date,pest,catch,latitude,longitude"
    folder = season(tmp_path / "a", lines, stations=[STATION, young, near], header=header)
    assert only(folder).weather == "NEAR"
    away = [line.replace("36.06", "44.0") for line in lines]
    folder = season(tmp_path / "b", away, stations=[STATION, near], header=header)
    history = only(folder)
    assert history.weather is None
    assert history.events["peak"].no_heat == "no station"


def test_a_trap_of_unknown_place_has_the_date_alone(tmp_path: Path) -> None:
    """Without a place there is no weather near it, and the person is told what to add."""
    history = only(season(tmp_path, flights(BY_HEAT, trap="Somewhere")))
    assert history.place is None
    skill = history.events["peak"]
    assert (skill.better, skill.no_heat) == ("calendar", "no place")


def test_a_pest_without_a_heat_model_has_the_date_alone(tmp_path: Path) -> None:
    """Nobody else's thresholds are borrowed for it."""
    history = only(season(tmp_path, flights(BY_HEAT, pest=UNTIMED.id)))
    skill = history.events["peak"]
    assert (history.pest, skill.better, skill.no_heat) == (UNTIMED, "calendar", "no model")
    assert isinstance(history.foretell("peak", YEAR), DayForetold)


def test_a_flight_before_spring_has_no_heat(tmp_path: Path) -> None:
    """A catch in January is earlier than any heat that is summed: it is not a flight at zero."""
    peaks = {**BY_DATE, 2020: dt.date(2020, 1, 20)}
    skill = only(season(tmp_path, flights(peaks))).events["peak"]
    assert 2020 in skill.days
    assert 2020 not in skill.years


def test_traps_and_pests_are_kept_apart(tmp_path: Path) -> None:
    """Each trap and pest has its own history, whatever the order of lines; sightings are none."""
    lines = [*flights(BY_HEAT), *flights(BY_DATE, trap="Barn"), *flights(BY_DATE, pest=UNTIMED.id)]
    folder = season(tmp_path / "a", lines)
    found = histories(folder)
    assert list(found) == sorted(
        [("Barn", "corn-earworm"), ("S1", "corn-earworm"), ("S1", UNTIMED.id)]
    )
    alone = only(season(tmp_path / "b", flights(BY_HEAT)))
    assert found["S1", "corn-earworm"] == alone
    assert histories(season(tmp_path / "c", lines[::-1])) == found
    seen = [f"S1,{year}-07-01,earworm,,first eggs" for year in PAST]
    folder = season(tmp_path / "d", seen, header="trap,date,pest,catch,what")
    assert histories(folder) == {}


def test_a_first_check_that_caught_some_is_told(tmp_path: Path) -> None:
    """In such a year the first catch may have been missed."""
    lines = [line for line in flights(BY_DATE) if not line.endswith(",1")]
    empty = [f"S1,{year}-06-01,earworm,0" for year in PAST if year != 2021]
    assert only(season(tmp_path, [*lines, *empty])).open_start == (2021,)


@pytest.mark.parametrize("peaks", [BY_HEAT, BY_DATE])
def test_a_sentence_says_how_far_off_each_was_and_what_heat_counts_for(
    peaks: dict[int, dt.date], tmp_path: Path
) -> None:
    """The forecast can tell all errors, the years behind them, and heat's share."""
    history = only(season(tmp_path, flights(peaks)))
    skill = history.events["middle"]
    text = trial_text(Trial(history, "middle"))
    assert f"both are used, heat for {skill.heat_share:.0%}" in text
    assert f"both together by {skill.both_rmse:.1f}" in text
    assert f"by {skill.calendar_rmse:.1f} days" in text
    assert f"by {skill.heat_rmse:.1f}" in text
    assert f"{len(PAST)} past years at S1" in text


# --- the command ------------------------------------------------------------------------------

COMMAND = ("--pests", "--as-of", str(AS_OF))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three histories: one that heat made, one that the date made, one too short."""
    few = dict(list(BY_DATE.items())[-2:])
    lines = [
        *flights(BY_HEAT),
        *flights(BY_DATE, pest=KNOWLEDGE.pests["japanese-beetle"].id),
        *flights(few, trap="Barn [bold]"),
    ]
    return season(tmp_path_factory.mktemp("season"), lines)


def document(folder: Path) -> dict[str, Any]:
    """What the command prints as JSON."""
    ran = run_command("skill", folder, *COMMAND, "--format", "json")
    assert (ran.code, ran.err) == (0, "")
    found: dict[str, Any] = json.loads(ran.out)
    return found


def test_json_holds_what_was_computed(folder: Path) -> None:
    """Errors, the better rule and what it says of the season, by trap, pest and event."""
    printed = document(folder)
    assert (printed["as_of"], printed["season"]) == (str(AS_OF), YEAR)
    computed = histories(folder)
    assert [(t["station"], t["pest"]) for t in printed["traps"]] == list(computed)
    for trap in printed["traps"]:
        history = computed[trap["station"], trap["pest"]]
        for event in trap["events"]:
            check_event(event, history, event["event"])


def check_event(printed: dict[str, Any], history: TrapHistory, event: Event) -> None:
    """One event of the document against its history."""
    skill = history.events[event]
    words = {None: None, "calendar": "date", "heat": "heat"}
    assert printed["better"] == words[skill.better]
    for key, value in (
        ("date_rmse_days", skill.calendar_rmse),
        ("heat_rmse_days", skill.heat_rmse),
        ("better_by_days", skill.better_by_days),
        ("both_rmse_days", skill.both_rmse),
        ("heat_share", None if skill.both_rmse is None else skill.heat_share),
    ):
        assert printed[key] == (None if value is None else round(value, 2))
    assert [error["year"] for error in printed["errors"]] == list(skill.years)
    foretold = history.foretell(event, YEAR)
    if foretold is None:
        assert set(printed["foretold"].values()) == {None}
        return
    date = foretold.date if isinstance(foretold, BothForetold) else foretold
    assert printed["foretold"]["date"] == str(day(1, 1) + dt.timedelta(int(date.time)))
    assert printed["foretold"]["sd_days"] == round(foretold.sd_days, 2)
    heat = foretold.heat if isinstance(foretold, BothForetold) else None
    need_c = None if heat is None else round(heat.need_c, 1)
    assert printed["foretold"]["degree_days_c"] == need_c
    assert printed["foretold"]["heat_from"] == (None if heat is None else str(spring(YEAR)))


def test_csv_says_the_same_as_json(folder: Path) -> None:
    """One row per trap, pest and event, with the same numbers."""
    ran = run_command("skill", folder, *COMMAND, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    events = [(trap, event) for trap in document(folder)["traps"] for event in trap["events"]]
    assert len(rows) == len(events)
    for row, (trap, event) in zip(rows, events, strict=True):
        assert (row["station"], row["pest"]) == (trap["station"], trap["pest"])
        assert row["event"] == event["event"]
        for key in ("date_rmse_days", "heat_rmse_days", "both_rmse_days", "better"):
            assert row[key] == ("" if event[key] is None else str(event[key]))
        assert row["foretold_date"] == (event["foretold"]["date"] or "")
        assert row["years"] == "; ".join(str(error["year"]) for error in event["errors"])


def test_the_screen_shows_both_errors_and_what_is_untested(folder: Path) -> None:
    """A table and bars for each history; a short one says that it is untested; 80 columns hold.

    A trap's name is printed as typed, whatever it looks like.
    """
    wide = run_command("skill", folder, *COMMAND, columns=WIDE).out
    for text in ("corn earworm at S1, 10 past years", "date RMSE", "heat RMSE", "both", "#"):
        assert text in wide
    assert "corn earworm at Barn [bold], 2 past years" in wide
    assert "Untested here (first, sustained, middle, peak): 2 past years" in wide
    narrow = run_command("skill", folder, *COMMAND).out
    assert max(map(len, narrow.splitlines())) <= 80


def test_bars_are_as_long_as_their_errors(folder: Path) -> None:
    """One mark for half a day."""
    text = run_command("skill", folder, *COMMAND, columns=WIDE).out
    bars = [line.split() for line in text.splitlines() if " #" in line]
    assert bars
    for *_, marks, error in bars:
        assert abs(len(marks) - min(40.0, float(error) / 0.5)) <= 0.6


def test_without_past_catches_the_timing_is_untested(tmp_path: Path) -> None:
    """The command succeeds, says so and what to put where; JSON has an empty list."""
    folder = build_season(tmp_path)
    ran = run_command("skill", folder, *COMMAND, columns=WIDE)
    assert ran.code == 0
    assert "traps.csv" in ran.out
    assert document(folder)["traps"] == []


def test_without_temperatures_the_dates_are_still_tried(tmp_path: Path) -> None:
    """A folder without fields and weather can still tell how far the mean date was off."""
    folder = build_season(tmp_path, fields=[], stations=[])
    lines = [f"{line},36.0,-89.0" for line in flights(BY_DATE)]
    text = "\n".join(["trap,date,pest,catch,latitude,longitude", *lines, ""])
    (folder / "traps.csv").write_text(text, "utf-8")
    events = document(folder)["traps"][0]["events"]
    assert [event["better"] for event in events] == ["date"] * 4
    assert {event["no_heat"] for event in events} == {no_heat_text("no temperatures")}


def test_without_temperatures_fields_are_refused_as_everywhere(tmp_path: Path) -> None:
    """The sentence of every other command, and not that nobody placed the trap."""
    folder = season(tmp_path, flights(BY_DATE))
    shutil.rmtree(folder / "weather")
    ran, plan = (run_command(*asked, "--as-of", str(AS_OF)) for asked in
                 (("skill", folder, "--pests"), ("plan", folder)))  # fmt: skip
    assert ran.code == plan.code == 2
    assert ran.err == plan.err
    assert "no station has temperatures" in " ".join(ran.err.split())


def test_a_trap_named_after_a_station_without_a_record_has_its_place(tmp_path: Path) -> None:
    """Its coordinates are known all the same, and the heat is that of another station."""
    silent = replace(STATION, station="S0", first=AS_OF + dt.timedelta(1), latitude=36.1)
    history = only(season(tmp_path, flights(BY_HEAT, trap="S0"), stations=[STATION, silent]))
    assert history.place == (36.1, STATION.longitude)
    assert history.weather == STATION.station


def test_a_flight_outside_the_days_summed_is_not_blamed_on_the_weather(tmp_path: Path) -> None:
    """Whole weather in every year, and catches in January: the reason is where they lie."""
    winter = {year: dt.date(year, 1, 20) for year in PAST}
    why = only(season(tmp_path, flights(winter))).events["peak"].no_heat
    assert why == TooFewYears("event while heat is summed", 0, FEWEST, len(PAST))


def test_errors_near_zero_have_no_sign(tmp_path: Path) -> None:
    """A thousandth of a day early is 0.0 in JSON, never -0.0."""
    exact = {year: dt.date(year, 7, 12) for year in PAST}
    folder = season(tmp_path, flights(exact))
    errors = [-0.001, -0.0, 0.001]
    assert [str(plain(error, 2)) for error in errors] == ["0.0"] * 3
    assert "-0.0" not in run_command("skill", folder, *COMMAND, "--format", "json").out.split()


def test_the_command_writes_nothing_and_repeats_itself(folder: Path) -> None:
    """Same input, same bytes out, and the folder stays as it was."""
    before = snapshot(folder)
    first, second = (run_command("skill", folder, *COMMAND).out for _ in range(2))
    assert first == second
    assert snapshot(folder) == before


def test_faulty_catches_are_refused_with_their_place(tmp_path: Path) -> None:
    """Exit code 2 and one sentence a fault."""
    folder = season(tmp_path, ["S1,2020-07-01,wolf,1", "S1,2020-07-02,earworm,-1"])
    ran = run_command("skill", folder, *COMMAND)
    assert ran.code == 2
    assert "traps.csv line 2, pest" in ran.err
    assert "traps.csv line 3, catch" in ran.err
