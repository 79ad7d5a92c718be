"""The tables that the commands show on a screen."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from stagecast.knowledge import Knowledge
from stagecast.pests.windows import ScoutingWindow
from stagecast.screens.screen import (
    cell,
    day_text,
    forecast_notes,
    heading,
    listed,
    name_of,
    next_stage_text,
    paragraph,
    print_notes,
    range_text,
    table,
    title,
)
from stagecast.visits.look_for import pressing
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.days import WeekStop
from stagecast.week.week import WeekRoute, season_route, walk_of
from stagecast.words.notes import (
    CAUTION,
    RANGE_NOTE,
    STAGES_NOTE,
    threshold_note,
    unverified_note,
)
from stagecast.words.visits import look_for_texts, reason_texts
from stagecast.words.week import above_texts, how_text, late_text, left_out_text, walk_text
from stagecast.words.windows import window_text

WIDE_SCREEN = 110
PESTS_SHOWN = {False: 2, True: 4}
"""How many pests are named in one row, on a narrow and on a wide screen."""

WINDOW_STYLES = {"open": "now", "coming": "soon"}


def show_windows(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, in_detail: bool
) -> None:
    """Windows that are open or coming; with reasons when few fields are asked for."""
    title(console, season, fields, "Scouting windows open or coming")
    entering = int(season.knowledge.revisit.entering_days)
    for field in fields:
        heading(console, field)
        told = [(w.state(season.as_of, entering_days=entering), w) for w in field.windows]
        made = table("", "window", "opens", "closes")
        for state, window in told:
            if in_detail or state in ("open", "coming"):
                made.add_row(
                    cell(state, WINDOW_STYLES.get(state, "quiet")),
                    cell(_window_text(window, season, in_detail)),
                    cell(range_text(window.opens)),
                    cell(range_text(window.closes)),
                )
        if made.rows:
            console.print(made)
        else:
            paragraph(console, "no window is open or coming within a week", "quiet")
        console.print()
    print_notes(console, [RANGE_NOTE, STAGES_NOTE, CAUTION])


def _window_text(window: ScoutingWindow, season: SeasonDay, in_detail: bool) -> str:
    name = window.title if window.pest is None else f"{window.short}: {window.title}"
    return f"{name}\n{window_text(window.why, season.settings.units)}" if in_detail else name


def show_revisit(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, in_detail: bool
) -> None:
    """When to be back in each field, and why."""
    title(console, season, fields, "When to be back")
    made = table("", "walk", "field", "last", "days", "why")
    for field in fields:
        visit = field.visit
        mark, style = due_mark(field)
        made.add_row(
            cell(mark, style),
            cell(_walk_text(field, console) if visit.due else "no visit", style),
            cell(listed(field)),
            cell(day_text(visit.last_visit) if visit.last_visit else "-"),
            cell("-" if visit.interval_days is None else str(visit.interval_days)),
            cell(why_text(field)),
        )
    console.print(made)
    if in_detail:
        _details(console, fields)
    windows = [window for field in fields for window in field.windows]
    print_notes(
        console,
        [
            DUE_NOTE,
            None if in_detail else DETAIL_NOTE,
            STAGES_NOTE,
            unverified_note(season.knowledge, windows),
            threshold_note(season.loaded, season.knowledge),
            CAUTION,
        ],
    )


def _walk_text(field: FieldDay, console: Console) -> str:
    """The day of the route; on a narrow screen the rule's day stands below it."""
    apart = " " if console.width >= WIDE_SCREEN else "\n"
    return walk_text(walk_of(field), day_text=day_text, apart=apart)


def why_text(field: FieldDay) -> str:
    """The reasons of the next visit."""
    return "; ".join(reason_texts(field.visit, field.season.knowledge.decisions.treated))


def _details(console: Console, fields: Sequence[FieldDay]) -> None:
    """Why a field is due, how to sample it and what to look for, one field after another."""
    for field in fields:
        console.print()
        heading(console, field)
        sampling = field.season.knowledge.sampling.get(field.visit.sample)
        made = table("", "")
        made.show_header = False
        made.add_row(cell("why"), cell(why_text(field)))
        if sampling is not None:
            made.add_row(cell("how"), cell(sampling.how))
        for item in look_for_texts(field.visit.look_for):
            made.add_row(cell("look for"), cell(item))
        console.print(made)


DUE_NOTE = "Marks: !! overdue, ! due today, > due within a week, no mark: later or none."
PESTS_NOTE = "Pests: +2: two more; in 4d: from four days on."
DETAIL_NOTE = "What to look for in a field, with thresholds and reasons: add --field ID."


def due_mark(field: FieldDay) -> tuple[str, str]:
    """A mark for how pressing a field is, and the style that goes with it."""
    due, as_of = field.due_on, field.season.as_of
    if due is None:
        return "", "quiet"
    if due < as_of:
        return "!!", "late"
    if due == as_of:
        return "!", "now"
    return (">", "soon") if (due - as_of).days < 7 else ("", "quiet")


