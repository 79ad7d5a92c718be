"""The week's route on a screen: days, stops, what is left out, and what waiting costs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from stagecast.base.terminal import STYLES, cell, fitted, paragraph, table
from stagecast.base.textfiles import clean
from stagecast.base.units import distance_text, temperature_text
from stagecast.knowledge import Knowledge
from stagecast.screens.plan import show_above, show_late
from stagecast.screens.screen import (
    ShownList,
    day_text,
    foot,
    forecast_notes,
    marked_name,
    name_of,
    title,
)
from stagecast.visits.season_day import FieldDay
from stagecast.week.changes import DayAndScout, Moved
from stagecast.week.days import FieldLeftOut, HotDay, ScoutDay, WeekStop
from stagecast.week.minutes import pace_of
from stagecast.week.waiting import WaitingCost
from stagecast.week.week import WeekRoute
from stagecast.words.counts import percent_text
from stagecast.words.morning import last_count, why_in_short
from stagecast.words.notes import counted, threshold_note
from stagecast.words.waiting import (
    COST_NOTE,
    formula_words,
    judgement_text,
    risk_text,
    term_name,
)
from stagecast.words.week import (
    CENT,
    area_text,
    check_text,
    clock_text,
    dollars_text,
    due_text,
    estimate_text,
    held_texts,
    hours_text,
    how_text,
    ids_text,
    left_out_text,
    looks_text,
    moved_text,
    pace_text,
    seen_text,
    sets_text,
    waiting_text,
)

WIDE_SCREEN, NARROW_SCREEN = 110, 70
LOOKS = {False: 3, True: 4}
"""How many things to look for are named at a stop, on a narrow and on a wide screen."""
WAITING_IDS = 4

Span = tuple[dt.datetime, dt.datetime]

NAME, HOW, WHY = 16, 11, 21
"""Characters of the columns of a stop's line."""

IDS, FREE_IDS = 12, 40
"""How many ids are named: of fields not due, and of fields left out that lose nothing."""

USUAL_DAYS = 7

SOLVERS = {
    "pyvrp": "Route by PyVRP.",
    "insertion": "Route by plain insertion: PyVRP finds shorter ones, see stagecast guide week.",
}

TERMS = 3
"""How many terms of a field are shown; the rest are summed up."""


def show_week(
    console: Console, week: WeekRoute, *, explain: bool, looks: bool, shown: ShownList
) -> None:
    """The days in order, what is left out, what moved, and what other ways would cost.

    ``explain`` adds what the cost of waiting is made of, and the formula; ``looks`` how each field
    is sampled and what to look for there.
    """
    fields = [*(stop.plan for stop in week.stops), *(left.plan for left in week.left_out)]
    title(console, week.season, fields, "The week's route")
    show_above(console, week)
    if not week.days:
        paragraph(console, "none of these days is a working day", "quiet")
    if week.days and not week.stops:
        paragraph(console, _idle(week), "quiet")
    elif week.stops:
        _totals(console, week)
        for number, day in enumerate(week.days):
            if number:
                console.print()
            _day(console, day, week, looks=looks)
    _left_out(console, week)
    _not_due(console, week)
    for sentence in held_texts(week):
        paragraph(console, sentence)
    _moved(console, week)
    _beside(console, week)
    if explain:
        show_explained(console, week)
    foot(console, list(_notes(week, fields, explain=explain)), shown)


def _idle(week: WeekRoute) -> str:
    """One sentence for days on which no field is walked."""
    due = counted(len(week.left_out), "field")
    if not week.left_out:
        return "no field is due in these days"
    if all(left.waiting.left_out < CENT for left in week.left_out):
        return f"no field is walked in these days: {due} due, and none has anything to lose"
    return f"no field is walked in these days: {due} due"


def _totals(console: Console, week: WeekRoute) -> None:
    """How many of the fields that are due are walked; and what heat asks for, once."""
    walked = len(week.stops)
    due = counted(walked + len(week.left_out), "due field")
    ids = tuple(dict.fromkeys((*week.walked_today, *week.done)))
    done = f"; already walked: {ids_text(ids, most=IDS)}" if ids else ""
    paragraph(console, f"{walked} of {due} on the route{done}")
    hot = next((day.hot for day in week.days if day.hot is not None), None)
    if hot is not None:
        knowledge = week.season.knowledge
        source = knowledge.sources[knowledge.workday.heat.caution.source]
        limit = temperature_text(hot.limit_c, week.season.settings.units)
        paragraph(
            console,
            f"On hot days: {hot.caution} ({source.publisher}; its guide speaks of a heat index of "
            f"{limit}, known here by the air's temperature alone: humid air feels hotter)",
            "now",
        )
    console.print()


