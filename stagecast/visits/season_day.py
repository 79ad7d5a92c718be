"""A season as it stands on a day: what follows from a folder, made once and only when asked for.

Commands, pages and the desk take a :class:`SeasonDay`; a :class:`FieldDay` is one of its fields.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TypeVar, cast

from stagecast.base.dates import DAY_S
from stagecast.base.errors import Problem, SeasonProblems
from stagecast.counts.assess import assess_visit, counted_days
from stagecast.counts.assessment import FieldAssessment
from stagecast.counts.stand import StandAssessment, assess_stand, last_stand
from stagecast.forecast.field_names import field_named
from stagecast.forecast.forecast import FieldForecast, forecast_season
from stagecast.forecast.load import LoadedSeason, ReadFolder, as_it_stood, read_folder
from stagecast.forecast.observations import doubts as observation_doubts
from stagecast.knowledge import Knowledge
from stagecast.pests.clock import PestClock
from stagecast.pests.traps.history import season_histories
from stagecast.pests.traps.near import lost_traps
from stagecast.pests.windows import SEEDLING, ScoutingWindow, crop_windows, in_order, pest_windows
from stagecast.season.log.entries import LoggedVisit, ScoutingLog
from stagecast.season.settings.settings import Settings
from stagecast.season.settings.work import WEEKDAYS, Weekday
from stagecast.season.settings.workday import crew
from stagecast.season.tables.blocked import Blocked
from stagecast.season.tables.fields import Field
from stagecast.season.tables.visits import Visit, last_visits
from stagecast.visits.heat import SeasonHeat
from stagecast.visits.last_look import InsectsEnd, insects_end
from stagecast.visits.look_for import is_open
from stagecast.visits.other_looks import FieldLook, field_looks, freezes
from stagecast.visits.pressure import CountedPressure, counted_pressure, latest_visit
from stagecast.visits.reentry import ONE_DAY, NoEntry, no_entry_as_of
from stagecast.visits.revisit import NextVisit, next_visit

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class SeasonDay:
    """A season folder on a day.

    Attributes
    ----------
    read : ReadFolder
    as_of : datetime.date
        Nothing measured or seen after it takes part.
    """

    read: ReadFolder
    as_of: dt.date
    _assessed: dict[tuple[LoggedVisit, FieldForecast | None], FieldAssessment] = field(
        default_factory=dict, repr=False
    )
    _kept: dict[str, object] = field(default_factory=dict, repr=False)

    @classmethod
    def open(cls, path: Path, *, as_of: dt.date, log: ScoutingLog | None = None) -> SeasonDay:
        """Read a season folder; a log that is given is taken in place of the folder's own.

        Raises
        ------
        SeasonProblems
            With every error of every file.
        """
        day = cls(read_folder(path, log=log), as_of)
        year = day.read.season.settings.year
        if as_of.year < year - 1:
            message = f"this day is more than a year before the season of {year}"
            step = "set the date of this computer, or give the day with --as-of"
            raise SeasonProblems.of("as of", message, found=str(as_of), next_step=step)
        assert day.loaded.as_of == as_of  # what is wrong with the weather is told at once
        return day

    @cached_property
    def loaded(self) -> LoadedSeason:
        """The folder cut at the day, its weather screened, a station for every field."""
        return as_it_stood(self.read, as_of=self.as_of)

    @property
    def settings(self) -> Settings:
        """Those of season.toml."""
        return self.loaded.season.settings

    @property
    def knowledge(self) -> Knowledge:
        """What ships with stagecast, with the folder's own pests and thresholds over it."""
        return self.read.season.knowledge

    @cached_property
    def clock(self) -> PestClock:
        """Heat and biofixes of every pest, with what past years' traps foretell."""
        return PestClock(self.loaded, season_histories(self.read, as_of=self.as_of))

    @cached_property
    def _working(self) -> frozenset[Weekday]:
        everyone = crew(self.settings, self.knowledge)
        return frozenset(day for scout in everyone for day in scout.working_days)

    def workday(self, day: dt.date) -> dt.date:
        """The day itself, or the first one after it that is somebody's working day."""
        while WEEKDAYS[day.weekday()] not in self._working:
            day += ONE_DAY
        return day

    @cached_property
    def heat(self) -> SeasonHeat:
        """Heat of this season beside past ones."""
        return SeasonHeat(self.read, self.clock)

    @cached_property
    def fields(self) -> tuple[FieldDay, ...]:
        """Every field that has weather, in file order."""
        return tuple(FieldDay(self, forecast) for forecast in forecast_season(self.loaded))

    def field(self, asked: str, *, option: str = "FIELD") -> FieldDay:
        """The field with an id, in any case.

        Raises
        ------
        SeasonProblems
            When there is no such field, or no station can speak for it.
        """
        field_id = field_named(asked, self.loaded.season, option=option).field_id
        found = self.find(field_id)
        if found is not None:
            return found
        refused = self.loaded.refused
        raise SeasonProblems([p for p in refused if p.field_id == field_id] or refused)

    def find(self, field_id: str) -> FieldDay | None:
        """The field with this very id, where it can be forecast."""
        return next((one for one in self.fields if one.field_id == field_id), None)

    @cached_property
    def by_need(self) -> tuple[FieldDay, ...]:
        """The fields by need.

        What is overdue or due today comes first: of that, what was unseen for too long, then
        critical windows, then others. The rest follows by due date; fields with no visit due come
        last.
        """
        return tuple(sorted(self.fields, key=_need))

    def once(self, what: str, make: Callable[[], T]) -> T:
        """What a room above makes of the season, kept under a name: the same for all who ask."""
        if what not in self._kept:
            self._kept[what] = make()
        return cast(T, self._kept[what])

    @cached_property
    def doubts(self) -> tuple[Problem, ...]:
        """Those of the folder and its traps, and what was seen in a field against all reason."""
        seen = [doubt for one in self.fields for doubt in observation_doubts(one.forecast.lessons)]
        lost = lost_traps(self.loaded.season.catches, self.loaded.stations)
        return (*self.loaded.doubts, *lost, *seen)

    def assess(self, visit: LoggedVisit, forecast: FieldForecast | None) -> FieldAssessment:
        """Hold the counts of a visit against the thresholds of its day; each visit once.

        Raises
        ------
        SeasonProblems
            When nobody noted the stage and no station can speak for the field.
        """
        key = visit, forecast
        if key not in self._assessed:
            self._assessed[key] = assess_visit(visit, forecast, self.loaded)
        return self._assessed[key]

    def assess_stand(
        self, field: Field, visit: LoggedVisit | None = None
    ) -> StandAssessment | None:
        """What a stand count of a field says; of the last up to the day where none is given."""
        planted = field.planting_date
        if visit is None:
            log = self.loaded.season.log.of_field(field.field_id)
            visit = last_stand(log.visits, planted=planted, as_of=self.as_of)
        if visit is None:
            return None
        return assess_stand(visit, planted=planted, region=field.region, knowledge=self.knowledge)

    @cached_property
    def _last_visits(self) -> dict[str, Visit]:
        return last_visits(self.loaded.season.visits, self.as_of)


