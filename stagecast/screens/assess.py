"""The screen of one field's counts against its thresholds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console

from stagecast.base.dates import said_day
from stagecast.base.textfiles import clean
from stagecast.counts.assessment import FieldAssessment, PestAssessment
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.economics import InjuryLevel
from stagecast.counts.judge import real_errors
from stagecast.counts.negative_binomial import sets_for_precision
from stagecast.knowledge import Knowledge
from stagecast.knowledge.rules import Counting
from stagecast.pests.thresholds import ShownThreshold
from stagecast.screens.screen import (
    ANSWER_STYLES,
    cell,
    day_text,
    paragraph,
    print_notes,
    show_pairs,
    table,
)
from stagecast.visits.assess_season import AssessedField
from stagecast.words.counts import (
    counted_sets,
    k_text,
    leaf_loss_text,
    notes_text,
    number_text,
    why_text,
)
from stagecast.words.notes import CAUTION
from stagecast.words.pests import from_text
from stagecast.words.thresholds import noted, noted_after, threshold_text, unit_text
from stagecast.words.visits import no_entry_text

NONE = "-"
NAMED = 6
QUARTER = 0.25
"""Standard error as a share of the mean that published plans ask for."""


FEW_SETS = (
    "What a few sets can tell: a field with next to nothing from one far above its threshold; not "
    "whether it is a little above or below. Four sets of 25 sweeps are the trade's habit, without "
    "a source. Stink bugs in the north-central states took 40 to 42 sets for a mean known to "
    "within a quarter of itself, 5 to 10 in the southeast of that region, over 100 in its "
    "northwest (Pezzini and others 2019, abstract)."
)
NOT_ZERO = "A pest that no set names was not looked for, which is not zero."


def show_assessment(console: Console, assessed: AssessedField) -> None:
    """What was counted, what it means, why, and how sure that is."""
    knowledge, found = assessed.loaded.knowledge, assessed.found
    name = clean(f"{assessed.field.field_id} {assessed.field.field_name}".strip())
    if assessed.no_entry is not None:
        rule = knowledge.decisions.treated.entry_rule
        paragraph(console, f"{name}: {no_entry_text(assessed.no_entry, rule)}", "late")
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
        show_pairs(console, _details(one, knowledge))
    if found.otherwise:
        console.print()
        paragraph(console, "By thresholds of another condition, or of another state", "bold")
        show_pairs(console, _otherwise(found.otherwise, knowledge))
    if found.defoliation is not None:
        console.print()
        paragraph(console, f"leaf loss: {found.defoliation.answer}", "bold")
        show_pairs(console, _leaf_loss(found.defoliation))
    if assessed.injury is not None:
        console.print()
        paragraph(console, "Economic injury level, by your prices", "bold")
        show_pairs(console, _injury(assessed.injury, knowledge))
    print_notes(console, _notes(found, knowledge))


def _title(console: Console, name: str, found: FieldAssessment, assessed: AssessedField) -> None:
    visit, knowledge = found.visit, assessed.loaded.knowledge
    day = f"{day_text(visit.date, weekday=True)} {visit.date.year}"
    paragraph(console, f"{name}, counted {day}", "bold")
    seen = "seen" if found.stage_seen else "forecast for that day"
    region = knowledge.regions[assessed.loaded.season.settings.region]
    paragraph(console, f"beans at {found.stage} ({seen}), region {region}", "quiet")
    for treatment in assessed.treated:
        applied = treatment.applied_at
        text = f"{treatment.product} was applied {said_day(applied.date())} {applied:%H:%M}"
        paragraph(console, f"{text}: the counts may be from before it", "now")
    if found.pressure is not None:
        paragraph(console, f"pressure, for when to be back: {found.pressure}")


def _counts(console: Console, pests: Sequence[PestAssessment], knowledge: Knowledge) -> None:
    share = percent(float(knowledge.decisions.counting.interval))
    made = table(
        "counted", "sets", f"per set ({share} range)", "per 100", "threshold", "chance", "answer"
    )
    for one in pests:
        hundred = one.per_100_sweeps
        made.add_row(
            cell(knowledge.pests[one.pest].short),
            cell(f"{one.sets} x {one.set_size:g} {one.unit}"),
            cell(_range(one)),
            cell(NONE if hundred is None else number_text(hundred)),
            cell(_or_none(one.threshold_per_set)),
            cell(NONE if one.p_above is None else percent(one.p_above)),
            cell(one.answer, ANSWER_STYLES.get(one.answer, "quiet")),
        )
    console.print(made)


def _range(one: PestAssessment) -> str:
    """``5 (2.9-10.8)``; an upper end that the sets leave open is said so."""
    mean = number_text(one.mean_per_set)
    if one.low is None:
        return mean
    high = "open" if one.high is None else number_text(one.high)
    return f"{mean} ({number_text(one.low)}-{high})"


def _or_none(value: float | None) -> str:
    return NONE if value is None else number_text(value)


def percent(share: float) -> str:
    """``16%``; what is nearly none or nearly all says so."""
    if 0 < share < 0.01:
        return "<1%"
    return ">99%" if 0.99 < share < 1 else f"{100 * share:.0f}%"


def _details(one: PestAssessment, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """Why, and what stands behind it."""
    rule = knowledge.decisions.counting
    yield "why", why_text(one, rule)
    yield "mean", _means(one, knowledge)
    if one.threshold is not None:
        yield "threshold", _with_note(one.threshold)
    if one.counted_as is not None or len(one.parts) > 1:
        names = (f"{knowledge.pests[p].name} {number_text(n)}" for p, n, _ in one.parts)
        yield "added up", ", ".join(names)
    if one.sampled is not None:
        yield "k", f"{one.sampled.k:.2g} per set: {k_text(one.sampled, rule)}"
    if one.sampled is not None and one.mean_per_set > 0:
        yield "how exact", _exact(one)
    errors = real_errors(one, rule)
    if errors is not None:
        yield (
            "errors",
            f"of fields at {percent(float(rule.lower_share))} of the threshold the test calls "
            f"{percent(errors[0])} above, of those at {percent(float(rule.upper_share))} it calls "
            f"{percent(errors[1])} below",
        )
    for note in notes_text(one, knowledge):
        yield "noted", note


def _means(one: PestAssessment, knowledge: Knowledge) -> str:
    """The mean in every unit that people speak of."""
    told = f"{number_text(one.mean_per_set)} {unit_text(one.unit, one.set_size)}".strip()
    if one.unit != "sweeps":
        each = f", {number_text(one.mean_per(1.0))} {unit_text(one.unit, 1.0)}"
        return told if one.set_size == 1 else told + each
    for size in (float(int(knowledge.sweeps.usual_set)), 100.0):
        if size != one.set_size:
            told += f", {number_text(one.mean_per(size))} per {size:g}"
    return told


def _exact(one: PestAssessment) -> str:
    """How far the mean may be off, and how many sets a precise one would take."""
    if one.sampled is None:
        return ""
    s = one.sampled
    error = math.sqrt((1 / one.mean_per_set + 1 / s.k) / s.sets)
    wanted = math.ceil(sets_for_precision(one.mean_per_set, s.k, QUARTER))
    return (
        f"standard error {percent(error)} of the mean; {percent(QUARTER)} would take "
        f"{counted_sets(wanted)} in all"
    )


def _with_note(shown: ShownThreshold) -> str:
    t = shown.threshold
    return f"{threshold_text(shown)} ({from_text(t)}){noted_after(t)}"


def _otherwise(pests: Iterable[PestAssessment], knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    for one in pests:
        if one.threshold is None:
            continue
        chance = "" if one.p_above is None else f", chance of being above {percent(one.p_above)}"
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
        f"{level.level:.3g} {name} {unit}: a treatment has to save {level.gain:.3g} bu/ac, and "
        f"each costs {level.loss:.3g} bu/ac",
    )
    chance = "" if level.p_above is None else f", chance of being above {percent(level.p_above)}"
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
        answer_note(knowledge.decisions.counting) if any(p.stops for p in found.pests) else None,
        FEW_SETS if any(p.unit == "sweeps" and p.sampled for p in found.pests) else None,
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


def answer_note(rule: Counting) -> str:
    """What the answer and the chance beside it are."""
    return (
        f"The answer is that of a sequential test, which tells a mean of "
        f"{percent(float(rule.lower_share))} of the threshold from one of "
        f"{percent(float(rule.upper_share))} and is meant to be wrong there in "
        f"{percent(float(rule.error_above))} (above) and {percent(float(rule.error_below))} "
        f"(below) of fields; it ends with {int(rule.most_sets)} sets, where the mean decides, "
        f"which raises the errors to those told beside each pest. "
        f"Chance: how sure the sets make one that the field is above its threshold; probably from "
        f"{percent(float(rule.sure))} on. It decides nothing. Both take k as known."
    )
