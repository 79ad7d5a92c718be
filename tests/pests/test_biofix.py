"""From where a pest's heat is counted, and what its window rests on where nothing can be."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from season_builder import KM_PER_DEGREE, FieldLine, StationFile, build_season, day, north

from stagecast.forecast.forecast import forecast_season
from stagecast.forecast.load import load_season, read_folder
from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.pest import Pest
from stagecast.pests.clock import AtTrap, NoBiofix, NoModel, NotTimed, PestClock, PestTiming
from stagecast.pests.traps.history import CatchForetold, season_histories
from stagecast.pests.traps.near import OutOfReach
from stagecast.pests.windows import (
    Caught,
    NoneCaught,
    NotByHeat,
    ScoutingWindow,
    TimedByHeat,
    pest_windows,
)
from stagecast.phenology.pests import cohort_needs
from stagecast.visits.heat import events_of
from stagecast.visits.season_day import SeasonDay
from stagecast.words.windows import window_text

AS_OF = day(7, 20)
OWN = {"source": "own", "tag": "OWN"}
TRAP = [{"kind": "trap catch", "catch": "sustained", **OWN}]
EGGS = [{"kind": "seen", "what": "eggs", **OWN}]
JANUARY = [{"kind": "calendar day", "month": 1, "day": 1, **OWN}]
AT_R1 = [{"kind": "crop stage", "stage": "R1", **OWN}]
HERE, FAR = StationFile(), StationFile("KEN99", latitude=37.9)


def moth(biofix: list[dict[str, object]] | None, **more: object) -> Pest:
    """An invented pest of beans at R1 to R6, whose worms count 150 C d after the biofix."""
    heat = {"lower_c": 12.0, "method": "simple average", "cutoff": "none", "method_tag": "OWN",
            "biofix": biofix, **OWN}  # fmt: skip
    worms = {"id": "worms", "title": "worms", "need_c": 150.0, **OWN}
    host = {"first": "R1", "last": "R6", **OWN}
    activity = {"id": "on-pods", "title": "on pods", "host": host, "rank": 1, "look_for": "worms",
                "sample": "sweep-net", "opens": "worms" if biofix else None}  # fmt: skip
    made = {
        "id": "corn-earworm", "name": "made-up moth", "short": "moth", "scientific": ["Nulla x"],
        "presence": {"kind": "arrives", "text": "from elsewhere", **OWN}, "damage": "none",
        "host": host, "marks": ["none"], "activities": [activity],
        "heat": heat if biofix else None, "events": [worms] if biofix else [],
        "not_timed": "" if biofix else "nobody knows", **more,
    }  # fmt: skip
    return Pest.model_validate_json(json.dumps(made))


def knowing(pest: Pest) -> Knowledge:
    """Knowledge whose only pest is this one."""
    return load().model_copy(update={"pests": {pest.id: pest}})


def clock_of(
    folder: Path, pest: Pest, catches: str = "", *, as_of: dt.date = AS_OF, reach: float = 80.0
) -> PestClock:
    """A season of one field with these lines of traps.csv, each of the invented pest."""
    build_season(folder, fields=[FieldLine()], stations=(HERE, FAR))
    if catches:
        lines = "trap,date,pest,catch,what\n" + catches
        (folder / "traps.csv").write_text(lines, encoding="utf-8")
    knowledge = knowing(pest)
    traps = knowledge.traps
    far = traps.reach.model_copy(update={"value": reach})
    knowledge = knowledge.model_copy(update={"traps": traps.model_copy(update={"reach": far})})
    return PestClock(load_season(folder, as_of=as_of, shipped=knowledge))


def timed(clock: PestClock) -> PestTiming | NotTimed:
    """How the pest is timed in the only field."""
    (forecast,) = forecast_season(clock.loaded)
    (pest,) = clock.knowledge.pests.values()
    return clock.timing(forecast, pest)


def window_of(clock: PestClock) -> ScoutingWindow:
    """The only window of the only field."""
    (forecast,) = forecast_season(clock.loaded)
    (window,) = pest_windows(forecast, clock)
    return window


def start_day(timing: PestTiming | NotTimed) -> dt.date:
    """The day of a biofix that is the same in every member."""
    assert isinstance(timing, PestTiming)
    (time,) = set(timing.start.times.tolist())
    return day(1, 1) + dt.timedelta(days=int(time))


CAUGHT = "KEN01,2026-06-20,corn-earworm,0,\nKEN01,2026-06-24,corn-earworm,3,\n"
FLYING = CAUGHT + "KEN01,2026-06-28,corn-earworm,9,\nKEN01,2026-07-02,corn-earworm,4,\n"


# --- the biofix ----------------------------------------------------------------------------------


def test_a_sustained_catch_starts_the_heat(tmp_path: Path) -> None:
    """Two checks in a row with moths: heat counts from the first of them, at the trap's name."""
    name = HERE.station
    timing = timed(clock_of(tmp_path, moth(TRAP), FLYING.replace("KEN01", name)))
    assert start_day(timing) == day(6, 24)
    assert isinstance(timing, PestTiming)
    assert isinstance(timing.start.since, AtTrap)
    assert (timing.start.since.what, timing.start.since.near.name) == ("sustained", name)


