"""What the words of a person's own threshold say, as the keys that the rest of stagecast reads.

A shipped file gives keys; a person may write ``what = "large larvae"`` or a condition before a
semicolon in the note instead. A key that is there is left as it is.
"""

from __future__ import annotations

import re

from stagecast.knowledge.life_stages import GROWN, LARGE, YOUNG
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.threshold import CountsAs, Threshold
from stagecast.season.settings.pest_names import PestNames

NATIVES = "native species"
TWICE = 2.0
SHARES = {
    "leaf area": re.compile(r"leaf (loss|area)|defoliat"),
    "plants": re.compile(r"\b(plants?|seedlings?)\b"),
    "pods": re.compile(r"\bpods?\b"),
    "leaves": re.compile(r"\b(leaves|leaflets?)\b"),
}
"""Words for what a percentage is of, the first that is found counts; none is leaf area."""

_TWICE = re.compile(r"each (\w+) counted twice")


def with_keys(pest: Pest, names: PestNames) -> Pest:
    """An own pest, its thresholds with the keys that their words stand for."""
    read = tuple(threshold_with_keys(one, names) for one in pest.thresholds)
    return pest.model_copy(update={"thresholds": read})


def threshold_with_keys(threshold: Threshold, names: PestNames) -> Threshold:
    """The same threshold, keys that it does not give read from its words."""
    what = threshold.what.casefold()
    found: dict[str, object] = {"large_only": bool(LARGE.search(what))}
    if YOUNG.search(what) and not GROWN.search(what):
        found["life_stage"] = "nymphs" if "nymph" in what else "larvae"
    if threshold.unit == "percent":
        found["share_of"] = next((of for of, w in SHARES.items() if w.search(what)), "leaf area")
    twice = (pest for word in _TWICE.findall(threshold.what) for pest in names.find(word))
    found["weights"] = tuple(CountsAs(pest=pest, counts_as=TWICE) for pest in dict.fromkeys(twice))
    condition, _, note = threshold.note.partition(";")
    if "condition" not in threshold.model_fields_set:
        found |= {"condition": condition, "note": note.strip()}
        found["named_species_only"] = condition == NATIVES
    given = threshold.model_fields_set - {"note"}
    return threshold.model_copy(update={k: v for k, v in found.items() if k not in given})
