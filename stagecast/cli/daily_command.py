"""All of a morning in one run, for cron or a task scheduler."""

from __future__ import annotations

import datetime as dt
import io
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from stagecast.cli.alert_commands import BUSY, LOCK
from stagecast.cli.options import AsOf, Folder, day, now, open_season

if TYPE_CHECKING:
    from stagecast.base.savefile import NewFile
    from stagecast.cli.ways import Hand
    from stagecast.knowledge.rules import Alerts
    from stagecast.season.outbox import Way
    from stagecast.season.settings.settings import Settings
    from stagecast.visits.season_day import SeasonDay
    from stagecast.week.alerts import Alert

FAILED = 5
"""Exit code where a step failed."""

PAGES = "pages"

Clock = Callable[[], dt.datetime]
Hands = Callable[["Settings"], Mapping["Way", "Hand"]]


def daily(folder: Folder, as_of: AsOf = None) -> None:
    """A whole morning in one run, for a scheduler.

    Weather, forecast, alerts, pages, calendars, and what waits to be sent.
    """
    from stagecast.cli.ways import hook, smtp
    from stagecast.season.settings.telling import PASSWORD

    def hands(settings: Settings) -> Mapping[Way, Hand]:
        found: dict[Way, Hand] = {}
        if settings.mail is not None:
            found["mail"] = smtp(settings.mail, password=os.environ.get(PASSWORD))
        if settings.alerts.command:
            found["command"] = hook(folder, settings.alerts.command)
        return found

    if not run_daily(folder, as_of=day(as_of), clock=now, hands=hands, say=typer.echo):
        raise typer.Exit(FAILED)


def run_daily(
    folder: Path, *, as_of: dt.date, clock: Clock, hands: Hands, say: Callable[[str], object]
) -> bool:
    """One step after another, each with a line of the log; whether all of them went well.

    Raises
    ------
    StagecastError
        There is no such folder, or another run is at work in it.
    """
    from stagecast.base.lock import held
    from stagecast.base.unfinished import sweep
    from stagecast.season.folder import require_folder

    require_folder(folder)
    with held(folder / LOCK, busy=BUSY):
        sweep(folder / PAGES)  # a run that was stopped while it saved
        run = _Run(folder, as_of, clock, hands)
        steps: tuple[tuple[str, Callable[[], str]], ...] = (
            ("weather", run.weather), ("forecast", run.forecast), ("alerts", run.alerts),
            ("pages", run.pages), ("calendar", run.calendars), ("saved", run.save),
            ("sent", run.ways),
        )  # fmt: skip
        good = [_step(name, step, clock, say) for name, step in steps]
    return all(good)


class _StepFailed(Exception):
    """A step that could not do all that it is for; its text is the line of the log."""


def _step(name: str, step: Callable[[], str], clock: Clock, say: Callable[[str], object]) -> bool:
    """Run a step and say in one line what came of it; no fault in it ends the run."""
    from stagecast.base.errors import StagecastError
    from stagecast.base.textfiles import clean

    started, good = clock(), True
    try:
        text = step()
    except StagecastError as error:
        first, *more = error.sentences() or [""]
        text, good = f"{first} (and {len(more)} more)" if more else first, False
    except Exception as error:
        text, good = (str(error) if isinstance(error, _StepFailed)
                      else f"{type(error).__name__}: {error}"), False  # fmt: skip
    ended = clock()
    took = int((ended - started).total_seconds())
    mark = "ok" if good else "FAILED"
    line = f"{ended:%Y-%m-%d %H:%M:%S} {name:<8} {mark:<6} {' '.join(text.split())} ({took} s)"
    say(clean(line))
    return good