def test_one_catch_is_not_sustained(tmp_path: Path) -> None:
    """A single check with moths starts nothing: the pest is not timed, and the reason says why."""
    timing = timed(clock_of(tmp_path, moth(TRAP), CAUGHT.replace("KEN01", HERE.station)))
    assert isinstance(timing, NoBiofix)
    assert timing.far is None


def test_nothing_is_invented_without_catches(tmp_path: Path) -> None:
    """No traps at all: no date from heat, and the window is that of the host stages."""
    clock = clock_of(tmp_path, moth(TRAP))
    assert isinstance(timed(clock), NotTimed)
    window = window_of(clock)
    (forecast,) = forecast_season(clock.loaded)
    assert window.timing == "host stages"
    assert window.opens == forecast.stages["R1"]
    assert isinstance(window.why, NotByHeat)


def test_later_catches_take_no_part(tmp_path: Path) -> None:
    """As of the day before the second catch there is no sustained catch yet."""
    catches = FLYING.replace("KEN01", HERE.station)
    before = clock_of(tmp_path / "a", moth(TRAP), catches, as_of=day(6, 27))
    after = clock_of(tmp_path / "b", moth(TRAP), catches, as_of=day(6, 28))
    assert isinstance(timed(before), NotTimed)
    assert start_day(timed(after)) == day(6, 24)


def test_a_trap_too_far_away_says_nothing(tmp_path: Path) -> None:
    """The same catches at a station beyond reach start nothing; within reach they do."""
    catches = FLYING.replace("KEN01", FAR.station)
    assert isinstance(timed(clock_of(tmp_path / "a", moth(TRAP), catches)), NotTimed)
    near = clock_of(tmp_path / "b", moth(TRAP), catches, reach=1000.0)
    assert start_day(timed(near)) == day(6, 24)


def test_the_nearest_trap_speaks_first(tmp_path: Path) -> None:
    """Of two traps within reach the nearer one's day is taken, though it comes later."""
    later = FLYING.replace("KEN01", HERE.station).replace("2026-06", "2026-05")
    catches = FLYING.replace("KEN01", HERE.station) + later.replace(HERE.station, FAR.station)
    assert start_day(timed(clock_of(tmp_path, moth(TRAP), catches, reach=1000.0))) == day(6, 24)


def test_the_first_biofix_with_a_day_is_taken(tmp_path: Path) -> None:
    """Eggs seen count where no trap caught; a calendar day comes last where it is named last."""
    eggs = f"{HERE.station},2026-06-10,corn-earworm,,first eggs\n"
    pest = moth([*TRAP, *EGGS, *JANUARY])
    assert start_day(timed(clock_of(tmp_path / "a", pest, eggs))) == day(6, 10)
    assert start_day(timed(clock_of(tmp_path / "b", pest))) == day(1, 1)
    both = FLYING.replace("KEN01", HERE.station) + eggs
    assert start_day(timed(clock_of(tmp_path / "c", pest, both))) == day(6, 24)


def test_a_crop_stage_starts_the_heat_in_every_member(tmp_path: Path) -> None:
    """R1 differs between members, and so does the biofix tied to it."""
    clock = clock_of(tmp_path, moth(AT_R1), as_of=day(5, 20))
    timing = timed(clock)
    (forecast,) = forecast_season(clock.loaded)
    assert isinstance(timing, PestTiming)
    np.testing.assert_array_equal(timing.start.times, forecast.stage_time("R1"))
    reached = timing.reached(150.0)
    assert (reached > timing.start.times).all()


