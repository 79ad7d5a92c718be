"""Words that a farmer need not look up: stages, days, and what counts mean."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence

from stagecast.base.textfiles import clean
from stagecast.counts.assessment import Answer
from stagecast.forecast.forecast import NOT_PLANTED, PLANTED
from stagecast.knowledge.crop import stage_place
from stagecast.pests.thresholds import ShownThreshold
from stagecast.words.thresholds import threshold_text

LONGEST_NAME, LONGEST_TEXT = 80, 160

LEAF_LOSS = "leaf loss"

STAGES: Mapping[str, str] = {
    NOT_PLANTED: "not planted yet",
    PLANTED: "seed in the ground",
    "VE": "seedlings come up",
    "VC": "first small leaves open",
    "V1": "1 node",
    "R1": "first flowers",
    "R2": "full bloom",
    "R3": "first small pods",
    "R4": "pods grow long",
    "R5": "seeds start to fill",
    "R6": "full green seeds",
    "R6.5": "full seeds, lower leaves turn yellow",
    "R7": "first ripe pod",
    "R8": "nearly all pods ripe",
}

WINDOWS: Mapping[str, str] = {
    "seedling": (
        "Young beans are easy to lose. In the first 3 weeks we can still see gaps in time "
        "to replant."
    ),
    "nearing-full-bloom": "Full bloom is near. It draws moths and the first stink bugs.",
    "bloom-to-full-seed": (
        "Pods and seeds grow now. The beans can hardly replace what insects take."
    ),
    "full-seed-to-maturity": (
        "The yield is nearly made. Stink bugs can still spoil seed, and leaf feeders may matter."
    ),
}
"""Why one looks in each window of the crop, by its id."""

LOOKS: Mapping[str, str] = {
    "stand-count": "About {} we count the stand, while gaps can still be replanted.",
    "herbicide-stop": (
        "First flowers come about {}. Many weed killers stop before them: read the label."
    ),
    "leaf-disease": (
        "From about {} on we look for spots on the top leaves. They tell if treating leaf disease "
        "may pay."
    ),
    "fungicide": "About {} is the time to decide on leaf disease, by what the leaves show.",
    "tissue": "About {} is the time for leaf samples, to see what the beans lack.",
    "nematode-roots": "From about {} on cysts of root worms can be seen: we dig some roots.",
    "nematode-soil": "About {} is the time to sample the soil for cysts of root worms.",
    "irrigation": "About {} is the time to decide on the last water.",
    "harvest-aid": "A harvest aid, if one is planned, may go on from about {}: read its label.",
    "frost": "From about {} on a hard frost may come before the pods are ripe.",
    "stem-borer": "Cut this field early, from about {} on: stems that were bored fall.",
    "harvest": "From about {} on it is ready to cut, after some good drying days.",
}
"""What the other looks are and why, by their ids; {} is a day."""

IN_FLOWER = (
    "The beans are in flower. What insects take from flowers is seldom missed; pods count more."
)
"""The same from bloom to full seed, as long as there are no pods."""

ANSWERS: Mapping[Answer, str] = {
    "above": "Above the threshold: we are deciding",
    "near": "May be near the threshold: we watch it closely",
    "below": "Below the threshold",
    "too few": "A short look: below the threshold so far",
    "does not matter yet": "Too early to harm the beans",
    "no longer matters": "Too late to harm the yield",
    "no threshold": "No threshold known",
}

OVER: Mapping[Answer, str] = {
    "near": "At the threshold or over it: we are deciding",
    "too few": "A short look: over the threshold so far; we are deciding",
}
"""The same where the mean is at the threshold or over it."""

TRADE: Mapping[str, str] = {
    "cotyledons": "seed leaves",
    "cotyledon": "seed leaf",
    "nymphs": "young bugs",
    "nymph": "young bug",
    "instars": "growth steps",
    "petioles": "leaf stalks",
}
"""Words of the trade, and what a farmer may call the same."""

_CODE = r"(?:VE|VC|V[0-9]{1,2}|R6\.5|R[1-8])"
_TRADE = re.compile(rf"\b(?:{'|'.join(TRADE)})\b")
_SPAN = re.compile(rf"\b({_CODE})(?:( to | and |-)({_CODE}))?\b")


def stage_words(stage: str) -> str:
    """What a stage is, in words: ``first small pods``."""
    if stage in STAGES:
        return STAGES[stage]
    return f"{stage[1:]} nodes"


def stage_said(stage: str) -> str:
    """A stage with its words: ``R3 (first small pods)``; without a code where it has none."""
    words = stage_words(stage)
    return words if stage in (NOT_PLANTED, PLANTED) else f"{stage} ({words})"


def explained(text: str) -> str:
    """A text of the library in plain words, and with some behind each stage code in it."""
    return _SPAN.sub(_with_words, _TRADE.sub(lambda found: TRADE[found[0]], text))


def _with_words(found: re.Match[str]) -> str:
    if found.string.startswith(" (", found.end()):
        return found[0]
    first, between, last = found.groups()
    if last is None:
        return f"{first} ({stage_words(first)})"
    return f"{first}{between}{last} ({stage_words(first)} to {stage_words(last)})"


def plain_day(day: dt.date, *, weekday: bool = False) -> str:
    """``July 7``, ``Tuesday, July 7``."""
    named = f"{day:%B} {day.day}"
    return f"{day:%A}, {named}" if weekday else named


def short_day(day: dt.date | None) -> str:
    """``Jul 7`` for tables and charts; ``not this season`` where there is none."""
    return "not this season" if day is None else f"{day:%b} {day.day}"


def clock(moment: dt.datetime) -> str:
    """``4:00 pm``."""
    half = "am" if moment.hour < 12 else "pm"
    return f"{(moment.hour - 1) % 12 + 1}:{moment:%M} {half}"


def typed(text: str, *, most: int = LONGEST_NAME) -> str:
    """What a person typed, on one line, safe to show, and cut where it is longer than a line."""
    shown = clean(" ".join(text.split()))
    return shown if len(shown) <= most else f"{shown[: most - 1].rstrip()}…"


def why_said(window: str, stage: str) -> str | None:
    """Why one looks in a window of the crop; None for one without words of its own."""
    if window == "bloom-to-full-seed" and stage_place(stage) < stage_place("R3"):
        return IN_FLOWER
    return WINDOWS.get(window)


def threshold_said(shown: ShownThreshold) -> str:
    """``9 bugs per 25 sweeps (Tennessee)``: without the stages, at which it is told anyway."""
    return threshold_text(shown, stages=False, about=True)


def leaf_rule_said(shown: ShownThreshold) -> str:
    """The rule for leaf loss that is used, and at which time of the crop."""
    return f"{threshold_said(shown)}, the rule {_leaf_time(shown)}"


def _leaf_time(shown: ShownThreshold) -> str:
    """Between which stages a rule for leaf loss holds, in words."""
    if stage_place(shown.threshold.last) < stage_place("R1"):
        return "before flowers"
    if stage_place(shown.threshold.first) < stage_place("R6"):
        return "from flowers to full seeds"
    return "for full seeds"


def sentence(text: str) -> str:
    """A text of the library as a sentence: a capital at its head, a stop at its end."""
    return f"{headed(text.strip().rstrip('.'))}." if text.strip() else ""


def headed(text: str) -> str:
    """A text with a capital at its head."""
    return f"{text[:1].upper()}{text[1:]}"


def listed(names: Sequence[str], *, last: str = "and") -> str:
    """``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"
