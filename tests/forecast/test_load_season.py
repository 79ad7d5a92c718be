"""Opening a season folder: every fault told at once, every field given an honest station."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from season_builder import (
    Constant,
    FieldLine,
    StationFile,
    VisitLine,
    build_season,
    day,
    north,
    snapshot,
)

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.forecast.forecast import forecast_season
from stagecast.forecast.load import LoadedSeason, load_season
from stagecast.knowledge import load
from stagecast.season.new import write_new_season
from stagecast.visits.season_day import SeasonDay
from stagecast.weather.records import DayKind
from stagecast.week.week import season_route

AS_OF = day(7, 1)
LIMITS = load().weather
BRIDGED = int(LIMITS.bridge_days)


def loaded(folder: Path, as_of: dt.date = AS_OF) -> LoadedSeason:
    """The season, which has to be free of errors."""
    return load_season(folder, as_of=as_of)


def refused(folder: Path, as_of: dt.date = AS_OF) -> tuple[Problem, ...]:
    """What is said about a season that has to be refused."""
    with pytest.raises(SeasonProblems) as caught:
        load_season(folder, as_of=as_of)
    return caught.value.problems


def doubts(season: LoadedSeason) -> list[str]:
    """The doubts as a person reads them."""
    assert all(problem.doubtful for problem in season.doubts)
    return [problem.sentence() for problem in season.doubts]


def test_a_good_season_has_a_station_for_every_field_and_no_doubt(tmp_path: Path) -> None:
    """The folder that the tests below spoil is itself without fault or doubt."""
    season = loaded(build_season(tmp_path))
    assert doubts(season) == []
    assert season.weather["F1"].match.station.station == "S1"
    assert season.weather["F1"].passed_over == ()


def test_errors_of_all_files_come_in_one_pass(tmp_path: Path) -> None:
    """A fault in each of four files is told in a single refusal."""
    folder = build_season(
        tmp_path,
        fields=(FieldLine(maturity_group="XV"),),
        visits=(VisitLine("F1", day(6, 1), "lots"),),
        units="imperial",
    )
    station = folder / "weather" / "S1.csv"
    station.write_text(station.read_text("utf-8").replace("2018-03-04,", "2018-03-04,warm "))
    places = [problem.file for problem in refused(folder)]
    assert places == ["season.toml", "fields.csv", "visits.csv", "weather/S1.csv"]


def test_weather_errors_are_told_beside_good_settings_and_fields(tmp_path: Path) -> None:
    """A station file that cannot be read and one that is nowhere on the map are both told."""
    folder = build_season(tmp_path)
    (folder / "weather" / "S1.csv").write_text("date,rain\n2026-05-01,3\n")
    (folder / "weather" / "S7.csv").write_text("date,tmin_c,tmax_c\n2026-05-01,3,9\n")
    places = [problem.file for problem in refused(folder)]
    assert places == ["weather/S1.csv", "weather/S7.csv"]


def test_fields_without_a_weather_folder_are_one_problem(tmp_path: Path) -> None:
    """No weather at all is one sentence that names the folder and what to put there."""
    folder = build_season(tmp_path)
    for file in (folder / "weather").iterdir():
        file.unlink()
    (folder / "weather").rmdir()
    (problem,) = refused(folder)
    assert problem.file == "weather/stations.csv"
    assert "STATION.csv" in (problem.next_step or "")


def test_fields_without_any_station_are_one_problem(tmp_path: Path) -> None:
    """A list of stations that is only a header is one sentence about that file."""
    (problem,) = refused(build_season(tmp_path, stations=()))
    assert problem.file == "weather/stations.csv"
    assert "no station" in problem.message


def test_fetched_weather_that_is_not_there_yet_names_the_command(tmp_path: Path) -> None:
    """A season that fetches its weather, and has not, says how to do it."""
    folder = build_season(tmp_path, weather='source = "meteostat"')
    (problem,) = refused(folder)
    assert "stagecast weather" in (problem.next_step or "")


def test_the_season_that_new_writes_loads_and_plans(tmp_path: Path) -> None:
    """An empty season, stations.csv only a header, is accepted; its plan is empty."""
    folder = tmp_path / "new"
    write_new_season(folder, year=2026)
    season = loaded(folder)
    assert season.weather == {}
    plan = SeasonDay.open(folder, as_of=AS_OF)
    assert plan.fields == plan.by_need == ()
    assert season_route(plan).stops == ()


def test_weather_faults_of_a_season_without_fields_are_doubts(tmp_path: Path) -> None:
    """While no field needs temperatures, a broken station file is told but stops nothing."""
    folder = build_season(tmp_path, fields=())
    (folder / "weather" / "S1.csv").write_text("date,rain\n2026-05-01,3\n")
    (said,) = doubts(loaded(folder))
    assert said.startswith("weather/S1.csv")


def test_an_unknown_station_names_the_known_ones(tmp_path: Path) -> None:
    """A station id in fields.csv without temperatures is refused at its cell."""
    stations = (StationFile("S1"), StationFile("S2", latitude=36.2))
    fields = (FieldLine(), FieldLine("F2", latitude=36.01, station="S9"))
    season = loaded(build_season(tmp_path, fields=fields, stations=stations))
    assert set(season.weather) == {"F1"}
    (problem,) = season.refused
    assert (problem.file, problem.line, problem.column) == ("fields.csv", 3, "station")
    assert (problem.field_id, problem.found, problem.accepted) == ("F2", "S9", "S1, S2")


def test_fields_refused_for_one_cause_are_one_problem(tmp_path: Path) -> None:
    """The first field gives the place, five more are named, the rest counted; others go on."""
    fields = [FieldLine(f"F{i}", latitude=36 + i / 100, station="S9") for i in range(1, 9)]
    fields += [FieldLine("G1"), FieldLine("G2", latitude=36.2, station="S8")]
    season = loaded(build_season(tmp_path, fields=fields))
    assert set(season.weather) == {"G1"}
    assert [f.field.field_id for f in forecast_season(season)] == ["G1"]
    first, second = season.refused
    assert (first.field_id, first.line, first.found) == ("F1", 2, "S9")
    assert first.message.endswith("; the same for F2, F3, F4, F5, F6 and 2 more")
    assert (second.field_id, second.found) == ("G2", "S8")
    assert "the same" not in second.message


def test_when_no_field_can_be_forecast_the_doubts_come_along(tmp_path: Path) -> None:
    """What is doubtful in fields and temperatures may be why, so it is handed on."""
    fields = (FieldLine(station="S9", emergence_date=day(5, 6)),)
    folder = build_season(tmp_path, fields=fields)
    file = folder / "weather" / "S1.csv"
    text, swaps = re.subn("(2026-06-0[12]),(.*),(.*)", r"\1,\3,\2", file.read_text("utf-8"))
    assert swaps == 2
    file.write_text(text, "utf-8")
    with pytest.raises(SeasonProblems) as caught:
        loaded(folder)
    assert [p.column for p in caught.value.problems] == ["station"]
    assert all(p.doubtful for p in caught.value.doubts)
    assert [p.file for p in caught.value.doubts] == ["fields.csv", "weather/S1.csv"]


def test_doubts_of_a_station_that_speaks_for_no_field_are_dropped(tmp_path: Path) -> None:
    """Wrong days of a far station change nothing; those of the station in use are told."""
    stations = (StationFile("S1"), StationFile("S2", latitude=36.3))
    for name, spoilt, told in (("a", "S2", []), ("b", "S1", ["weather/S1.csv"])):
        folder = build_season(tmp_path / name, stations=stations)
        file = folder / "weather" / f"{spoilt}.csv"
        text = re.sub("(2026-06-01),(.*),(.*)", r"\1,\3,\2", file.read_text("utf-8"))
        file.write_text(text, "utf-8")
        season = loaded(folder)
        assert season.weather["F1"].match.station.station == "S1"
        assert [problem.file for problem in season.doubts] == told


@pytest.mark.parametrize(("year", "told"), [(2025, True), (2026, False), (2027, True)])
def test_a_day_of_another_year_is_doubted(year: int, told: bool, tmp_path: Path) -> None:
    """The doubt names both years and a day that would do."""
    season = loaded(build_season(tmp_path), dt.date(year, 7, 1))
    said = [text for text in doubts(season) if text.startswith("season.toml, year")]
    assert len(said) == told
    assert all(f"2026, and the day asked for is {year}-07-01" in text for text in said)
    assert all("--as-of 2026-07-01" in text for text in said)


def test_an_empty_season_doubts_no_day(tmp_path: Path) -> None:
    """Without fields there is nothing that another year could make wrong."""
    season = loaded(build_season(tmp_path, fields=()), dt.date(2027, 7, 1))
    assert season.doubts == ()


@pytest.mark.parametrize("days", [0, BRIDGED, BRIDGED + 1, 40])
def test_pests_that_a_missing_winter_leaves_untimed_are_named(days: int, tmp_path: Path) -> None:
    """All pests whose heat counts from 1 January, and no other; a bridged hole is none."""
    holes = ((day(1, 20), day(1, 20) + dt.timedelta(days=days - 1)),) if days else ()
    said = doubts(loaded(build_season(tmp_path, stations=(StationFile(holes=holes),))))
    assert len(said) == (days > BRIDGED)
    models = {pest.name: pest.heat for pest in load().pests.values()}
    january = {
        name
        for name, heat in models.items()
        if heat is not None and (heat.biofix[0].month, heat.biofix[0].day) == (1, 1)
    }
    assert 2 < len(january) < len(models)
    for text in said:
        assert text.startswith("weather for S1: days are missing since 1 January")
        assert {name for name in models if name in text} == january


OWN_PEST = """
id = "cutleaf-weevil"
name = "cutleaf weevil"
short = "cutleaf"
scientific = ["Inventus secatus"]
damage = "It cuts leaves."
marks = ["small"]

