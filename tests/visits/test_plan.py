"""The plan: every field by need, and a week that walks each due field once."""

from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from pathlib import Path

import pytest
from season_builder import ONE_DAY, FieldLine, StationFile, VisitLine, build_season, day

from stagecast.knowledge import load
from stagecast.pests import clock as pest_clock
from stagecast.phenology.soybean import STAGES
from stagecast.season.settings.work import WEEKDAYS
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.problem import WeekRequest
from stagecast.week.week import route_week, season_route, walk_of

ROOT = Path(__file__).resolve().parents[2]
DEMO_DAY = day(7, 7)
WEEKS = (
    ("mon", "tue", "wed", "thu", "fri"),
    ("mon", "wed", "fri"),
    ("sun",),
    ("mon", "tue", "wed", "thu", "fri", "sat", "sun"),
)
GROUPS = ("3.4", "IV", "4.7", "late V")
PRESSURES = ("near threshold", "some", "virtually none")


def plan(folder: Path, as_of: dt.date) -> SeasonDay:
    """The plan of a season folder."""
    return SeasonDay.open(folder, as_of=as_of)


def due(field: FieldDay) -> dt.date:
    """When a field is due; one that never is comes after all others."""
    return field.visit.due or dt.date.max


def field_id(field: FieldDay) -> str:
    """The id of a planned field."""
    return field.forecast.field.field_id


