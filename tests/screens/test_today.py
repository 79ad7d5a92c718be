"""The first screen of a morning."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from commands import run_command
from hypothesis import given
from hypothesis import strategies as st

from stagecast.screens.today import LINES, WIDTH, Part, shares
from stagecast.season.mornings import FILE, FieldMorning, keep_morning, read_mornings
from stagecast.visits.season_day import SeasonDay
from stagecast.week.morning import (
    NotWalked,
    StageMoved,
    WalkMoved,
    as_told,
    morning_of,
    to_keep,
)
from stagecast.week.week import season_route, walk_of
from stagecast.words.morning import news_text, why_in_short

DAY = dt.date(2026, 7, 7)


@pytest.fixture
def season(own_logged: Path) -> Path:
    """Part of the demo with its log, of one's own."""
    return own_logged


def test_it_is_at_most_24_lines_of_80_columns(season: Path) -> None:
    """On every day of the season the whole morning is in the first screen."""
    for day in ("2026-05-01", "2026-06-10", "2026-07-07", "2026-07-08", "2026-08-20", "2026-10-20"):
        ran = run_command("today", season, "--as-of", day)
        lines = ran.out.splitlines()
        assert ran.code == 0
        assert 0 < len(lines) <= LINES
        assert max(map(len, lines)) < WIDTH


def test_fields_that_wait_for_their_dates_are_no_season_that_is_over(season: Path) -> None:
    """Before planting nothing is to be walked yet; the fields that wait are counted below."""
    file = season / "fields.csv"
    header, *rows = file.read_text("utf-8").splitlines()
    blank = [re.sub(r"2026-\d\d-\d\d", "", row) for row in rows]
    for waits, kept in ((len(rows), []), (1, rows[1:])):
        file.write_text("\n".join([header, *blank[:waits], *kept, ""]), "utf-8")
        out = run_command("today", season, "--as-of", "2026-03-10").out
        assert ("nothing to walk yet" in out) == (not kept)
        assert "any more" not in out
        assert f"{waits} field{'' if waits == 1 else 's'} wait" in out
        assert max(map(len, out.splitlines())) < WIDTH


def test_what_waits_for_a_decision_stands_first(season: Path) -> None:
    """A pest over its threshold is in the first three lines, with count, threshold and chance."""
    head, _, first, *_ = run_command("today", season, "--as-of", DAY.isoformat()).out.splitlines()
    above = season_route(SeasonDay.open(season, as_of=DAY)).above
    assert above
    assert "to decide on" in head
    assert above[0].plan.field_id in first
    assert " of 9, over 95%" in first


def test_it_says_the_days_of_the_route(season: Path) -> None:
    """Fields to walk are those of the one route, in its order."""
    ran = run_command("today", season, "--as-of", DAY.isoformat(), "--format", "json")
    told = json.loads(ran.out)
    route = season_route(SeasonDay.open(season, as_of=DAY))
    stops = [stop.field_id for day in route.days if day.date == DAY for stop in day.stops]
    assert stops
    assert [stop["field_id"] for day in told["days"] for stop in day["stops"]] == stops


def test_a_stop_says_its_look_and_why_it_is_late(season: Path) -> None:
    """A look without counts has its name; a field past its interval says whose days are over."""
    told = SeasonDay.open(season, as_of=DAY)
    late = next(one.visit for one in told.fields if one.visit.interval_days is not None)
    assert (
        why_in_short(replace(late, reasons=()), days_late=1)
        == f"1 d late, {late.interval_days}-day look"
    )
    text = run_command("today", season, "--as-of", DAY.isoformat()).out
    assert "stand look " in text
    assert " places " not in text


def test_the_same_morning_says_the_same_twice(season: Path) -> None:
    """A morning is compared with an earlier day, never with itself."""
    first = run_command("today", season, "--as-of", "2026-07-08").out
    assert run_command("today", season, "--as-of", "2026-07-08").out == first
    run_command("today", season, "--as-of", "2026-07-07")
    later = run_command("today", season, "--as-of", "2026-07-08").out
    assert "New since Tue 7 Jul" in later
    assert run_command("today", season, "--as-of", "2026-07-08").out == later


def test_what_moved_is_news(season: Path) -> None:
    """Walks and stages that moved by two days are told; a field not walked is named once."""
    plan = SeasonDay.open(season, as_of=dt.date(2026, 7, 9))
    told = as_told(plan)
    ids = [one.field_id for one in plan.fields if walk_of(one).day is not None][:3]
    missed, moved, staged = ids
    two = dt.timedelta(days=2)
    yesterday = dt.date(2026, 7, 8)
    told[missed] = replace_walk(told[missed], yesterday)
    told[moved] = replace_walk(told[moved], (walk_of(plan.field(moved)).day or DAY) + two)
    ahead = next(stage for stage, day in told[staged].stages.items() if day > plan.as_of)
    stages = {**told[staged].stages, ahead: told[staged].stages[ahead] + two}
    told[staged] = told[staged].model_copy(update={"stages": stages})
    news = morning_of(plan, (yesterday, told)).news
    assert [one.field.field_id for one in news if isinstance(one, WalkMoved)] == [moved]
    (away,) = (one for one in news if isinstance(one, NotWalked))
    assert [field.field_id for field, _ in away.fields] == [missed]
    (stage,) = (one for one in news if isinstance(one, StageMoved))
    assert [field.field_id for field, *_ in stage.fields] == [staged]
    assert morning_of(plan, (yesterday, as_told(plan))).news == ()


