"""The week's route as iCalendar: a visit keeps its event when the week is planned anew."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Collection, Iterable, Mapping

from icalendar import Event

from stagecast.files.calendar_text import (
    CalendarText,
    KnownEvent,
    brought_up_to_date,
    called_off,
    new_event,
    property_text,
    read_calendar,
    read_event,
    write_calendar,
)
from stagecast.season.settings.settings import Settings
from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.week import WeekRoute
from stagecast.words.visits import look_for_texts
from stagecast.words.week import decide_texts, file_name_of, file_text, how_text

_UID = re.compile(r"([0-9a-f]{16})-([0-9a-f]{16})-\d{4}-W\d\d(-\d+)?@week\.stagecast")


def calendar_bytes(
    week: WeekRoute,
    *,
    before: bytes | None,
    stamped: dt.datetime,
    file: str = "week.ics",
    done: Collection[str] = (),
) -> bytes:
    """One timed event per stop, carried on from the file written last time.

    ``before`` is that file, ``file`` its path as a person gave it; visits of fields in ``done``
    are not called off. Events that are new or changed take ``stamped`` as DTSTAMP, which RFC 5545
    asks for; nothing else in the file depends on the clock. The text is UTF-8, lines end in CRLF,
    and ours are folded at 75 octets.

    Raises
    ------
    SeasonProblems
        Where ``before`` is not an iCalendar file; an empty one is as good as none. Also where
        there is nothing to write, neither a stop nor a component from before.

    Notes
    -----
    The UID holds a digest of the season, one of the field's id, the ISO week for which a visit
    was first planned, and a number from the second visit of a field in that week on. The season
    is its year, its region and its home to two decimals of a degree, about a kilometre: seasons
    of other years or homes share a calendar without touching each other's events, and a small
    correction of home keeps them. Two folders of the same year and home are one season here; a
    home that moves further makes another one, whose events do not take up the old ones.

    A stop carries on the event of its field that lies ahead, was called off, or lies in the same
    week and was not walked. An event whose plan is what it was last time stays byte for byte,
    with all that a person changed in it. Where the plan changed, what changed is written anew,
    what a person wrote in its place becomes a line of the description
    (:func:`~stagecast.files.calendar_text.brought_up_to_date`), and SEQUENCE is raised by
    one, up to the largest integer of RFC 5545, where it stays.

    What was planned for the days of this week and no longer is, is CANCELLED. What lies before
    or after them, and all that is not of this season, stays as it was written. So do the
    properties of the calendar itself.

    Times have no zone, so they are local wherever they are read: season folders know the places
    of fields but not their zone, and a scout reads the clock where the field is.

    References
    ----------
    RFC 5545, iCalendar (2009), sections 3.3.5 (form 1), 3.6, 3.8.4.7, 3.8.7.2 and 3.8.7.4,
    https://www.rfc-editor.org/rfc/rfc5545
    """
    old = CalendarText() if before is None else read_calendar(before, file=file)
    season = _season_key(week.season.loaded.season.settings)
    known, foreign = _sort_out(old.components, season)
    taken = set(known) | {_uid_of(text) for text in foreign}
    stamp = stamped.replace(tzinfo=stamped.tzinfo or dt.UTC).astimezone(dt.UTC)
    made: list[tuple[str, str, str]] = []
    for day in week.days:
        for stop in day.stops:
            draft, earlier = _draft(stop, day, week), _carried_on(stop, known, week.first_day)
            if earlier is None:
                uid = _new_uid(stop, season, taken)
                taken.add(uid)
                text = new_event(draft, uid, stamp)
            else:
                uid = earlier.uid
                del known[uid]
                text = brought_up_to_date(earlier, draft, stamp)
            made.append((_minute(stop.arrive).isoformat(), uid, text))
    walked = _walked(week, done)
    for one in known.values():
        off = week.first_day <= one.date <= week.last_day and not one.cancelled
        off = off and one.date > walked.get(_field_of(one.uid), dt.date.min)
        made.append((one.starts.isoformat(), one.uid, called_off(one, stamp) if off else one.text))
    ours = [text for _, _, text in sorted(made)]
    return write_calendar(CalendarText(old.properties, (*foreign, *ours)), file=file)


def _sort_out(components: Iterable[str], season: str) -> tuple[dict[str, KnownEvent], list[str]]:
    """Events of this season by UID, the latest of each, and all else."""
    known: dict[str, KnownEvent] = {}
    foreign = []
    for text in components:
        match = _UID.fullmatch(_uid_of(text))
        one = read_event(text) if match and match[1] == season else None
        if one is None:
            foreign.append(text)
        elif one.uid not in known or known[one.uid].sequence < one.sequence:
            known[one.uid] = one
    return known, foreign


def _uid_of(text: str) -> str:
    """The UID of an event as it is written; "" for other components, and where there is none."""
    is_event = text.partition("\r\n")[0].strip().upper() == "BEGIN:VEVENT"
    return property_text(text, "UID") if is_event else ""


def _field_of(uid: str) -> str:
    """The digest of the field's id in a UID of ours."""
    return uid.split("-")[1]


def _key(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def _season_key(settings: Settings) -> str:
    home = settings.home
    return _key(f"{settings.year} {settings.region} {home.latitude:.2f} {home.longitude:.2f}")


def _new_uid(stop: WeekStop, season: str, taken: Collection[str]) -> str:
    year, number, _ = stop.arrive.isocalendar()
    base, again = f"{season}-{_key(stop.field_id)}-{year:04}-W{number:02}", 1
    uid = f"{base}@week.stagecast"
    while uid in taken:
        again += 1
        uid = f"{base}-{again}@week.stagecast"
    return uid


def _carried_on(
    stop: WeekStop, known: Mapping[str, KnownEvent], first_day: dt.date
) -> KnownEvent | None:
    """The event that a stop carries on, the one that stands before one that was called off."""
    key, seen = _key(stop.field_id), stop.plan.visit.last_visit or dt.date.min
    same_week = stop.arrive.isocalendar()[:2]
    fitting = [
        one
        for one in known.values()
        if _field_of(one.uid) == key
        and (one.date >= first_day or one.date.isocalendar()[:2] == same_week)
        and (one.cancelled or one.date > seen)
    ]
    return min(fitting, key=lambda one: (one.cancelled, one.date < first_day, one.date, one.uid),
               default=None)  # fmt: skip


def _walked(week: WeekRoute, done: Collection[str]) -> dict[str, dt.date]:
    """The last day on which each field is known to have been walked, by the digest of its id."""
    days = {}
    for plan in week.season.fields:
        field_id, seen = plan.field_id, plan.visit.last_visit
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
    decide = decide_texts(stop.plan)
    name = f"{'decide: ' if decide else ''}{file_name_of(stop.plan)}"
    event.add("summary", name + (f", {scout}" if scout else ""))
    event.add("dtstart", _minute(stop.arrive))
    if stop.leave > stop.arrive:
        event.add("dtend", _minute(stop.leave))
    event.add("location", f"{field.latitude:.6f}, {field.longitude:.6f}")
    event.add("geo", (round(field.latitude, 6), round(field.longitude, 6)))
    how = how_text(stop, week.season.loaded.knowledge)
    lines = [*decide, how, *look_for_texts(stop.look_for)]
    event.add("description", file_text("\n".join(lines)))
    event.add("status", "CONFIRMED")
    return event


def _minute(moment: dt.datetime) -> dt.datetime:
    return moment.replace(tzinfo=None, second=0, microsecond=0)