@dataclass(slots=True)
class _Run:
    """The steps of one run; later ones use the season that the second has opened.

    Attributes
    ----------
    made, beside, gone: pages, calendars, and pages of older mornings that go: saved as one set.
    """

    folder: Path
    as_of: dt.date
    clock: Clock
    hands: Hands
    season: SeasonDay | None = None
    known: tuple[Alert, ...] | None = None
    made: dict[Path, str] = field(default_factory=dict)
    beside: list[NewFile] = field(default_factory=list)
    gone: list[Path] = field(default_factory=list)

    def weather(self) -> str:
        """Fetch; where that fails, what is stored goes on."""
        from rich.console import Console

        from stagecast.base.errors import StagecastError
        from stagecast.cli.weather_command import fetched_text, run_weather

        said = io.StringIO()
        try:
            today = self.clock().date()
            reports = run_weather(
                self.folder, through=self.as_of, today=today, ahead=self.as_of == today,
                screen=Console(file=said, width=10_000),
            )  # fmt: skip
        except StagecastError as error:
            raise _StepFailed(f"{error.sentences()[0]}; what is stored is used") from error
        lines = [line.strip() for line in said.getvalue().splitlines() if line.strip()]
        fetched = "; ".join(map(fetched_text, reports))
        return fetched or (lines[0] if lines else "nothing to fetch")

    def forecast(self) -> str:
        """Open the season and say how old its temperatures are."""
        from stagecast.base.errors import SeasonProblems
        from stagecast.words.morning import age_text
        from stagecast.words.notes import counted

        season = open_season(self.folder, as_of=self.as_of, routed=True)
        told = f"{counted(len(season.fields), 'field')}; {age_text(season)}"
        self.season = season
        if season.loaded.refused:
            raise SeasonProblems(season.loaded.refused)
        return told

    def pages(self) -> str:
        """The overview, a page for each field, and the day's stops of every scout."""
        from stagecast.cli.page_commands import brief_pages, sheet_pages
        from stagecast.pages.growers.brief import brief_of
        from stagecast.pages.overview import overview, overview_html
        from stagecast.week.week import season_route
        from stagecast.words.notes import counted

        season, folder = self._opened(), self.folder / PAGES
        route = season_route(season)
        page = {folder / "overview.html": overview_html(overview(route))}
        briefs = brief_pages(folder, season, [brief_of(one) for one in season.fields], pdf=False)
        sheets, gone = sheet_pages(folder, route, self.as_of)
        self.made, self.gone = page | briefs | sheets, gone
        fields, today = counted(len(season.fields), "field"), counted(len(sheets), "day sheet")
        return f"overview, {fields}, {today}"

    def calendars(self) -> str:
        """Alerts to subscribe to, and the week's stops carried on from the last run."""
        from stagecast.cli.alert_commands import alerts_calendar_file
        from stagecast.cli.week_command import calendar_file
        from stagecast.week.week import season_route
        from stagecast.words.notes import counted

        season, folder = self._opened(), self.folder / PAGES
        alerts = self._alerts(season)
        route, week = season_route(season), folder / "week.ics"
        self.beside.append(alerts_calendar_file(folder / "alerts.ics", season, alerts))
        if route.stops or week.exists():
            self.beside.append(calendar_file(route, week, stamped=self.clock()))
        return f"{counted(len(alerts), 'alert')}, {counted(len(route.stops), 'stop')}"

    def save(self) -> str:
        """Pages and calendars in the places of the last morning's: all of them, or none."""
        from stagecast.pages.render import make_folder, save_pages
        from stagecast.words.notes import counted

        self._opened()
        files = len(self.made) + len(self.beside)
        if not files:
            raise _StepFailed("nothing was made; what is there stays")
        folder = self.folder / PAGES
        make_folder(folder)
        save_pages(self.made, beside=self.beside, gone=self.gone)
        return f"{counted(files, 'file')} in {folder}"

    def alerts(self) -> str:
        """Put what is new into the outbox, and only then count it as told."""
        from stagecast.cli.alert_commands import count_as_told
        from stagecast.season.told import read_told
        from stagecast.words.notes import counted

        season = self._opened()
        found, told = self._alerts(season), read_told(self.folder)
        new = [alert for alert in found if told.is_new(alert, season.as_of)]
        made = count_as_told(self.folder, season, new, told, made_at=self.clock())
        return f"{len(new)} new of {len(found)}, {counted(made, 'message')} made"

    def ways(self) -> str:
        """Hand over what waits; in quiet hours it goes on waiting."""
        from stagecast.cli.ways import send_out
        from stagecast.season.outbox import read_post
        from stagecast.words.morning import sent_text

        rule, settings = self._rule_and_settings()
        hands = self.hands(settings)
        if not hands and not read_post(self.folder).waiting:
            return "no mail and no command in season.toml"
        to = () if settings.mail is None else settings.mail.to
        places: set[tuple[Way, str]] = {("mail", address) for _, address in to}
        if settings.alerts.command:
            places.add(("command", ""))
        sent = send_out(
            self.folder, hands,
            places=places,
            quiet=rule.quiet_at(self.clock().time()),
            since=self.as_of - dt.timedelta(days=int(rule.outbox_days)),
        )  # fmt: skip
        told = sent_text(sent, quiet_to=rule.quiet_to)
        if sent.failed or sent.perhaps or sent.lapsed:
            raise _StepFailed(told)
        return told

    def _opened(self) -> SeasonDay:
        if self.season is None:
            raise _StepFailed("not made: there is no forecast")
        return self.season

    def _alerts(self, season: SeasonDay) -> tuple[Alert, ...]:
        """The alerts of this run, as they were before any was told."""
        from stagecast.season.told import read_told
        from stagecast.week.alerts import alerts_of

        if self.known is None:
            self.known = alerts_of(season, read_told(self.folder))
        return self.known

    def _rule_and_settings(self) -> tuple[Alerts, Settings]:
        """What holds for sending, also where there is no forecast."""
        from stagecast.season.folder import read_season

        read = read_season(self.folder) if self.season is None else self.season.loaded.season
        return read.knowledge.alerts, read.settings
