"""What is told ahead, on part of the demo season."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from alert_days import alert_days, whole_year
from commands import run_command
from icalendar import Calendar

from stagecast.season.told import FILE, ToldAlerts
from stagecast.visits.season_day import SeasonDay
from stagecast.week.alerts import (
    CloseCount,
    LongUnseen,
    MayEnter,
    NearBloom,
    StaleWeather,
    WindowOpens,
    alerts_of,
)
from stagecast.week.week import walk_of
from stagecast.words.morning import MESSAGE

DAY = "2026-07-07"


@pytest.fixture
def season(own_logged: Path) -> Path:
    """Part of the demo with its log, of one's own."""
    return own_logged


def keys(folder: Path, *options: str, as_of: str = DAY) -> list[str]:
    """Keys of the alerts that a command tells."""
    ran = run_command("alerts", folder, "--as-of", as_of, "--format", "json", *options)
    assert ran.code == 0, ran.err
    return [alert["key"] for alert in json.loads(ran.out)["alerts"]]


def test_a_morning_tells_what_is_new_and_the_next_one_does_not_repeat_it(season: Path) -> None:
    """Told on one day, however often; the day after only with --all."""
    first = keys(season)
    assert first
    assert keys(season) == first
    next_day = keys(season, as_of="2026-07-08")
    assert set(next_day).isdisjoint(first)
    assert set(keys(season, "--all", as_of="2026-07-08")) > set(next_day)


def test_a_person_may_be_done_or_put_one_off(season: Path) -> None:
    """Keys are taken as they are printed; unknown ones are all named at once."""
    done, later, *_ = keys(season)
    left = keys(season, "--done", done, "--later", f"{later}=2")
    assert done not in left
    assert later not in left
    assert keys(season, as_of="2026-07-09").count(later) <= 1
    ran = run_command("alerts", season, "--as-of", DAY, "--done", "no", "--later", "F07=soon")
    assert ran.code == 2
    assert "'no'" in ran.err
    assert "'F07=soon'" in ran.err


def test_every_kind_rests_on_what_the_season_says(season: Path) -> None:
    """A count above, a field past its longest gap and restricted entry each have their alert."""
    plan = SeasonDay.open(season, as_of=dt.date(2026, 7, 7))
    found = alerts_of(plan, ToldAlerts())
    above = [a for a in found if isinstance(a.what, CloseCount) and a.what.found.above]
    assert found[0] in above
    assert above[0].field is not None
    assert above[0].field.field_id == "F13"
    held = {one.field_id for one in plan.fields if one.no_entry is not None}
    entry = {a.field.field_id for a in found if a.field and isinstance(a.what, MayEnter)}
    assert held == entry != set()
    unseen = {a.field.field_id for a in found if a.field and isinstance(a.what, LongUnseen)}
    late = set()
    for one in plan.fields:
        limit, walk = one.visit.limit, walk_of(one).day
        soon = limit is not None and limit <= plan.as_of + dt.timedelta(days=2)
        if soon and limit is not None and (walk is None or walk > limit):
            late.add(one.field_id)
    assert unseen == late


def test_bloom_is_told_once_with_its_window(season: Path) -> None:
    """Beans near R2 say when their window opens, at R1; no second alert says so again."""
    plan = SeasonDay.open(season, as_of=dt.date(2026, 7, 7))
    found = alerts_of(plan, ToldAlerts())
    near = [(a.field, a.what) for a in found if a.field and isinstance(a.what, NearBloom)]
    assert near
    assert all(what.opens == field.forecast.stages["R1"].p50 for field, what in near)
    for alert in found:
        if alert.field is not None and isinstance(alert.what, WindowOpens):
            bloom, closes = alert.field.forecast.stages["R2"].p50, alert.what.window.closes.p50
            assert bloom is None or closes is None or closes < bloom


def test_weather_that_stopped_is_told(season: Path) -> None:
    """A station without a measured day for more than a week is named, once."""
    plan = SeasonDay.open(season, as_of=dt.date(2026, 7, 20))
    stale = [a for a in alerts_of(plan, ToldAlerts()) if isinstance(a.what, StaleWeather)]
    assert {a.station for a in stale} == {"DEMO01", "DEMO02"}
    assert all(a.what.days == 13 for a in stale if isinstance(a.what, StaleWeather))


def test_the_message_fits_one_text_message(season: Path) -> None:
    """At most 160 letters, all of the plain alphabet, with the field to decide on."""
    ran = run_command("alerts", season, "--as-of", DAY, "--message")
    (line,) = ran.out.splitlines()
    assert len(line) <= MESSAGE
    assert line.isascii()
    assert "decide F13" in line


def test_a_scheduler_sees_whether_anything_is_new(season: Path) -> None:
    """--exit-code ends with 4 where something is new, and with 0 where nothing is."""
    assert run_command("alerts", season, "--as-of", DAY, "--exit-code").code == 4
    (season / "visits.csv").unlink()
    quiet = run_command("alerts", season, "--as-of", "2026-12-20", "--exit-code")
    told = run_command("alerts", season, "--as-of", "2026-12-21", "--exit-code")
    assert quiet.code in (0, 4)
    assert told.code == 0


def test_a_calendar_subscribed_twice_changes_nothing(season: Path) -> None:
    """The same alerts are the same bytes, and another reader reads them: icalendar, RFC 5545."""
    file = season / "alerts.ics"
    keys(season, "--calendar", str(file))
    first = file.read_bytes()
    keys(season, "--calendar", str(file))
    assert file.read_bytes() == first
    events = Calendar.from_ical(first).walk("VEVENT")
    assert len({event["UID"] for event in events}) == len(events) > 0


def test_what_was_told_is_kept_only_once_the_alerts_are_out(season: Path) -> None:
    """A calendar that cannot be written leaves nothing told, so the next run tells it all."""
    ran = run_command("alerts", season, "--as-of", DAY, "--calendar", season / "no" / "a.ics")
    assert ran.code == 2
    assert not (season / FILE).exists()


def test_beans_near_bloom_are_told_once_and_in_time(tmp_path: Path) -> None:
    """Of one grower's fields each is told once, 3 to 7 days before R2 in five of six or more.

    R2 is that of the forecast once the season is over; ``tests/bench/alert_season.py`` has the
    whole demo.
    """
    folder = whole_year(tmp_path / "demo")
    rows = (folder / "fields.csv").read_text("utf-8").splitlines(keepends=True)
    kept = [row for row in rows if row.startswith(("field_id", "F05", "F06", "F07", "F13"))]
    (folder / "fields.csv").write_text("".join(kept), "utf-8")
    for station in (folder / "weather").glob("DEMO*.csv"):
        head, *days = station.read_text("utf-8").splitlines(keepends=True)
        station.write_text("".join([head, *(d for d in days if d >= "2021")]), "utf-8")
    found = alert_days(folder, first=dt.date(2025, 6, 5), days=45)
    assert len(found.bloom_leads) == 4
    assert found.bloom_again == ()
    assert sum(3 <= lead <= 7 for lead in found.bloom_leads.values()) >= 3
