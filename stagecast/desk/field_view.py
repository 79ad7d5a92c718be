"""The page of one field: where it stands, what is next, and its season so far."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from stagecast.desk.messages import link
from stagecast.desk.views import decisions, season_line
from stagecast.knowledge import Knowledge
from stagecast.pages.needs import NEEDS, need_of
from stagecast.pages.render import render
from stagecast.phenology.soybean import STAGES
from stagecast.screens.screen import closed_text, day_text, name_of, range_text
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
from stagecast.words.visits import look_for_texts, reason_texts


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


def field_html(season: SeasonDay, field_id: str) -> str:
    """The page of a field; where it cannot be forecast, why."""
    field = season.find(field_id)
    values: dict[str, Any] = {
        "title": field_id,
        "links": _links(field_id),
        "refused": [p.sentence() for p in season.loaded.refused if p.field_id == field_id],
        "told": None,
        "decide": decisions(above_of(season), only=field_id),
    }
    if field is not None:
        values |= {"title": name_of(field), "told": _told(field)}
    later = tuple(_later(season, field_id))
    notes = (RANGE_NOTE, STAGES_NOTE, CAUTION)
    return render(
        "desk_field.html",
        season=season_line(season), nav=True, here="", later=later, notes=notes, **values,
    )  # fmt: skip


def _links(field_id: str) -> dict[str, str]:
    return {page: link(page, field=field_id) for page in ("visit", "treatment", "brief")}


def _told(field: FieldDay) -> dict[str, Any]:
    forecast, as_of, knowledge = field.forecast, field.season.as_of, field.season.knowledge
    sampling = knowledge.sampling.get(field.visit.sample)
    history = field_history(field)
    lines = [(visit.date, _of_visit(visit, knowledge)) for visit in history.visits]
    lines += [(t.applied_at.date(), _of_treatment(t)) for t in history.treatments]
    return {
        "grower": forecast.field.grower,
        "planted": day_text(forecast.field.planting_date),
        "now": stage_said(forecast.stage_now),
        "need": NEEDS[need_of(field)],
        "due": "" if field.visit.due is None else day_text(field.visit.due, weekday=True),
        "closed": closed_text(field),
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
    told = [seen, *_found(visit, knowledge)]
    if visit.noted is not None:
        told.append(f"pressure noted: {visit.noted}")
    logged = visit.logged
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
        yield f"{knowledge.pests[one.pest].name}: {mean_with_limit(one)}: {one.answer}"
    if found.defoliation is not None:
        yield f"leaf loss {found.defoliation.percent:g} percent: {found.defoliation.answer}"


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
