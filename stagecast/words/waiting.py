"""The cost of waiting in words: its formula, its parts, and what was last found."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from stagecast.base.dates import said_day
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.loader import provenances
from stagecast.knowledge.quantities import Count, Quantity
from stagecast.visits.pressure import Density
from stagecast.week.looks import Seen, SeenWhat
from stagecast.week.waiting import Came, OtherRisk, PestRisk, StandRisk, WaitingTerm
from stagecast.words.counts import chance_text, number_text, sets_text
from stagecast.words.visits import amount_text, worth_text

BY_JUDGEMENT = frozenset({"OWN", "PRACTICE"})
"""Tags of values that rest on judgement; common practice is that of many."""

_UNITS = {
    "1/d": " a day",
    "d": " days",
    "bu/ac/d": " bu/ac a day",
    "share": "",
    "probability": "",
    "share of threshold": " of the threshold",
    "natural logarithm": " of the natural logarithm",
}
"""Units that are no words yet, as they stand behind a number in a sentence."""

COST_NOTE = (
    "Cost of waiting: dollars that a field loses, on average, until it is walked, or left out. It "
    "ranks fields; it is not a bill."
)

STAND, OTHER = "the stand", "anything else"
"""The parts of what waiting costs that are no pest."""


def term_name(term: WaitingTerm, knowledge: Knowledge) -> str:
    """What a part of the cost is called: a pest's name, the stand, or anything else."""
    if term.pest is not None:
        return knowledge.pests[term.pest].name
    return STAND if isinstance(term.risk, StandRisk) else OTHER


def last_found(term: WaitingTerm) -> str:
    """What was last found, in short: ``'some' on 29 Jun``; "" where nothing was looked for."""
    risk = term.risk
    if isinstance(risk, StandRisk):
        return "not seen yet" if risk.seen_on is None else f"seen on {said_day(risk.seen_on)}"
    if isinstance(risk, PestRisk):
        if risk.treated is not None:
            return _before(risk.treated)
        if risk.seen:
            return f"{_amount(risk.seen[0].what)} on {said_day(risk.seen[0].date)}"
    return ""


def _before(treated: tuple[dt.date, str]) -> str:
    return f"before {treated[1]} on {said_day(treated[0])}"


def _amount(what: SeenWhat) -> str:
    """``6.5 per 25 sweeps``, ``12 percent leaf loss``, ``'some'``."""
    if isinstance(what, Density):
        return amount_text(what.found_mean, what.unit, what.set_size)
    if isinstance(what, DefoliationAssessment):
        return f"{what.percent:g} percent leaf loss"
    return f"'{what}'"


def found_text(seen: Seen) -> str:
    """What was seen and when, beside its threshold."""
    what, on, percent = seen.what, f"on {said_day(seen.date)}", f"{100 * seen.share:.0f} percent"
    if isinstance(what, Density):
        on = f"in {sets_text(what.sets)} {on}"
        on += worth_text(what).rstrip(",")
        threshold = f"the threshold {number_text(what.threshold)}"
        if what.p_above is not None and what.answer is not None:
            threshold += f", chance over it {chance_text(what.p_above)}: {what.answer}"
    elif isinstance(what, DefoliationAssessment):
        assert what.threshold is not None, "leaf loss is held against its threshold"
        threshold = f"the threshold {what.threshold.threshold.value:g}"
    else:
        on, percent = f"noted {on}", f"taken by judgement as {percent}"
        threshold = "the threshold of what pressed most"
    return f"{_amount(what)} {on}, {percent} of {threshold}"


def formula_words(knowledge: Knowledge) -> tuple[str, ...]:
    """The formula and its declared values, a line each."""
    w, growth = knowledge.waiting, knowledge.decisions.growth
    noted, arrival, stand = w.noted, w.arrival, w.stand

    def said(value: Quantity | Count) -> str:
        return value_text(value, knowledge)

    return (
        "dollars a day = acres x price x yield / reference yield x (sum over pests of chance x "
        "response x loss at threshold / feeding days; the same for anything else; and in "
        "the seedling window chance of a poor stand x replant loss)",
        f"loss at threshold: {said(w.loss.at_threshold)}; feeding days: "
        f"{said(w.loss.feeding_days)}; reference yield: {said(w.loss.reference_yield)}",
        "response by stage, share of the loss that the crop cannot put back: "
        f"{_responses(w.response, knowledge)}",
        f"the same of pests that take leaf: {_responses(w.leaf.response, knowledge)}",
        "chance = 1 - (1 - chance by the last look) x (1 - chance of having come since)",
        f"chance by the last look: of the density having passed the threshold, growing "
        f"{said(growth.per_day)} unless its file says else, standard deviation "
        f"{said(growth.sd)}, held from {said(growth.furthest)} on",
        f"a word alone: near threshold stands for {said(noted.near_threshold)}, some for "
        f"{said(noted.some)}, virtually none for {said(noted.virtually_none)}; "
        f"standard error {said(noted.log_sd)}",
        "chance of having come since = 1 - exp(-rate x open days without a look, at most "
        f"{said(arrival.most_days)})",
        f"rate of rank 1: {said(arrival.rank_1)}; rank 2: {said(arrival.rank_2)}; "
        f"rank 3 and later: {said(arrival.rank_3)}; where only host stages allow the pest "
        f"times {said(arrival.untimed_share)}; outside {', '.join(arrival.full.regions)} "
        f"times {said(arrival.elsewhere_share)}; anything else: "
        f"{said(arrival.unforeseen)}",
        f"chance of a poor stand: {said(stand.poor_chance)}, once seen after emergence times "
        f"{said(stand.seen_share)}; replant loss: {said(stand.replant_loss)}",
        "a window timed by heat is open in as many possible seasons as their degree-days say; "
        "losses are added up as if each pest took its own",
    )


