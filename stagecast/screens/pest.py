"""The screen of one pest in a season: timing, heat against past seasons, thresholds, sampling."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from stagecast.base.dates import said_day
from stagecast.base.textfiles import clean
from stagecast.base.units import F_PER_C, Units, heat_text
from stagecast.knowledge import Knowledge
from stagecast.pests.clock import AtStage, NotTimed
from stagecast.pests.curves import CurveWeek, HeatRange, PestCurve
from stagecast.screens.chart import Band, Level, Line, draw
from stagecast.screens.pest_page import (
    arrival_text,
    from_text,
    heading,
    heat_note,
    region_name,
    show_sampling,
    show_season_thresholds,
    weak_method,
)
from stagecast.screens.screen import cell, day_text, paragraph, print_notes, range_text, table
from stagecast.screens.sources import UNVERIFIED_TEXT
from stagecast.visits.pest_season import PestEvent, PestPlace, PestSeason
from stagecast.visits.reentry import no_entry_text, until_text
from stagecast.words.notes import CAUTION, RANGE_NOTE, counted, weather_notes
from stagecast.words.plain import headed
from stagecast.words.traps import not_timed_text, since_text, trial_text
from stagecast.words.windows import method_text, window_text

MOST_WINDOWS = 12
CHART_ROWS = 20
ABOVE_LAST_EVENT = 1.1
DAYS_TOLD_FROM = 0.1
"""Share of the first event's heat from which on days ahead or behind are told."""

THIS, MEDIAN, SPREAD = "#", "o", "."
LETTERS = "abcdefghijklmnopqrstuvwxyz"

_RESTS_ON = {
    "heat": "heat", "catch": "your catches", "calendar": "days of arrival",
    "host stages": "crop stages", "heat unknown": "crop stages", "crop": "crop stages",
}  # fmt: skip


def show_pest(console: Console, found: PestSeason, *, numbers: bool, one_field: bool) -> None:
    """One pest for each station of a season, or for one field."""
    pest, loaded = found.pest, found.loaded
    knowledge = loaded.season.knowledge
    region = loaded.season.settings.region
    heading(console, pest)
    year = loaded.season.settings.year
    day = f"{loaded.as_of:%a} {day_text(loaded.as_of)} {loaded.as_of.year}"
    where = region_name(region, knowledge)
    paragraph(console, f"season {year} as of {day}, region {where}", "quiet")
    _presence(console, found, region, knowledge)
    if found.met and not found.places:
        paragraph(console, "There is no field in fields.csv yet, so nothing is timed.")
    for place in found.places:
        console.print()
        _show_place(console, place, found, numbers=numbers, one_field=one_field)
    console.print()
    show_season_thresholds(console, found)
    console.print()
    show_sampling(console, pest, knowledge)
    ids = {f.field.field_id for place in found.places for f in place.fields}
    print_notes(
        console,
        [
            f"Marks, look-alikes, enemies and thresholds of all states: stagecast pest {pest.id}",
            RANGE_NOTE if found.places else None,
            _heat_note(found),
            *weather_notes(loaded, ids),
            _bees(found),
            pest.caution,
            CAUTION,
        ],
    )


def _presence(console: Console, found: PestSeason, region: str, knowledge: Knowledge) -> None:
    """Whether the pest is met in the region, and when it was seen to come."""
    where = region_name(region, knowledge)
    if not found.met:
        text = f"Not known from {where}: it is in no plan there, and no window or heat is told."
        paragraph(console, text)
    for arrival in found.pest.arrivals:
        if arrival.region == region or region not in _outside(arrival.region, knowledge):
            paragraph(console, f"Seen to arrive in {arrival_text(arrival, knowledge)}.")


def _outside(region: str, knowledge: Knowledge) -> Sequence[str]:
    """The regions that a region or an area does not hold."""
    area = knowledge.areas.get(region)
    if area is not None:
        return area.without
    return [code for code in knowledge.regions if code != region]


def _show_place(
    console: Console, place: PestPlace, found: PestSeason, *, numbers: bool, one_field: bool
) -> None:
    units: Units = found.loaded.season.settings.units
    field = place.forecast.field
    named = clean(f"{field.field_id} {field.field_name}".strip())
    if one_field:
        title = f"Field {named}, station {place.station}"
    else:
        title = f"Station {place.station}, {counted(len(place.fields), 'field')}"
    console.print(Text(clean(title), style="bold"))
    _show_closed(console, place, found)
    events = likely_events(place.events)
    if isinstance(place.timing, NotTimed):
        why = not_timed_text(place.timing, units).rstrip(".")
        paragraph(console, f"Not timed by heat: {why}.")
    else:
        start, model = place.timing.start, place.timing.heat.model
        by_crop = isinstance(start.since, AtStage) and not one_field
        first = f", told for {named}, the first of the fields here" if by_crop else ""
        how = f"{method_text(model, units)} ({from_text(model)}{weak_method(model)})"
        paragraph(console, f"Heat is counted {since_text(start.since, units)}{first}: {how}.")
        paragraph(console, f"{headed(trial_text(place.tested))}.", "quiet")
        _show_events(console, events, units)
        if len(events) < len(place.events):
            paragraph(console, "Later generations do not come this season.", "quiet")
    if place.curve is not None:
        console.print()
        _show_curve(console, place.curve, events, units, numbers=numbers)
    console.print()
    _show_windows(console, place, found, one_field=one_field)


