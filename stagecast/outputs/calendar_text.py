"""An iCalendar file as text: its components, each as it was written, to be kept or replaced."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from stagecast.errors import Problem, SeasonProblems

PRODID = "-//stagecast//week//EN"
BREAK = "\r\n"
DEEPEST = 10
"""Components within each other; RFC 5545 knows no more than three."""

_UNFOLD = re.compile(r"\r\n[ \t]")


@dataclass(frozen=True, slots=True)
class CalendarText:
    """A calendar.

    Attributes
    ----------
    properties : tuple of str
        Lines of its own; continuation lines stand with theirs.
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
        Lines may end in CRLF, LF or CR. Blanks alone are an empty calendar.
    file : str
        What it is called in problems.

    Raises
    ------
    SeasonProblems
        Where it is not one whole calendar in UTF-8.
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

    Parameters
    ----------
    calendar : CalendarText
    file : str
        What it is called in problems.

    Raises
    ------
    SeasonProblems
        Where it has no component: a calendar holds at least one (RFC 5545, section 3.6), and
        readers may refuse one without.
    """
    if not calendar.components:
        message = "no visit to write, and a calendar holds at least one; nothing is written"
        step = "leave the calendar out, or ask for days on which a field is walked"
        raise SeasonProblems([Problem(file, message, next_step=step)])
    there = {_name(line) for line in calendar.properties}
    needed = {"VERSION": "VERSION:2.0", "PRODID": f"PRODID:{PRODID}"}
    missing = [line for name, line in needed.items() if name not in there]
    head = BREAK.join(["BEGIN:VCALENDAR", *missing, *calendar.properties, ""])
    return "".join([head, *calendar.components, "END:VCALENDAR", BREAK]).encode("utf-8")


def own_lines(component: str) -> Iterator[tuple[str, str]]:
    """Lines of a component with their continuations.

    Parameters
    ----------
    component : str
        From BEGIN to END.

    Yields
    ------
    (str, str)
        Name of the property in capitals, and the line as it is written. The name is "" for BEGIN
        and END, and for all that stands in components within this one.
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
