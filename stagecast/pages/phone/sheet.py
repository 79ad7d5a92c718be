"""The field sheet for the phone: a day's stops with all that judging counts needs."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from stagecast.base.dates import said_day
from stagecast.base.units import distance_text, temperature_text
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.pages.needs import above_mark
from stagecast.pages.phone.counting import FieldVisit, counting_of
from stagecast.pages.phone.rules import Table, sheet_rules
from stagecast.pages.render import render, visible
from stagecast.pests.thresholds import FieldFacts
from stagecast.visits.reentry import entry_from, no_entry_on, whole_minute
from stagecast.visits.season_day import FieldDay
from stagecast.week.days import HotDay, ScoutDay, WeekStop
from stagecast.week.fields import sets_to_take, work_on
from stagecast.week.week import WeekRoute, over_threshold
from stagecast.words.notes import CAUTION, STAGES_NOTE
from stagecast.words.visits import look_for_texts, no_entry_text
from stagecast.words.waiting import last_found, term_name
from stagecast.words.week import check_text, clock_text, due_text, hours_text, how_text, seen_text

_DIGEST_DIGITS = 16


def sheet_data(day: ScoutDay, loaded: LoadedSeason, *, others: Sequence[FieldDay] = ()) -> Table:
    """Everything on the sheet of one scout's day, as plain values.

    ``day``: of the week's route.
    ``others``: fields that are not on it and may be added on the phone.

    Returns
    -------
    dict
        For JSON; texts for people are :func:`visible`, ids are as the log takes them.
    """
    settings, knowledge = loaded.season.settings, loaded.knowledge
    fields = {
        plan.field_id: (plan.forecast.field.region, FieldFacts.of(plan.forecast.field))
        for plan in (*(stop.plan for stop in day.stops), *others)
    }
    rules = sheet_rules(region=settings.region, knowledge=knowledge, fields=fields)
    data: Table = {
        "day": day.date.isoformat(),
        "day_text": f"{day.date:%a} {said_day(day.date)} {day.date.year}",
        "scout": visible(day.scout),
        "hours": " ".join(_hours(day, loaded)),
        "hot": None if day.hot is None else _hot(day.hot, loaded),
        "stops": [_stop(number, stop, loaded) for number, stop in enumerate(day.stops, 1)],
        "region": ", ".join(knowledge.regions[code] for code in loaded.season.regions),
        "rules": rules,
        **_others(others, day.date, loaded),
    }
    return {"key": _key(day, loaded), "digest": _digest(data), **data}


def _key(day: ScoutDay, loaded: LoadedSeason) -> str:
    """Under what the phone keeps the day: the same for a sheet of the same day that came anew."""
    settings = loaded.season.settings
    season = [settings.year, settings.region]
    home = [settings.home.latitude, settings.home.longitude]
    return f"stagecast sheet {day.date.isoformat()} {_digest([season, home, day.scout])}"


def _digest(data: object) -> str:
    text = json.dumps(data, sort_keys=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:_DIGEST_DIGITS]


def _hours(day: ScoutDay, loaded: LoadedSeason) -> Iterator[str]:
    if day.leave_home is None or day.back_home is None:
        return
    drive = distance_text(day.drive_km, loaded.season.settings.units)
    yield f"Leave home {clock_text(day.leave_home)}, back {clock_text(day.back_home)}."
    yield f"{drive} in {hours_text(day.drive_min)}, {hours_text(day.work_min)} in fields."
    if day.lunch is not None:
        yield f"Lunch {clock_text(day.lunch[0])} to {clock_text(day.lunch[1])}."


def _hot(hot: HotDay, loaded: LoadedSeason) -> str:
    units = loaded.season.settings.units
    high, limit = (temperature_text(c, units) for c in (hot.high_c, hot.limit_c))
    return f"Hot: high near {high}, {hot.chance:.0%} chance of {limit} or more; {hot.caution}"


def _stop(number: int, stop: WeekStop, loaded: LoadedSeason) -> Table:
    plan, knowledge = stop.plan, loaded.knowledge
    field = plan.forecast.field
    visit = FieldVisit(plan, stop.arrive.date(), stop.sampling, stop.sets)
    counting = counting_of(visit, loaded)
    sampling = knowledge.sampling.get(stop.sampling)
    return {
        "number": number,
        "field_id": field.field_id,
        "name": visible(field.field_name or field.field_id),
        "label": _label(plan),
        "grower": visible(field.grower),
        "notes": visible(field.notes),
        "place": f"{field.latitude:.5f}, {field.longitude:.5f}",
        "arrive": clock_text(stop.arrive),
        "leave": clock_text(stop.leave),
        "drive": f"{distance_text(stop.drive_km, loaded.season.settings.units)}, "
        f"{hours_text(stop.drive_min)}",
        "how": how_text(stop, knowledge),
        "how_long": "" if sampling is None else sampling.how,
        "look_for": [visible(text) for text in look_for_texts(stop.look_for)],
        "entry": [visible(text) for text in _entry(plan, visit.day, loaded)],
        "cautions": [visible(text) for text in _cautions(counting["pests"], loaded)],
        "above": plan.field_id in over_threshold(plan.season),
        "due": visible(_due(stop)),
        "last": visible(_last(stop, loaded.knowledge)),
        **counting,
    }


def _label(plan: FieldDay) -> str:
    field = plan.forecast.field
    return visible(f"{field.field_id} {field.field_name}".strip())


def _others(plans: Sequence[FieldDay], day: dt.date, loaded: LoadedSeason) -> Table:
    """The fields that are not on the sheet: id, name, and which of ``kinds`` each is.

    A kind is what the phone must know to count and judge there; many fields are alike in it.
    """
    kinds: dict[str, int] = {}
    fields = []
    for plan in plans:
        sampling = work_on(plan, day, loaded)[1]
        visit = FieldVisit(plan, day, sampling, sets_to_take(sampling, loaded.knowledge))
        kind = counting_of(visit, loaded)
        del kind["others"]  # the phone lists all others by name
        entry = [visible(text) for text in _entry(plan, day, loaded)]
        text = json.dumps({**kind, "entry": entry})
        fields.append([plan.field_id, _label(plan), kinds.setdefault(text, len(kinds))])
    return {"fields": fields, "kinds": [json.loads(text) for text in kinds]}


def _due(stop: WeekStop) -> str:
    """Which treatment is to be checked, and since when the visit is due."""
    return _capital("; ".join(filter(None, (check_text(stop), due_text(stop)))))


def _last(stop: WeekStop, knowledge: Knowledge) -> str:
    """The last visit, and what was last found of what has most at stake."""
    found = (f"{term_name(term, knowledge)}: {last_found(term)}" for term in stop.waiting.terms
             if last_found(term))  # fmt: skip
    return _capital("; ".join((seen_text(stop), *dict.fromkeys(found)))) + "."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _entry(plan: FieldDay, day: dt.date, loaded: LoadedSeason) -> Iterator[str]:
    """Until when the field is closed, or since when it is open again after a treatment."""
    held = no_entry_on(plan.log, plan.field_id, day)
    if held is not None:
        told = no_entry_text(held, loaded.knowledge.decisions.treated.entry_rule)
        yield _capital(told)
        return
    for one in plan.log.up_to(day).treatments[-1:]:
        free = whole_minute(entry_from(one))
        yield (
            f"Treated {said_day(one.applied_at.date())} with {one.product}: entry since "
            f"{said_day(free.date())} {clock_text(free)}, by the label as it was logged"
        )


def _cautions(pests: Sequence[str], loaded: LoadedSeason) -> Iterator[str]:
    """What the pests of the visit ask for."""
    for pest in pests:
        known = loaded.knowledge.pests[pest]
        if known.caution:
            yield f"{known.name}: {known.caution}"


def page_json(data: Table) -> dict[str, Any]:
    """The part of the sheet that its script reads; what only people read stands in the page."""
    shown = (
        "look_for",
        "entry",
        "cautions",
        "how_long",
        "grower",
        "notes",
        "place",
        "drive",
        "how",
        "above",
        "due",
        "last",
    )
    stops = [{k: v for k, v in stop.items() if k not in shown} for stop in data["stops"]]
    return {**{k: v for k, v in data.items() if k not in ("hours", "hot")}, "stops": stops}


SCRIPTS = (
    "sheet_posterior.js", "sheet_settle.js", "sheet_lines.js", "sheet_judge.js", "sheet_state.js",
    "sheet_book.js", "sheet_sets.js", "sheet_parts.js", "sheet_stage.js", "sheet_stand.js",
    "sheet_leaves.js", "sheet_table.js", "sheet_counts.js", "sheet_number_line.js",
    "sheet_answers.js", "sheet_bar.js", "sheet_fields.js", "sheet_days.js", "sheet_send.js",
    "sheet.js",
)  # fmt: skip
"""Run as one script, in this order: what is named is there before what names it."""


@dataclass(frozen=True, slots=True)
class FromDesk:
    """What a sheet that is opened at the desk knows of it.

    Attributes
    ----------
    form_token: stands in the form that sends counts back.
    file: where the same sheet is as a file.
    """

    form_token: str
    file: str


def sheet_html(route: WeekRoute, day: ScoutDay, *, desk: FromDesk | None = None) -> str:
    """The sheet of one scout's day; the same day of the same route gives the same page.

    ``day``: one of the route's days.
    ``desk``: optional; where the page is opened at the desk and can send counts back to it.
    """
    loaded = route.season.loaded
    on_it = {stop.field_id for stop in day.stops}
    others = [plan for plan in route.season.fields if plan.field_id not in on_it]
    data = sheet_data(day, loaded, others=others)
    return render(
        "sheet.html",
        script=SCRIPTS,
        above_mark=above_mark,
        sheet=data,
        desk=desk,
        data={**page_json(data), "stages_note": STAGES_NOTE},
        as_of=loaded.as_of.isoformat(),
        caution=CAUTION,
    )
