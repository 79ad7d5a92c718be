"""Days from one visit to the next by what was found: 5, 7 or 10, and what makes it sooner."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from stagecast.counts.stand import StandAssessment
from stagecast.knowledge import Knowledge
from stagecast.season.log.entries import ScoutingLog, Treatment
from stagecast.season.tables.visits import Pressure, Visit
from stagecast.visits.pressure import CountedPressure, Density, GoBack


@dataclass(frozen=True, slots=True)
class Interval:
    """Days since the last visit by its pressure: counted, noted in a word, or not known.

    ``sprayed``: the treatment since which a quiet field is not left for long. ``rests``: these are
    the days that the user chose for the time between the seedling weeks and R1.
    """

    days: int
    last_visit: dt.date
    found: CountedPressure | Pressure | None
    sprayed: Treatment | None = None
    rests: bool = False


@dataclass(frozen=True, slots=True)
class Crossing:
    """A density that may pass its threshold by a day, and how likely; it makes a visit sooner.

    ``rate_sd`` is that of the growth, per day; ``not_after_days`` what the interval was without it.
    """

    day: dt.date
    density: Density
    counted_on: dt.date
    probability: float
    rate_sd: float
    days: int
    instead_of_days: int


@dataclass(frozen=True, slots=True)
class SourceSays:
    """A source says to be back for a pest within some days; it makes a visit sooner.

    In dry weather only, where the rule says so: then it moves no visit, since nobody knows of
    the weather to come.
    """

    back: GoBack
    days: int
    instead_of_days: int


@dataclass(frozen=True, slots=True)
class LongestGap:
    """No field is left for more days than these without a look; it makes a visit sooner."""

    days: int
    instead_of_days: int


@dataclass(frozen=True, slots=True)
class PoorStand:
    """A stand that was not to be kept as it is; it makes a visit sooner."""

    stand: StandAssessment
    days: int
    instead_of_days: int


IntervalReason = Interval | Crossing | SourceSays | PoorStand


def days_to_next(
    visit: Visit,
    counted: CountedPressure | None,
    *,
    knowledge: Knowledge,
    log: ScoutingLog | None = None,
    rest_days: int | None = None,
    stand: StandAssessment | None = None,
) -> tuple[int, tuple[IntervalReason, ...]]:
    """How many days after a visit the next one is due, and why.

    ``counted``: what the counts of the visit say; goes before the word noted for it.
    ``log``: of the field, for treatments before the visit.
    ``rest_days``: of a field that may rest; it does where nothing that was found speaks against it.
    ``stand``: counted at the visit, poor, and still to be mended.

    Notes
    -----
    Seven days is the rule, five near threshold, ten when there was virtually nothing (common
    practice, no source), seven for some days after a treatment. Seven or ten become five where the
    threshold is likely passed by their end, or a poor stand waits for a second look. No projection
    asks for less than five: a field that is above already is due then, and one that may become so
    is never seen sooner. A source that says to be back within some days for what was found is
    followed; a field in which such a pest was found, dry weather or not, does not rest.
    """
    if counted is not None and counted.go_back:
        rest_days = None
    interval = _interval(visit, counted, knowledge, log, rest_days)
    days, near = interval.days, int(knowledge.revisit.near_threshold_days)
    found: list[IntervalReason] = [interval]
    if stand is not None and near < days:
        found.append(PoorStand(stand, near, days))
        days = near
    if counted is None:
        return days, tuple(found)
    crossing = _crossing(counted, days, knowledge)
    if crossing is not None:
        found.append(crossing)
        days = crossing.days
    for back in sorted(counted.go_back, key=lambda one: one.rule.days[1]):
        latest = max(back.rule.days[1], int(knowledge.revisit.soon_days))
        if back.rule.when == "treated" or latest >= days:
            continue
        found.append(SourceSays(back, latest, days))
        if back.rule.when != "dry":
            days = latest
    return days, tuple(found)


def _interval(
    visit: Visit,
    counted: CountedPressure | None,
    knowledge: Knowledge,
    log: ScoutingLog | None,
    rest_days: int | None,
) -> Interval:
    """Days from the last visit to the next by the pressure that was met."""
    rule, pressure = knowledge.revisit, visit.pressure
    found: CountedPressure | Pressure | None = pressure
    if counted is not None and counted.pressure is not None:
        pressure, found = counted.pressure, counted
    if pressure == "near threshold":
        return Interval(int(rule.near_threshold_days), visit.date, found)
    sprayed = _sprayed(visit, log, int(knowledge.decisions.treated.again))
    if sprayed is None and rest_days is not None:
        return Interval(rest_days, visit.date, found, rests=True)
    if pressure == "virtually none" and sprayed is None:
        return Interval(int(rule.quiet_days), visit.date, found)
    if pressure != "virtually none":
        sprayed = None
    return Interval(int(rule.base_days), visit.date, found, sprayed)


def _sprayed(visit: Visit, log: ScoutingLog | None, within_days: int) -> Treatment | None:
    """The last treatment of a field in the days before a visit."""
    if log is None:
        return None
    before = log.of_field(visit.field_id).up_to(visit.date).treatments
    since = visit.date - dt.timedelta(days=within_days)
    return before[-1] if before and before[-1].applied_at.date() >= since else None


def _crossing(counted: CountedPressure, days: int, knowledge: Knowledge) -> Crossing | None:
    """What makes the visit sooner since a threshold may be passed; the likeliest of all pests."""
    rule, growth = knowledge.revisit, knowledge.decisions.growth
    near = int(rule.near_threshold_days)
    if days <= near or not counted.growing:
        return None
    chances = [one.over_by(days, knowledge.decisions) for one in counted.growing]
    best = max(range(len(chances)), key=chances.__getitem__)
    if chances[best] <= float(growth.crossing):
        return None
    day = counted.counted_on + dt.timedelta(days=days)
    density, sd = counted.growing[best], float(growth.sd)
    return Crossing(day, density, counted.counted_on, chances[best], sd, near, days)
