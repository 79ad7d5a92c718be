"""Everything stagecast raises on purpose, on one screen.

StagecastError                   base: catch this at an outer edge
├── SeasonProblems               a season folder says something wrong (all of it at once)
├── WeatherGap                   a record has a hole that the gap policy may not bridge
├── WeatherOutage                a weather service failed; nothing stored was touched
│   └── NoWeatherThere           it answered, and has nothing for that place and time
├── StoreError                   a file of ours cannot be read or written
├── KnowledgeError               a file in ``knowledge/`` is malformed
└── MixedModel                   a pest model was asked to run with a foreign method

Errors carry fields, so that a caller can act on them without reading their sentences.
"""

from __future__ import annotations

import datetime as dt
import errno
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_LONGEST_VALUE, _LONGEST_TEXT = 60, 500
_DIGITS = re.compile(r"[0-9]+")
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong, or doubtful, in what a person gave us.

    Attributes
    ----------
    file: file name relative to the season folder, as a person would say it.
    message: what is wrong, without the place.
    line: line in the file, counted from 1, header included.
    column: column or setting the value stands in.
    found: the offending value, as typed.
    accepted: what would have been accepted.
    next_step: what the person can do about it, when ``accepted`` does not already say so.
    field_id: the field concerned, if any.
    date: the day concerned, if any.
    doubtful: true for a value that is possible but unlikely: reported, never refused.
    """

    file: str
    message: str
    line: int | None = None
    column: str | None = None
    found: str | None = None
    accepted: str | None = None
    next_step: str | None = None
    field_id: str | None = None
    date: dt.date | None = None
    doubtful: bool = False

    def sentence(self) -> str:
        """Say the problem in one line: place, what was found, what is accepted, next step."""
        place = _shorten(self.file, _LONGEST_TEXT)
        if self.line is not None:
            place += f" line {self.line}"
        if self.column is not None:
            place += f", {_shorten(self.column)}"
        if self.field_id is not None:
            place += f" (field {_shorten(self.field_id)})"
        text = f"{place}: {_shorten(self.message, _LONGEST_TEXT)}"
        if self.found is not None:
            text += f"; found {_shorten(self.found)!r}"
        if self.accepted is not None:
            text += f"; accepted: {_shorten(self.accepted, _LONGEST_TEXT)}"
        if self.next_step is not None:
            text += f"; {_shorten(self.next_step, _LONGEST_TEXT)}"
        return text


def fold_repeats(problems: Iterable[Problem], *, keep: int = 5) -> tuple[Problem, ...]:
    """Keep the first ``keep`` of one kind of problem in a file; say how many more there are.

    The kind is file, column, message and doubt; numbers in the message do not count, since
    they may name another line in each. A file with the wrong decimal sign has a problem on
    every line, and thousands of equal sentences hide all others. The sentence that counts the
    rest stands where the first of them would, and has its line, so that it is never told before
    those that were kept.
    """
    kept: list[list[Problem]] = []
    seen: dict[tuple[str, str | None, str, bool], list[Problem]] = {}
    for problem in problems:
        message = _DIGITS.sub("0", problem.message)
        alike = seen.setdefault((problem.file, problem.column, message, problem.doubtful), [])
        alike.append(problem)
        if len(alike) <= keep:
            kept.append([problem])
        elif len(alike) == keep + 1:
            kept.append(alike)
    return tuple(each[0] if len(each) == 1 else _folded(each[keep:]) for each in kept)


def _folded(alike: Sequence[Problem]) -> Problem:
    """One sentence for several problems of a kind."""
    first, last = alike[0], alike[-1]
    text = f"and {len(alike)} more of the kind{_on_lines(alike)}: {last.message}"
    return Problem(last.file, text, first.line, last.column, doubtful=last.doubtful)


def _on_lines(problems: Sequence[Problem], *, most: int = 20) -> str:
    """Name the lines, or the first and the last of very many."""
    lines = [str(problem.line) for problem in problems if problem.line is not None]
    if len(lines) > most:
        lines[most - 1 : -1] = ["..."]
    return f", on line {', '.join(lines)}" if lines else ""


def in_file_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Problems of one file by line; those without a line come last."""
    return tuple(sorted(problems, key=lambda p: (p.line is None, p.line or 0)))


