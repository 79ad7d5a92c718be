"""The letter to a grower: all their fields of a week, on a page and as a text for a message."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.dates import DAY_S, said_time
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.forecast.field_names import one_named
from stagecast.pages.growers.brief import (
    Brief,
    brief_of,
    cautions_said,
    closed_said,
    comes_said,
    named,
    unknown_said,
)
from stagecast.pages.growers.found import FoundRow
from stagecast.pages.growers.next_visit import FURTHEST, STAND
from stagecast.pages.needs import above_mark
from stagecast.pages.number_line import NumberLine, leaf_line_of, line_of, number_line
from stagecast.pages.render import letter_name, make_folder, render, save_pages
from stagecast.season.settings.settings import ConsultantSettings
from stagecast.season.tables.blocked import Blocked
from stagecast.season.tables.fields import Field, UndatedField
from stagecast.visits.look_for import Soon
from stagecast.visits.reentry import entry_from, no_entry_as_of, whole_minute
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import Above, above_of, walk_of
from stagecast.words.plain import (
    LEAF_LOSS,
    LONGEST_TEXT,
    clock,
    headed,
    listed,
    plain_day,
    short_day,
    stage_said,
    typed,
)
from stagecast.words.week import above_texts

MOST_LINES = 3
"""Pests of a field that are told with their numbers; more would not be read."""

MOST_TREATMENTS = 3


@dataclass(frozen=True, slots=True)
class CountedPest:
    """A pest that was counted: its name, the count beside its threshold, and what to know of it."""

    pest: str
    number: NumberLine
    note: str = ""


@dataclass(frozen=True, slots=True)
class FieldNews:
    """What the letter says of a field: found, decided, coming, and when we come.

    Attributes
    ----------
    field: id and name
    stage: in words, with its code
    closed: set where nobody may enter it today, or not all day
    found: the news in a sentence or two
    counts: pests beside their thresholds but for those in ``to_decide``, the nearest first
    more_counts: how many more were seen
    to_decide: what was counted at its threshold or over it and waits for a decision
    waits: it in words
    decided: what was applied, and what its label says of harvest
    next_stage: the next stage with its range; "" where none comes
    pests: what we look for, what comes soon, and looks besides insects
    closing: times ahead in which nobody may enter
    day: the one date on which the field is walked; None without one
    when: it in sentences
    when_short: it for a list
    """

    field: str
    stage: str
    facts: str
    closed: str | None
    found: str
    counts: tuple[CountedPest, ...]
    more_counts: int
    to_decide: tuple[CountedPest, ...]
    waits: tuple[str, ...]
    decided: tuple[str, ...]
    next_stage: str
    pests: tuple[str, ...]
    closing: tuple[str, ...]
    day: dt.date | None
    when: tuple[str, ...]
    when_short: str


@dataclass(frozen=True, slots=True)
class FieldWithout:
    """A field without a forecast: what it waits for, and whether it may be entered."""

    field: str
    why: str
    closed: str | None


@dataclass(frozen=True, slots=True)
class Letter:
    """All that is said to a grower.

    Attributes
    ----------
    made: the day it stands for, on which its week begins
    fields, without: in file order
    """

    grower: str
    made: dt.date
    consultant: ConsultantSettings
    fields: tuple[FieldNews, ...]
    without: tuple[FieldWithout, ...]
    unknown: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def by_need(self) -> list[FieldNews]:
        """The fields: first those that wait for a decision, then those closed, then the others."""
        return sorted(self.fields, key=lambda one: (not one.waits, one.closed is None))

    @property
    def waiting(self) -> tuple[str, ...]:
        """Fields that wait for a decision."""
        return tuple(one.field for one in self.fields if one.waits)

    @property
    def closed(self) -> tuple[str, ...]:
        """Fields that may not be entered now, or not all day."""
        both: tuple[FieldNews | FieldWithout, ...] = (*self.fields, *self.without)
        return tuple(one.field for one in both if one.closed is not None)

    @property
    def counted(self) -> bool:
        """Whether a count stands on its line, which is then explained."""
        return any(one.counts or one.to_decide for one in self.fields)

    @property
    def visits(self) -> tuple[tuple[str, str], ...]:
        """When we come, by date, and to which fields; then what has no date."""
        found: dict[tuple[dt.date, str], list[str]] = {}
        for one in self.fields:
            found.setdefault((one.day or dt.date.max, one.when_short), []).append(one.field)
        return tuple((when, ", ".join(found[day, when])) for day, when in sorted(found))


def letters_of(season: SeasonDay) -> tuple[Letter, ...]:
    """A letter to every grower, by name; fields without a grower's name are in none."""
    return tuple(_letter(season, grower) for grower in _growers(season))