[presence]
kind = "overwinters"
text = "It overwinters here."
source = "mine"
tag = "OWN"

[host]
first = "VE"
last = "R5"
source = "mine"
tag = "OWN"

[heat]
lower_c = 10.0
method = "simple average"
method_tag = "OWN"
cutoff = "none"
source = "mine"
tag = "OWN"

[[heat.biofix]]
kind = "calendar day"
month = 3
day = 1
source = "mine"
tag = "OWN"

[[events]]
id = "adults"
title = "first adults"
need_c = 300.0
source = "mine"
tag = "OWN"

[[activities]]
id = "cutting"
title = "adults"
opens = "adults"
look_for = "cut leaves"
sample = "sweep-net"
rank = 5
host = { first = "VE", last = "R5", source = "mine", tag = "OWN" }

[sources.mine]
title = "Own counts"
publisher = "nobody"
kind = "own"
"""


def test_an_own_pest_that_a_hole_leaves_untimed_is_named(tmp_path: Path) -> None:
    """A season's own pest is named in `check` like those that ship.

    Its heat counts from 1 March, and April has a hole too long to be bridged.
    """
    for hole in (False, True):
        holes = ((day(4, 1), day(4, 20)),) if hole else ()
        folder = build_season(tmp_path / str(hole), stations=(StationFile(holes=holes),))
        (folder / "pests").mkdir()
        (folder / "pests" / "mine.toml").write_text(OWN_PEST, encoding="utf-8")
        said = doubts(loaded(folder))
        assert any("cutleaf weevil" in text for text in said) == hole


def test_a_named_station_speaks_for_the_field_though_another_is_nearer(tmp_path: Path) -> None:
    """What a person writes into the station column is obeyed."""
    stations = (StationFile("S1"), StationFile("S2", latitude=36.2))
    season = loaded(build_season(tmp_path, fields=(FieldLine(station="S2"),), stations=stations))
    assert season.weather["F1"].match.station.station == "S2"


# --- holes -----------------------------------------------------------------------------------

LONGEST = BRIDGED


def hole(days: int) -> tuple[tuple[dt.date, dt.date], ...]:
    """A hole of some days from 1 June on."""
    return ((day(6, 1), day(6, 1) + dt.timedelta(days=days - 1)),)


def test_a_nearer_station_with_a_long_hole_is_passed_over_and_that_is_said(tmp_path: Path) -> None:
    """The next station is used, and the doubt names both, the days and the reason."""
    stations = (
        StationFile("S1", holes=hole(LONGEST + 1)),
        StationFile("S2", latitude=36.2),
    )
    season = loaded(build_season(tmp_path, stations=stations))
    assert season.weather["F1"].match.station.station == "S2"
    assert [p.station for p in season.weather["F1"].passed_over] == ["S1"]
    (said,) = doubts(season)
    for word in ("field F1", "S1", "passed over", "2026-06-01 to 2026-06-04", "S2 is used"):
        assert word in said


def test_a_hole_too_long_at_the_only_station_names_field_station_and_days(tmp_path: Path) -> None:
    """One day more than may be bridged refuses the field; exactly that many are bridged."""
    short = build_season(tmp_path / "a", stations=(StationFile(holes=hole(LONGEST)),))
    assert loaded(short).weather["F1"].season.count(DayKind.BRIDGED) == LONGEST
    long = build_season(tmp_path / "b", stations=(StationFile(holes=hole(LONGEST + 1)),))
    (problem,) = refused(long)
    assert problem.field_id == "F1"
    for word in ("S1", "2026-06-01 to 2026-06-04 missing"):
        assert word in problem.message


@pytest.mark.parametrize("weather", ['gap_policy = "refuse"', "bridge_days = 0"])
def test_refuse_bridges_nothing(weather: str, tmp_path: Path) -> None:
    """Under the policy to refuse, a single missing day refuses the field."""
    station = StationFile(holes=hole(1))
    (problem,) = refused(build_season(tmp_path, stations=(station,), weather=weather))
    assert problem.field_id == "F1"
    assert "2026-06-01 to 2026-06-01 missing" in problem.message


def test_a_hole_before_planting_is_no_matter_to_the_crop(tmp_path: Path) -> None:
    """A month without temperatures that ends on the planting day spoils nothing."""
    station = StationFile(holes=((day(4, 5), day(5, 4)),))
    season = loaded(build_season(tmp_path, stations=(station,)))
    assert season.weather["F1"].match.station.station == "S1"


def test_a_hole_before_a_seen_emergence_is_no_matter_either(tmp_path: Path) -> None:
    """Once emergence was seen, days before it are not needed, and all stages are forecast."""
    station = StationFile(holes=((day(5, 6), day(5, 12)),))
    field = FieldLine(emergence_date=day(5, 14))
    season = loaded(build_season(tmp_path, fields=(field,), stations=(station,)))
    (forecast,) = forecast_season(season)
    assert forecast.stages["R7"].p50 is not None


def test_emergence_still_ahead_does_not_hide_a_hole(tmp_path: Path) -> None:
    """Seen from a day before the written emergence, the hole since planting does matter."""
    station = StationFile(holes=((day(5, 6), day(5, 12)),))
    field = FieldLine(emergence_date=day(5, 20))
    folder = build_season(tmp_path, fields=(field,), stations=(station,))
    (problem,) = refused(folder, day(5, 16))
    assert "2026-05-06 to 2026-05-12 missing" in problem.message


def test_rejected_days_are_holes(tmp_path: Path) -> None:
    """A sensor stuck for longer than a bridge leaves a hole, and the doubt says what it showed."""
    stuck = int(LIMITS.stuck_days) + LONGEST
    folder = build_season(tmp_path)
    file = folder / "weather" / "S1.csv"
    lines = file.read_text("utf-8").splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("2026-06-01"))
    for i in range(start, start + stuck):
        lines[i] = lines[i].split(",")[0] + ",20.0,30.0"
    file.write_text("\n".join(lines))
    (problem,) = refused(folder)
    last = day(6, 1) + dt.timedelta(days=stuck - 1)
    assert f"2026-06-02 to {last} missing" in problem.message


# --- stale and short records -----------------------------------------------------------------

STALE = int(LIMITS.stale_days)


def ending(days_before: int, station: str = "S1", latitude: float = 36.0) -> StationFile:
    """A station whose record ends some days before the day asked for."""
    last = AS_OF - dt.timedelta(days=days_before)
    return StationFile(station, latitude=latitude, last=last)


@pytest.mark.parametrize(("behind", "chosen"), [(STALE, "S1"), (STALE + 1, "S2")])
def test_a_stale_station_loses_against_a_fresh_one(
    behind: int, chosen: str, tmp_path: Path
) -> None:
    """A nearer record that ended longer ago than the limit is passed over, and that is said."""
    stations = (ending(behind), ending(0, "S2", 36.2))
    season = loaded(build_season(tmp_path, stations=stations))
    assert season.weather["F1"].match.station.station == chosen
    said = doubts(season)
    assert len(said) == (chosen == "S2")
    assert all("its record ends 2026-06-23" in text for text in said)


def test_a_stale_station_is_better_than_none(tmp_path: Path) -> None:
    """A fresher station that is too far away does not leave the field without temperatures."""
    stations = (ending(STALE + 5), ending(0, "S2", 44.0))
    season = loaded(build_season(tmp_path, stations=stations))
    assert season.weather["F1"].match.station.station == "S1"
    (said,) = doubts(season)
    assert "the record ends 2026-06-19" in said


def test_a_stale_station_that_was_named_is_used(tmp_path: Path) -> None:
    """The person's choice stands, with a doubt about the end of the record."""
    stations = (ending(STALE + 5), ending(0, "S2", 36.2))
    season = loaded(build_season(tmp_path, fields=(FieldLine(station="S1"),), stations=stations))
    assert season.weather["F1"].match.station.station == "S1"
    assert any("the record ends" in text for text in doubts(season))


