"""An iCalendar file as text: its components, each as it was written, to be kept or replaced."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stagecast.errors import Problem, SeasonProblems

PRODID = "-//stagecast//week//EN"
BREAK = "\r\n"
_OURS = ("BEGIN", "END", "VERSION", "PRODID", "METHOD")
"""Properties of a calendar that are written anew."""


@dataclass(frozen=True, slots=True)
class CalendarText:
    """A calendar.

    Attributes
    ----------
    properties : tuple of str
        Lines of its own that are not written anew; continuation lines stand with theirs.
    components : tuple of str
        Events and all else in it, from BEGIN to END, with CRLF between lines and at the end.
    """

    properties: tuple[str, ...] = ()
    components: tuple[str, ...] = ()


def read_calendar(raw: bytes, *, file: str) -> CalendarText:
    """Take a calendar apart.

    Parameters
    ----------
    raw : bytes
    file : str
        Its name, for problems.

    Raises
    ------
    SeasonProblems
        Where it is not one whole calendar in UTF-8.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refused("this text is not UTF-8, as a calendar is", file) from None
    lines = text.replace("\r\n", "\n").replace("\r", "\n").strip("\n").split("\n")
    bounds = [line.strip().upper() for line in (lines[0], lines[-1])]
    if bounds != ["BEGIN:VCALENDAR", "END:VCALENDAR"]:
        raise _refused("this is not one whole iCalendar file", file)
    properties: list[str] = []
    components: list[list[str]] = []
    within: list[str] = []
    for number, line in enumerate(lines[1:-1], start=2):
        what, _, name = line.strip().upper().partition(":")
        folded = line[:1] in (" ", "\t")
        if what == "BEGIN" and not folded:
            if not within:
                components.append([])
            within.append(name)
        if within:
            components[-1].append(line)
        else:
            properties.append(line)
        if what == "END" and not folded and (not within or within.pop() != name):
            raise _refused("something ends here that did not begin", file, number)
    if within:
        raise _refused(f"{within[-1]} does not end", file)
    return CalendarText(tuple(_kept(properties)), tuple(BREAK.join([*c, ""]) for c in components))


def write_calendar(calendar: CalendarText) -> bytes:
    """Put a calendar together, with our PRODID."""
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODID}", *calendar.properties, ""]
    text = BREAK.join(head) + "".join(calendar.components) + "END:VCALENDAR" + BREAK
    return text.encode("utf-8")


def _kept(lines: Iterable[str]) -> Iterable[str]:
    """Lines of properties that are not ours, with their continuations."""
    keep = True
    for line in lines:
        if line[:1] not in (" ", "\t"):
            keep = bool(line) and line.partition(":")[0].partition(";")[0].upper() not in _OURS
        if keep:
            yield line


def _refused(message: str, file: str, line: int | None = None) -> SeasonProblems:
    step = "write to another file, or move this one away, and try again"
    return SeasonProblems([Problem(file, message, line, next_step=step)])
