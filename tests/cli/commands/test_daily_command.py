"""``stagecast daily``: every step, in one go, and again after it was stopped anywhere."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from email import message_from_string
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
from commands import process_environment, run_command
from icalendar import Calendar
from mail_server import Killed, MailServer, mail_server
from season_builder import StationFile, build_season, day

from stagecast.base.errors import StoreError, WeatherOutage
from stagecast.base.lock import held
from stagecast.base.unfinished import PREFIX, sweep
from stagecast.cli import alert_commands, daily_command, weather_command
from stagecast.cli.daily_command import run_daily
from stagecast.cli.ways import Hand, smtp
from stagecast.season import outbox, told
from stagecast.season.outbox import Way, read_post
from stagecast.season.settings.settings import Settings

pytestmark = pytest.mark.usefixtures("fresh", "rules_once")

FRIDAY = day(6, 19)
MORNING = dt.datetime.combine(FRIDAY, dt.time(5, 30))
STEPS = ("weather", "forecast", "alerts", "pages", "calendar", "saved", "sent")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of a field near bloom, with mail for everybody."""
    station = StationFile(first=dt.date(2022, 1, 1), last=day(6, 16))
    path = build_season(tmp_path_factory.mktemp("daily") / "season", stations=[station])
    with (path / "season.toml").open("a", encoding="utf-8") as file:
        file.write(
            '[mail]\nserver = "127.0.0.1"\nfrom = "me@example.org"\nto = ["a@example.org"]\n'
        )
    return path


@pytest.fixture
def season(made: Path, tmp_path: Path) -> Path:
    """A copy of one's own."""
    shutil.copytree(made, tmp_path / "season")
    return tmp_path / "season"


def run(
    season: Path, server: MailServer, *, at: dt.datetime = MORNING
) -> tuple[bool, dict[str, str]]:
    """One run: whether all went well, and the line of each step."""
    lines: list[str] = []

    def hands(settings: Settings) -> Mapping[Way, Hand]:
        assert settings.mail is not None
        here = settings.mail.model_copy(update={"port": server.port})
        return {"mail": smtp(here, password=None)}

    good = run_daily(season, as_of=at.date(), clock=lambda: at, hands=hands, say=lines.append)
    return good, {line.split()[2]: line for line in lines}


def contents(season: Path) -> dict[str, bytes]:
    """All that a run leaves behind."""
    files = (path for path in season.rglob("*") if path.is_file() and path.name != "daily.lock")
    here = str(season).encode()
    return {
        path.relative_to(season).as_posix(): path.read_bytes().replace(here, b"DIR")
        for path in files
    }


def test_a_morning_is_made_in_one_go(season: Path, server: MailServer) -> None:
    """A line of log for every step, pages, calendars that another reader reads, and mail."""
    good, lines = run(season, server)
    assert good
    assert tuple(lines) == STEPS
    assert all(re.match(r"2026-06-19 05:30:00 \w+ +ok .* \(0 s\)$", one) for one in lines.values())
    assert "measured to 16 Jun, 3 days old" in lines["forecast"]
    pages = {path.name for path in (season / "pages").iterdir()}
    assert pages >= {"overview.html", "index.html", "field-F1.html", "day.html", "alerts.ics"}
    Calendar.from_ical((season / "pages" / "alerts.ics").read_bytes())
    (mail,) = (message_from_string(raw.decode(), policy=default) for raw in server.taken)
    text = mail.get_content()
    assert mail["To"] == "a@example.org"
    assert "F1.near-R2" in text
    assert "consider, never spray" in text
    assert mail["Date"].datetime.replace(tzinfo=None) == MORNING


def test_a_second_run_sends_nothing_and_changes_nothing(season: Path, server: MailServer) -> None:
    """The same morning again: no mail, and every file as it was."""
    run(season, server)
    before = contents(season)
    good, lines = run(season, server)
    assert good
    assert "nothing to send" in lines["sent"]
    assert contents(season) == before
    assert len(server.taken) == 1


def dies(after: Callable[..., object] | None) -> Callable[..., object]:
    """A function in whose place the computer stops, after its work if there is any."""

    def stop(*arguments: object, **named: object) -> object:
        if after is not None:
            after(*arguments, **named)
        raise Killed

    return stop


METHODS = ("weather", "forecast", "alerts", "pages", "calendars", "save", "ways")
PLACES = [
    *((daily_command._Run, name, True) for name in METHODS),
    *((outbox, "keep_post", written) for written in (False, True)),
    *((told, "keep_told", written) for written in (False, True)),
    (alert_commands, "alerts_calendar_file", True),
]
"""What is stopped, and whether it had done its work."""