def _day(console: Console, day: ScoutDay, week: WeekRoute, *, looks: bool) -> None:
    scout = f", {day.scout}" if day.scout else ""
    paragraph(console, f"{day_text(day.date, weekday=True)}{scout}", "bold")
    if not day.stops:
        paragraph(console, _nothing(day, week), "quiet")
    else:
        joint = "\n" if console.width < NARROW_SCREEN else ", "
        console.print(cell(joint.join(_hours(day, week)), "quiet"))
    if day.hot is not None:
        paragraph(console, _heat(day.hot, week), "now")
    if day.stops and console.width < NARROW_SCREEN:
        _stacked(console, day, week)
    elif day.stops and looks:
        console.print(_stops(day, week, width=console.width))
    elif day.stops:
        _lines(console, day, week)


def _lines(console: Console, day: ScoutDay, week: WeekRoute) -> None:
    """A line a stop: when, where, how many sets, why, and what was last found."""
    for span, stop in _rows(day):
        if stop is None:
            console.print(_line(f"{clock_text(span[0]):>5} lunch", "quiet"))
            continue
        why = fitted(why_in_short(stop.plan.visit, days_late=stop.days_late), WHY)
        name, how = (
            fitted(marked_name(stop.plan), NAME),
            fitted(sets_text(stop, week.season.knowledge), HOW),
        )
        told = f"{clock_text(span[0]):>5} {name} {how} {why} {last_count(stop.plan)}"
        console.print(_line(fitted(told, console.width - 1).rstrip()))


def _nothing(day: ScoutDay, week: WeekRoute) -> str:
    """Why a working day has no stops, and which fields that are due wait for a later day."""
    later = [
        stop
        for stop in week.stops
        if stop.arrive.date() > day.date and _due_by(stop.plan.visit.due, day.date)
    ]
    left = [one for one in week.left_out if _due_by(one.plan.visit.due, day.date)]
    if not later:
        return "nothing worth the drive" if left else "nothing is due"
    dates = sorted({stop.arrive.date() for stop in later[:WAITING_IDS]})
    waits = []
    for date in dates:
        ids = [stop.field_id for stop in later[:WAITING_IDS] if stop.arrive.date() == date]
        wait = "waits" if len(ids) == 1 else "wait"
        waits.append(f"{ids_text(ids, most=WAITING_IDS)} {wait} for {day_text(date, weekday=True)}")
    more = len(later) - WAITING_IDS
    text = ", ".join(waits) + (f", {more} more for later" if more > 0 else "")
    return f"nothing worth the drive: {text}"


def _due_by(due: dt.date | None, day: dt.date) -> bool:
    return due is not None and due <= day


def _hours(day: ScoutDay, week: WeekRoute) -> Iterator[str]:
    units = week.season.settings.units
    hours = ""
    if day.leave_home is not None and day.back_home is not None:
        hours = f"{_span((day.leave_home, day.back_home))}, "
    yield hours + counted(len(day.stops), "field")
    yield f"{distance_text(day.drive_km, units)} in {hours_text(day.drive_min)}"
    yield f"{hours_text(day.work_min)} in fields"


def _span(span: Span) -> str:
    first, last = span
    return f"{clock_text(first)}-{clock_text(last)}"


def _heat(hot: HotDay, week: WeekRoute) -> str:
    units = week.season.settings.units
    high, limit = (temperature_text(c, units) for c in (hot.high_c, hot.limit_c))
    return f"hot: high near {high}, {hot.chance:.0%} chance of {limit} or more"


def _rows(day: ScoutDay) -> list[tuple[Span, WeekStop | None]]:
    """The stops, and lunch between them as None, in the order of their times."""
    rows: list[tuple[Span, WeekStop | None]] = [((s.arrive, s.leave), s) for s in day.stops]
    if day.lunch is not None:
        rows.append((day.lunch, None))
    return sorted(rows, key=lambda row: row[0])


