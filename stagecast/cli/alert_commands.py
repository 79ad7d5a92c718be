"""The command that tells ahead."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import (
    AsOf,
    AsScreen,
    Folder,
    Screen,
    Texts,
    day,
    now,
    open_season,
    option,
    print_json,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stagecast.base.savefile import NewFile
    from stagecast.season.told import ToldAlerts
    from stagecast.visits.season_day import SeasonDay
    from stagecast.week.alerts import Alert

LOCK = "daily.lock"
BUSY = "stagecast daily or alerts is at work in this folder"

NEWS = 4
"""Exit code of ``--exit-code`` where something is new."""

All = Annotated[bool, typer.Option("--all", help="Also those that were told before.")]
ExitCode = Annotated[
    bool,
    typer.Option("--exit-code", help=f"Exit with {NEWS} where something is new, for schedulers."),
]
Message = Annotated[
    bool, typer.Option("--message", help="One text message of at most 160 letters for each scout.")
]
AlertsCalendar = Annotated[
    Path | None, option("--calendar", "FILE", "Write a calendar that phones may subscribe to.")
]
PutDone = Annotated[
    Texts, option("--done", "KEY", "Be done with this alert. May be given more than once.")
]
PutOff = Annotated[
    Texts,
    option(
        "--later", "KEY=DAYS", "Tell this alert again in so many days. May be given more than once."
    ),
]


def alerts(
    folder: Folder,
    as_of: AsOf = None,
    format_: AsScreen = Screen.table,
    every: All = False,
    done: PutDone = None,
    later: PutOff = None,
    message: Message = False,
    calendar: AlertsCalendar = None,
    exit_code: ExitCode = False,
) -> None:
    """What is about to happen or has changed.

    Each is told once, and again when it gets worse.
    """
    from stagecast.base.lock import held
    from stagecast.base.savefile import save_files
    from stagecast.base.terminal import console
    from stagecast.files.alerts import alerts_document
    from stagecast.screens.alerts import show_alerts
    from stagecast.season.told import keep_told, read_told
    from stagecast.week.alerts import alerts_of, telling
    from stagecast.week.morning import morning_of
    from stagecast.words.morning import short_texts

    season = open_season(folder, as_of=day(as_of), routed=True)
    with held(folder / LOCK, busy=BUSY):
        told = _put_away(read_told(folder), done or [], later or [], season.as_of)
        found = alerts_of(season, told)
        new = [alert for alert in found if told.is_new(alert, season.as_of)]
        shown = found if every else new
        if calendar is not None:
            save_files([alerts_calendar_file(calendar, season, found)])
        if format_ is Screen.json:
            print_json(alerts_document(season, shown, new={alert.key for alert in new}))
        elif message:
            for scout, text in short_texts(morning_of(season, None), new):
                typer.echo(f"{scout}: {text}" if scout else text)
        else:
            show_alerts(console(), season, shown, others=len(found) - len(shown))
        sends = bool(season.settings.mail or season.settings.alerts.command)
        if season.as_of == now().date():
            count_as_told(folder, season, new, told, made_at=now())
        else:
            # Who looks at another day must not use up what is yet to be sent.
            keep_told(folder, told if sends else telling(told, season, new))
    if exit_code and new:
        raise typer.Exit(NEWS)


def alerts_calendar_file(path: Path, season: SeasonDay, alerts: Sequence[Alert]) -> NewFile:
    """The calendar, to be written over one of ours."""
    from stagecast.base.savefile import NewFile
    from stagecast.files.alerts import CALENDAR_MARK, alerts_calendar

    ours = lambda beginning: CALENDAR_MARK in beginning or not beginning.strip()  # noqa: E731
    return NewFile(path, alerts_calendar(season, alerts), ours)


def count_as_told(
    folder: Path,
    season: SeasonDay,
    new: Sequence[Alert],
    told: ToldAlerts,
    *,
    made_at: dt.datetime,
) -> int:
    """Put what is new into the outbox, then keep that it was told; how many messages were made."""
    from stagecast.season.told import keep_told
    from stagecast.week.alerts import telling

    made = []
    if season.settings.mail or season.settings.alerts.command:
        from stagecast.files.mail import new_messages
        from stagecast.season.outbox import keep_post, read_post

        post = read_post(folder)
        made = list(new_messages(season, new, told, post, made_at=made_at.astimezone()))
        if made:
            keep_post(folder, post.with_new(made))
    keep_told(folder, telling(told, season, new))
    return len(made)


def _put_away(told: ToldAlerts, done: list[str], later: list[str], as_of: dt.date) -> ToldAlerts:
    """What was told, with alerts a person is done with or puts off; every problem at once."""
    from stagecast.base.errors import Problem, SeasonProblems

    asked: list[tuple[str, str, int | None]] = [("--done", key, None) for key in done]
    problems = []
    for text in later:
        key, _, days = text.rpartition("=")
        if days.isdecimal() and 0 < len(days) <= 3:
            asked.append(("--later", key, int(days)))
        else:
            accepted = "a key, = and a number of days, such as F07.near-R2=3"
            problems.append(
                Problem(
                    "--later", "this does not say for how many days", found=text, accepted=accepted
                )
            )
    for option_, key, _ in asked:
        if key not in told.alerts:
            step = "copy the key from stagecast alerts DIR --all"
            problems.append(Problem(option_, "no such alert was told", found=key, next_step=step))
    if problems:
        raise SeasonProblems(problems)
    for _, key, number in asked:
        until = None if number is None else as_of + dt.timedelta(days=number)
        told = told.put_away(key, later=until)
    return told
