"""Counts and leaf loss in words: numbers, why an answer was given, and what was assumed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator

from stagecast.base.dates import said_day
from stagecast.counts.assessment import PestAssessment, Sampled
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.lines import Silence
from stagecast.counts.tally import Tally
from stagecast.forecast.forecast import NOT_PLANTED, PLANTED
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.units import UNITS
from stagecast.pests.thresholds import ShownThreshold, in_sweeps
from stagecast.words.thresholds import span_text, spans_text, threshold_text, unit_text

BLOOM = "R1"
APART = ("nymphs", "adults")
"""Life stages of one pest that a threshold may tell apart."""

NEARLY = 0.05
"""Chances below it, and above its complement, are told no more closely."""


def number_text(value: float) -> str:
    """A mean or total as people say it: ``0.25``, ``6.5``, ``12``, ``130``, ``2000``."""
    if value == round(value):
        return f"{value:.0f}"
    if 0 < value < 0.01:
        return "under 0.01"
    if value < 1:
        return f"{value:.2g}"
    return f"{value:.1f}" if value < 100 else f"{value:.0f}"


def limit_text(value: float) -> str:
    """A threshold as it is, however small: ``9``, ``0.0025``."""
    if not 0 < value < 0.01:
        return number_text(value)
    return f"{value:.{1 - math.floor(math.log10(value))}f}".rstrip("0")


def percent_text(share: float) -> str:
    """``16%``; what is nearly none or nearly all says so."""
    if 0 < share < 0.01:
        return "under 1%"
    return "over 99%" if 0.99 < share < 1 else f"{100 * share:.0f}%"


def taken_text(one: PestAssessment) -> str:
    """The sets that were taken: ``4 x 25 sweeps``, ``2 x 3 and 1 x 6 row-feet``."""
    if one.sampled is None:
        return f"judged {one.sets} times" if one.sets > 1 else "judged once"
    sizes = sorted(set(one.sizes))
    if len(sizes) == 1:
        unit = UNITS[one.unit].one if sizes[0] == 1 else one.unit
        return f"{one.sets} x {sizes[0]:g} {unit}"
    return f"{_listed(f'{one.sizes.count(size)} x {size:g}' for size in sizes)} {one.unit}"


def _listed(parts: Iterable[str]) -> str:
    """``3``, ``3 and 6``, ``3, 6 and 9``."""
    *before, last = parts
    return f"{', '.join(before)} and {last}" if before else last


def counted_sets(number: int, kind: str = "") -> str:
    """``1 set``, ``4 more sets``."""
    return f"{number} {kind}{'set' if number == 1 else 'sets'}"


def sets_text(sets: float) -> str:
    """``1 set``, ``4 sets``, ``2.4 sets``."""
    told = f"{sets:.1f}".removesuffix(".0")
    return f"{told} set" if told == "1" else f"{told} sets"


def mean_text(one: PestAssessment) -> str:
    """``9.5 per 25 sweeps``."""
    return f"{number_text(one.mean_per_set)} {unit_text(one.unit, one.set_size)}".rstrip()


def beside_text(one: PestAssessment) -> str:
    """What stands beside a number line: ``11.5 of 9 per 25 sweeps, above``."""
    answer = "too few sets" if one.answer == "too few" else one.answer
    return f"{_of_limit(one)}, {answer}"


def against_text(one: PestAssessment) -> str:
    """``11.5 of 9 per 25 sweeps (8.4-16.8)``: the mean, its threshold, and the range."""
    told = _of_limit(one)
    if one.low is None or one.high is None:
        return told
    return f"{told} ({number_text(one.low)}-{number_text(one.high)})"


def _of_limit(one: PestAssessment) -> str:
    """``0 of 50 adults per 25 sweeps``: nymphs and adults are told apart, as thresholds tell them.

    What a caterpillar's threshold counts its name says already.
    """
    limit = "" if one.threshold_per_set is None else f" of {limit_text(one.threshold_per_set)}"
    stage = "" if one.threshold is None else one.threshold.threshold.life_stage
    counted = f" {stage}" if stage in APART and limit else ""
    told = f"{number_text(one.mean_per_set)}{limit}{counted}"
    return f"{told} {unit_text(one.unit, one.set_size)}".rstrip()


def line_text(one: PestAssessment) -> str:
    """The line of a pest but for its name: ``11.5 of 9 per 25 sweeps (8.4-16.8), 86%, above``."""
    chance = "" if one.p_above is None else f", {chance_text(one.p_above)}"
    return f"{against_text(one)}{chance}, {one.answer}"


def leaf_line_text(found: DefoliationAssessment) -> str:
    """The same of leaf loss: ``35 of 30 percent, above``."""
    limit = "" if found.threshold is None else f" of {found.threshold.threshold.value:g}"
    return f"{found.percent:g}{limit} percent, {found.answer}"


def chance_text(chance: float) -> str:
    """``86%``; a chance that is nearly none or nearly sure is not told more closely."""
    if chance < NEARLY:
        return f"under {100 * NEARLY:.0f}%"
    return f"over {100 * (1 - NEARLY):.0f}%" if chance > 1 - NEARLY else f"{100 * chance:.0f}%"


def why_text(one: PestAssessment) -> str:
    """What the answer rests on, in words and numbers."""
    if one.silence is not None:
        return silence_text(one.silence)
    limit = limit_text(one.threshold_per_set or 0.0)
    if one.sampled is None or one.p_above is None:
        return f"mean {number_text(one.mean_per_set)} against {limit}"
    sampled = one.sampled
    told = f"{number_text(sum(number for _, number, _ in one.parts))} in "
    told += counted_sets(one.sets)
    if len(set(one.sizes)) == 1:
        told += f" of {one.set_size:g}"
    if one.weighted:
        told += f", worth {number_text(sampled.total)}"
    told += f", chance over {limit}: {chance_text(one.p_above)}"
    return f"{told}; {missing_text(sampled)}" if one.answer == "too few" else told


def tally_text(tally: Tally) -> str:
    """What a plan by infested plants says: ``8 of 11 plants have 40 or more: undecided, ...``."""
    rule = tally.rule
    told = f"{tally.infested} of {tally.plants} plants have {int(rule.infested)} or more: "
    back = f"{int(rule.confirm_soonest)} to {int(rule.confirm_latest)} days"
    match tally.says:
        case "leave it":
            return f"{told}the plan says leave it"
        case "confirm":
            return f"{told}the plan says treat, once a count {back} later confirms it"
    return f"{told}the plan is undecided, look again in {back}"


def missing_text(sampled: Sampled) -> str:
    """``2 more sets make the usual 4``; of another size than the usual one they say which."""
    kind = "more "
    usual = f"the usual {sampled.usual_sets} of {sampled.usual_size:g}"
    makes = "makes" if sampled.missing == 1 else "make"
    return f"{counted_sets(sampled.missing, kind)} {makes} {usual}"


def near_text(
    one: PestAssessment, due: dt.date | None, *, check: tuple[dt.date, dt.date] | None = None
) -> str:
    """``4 more sets would settle it in 6 of 10 such fields; else be back by 12 Jul``.

    Where the field was treated after the counts, when to look whether it worked (``check``).
    """
    if check is not None:
        first, last = check
        days = said_day(first) if first == last else f"{said_day(first)} to {said_day(last)}"
        return f"treated since: efficacy check {days}"
    back = "" if due is None else f"be back by {said_day(due)}"
    if one.settles is None or one.more_sets is None:
        return f"more sets would likely not settle it{back and '; '}{back}"
    more = counted_sets(one.more_sets, "more ")
    settles = f"{more} would settle it in {one.settles} of 10 such fields"
    return f"{settles}; else {back}" if back else settles


def silence_text(silence: Silence) -> str:
    """Why no threshold speaks."""
    pest, at = silence.pest, beans_text(silence.stage)
    match silence.ground:
        case "pest at other stages":
            span = span_text(pest.host.first, pest.host.last)
            return f"{at}, {pest.name} can hurt them at {span}: {pest.damage}"
        case "threshold at other stages":
            told = f"{at}, {_whose(silence.held[0])} is for {spans_text(silence.held)}"
            return told if silence.answer == "no threshold" else f"{told}: {pest.damage}"
        case "other units":
            units = " and by ".join(silence.units)
            return f"no threshold in this unit: those on file are by {units}"
        case "leaf loss":
            together = "judged by the leaf loss of all feeders together"
            return f"no threshold by {silence.unit}: {together}"
        case "of others":
            return _not_for_here(silence.held[0])
        case "none on file":
            return "no threshold is on file, here or elsewhere: see your state's guide"


def beans_text(stage: str) -> str:
    """``beans at R3``, ``beans not planted``."""
    return f"beans {'' if stage in (NOT_PLANTED, PLANTED) else 'at '}{stage}"


def _not_for_here(shown: ShownThreshold) -> str:
    why = "unverified" if shown.threshold.unverified else "from too far away"
    return f"nothing to go by: {threshold_text(shown)} is {why}"


def _whose(shown: ShownThreshold) -> str:
    match shown.kind:
        case "yours":
            return "your threshold"
        case "wider area":
            return f"the threshold of {shown.region}, no single state,"
        case "neighbor":
            return f"the threshold of neighbor {shown.region}"
        case "group":
            return f"the threshold of {shown.region} in the {shown.group}"
    return f"the threshold of {shown.region}"


def k_text(sampled: Sampled) -> str:
    """Where the usual k of the negative binomial, which says how clumped insects are, is from."""
    if sampled.published is None:
        return "the usual one, assumed (common practice, no source)"
    value = sampled.published
    if value.tag == "PRACTICE":
        return "of the pest (common practice, no source)"
    return f"of the pest ({value.source}, {'unverified' if value.unverified else value.tag})"


def notes_text(one: PestAssessment, knowledge: Knowledge) -> Iterator[str]:
    """What was assumed in adding up."""
    names = {pest.id: pest.name for pest in knowledge.pests.values()}
    heavy = [f"each {names[pest]} as {weight:g}" for pest, _, weight in one.parts if weight != 1]
    if heavy:
        yield f"counted {', '.join(heavy)}"
    elif len(one.parts) > 1:
        yield "one of each counts as one: no other equivalents are published"
    if one.left_out:
        left_out = ", ".join(names[pest] for pest in one.left_out)
        yield f"the threshold also counts, but no set names, {left_out}"
    if one.uneven:
        yield "not every kind was looked for in every set: the sum may be low"
    if one.unsorted:
        yield "what was not told apart by size or life stage is counted in full"
    if len(set(one.sizes)) > 1:
        sizes = _listed(f"{size:g}" for size in sorted(set(one.sizes)))
        yield f"sets of {sizes} {one.unit}, brought to {one.set_size:g} in proportion"
    if one.threshold is not None:
        yield from _converted(one, one.threshold)


def _converted(one: PestAssessment, shown: ShownThreshold) -> Iterator[str]:
    """That a threshold by sweeps is held against sets of another size than it is told for."""
    t, size = shown.threshold, one.set_size
    value = in_sweeps(t, per=size)
    if value is not None and size not in (t.per, shown.usual_set):
        yield (
            f"threshold converted from {t.value:g} per {t.per:g} to "
            f"{limit_text(value)} per {size:g} sweeps"
        )


def leaf_loss_text(found: DefoliationAssessment) -> str:
    """Why leaf loss has its answer."""
    if found.threshold is not None:
        told = (
            f"{found.percent:g} percent leaf loss {bloom_text(found.stage)}, "
            f"threshold {threshold_text(found.threshold)}"
        )
        if found.answer == "above":
            told += "; most people guess too high: average top, middle and bottom leaflets"
        return told
    if not found.held:
        return "no threshold of leaf loss is on file, here or elsewhere: see your state's guide"
    if not found.held[0].decides:
        return _not_for_here(found.held[0])
    region, spans = found.held[0].region, spans_text(found.held)
    return f"{beans_text(found.stage)}, thresholds of leaf loss ({region}) are for {spans}"


def held_at_text(stage: str, seen: bool, *, early: bool = False) -> str:
    """``Held against the thresholds for beans at R4, as it was seen.``, or as it is forecast.

    ``early``: whether no plan knows of the counts yet, and the next one may doubt the stage.
    """
    how = "as it was seen" if seen else "by the forecast"
    told = f"Held against the thresholds for {beans_text(stage)}, {how}."
    return f"{told} The new plan looks at the stage again." if early else told


def bloom_text(stage: str) -> str:
    """On which side of bloom a stage is."""
    return "before bloom" if stage_place(stage) < stage_place(BLOOM) else "from bloom on"