def _show_closed(console: Console, place: PestPlace, found: PestSeason) -> None:
    """Fields here that may not be entered."""
    rule = found.loaded.knowledge.decisions.treated.entry_rule
    for field_id in (forecast.field.field_id for forecast in place.fields):
        held = found.no_entry(field_id)
        if held is not None:
            paragraph(console, f"{field_id}: {no_entry_text(held, rule)}", "late")


def likely_events(events: Sequence[PestEvent]) -> list[PestEvent]:
    """The events up to the last generation of which one may come; at least the first."""
    last = max((e.generation for e in events if e.dates.p10 is not None), default=1)
    return [event for event in events if event.generation <= last]


def _show_events(console: Console, events: Sequence[PestEvent], units: Units) -> None:
    made = table("", "generation", "event", "at", "comes")
    for letter, event in zip(event_letters(events), events, strict=True):
        made.add_row(
            cell(letter),
            cell(str(event.generation)),
            cell(f"{event.title}{f' ({UNVERIFIED_TEXT})' if event.unverified else ''}"),
            cell(heat_text(event.need_c, units)),
            cell(range_text(event.dates)),
        )
    console.print(made)


def event_letters(events: Sequence[PestEvent]) -> list[str]:
    """A letter for each event, by which the chart names it; none for those past the alphabet."""
    return [LETTERS[i] if i < len(LETTERS) else "" for i in range(len(events))]


def _show_windows(
    console: Console, place: PestPlace, found: PestSeason, *, one_field: bool
) -> None:
    """Windows by opening date, those that are past last."""
    if not place.windows:
        paragraph(console, "No window: it does not meet the stages at which it can hurt.")
        return
    entering = int(found.loaded.season.knowledge.revisit.entering_days)
    told = [(w.state(found.loaded.as_of, entering_days=entering), w) for _, w in place.windows]
    told.sort(key=lambda pair: pair[0] == "past")
    shown = told if one_field else told[:MOST_WINDOWS]
    made = table("field", "", "window", "opens", "closes", "rests on")
    for state, window in shown:
        held = found.no_entry(window.field_id)
        closed = "" if held is None else f"\ndo not enter until {until_text(held)}"
        made.add_row(
            cell(f"{window.field_id}{closed}"),
            cell(state, {"open": "now", "coming": "soon"}.get(state, "quiet")),
            cell(window.title),
            cell(range_text(window.opens)),
            cell(range_text(window.closes)),
            cell(_RESTS_ON[window.timing]),
        )
    console.print(made)
    more = len(place.windows) - len(shown)
    if more:
        rest = counted(more, "more window")
        paragraph(console, f"and {rest}: see stagecast windows, or add --field ID", "quiet")
    if one_field:
        units = found.loaded.season.settings.units
        for why in dict.fromkeys(window_text(window.why, units) for _, window in shown):
            paragraph(console, why, "quiet")


def _show_curve(
    console: Console,
    curve: PestCurve,
    events: Sequence[PestEvent],
    units: Units,
    *,
    numbers: bool,
) -> None:
    """The chart, what its marks mean, and if asked for the numbers behind it."""
    for text in chart(curve, events, units, width=console.width):
        console.print(Text(text))
    first, last = min(curve.past_years, default=None), max(curve.past_years, default=None)
    past = f"{counted(len(curve.past_years), 'past season')}, {first}-{last}"
    if not curve.past_years:
        past = "no past season is whole"
    paragraph(
        console,
        f"{_unit(units)} since {said_day(curve.biofix)}, week by week. {THIS} this season, "
        f"{MEDIAN} middle of past seasons ({past}), {SPREAD} from 10 to 90 percent of them. Where "
        f"marks meet, {THIS} covers the others, and {MEDIAN} the {SPREAD} marks. Letters at the "
        "right are the events above.",
    )
    need_c = min((event.need_c for event in events), default=0.0)
    paragraph(console, standing(curve, units, first_need_c=need_c))
    if numbers:
        console.print()
        _show_numbers(console, curve, units)


