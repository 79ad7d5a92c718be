"""Treatments: when a field may be entered again, and when to look whether one worked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from stagecast.knowledge.rules import Treated
from stagecast.season.log.entries import LONGEST_REENTRY_HOURS, ScoutingLog, Treatment, standing

ONE_DAY = dt.timedelta(days=1)
_MINUTE = dt.timedelta(minutes=1)
_LAST = dt.datetime.max - 2 * ONE_DAY


@dataclass(frozen=True, slots=True)
class NoEntry:
    """A field that may not be entered before ``until``, in local time of the field.

    Of its treatments, this one's restricted-entry interval ends last.
    """

    until: dt.datetime
    treatment: Treatment

    @property
    def reentry_hours(self) -> float:
        """As the user read it from the label; a year at most."""
        return min(self.treatment.reentry_hours, LONGEST_REENTRY_HOURS)

    @property
    def until_minute(self) -> dt.datetime:
        """The same, with seconds rounded up to the minute, for people and files."""
        return whole_minute(self.until)

    @property
    def first_free_day(self) -> dt.date:
        """The first day of which no moment is restricted."""
        day = self.until.date()
        return day if self.until.time() == dt.time() else day + ONE_DAY


def entry_from(treatment: Treatment) -> dt.datetime:
    """The first moment at which a treatment of its own lets one in.

    An interval longer than a year, which old logs may hold, is taken as a year.
    """
    interval = dt.timedelta(hours=min(treatment.reentry_hours, LONGEST_REENTRY_HOURS))
    return treatment.applied_at + min(interval, _LAST - min(treatment.applied_at, _LAST))


def whole_minute(moment: dt.datetime) -> dt.datetime:
    """The moment, with seconds rounded up to the minute."""
    whole = moment.replace(second=0, microsecond=0)
    return whole if whole == moment else whole + _MINUTE


def no_entry_until(log: ScoutingLog, field_id: str, at: dt.datetime) -> NoEntry | None:
    """Until when a field may not be entered, asked at a moment.

    None where it may; at the very end of the interval it may. Of several treatments the one that
    ends last counts, also where it was applied before the others ended and after ``at``. Those
    that were corrected do not count.

    Parameters
    ----------
    log : ScoutingLog
        Of any fields.
    at : datetime.datetime
        Local time of the field, without a zone.

    References
    ----------
    US Environmental Protection Agency, Worker Protection Standard, 40 CFR part 170.
    """
    return _held(_treatments(log, field_id), at, at)


def no_entry_on(log: ScoutingLog, field_id: str, day: dt.date) -> NoEntry | None:
    """The same for a whole day: None only where the field may be entered at every moment of it.

    The hours of a day before a treatment count as restricted, since nobody plans to the minute.
    """
    begins = dt.datetime.combine(day, dt.time())
    return _held(_treatments(log, field_id), begins, begins + ONE_DAY - dt.datetime.resolution)


def no_entry_as_of(log: ScoutingLog, field_id: str, as_of: dt.date) -> NoEntry | None:
    """The same as it stood on that day: treatments dated later are not known yet."""
    return no_entry_on(log.up_to(as_of), field_id, as_of)


def first_free_day(log: ScoutingLog, field_id: str, day: dt.date) -> dt.date:
    """The day itself, or the first one after it on which the field may be entered all day."""
    while (held := no_entry_on(log, field_id, day)) is not None:
        day = held.first_free_day
    return day


def _treatments(log: ScoutingLog, field_id: str) -> Sequence[Treatment]:
    """What stands of a field's treatments; a correction may have moved one to another field."""
    return [t for t in standing((), log.treatments).treatments if t.field_id == field_id]


def _held(treatments: Sequence[Treatment], first: dt.datetime, last: dt.datetime) -> NoEntry | None:
    """The end of all intervals that meet a span, and of those that begin before these end."""
    found: NoEntry | None = None
    for treatment in treatments:  # by time of application
        ends = entry_from(treatment)
        reach = last if found is None else max(last, found.until)
        meets = treatment.applied_at <= reach and first < ends > treatment.applied_at
        if meets and (found is None or ends > found.until):
            found = NoEntry(ends, treatment)
    return found


@dataclass(frozen=True, slots=True)
class EfficacyCheck:
    """The days between which a treatment is looked at, and how many days after it they lie.

    Neither ``soonest`` nor ``latest`` lies inside a restricted-entry interval; ``held`` is the one
    that puts the check off.
    """

    treatment: Treatment
    days_after: tuple[int, int]
    soonest: dt.date
    latest: dt.date
    held: NoEntry | None


def efficacy_check(
    log: ScoutingLog,
    last_visit: dt.date | None,
    *,
    as_of: dt.date,
    rule: Treated,
    days: tuple[int, int] | None = None,
) -> EfficacyCheck | None:
    """The check that the last treatment of a field still waits for, if any.

    Parameters
    ----------
    log : ScoutingLog
        Of one field; treatments after ``as_of`` ask for nothing yet.
    last_visit : datetime.date or None
        A visit sooner than the soonest day for a check is none.
    rule : Treated
        How many days after a treatment (common practice, no source). Where the field may not be
        entered then, the check comes on the first day that is free.
    """
    treatments = log.up_to(as_of).treatments
    if not treatments:
        return None
    treatment = treatments[-1]
    after = (int(rule.check_soonest), int(rule.check_latest)) if days is None else days
    first, last = (treatment.applied_at.date() + number * ONE_DAY for number in after)
    if last_visit is not None and last_visit >= first:
        return None
    held = no_entry_on(log, treatment.field_id, first)
    soonest = first_free_day(log, treatment.field_id, first)
    latest = first_free_day(log, treatment.field_id, max(last, soonest))
    return EfficacyCheck(treatment, after, soonest, latest, held)
