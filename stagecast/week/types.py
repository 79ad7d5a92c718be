"""The week's route as people and files are told it: days, stops, and what is left out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from stagecast.season.tables.fields import Field
from stagecast.visits.plan import FieldPlan, SeasonPlan

Solver = Literal["pyvrp", "insertion"]


@dataclass(frozen=True, slots=True)
class WaitingTerm:
    """One part of what a field loses by waiting one day.

    Attributes
    ----------
    name : str
        In words: a pest's name, ``the stand``, ``what nobody foresees``.
    pest : str or None
        Id, for a pest's term.
    dollars : float
        Expected loss of that day, of the whole field.
    chance : float
        That there is a loss to be had: the pest at its threshold, the stand poor.
    per_acre : float
        Dollars an acre and day, where there is.
    why : str
        How the numbers came about, in words; says where they rest on judgement.
    """

    name: str
    pest: str | None
    dollars: float
    chance: float
    per_acre: float
    why: str


@dataclass(frozen=True, slots=True)
class WaitingCost:
    """What a field loses by waiting.

    Attributes
    ----------
    field_id : str
    first_day : datetime.date
        The day from which waiting counts: the first of the route.
    by_day : tuple of float
        Dollars lost on that day and each one after it, for as long as a field left out waits.
    terms : tuple of WaitingTerm
        Of the first day; the largest first.
    """

    field_id: str
    first_day: dt.date
    by_day: tuple[float, ...]
    terms: tuple[WaitingTerm, ...]

    def until(self, day: dt.date) -> float:
        """Dollars lost when the field is walked on a day: those of all days before it."""
        return sum(self.by_day[: max(0, (day - self.first_day).days)])

    @property
    def left_out(self) -> float:
        """Dollars lost when it is left out."""
        return sum(self.by_day)


@dataclass(frozen=True, slots=True)
class HotDay:
    """A day that may be hot.

    Attributes
    ----------
    high_c : float
        Middle of the possible highs.
    chance : float
        That the declared limit is reached; 1 or 0 where a forecast stands for the day.
    limit_c : float
    caution : str
    """

    high_c: float
    chance: float
    limit_c: float
    caution: str


@dataclass(frozen=True, slots=True, eq=False)
class WeekStop:
    """A field to walk.

    Attributes
    ----------
    plan : FieldPlan
    arrive, leave : datetime.datetime
        Local time, to the minute.
    look_for : tuple of str
        On that day; the most pressing first.
    sampling : str
        Id of the sampling method; "" where no window is open.
    sets : int
        How many sets, places or plants to take.
    drive_km, drive_min : float
        From the stop before it, or from home.
    waiting : WaitingCost
    """

    plan: FieldPlan
    arrive: dt.datetime
    leave: dt.datetime
    look_for: tuple[str, ...]
    sampling: str
    sets: int
    drive_km: float
    drive_min: float
    waiting: WaitingCost

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id

    @property
    def days_late(self) -> int:
        """Days after the due date on which it is walked; negative before it, 0 without one."""
        due = self.plan.visit.due
        return 0 if due is None else (self.arrive.date() - due).days

    @property
    def efficacy_check(self) -> bool:
        """Whether a treatment is to be looked at."""
        return self.plan.visit.not_before is not None


@dataclass(frozen=True, slots=True, eq=False)
class ScoutDay:
    """One scout's day; without stops where there is nothing to walk.

    Attributes
    ----------
    date : datetime.date
    scout : str
        Name; "" for the one scout of a season that names none.
    home : (float, float)
        Latitude and longitude where it starts and ends.
    leave_home, back_home : datetime.datetime or None
        None without stops.
    stops : tuple of WeekStop
    drive_km, drive_min : float
        The way home included.
    work_min : float
        In the fields.
    lunch : (datetime.datetime, datetime.datetime) or None
        When it is taken; None where the day is over before, or begins after.
    hot : HotDay or None
    starts_at : Field or None
        Where the day starts; None for home.
    """

    date: dt.date
    scout: str
    home: tuple[float, float]
    leave_home: dt.datetime | None
    back_home: dt.datetime | None
    stops: tuple[WeekStop, ...]
    drive_km: float
    drive_min: float
    work_min: float
    lunch: tuple[dt.datetime, dt.datetime] | None
    hot: HotDay | None
    starts_at: Field | None = None

    @property
    def start(self) -> tuple[float, float]:
        """Latitude and longitude where it starts."""
        at = self.starts_at
        return self.home if at is None else (at.latitude, at.longitude)


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """A field that is due and not walked.

    Attributes
    ----------
    plan : FieldPlan
    why : str
    waiting : WaitingCost
    """

    plan: FieldPlan
    why: str
    waiting: WaitingCost

    @property
    def field_id(self) -> str:
        """Id of the field."""
        return self.plan.field_id


@dataclass(frozen=True, slots=True, eq=False)
class Above:
    """A field counted above a threshold and not treated since: it waits for a decision.

    Attributes
    ----------
    plan : FieldPlan
    pest, name : str
        Id and name.
    found : str
        What was counted, and when.
    """

    plan: FieldPlan
    pest: str
    name: str
    found: str


@dataclass(frozen=True, slots=True)
class Moved:
    """A field whose day changed when the week was planned anew.

    Attributes
    ----------
    field_id : str
    was, to : (datetime.date, str) or None
        Day and scout; None where it was or is left out.
    why : str
    """

    field_id: str
    was: tuple[dt.date, str] | None
    to: tuple[dt.date, str] | None
    why: str


@dataclass(frozen=True, slots=True)
class RuleResult:
    """What a way of making the route comes to, in dollars.

    Attributes
    ----------
    rule : str
        In words: ``this route``, ``nearest field first``, ``due date first``.
    walked : int
    drive_km : float
    drive_cost : float
    waiting_cost : float
        Of the fields walked, until they are, and of those left out.
    missed : int
        Fields that must be walked and are not.
    """

    rule: str
    walked: int
    drive_km: float
    drive_cost: float
    waiting_cost: float
    missed: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class WeekRoute:
    """The week.

    Attributes
    ----------
    season : SeasonPlan
    first_day, last_day : datetime.date
    days : tuple of ScoutDay
        By date, then in the order of the scouts; working days only.
    left_out : tuple of LeftOut
        The dearest first.
    done : tuple of str
        Ids of fields that were said to be walked already.
    moved : tuple of Moved
        Against the same week without what was said to have happened since.
    ways, ways_estimated : int
        Drives of the route, and those of them whose distance is an estimate.
    solver : {"pyvrp", "insertion"}
    beside : tuple of RuleResult
        Empty unless asked for.
    above : tuple of Above
        Of all fields, also those not due in these days.
    """

    season: SeasonPlan
    first_day: dt.date
    last_day: dt.date
    days: tuple[ScoutDay, ...]
    left_out: tuple[LeftOut, ...]
    done: tuple[str, ...]
    moved: tuple[Moved, ...]
    ways: int
    ways_estimated: int
    solver: Solver
    beside: tuple[RuleResult, ...] = ()
    above: tuple[Above, ...] = ()

    @property
    def stops(self) -> tuple[WeekStop, ...]:
        """All stops, by day and scout."""
        return tuple(stop for day in self.days for stop in day.stops)

    @property
    def not_due(self) -> tuple[str, ...]:
        """Ids of fields that need no visit in these days."""
        fields: list[WeekStop | LeftOut] = [*self.stops, *self.left_out]
        told = {one.field_id for one in fields} | set(self.done)
        ids = (plan.field_id for plan in self.season.fields)
        return tuple(field_id for field_id in ids if field_id not in told)
