"""The first screen of a morning: never more than :data:`LINES` lines of 80 columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from stagecast.base.terminal import STYLES, fitted
from stagecast.base.textfiles import clean
from stagecast.knowledge import Knowledge
from stagecast.screens.screen import day_text, forecast_notes, long_day, marked_name, name_of
from stagecast.season.locks import FILE as LOCKS_FILE
from stagecast.visits.pressure import Density
from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.morning import Today, since_when
from stagecast.words.counts import chance_text
from stagecast.words.fields import other_year_text, waiting_text
from stagecast.words.morning import (
    coming_text,
    density_text,
    last_count,
    news_text,
    why_in_short,
)
from stagecast.words.notes import counted, threshold_note
from stagecast.words.week import clock_text, hours_text, sets_text

LINES, WIDTH = 24, 80
NAME, HOW, WHY = 14, 11, 21
"""Characters of the columns of a stop's line."""


@dataclass(frozen=True, slots=True)
class Part:
    """A headed part of the screen; what does not fit is counted, with the command that shows it.

    ``least`` lines are kept for it where other parts are long.
    """

    title: str
    lines: tuple[str, ...]
    least: int
    more: str
    style: str = ""


def show_today(console: Console, told: Today, *, every: bool = False) -> None:
    """Decide, walk, what comes, what is new: each in a few lines, or in ``every`` line."""
    parts = [one for one in _parts(told) if one.lines]
    foot = _foot(told)
    room = sum(len(p.lines) for p in parts) if every else LINES - len(parts) - 1 - len(foot)
    _line(console, _head(told), "bold")
    for part, lines in zip(parts, shares(parts, room=room), strict=True):
        _line(console, part.title, part.style or "bold")
        for line in _cut(part, lines):
            _line(console, f"  {line}")
    for line in foot:
        _line(console, line, "quiet")


def shares(parts: Sequence[Part], *, room: int) -> list[int]:
    """How many lines each part gets of ``room``: its least first, the rest in the given order."""
    given = [min(len(one.lines), one.least) for one in parts]
    for place, one in enumerate(parts):
        free = max(0, room - sum(given))
        given[place] += min(free, len(one.lines) - given[place])
    return given


def _cut(part: Part, lines: int) -> list[str]:
    if lines >= len(part.lines):
        return list(part.lines)
    shown = part.lines[: lines - 1]
    return [*shown, f"{len(part.lines) - len(shown)} more: {part.more}"]


def _head(told: Today) -> str:
    season = told.season
    walked = sum(len(day.stops) for day in told.days)
    fields = counted(len({one.plan.field_id for one in told.decide}), "field")
    decide = f"; {fields} to decide on" if told.decide else ""
    if walked:
        done = len(told.route.walked_today)
        more, also = (" more", f", {done} walked") if done else ("", "")
        work = f"walk {walked}{more} of {counted(len(season.fields), 'field')}{also}"
    elif told.next_day is not None:
        year = "" if told.next_day.year == season.as_of.year else f" {told.next_day.year}"
        work = f"nothing to walk, next on {day_text(told.next_day, weekday=True)}{year}"
    elif season.fields and not season.read.season.undated:
        of = season.settings.year
        over = season.as_of.year > of
        work = f"the season of {of} is over" if over else "nothing to walk any more this season"
    else:
        work = "nothing to walk yet"
    return f"{long_day(season.as_of)}: {work}{decide}"


def _parts(told: Today) -> list[Part]:
    folder = f"{told.season.read.season.path} --as-of {told.season.as_of}"
    walk = _walk_lines(told)
    news = "" if told.since is None else f"New since {day_text(told.since, weekday=True)}"
    return [
        Part(
            "Decide: at or over a threshold, nothing applied since (consider, never spray)",
            tuple(_decide_lines(told)), 3, f"stagecast plan {folder}", "late",
        ),
        Part("Walk today", tuple(walk), 5, f"stagecast week {folder}"),
        Part("Coming", tuple(map(coming_text, told.coming)), 3, f"stagecast today {folder} --all"),
        Part(news, tuple(map(news_text, told.news)), 3, f"stagecast plan {folder}"),
    ]  # fmt: skip


def _decide_lines(told: Today) -> list[str]:
    lines = []
    for one in told.decide:
        what, since = one.seen.what, day_text(since_when(one))
        if isinstance(what, Density):
            chance = "" if what.p_above is None else f", {chance_text(what.p_above)}"
            found = f"{density_text(what)}{chance}, {what.answer}"
        else:
            assert not isinstance(what, str), "a word for the pressure is over nothing"
            found = f"leaf loss {what.percent:g}%"
        lines.append(f"^ {fitted(name_of(one.plan), 19)} {found}, since {since}")
    return lines


def _walk_lines(told: Today) -> list[str]:
    """The day of one scout; of several a line for each with the fields, then their stops."""
    knowledge = told.season.knowledge
    if len(told.days) == 1:
        return [_day_line(told.days[0]), *(_stop_line(s, knowledge) for s in told.days[0].stops)]
    lines = []
    for day in told.days:
        ids = " ".join(stop.field_id for stop in day.stops)
        lines.append(f"{day.scout} {_hours(day)}: {ids}")
    for day in told.days:
        lines += [day.scout, *(_stop_line(stop, knowledge) for stop in day.stops)]
    return lines


def _day_line(day: ScoutDay) -> str:
    return f"{_hours(day)}, {counted(len(day.stops), 'field')}, {hours_text(day.drive_min)} driving"


def _hours(day: ScoutDay) -> str:
    assert day.leave_home is not None, "a day with stops begins"
    assert day.back_home is not None, "and ends"
    return f"{clock_text(day.leave_home)}-{clock_text(day.back_home)}"


def _stop_line(stop: WeekStop, knowledge: Knowledge) -> str:
    why = fitted(why_in_short(stop.plan.visit, days_late=stop.days_late), WHY)
    name, how = fitted(marked_name(stop.plan), NAME), fitted(sets_text(stop, knowledge), HOW)
    return f"{clock_text(stop.arrive):>5} {name} {how} {why} {last_count(stop.plan)}"


def _foot(told: Today) -> list[str]:
    season = told.season
    notes = [*forecast_notes(season, season.fields)]
    notes.append(threshold_note(season.loaded, season.knowledge))
    number = sum(note is not None for note in notes)
    folder = f"{season.read.season.path} --as-of {season.as_of}"
    foot = [f"{counted(number, 'note')} behind this: stagecast check {folder}"]
    left = len(told.route.left_out)
    if told.days and told.route.walked_today:
        foot.insert(0, f"Rest of the day: stagecast week --from TIME {folder}")
    waiting = waiting_text(season.read.season)
    year = other_year_text(season.read.season, season.as_of)
    if year:
        foot.insert(0, year)
    if waiting:
        foot.insert(0, f"{waiting}: stagecast check {season.read.season.path}")
    if left:
        foot.insert(0, f"{counted(left, 'due field')} left out this week: stagecast week {folder}")
    unread = (one for one in season.loaded.doubts if one.file == LOCKS_FILE)
    return [*(f"{one.file}: {one.message}" for one in unread), *foot]


def _line(console: Console, text: str, style: str = "") -> None:
    """One line, cut where the screen ends."""
    told = clean(text)
    width = max(WIDTH, console.width) - 1
    told = told if len(told) <= width else told[: width - 1] + "~"
    console.print(Text(told, style=STYLES.get(style, style)), no_wrap=True, overflow="crop")