@dataclass(frozen=True, eq=False)
class FieldDay:
    """One field of a season on a day.

    Attributes
    ----------
    season : SeasonDay
    forecast : FieldForecast
    """

    season: SeasonDay
    forecast: FieldForecast

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.forecast.field.field_id

    @cached_property
    def log(self) -> ScoutingLog:
        """The field's own log.

        Treatments dated after the day asked for are in it: they close days of the week, since a
        field is never planned for a day on which it may not be entered.
        """
        return self.season.loaded.season.log.of_field(self.field_id)

    @cached_property
    def counted_days(self) -> dict[dt.date, LoggedVisit]:
        """What was counted in it, by day; two visits of one day count as one."""
        return counted_days(self.log.visits)

    @cached_property
    def no_entry(self) -> NoEntry | None:
        """Set where the field may not be entered at every moment of the day asked for."""
        return no_entry_as_of(self.log, self.field_id, self.season.as_of)

    @cached_property
    def blocked(self) -> tuple[Blocked, ...]:
        """The blocked times that touch the day asked for."""
        everywhere, as_of = self.season.loaded.season.blocked, self.season.as_of
        ours = (one for one in everywhere if one.field_id == self.field_id)
        return tuple(one for one in ours if one.first <= as_of <= one.last)

    @property
    def due_on(self) -> dt.date | None:
        """The working day on which it is due: of a due day without work the next one.

        After it the field is overdue.
        """
        due = self.visit.due
        return None if due is None else self.season.workday(due)

    def days_late(self, day: dt.date) -> int:
        """Days after the due date that a day is; negative before it, 0 without one.

        0 too up to the working day on which it is due, where nobody works on the due date.
        """
        due, due_on = self.visit.due, self.due_on
        if due is None or due_on is None:
            return 0
        return 0 if due < day <= due_on else (day - due).days

    @property
    def unseen_too_long(self) -> bool:
        """Whether the last day on which it may be unseen is over, or is the day asked for."""
        limit = self.visit.limit
        return limit is not None and limit <= self.season.as_of

    @property
    def closed(self) -> bool:
        """Whether nobody may enter it on the day asked for, or not at every moment of it."""
        all_day = any((one.from_s, one.to_s) == (0, DAY_S) for one in self.blocked)
        return self.no_entry is not None or all_day

    @cached_property
    def windows(self) -> tuple[ScoutingWindow, ...]:
        """All windows of the crop and its pests, by opening date."""
        crop = crop_windows(self.forecast, self.season.knowledge)
        return tuple(in_order([*crop, *pest_windows(self.forecast, self.season.clock)]))

    @cached_property
    def last_visit(self) -> Visit | None:
        """The last visit up to the day, of visits.csv or of the log."""
        noted = self.season._last_visits.get(self.field_id)
        return latest_visit(noted, self.log.up_to(self.season.as_of))

    def assess(self, visit: LoggedVisit) -> FieldAssessment:
        """Hold the counts of a visit to this field against the thresholds of its day."""
        return self.season.assess(visit, self.forecast)

    def assess_day(self, day: dt.date) -> FieldAssessment | None:
        """The same of all that was counted on a day; None where nothing was."""
        visit = self.counted_days.get(day)
        return None if visit is None else self.assess(visit)

    @cached_property
    def stand(self) -> StandAssessment | None:
        """What the last stand count says."""
        return self.season.assess_stand(self.forecast.field)

    @cached_property
    def last_stand(self) -> StandAssessment | None:
        """What the stand count of the last visit says; None where that had none."""
        found, last = self.stand, self.last_visit
        return found if found and last and found.date == last.date else None

    @cached_property
    def poor_stand(self) -> StandAssessment | None:
        """The stand of the last visit that is not to be kept as it is, while it may be mended.

        It may while it is not late to replant, and all through the seedling weeks.
        """
        found = self.last_stand
        if found is None or found.answer == "keep":
            return None
        young = any(
            w.pest is None and w.window == SEEDLING and is_open(w, found.date) for w in self.windows
        )
        return found if young or not found.late else None

    @cached_property
    def counted(self) -> CountedPressure | None:
        """What the counts of the last visit say of the next; None where nothing was counted."""
        found = None if self.last_visit is None else self.assess_day(self.last_visit.date)
        return None if found is None else counted_pressure(found, self.season.knowledge)

    @cached_property
    def looks(self) -> tuple[FieldLook, ...]:
        """What its stages call for besides insects, as far as it is not over."""
        season, station = self.season, self.forecast.weather.match.station.station
        return field_looks(
            self.forecast,
            self.log,
            as_of=season.as_of,
            off=season.settings.looks.off,
            next_freeze=season.once(
                f"freezes at {station}", lambda: freezes(self.forecast, season.knowledge)
            ),
            knowledge=season.knowledge,
        )

    @cached_property
    def insects_end(self) -> InsectsEnd:
        """When insects no longer cost yield by its state's texts."""
        field, season = self.forecast.field, self.season
        planted = field.first_planted and field.planting_date
        log = self.log.up_to(season.as_of)
        ours = log if planted is None else log.after(planted)
        return insects_end(self.forecast, ours, region=field.region, knowledge=season.knowledge)

    @cached_property
    def visit(self) -> NextVisit:
        """When to be back, and why."""
        season = self.season
        return next_visit(
            self.forecast,
            self.windows,
            self.last_visit,
            as_of=season.as_of,
            region=self.forecast.field.region,
            knowledge=season.knowledge,
            counted=self.counted,
            log=self.log,
            asked=season.settings.visits,
            looks=self.looks,
            stand=self.poor_stand,
        )


def _need(one: FieldDay) -> tuple[dt.date, bool, bool, dt.date, str]:
    """Of the same day of walking: unseen for too long, critical windows, then by delay."""
    due, field_id = one.visit.due, one.field_id
    if due is None:
        return dt.date.max, True, True, dt.date.max, field_id
    walked = max(due, one.season.as_of)
    critical = any(w.critical and w.state(walked, entering_days=0) == "open" for w in one.windows)
    return walked, not one.unseen_too_long, not critical, due, field_id
