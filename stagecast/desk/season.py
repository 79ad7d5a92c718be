"""The season behind the desk: planned from the folder, kept until a file of it changes.

A page never waits for a plan. It shows the last one that is ready and says that a newer one is on
its way (:class:`Latest`); what is made to be sent to others waits for the newest
(:meth:`DeskSeason.plan`).
"""

from __future__ import annotations

import datetime as dt
import itertools
import os
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TypeVar, cast

from stagecast.base.errors import StagecastError
from stagecast.base.shelf import Shelf
from stagecast.base.steps import step
from stagecast.desk.messages import link
from stagecast.desk.planner import Job, Planner
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.log.book import LogBook
from stagecast.season.log.entries import LOG_FILE, AnyEntry, LoggedVisit, ScoutingLog, standing
from stagecast.season.log.store import LogStore
from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.kept import FOLDERS, kept_season
from stagecast.week.week import WeekRoute, season_route

KEPT = {"plan": 2, "log": 1, "book": 1}
"""How many of each are kept: plans of many fields are large, and two stand side by side."""

T = TypeVar("T")
Files = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a plan is: fields so far and in all, 0 until it is known; then comes the route."""

    done: int
    of: int


@dataclass(frozen=True, slots=True)
class Latest:
    """What can be shown now.

    Attributes
    ----------
    season: the last plan that is ready; None where there is none yet.
    version: another one for every plan.
    progress: how far the plan of the folder as it is now has come; None where ``season`` is it.
    """

    season: SeasonDay | None
    version: str
    progress: Progress | None = None


class DeskSeason:
    """A season folder, and what follows from it; nothing is kept anywhere else.

    Parameters
    ----------
    clock: local time
    as_of: nothing measured or seen after it takes part; default the clock's day
    busy_timeout_s: how long somebody who sent a form waits for another program that writes to the
        log, in seconds
    patience_s: how long a page waits for a plan that is on its way, in seconds
    shelf: where commands keep what they worked out; the first plan may lie there
    """

    def __init__(
        self,
        folder: Path,
        *,
        clock: Callable[[], dt.datetime],
        as_of: dt.date | None = None,
        busy_timeout_s: float = 3.0,
        patience_s: float = 0.0,
        shelf: Shelf | None = None,
    ) -> None:
        self.folder = folder
        self.clock = clock
        self.busy_timeout_s = busy_timeout_s
        self.patience_s = patience_s
        self._shelf = shelf
        self.planner: Planner[SeasonDay] = Planner()
        self._as_of = as_of
        self._known: dict[str, OrderedDict[Hashable, object]] = {
            kind: OrderedDict() for kind in KEPT
        }
        self._newest: SeasonDay | None = None
        self._numbers = itertools.count(1)
        self._failed: dict[Hashable, Exception] = {}
        self._run = secrets.token_hex(4)
        self._lock = threading.RLock()

    @property
    def as_of(self) -> dt.date:
        """The day of the forecast."""
        return self._as_of or self.clock().date()

    def book(self, *, called: Mapping[str, str]) -> LogBook:
        """The log, and what its entries may name, as the folder stands now."""

        def made() -> LogBook:
            return LogBook.of(self.folder, called=called, busy_timeout_s=self.busy_timeout_s)

        files = files_of(self.folder)
        # Without a file the folder is gone: that is told, and not what was known of it.
        return self._once("book", (files, *called.items()), made) if files else made()

    def folder_read(self) -> SeasonFolder | None:
        """The folder as it is now, without weather and log; None where something is wrong in it."""
        try:
            return read_season(self.folder, log=ScoutingLog())
        except StagecastError:
            return None

    # -- plans ---------------------------------------------------------------------------

    def latest(self, *, tells: bool = True) -> Latest:
        """The last plan, and how far a newer one is; the errors of :meth:`SeasonDay.open`.

        ``tells``: whether a person is told of an error now; after that it is tried again.
        """
        key = self._key(self.standing_log())
        found = self._ready(key, patience_s=self.patience_s, tells=tells)
        if found is not None:
            return Latest(found, self._version(found))
        job = self.planner.job(key)
        progress = Progress(0, 0) if job is None else Progress(job.done, job.of)
        shown = self._newest
        return Latest(shown, "" if shown is None else self._version(shown), progress)

    def plan(self) -> SeasonDay:
        """The plan of the folder as it is now, waited for; the errors are the same."""
        while True:
            key = self._key(self.standing_log())
            found = self._ready(key, patience_s=None)
            if found is not None:
                return found

    def planned(self) -> SeasonDay:
        """The last plan; where there is none yet, the first one, waited for."""
        return self.latest().season or self.plan()

    def without(self, entry: AnyEntry) -> SeasonDay | None:
        """The plan had an entry never been made; None while it is worked out.

        Right after an entry it is the plan from before, which is still known.
        """
        key = self._key(log_without(self.every_entry(), entry))
        return self._ready(key, patience_s=self.patience_s, alone=False)

    def route(self) -> WeekRoute:
        """The week's route from the day of the forecast on; without days outside the season."""
        return season_route(self.plan())

    def every_entry(self) -> ScoutingLog:
        """Every entry; the file is read again when it has changed or grown."""
        store = LogStore(self.folder / LOG_FILE)
        key = (files_of(self.folder, log=True), store.count())
        return self._once("log", key, store.all_entries)

    def standing_log(self) -> ScoutingLog:
        """What stands of them now."""
        every = self.every_entry()
        return standing(every.visits, every.treatments)

    def _key(self, log: ScoutingLog) -> Hashable:
        """What a plan follows from, from before any of it is read.

        What changes while a plan is made shows at the next question.
        """
        return self.as_of, files_of(self.folder), log

    def _ready(
        self, key: Hashable, *, patience_s: float | None, alone: bool = True, tells: bool = True
    ) -> SeasonDay | None:
        """The plan of a key; None where it is not ready in time, or was given up.

        ``alone``: whether it is the plan of the folder as it is now, and any other is stale.
        """
        with self._lock:
            known = self._known["plan"]
            if key in known:
                known.move_to_end(key)
                found = cast(SeasonDay, known[key])
                self._newest = found if alone else self._newest
                return found
            if key in self._failed:
                raise self._failed.pop(key) if tells else self._failed[key]
            as_of, _, log = cast(tuple[dt.date, Files, ScoutingLog], key)
            job = self.planner.start(
                key, lambda job: self._made(job, as_of, log, alone), alone=alone
            )
        self.planner.wait(job, patience_s)
        if job.error is not None:
            if tells:
                self._failed.pop(key, None)
            raise job.error
        return job.result

    def _made(
        self, job: Job[SeasonDay], as_of: dt.date, log: ScoutingLog, newest: bool
    ) -> SeasonDay:
        """A plan with all that the list of fields shows, field by field.

        ``newest``: whether it is what pages show from now on.
        """
        from stagecast.desk.listing import listing

        try:
            season = self._kept(as_of, log) if newest else None
            season = season or SeasonDay.open(self.folder, as_of=as_of, log=log)
            job.of = len(season.fields)
            for field in season.fields:
                assert field.visit
                job.done += 1
                step()
            season_route(season)
            listing(season)
        except Exception as error:
            with self._lock:
                self._failed = {job.key: error}  # for who did not wait for it
            raise
        with self._lock:
            known = self._known["plan"]
            known[job.key] = season
            self._newest = season if newest else self._newest
            if len(known) > KEPT["plan"]:
                known.popitem(last=False)
        return season

    def _kept(self, as_of: dt.date, log: ScoutingLog) -> SeasonDay | None:
        """The plan that a command kept, where it was made of this very log; None without it."""
        found = kept_season(self.folder, as_of=as_of, shelf=self._shelf)
        return found if found is not None and self.standing_log() == log else None

    def _version(self, season: SeasonDay) -> str:
        number = season.once("desk version", lambda: next(self._numbers))
        return f"{self._run}-{number}"

    def _once(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """What was made before under the same key."""
        with self._lock:
            known = self._known[kind]
            if key in known:
                known.move_to_end(key)
            else:
                known[key] = make()
                if len(known) > KEPT[kind]:
                    known.popitem(last=False)
            return cast(T, known[key])


def files_of(folder: Path, *, log: bool = False) -> Files:
    """Name, time of change and size of every file that takes part; the log, or the others.

    What SQLite keeps beside the log changes when it is read, and is in neither.
    """
    every = sorted(_files(folder))
    if log:
        return tuple(found for found in every if found[0] == LOG_FILE)
    return tuple(found for found in every if not found[0].startswith(LOG_FILE))


def _files(folder: Path) -> Iterator[tuple[str, int, int]]:
    for place in FOLDERS:
        try:
            with os.scandir(folder / place) as entries:
                for entry in entries:
                    if entry.is_file():
                        found = entry.stat()
                        yield os.path.join(place, entry.name), found.st_mtime_ns, found.st_size
        except OSError:  # it is not there, or going just now: reading it will say so
            continue


def log_without(every: ScoutingLog, entry: AnyEntry) -> ScoutingLog:
    """What stands of all entries had one never been made."""
    if isinstance(entry, LoggedVisit):
        kept = (v for v in every.visits if v.visit_id != entry.visit_id)
        return standing(kept, every.treatments)
    left = (t for t in every.treatments if t.treatment_id != entry.treatment_id)
    return standing(every.visits, left)


_START = "<header>"


def brief_page(desk: DeskSeason, field_id: str) -> str:
    """The grower's page of a field; SeasonProblems where no station can speak for it."""
    from stagecast.pages.growers.brief import brief_html, brief_of

    text = brief_html(brief_of(desk.plan().field(field_id)))
    return with_way_back(text, link("field", field=field_id), "Back to the field")


def overview_page(desk: DeskSeason) -> str:
    """All fields of the season, with the week's route."""
    from stagecast.pages.overview import overview, overview_html

    route = desk.route()
    text = overview_html(overview(route))
    return with_way_back(text, "/", "Back to the fields")


def with_way_back(text: str, href: str, said: str) -> str:
    """A page that is made to be sent, with a way back to the desk above it; not in print."""
    bar = (
        '<nav class="no-print" aria-label="Desk" style="margin-bottom: .75rem">'
        f'<a href="{escape(href)}">{said}</a></nav>\n'
    )
    assert text.count(_START) == 1, "every page has one beginning of its own"
    return text.replace(_START, bar + _START)


def day_walked(route: WeekRoute, date: str, scout: str) -> ScoutDay | None:
    """A scout's day as a link names it; None where no field is walked on it."""
    walked = (day for day in route.days if day.stops)
    return next((d for d in walked if (d.date.isoformat(), d.scout) == (date, scout)), None)


def sheet_page(
    desk: DeskSeason, date: str, scout: str, *, form_token: str = ""
) -> tuple[str, ScoutDay] | None:
    """The sheet of a day for the phone, and the day; None where no field is walked on it.

    ``form_token``: with it the sheet sends counts back to the desk where it was opened.
    """
    from stagecast.pages.phone.sheet import FromDesk, sheet_html

    route = desk.route()
    day = day_walked(route, date, scout)
    if day is None:
        return None
    way_back = FromDesk(form_token, link("sheet", day=date, scout=scout)) if form_token else None
    return sheet_html(route, day, desk=way_back), day
