"""The tables that the commands show on a screen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Sequence

from rich.console import Console

from stagecast.base.terminal import cell, paragraph, table
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.pests.windows import ScoutingWindow, State
from stagecast.screens.screen import (
    WIDE_SCREEN,
    ShownList,
    day_text,
    foot,
    forecast_notes,
    heading,
    listed,
    name_of,
    next_stage_text,
    range_text,
    title,
)
from stagecast.visits.look_for import pressing
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.days import WeekStop
from stagecast.week.week import WeekRoute, looked_for, over_threshold, season_route, walk_of
from stagecast.words.fields import out_of_season_text
from stagecast.words.morning import last_count, why_in_short
from stagecast.words.notes import (
    RANGE_NOTE,
    STAGES_NOTE,
    counted,
    threshold_note,
    unverified_note,
)
from stagecast.words.visits import insects_end_text, look_for_texts, reason_texts
from stagecast.words.week import (
    above_texts,
    how_text,
    late_texts,
    left_out_text,
    rooms_texts,
)
from stagecast.words.windows import later_text, look_text, window_text

WEEK = 7
PESTS_SHOWN = {False: 2, True: 4}
"""How many pests are named in one row, on a narrow and on a wide screen."""

WINDOW_STYLES = {"open": "now", "coming": "soon"}


def show_windows(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, shown: ShownList
) -> None:
    """Windows that are open or coming, a line a field; each window where few fields were named."""
    title(console, season, fields, "Scouting windows open or coming")
    if shown.in_detail:
        for field in fields:
            _windows_of(console, field)
    else:
        _windows_by_field(console, season, fields, shown)
    foot(console, [DETAIL_NOTE, RANGE_NOTE, STAGES_NOTE], shown)


def _windows_by_field(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], shown: ShownList
) -> None:
    most = PESTS_SHOWN[console.width >= WIDE_SCREEN]
    made = table("field", "now", "window", "pests, the most pressing first")
    idle = []
    for field in fields:
        crop, pests = crop_windows_text(field), pests_text(field, most=most)
        if not (crop or pests or shown.every):
            idle.append(field)
            continue
        now = field.forecast.stage_now
        made.add_row(cell(listed(field)), cell(now), cell(crop or "-"), cell(pests or "-"))
    if made.rows:
        console.print(made)
    _idle(console, idle, "with no window open or coming within a week")


def _windows_of(console: Console, field: FieldDay) -> None:
    """Every window of one field with its range and its reason."""
    season = field.season
    heading(console, field)
    entering = int(season.knowledge.revisit.entering_days)
    made = table("", "window", "opens", "closes")
    for window in field.windows:
        state = window.state(season.as_of, entering_days=entering)
        made.add_row(
            cell(state, WINDOW_STYLES.get(state, "quiet")),
            cell(_window_text(window, season)),
            cell(range_text(window.opens)),
            cell(range_text(window.closes)),
        )
    console.print(made)
    console.print()


def _idle(console: Console, fields: Sequence[FieldDay], what: str) -> None:
    """How many fields are not listed, and how to see them."""
    if fields:
        paragraph(console, f"{counted(len(fields), 'field')} {what}: --all lists them", "quiet")


def _window_text(window: ScoutingWindow, season: SeasonDay) -> str:
    name = window.title if window.pest is None else f"{window.short}: {window.title}"
    return f"{name}\n{window_text(window.why, season.settings.units)}"


def show_revisit(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, shown: ShownList
) -> None:
    """When to be back in each field, and why; a line a field."""
    title(console, season, fields, "When to be back")
    made = table("", "walk", "due", "field", "last", "why")
    listed_fields, idle = _needing(fields, shown)
    for field in listed_fields:
        visit = field.visit
        late = max(0, field.days_late(season.as_of))
        mark, style = due_mark(field)
        made.add_row(
            cell(mark, style),
            *(cell(text, style) for text in _walk_and_due(field)),
            cell(listed(field)),
            cell(day_text(visit.last_visit) if visit.last_visit else "-"),
            cell(_with_decision(field, why_in_short(visit, days_late=late) or why_text(field))),
        )
    if made.rows:
        console.print(made)
    _idle(console, idle, "with no visit due within a week")
    if shown.in_detail:
        _details(console, fields)
    windows = [window for field in fields for window in field.windows]
    foot(
        console,
        [
            DUE_NOTE,
            None if shown.in_detail else DETAIL_NOTE,
            STAGES_NOTE,
            unverified_note(season.knowledge, windows),
            threshold_note(season.loaded, season.knowledge),
        ],
        shown,
    )


def _with_decision(field: FieldDay, why: str) -> str:
    return f"decide; {why}" if field.field_id in over_threshold(field.season) else why


def _needing(fields: Sequence[FieldDay], shown: ShownList) -> tuple[list[FieldDay], list[FieldDay]]:
    """Fields that are listed, and those that need nothing within a week."""
    if shown.in_detail or shown.every:
        return list(fields), []
    limit = fields[0].season.as_of + dt.timedelta(days=WEEK) if fields else None
    listed_fields: list[FieldDay] = []
    idle: list[FieldDay] = []
    for field in fields:
        walk = walk_of(field)
        days = [day for day in (walk.day, walk.due) if day is not None]
        over = field.field_id in over_threshold(field.season)
        needs = field.closed or over or (limit is not None and any(day < limit for day in days))
        (listed_fields if needs else idle).append(field)
    return listed_fields, idle


def _walk_and_due(field: FieldDay) -> tuple[str, str]:
    """The day of the route, and the rule's where it is another."""
    walk = walk_of(field)
    if walk.due is None:
        return "no visit" if walk.day is None else day_text(walk.day), ""
    if walk.day is None:
        return "left out", day_text(walk.due)
    return day_text(walk.day), "" if walk.day == walk.due else day_text(walk.due)


