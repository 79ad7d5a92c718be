"""The scouting log as visits of the season, beside those of visits.csv, and what is odd in it.

Nothing in the log is an error: what was typed stays, and what cannot be used is told as a doubt.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from stagecast.base.errors import Problem, fold_repeats
from stagecast.season.log.entries import (
    ACCEPTED_COUNT,
    ACCEPTED_SIZE,
    LARGEST_SET,
    LOG_FILE,
    LONGEST_REENTRY_HOURS,
    MOST_COUNTED,
    SMALLEST_SET,
    AnyEntry,
    LoggedVisit,
    ScoutingLog,
    count_rows,
    day_of_entry,
    entry_id,
    kind_of_entry,
)
from stagecast.season.tables.fields import FIELDS_FILE, Field
from stagecast.season.tables.visits import VISITS_FILE, Visit, after_planting, order_problems

_CORRECTION = "`stagecast log add DIR FIELD --corrects {}`"
_CORRECT = f"if it is wrong, log a correction: {_CORRECTION}"
_FEW = 3
"""So many entries of another year may be slips of the keyboard; more are a season."""


@dataclass(frozen=True, slots=True)
class SeasonVisits:
    """Visits of both files, one per field and day, and what is doubtful about those logged."""

    visits: tuple[Visit, ...]
    doubts: tuple[Problem, ...]


def with_log(
    visits: Iterable[Visit],
    log: ScoutingLog,
    *,
    fields: Collection[Field],
    field_ids: Collection[str] | None,
    pests: Collection[str],
) -> SeasonVisits:
    """Visits of visits.csv, and of the log every visit that looked.

    Parameters
    ----------
    visits: those of visits.csv.
    log: of the season's year alone.
    fields: fields that may have visits; of stages before planting nothing is learnt.
    field_ids: the ids in fields.csv; None where any is in doubt.
    pests: ids of the pests known.

    Notes
    -----
    Where both files have a visit to a field on a day, the log wins; the pressure, which the log
    does not hold, and a stage that it lacks are still taken from visits.csv, the pressure only
    where nothing was counted.
    """
    found = list(_doubts(log, field_ids=field_ids, pests=pests))
    known = {field.field_id: field for field in fields}
    usable = [v for v in log.visits if v.field_id in known]
    by_day: dict[tuple[str, dt.date], Visit] = {(v.field_id, v.date): v for v in visits}
    for logged in usable:
        if not logged.looked:
            continue
        before = by_day.get((logged.field_id, logged.date))
        if before is not None and before.entry is None:
            found.append(_in_both(before, logged))
        by_day[logged.field_id, logged.date] = _joined(logged, before)
    every = tuple(by_day.values())
    found += order_problems(every, fields)
    return SeasonVisits(tuple(_with_a_crop(visit, known) for visit in every), fold_repeats(found))


def same_day_doubts(new: Iterable[LoggedVisit], before: ScoutingLog) -> list[Problem]:
    """New visits to a field on a day on which the log has one: a second visit, or a copy."""
    stored = {(v.field_id, v.date): v for v in before.visits}
    doubts = []
    for visit in new:
        other = stored.get((visit.field_id, visit.date))
        if other is None or visit.corrects or other.visit_id == visit.visit_id:
            continue
        message = f"the log has another visit to this field on {visit.date}, {other.visit_id}"
        step = (
            f"both are kept and their counts judged together; to put this one in the place of "
            f"the other, let it correct {other.visit_id}"
        )
        doubts.append(_doubt(visit, message, found=visit.visit_id, next_step=step))
    return doubts


def moved_doubts(new: Iterable[AnyEntry], before: ScoutingLog) -> list[Problem]:
    """Corrections that name another field than what they correct: a move, or a wrong id."""
    every: list[AnyEntry] = [*before.visits, *before.treatments]
    stored = {entry_id(e): e for e in every}
    doubts = []
    for entry in new:
        old = stored.get(entry.corrects or "")
        if old is not None and old.field_id != entry.field_id:
            message = f"corrects a {kind_of_entry(old)} of another field, {old.field_id}"
            step = f"if it was not meant, correct {entry_id(entry)}"
            doubts.append(_doubt(entry, message, found=entry_id(old), next_step=step))
    return doubts


def ahead_doubts(new: Iterable[AnyEntry], *, today: dt.date) -> list[Problem]:
    """Entries of a day that has not come: a slip of the hand, or a wrong clock."""
    return [
        _doubt(
            entry,
            f"{day_of_entry(entry)} has not come yet, and until then it takes no part",
            found=str(day_of_entry(entry)),
            next_step=f"if the day is wrong, correct {entry_id(entry)}",
        )
        for entry in new
        if day_of_entry(entry) > today
    ]


def _joined(logged: LoggedVisit, before: Visit | None) -> Visit:
    """The visit of a day: the later one where there are two, with what only the earlier saw."""
    visit = Visit(
        logged.field_id, logged.date, None, None, logged.stage, logged.share, logged.visit_id
    )
    if before is None:
        return visit
    if visit.stage is None:
        visit = replace(visit, stage=before.stage, share=before.share)
    return visit if logged.sets else replace(visit, pressure=before.pressure)


def _with_a_crop(visit: Visit, fields: Mapping[str, Field]) -> Visit:
    """A logged visit without the stage that it saw before there was a crop."""
    field = fields.get(visit.field_id)
    if visit.entry is None or field is None or after_planting(visit, field):
        return visit
    return replace(visit, stage=None, share=None)


def _in_both(visit: Visit, logged: LoggedVisit) -> Problem:
    return Problem(
        VISITS_FILE,
        f"{LOG_FILE} has a visit to this field on this day too ({logged.visit_id}): "
        "what it says of stage and counts is used",
        visit.line,
        next_step="delete this line, if the log says it all",
        field_id=visit.field_id,
        date=visit.date,
        doubtful=True,
    )


def other_years(log: ScoutingLog, year: int) -> list[Problem]:
    """Of every other year in the log, how many entries it has; a few are named, to be mended."""
    found: dict[int, list[AnyEntry]] = {}
    every: list[AnyEntry] = [*log.visits, *log.treatments]
    for entry in every:
        found.setdefault(day_of_entry(entry).year, []).append(entry)
    return [_of_year(entries, other, year) for other, entries in sorted(found.items())
            if other != year]  # fmt: skip


def _of_year(entries: Sequence[AnyEntry], other: int, year: int) -> Problem:
    one = len(entries) == 1
    message = (
        f"{len(entries)} {'entry' if one else 'entries'} of {other} {'is' if one else 'are'} kept "
        f"and not used in the season {year}"
    )
    if len(entries) > _FEW:
        return Problem(LOG_FILE, message, doubtful=True)
    ids = [entry_id(entry) for entry in entries]
    step = f"where the year is wrong, log a correction: {_CORRECTION.format(ids[0])}"
    return Problem(LOG_FILE, message, found=", ".join(ids), next_step=step, doubtful=True)


def _doubts(
    log: ScoutingLog, *, field_ids: Collection[str] | None, pests: Collection[str]
) -> Iterable[Problem]:
    """Names of the log that nothing in the season stands for."""
    entries: list[AnyEntry] = [*log.visits, *log.treatments]
    for entry in entries:
        if field_ids is not None and entry.field_id not in field_ids:
            step = _CORRECT.format(entry_id(entry))
            message = f"{_called(entry)} names no field of {FIELDS_FILE}; it is kept and not used"
            yield _doubt(entry, message, found=entry.field_id, next_step=step)
    yield from _beyond_limits(log)
    sets = (one for visit in log.visits for one in visit.sets)
    if {count.pest for one in sets for count in one.counts}.issubset(pests):
        return
    for visit in log.visits:
        counted = {count.pest: None for one in visit.sets for count in one.counts}
        for pest in counted:
            if pest not in pests:
                message = f"{_called(visit)} counts a pest that is not known; its counts are kept"
                step = "`stagecast pest` lists the pests; yours are files in the folder pests"
                yield _doubt(visit, message, found=pest, next_step=step)


def _beyond_limits(log: ScoutingLog) -> Iterable[Problem]:
    """Numbers that are refused today, and are in logs from before they were."""
    for visit in log.visits:
        for one in visit.sets:
            if not SMALLEST_SET <= one.size <= LARGEST_SET:
                message = f"has a set out of range ({ACCEPTED_SIZE}); the nearest size is used"
                yield _beyond(visit, message, found=one.size)
        for _, count in count_rows(visit.sets):
            if count is not None and count.number > MOST_COUNTED:
                message = f"has a count beyond {ACCEPTED_COUNT}; the most is used in its place"
                yield _beyond(visit, message, found=count.number)
    for treatment in log.treatments:
        if treatment.reentry_hours > LONGEST_REENTRY_HOURS:
            message = "keeps people out for over a year; a year is used"
            yield _beyond(treatment, message, found=treatment.reentry_hours)


def _beyond(entry: AnyEntry, message: str, *, found: float) -> Problem:
    step = _CORRECT.format(entry_id(entry))
    return _doubt(entry, f"{_called(entry)} {message}", found=f"{found:g}", next_step=step)


def _called(entry: AnyEntry) -> str:
    return f"{kind_of_entry(entry)} {entry_id(entry)}"


def _doubt(entry: AnyEntry, message: str, *, found: str, next_step: str) -> Problem:
    return Problem(
        LOG_FILE,
        message,
        found=found,
        next_step=next_step,
        field_id=entry.field_id,
        date=day_of_entry(entry),
        doubtful=True,
    )
