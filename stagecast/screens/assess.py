"""The screen of one field's counts against its thresholds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console

from stagecast.base.dates import said_day
from stagecast.base.terminal import cell, paragraph, show_pairs, table
from stagecast.base.textfiles import clean
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.economics import InjuryLevel
from stagecast.counts.stand import StandAssessment
from stagecast.knowledge import Knowledge
from stagecast.knowledge.rules import Counting
from stagecast.pests.thresholds import ShownThreshold
from stagecast.screens.screen import ANSWER_STYLES, day_text, print_notes
from stagecast.season.settings.workday import money
from stagecast.visits.assess_season import AssessedField, check_days
from stagecast.visits.season_day import FieldDay
from stagecast.week.week import walk_of
from stagecast.words.counts import (
    against_text,
    beans_text,
    chance_text,
    k_text,
    leaf_loss_text,
    mean_text,
    near_text,
    notes_text,
    number_text,
    percent_text,
    taken_text,
    tally_text,
    why_text,
)
from stagecast.words.notes import CAUTION
from stagecast.words.pests import from_text
from stagecast.words.stand import estimate_text, stand_details, stand_line
from stagecast.words.thresholds import noted, noted_after, threshold_text, unit_text
from stagecast.words.visits import no_entry_text, pressure_text

NONE = "-"
NAMED = 6

NOT_ZERO = "A pest that no set names is unknown, which is not zero."


def show_assessment(console: Console, assessed: AssessedField) -> None:
    """What was counted, what it means, why, and how sure that is."""
    knowledge, found = assessed.loaded.knowledge, assessed.found
    name = clean(f"{assessed.field.field_id} {assessed.field.field_name}".strip())
    if assessed.no_entry is not None:
        rule = knowledge.decisions.treated.entry_rule
        paragraph(console, f"{name}: {no_entry_text(assessed.no_entry, rule)}", "late")
    stand = assessed.stand
    if stand is not None and (found is None or stand.date >= found.visit.date):
        _stand(console, name, stand, assessed)
    if found is None and stand is not None:
        return
    if found is None:
        as_of = day_text(assessed.loaded.as_of)
        paragraph(console, f"{name}: nothing was counted up to {as_of}.", "bold")
        folder = assessed.loaded.season.path
        step = f"Enter counts with stagecast log add {folder} FIELD, then ask again."
        paragraph(console, step)
        return
    _title(console, name, found, assessed)
    if found.pests:
        console.print()
        _counts(console, found.pests, knowledge)
    for one in found.pests:
        console.print()
        paragraph(console, f"{knowledge.pests[one.pest].name}: {one.answer}", "bold")
        show_pairs(console, _details(one, knowledge, assessed.plan, found.visit.date))
    if found.otherwise:
        console.print()
        paragraph(console, "By thresholds of another condition, or of another state", "bold")
        show_pairs(console, _otherwise(found.otherwise, knowledge))
    if found.defoliation is not None:
        console.print()
        paragraph(console, f"leaf loss: {found.defoliation.answer}", "bold")
        show_pairs(console, _leaf_loss(found.defoliation))
    if stand is not None and stand.date < found.visit.date:
        console.print()
        paragraph(console, f"stand counted {day_text(stand.date)}: {stand_line(stand)}", "bold")
    if assessed.injury is not None:
        console.print()
        paragraph(console, "Economic injury level, by your prices", "bold")
        show_pairs(console, _injury(assessed.injury, knowledge))
    print_notes(console, _notes(found, knowledge))


def _stand(console: Console, name: str, stand: StandAssessment, assessed: AssessedField) -> None:
    """The last stand count, its answer and why."""
    loaded = assessed.loaded
    day = f"{day_text(stand.date, weekday=True)} {stand.date.year}"
    paragraph(console, f"{name}, stand counted {day}: {stand.answer}", "bold")
    paragraph(console, estimate_text(stand.estimate))
    paid = money(loaded.season.settings, loaded.knowledge)
    show_pairs(console, stand_details(stand, loaded.knowledge, paid))
    if assessed.found is not None:
        console.print()


def _title(console: Console, name: str, found: FieldAssessment, assessed: AssessedField) -> None:
    visit, knowledge = found.visit, assessed.loaded.knowledge
    day = f"{day_text(visit.date, weekday=True)} {visit.date.year}"
    paragraph(console, f"{name}, counted {day}", "bold")
    seen = "seen" if found.stage_seen else "forecast for that day"
    region = knowledge.regions[assessed.field.region]
    paragraph(console, f"{beans_text(found.stage)} ({seen}), region {region}", "quiet")
    for treatment in assessed.treated:
        applied = treatment.applied_at
        text = f"{treatment.product} was applied {said_day(applied.date())} {applied:%H:%M}"
        paragraph(console, f"{text}: the counts may be from before it", "now")
    if assessed.counted is not None and found.pressure is not None:
        paragraph(console, f"pressure, for when to be back: {pressure_text(assessed.counted)}")


def _counts(console: Console, pests: Sequence[PestAssessment], knowledge: Knowledge) -> None:
    """A line for each pest."""
    share = percent_text(float(knowledge.decisions.counting.interval))
    made = table("counted", f"mean of threshold ({share} range)", "chance", "answer")
    for one in pests:
        made.add_row(
            cell(knowledge.pests[one.pest].short),
            cell(against_text(one)),
            cell(NONE if one.p_above is None else chance_text(one.p_above)),
            cell(one.answer, ANSWER_STYLES.get(one.answer, "quiet")),
        )
    console.print(made)


def _details(
    one: PestAssessment, knowledge: Knowledge, plan: FieldDay | None, counted_on: dt.date
) -> Iterator[tuple[str, str]]:
    """Why, and what stands behind it."""
    yield "why", why_text(one)
    check = None if plan is None else check_days(plan, counted_on)
    if one.answer == "near" or (check is not None and one.answer == "above"):
        yield "next", near_text(one, None if plan is None else _back(plan), check=check)
    if one.tally is not None:
        yield "tally", tally_text(one.tally)
    yield "sets", taken_text(one)
    yield "mean", _means(one, knowledge)
    if one.threshold is not None:
        yield "threshold", _with_note(one.threshold)
    if one.counted_as is not None or len(one.parts) > 1:
        names = (f"{knowledge.pests[p].name} {number_text(n)}" for p, n, _ in one.parts)
        yield "added up", ", ".join(names)
    if one.sampled is not None:
        yield "k", f"{one.sampled.k:.2g} per usual set at the threshold: {k_text(one.sampled)}"
    for note in notes_text(one, knowledge):
        yield "noted", note


def _back(plan: FieldDay) -> dt.date | None:
    """When the route is back in the field, never before the day asked for."""
    day = walk_of(plan).day
    return None if day is None else max(day, plan.season.as_of)


def _means(one: PestAssessment, knowledge: Knowledge) -> str:
    """The mean of what was found in every unit that people speak of; and by its weights."""
    found = one.found_per_set / one.set_size
    told = f"{number_text(one.found_per_set)} {unit_text(one.unit, one.set_size)}".strip()
    if one.unit == "sweeps":
        for size in (float(int(knowledge.sweeps.usual_set)), 100.0):
            if size != one.set_size:
                told += f", {number_text(found * size)} per {size:g}"
    elif one.set_size != 1:
        told += f", {number_text(found)} {unit_text(one.unit, 1.0)}"
    return f"{told}; worth {mean_text(one)}" if one.weighted else told


def _with_note(shown: ShownThreshold) -> str:
    t = shown.threshold
    return f"{threshold_text(shown)} ({from_text(t)}){noted_after(t)}"


def _otherwise(pests: Iterable[PestAssessment], knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    for one in pests:
        if one.threshold is None:
            continue
        chance = "" if one.p_above is None else f", chance over it {chance_text(one.p_above)}"
        yield (
            knowledge.pests[one.pest].short,
            f"{one.answer}{chance}: {_with_note(one.threshold)}",
        )


def _leaf_loss(found: DefoliationAssessment) -> Iterator[tuple[str, str]]:
    yield "why", leaf_loss_text(found)
    if found.threshold is not None and (note := noted(found.threshold.threshold)):
        yield "noted", note
    for shown, answer in found.otherwise:
        yield "or", f"{answer}: {_with_note(shown)}"


def _injury(level: InjuryLevel, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    unit = unit_text(level.counted.unit, level.per)
    name = knowledge.pests[level.counted.pest].name
    yield (
        "level",
        f"{number_text(level.level)} {name} {unit}: a treatment has to save "
        f"{_bushels(level.gain)} bu/ac, and each costs {_bushels(level.loss)} bu/ac",
    )
    chance = "" if level.p_above is None else f", chance over it {chance_text(level.p_above)}"
    yield "counted", f"{number_text(level.mean)} {unit}{chance}"
    yield (
        "mind",
        "there loss equals cost; a threshold lies below it, by what the pest grows until a "
        "treatment acts",
    )


def _notes(found: FieldAssessment, knowledge: Knowledge) -> list[str | None]:
    cautions = dict.fromkeys(
        knowledge.pests[one.pest].caution
        for one in found.pests
        if one.judged and knowledge.pests[one.pest].caution
    )
    return [
        _not_looked_for(found.not_looked_for, knowledge),
        answer_note(knowledge.decisions.counting) if any(_by_chance(found)) else None,
        *cautions,
        CAUTION,
    ]


def _not_looked_for(pests: Sequence[str], knowledge: Knowledge) -> str | None:
    """Pests that can hurt now and of which the visit says nothing."""
    if not pests:
        return None
    named = ", ".join(knowledge.pests[pest].short for pest in pests[:NAMED])
    more = f" and {len(pests) - NAMED} more" if len(pests) > NAMED else ""
    return f"{NOT_ZERO} Not looked for, and can hurt at this stage: {named}{more}."


def _by_chance(found: FieldAssessment) -> Iterator[bool]:
    return (one.p_above is not None for one in found.pests)


def answer_note(rule: Counting) -> str:
    """What the answer and the chance beside it are."""
    return (
        f"Chance: how likely the mean of the field is over its threshold, by these sets and with "
        f"k unknown. Up to {percent_text(float(rule.below))}, before rounding, the answer is "
        f"below, from {percent_text(float(rule.above))} on above, between them near; a mean over "
        f"the threshold is at least near."
    )


def _bushels(value: float) -> str:
    """Three digits below a thousand, whole numbers beyond."""
    return f"{value:.3g}" if value < 999.5 else f"{value:.0f}"
