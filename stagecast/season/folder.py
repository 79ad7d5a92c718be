"""A season folder as a whole: read, checked, and either complete or refused with every reason."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems, StoreError, in_file_order
from stagecast.knowledge import Knowledge, load
from stagecast.season.locks import FILE as LOCKS_FILE
from stagecast.season.locks import Lock, read_locks
from stagecast.season.log.entries import LOG_FILE, ScoutingLog
from stagecast.season.log.store import LogStore
from stagecast.season.log.visits import other_years, with_log
from stagecast.season.rules import place_limits
from stagecast.season.settings.own_knowledge import read_own_knowledge
from stagecast.season.settings.settings import Settings, SettingsFile, read_settings
from stagecast.season.settings.work import (
    EXAMPLE_HOME,
    HOME,
    hours_problems,
    named_like_fields,
)
from stagecast.season.tables.blocked import BLOCKED_FILE, Blocked, read_blocked
from stagecast.season.tables.fields import FIELDS_FILE, Field, UndatedField, read_fields
from stagecast.season.tables.traps import TRAPS_FILE, Catch, read_traps
from stagecast.season.tables.travel import Legs, read_travel
from stagecast.season.tables.visits import VISITS_FILE, Visit, order_problems, read_visits


@dataclass(frozen=True, slots=True)
class SeasonFolder:
    """Everything a consultant keeps for one year, free of errors.

    Attributes
    ----------
    fields: those with a planting date or an expected one, in file order; may be empty.
    undated: those that wait for their planting date, likewise; nothing is forecast for them.
    visits: of visits.csv in file order, then of the scouting log by date; one per field and day.
    doubts: what is possible but unlikely, in file order.
    us_order: files in which dates were read as month/day/year, so that a screen can say so.
    knowledge: what ships with stagecast, with the folder's own pests and thresholds laid over it.
    log: what stands of the scouting log, of the season's year alone; empty where there is none.
    catches: of this season and of past ones, in file order; may be empty.
    blocked: times in which fields must not be entered, in file order; may be empty.
    locks: field id -> the day and scout that a person put it on; lapsed ones too.
    legs: (from, to) -> way by road, for the pairs of places in travel.csv, both ways.
    """

    path: Path
    settings: Settings
    fields: tuple[Field, ...]
    visits: tuple[Visit, ...]
    doubts: tuple[Problem, ...]
    us_order: tuple[str, ...]
    knowledge: Knowledge = field(repr=False)
    undated: tuple[UndatedField, ...] = ()
    log: ScoutingLog = field(default_factory=ScoutingLog)
    catches: tuple[Catch, ...] = ()
    blocked: tuple[Blocked, ...] = ()
    legs: Legs = field(default_factory=dict)
    locks: Mapping[str, Lock] = field(default_factory=dict)
    _by_field: dict[str, tuple[Visit, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def field_ids(self) -> list[str]:
        """Ids of all fields, those without a planting date last."""
        return [*(one.field_id for one in self.fields), *(one.field_id for one in self.undated)]

    @property
    def regions(self) -> tuple[str, ...]:
        """Codes of the states in which fields lie, the season's own first; it alone without any."""
        own = self.settings.region
        found = sorted(
            {field.region for field in self.fields}, key=lambda code: (code != own, code)
        )
        return tuple(found) or (own,)

    def region_of(self, field_id: str) -> str:
        """Code of the state in which a field lies."""
        own = self.settings.region
        return next((one.region for one in self.fields if one.field_id == field_id), own)

    def visits_of(self, field_id: str) -> tuple[Visit, ...]:
        """The visits to one field, in their order; they are parted by field once."""
        if not self._by_field:
            found: dict[str, list[Visit]] = {}
            for visit in self.visits:
                found.setdefault(visit.field_id, []).append(visit)
            self._by_field.update((name, tuple(visits)) for name, visits in found.items())
        return self._by_field.get(field_id, ())