@pytest.mark.parametrize(("behind", "told"), [(STALE, False), (STALE + 1, True)])
def test_a_record_that_ends_long_before_the_day_asked_for_is_doubted(
    behind: int, told: bool, tmp_path: Path
) -> None:
    """Past seasons standing in for more than the limit of days are reported with the number."""
    said = doubts(loaded(build_season(tmp_path, stations=(ending(behind),))))
    assert [f"{behind} days before" in text for text in said] == [True] * told


@pytest.mark.parametrize("fewer", [0, 1])
def test_few_past_seasons_are_doubted(fewer: int, tmp_path: Path) -> None:
    """One season fewer than wanted is told with the number of seasons there are."""
    wanted = int(LIMITS.past_seasons_wanted)
    station = StationFile(first=dt.date(2026 - wanted + fewer, 1, 1))
    said = doubts(loaded(build_season(tmp_path, stations=(station,))))
    assert [f"only {wanted - fewer} of the past seasons" in text for text in said] == [True] * fewer


def test_a_station_without_a_whole_past_season_cannot_be_used(tmp_path: Path) -> None:
    """With days ahead and nothing to stand for them, the field is refused, not guessed."""
    station = StationFile(first=day(1, 1))
    (problem,) = refused(build_season(tmp_path, stations=(station,)))
    assert "no past season" in problem.message