def letter_of(season: SeasonDay, grower: str) -> Letter:
    """The letter to the grower of a name, in any case.

    Raises
    ------
    SeasonProblems
        Where no field has a grower of this name.
    """
    none = "no field in fields.csv has this grower"
    names = _growers(season)
    asked = " ".join(grower.split())
    return _letter(season, one_named(asked, names, option="GROWER", none=none, several=none))


def fields_without_grower(season: SeasonDay) -> tuple[str, ...]:
    """Ids of fields in no letter."""
    return tuple(typed(one.field_id) for one in _fields(season) if not one.grower.strip())


def _growers(season: SeasonDay) -> list[str]:
    """Growers as they are first written; other blanks and capitals make no other grower."""
    found: dict[str, str] = {}
    for one in _fields(season):
        name = " ".join(one.grower.split())
        if name:
            found.setdefault(name.casefold(), name)
    return [found[key] for key in sorted(found)]


def _fields(season: SeasonDay) -> tuple[Field | UndatedField, ...]:
    folder = season.read.season
    return (*folder.fields, *folder.undated)


def _letter(season: SeasonDay, grower: str) -> Letter:
    theirs = [one for one in _fields(season) if _same(one.grower, grower)]
    found = {one.field_id: one for one in season.fields}
    days = [found[one.field_id] for one in theirs if one.field_id in found]
    news = [_news(one) for one in days]
    without = [_without(one, season) for one in theirs if one.field_id not in found]
    closed = any(one.no_entry is not None for one in days)
    unknown = (line for one in days for line in unknown_said(one))
    return Letter(
        grower=typed(grower),
        made=season.as_of,
        consultant=season.settings.consultant,
        fields=tuple(news),
        without=tuple(without),
        unknown=tuple(dict.fromkeys(unknown)),
        cautions=tuple(cautions_said([d.forecast.stage_now for d in days], closed=closed)),
    )


