"""iCalendar text and events (RFC 5545), read and written."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from icalendar import Event

from stagecast.base.errors import Problem, SeasonProblems

PRODID = "-//stagecast//week//EN"
BREAK = "\r\n"
DEEPEST = 10
"""Components within each other; RFC 5545 knows no more than three."""

_UNFOLD = re.compile(r"\r\n[ \t]")


@dataclass(frozen=True, slots=True)
class CalendarText:
    """A calendar: lines of its own with their continuations, and its events and all else in it.

    Components run from BEGIN to END, with CRLF between lines and at the end.
    """

    properties: tuple[str, ...] = ()
    components: tuple[str, ...] = ()


def read_calendar(raw: bytes, *, file: str) -> CalendarText:
    """Take a calendar apart; lines may end in CRLF, LF or CR, and blanks alone are an empty one.

    Raises
    ------
    SeasonProblems
        Where it is not one whole calendar in UTF-8; they call it ``file``.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refused("this text is not UTF-8, as a calendar is", file) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        return CalendarText()
    first = text[: -len(text.lstrip())].count("\n") + 1
    lines = text.strip().split("\n")
    bounds = [line.strip().upper() for line in (lines[0], lines[-1])]
    if bounds != ["BEGIN:VCALENDAR", "END:VCALENDAR"]:
        raise _refused("this is not one whole iCalendar file", file)
    properties: list[str] = []
    components: list[list[str]] = []
    within: list[str] = []
    after = ""
    for number, line in enumerate(lines[1:-1], start=first + 1):
        what, _, name = line.strip().upper().partition(":")
        folded = line[:1] in (" ", "\t")
        if what == "BEGIN" and not folded:
            if not within:
                components.append([])
            within.append(name)
            if len(within) > DEEPEST:
                raise _refused("too many components within each other", file, number)
        if folded and line.strip() and not within and after in ("", "END"):
            raise _refused("a line continues nothing", file, number)
        (components[-1] if within else properties).append(line)
        if what == "END" and not folded and (not within or within.pop() != name):
            raise _refused("something ends here that did not begin", file, number)
        if line.strip() and not folded:
            after = what
    if within:
        raise _refused(f"{within[-1]} does not end", file)
    kept = tuple(_with_continuations(properties))
    if any(_name(one) == "VERSION" and "2.0" not in one for one in kept):
        raise _refused("this is not version 2.0 of iCalendar", file)
    return CalendarText(kept, tuple(BREAK.join([*lines, ""]) for lines in components))


def write_calendar(calendar: CalendarText, *, file: str) -> bytes:
    """Put a calendar together; VERSION and our PRODID are added where it has none.

    Raises
    ------
    SeasonProblems
        Where it has no component: a calendar holds at least one (RFC 5545, section 3.6), and
        readers may refuse one without.
    """
    if not calendar.components:
        message = "no visit to write, and a calendar holds at least one; nothing is written"
        step = "leave the calendar out, or ask for days on which a field is walked"
        raise SeasonProblems.of(file, message, next_step=step)
    there = {_name(line) for line in calendar.properties}
    needed = {"VERSION": "VERSION:2.0", "PRODID": f"PRODID:{PRODID}"}
    missing = [line for name, line in needed.items() if name not in there]
    head = BREAK.join(["BEGIN:VCALENDAR", *missing, *calendar.properties, ""])
    return "".join([head, *calendar.components, "END:VCALENDAR", BREAK]).encode("utf-8")


def own_lines(component: str) -> Iterator[tuple[str, str]]:
    """Properties of a component: name in capitals, and the line as written with its continuations.

    The name is "" for BEGIN and END, and for all that stands in components within this one.
    """
    depth = 0
    for line in re.split(r"\r\n(?![ \t])", component.removesuffix(BREAK)):
        what = line.partition(":")[0].strip().upper()
        depth -= what == "END"
        yield (_name(line) if depth == 1 and what not in ("BEGIN", "END") else "", line)
        depth += what == "BEGIN"


def property_text(component: str, name: str) -> str:
    """A property's value as it is written, unfolded; "" where a component has none."""
    for found, line in own_lines(component):
        if found == name:
            return _UNFOLD.sub("", line).partition(":")[2].strip()
    return ""


def replaced(component: str, names: Collection[str], lines: Iterable[str]) -> str:
    """A component with lines in the place of its properties of these names; the rest stays."""
    begin, *kept = [line for name, line in own_lines(component) if name not in names]
    return BREAK.join([begin, *lines, *kept, ""])


def _name(line: str) -> str:
    return re.split("[:;]", _UNFOLD.sub("", line), maxsplit=1)[0].strip().upper()


def _with_continuations(lines: Iterable[str]) -> Iterator[str]:
    """Lines, each with those that continue it; blank ones go."""
    whole = ""
    for line in lines:
        if line[:1] in (" ", "\t") and whole:
            whole += BREAK + line
        elif line.strip():
            yield from [whole] * bool(whole)
            whole = line
    yield from [whole] * bool(whole)


def _refused(message: str, file: str, line: int | None = None) -> SeasonProblems:
    step = "write to another file, or move this one away, and try again"
    return SeasonProblems([Problem(file, message, line, next_step=step)])


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
    text: as it stands, from BEGIN to END
    event: the properties in it that are ours, as they stand
    wrote: property -> what we wrote last, as :func:`_code` says it; None where the mark is lost
    starts: as planned, wherever a person moved it; as it stands where the mark is lost
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
    """Take an event apart, from BEGIN to END.

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
    """Text of an event after a new plan: as it stands where the plan says what it said last time.

    Else only what the plan changed is written anew, times and status together; all else in the
    event stays.

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
