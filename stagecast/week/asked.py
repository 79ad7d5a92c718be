"""What a person asks of the week, read and held against the season; all that is wrong at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from stagecast.base.dates import ACCEPTED_DATES, ACCEPTED_TIME, parse_date, parse_time, said_day
from stagecast.base.errors import Problem, SeasonProblems
from stagecast.forecast.field_names import field_named, one_named
from stagecast.forecast.load import LoadedSeason
from stagecast.season.settings.work import WEEKDAYS
from stagecast.season.settings.workday import Scout, crew
from stagecast.week.problem import WeekRequest, Whose

T = TypeVar("T")
Said = tuple[tuple[Whose, T], ...]
"""Values, each of one scout, or of all."""


def read_asked(
    plain: WeekRequest,
    loaded: LoadedSeason,
    *,
    off: Sequence[str],
    from_: Sequence[str],
    at: Sequence[str],
) -> WeekRequest:
    """A request with what was typed into ``--off``, ``--from`` and ``--at``.

    Each text is a value for all scouts, or one scout's: ``Kim=13:30``.

    Raises
    ------
    SeasonProblems
        With everything that is wrong with the request.
    """
    days, problems = _read(off, "--off", lambda text: parse_date(text)[0], ACCEPTED_DATES, loaded)
    times, unread = _read(from_, "--from", parse_time, ACCEPTED_TIME, loaded)
    fields, _ = _read(at, "--at", str, "", loaded)
    asked = replace(plain, off=days, from_s=times, at=fields)
    asked, wrong = _checked(asked, loaded)
    if problems or unread or wrong:
        raise SeasonProblems([*problems, *unread, *wrong])
    return asked


def checked(asked: WeekRequest, loaded: LoadedSeason) -> WeekRequest:
    """The request with fields and scouts as the season writes them; SeasonProblems likewise."""
    asked, problems = _checked(asked, loaded)
    if problems:
        raise SeasonProblems(problems)
    return asked


def _read(
    texts: Sequence[str],
    option: str,
    read: Callable[[str], T],
    accepted: str,
    loaded: LoadedSeason,
) -> tuple[Said[T], list[Problem]]:
    """Values with whose they are, and what cannot be read."""
    found: list[tuple[Whose, T]] = []
    problems = []
    for text in texts:
        whose, value = _split(text, loaded)
        try:
            found.append((whose, read(value)))
        except ValueError as error:
            problems.append(Problem(option, str(error), found=value, accepted=accepted))
    return tuple(found), problems


def _split(text: str, loaded: LoadedSeason) -> tuple[Whose, str]:
    """Scout and value; a known scout's name, or a field's, may hold the sign itself."""
    if text.strip().casefold() in {one.casefold() for one in loaded.season.field_ids}:
        return None, text.strip()
    names = {scout.name.casefold() for scout in loaded.season.settings.scouts}
    cuts = [place for place, sign in enumerate(text) if sign == "="]
    if not cuts:
        return None, text.strip()
    known = [place for place in cuts if text[:place].strip().casefold() in names]
    cut = known[-1] if known else cuts[0]
    return text[:cut].strip(), text[cut + 1 :].strip()


def _checked(asked: WeekRequest, loaded: LoadedSeason) -> tuple[WeekRequest, list[Problem]]:
    """The same with names as the season writes them, and every problem."""
    problems: list[Problem] = []

    def kept(name: str, option: str) -> str | None:
        try:
            return field_named(name, loaded.season, option=option).field_id
        except SeasonProblems as error:
            problems.extend(error.problems)
            return None

    def named(names: Sequence[str], option: str) -> tuple[str, ...]:
        ids = (kept(name, option) for name in _each(names, loaded))
        return tuple(dict.fromkeys(one for one in ids if one is not None))

    done, must = named(asked.done, "--done"), named(asked.must, "--must")
    for field_id in sorted(set(done) & set(must)):
        message = "this field is said to be done, and to be walked"
        problems.append(Problem("--must", message, found=field_id))
    starts = [(whose, kept(name, "--at")) for whose, name in asked.at]
    if asked.first_day < loaded.as_of:
        message = f"the route starts before the day of the forecast, {loaded.as_of}"
        step = "start on that day or later, or give an earlier --as-of"
        found_day = asked.first_day.isoformat()
        problems.append(Problem("--starting", message, found=found_day, next_step=step))
    off = _of_scouts(asked.off, "--off", loaded, problems)
    for day in dict.fromkeys(day for _, day in off):
        if day not in asked.dates:
            accepted = f"a day from {asked.dates[0]} to {asked.dates[-1]}"
            found_day = day.isoformat()
            message = "this is no day of the route"
            problems.append(Problem("--off", message, found=found_day, accepted=accepted))
    from_s = _of_scouts(asked.from_s, "--from", loaded, problems)
    at = _of_scouts(
        [(whose, one) for whose, one in starts if one is not None], "--at", loaded, problems
    )
    asked = replace(asked, done=done, must=must, off=off, from_s=from_s, at=at)
    problems += _first_day_problems(asked, loaded)
    return asked, problems


def _of_scouts(
    said: Sequence[tuple[Whose, T]], option: str, loaded: LoadedSeason, problems: list[Problem]
) -> Said[T]:
    """What is said of scouts that there are, each once, under their names in season.toml."""
    names = [scout.name for scout in loaded.season.settings.scouts]
    none = "there is no scout of this name in season.toml"
    if not names:
        none = "season.toml names no scouts: leave the name out"
    several = "several scouts differ from this in case alone"
    found = []
    for whose, value in said:
        try:
            name = whose
            if whose is not None:
                name = one_named(whose, names, option=option, none=none, several=several)
            found.append((name, value))
        except SeasonProblems as error:
            problems.extend(error.problems)
    return tuple(dict.fromkeys(found))


def _first_day_problems(asked: WeekRequest, loaded: LoadedSeason) -> Iterator[Problem]:
    """Where the first day cannot begin as it was said to."""
    everyone = {one.name: one for one in crew(loaded.season.settings, loaded.knowledge)}
    shared = [field_id for whose, field_id in asked.at if whose is None]
    if shared and len(everyone) > 1:
        message = f"{len(everyone)} scouts cannot all start at one field"
        step = f"say who does: --at {next(iter(everyone))}={shared[0]}"
        yield Problem("--at", message, found=shared[0], next_step=step)
    said: tuple[tuple[str, Sequence[Whose]], ...] = (
        ("--from", [whose for whose, _ in asked.from_s]),
        ("--at", [whose for whose, _ in asked.at]),
    )
    for option, whom in said:
        for whose in dict.fromkeys(whom):
            if whom.count(whose) > 1:
                of = "all" if whose is None else whose
                yield Problem(option, f"this is given twice for {of}", next_step="keep one of them")
            if whose is not None and not _works(everyone[whose], asked):
                on = f"{asked.first_day:%a} {said_day(asked.first_day)}"
                step = "leave it out, or see --off and the working_days of season.toml"
                yield Problem(option, f"{whose} does not work on {on}", next_step=step)


def _works(scout: Scout, asked: WeekRequest) -> bool:
    """Whether a scout works on the first day at all."""
    working = WEEKDAYS[asked.first_day.weekday()] in scout.working_days
    return working and not asked.is_off(asked.first_day, scout.name)


def _each(names: Sequence[str], loaded: LoadedSeason) -> list[str]:
    """Names one by one; commas stand between several, where they are not in an id itself."""
    ids = {field_id.casefold() for field_id in loaded.season.field_ids}
    return [
        one.strip()
        for name in names
        for one in ([name] if name.casefold() in ids else name.split(","))
        if one.strip()
    ]
