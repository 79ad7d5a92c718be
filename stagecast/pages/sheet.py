"""The field sheet for the phone: a day's stops with all that judging counts needs."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import Any

from stagecast.base.dates import said_day
from stagecast.base.units import Units, distance_text, temperature_text
from stagecast.counts.assess import stage_of_visit
from stagecast.counts.stand import BEST, curve_answer, nearest_curves
from stagecast.forecast.load import LoadedSeason
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.pages.render import render, visible
from stagecast.pages.sheet_rules import Table, sheet_rules
from stagecast.pests.thresholds import FieldFacts, best, thresholds_at
from stagecast.season.log.entries import LoggedVisit
from stagecast.visits.look_for import looked_at
from stagecast.visits.reentry import entry_from, no_entry_on, whole_minute
from stagecast.visits.season_day import FieldDay
from stagecast.week.days import HotDay, ScoutDay, WeekStop
from stagecast.week.week import WeekRoute
from stagecast.words.notes import CAUTION, STAGES_NOTE
from stagecast.words.visits import look_for_texts, no_entry_text
from stagecast.words.waiting import last_found, term_name
from stagecast.words.week import check_text, clock_text, due_text, hours_text, how_text, seen_text

_DIGEST_DIGITS = 16

STAND_LOOK = "stand-look"
"""The way of sampling that counts plants standing."""

_ROW: dict[Units, Table] = {
    "us": {"length": 10, "unit": "ft"},
    "metric": {"length": 3, "unit": "m"},
}
"""The length of row that a place begins with; the scout writes the one that he measured."""


def sheet_data(day: ScoutDay, loaded: LoadedSeason) -> Table:
    """Everything on the sheet of one scout's day, as plain values.

    ``day``: of the week's route.

    Returns
    -------
    dict
        For JSON; texts for people are :func:`visible`, ids are as the log takes them.
    """
    settings, knowledge = loaded.season.settings, loaded.knowledge
    fields = {
        stop.field_id: (field.region, FieldFacts.of(field))
        for stop in day.stops
        for field in (stop.plan.forecast.field,)
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
    day = stop.arrive.date()
    stage, seen = _stage(plan, loaded, stop)
    pests, others = _pests(plan, stop, loaded)
    facts = FieldFacts.of(field)
    of, size = _set(stop, pests, stage, loaded, facts)
    sampling = knowledge.sampling.get(stop.sampling)
    return {
        "number": number,
        "field_id": field.field_id,
        "name": visible(field.field_name or field.field_id),
        "label": visible(f"{field.field_id} {field.field_name}".strip()),
        "grower": visible(field.grower),
        "notes": visible(field.notes),
        "place": f"{field.latitude:.5f}, {field.longitude:.5f}",
        "arrive": clock_text(stop.arrive),
        "leave": clock_text(stop.leave),
        "drive": f"{distance_text(stop.drive_km, loaded.season.settings.units)}, "
        f"{hours_text(stop.drive_min)}",
        "how": how_text(stop, knowledge),
        "how_long": "" if sampling is None else sampling.how,
        "method": "" if sampling is None else sampling.title,
        "look_for": [visible(text) for text in look_for_texts(stop.look_for)],
        "entry": [visible(text) for text in _entry(plan, stop, loaded)],
        "cautions": [visible(text) for text in _cautions(pests, loaded)],
        "due": visible(_due(stop)),
        "last": visible(_last(stop, loaded.knowledge)),
        "stand": stop.sampling == STAND_LOOK,
        "row": _ROW[loaded.season.settings.units],
        "curves": _curves(stop, loaded) if stop.sampling == STAND_LOOK else [],
        "wanted_sets": stop.sets,
        "of": of,
        "size": size,
        "pests": pests,
        "units": {pest: _units(pest, stage, loaded, field.region, facts) for pest in pests},
        "others": others,
        "stage": stage,
        "stage_seen": seen,
        "forecast": plan.forecast.stage_on(day),
    }


def _curves(stop: WeekStop, loaded: LoadedSeason) -> list[Table]:
    """Yield of the planting day and of replanting after the visit, by the trials that are near."""
    knowledge, planted = loaded.knowledge, stop.plan.forecast.field.planting_date
    rules = knowledge.stand
    replant_day = stop.arrive.date() + dt.timedelta(days=int(rules.decision.lead))
    return [
        {"planted": one.planted, "replanted": one.replanted, "late": one.late}
        for curve in nearest_curves(loaded.season.settings.region, knowledge)
        for one in [
            curve_answer(curve, BEST, planted=planted, replant_day=replant_day, rules=rules)
        ]
    ]


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


def _units(
    pest: str, stage: str, loaded: LoadedSeason, region: str, facts: FieldFacts
) -> list[SampleUnit]:
    """What the thresholds of a pest are counted in at a stage, those that hold here first."""
    found = thresholds_at(
        loaded.knowledge.pests[pest],
        region=region,
        stage=stage if stage_place(stage) else None,
        knowledge=loaded.knowledge,
        facts=facts,
    )
    return list(dict.fromkeys(shown.threshold.unit for shown in found))


def _stage(plan: FieldDay, loaded: LoadedSeason, stop: WeekStop) -> tuple[str, bool]:
    """The stage that counts are held against while the scout notes none."""
    blank = LoggedVisit("", plan.field_id, stop.arrive.date())
    found = stage_of_visit(blank, loaded.season.visits, plan.forecast)
    assert found is not None  # there is a forecast
    return found


def _pests(plan: FieldDay, stop: WeekStop, loaded: LoadedSeason) -> tuple[list[str], list[str]]:
    """Ids of those the visit is for, as its plan has it; and of all others, the likely first.

    Leaf loss is judged for the whole canopy, so it has no button.
    """
    knowledge, day = loaded.knowledge, stop.arrive.date()
    open_then = looked_at(plan.windows, day)
    likely = list(dict.fromkeys(w.pest for w in open_then if w.pest is not None))
    leaf = knowledge.decisions.leaf_loss.pest
    planned = likely[: int(knowledge.revisit.planned_pests)]
    rest = sorted(knowledge.pests.values(), key=lambda pest: pest.name)
    others = dict.fromkeys([*likely, *(pest.id for pest in rest)])
    return (
        [pest for pest in planned if pest != leaf],
        [pest for pest in others if pest not in planned and pest != leaf],
    )


def _set(
    stop: WeekStop, pests: Sequence[str], stage: str, loaded: LoadedSeason, facts: FieldFacts
) -> tuple[SampleUnit, float]:
    """What a set is, unless the scout says otherwise.

    Sweeps where the way of sampling is by sweeps; else what the first threshold of the pests that
    are planned for is counted in.
    """
    knowledge = loaded.knowledge
    sampling = knowledge.sampling.get(stop.sampling)
    usual = int(knowledge.sweeps.usual_set)
    if sampling is not None and sampling.unit == "sweeps":
        return "sweeps", float(sampling.size or usual)
    asked = stage if stage_place(stage) else None
    for pest in pests:
        found = thresholds_at(
            knowledge.pests[pest],
            region=stop.plan.forecast.field.region,
            stage=asked,
            knowledge=knowledge,
            facts=facts,
        )
        for shown in best(found):
            if shown.threshold.unit not in JUDGED:
                of = shown.threshold.unit
                return of, usual if of == "sweeps" else shown.threshold.per
    return "sweeps", usual


def _entry(plan: FieldDay, stop: WeekStop, loaded: LoadedSeason) -> Iterator[str]:
    """Until when the field is closed, or since when it is open again after a treatment."""
    day = stop.arrive.date()
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
        "due",
        "last",
    )
    stops = [{k: v for k, v in stop.items() if k not in shown} for stop in data["stops"]]
    return {**{k: v for k, v in data.items() if k not in ("hours", "hot")}, "stops": stops}


SCRIPTS = (
    "sheet_posterior.js", "sheet_settle.js", "sheet_lines.js", "sheet_judge.js", "sheet_state.js",
    "sheet_book.js", "sheet_stand.js", "sheet_table.js", "sheet_parts.js", "sheet_counts.js",
    "sheet_answers.js", "sheet_days.js", "sheet_send.js", "sheet.js",
)  # fmt: skip
"""Run as one script, in this order: what is named is there before what names it."""


def sheet_html(route: WeekRoute, day: ScoutDay) -> str:
    """The sheet of one scout's day; the same day of the same route gives the same page.

    ``day``: one of the route's days.
    """
    loaded = route.season.loaded
    data = sheet_data(day, loaded)
    return render(
        "sheet.html",
        script=SCRIPTS,
        sheet=data,
        data={**page_json(data), "stages_note": STAGES_NOTE},
        as_of=loaded.as_of.isoformat(),
        caution=CAUTION,
    )