def show_above(console: Console, route: WeekRoute) -> None:
    """Fields over a threshold: a visit more does not help them, a decision does."""
    if not route.above:
        return
    season = route.season
    paragraph(console, "Decide first", "late")
    for field, pests in above_texts(route.above):
        step = f"stagecast assess {season.read.season.path} {field.field_id} --as-of {season.as_of}"
        said = "nothing applied since in the log"
        paragraph(console, f"{name_of(field)}: {'; '.join(pests)}: {said}; {step}")
    paragraph(console, "A threshold crossed says consider, never spray.", "quiet")
    console.print()


def show_late(console: Console, route: WeekRoute) -> None:
    """Fields that the route walks later than they may be unseen; those alike in one line."""
    by_text: dict[str, list[str]] = {}
    for one in route.late:
        by_text.setdefault(late_text(one), []).append(name_of(one.plan))
    for text, names in by_text.items():
        paragraph(console, f"late: {', '.join(names)}, {text}", "late")


def show_plan(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, in_detail: bool
) -> None:
    """The main job in one screen: fields by need, then the week."""
    title(console, season, fields, "Fields by need")
    show_above(console, season_route(season))
    shown = PESTS_SHOWN[console.width >= WIDE_SCREEN]
    made = table("", "walk", "field", "now", "next", "window", "pests to look for")
    for field in fields:
        mark, style = due_mark(field)
        made.add_row(
            cell(mark, style),
            cell(_walk_text(field, console), style),
            cell(listed(field)),
            cell(field.forecast.stage_now),
            cell(next_stage_text(field) or "-"),
            cell(crop_windows_text(field) or "-"),
            cell(pests_text(field, most=shown) or "-"),
        )
    console.print(made)
    if in_detail:
        _details(console, fields)
    console.print()
    _week(console, season, {field.field_id for field in fields})
    print_notes(
        console,
        [
            DUE_NOTE,
            PESTS_NOTE,
            None if in_detail else DETAIL_NOTE,
            RANGE_NOTE,
            STAGES_NOTE,
            *forecast_notes(season, fields),
            threshold_note(season.loaded, season.knowledge),
            CAUTION,
        ],
    )


def crop_windows_text(field: FieldDay) -> str:
    """The window of the crop it is in, else the one it is entering; "" without either."""
    as_of = field.season.as_of
    entering = int(field.season.knowledge.revisit.entering_days)
    own = [(w.state(as_of, entering_days=entering), w) for w in field.windows if w.pest is None]
    open_now = [w for state, w in own if state == "open"]
    if open_now:
        return max(open_now, key=lambda w: w.critical).short
    coming = next((w for state, w in own if state == "coming"), None)
    if coming is None or coming.opens.p50 is None:
        return ""
    return f"{coming.short} in {(coming.opens.p50 - as_of).days}d"


def pests_text(field: FieldDay, *, most: int) -> str:
    """The pests open on the day of the visit, the most pressing first; then those coming."""
    as_of, rule = field.season.as_of, field.season.knowledge.revisit
    walked = max(field.visit.due or as_of, as_of)
    named: dict[str, str] = {}
    by_need = [(w.state(walked, entering_days=int(rule.entering_days)), w) for w in field.windows]
    for state, window in sorted(by_need, key=lambda pair: (pair[0] != "open", *pressing(pair[1]))):
        if window.pest is None or window.pest in named or state not in ("open", "coming"):
            continue
        named[window.pest] = window.short
        if state == "coming" and window.opens.p50 is not None:
            named[window.pest] += f" in {(window.opens.p50 - as_of).days}d"
    told = list(named.values())[: int(rule.planned_pests)]
    more = f" +{len(told) - most}" if len(told) > most else ""
    return ", ".join(told[:most]) + more


def _week(console: Console, season: SeasonDay, shown: set[str]) -> None:
    """The route's days, and what is due and left out."""
    route = season_route(season)
    paragraph(console, "The week's route", "bold")
    made = table("day", "fields to walk, in the order of the route")
    for day in route.days:
        stops = [stop for stop in day.stops if stop.field_id in shown]
        when = " ".join([day_text(day.date, weekday=True), day.scout]).strip()
        made.add_row(cell(when), cell(_stops_text(stops, season.knowledge)))
    if route.days:
        console.print(made)
    show_late(console, route)
    for one in route.left_out:
        if one.field_id in shown:
            paragraph(console, f"left out: {name_of(one.plan)}, {left_out_text(one.why)}", "late")
    if not route.days:
        paragraph(console, "none of the next seven days is a working day", "quiet")
    elif not route.stops:
        paragraph(console, "no field is due within seven days", "quiet")


def _stops_text(stops: Sequence[WeekStop], knowledge: Knowledge) -> str:
    """Fields in the order of the route, with the way they are sampled where it changes."""
    if not stops:
        return "-"
    runs: list[tuple[str, list[str]]] = []
    for stop in stops:
        how = how_text(stop, knowledge)
        due = stop.plan.visit.due
        other = f" (due {day_text(due)})" if due not in (None, stop.arrive.date()) else ""
        if not runs or runs[-1][0] != how:
            runs.append((how, []))
        runs[-1][1].append(name_of(stop.plan) + other)
    return "\n".join(f"{how}: {', '.join(names)}" for how, names in runs)
