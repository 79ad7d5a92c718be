"""What an entry means, answered at once: no plan has to be made anew for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from stagecast.counts.assess import HALF, assess, last_counted
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.desk.frame import BLANK
from stagecast.desk.season import DeskSeason
from stagecast.knowledge import Knowledge, load
from stagecast.pages.number_line import leaf_line_of, line_of, line_picture
from stagecast.pests.thresholds import facts_of
from stagecast.screens.screen import day_text
from stagecast.season.folder import SeasonFolder
from stagecast.season.log.entries import (
    AnyEntry,
    LoggedVisit,
    ScoutingLog,
    Treatment,
    standing,
)
from stagecast.visits.assess_season import check_days
from stagecast.visits.reentry import EfficacyCheck, efficacy_check, no_entry_until
from stagecast.visits.revisit import days_to_check
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import walk_of
from stagecast.words.counts import (
    held_at_text,
    leaf_line_text,
    leaf_loss_text,
    line_text,
    near_text,
    why_text,
)
from stagecast.words.notes import NO_STAGE_YET
from stagecast.words.stand import curve_text, estimate_text
from stagecast.words.visits import until_text


@dataclass(frozen=True, slots=True)
class Meaning:
    """The short of it, why, and the line on which a count stands beside its threshold."""

    head: str
    why: str = ""
    above: bool = False
    picture: Markup = BLANK


@dataclass(frozen=True, slots=True)
class EntryAnswers:
    """What an entry means, and the stage that its counts were held against, in words."""

    means: tuple[Meaning, ...] = ()
    held_at: str = ""


def visit_means(visit: LoggedVisit, log: ScoutingLog, shown: SeasonDay) -> EntryAnswers:
    """The stand, then each pest counted on the day and the leaf loss, those above first.

    It needs no new plan: the stage is the one seen, else the one that the last plan forecast.

    ``log``: what stands of it now.
    ``shown``: the last plan; it may be from before the visit.
    """
    field = shown.find(visit.field_id)
    if field is None or not _of_these_plants(visit, field):
        return EntryAnswers()
    stand = tuple(_stand(visit, field))
    counted = visit.sets or visit.defoliation_percent is not None
    of_day = last_counted(log, visit.field_id, visit.date) if counted else None
    if of_day is None or of_day.date != visit.date:
        return EntryAnswers(stand)
    found = field.assess(of_day)
    means = (*stand, *_pests(found, field.season.knowledge, field))
    known = shown.loaded.season.log.of_field(visit.field_id).visits
    early = all(one.visit_id != visit.visit_id for one in known)
    return EntryAnswers(means, held_at_text(found.stage, found.stage_seen, early=early))


def means_without_plan(visit: LoggedVisit, log: ScoutingLog, folder: SeasonFolder) -> EntryAnswers:
    """The same while there is no plan yet, as in the first seconds of the desk: by the stage seen.

    ``log``: what stands of it now.
    """
    of_day = last_counted(log, visit.field_id, visit.date)
    if of_day is None or of_day.date != visit.date:
        return EntryAnswers()
    if of_day.stage is None or (of_day.share is not None and of_day.share < HALF):
        return EntryAnswers(held_at=NO_STAGE_YET)
    found = assess(
        of_day,
        stage=of_day.stage,
        stage_seen=True,
        region=folder.region_of(visit.field_id),
        knowledge=folder.knowledge,
        facts=facts_of(visit.field_id, folder.fields),
    )
    return EntryAnswers(
        tuple(_pests(found, folder.knowledge)), held_at_text(found.stage, True, early=True)
    )


def _of_these_plants(visit: LoggedVisit, field: FieldDay) -> bool:
    """Whether a visit is of the season, and of the plants that stand."""
    planted = field.forecast.field.first_planted and field.forecast.field.planting_date
    this_year = visit.date.year == field.season.settings.year
    return this_year and (planted is None or visit.date >= planted)


def _stand(visit: LoggedVisit, field: FieldDay) -> Iterator[Meaning]:
    stand = field.season.assess_stand(field.forecast.field, visit)
    if stand is not None:
        why = "; ".join(curve_text(one, stand, field.season.knowledge) for one in stand.curves)
        yield Meaning(f"Stand: {stand.answer}", f"{estimate_text(stand.estimate)}; {why}")


def _pests(
    found: FieldAssessment, knowledge: Knowledge, field: FieldDay | None = None
) -> list[Meaning]:
    """Each pest and the leaf loss, those above first; ``field`` says when one is back there."""
    told = [
        Meaning(
            head=f"{_capital(knowledge.pests[one.pest].name)} {line_text(one)}",
            why=f"{why_text(one)}{_near(one, field, found.visit.date)}",
            above=one.reached,
            picture=line_picture(line_of(one)),
        )
        for one in found.pests
    ]
    leaf = found.defoliation
    if leaf is not None:
        head, picture = f"Leaf loss {leaf_line_text(leaf)}", line_picture(leaf_line_of(leaf))
        told.append(Meaning(head, leaf_loss_text(leaf), leaf.answer == "above", picture))
    return sorted(told, key=lambda one: not one.above)


def _capital(name: str) -> str:
    return f"{name[:1].upper()}{name[1:]}"


def _near(one: PestAssessment, field: FieldDay | None, counted_on: dt.date) -> str:
    """What would settle a count near its threshold; by when, once a plan knows of the visit."""
    if one.answer != "near":
        return ""
    last = None if field is None else field.last_visit
    if field is None or last is None or last.date < counted_on:
        return f"; {near_text(one, None)}"
    return f"; {near_text(one, walk_of(field).day, check=check_days(field, counted_on))}"


def treatment_means(
    treatment: Treatment, log: ScoutingLog, season: SeasonDay | None
) -> list[Meaning]:
    """Until when the field is closed by it, and when to see whether it worked.

    ``log``: what stands of the field.
    ``season``: says what was visited since; None where there is none just now.
    """
    return [Meaning("; ".join(_said(treatment, log, season)))]


def _said(treatment: Treatment, log: ScoutingLog, season: SeasonDay | None) -> Iterator[str]:
    held = no_entry_until(log, treatment.field_id, treatment.applied_at)
    yield "The field is not closed" if held is None else f"Closed until {until_text(held)}"
    check = _check(treatment, log, season)
    if check is not None:
        latest = f" to {day_text(check.latest)}" if check.latest > check.soonest else ""
        yield f"efficacy check {day_text(check.soonest)}{latest}"


def _check(
    treatment: Treatment, log: ScoutingLog, season: SeasonDay | None
) -> EfficacyCheck | None:
    """The check that it still waits for; none where a later treatment has one of its own."""
    field = None if season is None else season.find(treatment.field_id)
    last = None if field is None else field.visit.last_visit
    day = treatment.applied_at.date()
    as_of = day if season is None else max(day, season.as_of)
    days = None if field is None else days_to_check(field.counted)
    check = efficacy_check(log, last, as_of=as_of, rule=load().decisions.treated, days=days)
    mine = check is not None and check.treatment.treatment_id == treatment.treatment_id
    return check if mine else None


def answers_of(
    entry: AnyEntry, every: ScoutingLog, season: SeasonDay | None, desk: DeskSeason
) -> EntryAnswers:
    """What somebody who logged it wants to know first.

    ``season``: the last plan; None while there is none.
    """
    log = standing(every.visits, every.treatments).of_field(entry.field_id)
    if isinstance(entry, LoggedVisit):
        if season is not None:
            return visit_means(entry, log, season)
        folder = desk.folder_read()
        return EntryAnswers() if folder is None else means_without_plan(entry, log, folder)
    return EntryAnswers(tuple(treatment_means(entry, log, season)))
