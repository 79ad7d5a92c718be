"""An event of ours in a calendar: what we wrote, what a person made of it, and a new plan."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Collection
from dataclasses import dataclass

from icalendar import Event

from stagecast.outputs.calendar_text import own_lines, property_text, replaced

MARK = "X-STAGECAST-WROTE"
"""Property that holds what we wrote last: times and status as they were, digests of the rest."""

TOP = 2**31 - 1
"""The largest integer of RFC 5545, section 3.3.8."""

_WHEN = ("DTSTART", "DTEND", "STATUS")
_TEXTS = ("SUMMARY", "LOCATION", "DESCRIPTION")
TOLD = (*_WHEN, *_TEXTS, "GEO")
"""What a person notices of an event; only a change in these raises its SEQUENCE."""


@dataclass(frozen=True, slots=True, eq=False)
class KnownEvent:
    """An event of ours in the file written last time.

    Attributes
    ----------
    text : str
        As it stands, from BEGIN to END.
    event : icalendar.Event
        The properties in it that are ours, as they stand.
    uid : str
    wrote : mapping or None
        Property -> what we wrote last, as :func:`_code` says it; None where the mark is lost.
    starts : datetime.datetime or datetime.date
        As planned, wherever a person moved it; as it stands where the mark is lost.
    sequence : int
    """

    text: str
    event: Event
    uid: str
    wrote: dict[str, str] | None
    starts: dt.date
    sequence: int

    @property
    def date(self) -> dt.date:
        """Day for which it is planned."""
        return self.starts.date() if isinstance(self.starts, dt.datetime) else self.starts

    @property
    def cancelled(self) -> bool:
        """Whether we called it off."""
        return self.last("STATUS").upper() == "CANCELLED"

    def last(self, name: str) -> str:
        """What we wrote last; what stands where that is not known."""
        return _code(self.event, name) if self.wrote is None else self.wrote.get(name, "")


def read_event(text: str) -> KnownEvent | None:
    """Take an event apart.

    Parameters
    ----------
    text : str
        From BEGIN to END.

    Returns
    -------
    KnownEvent or None
        None where its start or its SEQUENCE cannot be read, and for one time of a repeated event.
    """
    lines = list(own_lines(text))
    if any(name == "RECURRENCE-ID" for name, _ in lines):
        return None
    ours = [line for name, line in lines if name in (*TOLD, "SEQUENCE", MARK)]
    try:
        event = Event.from_ical("\r\n".join(["BEGIN:VEVENT", *ours, "END:VEVENT", ""]))
    except ValueError:
        return None
    if not isinstance(event, Event) or {"DTSTART", "SEQUENCE"} & {name for name, _ in event.errors}:
        return None
    start, sequence = getattr(event.get("DTSTART"), "dt", None), event.get("SEQUENCE", 0)
    if not isinstance(start, dt.date) or not isinstance(sequence, int):
        return None
    wrote = _unmarked(property_text(text, MARK))
    planned = start if wrote is None else _moment(wrote.get("DTSTART", "")) or start
    uid = property_text(text, "UID")
    return KnownEvent(text, event, uid, wrote, planned, max(sequence, 0))


def new_event(draft: Event, uid: str, stamp: dt.datetime) -> str:
    """Text of an event that was not there before."""
    draft.add("uid", uid)
    return _text(draft, {name: _code(draft, name) for name in TOLD}, 0, stamp)


def brought_up_to_date(known: KnownEvent, draft: Event, stamp: dt.datetime) -> str:
    """Text of an event after a new plan.

    Parameters
    ----------
    known : KnownEvent
    draft : icalendar.Event
        What is planned now.
    stamp : datetime.datetime
        In UTC.

    Returns
    -------
    str
        The text as it stands where the plan says what it said last time. Else only what the plan
        changed is written anew, times and status together; all else in the event stays.

    Notes
    -----
    Where a text must change that a person edited too, each line of theirs that we did not write
    becomes a line at the end of the description. Blanks alone are no edit. Where the mark is
    lost, all that stands and differs from the plan is taken to be theirs.
    """
    codes = {name: _code(draft, name) for name in TOLD}
    changed = {name for name in TOLD if codes[name] != known.last(name)}
    if not changed:
        return known.text
    if changed & set(_WHEN):
        changed |= {*_WHEN, "DURATION"}
    theirs = [line for name in _TEXTS if name in changed for line in _theirs(known, name)]
    if theirs:
        told = _lines(draft if "DESCRIPTION" in changed else known.event, "DESCRIPTION")
        added = [line for line in dict.fromkeys(theirs) if line not in told]
        draft.pop("DESCRIPTION", None)
        draft.add("description", "\n".join([*told, *added]))
        changed.add("DESCRIPTION")
    return _rewritten(known, draft, changed, codes, stamp)


def called_off(known: KnownEvent, stamp: dt.datetime) -> str:
    """Text of an event that is no longer planned."""
    event = Event()
    event.add("status", "CANCELLED")
    wrote = known.wrote and known.wrote | {"STATUS": "CANCELLED"}
    return _rewritten(known, event, {"STATUS"}, wrote, stamp)


def _rewritten(
    known: KnownEvent,
    event: Event,
    names: Collection[str],
    wrote: dict[str, str] | None,
    stamp: dt.datetime,
) -> str:
    """The text that stands, with the event's properties of these names in the place of its own."""
    names = {*names, "SEQUENCE", "DTSTAMP", MARK}
    text = _text(event, wrote, min(known.sequence + 1, TOP), stamp)
    return replaced(known.text, names, [line for name, line in own_lines(text) if name in names])


def _text(event: Event, wrote: dict[str, str] | None, sequence: int, stamp: dt.datetime) -> str:
    event.add("sequence", sequence)
    event.add("dtstamp", stamp)
    if wrote is not None:
        event.add(MARK, "/".join(f"{name}={code}" for name, code in wrote.items()))
    raw: bytes = event.to_ical(sorted=False)
    return raw.decode("utf-8")


def _unmarked(mark: str) -> dict[str, str] | None:
    """What a mark says; None where it is not whole."""
    wrote = dict(re.findall(r"(?:^|/)([A-Z]+)=([^/]*)", mark))
    return wrote if wrote.keys() == set(TOLD) else None


def _code(event: Event, name: str) -> str:
    """A property in short: times and status as they are, others by a digest of each line."""
    lines = _lines(event, name)
    return "".join(lines) if name in _WHEN else ".".join(map(_digest, lines))


def _digest(line: str) -> str:
    return hashlib.sha256(" ".join(line.split()).encode("utf-8", "surrogatepass")).hexdigest()[:12]


def _lines(event: Event, name: str) -> list[str]:
    """Lines of a property as they stand; of all of them, where it is there more than once."""
    found = event.get(name, [])
    values = found if isinstance(found, list) else [found]
    texts = [str(one) if name in _TEXTS else one.to_ical() for one in values]
    told = [one.decode("utf-8") if isinstance(one, bytes) else str(one) for one in texts]
    return [line for text in told for line in text.split("\n")]


def _theirs(known: KnownEvent, name: str) -> list[str]:
    """Lines of a text that we did not write."""
    ours = set() if known.wrote is None else set(known.wrote[name].split("."))
    return [
        line for line in _lines(known.event, name) if line.strip() and _digest(line) not in ours
    ]


def _moment(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.strptime(text, "%Y%m%dT%H%M%S")
    except ValueError:
        return None
