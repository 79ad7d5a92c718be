"""The screen of one pest in a season: timing, heat against past seasons, thresholds, sampling."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from stagecast.base.dates import said_day
from stagecast.base.terminal import cell, paragraph, table
from stagecast.base.textfiles import clean
from stagecast.base.units import Units, heat_scale, heat_text
from stagecast.knowledge import Knowledge
from stagecast.pests.clock import AtStage
from stagecast.pests.curves import CurveWeek, PestCurve
from stagecast.screens.chart import ChartBand, Level, Line, draw
from stagecast.screens.pest_page import (
    heading,
    show_remarks,
    show_sampling,
    show_season_thresholds,
)
from stagecast.screens.screen import day_text, print_notes, range_text
from stagecast.visits.heat import PestHeat
from stagecast.visits.heat_lines import HeatChart, event_letters, events_chart
from stagecast.visits.pest_season import PestPlace, PestSeason
from stagecast.words.fields import undated_text
from stagecast.words.heat import heat_note, past_text, standing_text, week_heats
from stagecast.words.notes import CAUTION, RANGE_NOTE, counted, weather_notes
from stagecast.words.pests import UNVERIFIED_TEXT, arrival_text, from_text, region_name, weak_method
from stagecast.words.plain import headed
from stagecast.words.traps import not_timed_text, since_text, trial_text
from stagecast.words.visits import no_entry_text, until_text
from stagecast.words.windows import method_text, window_text

MOST_WINDOWS = 12
CHART_ROWS = 20
THIS, MEDIAN, SPREAD = "#", "o", "."

_RESTS_ON = {
    "heat": "heat", "catch": "your catches", "calendar": "days of arrival",
    "host stages": "crop stages", "heat unknown": "crop stages", "crop": "crop stages",
}  # fmt: skip


def show_pest(console: Console, found: PestSeason, *, numbers: bool, one_field: bool) -> None:
    """One pest for each station of a season, or for one field."""
    pest, loaded = found.pest, found.loaded
    knowledge = loaded.season.knowledge
    region = found.regions[0]
    heading(console, pest)
    year = loaded.season.settings.year
    day = f"{loaded.as_of:%a} {day_text(loaded.as_of)} {loaded.as_of.year}"
    where = ", ".join(region_name(one, knowledge) for one in found.regions)
    paragraph(console, f"season {year} as of {day}, region {where}", "quiet")
    _presence(console, found, region, knowledge)
    if undated_text(loaded.season):
        paragraph(console, undated_text(loaded.season))
    elif found.met and not found.places:
        paragraph(console, "There is no field in fields.csv yet, so nothing is timed.")
    for place in found.places:
        console.print()
        _show_place(console, place, found, numbers=numbers, one_field=one_field)
    console.print()
    show_season_thresholds(console, found)
    show_remarks(console, pest, found.regions, knowledge)
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
    heat = place.heat
    if isinstance(heat, PestHeat):
        first = f", told for {named}, the first of the fields here"
        since = heat.timing.start.since
        _show_heat(
            console,
            heat,
            units,
            first=first if isinstance(since, AtStage) and not one_field else "",
        )
        if heat.curve is not None:
            console.print()
            _show_chart(console, heat, heat.curve, found, numbers=numbers)
    else:
        paragraph(console, f"Not timed by heat: {not_timed_text(heat, units).rstrip('.')}.")
    console.print()
    _show_windows(console, place, found, one_field=one_field)


def _show_heat(console: Console, heat: PestHeat, units: Units, *, first: str) -> None:
    """From when heat is counted and how, how far it can be trusted, and what it leads to."""
    start, model = heat.timing.start, heat.timing.heat.model
    how = f"{method_text(model, units)} ({from_text(model)}{weak_method(model)})"
    paragraph(console, f"Heat is counted {since_text(start.since, units)}{first}: {how}.")
    paragraph(console, f"{headed(trial_text(heat.tested))}.", "quiet")
    made = table("", "generation", "event", "at", "comes")
    for letter, event in zip(event_letters(), heat.likely_events, strict=False):
        made.add_row(
            cell(letter),
            cell(str(event.generation)),
            cell(f"{event.title}{f' ({UNVERIFIED_TEXT})' if event.unverified else ''}"),
            cell(heat_text(event.need_c, units)),
            cell(range_text(event.dates)),
        )
    console.print(made)
    if len(heat.likely_events) < len(heat.events):
        paragraph(console, "Later generations do not come this season.", "quiet")


def _show_closed(console: Console, place: PestPlace, found: PestSeason) -> None:
    """Fields here that may not be entered."""
    rule = found.loaded.knowledge.decisions.treated.entry_rule
    for field_id in (forecast.field.field_id for forecast in place.fields):
        held = found.no_entry(field_id)
        if held is not None:
            paragraph(console, f"{field_id}: {no_entry_text(held, rule)}", "late")


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


def _show_chart(
    console: Console, heat: PestHeat, curve: PestCurve, found: PestSeason, *, numbers: bool
) -> None:
    """The chart, what its marks mean, and if asked for the numbers behind it."""
    units = found.loaded.season.settings.units
    chart = events_chart(heat, curve, units=units, as_of=found.loaded.as_of)
    for line in chart_lines(chart, width=console.width):
        console.print(Text(line))
    paragraph(
        console,
        f"Degree-days {chart.unit} since {said_day(chart.first)}, week by week. {THIS} this "
        f"season, {MEDIAN} middle of past seasons ({past_text(curve, '-')}), {SPREAD} from 10 to "
        f"90 percent of them. Where marks meet, {THIS} covers the others, and {MEDIAN} the "
        f"{SPREAD} marks. Letters at the right are the events above.",
    )
    paragraph(console, standing_text(curve, units, first_need_c=heat.first_need_c))
    if numbers:
        console.print()
        _show_numbers(console, curve, units)


def chart_lines(chart: HeatChart, *, width: int) -> list[str]:
    """The chart as text; levels are named by their letters."""
    weeks = chart.weeks
    months = [week.through.strftime("%b") for week in weeks]
    low, middle, high = zip(*map(_past, weeks), strict=True) if weeks else ((), (), ())
    return draw(
        [month if i == 0 or month != months[i - 1] else "" for i, month in enumerate(months)],
        bands=[ChartBand(SPREAD, low, high)],
        lines=[Line(MEDIAN, middle), Line(THIS, [week.this_season for week in weeks])],
        levels=[Level(need.letter, need.heat) for need in chart.needs],
        top=chart.top,
        width=width,
        rows=CHART_ROWS,
    )


def _past(week: CurveWeek) -> tuple[float | None, float | None, float | None]:
    past = week.past
    return (None, None, None) if past is None else (past.p10, past.p50, past.p90)


def _show_numbers(console: Console, curve: PestCurve, units: Units) -> None:
    """The same numbers, week by week to the end of the season."""
    scale, _ = heat_scale(units)
    made = table("week to", "this season", "past 10%", "middle", "90%")
    for week in (week.scaled(scale) for week in curve.weeks):
        row = (said_day(week.through), *week_heats(week.this_season, week.past, none="-"))
        made.add_row(*map(cell, row))
    console.print(made)


def _heat_note(found: PestSeason) -> str | None:
    timed = any(isinstance(place.heat, PestHeat) and place.heat.events for place in found.places)
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