def stopped(
    season: Path, server: MailServer, patch: pytest.MonkeyPatch, where: Any, name: str,
    written: bool,
) -> None:  # fmt: skip
    """A run in which the computer stops at a function."""
    with patch.context() as one:
        one.setattr(where, name, dies(getattr(where, name) if written else None))
        with pytest.raises(Killed):
            run(season, server)


@pytest.mark.parametrize(("where", "name", "written"), PLACES)
def test_stopped_anywhere_the_next_run_does_what_is_left(
    where: Any, name: str, written: bool, whole: dict[str, bytes], season: Path,
    server: MailServer, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Stopped before or after any write, the next run ends where one that ran through does."""
    stopped(season, server, monkeypatch, where, name, written)
    if (season / told.FILE).exists():
        assert (season / outbox.FILE).exists(), "nothing counts as told that may be lost"
    good, _ = run(season, server)
    assert good
    assert contents(season) == whole
    assert len(server.taken) == 1


@pytest.fixture(scope="module")
def whole(
    made: Path, tmp_path_factory: pytest.TempPathFactory, server: MailServer
) -> dict[str, bytes]:
    """What a run leaves behind that nothing stopped."""
    folder = tmp_path_factory.mktemp("whole") / "season"
    shutil.copytree(made, folder)
    run(folder, server)
    server.taken.clear()
    return contents(folder)


def test_stopped_before_it_was_told_yesterdays_mail_is_not_written_twice(
    season: Path, server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The outbox knows what was put into it, also on the next day."""
    stopped(season, server, monkeypatch, told, "keep_told", False)
    (first,) = read_post(season).messages
    run(season, server, at=MORNING + dt.timedelta(days=1))
    later = [key for one in read_post(season).messages[1:] for key in one.told]
    assert set(first.told).isdisjoint(later)


KILLED = """
import datetime as dt, os, shutil, signal, sys
from pathlib import Path
from stagecast.cli import daily_command

season, place = map(Path, sys.argv[1:])
pages, old, save = season / "pages", place / "old", daily_command._Run.save

def kill_at(moment):
    calls = 0
    def counted(real):
        def call(*arguments, **named):
            nonlocal calls
            calls += 1
            if calls == moment:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*arguments, **named)
        return call
    for name in ("fsync", "replace", "unlink"):
        setattr(os, name, counted(getattr(os, name)))

def killed_at_every_moment(run):
    shutil.copytree(pages, old)
    for moment in range(1, 1_000):
        child = os.fork()
        if child == 0:
            kill_at(moment)
            save(run)
            os._exit(0)
        killed = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        pages.rename(place / (f"killed-{moment}" if killed else "new"))
        if not killed:
            return "there"
        shutil.copytree(old, pages)

def run(day):
    morning = dt.datetime(2026, 6, day, 5, 30)
    daily_command.run_daily(season, as_of=morning.date(), clock=lambda: morning,
                            hands=lambda _: {}, say=print)

run(19)
daily_command._Run.save = killed_at_every_moment
run(20)
"""


@pytest.mark.skipif("sys.platform == 'win32'", reason="forks")
def test_killed_anywhere_the_pages_are_of_one_morning(season: Path, tmp_path: Path) -> None:
    """Killed at every call to the disk that saves: all of Friday's or all of Saturday's."""
    place = tmp_path / "place"
    place.mkdir()
    command = [sys.executable, "-c", KILLED, str(season), str(place)]
    subprocess.run(command, check=True, env=process_environment())

    def pages(folder: Path) -> dict[str, bytes]:
        sweep(folder)  # as the next run does first
        return {one.name: one.read_bytes() for one in folder.iterdir()}

    old, new = pages(place / "old"), pages(place / "new")
    assert old.keys() - new.keys() == {"day.html"}, "nobody walks on a Saturday"
    killed = [pages(folder) for folder in place.glob("killed-*")]
    assert len(killed) > len(old) + 2 * len(new)
    assert all(found in (old, new) for found in killed)
    assert old in killed
    assert new in killed


def test_a_run_that_was_killed_while_it_saved_is_finished_by_the_next(
    season: Path, server: MailServer
) -> None:
    """Also by a run that has no forecast: a set that was ready is put in its place first."""
    run(season, server)
    ready = season / "pages" / f"{PREFIX}killed"
    (ready / "files").mkdir(parents=True)
    (ready / "owner").touch()
    (ready / "files" / "overview.html").write_text("newer", "utf-8")
    (ready / "ready.json").write_text('{"new": ["overview.html"], "gone": ["day.html"]}', "utf-8")
    for station in (season / "weather").iterdir():
        station.unlink()
    run(season, server)
    assert (season / "pages" / "overview.html").read_text("utf-8") == "newer"
    assert not (season / "pages" / "day.html").exists()
    assert not ready.exists()


def test_without_a_network_the_stored_days_are_used(
    season: Path, server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The weather says so, the forecast says how old it is, and all else is made."""

    def down(*_: object, **__: object) -> None:
        raise WeatherOutage("the service", "no connection", next_step="try again later")

    monkeypatch.setattr(weather_command, "run_weather", down)
    good, lines = run(season, server)
    assert not good
    assert "FAILED the service: no connection" in lines["weather"]
    assert "what is stored is used" in lines["weather"]
    assert "3 days old" in lines["forecast"]
    assert all(" ok " in lines[step] for step in STEPS[1:])


def test_one_step_that_fails_does_not_stop_the_others(season: Path, server: MailServer) -> None:
    """A file in the way of the pages and a server that refuses are told; the rest is done."""
    (season / "pages").write_text("mine", "utf-8")
    server.kind = "busy"
    good, lines = run(season, server)
    assert not good
    failed = {step for step in STEPS if " FAILED " in lines[step]}
    assert failed == {"saved", "sent"}
    assert (season / "pages").read_text("utf-8") == "mine"
    assert (season / told.FILE).exists()
    server.kind = "accept"
    (season / "pages").unlink()
    assert run(season, server)[0]
    assert len(server.taken) == 1


def test_what_waits_is_sent_where_there_is_no_forecast(season: Path, server: MailServer) -> None:
    """A table that broke since costs the pages, not the mail of yesterday."""
    server.kind = "busy"
    run(season, server)
    server.kind = "accept"
    for station in (season / "weather").iterdir():
        station.unlink()
    good, lines = run(season, server)
    assert not good
    assert "there is no forecast" in lines["alerts"]
    assert len(server.taken) == 1


def test_quiet_hours_wait_in_the_outbox(season: Path, server: MailServer) -> None:
    """At four nothing goes out and nothing is lost; at half past five it does."""
    early = MORNING.replace(hour=4)
    good, lines = run(season, server, at=early)
    assert good
    assert "1 waits until 5:00: quiet hours" in lines["sent"]
    assert server.taken == []
    assert "1 sent" in run(season, server)[1]["sent"]


def test_only_one_run_at_a_time(season: Path) -> None:
    """A second run says so and ends, and so does ``alerts``; afterwards the folder is free."""
    with held(season / "daily.lock", busy="at work"):
        for command in ("daily", "alerts"):
            ran = run_command(command, season, "--as-of", FRIDAY.isoformat())
            assert (ran.code, ran.out) == (2, "")
            assert "is at work in this folder" in ran.err
    assert not (season / told.FILE).exists()
    with held(season / "daily.lock", busy="at work"):
        pass


def test_a_lock_that_cannot_be_had_is_told(tmp_path: Path) -> None:
    """A folder in its place is one sentence, not an endless wait."""
    (tmp_path / "daily.lock").mkdir()
    with pytest.raises(StoreError, match=r"daily\.lock"), held(tmp_path / "daily.lock", busy=""):
        pass


def test_the_command_ends_with_5_where_a_step_failed(season: Path) -> None:
    """Nobody listens at the port of season.toml: the exit code says so, and so does the line."""
    text = (season / "season.toml").read_text("utf-8")
    with mail_server() as gone:
        port = gone.port
    text = text.replace(
        "[mail]", f'[alerts]\nquiet_from = "0:00"\nquiet_to = "0:00"\n[mail]\nport = {port}'
    )
    (season / "season.toml").write_text(text, "utf-8")
    ran = run_command("daily", season, "--as-of", FRIDAY.isoformat())
    assert ran.code == 5
    assert f"1 waits for the next run: 127.0.0.1 port {port}" in ran.out
    assert run_command("daily", season / "nowhere").code == 2


def test_alerts_on_the_screen_go_out_as_well(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a person saw first is still sent; what was asked of another day is not."""
    monkeypatch.setattr(alert_commands, "now", lambda: MORNING)
    assert run_command("alerts", season, "--as-of", "2026-06-18").code == 0
    assert read_post(season).messages == ()
    assert run_command("alerts", season, "--as-of", FRIDAY.isoformat()).code == 0
    (waits,) = read_post(season).waiting
    document = json.loads((season / told.FILE).read_text("utf-8"))
    assert {key for key, _ in waits.told} <= set(document["alerts"])
