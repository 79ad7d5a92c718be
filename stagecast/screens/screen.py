"""What several screens say of a season: days, ranges, fields, what stands at their foot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from stagecast.base.dates import said_day
from stagecast.base.terminal import paragraph
from stagecast.base.textfiles import clean
from stagecast.forecast.ranges import DateRange
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import over_threshold
from stagecast.words.fields import other_year_text, planned_text, regions_text, undated_text
from stagecast.words.notes import (
    CAUTION,
    SHORT_CAUTION,
    assumption_notes,
    counted,
    doubt_note,
    dry_note,
    forecast_days_note,
    unverified_note,
    weather_notes,
)
from stagecast.words.visits import blocked_text, no_entry_text, until_text

WIDE_SCREEN = 110

ANSWER_STYLES = {
    "above": "late", "near": "now", "too few": "now", "below": "soon",
    "consider adding seed": "late", "look closer": "now", "keep": "soon",
}  # fmt: skip
"""How an answer to counts or to a stand is shown; the word always stands there too."""


@dataclass(frozen=True, slots=True)
class ShownList:
    """How much of a list a person asked for.

    Attributes
    ----------
    in_detail: few fields were named, and all is told of them.
    every: fields that need nothing are listed too.
    notes: the notes are printed, not only counted.
    """

    in_detail: bool = False
    every: bool = False
    notes: bool = False


def day_text(day: dt.date | None, *, weekday: bool = False) -> str:
    """A day as ``7 Jul`` or ``Tue 7 Jul``; ``never`` when not this season."""
    if day is None:
        return "never"
    text = said_day(day)
    return f"{day:%a} {text}" if weekday else text


def range_text(dates: DateRange) -> str:
    """The middle day with its range: ``11 Jul (4-18)``, ``24 Jul (15 Jul-3 Aug)``."""
    if dates.p50 is None:
        return "not this season" if dates.p10 is None else f"unlikely (from {day_text(dates.p10)})"
    if dates.p10 == dates.p90:
        return day_text(dates.p50)
    if dates.p10 and dates.p90 and dates.p10.month == dates.p50.month == dates.p90.month:
        return f"{day_text(dates.p50)} ({dates.p10.day}-{dates.p90.day})"
    return f"{day_text(dates.p50)} ({day_text(dates.p10)}-{day_text(dates.p90)})"


def title(console: Console, season: SeasonDay, fields: Sequence[FieldDay], what: str) -> None:
    """Say what is shown, for which season and day, and first of all which fields are closed."""
    settings = season.settings
    of = f"{what}, season {settings.year} as of {long_day(season.as_of)}"
    console.print(Text(of, style="bold"))
    count = counted(len(season.fields), "field")
    if len(fields) < len(season.fields):
        count = f"{len(fields)} of {count}"
    paragraph(console, f"{count}, {regions_text(season.loaded.season)}", "quiet")
    year = other_year_text(season.loaded.season, season.as_of)
    for note in (*([year] if year else []), *date_notes(season)):
        paragraph(console, note)
    ahead = forecast_days_note(season.loaded)
    if ahead is not None:
        paragraph(console, ahead, "quiet")
    dry = dry_note({field.field_id: field.forecast.water for field in fields})
    if dry is not None:
        paragraph(console, dry)
    for note in entry_notes(fields):
        paragraph(console, note, "late")
    console.print()


def date_notes(season: SeasonDay) -> list[str]:
    """Fields without a planting date, and those with an expected one."""
    told = season.loaded.season
    return [text for text in (undated_text(told), planned_text(told)) if text]


def long_day(day: dt.date) -> str:
    """``Tue 7 Jul 2026``."""
    return f"{day_text(day, weekday=True)} {day.year}"


def entry_notes(fields: Iterable[FieldDay]) -> list[str]:
    """One line per field that may not be entered: until when, after what, by which rule."""
    return [f"{name_of(field)}: {closed_text(field)}" for field in fields if closed_text(field)]


def closed_text(field: FieldDay) -> str:
    """Until when a field may not be entered, after what, by which rule; "" where it may."""
    rule = field.season.knowledge.decisions.treated.entry_rule
    held = [] if field.no_entry is None else [no_entry_text(field.no_entry, rule)]
    return "; ".join([*held, *map(blocked_text, field.blocked)])


def closed_short(field: FieldDay) -> str:
    """The same on a line of a list: until when, and no more of a treatment."""
    held = field.no_entry
    until = [] if held is None else [f"do not enter until {until_text(held)}"]
    return "; ".join([*until, *map(blocked_text, field.blocked)])


def listed(field: FieldDay) -> str:
    """The name of a field in a list, with a line that says so where it may not be entered."""
    return "\n".join(filter(None, (name_of(field), closed_short(field))))


def heading(console: Console, field: FieldDay) -> None:
    """A field and its stage, over what is said of it."""
    paragraph(console, f"{name_of(field)}, {field.forecast.stage_now}", "bold")
    if closed_short(field):
        paragraph(console, closed_short(field), "late")


def name_of(one: FieldDay) -> str:
    """Field id and name, the way it is said on the phone."""
    field = one.forecast.field
    return clean(f"{field.field_id} {field.field_name}".strip())


def next_stage_text(field: FieldDay) -> str:
    """The next stage with its range, ``R3 11 Jul (4-18)``; "" after the last."""
    forecast = field.forecast
    following = forecast.next_stage(field.season.as_of)
    return f"{following} {range_text(forecast.stages[following])}" if following else ""


def forecast_notes(season: SeasonDay, fields: Sequence[FieldDay]) -> list[str | None]:
    """Weather, assumptions, doubts and unverified values that stand behind these fields."""
    loaded, knowledge = season.loaded, season.knowledge
    return [
        *weather_notes(loaded, {field.field_id for field in fields}),
        *assumption_notes(loaded, knowledge),
        doubt_note(loaded, len(season.doubts)),
        unverified_note(knowledge, [w for field in fields for w in field.windows]),
    ]


def print_notes(console: Console, notes: Sequence[str | None]) -> None:
    """Print the notes at the foot of a screen; None says nothing."""
    console.print()
    for note in notes:
        if note:
            paragraph(console, note, "quiet")


def foot(console: Console, notes: Sequence[str | None], shown: ShownList) -> None:
    """The caution in one line, and the notes where they were asked for; else how many there are."""
    told = [note for note in notes if note]
    if shown.notes:
        print_notes(console, [*told, CAUTION])
        return
    console.print()
    paragraph(console, SHORT_CAUTION, "quiet")
    if told:
        paragraph(
            console, f"{counted(len(told), 'note')} on dates, weather, values: --notes", "quiet"
        )


def marked_name(plan: FieldDay) -> str:
    """A field's id and name, ``^`` before them where it waits for a decision."""
    return f"{'^' if plan.field_id in over_threshold(plan.season) else ''}{name_of(plan)}"