def _same(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _news(field: FieldDay) -> FieldNews:
    brief = brief_of(field)
    following = field.forecast.next_stage(field.season.as_of)
    above = [one for one in above_of(field.season) if one.plan.field_id == field.field_id]
    seen = _seen(brief)
    return FieldNews(
        field=named(brief.field_id, brief.name),
        stage=headed(stage_said(brief.stage)),
        facts=brief.facts,
        closed=closed_said(field.no_entry, field.blocked) or None,
        found=" ".join([*brief.stand[:1], brief.found.headline]),
        counts=tuple(map(_counted, seen[:MOST_LINES])),
        more_counts=max(0, len(seen) - MOST_LINES),
        to_decide=tuple(map(_to_decide, above)),
        waits=tuple(text for _, texts in above_texts(above, day_text=short_day) for text in texts),
        decided=tuple(_decided(field)),
        next_stage="" if following is None else comes_said(field.forecast, following),
        pests=(*_pests(field, brief), *brief.looks),
        closing=tuple(_closed_ahead(field)),
        day=walk_of(field).day,
        when=brief.next_steps,
        when_short=brief.next_short,
    )


def _seen(brief: Brief) -> list[FoundRow]:
    """Each pest that was seen and waits for no decision, the nearest to its threshold first.

    What was over it and is not any more, or may not be, comes last.
    """
    seen = [row for row in brief.found.rows if row.seen and not row.above]
    return sorted(seen, key=lambda row: (row.over, -(row.share or 0.0)))


def _counted(row: FoundRow) -> CountedPest:
    """A count, with the reason where it was over its threshold and calls for nothing now."""
    return CountedPest(row.pest, row.number, row.means if row.over else "")


def _to_decide(one: Above) -> CountedPest:
    found, day = one.assessed, short_day(one.seen.date)
    if isinstance(found, DefoliationAssessment):
        return CountedPest(LEAF_LOSS, leaf_line_of(found), day)
    return CountedPest(typed(one.name), line_of(found), day)


def _decided(field: FieldDay) -> Iterator[str]:
    """What was applied up to the day, the last first."""
    applied = field.log.up_to(field.season.as_of).treatments[::-1]
    for one in applied[:MOST_TREATMENTS]:
        product = typed(one.product)
        yield f"Treated {plain_day(one.applied_at.date())}{f' ({product})' if product else ''}."
        if one.preharvest_days is None:
            continue
        harvest = (one.applied_at + dt.timedelta(days=one.preharvest_days)).date()
        if harvest > field.season.as_of:
            yield f"No harvest before {plain_day(harvest)}, by its label as we noted it."
    if len(applied) > MOST_TREATMENTS:
        yield f"{len(applied) - MOST_TREATMENTS} more before."


def _pests(field: FieldDay, brief: Brief) -> Iterator[str]:
    """What we look for at the next visit, and what heat or catches bring soon after."""
    pests = list(dict.fromkeys(one.pest for one in brief.look_for))
    if pests:
        yield f"We look {'at' if pests == [STAND] else 'for'} {listed(pests)}."
    memory = {window.pest for window in field.windows if window.unverified}
    soon = [
        f"{typed(pest.name)} from {plain_day(day)}"
        for item in field.visit.look_for
        if isinstance(item, Soon)
        for pest, day in item.pests
        if pest.id not in memory
    ]
    if soon:
        yield f"Soon: {listed(soon)}."


def _closed_ahead(field: FieldDay) -> Iterator[str]:
    """Times in which nobody may enter and which begin after the day."""
    as_of = field.season.as_of
    for one in field.log.after(as_of).treatments:
        until = whole_minute(entry_from(one))
        day = plain_day(one.applied_at.date())
        yield (
            f"{headed(typed(one.product)) or 'A treatment'} is noted for {day}: do not enter from "
            f"then until {plain_day(until.date(), weekday=True)}, {clock(until)}; its label sets "
            "the time."
        )
    for blocked in field.season.loaded.season.blocked:
        if blocked.field_id == field.field_id and as_of < blocked.first <= as_of + FURTHEST:
            yield _blocked_ahead(blocked)


def _blocked_ahead(blocked: Blocked) -> str:
    first, last = plain_day(blocked.first), plain_day(blocked.last)
    days = f"on {first}" if first == last else f"from {first} to {last}"
    if (blocked.from_s, blocked.to_s) != (0, DAY_S):
        days += f", {said_time(blocked.from_s)} to {said_time(blocked.to_s)}"
    why = typed(blocked.why, most=LONGEST_TEXT)
    return f"Do not enter {days}{f' ({why})' if why else ''}."


def _without(field: Field | UndatedField, season: SeasonDay) -> FieldWithout:
    loaded, as_of = season.loaded.season, season.as_of
    ours = (one for one in loaded.blocked if one.field_id == field.field_id)
    blocked = [one for one in ours if one.first <= as_of <= one.last]
    held = no_entry_as_of(loaded.log, field.field_id, as_of)
    dated = isinstance(field, Field)
    return FieldWithout(
        field=named(field.field_id, field.field_name),
        why="We have no forecast today." if dated else "Please tell us when it is planted.",
        closed=closed_said(held, blocked) or None,
    )


def letter_html(letter: Letter) -> str:
    """The page, self-contained."""
    return render(
        "letter.html",
        letter=letter,
        consultant=letter.consultant,
        made=f"{plain_day(letter.made, weekday=True)}, {letter.made.year}",
        number_line=number_line,
        above_mark=above_mark,
    )


def letter_text(letter: Letter) -> str:
    """The letter for a message: two lines a field, first those to decide, then those closed."""
    return "\n".join(_lines(letter)) + "\n"


def _lines(letter: Letter) -> Iterator[str]:
    yield f"{letter.grower}, your beans on {plain_day(letter.made, weekday=True)}"
    for one in letter.by_need:
        found = f"TO DECIDE WITH US: {'; '.join(one.waits)}." if one.waits else one.found
        closed = "" if one.closed is None else f"CLOSED: {one.closed} "
        yield f"{one.field}, {one.stage}: {closed}{found}"
        when = one.when if one.day is None else (f"Next visit {one.when_short}.",)
        yield "  " + " ".join(filter(None, (*when, *one.decided, *one.closing, one.next_stage)))
    for without in letter.without:
        closed = "" if without.closed is None else f"CLOSED: {without.closed} "
        yield f"{without.field}: {closed}{without.why}"
    yield " ".join(letter.cautions)
    by = ", ".join(filter(None, (letter.consultant.name, letter.consultant.phone)))
    if by:
        yield by


def save_letters(folder: Path, letters: Sequence[Letter], *, pdf: bool = False) -> tuple[Path, ...]:
    """Write each letter into a folder; all of them or none, where a page is in the way.

    Raises
    ------
    SeasonProblems
    StoreError
    """
    make_folder(folder)
    ending = "pdf" if pdf else "html"
    pages = {folder / letter_name(one.grower, ending): letter_html(one) for one in letters}
    save_pages(pages)
    return tuple(pages)
