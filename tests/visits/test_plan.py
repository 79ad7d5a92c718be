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
from stagecast.visits.season_day import FieldDay, SeasonDay, _fill_week

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
            keys.append((walked, not critical(planned, walked), due(planned)))
        assert keys == sorted(keys)


# --- the week --------------------------------------------------------------------------------


def test_the_week_is_the_working_days_of_the_next_seven(busy: SeasonDay) -> None:
    """Every working day from the day asked for on, in order, and no other."""
    chosen = busy.loaded.season.settings.working_days
    days = [busy.loaded.as_of + i * ONE_DAY for i in range(7)]
    expected = [d for d in days if WEEKDAYS[d.weekday()] in chosen]
    assert [walked.date for walked in busy.week] == expected


def test_each_due_field_is_walked_once_or_finds_no_room(busy: SeasonDay, demo: SeasonDay) -> None:
    """What is due within seven days is in the week once, or left over; what is due later is not."""
    for season in (busy, demo):
        last = season.loaded.as_of + 6 * ONE_DAY
        walked = Counter(name for each in season.week for name in each.field_ids)
        walked.update(season.no_room)
        assert walked == Counter(field_id(p) for p in season.fields if due(p) <= last)


def test_no_day_holds_more_fields_than_it_has_room_for(busy: SeasonDay) -> None:
    """Eight by default; what is left over are the least pressing, and then every day is full."""
    counts = [len(walked.field_ids) for walked in busy.week]
    room = int(load().revisit.fields_per_day)
    assert max(counts) == room == 8
    wanted = [field_id(p) for p in busy.by_need if due(p) <= busy.loaded.as_of + 6 * ONE_DAY]
    assert len(busy.no_room) == max(0, len(wanted) - room * len(counts))
    assert list(busy.no_room) == wanted[len(wanted) - len(busy.no_room) :]
    if busy.no_room:
        assert counts == [room] * len(counts)


def test_some_weeks_of_these_tests_have_too_little_room(busy: SeasonDay) -> None:
    """Of the weeks tried, one and three days do not suffice for what is due, and seven do."""
    assert bool(busy.no_room) == (len(busy.week) < 5)


@pytest.mark.parametrize("room", [1, 4, 8, 100])
def test_a_field_is_walked_as_late_as_room_and_due_date_allow(
    room: int, busy: SeasonDay, demo: SeasonDay
) -> None:
    """Its day is the last up to its due date with room left, else the first with room.

    So every day between is full: those up to the due date, and for a field walked late all
    days before the one it got.
    """
    late = 0
    for season in (busy, demo):
        days = season.loaded.season.settings.working_days
        week, _ = _fill_week(season.by_need, season.loaded.as_of, days, room=room)
        full = {w.date for w in week if len(w.field_ids) == room}
        assert all(len(w.field_ids) <= room for w in week)
        day_of = {name: w.date for w in week for name in w.field_ids}
        for planned in season.by_need:
            walked = day_of.get(field_id(planned))
            if walked is None:
                continue
            if walked <= due(planned):
                assert {w.date for w in week if walked < w.date <= due(planned)} <= full
            else:
                assert {w.date for w in week if w.date < walked} <= full
                assert {w.date for w in week if w.date <= due(planned)} <= full
                late += 1
    assert late > 0


def test_the_room_of_a_day_is_the_one_set(tmp_path: Path) -> None:
    """Six overdue fields and two days with room for two: two a day in order, two left over."""
    visits = [VisitLine(f"F{i}", day(6, 20), "near threshold") for i in range(1, 7)]
    fields = [FieldLine(v.field_id, latitude=36.0 + i / 100) for i, v in enumerate(visits)]
    folder = build_season(
        tmp_path, fields=fields, visits=visits, working_days=("wed", "thu"), fields_per_day=2
    )
    season = plan(folder, day(7, 1))
    ids = [field_id(p) for p in season.by_need]
    assert [(w.date, list(w.field_ids)) for w in season.week] == [
        (day(7, 1), ids[:2]),
        (day(7, 2), ids[2:4]),
    ]
    assert list(season.no_room) == ids[4:]


def test_the_more_pressing_of_a_day_come_first(busy: SeasonDay) -> None:
    """Within a day fields stand in the order of need."""
    place = {field_id(p): i for i, p in enumerate(busy.by_need)}
    for walked in busy.week:
        order = [place[name] for name in walked.field_ids]
        assert order == sorted(order)


@pytest.mark.parametrize(
    ("last", "walked"),
    [
        pytest.param(day(7, 1), day(7, 6), id="due on a Monday"),
        pytest.param(day(6, 30), day(7, 3), id="due on a Sunday"),
        pytest.param(day(6, 20), day(7, 2), id="overdue"),
    ],
)
def test_a_field_is_walked_on_its_day_or_the_working_day_before(
    last: dt.date, walked: dt.date, tmp_path: Path
) -> None:
    """With room enough: on the due day, before a weekend, and today when overdue."""
    visit = VisitLine("F1", last, "near threshold")
    season = plan(build_season(tmp_path, visits=(visit,)), day(7, 2))
    assert season.fields[0].visit.due == last + 5 * ONE_DAY
    assert [w.date for w in season.week if w.field_ids == ("F1",)] == [walked]


def test_a_week_without_a_working_day_is_empty(demo: SeasonDay) -> None:
    """No day to work on leaves an empty week and every due field over, not an error."""
    wanted = tuple(field_id(p) for p in demo.by_need if due(p) <= DEMO_DAY + 6 * ONE_DAY)
    assert len(wanted) > 10
    assert _fill_week(demo.by_need, DEMO_DAY, (), room=8) == ((), wanted)


# --- size ------------------------------------------------------------------------------------


def test_heat_is_summed_per_station_and_not_per_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice the fields, planted on the same days, need not one heat sum more."""
    counted = Counter[str]()
    heat_sums = pest_clock.heat_sums

    def spy(*args: object, **kwargs: object) -> object:
        counted[size] += 1
        return heat_sums(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(pest_clock, "heat_sums", spy)
    station = StationFile()
    for size, fields in (("few", many_fields(40)), ("many", many_fields(80))):
        # The latitude of a field moves its flowering; the same forty places come again.
        again = tuple(
            FieldLine(f.field_id, f.planting_date, f.maturity_group, latitude=36.0) for f in fields
        )
        folder = build_season(tmp_path / size, fields=again, stations=(station,))
        assert all(one.windows for one in plan(folder, day(7, 2)).fields)
    assert counted["many"] == counted["few"] > 0