def many_fields(count: int) -> tuple[FieldLine, ...]:
    """Fields over ten weeks of planting; every forty fields the same plantings come again."""
    return tuple(
        FieldLine(
            f"F{i:03d}",
            day(4, 12) + 7 * (i % 10) * ONE_DAY,
            GROUPS[(i // 10) % 4],
            latitude=36.0 + i / 1000,
        )
        for i in range(count)
    )


def some_visits(fields: tuple[FieldLine, ...], as_of: dt.date) -> tuple[VisitLine, ...]:
    """A visit in the last two weeks to two fields of three, of every pressure."""
    return tuple(
        VisitLine(field.field_id, as_of - (1 + i % 13) * ONE_DAY, PRESSURES[i % 3])
        for i, field in enumerate(fields)
        if i % 3
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> SeasonDay:
    """The demo season on the day its README names."""
    folder = tmp_path_factory.mktemp("demo") / "season"
    shutil.copytree(ROOT / "demo", folder)
    (folder / "weather").mkdir()
    for file in sorted((ROOT / "weather_fixtures").glob("*.csv")):
        shutil.copy(file, folder / "weather")
    return plan(folder, DEMO_DAY)


@pytest.fixture(scope="module", params=WEEKS, ids="-".join)
def busy(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> SeasonDay:
    """Forty fields, most of them visited lately, under different working days."""
    as_of = day(7, 2)
    fields = many_fields(40)
    folder = build_season(
        tmp_path_factory.mktemp("busy"),
        fields=fields,
        visits=some_visits(fields, as_of),
        working_days=request.param,
    )
    return plan(folder, as_of)


# --- the demo season -------------------------------------------------------------------------


def test_every_field_of_the_demo_has_stage_windows_and_a_visit(demo: SeasonDay) -> None:
    """No field is left without a stage, dates, windows and a decision with its reason."""
    assert len(demo.fields) == len(demo.loaded.season.fields) == 24
    for planned, field in zip(demo.fields, demo.loaded.season.fields, strict=True):
        assert planned.forecast.field is field
        assert planned.forecast.stage_now[0] in "VR"
        assert set(planned.forecast.stages) == set(STAGES)
        assert planned.forecast.stages["R5"].p50 is not None
        assert {w.window for w in planned.windows} >= {w.id for w in load().windows}
        assert {w.field_id for w in planned.windows} == {planned.visit.field_id}
        assert planned.visit.reasons
        assert planned.visit.due is not None
        assert planned.visit.look_for
        assert planned.visit.sample in load().sampling


def test_the_demo_tells_the_doubtful_emergence(demo: SeasonDay) -> None:
    """The field that its README says can hardly be right is doubted, and no other is."""
    assert {p.field_id for p in demo.loaded.doubts} == {"F19"}


def test_the_demo_field_with_a_named_station_gets_it(demo: SeasonDay) -> None:
    """F22 names its station; the visits of the file are the last visits of the plan."""
    assert demo.loaded.weather["F22"].match.station.station == "DEMO01"
    last = {field_id(p): p.visit.last_visit for p in demo.fields}
    assert last["F01"] == day(7, 6)
    assert last["F21"] == day(6, 26)
    assert last["F04"] is None


# --- by need ---------------------------------------------------------------------------------


def test_fields_come_by_need(busy: SeasonDay, demo: SeasonDay) -> None:
    """By the day of walking, those never due last; the same fields as in the file."""
    for season in (busy, demo):
        dates = [max(due(p), season.loaded.as_of) for p in season.by_need]
        assert dates == sorted(dates)
        assert sorted(map(field_id, season.by_need)) == sorted(map(field_id, season.fields))
    assert any(due(p) < busy.loaded.as_of for p in busy.fields)


def test_on_one_day_critical_windows_come_first(busy: SeasonDay, demo: SeasonDay) -> None:
    """Among fields walked on the same day those with a critical window open then lead.

    Those unseen for too long go before them.
    An overdue field is walked today at the earliest; among equals the longest overdue leads.
    """

    def critical(planned: FieldDay, walked: dt.date) -> bool:
        return any(
            w.critical and w.state(walked, entering_days=0) == "open" for w in planned.windows
        )

    for season in (busy, demo):
        keys = []
        for planned in season.by_need:
            if planned.visit.due is None:
                continue
            walked = max(due(planned), season.loaded.as_of)
            keys.append(
                (walked, not planned.unseen_too_long, not critical(planned, walked), due(planned))
            )
        assert keys == sorted(keys)


# --- the week's route --------------------------------------------------------------------------


def test_the_route_is_on_the_working_days_of_the_next_seven(busy: SeasonDay) -> None:
    """Every working day from the day asked for on, in order, and no other."""
    chosen = busy.loaded.season.settings.working_days
    days = [busy.loaded.as_of + i * ONE_DAY for i in range(7)]
    expected = [d for d in days if WEEKDAYS[d.weekday()] in chosen]
    assert [walked.date for walked in season_route(busy).days] == expected


def test_each_due_field_is_walked_once_or_left_out(busy: SeasonDay, demo: SeasonDay) -> None:
    """What is due within seven days has one day or a reason; what is due later has neither."""
    for season in (busy, demo):
        last = season.loaded.as_of + 6 * ONE_DAY
        route = season_route(season)
        met = Counter(one.field_id for one in (*route.stops, *route.left_out))
        asked = Counter(field_id(p) for p in season.fields if due(p) <= last)
        later = Counter(field_id(p) for p in season.fields if p.due_on and p.due_on > last)
        assert asked - later <= met <= asked


def test_no_day_holds_more_fields_than_a_person_wants(busy: SeasonDay, tmp_path: Path) -> None:
    """``fields_per_day`` is the most stops of a day; without it the hours alone say how many."""
    counts = [len(walked.stops) for walked in season_route(busy).days]
    assert max(counts) > 2
    fields = many_fields(12)
    folder = build_season(tmp_path, fields=fields, working_days=("thu", "fri"), fields_per_day=2)
    route = season_route(plan(folder, day(7, 2)))
    assert [len(walked.stops) for walked in route.days] == [2, 2]
    assert len(route.left_out) == 8


def test_every_field_has_one_walk_and_it_is_that_of_the_route(
    busy: SeasonDay, demo: SeasonDay
) -> None:
    """The day shown is the route's where it walks the field; left out it has none, but a reason.

    Due later than the route it is the working day on which it is due. Where it is not the due day,
    the kind of reason is told, and it is true: overdue only before the route, no work only on a
    day without work, others first only where some field is walked on the due day.
    """
    kinds = set()
    for season in (busy, demo):
        route = season_route(season)
        on = {stop.field_id: stop.arrive.date() for stop in route.stops}
        left = {one.field_id for one in route.left_out}
        for field in season.fields:
            walk, name = walk_of(field), field_id(field)
            assert walk.on == on.get(name)
            assert (walk.left_out is not None) == (name in left)
            assert walk.day == (None if name in left else walk.on or field.due_on)
            assert (walk.why is None) == (walk.day in (None, walk.due))
            kinds.add(walk.why)
            if walk.why == "overdue":
                assert walk.due is not None
                assert field.due_on is not None
                assert walk.due <= field.due_on < season.as_of == walk.on
            elif walk.why == "no work":
                assert due(field) not in {one.date for one in route.days}
            elif walk.why in ("others first", "no drive"):
                soonest = max(walk.due or season.as_of, season.as_of)
                driven = any(one.stops for one in route.days if one.date == soonest)
                assert driven == (walk.why == "others first"), name
    assert {"overdue", "no work", "on the way", "others first", "no drive"} <= kinds


def test_the_same_season_makes_its_route_once(demo: SeasonDay) -> None:
    """Whoever asks has the same route, and `week` asked for the same days makes no other."""
    assert season_route(demo) is season_route(demo)
    again = route_week(demo, WeekRequest(first_day=demo.as_of))
    walked = [(s.field_id, s.arrive) for s in again.stops]
    assert walked == [(s.field_id, s.arrive) for s in season_route(demo).stops]


def test_a_week_without_a_working_day_walks_nothing(tmp_path: Path) -> None:
    """With nobody at work on any day every due field is left out for it, not an error."""
    season = plan(build_season(tmp_path), day(7, 2))
    off = tuple(day(7, 2) + i * ONE_DAY for i in range(7))
    route = route_week(
        season, WeekRequest(first_day=day(7, 2), off=tuple((None, one) for one in off))
    )
    assert route.days == ()
    assert [one.why for one in route.left_out] == ["nobody works"]


# --- size ------------------------------------------------------------------------------------


def test_heat_is_summed_per_station_and_not_per_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice the fields, planted on the same days, need not one heat sum more."""
    counted = Counter[str]()
    summed_from = pest_clock.summed_from

    def spy(*args: object, **kwargs: object) -> object:
        counted[size] += 1
        return summed_from(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(pest_clock, "summed_from", spy)
    station = StationFile()
    for size, fields in (("few", many_fields(40)), ("many", many_fields(80))):
        # The latitude of a field moves its flowering; the same forty places come again.
        again = tuple(
            FieldLine(f.field_id, f.planting_date, f.maturity_group, latitude=36.0) for f in fields
        )
        folder = build_season(tmp_path / size, fields=again, stations=(station,))
        assert all(one.windows for one in plan(folder, day(7, 2)).fields)
    assert counted["many"] == counted["few"] > 0