def _responses(curve: Mapping[CropEvent, Quantity], knowledge: Knowledge) -> str:
    """Responses by what they rest on: ``VE 0.5, VC 0.5 (judgement); R3 1, R4 1 (...)``."""
    found: dict[str, list[str]] = {}
    for stage, share in curve.items():
        found.setdefault(_origin(share, knowledge), []).append(f"{stage} {share.value:g}")
    return "; ".join(f"{', '.join(stages)} ({origin})" for origin, stages in found.items())


def grounds(value: Quantity | Count) -> str:
    """What a value rests on, where that must be said: judgement, or memory."""
    if value.unverified:
        return ", unverified"
    return " by judgement" if value.tag in BY_JUDGEMENT else ""


def value_text(value: Quantity | Count, knowledge: Knowledge) -> str:
    """A declared value with its unit and where it is from: ``14 days (judgement)``."""
    unit = _UNITS.get(value.unit, f" {value.unit}")
    return f"{value.value:g}{unit} ({_origin(value, knowledge)})"


def _origin(value: Quantity | Count, knowledge: Knowledge) -> str:
    """``judgement``; or publisher and year of the source, and what its tag says."""
    if value.tag in BY_JUDGEMENT:
        return "judgement" if value.tag == "OWN" else "judgement, common practice"
    source = knowledge.sources[value.source]
    year = "" if source.year == "undated" else source.year
    name = f"{source.publisher} {year}".strip()
    return f"{name}, {'unverified' if value.unverified else value.tag.lower()}"


def judgement_text(knowledge: Knowledge) -> str:
    """How many of the values behind the cost of waiting are judgement, and which unverified."""
    values = provenances(knowledge.waiting)
    judged = sum(value.tag in BY_JUDGEMENT for _, value in values)
    text = f"It rests on judgement: {judged} of its {len(values)} declared values are ours."
    unverified = [value.note or place for place, value in values if value.unverified]
    return f"{text} Unverified, from memory: {'; '.join(unverified)}." if unverified else text


def risk_text(risk: PestRisk | OtherRisk | StandRisk, knowledge: Knowledge) -> str:
    """Why a part of the cost may cost something on a day; says where it rests on judgement."""
    if isinstance(risk, StandRisk):
        return _stand_text(risk, knowledge.waiting.stand.replant_loss)
    response = f"yield response {risk.response:.2g} by judgement"
    if isinstance(risk, OtherRisk):
        return f"a critical window of the crop is open; {_came_text(risk.came)}; {response}"
    parts = [_seen_text(one) for one in risk.seen]
    if risk.treated is not None:
        parts = [f"counted or noted {_before(risk.treated)}, so taken as gone until somebody looks"]
    elif any(one.steady is None or 0 < one.steady < 1 for one in risk.seen):
        parts.append(f"{_percent(risk.by_look)} at the threshold on {said_day(risk.day)} by that")
    parts += [_came_text(risk.came), response]
    parts += ["dates of its window unverified"] * risk.unverified
    return "; ".join(parts)


def _stand_text(risk: StandRisk, loss: Quantity) -> str:
    known = "nobody has seen the stand"
    if risk.seen_on is not None:
        known = f"stand seen on {said_day(risk.seen_on)}"
    return (
        f"{known}: {_percent(risk.chance)} that it is poor, by judgement; replanting a day later "
        f"costs {float(loss):g} bu/ac{grounds(loss)}; seedling window "
        f"open in {_percent(risk.share)} of possible seasons"
    )


def _seen_text(one: Seen) -> str:
    if one.steady is not None:
        return f"{found_text(one)}{', above it' if one.steady == 1 else ''}"
    return f"{found_text(one)}, growing {float(one.growth):.2g} a day{grounds(one.growth)}"


def _came_text(came: Came) -> str:
    """``5 open days since the look on 2 Jul, coming at 0.3 percent a day by judgement``."""
    days = "1 open day" if f"{came.days:.3g}" == "1" else f"{came.days:.3g} open days"
    since = "with no look yet"
    if came.looked is not None:
        since = f"since the look on {said_day(came.looked)}"
    per_day = _percent(float(came.rate) * came.part)
    return f"{days} {since}, coming at {per_day} a day{grounds(came.rate)}"


def _percent(share: float) -> str:
    if 0 < share < 1e-4:
        return "under 0.01 percent"
    return f"{100 * share:.2g} percent" if share < 0.995 else f"{100 * share:.0f} percent"