# --- distance and elevation ------------------------------------------------------------------


@pytest.mark.parametrize(("share", "told"), [(0.99, False), (1.01, True)])
def test_a_far_station_is_doubted(share: float, told: bool, tmp_path: Path) -> None:
    """Just beyond the doubtful distance the doubt names the station and the miles."""
    km = share * float(LIMITS.distance_doubtful)
    season = loaded(build_season(tmp_path, fields=(north(FieldLine(), km),)))
    assert season.weather["F1"].match.distance_km == pytest.approx(km, abs=0.01)
    miles = km / 1.609344  # exact: the international mile
    limit = float(LIMITS.distance_doubtful) / 1.609344
    said = f"S1, is {miles:.1f} mi away; beyond {limit:.1f} mi "  # 25 mi beside 25 mi tells nothing
    assert [said in text for text in doubts(season)] == [True] * told


def test_a_station_beyond_the_limit_is_not_used(tmp_path: Path) -> None:
    """Just beyond the limit the field is refused, and the nearest distance is named."""
    km = float(LIMITS.distance_limit)
    near = build_season(tmp_path / "a", fields=(north(FieldLine(), 0.99 * km),))
    assert loaded(near).weather["F1"].match.far
    far = build_season(tmp_path / "b", fields=(north(FieldLine(), 1.02 * km),))
    (problem,) = refused(far)
    assert (problem.file, problem.field_id) == ("fields.csv", "F1")
    assert f"{1.02 * km:.0f} km away" in problem.message