def write_step(error: OSError, *, otherwise: str) -> str:
    """Next step when writing failed: a full disk needs room, whatever the place."""
    full = error.errno in _NO_ROOM
    return "free some space on the disk and try again" if full else otherwise


def _shorten(text: str, limit: int = _LONGEST_VALUE) -> str:
    """Keep a hostile or huge value from filling the screen."""
    return text if len(text) <= limit else text[: limit - 3] + "..."


class StagecastError(Exception):
    """Base of every error raised on purpose; ``exit_code`` is what the CLI returns."""

    exit_code = 2

    def sentences(self) -> list[str]:
        """One clear sentence per problem."""
        return [str(self)]

    def __reduce__(self) -> tuple[object, ...]:
        """An error of another process comes back with its fields, as it was there."""
        return _as_it_was, (type(self), self.args), self.__dict__


def _as_it_was(kind: type[StagecastError], args: tuple[object, ...]) -> StagecastError:
    return kind.__new__(kind, *args)


class SeasonProblems(StagecastError):
    """All problems found in a season folder, collected in one pass."""

    def __init__(self, problems: Sequence[Problem], *, doubts: Sequence[Problem] = ()) -> None:
        self.problems = tuple(problems)
        self.doubts = tuple(doubts)
        super().__init__("\n".join(p.sentence() for p in self.problems))

    @classmethod
    def of(
        cls,
        file: str,
        message: str,
        *,
        found: str | None = None,
        accepted: str | None = None,
        next_step: str | None = None,
    ) -> SeasonProblems:
        """The error of one problem; the parameters are those of :class:`Problem`."""
        step = next_step
        return cls([Problem(file, message, found=found, accepted=accepted, next_step=step)])

    def sentences(self) -> list[str]:
        """One sentence per problem, in file order."""
        return [p.sentence() for p in self.problems]


class WeatherGap(StagecastError):
    """A station record has a hole longer than the gap policy may bridge."""

    def __init__(
        self,
        station: str,
        first_missing: dt.date,
        last_missing: dt.date,
        *,
        reason: str,
        next_step: str,
    ) -> None:
        self.station = station
        self.first_missing = first_missing
        self.last_missing = last_missing
        self.reason = reason
        self.next_step = next_step
        super().__init__(
            f"station {station}: no temperatures from {first_missing} to {last_missing} "
            f"({reason}); {next_step}"
        )


class WeatherOutage(StagecastError):
    """A weather service failed, hung or answered nonsense; the store was left as it was."""

    exit_code = 3

    def __init__(self, service: str, reason: str, *, next_step: str) -> None:
        self.service = service
        self.reason = reason
        self.next_step = next_step
        super().__init__(f"{service}: {reason}; {next_step}")


class NoWeatherThere(WeatherOutage):
    """A weather service answered, and has nothing for the place and the time asked for."""


class StoreError(StagecastError):
    """A file of ours cannot be read or written."""

    def __init__(self, path: str, reason: str, *, next_step: str) -> None:
        self.path = path
        self.reason = reason
        self.next_step = next_step
        super().__init__(f"{_shorten(path, _LONGEST_TEXT)}: {reason}; {next_step}")


class Busy(StoreError):
    """Another program holds a file that only one may hold."""


class KnowledgeError(StagecastError):
    """Files in ``knowledge/`` are malformed; all that is wrong with them."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.sentences()))

    def sentences(self) -> list[str]:
        """One sentence per problem."""
        return [f"knowledge/{problem.sentence()}" for problem in self.problems]


class MixedModel(StagecastError):
    """A degree-day total was asked for with another method or cutoff than its source used."""
