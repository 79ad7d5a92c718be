"""Pages of the desk as they are shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from stagecast.base.units import distance_text
from stagecast.desk.messages import link
from stagecast.pages.needs import NEEDS, Need, need_of
from stagecast.pages.render import render
from stagecast.screens.plan import crop_windows_text, pests_text
from stagecast.screens.screen import day_text, entry_notes, long_day, name_of, next_stage_text
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import Above, WeekRoute, above_of
from stagecast.words.notes import (
    CAUTION,
    RANGE_NOTE,
    STAGES_NOTE,
    assumption_notes,
    counted,
    threshold_note,
    unverified_note,
    weather_notes,
)
from stagecast.words.visits import until_text
from stagecast.words.waiting import COST_NOTE, judgement_text
from stagecast.words.week import (
    above_texts,
    clock_text,
    dollars_text,
    estimate_text,
    hours_text,
    how_text,
    left_out_text,
    look_heads,
)


@dataclass(frozen=True, slots=True)
class Decision:
    """A field to decide on, and what was counted there."""

    field_id: str
    name: str
    found: tuple[str, ...]

    @property
    def href(self) -> str:
        """The page of the field."""
        return link("field", field=self.field_id)

    @property
    def treat(self) -> str:
        """The form of a treatment."""
        return link("treatment", field=self.field_id)


def decisions(above: Iterable[Above], *, only: str = "") -> list[Decision]:
    """The fields above a threshold, each once; of one field alone where it is named."""
    return [
        Decision(field.field_id, name_of(field), tuple(found))
        for field, found in above_texts(above)
        if only in ("", field.field_id)
    ]


PESTS_SHOWN = 4


@dataclass(frozen=True, slots=True)
class FieldLine:
    """One field in the list of all."""

    field_id: str
    name: str
    grower: str
    due: str
    now: str
    following: str
    window: str
    pests: str
    closed: str

    @property
    def href(self) -> str:
        """The page of the field."""
        return link("field", field=self.field_id)


def season_line(season: SeasonDay) -> str:
    """Which season, which region, and as of which day."""
    region = season.knowledge.regions[season.settings.region]
    return f"Season {season.settings.year}, {region}, as of {long_day(season.as_of)}"


def fields_by_need(season: SeasonDay) -> list[tuple[Need, list[FieldLine]]]:
    """The fields of each need, the most pressing first; needs without a field are left out."""
    grouped: dict[Need, list[FieldLine]] = {need: [] for need in NEEDS}
    for field in season.by_need:
        grouped[need_of(field)].append(_line(field))
    return [(need, lines) for need, lines in grouped.items() if lines]


def _line(field: FieldDay) -> FieldLine:
    forecast = field.forecast
    return FieldLine(
        field_id=forecast.field.field_id,
        name=name_of(field),
        grower=forecast.field.grower,
        due="" if field.visit.due is None else day_text(field.visit.due, weekday=True),
        now=forecast.stage_now,
        following=next_stage_text(field),
        window=crop_windows_text(field),
        pests=pests_text(field, most=PESTS_SHOWN),
        closed="" if field.no_entry is None else until_text(field.no_entry),
    )


def plan_html(season: SeasonDay) -> str:
    """The list of all fields, those that wait for a decision first."""
    return _render(
        "desk_plan.html",
        season,
        title="Fields by need",
        here="plan",
        decide=decisions(above_of(season)),
        groups=[(NEEDS[need], need, lines) for need, lines in fields_by_need(season)],
        refused=[problem.sentence() for problem in season.loaded.refused],
        doubts=[problem.sentence() for problem in season.doubts],
        notes=_notes(season, season.fields, RANGE_NOTE, STAGES_NOTE),
    )


def _notes(season: SeasonDay, fields: Sequence[FieldDay], *more: str | None) -> list[str]:
    """What stands behind the numbers, and the caution at the end."""
    loaded, knowledge = season.loaded, season.knowledge
    ids = {field.field_id for field in fields}
    told = (
        *more,
        *weather_notes(loaded, ids),
        *assumption_notes(loaded, knowledge),
        unverified_note(knowledge, [w for field in fields for w in field.windows]),
        threshold_note(loaded, knowledge),
        CAUTION,
    )
    return [note for note in told if note]


def week_html(route: WeekRoute) -> str:
    """The week's route, a table for each day."""
    season, knowledge = route.season, route.season.knowledge
    walked = [stop.plan for day in route.days for stop in day.stops]
    left = [
        {
            "name": name_of(one.plan),
            "href": link("field", field=one.field_id),
            "why": left_out_text(one.why),
            "lost": dollars_text(one.waiting.left_out),
        }
        for one in route.left_out
    ]
    estimated = estimate_text(route) or None
    cost = f"{COST_NOTE} {judgement_text(knowledge)}"
    return _render(
        "desk_week.html",
        season,
        title="The week",
        here="week",
        decide=decisions(route.above),
        over=_out_of_season(season),
        days=[_day(day, route) for day in route.days],
        left=left,
        closed=entry_notes(walked),
        notes=_notes(season, [*walked, *(one.plan for one in route.left_out)], estimated, cost),
    )


def _out_of_season(season: SeasonDay) -> str:
    """Why there is no route on a day outside the season; "" inside it."""
    as_of, span = season.as_of, season.loaded.span
    if as_of > span.last_day:
        return f"The season is over since {day_text(span.last_day)}: there is no route."
    if as_of < span.first_day:
        return f"The season begins on {day_text(span.first_day)}: there is no route yet."
    return ""


def _day(day: ScoutDay, route: WeekRoute) -> dict[str, Any]:
    knowledge = route.season.knowledge
    stops = [
        {
            "time": _span(stop.arrive, stop.leave),
            "name": name_of(stop.plan),
            "href": link("field", field=stop.field_id),
            "how": how_text(stop, knowledge),
            "look": ", ".join(look_heads(stop)),
        }
        for stop in day.stops
    ]
    scout = f", {day.scout}" if day.scout else ""
    return {
        "title": f"{day_text(day.date, weekday=True)}{scout}",
        "hours": ", ".join(_hours(day, route)),
        "sheet": link("sheet", day=day.date.isoformat(), scout=day.scout),
        "heat": None if day.hot is None else day.hot.caution,
        "stops": stops,
    }


def _hours(day: ScoutDay, route: WeekRoute) -> Iterator[str]:
    if not day.stops:
        yield "nothing to walk"
        return
    if day.leave_home is not None and day.back_home is not None:
        yield f"away {_span(day.leave_home, day.back_home)}"
    yield counted(len(day.stops), "field")
    units = route.season.settings.units
    yield f"{distance_text(day.drive_km, units)} in {hours_text(day.drive_min)}"
    yield f"{hours_text(day.work_min)} in fields"
    if day.lunch is not None:
        yield f"lunch {_span(*day.lunch)}"


def _span(first: dt.datetime, last: dt.datetime) -> str:
    return f"{clock_text(first)}\u2013{clock_text(last)}"


def _render(template: str, season: SeasonDay, **values: Any) -> str:
    return render(template, season=season_line(season), nav=True, **values)
