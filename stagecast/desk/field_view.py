"""The page of one field: where it stands, what is next, and its season so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from stagecast.counts.assessment import PestAssessment
from stagecast.desk.messages import link
from stagecast.desk.views import decisions, season_line
from stagecast.pages.needs import NEEDS, need_of
from stagecast.pages.render import render
from stagecast.phenology.soybean import STAGES
from stagecast.screens.screen import day_text, name_of, range_text
from stagecast.season.log.entries import (
    AnyEntry,
    Treatment,
    day_of_entry,
    entry_id,
    kind_of_entry,
)
from stagecast.visits.history import PastVisit, field_history
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import above_of
from stagecast.words.counts import mean_with_limit
from stagecast.words.notes import CAUTION, RANGE_NOTE, STAGES_NOTE
from stagecast.words.plain import stage_said
from stagecast.words.visits import look_for_texts, no_entry_text, reason_texts


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


def plan_of_field(plan: SeasonDay, field_id: str) -> FieldDay | None:
    """The field, where it can be forecast."""
    return next((p for p in plan.fields if p.field_id == field_id), None)


def field_html(plan: SeasonDay, field_id: str) -> str:
    """The page of a field; where it cannot be forecast, why."""
    field = plan_of_field(plan, field_id)
    values: dict[str, Any] = {
        "title": field_id,
        "links": _links(field_id),
        "refused": [p.sentence() for p in plan.loaded.refused if p.field_id == field_id],
        "told": None,
        "decide": decisions(above_of(plan), only=field_id),
    }
    if field is not None:
        values |= {"title": name_of(field), "told": _told(field, plan)}
    later = tuple(_later(plan, field_id))
    notes = (RANGE_NOTE, STAGES_NOTE, CAUTION)
    return render(
        "desk_field.html",
        season=season_line(plan), nav=True, here="", later=later, notes=notes, **values,
    )  # fmt: skip


def _links(field_id: str) -> dict[str, str]:
    return {page: link(page, field=field_id) for page in ("visit", "treatment", "brief")}


def _told(field: FieldDay, plan: SeasonDay) -> dict[str, Any]:
    forecast, as_of, knowledge = field.forecast, plan.loaded.as_of, plan.loaded.knowledge
    sampling = knowledge.sampling.get(field.visit.sample)
    rule = knowledge.decisions.treated.entry_rule
    history = field_history(field)
    lines = [(visit.date, _of_visit(visit, plan)) for visit in history.visits]
    lines += [(t.applied_at.date(), _of_treatment(t)) for t in history.treatments]
    return {
        "grower": forecast.field.grower,
        "planted": day_text(forecast.field.planting_date),
        "now": stage_said(forecast.stage_now),
        "need": NEEDS[need_of(field)],
        "due": "" if field.visit.due is None else day_text(field.visit.due, weekday=True),
        "closed": "" if field.no_entry is None else no_entry_text(field.no_entry, rule),
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


def _of_visit(visit: PastVisit, plan: SeasonDay) -> HistoryLine:
    share = "" if visit.share is None else f", {100 * visit.share:.0f} percent of plants"
    seen = f"{visit.stage} seen{share}" if visit.stage_seen else f"{visit.stage} by the forecast"
    told = [seen, *_found(visit, plan)]
    if visit.noted is not None:
        told.append(f"pressure noted: {visit.noted}")
    logged = visit.logged
    if logged is not None:
        told += [f"stand: {logged.stand_notes}"] * bool(logged.stand_notes)
        told += [f"notes: {logged.notes}"] * bool(logged.notes)
        told += [f"by {logged.who}"] * bool(logged.who)
    entry = "" if logged is None else logged.visit_id
    return HistoryLine(day_text(visit.date, weekday=True), tuple(told), entry)


def _found(visit: PastVisit, plan: SeasonDay) -> Iterator[str]:
    found = visit.found
    if found is None:
        return
    for one in found.pests:
        yield _pest(one, plan.loaded.knowledge.pests[one.pest].name)
    if found.defoliation is not None:
        yield f"leaf loss {found.defoliation.percent:g} percent: {found.defoliation.answer}"


def _pest(one: PestAssessment, name: str) -> str:
    return f"{name}: {mean_with_limit(one)}: {one.answer}"


def _of_treatment(treatment: Treatment) -> HistoryLine:
    applied = treatment.applied_at
    told = [f"treated with {treatment.product} at {applied:%H:%M}"]
    told.append(f"no entry for {treatment.reentry_hours:g} h")
    if treatment.preharvest_days is not None:
        told.append(f"no harvest for {treatment.preharvest_days:g} days")
    told += [f"notes: {treatment.notes}"] * bool(treatment.notes)
    day = day_text(applied.date(), weekday=True)
    return HistoryLine(day, tuple(told), treatment.treatment_id, "treatment")


def _later(plan: SeasonDay, field_id: str) -> Iterator[HistoryLine]:
    """Entries of days after that of the forecast, which take no part in it yet."""
    log, as_of = plan.loaded.season.log.of_field(field_id), plan.loaded.as_of
    entries: list[AnyEntry] = [*log.visits, *log.treatments]
    for entry in entries:
        day, kind = day_of_entry(entry), kind_of_entry(entry)
        if day > as_of:
            yield HistoryLine(day_text(day, weekday=True), (), entry_id(entry), kind)
