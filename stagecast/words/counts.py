"""Counts and leaf loss in words: numbers, why an answer was given, and what was assumed."""

from __future__ import annotations

from collections.abc import Iterator

from stagecast.counts.assessment import PestAssessment, Sampled
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.counts.lines import Silence
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.quantities import Quantity
from stagecast.knowledge.rules import Counting
from stagecast.pests.thresholds import ShownThreshold, in_sweeps
from stagecast.words.thresholds import span_text, spans_text, threshold_text, unit_text

BLOOM = "R1"
SAME_SETS = 1e-9


def number_text(value: float) -> str:
    """A mean or total as people say it: ``0.25``, ``6.5``, ``12``, ``130``."""
    if value == round(value):
        return f"{value:.0f}"
    return f"{value:.2g}" if value < 1 else f"{value:.1f}"


def counted_sets(number: int, kind: str = "") -> str:
    """``1 set``, ``4 more sets``."""
    return f"{number} {kind}{'set' if number == 1 else 'sets'}"


def sets_text(sets: float) -> str:
    """``1 set``, ``4 sets``, ``2.4 sets``."""
    told = f"{sets:.3g}"
    return f"{told} set" if told == "1" else f"{told} sets"


def mean_text(one: PestAssessment) -> str:
    """``9.5 per 25 sweeps``."""
    return f"{number_text(one.mean_per_set)} {unit_text(one.unit, one.set_size)}".rstrip()


def mean_with_limit(one: PestAssessment) -> str:
    """``9.5 per 25 sweeps, threshold 9``."""
    if one.threshold_per_set is None:
        return mean_text(one)
    return f"{mean_text(one)}, threshold {number_text(one.threshold_per_set)}"


def why_text(one: PestAssessment, rule: Counting) -> str:
    """What the answer rests on, in words and numbers."""
    if one.silence is not None:
        return silence_text(one.silence)
    stops, s = one.stops, one.sampled
    if stops is None or s is None:
        limit = number_text(one.threshold_per_set or 0.0)
        return f"mean {number_text(one.mean_per_set)} against {limit}"
    told = f"{number_text(s.total)} in {counted_sets(one.sets)}"
    if abs(s.sets - one.sets) > SAME_SETS:
        told += f", worth {number_text(s.sets)} of {one.set_size:g}"
    if one.how == "end of test":
        return f"{told}: the test ends with {int(rule.most_sets)} sets, and the mean decides"
    lower, upper = stops.lower(s.sets), stops.upper(s.sets)
    above = f"{told}: the sequential test says above from {upper:.1f} on"
    if one.how == "line":
        below = f"{told}: the sequential test says below up to {lower:.1f}"
        return above if one.answer == "above" else below
    told = f"{above}, below up to {lower:.1f}" if lower >= 0 else f"{above}, and not yet below"
    return f"{told}; {_settled_by(one, rule)}"


def _settled_by(one: PestAssessment, rule: Counting) -> str:
    likely = f"{int(rule.most_sets)} sets would likely not settle it"
    if one.more_sets is not None:
        likely = f"about {counted_sets(one.more_sets, 'more ')} would likely settle it"
    chance, sure = one.p_above or 0.0, float(rule.sure)
    if chance <= 1 - sure:
        return f"it is probably below, and {likely}"
    return f"it is probably above, and {likely}" if chance >= sure else likely


def silence_text(silence: Silence) -> str:
    """Why no threshold speaks."""
    pest, at = silence.pest, f"beans at {silence.stage}"
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
        case "none on file":
            return "no threshold is on file, here or elsewhere: see your state's guide"


def _whose(shown: ShownThreshold) -> str:
    match shown.kind:
        case "yours":
            return "your threshold"
        case "wider area":
            return f"the threshold of {shown.region}, no single state,"
        case "neighbor":
            return f"the threshold of neighbor {shown.region}"
    return f"the threshold of {shown.region}"


def k_text(sampled: Sampled, rule: Counting) -> str:
    """Where k of the negative binomial, which says how clumped the insects are, comes from."""
    if sampled.published is not None:
        return f"of the pest ({_whence(sampled.published)})"
    assumed = f"the usual {float(rule.k_usual):g}, assumed ({_whence(rule.k_usual)})"
    if not sampled.own_sets:
        return f"{assumed}; these sets say nothing of it"
    weight = f"{float(rule.k_prior_sets):g} sets"
    return f"from these {sampled.own_sets} sets, drawn to {assumed}, as if by {weight}"


def _whence(value: Quantity) -> str:
    """How far a k can be trusted."""
    if value.tag == "PRACTICE":
        return "common practice, no source"
    return f"{value.source}, {'unverified' if value.unverified else value.tag}"


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
        sizes = " and ".join(f"{size:g}" for size in sorted(set(one.sizes)))
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
            f"{number_text(value)} per {size:g} sweeps"
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
    region, spans = found.held[0].region, spans_text(found.held)
    return f"beans at {found.stage}, thresholds of leaf loss ({region}) are for {spans}"


def bloom_text(stage: str) -> str:
    """On which side of bloom a stage is."""
    return "before bloom" if stage_place(stage) < stage_place(BLOOM) else "from bloom on"
