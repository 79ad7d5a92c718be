"""Maturity groups as seed bags and people write them, and the growth habit they suggest.

The scale is continuous: 000 is -2, 00 is -1, 0 is 0, I is 1 and so on; a decimal counts tenths
within the group, so 4.7 and IV.7 are 4.7, and 00.8 is -0.2 (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

GrowthHabit = Literal["indeterminate", "determinate"]
Written = Literal["decimal", "part", "whole"]

ACCEPTED_MATURITY = "a group such as IV, 4, 4.7, 00.5, MG IV, Group 4 or late IV"

_LABELS = ("000", "00", "0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_BELOW_ZERO = 2

_PART = re.compile("early|mid|late", re.IGNORECASE)
_FORM = re.compile(
    r"""(?: (?P<before> early | mid | late ) [\s-]* )?
        (?: (?: MG | (?: maturity \s* )? group ) \s* )?
        (?P<group> 0{1,3} | [1-9][0-9]? | [IVX]+ ) (?: \. (?P<decimals> [0-9]{1,2} ) )?
        (?: [\s-]* (?P<after> early | mid | late ) )?""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)


@dataclass(frozen=True, slots=True)
class MaturityGroup:
    """A maturity group, as typed and as a number.

    Attributes
    ----------
    text: what was typed.
    group: the whole group in its usual writing: ``000``, ``00``, ``0``, ``I`` ... ``VIII``.
    number: place on the continuous scale (000 is -2, 0 is 0, IV is 4 and over).
    whole: true when only the whole group was given, so ``number`` holds an assumed place in it.
    """

    text: str
    group: str
    number: float
    whole: bool

    @property
    def written(self) -> Written:
        """How closely the cultivar is known: by a decimal, by early, mid or late, or not."""
        if self.whole:
            return "whole"
        return "part" if _PART.search(self.text) else "decimal"


def parse_maturity_group(
    text: str, *, offsets: Mapping[str, float], lowest: float, highest: float
) -> MaturityGroup:
    """Read a maturity group.

    Parameters
    ----------
    text: roman or Arabic whole group, with a decimal, or with early, mid or late before or after
        it; an MG or Group in front is ignored, and so are case and blanks between the parts.
    offsets: where in a group ``whole`` (no decimal given), ``early``, ``mid`` and ``late`` stand.
    lowest, highest: ends of the accepted range on the continuous scale.

    Raises
    ------
    ValueError
        With the reason, when the text is no group or the group is out of range.
    """
    match = _FORM.fullmatch(" ".join(text.split()))
    start = None if match is None else _start_of(match["group"])
    if match is None or start is None:
        raise ValueError(_why_not(text))
    before, after, decimals = match["before"], match["after"], match["decimals"]
    position = before or after
    if before and after:
        raise ValueError("early, mid or late is said twice")
    if position and decimals:
        raise ValueError("give either a decimal or early, mid or late, not both")

    if decimals:
        offset = float(f"0.{decimals}")
    else:
        offset = offsets[position.lower() if position else "whole"]
    number = round(start + offset, 6)
    if not lowest <= number <= highest or start + _BELOW_ZERO >= len(_LABELS):
        raise ValueError(
            f"maturity group outside the range {_written(lowest)} to {_written(highest)} "
            "that the crop model covers"
        )
    whole = not decimals and not position
    return MaturityGroup(text, _LABELS[start + _BELOW_ZERO], number, whole)


def default_habit(number: float, *, determinate_from: float) -> GrowthHabit:
    """Return the growth habit usual for a maturity group.

    Parameters
    ----------
    number: place on the continuous maturity scale.
    determinate_from: first place on that scale where determinate varieties are the rule.
    """
    return "determinate" if number >= determinate_from else "indeterminate"


def _start_of(group: str) -> int | None:
    """Number at which a whole group starts, or None for Roman letters that are no number."""
    if group.isdigit() and not group.startswith("0"):
        return int(group)
    label = group.upper()
    return _LABELS.index(label) - _BELOW_ZERO if label in _LABELS else None


def _written(number: float) -> str:
    """Write a place on the scale in the group's own label: -2 is 000, 8.9 is 8.9, 5 is V."""
    start = int(number // 1)
    tenths = round(number - start, 6)
    if start > 0 and tenths:
        return f"{number:g}"
    return _LABELS[start + _BELOW_ZERO] + (f"{tenths:g}"[1:] if tenths else "")


def _why_not(text: str) -> str:
    """Name the habit behind a text that is no maturity group."""
    if not text.strip():
        return "no maturity group"
    if re.fullmatch(r"\s*-\s*[0-9.]+\s*", text):
        return "groups earlier than 0 are written 00 and 000"
    if re.search(r"[-–/]|\bto\b", text) and not re.search("early|mid|late", text, re.IGNORECASE):
        return "this is a range or a pair, not one maturity group"
    if "," in text:
        return "the decimal of a maturity group is written with a point"
    return "not a maturity group"
