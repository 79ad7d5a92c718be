"""Pages of the desk: the fields by need, the week, and one field with its season so far."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from stagecast.base.errors import Problem
from stagecast.base.units import distance_text
from stagecast.desk.frame import ALONE, Frame, framed
from stagecast.desk.listing import walk_said
from stagecast.desk.messages import link
from stagecast.forecast.field_names import no_date_yet
from stagecast.knowledge import Knowledge
from stagecast.pages.needs import NEEDS, need_of
from stagecast.pages.number_line import leaf_line_of, line_of, number_line
from stagecast.pages.svg import element
from stagecast.phenology.soybean import STAGES
from stagecast.screens.screen import (
    closed_text,
    day_text,
    entry_notes,
    long_day,
    name_of,
    range_text,
)
from stagecast.season.log.entries import (
    AnyEntry,
    Treatment,
    day_of_entry,
    entry_id,
    kind_of_entry,
)
from stagecast.visits.history import PastVisit, field_history
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.days import ScoutDay
from stagecast.week.week import Above, WeekRoute, above_of, season_route, walk_of
from stagecast.words.counts import leaf_line_text, line_text
from stagecast.words.fields import out_of_season_text, planted_text, regions_text
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
from stagecast.words.plain import stage_said
from stagecast.words.stand import stand_line
from stagecast.words.visits import look_for_texts, reason_texts
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
    other_day_text,
    shift_text,
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
    """The fields at a threshold or over it, each once; of one field alone where it is named."""
    return [
        Decision(field.field_id, name_of(field), tuple(found))
        for field, found in above_texts(above)
        if only in ("", field.field_id)
    ]


def season_line(season: SeasonDay) -> str:
    """Which season, which region, and as of which day."""
    regions = regions_text(season.loaded.season)
    return f"Season {season.settings.year}, {regions}, as of {long_day(season.as_of)}"


def plan_html(season: SeasonDay, frame: Frame = ALONE) -> str:
    """What to decide and where to walk today; the list of all fields stands beside it."""
    route = season_route(season)
    today = [day for day in route.days if day.date == season.as_of]
    walked = [stop.plan for day in today for stop in day.stops]
    return framed(
        "desk_plan.html",
        frame,
        here="plan",
        title="Today",
        season=season_line(season),
        decide=decisions(above_of(season)),
        over=out_of_season_text(season),
        days=[_day(day, route) for day in today],
        refused=[problem.sentence() for problem in season.loaded.refused],
        doubts=[problem.sentence() for problem in season.doubts],
        notes=_notes(season, walked, RANGE_NOTE, STAGES_NOTE),
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


def week_html(route: WeekRoute, frame: Frame = ALONE) -> str:
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
    return framed(
        "desk_week.html",
        frame,
        here="week",
        title="The week",
        season=season_line(season),
        decide=decisions(route.above),
        over=out_of_season_text(season),
        days=[_day(day, route) for day in route.days],
        left=left,
        closed=entry_notes(walked),
        notes=_notes(season, [*walked, *(one.plan for one in route.left_out)], estimated, cost),
    )


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
    return {
        "title": shift_text(day.date, day.scout),
        "scout": day.scout,
        "hours": ", ".join(_hours(day, route)),
        "sheet": link("sheet", day=day.date.isoformat(), scout=day.scout),
        "phone": link("phone", day=day.date.isoformat(), scout=day.scout),
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


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """Something seen, counted or done, on a day."""

    day: str
    what: tuple[str, ...]
    entry: str = ""
    kind: str = "visit"

    @property
    def href(self) -> str:
        """The page of the entry."""
        return link("entry", entry=self.entry)


def field_html(season: SeasonDay, field_id: str, frame: Frame = ALONE) -> str:
    """The page of a field; where it cannot be forecast, why."""
    field = season.find(field_id)
    values: dict[str, Any] = {
        "title": field_id,
        "links": _links(field_id),
        "refused": [p.sentence() for p in _without_forecast(season, field_id)],
        "told": None,
        "decide": decisions(above_of(season), only=field_id),
    }
    if field is not None:
        values |= {"title": name_of(field), "told": _told(field)}
    later = tuple(_later(season, field_id))
    notes = (RANGE_NOTE, STAGES_NOTE, CAUTION)
    return framed(
        "desk_field.html", frame, season=season_line(season), later=later, notes=notes, **values
    )


def _without_forecast(season: SeasonDay, field_id: str) -> list[Problem]:
    """Why a field has no forecast: no station, or no planting date yet."""
    told = season.loaded.season
    waits = [no_date_yet(field_id, told) for one in told.undated if one.field_id == field_id]
    return waits + [p for p in season.loaded.refused if p.field_id == field_id]


def _links(field_id: str) -> dict[str, str]:
    pages = {page: link(page, field=field_id) for page in ("visit", "treatment", "brief")}
    return pages | {"change": link("edit/row", of="fields", field=field_id)}


def _told(field: FieldDay) -> dict[str, Any]:
    forecast, as_of, knowledge = field.forecast, field.season.as_of, field.season.knowledge
    sampling = knowledge.sampling.get(field.visit.sample)
    history = field_history(field)
    lines = [(visit.date, _of_visit(visit, knowledge)) for visit in history.visits]
    lines += [(t.applied_at.date(), _of_treatment(t)) for t in history.treatments]
    return {
        "grower": forecast.field.grower,
        "planted": planted_text(forecast.field),
        "now": stage_said(forecast.stage_now),
        "need": NEEDS[need_of(field)],
        "walk": walk_said(field),
        "walk_why": "" if walk_of(field).why == "overdue" else other_day_text(walk_of(field)),
        "closed": closed_text(field),
        "counted": _counted(history.visits, knowledge),
        "reasons": reason_texts(field.visit, knowledge.decisions.treated),
        "how": "" if sampling is None else sampling.how,
        "look_for": look_for_texts(field.visit.look_for),
        "stages": [
            (stage_said(stage), range_text(dates))
            for stage in STAGES
            if (dates := forecast.stages[stage]).p50 is None or dates.p50 >= as_of
        ],
        "history": [line for _, line in sorted(lines, key=lambda pair: pair[0])][::-1],
    }


def _of_visit(visit: PastVisit, knowledge: Knowledge) -> HistoryLine:
    share = "" if visit.share is None else f", {100 * visit.share:.0f} percent of plants"
    seen = f"{visit.stage} seen{share}" if visit.stage_seen else f"{visit.stage} by the forecast"
    gone = [] if visit.of_these_plants else ["before replanting, not counted"]
    told = [*gone, seen if visit.stage else "no stage noted", *_found(visit, knowledge)]
    if visit.noted is not None:
        told.append(f"pressure noted: {visit.noted}")
    logged = visit.logged
    if visit.stand is not None:
        told.append(f"stand: {stand_line(visit.stand)}")
    if logged is not None:
        told += [f"stand: {logged.stand_notes}"] * bool(logged.stand_notes)
        told += [f"notes: {logged.notes}"] * bool(logged.notes)
        told += [f"by {logged.who}"] * bool(logged.who)
    entry = "" if logged is None else logged.visit_id
    return HistoryLine(day_text(visit.date, weekday=True), tuple(told), entry)


def _found(visit: PastVisit, knowledge: Knowledge) -> Iterator[str]:
    found = visit.found
    if found is None:
        return
    for one in found.pests:
        yield f"{knowledge.pests[one.pest].name} {line_text(one)}"
    if found.defoliation is not None:
        yield f"leaf loss {leaf_line_text(found.defoliation)}"


def _counted(visits: Sequence[PastVisit], knowledge: Knowledge) -> tuple[str, list[Markup]] | None:
    """The counts of the last visit that has some, each on its line: the day, and the lines."""
    last = max((v for v in visits if v.found), key=lambda v: v.date, default=None)
    if last is None or last.found is None:
        return None
    named = [(knowledge.pests[one.pest].name, line_of(one)) for one in last.found.pests]
    if last.found.defoliation is not None:
        named.append(("leaf loss", leaf_line_of(last.found.defoliation)))
    lines = [element("strong", name) + Markup(" ") + number_line(line) for name, line in named]
    return (day_text(last.date, weekday=True), lines) if lines else None


def _of_treatment(treatment: Treatment) -> HistoryLine:
    applied = treatment.applied_at
    told = [f"treated with {treatment.product} at {applied:%H:%M}"]
    told.append(f"no entry for {treatment.reentry_hours:g} h")
    if treatment.preharvest_days is not None:
        told.append(f"no harvest for {treatment.preharvest_days:g} days")
    told += [f"notes: {treatment.notes}"] * bool(treatment.notes)
    day = day_text(applied.date(), weekday=True)
    return HistoryLine(day, tuple(told), treatment.treatment_id, "treatment")


def _later(season: SeasonDay, field_id: str) -> Iterator[HistoryLine]:
    """Entries of days after that of the forecast, which take no part in it yet."""
    log, as_of = season.loaded.season.log.of_field(field_id), season.as_of
    entries: list[AnyEntry] = [*log.visits, *log.treatments]
    for entry in entries:
        day, kind = day_of_entry(entry), kind_of_entry(entry)
        if day > as_of:
            yield HistoryLine(day_text(day, weekday=True), (), entry_id(entry), kind)