# --- past years ----------------------------------------------------------------------------------


def flights(name: str, *, days: list[int], noise: str = "") -> str:
    """A flight a year from 2020 on: an empty check, then two with moths from this day of June."""
    lines = []
    for year, first in zip(range(2020, 2026), days, strict=True):
        for number, count in ((first - 7, 0), (first, 4), (first + 4, 9)):
            date = dt.date(year, 6, 1) + dt.timedelta(days=number - 1)
            lines.append(f"{name},{date},corn-earworm,{count},\n")
    return "".join(lines) + noise


def clock_with_past(folder: Path, pest: Pest, catches: str, as_of: dt.date) -> PestClock:
    """As ``clock_of``, with what past years' catches say."""
    clock = clock_of(folder, pest, catches, as_of=as_of)
    read = read_folder(folder, shipped=clock.knowledge)
    past = season_histories(read, as_of=as_of)
    return PestClock(clock.loaded, past)


def test_past_years_stand_for_a_catch_to_come(tmp_path: Path) -> None:
    """With six years of flights and none yet this year, the biofix is a range round their mean."""
    catches = flights(HERE.station, days=[18, 20, 22, 24, 19, 23])
    timing = timed(clock_with_past(tmp_path, moth(TRAP), catches, day(5, 20)))
    assert isinstance(timing, PestTiming)
    assert isinstance(timing.start.since, CatchForetold)
    low, middle, high = np.quantile(timing.start.times, (0.1, 0.5, 0.9))
    mean = (day(6, 21) - day(1, 1)).days + 0.5
    assert abs(middle - mean) < 2.0
    assert high - low > 2.0


def test_what_was_caught_this_year_beats_past_years(tmp_path: Path) -> None:
    """A sustained catch of this season is the biofix, whatever other years say."""
    catches = flights(HERE.station, days=[18, 20, 22, 24, 19, 23])
    now = FLYING.replace("KEN01", HERE.station)
    timing = timed(clock_with_past(tmp_path, moth(TRAP), catches + now, AS_OF))
    assert start_day(timing) == day(6, 24)


def test_a_flight_is_not_expected_before_the_last_empty_check(tmp_path: Path) -> None:
    """Traps still empty on 20 June: the flight comes after it in every member, on many days."""
    catches = flights(HERE.station, days=[18, 20, 22, 24, 19, 23])
    empty = f"{HERE.station},2026-06-20,corn-earworm,0,\n"
    timing = timed(clock_with_past(tmp_path, moth(TRAP), catches + empty, day(6, 21)))
    assert isinstance(timing, PestTiming)
    assert timing.start.times.min() > (day(6, 20) - day(1, 1)).days
    assert len(set(np.floor(timing.start.times).tolist())) >= 3


def test_a_flight_long_overdue_is_not_due_tomorrow(tmp_path: Path) -> None:
    """Traps empty three weeks after any past flight: past years say nothing, so no date at all."""
    catches = flights(HERE.station, days=[18, 20, 22, 24, 19, 23])
    empty = f"{HERE.station},2026-07-15,corn-earworm,0,\n"
    timing = timed(clock_with_past(tmp_path, moth(TRAP), catches + empty, day(7, 16)))
    assert isinstance(timing, NotTimed)


def test_a_trap_of_which_nobody_says_where_times_no_field(tmp_path: Path) -> None:
    """No coordinates and no weather station of that name: doubted, and heat does not start."""
    clock = clock_of(tmp_path, moth(TRAP), FLYING.replace("KEN01", "NOWHERE"))
    assert isinstance(timed(clock), NotTimed)
    (doubt,) = SeasonDay.open(tmp_path, as_of=AS_OF).doubts
    assert doubt.found == "NOWHERE"
    assert "nobody says where" in doubt.message


def test_very_many_traps_without_a_place_are_told_in_few_sentences(tmp_path: Path) -> None:
    """Three hundred names nobody placed: a few in full, the rest counted."""
    lines = "".join(f"Barn {n} of {n}x,2026-06-01,corn-earworm,1,\n" for n in range(300))
    clock_of(tmp_path, moth(TRAP), lines)
    doubts = SeasonDay.open(tmp_path, as_of=AS_OF).doubts
    assert len(doubts) < 10
    assert "295 more" in doubts[-1].message


