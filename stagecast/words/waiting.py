"""What the parts of the cost of waiting rest on, in words and numbers."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

from stagecast.base.dates import said_day
from stagecast.knowledge import Knowledge
from stagecast.knowledge.quantities import Count, Quantity
from stagecast.knowledge.rules import Stand, Waiting
from stagecast.week.waiting_pests import FieldLooks, Seen

JUDGED = frozenset({"OWN", "PRACTICE"})
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

_FOUND = (
    (re.compile(r"('[^']+') noted (on [^,;]+)"), r"\1 \2"),
    (re.compile(r"(.+?)(?: in [\d.]+ sets)? (on [^,;]+), \d+ percent of the threshold"), r"\1 \2"),
    (re.compile(r"counted or noted (before .+ on [^,;]+), so taken as gone"), r"\1"),
    (re.compile(r"nobody has seen the stand:"), "not seen yet"),
    (re.compile(r"stand (seen on [^:;]+):"), r"\1"),
)
"""How the reason for a term begins where something was found, and what of it is told in short."""


@dataclass(frozen=True, slots=True)
class Came:
    """How something may have come since the last look.

    Attributes
    ----------
    rate : Quantity
        Per open day.
    part : float
        Share of that rate which the timing of its window leaves, 0 to 1.
    days : float
        Expected open days without a look, as many as count.
    looked : datetime.date or None
    """

    rate: Quantity
    part: float
    days: float
    looked: dt.date | None


def last_found(why: str) -> str:
    """What was last found, in short, from the reason of a term: ``'some' on 29 Jun``, or ""."""
    for begins, short in _FOUND:
        match = begins.match(why)
        if match is not None:
            return match.expand(short)
    return ""


def formula_words(knowledge: Knowledge) -> tuple[str, ...]:
    """The formula and its declared values, a line each."""
    w, growth = knowledge.waiting, knowledge.decisions.growth
    noted, arrival, stand = w.noted, w.arrival, w.stand

    def said(value: Quantity | Count) -> str:
        return value_text(value, knowledge)

    return (
        "dollars a day = acres x price x yield / reference yield x (sum over pests of chance x "
        "response x loss at threshold / feeding days; the same for what nobody foresees; and in "
        "the seedling window chance of a poor stand x replant loss)",
        f"loss at threshold: {said(w.loss.at_threshold)}; feeding days: "
        f"{said(w.loss.feeding_days)}; reference yield: {said(w.loss.reference_yield)}",
        "response by stage, share of the loss that the crop cannot put back: "
        f"{_responses(w, knowledge)}",
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
        f"times {said(arrival.untimed_share)}; what nobody foresees: "
        f"{said(arrival.unforeseen)}",
        f"chance of a poor stand: {said(stand.poor_chance)}, once seen after emergence times "
        f"{said(stand.seen_share)}; replant loss: {said(stand.replant_loss)}",
        "a window timed by heat is open in as many possible seasons as their degree-days say; "
        "losses are added up as if each pest took its own",
    )


def _responses(waiting: Waiting, knowledge: Knowledge) -> str:
    """Responses by what they rest on: ``VE 0.5, VC 0.5 (judgement); R3 1, R4 1 (...)``."""
    found: dict[str, list[str]] = {}
    for stage, share in waiting.response.items():
        found.setdefault(_origin(share, knowledge), []).append(f"{stage} {share.value:g}")
    return "; ".join(f"{', '.join(stages)} ({origin})" for origin, stages in found.items())


def grounds(value: Quantity | Count) -> str:
    """What a value rests on, where that must be said: judgement, or memory."""
    if value.unverified:
        return ", unverified"
    return " by judgement" if value.tag in JUDGED else ""


def value_text(value: Quantity | Count, knowledge: Knowledge) -> str:
    """A declared value with its unit and where it is from: ``14 days (judgement)``."""
    unit = _UNITS.get(value.unit, f" {value.unit}")
    return f"{value.value:g}{unit} ({_origin(value, knowledge)})"


def _origin(value: Quantity | Count, knowledge: Knowledge) -> str:
    """``judgement``; or publisher and year of the source, and what its tag says."""
    if value.tag in JUDGED:
        return "judgement" if value.tag == "OWN" else "judgement, common practice"
    source = knowledge.sources[value.source]
    name = f"{source.publisher} {source.year}".strip()
    return f"{name}, {'unverified' if value.unverified else value.tag.lower()}"


def pest_words(
    looks: FieldLooks,
    pest: str,
    came: Came,
    *,
    day: dt.date,
    by_look: float,
    response: float,
    weak: bool,
) -> str:
    """Why a pest may cost something on a day.

    Parameters
    ----------
    looks : FieldLooks
    pest : str
    came : Came
    day : datetime.date
    by_look : float
        Probability of being at the threshold by the last look alone.
    response : float
        Expected yield response, 0 to 1.
    weak : bool
        Whether the dates of its window rest on a value from memory.
    """
    parts = []
    if looks.before_treatment(pest) and looks.treated is not None:
        treated_on, product = looks.treated
        parts.append(
            f"counted or noted before {product} on {said_day(treated_on)}, so taken as gone "
            "until somebody looks"
        )
    else:
        parts += [_seen_words(one) for one in looks.seen.get(pest, [])]
        if any(one.steady is None or 0 < one.steady < 1 for one in looks.seen.get(pest, [])):
            parts.append(f"{_percent(by_look)} at the threshold on {said_day(day)} by that")
    parts.append(_came_words(came))
    parts.append(f"yield response {response:.2g} by judgement")
    if weak:
        parts.append("dates of its window unverified")
    return "; ".join(parts)


def unforeseen_words(came: Came, *, response: float) -> str:
    """Why what nobody foresees may cost something."""
    return (
        f"a critical window of the crop is open; {_came_words(came)}; "
        f"yield response {response:.2g} by judgement"
    )


def stand_words(rule: Stand, *, share: float, chance: float, seen: dt.date | None) -> str:
    """Why a look at the stand that is missed costs something."""
    known = "nobody has seen the stand" if seen is None else f"stand seen on {said_day(seen)}"
    return (
        f"{known}: {_percent(chance)} that it is poor, by judgement; replanting a day later "
        f"costs {float(rule.replant_loss):g} bu/ac{grounds(rule.replant_loss)}; seedling window "
        f"open in {_percent(share)} of possible seasons"
    )


def _seen_words(one: Seen) -> str:
    if one.steady is not None:
        return f"{one.words}{', above it' if one.steady == 1 else ''}"
    return f"{one.words}, growing {float(one.growth):.2g} a day{grounds(one.growth)}"


def _came_words(came: Came) -> str:
    """``5 open days since the look on 2 Jul, coming at 0.3 percent a day by judgement``."""
    days = "1 open day" if f"{came.days:.3g}" == "1" else f"{came.days:.3g} open days"
    since = "with no look yet"
    if came.looked is not None:
        since = f"since the look on {said_day(came.looked)}"
    per_day = _percent(float(came.rate) * came.part)
    return f"{days} {since}, coming at {per_day} a day{grounds(came.rate)}"


def _percent(share: float) -> str:
    return f"{100 * share:.2g} percent" if share < 0.995 else f"{100 * share:.0f} percent"
