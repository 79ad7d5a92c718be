"""A stand count in words: plants an acre, what they keep, the answer and why."""

from __future__ import annotations

from collections.abc import Iterator

from stagecast.base.dates import said_day
from stagecast.counts.stand import CurveAnswer, StandAnswer, StandAssessment, StandEstimate
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Quantity
from stagecast.season.log.stands import stand_text
from stagecast.season.settings.workday import Money
from stagecast.words.notes import counted
from stagecast.words.pests import from_text
from stagecast.words.plain import plain_day

ROUNDED = 100
"""Plants an acre are told to the nearest so many."""

GROWER: dict[StandAnswer, str] = {
    "keep": "we would keep it",
    "look closer": "that is close, and we will look again before anyone decides",
    "consider adding seed": "adding seed may pay, and we will talk it over with you",
}


def plants_text(plants: float) -> str:
    """``112,400``."""
    return f"{ROUNDED * round(plants / ROUNDED):,}"


def percent_text(percent: float) -> str:
    """``84%``."""
    return f"{percent:.0f}%"


def estimate_text(found: StandEstimate) -> str:
    """``112,400 plants/acre (98,000-126,000)``."""
    told = f"{plants_text(found.mean)} plants/acre"
    if found.low is None or found.high is None:
        return told
    return f"{told} ({plants_text(found.low)}-{plants_text(found.high)})"


def stand_line(one: StandAssessment) -> str:
    """Plants an acre and the answer, in a line."""
    return f"{estimate_text(one.estimate)}: {one.answer}"


def stand_details(
    one: StandAssessment, knowledge: Knowledge, money: Money
) -> Iterator[tuple[str, str]]:
    """Everything behind the answer, as pairs of what is spoken of and what is said of it."""
    for curve in one.curves:
        yield "why", curve_text(curve, one, knowledge)
    yield "plants", _places(one, knowledge)
    yield "gaps", _gaps(one, knowledge)
    yield "keeps", _kept(one)
    if one.unsure:
        yield "range", f"at its ends the answer would be {one.answer_low} and {one.answer_high}"
    if one.more_places:
        least = knowledge.stand.counting.places
        more = counted(one.more_places, "more place")
        yield "take", f"{more}: {int(least)} is the least ({from_text(least)})"
    yield from _replanting(one, knowledge, money)
    for guide in one.guides:
        high = "" if guide.to_plants is None else f" to {guide.to_plants:,}"
        note = f"; {guide.note}" if guide.note else ""
        yield (
            "guide",
            f"{knowledge.regions[guide.region]}: {guide.says} from {guide.plants:,}{high} "
            f"plants/acre ({from_text(guide)}){note}",
        )
    yield "counted", stand_text(one.stand)
    yield "mind", knowledge.stand.decision.caution.text


def curve_text(curve: CurveAnswer, one: StandAssessment, knowledge: Knowledge) -> str:
    """The two yields that the answer holds against each other."""
    trials = f"trials in {knowledge.regions[curve.region]}"
    replanted = f"replanted {said_day(one.replant_day)} {curve.replanted:.1f}%, by {trials}"
    if curve.late:
        replanted = f"replanting {said_day(one.replant_day)} is later than the {trials}"
        if curve.answer != "keep":
            replanted += ": keep unless the stand is lost, see your guide"
    return (
        f"as it stands {curve.standing:.1f}% of the best yield (planted "
        f"{said_day(one.planted_on)} {percent_text(curve.planted)}, of which the stand keeps "
        f"{percent_text(one.kept)}); {replanted}: {curve.answer}"
    )


def _places(one: StandAssessment, knowledge: Knowledge) -> str:
    found, share = one.estimate, float(knowledge.stand.counting.interval)
    places = counted(len(found.by_place), "place")
    if found.low is None or found.high is None:
        return f"{plants_text(found.mean)} an acre at {places}, which has no range"
    return (
        f"{plants_text(found.mean)} an acre, {100 * share:.0f}% range {plants_text(found.low)} to "
        f"{plants_text(found.high)}, from {places} with {plants_text(min(found.by_place))} to "
        f"{plants_text(max(found.by_place))}"
    )


def _gaps(one: StandAssessment, knowledge: Knowledge) -> str:
    least = knowledge.stand.counting.least_gap
    share = one.estimate.gap_share
    if share is None:
        return "not measured"
    return f"{100 * share:.0f}% of the row in gaps of {float(least):g} ft or more"


def _kept(one: StandAssessment) -> str:
    told = f"about {percent_text(one.kept)} of its yield"
    if one.thin:
        told += "; so few plants stand in no trial that was read: a straight line to none"
    return told


def _replanting(
    one: StandAssessment, knowledge: Knowledge, money: Money
) -> Iterator[tuple[str, str]]:
    """What replanting could gain, and what each day of waiting with it costs."""
    rule = knowledge.stand.decision
    gains = [c.replanted - c.standing for c in one.curves if not c.late]
    if one.answer != "keep" and max(gains, default=0.0) > 0:
        gain = max(gains) / 100 * money.crop_yield
        yield (
            "gain",
            f"replanting could bring at most {gain:.1f} bu/ac ({_dollars(gain, money)}) more, "
            "less seed and passes",
        )
    if one.estimate.mean < int(rule.add_seed):
        yield (
            "seed",
            f"below {int(rule.add_seed):,} plants/acre add seed between the rows and do not tear "
            f"the stand up, {rule.add_seed.note} ({from_text(rule.add_seed)})",
        )
    yield (
        "waiting",
        f"each day by which replanting is later costs {_daily(rule.delay, money)}; in June "
        f"{_daily(rule.delay_june, money)}",
    )


def _daily(delay: Quantity, money: Money) -> str:
    return f"{float(delay):g} bu/ac ({_dollars(float(delay), money)}; {from_text(delay)})"


def _dollars(bushels: float, money: Money) -> str:
    return f"${bushels * money.price:.2f}/ac"


def stand_news(one: StandAssessment) -> str:
    """The count and its answer for a grower, in a sentence."""
    return (
        f"On {plain_day(one.date)} we counted the stand: about {plants_text(one.estimate.mean)} "
        f"plants an acre; {_answer_said(one)}."
    )


def _answer_said(one: StandAssessment) -> str:
    if one.late and one.answer != "keep":
        return "it is late to replant, and we will look again before anyone decides"
    return GROWER[one.answer]


def stand_said(one: StandAssessment) -> Iterator[str]:
    """The stand for a grower: one sentence, then the numbers."""
    found = one.estimate
    yield (
        f"We counted the stand on {plain_day(one.date)}: it keeps about {one.kept:.0f} percent of "
        f"its yield; {_answer_said(one)}."
    )
    told = f"About {plants_text(found.mean)} plants an acre"
    if found.low is not None and found.high is not None:
        told += f" (8 chances in 10: {plants_text(found.low)} to {plants_text(found.high)})"
    told += f", from {counted(len(found.by_place), 'place')}"
    if found.gap_share:
        told += f"; {100 * found.gap_share:.0f} percent of the row is in long gaps"
    yield f"{told}."
    yield "A rule of thumb from other fields: the local guide, the seed and its label decide."