def test_catches_out_of_reach_are_not_called_missing(tmp_path: Path) -> None:
    """The reason names the nearest trap, how far it is and how far a trap speaks."""
    timing = timed(clock_of(tmp_path, moth(TRAP), FLYING.replace("KEN01", FAR.station)))
    assert isinstance(timing, NoBiofix)
    km = (FAR.latitude - HERE.latitude) * KM_PER_DEGREE
    assert timing.far == OutOfReach("KEN99", pytest.approx(km, rel=0.01), 80.0)
    old = FLYING.replace("KEN01", FAR.station).replace("2026", "2025")
    timing = timed(clock_of(tmp_path / "old", moth(TRAP), old))
    assert isinstance(timing, NoBiofix)
    assert timing.far is None


def test_too_few_past_years_foretell_nothing(tmp_path: Path) -> None:
    """Three years of flights are too few to say anything of this one."""
    catches = "".join(flights(HERE.station, days=[18, 20, 22, 24, 19, 23]).splitlines(True)[:9])
    timing = timed(clock_with_past(tmp_path, moth(TRAP), catches, day(5, 20)))
    assert isinstance(timing, NotTimed)


def test_past_years_open_the_window_of_a_pest_without_a_model(tmp_path: Path) -> None:
    """The mean date of the first catch opens the window, and heat is said not to be tried."""
    catches = flights(HERE.station, days=[48, 50, 52, 54, 49, 53])
    window = window_of(clock_with_past(tmp_path, moth(None), catches, day(6, 1)))
    assert window.timing == "catch"
    assert window.opens.p50 is not None
    assert abs((window.opens.p50 - day(7, 21)).days) <= 3
    assert isinstance(window.why, NotByHeat)
    assert isinstance(window.why.cause, NoModel)
    assert isinstance(window.why.evidence[0], CatchForetold)


def test_timing_without_past_catches_is_called_untested(tmp_path: Path) -> None:
    """Heat that nobody held against catches near the field is said to be untested there."""
    window = window_of(clock_of(tmp_path, moth(JANUARY)))
    assert isinstance(window.why, TimedByHeat)
    assert not window.why.tested
    assert "untested here" in window_text(window.why, "us")


def test_the_rule_that_did_better_is_told(tmp_path: Path) -> None:
    """With past flights the sentence gives both errors, how much better one was, and the years."""
    catches = flights(HERE.station, days=[18, 20, 22, 24, 19, 23])
    clock = clock_with_past(tmp_path, moth([*TRAP, *JANUARY]), catches, day(5, 20))
    (forecast,) = forecast_season(clock.loaded)
    (pest,) = clock.knowledge.pests.values()
    told = clock.tested(forecast, pest)
    assert told is not None
    assert (told.event, len(told.skill.years)) == ("sustained", 6)
    why = window_of(clock).why
    assert isinstance(why, TimedByHeat)
    assert why.tested


# --- windows without heat ------------------------------------------------------------------------


def test_own_catches_open_the_window_of_a_pest_without_a_model(tmp_path: Path) -> None:
    """Not before the first catch, and the reason names the trap and the day."""
    caught = f"{HERE.station},2026-07-15,corn-earworm,2,\n"
    window = window_of(clock_of(tmp_path, moth(None), caught))
    assert window.timing == "catch"
    assert window.opens.p10 == day(7, 15)
    assert isinstance(window.why, NotByHeat)
    (found,) = window.why.evidence
    assert isinstance(found, Caught)
    assert (found.day, found.trap.name) == (day(7, 15), HERE.station)


def test_empty_traps_are_told_and_open_nothing_later(tmp_path: Path) -> None:
    """A trap that caught nothing is said with its last check; the host stages stand."""
    empty = f"{HERE.station},2026-07-15,corn-earworm,0,\n"
    window = window_of(clock_of(tmp_path, moth(None), empty))
    assert window.timing == "host stages"
    assert isinstance(window.why, NotByHeat)
    (found,) = window.why.evidence
    assert isinstance(found, NoneCaught)
    assert found.last_check == day(7, 15)