def why_text(field: FieldDay) -> str:
    """The reasons of the next visit."""
    return "; ".join(reason_texts(field.visit, field.season.knowledge.decisions.treated))


def _details(console: Console, fields: Sequence[FieldDay]) -> None:
    """Why a field is due, how to sample it and what to look for, one field after another."""
    for field in fields:
        console.print()
        heading(console, field)
        look_for, sample = looked_for(field)
        sampling = field.season.knowledge.sampling.get(sample)
        made = table("", "")
        made.show_header = False
        made.add_row(cell("why"), cell(why_text(field)))
        if sampling is not None:
            made.add_row(cell("how"), cell(sampling.how))
        for item in look_for_texts(look_for):
            made.add_row(cell("look for"), cell(item))
        for label, told in _looks(field):
            made.add_row(cell(label), cell(told))
        console.print(made)


def _looks(field: FieldDay) -> Iterator[tuple[str, str]]:
    """When insects stop at R6, and the other looks: those of these weeks in full."""
    season = field.season
    known, as_of = season.knowledge, season.as_of
    end = field.insects_end
    if end.frost is not None:
        yield "stop", insects_end_text(end)
    elif stage_place("R6") <= stage_place(field.forecast.stage_now) < stage_place("R7"):
        yield "stop", f"{insects_end_text(end)}; {end.stage}: {range_text(end.dates)}"
    last = as_of + dt.timedelta(days=int(known.looks.ahead_days))
    for one in field.looks:
        if one.first <= last:
            told = look_text(one, as_of=as_of, knowledge=known, units=season.settings.units)
            yield ("now" if one.open_on(as_of) else "coming"), told
    if later := [later_text(one) for one in field.looks if one.first > last]:
        yield "later", ", ".join(later)


DUE_NOTE = (
    "Marks: ^ over a threshold, !! overdue, ! due today, > due within a week, no mark: later or "
    "none. A count reads found of threshold: 6.5 of 9."
)
DETAIL_NOTE = "What to look for in a field, with thresholds and reasons: add --field ID."


def due_mark(field: FieldDay) -> tuple[str, str]:
    """A mark for how pressing a field is, and the style that goes with it."""
    if field.field_id in over_threshold(field.season):
        return "^", "late"
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
        paragraph(console, f"{name_of(field)}: {'; '.join(pests)}")
    step = f"stagecast assess {season.read.season.path} FIELD --as-of {season.as_of}"
    paragraph(console, f"Nothing applied since in the log; more: {step}", "quiet")
    console.print()


