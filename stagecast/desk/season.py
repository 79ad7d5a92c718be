"""The season behind the desk: planned from the folder, kept until a file of it changes."""

from __future__ import annotations

import datetime as dt
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping
from html import escape
from pathlib import Path
from typing import TypeVar, cast

from stagecast.desk.messages import link
from stagecast.season.log.book import LogBook
from stagecast.season.log.entries import LOG_FILE, AnyEntry, LoggedVisit, ScoutingLog, standing
from stagecast.season.log.store import LogStore
from stagecast.visits.season_day import SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import WeekRoute, season_route

FOLDERS = ("pests", "weather")
"""Folders inside a season folder whose files take part."""

KEPT = {"plan": 2, "log": 1}
"""How many of each are kept: plans of many fields are large, and two stand side by side."""

T = TypeVar("T")
Files = tuple[tuple[str, int, int], ...]


class DeskSeason:
    """A season folder, and what follows from it; nothing is kept anywhere else.

    Parameters
    ----------
    clock: local time
    as_of: nothing measured or seen after it takes part; default the clock's day
    busy_timeout_s: how long somebody who sent a form waits for another program that writes to the
        log, in seconds
    """

    def __init__(
        self,
        folder: Path,
        *,
        clock: Callable[[], dt.datetime],
        as_of: dt.date | None = None,
        busy_timeout_s: float = 3.0,
    ) -> None:
        self.folder = folder
        self.clock = clock
        self.busy_timeout_s = busy_timeout_s
        self._as_of = as_of
        self._known: dict[str, OrderedDict[Hashable, object]] = {
            kind: OrderedDict() for kind in KEPT
        }
        self._lock = threading.RLock()

    @property
    def as_of(self) -> dt.date:
        """The day of the forecast."""
        return self._as_of or self.clock().date()

    def book(self, *, called: Mapping[str, str]) -> LogBook:
        """The log, and what its entries may name, as the folder stands now."""
        return LogBook.of(self.folder, called=called, busy_timeout_s=self.busy_timeout_s)

    def plan(self) -> SeasonDay:
        """Every field by need; the errors are those of :meth:`SeasonDay.open`."""
        every = self._log()
        return self._plan(standing(every.visits, every.treatments))

    def plan_without(self, entry: AnyEntry) -> SeasonDay:
        """The same had an entry never been made: what it corrects stands again.

        Right after an entry it is the plan from before, which is still known.
        """
        return self._plan(log_without(self._log(), entry))

    def route(self) -> WeekRoute:
        """The week's route from the day of the forecast on; without days outside the season."""
        with self._lock:
            return season_route(self.plan())

    def _log(self) -> ScoutingLog:
        """Every entry; the file is read again when it has changed or grown."""
        store = LogStore(self.folder / LOG_FILE)
        key = (files_of(self.folder, log=True), store.count())
        return self._once("log", key, store.all_entries)

    def _plan(self, log: ScoutingLog) -> SeasonDay:
        as_of = self.as_of
        key = (as_of, files_of(self.folder), log)
        return self._once("plan", key, lambda: SeasonDay.open(self.folder, as_of=as_of, log=log))

    def _once(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """What was made before under the same key.

        The key holds the state of the folder from before it was read: what changes while
        something is made shows at the next question.
        """
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
    """Name, time of change and size of every file that takes part; the log's, or the others."""
    return tuple(sorted(found for found in _files(folder) if found[0].startswith(LOG_FILE) == log))


def _files(folder: Path) -> Iterator[tuple[str, int, int]]:
    for place in ("", *FOLDERS):
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
    heats = route.season.heat.stations(one.forecast for one in route.season.fields)
    text = overview_html(overview(route, heats))
    return with_way_back(text, "/", "Back to the fields")


def with_way_back(text: str, href: str, said: str) -> str:
    """A page that is made to be sent, with a way back to the desk above it; not in print."""
    bar = (
        '<nav class="no-print" aria-label="Desk" style="margin-bottom: .75rem">'
        f'<a href="{escape(href)}">{said}</a></nav>\n'
    )
    assert text.count(_START) == 1, "every page has one beginning of its own"
    return text.replace(_START, bar + _START)


def sheet_page(desk: DeskSeason, date: str, scout: str) -> tuple[str, ScoutDay] | None:
    """The sheet of a day for the phone, and the day; None where no field is walked on it."""
    from stagecast.pages.sheet import sheet_html

    route = desk.route()
    for day in route.days:
        if (day.date.isoformat(), day.scout) == (date, scout) and day.stops:
            return sheet_html(route, day), day
    return None