@pytest.mark.parametrize("region", ["TN", "MN"])
def test_a_calendar_of_arrival_counts_in_its_region_alone(region: str, tmp_path: Path) -> None:
    """Days on which one state saw the pest come open the window there; it stays, once come."""
    arrival = {"region": region, "first_month": 7, "first_day": 1, "last_month": 7,
               "last_day": 20, **OWN}  # fmt: skip
    clock = clock_of(tmp_path, moth(None, arrivals=[arrival]))
    window = window_of(clock)
    (forecast,) = forecast_season(clock.loaded)
    assert window.closes == forecast.late, "R6.5"
    if region == "TN":
        assert window.timing == "calendar"
        for found, expected in (
            (window.opens.p10, day(7, 2)),
            (window.opens.p50, day(7, 10)),
            (window.opens.p90, day(7, 18)),
        ):
            assert found is not None
            assert abs((found - expected).days) <= 1
    else:
        assert window.timing == "host stages"
        assert window.opens == forecast.stages["R1"]


def test_a_pest_of_other_regions_has_no_window(tmp_path: Path) -> None:
    """Where a pest is not met, nobody is sent to look for it."""
    presence = {"kind": "overwinters", "text": "in the north", "regions": ["MN", "WI"], **OWN}
    clock = clock_of(tmp_path, moth(None, presence=presence))
    (forecast,) = forecast_season(clock.loaded)
    assert pest_windows(forecast, clock) == []


# --- generations ---------------------------------------------------------------------------------


@given(
    need=st.floats(10.0, 1000.0), generation=st.floats(10.0, 1000.0), spread=st.floats(0.0, 0.3),
    z=st.floats(-2.5, 2.5), earlier=st.integers(0, 4),
)  # fmt: skip
def test_later_generations_need_more_and_differ_more(
    need: float, generation: float, spread: float, z: float, earlier: int
) -> None:
    """One more generation adds its heat in the middle, and cohorts lie farther apart in heat."""

    def needs(error: float, before: int) -> float:
        found = cohort_needs(np.array([error]), need_c=need, spread=spread,
                             generation_c=generation, earlier=before)  # fmt: skip
        return float(found[0])

    assert needs(0.0, earlier) == pytest.approx(need + earlier * generation)
    assert needs(0.0, earlier + 1) - needs(0.0, earlier) == pytest.approx(generation)
    assert needs(z, earlier) > 0.0
    apart = [needs(1.0, n) - needs(0.0, n) for n in (earlier, earlier + 1)]
    assert apart[1] >= apart[0] - 1e-9
    share = [apart[i] / needs(0.0, earlier + i) for i in (0, 1)]
    if need >= generation:
        assert share[1] <= share[0] + 1e-9


def test_generations_follow_one_another_with_ranges(tmp_path: Path) -> None:
    """Three generations of an event come in order, the later ones less sure in heat and days."""
    again = {"need_c": 300.0, "most": 3, **OWN}
    clock = clock_of(tmp_path, moth(JANUARY, generation=again), as_of=day(4, 1))
    (forecast,) = forecast_season(clock.loaded)
    timing = timed(clock)
    assert isinstance(timing, PestTiming)
    events = events_of(forecast, timing)
    assert [event.generation for event in events] == [1, 2, 3]
    middles = [event.dates.p50 for event in events]
    assert None not in middles
    assert middles == sorted(set(middles), key=lambda d: d or dt.date.max)
    for dates in (event.dates for event in events):
        assert dates.p10 is not None
        assert dates.p50 is not None
        assert dates.p10 < dates.p50


def test_a_field_north_of_all_reach_still_has_its_crop(tmp_path: Path) -> None:
    """Traps of one field say nothing of another beyond their reach."""
    away = north(FieldLine("F2"), 100.0)
    build_season(tmp_path, fields=[FieldLine(), away], stations=(HERE,))
    text = "trap,date,pest,catch\n" + f"{HERE.station},2026-07-01,corn-earworm,5\n"
    (tmp_path / "traps.csv").write_text(text, encoding="utf-8")
    knowledge = knowing(moth(None))
    clock = PestClock(load_season(tmp_path, as_of=AS_OF, shipped=knowledge))
    timings = {
        f.field.field_id: pest_windows(f, clock)[0].timing for f in forecast_season(clock.loaded)
    }
    assert timings == {"F1": "catch", "F2": "host stages"}