def chart(curve: PestCurve, events: Sequence[PestEvent], units: Units, *, width: int) -> list[str]:
    """The curve up to a little above the last event that past seasons reach."""
    scale = F_PER_C if units == "us" else 1.0
    top_c = chart_top(curve, events)
    weeks = weeks_below(curve.weeks, top_c)
    months = [w.through.strftime("%b") if _new_month(weeks, i) else "" for i, w in enumerate(weeks)]

    def past(name: str) -> list[float | None]:
        return [None if w.past is None else scale * float(getattr(w.past, name)) for w in weeks]

    this = [None if w.this_season is None else scale * w.this_season for w in weeks]
    return draw(
        months,
        bands=[Band(SPREAD, past("p10"), past("p90"))],
        lines=[Line(MEDIAN, past("p50")), Line(THIS, this)],
        levels=[
            Level(letter, scale * event.need_c)
            for letter, event in zip(event_letters(events), events, strict=True)
        ],
        top=scale * top_c,
        width=width,
        rows=CHART_ROWS,
    )


def chart_top(curve: PestCurve, events: Sequence[PestEvent]) -> float:
    """Heat at the top of the chart: all there is, or a little more than the last event needs."""
    heats = [w.past.p90 for w in curve.weeks if w.past is not None]
    heats += [w.this_season for w in curve.weeks if w.this_season is not None]
    most = max(heats, default=0.0)
    needs = [event.need_c for event in events if event.need_c <= most]
    return max(min(most, ABOVE_LAST_EVENT * max(needs, default=most)), 1.0)


def weeks_below(weeks: Sequence[CurveWeek], top: float) -> Sequence[CurveWeek]:
    """Weeks up to the one in which nearly all past seasons have left the chart."""
    for i, week in enumerate(weeks):
        if week.past is not None and week.past.p10 > top:
            return weeks[: i + 1]
    return weeks


def _new_month(weeks: Sequence[CurveWeek], i: int) -> bool:
    return i == 0 or weeks[i].through.month != weeks[i - 1].through.month


def standing(curve: PestCurve, units: Units, *, first_need_c: float) -> str:
    """Where this season stands among past ones; in days once heat tells days apart.

    In winter a degree-day may take weeks, and days would say nothing.
    """
    if curve.so_far is None or curve.last_known is None:
        return "Nothing is counted yet this season."
    text = f"By {said_day(curve.last_known)}: {heat_text(curve.so_far, units)}"
    if curve.past_so_far is None:
        return f"{text}."
    text += f"; past seasons {_range_said(curve.past_so_far, units)} by that day"
    if curve.days_ahead is None or curve.so_far < DAYS_TOLD_FROM * first_need_c:
        return f"{text}."
    days = round(curve.days_ahead)
    if days == 0:
        return f"{text}. This season is level with the middle of them."
    side = "ahead of" if days > 0 else "behind"
    return f"{text}. This season is about {counted(abs(days), 'day')} {side} the middle of them."


def _range_said(heat: HeatRange, units: Units) -> str:
    return (
        f"{heat_text(heat.p50, units)} ({heat_text(heat.p10, units)} to "
        f"{heat_text(heat.p90, units)})"
    )


def _show_numbers(console: Console, curve: PestCurve, units: Units) -> None:
    """The same numbers, week by week."""
    scale = F_PER_C if units == "us" else 1.0
    made = table("week to", "this season", "past 10%", "middle", "90%")
    for week in curve.weeks:
        past = ("-",) * 3 if week.past is None else tuple(
            f"{scale * heat:.0f}" for heat in (week.past.p10, week.past.p50, week.past.p90)
        )  # fmt: skip
        this = "-" if week.this_season is None else f"{scale * week.this_season:.0f}"
        made.add_row(cell(said_day(week.through)), cell(this), *(cell(text) for text in past))
    console.print(made)


def _unit(units: Units) -> str:
    return "Degree-days F" if units == "us" else "Degree-days C"


def _heat_note(found: PestSeason) -> str | None:
    timed = any(place.events for place in found.places)
    return heat_note(found.loaded.season.settings.units) if timed else None


def _bees(found: PestSeason) -> str | None:
    """Fields in which a window of the pest falls into bloom."""
    named = sorted(
        {
            window.field_id
            for place in found.places
            for _, window, in_bloom in place.windows_in_bloom()
            if in_bloom
        }
    )
    if not named:
        return None
    more = f" and {len(named) - MOST_WINDOWS} more" if len(named) > MOST_WINDOWS else ""
    return (
        f"Bees: its window falls into bloom (R1 to R5) in {', '.join(named[:MOST_WINDOWS])}{more}. "
        "Where treatment is considered then, the label's rules on pollinators apply, and "
        "beekeepers nearby want to know."
    )
