"""The first screen of a morning: never more than :data:`LINES` lines of 80 columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from stagecast.base.textfiles import clean
from stagecast.screens.screen import STYLES, day_text, fitted, forecast_notes, long_day, name_of
from stagecast.visits.pressure import Density
from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.morning import Today, since_when
from stagecast.words.counts import chance_text, number_text
from stagecast.words.morning import coming_text, last_count, news_text, why_in_short
from stagecast.words.notes import counted, threshold_note
from stagecast.words.week import clock_text, hours_text

LINES, WIDTH = 24, 80


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


def show_today(console: Console, told: Today) -> None:
    """Decide, walk, what comes, what is new: each in a few lines."""
    parts = [one for one in _parts(told) if one.lines]
    foot = _foot(told)
    room = LINES - len(parts) - 1 - len(foot)
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
        work = f"walk {walked} of {counted(len(season.fields), 'field')}"
    elif told.next_day is not None:
        work = f"nothing to walk, next on {day_text(told.next_day, weekday=True)}"
    else:
        work = "nothing to walk any more this season"
    return f"{long_day(season.as_of)}: {work}{decide}"


def _parts(told: Today) -> list[Part]:
    folder = f"{told.season.read.season.path} --as-of {told.season.as_of}"
    walk = [line for day in told.days for line in _day_lines(day, many=len(told.days) > 1)]
    news = "" if told.since is None else f"New since {day_text(told.since, weekday=True)}"
    return [
        Part(
            "Decide: over a threshold, nothing applied since (consider, never spray)",
            tuple(_decide_lines(told)), 3, f"stagecast plan {folder}", "late",
        ),
        Part("Walk today", tuple(walk), 5, f"stagecast week {folder}"),
        Part("Coming", tuple(map(coming_text, told.coming)), 3, f"stagecast stages {folder}"),
        Part(news, tuple(map(news_text, told.news)), 3, f"stagecast plan {folder}"),
    ]  # fmt: skip


def _decide_lines(told: Today) -> list[str]:
    lines = []
    for one in told.decide:
        what, since = one.seen.what, day_text(since_when(one))
        if isinstance(what, Density):
            limit = number_text(what.threshold)
            chance = "" if what.p_above is None else f", {chance_text(what.p_above)}"
            found = f"{what.pest.short} {number_text(what.found_mean)} of {limit}{chance}"
        else:
            assert not isinstance(what, str), "a word for the pressure is over nothing"
            found = f"leaf loss {what.percent:g}%"
        lines.append(f"^ {fitted(name_of(one.plan), 19)} {found}, since {since}")
    return lines


def _day_lines(day: ScoutDay, *, many: bool) -> list[str]:
    who = f"{day.scout}: " if day.scout and many else ""
    assert day.leave_home is not None, "a day with stops begins"
    assert day.back_home is not None, "and ends"
    hours = f"{clock_text(day.leave_home)}-{clock_text(day.back_home)}"
    total = f"{who}{hours}, {counted(len(day.stops), 'field')}, {hours_text(day.drive_min)} driving"
    return [total, *map(_stop_line, day.stops)]


def _stop_line(stop: WeekStop) -> str:
    why = fitted(why_in_short(stop.plan.visit, days_late=stop.days_late), 26)
    name = fitted(name_of(stop.plan), 18)
    return f"{clock_text(stop.arrive):>5} {name} {why} {last_count(stop.plan)}"


def _foot(told: Today) -> list[str]:
    season = told.season
    notes = [*forecast_notes(season, season.fields)]
    notes.append(threshold_note(season.loaded, season.knowledge))
    number = sum(note is not None for note in notes)
    folder = f"{season.read.season.path} --as-of {season.as_of}"
    foot = [f"{counted(number, 'note')} behind this: stagecast check {folder}"]
    left = len(told.route.left_out)
    if left:
        foot.insert(0, f"{counted(left, 'due field')} left out this week: stagecast week {folder}")
    return foot


def _line(console: Console, text: str, style: str = "") -> None:
    """One line, cut where the screen ends."""
    told = clean(text)
    width = max(WIDTH, console.width) - 1
    told = told if len(told) <= width else told[: width - 1] + "~"
    console.print(Text(told, style=STYLES.get(style, style)), no_wrap=True, overflow="crop")
