"""The season folder behind the desk: worked out once for each state that it is in."""

from __future__ import annotations

import datetime as dt
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TypeVar, cast

from stagecast.knowledge import load
from stagecast.scouting.load import ReadFolder, read_folder
from stagecast.scouting.log_book import LogBook
from stagecast.scouting.plan import SeasonPlan, plan_season
from stagecast.scouting.week import route_week
from stagecast.scouting.week_problem import Asked
from stagecast.scouting.week_types import WeekRoute
from stagecast.season.log_content import LOG_FILE, AnyEntry
from stagecast.season.log_entries import LoggedVisit, ScoutingLog, standing
from stagecast.season.log_store import LogStore

FOLDERS = ("pests", "weather")
"""Folders inside a season folder whose files take part."""

_KEPT = 6

T = TypeVar("T")
State = tuple[object, ...]


class DeskSeason:
    """A season folder, and what follows from it; nothing is kept anywhere else.

    Parameters
    ----------
    folder : Path
    clock : callable
        Local time.
    as_of : datetime.date, optional
        Nothing measured or seen after it takes part; default the clock's day.
    """

    def __init__(
        self, folder: Path, *, clock: Callable[[], dt.datetime], as_of: dt.date | None = None
    ) -> None:
        self.folder = folder
        self.clock = clock
        self._as_of = as_of
        self._state: State = ()
        self._known: OrderedDict[str, object] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def as_of(self) -> dt.date:
        """The day of the forecast."""
        return self._as_of or self.clock().date()

    def book(self, *, called: Mapping[str, str]) -> LogBook:
        """The log, and what its entries may name, as the folder stands now."""
        return LogBook.of(self.folder, called=called)

    def plan(self) -> SeasonPlan:
        """Every field by need; the errors are those of :func:`plan_season`."""
        return self._worked_out("plan", self._plan)

    def plan_without(self, entry: AnyEntry) -> SeasonPlan:
        """The same had an entry never been made: what it corrects stands again."""
        log = log_without(LogStore(self.folder / LOG_FILE).all_entries(), entry)
        return self._worked_out(f"without {entry!r}", lambda: self._plan(log))

    def route(self) -> WeekRoute:
        """The week's route from the day of the forecast on."""
        return self._worked_out(
            "route", lambda: route_week(self._plan(), Asked(first_day=self.as_of))
        )

    def read(self) -> ReadFolder:
        """The folder as it was read, with what was measured in past seasons."""
        return self._worked_out("read", lambda: read_folder(self.folder, load()))

    def _plan(self, log: ScoutingLog | None = None) -> SeasonPlan:
        return plan_season(self.folder, as_of=self.as_of, knowledge=load(), log=log)

    def _worked_out(self, name: str, make: Callable[[], T]) -> T:
        """What was made of the folder before, unless anything in it has changed since.

        The state is taken first: a change while something is made shows at the next question.
        """
        with self._lock:
            state = (self.as_of, *folder_state(self.folder))
            if state != self._state:
                self._known.clear()
                self._state = state
            if name in self._known:
                self._known.move_to_end(name)
            else:
                self._known[name] = make()
                if len(self._known) > _KEPT:
                    self._known.popitem(last=False)
            return cast(T, self._known[name])


def folder_state(folder: Path) -> State:
    """Name, time of change and size of every file that takes part, and how long the log is."""
    files = sorted(_files(folder))
    return (*files, LogStore(folder / LOG_FILE).count())


def _files(folder: Path) -> Iterator[tuple[str, int, int]]:
    for place in (folder, *(folder / name for name in FOLDERS)):
        try:
            with os.scandir(place) as entries:
                for entry in entries:
                    if entry.is_file():
                        found = entry.stat()
                        yield entry.path, found.st_mtime_ns, found.st_size
        except OSError:  # it is not there, or going just now: reading it will say so
            continue


def log_without(every: ScoutingLog, entry: AnyEntry) -> ScoutingLog:
    """What stands of all entries had one never been made."""
    if isinstance(entry, LoggedVisit):
        kept = (v for v in every.visits if v.visit_id != entry.visit_id)
        return standing(kept, every.treatments)
    left = (t for t in every.treatments if t.treatment_id != entry.treatment_id)
    return standing(every.visits, left)