def show_late(console: Console, route: WeekRoute, shown: Collection[str] | None = None) -> None:
    """Fields that the route walks later than they may be unseen, then what would make room."""
    late = [one for one in route.late if shown is None or one.plan.field_id in shown]
    for text in (*late_texts(late, name_of), *rooms_texts(late, name_of)):
        paragraph(console, text, "late")


def show_plan(
    console: Console, season: SeasonDay, fields: Sequence[FieldDay], *, shown: ShownList
) -> None:
    """The main job in one screen: what to decide, fields by need, then the week."""
    title(console, season, fields, "Fields by need")
    route = season_route(season)
    show_above(console, route)
    made = table("", "walk", "due", "field", "now", "next", "last count")
    listed_fields, idle = _needing(fields, shown)
    for field in listed_fields:
        mark, style = due_mark(field)
        following, _, when = next_stage_text(field).partition(" ")
        made.add_row(
            cell(mark, style),
            *(cell(text, style) for text in _walk_and_due(field)),
            cell(listed(field)),
            cell(field.forecast.stage_now),
            cell(f"{following} {when.partition(' (')[0]}" if following else "-"),
            cell(last_count(field)),
        )
    if made.rows:
        console.print(made)
    _idle(console, idle, "with no visit due within a week")
    if shown.in_detail:
        _details(console, fields)
    console.print()
    _week(console, season, {field.field_id for field in fields})
    foot(
        console,
        [
            DUE_NOTE,
            None if shown.in_detail else DETAIL_NOTE,
            RANGE_NOTE,
            STAGES_NOTE,
            *forecast_notes(season, fields),
            threshold_note(season.loaded, season.knowledge),
        ],
        shown,
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


def _day_of(window: ScoutingWindow, walked: dt.date) -> dt.date:
    """The day for which a window is ranked: the visit, or its opening after that."""
    return max(walked, window.opens.p50 or walked)


def pests_text(field: FieldDay, *, most: int) -> str:
    """The pests open on the day of the visit, the most pressing first; then those coming."""
    as_of, rule = field.season.as_of, field.season.knowledge.revisit
    walked = max(field.visit.due or as_of, as_of)
    named: dict[str, str] = {}
    by_need = [(w.state(walked, entering_days=int(rule.entering_days)), w) for w in field.windows]

    def need(pair: tuple[State, ScoutingWindow]) -> tuple[bool, bool, bool, int, bool]:
        return pair[0] != "open", *pressing(pair[1], _day_of(pair[1], walked))

    for state, window in sorted(by_need, key=need):
        if window.pest is None or window.pest in named or state not in ("open", "coming"):
            continue
        if window.rank_on(_day_of(window, walked)) is None:
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
    made = table("day", "fields to walk")
    for day in route.days:
        stops = [stop for stop in day.stops if stop.field_id in shown]
        when = " ".join([day_text(day.date, weekday=True), day.scout]).strip()
        made.add_row(cell(when), cell(_stops_text(stops, season.knowledge)))
    if route.days:
        console.print(made)
    show_late(console, route, shown)
    for one in route.left_out:
        if one.field_id in shown:
            paragraph(console, f"left out: {name_of(one.plan)}, {left_out_text(one.why)}", "late")
    if not route.days:
        over = out_of_season_text(season)
        paragraph(console, over or "none of the next seven days is a working day", "quiet")
    elif not route.stops:
        paragraph(console, "no field is due within seven days", "quiet")


def _stops_text(stops: Sequence[WeekStop], knowledge: Knowledge) -> str:
    """Fields by the way they are sampled; `stagecast week` has them in the order of the route."""
    if not stops:
        return "-"
    by_how: dict[str, list[str]] = {}
    for stop in stops:
        by_how.setdefault(how_text(stop, knowledge), []).append(stop.field_id)
    return "\n".join(f"{how}: {', '.join(ids)}" for how, ids in by_how.items())
