"""The week's route as iCalendar: a visit keeps its event when the week is planned anew."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from icalendar import Event

from stagecast.outputs.calendar_text import CalendarText, read_calendar, write_calendar
from stagecast.outputs.week_words import file_name_of, file_text, how_text
from stagecast.scouting.week_types import ScoutDay, WeekRoute, WeekStop

TOLD = ("SUMMARY", "DTSTART", "DTEND", "LOCATION", "GEO", "DESCRIPTION", "STATUS")
"""What a person notices of an event; only a change in these raises its SEQUENCE."""

_UID = re.compile(r"([0-9a-f]{32})-\d{4}-W\d\d(-\d+)?@week\.stagecast")


@dataclass(frozen=True, slots=True, eq=False)
class _Known:
    """An event of ours in the file written last time."""

    text: str
    event: Event
    uid: str
    field: str
    starts: str
    date: dt.date
    sequence: int
    cancelled: bool


def calendar_bytes(
    week: WeekRoute,
    *,
    before: bytes | None,
    stamped: dt.datetime,
    file: str = "week.ics",
    done: Collection[str] = (),
) -> bytes:
    """One timed event per stop, carried on from the file written last time.

    Parameters
    ----------
    week : WeekRoute
    before : bytes or None
        That file; None where there is none.
    stamped : datetime.datetime
        When this file is made; in UTC where it has no zone. Only events that are new or changed
        take it.
    file : str
        Name of the file, for problems.
    done : collection of str
        Ids of fields said to be walked already, whose visits are then not called off.

    Returns
    -------
    bytes
        UTF-8, lines ended by CRLF and folded at 75 octets.

    Raises
    ------
    SeasonProblems
        Where ``before`` is not an iCalendar file.

    Notes
    -----
    The UID is a digest of the field's id, the ISO week for which a visit was first planned, and a
    number from the second visit of a field in that week on. A stop carries on the event of its
    field that lies ahead, was called off, or lies in the same week and was not walked. SEQUENCE
    is raised by one when an event changes. What lies ahead and is no longer planned is
    CANCELLED; what lies before the week, and all that is not ours, stays as it was written.

    Times have no zone, so they are local wherever they are read: season folders know the places
    of fields but not their zone, and a scout reads the clock where the field is.

    References
    ----------
    RFC 5545, iCalendar (2009), sections 3.3.5 (form 1), 3.8.4.7 and 3.8.7.4,
    https://www.rfc-editor.org/rfc/rfc5545
    """
    old = CalendarText() if before is None else read_calendar(before, file=file)
    known, foreign = _sort_out(old.components)
    taken = set(known) | {_uid_of(text) for text in foreign}
    stamp = stamped.replace(tzinfo=stamped.tzinfo or dt.UTC).astimezone(dt.UTC)
    made: list[tuple[str, str, str]] = []
    for day in week.days:
        for stop in day.stops:
            earlier = _carried_on(stop, known.values(), week.first_day)
            uid = _new_uid(stop, taken) if earlier is None else earlier.uid
            taken.add(uid)
            known.pop(uid, None)
            text = _planned(_draft(stop, day, week), uid, earlier, stamp)
            made.append((_minute(stop.arrive).isoformat(), uid, text))
    walked = _walked(week, done)
    for one in known.values():
        off = one.date >= week.first_day and not one.cancelled
        off = off and one.date > walked.get(one.field, dt.date.min)
        made.append((one.starts, one.uid, _called_off(one, stamp) if off else one.text))
    ours = [text for _, _, text in sorted(made)]
    return write_calendar(CalendarText(old.properties, (*foreign, *ours)))


def _sort_out(components: Iterable[str]) -> tuple[dict[str, _Known], list[str]]:
    """Events of ours by UID, the latest of each, and all else."""
    known: dict[str, _Known] = {}
    foreign = []
    for text in components:
        one = _known(text)
        if one is None:
            foreign.append(text)
        elif one.uid not in known or known[one.uid].sequence < one.sequence:
            known[one.uid] = one
    return known, foreign


def _known(text: str) -> _Known | None:
    """An event of ours; None for anything else, and for one that can no longer be read."""
    uid = _uid_of(text)
    match = _UID.fullmatch(uid)
    if match is None:
        return None
    try:
        event = Event.from_ical(text)
    except ValueError:
        return None
    if not isinstance(event, Event) or event.errors:
        return None
    start = getattr(event.get("DTSTART"), "dt", None)
    if not isinstance(start, dt.date):
        return None
    date = start.date() if isinstance(start, dt.datetime) else start
    number = event.get("SEQUENCE")
    sequence = max(number, 0) if isinstance(number, int) else 0
    cancelled = str(event.get("STATUS", "")).upper() == "CANCELLED"
    return _Known(text, event, uid, match[1], start.isoformat(), date, sequence, cancelled)


def _uid_of(text: str) -> str:
    """The UID of an event as it is written; "" for other components, and where there is none."""
    if not text.upper().startswith("BEGIN:VEVENT"):
        return ""
    found = re.search(r"^UID(?:;[^:\r\n]*)?:(.*)", re.sub(r"\r\n[ \t]", "", text), re.M | re.I)
    return found[1].strip() if found else ""


def _key(field_id: str) -> str:
    return hashlib.sha256(field_id.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _new_uid(stop: WeekStop, taken: Collection[str]) -> str:
    year, number, _ = stop.arrive.isocalendar()
    base, again = f"{_key(stop.field_id)}-{year:04}-W{number:02}", 1
    uid = f"{base}@week.stagecast"
    while uid in taken:
        again += 1
        uid = f"{base}-{again}@week.stagecast"
    return uid


def _carried_on(stop: WeekStop, known: Iterable[_Known], first_day: dt.date) -> _Known | None:
    """The event that a stop carries on, the one that stands before one that was called off."""
    key, seen = _key(stop.field_id), stop.plan.visit.last_visit or dt.date.min
    same_week = stop.arrive.isocalendar()[:2]
    fitting = [
        one
        for one in known
        if one.field == key
        and (one.date >= first_day or one.date.isocalendar()[:2] == same_week)
        and (one.cancelled or one.date > seen)
    ]
    return min(fitting, key=lambda one: (one.cancelled, one.date < first_day, one.date, one.uid),
               default=None)  # fmt: skip


def _walked(week: WeekRoute, done: Collection[str]) -> dict[str, dt.date]:
    """The last day on which each field is known to have been walked, by the digest of its id."""
    days = {}
    for plan in week.season.fields:
        field_id, seen = plan.forecast.field.field_id, plan.visit.last_visit
        if field_id in done:
            seen = max(seen or week.first_day, week.first_day)
        if seen is not None:
            days[_key(field_id)] = seen
    return days


def _draft(stop: WeekStop, day: ScoutDay, week: WeekRoute) -> Event:
    """What a person is told of a stop."""
    field = stop.plan.forecast.field
    scout = " ".join(file_text(day.scout).split())
    event = Event()
    event.add("summary", file_name_of(stop.plan) + (f", {scout}" if scout else ""))
    event.add("dtstart", _minute(stop.arrive))
    if stop.leave > stop.arrive:
        event.add("dtend", _minute(stop.leave))
    event.add("location", f"{field.latitude:.6f}, {field.longitude:.6f}")
    event.add("geo", (round(field.latitude, 6), round(field.longitude, 6)))
    lines = [how_text(stop, week.season.loaded.knowledge), *stop.look_for]
    event.add("description", file_text("\n".join(lines)))
    event.add("status", "CONFIRMED")
    return event


def _minute(moment: dt.datetime) -> dt.datetime:
    return moment.replace(tzinfo=None, second=0, microsecond=0)


def _planned(draft: Event, uid: str, earlier: _Known | None, stamp: dt.datetime) -> str:
    """The event as it was written where nothing changed, else a new one or a later version."""
    if earlier is None:
        draft.add("uid", uid)
        return _stamped(draft, 0, stamp)
    if _told(draft) == _told(earlier.event):
        return earlier.text
    event = earlier.event.copy(recursive=True)
    for name in TOLD:
        event.pop(name, None)
        if name in draft:
            event[name] = draft[name]
    return _stamped(event, earlier.sequence + 1, stamp)


def _called_off(known: _Known, stamp: dt.datetime) -> str:
    event = known.event.copy(recursive=True)
    event.pop("STATUS", None)
    event.add("status", "CANCELLED")
    return _stamped(event, known.sequence + 1, stamp)


def _stamped(event: Event, sequence: int, stamp: dt.datetime) -> str:
    for name, value in (("SEQUENCE", sequence), ("DTSTAMP", stamp)):
        event.pop(name, None)
        event.add(name, value)
    raw: bytes = event.to_ical(sorted=False)
    return raw.decode("utf-8")


def _told(event: Event) -> dict[str, list[bytes]]:
    """What is told, as it is written."""
    told = {}
    for name in TOLD:
        value = event.get(name, [])
        values = value if isinstance(value, list) else [value]
        told[name] = [one.to_ical() for one in values]
    return told