def test_what_fills_a_day_begun_is_not_missed_the_next_morning(season: Path) -> None:
    """Nobody was sent to a field that the route takes once visits of the day are logged.

    What was told that morning and has no visit is missed all the same.
    """
    begun, later = SeasonDay.open(season, as_of=DAY), DAY + dt.timedelta(days=3)
    assert any(one.last_visit and one.last_visit.date == DAY for one in begun.fields)
    now = as_told(begun)
    sent, fill, *_ = [name for name, one in now.items() if one.walk == DAY]
    kept = to_keep(begun, {**now, fill: replace_walk(now[fill], later)})
    assert (kept[sent].walk, kept[fill].walk) == (DAY, later)
    assert to_keep(begun, None) == now
    tomorrow = SeasonDay.open(season, as_of=DAY + dt.timedelta(days=1))
    (missed,) = (
        one for one in morning_of(tomorrow, (DAY, kept)).news if isinstance(one, NotWalked)
    )
    names = {one.field_id for one, _ in missed.fields}
    assert sent in names
    assert fill not in names
    before = SeasonDay.open(season, as_of=dt.date(2026, 7, 9))
    assert to_keep(before, kept) == as_told(before)


def test_a_day_begun_says_what_is_walked_already(season: Path) -> None:
    """Fields logged on the day are counted at the top, apart from those that it has room for."""
    head, *_, foot = run_command("today", season, "--as-of", DAY.isoformat()).out.splitlines()[:-1]
    assert re.search(r": walk \d+ more of 12 fields, 2 walked;", head)
    assert "Rest of the day: " in foot
    assert "--from TIME" in foot
    quiet = run_command("today", season, "--as-of", "2026-07-09").out
    assert " more of " not in quiet.splitlines()[0]
    assert "Rest of the day" not in quiet


def test_a_walk_that_moved_to_a_later_day_has_no_reason_beside_it(season: Path) -> None:
    """An open window makes a field due; beside "later than was said" it would read as the cause."""
    plan = SeasonDay.open(season, as_of=dt.date(2026, 7, 9))
    with_reason = 0
    for field in plan.fields:
        day = walk_of(field).day
        if day is None:
            continue
        sooner = news_text(WalkMoved(field, was=day + dt.timedelta(days=2), to=day))
        later = news_text(WalkMoved(field, was=day - dt.timedelta(days=2), to=day))
        with_reason += ": " in sooner.partition(", was ")[2]
        assert ": " not in later.partition(", was ")[2], later
    assert with_reason


def replace_walk(told: FieldMorning, day: dt.date) -> FieldMorning:
    """The same field, said to be walked on another day."""
    return told.model_copy(update={"walk": day})


def test_a_damaged_file_of_mornings_costs_nothing_but_the_news(season: Path) -> None:
    """What is kept of mornings may be deleted or damaged at any time."""
    run_command("today", season, "--as-of", "2026-07-07")
    (season / FILE).write_bytes(b"{\xff")
    ran = run_command("today", season, "--as-of", "2026-07-08")
    assert ran.code == 0
    assert "New since" not in ran.out
    assert set(read_mornings(season).days) == {dt.date(2026, 7, 8)}


def test_only_the_last_mornings_are_kept(tmp_path: Path) -> None:
    """The file does not grow over a season."""
    for number in range(5):
        keep_morning(tmp_path, DAY + dt.timedelta(days=number), {}, most=3)
    kept = read_mornings(tmp_path)
    assert min(kept.days) == DAY + dt.timedelta(days=2)
    assert len(kept.days) == 3
    assert kept.before(DAY + dt.timedelta(days=9), most_days=3) is None


def test_nothing_is_written_where_one_may_not(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that cannot be written is told all the same."""
    from stagecast.base.errors import StoreError

    def refuse(*_: object, **__: object) -> None:
        raise StoreError("mornings.json", "read-only", next_step="nothing")

    monkeypatch.setattr("stagecast.season.kept.save_file", refuse)
    ran = run_command("today", season, "--as-of", DAY.isoformat())
    assert (ran.code, ran.err) == (0, "")
    assert not (season / FILE).exists()


PART = Part("", (), 0, "")


@given(
    st.lists(st.tuples(st.integers(1, 60), st.integers(1, 5)), min_size=1, max_size=4),
    st.integers(16, 24),
)
def test_every_part_gets_its_least(parts: list[tuple[int, int]], room: int) -> None:
    """No part is crowded out by one before it, nothing is left empty that somebody could use."""
    parts_ = [replace(PART, lines=("x",) * number, least=least) for number, least in parts]
    given_lines = shares(parts_, room=room)
    assert all(
        g >= min(one.least, len(one.lines)) for g, one in zip(given_lines, parts_, strict=True)
    )
    assert sum(given_lines) <= max(room, sum(one.least for one in parts_))
    if sum(given_lines) < room:
        assert given_lines == [len(one.lines) for one in parts_]


def test_alone_in_a_season_folder_it_is_the_morning(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``stagecast`` without a command says what to do, there and where no season is."""
    monkeypatch.chdir(season)
    alone = run_command()
    assert alone.code == 0
    assert alone.out == run_command("today", ".").out
    monkeypatch.chdir(season.parent)
    assert f"stagecast today {season.name}" in run_command().out


def test_what_the_first_screen_cuts_all_of_it_tells(tmp_path: Path) -> None:
    """Where lines are counted instead of shown, the command that is named shows every one."""
    season = tmp_path / "season"
    run_command("demo", season)
    short = run_command("today", season, "--as-of", "2026-06-29").out
    every = run_command("today", season, "--as-of", "2026-06-29", "--all").out
    counted = [line for line in short.splitlines() if " more: stagecast" in line]
    assert counted
    assert " more: stagecast" not in every
    assert len(every.splitlines()) > LINES
    kept = [line for line in short.splitlines() if line not in counted]
    assert set(kept) <= set(every.splitlines())