def _stacked(console: Console, day: ScoutDay, week: WeekRoute) -> None:
    """Stops on a phone: times and field on a line, the rest below it."""
    for span, stop in _rows(day):
        if stop is None:
            console.print(_line(f"{_span(span)}  lunch", "quiet"))
            continue
        console.print(_line(f"{_span(span)}  {marked_name(stop.plan)}", "bold"))
        for text in (_owner(stop, week), *_told(stop, week, wide=False)):
            console.print(Padding(_line(text), (0, 0, 0, 2)))


def _line(text: str, style: str = "") -> Text:
    return Text(clean(text), style=STYLES.get(style, style))


def _stops(day: ScoutDay, week: WeekRoute, *, width: int) -> Table:
    made = table("", "field", "how, and what to look for first")
    for column, most in zip(made.columns, (11, width // 4), strict=False):
        column.max_width = most
    made.columns[0].no_wrap = True
    for span, stop in _rows(day):
        if stop is None:
            made.add_row(cell(_span(span), "quiet"), cell("lunch", "quiet"), cell(""))
            continue
        told = "\n".join(_told(stop, week, wide=width >= WIDE_SCREEN))
        field = f"{marked_name(stop.plan)}\n{clean(_owner(stop, week))}"
        made.add_row(cell(_span(span)), cell(field), cell(told))
    return made


def _owner(stop: WeekStop, week: WeekRoute) -> str:
    """Grower and area."""
    field = stop.plan.forecast.field
    area = area_text(field.area_acres, week.season.settings.units)
    return ", ".join(filter(None, (field.grower, area)))


def _told(stop: WeekStop, week: WeekRoute, *, wide: bool) -> list[str]:
    """Why it is walked, how, and what to look for, a line each."""
    knowledge = week.season.knowledge
    why = "; ".join(filter(None, (due_text(stop), seen_text(stop), waiting_text(stop))))
    how = how_text(stop, knowledge)
    lines = (why, check_text(stop), how, looks_text(stop, knowledge, most=LOOKS[wide]))
    # A line break in what was typed must not look like one of ours.
    return [clean(line) for line in lines if line]


def _left_out(console: Console, week: WeekRoute) -> None:
    """A line per field that loses something, and one for all that lose nothing."""
    show_late(console, week)
    if not week.left_out:
        return
    console.print()
    paragraph(console, "Left out, most to lose first", "bold")
    made = table("lost", "field, and why")
    losing = [left for left in week.left_out if left.waiting.left_out >= CENT]
    for left in losing:
        lost = dollars_text(left.waiting.left_out)
        made.add_row(
            cell(lost, "late"), cell(f"{marked_name(left.plan)}: {left_out_text(left.why)}")
        )
    if losing:
        console.print(made)
    free = [left.field_id for left in week.left_out if left.waiting.left_out < CENT]
    if free:
        paragraph(console, f"nothing to lose by waiting: {ids_text(free, most=FREE_IDS)}")


def _not_due(console: Console, week: WeekRoute) -> None:
    if week.not_due and (week.stops or week.left_out):
        console.print()
        paragraph(console, f"Not due in these days: {ids_text(week.not_due, most=IDS)}", "quiet")


def _moved(console: Console, week: WeekRoute) -> None:
    """What moved, under its reason."""
    if not week.moved:
        return
    names = {plan.field_id: name_of(plan) for plan in week.season.fields}
    console.print()
    paragraph(console, "What moved, against the same week without what you said", "bold")
    by_reason: dict[str, list[Moved]] = {}
    for moved in week.moved:
        by_reason.setdefault(moved_text(moved), []).append(moved)
    for why, group in by_reason.items():
        paragraph(console, f"{why}:")
        for moved in group:
            name, was = names.get(moved.field_id, moved.field_id), _day_and_scout(moved.was)
            paragraph(console, f"- {name}: {was} -> {_day_and_scout(moved.to)}")


def _day_and_scout(at: DayAndScout | None) -> str:
    if at is None:
        return "left out"
    return day_text(at[0], weekday=True) + (f", {at[1]}" if at[1] else "")


def _beside(console: Console, week: WeekRoute) -> None:
    """What other ways of making the route would come to."""
    if not week.beside:
        return
    units = week.season.settings.units
    console.print()
    paragraph(console, "Beside other ways of making the route", "bold")
    made = table("way", "walks", "drive", "wait", "sum")
    for column in made.columns[1:]:
        column.justify = "right"
        column.no_wrap = True
    for one in week.beside:
        missed = f" (misses {one.missed} that must be walked)" if one.missed else ""
        costs = one.drive_cost, one.waiting_cost, one.drive_cost + one.waiting_cost
        amounts = [cell(f"${amount:,.0f}") for amount in costs]
        made.add_row(cell(one.rule + missed), cell(str(one.walked)), *amounts)
    console.print(made)
    far = ", ".join(f"{r.rule} {distance_text(r.drive_km, units)}" for r in week.beside)
    paragraph(console, f"Dollars of driving and of waiting. Driven: {far}.", "quiet")


def show_explained(console: Console, week: WeekRoute) -> None:
    """The formula, and for every field its largest terms and the days."""
    knowledge = week.season.knowledge
    console.print()
    paragraph(console, "What waiting costs", "bold")
    for line in formula_words(knowledge):
        paragraph(console, line)
    fields: list[WeekStop | FieldLeftOut] = [*week.stops, *week.left_out]
    for one in fields:
        console.print()
        _terms(console, one.plan, one.waiting, knowledge)
    if any(len(one.waiting.terms) > TERMS for one in fields):
        console.print()
        paragraph(console, "Every term of every field: --explain --format json.", "quiet")


def _terms(console: Console, plan: FieldDay, waiting: WaitingCost, knowledge: Knowledge) -> None:
    paragraph(console, f"{name_of(plan)}: {_costs(waiting)}", "bold")
    made = table("", "")
    made.show_header = False
    for term in waiting.terms[:TERMS]:
        numbers = (
            f"chance {percent_text(term.chance)}, {dollars_text(term.per_acre)} an acre and day"
        )
        told = f"{term_name(term, knowledge)}: {numbers}; {risk_text(term.risk, knowledge)}"
        made.add_row(cell(dollars_text(term.dollars)), cell(told))
    rest = waiting.terms[TERMS:]
    if rest:
        others = "1 other" if len(rest) == 1 else f"{len(rest)} others together"
        made.add_row(cell(dollars_text(sum(term.dollars for term in rest))), cell(others))
    if waiting.terms:
        console.print(made)
    days = ", ".join(dollars_text(amount) for amount in waiting.by_day)
    paragraph(console, f"day by day: {days}", "quiet")


def _costs(waiting: WaitingCost) -> str:
    """``$14 on 8 Jul, $200 if left out until 17 Jul``."""
    if not waiting.by_day:
        return dollars_text(0.0)
    last = waiting.first_day + dt.timedelta(days=len(waiting.by_day) - 1)
    return (
        f"{dollars_text(waiting.by_day[0])} on {day_text(waiting.first_day)}, "
        f"{dollars_text(waiting.left_out)} if left out until {day_text(last)}"
    )


def _notes(week: WeekRoute, fields: Sequence[FieldDay], *, explain: bool) -> Iterator[str | None]:
    season = week.season
    if week.stops:
        yield estimate_text(week)
        yield pace_text(pace_of(season.loaded))
        yield SOLVERS[week.solver]
        yield "How each field is sampled and what to look for there: --looks."
        step = f"stagecast revisit {season.read.season.path} --as-of {season.as_of} --field ID"
        yield f"The same in full, with thresholds: {step}, or --format json here."
    days = (week.last_day - week.first_day) // dt.timedelta(days=1) + 1
    if days > USUAL_DAYS and week.stops:
        yield f"In these {days} days each field is walked once, also where it falls due again."
    if explain or _dollars_shown(week):
        yield f"{COST_NOTE} {judgement_text(season.knowledge)}"
    yield from forecast_notes(season, fields)
    yield threshold_note(season.loaded, season.knowledge)


def _dollars_shown(week: WeekRoute) -> bool:
    """Whether dollars of waiting stand on the screen."""
    lost = any(left.waiting.left_out >= CENT for left in week.left_out)
    return lost or bool(week.beside) or any(waiting_text(stop) for stop in week.stops)