@pytest.mark.parametrize("way", [-1, 1])
@pytest.mark.parametrize(("beyond", "told"), [(0.0, False), (1.0, True)])
def test_a_difference_in_elevation_is_doubted(
    way: int, beyond: float, told: bool, tmp_path: Path
) -> None:
    """More than the limit up or down is told with its sign; an unknown elevation is not."""
    difference = way * (float(LIMITS.elevation_doubtful) + beyond)
    station = StationFile(elevation_m=300.0 + difference)
    fields = (FieldLine(elevation_m=300.0), FieldLine("F2", latitude=36.01))
    said = doubts(loaded(build_season(tmp_path, fields=fields, stations=(station,))))
    feet = difference / 0.3048  # exact: the international foot
    expected = f"field F1): station S1 differs by {feet:+.0f} ft"
    assert [expected in text for text in said] == [True] * told


# --- nothing is written ----------------------------------------------------------------------


@pytest.mark.parametrize("spoilt", [False, True])
def test_nothing_is_written_into_the_folder(spoilt: bool, tmp_path: Path) -> None:
    """Listing, times of change and bytes are the same after a plan and after a refusal."""
    station = StationFile(weather=Constant(20.0), holes=hole(9) if spoilt else ())
    folder = build_season(tmp_path, stations=(station,), visits=(VisitLine("F1", day(6, 1)),))
    before = snapshot(folder)
    if spoilt:
        refused(folder)
    else:
        SeasonDay.open(folder, as_of=AS_OF)
    assert snapshot(folder) == before