def read_season(
    path: Path,
    *,
    shipped: Knowledge | None = None,
    log: ScoutingLog | None = None,
) -> SeasonFolder:
    """Read a season folder; nothing in it is ever written.

    Parameters
    ----------
    path: the folder, with season.toml and fields.csv, and visits.csv, scouting.sqlite, traps.csv,
        blocked.csv, travel.csv and pests/*.toml where there are visits, catches, blocked times,
        distances and pests of one's own.
    shipped: optional; what the folder's own pests and thresholds are laid over; default what ships.
    log: optional; taken in place of what stands of the folder's own. Only entries of the
        season's year take part; nothing that reads a season filters them again.

    Raises
    ------
    SeasonProblems
        With the errors of all files, in file order.
    StoreError
        The scouting log cannot be read.
    """
    require_folder(path)
    shipped = load() if shipped is None else shipped
    places = place_limits(shipped)
    settings = read_settings(path, regions=shipped.regions, limits=places)
    own = read_own_knowledge(path, settings=settings, shipped=shipped)
    region = "" if settings.settings is None else settings.settings.region
    fields = read_fields(path, year=settings.year, knowledge=shipped, region=region)
    visits = read_visits(path, year=settings.year, field_ids=fields.field_ids)
    order = order_problems(visits.visits, fields.fields)
    # A pest whose own file is wrong is not told again for each of its catches.
    pests = own.knowledge.pests if own.unread is not None else None
    most = int(shipped.traps.most_checks)
    traps = read_traps(
        path, year=settings.year, pests=pests, places=places, most=most, unread=own.unread or ()
    )
    blocked = read_blocked(path, year=settings.year, field_ids=fields.field_ids)
    travel = read_travel(path, field_ids=fields.field_ids, scouts=_scouts(settings))
    told = _settings_problems(settings, shipped, fields.field_ids)
    problems = told + own.problems + fields.problems + visits.problems
    later = traps.problems + blocked.problems + travel.problems
    errors = [p for p in problems + order + later if not p.doubtful]
    if errors or settings.settings is None:
        raise SeasonProblems(errors)
    every_year = LogStore(path / LOG_FILE).read() if log is None else log
    year = settings.settings.year
    log = every_year.of_year(year)
    locks, unlocked = _locks(path)
    logged = with_log(
        visits.visits,
        log,
        fields=fields.fields,
        field_ids=fields.field_ids,
        pests=own.knowledge.pests,
    )
    doubts = (*problems, *logged.doubts, *other_years(every_year, year), *later, *unlocked)
    us_order = {
        FIELDS_FILE: fields.us_order,
        VISITS_FILE: visits.us_order,
        TRAPS_FILE: traps.us_order,
        BLOCKED_FILE: blocked.us_order,
    }
    return SeasonFolder(
        path=path,
        settings=settings.settings,
        fields=fields.fields,
        visits=logged.visits,
        doubts=(
            *_home_doubts(settings, bool(fields.fields or fields.undated)),
            *(problem for problem in doubts if problem.doubtful),
        ),
        us_order=tuple(name for name, used in us_order.items() if used),
        knowledge=own.knowledge,
        undated=fields.undated,
        log=log,
        catches=traps.catches,
        blocked=blocked.blocked,
        legs=travel.legs,
        locks=locks,
    )


def _locks(path: Path) -> tuple[dict[str, Lock], tuple[Problem, ...]]:
    """Where a person put fields; none of a file that cannot be read, and that it is so."""
    try:
        return read_locks(path), ()
    except StoreError as error:
        message = f"{error.reason}: no field is held where you put it"
        return {}, (Problem(LOCKS_FILE, message, next_step=error.next_step, doubtful=True),)


def _settings_problems(
    settings: SettingsFile, knowledge: Knowledge, field_ids: Collection[str] | None
) -> tuple[Problem, ...]:
    """What is wrong with season.toml, also against the usual hours and the other files."""
    hours = hours_problems(settings.toml, knowledge.workday.hours)
    names = named_like_fields(settings.toml, field_ids or ())
    return in_file_order([*settings.problems, *hours, *names])


def _scouts(settings: SettingsFile) -> tuple[str, ...] | None:
    """The names of scouts; None where they are not known."""
    if settings.settings is None:
        return None
    return tuple(scout.name for scout in settings.settings.scouts)


def _home_doubts(read: SettingsFile, has_fields: bool) -> tuple[Problem, ...]:
    """Doubt a home base that is still the example's once there are fields to drive to."""
    home = None if read.settings is None else read.settings.home
    if home is None or not has_fields or (home.latitude, home.longitude) != EXAMPLE_HOME:
        return ()
    message = "this is still the point of the example"
    step = "put in where your day starts: every route starts and ends there"
    return (read.toml.fault((HOME,), message, next_step=step, doubtful=True),)


def require_folder(path: Path) -> None:
    """Refuse a path that is no folder, or none that may be read."""
    try:
        is_folder, exists = path.is_dir(), path.exists()
    except OSError:  # a folder above it may not be entered
        is_folder, exists = False, False
    if is_folder and os.access(path, os.R_OK | os.X_OK):
        return
    if is_folder:
        message = "this folder may not be read"
        step = "ask for the right to read it"
    elif exists:
        message = "this is a file, not a season folder"
        step = "give the folder it lies in, or make one with `stagecast new DIR`"
    else:
        message = "there is no such folder"
        step = f"make one with `stagecast new {path}`"
    raise SeasonProblems([Problem(str(path), message, next_step=step)])
