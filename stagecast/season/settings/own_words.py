"""What the words of a person's own threshold say, as the keys that the rest of stagecast reads.

A shipped file gives keys; a person may write ``what = "large larvae"`` or a condition before a
semicolon in the note instead. A key that is there is left as it is.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re

from stagecast.knowledge.life_stages import GROWN, LARGE, YOUNG
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.threshold import COMMON_YEAR, CountsAs, MonthDay, Threshold
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

_MONTHS = {
    name.casefold(): number
    for names in (calendar.month_name, calendar.month_abbr)
    for number, name in enumerate(names)
    if name
}
_DAY = r"(?:(?P<day>\d{1,2}) (?P<month>[a-z]+)|(?P<month_first>[a-z]+) (?P<day_after>\d{1,2}))"
_PLANTED = re.compile(rf"\bplanted (?P<side>before|from|after) {_DAY}(?: on)?", re.IGNORECASE)
_ROWS = re.compile(
    r"\brows of (?P<width>\d+(?:\.\d+)?)[ -]inch(?:es)? or (?P<side>less|more|narrower|wider)",
    re.IGNORECASE,
)
_USE = re.compile(
    r"\b(?:for )?(?P<first>grain|seed|food)(?:-grade)?(?: or (?P<second>grain|seed|food))? beans",
    re.IGNORECASE,
)
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
    given = threshold.model_fields_set - {"note"}
    if "condition" not in given:
        condition, _, note = threshold.note.partition(";")
        fields, rest = _for_some_fields(condition)
        if not fields.keys() & given:  # else its keys say for which fields it holds
            found |= fields
            condition = rest
        found |= {"condition": condition, "note": note.strip()}
        found["named_species_only"] = condition == NATIVES
    return threshold.model_copy(update={k: v for k, v in found.items() if k not in given})


def _for_some_fields(condition: str) -> tuple[dict[str, object], str]:
    """Keys that tell for which fields it holds, and what they leave of a condition."""
    found: dict[str, object] = {}
    for said in _PLANTED.finditer(condition):
        month = _MONTHS.get((said["month"] or said["month_first"]).casefold())
        day = int(said["day"] or said["day_after"])
        if month is None or not 1 <= day <= calendar.monthrange(COMMON_YEAR, month)[1]:
            return {}, condition
        one = dt.date(COMMON_YEAR, month, day) + dt.timedelta(
            days=said["side"].casefold() == "after"
        )
        key = "planted_before" if said["side"].casefold() == "before" else "planted_from"
        found[key] = MonthDay(month=one.month, day=one.day)
    for said in _ROWS.finditer(condition):
        key = "most" if said["side"].casefold() in ("less", "narrower") else "least"
        found[f"row_width_{key}_in"] = float(said["width"])
    for said in _USE.finditer(condition):
        found["use"] = tuple(use.casefold() for use in (said["first"], said["second"]) if use)
    if not found:
        return {}, condition
    rest = condition
    for words in (_PLANTED, _ROWS, _USE):
        rest = words.sub("", rest)
    return found, ", ".join(part for piece in rest.split(",") if (part := " ".join(piece.split())))
